//! The checks behind the story of an alert: what each came to, and which kinds were made where it was eased.

use std::collections::BTreeMap;

use crate::core::logbook::Judgement;
use crate::core::record::{Change, Check, CheckKind, OfAlert, Record};

/// Checks by their records, each with what it came to.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct EnteredChecks(BTreeMap<u64, (Check, Judgement)>);

impl EnteredChecks {
    /// Takes the check of a record.
    pub fn take(&mut self, record: u64, check: Check, judgement: Judgement) {
        self.0.insert(record, (check, judgement));
    }

    /// That of a record.
    #[must_use]
    pub fn of(&self, record: u64) -> Option<&(Check, Judgement)> {
        self.0.get(&record)
    }
}

/// The kinds of check that an alert found missing and finds missing no more, by the record that says so: each eases it by
/// naming those that still are.
#[must_use]
pub fn made(records: &[(u64, Record)]) -> BTreeMap<u64, Vec<CheckKind>> {
    let (mut missing, mut made) = (Vec::new(), BTreeMap::new());
    for (index, record) in records {
        match record.body.of_alert() {
            Some(OfAlert::Raised(raised)) => missing.clone_from(&raised.about),
            Some(OfAlert::Changed(changed)) if !changed.about.is_empty() => {
                if changed.change == Change::Eased {
                    let gone = missing.iter().filter(|kind| !changed.about.contains(kind));
                    let gone: Vec<CheckKind> = gone.filter_map(|kind| CheckKind::named(kind)).collect();
                    made.insert(*index, gone);
                }
                missing.clone_from(&changed.about);
            }
            Some(
                OfAlert::Changed(_)
                | OfAlert::Acknowledged(_)
                | OfAlert::Cleared(_)
                | OfAlert::Closed(_)
                | OfAlert::Action(_)
                | OfAlert::Notification(_),
            )
            | None => {}
        }
    }
    made
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::alert::{AlertNumber, Condition};
    use crate::core::record::{AlertChanged, AlertRaised, Body};
    use crate::core::time::Timestamp;

    // Own promise: which check was made is told also of records that name those alone that are still missing.
    #[test]
    fn what_was_made_is_what_is_missing_no_more() {
        let at = Timestamp::from_micros(0);
        let about = |kinds: &[&str]| kinds.iter().map(|kind| (*kind).to_owned()).collect::<Vec<String>>();
        let record = |body| Record::new(at, Some("dm1".to_owned()), body);
        let raised = AlertRaised::new(AlertNumber(1), Condition::CheckOverdue, at);
        let raised = AlertRaised { about: about(&["sanitizer", "supply"]), ..raised };
        let changed = |change, kinds: &[&str]| {
            let changed = AlertChanged::new(AlertNumber(1), change);
            record(Body::AlertChanged(AlertChanged { about: about(kinds), ..changed }))
        };
        let records = [
            (3, record(Body::AlertRaised(Box::new(raised)))),
            (4, changed(Change::Grew, &["sanitizer", "supply", "drain-and-clean"])),
            (5, changed(Change::Eased, &["supply", "drain-and-clean"])),
            (6, changed(Change::Escalated, &[])),
            (7, changed(Change::Eased, &["drain-and-clean"])),
        ];
        let expected = BTreeMap::from([(5, vec![CheckKind::Sanitizer]), (7, vec![CheckKind::Supply])]);
        assert_eq!(made(&records), expected);
    }
}
