//! The checks that were due and not made in time, by the reckoning of the account and without the rest of it.
//!
//! Who asks chooses the alerts: an account those that touch its span, a page those of the checks that were due in its
//! days. What each of them found missing, and by which entry it was made after all, is the same.

use std::collections::BTreeMap;

use super::OverdueCheck;
use super::entries::Entries;
use crate::core::alert::story::{self, Story};
use crate::core::alert::{AlertNumber, Condition};
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;

/// Alerts and entries, out of which missed checks are reckoned.
#[derive(Debug, Default)]
pub struct Missed {
    stories: BTreeMap<AlertNumber, Story>,
    entries: Entries,
}

/// A check that was missed.
#[derive(Clone, PartialEq, Debug)]
pub struct MissedCheck {
    /// What the account says of it.
    pub check: OverdueCheck,
    /// The alert that found it missing.
    pub alert: AlertNumber,
    /// When that closed; absent while it is open.
    pub closed: Option<Timestamp>,
    /// The entry by which it was made after all: its record, and when that came.
    pub entry: Option<(u64, Timestamp)>,
}

impl Missed {
    /// Takes a record of an alert, a check or an amendment, each sort in order of the ledger; passes over any other.
    pub fn take(&mut self, index: u64, record: &Record) {
        if matches!(record.body, Body::Check(_) | Body::Amendment(_)) {
            self.entries.take(index, record, None);
        } else {
            story::note(&mut self.stories, record);
        }
    }

    /// What the alerts that were taken found missing, those of each alert together.
    #[must_use]
    pub fn reckoned(&self) -> Vec<MissedCheck> {
        let overdue = self.stories.values().filter(|told| told.alert.condition == Condition::CheckOverdue);
        let of = |told: &Story| -> Vec<MissedCheck> {
            let (alert, closed) = (told.alert.number, told.closed);
            let missed = self.entries.missed(told).into_iter();
            missed
                .map(|(check, made)| {
                    let entry = made.map(|made| (made.corrects.unwrap_or(made.index), made.recorded));
                    MissedCheck { check, alert, closed, entry }
                })
                .collect()
        };
        overdue.flat_map(of).collect()
    }
}
