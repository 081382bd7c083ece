//! Missed checks of a span, for the page.
//!
//! The alerts that found them missing are looked up, and what each comes to is reckoned as for an account, see
//! [`Missed`].
//!
//! A check belongs to the day on which it was due, whenever its alert was raised. Of the checks that were entered those
//! are read that may be the missing ones, and what amends them, however late it came.

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::ops::ControlFlow;

use jiff::civil::Date;

use super::spans::PageOfDays;
use super::{Around, NotGathered, Sought};
use crate::app::alerts::missed::missed;
use crate::core::record::{AmendmentChange, Body, Check};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;
use crate::ledger::{LedgerError, Order, RecordFilter, Subject};
use crate::report::account::missed::{MissedCheck, Window};
use crate::web::history::Found;
use crate::web::history::missed::{LINES_MAX, MadeLate, MissedLine, MissedSummed};

/// Which are wanted.
#[derive(Clone, Copy)]
pub(super) struct Within<'m> {
    /// Of this machine alone.
    pub(super) machine: Option<&'m str>,
    /// Those that were due from then on.
    pub(super) from: Option<Timestamp>,
    /// Those that were due before.
    pub(super) to: Timestamp,
    /// Whether those are wanted too that were due before `from` and not entered then.
    pub(super) carried: bool,
}

impl Within<'_> {
    fn may_want(&self, window: &Window) -> bool {
        let due = |from| self.carried || window.due >= from;
        window.may_be_of(self.from, self.to) && self.from.is_none_or(due)
    }

    fn wants(&self, line: &MissedLine) -> bool {
        let waits = |from| {
            self.carried && line.made.is_none_or(|made| made.corrected.unwrap_or(made.recorded) >= from)
        };
        self.from.is_none_or(|from| line.due >= from || waits(from))
    }
}

/// The missed checks, the newest first, those of a day in order of machine and kind where they were due together.
pub(super) fn read(
    around: Around<'_>,
    within: Within<'_>,
    damaged: &mut Vec<u64>,
) -> Result<Vec<MissedLine>, LedgerError> {
    let ledger = around.ledger;
    let mut missed = missed(ledger, within.machine, (within.from, within.to), damaged)?;
    if missed.is_empty() {
        return Ok(Vec::new());
    }
    let mut windows = missed.windows();
    windows.retain(|(_, window)| within.may_want(window));
    let filters: Vec<RecordFilter> = windows
        .iter()
        .map(|(machine, window)| RecordFilter {
            kinds: vec!["check".to_owned()],
            machine: machine.clone(),
            check: Some(window.check),
            from: Some(window.from),
            to: window.to,
            ..RecordFilter::default()
        })
        .collect();
    let mut entries = BTreeMap::new();
    for filter in filters {
        ledger.events(Order::OldestFirst, &filter, |index, found| {
            entries.insert(index, found);
            ControlFlow::Continue(())
        })?;
    }
    let size = ledger.size()?;
    // Any of these may have corrected an entry into a window.
    damaged.extend(around.amended.damaged(size));
    for corrected in around.amended.corrected(size) {
        let could_be = |(machine, window): &(Option<String>, Window)| {
            *machine == corrected.machine && window.holds(corrected.check, corrected.made)
        };
        if windows.iter().any(could_be) {
            entries.insert(corrected.of, ledger.record(corrected.of)?);
        }
    }
    for index in entries.keys().copied().collect::<Vec<_>>() {
        entries.extend(ledger.records_about(Subject::Record(index))?);
    }
    let (mut counting, mut entered) = (BTreeMap::new(), BTreeMap::new());
    for (index, found) in entries {
        match found {
            Ok((_, record)) => {
                missed.take(index, &record);
                entered.insert(index, record.recorded);
                as_it_counts(&mut counting, index, record.body);
            }
            Err(_) => damaged.push(index),
        }
    }
    let reckoned = missed.reckoned();
    // Judged by what the machine permitted then.
    let is_made = reckoned.iter().any(|one| one.entry.is_some());
    let sites = is_made.then(|| around.kept.sites.fresh(ledger)).transpose()?;
    let line = |one: MissedCheck| {
        let MissedCheck { check, window, alert, closed, entry } = one;
        let missed_on = window.missed_on;
        let day = local_date(&around.settings.zone, check.since)?;
        let made = entry.zip(check.made).map(|((record, counts_since), at)| {
            let recorded = entered.get(&record).copied().unwrap_or(counts_since);
            let corrected = (recorded != counts_since).then_some(counts_since);
            let judged = counting.get(&record).zip(sites.as_ref());
            let machine = check.machine.as_deref();
            let good = judged.and_then(|((by, entered), sites)| sites.good(entered, machine, *by));
            let failed = good == Some(false);
            MadeLate { record, at, recorded, corrected, failed }
        });
        let (due, machine, check) = (check.since, check.machine, check.check);
        Some(MissedLine { day, due, machine, check, alert: alert.0, closed, missed_on, made })
    };
    let mut lines: Vec<MissedLine> =
        reckoned.into_iter().filter(|one| within.may_want(&one.window)).filter_map(line).collect();
    lines.retain(|line| within.wants(line));
    lines.sort_by(|one, other| {
        let key = |line: &MissedLine| (Reverse(line.due), line.machine.clone(), line.check.clone());
        key(one).cmp(&key(other))
    });
    Ok(lines)
}

