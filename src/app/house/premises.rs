//! What stands behind the pages: the configuration, contacts and their tests, work on a machine.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use super::House;
use crate::app::alerts::trial;
use crate::app::{channels, order};
use crate::config::note::Section;
use crate::core::alert::trial::{Fact, SETTINGS};
use crate::core::alert::{Contact, Route};
use crate::core::causes::chain;
use crate::core::record::{AccessDeed, Body, Outcome, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter};
use crate::web::attempt::NotOver;
use crate::web::frame::Refusal;
use crate::web::person::Person;
use crate::web::settings::{Channel, Entitled, MESSAGES_MAX, Premises, TestStep, Tested, Tried};

/// A test that is younger is not made again (own choice: longer than it takes to press twice).
const TEST_AGAIN: Duration = Duration::from_secs(30);

/// The latest test of each contact.
#[derive(Clone, Debug, Default)]
pub(super) struct Tests(Arc<Mutex<BTreeMap<String, Tested>>>);

impl Tests {
    fn of(&self, contact: &str) -> Option<Tested> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(contact).cloned()
    }

    /// How the last test of each lane of letters ended. A route of which one step failed failed.
    fn tried(&self) -> BTreeMap<String, Tried> {
        let tests = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let mut tried: BTreeMap<String, Tried> = BTreeMap::new();
        for Tested { at, steps, .. } in tests.values() {
            for step in steps.iter().flatten() {
                let Ok(route) = step.route.parse::<Route>() else { continue };
                let failed = (!step.good).then(|| step.told.clone());
                match tried.get_mut(&route.channel()) {
                    Some(known) if known.at > *at || (known.at == *at && known.failed.is_some()) => {}
                    Some(known) => *known = Tried { at: *at, failed },
                    None => {
                        tried.insert(route.channel(), Tried { at: *at, failed });
                    }
                }
            }
        }
        tried
    }

    /// Marks a test as begun; `false` where one is under way or has just been made.
    fn begin(&self, contact: &str, by: String, now: Timestamp) -> bool {
        let mut tests = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let fresh =
            tests.get(contact).is_some_and(|last| last.steps.is_none() || now.since(last.at) < TEST_AGAIN);
        if !fresh {
            tests.insert(contact.to_owned(), Tested { at: now, by, steps: None });
        }
        !fresh
    }

    fn end(&self, contact: &str, steps: Vec<TestStep>) {
        if let Some(test) = self.0.lock().unwrap_or_else(PoisonError::into_inner).get_mut(contact) {
            test.steps = Some(steps);
        }
    }
}

impl Premises for House {
    fn sections(&self) -> Vec<Section> {
        self.loaded.sections().to_vec()
    }

    fn contacts(&self) -> Vec<(Contact, Option<Tested>)> {
        let contacts = self.loaded.configuration.alerts.contacts.iter();
        contacts.map(|contact| (contact.clone(), self.tests.of(&contact.name))).collect()
    }

    async fn channels(&self) -> Result<Vec<Channel>, Refusal> {
        let loaded = Arc::clone(&self.loaded);
        // Secrets and certificates are looked at.
        let tried = tokio::task::spawn_blocking(move || channels::each(&loaded.configuration.delivery));
        let each = tried.await.map_err(|_| Refusal::NotNow)?;
        let mut said = self.tests.tried();
        let (sent, waiting) =
            self.readers.ask(|ledger| Ok((sent(ledger)?, ledger.letters_waiting_by_channel()?))).await?;
        for (lane, tried) in sent {
            let newer = said.get(&lane).is_none_or(|known| known.at <= tried.at);
            if newer {
                said.insert(lane, tried);
            }
        }
        let channel = |(name, broken): (String, Option<channels::Broken>)| {
            let lane = lane(&name);
            let waiting = waiting.iter().find(|(own, _)| *own == lane).map_or(0, |(_, count)| *count);
            Channel { broken: broken.map(|broken| broken.told), last: said.get(lane).cloned(), waiting, name }
        };
        Ok(each.into_iter().map(channel).collect())
    }

    async fn accounts(&self) -> Result<Entitled, Refusal> {
        let read = tokio::try_join!(self.access.accounts(), self.access.tokens());
        let (accounts, tokens) = read.map_err(|error| {
            tracing::error!(error = chain(&error), "the accounts cannot be read");
            Refusal::NotNow
        })?;
        Ok(Entitled { accounts, tokens, now: self.access.now() })
    }

    async fn test(&self, contact: String, by: String) -> Result<(), Refusal> {
        let known = self.loaded.configuration.alerts.contacts.iter().any(|known| known.name == contact);
        if !known {
            return Err(Refusal::Unknown);
        }
        if !self.tests.begin(&contact, by.clone(), self.clock.now()) {
            return Ok(());
        }
        tracing::info!(contact, by, "the channels of a contact are tried");
        let house = self.clone();
        #[expect(clippy::disallowed_methods, reason = "its end is waited for, or seen on the page")]
        let tried = tokio::spawn(async move {
            let trial =
                trial::through_all(&house.composer, &house.loaded.configuration.delivery, &contact).await;
            let steps = match trial {
                Ok(trial) => trial.steps.into_iter().map(step).collect(),
                // The contact is known, so that it has no route.
                Err(_) => vec![TestStep {
                    route: String::new(),
                    what: SETTINGS.to_owned(),
                    good: false,
                    told: Fact::NoRoute { contact: contact.clone() }.into(),
                }],
            };
            house.tests.end(&contact, steps);
        });
        tried.await.map_err(|_| Refusal::NotNow)
    }

