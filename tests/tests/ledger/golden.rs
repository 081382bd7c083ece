//! Ledgers of released formats must stay readable for ever.

use std::fs;
use std::path::Path;

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::daily::{DayNumbers, MachineDay};
use rinseward::core::id::MachineId;
use rinseward::core::reading::{Fault, Value};
use rinseward::core::site::Event;
use rinseward::core::time::Timestamp;
use rinseward::ledger::{
    Append, Bookmark, Commit, DaysPart, Input, LetterStatus, MachineSnapshot, NewRecord, OutboxChange, Place,
    Reader, SetAside, Tally,
};

use super::append::{append, checkpoint, letter};
use super::every_kind::{missing, of_every_kind};
use super::fixture::{at, commit, cycle, open, place, plain, sample, start, stop, trace};
use super::{all_records, count, values, wait_for_tail};

/// Root of the seven records, computed from the stored bytes by another
/// program: Python's hashlib after RFC 6962 §2.1.
const ROOT: &str = "ecf7cac0f0384aeb387e815b4eec5ce7941f68f1f1743cf0e5756fed5fe6dd80";

/// What the golden ledger of format 1 holds. Never change it; a new format gets a function and a file of its own.
fn write_format_1(path: &Path) {
    let (writer, _) = open(path);
    let cycles = Verdict::ALL[..5].iter().zip(0_u32..).map(|(verdict, n)| {
        let seconds = 100.0 + 120.0 * f64::from(n);
        NewRecord { record: cycle("dm1", seconds, *verdict), trace: Some(trace(seconds)) }
    });
    let mut inputs: Vec<Input> = (0..600_u32)
        .map(|n| sample(1, f64::from(n) / 4.0, Value::Number(60.0 + f64::from(n % 9) / 10.0)))
        .collect();
    inputs.push(sample(1, 149.75, Value::Number(99.5)));
    inputs.push(sample(1, 149.75, Value::Number(99.5)));
    inputs.push(sample(1, 150.0, Value::Fault(Fault::OpenCircuit)));
    inputs.push(sample(1, 150.25, Value::Number(1.0 / 3.0)));
    let records = std::iter::once(plain(start(0.0))).chain(cycles).collect();
    commit(&writer, Commit { inputs, records, ..Commit::default() }).expect("a commit");
    let snapshots = vec![MachineSnapshot { machine: MachineId(0), after: 604, state: b"idle".to_vec() }];
    let later = vec![sample(1, 7_200.0, Value::Number(61.5))];
    commit(&writer, Commit { inputs: later, snapshots, settled: 604, ..Commit::default() })
        .expect("a commit");
    wait_for_tail(path, 1);
    let tick = Input { now: at(7_201.0), event: Event::Tick(MachineId(1)) };
    let records = vec![plain(stop(7_202.0))];
    commit(&writer, Commit { inputs: vec![tick], records, settled: 604, ..Commit::default() })
        .expect("a commit");
    writer.close().expect("an orderly end");
}

/// All that a reader with a place of its own gets, from the beginning.
fn fed(reader: &Reader) -> Vec<(Timestamp, Value)> {
    let mut place = Place::default();
    let mut readings = Vec::new();
    loop {
        let part = reader.feed(place, 100).expect("a part");
        assert_eq!(part.damaged, []);
        if part.next == place {
            return readings;
        }
        for (channel, given) in part.readings {
            assert_eq!(channel, "dm1/rinse");
            readings.extend(given.into_iter().map(|reading| (reading.at, reading.value)));
        }
        place = part.next;
    }
}

