//! `account.json` against the records: what of it can be made again from them.
//!
//! Counts by machine, day and verdict, late ones, the lowest settled minimum and the median of each
//! day and of the span, the exceptions, the checks and the corrective actions. Not made again are
//! monitored time, drift and recovery: the charts begin before the span, with cycles that the
//! evidence does not hold, and what was open at a gateway that stood still is not in it either.
//! That is said.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::core::cycle::counts::Counts;
use crate::core::cycle::verdict::Verdict;
use crate::core::daily::median;
use crate::core::evidence::Header;
use crate::core::evidence::examine::Seen;
use crate::core::late::late_by;
use crate::core::record::{AmendmentChange, Body};
use crate::report::account::{Account, believed_minimum_c, is_exception, lowest};

/// Most faults that are told one by one (own choice, as of a table).
const NAMED_MAX: usize = 50;

/// What of an account does not agree with the records.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub(super) enum AccountFault {
    /// It is no account.
    #[error("account.json cannot be read")]
    Shape,
    /// It speaks of another span, site or machines than the evidence.
    #[error("account.json is of another {what} than the evidence beside it")]
    Other {
        /// What.
        what: &'static str,
    },
    /// It counts otherwise.
    #[error(
        "account.json counts {said} {verdict} cycles of «{machine}» on {day}, and the sealed records have {found}"
    )]
    Count {
        /// Machine.
        machine: String,
        /// Day.
        day: Date,
        /// Verdict.
        verdict: &'static str,
        /// Number in the account.
        said: u64,
        /// Number of records.
        found: u64,
    },
    /// A machine as a whole.
    #[error(
        "account.json counts {said} {verdict} cycles of «{machine}» in all, and its days come to {found}"
    )]
    Sum {
        /// Machine.
        machine: String,
        /// Verdict.
        verdict: &'static str,
        /// Number in the account.
        said: u64,
        /// Sum of its days.
        found: u64,
    },
    /// Cycles that are to be told one by one are neither listed nor said to be left out.
    #[error(
        "account.json lists or leaves out {said} exceptions of «{machine}», and the sealed records have {found}"
    )]
    Exceptions {
        /// Machine.
        machine: String,
        /// Number listed or left out.
        said: u64,
        /// Number of records.
        found: u64,
    },
    /// The lowest minimum, the median or the late ones of a day, or of the span.
    #[error("account.json has another {what} of «{machine}» {when} than the sealed records give")]
    Minima {
        /// Machine.
        machine: String,
        /// Which day, or that all are meant.
        when: String,
        /// What.
        what: &'static str,
    },
    /// Something it tells of a record that the record does not say.
    #[error("account.json tells {what} of record {record} otherwise than the sealed record")]
    Record {
        /// What.
        what: &'static str,
        /// Record.
        record: u64,
    },
}

impl AccountFault {
    /// A short word for programs.
    pub(super) const fn code(&self) -> &'static str {
        match self {
            Self::Shape => "account",
            Self::Other { .. } => "account-other",
            Self::Count { .. } => "account-count",
            Self::Sum { .. } => "account-sum",
            Self::Exceptions { .. } => "account-exceptions",
            Self::Minima { .. } => "account-minima",
            Self::Record { .. } => "account-record",
        }
    }
}

/// Faults, so many of them, and how many more there were.
#[derive(Debug, Default)]
pub(super) struct Faults {
    pub(super) told: Vec<AccountFault>,
    pub(super) more: u64,
}

impl Faults {
    /// Adds one.
    pub(super) fn push(&mut self, fault: AccountFault) {
        if self.told.len() < NAMED_MAX {
            self.told.push(fault);
        } else {
            self.more += 1;
        }
    }
}

/// A machine's day, reckoned from the records.
#[derive(Debug, Default)]
struct Counted {
    counts: Counts,
    late: u64,
    /// Settled minima that count, °C.
    settled_c: Vec<f64>,
}

