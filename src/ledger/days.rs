//! Each machine's day in numbers, kept so that years can be looked through at once.
//!
//! The table `day` is derived and never proof. It holds days that are over, in the zone
//! that its bookmark names, counted from the records. Whoever keeps it goes through the
//! records once: [`Reader::days_to_keep`] gives the next part, an append stores it with
//! the bookmark. A late record makes its day be counted anew; another zone, or another
//! version of this program, makes everything be counted anew, some weeks at a time.
//!
//! A reader trusts a row only as far as the bookmark: days that have a cycle recorded
//! after it, so today above all, it counts itself, and all of them in a ledger without
//! the table or for another zone. So the answer is the same, and only its time differs:
//! it grows with the days that are asked for, by some 0.5 µs each, and with the cycles
//! that have to be counted, by 4 to 6 µs each (processor time, `cargo bench --bench history`).

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;
use std::time::Duration;

use jiff::Unit;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use rusqlite::{Row, Transaction, params};
use serde::{Deserialize, Serialize};

use super::bookmark::Bookmark;
use super::cycles::{CycleFilter, Order};
use super::error::LedgerError;
use super::names::number_of;
use super::reader::{Reader, index_of};
use crate::core::alert::hours::Stretch;
use crate::core::daily::{Counting, DayNumbers, MachineDay};
use crate::core::monitored::day;
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;

/// Name of the bookmark.
pub(super) const BOOKMARK: &str = "days";
/// Most cycles that one part goes through (own choice: two weeks of five machines, so that no
/// append takes long and hardly a day is counted twice).
const PART_CYCLES: usize = 20_000;
/// A day that begins later than this is not waited for: its cycles come from a clock that was wrong.
const AHEAD_MAX: Duration = Duration::from_secs(2 * 86_400);

/// A part of the days to keep.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct DaysPart {
    /// Whether what was kept before goes.
    pub anew: bool,
    /// Days that are over, in place of those of the same machine and date.
    pub days: Vec<MachineDay>,
}

/// How far the table goes.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct Kept {
    /// Zone of its days.
    pub(super) zone: String,
    /// Version of the program that counted.
    pub(super) version: String,
    /// Records up to this index, excluded, are counted.
    pub(super) next: u64,
}

impl Kept {
    /// Nothing, for this zone; `None` for one without a name, which no row can be told by.
    fn nothing(zone: &TimeZone) -> Option<Self> {
        let zone = zone.iana_name()?.to_owned();
        Some(Self { zone, version: env!("CARGO_PKG_VERSION").to_owned(), next: 0 })
    }
}

/// Stores a part.
pub(super) fn put(transaction: &Transaction<'_>, part: &DaysPart) -> rusqlite::Result<()> {
    if part.anew {
        transaction.execute("DELETE FROM day", [])?;
    }
    let mut statement = transaction.prepare_cached(
        "REPLACE INTO day (day, machine, cold, brief, weak, unproven, narrow, pass, late, damaged,
                           rinse_min_c, rinse_median_c)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
    )?;
    for MachineDay { day, machine, numbers } in &part.days {
        let machine = number_of(transaction, "machine", machine)?;
        // The order of Verdict::ALL is that of the columns.
        let [cold, brief, weak, unproven, narrow, pass] = numbers.counts;
        statement.execute(params![
            number_of_day(*day),
            machine,
            cold,
            brief,
            weak,
            unproven,
            narrow,
            pass,
            numbers.late,
            numbers.damaged,
            numbers.rinse_min_c,
            numbers.rinse_median_c,
        ])?;
    }
    Ok(())
}

/// Reads the numbers of a row, behind its day and machine.
pub(super) fn stored(row: &Row<'_>) -> rusqlite::Result<DayNumbers> {
    Ok(DayNumbers {
        counts: [row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?, row.get(6)?, row.get(7)?],
        late: row.get(8)?,
        damaged: row.get(9)?,
        rinse_min_c: row.get(10)?,
        rinse_median_c: row.get(11)?,
    })
}