// Shows that the file of format 1 opens for reading and writing and still says
// what was put into it. Should this fail, the change is wrong, not the file.
#[test]
fn the_ledger_of_format_1_opens() {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/ledger-format-1.sqlite");
    if !golden.exists() && std::env::var_os("WRITE_GOLDEN_LEDGER").is_some() {
        let (_directory, path) = place();
        write_format_1(&path);
        fs::copy(&path, &golden).expect("the golden directory takes files");
    }
    let (_directory, path) = place();
    fs::copy(&golden, &path).expect("the golden ledger is there");
    // What this version writes must tell the same, but for fields that records have gained.
    let (_directory, anew) = place();
    write_format_1(&anew);

    for path in [&path, &anew] {
        let reader = Reader::open(path).expect("it opens");
        let root: String = reader.root().expect("a root").iter().map(|byte| format!("{byte:02x}")).collect();
        assert!(root == ROOT || path == &anew, "{root}");
        let records = all_records(&reader);
        let kinds: Vec<&str> = records.iter().map(|(_, _, record)| record.body.kind()).collect();
        assert_eq!(kinds, ["service-start", "cycle", "cycle", "cycle", "cycle", "cycle", "service-stop"]);
        let kept = reader.trace(1).expect("no failure").expect("a trace");
        assert_eq!(kept.canonical_bytes(), trace(100.0).canonical_bytes());
        let readings = values(&reader, "dm1/rinse");
        assert_eq!(readings.len(), 604, "600, one contradiction, a fault, a third, one in the tail");
        assert_eq!(readings[0], (at(0.0), Value::Number(60.0)));
        assert_eq!(readings[600], (at(149.75), Value::Number(99.5)));
        assert_eq!(readings[601], (at(150.0), Value::Fault(Fault::OpenCircuit)));
        assert_eq!(readings[602], (at(150.25), Value::Number(1.0 / 3.0)));
        assert_eq!(reader.tally().expect("a tally"), Tally { repeats: 1, contradictions: 1 });
        assert_eq!(fed(&reader), readings);
    }
    // Read by a connection that was opened before the file was brought to a newer format.
    let before = Reader::open(&path).expect("it opens");
    assert_eq!(before.bookmark("desk").expect("no failure"), None);
    assert_eq!(before.letters(1).expect("no failure"), []);
    assert_eq!(before.next_letter_due_by("email", at(0.0)).expect("no failure"), None);
    assert_eq!(before.set_aside("series", 1).expect("no failure"), []);
    let (_writer, recovered) = open(&path);
    assert_eq!((recovered.next_input, recovered.tree_size), (607, 7));
    assert_eq!(recovered.snapshots.len(), 1);
    let tick = Input { now: at(7_201.0), event: Event::Tick(MachineId(1)) };
    let expected = [(605, sample(1, 7_200.0, Value::Number(61.5))), (606, tick)];
    assert_eq!(recovered.inputs, expected);
    assert_eq!(recovered.last_recorded, Some(at(7_202.0)));
    assert!(recovered.clean_stop);
    let reader = Reader::open(&path).expect("it opens");
    assert_eq!(fed(&reader), values(&reader, "dm1/rinse"), "brought to the newest format");
    assert_eq!(reader.newest_input().expect("a number"), 606);
}

/// Root of the records of format 2, computed as [`ROOT`].
const ROOT_2: &str = "c3f5ecbf7f1a6007ac409dace7df6c7d47ad52916185898be26662f7433c1762";

/// A day in numbers, as the table keeps it.
fn day_of_dm1() -> MachineDay {
    let numbers = DayNumbers {
        counts: [1, 1, 1, 1, 1, 0],
        rinse_min_c: Some(71.3),
        rinse_median_c: Some(84.6),
        late: 0,
        damaged: 0,
    };
    MachineDay { day: jiff::civil::date(2026, 1, 1), machine: "dm1".to_owned(), numbers }
}

/// What the golden ledger of format 2 holds: that of format 1, a second round of
/// compaction, and all that an append can store. Never change it either.
fn write_format_2(path: &Path) {
    write_format_1(path);
    let (writer, _) = open(path);
    let first = Append {
        records: vec![plain(cycle("dm2", 7_300.0, Verdict::Pass))],
        bookmarks: vec![Bookmark { name: "desk".to_owned(), state: b"here".to_vec() }],
        outbox: ["a", "b", "c", "d"].map(|key| OutboxChange::Put(letter(key, "one", 7_300.0))).into(),
        set_aside: ["first", "second"]
            .map(|reason| SetAside {
                consumer: "series".to_owned(),
                at: at(7_301.0),
                reason: reason.to_owned(),
                bytes: vec![1, 2, 3],
            })
            .into(),
        taken_back: Vec::new(),
        checkpoints: vec![checkpoint(7_301.0, 7), checkpoint(7_302.0, 8)],
        days: Some(DaysPart { anew: true, days: vec![day_of_dm1()] }),
    };
    append(&writer, first).expect("an append");
    let outbox = vec![
        OutboxChange::Delivered { id: 1, at: at(7_302.0) },
        OutboxChange::GivenUp { id: 2, at: at(7_303.0), error: "gone".to_owned() },
        OutboxChange::Withdrawn { id: 3, at: at(7_304.0) },
        OutboxChange::Failed { id: 4, at: at(7_305.0), due: at(7_400.0), error: "busy".to_owned() },
    ];
    append(&writer, Append { outbox, taken_back: vec![1], ..Append::default() }).expect("an append");
    for (seconds, settled) in [(7_201.5, 606), (11_000.0, 607)] {
        let inputs = vec![sample(1, seconds, Value::Number(61.5))];
        commit(&writer, Commit { inputs, settled, ..Commit::default() }).expect("a commit");
    }
    wait_for_tail(path, 1);
    commit(&writer, Commit { records: Vec::new(), settled: 607, ..Commit::default() }).expect("a commit");
    let records = of_every_kind(19_000.0).into_iter().map(plain).collect();
    append(&writer, Append { records, ..Append::default() }).expect("an append");
    writer.close().expect("an orderly end");
}

