//! Accounts whose contents are known by construction. The zone is New York's, by the tz database:
//! 2026-03-08 has 23 hours, at 02:00 the clock goes to 03:00.

mod calibrations;
mod doubted;
mod entries;

use jiff::civil::date;

use super::build::{Builder, Question};
use super::*;
use crate::core::alert::{AlertNumber, Condition, Earlier, Quantity, Rack, Racks};
use crate::core::cycle::verdict::{Reason, Verdict};
use crate::core::effect::TraceReading;
use crate::core::on_file::{Missed, MissedKind};
use crate::core::record::{
    Against, AlertAcknowledged, AlertChanged, AlertCleared, AlertClosed, AlertRaised, Amendment, Body,
    CalibrationDone, CalibrationPoint, Change, CheckKind, Clearing, ConfigurationChange, Correction,
    CorrectiveAction, DialogWork, Gap, Maintenance, MissedDue, Note, Record, ServiceStart,
};
use crate::core::units::Celsius;
use crate::report::row::samples;

const CONFIGURATION: &str = r#"
[site]
name = "Harbour kitchen"
time-zone = "America/New_York"
open = ["mon-sat 10:00-14:00", "sun 01:00-05:00"]

[[machine]]
name = "dm1"
kind = "stationary-rack-dual-temperature"
wash-time = "44s"
rinse-time = "12s"
probes = ["wash"]

[[probe]]
name = "dm1/rinse"
place = "final-rinse"
tau = "1.5s"
calibration.low-reads = "0.4 °C"
calibration.low-is = "0 °C"
calibration.high-reads = "99.1 °C"
calibration.high-is = "99.97 °C"
calibrated-on = "2026-01-15"

[[machine]]
name = "glass"
kind = "stationary-rack-dual-temperature"
sanitizing = "chlorine"
wash-time = "44s"
rinse-time = "12s"
probes = ["wash", "rinse"]
"#;

