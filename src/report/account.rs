//! An account of a span of time: everything an auditor is told of it, as facts.
//!
//! One [`Account`] is made from the ledger and then only shown: as JSON, as the tables of
//! CSV files, on paper and on pages. It holds no words but those that people entered; each
//! form puts it into the words and the scale of its reader. Times are instants in UTC,
//! temperatures in °C, durations in s; a day is one of the site's own time zone.
//!
//! [`build::Builder`] makes it from records.

mod alert;
pub mod build;
mod configured;
mod covers;
mod entries;
mod machine;
pub mod missed;
mod service;
#[cfg(test)]
mod tests;

pub mod samples;

pub use alert::{ActionAccount, AlertAccount};
pub use machine::{is_exception, lowest};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::core::alert::open::is_zero;
use crate::core::cycle::counts::Counts;
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::Verdict;
pub use crate::core::drift::{Chart, Learning, Signal as DriftSignal};
use crate::core::effect::Trace;
use crate::core::logbook::Missed as MissedLimits;
use crate::core::on_file::Missed;
use crate::core::reading::Fault;
use crate::core::record::{AmendmentChange, Check, Cycle};
use crate::core::time::Timestamp;

/// Version of the form, the `v` of its JSON.
pub const ACCOUNT_FORMAT: u32 = 6;

/// The version alone, which is read before the rest: another form is another shape.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
pub struct Form {
    /// As in [`Account`].
    pub v: u32,
}

/// An account of a span of time.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Account {
    /// Version of the form, [`ACCOUNT_FORMAT`].
    pub v: u32,
    /// Version of the program that made it.
    pub program: String,
    /// When it was made.
    pub made: Timestamp,
    /// Name of the site.
    pub site: String,
    /// Time zone of the site (IANA), whose days and hours are meant.
    pub zone: String,
    /// First instant of the span.
    pub from: Timestamp,
    /// First instant after it. Where it lies after `made`, times are counted up to `made`.
    pub to: Timestamp,
    /// Only these machines; empty where all were asked for.
    pub only: Vec<String>,
    /// When the last record was made that the account stands on, where others follow which are not sealed: times are
    /// counted up to then, and what came afterwards is not in it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ends: Option<Timestamp>,
    /// Every machine, by name.
    pub machines: Vec<MachineAccount>,
    /// Every alert that was raised in the span or open in it, by number, and of later ones those that name a rack of it,
    /// put one in doubt or found a check missing that was due in it. Not those of a row, which name only its last rack,
    /// and not those that only counted a rack of it which came late: what came after the span says of which racks.
    pub alerts: Vec<AlertAccount>,
    /// Every check whose time lies in the span, in order of time, withdrawn and corrected ones too.
    pub checks: Vec<CheckAccount>,
    /// Checks that were due and not made in time.
    pub overdue: Vec<OverdueCheck>,
    /// Which of the damaged records were calibrations, response tests and amendments: what they may have replaced is
    /// in doubt from then on.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub doubts: Vec<Missed>,
    /// Comparisons of probes with a reference that were in force at some time of the span.
    pub calibrations: Vec<CalibrationAccount>,
    /// What people noted, and what they said of earlier records.
    pub remarks: Vec<Remark>,
    /// What happened to the program itself.
    pub service: Vec<ServiceEvent>,
    /// Records of the span that only moved the end of work on a machine, which is told there by its beginning and its
    /// end.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub renewals: u64,
    /// Number of records from the first to the last that the account stands on.
    pub records: RecordRange,
    /// Traces of exceptions that are kept and left out here, since there were too many of them.
    pub traces_left_out: u64,
    /// What seals it; absent where no key is at hand.
    pub seal: Option<Seal>,
    /// Records that could not be read: nothing of them is in the account.
    pub damaged: Vec<u64>,
}

/// Indices of records, the second one excluded.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct RecordRange {
    /// The first.
    pub from: u64,
    /// The first after the last.
    pub to: u64,
}

/// A signed checkpoint over the ledger the account was made from.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Seal {
    /// The signed note (C2SP tlog-checkpoint).
    pub checkpoint: String,
    /// The public key it verifies with, as `name+id+base64`.
    pub key: String,
    /// Number of records it speaks of.
    pub size: u64,
    /// Root over them in hexadecimal.
    pub root: String,
}

