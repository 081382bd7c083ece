//! What a person can ask the gateway for, by command, link or page, and what comes of it.
//!
//! The same [`Order`] goes through the control socket to the running service, or is
//! done on the ledger itself where no service runs; `alerts::counter` does both.

use serde::{Deserialize, Serialize};

use super::Failure;
use super::door::Peer;
use super::logbook::{Entry, Judged};
use crate::core::alert::trial::Told;
use crate::core::alert::{Alert, AlertNumber, DialogStands};
use crate::core::logbook::{self, Impossible};
use crate::core::record::Body;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;

/// What a person asks for.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "order", rename_all = "kebab-case")]
pub(super) enum Order {
    /// Takes an alert on.
    Acknowledge {
        /// Which.
        alert: AlertNumber,
        /// Who.
        by: String,
        /// How: `link`, `command`.
        via: String,
        /// What they add.
        note: Option<String>,
    },
    /// Writes down the corrective action.
    Act {
        /// For which alert.
        alert: AlertNumber,
        /// Who.
        by: String,
        /// What happened to the racks.
        racks: String,
        /// What was done.
        done: String,
        /// How many of its racks the writer was shown, and so covers; without it all that it counts.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        covers: Option<u64>,
    },
    /// Works on a machine.
    Maintenance {
        /// Which; `None` is the whole site.
        machine: Option<String>,
        /// Until when; a time that has passed ends it.
        until: Timestamp,
        /// Who.
        by: String,
    },
    /// Is at a dialog at a probe of a machine.
    Dialog {
        /// Which machine.
        machine: String,
        /// Where the dialog stands.
        stands: DialogStands,
        /// Who.
        by: String,
        /// At what.
        why: String,
    },
    /// Enters a check, a note or an amendment.
    Entry {
        /// What is entered.
        #[serde(flatten)]
        entry: Entry,
    },
    /// Keeps readings from being pruned, or allows it again.
    Hold {
        /// Whether nothing may be pruned from here on.
        on: bool,
        /// Why.
        reason: String,
        /// Who.
        by: String,
    },
}

/// Asks for a new signing key.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct KeyRotation {
    /// Who.
    pub(super) by: String,
}

impl KeyRotation {
    /// That of somebody at this computer, as [`Order::signed`].
    ///
    /// # Errors
    /// [`Problem`] where nobody is named, or by what is no name, see [`logbook::name`].
    pub(super) fn signed(self, peer: &Peer) -> Result<Self, Problem> {
        let refused = |error: Impossible| {
            Problem::new("usage", format!("{error} (--by)"), "say who it is, in one line")
        };
        logbook::name(logbook::Field::By, &self.by).map_err(refused)?;
        Ok(Self { by: format!("{} ({peer})", self.by.trim()) })
    }
}

/// A new signing key. It is on record.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub(super) struct Rotated {
    /// The new public key, `name+id+base64`.
    pub(super) key: String,
}

/// What an order came to. It is on record.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub(super) struct Done {
    /// The alert as it is afterwards.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) alert: Option<Alert>,
    /// How many racks of the alert a corrective action covers.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) covers: Option<u64>,
    /// Index in the ledger of the first record it made.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) record: Option<u64>,
    /// Until when the machine of a dialog counts as worked on.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) worked_on_until: Option<Timestamp>,
    /// When a dialog was heard of, by the clock of the service.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) heard: Option<Timestamp>,
    /// How soon the service wants to hear of a dialog again, in seconds of the world.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) again_s: Option<f64>,
    /// What a check that was entered came to.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) judged: Option<Judged>,
    /// What is on record of a calibration or a response test.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) recorded: Option<Box<Body>>,
    /// How long after it was made a check or a note was entered, s, where that is late.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) late_s: Option<f64>,
    /// Whether no service runs, so that nothing is sent until one does. Whoever did it alone knows.
    #[serde(skip)]
    pub(super) alone: bool,
}

/// What a test is to try.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct TestOrder {
    /// SHA-256 of the configuration whose channels are meant, in hexadecimal. The service tries
    /// only its own, and says so where that is another.
    pub(super) configuration: String,
}

/// One step of a test.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct Step {
    /// By which route.
    pub(super) route: String,
    /// What was tried.
    pub(super) what: String,
    /// Whether it went well.
    pub(super) good: bool,
    /// What came of it, in English.
    pub(super) said: String,
    /// The same as a fact.
    pub(super) told: Told,
}

/// What a test through every channel came to.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub(super) struct Trial {
    /// Every step, in order.
    pub(super) steps: Vec<Step>,
}

/// Why nothing was done, in the parts of a [`Diagnostic`].
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct Problem {
    /// Slug of the message.
    pub(super) slug: String,
    /// What is wrong.
    pub(super) summary: String,
    /// What to do.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) advice: Option<String>,
    /// Which value of an entry it is about, see [`Impossible::field`](crate::core::logbook::Impossible::field).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) field: Option<String>,
}

impl Problem {
    pub(super) fn new(slug: &str, summary: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { slug: slug.to_owned(), summary: summary.into(), advice: Some(advice.into()), field: None }
    }

    /// The same, about this value of an entry.
    pub(super) fn about(self, field: Option<&str>) -> Self {
        Self { field: field.map(str::to_owned), ..self }
    }
}

impl From<Problem> for Failure {
    fn from(problem: Problem) -> Self {
        let diagnostic = Diagnostic::error(&problem.slug, problem.summary);
        match problem.advice {
            Some(advice) => diagnostic.advice(advice).into(),
            None => diagnostic.into(),
        }
    }
}

impl Order {
    /// The order of somebody at this computer: beside the name that was given stands the user's.
    #[must_use]
    pub(super) fn signed(self, peer: &Peer) -> Self {
        let signed = |by: String| {
            let by = by.trim();
            if by.is_empty() { String::new() } else { format!("{by} ({peer})") }
        };
        match self {
            Self::Acknowledge { alert, by, note, .. } => {
                Self::Acknowledge { alert, by: signed(by), via: "command".to_owned(), note }
            }
            Self::Act { alert, by, racks, done, covers } => {
                Self::Act { alert, by: signed(by), racks, done, covers }
            }
            Self::Maintenance { machine, until, by } => Self::Maintenance { machine, until, by: signed(by) },
            Self::Dialog { machine, stands, by, why } => {
                Self::Dialog { machine, stands, by: signed(by), why }
            }
            Self::Entry { entry } => Self::Entry { entry: entry.signed(signed) },
            Self::Hold { on, reason, by } => Self::Hold { on, reason, by: signed(by) },
        }
    }
}
