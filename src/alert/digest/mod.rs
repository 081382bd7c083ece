//! The digest: yesterday, or last week, on one screen.
//!
//! [`tally::Tally`] adds up records into a [`Digest`], which is what the letter
//! holds; [`compose`] puts it into words when it is sent. Machines with racks that
//! are bad or in doubt come first; only so many machines are named that the whole
//! stays short.
//!
//! The digest carries a checkpoint of the ledger, so that somebody else holds
//! it. That it comes at all is a sign of life: README.md says how its absence
//! is noticed.

pub mod checks;
pub mod tally;
mod write;

#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

use crate::core::alert::Alert;
use crate::core::cycle::counts::Counts;
use crate::core::reader::{Language, Reader};
use crate::core::time::Timestamp;

pub use checks::FailedCheck;
pub use tally::{Standing, Tally};
pub use write::{compose, headline};

/// What a digest is about.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Span {
    /// One day.
    Day,
    /// One week.
    Week,
}

/// One digest, for programs as it is.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Digest {
    /// Day or week.
    pub span: Span,
    /// First instant.
    pub from: Timestamp,
    /// First instant after it.
    pub to: Timestamp,
    /// Every machine, by name.
    pub machines: Vec<MachineDigest>,
    /// The days of a week on which racks were washed; empty for a day.
    pub days: Vec<DayDigest>,
    /// Alerts raised.
    pub raised: u64,
    /// Alerts closed.
    pub closed: u64,
    /// Alerts that are open, overdue checks among them.
    pub open: Vec<Alert>,
    /// Checks that were due in the span and not made in time, also where they were made late.
    pub missed_checks: u64,
    /// Checks that failed, by machine and time; those that were withdrawn are left out.
    pub failed_checks: Vec<FailedCheck>,
    /// Records since the start of the span that cannot be read: they are in none of the numbers.
    #[serde(default)]
    pub unreadable: u64,
    /// The ledger as it was when the digest was made.
    pub checkpoint: Option<Checkpoint>,
}

/// One machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct MachineDigest {
    /// Its name.
    pub machine: String,
    /// Its racks by verdict.
    pub counts: Counts,
    /// Those of the racks that passed which are in doubt since by an alert.
    pub in_doubt: u64,
    /// The coldest settled minimum.
    pub coldest: Option<Coldest>,
    /// Stretches of the operating hours in which a probe or the service gave nothing, see [`crate::core::monitored`].
    pub gaps: u64,
    /// Their length together, s.
    pub gap_s: f64,
    /// Share of the operating hours that was monitored, 0 to 1: all but the gaps. Absent where there were no hours.
    pub monitored: Option<f64>,
}

/// The coldest rack.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Coldest {
    /// Its settled minimum, °C.
    pub celsius: f64,
    /// Its limit, °C.
    pub limit_c: f64,
    /// Start of its final rinse.
    pub at: Timestamp,
}

/// One day of a week.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct DayDigest {
    /// Its local date, «2026-11-25».
    pub date: String,
    /// Racks of all machines by verdict.
    pub counts: Counts,
    /// Those that passed and are in doubt since.
    pub in_doubt: u64,
}

/// Size and root hash of the ledger's Merkle tree: the three lines of a C2SP tlog-checkpoint, and
/// the whole of it where it is signed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Checkpoint {
    /// Whose ledger.
    pub origin: String,
    /// Number of records.
    pub records: u64,
    /// Root hash (RFC 6962, 2.1) in base64.
    pub root: String,
    /// The signed note that says the same, to be kept as it is; absent where nothing was signed.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
}

/// The `data` of the event of a digest: the numbers, and what they come to in words.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct DigestData<'a> {
    /// The numbers.
    #[serde(flatten)]
    pub digest: &'a Digest,
    /// Language of `summary`: `en`, `es`.
    pub language: Language,
    /// All of it in one line, for people.
    pub summary: String,
}

/// What a digest needs to know beside its numbers.
#[derive(Clone, Debug)]
pub struct Facts<'a> {
    /// Name of the site.
    pub site: &'a str,
    /// How it is read.
    pub reader: Reader,
    /// Address of the pages.
    pub link: Option<&'a str>,
}

/// A digest in words.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct DigestMessage {
    /// Subject of a mail.
    pub subject: String,
    /// Plain text.
    pub text: String,
    /// HTML with inline styles, and without anything to fetch.
    pub html: String,
}

impl MachineDigest {
    /// Racks that were not sanitized as they must be, or are in doubt.
    #[must_use]
    pub const fn bad_or_doubted(&self) -> u64 {
        self.counts.bad() + self.in_doubt
    }
}

impl Digest {
    /// All machines together.
    #[must_use]
    pub fn total(&self) -> Counts {
        self.machines.iter().fold(Counts::default(), |sum, machine| sum.plus(machine.counts))
    }

    /// Racks of all machines that passed and are in doubt since.
    #[must_use]
    pub fn in_doubt(&self) -> u64 {
        self.machines.iter().map(|machine| machine.in_doubt).sum()
    }

    /// The machine whose picture is worth sending: most racks that were bad or are in doubt, then most unproven ones,
    /// then the smallest margin. `None` where nothing was washed.
    #[must_use]
    pub fn most_telling(&self) -> Option<&MachineDigest> {
        let margin = |machine: &MachineDigest| {
            machine.coldest.map_or(f64::INFINITY, |coldest| coldest.celsius - coldest.limit_c)
        };
        self.machines.iter().filter(|machine| machine.counts.total() > 0).min_by(|one, other| {
            let count = |machine: &MachineDigest| (machine.bad_or_doubted(), machine.counts.unproven);
            count(other).cmp(&count(one)).then(margin(one).total_cmp(&margin(other)))
        })
    }
}
