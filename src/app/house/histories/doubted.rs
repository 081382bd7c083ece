//! Racks that passed and are in doubt: page by page, and counted by day.
//!
//! Only what stands where some can be is looked at, see [`Doubts::stretches`], the newest first, and of that so many
//! racks at a time: a page that ends before it is full says so, and goes on from where it ended; a number that was not
//! counted to its end says that too. Of a span the racks are walked in order of time, however late they were recorded,
//! and of all time where the stretches are short: in order of the record, else of time as well.
//!
//! [`Doubts::stretches`]: crate::core::alert::doubts::Doubts::stretches

use std::collections::BTreeMap;
use std::ops::{ControlFlow, RangeInclusive};
use std::time::Duration;

use jiff::civil::Date;

use super::{Around, Gathered, Sought, rack_line};
use crate::app::alerts::doubts::{self, Counted, Left};
use crate::core::alert::AlertNumber;
use crate::core::alert::doubts::is_within;
use crate::core::alert::hours::Stretch;
use crate::core::monitored;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;
use crate::ledger::{CycleFilter, Found, LedgerError, Order};
use crate::web::history::{Doubted, Found as FoundView, Hits, Page};

/// Racks that are looked through for one page (own choice: two or three hundredths of a second).
const LOOKED_MAX: usize = 2_000;
/// Racks that are looked at to count those in doubt, beside all else that a page of days or a sum reads (own choice).
pub(in crate::app::house) const COUNTED_MAX: usize = 600;
/// Racks that are passed over to find those that are looked at, and records between the first and the last of some
/// stretches that are walked in their order (own choice: a hundredth of a second).
const PASSED_MAX: u64 = if cfg!(test) { 300 } else { 50_000 };
/// The same while those in doubt are counted, of all machines (own choice: half a
/// tenth of a second).
const COUNT_PASSED_MAX: u64 = 150_000;
/// How much earlier than its rinse a rack may be recorded: by a clock that was set back.
const CLOCK_BACK: Duration = Duration::from_secs(3_600);

impl Around<'_> {
    /// The end of a span, no later than any rack of some stretches can be: nothing is rinsed after it was recorded.
    fn until(
        self,
        stretches: &[RangeInclusive<u64>],
        size: u64,
        to: Option<Timestamp>,
    ) -> Result<Option<Timestamp>, LedgerError> {
        let Some(last) = stretches.last().map(|last| *last.end()).filter(|last| *last < size) else {
            return Ok(to);
        };
        let until = self.ledger.recorded(last)?.map(|recorded| recorded.plus(CLOCK_BACK));
        Ok(until.into_iter().chain(to).min())
    }

    /// The alerts that put a rack in doubt; none of what is no rack, or damaged.
    pub(super) fn doubting(&self, index: u64, found: &Found) -> Vec<AlertNumber> {
        match found {
            Ok((_, Record { machine: Some(machine), body: Body::Cycle(cycle), .. })) => {
                self.doubts.by(machine, index, cycle)
            }
            Ok(_) | Err(_) => Vec::new(),
        }
    }
}

impl Sought {
    /// A page of racks that are in doubt; `None` where it is to go on from what is none.
    pub(super) fn in_doubt(&self, around: Around<'_>) -> Result<Option<FoundView>, LedgerError> {
        if !self.goes_on(&["cycle"], around.ledger)? {
            return Ok(None);
        }
        let (machine, alert) = (self.question.machine.as_deref(), self.question.alert.map(AlertNumber));
        let stretches = around.doubts.stretches(machine, alert);
        let size = around.ledger.size()?;
        let records = |stretch: &RangeInclusive<u64>| {
            size.min(stretch.end().saturating_add(1)).saturating_sub(*stretch.start())
        };
        let all_time = self.from.is_none() && self.to.is_none();
        if all_time && stretches.iter().map(records).sum::<u64>() <= PASSED_MAX {
            self.in_doubt_by_record(around, stretches).map(Some)
        } else {
            self.in_doubt_by_time(around, &stretches, size).map(Some)
        }
    }

