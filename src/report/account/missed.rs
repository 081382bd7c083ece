//! The checks that were due and not made in time, by the reckoning of the account and without the rest of it.
//!
//! Who asks chooses the alerts: an account those that touch its span, a page those of the checks that were due in its
//! days. What each of them found missing, and by which entry it was made after all, is the same.

use std::collections::BTreeMap;

use super::OverdueCheck;
use super::build::Question;
pub use super::entries::Window;
use super::entries::{Entries, Sought, windows};
use crate::core::alert::AlertNumber;
use crate::core::alert::story::{self, Story};
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
    /// The alert that found it missing, the latest one where it was made and withdrawn.
    pub alert: AlertNumber,
    /// When that closed; absent while it is open.
    pub closed: Option<Timestamp>,
    /// When it could be made.
    pub window: Window,
    /// The entry by which it was made after all: its record, and when that came.
    pub entry: Option<(u64, Timestamp)>,
}

impl Missed {
    /// Takes a record of an alert, a check or an amendment, each sort in order of the ledger, amendments after the
    /// checks; passes over any other.
    pub fn take(&mut self, index: u64, record: &Record) {
        if matches!(record.body, Body::Check(_) | Body::Amendment(_)) {
            self.entries.take(index, record, None);
        } else {
            story::note(&mut self.stories, record);
        }
    }

    /// Whether no alert was taken.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.stories.is_empty()
    }

    /// Which checks may be those by which what the alerts that were taken found missing was made after all.
    #[must_use]
    pub fn windows(&self) -> Vec<(Option<String>, Window)> {
        let of = |told: &Story| -> Vec<_> {
            let machine = &told.alert.machine;
            windows(told).into_iter().map(|window| (machine.clone(), window)).collect()
        };
        self.stories.values().flat_map(of).collect()
    }

    /// What the alerts that were taken found missing, each due time once.
    #[must_use]
    pub fn reckoned(&self) -> Vec<MissedCheck> {
        let counting = self.entries.counting();
        let mut all = BTreeMap::new();
        for told in self.stories.values() {
            let (alert, closed) = (told.alert.number, told.closed);
            for Sought { window, check, made } in counting.missed(told) {
                let entry = made.map(|made| (made.corrects.unwrap_or(made.index), made.recorded));
                let key = (check.machine.clone(), check.check.clone(), check.since);
                all.insert(key, MissedCheck { check, window, alert, closed, entry });
            }
        }
        all.into_values().collect()
    }
}

/// What of the checks that alerts found missing an account names, each due time once.
pub(super) fn overdue<'e>(
    missed: impl Iterator<Item = Sought<'e>>,
    question: &Question,
) -> Vec<OverdueCheck> {
    let mut all = BTreeMap::new();
    for Sought { check, .. } in missed.filter(|one| one.is_of(question.from, question.to)) {
        all.insert((check.since, check.machine.clone(), check.check.clone()), check);
    }
    all.into_values().collect()
}
