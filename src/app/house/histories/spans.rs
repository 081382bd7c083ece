//! Days, gaps and drift of a span: what the command `history` shows, for the page.

use jiff::ToSpan;
use jiff::civil::Date;

use super::doubted;
use super::missed::{self, Within};
use super::{Around, NotGathered, Sought};
use crate::app::history::{Ground, days, drift, gaps};
use crate::core::alert::Settings;
use crate::core::alert::hours::Stretch;
use crate::core::monitored;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::core::trend::Usual;
use crate::core::wall_clock::local_date;
use crate::ledger::LedgerError;
use crate::report::account::{DriftSignal, MachineAccount};
use crate::web::history::{
    DAYS_MAX, DRIFT_DAYS_MAX, DayLine, Drift, Found, GapLine, Hits, LINES_MAX, Listed, Page, Question,
    Recovery, Shift,
};

impl<'l> Around<'l> {
    /// The ground of the command, over a span.
    pub(super) fn ground(self, from: Option<Timestamp>, to: Option<Timestamp>) -> Ground<'l> {
        Ground::of_service((self.ledger, self.path), self.settings, (from, to), self.now, self.kept.clone())
    }

    /// The first moment that anything is on record of.
    pub(super) fn begun(self) -> Result<Option<Timestamp>, LedgerError> {
        let zone = &self.settings.zone;
        let first = self.ledger.days_span(zone)?.and_then(|(first, _)| monitored::day(zone, first));
        let first = first.map(|(_, day)| day.from);
        Ok(match (first, self.ledger.begun()?) {
            (Some(rack), Some(record)) => Some(rack.min(record)),
            (one, other) => one.or(other),
        })
    }
}

/// A page of days.
pub(super) fn days(
    sought: &Sought,
    around: Around<'_>,
    damaged: &mut Vec<u64>,
) -> Result<Found, NotGathered> {
    let Some(page) = PageOfDays::of(sought, around) else {
        return Ok(Found::Days { days: Vec::new(), before: None });
    };
    let mut ground = around.ground(page.from, page.to);
    let rows = days::day_rows(&mut ground, sought.question.machine.as_deref())?.unwrap_or_default();
    damaged.extend(ground.into_damaged());
    let machine = sought.question.machine.as_deref();
    let within = Within { machine, from: page.from, to: page.to.unwrap_or(around.now), carried: false };
    let missed = missed::read(around, within, damaged)?;
    let of_day = missed::by_day(&missed);
    let in_doubt = doubted::by_day(around, machine, page.from, page.to)?;
    let line = |days::DayRow { day, machine, numbers, watched, .. }| {
        let missed = of_day.get(&(day, machine.as_str())).copied().unwrap_or_default();
        let doubted = in_doubt.of(&machine, day);
        DayLine { day, machine, numbers, watched, missed, doubted }
    };
    let first = around.ledger.days_span(&around.settings.zone)?.map(|(first, _)| first);
    let older = first.is_some_and(|first| first < page.first);
    Ok(Found::Days {
        days: rows.into_iter().rev().map(line).collect(),
        before: page.before.filter(|_| older),
    })
}

/// Days of one page.
pub(super) struct PageOfDays {
    pub(super) first: Date,
    pub(super) from: Option<Timestamp>,
    pub(super) to: Option<Timestamp>,
    /// The last day of the page before it, as far as was asked for.
    pub(super) before: Option<Date>,
}

impl PageOfDays {
    /// `None` where no day can be reckoned.
    pub(super) fn of(sought: &Sought, around: Around<'_>) -> Option<Self> {
        let (question, zone) = (&sought.question, &around.settings.zone);
        let today = local_date(zone, around.now)?;
        let last = question.to.map_or(today, |to| to.min(today));
        let last = question.until.map_or(last, |until| until.min(last));
        let most = last.checked_sub((DAYS_MAX - 1).days()).unwrap_or(last);
        let first = question.from.map_or(most, |from| from.max(most));
        let before = first.checked_sub(1.day()).ok();
        let bounds = |date: Date| monitored::day(zone, date).map(|(_, stretch)| stretch);
        Some(Self {
            first,
            from: bounds(first).map(|day| day.from),
            to: bounds(last).map(|day| day.to),
            before: before.filter(|day| question.from.is_none_or(|from| *day >= from)),
        })
    }
}

