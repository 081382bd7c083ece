//! Days in numbers, and their summary.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::time::Duration;

use jiff::civil::Date;

use super::Ground;
use super::cycles::line;
use super::doubted::Doubted;
use super::watched::Watch;
use crate::app::{Failure, Streams, work};
use crate::cli::HistoryArgs;
use crate::core::alert::hours::Stretch;
use crate::core::cycle::verdict::Verdict;
use crate::core::daily::{DayNumbers, MachineDay, median};
use crate::core::monitored::{self, Blank, Monitored};
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;
use crate::ledger::{CycleFilter, LedgerError, Order};
use crate::report::local::minute;
use crate::report::sheet::{Cell, Column, Form, Unit};

/// Longest time from the start of a rack to the end of its rinse (own choice: no machine of these kinds takes an
/// hour).
const RACK_MAX: Duration = Duration::from_secs(3_600);

/// Columns of `--show days`.
pub(super) static DAYS: [Column; 20] = [
    Column::under("day", Unit::Day, "day", 10),
    Column::under("machine", Unit::Text, "machine", 12),
    Column::under("cycles", Unit::Count, "racks", 5),
    Column::under("cold", Unit::Count, "cold", 4),
    Column::under("brief", Unit::Count, "brief", 5),
    Column::under("weak", Unit::Count, "off-r.", 6),
    Column::under("unproven", Unit::Count, "unpr.", 5),
    Column::under("narrow", Unit::Count, "narr.", 5),
    Column::under("pass", Unit::Count, "pass", 5),
    Column::under("late", Unit::Count, "late", 4),
    Column::nowhere("damaged", Unit::Count),
    Column::nowhere("pass_rate", Unit::Share),
    Column::under("rinse_min", Unit::Celsius, "lowest", 9),
    Column::under("rinse_median", Unit::Celsius, "median", 9),
    Column::nowhere("operating", Unit::Seconds),
    Column::nowhere("monitored", Unit::Seconds),
    Column::nowhere("filled", Unit::Seconds),
    Column::under("monitored_share", Unit::Share, "monitored", 10),
    Column::nowhere("unproven_worked_on", Unit::Count),
    Column::under("in_doubt", Unit::Count, "doubt", 5),
];

/// Columns of `--show summary`.
pub(super) static SUMMARY: [Column; 22] = [
    Column::under("machine", Unit::Text, "machine", 12),
    Column::nowhere("from", Unit::Instant),
    Column::nowhere("to", Unit::Instant),
    Column::under("days", Unit::Count, "days", 5),
    Column::under("cycles", Unit::Count, "racks", 7),
    Column::under("cold", Unit::Count, "cold", 5),
    Column::under("brief", Unit::Count, "brief", 5),
    Column::under("weak", Unit::Count, "off-r.", 6),
    Column::under("unproven", Unit::Count, "unpr.", 5),
    Column::under("narrow", Unit::Count, "narr.", 6),
    Column::nowhere("pass", Unit::Count),
    Column::nowhere("late", Unit::Count),
    Column::nowhere("damaged", Unit::Count),
    Column::under("pass_rate", Unit::Share, "passed", 10),
    Column::under("rinse_min", Unit::Celsius, "lowest", 9),
    Column::nowhere("median_of_day_medians", Unit::Celsius),
    Column::nowhere("operating", Unit::Seconds),
    Column::nowhere("monitored", Unit::Seconds),
    Column::nowhere("filled", Unit::Seconds),
    Column::under("monitored_share", Unit::Share, "monitored", 10),
    Column::nowhere("unproven_worked_on", Unit::Count),
    Column::nowhere("in_doubt", Unit::Count),
];

/// One machine on one day.
pub(in crate::app) struct DayRow {
    pub(in crate::app) day: Date,
    pub(in crate::app) machine: String,
    pub(in crate::app) numbers: DayNumbers,
    pub(in crate::app) watched: Monitored,
    /// Racks that are unproven since somebody worked on the machine.
    pub(in crate::app) marked: u64,
}

/// One machine over the span.
pub(in crate::app) struct SumRow {
    pub(in crate::app) machine: String,
    /// Days on which it washed.
    pub(in crate::app) days: u64,
    pub(in crate::app) numbers: DayNumbers,
    pub(in crate::app) watched: Monitored,
    /// Racks that are unproven since somebody worked on the machine.
    pub(in crate::app) marked: u64,
}

/// The span summed up.
pub(in crate::app) struct Sums {
    pub(in crate::app) span: Stretch,
    pub(in crate::app) dates: (Date, Date),
    pub(in crate::app) machines: Vec<SumRow>,
    /// Since when no gateway has recorded, to the end of the span.
    down_since: Option<Timestamp>,
}

