//! Days, gaps, drift and the sum of a span: what the command `history` shows, for the page.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;
use std::path::Path;

use jiff::ToSpan;
use jiff::civil::Date;

use super::{Sought, closed};
use crate::app::history::events::Sites;
use crate::app::history::{Ground, days, drift, gaps};
use crate::app::{Failure, ledger as told};
use crate::core::alert::Settings;
use crate::core::alert::hours::local_date;
use crate::core::monitored;
use crate::core::record::{AmendmentChange, Body, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter};
use crate::report::account::MachineAccount;
use crate::web::history::{
    DAYS_MAX, DRIFT_DAYS_MAX, DayLine, Drift, Found, GapLine, HistoryPart, LINES_MAX, OpenHours, Page, Shift,
    Sum, Summed, Tally, View,
};

/// Fills the page of a span.
///
/// # Errors
/// The ledger's.
pub(super) fn fill(
    sought: &Sought,
    (ledger, path): (&Reader, &Path),
    settings: &Settings,
    now: Timestamp,
    part: &mut HistoryPart,
) -> Result<(), Failure> {
    let view = sought.question.view;
    let failed = |error: LedgerError| Failure::from(told::diagnose(&error, path));
    let (from, to) = match view {
        View::Days => pages_days(sought, settings, now, part),
        View::Drift => (drift_from(sought, settings, now), sought.to),
        View::Racks | View::Summary | View::Checks | View::Alerts | View::Gaps | View::Records => {
            // No earlier than the record goes back: a span may be asked for in centuries.
            let first = ledger.days_span(&settings.zone).map_err(failed)?.map(|(first, _)| first);
            let begun = first.and_then(|day| monitored::day(&settings.zone, day)).map(|(_, day)| day.from);
            let begun = match (begun, ledger.begun().map_err(failed)?) {
                (Some(rack), Some(record)) => Some(rack.min(record)),
                (one, other) => one.or(other),
            };
            (sought.from.map(|from| begun.map_or(from, |begun| from.max(begun))), sought.to)
        }
    };
    let mut ground = Ground::of_service((ledger, path), settings, (from, to), now);
    let machine = sought.question.machine.as_deref();
    match view {
        View::Days => {
            let rows = days::day_rows(&mut ground, machine)?.unwrap_or_default();
            let line = |days::DayRow { day, machine, numbers, watched, .. }| DayLine {
                day,
                machine,
                numbers,
                watched,
            };
            part.found = Found::Days(rows.into_iter().rev().map(line).collect());
            if !before(ledger, settings, from).map_err(failed)? {
                part.days_before = None;
            }
        }
        View::Gaps => {
            let gaps = gaps::blanks(&mut ground, machine)?;
            part.found = Found::Gaps(page(gaps, sought.question.page, part));
        }
        View::Drift => {
            let found = drift::accounts(&mut ground, machine)?;
            let (span, machines) = found.map_or((None, Vec::new()), |(span, machines)| {
                (Some((span.from, span.to)), machines.iter().map(of_machine).collect())
            });
            part.found = Found::Drift(machines, span);
        }
        View::Racks | View::Summary | View::Checks | View::Alerts | View::Records => {
            let counted = counted(ledger, sought).map_err(failed)?;
            part.damaged.extend(&counted.damaged);
            part.found = Found::Summary(summed(&mut ground, sought, counted, settings)?.map(Box::new));
        }
    }
    part.damaged.extend(ground.into_damaged());
    Ok(())
}

/// The span of a page of days, and the last day of the page before it.
fn pages_days(
    sought: &Sought,
    settings: &Settings,
    now: Timestamp,
    part: &mut HistoryPart,
) -> (Option<Timestamp>, Option<Timestamp>) {
    let question = &sought.question;
    let Some(today) = local_date(&settings.zone, now) else { return (sought.from, sought.to) };
    let last = question.to.map_or(today, |to| to.min(today));
    let last = question.until.map_or(last, |until| until.min(last));
    let most = last.checked_sub((DAYS_MAX - 1).days()).unwrap_or(last);
    let first = question.from.map_or(most, |from| from.max(most));
    part.days_before =
        first.checked_sub(1.day()).ok().filter(|day| question.from.is_none_or(|from| *day >= from));
    let bounds = |date: Date| monitored::day(&settings.zone, date).map(|(_, stretch)| stretch);
    (bounds(first).map(|day| day.from), bounds(last).map(|day| day.to))
}

/// Whether any rack lies before this moment.
fn before(ledger: &Reader, settings: &Settings, from: Option<Timestamp>) -> Result<bool, LedgerError> {
    let first = ledger.days_span(&settings.zone)?.map(|(first, _)| first);
    let shown = from.and_then(|from| local_date(&settings.zone, from));
    Ok(first.zip(shown).is_some_and(|(first, shown)| first < shown))
}

/// Where the drift of a span is reckoned from: its last quarter of a year.
fn drift_from(sought: &Sought, settings: &Settings, now: Timestamp) -> Option<Timestamp> {
    let last = sought.to.map_or(now, |to| to.min(now));
    let day = local_date(&settings.zone, last)?;
    let first = day.checked_sub(DRIFT_DAYS_MAX.days()).ok()?;
    let bound = monitored::day(&settings.zone, first).map(|(_, stretch)| stretch.from)?;
    Some(sought.from.map_or(bound, |from| from.max(bound)))
}

