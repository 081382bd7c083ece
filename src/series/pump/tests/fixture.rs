//! A ledger in memory and a server that answers as told.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

use super::super::*;
use crate::config::resolve::Configuration;
use crate::core::on_file::OnFile;
use crate::core::reading::Value;
use crate::core::record::{Body, Record, ServiceStop, StopCause};
use crate::series::answer::{Denial, Fault, Missing, Refusal, Thing};
use crate::series::reading::{Reading, ReadingPoints, Stretch};
use crate::series::stock::Part;
use crate::series::track::{Place, Run, Span};

pub(super) const NOON: Timestamp = Timestamp::from_micros(1_767_268_800_000_000);

const CONFIGURATION: &str = r#"
[[machine]]
name = "dm1"
kind = "stationary-rack-dual-temperature"
probes = ["wash", "rinse"]

[series]
url = "http://127.0.0.1:1/"
organisation = "kitchens"
bucket = "rinseward"
batch-points = 1000
"#;

pub(super) fn configuration() -> Configuration {
    let directory = tempfile::tempdir().expect("the system has a directory for temporary files");
    let path: PathBuf = directory.path().join("gateway.toml");
    std::fs::write(&path, CONFIGURATION).expect("the directory was just made");
    Configuration::load(&[path], []).expect("a legal configuration").configuration
}

/// What a ledger in memory holds.
#[derive(Debug, Default)]
pub(super) struct Shelf {
    pub(super) inputs: u64,
    pub(super) records: u64,
    pub(super) bookmark: Option<Vec<u8>>,
    pub(super) aside: Vec<Aside>,
    pub(super) refuses: bool,
}

/// A ledger whose input n is the reading of second n, by turns of two probes.
#[derive(Clone, Debug, Default)]
pub(super) struct Memory(Arc<Mutex<Shelf>>);

#[derive(Debug, thiserror::Error)]
#[error("the ledger in memory refuses")]
pub(super) struct Refuses;

impl Memory {
    pub(super) fn shelf(&self) -> MutexGuard<'_, Shelf> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

pub(super) fn measured(input: u64) -> Timestamp {
    NOON.plus(Duration::from_secs(input))
}

impl Stock for Memory {
    type Failure = Refuses;

    fn bookmark(&self) -> Result<Option<Vec<u8>>, Refuses> {
        Ok(self.shelf().bookmark.clone())
    }

    fn heads(&self) -> Result<Heads, Refuses> {
        let shelf = self.shelf();
        Ok(Heads { inputs: shelf.inputs, records: shelf.records })
    }

    fn readings(&self, from: Place, readings_max: usize) -> Result<Part, Refuses> {
        let end = self.shelf().inputs.min(from.input + readings_max as u64);
        let mut channels: BTreeMap<&str, Vec<Reading>> = BTreeMap::new();
        for input in from.input + 1..=end {
            let name = if input % 2 == 0 { "dm1/wash" } else { "dm1/rinse" };
            let value = Value::Number(60.0);
            channels.entry(name).or_default().push(Reading { at: measured(input), value });
        }
        let stretch = |(name, readings): (&str, _)| Stretch { channel: name.to_owned(), readings };
        let readings = channels.into_iter().map(stretch).collect();
        Ok(Part { next: Place { input: end, block: 0 }, readings, damaged: Vec::new() })
    }

    fn on_file(&self) -> Result<Arc<OnFile>, Self::Failure> {
        Ok(Arc::default())
    }

    fn records(&self, run: Run, records_max: usize) -> Result<Vec<(u64, Record)>, Refuses> {
        let end = self.shelf().records.min(run.to).min(run.from + records_max as u64);
        Ok((run.from..end).map(|index| (index, record(index))).collect())
    }

    fn alerts(&self, _: Run, _: usize) -> Result<Vec<(u64, Record)>, Refuses> {
        Ok(Vec::new())
    }

    fn channels(&self) -> &[String] {
        &[]
    }

    fn window(&self, _: &str, _: Timestamp, _: Timestamp) -> Result<Vec<Reading>, Refuses> {
        Ok(Vec::new())
    }

    fn next_reading(&self, _: Timestamp) -> Result<Option<Timestamp>, Refuses> {
        Ok(None)
    }

    fn settled(&self, _: &Span) -> Result<Vec<i64>, Refuses> {
        Ok(Vec::new())
    }

    async fn keep(
        &self,
        bookmark: Vec<u8>,
        aside: Vec<Aside>,
        _: Vec<i64>,
        _: Timestamp,
    ) -> Result<(), Refuses> {
        tokio::task::yield_now().await;
        let mut shelf = self.shelf();
        if shelf.refuses {
            return Err(Refuses);
        }
        shelf.bookmark = Some(bookmark);
        shelf.aside.extend(aside);
        Ok(())
    }
}

fn record(index: u64) -> Record {
    let at = NOON.plus(Duration::from_secs(index));
    Record::new(at, None, Body::ServiceStop(ServiceStop { cause: StopCause::Signal }))
}

/// What a server does with the next request.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Act {
    Take,
    /// Takes everything, and the answer is lost.
    TakeInSilence,
    /// Takes the first half, and the connection breaks.
    TakeHalf,
    Away,
    Busy(Option<u64>),
    TooLarge,
    Deny,
    Miss,
    RefuseAll,
}

/// What a server has, and what it is going to do.
#[derive(Debug, Default)]
pub(super) struct Desk {
    /// Lines it has, without those about the gateway itself.
    pub(super) lines: BTreeSet<String>,
    /// When each request came, and how many lines it held.
    pub(super) requests: Vec<(Duration, usize)>,
    /// What it does, the next one last; afterwards it takes everything.
    pub(super) acts: Vec<Act>,
    /// Lines that hold this are refused.
    pub(super) poison: Option<String>,
    /// Most bytes of one request.
    pub(super) largest: usize,
}

