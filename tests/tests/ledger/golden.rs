//! Ledgers of released formats must stay readable for ever.

use std::fs;
use std::path::Path;

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::id::MachineId;
use rinseward::core::reading::{Fault, Value};
use rinseward::core::site::Event;
use rinseward::ledger::{Commit, Input, MachineSnapshot, NewRecord, Reader, Tally};

use super::fixture::{at, commit, cycle, open, place, plain, sample, start, stop, trace};
use super::{all_records, values, wait_for_tail};

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
    }
    let (_writer, recovered) = open(&path);
    assert_eq!((recovered.next_input, recovered.tree_size), (607, 7));
    assert_eq!(recovered.snapshots.len(), 1);
    let tick = Input { now: at(7_201.0), event: Event::Tick(MachineId(1)) };
    let expected = [(605, sample(1, 7_200.0, Value::Number(61.5))), (606, tick)];
    assert_eq!(recovered.inputs, expected);
    assert_eq!(recovered.last_recorded, Some(at(7_202.0)));
    assert!(recovered.clean_stop);
}
