//! Tests and comparisons that failed while their alert was open: no record of it names them, and yet they are its own.

use std::collections::BTreeSet;
use std::ops::ControlFlow;

use super::logbook::entered;
use crate::app::alerts::past::Raised;
use crate::app::alerts::story;
use crate::core::alert::{Alert, Earlier};
use crate::core::cycle::plate::Profile;
use crate::core::record::{Body, Check, CheckKind, OfAlert, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter, Subject};
use crate::web::alerts::Late;
use crate::web::logbook::Waits;

/// Most checks that are looked at for one alert (own choice: a month of every shift). Those beyond are not listed.
const LOOKED_AT_MAX: usize = 100;

/// Most alerts of a machine that are looked at for one entry (own choice). At the limit none is named.
const ALERTS_MAX: usize = 100;

/// The alert that was open of this machine when an entry of this kind went on record, and that it belongs to where it
/// failed.
pub(super) fn open_then(
    ledger: &Reader,
    machine: &str,
    kind: CheckKind,
    (entry, recorded): (u64, Timestamp),
) -> Result<Option<u64>, LedgerError> {
    let filter = RecordFilter {
        kinds: vec!["alert-raised".to_owned()],
        machine: Some(machine.to_owned()),
        to: Some(recorded.just_after()),
        limit: Some(ALERTS_MAX),
        ..RecordFilter::default()
    };
    let mut raised = None;
    ledger.events(Order::NewestFirst, &filter, |index, found| match found {
        Ok((_, Record { body: Body::AlertRaised(own), .. }))
            if index < entry && own.condition.found_by() == Some(kind) =>
        {
            raised = Some(own.alert.0);
            ControlFlow::Break(())
        }
        Ok(_) | Err(_) => ControlFlow::Continue(()),
    })?;
    let Some(number) = raised else { return Ok(None) };
    let told = ledger.records_about(Subject::Alert(number))?;
    let over = told.iter().any(|(index, found)| {
        *index < entry && matches!(found, Ok((_, Record { body: Body::AlertClosed(_), .. })))
    });
    Ok((!over).then_some(number))
}

/// Whether a record puts racks in doubt, by the concentration on file, that ended before a test was made.
fn doubts_before(record: &Record, made: Timestamp) -> bool {
    let Some(told) = record.body.of_alert() else { return false };
    let racks = told.earlier().filter(|earlier| earlier.by_probe.is_none()).map(Earlier::all);
    // Of a test that failed before it the other one says nothing.
    let is_since = matches!(told, OfAlert::Raised(raised) if raised.since > made);
    let racks = racks.and_then(|racks| racks.first().zip(racks.last()));
    racks.is_some_and(|(first, last)| first.at <= made && (last.at > made || is_since))
}

/// The open alerts of a machine that had put racks of before a good test in doubt when that went on record: what they
/// counted by then stays so.
pub(super) fn doubted_before(
    ledger: &Reader,
    machine: &str,
    (entry, recorded): (u64, Timestamp),
    made: Timestamp,
) -> Result<Vec<u64>, LedgerError> {
    let filter = RecordFilter {
        kinds: vec!["alert-raised".to_owned(), "alert-changed".to_owned()],
        machine: Some(machine.to_owned()),
        from: Some(made),
        to: Some(recorded.just_after()),
        limit: Some(LOOKED_AT_MAX),
        ..RecordFilter::default()
    };
    let mut found = BTreeSet::new();
    ledger.events(Order::OldestFirst, &filter, |index, record| {
        if let Ok((_, record)) = record
            && index < entry
            && doubts_before(&record, made)
        {
            found.extend(record.body.alert().map(|alert| alert.0));
        }
        ControlFlow::Continue(())
    })?;
    let mut open = Vec::new();
    for alert in found {
        if is_open(ledger, alert)? && still_doubts(ledger, alert)? {
            open.push(alert);
        }
    }
    Ok(open)
}

/// Whether racks that had passed are in doubt by an alert: those of one whose test was entered wrongly are not.
fn still_doubts(ledger: &Reader, alert: u64) -> Result<bool, LedgerError> {
    Ok(story::told_of(&mut Raised::of(ledger), alert)?
        .is_some_and(|told| told.alert.doubted() > 0 && !told.alert.was_entered_wrongly()))
}