impl Reader {
    /// The days from `first` to `last`, both included, on which a machine washed, in order of
    /// the day and then of the machine's name.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails. Damaged records are counted as such.
    pub fn days(
        &self,
        zone: &TimeZone,
        machine: Option<&str>,
        first: Date,
        last: Date,
    ) -> Result<Vec<MachineDay>, LedgerError> {
        let failed = |source| self.failed("reading its days", source);
        let _one_state = self.one_state()?;
        let names = self.numbered_machines().map_err(failed)?;
        let wanted = |number: &i64| {
            machine.is_none_or(|machine| names.get(number).is_some_and(|name| name == machine))
        };
        let kept = self.days_kept(zone)?.map_or(0, |kept| kept.next);
        let mut days: BTreeMap<(i64, i64), DayNumbers> = BTreeMap::new();
        if kept > 0 {
            days = self.days_stored(number_of_day(first), number_of_day(last)).map_err(failed)?;
            days.retain(|(_, number), _| wanted(number));
        }
        let counted = if kept > 0 {
            self.days_since(zone, kept, first, last).map_err(failed)?
        } else {
            names.keys().flat_map(|machine| dates(first, last).map(|date| (date, *machine))).collect()
        };
        for (date, number) in counted.into_iter().filter(|(_, number)| wanted(number)) {
            let numbers = match names.get(&number) {
                Some(name) => self.count_day(zone, name, date)?,
                None => None,
            };
            let key = (number_of_day(date), number);
            match numbers {
                Some(numbers) => days.insert(key, numbers),
                None => days.remove(&key),
            };
        }
        let mut days: Vec<MachineDay> = days
            .into_iter()
            .filter_map(|((day, machine), numbers)| {
                let (day, machine) = (date_of(day)?, names.get(&machine)?.clone());
                Some(MachineDay { day, machine, numbers })
            })
            .collect();
        days.sort_by(|one, other| (one.day, &one.machine).cmp(&(other.day, &other.machine)));
        Ok(days)
    }

    /// The first and the last day on which any machine washed.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn days_span(&self, zone: &TimeZone) -> Result<Option<(Date, Date)>, LedgerError> {
        let edge = |order| {
            let mut edge = None;
            let filter = CycleFilter { limit: Some(1), ..CycleFilter::default() };
            self.cycles_indexed(order, &filter, |at, _| {
                edge = local_date(zone, Timestamp::from_micros(at));
                ControlFlow::Break(())
            })?;
            Ok(edge)
        };
        Ok(edge(Order::OldestFirst)?.zip(edge(Order::NewestFirst)?))
    }

    /// The next part to keep for this zone, with its bookmark; `None` where everything up to
    /// yesterday is kept. To be called again after it was stored.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn days_to_keep(
        &self,
        zone: &TimeZone,
        now: Timestamp,
    ) -> Result<Option<(DaysPart, Bookmark)>, LedgerError> {
        let failed = |source| self.failed("counting its days", source);
        let _one_state = self.one_state()?;
        let Some(nothing) = Kept::nothing(zone) else { return Ok(None) };
        let kept = self.days_kept(zone)?;
        let anew = kept.is_none();
        let mut kept = kept.unwrap_or(nothing);
        let before = kept.next;
        let names = self.numbered_machines().map_err(failed)?;
        let touched = self.touched(zone, &mut kept.next, now).map_err(failed)?;
        if kept.next == before && !anew {
            return Ok(None);
        }
        let mut days = Vec::with_capacity(touched.len());
        for (day, number) in touched {
            let Some(machine) = names.get(&number) else { continue };
            if let Some(numbers) = self.count_day(zone, machine, day)? {
                days.push(MachineDay { day, machine: machine.clone(), numbers });
            }
        }
        let state = serde_json::to_vec(&kept).unwrap_or_default();
        Ok(Some((DaysPart { anew, days }, Bookmark { name: BOOKMARK.to_owned(), state })))
    }

    /// How far the table goes for this zone; `None` where it has to be made anew.
    fn days_kept(&self, zone: &TimeZone) -> Result<Option<Kept>, LedgerError> {
        let Some(nothing) = Kept::nothing(zone) else { return Ok(None) };
        let stored = self.bookmark(BOOKMARK)?;
        let kept = stored.and_then(|state| serde_json::from_slice::<Kept>(&state).ok());
        Ok(kept.filter(|kept| (&kept.zone, &kept.version) == (&nothing.zone, &nothing.version)))
    }

    fn numbered_machines(&self) -> rusqlite::Result<BTreeMap<i64, String>> {
        let mut names = self.connection.prepare_cached("SELECT id, name FROM machine")?;
        names.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
    }

    fn days_stored(&self, first: i64, last: i64) -> rusqlite::Result<BTreeMap<(i64, i64), DayNumbers>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT day, machine, cold, brief, weak, unproven, narrow, pass, late, damaged,
                    rinse_min_c, rinse_median_c FROM day WHERE day >= ?1 AND day <= ?2",
        )?;
        let rows = statement
            .query_map(params![first, last], |row| Ok(((row.get(0)?, row.get(1)?), stored(row)?)))?;
        rows.collect()
    }

    /// The days of the span that have a cycle recorded from this index on.
    fn days_since(
        &self,
        zone: &TimeZone,
        next: u64,
        first: Date,
        last: Date,
    ) -> rusqlite::Result<BTreeSet<(Date, i64)>> {
        let mut statement =
            self.connection.prepare_cached("SELECT machine, rinse_started FROM cycle WHERE idx >= ?1")?;
        let mut rows = statement.query([index_of(next)])?;
        let (mut days, mut dates) = (BTreeSet::new(), Dates::new(zone));
        while let Some(row) = rows.next()? {
            let date = dates.of(Timestamp::from_micros(row.get(1)?));
            if let Some((date, _)) = date.filter(|(date, _)| first <= *date && *date <= last) {
                days.insert((date, row.get(0)?));
            }
        }
        Ok(days)
    }

    /// The days that are over and have a cycle in the next part; `next` goes to its end, or to
    /// the first cycle of a day that is not over.
    fn touched(
        &self,
        zone: &TimeZone,
        next: &mut u64,
        now: Timestamp,
    ) -> rusqlite::Result<BTreeSet<(Date, i64)>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT idx, machine, rinse_started FROM cycle WHERE idx >= ?1 ORDER BY idx LIMIT ?2",
        )?;
        let mut rows = statement.query(params![index_of(*next), PART_CYCLES])?;
        let (mut days, mut dates) = (BTreeSet::new(), Dates::new(zone));
        while let Some(row) = rows.next()? {
            let at = Timestamp::from_micros(row.get(2)?);
            if let Some((date, stretch)) = dates.of(at) {
                if stretch.to > now && stretch.from <= now.plus(AHEAD_MAX) {
                    break;
                }
                days.insert((date, row.get(1)?));
            }
            *next = row.get::<_, u64>(0)? + 1;
        }
        Ok(days)
    }

    fn count_day(
        &self,
        zone: &TimeZone,
        machine: &str,
        date: Date,
    ) -> Result<Option<DayNumbers>, LedgerError> {
        let Some((_, Stretch { from, to })) = day(zone, date) else { return Ok(None) };
        let filter = CycleFilter {
            machine: Some(machine.to_owned()),
            from: Some(from),
            to: Some(to),
            ..CycleFilter::default()
        };
        let mut counting = Counting::default();
        self.cycles_found(Order::OldestFirst, &filter, |_, found| {
            match found {
                Ok((_, record)) => counting.note(&record),
                Err(_) => counting.note_damaged(),
            }
            ControlFlow::Continue(())
        })?;
        Ok(counting.finish())
    }
}