/// Keeps each check as it was entered or corrected last, with the record that says so.
fn as_it_counts(counting: &mut BTreeMap<u64, (u64, Check)>, index: u64, body: Body) {
    if let Body::Check(check) = body {
        counting.insert(index, (index, check));
    } else if let Body::Amendment(amendment) = body
        && let AmendmentChange::Corrected(check) = amendment.change
    {
        counting.insert(amendment.of, (index, check));
    }
}

/// A page of missed checks.
pub(super) fn page(
    sought: &Sought,
    around: Around<'_>,
    damaged: &mut Vec<u64>,
) -> Result<Found, NotGathered> {
    let Some(page) = PageOfDays::of(sought, around) else {
        return Ok(Found::Missed { lines: Vec::new(), before: None });
    };
    let question = &sought.question;
    let within = Within {
        machine: question.machine.as_deref(),
        from: page.from,
        to: page.to.unwrap_or(around.now),
        carried: question.from == Some(page.first),
    };
    let mut lines = read(around, within, damaged)?;
    let begun = around.begun()?.and_then(|begun| local_date(&around.settings.zone, begun));
    let mut before = page.before.filter(|_| begun.is_some_and(|begun| begun < page.first));
    // Whole days: one that alone has more is shown whole, and so is what was due before the span.
    if let Some(day) = lines.get(LINES_MAX).map(|line| line.day).filter(|day| *day >= page.first) {
        let newer = lines.iter().take_while(|line| line.day > day).count();
        if newer > 0 {
            lines.truncate(newer);
            before = Some(day);
        }
    }
    Ok(Found::Missed { lines, before })
}

/// How many there are of each machine on each day.
pub(super) fn by_day(lines: &[MissedLine]) -> BTreeMap<(Date, &str), u64> {
    let mut days = BTreeMap::new();
    for line in lines {
        *days.entry((line.day, line.machine.as_deref().unwrap_or_default())).or_default() += 1;
    }
    days
}

/// Those of a whole span in numbers.
pub(super) fn summed(
    sought: &Sought,
    around: Around<'_>,
    damaged: &mut Vec<u64>,
) -> Result<MissedSummed, LedgerError> {
    let within = Within {
        machine: sought.question.machine.as_deref(),
        from: sought.from,
        to: sought.to.map_or(around.now, |to| to.min(around.now)),
        carried: true,
    };
    let lines = read(around, within, damaged)?;
    Ok(MissedSummed::of(sought.from, lines.iter().map(|line| (line.due, line.made.is_some()))))
}
