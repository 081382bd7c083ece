//! What is on record, page by page: the auditor's desk.
//!
//! Racks, the sum of a span, days in numbers, checks, missed ones, alerts, gaps, drift and every other record, by
//! machine, span and verdict. From here lead [`exports`], [`integrity`] and what was in force at a
//! [`moment`]; each line leads to its record.

mod access;
mod asked;
pub mod exports;
mod findings;
pub mod integrity;
mod lines;
pub mod missed;
pub mod moment;
mod page;
mod paper;
pub mod record;
mod story;
mod summed;
mod sums;
mod words;
mod work;

use std::future::Future;

use jiff::civil::Date;

use self::missed::MissedLine;
pub(super) use self::page::show;
pub use self::summed::{
    AlertsSummed, DoubtingSummed, Drift, GapsSummed, OpenHours, Recovery, Shift, Stood, Sum, Summed, Tally,
};
use super::frame::said;
use super::machine::DayRack;
use crate::core::alert::hours::Stretch;
use crate::core::cycle::verdict::Verdict;
use crate::core::daily::DayNumbers;
use crate::core::logbook::Missed;
use crate::core::monitored::{Blank, Monitored};
use crate::core::reader::{Language, Reader};
use crate::core::record::{Amendment, Record};
use crate::core::time::Timestamp;
use crate::web::frame::Refusal;

/// Lines of one page.
pub const LINES_MAX: usize = 50;
/// Records that are counted for one page (own choice: a thousandth of a second).
pub const HITS_MAX: u64 = 10_000;
/// Most days of one page: two months of one machine.
pub const DAYS_MAX: i64 = 62;
/// Most alerts that are named as open since before a span; all are counted (own choice: a few screens of a phone).
pub const BEFORE_MAX: usize = 50;
/// Longest span whose drift is reckoned for a page, days: each of its racks is read (own choice: a quarter).
pub const DRIFT_DAYS_MAX: i64 = 92;

/// What is looked at.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum View {
    /// Racks.
    Racks,
    /// The span summed up.
    Summary,
    /// Days in numbers.
    Days,
    /// What people entered.
    Checks,
    /// Checks that were due and not made in time.
    Missed,
    /// Alerts, as they were raised.
    Alerts,
    /// Stretches in which nothing is known.
    Gaps,
    /// Early warnings.
    Drift,
    /// Every other record.
    Records,
}

impl View {
    /// Every view, in the order of the page.
    pub const ALL: [Self; 9] = [
        Self::Racks,
        Self::Summary,
        Self::Days,
        Self::Checks,
        Self::Missed,
        Self::Alerts,
        Self::Gaps,
        Self::Drift,
        Self::Records,
    ];

    /// Those that are shown page by page, as records are.
    const LISTS: [Self; 5] = [Self::Racks, Self::Checks, Self::Alerts, Self::Gaps, Self::Records];

    const fn as_str(self) -> &'static str {
        match self {
            Self::Racks => "racks",
            Self::Summary => "summary",
            Self::Days => "days",
            Self::Checks => "checks",
            Self::Missed => "missed",
            Self::Alerts => "alerts",
            Self::Gaps => "gaps",
            Self::Drift => "drift",
            Self::Records => "records",
        }
    }

    const fn word(self, language: Language) -> &'static str {
        match self {
            Self::Racks => said(language, "Racks", "Canastas"),
            Self::Summary => said(language, "Summary", "Resumen"),
            Self::Days => said(language, "Days", "Días"),
            Self::Checks => said(language, "Checks", "Controles"),
            Self::Missed => said(language, "Missed checks", "Controles omitidos"),
            Self::Alerts => said(language, "Alerts", "Alertas"),
            Self::Gaps => said(language, "Gaps", "Huecos"),
            Self::Drift => said(language, "Early warnings", "Avisos tempranos"),
            Self::Records => said(language, "All other records", "Todos los demás asientos"),
        }
    }
}