fn at(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

fn question() -> Question {
    Question {
        program: "0.1.0".to_owned(),
        made: at("2026-03-20T00:00:00Z"),
        site: "Harbour kitchen".to_owned(),
        zone_name: "America/New_York".to_owned(),
        zone: jiff::tz::TimeZone::get("America/New_York").expect("a zone of the database"),
        from: at("2026-03-02T05:00:00Z"),
        to: at("2026-03-09T04:00:00Z"),
        only: Vec::new(),
        ends: None,
    }
}

/// Records in order of the ledger, taken as they come; cycles at the end.
struct Book {
    records: Vec<Record>,
    cycles: Vec<u64>,
}

impl Book {
    /// Begins on 1 March with a start and the configuration.
    fn new() -> Self {
        let mut book = Self { records: Vec::new(), cycles: Vec::new() };
        let start = ServiceStart {
            version: "0.1.0".to_owned(),
            last_record: None,
            after_clean_stop: true,
            from_file: false,
            replayed: 0,
        };
        book.put("2026-03-01T12:00:00Z", None, Body::ServiceStart(start));
        let change = ConfigurationChange { sha256: "00".to_owned(), toml: CONFIGURATION.to_owned() };
        book.put("2026-03-01T12:00:00Z", None, Body::ConfigurationChange(change));
        book
    }

    fn put(&mut self, recorded: &str, machine: Option<&str>, body: Body) -> u64 {
        self.records.push(Record::new(at(recorded), machine.map(str::to_owned), body));
        self.records.len() as u64 - 1
    }

    /// A cycle whose rinse starts then, recorded after so many seconds.
    fn cycle(&mut self, started: &str, after_s: u64, verdict: Verdict, rinse_min_c: f64) -> u64 {
        let second = std::time::Duration::from_secs;
        let rinse_started = at(started);
        let reasons = match verdict {
            Verdict::Cold => vec![Reason::RinseBelowLimit { measured_c: rinse_min_c, limit_c: 82.2 }],
            Verdict::Brief | Verdict::Weak | Verdict::Unproven | Verdict::Narrow | Verdict::Pass => {
                Vec::new()
            }
        };
        let cycle = Cycle {
            started: rinse_started.minus(second(45)),
            rinse_started,
            rinse_ended: rinse_started.plus(second(12)),
            received: rinse_started.plus(second(13)),
            findings: Vec::new(),
            settled_after_s: (verdict != Verdict::Cold).then_some(3.5),
            trace_sha256: Some("11".to_owned()),
            ..samples::cycle(0, verdict, rinse_min_c, reasons)
        };
        let recorded = cycle.rinse_ended.plus(second(after_s));
        self.records.push(Record::new(recorded, Some("dm1".to_owned()), Body::Cycle(Box::new(cycle))));
        self.cycles.push(self.records.len() as u64 - 1);
        self.records.len() as u64 - 1
    }

    fn account(&self, question: Question) -> Account {
        self.account_without(Vec::new(), question)
    }

    /// The same where these records cannot be read; in their places stand others that say nothing.
    fn account_without(&self, missed: Vec<Missed>, question: Question) -> Account {
        let mut builder = Builder::new(question);
        builder.missing(missed);
        let reading = TraceReading { at: at("2026-03-03T15:00:00Z"), celsius: Celsius(75.0) };
        let mut trace = |_| Some(Trace { rinse: vec![reading], wash: Vec::new() });
        for (index, record) in (0..).zip(&self.records) {
            if !self.cycles.contains(&index) {
                builder.take(index, record, &mut trace);
            }
        }
        let mut cycles: Vec<u64> = self.cycles.clone();
        cycles.sort_by_key(|index| self.records[usize::try_from(*index).expect("small")].recorded);
        for index in cycles {
            builder.take(index, &self.records[usize::try_from(index).expect("small")], &mut trace);
        }
        let alive = Some(at("2026-03-20T00:00:00Z"));
        builder.finish(RecordRange { from: 0, to: self.records.len() as u64 }, alive, None)
    }
}

fn machine<'a>(account: &'a Account, name: &str) -> &'a MachineAccount {
    account.machines.iter().find(|machine| machine.machine == name).expect("it is there")
}

// Opening hours: four on each of six days, and from 01:00 to 05:00 on the Sunday that lacks an
// hour: three.
#[test]
fn a_week_with_a_day_of_23_hours() {
    let mut book = Book::new();
    for (hour, settled_c) in [(15, 84.0), (16, 86.0), (17, 85.0)] {
        book.cycle(&format!("2026-03-03T{hour}:00:00Z"), 5, Verdict::Pass, settled_c);
    }
    // 23:30 on Saturday and 00:30 on Sunday by the clock on the wall, both on 8 March in UTC.
    book.cycle("2026-03-08T04:30:00Z", 5, Verdict::Pass, 84.5);
    book.cycle("2026-03-08T05:30:00Z", 5, Verdict::Narrow, 82.9);
    // The first instant after the week, and the last one before it.
    book.cycle("2026-03-09T04:00:00Z", 5, Verdict::Cold, 60.0);
    book.cycle("2026-03-02T04:59:59Z", 5, Verdict::Cold, 60.0);
    let account = book.account(question());
    let own = machine(&account, "dm1");
    assert_eq!(own.counts, Counts { narrow: 1, pass: 4, ..Counts::default() });
    assert_eq!((own.rinse_min_c, own.rinse_median_c), (Some(82.9), Some(84.5)));
    let days: Vec<_> = own.days.iter().map(|day| (day.day, day.counts.total(), day.operating_s)).collect();
    let four_h = 4.0 * 3_600.0;
    assert_eq!(
        days,
        [
            (date(2026, 3, 2), 0, four_h),
            (date(2026, 3, 3), 3, four_h),
            (date(2026, 3, 4), 0, four_h),
            (date(2026, 3, 5), 0, four_h),
            (date(2026, 3, 6), 0, four_h),
            (date(2026, 3, 7), 1, four_h),
            (date(2026, 3, 8), 1, 3.0 * 3_600.0),
        ]
    );
    let tuesday = &own.days[1];
    assert_eq!((tuesday.rinse_min_c, tuesday.rinse_median_c), (Some(84.0), Some(85.0)));
    assert_eq!(tuesday.minima[1], (11 * 3_600, 86.0, 5), "11:00 by the clock, a pass");
    assert_eq!(own.days[6].minima[0], (1_800, 82.9, 4), "half an hour after midnight, narrow");
    assert_eq!((own.operating_s, own.monitored_s), (27.0 * 3_600.0, 27.0 * 3_600.0));
    let only: Vec<&str> = account.machines.iter().map(|machine| machine.machine.as_str()).collect();
    assert_eq!(only, ["dm1", "glass"], "a machine that washed nothing is in the account too");
    assert_eq!(machine(&account, "glass").counts.total(), 0);
    assert_eq!(own.exceptions.len(), 1, "the narrow one");
}