#[derive(Clone, Debug)]
pub(super) struct Scripted {
    desk: Arc<Mutex<Desk>>,
    started: Instant,
    pub(super) takes: Duration,
}

impl Scripted {
    pub(super) fn new(acts: &[Act]) -> Self {
        let desk = Desk { acts: acts.iter().rev().copied().collect(), ..Desk::default() };
        Self { desk: Arc::new(Mutex::new(desk)), started: Instant::now(), takes: Duration::from_millis(10) }
    }

    /// For how long it has been there.
    pub(super) fn started(&self) -> Duration {
        self.started.elapsed()
    }

    pub(super) fn desk(&self) -> MutexGuard<'_, Desk> {
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Readings and records that it has.
    pub(super) fn counts(&self) -> (usize, usize) {
        let desk = self.desk();
        let readings = desk.lines.iter().filter(|line| line.starts_with("reading,")).count();
        (readings, desk.lines.len() - readings)
    }
}

impl Server for Scripted {
    async fn write(&self, lines: Lines<'_>) -> Outcome {
        tokio::time::sleep(self.takes / 2).await;
        let (outcome, text) = {
            let mut desk = self.desk();
            let elapsed = self.started.elapsed();
            desk.requests.push((elapsed, lines.len()));
            (desk.answer(lines), std::str::from_utf8(lines.bytes()).expect("lines are text").to_owned())
        };
        tokio::time::sleep(self.takes / 2).await;
        drop(text);
        outcome
    }
}

impl Desk {
    fn answer(&mut self, lines: Lines<'_>) -> Outcome {
        let text = std::str::from_utf8(lines.bytes()).expect("lines are text");
        let poison = self.poison.clone();
        let is_bad = move |line: &str| poison.as_ref().is_some_and(|word| line.contains(word.as_str()));
        if self.largest > 0 && text.len() > self.largest {
            return Outcome::TooLarge;
        }
        let mut take = |part: usize| {
            let own = text.lines().take(part).filter(|line| !line.starts_with("gateway,"));
            self.lines.extend(own.filter(|line| !is_bad(line)).map(str::to_owned));
        };
        let fault = |fault| Outcome::Later(fault);
        let act = match self.acts.pop() {
            // What is too large as a single line is set aside, which is another test.
            Some(Act::TooLarge) if lines.len() == 1 => Act::Take,
            Some(act) => act,
            None => Act::Take,
        };
        match act {
            Act::Take if text.lines().any(&is_bad) => {
                // As InfluxDB 2 does with a field of another type: the others are written.
                take(lines.len());
                Outcome::Refused(refusal("partial write: field type conflict", None))
            }
            Act::Take => {
                take(lines.len());
                Outcome::Taken
            }
            Act::TakeInSilence => {
                take(lines.len());
                fault(Fault::Timeout)
            }
            Act::TakeHalf => {
                take(lines.len() / 2);
                fault(Fault::Cut)
            }
            Act::Away => fault(Fault::ConnectionRefused),
            Act::Busy(seconds) => {
                Outcome::Busy { status: 429, retry_after: seconds.map(Duration::from_secs) }
            }
            Act::TooLarge => Outcome::TooLarge,
            Act::Deny => Outcome::Denied(Denial { status: 401, message: None }),
            Act::Miss => Outcome::Missing(Missing { what: Thing::Bucket, message: None }),
            Act::RefuseAll => {
                self.acts.push(Act::RefuseAll);
                Outcome::Refused(refusal("unprocessable entity", None))
            }
        }
    }
}

fn refusal(message: &str, dropped: Option<usize>) -> Refusal {
    Refusal { status: 422, message: Some(message.to_owned()), line: None, dropped }
}

/// A pump at work, and the way to it.
pub(super) struct Work {
    pub(super) requests: mpsc::Sender<Request>,
    pub(super) tide: watch::Sender<u64>,
    pub(super) stop: CancellationToken,
    pub(super) standing: watch::Receiver<Standing>,
    pub(super) task: tokio::task::JoinSet<Result<(), PumpError<Refuses>>>,
}

/// Starts a pump.
pub(super) async fn start(memory: &Memory, server: &Scripted) -> Work {
    let configuration = configuration();
    let options = configuration.series.clone().expect("a [series]");
    let points = ReadingPoints::new(&configuration, options.readings);
    let loader = Arc::new(Loader::new(memory.clone(), points, configuration.site.clone()));
    let (told, standing) = watch::channel(Standing::default());
    let started = Instant::now();
    let parts = Parts {
        loader,
        server: server.clone(),
        options,
        now: Arc::new(move || NOON.plus(started.elapsed())),
        standing: told,
        waits: Waits::default(),
    };
    let (tide, tide_out) = watch::channel(0);
    let (requests, requests_out) = mpsc::channel(4);
    let stop = CancellationToken::new();
    let pump = Pump::open(parts).await.expect("a bookmark or none");
    let mut inbox = Inbox { requests: requests_out, tide: tide_out, stop: stop.clone() };
    let mut task = tokio::task::JoinSet::new();
    task.spawn(async move { pump.run(&mut inbox).await });
    Work { requests, tide, stop, standing, task }
}

impl Work {
    /// Ends it in order.
    pub(super) async fn stop(mut self) {
        self.stop.cancel();
        let ended = self.task.join_next().await.expect("one task").expect("no panic");
        ended.expect("a ledger in memory can be read");
    }
}
