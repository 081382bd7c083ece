//! What stands behind the pages: the configuration, contacts and their tests, work on a machine.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use super::House;
use crate::app::alerts::trial;
use crate::app::{channels, order};
use crate::config::note::Section;
use crate::core::alert::Contact;
use crate::core::time::Timestamp;
use crate::web::frame::Refusal;
use crate::web::settings::{Channel, Premises, TestStep, Tested};

/// A test that is younger is not made again (own choice: longer than it takes to press twice).
const TEST_AGAIN: Duration = Duration::from_secs(30);

/// The latest test of each contact.
#[derive(Clone, Debug, Default)]
pub(super) struct Tests(Arc<Mutex<BTreeMap<String, Tested>>>);

impl Tests {
    fn of(&self, contact: &str) -> Option<Tested> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(contact).cloned()
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
        let channel = |(name, broken): (String, Option<channels::Broken>)| Channel {
            name,
            broken: broken.map(|broken| (broken.why, broken.advice)),
        };
        Ok(each.into_iter().map(channel).collect())
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
                Err(problem) => vec![TestStep {
                    route: String::new(),
                    what: problem.summary,
                    good: false,
                    said: problem.advice.unwrap_or_default(),
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
}

fn step(step: order::Step) -> TestStep {
    let order::Step { route, what, good, said } = step;
    TestStep { route, what, good, said }
}

#[cfg(test)]
mod tests {
    use super::*;

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
