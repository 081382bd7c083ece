//! Files as history: what nobody watched is judged once, late, and the rest is stored.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::Path;

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::record::{Body, CalibrationDone, Correction, Cycle, Import, Maintenance, Record};
use rinseward::core::time::Timestamp;
use rinseward::ledger::{Commit, Reader};

use super::{PIPE, json, kinds, records, say, whole};
use crate::crash::gateway::Gateway;
use crate::crash::kitchen::{Pack, Site, Stream, text};
use crate::ledger::fixture::{commit, open, plain};

/// A kitchen whose gateway hears parts of what its node measures.
struct Bench {
    site: Site,
    stream: Stream,
}

impl Bench {
    fn new(hours: f64) -> Self {
        Self { site: Site::new(1, PIPE), stream: Stream::of(1, hours, 21) }
    }

    /// The messages of a part of the stream, in hundredths of it.
    fn part(&self, from: usize, to: usize) -> &[Pack] {
        let all = self.stream.packs.len();
        &self.stream.packs[all * from / 100..all * to / 100]
    }

    /// A service hears them and ends in order.
    fn serve(&self, packs: &[Pack]) {
        let mut gateway = Gateway::start(&self.site, "");
        let mut pipe = gateway.pipe();
        for pack in packs {
            writeln!(pipe, "{}", pack.payload).expect("it reads");
        }
        drop(pipe);
        assert!(gateway.end().success());
    }

    /// A file of them.
    fn file(&self, name: &str, packs: &[Pack]) -> std::path::PathBuf {
        let path = self.site.path(name);
        let lines: Vec<&str> = packs.iter().map(|pack| pack.payload.as_str()).collect();
        fs::write(&path, lines.join("\n")).expect("a temporary file");
        path
    }

    fn import(&self, file: &Path) -> serde_json::Value {
        let configuration = self.site.configuration();
        json(&["import", text(file), "--by", "Ana", "--config", text(&configuration), "--json"])
    }

    /// The rinses on record, by their start; none may share time with another.
    fn cycles(&self) -> BTreeMap<i64, Cycle> {
        let mut cycles = BTreeMap::new();
        for record in records(&self.site.ledger()) {
            if let Body::Cycle(cycle) = record.body {
                let before = cycles.insert(cycle.rinse_started.micros(), *cycle);
                assert!(before.is_none(), "a rack is on record twice: {before:?}");
            }
        }
        let all: Vec<&Cycle> = cycles.values().collect();
        for pair in all.windows(2) {
            assert!(pair[0].rinse_ended < pair[1].rinse_started, "two rinses at one time: {pair:?}");
        }
        cycles
    }

    /// Every reading of the stream is on record once.
    fn check_readings(&self) {
        let reader = Reader::open(&self.site.ledger()).expect("a reader");
        for (channel, expected) in &self.stream.readings {
            let found = reader.readings(channel, Timestamp::MIN, Timestamp::MAX).expect("the readings");
            let found: Vec<i64> = found.iter().map(|reading| reading.at.micros()).collect();
            assert_eq!(found, expected.keys().copied().collect::<Vec<_>>(), "{channel}");
        }
    }
}

fn imports(path: &Path) -> Vec<Import> {
    let own = records(path).into_iter().filter_map(|record| match record.body {
        Body::Import(import) => Some(import),
        _ => None,
    });
    own.collect()
}

fn instant(cycle: &serde_json::Value, key: &str) -> i64 {
    cycle[key].as_str().and_then(|text| text.parse::<Timestamp>().ok()).expect("RFC 3339").micros()
}

