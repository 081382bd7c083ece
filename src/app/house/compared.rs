//! The newest comparison of a probe with another thermometer that counts, for the pages.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use super::checked;
use crate::core::record::{Check, CheckKind};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader};
use crate::web::probes::Compared;

/// Most comparisons of a machine that are looked at for its probes (own choice: each thermometer of a machine weekly for
/// years). At the limit none is named.
const LOOKED_AT_MAX: usize = 1_000;

/// Of each of these probes of a machine the newest that was on record by `at`, with all that was said of it by then. A
/// correction that names another thermometer makes it one of that. One that is damaged is told by the history.
///
/// # Errors
/// The ledger's.
pub(super) fn newest(
    ledger: &Reader,
    machine: &str,
    probes: &[&str],
    at: Timestamp,
) -> Result<BTreeMap<String, Compared>, LedgerError> {
    let mut newest = BTreeMap::new();
    checked::newest(ledger, (machine, CheckKind::Thermometer, at), LOOKED_AT_MAX, |record, check| {
        if let Check::Thermometer { what, .. } = check
            && probes.contains(&what.as_str())
        {
            newest.entry(what.clone()).or_insert_with(|| Compared { record, check: check.clone() });
        }
        if newest.len() == probes.len() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })?;
    Ok(newest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{CONFIGURATION, at, comment, ledger, opening, plain};
    use crate::core::record::{Amendment, AmendmentChange, Body};

    fn compared(minute: u64, what: &str, shown_c: f64) -> Check {
        Check::Thermometer {
            at: at(minute),
            what: what.to_owned(),
            shown_c,
            reference_c: 0.0,
            tolerance_c: 1.5,
            reference: "ice".to_owned(),
            by: "Ana".to_owned(),
        }
    }

    // Own promise: of the comparisons of this very probe the newest that counts, as it stood at the moment.
    #[test]
    fn the_newest_that_counts_is_found() {
        let directory = tempfile::tempdir().expect("room for a directory");
        let path = directory.path().join("ledger.sqlite");
        let check = |minute, what: &str, shown_c| {
            plain(minute, Some("dm1"), Body::Check(compared(minute, what, shown_c)))
        };
        let amend = |minute, of, change| {
            let (reason, by) = ("misread".to_owned(), "Ana".to_owned());
            plain(minute, Some("dm1"), Body::Amendment(Box::new(Amendment { of, reason, by, change })))
        };
        let mut records = opening(CONFIGURATION);
        records.extend([
            check(10, "dm1/rinse", 0.2), // record 2
            check(20, "dm1/rinse", 1.6), // record 3
            check(30, "dm1/wash", 0.0),  // record 4
            plain(35, Some("dm1"), comment(3, "by daylight")),
            amend(40, 3, AmendmentChange::Corrected(compared(20, "dm1/rinse", 0.6))),
            amend(50, 3, AmendmentChange::Withdrawn),
        ]);
        ledger(&path, records).close().expect("it closes");
        let reader = Reader::open(&path).expect("a reader");
        let shown = |probe: &str, minute: Option<u64>| {
            let machine = probe.split('/').next().expect("a machine");
            let at = minute.map_or(Timestamp::MAX, at);
            let found =
                newest(&reader, machine, &["dm1/wash", "dm1/rinse"], at).expect("it reads").remove(probe)?;
            let Check::Thermometer { shown_c, .. } = found.check else { panic!("another check") };
            Some((found.record, shown_c))
        };
        for (minute, expected) in [
            (Some(9), None),
            (Some(10), Some((2, 0.2))),
            (Some(36), Some((3, 1.6))),
            (Some(40), Some((3, 0.6))),
            (None, Some((2, 0.2))),
        ] {
            assert_eq!(shown("dm1/rinse", minute), expected, "at {minute:?}");
        }
        assert_eq!(shown("dm1/wash", None), Some((4, 0.0)));
        assert_eq!(shown("dm2/rinse", None), None);
    }

    // Own promise: how many were made since does not hide what counted at a moment of before, and a correction that
    // names another thermometer is shown at that one.
    #[test]
    fn a_moment_of_long_ago_and_another_thermometer_are_found() {
        let directory = tempfile::tempdir().expect("room for a directory");
        let check = |minute, what: &str, shown_c| {
            plain(minute, Some("dm1"), Body::Check(compared(minute, what, shown_c)))
        };
        let found = |name: &str, more: Vec<_>, minute| {
            let path = directory.path().join(name);
            let mut records = opening(CONFIGURATION);
            records.push(check(10, "dm1/rinse", 0.2)); // record 2
            records.extend(more);
            ledger(&path, records).close().expect("it closes");
            let reader = Reader::open(&path).expect("a reader");
            let found = newest(&reader, "dm1", &["dm1/rinse", "dm1/wash"], at(minute)).expect("it reads");
            found.into_iter().map(|(probe, one)| (probe, one.record)).collect::<Vec<_>>()
        };
        let many = (0..LOOKED_AT_MAX as u64).map(|more| check(20 + more, "dm1/rinse", 0.3)).collect();
        assert_eq!(found("many", many, 15), [("dm1/rinse".to_owned(), 2)]);
        let change = AmendmentChange::Corrected(compared(10, "dm1/wash", 0.2));
        let (reason, by) = ("the other one".to_owned(), "Ana".to_owned());
        let body = Body::Amendment(Box::new(Amendment { of: 2, reason, by, change }));
        let other = plain(30, Some("dm1"), body);
        assert_eq!(found("before", vec![other.clone()], 15), [("dm1/rinse".to_owned(), 2)]);
        assert_eq!(found("since", vec![other], 40), [("dm1/wash".to_owned(), 2)]);
    }
}
