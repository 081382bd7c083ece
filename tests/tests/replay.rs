//! Replay of SenML packs, one a line.

use std::io::{Cursor, Read, Write};
use std::time::Duration;

use rinseward::config::source::ReplaySource;
use rinseward::core::id::{ChannelId, SourceId};
use rinseward::core::reading::Value;
use rinseward::core::time::Timestamp;
use rinseward::probe::replay::{Replay, ReplayProbe};
use rinseward::probe::{FromSource, SourceState};
use rinseward::wire::decoded::Decoded;
use rinseward::wire::directory::{Directory, WireUnit};
use rinseward::wire::refusal::RefusedBecause;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

const PATIENCE: Duration = Duration::from_secs(30);
const NOW: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

/// Two good packs of three readings, a comment, a wrong unit, a cut pack, and a last line without its end.
const MIXED: &str = r#"[{"bn":"dm1/","bt":1700000000,"n":"rinse","u":"Cel","v":1},{"n":"rinse","t":1,"v":2}]

# a comment
[{"n":"dm1/rinse","u":"degF","v":180},{"n":"dm1/rinse","t":-1,"v":3}]
[{"n":"dm1/rinse","v":8
[{"n":"dm1/rinse","v":4}]"#;
const MIXED_VALUES: [f64; 4] = [1.0, 2.0, 3.0, 4.0];
const MIXED_REFUSALS: [RefusedBecause; 3] =
    [RefusedBecause::NotSenml, RefusedBecause::Unit, RefusedBecause::NotSenml];

fn directory() -> Directory {
    let mut directory = Directory::default();
    directory.insert("dm1/rinse".to_owned(), ChannelId(0), WireUnit::Celsius);
    directory
}

fn check(decoded: &Decoded) {
    let values: Vec<_> = decoded.samples.iter().map(|sample| sample.value).collect();
    assert_eq!(values, MIXED_VALUES.map(Value::Number));
    let refusals: Vec<_> = decoded.refusals.iter().map(|refusal| refusal.why).collect();
    assert_eq!(refusals, MIXED_REFUSALS);
}

fn collect(reader: impl Read) -> Decoded {
    let mut all = Decoded::default();
    for block in Replay::new(reader, directory(), || NOW) {
        let block = block.expect("the reader does not fail");
        all.samples.extend(block.samples);
        all.refusals.extend(block.refusals);
    }
    all
}

/// A reader that gives a few bytes at a time.
struct Trickle<'t>(&'t [u8], usize);

impl Read for Trickle<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let count = self.1.min(self.0.len()).min(buffer.len());
        buffer[..count].copy_from_slice(&self.0[..count]);
        self.0 = &self.0[count..];
        Ok(count)
    }
}

#[test]
fn gives_the_same_whatever_the_pieces() {
    check(&collect(Cursor::new(MIXED)));
    for count in [1, 2, 3, 7, 64] {
        check(&collect(Trickle(MIXED.as_bytes(), count)));
    }
    assert_eq!(collect(Cursor::new("")), Decoded::default());
}

// Live input: a pack is there as soon as its line is, long before the input ends.
#[test]
fn does_not_wait_for_the_end_of_a_pipe() {
    let (reader, mut writer) = std::io::pipe().expect("a pipe");
    let mut replay = Replay::new(reader, directory(), || NOW);
    for number in 0..3_u8 {
        writeln!(writer, r#"[{{"n":"dm1/rinse","v":{number}}}]"#).expect("the pipe is open");
        let block = replay.next().expect("not the end").expect("the pipe is readable");
        assert_eq!(block.samples.len(), 1);
        assert_eq!(block.samples[0].value, Value::Number(f64::from(number)));
    }
    drop(writer);
    assert!(replay.next().is_none());
}

#[test]
fn tells_a_read_error_once_and_ends() {
    struct Broken;
    impl Read for Broken {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("bad sector"))
        }
    }
    let mut replay = Replay::new(MIXED.as_bytes().chain(Broken), directory(), || NOW);
    let block = replay.next().expect("the good part comes first").expect("it is readable");
    // The line that the error cut off does not count as whole.
    assert_eq!(block.samples.len(), MIXED_VALUES.len() - 1);
    assert!(replay.next().expect("the error").is_err());
    assert!(replay.next().is_none());
}

// The file appears only after the source has found it missing.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn delivers_a_file_and_ends() {
    let folder = tempfile::tempdir().expect("a directory");
    let path = folder.path().join("trace.senml");
    let (to, mut from) = mpsc::channel(1);
    let probe = ReplayProbe {
        source: SourceId(3),
        name: "trace".to_owned(),
        settings: ReplaySource { path: Some(path.clone()) },
        directory: directory(),
        now: || NOW,
    };
    let task = tokio::spawn(probe.run(to, CancellationToken::new()));
    let (mut all, mut states, mut numbers) = (Decoded::default(), Vec::new(), Vec::new());
    while let Some(message) = tokio::time::timeout(PATIENCE, from.recv()).await.expect("in time") {
        match message {
            FromSource::State { source, state } => {
                assert_eq!(source, SourceId(3));
                if let SourceState::Down { cause } = &state {
                    assert!(cause.contains("No such file"), "{cause}");
                    std::fs::write(&path, MIXED).expect("a writable directory");
                }
                states.push(std::mem::discriminant(&state));
            }
            FromSource::Unit { unit, .. } => panic!("a file has no unit {unit}"),
            FromSource::Delivery(delivery) => {
                numbers.push(delivery.number);
                all.samples.extend(delivery.samples);
                all.refusals.extend(delivery.refusals);
            }
        }
    }
    task.await.expect("it does not panic");
    check(&all);
    let down = SourceState::Down { cause: String::new() };
    let expected = [down, SourceState::Up, SourceState::Ended].map(|state| std::mem::discriminant(&state));
    assert_eq!(states, expected);
    assert_eq!(numbers, (1..=numbers.len() as u64).collect::<Vec<_>>());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn stops_when_asked_although_nobody_takes_what_it_has() {
    let folder = tempfile::tempdir().expect("a directory");
    let path = folder.path().join("trace.senml");
    std::fs::write(&path, "[{\"n\":\"dm1/rinse\",\"v\":1}]\n".repeat(100_000)).expect("a writable directory");
    let (to, mut from) = mpsc::channel(1);
    let stop = CancellationToken::new();
    let probe = ReplayProbe {
        source: SourceId(0),
        name: "trace".to_owned(),
        settings: ReplaySource { path: Some(path) },
        directory: directory(),
        now: || NOW,
    };
    let task = tokio::spawn(probe.run(to, stop.clone()));
    from.recv().await.expect("it is up");
    from.recv().await.expect("a delivery");
    stop.cancel();
    tokio::time::timeout(PATIENCE, task).await.expect("it stops in time").expect("it does not panic");
}
