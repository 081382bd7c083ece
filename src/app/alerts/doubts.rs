//! What is read of the ledger to tell which racks are in doubt, see [`core::alert::doubts`].
//!
//! The first time every record that raised an alert is read, and of those of a sanitizer or a thermometer all that
//! became of them: some tens of thousands of records in many years, and some tenths of a second. From then on only what
//! is new.
//!
//! [`core::alert::doubts`]: crate::core::alert::doubts

use std::collections::BTreeSet;
use std::ops::{ControlFlow, RangeInclusive};

use crate::core::alert::doubts::{Doubts, FoundBy, can_doubt, is_within};
use crate::core::alert::{AlertNumber, Quantity};
use crate::core::cycle::figures::Overtaken;
use crate::core::record::{AmendmentChange, Body, Check, Cycle, Record};
use crate::core::sanitizer::bound::Bound;
use crate::core::time::Timestamp;
use crate::ledger::{CycleFilter, LedgerError, Order, ReadOn, Reader, Subject};

/// What the first records of a ledger say, as many as `size`.
///
/// # Errors
/// The ledger's, but for damage of single records: what those said is not known.
pub(in crate::app) fn read(ledger: &Reader, size: u64) -> Result<Doubts, LedgerError> {
    let mut doubts = Doubts::default();
    doubts.read_on(ledger, size)?;
    Ok(doubts)
}

/// What a rack of a machine passed by that is in doubt, and what the test of the sanitizer found by which it is; `None`
/// where none speaks against it, or where the test cannot be read.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn overtaken(
    ledger: &Reader,
    doubts: &Doubts,
    (machine, index): (&str, u64),
    cycle: &Cycle,
) -> Result<Option<Overtaken>, LedgerError> {
    let Some(FoundBy { cause: Some(cause), measured, limit }) = doubts.found_by(machine, index, cycle) else {
        return Ok(None);
    };
    let check = match ledger.record(cause)? {
        Ok((_, Record { body: Body::Check(check), .. })) => check,
        Ok((_, Record { body: Body::Amendment(said), .. })) => match said.change {
            AmendmentChange::Corrected(check) => check,
            AmendmentChange::Comment | AmendmentChange::Withdrawn => return Ok(None),
        },
        Ok(_) | Err(_) => return Ok(None),
    };
    let Check::Sanitizer { at, mg_per_l, ph, .. } = check else { return Ok(None) };
    // An amendment may only have made another test the latest: that one is what was found wrong then.
    let shown = [Some(Quantity::MgPerL(mg_per_l)), ph.map(Quantity::Ph)];
    if measured.is_some() && !shown.contains(&measured) {
        return Ok(None);
    }
    let bound = match limit {
        Some(Quantity::MgPerL(limit)) => Some(Bound::beside(mg_per_l, limit)),
        Some(Quantity::Ph(limit)) => Some(Bound::PhAtMost(limit)),
        Some(Quantity::Celsius(_) | Quantity::Seconds(_) | Quantity::Fraction(_) | Quantity::Count(_))
        | None => None,
    };
    Ok(Overtaken::new(cycle, at, (mg_per_l, ph), bound))
}

/// How many racks are still looked at, and passed over, while those in doubt are counted.
#[derive(Clone, Copy, Debug)]
pub(in crate::app) struct Left {
    /// Racks whose records are read.
    pub(in crate::app) looked: usize,
    /// Racks altogether.
    pub(in crate::app) passed: u64,
}

/// What is told while racks in doubt are counted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::app) enum Counted {
    /// A rack is in doubt.
    Doubted,
    /// From this rack on none is looked at.
    Ended,
}

/// Calls `each` with the start of the final rinse, what is told and by which alerts of the racks of a machine that passed
/// in a span, those that stand in some stretches of its own, the newest first, as long as some are left to be looked at.
///
/// # Errors
/// The ledger's, but for damage of single records: of a rack that cannot be read nothing is told.
pub(in crate::app) fn count(
    ledger: &Reader,
    doubts: &Doubts,
    (machine, stretches): (&str, &[RangeInclusive<u64>]),
    (from, to): (Option<Timestamp>, Option<Timestamp>),
    left: &mut Left,
    mut each: impl FnMut(Timestamp, Counted, &[AlertNumber]),
) -> Result<(), LedgerError> {
    if stretches.is_empty() {
        return Ok(());
    }
    let filter = CycleFilter { from, to, ..CycleFilter::default() };
    let mut failure = None;
    ledger.passed_of(Order::NewestFirst, [machine], &filter, |at, index| {
        let can_be = is_within(stretches, index);
        if left.passed == 0 || can_be && left.looked == 0 {
            each(at, Counted::Ended, &[]);
            return ControlFlow::Break(());
        }
        left.passed -= 1;
        if !can_be {
            return ControlFlow::Continue(());
        }
        left.looked -= 1;
        match ledger.record(index) {
            Ok(Ok((_, Record { body: Body::Cycle(cycle), .. }))) => {
                let by = doubts.by(machine, index, &cycle);
                if !by.is_empty() {
                    each(at, Counted::Doubted, &by);
                }
                ControlFlow::Continue(())
            }
            Ok(_) => ControlFlow::Continue(()),
            Err(error) => {
                failure = Some(error);
                ControlFlow::Break(())
            }
        }
    })?;
    failure.map_or(Ok(()), Err)
}