    async fn maintain(&self, machine: String, until: Option<Timestamp>, by: String) -> Result<(), Refusal> {
        let until = until.unwrap_or_else(|| self.clock.now());
        let order = order::Order::Maintenance { machine: Some(machine), until, by };
        match self.reception.perform(order).await {
            Ok(_) => Ok(()),
            // It ended in between.
            Err(problem) if problem.slug == "alert-refused" => Ok(()),
            Err(_) => Err(Refusal::NotNow),
        }
    }

    async fn end_work(&self, machine: String, shown: Vec<String>, person: &Person) -> Result<(), NotOver> {
        if !self.bench.may_end(&machine, &shown) {
            return Err(NotOver::Open);
        }
        self.maintain(machine.clone(), None, person.name.clone()).await.map_err(NotOver::Refused)?;
        for (of, whose) in self.bench.end_at(&machine, &shown, (&person.name, &person.account)) {
            tracing::info!(of, by = person.account, whose, "the end of the work ended what another was at");
            self.note_access(&person.account, AccessDeed::EndedWork { of, whose }).await;
        }
        Ok(())
    }
}

/// The lane of letters of a channel as it is configured; a heartbeat has none.
fn lane(channel: &str) -> &str {
    match channel {
        "mail" => "email",
        "publish" => "mqtt",
        other => other,
    }
}

/// How the newest letter of each lane ended, as far as [`MESSAGES_MAX`] records tell.
fn sent(ledger: &Reader) -> Result<BTreeMap<String, Tried>, LedgerError> {
    let (mut sent, mut left) = (BTreeMap::new(), MESSAGES_MAX);
    let filter = RecordFilter { kinds: vec!["notification".to_owned()], ..RecordFilter::default() };
    ledger.events(Order::NewestFirst, &filter, |_, read| {
        if let Ok((_, Record { recorded: at, body: Body::Notification(told), .. })) = read {
            let lane = told.route.channel();
            let failed = (told.outcome == Outcome::GivenUp)
                .then(|| told.failure().unwrap_or_else(|| Fact::Words {}.into()));
            sent.entry(lane).or_insert(Tried { at, failed });
        }
        left -= 1;
        if left == 0 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })?;
    Ok(sent)
}

fn step(step: order::Step) -> TestStep {
    let order::Step { route, what, good, told, .. } = step;
    TestStep { route, what, good, told }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{CONFIGURATION, at, ledger, opening, plain};
    use crate::core::alert::trial::Told;
    use crate::core::record::Notification;

    // Own promise: a channel did as its newest letter or test did, and one of which nothing is known is not said to
    // be good.
    #[test]
    fn a_channel_stands_as_its_newest_message_did() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        let letter = |minute: u64, route: Route, outcome, error: Option<&str>| {
            let (key, contact, error) = (minute.to_string(), "ana".to_owned(), error.map(str::to_owned));
            let (alert, occasion) = (None, None);
            let told =
                Notification { key, alert, occasion, contact, route, outcome, attempts: 1, error, why: None };
            plain(minute, None, Body::Notification(Box::new(told)))
        };
        let mail = || Route::Email("a@example.org".to_owned());
        let mut records = opening(CONFIGURATION);
        records.push(letter(1, mail(), Outcome::Delivered, None));
        records.push(letter(2, mail(), Outcome::GivenUp, Some("550 no such user")));
        records.push(letter(3, Route::Mqtt, Outcome::Delivered, None));
        ledger(&path, records).close().expect("it closes");
        let sent = sent(&Reader::open(&path).expect("a reader")).expect("readable");
        // A text of before facts were kept stays as it is.
        let refused = Tried { at: at(2), failed: Some(Told::words("550 no such user")) };
        assert_eq!(sent.get(lane("mail")), Some(&refused));
        assert_eq!(sent.get(lane("publish")), Some(&Tried { at: at(3), failed: None }));
        assert_eq!(sent.get(lane("webhook:office")), None);

        let tests = Tests::default();
        let step = |route: &str, good| TestStep {
            route: route.to_owned(),
            what: "send".to_owned(),
            good,
            told: Fact::NotYet {}.into(),
        };
        tests.begin("ana", "Ana".to_owned(), at(9));
        tests.end("ana", vec![step("email:a@example.org", true), step("email:a@example.org", false)]);
        let failed = Some(Fact::NotYet {}.into());
        assert_eq!(tests.tried(), BTreeMap::from([("email".to_owned(), Tried { at: at(9), failed })]));
    }

    // Own rule: a second press within half a minute, or during a test, sends nothing again.
    #[test]
    fn a_test_pressed_twice_is_made_once() {
        let (tests, now) = (Tests::default(), Timestamp::from_micros(1_000_000_000));
        let by = || "ana".to_owned();
        let later = |seconds| now.plus(Duration::from_secs(seconds));
        assert!(tests.begin("manager", by(), now));
        assert!(!tests.begin("manager", by(), later(100)), "the first is under way");
        assert!(tests.begin("owner", by(), now));
        tests.end("manager", Vec::new());
        assert!(!tests.begin("manager", by(), later(29)));
        assert!(tests.begin("manager", by(), later(30)));
    }
}
