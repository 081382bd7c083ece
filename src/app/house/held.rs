//! The racks that are to be held where a test of the sanitizer failed: since when, and how many passed.

use std::ops::ControlFlow;

use super::logbook::{RACK_MAX, entered};
use crate::core::cycle::plate::Profile;
use crate::core::record::{Body, CheckKind, Record};
use crate::core::time::Timestamp;
use crate::ledger::{CycleFilter, LedgerError, Order, Reader, RecordFilter};
use crate::web::logbook::{Entered, GoodSince, Held};

/// Those of a test of the sanitizer that failed, as it counts; of any other entry none.
pub(super) fn held(
    ledger: &Reader,
    machines: &[Profile],
    own: &Entered,
) -> Result<Option<Held>, LedgerError> {
    let failed = own.judgement.as_ref().is_some_and(|judgement| judgement.good == Some(false));
    let check = own.counting().filter(|check| failed && check.kind() == CheckKind::Sanitizer);
    let (Some(machine), Some(check)) = (&own.machine, check) else { return Ok(None) };
    let since = match last_good(ledger, machines, machine, (own.record, check.at()))? {
        Some(made) => GoodSince::Test(made),
        None => match ledger.begun()? {
            Some(begun) => GoodSince::Never(begun),
            None => return Ok(None),
        },
    };
    let from = match since {
        GoodSince::Test(made) => Some(made),
        // One that was delivered late may be older than the record.
        GoodSince::Never(_) => None,
    };
    let passed = passed(ledger, machine, from, own.record)?;
    Ok(Some(Held { since, passed }))
}

/// When the last good test of a machine was made before one, as it counts now.
fn last_good(
    ledger: &Reader,
    machines: &[Profile],
    machine: &str,
    (entry, at): (u64, Timestamp),
) -> Result<Option<Timestamp>, LedgerError> {
    let filter = RecordFilter {
        kinds: vec!["check".to_owned()],
        machine: Some(machine.to_owned()),
        check: Some(CheckKind::Sanitizer),
        ..RecordFilter::default()
    };
    let (mut good, mut failure) = (None, None);
    ledger.events(Order::NewestFirst, &filter, |index, found| {
        let Ok((_, record)) = found else { return ControlFlow::Continue(()) };
        if index == entry {
            return ControlFlow::Continue(());
        }
        match entered(ledger, machines, index, record) {
            Ok(found) => {
                let found = found
                    .filter(|one| one.judgement.as_ref().and_then(|judgement| judgement.good) == Some(true));
                // One that was withdrawn says nothing; a corrected one stands where it was corrected to.
                let made = found.as_ref().and_then(Entered::counting).map(|check| check.at());
                good = made.filter(|made| *made <= at);
            }
            Err(error) => failure = Some(error),
        }
        if good.is_some() || failure.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })?;
    failure.map_or(Ok(good), Err)
}

/// How many racks of a machine passed that ended after an instant, and are on record before an entry.
fn passed(ledger: &Reader, machine: &str, from: Option<Timestamp>, entry: u64) -> Result<u64, LedgerError> {
    let filter = CycleFilter { from: from.map(|from| from.minus(RACK_MAX)), ..CycleFilter::default() };
    let (mut count, mut failure) = (0, None);
    ledger.passed_of(Order::NewestFirst, [machine], &filter, |started, index| {
        if index > entry {
            return ControlFlow::Continue(());
        }
        // Only one that was under way then must be looked at.
        let ended = match from.filter(|from| started < *from) {
            None => Ok(true),
            Some(from) => ended_after(ledger, index, from),
        };
        match ended {
            Ok(ended) => {
                count += u64::from(ended);
                ControlFlow::Continue(())
            }
            Err(error) => {
                failure = Some(error);
                ControlFlow::Break(())
            }
        }
    })?;
    failure.map_or(Ok(count), Err)
}

fn ended_after(ledger: &Reader, index: u64, at: Timestamp) -> Result<bool, LedgerError> {
    let found = ledger.record(index)?;
    Ok(matches!(found, Ok((_, Record { body: Body::Cycle(cycle), .. })) if cycle.rinse_ended > at))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{self, CHEMICAL, at, ledger, opening, plain};
    use crate::config::recorded::Recorded;
    use crate::core::cycle::verdict::Verdict;
    use crate::core::record::{Amendment, AmendmentChange};
    use crate::ledger::NewRecord;
    use crate::report::row::samples;

    fn dm1(minute: u64, body: Body) -> NewRecord {
        plain(minute, Some("dm1"), body)
    }

    fn strip(minute: u64, mg_per_l: f64) -> NewRecord {
        dm1(minute, Body::Check(fixture::strip(minute, mg_per_l)))
    }

    fn rack(minute: u64, verdict: Verdict) -> NewRecord {
        let mut cycle = samples::cycle(0, verdict, 60.0, Vec::new());
        (cycle.started, cycle.rinse_started, cycle.rinse_ended) =
            (at(minute), at(minute), at(minute).plus(std::time::Duration::from_secs(50)));
        dm1(minute + 1, Body::Cycle(Box::new(cycle)))
    }

    // Regression: «since the last good check» said neither when that was nor how many racks passed since. Own rule: those
    // count that ended after it and are on record before the test that failed; one that was withdrawn is no good test.
    #[test]
    fn racks_are_held_since_the_last_good_test() {
        let machines = Recorded::read(CHEMICAL).expect("a configuration").machines;
        let withdrawn = |of| {
            let (reason, by, change) = ("misread".to_owned(), "Ana".to_owned(), AmendmentChange::Withdrawn);
            dm1(60, Body::Amendment(Box::new(Amendment { of, reason, by, change })))
        };
        let racks = || {
            vec![
                rack(20, Verdict::Pass),
                rack(30, Verdict::Narrow),
                rack(32, Verdict::Cold),
                rack(34, Verdict::Pass),
            ]
        };
        let begun = || GoodSince::Never(at(0));
        let good = |minute| GoodSince::Test(at(minute));
        let directory = tempfile::tempdir().expect("room for a directory");
        for (name, before, after, expected) in [
            ("good", [vec![strip(10, 100.0), strip(25, 100.0)], racks()].concat(), vec![], (good(25), 2)),
            ("during", [vec![strip(30, 100.0)], racks()].concat(), vec![], (good(30), 2)),
            ("none", racks(), vec![], (begun(), 3)),
            ("failed", [vec![strip(10, 10.0)], racks()].concat(), vec![], (begun(), 3)),
            ("later", racks(), vec![strip(50, 100.0), rack(52, Verdict::Pass)], (begun(), 3)),
            ("withdrawn", [vec![strip(25, 100.0)], racks()].concat(), vec![withdrawn(2)], (begun(), 3)),
        ] {
            let path = directory.path().join(name);
            let records: Vec<NewRecord> = opening(CHEMICAL).into_iter().chain(before).collect();
            let entry = records.len() as u64;
            let records = records.into_iter().chain([strip(40, 10.0)]).chain(after);
            ledger(&path, records.collect()).close().expect("it closes");
            let reader = Reader::open(&path).expect("a reader");
            let (_, record) = reader.record(entry).expect("readable").expect("whole");
            let own = entered(&reader, &machines, entry, record).expect("readable").expect("an entry");
            let (since, passed) = expected;
            let told = held(&reader, &machines, &own).expect("readable");
            assert_eq!(told, Some(Held { since, passed }), "{name}");
        }
    }
}