    /// How many racks in doubt there are on all pages.
    fn doubted_hits(&self, around: Around<'_>) -> Result<Option<Hits>, LedgerError> {
        let alert = self.question.alert.map(AlertNumber);
        let mut hits = Hits { count: 0, more: false };
        let machine = self.question.machine.as_deref();
        count(around, (machine, alert), (self.from, self.to), |_, _, counted, by| match counted {
            Counted::Doubted => {
                hits.count += u64::from(alert.is_none_or(|alert| by.contains(&alert)));
            }
            Counted::Ended => hits.more = true,
        })?;
        Ok(Some(hits))
    }

    /// The page in order of the record.
    fn in_doubt_by_record(
        &self,
        around: Around<'_>,
        mut stretches: Vec<RangeInclusive<u64>>,
    ) -> Result<FoundView, LedgerError> {
        let (order, _) = self.order();
        let (least, most) = match self.question.page {
            Page::Newest => (0, u64::MAX),
            Page::Older(0) => return Ok(self.page(Gathered::new(), None)),
            Page::Older(record) => (0, record - 1),
            Page::Newer(record) => (record.saturating_add(1), u64::MAX),
        };
        if order == Order::NewestFirst {
            stretches.reverse();
        }
        let machine = self.question.machine.as_deref();
        let (mut gathered, mut left, mut failure) = (Gathered::new(), LOOKED_MAX, None);
        for stretch in stretches {
            let records = least.max(*stretch.start())..=most.min(*stretch.end());
            if records.is_empty() {
                continue;
            }
            let mut full = false;
            around.ledger.passed_between(order, &records, machine, |index, has_passed| {
                if !has_passed {
                    return ControlFlow::Continue(());
                }
                let taken = self.take_doubted(around, index, &mut left, &mut gathered);
                full = !matches!(taken, Ok(ControlFlow::Continue(())));
                failure = taken.err();
                if full { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
            })?;
            if full {
                break;
            }
        }
        failure.map_or_else(|| Ok(self.page(gathered, self.doubted_hits(around)?)), Err)
    }

    /// The page in order of time.
    fn in_doubt_by_time(
        &self,
        around: Around<'_>,
        stretches: &[RangeInclusive<u64>],
        size: u64,
    ) -> Result<FoundView, LedgerError> {
        let Around { ledger, doubts, .. } = around;
        let (order, after_index) = self.order();
        let to = around.until(stretches, size, self.to)?;
        let filter = CycleFilter { from: self.from, to, after_index, ..CycleFilter::default() };
        let wanted = self.question.machine.as_deref();
        let machines = doubts.machines().filter(|own| wanted.is_none_or(|wanted| wanted == *own));
        let (mut gathered, mut left, mut passed, mut failure) = (Gathered::new(), LOOKED_MAX, 0, None);
        ledger.passed_of(order, machines, &filter, |_, index| {
            if passed == PASSED_MAX {
                gathered.cut = true;
                return ControlFlow::Break(());
            }
            passed += 1;
            if !is_within(stretches, index) {
                gathered.looked = Some(index);
                return ControlFlow::Continue(());
            }
            self.take_doubted(around, index, &mut left, &mut gathered).unwrap_or_else(|error| {
                failure = Some(error);
                ControlFlow::Break(())
            })
        })?;
        failure.map_or_else(|| Ok(self.page(gathered, self.doubted_hits(around)?)), Err)
    }

    /// Takes one rack that passed, where it is in doubt.
    fn take_doubted(
        &self,
        around: Around<'_>,
        index: u64,
        left: &mut usize,
        gathered: &mut Gathered,
    ) -> Result<ControlFlow<()>, LedgerError> {
        if *left == 0 {
            gathered.cut = true;
            return Ok(ControlFlow::Break(()));
        }
        *left -= 1;
        let found = around.ledger.record(index)?;
        let by = around.doubting(index, &found);
        let alert = self.question.alert.map(AlertNumber);
        let is_one = !by.is_empty() && alert.is_none_or(|alert| by.contains(&alert));
        let taken = if is_one || found.is_err() {
            gathered.take(index, rack_line(around, index, found)?)
        } else {
            ControlFlow::Continue(())
        };
        if taken.is_continue() {
            gathered.looked = Some(index);
        }
        Ok(taken)
    }
}

/// How many racks in doubt there are of each machine on some days of a span.
#[derive(Debug, Default)]
pub(super) struct ByDay {
    counted: BTreeMap<(String, Date), Doubted>,
    /// The day of each machine on which the count ended: of it and of those before there may be more.
    ended: BTreeMap<String, Date>,
}

impl ByDay {
    /// Those of a day.
    pub(super) fn of(&self, machine: &str, day: Date) -> Doubted {
        let counted = self.counted.get(&(machine.to_owned(), day)).copied().unwrap_or_default();
        let more = self.ended.get(machine).is_some_and(|ended| day <= *ended);
        Doubted { more, ..counted }
    }
}

/// Counts the racks in doubt of each machine on each day of a span.
pub(super) fn by_day(
    around: Around<'_>,
    machine: Option<&str>,
    from: Option<Timestamp>,
    to: Option<Timestamp>,
) -> Result<ByDay, LedgerError> {
    let zone = &around.settings.zone;
    let mut today: Option<(Date, Stretch)> = None;
    let mut day_of = |at: Timestamp| {
        let known = today.filter(|(_, day)| day.from <= at && at < day.to);
        today = known.or_else(|| {
            let date = local_date(zone, at)?;
            Some((date, monitored::day(zone, date)?.1))
        });
        today.map(|(date, _)| date)
    };
    let mut found = ByDay::default();
    count(around, (machine, None), (from, to), |machine, at, counted, _| {
        let Some(day) = day_of(at) else { return };
        match counted {
            Counted::Doubted => {
                found.counted.entry((machine.to_owned(), day)).or_default().count += 1;
            }
            Counted::Ended => {
                found.ended.insert(machine.to_owned(), day);
            }
        }
    })?;
    Ok(found)
}

/// Racks in doubt over a span.
#[derive(Debug, Default)]
pub(super) struct OfSpan {
    /// How many there are of each machine, where there are any or may be.
    pub(super) machines: BTreeMap<String, Doubted>,
    /// How many there are by each alert.
    alerts: BTreeMap<AlertNumber, u64>,
}

impl OfSpan {
    /// How many there are by an alert; `None` where not all were looked at.
    pub(super) fn by(&self, alert: AlertNumber) -> Option<u64> {
        let ended = self.machines.values().any(|own| own.more);
        (!ended).then(|| self.alerts.get(&alert).copied().unwrap_or_default())
    }
}

/// Counts the racks in doubt of a span.
pub(super) fn of_span(
    around: Around<'_>,
    machine: Option<&str>,
    from: Option<Timestamp>,
    to: Option<Timestamp>,
) -> Result<OfSpan, LedgerError> {
    let mut found = OfSpan::default();
    count(around, (machine, None), (from, to), |machine, _, counted, by| {
        let own = found.machines.entry(machine.to_owned()).or_default();
        match counted {
            Counted::Doubted => own.count += 1,
            Counted::Ended => own.more = true,
        }
        for alert in by {
            *found.alerts.entry(*alert).or_default() += 1;
        }
    })?;
    Ok(found)
}

/// Calls `each` with machine, start of the final rinse, what is told and by which alerts of the racks of a span, the
/// newest of each machine first; where an alert is named, only those are looked at that it can put in doubt.
fn count(
    around: Around<'_>,
    (machine, alert): (Option<&str>, Option<AlertNumber>),
    (from, to): (Option<Timestamp>, Option<Timestamp>),
    mut each: impl FnMut(&str, Timestamp, Counted, &[AlertNumber]),
) -> Result<(), LedgerError> {
    let Around { ledger, doubts, .. } = around;
    let (size, mut left) = (ledger.size()?, Left { looked: COUNTED_MAX, passed: COUNT_PASSED_MAX });
    for own in doubts.machines().filter(|own| machine.is_none_or(|machine| machine == *own)) {
        let stretches = doubts.stretches(Some(own), alert);
        if stretches.is_empty() {
            continue;
        }
        let to = around.until(&stretches, size, to)?;
        doubts::count(ledger, doubts, (own, &stretches), (from, to), &mut left, |at, counted, by| {
            each(own, at, counted, by);
        })?;
    }
    Ok(())
}
