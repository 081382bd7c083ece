//! The checks that were due and not made in time, by the reckoning of the account and without the rest of it.
//!
//! Who asks chooses the alerts: an account those that touch its span, a page those of the checks that were due in its
//! days. What each of them found missing, and by which entry it was made after all, is the same.

use std::collections::BTreeMap;

use super::build::Question;
use super::entries::{Entries, Window, windows};
use super::{CheckAccount, OverdueCheck};
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
    /// Whether the next of its kind was missed too: no entry can make this one any more.
    pub missed_on: bool,
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
            let missed = counting.missed(told).into_iter().zip(windows(told));
            for ((check, made), Window { missed_on, .. }) in missed {
                let entry = made.map(|made| (made.corrects.unwrap_or(made.index), made.recorded));
                let key = (check.machine.clone(), check.check.clone(), check.since);
                all.insert(key, MissedCheck { check, alert, closed, missed_on, entry });
            }
        }
        all.into_values().collect()
    }
}

/// What of the checks that alerts found missing an account names, each due time once: those that were due in its span,
/// and those of before that were not entered when it began.
pub(super) fn overdue<'e>(
    missed: impl Iterator<Item = (OverdueCheck, Option<&'e CheckAccount>)>,
    question: &Question,
) -> Vec<OverdueCheck> {
    let waited = |made: Option<&CheckAccount>| made.is_none_or(|made| made.recorded >= question.from);
    let wanted = |(check, made): &(OverdueCheck, Option<&CheckAccount>)| {
        check.since < question.to && (check.since >= question.from || waited(*made))
    };
    let key = |check: &OverdueCheck| (check.machine.clone(), check.check.clone(), check.since);
    let mut all: Vec<OverdueCheck> = Vec::new();
    for (check, _) in missed.filter(wanted) {
        match all.iter_mut().find(|known| key(known) == key(&check)) {
            Some(known) => *known = check,
            None => all.push(check),
        }
    }
    all
}
