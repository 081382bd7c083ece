//! Lists of racks that tell which are in doubt, from a ledger on the disk.

use std::path::Path;
use std::sync::Arc;

use jiff::tz::TimeZone;
use serde_json::Value;

use super::super::glances;
use super::super::histories::{Around, Sought, gathered};
use super::{doubting, doubts, of};
use crate::app::amended::Amended;
use crate::app::fixture::{CHEMICAL, CONFIGURATION, at, ledger, opening};
use crate::app::history::{self, Asked, Kept};
use crate::cli::{FormArgs, HistoryArgs, Judged, Show};
use crate::config::recorded::Recorded;
use crate::core::alert::hours::Stretch;
use crate::core::alert::{AlertNumber, ByProbe, Condition, Earlier, Rack, Racks};
use crate::core::channel::Place;
use crate::core::cycle::verdict::Verdict;
use crate::core::record::{AlertCleared, AlertRaised, Body, Clearing};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;
use crate::ledger::{NewRecord, ReadOn, Reader};
use crate::report::row::samples::cycle;
use crate::web::history::{
    DayLine, Doubted, Found, HistoryLine, LINES_MAX, Listed, Page, Question, Summed, View,
};

fn found(reader: &Reader, question: Question, minute: u64) -> Found {
    let settings = Recorded::read(CONFIGURATION).expect("a sound configuration").settings;
    let sought = Sought::new(question, &TimeZone::UTC);
    let (path, doubts) = (Path::new("ledger.sqlite"), doubts(reader));
    let around = Around {
        ledger: reader,
        path,
        settings: &settings,
        now: at(minute),
        doubts: &doubts,
        kept: &Kept::default(),
        amended: &Amended::whole(reader).expect("the amendments"),
    };
    gathered(&sought, around).expect("gathered").expect("a page").found
}

pub(super) fn list(reader: &Reader, question: Question) -> Listed<HistoryLine> {
    let Found::Lines(list) = found(reader, question, 1) else { panic!("lines") };
    list
}

/// Every rack that is listed, page by page, with the alerts that put it in doubt, the newest first.
pub(super) fn listed(reader: &Reader, question: &Question) -> Vec<(u64, Vec<u64>)> {
    let (mut racks, mut page) = (Vec::new(), Page::Newest);
    loop {
        let list = list(reader, Question { page, ..question.clone() });
        assert!(list.lines.len() <= LINES_MAX);
        for line in list.lines {
            let HistoryLine::Rack { rack, .. } = line else { panic!("a rack: {line:?}") };
            racks.push((rack.record, rack.in_doubt_by));
        }
        let Some(older) = list.older else { return racks };
        page = Page::Older(older);
    }
}

fn days(reader: &Reader, minute: u64) -> Vec<DayLine> {
    let Found::Days { days, .. } = found(reader, Question::all(View::Days), minute) else { panic!("days") };
    days
}

fn summed(reader: &Reader, minute: u64) -> Summed {
    let Found::Summary(Some(summed)) = found(reader, Question::all(View::Summary), minute) else {
        panic!("a sum")
    };
    *summed
}

/// Every list agrees with what the page of each rack says.
pub(super) fn agree(reader: &Reader, racks: &[u64], minute: u64) {
    let own: Vec<(u64, Vec<u64>)> = racks.iter().rev().map(|rack| (*rack, doubting(reader, *rack))).collect();
    assert_eq!(listed(reader, &Question::all(View::Racks)), own);
    let doubted: Vec<(u64, Vec<u64>)> = own.into_iter().filter(|(_, by)| !by.is_empty()).collect();
    assert_eq!(listed(reader, &Question { in_doubt: true, ..Question::all(View::Racks) }), doubted);
    let Found::Lines(page) = found(reader, Question { in_doubt: true, ..Question::all(View::Racks) }, minute)
    else {
        panic!("racks")
    };
    assert_eq!(page.hits.map(|hits| (hits.count, hits.more)), Some((doubted.len() as u64, false)));
    let counted = |doubted: Doubted| if doubted.more { panic!("few") } else { doubted.count };
    let all_days: u64 = days(reader, minute).iter().map(|day| counted(day.doubted)).sum();
    assert_eq!(all_days, doubted.len() as u64);
    if !racks.is_empty() {
        let sums: u64 = summed(reader, minute).machines.iter().map(|sum| counted(sum.doubted)).sum();
        assert_eq!(sums, doubted.len() as u64);
    }
}

