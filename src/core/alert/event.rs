//! What the desk is told, and what it asks for.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::notice::Notice;
use super::open::AlertNumber;
use super::people::LETTERS_MIN;
use crate::core::record::Record;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;

/// Something the desk must know.
#[derive(Clone, PartialEq, Debug)]
pub enum Event<'a> {
    /// A record has been committed. Indices rise; one that was handled before is passed over.
    Record {
        /// Its index in the ledger.
        index: u64,
        /// The record.
        record: &'a Record,
    },
    /// Time has passed: due at [`super::Desk::deadline`], harmless at any other instant.
    Tick,
    /// How the gateway itself is doing; wanted about once a minute.
    Health(Health),
    /// The records of calibrations, response tests and withdrawals that cannot be read and still matter, see
    /// [`crate::core::on_file::OnFile::doubts`]; all of them.
    Damaged(&'a [u64]),
    /// The answer to [`Effects::ask_tank`].
    Tank {
        /// Whose tank.
        machine: &'a str,
        /// When it was read.
        at: Timestamp,
        /// The latest usable reading; `None` where there is no fresh one.
        celsius: Option<Celsius>,
    },
    /// A named person takes an alert on.
    Acknowledge {
        /// Which alert.
        alert: AlertNumber,
        /// Who.
        by: &'a str,
        /// How: `link`, `command`, `page`.
        via: &'a str,
        /// What they add.
        note: Option<&'a str>,
    },
    /// A named person writes down the corrective action. Where it covers all racks, it acknowledges the alert too.
    Act {
        /// Which alert.
        alert: AlertNumber,
        /// Who.
        by: &'a str,
        /// What happened to the racks since the last good cycle.
        racks: &'a str,
        /// What was done.
        done: &'a str,
        /// How many of its racks the writer was shown, and so covers; without it all that it counts.
        covers: Option<u64>,
    },
    /// Somebody works on a machine: records are kept, messages held until then.
    /// An `until` that has passed ends a window early.
    Maintenance {
        /// Which machine; `None` for the whole site.
        machine: Option<&'a str>,
        /// Until when.
        until: Timestamp,
        /// Who.
        by: &'a str,
    },
    /// A dialog at a probe of a machine begins, goes on or ends; meanwhile somebody works on the machine.
    Dialog {
        /// Which machine.
        machine: &'a str,
        /// Where the dialog stands.
        stands: DialogStands,
        /// Who.
        by: &'a str,
        /// At what.
        why: &'a str,
    },
    /// Somebody tries the way to a contact.
    Test {
        /// Name of the contact.
        contact: &'a str,
    },
}

/// Where a dialog at a probe stands, see [`Event::Dialog`].
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DialogStands {
    /// It begins.
    Begins,
    /// It has gone on since then.
    GoesOn(Timestamp),
    /// It has ended, and had gone on since then.
    Ended(Timestamp),
}

/// How the gateway itself is doing. `None` is not known, which raises and clears nothing.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Health {
    /// Free share of the ledger's disk, 0 to 1.
    pub disk_free: Option<f64>,
    /// Whether the system says that its clock is synchronised.
    pub clock_synchronised: Option<bool>,
    /// Age of the oldest reading that the time series server has not taken; zero where none waits.
    pub series_behind: Option<Duration>,
}

/// What the desk asks for. Records and notices belong in one commit with the desk's state.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Effects {
    /// Put these on record, in order.
    pub records: Vec<Record>,
    /// Send these, in order.
    pub notices: Vec<Notice>,
    /// Answer for these machines with [`Event::Tank`].
    pub ask_tank: Vec<String>,
}

/// Why a person's wish was not followed. Nothing has changed then.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Refusal {
    /// No open alert has this number.
    #[error("no open alert has the number {alert}")]
    NotOpen {
        /// The number.
        alert: AlertNumber,
    },
    /// Somebody has taken it on before.
    #[error("alert {alert} was acknowledged by {by} at {at}")]
    AlreadyAcknowledged {
        /// The number.
        alert: AlertNumber,
        /// Who did.
        by: String,
        /// When.
        at: Timestamp,
    },
    /// Somebody else wrote the corrective action for these racks just before.
    #[error("the corrective action for these racks of alert {alert} was written by {by} at {at}")]
    AlreadyActed {
        /// The number.
        alert: AlertNumber,
        /// Who did.
        by: String,
        /// When.
        at: Timestamp,
    },
    /// An action cannot cover racks that there are not.
    #[error("racks that alert {alert} counts: {held}; the action was to cover {given}")]
    FewerRacks {
        /// The number.
        alert: AlertNumber,
        /// How many it was to cover.
        given: u64,
        /// How many racks there are.
        held: u64,
    },
    /// No name, or an empty text where one is needed.
    #[error("{what} is missing")]
    Missing {
        /// What is missing.
        what: &'static str,
    },
    /// Longer than [`TEXT_BYTES_MAX`].
    #[error("{what} is longer than {TEXT_BYTES_MAX} bytes")]
    TooLong {
        /// What is too long.
        what: &'static str,
    },
    /// A part of a corrective action that says nothing, see [`says_something`](super::says_something).
    #[error("{what} says nothing: it has fewer than {LETTERS_MIN} letters or digits")]
    SaysNothing {
        /// What says nothing.
        what: &'static str,
    },
    /// The configuration has no such machine.
    #[error("no machine is called «{machine}»")]
    UnknownMachine {
        /// The name.
        machine: String,
    },
    /// The configuration has no such contact.
    #[error("no contact is called «{contact}»")]
    UnknownContact {
        /// The name.
        contact: String,
    },
    /// A maintenance window may not be that long.
    #[error("a maintenance window lasts at most {max_h} hours")]
    TooFarAhead {
        /// Longest, h.
        max_h: u64,
    },
    /// No maintenance window is open there.
    #[error("no maintenance window is open there")]
    NoMaintenance,
}

/// Longest text that a person may enter, in bytes (own choice: a page of writing).
pub const TEXT_BYTES_MAX: usize = 4_000;
