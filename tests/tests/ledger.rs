//! The ledger from outside: what was committed comes back, once, whatever happened between.

use std::ops::ControlFlow;
use std::path::Path;
use std::sync::mpsc;
use std::time::Duration;

use proptest::prelude::*;

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::effect::Trace;
use rinseward::core::id::{ChannelId, MachineId};
use rinseward::core::reading::{Fault, Sample, Value};
use rinseward::core::record::{Body, ConfigurationChange, Record};
use rinseward::core::site::Event;
use rinseward::core::time::Timestamp;
use rinseward::ledger::{
    Commit, CycleFilter, Input, LedgerError, MachineSnapshot, Names, NewRecord, Options, QUEUE_COMMITS_MAX,
    Reader, Retry, Writer,
};
use sha2::{Digest, Sha256};

#[path = "ledger/append.rs"]
pub(crate) mod append;
#[path = "ledger/every_kind.rs"]
mod every_kind;
#[path = "ledger/faults.rs"]
mod faults;
#[path = "ledger/fixture.rs"]
pub(crate) mod fixture;
#[path = "ledger/golden.rs"]
mod golden;
#[path = "ledger/history.rs"]
mod history;
#[cfg(feature = "failpoints")]
#[path = "ledger/killed.rs"]
mod killed;
#[path = "ledger/look.rs"]
mod look;

use fixture::{NEW_YEAR, at, commit, cycle, open, options, place, plain, sample, site, start, stop, trace};

/// One number of one channel a second.
fn ramp(channel: u16, seconds: std::ops::Range<u32>) -> Vec<Input> {
    seconds.map(|n| sample(channel, f64::from(n), Value::Number(60.0 + f64::from(n % 7) / 10.0))).collect()
}

fn count(path: &Path, table: &str) -> u64 {
    let connection = rusqlite::Connection::open(path).expect("a second connection");
    connection.busy_timeout(Duration::from_secs(5)).expect("a time-out");
    connection.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get(0)).expect("a count")
}

/// Polls until the tail holds so few stretches, at most 20 s.
fn wait_for_tail(path: &Path, at_most: u64) {
    let began = std::time::Instant::now();
    while count(path, "tail") > at_most {
        assert!(began.elapsed() < Duration::from_secs(20), "the tail was not compacted");
        std::thread::yield_now();
    }
}

pub(crate) fn beside(path: &Path, ending: &str) -> std::path::PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

fn values(reader: &Reader, channel: &str) -> Vec<(Timestamp, Value)> {
    let readings = reader.readings(channel, Timestamp::MIN, Timestamp::MAX).expect("the readings");
    readings.into_iter().map(|reading| (reading.at, reading.value)).collect()
}

fn all_records(reader: &Reader) -> Vec<(u64, Vec<u8>, Record)> {
    let mut records = Vec::new();
    let each = |index, bytes: &[u8], record| {
        records.push((index, bytes.to_vec(), record));
        ControlFlow::Continue(())
    };
    reader.records(0, each).expect("the records");
    records
}