/// One machine over the span.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct MachineAccount {
    /// Its name.
    pub machine: String,
    /// Kind, as judged by; absent where no cycle is in the span.
    pub kind: Option<MachineKind>,
    /// Sanitizing method.
    pub sanitizing: Option<Sanitizing>,
    /// The limits its cycles were judged by, in order of the first one.
    pub limits: Vec<LimitInForce>,
    /// All its racks.
    pub counts: Counts,
    /// Lowest settled minimum of all, °C; what a faulty probe showed is left out, here and in the days.
    pub rinse_min_c: Option<f64>,
    /// Median of the settled minima, °C.
    pub rinse_median_c: Option<f64>,
    /// Each day on which it washed, was watched or should have been, in order.
    pub days: Vec<DayAccount>,
    /// Stretches in which nothing is known of it, in order.
    pub gaps: Vec<GapAccount>,
    /// Time it should have been watched, s: the site's operating hours, or all of the span where none are configured.
    pub operating_s: f64,
    /// Part of that time without a gap, s.
    pub monitored_s: f64,
    /// Every cycle that did not plainly pass, or was washed too cold or rinsed too hot, in order of time: each with its trace.
    pub exceptions: Vec<ExceptionAccount>,
    /// Those that are counted above and not told one by one, since there were too many of them.
    pub exceptions_left_out: Counts,
    /// Cycles that passed and are in doubt since, in order of time.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub in_doubt: Vec<DoubtedAccount>,
    /// How many more of these there are, not told one by one, since there were too many of them.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub in_doubt_left_out: u64,
    /// Early warnings from its settled minima.
    pub drift: DriftAccount,
}

impl MachineAccount {
    /// How many of its racks passed and are in doubt since.
    #[must_use]
    pub fn racks_in_doubt(&self) -> u64 {
        self.in_doubt.len() as u64 + self.in_doubt_left_out
    }
}

/// A limit and since when cycles were judged by it.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct LimitInForce {
    /// Start of the first final rinse judged by it.
    pub since: Timestamp,
    /// Final-rinse limit, °C.
    pub limit_c: f64,
    /// Where it comes from.
    pub source: LimitSource,
    /// Wash limit, °C.
    pub wash_limit_c: f64,
    /// Dwell required, s.
    pub dwell_required_s: f64,
    /// Lowest and highest concentration of the sanitizer, mg/L, by the configuration then in force; absent for
    /// hot water, and where none is on record.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub concentration_mg_per_l: Option<[f64; 2]>,
}

/// One machine on one day.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct DayAccount {
    /// Which, in the site's time zone.
    pub day: Date,
    /// Racks by verdict.
    pub counts: Counts,
    /// Lowest settled minimum, °C.
    pub rinse_min_c: Option<f64>,
    /// Median of the settled minima, °C.
    pub rinse_median_c: Option<f64>,
    /// Final-rinse limit of its last cycle, °C.
    pub limit_c: Option<f64>,
    /// Largest expanded uncertainty (k = 2) of its cycles, °C.
    pub uncertainty_c: Option<f64>,
    /// Cycles recorded more than an hour after they ended: backfilled or delayed.
    pub late: u64,
    /// Time it should have been watched, s.
    pub operating_s: f64,
    /// Part of that time without a gap, s.
    pub monitored_s: f64,
    /// Median over the racks of the rush of the time from the start of the rinse to the limit, s; see [`crate::core::drift`].
    pub recovery_s: Option<f64>,
    /// Settled minima of its cycles in order of time: seconds since the day began, °C, and its verdict's place in [`Counts`].
    pub minima: Vec<(u32, f32, u8)>,
    /// How many of its racks passed and are in doubt since.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub in_doubt: u64,
    /// Which of `minima` are theirs, by their places, in order.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub minima_in_doubt: Vec<u32>,
}

/// A stretch in which nothing is known.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct GapAccount {
    /// Whose readings are missing; absent where the service itself was down.
    pub probe: Option<String>,
    /// Why; absent where the service itself was down.
    pub fault: Option<Fault>,
    /// Last instant before it.
    pub from: Timestamp,
    /// First instant after it; absent while it lasts.
    pub to: Option<Timestamp>,
    /// Whether readings for it came after all, late.
    pub filled: bool,
}

/// One cycle that did not plainly pass.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ExceptionAccount {
    /// Index of its record.
    pub index: u64,
    /// When it was recorded.
    pub recorded: Timestamp,
    /// The cycle.
    pub cycle: Cycle,
    /// Its trace, where one is kept and can be read.
    pub trace: Option<Trace>,
    /// Numbers of the alerts that name it, or were open about it when it was washed.
    pub alerts: Vec<u64>,
    /// Indices of the amendments that speak of it.
    pub amendments: Vec<u64>,
    /// Of the alerts that count it whether a corrective action covers it; an alert of which that is not known is not
    /// named.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub covered: Vec<CoveredAccount>,
}

/// Whether a corrective action of an alert covers a rack that the alert counts.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct CoveredAccount {
    /// Number of the alert, which has a corrective action.
    pub alert: u64,
    /// Records of those that cover the rack; none where none does.
    pub actions: Vec<u64>,
}