/// The rows of the command and of the interface for programs.
pub(super) fn rows(reader: &Reader, arguments: HistoryArgs) -> Vec<Value> {
    let text = printed(reader, &HistoryArgs { form: FormArgs { json: true, csv: false }, ..arguments });
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

/// What the command prints.
pub(super) fn printed(reader: &Reader, arguments: &HistoryArgs) -> String {
    let settings = Recorded::read(CONFIGURATION).expect("a sound configuration").settings;
    let (doubts, kept) = (Arc::new(doubts(reader)), Kept::default());
    let asked = Asked { arguments, from: None, to: None, now: at(5_000), doubts, kept };
    let (bytes, damaged) = history::told(reader, Path::new("ledger.sqlite"), &settings, &asked)
        .unwrap_or_else(|_| panic!("told"));
    assert!(damaged.is_empty());
    String::from_utf8(bytes).expect("text")
}

// Regression: programs were told of racks in doubt as of plain passes: no list counted them, and none was of them alone.
// Own promise: they are counted as on the pages, and given page by page, each once, also beside those of a verdict; what
// is not counted to its end is not said.
#[test]
fn programs_are_told_of_racks_in_doubt() {
    let show = |show| HistoryArgs { show, ..HistoryArgs::default() };
    let sums = |reader: &Reader, of| -> Vec<Value> {
        rows(reader, show(of)).into_iter().map(|row| row["in_doubt"].clone()).collect()
    };
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 40);
    records.push(weak(1, first, last, 400));
    let (cold, _) = passed(&mut records, 1);
    let mut bad = cycle(cold * 60, Verdict::Cold, 70.0, Vec::new());
    bad.rinse_min_c = Some(70.0);
    records[usize::try_from(cold).expect("few")] = of("dm1", at(cold), Body::Cycle(Box::new(bad)));
    passed(&mut records, 30);
    with(records.clone(), |reader| {
        let counted = |of| sums(reader, of).iter().filter_map(Value::as_u64).sum::<u64>();
        assert_eq!((counted(Show::Days), counted(Show::Summary)), (40, 40));
        let of_alert =
            |judged| rows(reader, HistoryArgs { alert: Some(1), judged, ..show(Show::Cycles) }).len();
        assert_eq!(
            [vec![], vec![Judged::InDoubt], vec![Judged::As(Verdict::Cold)]].map(of_alert),
            [40, 40, 0]
        );
        for (verdicts, expected) in [
            (vec![], (first..=last).collect::<Vec<u64>>()),
            (vec![Verdict::Cold], (first..=last).chain([cold]).collect()),
        ] {
            for newest_first in [false, true] {
                let (mut given, mut after) = (Vec::new(), None);
                loop {
                    let asked = HistoryArgs {
                        judged: verdicts.iter().copied().map(Judged::As).chain([Judged::InDoubt]).collect(),
                        newest_first,
                        oldest: !newest_first,
                        limit: Some(7),
                        after,
                        ..show(Show::Cycles)
                    };
                    let page = rows(reader, asked);
                    assert!(page.len() <= 7, "{page:?}");
                    let indices = page.iter().filter_map(|row| row["ledger_index"].as_u64());
                    given.extend(indices);
                    if page.is_empty() {
                        break;
                    }
                    after = given.last().copied();
                }
                if newest_first {
                    given.reverse();
                }
                assert_eq!(given, expected, "{verdicts:?} {newest_first}");
            }
        }
    });
    let (from, to) = passed(&mut records, 150);
    records.push(weak(2, from, to, 4_000));
    with(records, |reader| {
        assert_eq!(sums(reader, Show::Summary), [Value::Null, 0.into()]);
        assert!(sums(reader, Show::Days).contains(&Value::Null), "not counted to its end");
    });
}