// Half an hour inside the opening hours of Tuesday, a stop of 15 min on Wednesday, and a gap at
// night that costs nothing; a gap that was filled is not watched either, and told apart.
#[test]
fn what_was_not_watched_is_named() {
    let mut book = Book::new();
    let gap = |from: &str, to: Option<&str>, filled| {
        let (from, to) = (at(from), to.map(at));
        Body::Gap(Gap { probe: "dm1/rinse".to_owned(), fault: Fault::Silent, from, to, filled })
    };
    book.put("2026-03-03T16:00:10Z", Some("dm1"), gap("2026-03-03T16:00:00Z", None, false));
    let end = Some("2026-03-03T16:30:00Z");
    book.put("2026-03-03T16:30:10Z", Some("dm1"), gap("2026-03-03T16:00:00Z", end, false));
    let end = Some("2026-03-04T09:00:00Z");
    book.put("2026-03-04T09:00:10Z", Some("dm1"), gap("2026-03-04T08:00:00Z", end, false));
    let start = ServiceStart {
        version: "0.1.0".to_owned(),
        last_record: Some(at("2026-03-04T17:00:00Z")),
        after_clean_stop: false,
        from_file: false,
        replayed: 7,
    };
    book.put("2026-03-04T17:15:00Z", None, Body::ServiceStart(start));
    let end = Some("2026-03-05T16:10:00Z");
    book.put("2026-03-05T18:00:00Z", Some("dm1"), gap("2026-03-05T16:00:00Z", end, true));
    let account = book.account(question());
    let own = machine(&account, "dm1");
    let gaps: Vec<_> = own.gaps.iter().map(|gap| (gap.probe.as_deref(), gap.from, gap.filled)).collect();
    assert_eq!(
        gaps,
        [
            (Some("dm1/rinse"), at("2026-03-03T16:00:00Z"), false),
            (Some("dm1/rinse"), at("2026-03-04T08:00:00Z"), false),
            (None, at("2026-03-04T17:00:00Z"), false),
            (Some("dm1/rinse"), at("2026-03-05T16:00:00Z"), true),
        ]
    );
    let missing: Vec<f64> = own.days.iter().map(|day| day.operating_s - day.monitored_s).collect();
    assert_eq!(missing, [0.0, 1_800.0, 900.0, 600.0, 0.0, 0.0, 0.0]);
    let missing_s = |own: &MachineAccount| own.operating_s - own.monitored_s;
    assert!((missing_s(own) - 3_300.0).abs() < 1e-6, "{}", missing_s(own));
    let other = machine(&account, "glass");
    assert!((missing_s(other) - 900.0).abs() < 1e-6, "the service was down for all");
    assert!(account.service.iter().any(|event| event.kind == "service-start"));
}

