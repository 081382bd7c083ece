//! What people enter: looked at, judged, and made into a record.
//!
//! Commands and pages come here alike. An [`Entry`] says what somebody wants on record. [`prepare`] refuses what cannot be, judges
//! what can, and says which way it goes: a concentration, and an amendment of one, through the
//! core, which judges cycles by it; everything else straight to the ledger.

mod amend;
mod technician;

use serde::{Deserialize, Serialize};

use self::amend::Asked;
use super::ledger;
use super::order::Problem;
use crate::config::resolve::Configuration;
use crate::core::cycle::judge::Concentration;
use crate::core::cycle::plate::Profile;
use crate::core::id::MachineId;
use crate::core::logbook::{self, Impossible, Judgement};
use crate::core::record::{
    Body, CalibrationDone, Check, CheckKind, Note, ProvenProbe, Record, ResponseDone, SignedOff, Supply,
    WiringProofDone,
};
use crate::core::site::Entered;
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader};

/// What somebody wants on record.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "entry", rename_all = "kebab-case")]
pub(super) enum Entry {
    /// A check.
    Check {
        /// Of which machine; `None` is the whole site.
        machine: Option<String>,
        /// What was found.
        check: Check,
        /// Whether one from long ago is meant.
        #[serde(default)]
        late: bool,
    },
    /// A note.
    Note {
        /// About which machine; `None` is the whole site.
        machine: Option<String>,
        /// What is noted.
        note: Note,
        /// Whether one from long ago is meant.
        #[serde(default)]
        late: bool,
    },
    /// A machine is signed off, with all that was seen by whoever signs.
    SignOff {
        /// Which.
        machine: String,
        /// What is signed.
        signed: Box<SignedOff>,
    },
    /// The wiring of a machine was proved.
    WiringProof {
        /// Which.
        machine: String,
        /// What was found.
        done: Box<WiringProofDone>,
    },
    /// A probe was calibrated. Only its points, its names and its days are taken; what follows
    /// from them is worked out here.
    Calibration {
        /// What was done.
        done: Box<CalibrationDone>,
    },
    /// The time constant of a probe was measured.
    Response {
        /// What was done.
        done: Box<ResponseDone>,
    },
    /// What is to be known of an earlier record.
    Amendment {
        /// Index of that record.
        of: u64,
        /// Why.
        reason: String,
        /// Who says so.
        by: String,
        /// What is to be known.
        change: Change,
    },
}

/// What an amendment is to say.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Change {
    /// Only the reason is to be read beside the record.
    Comment,
    /// It counts no more.
    Withdraw,
    /// It counts with these values in place of those it has.
    Correct(Box<Correction>),
}

/// The values of a check that were entered wrong; what is absent stays.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Correction {
    /// When it was made.
    pub(super) at: Option<Timestamp>,
    /// Concentration, mg/L.
    pub(super) mg_per_l: Option<f64>,
    /// pH.
    pub(super) ph: Option<f64>,
    /// Temperature of the solution, °C.
    pub(super) solution_c: Option<f64>,
    /// How it was measured.
    pub(super) method: Option<String>,
    /// Whether the supplies were there or filled up.
    pub(super) enough: Option<bool>,
    /// What is short; nothing that has a name where it is empty.
    pub(super) short: Option<Vec<Supply>>,
    /// The note.
    pub(super) note: Option<String>,
    /// What the thermometer showed, °C.
    pub(super) shown_c: Option<f64>,
    /// What the reference showed, °C.
    pub(super) reference_c: Option<f64>,
}

/// What a check that was entered came to.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub(super) struct Judged {
    /// Its kind.
    pub(super) check: CheckKind,
    /// The judgement.
    #[serde(flatten)]
    pub(super) judgement: Judgement,
}

/// An entry that can go on record.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Prepared {
    /// The machine it is about.
    pub(super) machine: Option<String>,
    /// What goes on record.
    pub(super) way: Way,
    /// What a check came to.
    pub(super) judged: Option<Judged>,
    /// What goes on record of a calibration or a response test.
    pub(super) recorded: Option<Box<Body>>,
    /// How long after it was made it is entered, s, where that is late.
    pub(super) late_s: Option<f64>,
}