// Regression: among all records, and by itself, a test of the sanitizer that failed read like one that was good, and
// nothing said which limit it missed. 25 mg/L: FDA Food Code 4-501.114(A).
#[test]
fn a_failed_test_is_told_as_such_among_the_records() {
    let mut records = opening(CHEMICAL);
    for (minute, mg_per_l) in [(10, 100.0), (20, 10.0)] {
        let (ph, solution_c, method, by) = (None, None, None, "Ana".to_owned());
        let check =
            crate::core::record::Check::Sanitizer { at: at(minute), mg_per_l, ph, solution_c, method, by };
        records.push(of("dm1", at(minute), Body::Check(check)));
    }
    with(records, |reader| {
        let list = rows(reader, HistoryArgs { show: Show::Records, ..HistoryArgs::default() });
        let said = list.iter().filter(|row| row["kind"] == "check").filter_map(|row| row["said"].as_str());
        let said: Vec<&str> = said.collect();
        let failed = "FAILED: sanitizer 10 mg/L (at least 25 mg/L) by Ana";
        assert_eq!(said, ["sanitizer 100 mg/L by Ana", failed]);
        let asked = |show, record| HistoryArgs { show, record, ..HistoryArgs::default() };
        let alone = rows(reader, asked(Show::Records, Some(3)));
        assert_eq!(alone[0]["said"], failed);
        let checks = rows(reader, asked(Show::Checks, None));
        let said: Vec<&str> = checks.iter().filter_map(|row| row["said"].as_str()).collect();
        assert_eq!(said, ["sanitizer 100 mg/L", "sanitizer 10 mg/L (at least 25 mg/L)"]);
    });
}

/// When the final rinse of a rack of [`passed`] started.
pub(super) fn cycle_start(minute: u64) -> Timestamp {
    cycle(minute * 60, Verdict::Pass, 85.0, Vec::new()).rinse_started
}

/// A strip that found the sanitizer outside its range after these racks had passed.
pub(super) fn weak(number: u64, first: u64, last: u64, minute: u64) -> NewRecord {
    let rack = |index| Rack { index, at: at(index), began: None };
    let racks = Racks { count: last - first + 1, named: vec![rack(first), rack(last)] };
    let raised = AlertRaised {
        earlier: Some(Earlier { racks, by_probe: None, beside: Racks::default() }),
        ..AlertRaised::new(AlertNumber(number), Condition::Weak, at(minute))
    };
    of("dm1", at(minute), Body::AlertRaised(Box::new(raised)))
}

pub(super) fn with<T>(records: Vec<NewRecord>, look: impl FnOnce(&Reader) -> T) -> T {
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    ledger(&path, records).close().expect("it closes");
    look(&Reader::open(&path).expect("a reader"))
}

pub(super) fn passed(records: &mut Vec<NewRecord>, count: u64) -> (u64, u64) {
    let first = records.len() as u64;
    for minute in first..first + count {
        let cycle = cycle(minute * 60, Verdict::Pass, 85.0, Vec::new());
        records.push(of("dm1", at(minute), Body::Cycle(Box::new(cycle))));
    }
    (first, first + count - 1)
}