#[test]
fn an_exception_has_its_trace_its_alert_and_what_was_said_of_it() {
    let mut book = Book::new();
    let cold = book.cycle("2026-03-03T15:00:00Z", 5, Verdict::Cold, 75.0);
    let second = book.cycle("2026-03-03T15:02:00Z", 5, Verdict::Cold, 71.0);
    let good = book.cycle("2026-03-03T15:10:00Z", 5, Verdict::Pass, 84.0);
    let late = book.cycle("2026-03-03T15:12:00Z", 3_601, Verdict::Pass, 84.0);
    let alert = AlertNumber(7);
    let raised = AlertRaised {
        alert,
        condition: Condition::Cold,
        since: at("2026-03-03T15:00:12Z"),
        place: None,
        measured: Some(Quantity::Celsius(75.0)),
        limit: Some(Quantity::Celsius(82.2)),
        pattern: None,
        about: Vec::new(),
        cause: Some(cold),
        last_good: None,
        earlier: None,
        missed: None,
    };
    let own = Some("dm1");
    book.put("2026-03-03T15:00:14Z", own, Body::AlertRaised(Box::new(raised)));
    let changed = AlertChanged {
        // The worst rack is told by its own record alone.
        racks: 2,
        ..AlertChanged::new(alert, Change::Grew)
    };
    book.put("2026-03-03T15:02:14Z", own, Body::AlertChanged(changed));
    let taken = AlertAcknowledged { alert, by: "Ana".to_owned(), via: "link".to_owned(), note: None };
    book.put("2026-03-03T15:03:00Z", own, Body::AlertAcknowledged(taken));
    let cleared = AlertCleared {
        alert,
        clearing: Clearing::Recovered,
        racks: 2,
        worst: None,
        limit: None,
        cause: Some(good),
    };
    book.put("2026-03-03T15:10:20Z", own, Body::AlertCleared(cleared));
    let action = CorrectiveAction {
        alert,
        by: "Ana".to_owned(),
        racks: "rewashed".to_owned(),
        done: "booster reset".to_owned(),
        last_good: None,
        covers: Some(2),
    };
    let acted = book.put("2026-03-03T16:00:00Z", own, Body::CorrectiveAction(action));
    let closed = AlertClosed { alert, racks: 2, needed_action: true };
    book.put("2026-03-03T16:30:00Z", own, Body::AlertClosed(closed));
    let comment = Amendment {
        of: cold,
        reason: "door was open".to_owned(),
        by: "Tom".to_owned(),
        change: AmendmentChange::Comment,
    };
    // Said weeks later, and still to be read beside the cycle.
    let said = book.put("2026-03-15T12:00:00Z", own, Body::Amendment(Box::new(comment)));
    let account = book.account(question());
    let machine = machine(&account, "dm1");
    let told: Vec<_> = machine
        .exceptions
        .iter()
        .map(|told| (told.index, told.trace.is_some(), told.alerts.as_slice(), told.amendments.as_slice()))
        .collect();
    assert_eq!(told, [(cold, true, &[7][..], &[said][..]), (second, true, &[7][..], &[][..])]);
    assert_eq!(machine.days[1].late, 1, "{late} came an hour and a second late");
    assert_eq!(account.remarks.len(), 1);
    let alert = &account.alerts[0];
    assert_eq!(alert.since, at("2026-03-03T15:00:00Z"), "when the final rinse of its first rack began");
    assert_eq!(alert.measured, Some(Quantity::Celsius(71.0)), "the worst");
    assert_eq!(alert.acknowledged, Some(("Ana".to_owned(), at("2026-03-03T15:03:00Z"))));
    let actions: Vec<_> = alert.actions.iter().map(|action| (action.index, action.covers)).collect();
    assert_eq!(actions, [(acted, Some(2))]);
    assert_eq!(alert.racks_outside, 0);
    let half = Question { from: at("2026-03-03T15:01:00Z"), ..question() };
    let half = book.account(half).alerts[0].clone();
    assert_eq!((half.racks, half.racks_outside), (2, 1), "the first rack was before the span");
    let before = super::AlertAccount { closed: None, ..alert.clone() };
    assert!(!alert.action_missing() && !before.action_missing());
    let later = super::AlertAccount { racks: 4, ..before.clone() };
    assert_eq!((later.uncovered(), later.action_missing()), (2, true), "two came after it");
    let mut older = later.clone();
    older.actions[0].covers = None;
    assert!(!older.action_missing(), "of before the record said for how many");
    let closed = super::AlertAccount { closed: Some(at("2026-03-03T16:30:00Z")), ..later };
    assert_eq!(closed.uncovered(), 0, "it does not close before");
    assert_eq!((alert.racks, alert.closed), (2, Some(at("2026-03-03T16:30:00Z"))));
    assert_eq!(machine.counts, Counts { cold: 2, pass: 2, ..Counts::default() });
}