/// One page of gaps, the newest first; they are known by the record that tells of them.
fn page(mut gaps: Vec<GapLine>, page: Page, part: &mut HistoryPart) -> Vec<GapLine> {
    gaps.reverse();
    let place = |record: u64| gaps.iter().position(|(blank, _)| blank.index == record);
    let first = match page {
        Page::Newest => 0,
        Page::Older(record) => place(record).map_or(0, |place| place + 1),
        Page::Newer(record) => place(record).map_or(0, |place| place.saturating_sub(LINES_MAX)),
    };
    let index = |place: usize| gaps.get(place).map(|(blank, _)| blank.index);
    part.newer = if first > 0 { index(first) } else { None };
    let end = first + LINES_MAX;
    part.older = if end < gaps.len() { index(end - 1) } else { None };
    gaps.into_iter().skip(first).take(LINES_MAX).collect()
}

fn of_machine(account: &MachineAccount) -> Drift {
    let drift = &account.drift;
    let shift = |signal: &crate::report::account::DriftSignal| Shift {
        at: signal.at,
        by_c: signal.shift_c,
        since: signal.since,
    };
    Drift {
        machine: account.machine.clone(),
        usual: drift.usual_c.zip(drift.sigma_c),
        shifts: drift.signals.iter().map(shift).collect(),
        cold_first: drift.cold_first_racks,
        recovery_s: drift.recovery_first_s.zip(drift.recovery_last_s),
    }
}

fn summed(
    ground: &mut Ground<'_>,
    sought: &Sought,
    counted: Counted,
    settings: &Settings,
) -> Result<Option<Summed>, Failure> {
    let machine = sought.question.machine.as_deref();
    let Some(sums) = days::sums(ground, machine)? else { return Ok(None) };
    let gaps = gaps::blanks(ground, machine)?;
    let filled = gaps.iter().filter(|(blank, _)| blank.filled).count() as u64;
    let open_s = gaps.iter().fold(0.0, |sum, (_, open_s)| sum + open_s);
    let of = |days::SumRow { machine, days, numbers, watched, marked }| Sum {
        machine,
        days,
        numbers,
        watched,
        worked_on: marked,
    };
    Ok(Some(Summed {
        from: sums.span.from,
        to: sums.span.to,
        machines: sums.machines.into_iter().map(of).collect(),
        gaps: (gaps.len() as u64, filled, open_s),
        checks: counted.checks.into_iter().collect(),
        alerts: counted.alerts,
        hours: match settings {
            Settings { open: Some(_), .. } => OpenHours::Opening,
            Settings { shifts, .. } if !shifts.is_empty() => OpenHours::Shifts,
            Settings { .. } => OpenHours::Every,
        },
    }))
}

/// Checks and alerts of a span.
#[derive(Default)]
struct Counted {
    checks: BTreeMap<&'static str, Tally>,
    alerts: (u64, u64),
    damaged: Vec<u64>,
}

fn counted(ledger: &Reader, sought: &Sought) -> Result<Counted, LedgerError> {
    let filter = |kind: &str| RecordFilter {
        kinds: vec![kind.to_owned()],
        machine: sought.question.machine.clone(),
        check: None,
        from: sought.from,
        to: sought.to,
        limit: None,
        after_index: None,
    };
    let mut counted = Counted::default();
    let mut raised_unread = Vec::new();
    checks(ledger, sought, &filter, &mut counted)?;
    let mut raised = Vec::new();
    ledger.events(Order::OldestFirst, &filter("alert-raised"), |index, found| {
        match found.map(|(_, record)| record.body) {
            Ok(Body::AlertRaised(alert)) => raised.push(alert.alert.0),
            Ok(_) => {}
            Err(_) => raised_unread.push(index),
        }
        ControlFlow::Continue(())
    })?;
    for alert in &raised {
        if closed(ledger, *alert)?.is_none() {
            counted.alerts.1 += 1;
        }
    }
    counted.alerts.0 = raised.len() as u64;
    counted.damaged.extend(raised_unread);
    Ok(counted)
}

/// Counts the checks of a span as they count after what was said of them: one that was withdrawn not at all, one
/// that was corrected as the correction says, and at its time.
fn checks(
    ledger: &Reader,
    sought: &Sought,
    filter: &dyn Fn(&str) -> RecordFilter,
    counted: &mut Counted,
) -> Result<(), LedgerError> {
    let mut entered = BTreeSet::new();
    ledger.events(Order::OldestFirst, &filter("check"), |index, _| {
        entered.insert(index);
        ControlFlow::Continue(())
    })?;
    // A correction may have moved a check into the span; it came no earlier than the check was made.
    let said = RecordFilter { to: None, ..filter("amendment") };
    ledger.events(Order::OldestFirst, &said, |_, found| {
        if let Ok((_, Record { body: Body::Amendment(said), .. })) = found
            && matches!(said.change, AmendmentChange::Corrected(_))
        {
            entered.insert(said.of);
        }
        ControlFlow::Continue(())
    })?;
    let sites = Sites::read(ledger)?;
    let inside =
        |at: Timestamp| sought.from.is_none_or(|from| at >= from) && sought.to.is_none_or(|to| at < to);
    for index in entered {
        let Ok((_, Record { machine, body, .. })) = ledger.record(index)? else {
            counted.damaged.push(index);
            continue;
        };
        let Body::Check(check) = &body else { continue };
        let amendments = ledger.amendments(index)?;
        counted.damaged.extend(amendments.iter().filter(|(_, said)| said.is_none()).map(|(at, _)| *at));
        let counting = sites.counting((index, check), machine.as_deref(), &amendments);
        let Some((check, good)) = counting.filter(|(check, _)| inside(check.at())) else { continue };
        let tally = counted.checks.entry(check.kind().as_str()).or_default();
        match good {
            Some(true) => tally.good += 1,
            Some(false) => tally.bad += 1,
            None => tally.done += 1,
        }
    }
    Ok(())
}