// Own promise: racks in doubt are found however many were washed since, and page by page each once; a page looks
// through so many that fit and no more, and the next one goes on. What was withdrawn puts none in doubt.
#[test]
fn racks_in_doubt_are_listed_page_by_page() {
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 120);
    let (other, _) = passed(&mut records, 60);
    records.push(weak(1, first, last, 400));
    records.push(weak(2, other, other + 9, 401));
    let alert = AlertNumber(2);
    let cleared = AlertCleared {
        alert,
        clearing: Clearing::Withdrawn,
        racks: 0,
        worst: None,
        limit: None,
        cause: None,
    };
    records.push(of("dm1", at(402), Body::AlertCleared(cleared)));
    let since = passed(&mut records, 60);
    with(records, |reader| {
        let doubted = Question { in_doubt: true, ..Question::all(View::Racks) };
        let expected: Vec<(u64, Vec<u64>)> = (first..=last).rev().map(|rack| (rack, vec![1])).collect();
        assert_eq!(listed(reader, &doubted), expected);
        let by_alert = |alert| Question { alert: Some(alert), ..doubted.clone() };
        assert_eq!(listed(reader, &by_alert(1)), expected);
        assert!(listed(reader, &by_alert(2)).is_empty(), "withdrawn");
        // All racks of the alert are those, too.
        assert_eq!(listed(reader, &Question { alert: Some(1), ..Question::all(View::Racks) }), expected);
        // A page that is asked for from below holds the next newer ones.
        let newer = list(reader, Question { page: Page::Newer(first), ..doubted.clone() });
        let HistoryLine::Rack { rack, .. } = newer.lines.last().expect("a line") else { panic!("a rack") };
        assert_eq!((rack.record, newer.lines.len(), newer.cut), (first + 1, LINES_MAX, false));
        // Of a day only those that were washed on it.
        let of_day = |from: u64, to: u64| {
            let day = Stretch { from: cycle_start(from), to: cycle_start(to) };
            glances::doubted(reader, &doubts(reader), "dm1", day).expect("readable")
        };
        assert_eq!((of_day(first, 5_000), of_day(first + 100, last), of_day(last + 1, 5_000)), (120, 19, 0));
        let dm2 = Question { machine: Some("dm2".to_owned()), ..doubted.clone() };
        assert!(listed(reader, &dm2).is_empty());
        let racks: Vec<u64> = (first..=last).chain(other..other + 60).chain(since.0..=since.1).collect();
        agree(reader, &racks, 5_000);
    });
}

// Own promise: where more racks were looked through than one page may, it says so and leads on, and a number that was
// not counted to its end says that as well. Racks of another machine cost nothing.
#[test]
fn a_page_looks_through_so_many_racks_and_leads_on() {
    let mut records = opening(CONFIGURATION);
    let (first, _) = passed(&mut records, 2);
    for place in 0..2_200 {
        let minute = records.len() as u64;
        let (celsius, machine) = if place % 20 == 0 { (85.0, "dm2") } else { (95.0, "dm1") };
        let cycle = cycle(minute * 60, Verdict::Pass, celsius, Vec::new());
        records.push(of(machine, at(minute), Body::Cycle(Box::new(cycle))));
    }
    let (_, last) = passed(&mut records, 1);
    // Too much by less than the hot racks were above their limit.
    let limit_c = cycle(0, Verdict::Pass, 85.0, Vec::new()).limit_c;
    let within_k = Some(85.0 - limit_c + 1.0);
    let by_probe = Some(ByProbe { probe: "dm1/rinse".to_owned(), place: Place::FinalRinse, within_k });
    let rack = |index| Rack { index, at: at(index), began: None };
    let racks = Racks { count: 3, named: vec![rack(first), rack(last)] };
    let raised = AlertRaised {
        earlier: Some(Earlier { racks, by_probe, beside: Racks::default() }),
        about: vec!["dm1/rinse".to_owned()],
        ..AlertRaised::new(AlertNumber(1), Condition::ThermometerOff, at(3_000))
    };
    records.push(of("dm1", at(3_000), Body::AlertRaised(Box::new(raised))));
    with(records, |reader| {
        let doubted = Question { in_doubt: true, ..Question::all(View::Racks) };
        let newest = list(reader, doubted.clone());
        assert_eq!((newest.lines.len(), newest.cut), (1, true));
        let racks: Vec<u64> = listed(reader, &doubted).into_iter().map(|(rack, _)| rack).collect();
        assert_eq!(racks, [last, first + 1, first]);
        let sum = summed(reader, 3_010);
        let counted: Vec<(u64, bool)> =
            sum.machines.iter().map(|own| (own.doubted.count, own.doubted.more)).collect();
        assert_eq!(counted, [(1, true), (0, false)]);
        // The days before the one where the count ended may hold more, too.
        let days: Vec<(u64, bool)> = days(reader, 3_010)
            .iter()
            .filter(|day| day.machine == "dm1")
            .map(|day| (day.doubted.count, day.doubted.more))
            .collect();
        assert!(days.contains(&(0, true)), "{days:?}");
        assert_eq!(days.iter().map(|day| day.0).sum::<u64>(), 1, "{days:?}");
    });
}