// Shows that a restart knows exactly what was committed before it.
#[test]
fn a_restart_recovers_what_was_committed() {
    let (_directory, path) = place();
    let (writer, recovered) = open(&path);
    assert!(recovered.created && recovered.clean_stop);
    assert_eq!((recovered.next_input, recovered.tree_size), (1, 0));
    let configuration =
        Body::ConfigurationChange(ConfigurationChange { sha256: "ab".repeat(32), toml: "x = 1".into() });
    let first = Commit {
        inputs: ramp(1, 0..10),
        records: vec![plain(start(0.0)), plain(Record::new(at(0.0), None, configuration))],
        snapshots: vec![MachineSnapshot { machine: MachineId(0), after: 4, state: vec![1, 2, 3] }],
        settled: 4,
    };
    let committed = commit(&writer, first.clone()).expect("the first commit");
    assert_eq!((committed.first_index, committed.tree_size), (Some(0), 2));
    let tick = Input { now: at(10.0), event: Event::Tick(MachineId(1)) };
    let fault = sample(2, 11.0, Value::Fault(Fault::OpenCircuit));
    let second = Commit {
        inputs: vec![tick, fault],
        records: vec![NewRecord { record: cycle("dm1", 5.0, Verdict::Cold), trace: Some(trace(5.0)) }],
        snapshots: Vec::new(),
        settled: 4,
    };
    let committed = commit(&writer, second.clone()).expect("the second commit");
    writer.close().expect("an orderly end");

    let (writer, recovered) = open(&path);
    assert_eq!(recovered.next_input, 13);
    assert_eq!((recovered.tree_size, recovered.root), (committed.tree_size, committed.root));
    assert_eq!(recovered.last_recorded, Some(at(22.5)));
    assert!(!recovered.clean_stop && !recovered.created);
    assert_eq!(recovered.snapshots, first.snapshots);
    assert_eq!(recovered.configuration_sha256, Some("ab".repeat(32)));
    let expected: Vec<(u64, Input)> =
        (5..).zip(first.inputs[4..].iter().chain(&second.inputs).copied()).collect();
    assert_eq!(recovered.inputs, expected);
    commit(&writer, Commit { records: vec![plain(stop(30.0))], ..Commit::default() }).expect("the stop");
    writer.close().expect("an orderly end");
    assert!(open(&path).1.clean_stop);
}

// Shows that bytes, hashes, traces and the tree are those of the records given.
// RFC 6962 §2.1: leaf hash SHA-256(0x00 ‖ bytes), here computed anew.
#[test]
fn records_are_kept_byte_by_byte() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let records: Vec<Record> =
        (0..5_u32).map(|n| cycle("dm1", f64::from(n) * 60.0, Verdict::ALL[n as usize])).collect();
    let new = records.iter().cloned().map(|record| NewRecord { record, trace: Some(trace(3.0)) }).collect();
    let committed = commit(&writer, Commit { records: new, ..Commit::default() }).expect("a commit");
    let reader = Reader::open(&path).expect("a reader");
    assert_eq!(reader.size().expect("a size"), 5);
    assert_eq!(reader.root().expect("a root"), committed.root);
    let stored = all_records(&reader);
    for ((index, bytes, parsed), record) in stored.iter().zip(&records) {
        assert_eq!((bytes, parsed), (&record.to_bytes(), record));
        let leaf: [u8; 32] = Sha256::new().chain_update([0]).chain_update(bytes).finalize().into();
        assert_eq!(reader.leaf(*index).expect("a leaf"), Some(leaf));
        let kept: Trace = reader.trace(*index).expect("a trace").expect("one was given");
        assert_eq!(kept.canonical_bytes(), trace(3.0).canonical_bytes());
    }
    assert_eq!(stored.len(), 5);
    assert_eq!(reader.leaf(5).expect("no failure"), None);
}

#[test]
fn nobody_changes_a_record() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    commit(&writer, Commit { records: vec![plain(start(0.0))], ..Commit::default() }).expect("a commit");
    let other = rusqlite::Connection::open(&path).expect("a second connection");
    for sql in [
        "UPDATE record SET bytes = x'00'",
        "DELETE FROM record",
        "INSERT INTO record VALUES (5, 'gap', zeroblob(32), x'00')",
    ] {
        let refused = other.execute(sql, []).expect_err(sql);
        assert_eq!(refused.sqlite_error_code(), Some(rusqlite::ErrorCode::ConstraintViolation), "{sql}");
    }
}

