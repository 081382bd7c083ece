//! The newest comparison of a probe with another thermometer that counts, for the pages.

use std::ops::ControlFlow;

use crate::core::logbook::counting;
use crate::core::record::{Body, Check, CheckKind};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter};
use crate::web::probes::Compared;

/// Most comparisons of a machine that are looked at for one of its probes (own choice: each thermometer of a machine
/// weekly for years). At the limit none is named.
const LOOKED_AT_MAX: usize = 1_000;

/// The newest that was on record by `at`, with all that was said of it by then; `None` where there is none. One
/// that is damaged is told by the history.
///
/// # Errors
/// The ledger's.
pub(super) fn newest(ledger: &Reader, probe: &str, at: Timestamp) -> Result<Option<Compared>, LedgerError> {
    let filter = RecordFilter {
        kinds: vec!["check".to_owned()],
        machine: probe.split('/').next().map(str::to_owned),
        check: Some(CheckKind::Thermometer),
        limit: Some(LOOKED_AT_MAX),
        ..RecordFilter::default()
    };
    let mut own = Vec::new();
    ledger.events(Order::NewestFirst, &filter, |index, found| {
        if let Ok((_, record)) = found
            && let Body::Check(check) = record.body
            && record.recorded <= at
            && matches!(&check, Check::Thermometer { what, .. } if what == probe)
        {
            own.push((index, check));
        }
        ControlFlow::Continue(())
    })?;
    for (record, check) in own {
        let mut said = Vec::new();
        for (index, amendment) in ledger.amendments(record)? {
            if let (Some(amendment), Ok((_, by))) = (amendment, ledger.record(index)?)
                && by.recorded <= at
            {
                said.push((index, amendment.change));
            }
        }
        if let Some((check, _)) = counting(&check, said.iter().map(|(index, change)| (*index, change))) {
            return Ok(Some(Compared { record, check: check.clone() }));
        }
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{CONFIGURATION, at, comment, ledger, opening, plain};
    use crate::core::record::{Amendment, AmendmentChange};

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
            let found = newest(&reader, probe, minute.map_or(Timestamp::MAX, at)).expect("it reads")?;
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
}
