//! Whether the gateway does its work, and what is measured of it.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::PoisonError;
use std::time::Duration;

use super::super::House;
use super::refused;
use crate::app::export::gather;
use crate::config::resolve::Configuration;
use crate::config::source::Source;
use crate::core::channel::{Channel, Probe, Role};
use crate::core::cycle::verdict::Verdict;
use crate::core::record::Body;
use crate::ledger::{Append, Bookmark, LedgerError};
use crate::web::api::{Figures, Trouble};

/// Longest wait for the driver, and for a commit that proves that the ledger takes something.
const ANSWER_MAX: Duration = Duration::from_secs(5);
/// For how long an answer about the ledger holds: whoever asks often makes no commit each time.
const PROOF_HOLDS: Duration = Duration::from_secs(10);
/// Name of the bookmark that proves it.
const READY: &str = "ready";

/// How many sources are down, or have probes of which none tells anything now.
fn silent(
    configuration: &Configuration,
    is_down: impl Fn(&str) -> bool,
    tells: impl Fn(&Channel, &Probe) -> bool,
) -> usize {
    let probes = || {
        configuration.channels.iter().filter_map(|channel| match &channel.role {
            Role::Probe(probe) => Some((channel, probe)),
            Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
        })
    };
    let is_silent = |source: &&Source| {
        let mut own = probes().filter(|(channel, _)| source.directory.find(channel.name.as_str()).is_some());
        is_down(&source.name)
            || own.clone().next().is_some() && !own.any(|(channel, probe)| tells(channel, probe))
    };
    configuration.sources.iter().filter(is_silent).count()
}

/// The cycles of this run, read on as they come.
#[derive(Debug, Default)]
pub(in crate::app::house) struct Counted {
    /// The next record that was not looked at.
    next: u64,
    cycles: BTreeMap<(String, usize), u64>,
}

impl House {
    pub(super) async fn what_hinders(&self) -> Vec<String> {
        let mut reasons = Vec::new();
        if let Some(pulse) = &self.pulse
            && !pulse.beats_within(ANSWER_MAX).await
        {
            reasons.push("the driver does not answer".to_owned());
        }
        if !self.takes_something().await {
            reasons.push("the ledger takes nothing".to_owned());
        }
        let configuration = &self.loaded.configuration;
        let (down, newest, now) = (self.down(), self.tap.newest(), self.clock.now());
        let tells = |channel: &Channel, probe: &Probe| {
            newest.get(&channel.id).is_some_and(|newest| newest.recency(now, probe.silent_after).counts())
        };
        let silent = silent(configuration, |source| down.contains_key(source), tells);
        match (silent, configuration.sources.len()) {
            (0, _) => {}
            (1, 1) => reasons.push("the source delivers nothing".to_owned()),
            (1, all) => reasons.push(format!("1 of {all} sources delivers nothing")),
            (silent, all) => reasons.push(format!("{silent} of {all} sources deliver nothing")),
        }
        reasons
    }

    /// Whether the ledger takes a bookmark.
    async fn takes_something(&self) -> bool {
        // Held while it is tried, so that many who ask at once make one commit.
        let mut proved = self.proved.lock().await;
        let now = tokio::time::Instant::now();
        if proved.is_some_and(|(at, _)| now.duration_since(at) < PROOF_HOLDS) {
            return proved.is_some_and(|(_, takes)| takes);
        }
        let bookmarks = vec![Bookmark { name: READY.to_owned(), state: Vec::new() }];
        let append = Append { bookmarks, ..Append::default() };
        let takes = match self.ledger() {
            Some(ledger) => {
                matches!(tokio::time::timeout(ANSWER_MAX, ledger.append(append)).await, Ok(Ok(_)))
            }
            None => false,
        };
        *proved = Some((now, takes));
        takes
    }