// Shows filters, order and pages of the history.
#[test]
fn the_history_is_found_by_machine_time_and_verdict() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    // Out of order in time, two at one time, two machines.
    let given = [
        ("dm1", 100.0, Verdict::Pass),
        ("dm2", 50.0, Verdict::Cold),
        ("dm1", 200.0, Verdict::Cold),
        ("dm1", 50.0, Verdict::Narrow),
        ("dm2", 300.0, Verdict::Pass),
    ];
    let records = given.map(|(machine, seconds, verdict)| plain(cycle(machine, seconds, verdict)));
    commit(&writer, Commit { records: records.into(), ..Commit::default() }).expect("a commit");
    let reader = Reader::open(&path).expect("a reader");
    let check = |filter: CycleFilter, oldest_first: &[u64]| {
        let mut found = Vec::new();
        let each = |index, _: &[u8], _| {
            found.push(index);
            ControlFlow::Continue(())
        };
        reader.cycles(&filter, each).expect("the history");
        assert_eq!(found, oldest_first, "{filter:?}");
    };
    let all = CycleFilter::default;
    check(all(), &[1, 3, 0, 2, 4]);
    check(CycleFilter { machine: Some("dm1".into()), ..all() }, &[3, 0, 2]);
    check(CycleFilter { machine: Some("dm9".into()), ..all() }, &[]);
    check(CycleFilter { from: Some(at(100.0)), to: Some(at(300.0)), ..all() }, &[0, 2]);
    check(CycleFilter { verdicts: vec![Verdict::Cold], ..all() }, &[1, 2]);
    check(CycleFilter { verdicts: vec![Verdict::Cold, Verdict::Pass], limit: Some(3), ..all() }, &[1, 0, 2]);
    check(CycleFilter { limit: Some(2), after_index: Some(1), ..all() }, &[3, 0]);
    check(CycleFilter { after_index: Some(4), ..all() }, &[]);
    check(CycleFilter { after_index: Some(99), ..all() }, &[]);
    let mut newest = Vec::new();
    let filter = CycleFilter { after_index: Some(2), ..all() };
    let each = |index, _: &[u8], _| {
        newest.push(index);
        if newest.len() == 2 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    };
    reader.cycles_newest_first(&filter, each).expect("the history");
    assert_eq!(newest, [0, 3]);
}

// Shows that readings go from the tail into blocks and stay readable meanwhile,
// also of a channel that is configured no longer.
#[test]
fn settled_readings_move_into_blocks() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let inputs: Vec<Input> = (0..3).flat_map(|channel| ramp(channel, 0..5000)).collect();
    commit(&writer, Commit { inputs, settled: 15_000, ..Commit::default() }).expect("a commit");
    wait_for_tail(&path, 0);
    let reader = Reader::open(&path).expect("a reader");
    let late = vec![sample(1, 17.5, Value::Number(61.0)), sample(1, 17.0, Value::Number(1.0))];
    commit(&writer, Commit { inputs: late, ..Commit::default() }).expect("a commit");
    let readings = reader.readings("dm1/rinse", at(17.0), at(18.0)).expect("the readings");
    let seen: Vec<_> = readings.iter().map(|reading| (reading.at, reading.value, reading.received)).collect();
    assert_eq!(
        seen,
        [
            (at(17.0), Value::Number(60.3), None),
            (at(17.0), Value::Number(1.0), Some(at(17.0))),
            (at(17.5), Value::Number(61.0), Some(at(17.5))),
        ]
    );
    writer.close().expect("an orderly end");
    let names = Names { machines: &["dm2".to_owned()], channels: &["dm2/rinse".to_owned()] };
    let (writer, recovered) = Writer::open(&options(&path), names, at(6000.0)).expect("other names");
    assert_eq!(recovered.inputs, [], "the unsettled inputs are of a channel that is gone");
    assert_eq!(recovered.next_input, 15_003);
    let input = Input {
        now: at(9_000.0),
        event: Event::Sample(Sample { channel: ChannelId(0), at: at(9_000.0), value: Value::Number(70.0) }),
    };
    commit(&writer, Commit { inputs: vec![input], settled: 15_003, ..Commit::default() }).expect("a commit");
    wait_for_tail(&path, 0);
    assert_eq!(values(&reader, "dm1/rinse").len(), 5002);
    assert_eq!(values(&reader, "dm2/rinse").len(), 5001);
    assert_eq!(values(&reader, "dm2/rinse").last(), Some(&(at(9_000.0), Value::Number(70.0))));
    assert_eq!(reader.tally().expect("a tally").contradictions, 1);
}

