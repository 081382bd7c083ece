//! A marked test through every channel of a contact, each step told.
//!
//! The test goes straight to the channel, not through the outbox: whoever tries a
//! way wants to see at once where it ends. It is put into words as every message is.

use tokio_util::sync::CancellationToken;

use super::compose::Composer;
use super::letters::Content;
use crate::alert::answer::Step as Said;
use crate::alert::email::Mailer;
use crate::alert::publish;
use crate::alert::webhook::Webhook;
use crate::app::order::{Problem, Step, Trial};
use crate::app::{Failure, ledger, run};
use crate::config::delivery::Delivery;
use crate::config::load::Loaded;
use crate::core::alert::trial::{Fact, SETTINGS, Told};
use crate::core::alert::{Desk, Effects, Event, Notice, Route};
use crate::core::reader::Language;
use crate::runtime::clock::Clock;
use crate::transport::secret::PrepareError;

/// Tries every way to a contact.
///
/// # Errors
/// [`Problem`] where there is no such contact. A way that fails is told in the steps.
pub(in crate::app) async fn through_all(
    composer: &Composer,
    delivery: &Delivery,
    contact: &str,
) -> Result<Trial, Problem> {
    let notice = test_notice(composer, contact)?;
    let mut trial = Trial::default();
    for route in notice.routes.clone() {
        let mut told = Vec::new();
        let content = Content::Notice { notice: Box::new(notice.clone()), route: route.clone() };
        by(composer, delivery, &route, &content, &mut told).await;
        trial.steps.extend(told.into_iter().map(|Said { what, outcome }| {
            let (good, told) = outcome.map_or_else(|told| (false, told), |told| (true, told));
            let said = [Some(told.to_string()), told.advice(Language::English)];
            let said = said.into_iter().flatten().collect::<Vec<_>>().join("; ");
            Step { route: route.to_string(), what: what.to_owned(), good, said, told }
        }));
    }
    Ok(trial)
}

/// The notice that the desk would send, by a desk of its own that nobody else hears of.
fn test_notice(composer: &Composer, contact: &str) -> Result<Notice, Problem> {
    let (mut desk, mut effects) = (Desk::new(composer.settings().clone()), Effects::default());
    let unknown = |refusal: crate::core::alert::Refusal| {
        let names: Vec<&str> = composer.settings().contacts.iter().map(|known| known.name.as_str()).collect();
        let advice = if names.is_empty() {
            "add a [[contact]] to the configuration".to_owned()
        } else {
            format!("give one of {}", names.join(", "))
        };
        Problem::new("alert-refused", refusal.to_string(), advice)
    };
    desk.handle(composer.now(), Event::Test { contact }, &mut effects).map_err(unknown)?;
    let none = || {
        Problem::new(
            "alert-refused",
            format!("«{contact}» has no route"),
            "give it routes in its [[contact]]",
        )
    };
    let mut notice = effects.notices.pop().ok_or_else(none)?;
    // A key that was never used, so that no receiver takes it for a repeat.
    notice.key = format!("test-{}-{contact}", composer.now().micros());
    Ok(notice)
}

async fn by(
    composer: &Composer,
    delivery: &Delivery,
    route: &Route,
    content: &Content,
    told: &mut Vec<Said>,
) {
    let now = composer.now();
    let key = match content {
        Content::Notice { notice, .. } => format!("{}-{route}", notice.key),
        Content::Digest { .. } => route.to_string(),
    };
    let mut tell = |said: Said| told.push(said);
    match route {
        Route::Email(_) | Route::Text(_) => {
            let mailer = delivery.mail.clone().map(|mail| Mailer::prepare(mail, composer.origin()));
            let ready = (ready(mailer, &mut tell), composer.mail(&key, content, now));
            if let (Some(mailer), Some(mail)) = ready {
                drop(mailer.trial(&mail, &mut tell).await);
            }
        }
        Route::Webhook(name) => {
            let settings = delivery.webhooks.iter().find(|webhook| webhook.name == *name).cloned();
            let ready =
                (ready(settings.map(Webhook::prepare), &mut tell), composer.event(&key, content, now));
            if let (Some(webhook), Some(event)) = ready {
                drop(webhook.trial(&event, now, &mut tell).await);
            }
        }
        Route::Mqtt => {
            let prepared = delivery.publish.clone().map(publish::prepare);
            if let (Some((publisher, broker)), Some(event)) =
                (ready(prepared, &mut tell), composer.event(&key, content, now))
            {
                let stop = CancellationToken::new();
                let _ended = stop.clone().drop_guard();
                tokio::select! {
                    () = broker.beside_the_service().run(stop) => {}
                    _ = publisher.trial(&event, &mut tell) => {}
                }
            }
        }
    }
}

fn ready<T>(prepared: Option<Result<T, PrepareError>>, tell: &mut impl FnMut(Said)) -> Option<T> {
    let outcome = match prepared {
        Some(Ok(way)) => return Some(way),
        Some(Err(error)) => Told::from(&error),
        None => Fact::NotConfigured {}.into(),
    };
    tell(Said { what: SETTINGS, outcome: Err(outcome) });
    None
}

/// Sends a test from this process, where no service runs.
///
/// # Errors
/// As [`through_all`], and the ledger's: the gateway's name among others comes from it.
pub(in crate::app) fn alone(loaded: &Loaded, contact: &str) -> Result<Trial, Failure> {
    let path = &loaded.configuration.ledger.path;
    let composer = Composer::new(loaded, path, &Clock::system(), None)
        .map_err(|error| ledger::diagnose(&error, path))?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| run::bug("cannot start the runtime", &error))?;
    let tried = runtime.block_on(through_all(&composer, &loaded.configuration.delivery, contact));
    tried.map_err(Failure::from)
}
