//! Racks that passed and are in doubt: page by page, and counted by day.
//!
//! Only what stands where some can be is looked at, see [`Doubts::stretches`], the newest on record first, and of that
//! so many racks at a time: a page that ends before it is full says so, and goes on from where it ended; a number
//! that was not counted to its end says that too.
//!
//! [`Doubts::stretches`]: crate::core::alert::doubts::Doubts::stretches

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::time::Duration;

use jiff::civil::Date;

use super::{Around, Gathered, Sought, rack_line};
use crate::app::export::evidence::first_not_before;
use crate::core::alert::AlertNumber;
use crate::core::alert::hours::Stretch;
use crate::core::monitored;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;
use crate::ledger::{CycleFilter, Found, LedgerError, Order};
use crate::web::history::{Doubted, Found as FoundView, Page};

/// Racks that are looked through for one page (own choice: two or three hundredths of a second).
const LOOKED_MAX: usize = 2_000;
/// Racks that are looked at to count those in doubt, beside all else that a page of days or a sum reads (own choice).
const COUNTED_MAX: usize = 1_000;
/// How much later than its rinse a rack of a span is looked for on record (own choice): one that was recorded, or taken
/// over from a file, after longer is found in doubt on its own page and in lists without a span.
const LATE_MAX: Duration = Duration::from_secs(62 * 86_400);

impl Around<'_> {
    /// Where the racks of a span stand on record, as far as they came within [`LATE_MAX`].
    fn recorded(self, from: Option<Timestamp>, to: Option<Timestamp>) -> Result<(u64, u64), LedgerError> {
        let size = self.ledger.size()?;
        let first = |at| first_not_before(self.ledger, size, at);
        let least = from.map(|from| first(from.minus(Duration::from_secs(3_600)))).transpose()?;
        let most = to.map(|to| first(to.plus(LATE_MAX))).transpose()?;
        Ok((least.unwrap_or(0), most.unwrap_or(size)))
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
    /// A page of racks that are in doubt, in order of the record; `None` where it is to go on from what is none.
    pub(super) fn in_doubt(&self, around: Around<'_>) -> Result<Option<FoundView>, LedgerError> {
        let Around { ledger, doubts, .. } = around;
        if !self.goes_on(&["cycle"], ledger)? {
            return Ok(None);
        }
        let (order, _) = self.order();
        let machine = self.question.machine.as_deref();
        let alert = self.question.alert.map(AlertNumber);
        let (least, most) = around.recorded(self.from, self.to)?;
        let (least, most) = match self.question.page {
            Page::Newest => (least, most),
            Page::Older(0) => return Ok(Some(self.page(Gathered::new()))),
            Page::Older(record) => (least, most.min(record - 1)),
            Page::Newer(record) => (least.max(record.saturating_add(1)), most),
        };
        let mut stretches = doubts.stretches(machine, alert);
        if order == Order::NewestFirst {
            stretches.reverse();
        }
        let filter = CycleFilter {
            machine: self.question.machine.clone(),
            from: self.from,
            to: self.to,
            ..CycleFilter::default()
        };
        let (mut gathered, mut left, mut failure) = (Gathered::new(), LOOKED_MAX, None);
        for stretch in stretches {
            let records = least.max(*stretch.start())..=most.min(*stretch.end());
            if records.is_empty() {
                continue;
            }
            let mut full = false;
            ledger.passed_between(order, &records, &filter, |_, index| {
                let taken = self.take_doubted(around, index, alert, &mut left, &mut gathered);
                full = !matches!(taken, Ok(ControlFlow::Continue(())));
                failure = taken.err();
                if full { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
            })?;
            if full {
                break;
            }
        }
        failure.map_or_else(|| Ok(Some(self.page(gathered))), Err)
    }

    /// Takes one rack that passed, where it is in doubt.
    fn take_doubted(
        &self,
        around: Around<'_>,
        index: u64,
        alert: Option<AlertNumber>,
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

/// How many racks in doubt there are of each machine on each day of a span, where there are any. What is beyond those
/// that are looked at is told as perhaps more.
pub(super) fn by_day(
    around: Around<'_>,
    machine: Option<&str>,
    from: Option<Timestamp>,
    to: Option<Timestamp>,
) -> Result<BTreeMap<(String, Date), Doubted>, LedgerError> {
    let mut found: BTreeMap<(String, Date), Doubted> = BTreeMap::new();
    let mut left = COUNTED_MAX;
    count(around, machine, (from, to), &mut left, |machine, day, doubted| {
        let own = found.entry((machine.to_owned(), day)).or_default();
        own.count += doubted.count;
        own.more |= doubted.more;
        ControlFlow::Continue(())
    })?;
    found.retain(|_, doubted| !doubted.is_none());
    Ok(found)
}

/// The same of each machine over the whole span.
pub(super) fn by_machine(
    around: Around<'_>,
    machine: Option<&str>,
    from: Option<Timestamp>,
    to: Option<Timestamp>,
) -> Result<BTreeMap<String, Doubted>, LedgerError> {
    let mut found: BTreeMap<String, Doubted> = BTreeMap::new();
    let mut left = COUNTED_MAX;
    count(around, machine, (from, to), &mut left, |machine, _, doubted| {
        let own = found.entry(machine.to_owned()).or_default();
        own.count += doubted.count;
        own.more |= doubted.more;
        if own.more { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })?;
    found.retain(|_, doubted| !doubted.is_none());
    Ok(found)
}

/// Calls `each` with machine and day of every rack of a span that can be in doubt, the newest of each machine first, and
/// with whether it is; with more where it is not looked at. A machine ends where `each` breaks.
fn count(
    around: Around<'_>,
    machine: Option<&str>,
    (from, to): (Option<Timestamp>, Option<Timestamp>),
    left: &mut usize,
    mut each: impl FnMut(&str, Date, Doubted) -> ControlFlow<()>,
) -> Result<(), LedgerError> {
    let Around { ledger, doubts, settings, .. } = around;
    let (least, most) = around.recorded(from, to)?;
    let mut today: Option<(Date, Stretch)> = None;
    let mut day_of = |at: Timestamp| {
        let known = today.filter(|(_, day)| day.from <= at && at < day.to);
        today = known.or_else(|| {
            let date = local_date(&settings.zone, at)?;
            Some((date, monitored::day(&settings.zone, date)?.1))
        });
        today.map(|(date, _)| date)
    };
    for own in doubts.machines().filter(|own| machine.is_none_or(|machine| machine == *own)) {
        let filter = CycleFilter { machine: Some(own.to_owned()), from, to, ..CycleFilter::default() };
        let (mut failure, mut over) = (None, false);
        for stretch in doubts.stretches(Some(own), None).into_iter().rev() {
            let stretch = least.max(*stretch.start())..=most.min(*stretch.end());
            if stretch.is_empty() {
                continue;
            }
            ledger.passed_between(Order::NewestFirst, &stretch, &filter, |at, index| {
                let Some(day) = day_of(at) else { return ControlFlow::Continue(()) };
                let mut doubted = Doubted { count: 0, more: *left == 0 };
                if *left > 0 {
                    *left -= 1;
                    match ledger.record(index) {
                        Ok(found) => doubted.count = u64::from(!around.doubting(index, &found).is_empty()),
                        Err(error) => {
                            failure = Some(error);
                            return ControlFlow::Break(());
                        }
                    }
                }
                let told = each(own, day, doubted);
                over = told.is_break();
                told
            })?;
            if over || failure.is_some() {
                break;
            }
        }
        if let Some(error) = failure {
            return Err(error);
        }
    }
    Ok(())
}