#[test]
fn old_blocks_go_and_records_stay() {
    let (_directory, path) = place();
    let (machines, channels) = site();
    let names = Names { machines: &machines, channels: &channels };
    let short = Options { path: path.clone(), block_retention: Duration::from_secs(86_400) };
    let (writer, _) = Writer::open(&short, names, NEW_YEAR).expect("a new ledger");
    let records = vec![NewRecord { record: cycle("dm1", 5.0, Verdict::Pass), trace: Some(trace(5.0)) }];
    commit(&writer, Commit { inputs: ramp(1, 0..100), records, ..Commit::default() }).expect("a commit");
    let days = 86_400.0;
    for (seconds, settled) in [(7_200.0, 101), (2.5 * days, 102), (2.6 * days, 103)] {
        let inputs = vec![sample(1, seconds, Value::Number(50.0))];
        commit(&writer, Commit { inputs, settled, ..Commit::default() }).expect("a commit");
        wait_for_tail(&path, 1);
    }
    let began = std::time::Instant::now();
    let reader = Reader::open(&path).expect("a reader");
    while values(&reader, "dm1/rinse").len() > 2 {
        assert!(began.elapsed() < Duration::from_secs(20), "nothing was pruned");
        std::thread::yield_now();
    }
    let kinds: Vec<_> = all_records(&reader).iter().map(|(_, _, record)| record.body.kind()).collect();
    assert_eq!(kinds, ["cycle", "pruned"], "what went is on record");
    assert!(reader.trace(0).expect("no failure").is_some());
}

fn until(otherwise: &str, mut there: impl FnMut() -> bool) {
    let began = std::time::Instant::now();
    while !there() {
        assert!(began.elapsed() < Duration::from_secs(20), "{otherwise}");
        std::thread::yield_now();
    }
}

// What went within a day of the last record of pruning is on no record yet: whoever asks whether
// readings may be gone, such as an import, must hear of it all the same.
#[test]
fn what_went_is_known_before_it_is_on_record() {
    let (_directory, path) = place();
    let (machines, channels) = site();
    let names = Names { machines: &machines, channels: &channels };
    let short = Options { path: path.clone(), block_retention: Duration::from_secs(86_400) };
    let (writer, _) = Writer::open(&short, names, NEW_YEAR).expect("a new ledger");
    let reader = Reader::open(&path).expect("a reader");
    assert_eq!(reader.pruned_before().expect("an answer"), None);
    commit(&writer, Commit { inputs: ramp(1, 0..100), ..Commit::default() }).expect("a commit");
    let days = 86_400.0;
    // Those of the first hours go at 1.2 days and are told; that of 0.9 days goes at 2.15, which is not.
    for (place, seconds) in [7_200.0, 0.9 * days, 1.2 * days, 2.1 * days, 2.15 * days].into_iter().enumerate()
    {
        let (inputs, settled) = (vec![sample(1, seconds, Value::Number(50.0))], place as u64 + 101);
        commit(&writer, Commit { inputs, settled, ..Commit::default() }).expect("a commit");
        wait_for_tail(&path, 1);
        // What goes is looked for after that; a later commit would find more.
        if place == 2 {
            until("nothing is told of what went", || !all_records(&reader).is_empty());
        }
    }
    until("nothing was pruned", || values(&reader, "dm1/rinse").len() <= 3);
    let kinds: Vec<_> = all_records(&reader).iter().map(|(_, _, record)| record.body.kind()).collect();
    assert_eq!(kinds, ["pruned"]);
    let Body::Pruned(told) = &all_records(&reader)[0].2.body else { panic!("a record of pruning") };
    assert_eq!(told.before, at(0.2 * days));
    assert_eq!(reader.pruned_before().expect("an answer"), Some(at(1.15 * days)));
}

// Shows that a commit is taken or given back whole, and that none overtakes a refused one.
#[test]
fn a_refused_commit_comes_first() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let wrong = Commit { inputs: ramp(7, 0..1), records: vec![plain(start(0.0))], ..Commit::default() };
    let refused = commit(&writer, wrong.clone()).expect_err("channel 7 has no name");
    assert!(matches!(refused.error, LedgerError::UnknownChannel { channel: ChannelId(7) }));
    assert_eq!(refused.commit, wrong);
    let next = Commit { inputs: ramp(1, 1..2), ..Commit::default() };
    let refused = commit(&writer, next).expect_err("another one came before");
    assert!(matches!(refused.error, LedgerError::OutOfOrder));
    assert_eq!(refused.error.retry(), Retry::Later);
    let reader = Reader::open(&path).expect("a reader");
    assert_eq!(reader.size().expect("a size"), 0);
    drop(writer);
    let (writer, recovered) = open(&path);
    assert_eq!(recovered.next_input, 1);
    let ahead = Commit { inputs: ramp(1, 0..1), settled: 2, ..Commit::default() };
    let refused = commit(&writer, ahead).expect_err("there is no second input");
    assert!(matches!(refused.error, LedgerError::InputAhead { number: 2, last: 1 }));
}