/// A page of gaps; `None` where it is to go on from what is none.
pub(super) fn gaps(
    sought: &Sought,
    around: Around<'_>,
    damaged: &mut Vec<u64>,
) -> Result<Option<Found>, NotGathered> {
    // No earlier than the record goes back: a span may be asked for in centuries.
    let begun = around.begun()?;
    let from = sought.from.map(|from| begun.map_or(from, |begun| from.max(begun)));
    let mut ground = around.ground(from, sought.to);
    let gaps = gaps::blanks(&mut ground, sought.question.machine.as_deref())?;
    damaged.extend(ground.into_damaged());
    let newest_first = gaps.into_iter().rev().map(|(blank, open_s)| GapLine { blank, open_s }).collect();
    Ok(page(newest_first, &sought.question, around)?.map(Found::Gaps))
}

/// One page of gaps. They are known by the record that tells of them and by their probe: a service that is silent is
/// told by its last record, whatever that is, which may tell of the gap of a probe too. Of one that has ended since,
/// the record is another, and its place is where it began. Probes that are read together fall silent together.
fn page(
    gaps: Vec<GapLine>,
    question: &Question,
    around: Around<'_>,
) -> Result<Option<Listed<GapLine>>, LedgerError> {
    let of = |gap: &GapLine| gap.blank.probe == question.probe;
    let place = |record: u64| -> Result<Option<usize>, LedgerError> {
        let known = gaps.iter().position(|gap| of(gap) && gap.blank.index == record);
        if known.is_some() || record >= around.ledger.size()? {
            return Ok(known);
        }
        let Ok((_, Record { body: Body::Gap(told), .. })) = around.ledger.record(record)? else {
            return Ok(None);
        };
        let own = question.probe.as_ref() == Some(&told.probe);
        Ok(gaps.iter().position(|gap| own && of(gap) && gap.blank.from == told.from))
    };
    let first = match question.page {
        Page::Newest => Some(0),
        Page::Older(record) => place(record)?.map(|place| place + 1),
        Page::Newer(record) => place(record)?.map(|place| place.saturating_sub(LINES_MAX)),
    };
    let Some(first) = first else { return Ok(None) };
    let index = |place: usize| gaps.get(place).map(|gap| gap.blank.index);
    let newer = if first > 0 { index(first) } else { None };
    let end = first + LINES_MAX;
    let older = if end < gaps.len() { index(end - 1) } else { None };
    let hits = Some(Hits { count: gaps.len() as u64, more: false });
    Ok(Some(Listed {
        hits,
        lines: gaps.into_iter().skip(first).take(LINES_MAX).collect(),
        newer,
        older,
        folded: 0,
        cut: false,
    }))
}

/// Early warnings of a span.
pub(super) fn drift(
    sought: &Sought,
    around: Around<'_>,
    damaged: &mut Vec<u64>,
) -> Result<Found, NotGathered> {
    let mut ground = around.ground(drift_from(sought, around.settings, around.now), sought.to);
    let found = drift::accounts(&mut ground, sought.question.machine.as_deref())?;
    damaged.extend(ground.into_damaged());
    let (span, machines) = found.map_or((None, Vec::new()), |(span, machines)| {
        (Some(Stretch { from: span.from, to: span.to }), machines.iter().map(of_machine).collect())
    });
    Ok(Found::Drift { machines, span })
}

/// Where the drift of a span is reckoned from: its last quarter of a year.
fn drift_from(sought: &Sought, settings: &Settings, now: Timestamp) -> Option<Timestamp> {
    let last = sought.to.map_or(now, |to| to.min(now));
    let day = local_date(&settings.zone, last)?;
    let first = day.checked_sub(DRIFT_DAYS_MAX.days()).ok()?;
    let bound = monitored::day(&settings.zone, first).map(|(_, stretch)| stretch.from)?;
    Some(sought.from.map_or(bound, |from| from.max(bound)))
}

fn of_machine(account: &MachineAccount) -> Drift {
    let drift = &account.drift;
    let shift = |signal: &DriftSignal| Shift { at: signal.at, by_c: signal.shift_c, since: signal.since };
    let usual = drift.usual_c.zip(drift.sigma_c);
    let recovery = drift.recovery_first_s.zip(drift.recovery_last_s);
    Drift {
        machine: account.machine.clone(),
        usual: usual.map(|(mean, sigma)| Usual { mean, sigma }),
        learning: drift.learning,
        shifts: drift.signals.iter().map(shift).collect(),
        cold_first: drift.cold_first_racks,
        recovery: recovery.map(|(first_s, last_s)| Recovery { first_s, last_s }),
    }
}