/// Good tests that came late: made before racks were in doubt by an alert, and on record after that. When each was made,
/// when it went on record, and its record.
pub(super) fn late_tests(
    ledger: &Reader,
    machines: &[Profile],
    alert: &Alert,
    trail: &[(u64, Record)],
) -> Result<Vec<Late>, LedgerError> {
    if alert.was_entered_wrongly() {
        return Ok(Vec::new());
    }
    let racks = trail.iter().filter_map(|(_, record)| {
        let earlier = record.body.of_alert()?.earlier().filter(|earlier| earlier.by_probe.is_none())?;
        Some((earlier.all().first()?.at, record.recorded))
    });
    let racks: Vec<(Timestamp, Timestamp)> = racks.collect();
    let first = racks.iter().map(|(first, _)| *first).min();
    let (Some(machine), Some(first), Some((_, last))) = (&alert.machine, first, racks.last()) else {
        return Ok(Vec::new());
    };
    let filter = RecordFilter {
        kinds: vec!["check".to_owned()],
        machine: Some(machine.clone()),
        check: Some(CheckKind::Sanitizer),
        from: Some(first),
        to: Some(*last),
        limit: Some(LOOKED_AT_MAX),
        ..RecordFilter::default()
    };
    let mut found = Vec::new();
    ledger.events(Order::OldestFirst, &filter, |index, record| {
        found.extend(record.ok().map(|(_, record)| (index, record)));
        ControlFlow::Continue(())
    })?;
    let mut late = Vec::new();
    for (index, record) in found {
        let Some(own) = entered(ledger, machines, index, record)? else { continue };
        let good = own.judgement.as_ref().and_then(|judgement| judgement.good) == Some(true);
        let Some(made) = own.counting().filter(|_| good).map(Check::at) else { continue };
        if trail.iter().any(|(at, record)| *at < index && doubts_before(record, made)) {
            late.push(Late { record: index, made, entered: own.recorded });
        }
    }
    Ok(late)
}

/// Whether an alert is open: nothing on record closes it.
pub(super) fn is_open(ledger: &Reader, number: u64) -> Result<bool, LedgerError> {
    let told = ledger.records_about(Subject::Alert(number))?;
    let is_end =
        |found: &Result<(_, Record), _>| matches!(found, Ok((_, Record { body: Body::AlertClosed(_), .. })));
    Ok(!told.iter().any(|(_, found)| is_end(found)))
}

/// How an open alert stands for an entry of its, by the records of what was said of that; `None` where it is closed.
pub(super) fn waits(ledger: &Reader, number: u64, amendments: &[u64]) -> Result<Option<Waits>, LedgerError> {
    if !is_open(ledger, number)? {
        return Ok(None);
    }
    let Some(told) = story::told_of(&mut Raised::of(ledger), number)? else { return Ok(Some(Waits::Lasts)) };
    if told.alert.cleared.is_none() || told.alert.action_missing() {
        return Ok(Some(Waits::Lasts));
    }
    let by = ledger.records_about(Subject::Alert(number))?.into_iter().rev().find_map(|(_, found)| {
        let (_, Record { body: Body::AlertCleared(cleared), .. }) = found.ok()? else { return None };
        Some(cleared.cause)
    });
    let is_by_it = by.flatten().is_some_and(|by| amendments.contains(&by));
    Ok(Some(if is_by_it { Waits::RecoveredByIt } else { Waits::Recovered }))
}

