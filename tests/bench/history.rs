//! Measures what an auditor asks of a ledger of years.
//!
//! `cargo bench --bench history` asks at 0.1, 1 and 2.7 million cycles of five machines
//! over up to five years, with checks, gaps and alerts between; `CYCLES=100000` asks at
//! one size only. The days in numbers are kept up as the service keeps them. Beside the time
//! that passed stands that of the processor, which does not grow where others work too.

#![expect(clippy::disallowed_methods, reason = "a bench measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::ops::ControlFlow;
use std::path::Path;
use std::time::{Duration, Instant};

use jiff::civil::Date;
use jiff::tz::TimeZone;
use rinseward::core::alert::hours::Stretch;
use rinseward::core::alert::{AlertNumber, Condition};
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Fault;
use rinseward::core::record::{
    AlertClosed, AlertRaised, Body, Check, ConfigurationChange, CorrectiveAction, Gap, Record,
};
use rinseward::core::time::Timestamp;
use rinseward::core::wall_clock::local_date;
use rinseward::ledger::{
    Append, Commit, CycleFilter, Known, Names, Order, Reader, RecordFilter, Subject, Writer,
};

#[expect(dead_code, reason = "the tests use all of it")]
#[path = "../tests/ledger/fixture.rs"]
mod fixture;

use fixture::{at, commit, cycle, options, place, plain};

const MACHINES: u32 = 5;
/// Seconds between two cycles of one machine: 297 a day.
const EVERY_S: f64 = 291.0;
const ASKED: usize = 300;

fn main() {
    let sizes = match std::env::var("CYCLES").ok().and_then(|text| text.parse().ok()) {
        Some(size) => vec![size],
        None => vec![100_000, 1_000_000, 2_700_000],
    };
    for cycles in sizes {
        measure(cycles);
    }
}

fn seconds(n: u32) -> f64 {
    f64::from(n / MACHINES) * EVERY_S + f64::from(n % MACHINES)
}

fn machine(n: u32) -> String {
    format!("dm{}", n % MACHINES)
}

fn open(path: &Path, now: Timestamp) -> Writer {
    let machines: Vec<String> = (0..MACHINES).map(machine).collect();
    Writer::open(&options(path), Names { machines: &machines, channels: &[] }, now)
        .expect("the ledger opens")
        .0
}

/// One cycle; every 100th brings a check, every 1,000th a gap, every 2,000th an alert of three records.
fn records(n: u32) -> Vec<Record> {
    let verdict = match n % 1_009 {
        0 => Verdict::Cold,
        1 => Verdict::Brief,
        2..20 => Verdict::Unproven,
        20..60 => Verdict::Narrow,
        _ => Verdict::Pass,
    };
    let (name, s) = (machine(n), seconds(n));
    let mut records = vec![cycle(&name, s, verdict)];
    let mut add = |body| records.push(Record::new(at(s + 20.0), Some(name.clone()), body));
    if n.is_multiple_of(100) {
        add(Body::Check(Check::Supply {
            at: at(s),
            enough: true,
            short: Vec::new(),
            note: None,
            by: "Ana".to_owned(),
        }));
    }
    if n.is_multiple_of(1_000) {
        let probe = format!("{name}/rinse");
        add(Body::Gap(Gap {
            probe,
            fault: Fault::Silent,
            from: at(s - 60.0),
            to: Some(at(s)),
            filled: false,
        }));
    }
    if n.is_multiple_of(2_000) {
        let alert = AlertNumber(u64::from(n / 2_000));
        add(Body::AlertRaised(Box::new(AlertRaised::new(alert, Condition::Cold, at(s)))));
        let (by, racks, done) = ("Ana".to_owned(), "washed again".to_owned(), "boiler reset".to_owned());
        add(Body::CorrectiveAction(CorrectiveAction {
            alert,
            by,
            racks,
            done,
            last_good: None,
            covers: None,
        }));
        add(Body::AlertClosed(AlertClosed { alert, racks: 1, needed_action: true }));
    }
    if n.is_multiple_of(50_000) {
        add(Body::ConfigurationChange(ConfigurationChange {
            sha256: "ab".repeat(32),
            toml: configuration(),
        }));
    }
    records
}

/// A configuration of some 10 kB, as one with a calibration for each probe has.
fn configuration() -> String {
    let mut toml = "[site]\nname = \"bench\"\ntime-zone = \"America/New_York\"\n".to_owned();
    for name in (0..MACHINES).map(machine) {
        toml.push_str(&format!(
            "\n[[machine]]\nname = \"{name}\"\nkind = \"stationary-rack-dual-temperature\"\n\
             wash-time = \"44s\"\nrinse-time = \"12s\"\nprobes = [\"wash\", \"rinse\"]\n"
        ));
    }
    for n in 0..60 {
        toml.push_str(&format!(
            "\n[[probe]]\nname = \"dm{}/extra-{n}\"\nunit = \"celsius\"\n\
             # compared with the reference thermometer at three points, by Ana\n\
             points = [[0.0, 0.1], [71.0, 71.2], [90.0, 90.4]]\n",
            n % MACHINES
        ));
    }
    toml
}