/// Which page of what is found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Page {
    /// The newest.
    Newest,
    /// What is older than this record.
    Older(u64),
    /// What is newer than this record.
    Newer(u64),
}

/// What somebody asks. `verdict`, `in_doubt` and `alert` are of racks, `kind` of all other records, `until` of days,
/// `page` of lists and `probe` of gaps: an address that says otherwise is refused before.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Question {
    /// What is looked at.
    pub view: View,
    /// Of this machine only.
    pub machine: Option<String>,
    /// From this day of the site on.
    pub from: Option<Date>,
    /// To this day, included.
    pub to: Option<Date>,
    /// Of racks, only those of this verdict.
    pub verdict: Option<Verdict>,
    /// Of racks, only those that passed and are in doubt.
    pub in_doubt: bool,
    /// Of racks, only those of this alert.
    pub alert: Option<u64>,
    /// Of other records, only those of this kind.
    pub kind: Option<&'static str>,
    /// Of days, the last one of the page; the newest where it is absent.
    pub until: Option<Date>,
    /// Which page.
    pub page: Page,
    /// Of gaps, the probe of the one that the page goes on from; absent where that is of the service. A record can
    /// tell of a gap of either.
    pub probe: Option<String>,
}

impl Question {
    /// Everything of a view.
    #[must_use]
    pub const fn all(view: View) -> Self {
        Self {
            view,
            machine: None,
            from: None,
            to: None,
            verdict: None,
            in_doubt: false,
            alert: None,
            kind: None,
            until: None,
            page: Page::Newest,
            probe: None,
        }
    }

    /// Whether it asks for less than everything of its span and machine.
    const fn is_narrow(&self) -> bool {
        self.verdict.is_some() || self.in_doubt || self.alert.is_some() || self.kind.is_some()
    }
}

/// One line of the history.
#[derive(Clone, PartialEq, Debug)]
pub enum HistoryLine {
    /// A rack.
    Rack {
        /// What was measured.
        rack: DayRack,
        /// Its machine.
        machine: String,
        /// Whether it was recorded late.
        late: bool,
        /// Whether something amends it.
        amended: bool,
    },
    /// Any other record.
    Record {
        /// Its index.
        index: u64,
        /// What is on record.
        record: Box<Record>,
        /// Of a check, the limits that it missed as it was entered.
        missed: Missed,
        /// Of a check, whether it was good by the machine as it was configured then; absent where it
        /// is not judged.
        good: Option<bool>,
        /// What amends it.
        amendments: Vec<Later>,
        /// Of an alert, when it closed, where it did.
        closed: Option<Timestamp>,
        /// How many racks it counted when it recovered or closed; absent while it lasts.
        counted: Option<u64>,
    },
    /// A record that is not as it was made, or cannot be read.
    Damaged(u64),
}

/// What amends a record.
#[derive(Clone, PartialEq, Debug)]
pub struct Later {
    /// Index of the record that does.
    pub index: u64,
    /// What it says; `None` where it cannot be read.
    pub said: Option<Amendment>,
}

/// One machine on one day.
#[derive(Clone, PartialEq, Debug)]
pub struct DayLine {
    /// The day of the site.
    pub day: Date,
    /// Its machine.
    pub machine: String,
    /// Its racks in numbers.
    pub numbers: DayNumbers,
    /// How much of the open time was watched.
    pub watched: Monitored,
    /// Checks that were due on it and not made in time.
    pub missed: u64,
    /// How many of its racks that passed are in doubt.
    pub doubted: Doubted,
}

/// How many racks that passed are in doubt.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Doubted {
    /// Those that were looked at.
    pub count: u64,
    /// Whether there may be more, which were too many to look at.
    pub more: bool,
}

impl Doubted {
    /// Whether it is known that there is none.
    #[must_use]
    pub const fn is_none(self) -> bool {
        self.count == 0 && !self.more
    }
}

/// A stretch in which something is missing.
#[derive(Clone, PartialEq, Debug)]
pub struct GapLine {
    /// The stretch.
    pub blank: Blank,
    /// How much of it lies in open time, s.
    pub open_s: f64,
}