/// An account under comparison.
#[derive(Debug)]
pub(super) struct AccountCheck {
    account: Account,
    counted: BTreeMap<(String, Date), Counted>,
    /// Cycles that are to be told one by one, by machine.
    exceptions: BTreeMap<String, u64>,
    faults: Faults,
    /// What the account tells of these records, and was not met yet.
    told: BTreeSet<(u64, &'static str)>,
}

const LOWEST: &str = "lowest settled minimum";
const MEDIAN: &str = "median of the settled minima";
const EXCEPTION: &str = "a cycle that did not plainly pass";
const CHECK: &str = "a check";
const ACTION: &str = "a corrective action";

impl AccountCheck {
    /// Begins with the account of a PDF.
    pub(super) fn new(account: Account) -> Self {
        let exceptions = account.machines.iter().flat_map(|machine| &machine.exceptions);
        let told = exceptions
            .map(|exception| (exception.index, EXCEPTION))
            .chain(account.checks.iter().map(|check| (check.index, CHECK)))
            .chain(
                account
                    .alerts
                    .iter()
                    .filter_map(|alert| alert.action.as_ref())
                    .map(|action| (action.index, ACTION)),
            )
            .collect();
        Self {
            account,
            counted: BTreeMap::new(),
            exceptions: BTreeMap::new(),
            faults: Faults::default(),
            told,
        }
    }

    /// Takes the next record of the evidence.
    pub(super) fn take(&mut self, seen: &Seen, header: &Header, zone: &TimeZone) {
        match &seen.record.body {
            Body::Cycle(cycle) => {
                let machine = seen.record.machine.as_deref().unwrap_or_default();
                if header.asks_for(machine, cycle.rinse_started)
                    && let Ok(instant) = jiff::Timestamp::from_microsecond(cycle.rinse_started.micros())
                {
                    let day = zone.to_datetime(instant).date();
                    let counted = self.counted.entry((machine.to_owned(), day)).or_default();
                    counted.counts.add(cycle.verdict);
                    counted.late += u64::from(late_by(&seen.record).is_some());
                    counted.settled_c.extend(believed_minimum_c(cycle));
                    if is_exception(cycle) {
                        *self.exceptions.entry(machine.to_owned()).or_default() += 1;
                    }
                }
                self.meet(seen.index, EXCEPTION, |account| {
                    let mut machines = account.machines.iter().filter(|account| account.machine == machine);
                    machines.any(|account| {
                        let told = account.exceptions.iter().find(|told| told.index == seen.index);
                        told.is_some_and(|told| {
                            told.cycle == **cycle && told.recorded == seen.record.recorded
                        })
                    })
                });
            }
            Body::Check(check) => self.meet(seen.index, CHECK, |account| {
                account.checks.iter().any(|told| told.index == seen.index && told.check == *check)
            }),
            Body::Amendment(amendment) => {
                let AmendmentChange::Corrected(check) = &amendment.change else { return };
                self.meet(seen.index, CHECK, |account| {
                    account.checks.iter().any(|told| told.index == seen.index && told.check == *check)
                });
            }
            Body::CorrectiveAction(action) => self.meet(seen.index, ACTION, |account| {
                let mut told = account.alerts.iter().filter_map(|alert| alert.action.as_ref());
                told.any(|told| {
                    told.index == seen.index
                        && (&told.by, &told.racks, &told.done) == (&action.by, &action.racks, &action.done)
                })
            }),
            // Of the others an account tells no more than the record.
            Body::Gap(_)
            | Body::ServiceStart(_)
            | Body::ServiceStop(_)
            | Body::ClockStep(_)
            | Body::ConfigurationChange(_)
            | Body::MachineFailure(_)
            | Body::AlertRaised(_)
            | Body::AlertChanged(_)
            | Body::AlertAcknowledged(_)
            | Body::AlertCleared(_)
            | Body::AlertClosed(_)
            | Body::Notification(_)
            | Body::Maintenance(_)
            | Body::Note(_)
            | Body::SigningKey(_)
            | Body::LawfulHold(_)
            | Body::Pruned(_)
            | Body::Import(_)
            | Body::Restored(_)
            | Body::Calibration(_)
            | Body::Response(_)
            | Body::WiringProof(_)
            | Body::SignOff(_) => {}
        }
    }