/// The days that were asked for: from the first that is known to today where nothing else was said.
pub(super) fn dates(ground: &Ground) -> Result<Option<(Date, Date)>, Failure> {
    let known = ground.reader.days_span(&ground.zone).map_err(|error| ground.failed(&error))?;
    let date = |at: Timestamp| local_date(&ground.zone, at);
    let last_instant = |to: Timestamp| Timestamp::from_micros(to.micros() - 1);
    let first = ground.from.and_then(date).or(known.map(|(first, _)| first));
    let last = ground.to.map(last_instant).or(Some(ground.now)).and_then(date);
    Ok(first.zip(last).filter(|(first, last)| first <= last))
}

/// The stretch of whole days, but not past what was asked for nor past now.
pub(super) fn stretch(ground: &Ground, (first, last): (Date, Date)) -> Option<Stretch> {
    let (_, from) = monitored::day(&ground.zone, first)?;
    let (_, to) = monitored::day(&ground.zone, last)?;
    let to = to.to.min(ground.now);
    let span = Stretch {
        from: ground.from.map_or(from.from, |at| at.max(from.from)),
        to: ground.to.map_or(to, |at| at.min(to)),
    };
    (span.from < span.to).then_some(span)
}

fn machines(ground: &Ground, only: Option<&str>) -> Result<Vec<String>, Failure> {
    let mut machines = ground.reader.machines().map_err(|error| ground.failed(&error))?;
    machines.retain(|name| only.is_none_or(|wanted| wanted == name));
    Ok(machines)
}

/// Days in numbers are whole ones: a span that cuts one would not fit them.
pub(super) fn nothing(
    ground: &Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    if ground.sheet(&DAYS, arguments).form == Form::Table {
        line(streams, "Nothing on record for this choice.")?;
    }
    Ok(())
}

/// The days of the span, the oldest first; `None` where nothing is on record of it.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn day_rows(
    ground: &mut Ground,
    machine: Option<&str>,
) -> Result<Option<Vec<DayRow>>, Failure> {
    let Some((first, last)) = dates(ground)? else { return Ok(None) };
    let Some(span) = stretch(ground, (first, last)) else { return Ok(None) };
    let washed = ground.reader.days(&ground.zone, machine, first, last);
    let washed = washed.map_err(|error| ground.failed(&error))?;
    let mut numbers: BTreeMap<(Date, &str), &DayNumbers> = BTreeMap::new();
    numbers.extend(washed.iter().map(|day| ((day.day, day.machine.as_str()), &day.numbers)));
    let watch = Watch::new(ground, span)?;
    let machines = machines(ground, machine)?;
    let none = DayNumbers::default();
    let marked = Marked::read(ground, &machines, (first, last))?;
    let mut rows = Vec::new();
    for (day, whole) in monitored::days(&ground.zone, span) {
        let inside = Stretch { from: whole.from.max(span.from), to: whole.to.min(span.to) };
        for machine in &machines {
            let watched = watch.of(machine, inside);
            let numbers = numbers.get(&(day, machine.as_str())).copied().unwrap_or(&none);
            // A day on which the site was closed and nothing was washed says nothing.
            if numbers.cycles() + numbers.damaged > 0 || watched.operating_s > 0.0 {
                let (machine, numbers) = (machine.clone(), numbers.clone());
                let marked = marked.of(&machine, Some(whole));
                rows.push(DayRow { day, machine, numbers, watched, marked });
            }
        }
    }
    Ok(Some(rows))
}

pub(super) fn days(
    ground: &mut Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let rows = day_rows(ground, arguments.machine.as_deref())?;
    let Some(mut rows) = rows else { return nothing(ground, arguments, streams) };
    let skipped = rows.len().saturating_sub(arguments.limit.unwrap_or(usize::MAX));
    rows.drain(..skipped);
    if arguments.newest_first {
        rows.reverse();
    }
    let sheet = ground.sheet(&DAYS, arguments);
    sheet.start(streams.out, &ground.whose()).map_err(Failure::output)?;
    let span = rows.iter().map(|row| row.day).min().zip(rows.iter().map(|row| row.day).max());
    let doubted = Doubted::read(ground, arguments.machine.as_deref(), span)?;
    let of_row = |row: &DayRow| doubted.of(&row.machine, Some(row.day));
    rows.iter()
        .try_for_each(|row| sheet.row(streams.out, &day_row(row, of_row(row))))
        .map_err(Failure::output)?;
    if sheet.form == Form::Table {
        tell_marked(rows.iter().map(|row| (&row.machine, row.marked)), streams)?;
        line(
            streams,
            "\ndoubt: of those that passed, in doubt since by an alert; - where they were not all counted.",
        )?;
        foot(ground, streams)?;
    }
    Ok(())
}