/// How the record is sealed.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Integrity {
    /// Number of records.
    pub records: u64,
    /// The newest checkpoint, where there is one.
    pub checkpoint: Option<Newest>,
    /// The public key that signed it, where one in force vouches for it.
    pub key: Option<String>,
}

/// The newest checkpoint.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Newest {
    /// How many records it counts.
    pub records: u64,
    /// When it was made.
    pub at: Timestamp,
}

/// How many lines a list has, on all its pages.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Hits {
    /// Those that were counted.
    pub count: u64,
    /// Whether there are more, see [`HITS_MAX`].
    pub more: bool,
}

impl Hits {
    /// What a count comes to that went on to one more than [`HITS_MAX`].
    #[must_use]
    pub const fn of(counted: u64) -> Self {
        let more = counted > HITS_MAX;
        Self { count: if more { HITS_MAX } else { counted }, more }
    }
}

/// One page of a list, the newest first.
#[derive(Clone, PartialEq, Debug)]
pub struct Listed<T> {
    /// Its lines, at most [`LINES_MAX`].
    pub lines: Vec<T>,
    /// The record after which the next newer page ends.
    pub newer: Option<u64>,
    /// The record after which the next older page begins.
    pub older: Option<u64>,
    /// Records of its span that only move the end of work on a machine, which is told by its beginning and its end:
    /// they are no lines unless their kind is asked for.
    pub folded: u64,
    /// How many there are on all pages, with those that are folded; absent where too much would have to be looked at.
    pub hits: Option<Hits>,
    /// Whether the page ends before it is full, since enough racks were looked through that are none of it.
    pub cut: bool,
}

/// What was found.
#[derive(Clone, PartialEq, Debug)]
pub enum Found {
    /// Records.
    Lines(Listed<HistoryLine>),
    /// Days in numbers, the newest first.
    Days {
        /// At most [`DAYS_MAX`] days of each machine.
        days: Vec<DayLine>,
        /// The last day of the next older page.
        before: Option<Date>,
    },
    /// Missed checks, the newest first.
    Missed {
        /// Those that were due on the days of the page, at most [`missed::LINES_MAX`].
        lines: Vec<MissedLine>,
        /// The last day of the next older page.
        before: Option<Date>,
    },
    /// Gaps.
    Gaps(Listed<GapLine>),
    /// The span summed up; `None` where nothing is on record of it.
    Summary(Option<Box<Summed>>),
    /// Early warnings.
    Drift {
        /// By machine.
        machines: Vec<Drift>,
        /// The span that they were reckoned from; `None` where nothing is on record of it.
        span: Option<Stretch>,
    },
}

/// A page of the history.
#[derive(Clone, PartialEq, Debug)]
pub struct HistoryPart {
    /// What was found.
    pub found: Found,
    /// Records that could not be read for this answer, so that it may lack something.
    pub damaged: Vec<u64>,
    /// How the record is sealed.
    pub integrity: Integrity,
    /// First day of the site of which anything is on record; absent where nothing is.
    pub begins: Option<Date>,
}

/// What the page asks of whoever keeps the record.
pub trait Histories: Clone + Send + Sync + 'static {
    /// Names of the machines that this ledger was ever opened with, in order: those that are configured and those
    /// that are gone.
    fn known_machines(&self) -> impl Future<Output = Result<Vec<String>, Refusal>> + Send;

    /// A page of what is on record; `None` where the record that it is to go on from stands in no such list.
    fn history(
        &self,
        question: Question,
        reader: &Reader,
    ) -> impl Future<Output = Result<Option<HistoryPart>, Refusal>> + Send;

    /// What was in force at a moment.
    fn in_force(&self, at: Timestamp) -> impl Future<Output = Result<moment::Force, Refusal>> + Send;

    /// One record with all that concerns it.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where there is none of this number.
    fn record(&self, index: u64) -> impl Future<Output = Result<record::Stands, Refusal>> + Send;
}

#[cfg(test)]
mod tests;
