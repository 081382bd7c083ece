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
    /// When an alert that was open found one more kind missing.
    joined: BTreeMap<(AlertNumber, String), Timestamp>,
    entries: Entries,
}

/// A check that was missed.
#[derive(Clone, PartialEq, Debug)]
pub struct MissedCheck {
    /// What the account says of it; of one that an open alert found missing later, since that was found.
    pub check: OverdueCheck,
    /// Whether it is such a one: when it was due is not on record.
    pub joined: bool,
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
            if let Body::AlertChanged(changed) = &record.body
                && let Some(told) = self.stories.get(&changed.alert)
            {
                let is_new = |word: &&String| !told.alert.about.contains(word);
                let new = changed.about.iter().filter(is_new).map(|word| (changed.alert, word.clone()));
                self.joined.extend(new.map(|key| (key, record.recorded)));
            }
            story::note(&mut self.stories, record);
        }
    }

    /// What the alerts that were taken found missing, those of each alert together.
    #[must_use]
    pub fn reckoned(&self) -> Vec<MissedCheck> {
        let overdue = self.stories.values().filter(|told| told.alert.condition == Condition::CheckOverdue);
        let of = |told: &Story| -> Vec<MissedCheck> {
            let (alert, closed) = (told.alert.number, told.closed);
            let joined = |word: &str| self.joined.get(&(alert, word.to_owned())).copied();
            let missed = self.entries.missed(told, joined).into_iter();
            missed
                .map(|(check, made)| {
                    let entry = made.map(|made| (made.corrects.unwrap_or(made.index), made.recorded));
                    let joined = joined(&check.check).is_some();
                    MissedCheck { check, joined, alert, closed, entry }
                })
                .collect()
        };
        overdue.flat_map(of).collect()
    }
}
