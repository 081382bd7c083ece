//! `account.json` against the records: what of it can be made again from them.
//!
//! Counts by machine, day and verdict, the exceptions, the checks and the corrective actions.
//! Medians, monitored time and drift are reckoned from the same cycles and from records of gaps;
//! they are not made again here, and that is said.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::core::cycle::counts::Counts;
use crate::core::cycle::verdict::Verdict;
use crate::core::evidence::Header;
use crate::core::evidence::examine::Seen;
use crate::core::record::{AmendmentChange, Body};
use crate::report::account::{Account, is_exception};

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
            Self::Record { .. } => "account-record",
        }
    }
}

/// An account under comparison.
#[derive(Debug)]
pub(super) struct AccountCheck {
    account: Account,
    counted: BTreeMap<(String, Date), Counts>,
    /// Cycles that are to be told one by one, by machine.
    exceptions: BTreeMap<String, u64>,
    faults: Vec<AccountFault>,
    /// What the account tells of these records, and was not met yet.
    told: BTreeSet<(u64, &'static str)>,
}

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
        Self { account, counted: BTreeMap::new(), exceptions: BTreeMap::new(), faults: Vec::new(), told }
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
                    let counts = self.counted.entry((machine.to_owned(), day)).or_default();
                    counts.add(cycle.verdict);
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

    fn meet(&mut self, record: u64, what: &'static str, same: impl FnOnce(&Account) -> bool) {
        if self.told.remove(&(record, what)) && !same(&self.account) {
            self.faults.push(AccountFault::Record { what, record });
        }
    }

    /// Ends the comparison.
    pub(super) fn finish(mut self, header: &Header) -> Vec<AccountFault> {
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
        faults.extend(self.told.iter().map(|(record, what)| AccountFault::Record { what, record: *record }));
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
        for key in self.counted.keys().filter(|key| !said.contains_key(*key)).cloned().collect::<Vec<_>>() {
            said.insert(key, Counts::default());
        }
        for ((machine, day), said) in said {
            let found = self.counted.get(&(machine.clone(), day)).copied().unwrap_or_default();
            for verdict in Verdict::ALL {
                let (said, found) = (said.of(verdict), found.of(verdict));
                if said != found {
                    let (machine, verdict) = (machine.clone(), word(verdict));
                    faults.push(AccountFault::Count { machine, day, verdict, said, found });
                }
            }
        }
        faults
    }
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