/// One cycle that passed by what was found wrong after it.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct DoubtedAccount {
    /// Index of its record.
    pub index: u64,
    /// Start of its final rinse.
    pub at: Timestamp,
    /// Its verdict, which stands as it was judged.
    pub verdict: Verdict,
    /// Settled minimum of its final rinse, °C.
    pub rinse_min_c: Option<f64>,
    /// Its limit, °C.
    pub limit_c: f64,
    /// Wash minimum, °C.
    pub wash_min_c: Option<f64>,
    /// Its limit, °C.
    pub wash_limit_c: f64,
    /// Numbers of the alerts that put it in doubt.
    pub alerts: Vec<u64>,
    /// As of [`ExceptionAccount`].
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub covered: Vec<CoveredAccount>,
}

/// Early warnings: never a verdict.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct DriftAccount {
    /// Mean of the settled minima that counts as usual, °C.
    pub usual_c: Option<f64>,
    /// Standard deviation that counts as usual, °C.
    pub sigma_c: Option<f64>,
    /// How far that is learnt, where it is not known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub learning: Option<Learning>,
    /// Where the charts signalled, in order of time.
    pub signals: Vec<DriftSignal>,
    /// Cold racks that were the first after a pause: the line had cooled, the booster had not failed.
    pub cold_first_racks: u64,
    /// Median time to the limit in the rush, in the first quarter of the span, s.
    pub recovery_first_s: Option<f64>,
    /// The same in the last quarter of the span, s.
    pub recovery_last_s: Option<f64>,
}

impl DriftAccount {
    /// How often the machine was found to drift: both charts signal each time, see [`crate::core::drift`].
    #[must_use]
    pub fn warnings(&self) -> usize {
        let average = |signal: &&DriftSignal| signal.chart == Chart::Ewma;
        self.signals.iter().filter(average).count()
    }
}

/// One check that somebody entered.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct CheckAccount {
    /// Index of its record.
    pub index: u64,
    /// When it was put on record.
    pub recorded: Timestamp,
    /// Of which machine; absent for the site.
    pub machine: Option<String>,
    /// What was found.
    pub check: Check,
    /// Whether it is good, by the rules in [`crate::core::logbook`]; absent where it only says that something was done.
    pub good: Option<bool>,
    /// The limits that it missed.
    #[serde(default, skip_serializing_if = "MissedLimits::is_none")]
    pub missed: MissedLimits,
    /// The amendment that withdrew or corrected it: it counts no more.
    pub amended_by: Option<u64>,
    /// The check it stands in for; its own record is an amendment then.
    pub corrects: Option<u64>,
}

/// A check that was due and not made in time.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct OverdueCheck {
    /// Of which machine.
    pub machine: Option<String>,
    /// Which: the word of its [`crate::core::record::CheckKind`].
    pub check: String,
    /// When it was due.
    pub since: Timestamp,
    /// When it was made after all.
    pub made: Option<Timestamp>,
    /// Whether that is good, as of [`CheckAccount`].
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub good: Option<bool>,
}

/// What is on file of the calibration of one probe.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct CalibrationAccount {
    /// Channel of the probe.
    pub probe: String,
    /// Since when it was in force.
    pub since: Timestamp,
    /// When another one took its place, or the probe went; absent while it is in force.
    pub until: Option<Timestamp>,
    /// When it was made, as it is on file.
    pub made: Option<Date>,
    /// Reference shown and probe shown, °C, each pair of it.
    pub points: Vec<(f64, f64)>,
    /// What is added to each reading, °C, where it is entered so.
    pub offset_c: Option<f64>,
    /// Expanded uncertainty (k = 2) of a reading by the budget in force, °C.
    pub uncertainty_c: Option<f64>,
    /// Time constant of the probe, s.
    pub tau_s: Option<f64>,
    /// Index of the record that says so; absent where the configuration does.
    #[serde(default)]
    pub record: Option<u64>,
    /// Whether it corrects and counts for nothing: a record that may have taken its place cannot be read.
    #[serde(skip_serializing_if = "is_false", default)]
    pub doubted: bool,
    /// Whether the time constant counts for nothing, for such a reason; there is none in `tau_s` then.
    #[serde(skip_serializing_if = "is_false", default)]
    pub response_doubted: bool,
}

/// What somebody added to the record.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Remark {
    /// Index of its record.
    pub index: u64,
    /// When it was put on record.
    pub recorded: Timestamp,
    /// Of which machine.
    pub machine: Option<String>,
    /// Who says so.
    pub by: String,
    /// What they say.
    pub text: String,
    /// The record it is about, and what it says of it; absent for a note.
    pub amends: Option<(u64, AmendmentChange)>,
    /// The amendment that withdrew this note: it counts no more.
    #[serde(default)]
    pub withdrawn_by: Option<u64>,
}

/// Something that happened to the program or to how the record is kept.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ServiceEvent {
    /// Index of its record.
    pub index: u64,
    /// When.
    pub at: Timestamp,
    /// Of which machine; absent for the site.
    pub machine: Option<String>,
    /// Kind of its record.
    pub kind: String,
    /// In a few words of English.
    pub text: String,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the signature that serde asks for")]
const fn is_false(flag: &bool) -> bool {
    !*flag
}
