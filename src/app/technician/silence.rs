//! Whether it is the source that is silent, not the probe: nothing is then found of the probe.
//!
//! A source that goes down, and a unit that does not answer, say so as a fault of each of their probes:
//! such a reading tells nothing of the probe. What is known of a source ends where it goes down.

use std::collections::{BTreeMap, BTreeSet};

use crate::app::Failure;
use crate::app::live::LiveEvent;
use crate::core::reader::{Language, said};
use crate::core::reading::Fault;
use crate::core::wiring::{Evidence, Finding, Found};
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

/// Why nothing is found of a probe.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(in crate::app) enum Excuse {
    /// Its unit does not answer as it must.
    Unit {
        /// Name of the source.
        source: String,
        /// Address of the unit.
        unit: u8,
        /// How it stands.
        state: UnitState,
    },
    /// Nothing came of it, and these sources are down, each with the cause.
    Down(BTreeMap<String, String>),
    /// While it was tried its unit did not answer, or its source was down; by then it is over.
    Over,
}

impl Excuse {
    /// What is wrong, and each cause.
    fn told(&self, probe: &str, language: Language) -> (String, Vec<String>) {
        let english = language == Language::English;
        match self {
            Self::Unit { source, unit, state } => {
                let summary = if english {
                    format!(
                        "nothing came of {probe}, since its unit did not answer in time: nothing was put on record"
                    )
                } else {
                    format!(
                        "no llegó nada de {probe}, pues su unidad no respondió a tiempo: no se registró nada"
                    )
                };
                (
                    summary,
                    stood(*state, language)
                        .map(|stood| of_unit(source, *unit, stood, language))
                        .into_iter()
                        .collect(),
                )
            }
            Self::Down(sources) => {
                let summary = if english {
                    format!("nothing came of {probe}, since a source was down: nothing was put on record")
                } else {
                    format!("no llegó nada de {probe}, pues una fuente estaba caída: no se registró nada")
                };
                (summary, sources.iter().map(|(source, cause)| format!("{source}: {cause}")).collect())
            }
            Self::Over => {
                let summary = if english {
                    format!(
                        "nothing came of {probe} while it was tried, since its unit or its source did not answer: \
                         nothing was put on record"
                    )
                } else {
                    format!(
                        "no llegó nada de {probe} durante la prueba, pues su unidad o su fuente no respondía: no se \
                         registró nada"
                    )
                };
                (summary, Vec::new())
            }
        }
    }

    /// As whoever holds a phone at the machine is told it: what is wrong, and what to do.
    pub(in crate::app) fn at_the_page(&self, probe: &str, language: Language) -> (String, String) {
        let (summary, causes) = self.told(probe, language);
        let advice = said(
            language,
            "Try that probe again once it shows a value",
            "Pruebe otra vez esa sonda cuando muestre un valor",
        );
        ([vec![summary], causes].concat().join("; "), advice.to_owned())
    }

    /// As whoever typed a command is told it, in English as every diagnostic.
    pub(in crate::app) fn diagnostic(&self, probe: &str) -> Diagnostic {
        let (summary, causes) = self.told(probe, Language::English);
        let told = causes.into_iter().fold(Diagnostic::error("source-lost", summary), Diagnostic::cause);
        match self {
            Self::Unit { .. } | Self::Over => {
                told.advice("begin again once rinseward watch shows a value of it")
            }
            Self::Down(_) => told
                .advice("rinseward ports says which ports there are, who holds each, and who may open it")
                .advice("begin again once the source is up"),
        }
    }
}

/// How a unit stood while a probe behind it was tried, and what to do. It is told when that is over, and the unit may
/// answer again.
const fn stood(state: UnitState, language: Language) -> Option<&'static str> {
    Some(match state {
        UnitState::Silent => said(
            language,
            "did not answer: where it is still so, look at its supply, its address, baud rate and parity, and whether \
             the two wires are exchanged",
            "no respondió: si sigue así, mire su alimentación, su dirección, la velocidad y la paridad, y si los dos \
             hilos están cambiados",
        ),
        UnitState::Late => said(
            language,
            "answered, but after its time-out: raise time-out of this unit in the configuration",
            "respondió, pero fuera de plazo: suba time-out de esta unidad en la configuración",
        ),
        UnitState::Garbled => said(
            language,
            "answered what could not be read: look for two units of one address, another parity, or a missing \
             terminating resistor",
            "respondió algo ilegible: busque dos unidades con una dirección, otra paridad o una resistencia de \
             terminación que falta",
        ),
        // An answer, and so no excuse.
        UnitState::Answers | UnitState::Refuses { .. } => return None,
    })
}