    pub(super) async fn measured(&self) -> Result<Figures, Trouble> {
        let (open, _) = self.reception.open().await.map_err(refused)?;
        let mut alerts: BTreeMap<&str, u64> = BTreeMap::new();
        for alert in &open {
            *alerts.entry(alert.condition.as_str()).or_default() += 1;
        }
        let alerts = alerts.into_iter().map(|(name, count)| (name.to_owned(), count)).collect();
        let counted = std::sync::Arc::clone(&self.counted);
        let path = self.path.clone();
        let read = self.readers.ask(move |ledger| {
            let mut counted = counted.lock().unwrap_or_else(PoisonError::into_inner);
            counted.read_on(ledger)?;
            let cycles: Vec<(String, Verdict, u64)> = counted
                .cycles
                .iter()
                .filter_map(|((machine, place), count)| {
                    Some((machine.clone(), *Verdict::ALL.get(*place)?, *count))
                })
                .collect();
            // What is in the log beside the file is on disk too.
            let sizes = ["", "-wal"].map(|ending| {
                let file = crate::ledger::beside(&path, ending);
                std::fs::metadata(file).map_or(0, |found| found.len())
            });
            Ok((cycles, ledger.letters_waiting_by_channel()?, ledger.size()?, sizes.iter().sum()))
        });
        let (cycles, letters, records, ledger_bytes) = read.await?;
        let now = self.clock.now();
        let newest = self.tap.newest();
        let age = |channel: &crate::core::channel::Channel| {
            let age_s = now.seconds_since(newest.get(&channel.id)?.arrived).max(0.0);
            Some((channel.name.to_string(), age_s))
        };
        let series_behind_s = self
            .series
            .as_ref()
            .map(|series| series.borrow().oldest.map_or(0.0, |oldest| now.seconds_since(oldest).max(0.0)));
        Ok(Figures {
            readings: self.tap.received(),
            cycles,
            alerts,
            records,
            ledger_bytes,
            letters,
            series_behind_s,
            ages_s: self.loaded.configuration.channels.iter().filter_map(age).collect(),
            commits_s: Some(self.commits_s.clone()),
        })
    }
}

impl From<u64> for Counted {
    /// Nothing yet of the records from this one on.
    fn from(next: u64) -> Self {
        Self { next, cycles: BTreeMap::new() }
    }
}

impl Counted {
    fn read_on(&mut self, ledger: &crate::ledger::Reader) -> Result<(), LedgerError> {
        let mut next = self.next;
        let read = ledger.records(next, |index, _, record| {
            next = index + 1;
            if let Body::Cycle(cycle) = &record.body
                && let Some(place) = Verdict::ALL.iter().position(|verdict| *verdict == cycle.verdict)
            {
                *self.cycles.entry((record.machine.unwrap_or_default(), place)).or_default() += 1;
            }
            ControlFlow::Continue(())
        });
        self.next = next;
        match read {
            Ok(()) => Ok(()),
            // One that is damaged counts as nothing, and those after it are looked at the next time.
            Err(error) => {
                self.next = self.next.max(gather::unreadable(error)? + 1);
                Ok(())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO: &str = "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\", \"wash\"]\n\
        [[machine]]\nname = \"bar\"\nkind = \"stationary-rack-single-temperature\"\nprobes = [\"rinse\"]\n\
        [[source]]\nname = \"one\"\nkind = \"serial\"\ndevice = \"/dev/ttyACM0\"\nprobes = [\"dm1/rinse\", \"dm1/wash\"]\n\
        [[source]]\nname = \"two\"\nkind = \"serial\"\ndevice = \"/dev/ttyACM1\"\nprobes = [\"bar/rinse\"]\n";

    // Own promise: a gateway that nothing comes in from is not ready, whatever its ports say; one probe of a source
    // that tells something is enough.
    #[test]
    fn a_source_whose_probes_tell_nothing_is_silent() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("gateway.toml");
        std::fs::write(&path, TWO).expect("a temporary file");
        let configuration = Configuration::load(&[path], []).expect("a sound configuration").configuration;
        for (down, telling, expected) in [
            (&[][..], &["dm1/rinse", "bar/rinse"][..], 0),
            (&[], &["dm1/wash", "bar/rinse"], 0),
            (&[], &["dm1/rinse"], 1),
            (&[], &[], 2),
            (&["one"], &["dm1/rinse", "bar/rinse"], 1),
        ] {
            let tells = |channel: &Channel, _: &Probe| telling.contains(&channel.name.as_str());
            let found = silent(&configuration, |source| down.contains(&source), tells);
            assert_eq!(found, expected, "{down:?} {telling:?}");
        }
    }
}