// 25 mg/L is the lowest of Food Code 4-501.114, 200 mg/L the highest of 40 CFR 180.940; the site permits less
// later on, without another limit changing.
#[test]
fn a_chemical_machine_tells_the_concentrations_that_it_was_judged_by() {
    let mut book = Book::new();
    let chlorine = |more: &str| {
        let own = format!("sanitizing = \"chlorine\"\n{more}probes = [\"wash\"]\n");
        let toml = CONFIGURATION.replace("probes = [\"wash\"]\n", &own);
        Body::ConfigurationChange(ConfigurationChange { sha256: "01".to_owned(), toml })
    };
    book.put("2026-03-02T12:00:00Z", None, chlorine(""));
    let first = "2026-03-03T15:00:00Z";
    book.cycle(first, 2, Verdict::Pass, 84.0);
    book.put("2026-03-05T12:00:00Z", None, chlorine("chlorine-max-mg-per-l = 150\n"));
    book.cycle("2026-03-06T15:00:00Z", 2, Verdict::Pass, 84.0);
    let told = |account: Account| {
        let machine = account.machines.into_iter().find(|machine| machine.machine == "dm1").expect("dm1");
        machine.limits.iter().map(|l| (l.since, l.concentration_mg_per_l)).collect::<Vec<_>>()
    };
    let changed = at("2026-03-05T12:00:00Z");
    assert_eq!(
        told(book.account(question())),
        [(at(first), Some([25.0, 200.0])), (changed, Some([25.0, 150.0]))]
    );
    let mut hot = Book::new();
    hot.cycle(first, 2, Verdict::Pass, 84.0);
    assert_eq!(told(hot.account(question())), [(at(first), None)], "hot water has none");
}

#[test]
fn spans_without_anything() {
    let book = Book::new();
    let empty = book.account(question());
    assert_eq!(empty.machines.len(), 2);
    assert!(empty.machines.iter().all(|own| own.counts.total() == 0 && own.rinse_min_c.is_none()));
    assert!(empty.alerts.is_empty() && empty.checks.is_empty() && empty.damaged.is_empty());
    let future = Question { from: at("2027-01-01T00:00:00Z"), to: at("2027-02-01T00:00:00Z"), ..question() };
    let future = book.account(future);
    assert!(future.machines.iter().all(|own| own.operating_s == 0.0 && own.days.is_empty()));
    let before = Question { from: at("2020-01-01T00:00:00Z"), to: at("2020-02-01T00:00:00Z"), ..question() };
    assert!(book.account(before).machines.is_empty(), "no machine was configured then");
}

#[test]
fn damage_is_named() {
    let mut builder = Builder::new(question());
    for index in [9, 4, 9] {
        builder.damaged(index);
    }
    assert_eq!(builder.finish(RecordRange { from: 0, to: 10 }, None, None).damaged, [4, 9]);
}