/// When the latest test of the sanitizer of a machine was made that counts, where it is later than this one and failed.
pub(super) fn failed_since(
    ledger: &Reader,
    machines: &[Profile],
    machine: &str,
    at: Timestamp,
) -> Result<Option<Timestamp>, LedgerError> {
    let filter = RecordFilter {
        kinds: vec!["check".to_owned()],
        machine: Some(machine.to_owned()),
        check: Some(CheckKind::Sanitizer),
        from: Some(at),
        limit: Some(LOOKED_AT_MAX),
        ..RecordFilter::default()
    };
    let mut found = Vec::new();
    ledger.events(Order::NewestFirst, &filter, |index, record| {
        found.extend(record.ok().map(|(_, record)| (index, record)));
        ControlFlow::Continue(())
    })?;
    let mut latest = None;
    for (index, record) in found {
        let Some(entered) = entered(ledger, machines, index, record)? else { continue };
        // One that was withdrawn says nothing; a corrected one stands where it was corrected to.
        let Some(check) = entered.counting() else { continue };
        let good = entered.judgement.as_ref().and_then(|judgement| judgement.good);
        latest = latest.max(good.map(|good| (check.at(), index, good)));
    }
    Ok(latest.filter(|(made, _, good)| *made > at && !good).map(|(made, ..)| made))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::alerts::entered::with_tests;
    use crate::app::fixture::{self, CHEMICAL, at, ledger, opening, plain};
    use crate::app::sites::Sites;
    use crate::config::recorded::Recorded;
    use crate::core::alert::{AlertNumber, Amended, Condition, Quantity, Rack, Racks};
    use crate::core::record::{AlertChanged, AlertClosed, AlertRaised, Amendment, AmendmentChange, Change};
    use crate::ledger::ReadOn;

    fn strip(minute: u64, mg_per_l: f64) -> Body {
        Body::Check(fixture::strip(minute, mg_per_l))
    }

    // Own promise: whoever reads an alert finds each test that failed while it was open, and from each the way back.
    #[test]
    fn a_test_that_failed_meanwhile_belongs_to_the_alert() {
        let directory = tempfile::tempdir().expect("room for a directory");
        let path = directory.path().join("ledger.sqlite");
        let number = AlertNumber(4);
        let cause = Some(2);
        let raised = AlertRaised { cause, ..AlertRaised::new(number, Condition::Weak, at(10)) };
        let closed = AlertClosed { alert: number, racks: 0, needed_action: false };
        let mut records = opening(CHEMICAL);
        let dm1 = |minute, body| plain(minute, Some("dm1"), body);
        records.extend([
            dm1(10, strip(10, 10.0)), // record 2
            dm1(10, Body::AlertRaised(Box::new(raised))),
            dm1(20, strip(20, 20.0)), // record 4
            dm1(30, strip(30, 100.0)),
            dm1(40, Body::AlertClosed(closed)),
            dm1(50, strip(50, 10.0)), // record 7
        ]);
        ledger(&path, records).close().expect("it closes");
        let reader = Reader::open(&path).expect("a reader");
        let (trail, _) = story::records(&reader, number).expect("readable");
        let alert = story::told(&reader, &trail).expect("readable").expect("it was raised").alert;
        let sites = Sites::whole(&reader).expect("readable");
        let told = with_tests(&reader, &sites, (&alert, Some(at(40))), trail);
        let (told, entered) = told.expect("readable");
        assert_eq!(told.iter().map(|(index, _)| *index).collect::<Vec<_>>(), [3, 4, 6]);
        assert_eq!(entered.of(4).and_then(|(_, judgement)| judgement.good), Some(false));
        for (entry, minute, expected) in [(2, 10, None), (4, 20, Some(4)), (7, 50, None)] {
            let found = open_then(&reader, "dm1", CheckKind::Sanitizer, (entry, at(minute)));
            assert_eq!(found.expect("readable"), expected, "{entry}");
            let other = open_then(&reader, "dm1", CheckKind::Thermometer, (entry, at(minute)));
            assert_eq!(other.expect("readable"), None, "{entry}");
        }
    }

    // Own promise: whoever enters a good test late, and whoever reads the alert, learns that the racks of before it stay in
    // doubt: an alert counted them by then. One that was entered in time, or counts no more, frees none so.
    #[test]
    fn a_good_test_that_came_late_leaves_racks_in_doubt() {
        let directory = tempfile::tempdir().expect("room for a directory");
        let machines = Recorded::read(CHEMICAL).expect("a configuration").machines;
        let dm1 = |minute, body| plain(minute, Some("dm1"), body);
        let number = AlertNumber(6);
        let mut racks = Racks::of(Rack { index: 0, at: at(20), began: None });
        racks.push(Rack { index: 1, at: at(35), began: None });
        let earlier = Some(Earlier { racks, by_probe: None, beside: Racks::default() });
        let raised =
            AlertRaised { cause: Some(2), earlier, ..AlertRaised::new(number, Condition::Weak, at(40)) };
        let withdrawn = || {
            let (reason, by, change) = ("misread".to_owned(), "Ana".to_owned(), AmendmentChange::Withdrawn);
            dm1(60, Body::Amendment(Box::new(Amendment { of: 4, reason, by, change })))
        };
        let good = |minute| dm1(50, strip(minute, 100.0)); // record 4
        let late = Late { record: 4, made: at(30), entered: at(50) };
        let right = || {
            let (by, was) = ("Ana".to_owned(), Quantity::MgPerL(10.0));
            let counts = Some(Quantity::MgPerL(100.0));
            let amended = Some(Box::new(Amended { by, at: at(60), of: Some(2), was, counts }));
            let eased = AlertChanged::new(number, Change::Eased);
            dm1(60, Body::AlertChanged(AlertChanged { racks: 2, amended, ..eased }))
        };
        for (name, later, of_entry, of_alert) in [
            ("late", vec![good(30)], vec![6], vec![late]),
            ("entered wrongly", vec![good(30), right()], vec![], vec![]),
            ("before any rack", vec![good(10)], vec![], vec![]),
            ("after all", vec![good(45)], vec![], vec![]),
            ("withdrawn", vec![good(30), withdrawn()], vec![], vec![]),
        ] {
            let path = directory.path().join(name);
            let before = [dm1(40, strip(40, 10.0)), dm1(40, Body::AlertRaised(Box::new(raised.clone())))];
            let records = opening(CHEMICAL).into_iter().chain(before).chain(later);
            ledger(&path, records.collect()).close().expect("it closes");
            let reader = Reader::open(&path).expect("a reader");
            let (trail, _) = story::records(&reader, number).expect("readable");
            let alert = story::told(&reader, &trail).expect("readable").expect("it was raised").alert;
            let told = late_tests(&reader, &machines, &alert, &trail).expect("readable");
            assert_eq!(told, of_alert, "{name}");
            let (_, record) = reader.record(4).expect("readable").expect("whole");
            let found = entered(&reader, &machines, 4, record).expect("readable").expect("an entry");
            let Some(made) = found.counting().map(Check::at) else { continue };
            let told = doubted_before(&reader, "dm1", (4, at(50)), made);
            assert_eq!(told.expect("readable"), of_entry, "{name}");
        }
    }

    // Own promise: a good test that is entered late is not taken for the newest where a later one failed; one that counts
    // no more is no later one.
    #[test]
    fn a_good_test_knows_of_a_later_one_that_failed() {
        let directory = tempfile::tempdir().expect("room for a directory");
        let machines = Recorded::read(CHEMICAL).expect("a configuration").machines;
        let dm1 = |minute, body| plain(minute, Some("dm1"), body);
        let withdrawn = || {
            let (reason, by, change) = ("misread".to_owned(), "Ana".to_owned(), AmendmentChange::Withdrawn);
            dm1(60, Body::Amendment(Box::new(Amendment { of: 2, reason, by, change })))
        };
        let failed = || dm1(40, strip(40, 10.0)); // record 2
        let late = || dm1(50, strip(30, 100.0));
        for (name, records, expected) in [
            ("failed", vec![failed(), late()], Some(at(40))),
            ("withdrawn", vec![failed(), late(), withdrawn()], None),
            ("mended", vec![failed(), late(), dm1(55, strip(55, 100.0))], None),
            ("alone", vec![late()], None),
        ] {
            let path = directory.path().join(name);
            ledger(&path, opening(CHEMICAL).into_iter().chain(records).collect()).close().expect("it closes");
            let reader = Reader::open(&path).expect("a reader");
            assert_eq!(
                failed_since(&reader, &machines, "dm1", at(30)).expect("it reads"),
                expected,
                "{name}"
            );
        }
    }
}