// Own promises: racks that nobody watched are judged as an unbroken run judges them and show as
// late; those on record are not judged again; every reading is there once; the second import of
// one file is refused; the start after it judges nothing again.
#[test]
fn a_gap_is_judged_late_and_nothing_twice() {
    let bench = Bench::new(1.0);
    let ledger = bench.site.ledger();
    bench.serve(bench.part(0, 35));
    bench.serve(bench.part(70, 100));
    let heard = bench.cycles();
    let before = Timestamp::from_micros(bench.stream.start_micros);
    let all = bench.file("all.senml", bench.part(0, 100));
    let told = bench.import(&all);
    let readings = bench.stream.count() as u64;
    assert_eq!(told["readings"].as_u64(), Some(readings));
    let repeats = told["repeats"].as_u64().expect("a number");
    assert!(repeats > readings * 3 / 5 && repeats < readings * 7 / 10, "{repeats} of {readings}");
    bench.check_readings();

    let expected = bench.site.expected_cycles(&bench.stream);
    let found = bench.cycles();
    let (first, last) = (bench.part(35, 70)[0].after_micros, bench.part(70, 100)[0].after_micros);
    let missed = |cycle: &&serde_json::Value| {
        let start = instant(cycle, "rinse_started") - bench.stream.start_micros;
        let end = instant(cycle, "rinse_ended") - bench.stream.start_micros;
        first < start && end < last
    };
    let missed: Vec<_> = expected.iter().filter(missed).collect();
    assert!(missed.len() > 8, "{} racks in the gap", missed.len());
    for cycle in &missed {
        let own = found.get(&instant(cycle, "rinse_started")).unwrap_or_else(|| panic!("{cycle} is missing"));
        assert_eq!(cycle["verdict"], own.verdict.to_string(), "{own:?}");
        assert!(own.received > before, "it shows as late");
    }
    for (start, cycle) in &heard {
        assert_eq!(found.get(start), Some(cycle), "what was on record stays");
    }
    assert!(found.len() >= expected.len() && found.len() <= expected.len() + 2, "the seams have one each");
    let judged: u64 = told["judged"].as_object().expect("counts").values().filter_map(|n| n.as_u64()).sum();
    assert_eq!(judged, (found.len() - heard.len()) as u64);

    let reader = Reader::open(&ledger).expect("a reader");
    for (index, record) in (0..).zip(records(&ledger)) {
        if matches!(record.body, Body::Cycle(_)) {
            assert!(reader.trace(index).expect("no failure").is_some(), "each has its trace");
        }
    }
    let configuration = bench.site.configuration();
    let again = ["import", text(&all), "--by", "Ben", "--config", text(&configuration)];
    let (code, said) = say(&again);
    assert_eq!((code, said.contains("was imported on")), (Some(64), true), "{said}");
    assert_eq!(imports(&ledger).len(), 1);

    bench.serve(&[]);
    assert_eq!(bench.cycles(), found, "a new start judges nothing again");
    let start = records(&ledger).into_iter().rev().find_map(|record| match record.body {
        Body::ServiceStart(start) => Some(start),
        _ => None,
    });
    assert!(start.expect("a start").after_clean_stop, "an import is no broken run");
    whole(&ledger);
}

/// Large enough to be seen in every rack.
const OFFSET_C: f64 = -2.0;

/// Puts a calibration of the first machine on record, without a service.
fn calibrate(bench: &Bench, at: Timestamp) {
    let correction = |offset_c| Correction { gain: 1.0, offset_c };
    let done = CalibrationDone {
        probe: "dm1/rinse".to_owned(),
        at,
        points: Vec::new(),
        found: correction(0.0),
        left: correction(OFFSET_C),
        expanded_c: 0.3,
        until: None,
        note: None,
        by: "Eli".to_owned(),
    };
    let record = Record::new(at, Some("dm1".to_owned()), Body::Calibration(Box::new(done)));
    let (writer, _) = open(&bench.site.ledger());
    commit(&writer, Commit { records: vec![plain(record)], ..Commit::default() }).expect("a record");
}

/// That the racks which were not heard before are corrected where they followed the calibration, and only there.
fn check_corrected(bench: &Bench, calibrated: Timestamp, heard: &BTreeMap<i64, Cycle>) {
    let found = bench.cycles();
    let (mut before, mut after) = (0, 0);
    for cycle in bench.site.expected_cycles(&bench.stream) {
        let start = instant(&cycle, "rinse_started");
        let Some(own) = found.get(&start).filter(|_| !heard.contains_key(&start)) else { continue };
        let plain_c = cycle["rinse_min_c"].as_f64().expect("measured");
        let corrected_c = if own.rinse_ended < calibrated {
            before += 1;
            plain_c
        } else {
            after += 1;
            plain_c + OFFSET_C
        };
        let found_c = own.rinse_min_c.expect("measured");
        assert!((found_c - corrected_c).abs() < 0.3, "{found_c} °C, {corrected_c} °C: {own:?}");
    }
    assert!(before > 3 && after > 3, "{before} racks before it, {after} after");
}

