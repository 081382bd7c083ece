// The rules are this module's own, stated at its head and at each function.

use super::*;
use crate::core::record::{Gap, ServiceStart, ServiceStop, StopCause};

const HOUR_S: f64 = 3_600.0;

/// Hours after 2026-01-01T00:00:00Z.
fn at(hours: f64) -> Timestamp {
    Timestamp::from_seconds(1_767_225_600.0 + hours * HOUR_S).expect("a time")
}

fn stretch(from: f64, to: f64) -> Stretch {
    Stretch { from: at(from), to: at(to) }
}

fn blank(from: f64, to: Option<f64>, filled: bool) -> Blank {
    let (machine, probe) = (Some("dm1".to_owned()), Some("dm1/rinse".to_owned()));
    Blank { index: 0, machine, probe, fault: Some(Fault::Silent), from: at(from), to: to.map(at), filled }
}

// (operating, gaps as (from, to, filled), operating h, watched h, filled h) inside 0 to 24 h, worked by hand.
#[test]
fn time_is_counted_once() {
    type Row<'a> = (&'a [(f64, f64)], &'a [(f64, Option<f64>, bool)], f64, f64, f64);
    let rows: [Row<'_>; 8] = [
        (&[(0.0, 24.0)], &[], 24.0, 24.0, 0.0),
        (&[], &[(1.0, Some(2.0), false)], 0.0, 0.0, 0.0),
        (&[(8.0, 12.0), (11.0, 16.0)], &[], 8.0, 8.0, 0.0),
        // Two probes at once; one before opening; one that crosses closing time.
        (
            &[(8.0, 16.0)],
            &[
                (9.0, Some(10.0), false),
                (9.5, Some(11.0), false),
                (1.0, Some(8.5), false),
                (15.0, Some(20.0), false),
            ],
            8.0,
            4.5,
            0.0,
        ),
        (&[(8.0, 16.0)], &[(12.0, None, false)], 8.0, 4.0, 0.0),
        (&[(8.0, 16.0)], &[(9.0, Some(12.0), true)], 8.0, 5.0, 3.0),
        // What one probe fills the other does not.
        (&[(8.0, 16.0)], &[(9.0, Some(12.0), true), (10.0, Some(11.0), false)], 8.0, 5.0, 2.0),
        (&[(-5.0, 30.0)], &[(-9.0, Some(1.0), false), (23.0, Some(40.0), false)], 24.0, 22.0, 0.0),
    ];
    for (operating, gaps, operating_h, monitored_h, filled_h) in rows {
        let stretches: Vec<Stretch> = operating.iter().map(|(from, to)| stretch(*from, *to)).collect();
        let blanks: Vec<Blank> = gaps.iter().map(|(from, to, filled)| blank(*from, *to, *filled)).collect();
        let found = monitored(stretch(0.0, 24.0), &stretches, &blanks);
        let wanted = [operating_h, monitored_h, filled_h].map(|hours| hours * HOUR_S);
        let seen = [found.operating_s, found.monitored_s, found.filled_s];
        for (seen, wanted) in seen.into_iter().zip(wanted) {
            assert!((seen - wanted).abs() < 1e-6, "{operating:?} {gaps:?}: {found:?}");
        }
    }
    let closed = monitored(stretch(0.0, 24.0), &[], []);
    assert_eq!(closed.share(), None, "nothing to watch is no 0 %");
    assert_eq!([closed.operating_s, closed.monitored_s].map(f64::is_sign_negative), [false; 2], "no -0");
}

// Lengths of local days by the rules of the IANA time zone data base: daylight saving begins on
// 2026-03-08 in New York and on 2026-03-29 in Berlin, and ends on 2026-11-01 and 2026-10-25.
#[test]
fn a_day_is_as_long_as_the_clock_at_the_wall_makes_it() {
    for (zone, date, hours) in [
        ("America/New_York", "2026-03-07", 24.0),
        ("America/New_York", "2026-03-08", 23.0),
        ("America/New_York", "2026-11-01", 25.0),
        ("Europe/Berlin", "2026-03-29", 23.0),
        ("Europe/Berlin", "2026-10-25", 25.0),
    ] {
        let zone = TimeZone::get(zone).expect("the zone data base is built in");
        let date: jiff::civil::Date = date.parse().expect("a date");
        let (_, stretch) = day(&zone, date).expect("a day");
        assert!((length_s(&stretch) - hours * HOUR_S).abs() < 1e-6, "{date}");
        let inside = Stretch { from: stretch.from.plus(Duration::from_secs(1)), to: stretch.to };
        assert_eq!(days(&zone, inside), [(date, stretch)]);
        let more = Stretch { to: stretch.to.plus(Duration::from_secs(1)), ..stretch };
        assert_eq!(days(&zone, more).len(), 2);
    }
}

