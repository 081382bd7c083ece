use std::collections::BTreeSet;
use std::path::Path;
use std::time::Duration;

use proptest::prelude::*;

use super::*;
use crate::core::id::ChannelId;
use crate::core::reading::{Sample, Value};
use crate::core::site::Event;
use crate::ledger::commit::Store;
use crate::ledger::compact::{Compactor, Sizes};
use crate::ledger::names::{Names, Numbers};
use crate::ledger::recover::recover;
use crate::ledger::schema::open_to_write;
use crate::ledger::{Commit, Input};

/// 2026-01-01T00:00:00Z.
const NEW_YEAR: i64 = 1_767_225_600_000_000;
const CHANNELS: u16 = 3;
const RETENTION: Duration = Duration::from_secs(400 * 86_400);

/// Rounds that take one channel to a transaction.
const FINE: Sizes = Sizes { round_inputs: 1 << 12, step_readings: 1 };

/// The writer's thread taken apart, so that a test says when each step is done.
struct Bench {
    store: Store,
    compactor: Compactor,
}

impl Bench {
    fn open(path: &Path, sizes: Sizes) -> Self {
        let channels: Vec<String> = (0..CHANNELS).map(|n| format!("dm1/{n}")).collect();
        let (mut connection, created) = open_to_write(path).expect("it opens");
        // The device is not what is tested here.
        connection.execute_batch("PRAGMA synchronous = OFF").expect("a setting");
        let names = Names { machines: &[], channels: &channels };
        let numbers = Numbers::assign(&mut connection, names).expect("names");
        let (_, state) = recover(&connection, path, &numbers, created).expect("where it stands");
        let store = Store { connection, path: path.to_path_buf(), numbers, state, held: false };
        let mut compactor =
            Compactor::new(&store, RETENTION, Timestamp::from_micros(NEW_YEAR)).expect("a compactor");
        compactor.set_sizes(sizes);
        Self { store, compactor }
    }

    fn commit(&mut self, commit: &Commit) {
        let first = self.store.state.next_input;
        self.store.commit(commit).expect("a commit");
        if let (Some(begin), Some(end)) = (commit.inputs.first(), commit.inputs.last()) {
            self.compactor.note(first, begin.now, end.now);
        }
    }

    fn keep_house(&mut self) -> bool {
        self.compactor.step(&mut self.store).expect("a step")
    }
}

/// Takes away what format 2 has more.
fn make_format_1(path: &Path) {
    let connection = rusqlite::Connection::open(path).expect("it opens");
    connection
        .execute_batch(
            "DROP INDEX record_by_kind; DROP TABLE round; DROP TABLE bookmark; DROP TABLE outbox; DROP TABLE set_aside; DROP TABLE checkpoint;
             DROP TABLE event; DROP TABLE about; DROP TABLE day; DROP TABLE subtree;
             ALTER TABLE state DROP COLUMN compacted; PRAGMA user_version = 1",
        )
        .expect("a ledger of format 1");
}

type Seen = BTreeSet<(String, i64, u64)>;

fn bits(value: Value) -> u64 {
    match value {
        Value::Number(number) => number.to_bits(),
        Value::Flag(_) | Value::Fault(_) => 0,
    }
}

/// A consumer that is restarted at any time from what it wrote down.
#[derive(Default)]
struct Consumer {
    place: Place,
    seen: Seen,
    given: usize,
}

impl Consumer {
    /// Takes a part; `true` where it came further.
    fn take(&mut self, reader: &Reader, readings_max: usize) -> bool {
        let bookmark = serde_json::to_string(&self.place).expect("a place as text");
        let place = serde_json::from_str(&bookmark).expect("a place from text");
        let part = reader.feed(place, readings_max).expect("a part");
        assert_eq!(part.damaged, []);
        assert!(part.next >= place, "{:?} after {place:?}", part.next);
        for (channel, readings) in part.readings {
            assert!(readings.is_sorted_by_key(|reading| reading.at));
            let once: Seen = readings
                .iter()
                .map(|reading| (channel.clone(), reading.at.micros(), bits(reading.value)))
                .collect();
            assert_eq!(once.len(), readings.len(), "an exact repeat in one part");
            self.given += readings.len();
            self.seen.extend(once);
        }
        let moved = part.next != place;
        self.place = part.next;
        moved
    }
}