// Own promise: whatever stands on record today is read in twenty years. A kind or variant that the golden ledger lacks
// is named here. Until format 2 is released the ledger is then made anew; after that a ledger of its own is added, and
// this looks into all of them together.
#[test]
fn every_kind_of_record_is_in_a_golden_ledger() {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/ledger-format-2.sqlite");
    let (_directory, path) = place();
    fs::copy(&golden, &path).expect("the golden ledger is there");
    let reader = Reader::open(&path).expect("it opens");
    let records: Vec<_> = all_records(&reader).into_iter().map(|(_, _, record)| record).collect();
    let missing = missing(&records);
    assert!(missing.is_empty(), "not in tests/golden/ledger-format-2.sqlite: {missing:#?}");
    let bytes = fs::metadata(&golden).expect("it is there").len();
    assert!(bytes < 300 * 1_024, "a golden ledger stays small: {bytes} bytes");
}

// As above, for format 2.
#[test]
fn the_ledger_of_format_2_opens() {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/ledger-format-2.sqlite");
    if !golden.exists() && std::env::var_os("WRITE_GOLDEN_LEDGER").is_some() {
        let (_directory, path) = place();
        write_format_2(&path);
        fs::copy(&path, &golden).expect("the golden directory takes files");
    }
    let (_directory, path) = place();
    fs::copy(&golden, &path).expect("the golden ledger is there");
    let (_directory, anew) = place();
    write_format_2(&anew);

    for path in [&path, &anew] {
        let reader = Reader::open(path).expect("it opens");
        let root: String = reader.root().expect("a root").iter().map(|byte| format!("{byte:02x}")).collect();
        assert!(root == ROOT_2 || path == &anew, "{root}");
        assert_eq!(all_records(&reader).len(), 8 + of_every_kind(0.0).len());
        assert_eq!(reader.bookmark("desk").expect("no failure"), Some(b"here".to_vec()));
        let letters = reader.letters(10).expect("no failure");
        let told: Vec<_> = letters
            .iter()
            .map(|posted| (&*posted.letter.key, posted.status, posted.attempts, posted.last_error.as_deref()))
            .collect();
        assert_eq!(
            told,
            [
                ("d", LetterStatus::Waiting, 1, Some("busy")),
                ("c", LetterStatus::Withdrawn, 0, None),
                ("b", LetterStatus::GivenUp, 1, Some("gone")),
                ("a", LetterStatus::Delivered, 0, None),
            ]
        );
        assert_eq!(letters[0].letter.due, at(7_400.0));
        assert_eq!(letters[0].letter.bytes, b"d");
        let aside = reader.set_aside("series", 10).expect("no failure");
        assert_eq!((aside[0].0, &*aside[0].1.reason, &*aside[0].1.bytes), (2, "second", &[1, 2, 3][..]));
        assert_eq!(values(&reader, "dm1/rinse").len(), 606);
        assert_eq!(fed(&reader), values(&reader, "dm1/rinse"));
        assert_eq!(reader.newest_input().expect("a number"), 608);
        let events = of_every_kind(0.0).iter().filter(|record| record.body.kind() != "cycle").count();
        assert_eq!((count(path, "day"), count(path, "event")), (1, 2 + events as u64));
        let day = reader.days(&jiff::tz::TimeZone::UTC, Some("dm1"), day_of_dm1().day, day_of_dm1().day);
        assert_eq!(day.expect("the day"), [day_of_dm1()], "counted from the records");
        let checkpoints = reader.checkpoints().expect("no failure");
        assert_eq!(checkpoints, [checkpoint(7_301.0, 7), checkpoint(7_302.0, 8)]);
    }
    let (_writer, recovered) = open(&path);
    let size = 8 + of_every_kind(0.0).len();
    assert_eq!((recovered.next_input, recovered.tree_size), (609, size as u64));
    assert!(!recovered.clean_stop, "a start came after the last stop");
}