/// Which way an entry goes to the record.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum Way {
    /// Through the core, since cycles are judged by it.
    Core(MachineId, Entered),
    /// Straight to the ledger.
    Ledger(Box<Record>),
}

impl Entry {
    /// The entry with the name of whoever entered it put through `signed`.
    #[must_use]
    pub(super) fn signed(mut self, signed: impl Fn(String) -> String) -> Self {
        let by = match &mut self {
            Self::Check { check, .. } => check.by_mut(),
            Self::Note { note, .. } => &mut note.by,
            Self::SignOff { signed, .. } => &mut signed.by,
            Self::WiringProof { done, .. } => &mut done.by,
            Self::Calibration { done } => &mut done.by,
            Self::Response { done } => &mut done.by,
            Self::Amendment { by, .. } => by,
        };
        *by = signed(std::mem::take(by));
        self
    }
}

/// Looks at an entry at `now`, judges it, and says how it goes on record. The ledger is read
/// for an amendment and for what is in force of a probe; `configuration` is as it is configured.
///
/// # Errors
/// [`Problem`] where it cannot be; nothing was recorded then.
pub(super) fn prepare(
    entry: Entry,
    configuration: &Configuration,
    now: Timestamp,
    reader: impl FnOnce() -> Result<Reader, Problem>,
) -> Result<Prepared, Problem> {
    let machines = &configuration.machines;
    match entry {
        Entry::Check { machine, check, late } => prepare_check(machine, check, late, machines, now),
        Entry::Note { machine, note, late } => {
            machine.as_deref().map(|name| place_of(name, machines)).transpose()?;
            logbook::text(logbook::Field::Note, &note.text)
                .and_then(|()| logbook::name(logbook::Field::By, &note.by))
                .and_then(|()| note.at.map_or(Ok(()), |at| logbook::time(at, now, late)))
                .map_err(impossible)?;
            let late_s = note.at.and_then(|at| late_by_s(at, now));
            let way = Way::Ledger(Box::new(Record::new(now, machine.clone(), Body::Note(note))));
            Ok(Prepared { machine, way, judged: None, recorded: None, late_s })
        }
        Entry::SignOff { machine, mut signed } => {
            place_of(&machine, machines)?;
            logbook::name(logbook::Field::By, &signed.by)
                .and_then(|()| {
                    signed.note.as_deref().map_or(Ok(()), |note| logbook::text(logbook::Field::Note, note))
                })
                .map_err(impossible)?;
            signed.at = now;
            let way = Way::Ledger(Box::new(Record::new(now, Some(machine.clone()), Body::SignOff(signed))));
            Ok(Prepared { machine: Some(machine), way, judged: None, recorded: None, late_s: None })
        }
        Entry::WiringProof { machine, done } => prepare_proof(machine, done, machines, now),
        Entry::Calibration { done } => technician::calibration(done, configuration, now, &reader()?),
        Entry::Response { done } => technician::response(done, configuration, now, &reader()?),
        Entry::Amendment { of, reason, by, change } => {
            let written = logbook::text(logbook::Field::Reason, &reason);
            written.and_then(|()| logbook::name(logbook::Field::By, &by)).map_err(impossible)?;
            let ask = Asked { of, reason, by, change };
            ask.prepared(&reader()?, configuration, now)
        }
    }
}

