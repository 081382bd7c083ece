//! How many racks of some days passed and are in doubt.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::Ground;
use super::cycles::line;
use crate::app::alerts::doubts::{self, Counted, Left};
use crate::app::{Failure, Streams};
use crate::core::monitored;
use crate::core::wall_clock::local_date;

/// Most racks that are looked at for one answer (own choice: half a second). Of a day on which the count ended nothing
/// is said, nor of those before it.
const LOOKED_MAX: usize = if cfg!(test) { 100 } else { 50_000 };

/// Racks in doubt by machine and day, the newest counted first.
#[derive(Debug, Default)]
pub(super) struct Doubted {
    counted: BTreeMap<(String, Date), u64>,
    /// The day of each machine on which the count ended.
    ended: BTreeMap<String, Date>,
}

impl Doubted {
    /// Those of whole days, as the other numbers are.
    pub(super) fn read(
        ground: &Ground<'_>,
        machine: Option<&str>,
        days: Option<(Date, Date)>,
    ) -> Result<Self, Failure> {
        let mut found = Self::default();
        let midnights = |date| monitored::day(&ground.zone, date).map(|(_, day)| day);
        let Some((first, last)) = days.and_then(|(first, last)| midnights(first).zip(midnights(last))) else {
            return Ok(found);
        };
        let (doubts, span) = (ground.doubts()?, (Some(first.from), Some(last.to)));
        let mut left = Left { looked: LOOKED_MAX, passed: u64::MAX };
        for own in doubts.machines().filter(|own| machine.is_none_or(|machine| machine == *own)) {
            let stretches = doubts.stretches(Some(own), None);
            let counted = doubts::count(
                ground.reader,
                &doubts,
                (own, &stretches),
                span,
                &mut left,
                |at, counted, _| {
                    let Some(day) = local_date(&ground.zone, at) else { return };
                    match counted {
                        Counted::Doubted => *found.counted.entry((own.to_owned(), day)).or_default() += 1,
                        Counted::Ended => {
                            found.ended.insert(own.to_owned(), day);
                        }
                    }
                },
            );
            counted.map_err(|error| ground.failed(&error))?;
        }
        Ok(found)
    }

    /// How many of a machine on a day, or on all of them; `None` where they were not counted to their end.
    pub(super) fn of(&self, machine: &str, day: Option<Date>) -> Option<u64> {
        let ended = self.ended.get(machine);
        if ended.is_some_and(|ended| day.is_none_or(|day| day <= *ended)) {
            return None;
        }
        Some(match day {
            Some(day) => self.counted.get(&(machine.to_owned(), day)).copied().unwrap_or(0),
            None => self.counted.iter().filter(|((of, _), _)| of == machine).map(|(_, count)| count).sum(),
        })
    }

    /// Says how many of those that are counted as passed are in doubt.
    pub(super) fn tell(&self, streams: &mut Streams<'_>) -> Result<(), Failure> {
        let mut sums: BTreeMap<&str, u64> = BTreeMap::new();
        self.counted.iter().for_each(|((machine, _), count)| *sums.entry(machine).or_default() += count);
        self.ended.keys().for_each(|machine| _ = sums.entry(machine).or_default());
        if sums.is_empty() {
            return Ok(());
        }
        let told = sums.iter().map(|(machine, count)| {
            let more = if self.ended.contains_key(*machine) { " or more" } else { "" };
            format!("{machine} {count}{more}")
        });
        let told: Vec<String> = told.collect();
        line(streams, &format!("\nPassed, and in doubt since by an alert: {}.", told.join(", ")))
    }
}