impl ReadOn for Doubts {
    fn next(&self) -> u64 {
        Self::next(self)
    }

    fn read_on(&mut self, ledger: &Reader, size: u64) -> Result<(), LedgerError> {
        let from = Self::next(self);
        let mut alerts: BTreeSet<AlertNumber> = self.open().collect();
        ledger.records_found(&["alert-raised"], from, |index, found| {
            if index >= size {
                return ControlFlow::Break(());
            }
            if let Ok((_, Record { body: Body::AlertRaised(raised), .. })) = found
                && can_doubt(raised.condition)
            {
                alerts.insert(raised.alert);
            }
            ControlFlow::Continue(())
        })?;
        let mut indices = BTreeSet::new();
        for alert in alerts {
            indices.extend(ledger.about(Subject::Alert(alert.0))?);
        }
        for index in indices.range(from..size) {
            if let Ok((_, record)) = ledger.record(*index)? {
                self.take(*index, &record);
            }
        }
        self.read_until(size);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::app::fixture::{CHEMICAL, at, ledger, opening};
    use crate::core::alert::{Condition, Earlier, Racks};
    use crate::core::cycle::verdict::Verdict;
    use crate::core::reader::{Language, Scale};
    use crate::core::record::{AlertRaised, Amendment};
    use crate::ledger::NewRecord;
    use crate::report::row::samples::cycle;

    /// What is told of a rack of 10:00 that was judged by a strip of 100 mg/L, once a record says that the sanitizer was wrong.
    fn told(test: Check, amended: Option<(u64, Check)>, measured: f64) -> Option<String> {
        let mut records = opening(CHEMICAL);
        let mut put = |minute, body| {
            let index = records.len() as u64;
            let record = Record::new(at(minute), Some("dm1".to_owned()), body);
            records.push(NewRecord { record, trace: None });
            index
        };
        let judged_by = put(5, Body::Check(strip(5, 100.0)));
        let mut rack = cycle(10 * 60, Verdict::Pass, 60.0, Vec::new());
        rack.concentration_mg_per_l = Some(100.0);
        let index = put(10, Body::Cycle(Box::new(rack.clone())));
        let mut cause = put(20, Body::Check(test));
        if let Some((minute, check)) = amended {
            let (reason, by, change) =
                ("misread".to_owned(), "Ana".to_owned(), AmendmentChange::Corrected(check));
            cause = put(minute, Body::Amendment(Box::new(Amendment { of: judged_by, reason, by, change })));
        }
        let raised = AlertRaised {
            measured: Some(Quantity::MgPerL(measured)),
            limit: Some(Quantity::MgPerL(25.0)),
            cause: Some(cause),
            earlier: Some(Earlier {
                racks: Racks::of(crate::core::alert::Rack::of(index, &rack)),
                by_probe: None,
                beside: Racks::default(),
            }),
            ..AlertRaised::new(AlertNumber(1), Condition::Weak, at(20))
        };
        put(40, Body::AlertRaised(Box::new(raised)));
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        ledger(&path, records).close().expect("it closes");
        let reader = Reader::open(&path).expect("a reader");
        let doubts = read(&reader, reader.size().expect("a size")).expect("readable");
        let found = overtaken(&reader, &doubts, ("dm1", index), &rack).expect("readable");
        let eye = crate::core::reader::Reader {
            language: Language::English,
            scale: Scale::Celsius,
            zone: TimeZone::UTC,
        };
        found.map(|found| found.told(&eye))
    }

    fn strip(minute: u64, mg_per_l: f64) -> Check {
        let (ph, solution_c, method, by) = (None, None, None, "Ana".to_owned());
        Check::Sanitizer { at: at(minute), mg_per_l, ph, solution_c, method, by }
    }

    // Regression: a test that was corrected was called the next one, with a time of before the rack; and a good test was
    // called what was found wrong. 25 mg/L: FDA Food Code 4-501.114(A).
    #[test]
    fn a_test_that_was_corrected_is_no_next_one() {
        let next = told(strip(20, 10.0), None, 10.0).expect("a test found it");
        assert!(next.starts_with("judged by 100 mg/L; next test 10 mg/L at "), "{next}");
        let corrected = told(strip(20, 100.0), Some((30, strip(5, 10.0))), 10.0);
        let whole = "judged by 100 mg/L, since corrected to 10 mg/L, at least 25 mg/L";
        assert_eq!(corrected.as_deref(), Some(whole));
        // The correction made another test the latest: what it says itself was not found wrong.
        assert_eq!(told(strip(20, 10.0), Some((30, strip(5, 100.0))), 10.0), None);
    }
}