// Own promise: of a machine that was given away while its alert was open each of its racks is found at once, however
// much others wash since; racks that are in no doubt are passed over so many a page, and the next page goes on.
#[test]
fn racks_of_a_machine_that_was_given_away_are_found_at_once() {
    let mut records = opening(CONFIGURATION);
    let (old, _) = passed(&mut records, 700);
    let by_probe = Some(ByProbe { probe: "dm1/rinse".to_owned(), place: Place::FinalRinse, within_k: None });
    let raised = AlertRaised {
        earlier: Some(Earlier { racks: Racks::default(), by_probe, beside: Racks::default() }),
        about: vec!["dm1/rinse".to_owned()],
        ..AlertRaised::new(AlertNumber(1), Condition::ThermometerOff, at(700))
    };
    records.push(of("dm1", at(700), Body::AlertRaised(Box::new(raised))));
    let (first, last) = passed(&mut records, 3);
    // One of the oldest, that came late.
    let late = records.len() as u64;
    let cycle_of = |minute: u64| cycle(minute * 60, Verdict::Pass, 85.0, Vec::new());
    records.push(of("dm1", at(late), Body::Cycle(Box::new(cycle_of(old)))));
    for _ in 0..700 {
        let minute = records.len() as u64;
        records.push(of("dm2", at(minute), Body::Cycle(Box::new(cycle_of(minute)))));
    }
    with(records, |reader| {
        let doubted = Question { in_doubt: true, ..Question::all(View::Racks) };
        let newest = list(reader, doubted.clone());
        let racks: Vec<u64> = newest
            .lines
            .iter()
            .map(|line| {
                let HistoryLine::Rack { rack, .. } = line else { panic!("a rack: {line:?}") };
                rack.record
            })
            .collect();
        assert_eq!((racks, newest.cut), ((first..=last).rev().collect(), true));
        let racks: Vec<u64> = listed(reader, &doubted).into_iter().map(|(rack, _)| rack).collect();
        assert_eq!(racks, [last, last - 1, first, late]);
    });
}

// Own promise: a rack of a span is found in doubt however long after its rinse it was recorded: in the list, on its day
// and in the sum.
#[test]
fn a_rack_that_came_a_quarter_late_is_in_doubt_in_its_span() {
    let mut records = opening(CONFIGURATION);
    let rinsed = records.len() as u64;
    let quarter = 92 * 24 * 60;
    let late = records.len() as u64;
    let cycle = cycle(rinsed * 60, Verdict::Pass, 85.0, Vec::new());
    records.push(of("dm1", at(quarter), Body::Cycle(Box::new(cycle))));
    records.push(weak(1, late, late, quarter + 1));
    with(records, |reader| {
        let day = local_date(&TimeZone::UTC, cycle_start(rinsed));
        let of_day = |view| Question { from: day, to: day, ..Question::all(view) };
        let doubted = Question { in_doubt: true, ..of_day(View::Racks) };
        assert_eq!(listed(reader, &doubted), [(late, vec![1])]);
        let one = Doubted { count: 1, more: false };
        let Found::Days { days, .. } = found(reader, of_day(View::Days), quarter + 2) else { panic!("days") };
        assert!(days.iter().any(|day| day.doubted == one), "{days:?}");
        let Found::Summary(Some(sum)) = found(reader, of_day(View::Summary), quarter + 2) else {
            panic!("a sum")
        };
        assert!(sum.machines.iter().any(|own| own.doubted == one), "{sum:?}");
    });
}