fn day_row(row: &DayRow, doubted: Option<u64>) -> Vec<Cell> {
    let DayRow { day, machine, numbers, watched, marked } = row;
    let head = [Cell::Day(*day), Cell::text(machine.clone())];
    head.into_iter().chain(figures(numbers, watched, *marked)).chain([doubted.into()]).collect()
}

/// What is told of a day and of a sum of days alike.
fn figures(numbers: &DayNumbers, watched: &Monitored, marked: u64) -> Vec<Cell> {
    let [cold, brief, weak, unproven, narrow, pass] = Verdict::ALL.map(|verdict| numbers.of(verdict));
    vec![
        numbers.cycles().into(),
        cold.into(),
        brief.into(),
        weak.into(),
        unproven.into(),
        narrow.into(),
        pass.into(),
        numbers.late.into(),
        numbers.damaged.into(),
        numbers.pass_rate().into(),
        numbers.rinse_min_c.into(),
        numbers.rinse_median_c.into(),
        watched.operating_s.into(),
        watched.monitored_s.into(),
        watched.filled_s.into(),
        watched.share().into(),
        marked.into(),
    ]
}

/// What the reader must know of the shares.
fn foot(ground: &Ground, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let hours = match &ground.settings {
        None => "every hour, since no configuration was given (--config) and none on record can be read",
        Some(settings) if settings.open.is_some() => "the opening hours of the site",
        Some(settings) if !settings.shifts.is_empty() => "the shifts of the site",
        Some(_) => "every hour, since the configuration names neither opening hours nor shifts",
    };
    line(
        streams,
        &format!(
            "\nmonitored: share of {hours} without a gap, since the first record; a day is the site's, from midnight."
        ),
    )?;
    line(streams, "Damaged records are in none of these numbers; --show cycles names them.")
}

/// Racks that are unproven since somebody worked on their machine: the starts of their rinses, by machine.
///
/// They are looked for where the record says that somebody worked, which is seldom.
struct Marked(BTreeMap<String, BTreeMap<u64, Timestamp>>);

impl Marked {
    /// Those of whole days, as the other numbers are.
    fn read(ground: &Ground, machines: &[String], (first, last): (Date, Date)) -> Result<Self, Failure> {
        let midnights = |date| monitored::day(&ground.zone, date).map(|(_, day)| day);
        let Some((first, last)) = midnights(first).zip(midnights(last)) else {
            return Ok(Self(BTreeMap::new()));
        };
        let failed = |error: LedgerError| ground.failed(&error);
        let mut marked = BTreeMap::new();
        for machine in machines {
            let mut found = BTreeMap::new();
            for work in work::of_past(machine, ground.reader).map_err(failed)? {
                let filter = CycleFilter {
                    machine: Some(machine.clone()),
                    from: Some(first.from.max(work.from.minus(RACK_MAX))),
                    to: Some(last.to.min(work.until.plus(RACK_MAX))),
                    ..CycleFilter::default()
                };
                let read = ground.reader.cycles_found(Order::OldestFirst, &filter, |index, cycle| {
                    if let Ok((_, Record { body: Body::Cycle(cycle), .. })) = cycle
                        && cycle.verdict == Verdict::Unproven
                        && cycle.is_worked_on()
                    {
                        found.insert(index, cycle.rinse_started);
                    }
                    ControlFlow::Continue(())
                });
                read.map_err(failed)?;
            }
            marked.insert(machine.clone(), found);
        }
        Ok(Self(marked))
    }

    /// How many of a machine began their rinse in this stretch; all of the days where none is given.
    fn of(&self, machine: &str, inside: Option<Stretch>) -> u64 {
        let own = self.0.get(machine).into_iter().flat_map(BTreeMap::values);
        own.filter(|at| inside.is_none_or(|inside| inside.from <= **at && **at < inside.to)).count() as u64
    }
}

/// Says how many racks are unproven since somebody worked on their machine.
fn tell_marked<'r>(
    rows: impl Iterator<Item = (&'r String, u64)>,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let mut marked: BTreeMap<&String, u64> = BTreeMap::new();
    rows.for_each(|(machine, count)| *marked.entry(machine).or_default() += count);
    let told = marked.iter().filter(|(_, count)| **count > 0);
    let told: Vec<String> = told.map(|(machine, count)| format!("{machine} {count}")).collect();
    if told.is_empty() {
        return Ok(());
    }
    line(streams, &format!("\nUnproven while somebody worked on the machine: {}.", told.join(", ")))
}