// Ten racks a day two minutes apart, warming to the limit in 3 s on the first days and in 6 s on
// the last; the first rack of each day belongs to no rush.
#[test]
fn the_rush_of_each_day_tells_how_the_booster_recovers() {
    let mut book = Book::new();
    for day in 2..=8 {
        for rack in 0..10 {
            let index = book.cycle(&format!("2026-03-0{day}T16:{:02}:00Z", 2 * rack), 5, Verdict::Pass, 84.0);
            let record = &mut book.records[usize::try_from(index).expect("small")];
            if let Body::Cycle(cycle) = &mut record.body {
                cycle.settled_after_s = Some(if day < 6 { 3.0 } else { 6.0 });
            }
        }
    }
    let account = book.account(question());
    let own = machine(&account, "dm1");
    let medians: Vec<_> = own.days.iter().filter_map(|day| day.recovery_s).collect();
    assert_eq!(medians, [3.0, 3.0, 3.0, 3.0, 6.0, 6.0, 6.0]);
    assert_eq!((own.drift.recovery_first_s, own.drift.recovery_last_s), (Some(3.0), Some(6.0)));
}

// What the account cannot hold one by one is counted: a bad rack finds room where 20,000 in
// doubt have come before.
#[test]
fn memory_is_bounded_and_doubt_hides_nothing_cold() {
    let mut book = Book::new();
    let cold = book.cycle("2026-03-08T15:00:00Z", 5, Verdict::Cold, 70.0);
    let doubt = book.cycle("2026-03-03T15:00:00Z", 5, Verdict::Unproven, 84.0);
    let record = |index: u64| &book.records[usize::try_from(index).expect("small")];
    let mut builder = Builder::new(question());
    let mut traces = 0;
    let mut trace = |_| {
        traces += 1;
        Some(Trace::default())
    };
    let doubtful = build::EXCEPTIONS_MAX as u64 + 5;
    for _ in 0..doubtful {
        builder.take(doubt, record(doubt), &mut trace);
    }
    builder.take(cold, record(cold), &mut trace);
    let account = builder.finish(RecordRange { from: 0, to: 4 }, None, None);
    let own = &account.machines[0];
    assert_eq!(own.counts, Counts { cold: 1, unproven: doubtful, ..Counts::default() });
    assert_eq!(own.exceptions.len(), build::EXCEPTIONS_MAX + 1);
    assert_eq!(own.exceptions_left_out, Counts { unproven: 5, ..Counts::default() });
    assert!(own.exceptions.last().is_some_and(|told| told.index == cold && told.trace.is_some()));
    assert_eq!(traces, build::TRACES_MAX + 1);
    assert_eq!(account.traces_left_out, (build::EXCEPTIONS_MAX - build::TRACES_MAX) as u64);
}

// Own rule: a machine counts what its days count together, racks of work among them.
#[test]
fn a_machine_counts_what_its_days_count() {
    let mut book = Book::new();
    for (day, verdict) in [(3, Verdict::Unproven), (3, Verdict::Pass), (4, Verdict::Unproven)] {
        let rack = book.cycle(&format!("2026-03-0{day}T15:00:00Z"), 5, verdict, 84.0);
        let body = &mut book.records[usize::try_from(rack).expect("small")].body;
        if let (Verdict::Unproven, Body::Cycle(cycle)) = (verdict, body) {
            cycle.reasons = vec![Reason::WorkedOn];
        }
    }
    let account = book.account(question());
    let own = machine(&account, "dm1");
    let days = own.days.iter().fold(Counts::default(), |sum, day| sum.plus(day.counts));
    assert_eq!(days, Counts { unproven: 2, worked_on: 2, pass: 1, ..Counts::default() });
    assert_eq!(own.counts, days);
}

#[test]
fn an_account_reads_back_from_its_json() {
    let mut book = Book::new();
    book.cycle("2026-03-03T15:00:00Z", 5, Verdict::Cold, 75.0);
    let account = book.account(question());
    let json = serde_json::to_string(&account).expect("it has a JSON form");
    let read: Account = serde_json::from_str(&json).expect("its own JSON");
    assert_eq!(read, account);
}
