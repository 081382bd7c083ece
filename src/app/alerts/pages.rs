//! What the page behind a link shows, in the words of the contact whose link it is.

use std::sync::{Arc, Mutex, PoisonError};

use super::Reception;
use super::compose::Composer;
use super::story;
use crate::app::order::Order;
use crate::core::alert::{Alert, AlertNumber, Notice, Occasion};
use crate::core::time::Timestamp;
use crate::ledger::Reader;
use crate::web::link::Link;
use crate::web::sheet::{Action, Alerts, Deed, Refused, Sheet, Standing};

/// The alerts as the pages see them.
#[derive(Clone, Debug)]
pub(super) struct Shown {
    reception: Reception,
    composer: Arc<Composer>,
    /// For alerts that are closed, which the desk has forgotten.
    reader: Arc<Mutex<Reader>>,
}

impl Shown {
    pub(super) fn new(reception: Reception, composer: Arc<Composer>, reader: Reader) -> Self {
        Self { reception, composer, reader: Arc::new(Mutex::new(reader)) }
    }

    /// The alert, and when it closed.
    async fn find(&self, number: AlertNumber) -> Result<(Alert, Option<Timestamp>), Refused> {
        let (open, _) = self.reception.open().await.map_err(|_| Refused::NotNow)?;
        if let Some(alert) = open.into_iter().find(|alert| alert.number == number) {
            return Ok((alert, None));
        }
        let reader = Arc::clone(&self.reader);
        let read = move || story::records(&reader.lock().unwrap_or_else(PoisonError::into_inner), number);
        // It looks through every alert on record, which the tasks of the gateway must not wait for.
        let records = match tokio::task::spawn_blocking(read).await {
            Ok(records) => records.map_err(|error| {
                tracing::warn!(%error, "the story of an alert cannot be read");
                Refused::NotNow
            })?,
            // It panicked, and was told of there.
            Err(_) => return Err(Refused::NotNow),
        };
        let told = story::told(&records).ok_or(Refused::Unknown)?;
        Ok((told.alert, told.closed))
    }

    fn sheet(&self, link: &Link, alert: Alert, closed: Option<Timestamp>) -> Result<Sheet, Refused> {
        // A contact that is no longer configured holds links that lead nowhere.
        let contact = self.composer.contact(&link.contact).ok_or(Refused::Unknown)?;
        let occasion = match (closed, alert.cleared) {
            (Some(_), _) => Occasion::Closed,
            (None, Some(_)) if alert.action_missing() => Occasion::ActionMissing,
            (None, Some(_)) => Occasion::Cleared,
            (None, None) => Occasion::Raised,
        };
        let notice = Notice {
            key: String::new(),
            contact: contact.name.clone(),
            language: contact.language,
            units: contact.units,
            routes: Vec::new(),
            step: contact.step,
            round: 0,
            occasion,
            alert,
        };
        let words = self.composer.words(&notice, self.composer.now(), None);
        let alert = notice.alert;
        let at = |instant| self.composer.local(instant);
        let standing = match (closed, &alert.acknowledged) {
            (Some(closed), _) => Standing::Closed { at: at(closed) },
            (None, Some(taken)) => Standing::Acknowledged { by: taken.by.clone(), at: at(taken.at) },
            (None, None) => Standing::Waiting,
        };
        Ok(Sheet {
            language: contact.language,
            site: self.composer.site().to_owned(),
            number: alert.number.0,
            headline: words.content.headline,
            facts: words.content.rows,
            steps: words.content.steps,
            cautions: words.content.cautions,
            standing,
            needs_action: closed.is_none() && alert.needs_action,
            action: alert.action.map(|action| Action {
                by: action.by,
                racks: action.racks,
                done: action.done,
            }),
            reader: contact.name.clone(),
        })
    }
}

impl Alerts for Shown {
    async fn show(&self, link: Link) -> Result<Sheet, Refused> {
        let (alert, closed) = self.find(AlertNumber(link.alert)).await?;
        self.sheet(&link, alert, closed)
    }

    async fn act(&self, link: Link, deed: Deed) -> Result<(), Refused> {
        let number = AlertNumber(link.alert);
        let (alert, closed) = self.find(number).await?;
        let signed = |by: String| {
            let same = by.eq_ignore_ascii_case(&link.contact);
            if same { by } else { format!("{by} (link of {})", link.contact) }
        };
        let order = match deed {
            // Pressed twice, or by a second person at the same time: the page says who takes care.
            Deed::Acknowledge { .. } if closed.is_some() || alert.acknowledged.is_some() => return Ok(()),
            Deed::Acknowledge { by, note } => {
                let (by, note) = (signed(by), Some(note).filter(|note| !note.is_empty()));
                Order::Acknowledge { alert: number, by, via: "link".to_owned(), note }
            }
            Deed::Act { .. } if closed.is_some() => return Ok(()),
            Deed::Act { by, racks, done } => Order::Act { alert: number, by: signed(by), racks, done },
        };
        match self.reception.perform(order).await {
            Ok(_) => Ok(()),
            // In between somebody else did it, or it closed; the page shows what is so.
            Err(problem) if problem.slug == "alert-refused" => Ok(()),
            Err(_) => Err(Refused::NotNow),
        }
    }
}