/// Finds the local dates of instants that mostly lie on the same few days.
#[derive(Debug)]
pub(super) struct Dates<'a> {
    zone: &'a TimeZone,
    known: Vec<(Date, Stretch)>,
}

impl<'a> Dates<'a> {
    pub(super) const fn new(zone: &'a TimeZone) -> Self {
        Self { zone, known: Vec::new() }
    }

    /// The local date of an instant, and where that day lies.
    pub(super) fn of(&mut self, at: Timestamp) -> Option<(Date, Stretch)> {
        let inside = |(_, stretch): &&(Date, Stretch)| stretch.from <= at && at < stretch.to;
        if let Some(known) = self.known.iter().rev().find(inside) {
            return Some(*known);
        }
        let date = local_date(self.zone, at)?;
        let (_, stretch) = day(self.zone, date)?;
        // Days come in order but for late ones: a handful is enough.
        if self.known.len() >= 8 {
            self.known.remove(0);
        }
        self.known.push((date, stretch));
        Some((date, stretch))
    }
}

fn dates(first: Date, last: Date) -> impl Iterator<Item = Date> {
    std::iter::successors(Some(first), |date| date.tomorrow().ok()).take_while(move |date| *date <= last)
}

/// Days since 1970-01-01.
pub(super) fn number_of_day(date: Date) -> i64 {
    let since = Date::constant(1970, 1, 1).until((Unit::Day, date));
    since.map_or(0, |span| i64::from(span.get_days()))
}

/// The date of so many days since 1970-01-01.
pub(super) fn date_of(number: i64) -> Option<Date> {
    Date::constant(1970, 1, 1).checked_add(jiff::Span::new().try_days(number).ok()?).ok()
}