// Own promise: what is judged late is corrected by the calibration that was in force when it was
// measured, as an unbroken run would have done.
#[test]
fn a_calibration_on_record_corrects_what_is_taken_over() {
    let bench = Bench::new(1.0);
    bench.serve(bench.part(0, 35));
    bench.serve(bench.part(70, 100));
    let calibrated = Timestamp::from_micros(bench.stream.start_micros + bench.part(52, 70)[0].after_micros);
    calibrate(&bench, calibrated);
    let heard = bench.cycles();
    bench.import(&bench.file("all.senml", bench.part(0, 100)));
    check_corrected(&bench, calibrated, &heard);
}

// Own promise: a rack that is judged late was made while somebody worked on the machine where the record says so of
// its time.
#[test]
fn racks_of_a_time_in_which_somebody_worked_are_taken_over_as_such() {
    let bench = Bench::new(1.0);
    bench.serve(bench.part(0, 35));
    bench.serve(bench.part(70, 100));
    let at = |part: usize| {
        Timestamp::from_micros(bench.stream.start_micros + bench.part(part, 100)[0].after_micros)
    };
    let (from, until) = (at(45), at(55));
    let by = Some("Eli".to_owned());
    let work = Maintenance { until, by, why: None, ended: false, begun: None, dialog: None, worked: vec![] };
    let (writer, _) = open(&bench.site.ledger());
    let records = vec![plain(Record::new(from, None, Body::Maintenance(work)))];
    commit(&writer, Commit { records, ..Commit::default() }).expect("a record");
    drop(writer);
    let heard = bench.cycles();
    bench.import(&bench.file("all.senml", bench.part(0, 100)));
    let mut marked = 0;
    for (start, cycle) in bench.cycles().into_iter().filter(|(start, _)| !heard.contains_key(start)) {
        let during = from <= cycle.rinse_ended && cycle.started <= until;
        assert_eq!(cycle.is_worked_on(), during, "{start}: {cycle:?}");
        assert_eq!(cycle.verdict == Verdict::Unproven, during, "{start}: {cycle:?}");
        marked += usize::from(during);
    }
    assert!(marked > 2, "{marked} racks");
}

// The same promise for a file that is replayed into a ledger, also where an earlier replay ended in the middle.
#[test]
fn a_calibration_on_record_corrects_what_is_replayed() {
    let bench = Bench::new(1.0);
    let calibrated = Timestamp::from_micros(bench.stream.start_micros + bench.part(50, 70)[0].after_micros);
    calibrate(&bench, calibrated);
    let (configuration, ledger) = (bench.site.configuration(), bench.site.ledger());
    for to in [30, 100] {
        let file = bench.file("all.senml", bench.part(0, to));
        let words = ["replay", "--config", text(&configuration), "--ledger", text(&ledger), text(&file)];
        let (code, said) = say(&words);
        assert_eq!(code, Some(0), "{said}");
    }
    check_corrected(&bench, calibrated, &BTreeMap::new());
}

// Readings newer than anything on record go through the machine itself, so that a node which
// sends them again later is heard and judged once.
#[test]
fn what_is_newer_than_the_record_is_not_judged_again_when_it_is_sent() {
    let bench = Bench::new(0.6);
    bench.serve(bench.part(0, 40));
    let file = bench.file("late.senml", bench.part(30, 80));
    bench.import(&file);
    assert!(bench.cycles().len() > 6);
    bench.serve(bench.part(20, 100));
    bench.check_readings();
    let expected = bench.site.expected_cycles(&bench.stream);
    let found = bench.cycles();
    // Where the first service ended the rack under way was judged on what was there.
    assert!(found.len().abs_diff(expected.len()) <= 1, "{} of {}", found.len(), expected.len());
    whole(&bench.site.ledger());
}