/// The span summed up, by machine; `None` where nothing is on record of it.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn sums(ground: &mut Ground, machine: Option<&str>) -> Result<Option<Sums>, Failure> {
    let Some((first, last)) = dates(ground)? else { return Ok(None) };
    let Some(span) = stretch(ground, (first, last)) else { return Ok(None) };
    let days = ground.reader.days(&ground.zone, machine, first, last);
    let days = days.map_err(|error| ground.failed(&error))?;
    let watch = Watch::new(ground, span)?;
    let machines = machines(ground, machine)?;
    let marked = Marked::read(ground, &machines, (first, last))?;
    let sum = |machine: String| {
        let own: Vec<&MachineDay> = days.iter().filter(|day| day.machine == machine).collect();
        let (days, watched) = (own.len() as u64, watch.of(&machine, watch.span));
        let marked = marked.of(&machine, None);
        SumRow { numbers: summed(&own), machine, days, watched, marked }
    };
    let machines = machines.into_iter().map(sum).collect();
    let of_service = |blank: &&Blank| blank.machine.is_none() && blank.probe.is_none() && blank.to.is_none();
    let down_since = watch.blanks.iter().find(of_service).map(|blank| blank.from);
    Ok(Some(Sums { span, dates: (first, last), machines, down_since }))
}

pub(super) fn summary(
    ground: &mut Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let sums = sums(ground, arguments.machine.as_deref())?;
    let Some(Sums { span, dates: (first, last), machines, down_since }) = sums else {
        return nothing(ground, arguments, streams);
    };
    let sheet = ground.sheet(&SUMMARY, arguments);
    sheet.start(streams.out, &ground.whose()).map_err(Failure::output)?;
    let doubted = Doubted::read(ground, arguments.machine.as_deref(), Some((first, last)))?;
    for row in &machines {
        let doubted = doubted.of(&row.machine, None);
        sheet.row(streams.out, &summary_row(row, span, doubted)).map_err(Failure::output)?;
    }
    if sheet.form == Form::Table {
        let damaged: u64 = machines.iter().map(|row| row.numbers.damaged).sum();
        let late: u64 = machines.iter().map(|row| row.numbers.late).sum();
        line(
            streams,
            &format!("\n{first} to {last}, whole days; recorded late: {late}; damaged: {damaged}."),
        )?;
        if let Some(since) = down_since.filter(|since| *since < span.to) {
            line(streams, &quiet(since, span.to, ground))?;
        }
        tell_marked(machines.iter().map(|row| (&row.machine, row.marked)), streams)?;
        doubted.tell(streams)?;
        foot(ground, streams)?;
    }
    Ok(())
}

/// That nothing was recorded at the end of the span, and how the days before it are summed up alone.
fn quiet(since: Timestamp, to: Timestamp, ground: &Ground) -> String {
    let zone = &ground.zone;
    let told = format!(
        "Nothing was recorded from {} to {}: those hours count as not monitored.",
        minute(since, zone),
        minute(to, zone)
    );
    let day = |at: Timestamp| local_date(zone, at);
    match day(since)
        .filter(|own| day(Timestamp::from_micros(to.micros() - 1)).is_some_and(|last| last > *own))
    {
        Some(own) => format!("{told}\nThe days up to then alone: --to {own}"),
        None => told,
    }
}

fn summary_row(row: &SumRow, span: Stretch, doubted: Option<u64>) -> Vec<Cell> {
    let head = [Cell::text(row.machine.clone()), span.from.into(), span.to.into(), row.days.into()];
    let figures = figures(&row.numbers, &row.watched, row.marked);
    head.into_iter().chain(figures).chain([doubted.into()]).collect()
}

fn summed(days: &[&MachineDay]) -> DayNumbers {
    let sum = |of: &dyn Fn(&DayNumbers) -> u64| days.iter().map(|day| of(&day.numbers)).sum::<u64>();
    let counts = Verdict::ALL.map(|verdict| sum(&|numbers| numbers.of(verdict)));
    DayNumbers {
        counts,
        rinse_min_c: days.iter().filter_map(|day| day.numbers.rinse_min_c).reduce(f64::min),
        rinse_median_c: median(
            &mut days.iter().filter_map(|day| day.numbers.rinse_median_c).collect::<Vec<f64>>(),
        ),
        late: sum(&|numbers| numbers.late),
        damaged: sum(&|numbers| numbers.damaged),
    }
}