fn of_unit(source: &str, unit: u8, stood: &str, language: Language) -> String {
    match language {
        Language::English => format!("unit {unit} of «{source}» {stood}"),
        Language::Spanish => format!("la unidad {unit} de «{source}» {stood}"),
    }
}

impl Silence {
    /// What is known by these events.
    pub(in crate::app) fn of(known: &[LiveEvent]) -> Self {
        let mut silence = Self::default();
        known.iter().for_each(|event| silence.take(event));
        silence
    }

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
                self.units.retain(|_, (of, ..)| *of != source.source);
                // Nobody knows which probes were heard by it; those of another are heard again.
                self.heard.clear();
            }
            LiveEvent::Begun(_)
            | LiveEvent::Refused { .. }
            | LiveEvent::Lost { .. }
            | LiveEvent::Ended { .. } => {}
        }
    }

    /// Why what was found of a probe is none of the probe's, just after it was found.
    pub(in crate::app) fn excuse(&self, probe: &str, found: &Found) -> Option<Excuse> {
        match (found.finding, &found.evidence) {
            (Finding::Dead, Evidence::NoValue { fault: Some(Fault::Silent) }) => {
                self.of_unit(probe).or_else(|| self.of_source(probe)).or(Some(Excuse::Over))
            }
            (Finding::Dead, _) => self.of_unit(probe).or_else(|| self.of_source(probe)),
            (
                Finding::Answers
                | Finding::Swapped
                | Finding::Reversed
                | Finding::WrongType
                | Finding::WrongPlace
                | Finding::NotAtRest
                | Finding::TooWarm
                | Finding::StillRising,
                _,
            ) => None,
        }
    }

    fn of_unit(&self, probe: &str) -> Option<Excuse> {
        let (source, unit, state) = self.units.get(probe)?;
        Some(Excuse::Unit { source: source.clone(), unit: *unit, state: *state })
    }

    fn of_source(&self, probe: &str) -> Option<Excuse> {
        let heard = self.heard.contains(probe);
        (!heard && !self.down.is_empty()).then(|| Excuse::Down(self.down.clone()))
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
        let excuse = self.of_unit(probe).or_else(|| self.of_source(probe));
        excuse.map_or(Ok(()), |excuse| Err(excuse.diagnostic(probe).into()))
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

    fn dead(fault: Option<Fault>) -> Found {
        Found { finding: Finding::Dead, evidence: Evidence::NoValue { fault }, instead: None }
    }

    // Own promise: what came before a source went down, and a silence that is over, are no findings either.
    #[test]
    fn a_source_that_went_down_since_or_came_back_is_no_dead_probe() {
        let mut silence = Silence::default();
        for event in [source(true), reading(None)] {
            silence.take(&event);
        }
        assert_eq!(silence.excuse("dm1/rinse", &dead(None)), None, "it is the probe's own");
        assert_eq!(silence.excuse("dm1/rinse", &dead(Some(Fault::Silent))), Some(Excuse::Over));
        silence.take(&source(false));
        let excuse = silence.excuse("dm1/rinse", &dead(Some(Fault::Silent)));
        assert!(matches!(&excuse, Some(Excuse::Down(sources)) if sources.len() == 1), "{excuse:?}");
        silence.take(&source(true));
        let over = silence.excuse("dm1/rinse", &dead(Some(Fault::Silent))).expect("nothing came of it");
        let told = over.diagnostic("dm1/rinse").to_string();
        assert!(over == Excuse::Over && told.contains("source-lost") && told.contains("dm1/rinse"), "{told}");
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
            (UnitState::Silent, Some("unit 7 of «bus» did not answer")),
            (UnitState::Late, Some("raise time-out of this unit")),
            (UnitState::Garbled, Some("what could not be read")),
            (UnitState::Refuses { function: 4, register: 0, exception: 2 }, None),
            (UnitState::Answers, None),
        ] {
            silence.take(&unit(state));
            let excuse = silence.excuse("dm1/rinse", &dead(None));
            let refused = excuse.map(|excuse| excuse.diagnostic("dm1/rinse").to_string());
            assert_eq!(refused.is_some(), part.is_some(), "{state:?}: {refused:?}");
            // It is told after the try: a unit that answers again is not said to be silent now.
            let past = |said: &str| !said.contains("does not answer") && !said.contains(" answers ");
            assert!(
                refused.is_none_or(|said| part.is_some_and(|part| said.contains(part)) && past(&said)),
                "{state:?}"
            );
            assert_eq!(silence.excuse("dm1/wash", &dead(None)), None);
            assert!(silence.unless_of_source("dm1/rinse").is_ok(), "something was heard of it");
        }
    }
}