// Shows that a caller that keeps more commits under way than the queue holds,
// and gives refused ones back in order, ends with every input once and in order.
#[test]
fn commits_under_way_keep_their_order() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let (done, answers) = mpsc::channel();
    let submit = |commit| {
        let done = done.clone();
        writer.submit(commit, Box::new(move |result| done.send(result).expect("the test waits")));
    };
    let commits: u32 = 400;
    (0..commits).for_each(|n| submit(Commit { inputs: ramp(1, n..n + 1), ..Commit::default() }));
    let (mut stored, mut full) = (0, 0);
    while stored < commits {
        match answers.recv_timeout(Duration::from_secs(30)).expect("an answer within 30 s") {
            Ok(_) => stored += 1,
            Err(refused) => {
                full += u32::from(matches!(refused.error, LedgerError::QueueFull));
                assert_eq!(refused.error.retry(), Retry::Later);
                submit(refused.commit);
            }
        }
    }
    assert!(full > 0, "400 commits at once are more than {QUEUE_COMMITS_MAX}");
    writer.close().expect("an orderly end");
    let expected: Vec<(u64, Input)> = (1..).zip(ramp(1, 0..commits)).collect();
    assert_eq!(open(&path).1.inputs, expected);
}

// Shows that commits behind a refused one are given back, are taken in their
// order only, and may come back joined.
#[test]
fn commits_behind_a_refused_one_come_back_in_order() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let (done, answers) = mpsc::channel();
    let of = |seconds: std::ops::Range<u32>| Commit { inputs: ramp(1, seconds), ..Commit::default() };
    for n in 0..5 {
        let done = done.clone();
        let next = Commit { settled: if n == 1 { 999 } else { 0 }, ..of(n..n + 1) };
        writer.submit(next, Box::new(move |result| done.send((n, result.is_ok())).expect("the test waits")));
    }
    let mut answered: Vec<(u32, bool)> = (0..5)
        .map(|_| answers.recv_timeout(Duration::from_secs(30)).expect("an answer within 30 s"))
        .collect();
    answered.sort_unstable();
    assert_eq!(answered, [(0, true), (1, false), (2, false), (3, false), (4, false)]);
    for early in [2..3, 4..5, 7..8] {
        let refused = commit(&writer, of(early)).expect_err("1 comes first");
        assert!(matches!(refused.error, LedgerError::OutOfOrder));
    }
    commit(&writer, of(1..2)).expect("the first of those refused");
    commit(&writer, of(3..4)).expect_err("2 comes first");
    commit(&writer, of(2..4)).expect("2 and 3 in one");
    commit(&writer, of(5..6)).expect_err("4 comes first");
    commit(&writer, of(4..5)).expect("the next");
    commit(&writer, of(7..8)).expect("it was refused before 5");
    commit(&writer, of(5..6)).expect("the last refused");
    commit(&writer, of(9..10)).expect("and so on");
    writer.close().expect("an orderly end");
    let order: Vec<f64> =
        open(&path).1.inputs.iter().map(|(_, input)| input.now.seconds_since(at(0.0))).collect();
    assert_eq!(order, [0.0, 1.0, 2.0, 3.0, 4.0, 7.0, 5.0, 9.0]);
}

