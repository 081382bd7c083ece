//! A span summed up, for the page.
//!
//! Racks, gaps and watched time are those of the command `history`. Checks and alerts are counted whether
//! anything was washed or not: a day without a rack has its checks as well.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;

use super::{Around, NotGathered, Sought, doubted, missed, over};
use crate::app::alerts::past::Raised;
use crate::app::alerts::story;
use crate::app::history::{days, gaps};
use crate::core::alert::hours::Stretch;
use crate::core::alert::{AlertNumber, Settings};
use crate::core::record::{Body, CheckKind, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter};
use crate::web::history::{
    AlertsSummed, BEFORE_MAX, DoubtingSummed, GapsSummed, OpenHours, Stood, Sum, Summed, Tally,
};

/// The sum of a span; `None` where nothing at all is on record of it.
pub(super) fn summed(
    sought: &Sought,
    around: Around<'_>,
    damaged: &mut Vec<u64>,
) -> Result<Option<Summed>, NotGathered> {
    let Around { ledger, settings, now, .. } = around;
    let checks = checks(around, sought, damaged)?;
    let mut alerts = alerts(ledger, sought, damaged)?;
    let missed = missed::summed(sought, around, damaged)?;
    // No earlier than the record goes back: a span may be asked for in centuries.
    let begun = around.begun()?;
    let from = sought.from.max(begun);
    let mut ground = around.ground(from, sought.to);
    let machine = sought.question.machine.as_deref();
    let sums = days::sums(&mut ground, machine)?;
    let gaps = match &sums {
        Some(_) => gaps::blanks(&mut ground, machine)?,
        None => Vec::new(),
    };
    damaged.extend(ground.into_damaged());
    let nothing = sums.is_none() && checks.is_empty() && alerts == AlertsSummed::default();
    let Some(from) = sought.from.or(begun).filter(|_| !nothing) else { return Ok(None) };
    // A check that was entered afterwards may be of a time before the first record.
    let asked = Stretch { from, to: sought.to.map_or(now, |to| to.min(now)).max(from) };
    let (span, machines) = sums.map_or((asked, Vec::new()), |sums| (sums.span, sums.machines));
    let in_doubt = doubted::of_span(around, machine, Some(from), sought.to)?;
    for doubting in &mut alerts.doubting {
        doubting.inside = in_doubt.by(AlertNumber(doubting.alert));
    }
    let of = |days::SumRow { machine, days, numbers, watched, marked }| Sum {
        doubted: in_doubt.machines.get(&machine).copied().unwrap_or_default(),
        machine,
        days,
        numbers,
        watched,
        worked_on: marked,
    };
    Ok(Some(Summed {
        span,
        machines: machines.into_iter().map(of).collect(),
        gaps: GapsSummed {
            count: gaps.len() as u64,
            filled: gaps.iter().filter(|(blank, _)| blank.filled).count() as u64,
            open_s: gaps::missing_s(&gaps, span, settings),
        },
        checks,
        missed,
        alerts,
        hours: hours(settings),
    }))
}

const fn hours(settings: &Settings) -> OpenHours {
    if settings.open.is_some() {
        OpenHours::Opening
    } else if settings.shifts.is_empty() {
        OpenHours::Every
    } else {
        OpenHours::Shifts
    }
}

/// Records of one kind in the span.
fn filter(sought: &Sought, kind: &str) -> RecordFilter {
    RecordFilter {
        kinds: vec![kind.to_owned()],
        machine: sought.question.machine.clone(),
        of_site: false,
        check: None,
        from: sought.from,
        to: sought.to,
        limit: None,
        after_index: None,
    }
}

fn alerts(ledger: &Reader, sought: &Sought, damaged: &mut Vec<u64>) -> Result<AlertsSummed, LedgerError> {
    let (mut raised, mut doubting) = (Vec::new(), Vec::new());
    ledger.events(Order::OldestFirst, &filter(sought, "alert-raised"), |index, found| {
        match found.map(|(_, record)| record.body) {
            Ok(Body::AlertRaised(alert)) => {
                if alert.earlier.is_some() && doubting.len() < BEFORE_MAX {
                    doubting.push(alert.alert.0);
                }
                raised.push(alert.alert.0);
            }
            Ok(_) => {}
            Err(_) => damaged.push(index),
        }
        ControlFlow::Continue(())
    })?;
    let mut alerts = AlertsSummed { raised: raised.len() as u64, ..AlertsSummed::default() };
    for alert in raised {
        if over(ledger, alert)?.0.is_none() {
            alerts.open += 1;
        }
    }
    let mut others = Raised::of(ledger);
    for alert in doubting {
        let doubted = story::told_of(&mut others, alert)?.map_or(0, |told| told.alert.doubted());
        let told = DoubtingSummed { alert, inside: None, all: doubted };
        alerts.doubting.extend((doubted > 0).then_some(told));
    }
    let machine = sought.question.machine.as_deref();
    let stood = sought.from.map(|from| ledger.open_at(from, machine)).transpose()?.unwrap_or_default();
    alerts.before = stood.len() as u64;
    for index in stood.into_iter().take(BEFORE_MAX) {
        let Ok((_, Record { recorded, machine, body: Body::AlertRaised(raised), .. })) =
            ledger.record(index)?
        else {
            damaged.push(index);
            continue;
        };
        let (alert, condition) = (raised.alert.0, raised.condition);
        let (closed, _) = over(ledger, alert)?;
        alerts.stood.push(Stood { alert, machine, condition, raised: recorded, closed });
    }
    Ok(alerts)
}

/// Counts the checks of a span as they count after what was said of them: one that was withdrawn not at all, one
/// that was corrected as the correction says, and at its time.
fn checks(around: Around<'_>, sought: &Sought, damaged: &mut Vec<u64>) -> Result<Vec<Tally>, LedgerError> {
    let Around { ledger, kept, amended, .. } = around;
    let mut entered = BTreeSet::new();
    ledger.events(Order::OldestFirst, &filter(sought, "check"), |index, _| {
        entered.insert(index);
        ControlFlow::Continue(())
    })?;
    let inside =
        |at: Timestamp| sought.from.is_none_or(|from| at >= from) && sought.to.is_none_or(|to| at < to);
    // A correction may have moved a check into the span.
    let machine = &sought.question.machine;
    let own = amended.corrected(ledger.size()?).filter(|one| machine.is_none() || one.machine == *machine);
    entered.extend(own.filter(|one| inside(one.made)).map(|one| one.of));
    let sites = kept.sites.fresh(ledger)?;
    let mut tallies: BTreeMap<CheckKind, Tally> = BTreeMap::new();
    for index in entered {
        let Ok((_, Record { machine, body, .. })) = ledger.record(index)? else {
            damaged.push(index);
            continue;
        };
        let Body::Check(check) = &body else { continue };
        let amendments = ledger.amendments(index)?;
        damaged.extend(amendments.iter().filter(|(_, said)| said.is_none()).map(|(at, _)| *at));
        let counting = sites.counting((index, check), machine.as_deref(), &amendments);
        let Some((check, good)) = counting.filter(|(check, _)| inside(check.at())) else { continue };
        let kind = check.kind();
        let tally = tallies.entry(kind).or_insert(Tally { kind, good: 0, bad: 0, done: 0 });
        match good {
            Some(true) => tally.good += 1,
            Some(false) => tally.bad += 1,
            None => tally.done += 1,
        }
    }
    Ok(tallies.into_values().collect())
}