/// What happens between two looks at the ledger.
#[derive(Clone, Debug)]
enum Step {
    /// Samples of (channel, seconds before now, value); this share of all inputs is settled; so long since the last.
    Commit { samples: Vec<(u16, u16, u8)>, settled: f64, pause_s: u32 },
    /// So many steps of compaction, one channel each.
    KeepHouse(u8),
    /// One of the consumers takes a part of at most so many.
    Take { consumer: usize, readings_max: usize },
    /// The program is killed: what was under way is broken off. Then rounds are of this size.
    Restart { round_inputs: usize },
    /// The same, and it was one of format 1: its ledger is brought to format 2, and consumers begin.
    Migrate,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let samples = prop::collection::vec((0..CHANNELS, 0_u16..50, 0_u8..3), 0..12);
    let commit = (samples, 0.0..=1.0_f64, prop_oneof![0_u32..10, 3_000_u32..5_000])
        .prop_map(|(samples, settled, pause_s)| Step::Commit { samples, settled, pause_s });
    let take =
        (0_usize..3, 1_usize..20).prop_map(|(consumer, readings_max)| Step::Take { consumer, readings_max });
    prop::collection::vec(
        prop_oneof![8 => commit, 8 => (1_u8..4).prop_map(Step::KeepHouse), 8 => take, 1 => (1_usize..20).prop_map(|round_inputs| Step::Restart { round_inputs }), 1 => Just(Step::Migrate)],
        20..80,
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    // Own promise: whatever is committed, compacted, killed and read in between, each
    // consumer gets every stored reading at least once, and is then at rest.
    #[test]
    fn every_stored_reading_is_given(steps in steps()) {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        let mut bench = Bench::open(&path, FINE);
        let mut reader = Reader::open(&path).expect("a reader");
        let mut consumers: [Consumer; 3] = std::array::from_fn(|_| Consumer::default());
        let mut stored = Seen::new();
        let (mut now, mut settled) = (NEW_YEAR, 0);
        for step in steps {
            match step {
                Step::Commit { samples, settled: share, pause_s } => {
                    now += i64::from(pause_s) * 1_000_000;
                    let inputs: Vec<Input> = samples.into_iter().map(|(channel, before, value)| {
                        let at = now - i64::from(before) * 1_000_000;
                        let value = Value::Number(f64::from(value));
                        stored.insert((format!("dm1/{channel}"), at, bits(value)));
                        let sample = Sample { channel: ChannelId(channel), at: Timestamp::from_micros(at), value };
                        Input { now: Timestamp::from_micros(now), event: Event::Sample(sample) }
                    }).collect();
                    let last = bench.store.state.next_input - 1 + inputs.len() as u64;
                    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of few")]
                    let up_to = (last as f64 * share) as u64;
                    settled = settled.max(up_to);
                    bench.commit(&Commit { inputs, settled, ..Commit::default() });
                }
                Step::KeepHouse(steps) => (0..steps).for_each(|_| { bench.keep_house(); }),
                Step::Take { consumer, readings_max } => { consumers[consumer].take(&reader, readings_max); }
                Step::Restart { round_inputs } => {
                    drop(bench);
                    bench = Bench::open(&path, Sizes { round_inputs, ..FINE });
                }
                Step::Migrate => {
                    drop((bench, reader));
                    make_format_1(&path);
                    bench = Bench::open(&path, FINE);
                    reader = Reader::open(&path).expect("a reader");
                    consumers = std::array::from_fn(|_| Consumer::default());
                }
            }
        }
        while bench.keep_house() {}
        for consumer in &mut consumers {
            while consumer.take(&reader, 7) {}
            prop_assert_eq!(consumer.place, Place::after(reader.newest_input().expect("a number")));
            prop_assert_eq!(&consumer.seen, &stored);
        }
    }
}

fn ramp(seconds: std::ops::Range<i64>) -> Vec<Input> {
    let input = |n: i64| {
        let at = Timestamp::from_micros(NEW_YEAR + n * 1_000_000);
        let value = Value::Number(60.0 + f64::from(i32::try_from(n % 7).expect("small")) / 10.0);
        Input { now: at, event: Event::Sample(Sample { channel: ChannelId(0), at, value }) }
    };
    seconds.map(input).collect()
}

// A block that grows while its first round has not been read yet keeps the readings of both.
#[test]
fn a_block_that_grew_is_read_in_both_of_its_rounds() {
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    let mut bench = Bench::open(&path, FINE);
    let reader = Reader::open(&path).expect("a reader");
    bench.commit(&Commit { inputs: ramp(0..10), settled: 10, ..Commit::default() });
    bench.commit(&Commit { inputs: ramp(3_700..3_701), settled: 10, ..Commit::default() });
    while bench.keep_house() {}
    let mut consumer = Consumer::default();
    bench.commit(&Commit { inputs: ramp(3_701..7_400), settled: 3_710, ..Commit::default() });
    // The second round is under way: its block is written, the tail still holds its inputs.
    bench.keep_house();
    while consumer.take(&reader, 4) {}
    assert_eq!(consumer.seen.len(), 10 + 3_700);
    while bench.keep_house() {}
    while consumer.take(&reader, 4) {}
    assert_eq!(consumer.place, Place::after(3_710));
    let mut late = Consumer::default();
    while late.take(&reader, 4) {}
    assert_eq!((late.seen, late.given), (consumer.seen, 10 + 3_700));
}

// A round is broken off when the blocks of one channel are written; the next run makes
// smaller rounds. At every step a consumer that begins gets every reading.
#[test]
fn a_round_that_was_broken_off_hides_nothing() {
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    let reader_of_all = || {
        let reader = Reader::open(&path).expect("a reader");
        let mut consumer = Consumer::default();
        while consumer.take(&reader, 2) {}
        consumer.seen.len()
    };
    let mut bench = Bench::open(&path, FINE);
    for (n, settled) in [(0, 0), (1, 0), (5_000, 6)] {
        let mut inputs: Vec<Input> = (0..CHANNELS).flat_map(|_| ramp(n..n + 1)).collect();
        for (input, channel) in inputs.iter_mut().zip(0..) {
            if let Event::Sample(sample) = &mut input.event {
                sample.channel = ChannelId(channel);
            }
        }
        bench.commit(&Commit { inputs, settled, ..Commit::default() });
    }
    bench.keep_house();
    assert_eq!(bench.store.state.compacted, 0, "the round is under way");
    drop(bench);
    let mut bench = Bench::open(&path, Sizes { round_inputs: 1, ..FINE });
    for _ in 0..10 {
        assert_eq!(reader_of_all(), 9);
        bench.keep_house();
    }
    assert_eq!(bench.store.state.compacted, 6);
}

// A month of one reading in 10 s, read from its beginning: no call gives more than
// was asked for, or one block (16,384 readings, head of `compact.rs`).
#[test]
fn a_month_is_read_in_parts_of_the_size_asked_for() {
    const DAY: i64 = 8_640;
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    let mut bench = Bench::open(&path, Sizes::default());
    for day in 0..30 {
        let inputs = ramp(day * DAY..(day + 1) * DAY);
        let inputs = inputs.into_iter().zip(day * DAY..).map(|(input, n)| {
            let at = Timestamp::from_micros(NEW_YEAR + n * 10_000_000);
            let Event::Sample(sample) = input.event else { return input };
            Input { now: at, event: Event::Sample(Sample { at, ..sample }) }
        });
        let settled = u64::try_from(day * DAY).expect("positive");
        bench.commit(&Commit { inputs: inputs.collect(), settled, ..Commit::default() });
        while bench.keep_house() {}
    }
    let reader = Reader::open(&path).expect("a reader");
    for readings_max in [1_000, 20_000] {
        let mut place = Place::default();
        let (mut total, mut parts) = (0, 0);
        loop {
            let part = reader.feed(place, readings_max).expect("a part");
            if part.next == place {
                break;
            }
            let readings: usize = part.readings.iter().map(|(_, readings)| readings.len()).sum();
            assert!(readings <= readings_max.max(1 << 14), "{readings} of {readings_max}");
            total += readings;
            parts += 1;
            place = part.next;
        }
        assert_eq!(total, 30 * 8_640, "each once");
        assert!(parts < 300, "{parts} parts of {readings_max}");
    }
}

// Pruning may take a round away in which a consumer stands: the next round is begun at its first block.
#[test]
fn a_pruned_round_takes_nothing_of_the_next_with_it() {
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    let mut bench = Bench::open(&path, FINE);
    let reader = Reader::open(&path).expect("a reader");
    for n in 0..6 {
        let inputs = ramp(n * 30_000..n * 30_000 + 10);
        let settled = u64::try_from(n * 10).expect("positive");
        bench.commit(&Commit { inputs, settled, ..Commit::default() });
        while bench.keep_house() {}
    }
    let rounds: Vec<u64> = {
        let mut statement =
            bench.store.connection.prepare("SELECT last FROM round ORDER BY last").expect("rounds");
        let rows = statement.query_map([], |row| row.get(0)).expect("rows");
        rows.collect::<Result<_, _>>().expect("numbers")
    };
    assert_eq!(rounds, [10, 20, 30, 40, 50]);
    // In the middle of the first round, behind a block with an id above all others.
    let place = Place { input: 9, block: 1_000 };
    bench.store.connection.execute("DELETE FROM block WHERE id = 1", []).expect("pruned");
    let part = reader.feed(place, 5).expect("a part");
    assert_eq!(part.next, Place { input: 20, block: 0 });
    assert_eq!(part.readings.iter().map(|(_, readings)| readings.len()).sum::<usize>(), 10);
    assert_eq!(reader.feed(part.next, 5).expect("a part").next, Place { input: 30, block: 0 });
}
