//! What of an account does not agree with the records.

use std::collections::BTreeSet;

use jiff::civil::Date;

use crate::report::account::ACCOUNT_FORMAT;

/// Most faults that are told one by one (own choice, as of a table).
const NAMED_MAX: usize = 50;

/// How something in an account does not agree.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::app::verify) enum How {
    /// The records say it otherwise.
    Otherwise,
    /// The records have it, and the account does not.
    LeftOut,
    /// The account has it, and the records do not.
    Added,
}

/// What of an account does not agree with the records.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub(in crate::app::verify) enum AccountFault {
    /// It is no account.
    #[error("account.json cannot be read")]
    Shape,
    /// Another version of the program made it.
    #[error(
        "account.json is of form {v}; this program checks form {ACCOUNT_FORMAT}: check it with the version that made it"
    )]
    Form {
        /// Its form.
        v: u32,
    },
    /// It speaks of another span, site or machines than the evidence.
    #[error("account.json is of another {what} than the evidence beside it")]
    Other {
        /// What.
        what: &'static str,
    },
    /// It counts otherwise on a day.
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
    /// It counts a machine as a whole otherwise.
    #[error(
        "account.json counts {said} {verdict} cycles of «{machine}» in all, and the sealed records have {found}"
    )]
    Sum {
        /// Machine.
        machine: String,
        /// Verdict.
        verdict: &'static str,
        /// Number in the account.
        said: u64,
        /// Number of records.
        found: u64,
    },
    /// Something of a day of a machine, or of its span.
    #[error("account.json has another {what} of «{machine}» {when} than the sealed records give")]
    Number {
        /// Machine.
        machine: String,
        /// Which day, or that all are meant.
        when: String,
        /// What.
        what: &'static str,
    },
    /// Something it tells otherwise than the records, leaves out or adds.
    #[error("account.json {}", told(what, *how))]
    Told {
        /// What.
        what: String,
        /// In which way.
        how: How,
        /// The record that it is about, where it is about one.
        record: Option<u64>,
    },
}

fn told(what: &str, how: How) -> String {
    match how {
        How::Otherwise => format!("tells {what} otherwise than the sealed records"),
        How::LeftOut => format!("leaves out {what}, which the sealed records tell"),
        How::Added => format!("tells {what}, which the sealed records do not"),
    }
}

impl AccountFault {
    /// A short word for programs.
    pub(in crate::app::verify) const fn code(&self) -> &'static str {
        match self {
            Self::Shape => "account",
            Self::Form { .. } => "account-form",
            Self::Other { .. } => "account-other",
            Self::Count { .. } => "account-count",
            Self::Sum { .. } => "account-sum",
            Self::Number { .. } => "account-number",
            Self::Told { how: How::Otherwise, .. } => "account-otherwise",
            Self::Told { how: How::LeftOut, .. } => "account-left-out",
            Self::Told { how: How::Added, .. } => "account-added",
        }
    }

    /// The record that it is about, where it is about one.
    pub(in crate::app::verify) const fn record(&self) -> Option<u64> {
        match self {
            Self::Told { record, .. } => *record,
            Self::Shape
            | Self::Form { .. }
            | Self::Other { .. }
            | Self::Count { .. }
            | Self::Sum { .. }
            | Self::Number { .. } => None,
        }
    }
}

/// Faults, so many of them, how many more there were, and what was not compared.
#[derive(Debug, Default)]
pub(in crate::app::verify) struct Faults {
    pub(in crate::app::verify) told: Vec<AccountFault>,
    pub(in crate::app::verify) more: u64,
    /// What this evidence does not let anybody reckon, beside what none does.
    pub(in crate::app::verify) open: BTreeSet<&'static str>,
}

impl Faults {
    /// Adds one.
    pub(in crate::app::verify) fn push(&mut self, fault: AccountFault) {
        if self.told.len() < NAMED_MAX {
            self.told.push(fault);
        } else {
            self.more += 1;
        }
    }

    /// Adds one about something that no single record tells.
    pub(super) fn tell(&mut self, how: How, what: impl Into<String>) {
        self.push(AccountFault::Told { what: what.into(), how, record: None });
    }

    /// Adds one where two things are not the same.
    pub(super) fn same(&mut self, same: bool, what: impl FnOnce() -> String) {
        if !same {
            self.tell(How::Otherwise, what());
        }
    }
}