fn fill(path: &Path, cycles: u32) {
    let began = Instant::now();
    let writer = open(path, at(0.0));
    let mut next = 0;
    while next < cycles {
        let end = (next + 1_000).min(cycles);
        let records = (next..end).flat_map(records).map(plain).collect();
        commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
        next = end;
    }
    let written = began.elapsed();
    let began = Instant::now();
    let (zone, reader) = (zone(), Reader::open(path).expect("a reader"));
    let (mut parts, mut longest) = (0_u32, Duration::ZERO);
    while let Some((days, bookmark)) = reader.days_to_keep(&zone, at(seconds(cycles))).expect("a part") {
        let stored = Instant::now();
        let (done, wait) = std::sync::mpsc::channel();
        let append = Append { days: Some(days), bookmarks: vec![bookmark], ..Append::default() };
        writer.append(append, Box::new(move |result| done.send(result.is_ok()).expect("somebody waits")));
        assert!(wait.recv().expect("an answer"), "an append");
        longest = longest.max(stored.elapsed());
        parts += 1;
    }
    println!(
        "{cycles} cycles written in {written:.1?}; days counted in {:.1?}, {parts} appends, the longest {longest:.1?}",
        began.elapsed()
    );
}

fn zone() -> TimeZone {
    TimeZone::get("America/New_York").expect("the zone data base is built in")
}

/// Numbers that repeat: minimal generator of Park and Miller (Communications of the ACM 31, 1988).
struct Draw(u64);

impl Draw {
    fn below(&mut self, end: u32) -> u32 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        u32::try_from(self.0 % u64::from(end.max(1))).unwrap_or(0)
    }
}

fn measure(cycles: u32) {
    let (_directory, path) = place();
    fill(&path, cycles);
    let began = Instant::now();
    let writer = open(&path, at(seconds(cycles)));
    println!("  start with that ledger: {:.1?}", began.elapsed());
    drop(writer);
    let reader = Reader::open(&path).expect("a reader");
    let (zone, mut draw) = (zone(), Draw(2_718));
    let day = |seconds: f64| local_date(&zone, at(seconds)).expect("a date");
    let (first, last) = (day(0.0), day(seconds(cycles)));
    ask("page of 100 cycles, a machine, newest before a moment", || {
        let filter = CycleFilter {
            machine: Some(machine(draw.below(MACHINES))),
            to: Some(at(seconds(draw.below(cycles)))),
            limit: Some(100),
            ..CycleFilter::default()
        };
        cycles_of(&reader, &filter)
    });
    ask("page of 100 cold and brief cycles, the site", || {
        let filter = CycleFilter {
            to: Some(at(seconds(draw.below(cycles)))),
            verdicts: vec![Verdict::Cold, Verdict::Brief],
            limit: Some(100),
            ..CycleFilter::default()
        };
        cycles_of(&reader, &filter)
    });
    ask("page of 100 checks before a moment", || {
        let filter = RecordFilter {
            kinds: vec!["check".to_owned()],
            to: Some(at(seconds(draw.below(cycles)))),
            limit: Some(100),
            ..RecordFilter::default()
        };
        let mut rows = 0;
        let each = |_, _| {
            rows += 1;
            ControlFlow::Continue(())
        };
        reader.events(Order::NewestFirst, &filter, each).expect("the checks");
        rows
    });
    ask("days of a year, all machines", || {
        let from = day(seconds(draw.below(cycles)));
        days_of(&reader, &zone, from, from.saturating_add(jiff::Span::new().days(365)))
    });
    ask("summary of the whole time, all machines", || days_of(&reader, &zone, first, last));
    let whole = Stretch { from: Timestamp::MIN, to: Timestamp::MAX };
    ask("gaps of the whole time", || {
        let known = &Known::default();
        reader.blanks(known, whole, at(seconds(cycles))).expect("the gaps").0.len()
    });
    let known = Known::default();
    ask("gaps of the whole time, read before", || {
        reader.blanks(&known, whole, at(seconds(cycles))).expect("the gaps").0.len()
    });
    ask("one alert with its records", || {
        let alert = Subject::Alert(u64::from(draw.below(cycles / 2_000)));
        let about = reader.about(alert).expect("its records");
        about.iter().filter(|index| reader.record(**index).is_ok_and(|found| found.is_ok())).count()
    });
    ask("in force at a moment", || {
        reader.in_force(at(seconds(draw.below(cycles)))).expect("an answer").limits.len()
    });
}

fn cycles_of(reader: &Reader, filter: &CycleFilter) -> usize {
    let mut rows = 0;
    let each = |index, _| {
        rows += 1;
        assert!(reader.amendments(index).expect("no failure").is_empty());
        ControlFlow::Continue(())
    };
    reader.cycles_found(Order::NewestFirst, filter, each).expect("a page");
    rows
}

fn days_of(reader: &Reader, zone: &TimeZone, first: Date, last: Date) -> usize {
    reader.days(zone, None, first, last).expect("the days").len()
}

fn ask(what: &str, mut question: impl FnMut() -> usize) {
    let (mut spent, mut worked) = (Vec::with_capacity(ASKED), Vec::with_capacity(ASKED));
    let mut rows = 0;
    for _ in 0..ASKED {
        let (began, processor) = (Instant::now(), processor_time());
        rows += question();
        spent.push(began.elapsed());
        worked.push(processor_time() - processor);
    }
    spent.sort_unstable();
    worked.sort_unstable();
    let (half, most) = (ASKED / 2, ASKED * 99 / 100);
    println!(
        "  {what}: p50 {:.2?}, p99 {:.2?}; processor p50 {:.2?}, p99 {:.2?} ({} rows on average)",
        spent[half],
        spent[most],
        worked[half],
        worked[most],
        rows / ASKED
    );
}

/// Time of the processor that this thread took so far.
fn processor_time() -> Duration {
    let taken = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    taken.try_into().expect("no time before zero")
}