// Shows that a log cut off anywhere, as by a power failure, leaves a whole number
// of commits, with the root that was reported for the last of them.
#[test]
fn a_cut_off_log_leaves_whole_commits() {
    let (directory, path) = place();
    let (writer, recovered) = open(&path);
    let mut roots = vec![recovered.root];
    for n in 0..8_u32 {
        let records = vec![plain(cycle("dm1", f64::from(n), Verdict::Pass))];
        let next = Commit { inputs: ramp(1, n..n + 1), records, ..Commit::default() };
        roots.push(commit(&writer, next).expect("a commit").root);
    }
    let log = std::fs::read(beside(&path, "-wal")).expect("the log");
    let main = std::fs::read(&path).expect("the ledger");
    let mut seen = std::collections::BTreeSet::new();
    for cut in (0..=log.len()).rev().step_by(1_777).chain([0]) {
        let copy = directory.path().join(format!("cut-{cut}.sqlite"));
        std::fs::write(&copy, &main).expect("a copy");
        std::fs::write(beside(&copy, "-wal"), &log[..cut]).expect("a copy");
        let recovered = open(&copy).1;
        let size = usize::try_from(recovered.tree_size).expect("few");
        assert_eq!((recovered.root, recovered.inputs.len()), (roots[size], size), "cut at {cut}");
        seen.insert(size);
    }
    assert!(seen.contains(&8) && seen.contains(&0) && seen.len() > 4, "{seen:?}");
}

/// What happens to a ledger in [`every_reading_is_found_exactly_once`].
#[derive(Clone, Debug)]
enum Step {
    /// Commits samples of (channel, deciseconds, value) and settles this share of all inputs.
    Commit { samples: Vec<(u16, i32, u8)>, settled: f64, pause_s: u32 },
    /// Closes and opens again.
    Reopen,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let samples = prop::collection::vec((0_u16..2, 0_i32..400_000, 0_u8..3), 0..40);
    let near = prop::collection::vec((0_u16..2, 0_i32..30, 0_u8..3), 0..40);
    let commit = (prop_oneof![samples, near], 0.0..=1.0_f64, 0_u32..8_000)
        .prop_map(|(samples, settled, pause_s)| Step::Commit { samples, settled, pause_s });
    prop::collection::vec(prop_oneof![6 => commit, 1 => Just(Step::Reopen)], 1..25)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    // Shows that whatever is late, repeated, contradictory or settled, and
    // wherever compaction stands, each reading is found once, in order of time
    // and then of arrival.
    #[test]
    fn every_reading_is_found_exactly_once(steps in steps()) {
        let (_directory, path) = place();
        let (mut writer, _) = open(&path);
        let reader = Reader::open(&path).expect("a reader");
        let mut model: [Vec<(Timestamp, Value)>; 2] = [Vec::new(), Vec::new()];
        let (mut now, mut inputs, mut settled) = (0.0, 0_u32, 0);
        for step in steps {
            match step {
                Step::Reopen => {
                    drop(writer);
                    let (again, recovered) = open(&path);
                    prop_assert_eq!(recovered.next_input, u64::from(inputs) + 1);
                    prop_assert_eq!(recovered.inputs.len() as u64, u64::from(inputs) - settled);
                    writer = again;
                }
                Step::Commit { samples, settled: share, pause_s } => {
                    now += f64::from(pause_s);
                    let batch: Vec<Input> = samples.iter().map(|(channel, deciseconds, value)| {
                        let value = Value::Number(f64::from(*value) / 10.0);
                        let point = (at(f64::from(*deciseconds) / 10.0), value);
                        let known = &mut model[usize::from(*channel)];
                        if !known.contains(&point) {
                            known.push(point);
                        }
                        let sample = Sample { channel: ChannelId(*channel), at: point.0, value };
                        Input { now: at(now), event: Event::Sample(sample) }
                    }).collect();
                    inputs += u32::try_from(batch.len()).expect("few");
                    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of few")]
                    let up_to = (f64::from(inputs) * share) as u64;
                    settled = settled.max(up_to);
                    commit(&writer, Commit { inputs: batch, settled, ..Commit::default() }).expect("a commit");
                }
            }
            for (channel, expected) in ["dm1/wash", "dm1/rinse"].into_iter().zip(&model) {
                let mut expected = expected.clone();
                expected.sort_by_key(|(at, _)| *at);
                prop_assert_eq!(values(&reader, channel), expected);
            }
        }
    }
}
