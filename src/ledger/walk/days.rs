//! The table of counts by day against the records: what the history shows of months and years.
//!
//! Each part of the walk counts the days it meets and adds them here, so that no cycle is read
//! twice. Only what a reader would show is compared: days whose records all came before the
//! bookmark of the table, counted by this version in a zone that is known. The others it counts
//! anew itself. Memory: some 200 bytes for each machine and day, kept and met.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, PoisonError};

use jiff::tz::TimeZone;
use rusqlite::{Connection, OptionalExtension};

use crate::core::alert::hours::Stretch;
use crate::core::audit::{Audit, BesideFault, DayFault, DayRecount, Seen, Washed};
use crate::core::daily::DayNumbers;
use crate::core::time::Timestamp;
use crate::ledger::days::{BOOKMARK, Dates, Kept, date_of, number_of_day, stored};

/// Number of a day and of a machine.
type Key = (i64, i64);

/// What is kept, and what the walk found of it.
#[derive(Debug)]
pub(super) struct Days {
    zone: TimeZone,
    /// Days with a record from this index on are counted anew by every reader.
    next: u64,
    kept: BTreeMap<Key, DayNumbers>,
    found: Mutex<Met>,
}

/// What was met.
#[derive(Debug, Default)]
struct Met {
    days: BTreeMap<Key, DayRecount>,
    /// Days that are counted anew whenever they are shown.
    open: BTreeSet<Key>,
    /// Days with a cycle that is not to be had as it was: nothing can be said of their numbers.
    doubtful: BTreeSet<i64>,
    /// Cycles whose day is not known.
    lost: bool,
}

/// The days of one part of the walk.
#[derive(Debug)]
pub(super) struct PartOfDays<'d> {
    days: &'d Days,
    dates: Dates<'d>,
    /// The day of the latest cycle, and its number.
    today: Option<(Stretch, i64)>,
    met: Met,
}

impl Days {
    /// Reads what is kept; `None` where a reader shows nothing of it.
    ///
    /// # Errors
    /// The database's.
    pub(super) fn read(connection: &Connection, format: i64) -> rusqlite::Result<Option<Self>> {
        if format < 2 {
            return Ok(None);
        }
        let state: Option<Vec<u8>> = connection
            .query_row("SELECT state FROM bookmark WHERE name = ?1", [BOOKMARK], |row| row.get(0))
            .optional()?;
        let Some(Kept { zone, version, next }) =
            state.and_then(|state| serde_json::from_slice::<Kept>(&state).ok())
        else {
            return Ok(None);
        };
        let (Ok(zone), true) = (TimeZone::get(&zone), version == env!("CARGO_PKG_VERSION")) else {
            return Ok(None);
        };
        let mut statement = connection.prepare(
            "SELECT day, machine, cold, brief, weak, unproven, narrow, pass, late, damaged,
                    rinse_min_c, rinse_median_c FROM day",
        )?;
        let rows = statement.query_map([], |row| Ok(((row.get(0)?, row.get(1)?), stored(row)?)))?;
        let kept = rows.collect::<rusqlite::Result<BTreeMap<Key, DayNumbers>>>()?;
        Ok(Some(Self { zone, next, kept, found: Mutex::default() }))
    }

    /// Begins a part of the walk.
    pub(super) fn part(&self) -> PartOfDays<'_> {
        PartOfDays { days: self, dates: Dates::new(&self.zone), today: None, met: Met::default() }
    }

    /// Says that a part could not be read as a whole.
    pub(super) fn give_up(&self) {
        self.found.lock().unwrap_or_else(PoisonError::into_inner).lost = true;
    }

    /// Tells of the days whose numbers are not those of their records; how many were compared.
    pub(super) fn compare(self, machines: &BTreeMap<i64, String>, audit: &mut Audit) -> u64 {
        let Met { days, open, doubtful, lost } =
            self.found.into_inner().unwrap_or_else(PoisonError::into_inner);
        if lost {
            return 0;
        }
        let keys: BTreeSet<Key> = self.kept.keys().chain(days.keys()).copied().collect();
        let mut compared = 0;
        for key in keys.into_iter().filter(|key| !open.contains(key) && !doubtful.contains(&key.0)) {
            let fault = match (self.kept.get(&key), days.get(&key)) {
                (Some(kept), Some(found)) => found.differs(kept),
                (Some(_), None) => Some(DayFault::Stray),
                (None, Some(found)) => Some(DayFault::Missing { found: found.cycles() }),
                (None, None) => None,
            };
            compared += 1;
            let name = machines.get(&key.1).cloned();
            // What has no date or no name is shown by no reader.
            if let (Some(fault), Some(day), Some(machine)) = (fault, date_of(key.0), name) {
                audit.found(BesideFault::DayDiffers { day, machine, numbers: fault });
            }
        }
        compared
    }
}

impl PartOfDays<'_> {
    /// Takes a record with the number of its machine and the start of its rinse, as the table of
    /// cycles has them.
    pub(super) fn take(&mut self, index: i64, row: Option<(i64, Timestamp)>, is_cycle: bool, seen: &Seen) {
        match (seen.washed(), row) {
            (Some(washed @ Washed { machine_fits: true, .. }), Some((machine, _))) => {
                let Some(day) = self.day(washed.rinse_started) else { return };
                let key = (day, machine);
                if u64::try_from(index).is_ok_and(|index| index >= self.days.next) {
                    self.met.open.insert(key);
                }
                let median_c = self.days.kept.get(&key).and_then(|kept| kept.rinse_median_c);
                self.met.days.entry(key).or_default().take(&washed, median_c);
            }
            (Some(washed), _) => self.doubt(washed.rinse_started),
            (None, Some((_, at))) => self.doubt(at),
            (None, None) => self.met.lost |= is_cycle,
        }
    }

    fn day(&mut self, at: Timestamp) -> Option<i64> {
        if let Some((_, day)) = self.today.filter(|(today, _)| today.from <= at && at < today.to) {
            return Some(day);
        }
        let (date, stretch) = self.dates.of(at)?;
        let day = number_of_day(date);
        self.today = Some((stretch, day));
        Some(day)
    }

    fn doubt(&mut self, at: Timestamp) {
        let day = self.day(at);
        self.met.doubtful.extend(day);
    }

    /// Adds what was met to that of the other parts.
    pub(super) fn finish(self) {
        let mut all = self.days.found.lock().unwrap_or_else(PoisonError::into_inner);
        for (key, day) in &self.met.days {
            all.days.entry(*key).or_default().add(day);
        }
        all.open.extend(self.met.open);
        all.doubtful.extend(self.met.doubtful);
        all.lost |= self.met.lost;
    }
}