fn gap(probe: &str, fault: Fault, from: f64, to: Option<f64>, filled: bool) -> Record {
    let gap = Gap { probe: probe.to_owned(), fault, from: at(from), to: to.map(at), filled };
    Record::new(at(to.unwrap_or(from)), Some("dm1".to_owned()), Body::Gap(gap))
}

type Told<'a> = (Option<&'a str>, Option<Fault>, f64, Option<f64>, u64);

fn told(blanks: &[Blank]) -> Vec<Told<'_>> {
    let hours = |at: Timestamp| at.seconds() / HOUR_S - 1_767_225_600.0 / HOUR_S;
    blanks
        .iter()
        .map(|blank| {
            (blank.probe.as_deref(), blank.fault, hours(blank.from), blank.to.map(hours), blank.index)
        })
        .collect()
}

#[test]
fn an_open_gap_ends_with_its_closing_record() {
    let mut blanks = Blanks::default();
    let records = [
        gap("dm1/rinse", Fault::Silent, 1.0, None, false),
        gap("dm1/wash", Fault::Stuck, 2.0, None, false),
        // The same gap under another cause, then its end.
        gap("dm1/rinse", Fault::OpenCircuit, 1.0, None, false),
        gap("dm1/rinse", Fault::OpenCircuit, 1.0, Some(3.0), false),
        // Seen only when it was over.
        gap("dm1/rinse", Fault::Silent, 5.0, Some(6.0), true),
    ];
    (0..).zip(&records).for_each(|(index, record)| blanks.note(index, record));
    let mut retired = blanks.clone();
    assert_eq!(
        told(&blanks.finish(None, at(9.0))),
        [
            (Some("dm1/rinse"), Some(Fault::OpenCircuit), 1.0, Some(3.0), 3),
            (Some("dm1/wash"), Some(Fault::Stuck), 2.0, None, 1),
            (Some("dm1/rinse"), Some(Fault::Silent), 5.0, Some(6.0), 4),
        ]
    );
    retired.configured(at(8.0), |probe| probe != "dm1/wash");
    assert_eq!(told(&retired.finish(None, at(9.0)))[1].3, Some(8.0));
}

#[test]
fn the_service_is_down_from_its_last_record_to_its_next_start() {
    let start = |hours, last: Option<f64>| {
        let body = ServiceStart {
            version: "1".to_owned(),
            last_record: last.map(at),
            after_clean_stop: true,
            from_file: false,
            replayed: 0,
        };
        Record::new(at(hours), None, Body::ServiceStart(body))
    };
    let stop =
        |hours| Record::new(at(hours), None, Body::ServiceStop(ServiceStop { cause: StopCause::Signal }));
    let run = |records: &[Record], last, now| {
        let mut blanks = Blanks::default();
        (0..).zip(records).for_each(|(index, record)| blanks.note(index, record));
        let blanks = blanks.finish(last, at(now));
        told(&blanks).into_iter().map(|blank| (blank.2, blank.3)).collect::<Vec<_>>()
    };
    let began = [start(0.0, None), stop(1.0), start(2.0, Some(1.0)), start(4.0, Some(3.0))];
    assert_eq!(run(&began, Some((3, at(4.0))), 4.1), [(1.0, Some(2.0)), (3.0, Some(4.0))]);
    assert_eq!(run(&began[..2], Some((1, at(1.0))), 1.01), [(1.0, None)], "a stop is one at once");
    assert_eq!(run(&began[..1], Some((0, at(0.5))), 0.6), []);
    assert_eq!(run(&began[..1], Some((0, at(0.5))), 1.5), [(0.5, None)], "killed and not back");
}