    /// Lowest minima, medians and late ones: those of days, and of all days of a machine.
    fn compare_minima(&mut self, faults: &mut Faults) {
        let mut tell = |machine: &str, when: String, what| {
            faults.push(AccountFault::Minima { machine: machine.to_owned(), when, what });
        };
        for account in &self.account.machines {
            let name = &account.machine;
            let mut all = Vec::new();
            for day in &account.days {
                let none = &mut Counted::default();
                let found = self.counted.get_mut(&(name.clone(), day.day)).unwrap_or(none);
                all.extend_from_slice(&found.settled_c);
                let when = || format!("on {}", day.day);
                if !same(day.rinse_min_c, lowest(&found.settled_c)) {
                    tell(name, when(), LOWEST);
                }
                if !same(day.rinse_median_c, median(&mut found.settled_c)) {
                    tell(name, when(), MEDIAN);
                }
                if day.late != found.late {
                    tell(name, when(), "number of late racks");
                }
            }
            let when = || "in all".to_owned();
            if !same(account.rinse_min_c, lowest(&all)) {
                tell(name, when(), LOWEST);
            }
            if !same(account.rinse_median_c, median(&mut all)) {
                tell(name, when(), MEDIAN);
            }
        }
    }

    fn meet(&mut self, record: u64, what: &'static str, same: impl FnOnce(&Account) -> bool) {
        if self.told.remove(&(record, what)) && !same(&self.account) {
            self.faults.push(AccountFault::Record { what, record });
        }
    }

    /// Ends the comparison.
    pub(super) fn finish(mut self, header: &Header) -> Faults {
        let account = &self.account;
        let mut faults = std::mem::take(&mut self.faults);
        for (what, same) in [
            ("span", (account.from, account.to) == (header.from, header.to)),
            ("site", account.site == header.site && account.zone == header.zone),
            ("choice of machines", account.only == header.machines),
        ] {
            if !same {
                faults.push(AccountFault::Other { what });
            }
        }
        // What is told of no sealed record at all.
        for (record, what) in &self.told {
            faults.push(AccountFault::Record { what, record: *record });
        }
        let mut said: BTreeMap<(String, Date), Counts> = BTreeMap::new();
        for machine in &account.machines {
            let mut sum = Counts::default();
            for day in &machine.days {
                said.insert((machine.machine.clone(), day.day), day.counts);
                for verdict in Verdict::ALL {
                    *sum.at(verdict) = sum.of(verdict).saturating_add(day.counts.of(verdict));
                }
            }
            for verdict in Verdict::ALL {
                let (said, found) = (machine.counts.of(verdict), sum.of(verdict));
                if said != found {
                    let (machine, verdict) = (machine.machine.clone(), word(verdict));
                    faults.push(AccountFault::Sum { machine, verdict, said, found });
                }
            }
            let left_out = &machine.exceptions_left_out;
            let said = Verdict::ALL.into_iter().fold(machine.exceptions.len() as u64, |sum, verdict| {
                sum.saturating_add(left_out.of(verdict))
            });
            let found = self.exceptions.get(&machine.machine).copied().unwrap_or_default();
            if said != found {
                let machine = machine.machine.clone();
                faults.push(AccountFault::Exceptions { machine, said, found });
            }
        }
        for key in self.counted.keys() {
            said.entry(key.clone()).or_default();
        }
        for ((machine, day), said) in said {
            let found = self.counted.get(&(machine.clone(), day)).map(|counted| counted.counts);
            let found = found.unwrap_or_default();
            for verdict in Verdict::ALL {
                let (said, found) = (said.of(verdict), found.of(verdict));
                if said != found {
                    let (machine, verdict) = (machine.clone(), word(verdict));
                    faults.push(AccountFault::Count { machine, day, verdict, said, found });
                }
            }
        }
        self.compare_minima(&mut faults);
        faults
    }
}

/// Whether two temperatures are the same to the last bit, or both absent.
fn same(one: Option<f64>, other: Option<f64>) -> bool {
    one.map(f64::to_bits) == other.map(f64::to_bits)
}

const fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Cold => "cold",
        Verdict::Brief => "brief",
        Verdict::Weak => "weak",
        Verdict::Unproven => "unproven",
        Verdict::Narrow => "narrow",
        Verdict::Pass => "passing",
    }
}