fn prepare_check(
    machine: Option<String>,
    check: Check,
    late: bool,
    machines: &[Profile],
    now: Timestamp,
) -> Result<Prepared, Problem> {
    let place = machine.as_deref().map(|name| place_of(name, machines)).transpose()?;
    let profile = place.map(|place| &machines[place]);
    if matches!(check, Check::Sanitizer { .. }) && place.is_none() {
        let advice = "name the machine that it was measured at";
        let refusal = refused("a concentration belongs to one machine", advice);
        return Err(refusal.about(Some("machine")));
    }
    logbook::admit(&check, profile.map(|profile| profile.sanitizing), now, late).map_err(impossible)?;
    let judged = judged(&check, profile);
    let late_s = late_by_s(check.at(), now);
    let body = |check| Box::new(Record::new(now, machine.clone(), Body::Check(check)));
    let way = match (place.map(id_of), Concentration::of(&check)) {
        (Some(id), Some(_)) => Way::Core(id, Entered::Check(check)),
        (_, _) => Way::Ledger(body(check)),
    };
    Ok(Prepared { machine, way, judged: Some(judged), recorded: None, late_s })
}

fn prepare_proof(
    machine: String,
    mut done: Box<WiringProofDone>,
    machines: &[Profile],
    now: Timestamp,
) -> Result<Prepared, Problem> {
    place_of(&machine, machines)?;
    logbook::name(logbook::Field::By, &done.by)
        .and_then(|()| logbook::time(done.at, now, false))
        .map_err(impossible)?;
    let of_machine =
        |probe: &ProvenProbe| probe.probe.rsplit_once('/').is_some_and(|(named, _)| named == machine);
    if done.probes.is_empty() || !done.probes.iter().all(of_machine) {
        return Err(refused("a proof is about the probes of its machine", "prove it anew"));
    }
    done.good = done.probes.iter().all(|probe| probe.good);
    let way = Way::Ledger(Box::new(Record::new(now, Some(machine.clone()), Body::WiringProof(done))));
    Ok(Prepared { machine: Some(machine), way, judged: None, recorded: None, late_s: None })
}

fn judged(check: &Check, profile: Option<&Profile>) -> Judged {
    Judged { check: check.kind(), judgement: logbook::judge_known(check, profile) }
}

/// How long after it was made something is entered, s, where that is late.
fn late_by_s(at: Timestamp, now: Timestamp) -> Option<f64> {
    logbook::lateness(at, now).map(|late| late.as_secs_f64())
}

fn position(name: &str, machines: &[Profile]) -> Option<usize> {
    machines.iter().position(|machine| machine.name == name)
}

fn place_of(name: &str, machines: &[Profile]) -> Result<usize, Problem> {
    position(name, machines).ok_or_else(|| {
        let advice = "give the name that the machine has in the configuration";
        refused(&format!("no machine is called «{name}»"), advice).about(Some("machine"))
    })
}

fn id_of(place: usize) -> MachineId {
    // The configuration refuses more than 65,536 machines.
    MachineId(u16::try_from(place).unwrap_or(u16::MAX))
}

fn impossible(error: Impossible) -> Problem {
    let field = error.field();
    let advice = match error {
        Impossible::OutOfRange { .. } => "look at the number and its unit, and enter what was read",
        Impossible::Future { .. } => "enter it once it is done; check the clock of the gateway and its zone",
        Impossible::TooOld { .. } => {
            "check month and year; add --late where it was made then and is entered only now"
        }
        Impossible::NoColour { .. } => {
            "enter the colour that the strip shows, and between two the weaker one, or the stronger one where that is \
             above what is permitted; the number of another kit goes with its own method, such as --method titration"
        }
        Impossible::NotChemical => "check which machine was meant; a hot-water machine needs no strip",
        Impossible::Both => "say what is short, or that everything is there",
        Impossible::Missing { .. } => "say who it is and what was found",
        Impossible::TooLong { .. } => "say it in fewer words",
        Impossible::ControlCharacter { .. } => "write it in plain letters",
    };
    refused(&error.to_string(), advice).about(Some(field.as_str()))
}

fn refused(summary: &str, advice: &str) -> Problem {
    Problem::new("entry-refused", summary, advice)
}

/// Why the ledger could not be read for an amendment.
pub(super) fn unread(error: &LedgerError) -> Problem {
    let diagnostic = ledger::diagnose(error, std::path::Path::new(""));
    Problem::new(diagnostic.slug(), error.to_string(), "rinseward history says more of the ledger")
}