// A machine whose data plate was changed begins without its past; its record is judged all the same.
#[test]
fn a_changed_configuration_judges_nothing_again() {
    let bench = Bench::new(0.4);
    bench.serve(bench.part(0, 100));
    let before = bench.cycles();
    let configuration = bench.site.configuration();
    let changed = fs::read_to_string(&configuration).expect("our own file").replace("\"44s\"", "\"45s\"");
    fs::write(&configuration, changed).expect("our own file");
    bench.import(&bench.file("all.senml", bench.part(0, 90)));
    // Other readings of the same time: a second node at the same probes, say.
    let other = Stream::of(1, 0.4, 22);
    bench.import(&bench.file("other.senml", &other.packs));
    bench.serve(&[]);
    assert_eq!(bench.cycles(), before);
    assert_eq!(imports(&bench.site.ledger()).len(), 2);
}

// A ledger that has heard nothing yet takes a whole file, as `replay` would judge it.
#[test]
fn an_empty_ledger_takes_a_file() {
    let bench = Bench::new(0.4);
    bench.serve(&[]);
    let file = bench.file("all.senml", bench.part(0, 100));
    bench.import(&file);
    bench.serve(&[]);
    let expected = bench.site.expected_cycles(&bench.stream);
    let found = bench.cycles();
    assert!(expected.len() - found.len() <= 1, "the last one waits for what follows");
    for cycle in &expected[..found.len()] {
        let own = found.get(&instant(cycle, "rinse_started")).expect("each is there");
        assert_eq!(cycle["verdict"], own.verdict.to_string());
    }
    bench.check_readings();
}

#[test]
fn what_cannot_be_imported_is_told() {
    let bench = Bench::new(0.2);
    let (configuration, ledger) = (bench.site.configuration(), bench.site.ledger());
    let file = bench.file("all.senml", bench.part(0, 100));
    let import = |file: &str, by: &str| say(&["import", file, "--by", by, "--config", text(&configuration)]);
    let (code, said) = import(text(&file), "Ana");
    assert_eq!((code, said.contains("there is no ledger")), (Some(74), true), "{said}");
    let gateway = Gateway::start(&bench.site, "");
    super::until(|| gateway.log().contains("ledger is open"), || gateway.log());
    let (code, said) = import(text(&file), "Ana");
    assert_eq!((code, said.contains("stop the service, import, start it again")), (Some(74), true), "{said}");
    gateway.kill();
    let (code, said) = import("/nowhere", "Ana");
    assert_eq!((code, said.contains("trace-open")), (Some(74), true), "{said}");
    let (code, said) = import(text(&file), " ");
    assert_eq!((code, said.contains("--by")), (Some(64), true), "{said}");
    // Nothing taken is nothing imported, and the file can be once its probes are configured. Regression: 0,
    // an import of no reading on record, and the right one refused.
    for content in ["", "no JSON\n", "[{\"n\":\"elsewhere/rinse\",\"t\":1767225600,\"v\":80}]\n"] {
        let strange = bench.site.path("strange.senml");
        fs::write(&strange, content).expect("a file");
        let before = kinds(&ledger);
        let (code, said) = import(text(&strange), "Ana");
        assert_eq!((code, said.contains("no reading of a configured probe")), (Some(74), true), "{said}");
        assert_eq!(kinds(&ledger), before, "{said}");
    }
    // Garbage, another site's probes and a time to come are counted, and the rest is taken.
    let other = bench.site.path("other.senml");
    let lines = "no JSON\n[{\"n\":\"elsewhere/rinse\",\"t\":1767225600,\"v\":80}]\n\
                 [{\"n\":\"dm1/rinse\",\"t\":4102444800,\"v\":80},{\"n\":\"dm1/rinse\",\"t\":1767225600,\"v\":80}]\n";
    fs::write(&other, lines).expect("a file");
    let told = bench.import(&other);
    assert_eq!((told["readings"].as_u64(), told["refused"].as_u64()), (Some(1), Some(3)), "{told}");
    assert!(kinds(&ledger).contains(&"import"));
}
