//! Whether it is the source that is silent, not the probe: nothing is then found of the probe.
//!
//! A source that goes down, and a unit that does not answer, say so as a fault of each of their probes:
//! such a reading tells nothing of the probe.

use std::collections::{BTreeMap, BTreeSet};

use crate::app::Failure;
use crate::app::live::LiveEvent;
use crate::app::watch;
use crate::core::reader::Language;
use crate::core::reading::Fault;
use crate::diagnostic::Diagnostic;
use crate::probe::UnitState;

/// What was heard so far of sources and probes.
#[derive(Debug, Default)]
pub(in crate::app) struct Silence {
    /// Sources that are down, each with the cause.
    down: BTreeMap<String, String>,
    /// Probes of which something was heard that says something of them.
    heard: BTreeSet<String>,
    /// Probes whose unit does not answer as it must: source, unit, how it stands.
    units: BTreeMap<String, (String, u8, UnitState)>,
}

impl Silence {
    /// Takes what came.
    pub(in crate::app) fn take(&mut self, event: &LiveEvent) {
        match event {
            LiveEvent::Reading(reading) if reading.fault == Some(Fault::Silent) => {}
            LiveEvent::Reading(reading) => {
                self.heard.insert(reading.channel.clone());
            }
            LiveEvent::Unit(unit) => {
                for channel in &unit.channels {
                    match unit.state {
                        UnitState::Silent | UnitState::Late | UnitState::Garbled => {
                            let seen = (unit.source.clone(), unit.unit, unit.state);
                            self.units.insert(channel.clone(), seen);
                        }
                        // A refusal is an answer: it is about this register, and so about this probe.
                        UnitState::Answers | UnitState::Refuses { .. } => {
                            self.units.remove(channel);
                        }
                    }
                }
            }
            LiveEvent::Source(source) if source.up => {
                self.down.remove(&source.source);
            }
            LiveEvent::Source(source) => {
                self.down.insert(source.source.clone(), source.cause.clone().unwrap_or_default());
            }
            LiveEvent::Begun(_)
            | LiveEvent::Refused { .. }
            | LiveEvent::Lost { .. }
            | LiveEvent::Ended { .. } => {}
        }
    }

    /// Refuses to find anything of a probe whose unit does not answer just now.
    ///
    /// # Errors
    /// `source-lost`, with how the unit stands and what to look at.
    pub(in crate::app) fn unless_of_unit(&self, probe: &str) -> Result<(), Failure> {
        let Some((source, unit, state)) = self.units.get(probe) else { return Ok(()) };
        let summary = format!(
            "nothing came of {probe}, since its unit does not answer in time: nothing was put on record"
        );
        let note = watch::words::unit_note(Language::English, source, *unit, *state);
        let diagnostic = note.into_iter().fold(Diagnostic::error("source-lost", summary), Diagnostic::cause);
        Err(diagnostic.advice("begin again once rinseward watch shows a value of it").into())
    }

    /// Refuses to find anything of a probe of which nothing came while its unit does not answer, or a source is
    /// down.
    ///
    /// # Errors
    /// `source-lost`, with the unit, or each source that is down, and why.
    pub(in crate::app) fn unless_of_source(&self, probe: &str) -> Result<(), Failure> {
        if self.heard.contains(probe) {
            return Ok(());
        }
        self.unless_of_unit(probe)?;
        if self.down.is_empty() {
            return Ok(());
        }
        let summary = format!("nothing came of {probe}, and a source is down: nothing was put on record");
        let mut diagnostic = Diagnostic::error("source-lost", summary);
        for (source, cause) in &self.down {
            diagnostic = diagnostic.cause(format!("{source}: {cause}"));
        }
        Err(diagnostic
            .advice("rinseward ports says which ports there are, who holds each, and who may open it")
            .advice("begin again once the source is up")
            .into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::live::{LiveReading, LiveRole, SourceSeen, UnitSeen};
    use crate::core::reading::Value;

    fn source(up: bool) -> LiveEvent {
        let cause = (!up).then(|| "cannot open: no such file".to_owned());
        LiveEvent::Source(SourceSeen { source: "port1".to_owned(), up, cause })
    }

    // Own promise: what a source that is down cannot tell is no finding about a probe.
    #[test]
    fn a_silent_source_is_no_dead_probe() {
        let mut silence = Silence::default();
        assert!(silence.unless_of_source("dm1/rinse").is_ok(), "no source is known to be down");
        silence.take(&source(false));
        let refused = silence.unless_of_source("dm1/rinse").expect_err("a source is down").to_string();
        for part in ["source-lost", "port1: cannot open: no such file", "rinseward ports"] {
            assert!(refused.contains(part), "{part} in {refused}");
        }
        // What the source says in the name of a probe when it goes down is nothing of the probe's.
        silence.take(&reading(Some(Fault::Silent)));
        assert!(silence.unless_of_source("dm1/rinse").is_err());
        silence.take(&reading(Some(Fault::OpenCircuit)));
        assert!(silence.unless_of_source("dm1/rinse").is_ok());
        silence.take(&source(true));
        assert!(silence.unless_of_source("dm1/rinse").is_ok());
    }

    fn reading(fault: Option<Fault>) -> LiveEvent {
        let at = crate::core::cycle::fixture::at(0.0);
        LiveEvent::Reading(LiveReading {
            channel: "dm1/rinse".to_owned(),
            machine: "dm1".to_owned(),
            role: LiveRole::Probe,
            place: None,
            at,
            arrived: at,
            delivered: Value::Number(20.0),
            measured: None,
            corrected: None,
            fault,
        })
    }

    // Own promise: a unit that is silent, slow or illegible is no finding about the probes behind it; one that
    // refuses a register says something of that probe.
    #[test]
    fn a_unit_that_does_not_answer_in_time_is_no_dead_probe() {
        let unit = |state| {
            let (source, channels) = ("bus".to_owned(), vec!["dm1/rinse".to_owned()]);
            LiveEvent::Unit(UnitSeen { source, unit: 7, channels, state })
        };
        let mut silence = Silence::default();
        silence.take(&reading(None));
        for (state, part) in [
            (UnitState::Silent, Some("unit 7 of «bus» does not answer")),
            (UnitState::Late, Some("raise time-out of this unit")),
            (UnitState::Garbled, Some("what cannot be read")),
            (UnitState::Refuses { function: 4, register: 0, exception: 2 }, None),
            (UnitState::Answers, None),
        ] {
            silence.take(&unit(state));
            let refused = silence.unless_of_unit("dm1/rinse").err().map(|error| error.to_string());
            assert_eq!(refused.is_some(), part.is_some(), "{state:?}: {refused:?}");
            assert!(refused.is_none_or(|said| part.is_some_and(|part| said.contains(part))), "{state:?}");
            assert!(silence.unless_of_unit("dm1/wash").is_ok());
            assert!(silence.unless_of_source("dm1/rinse").is_ok(), "something was heard of it");
        }
    }
}
