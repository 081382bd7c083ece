//! A gateway's ledger made as the gateway makes it: readings through the real core into the real
//! ledger, on a clock of their own.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use rinseward::app::series::LedgerStock;
use rinseward::config::load::Loaded;
use rinseward::config::resolve::Configuration;
use rinseward::core::effect::Effect;
use rinseward::core::id::ChannelId;
use rinseward::core::reading::{Sample, Value};
use rinseward::core::record::Body;
use rinseward::core::site::{Event, Site};
use rinseward::core::time::Timestamp;
use rinseward::ledger::{
    Commit, CycleFilter, Input, MachineSnapshot, Names, NewRecord, Options, Reader, Writer,
};
use rinseward::series::load::Loader;
use rinseward::series::reading::ReadingPoints;

/// Seconds from the start of one rack to the start of the next in the rush: wash 45 s, rinse 12 s, loading.
const RACK_S: f64 = 75.0;

/// A kitchen of some machines, each with a wash and a rinse probe, in the rush.
pub(crate) struct Kitchen {
    _directory: tempfile::TempDir,
    pub(crate) path: PathBuf,
    pub(crate) loaded: Loaded,
    pub(crate) writer: Arc<Writer>,
    site: Site,
    effects: Vec<Effect>,
    commit: Commit,
    inputs: u64,
    after: Vec<u64>,
    /// Seconds between two readings of a probe.
    every_s: f64,
    /// Samples sent so far, by channel.
    pub(crate) sampled: u64,
}

impl Kitchen {
    /// Machines, and readings a second of each probe; `url` is the series server.
    pub(crate) fn open(machines: u16, hertz: f64, url: &str, now: Timestamp) -> Self {
        let directory = tempfile::TempDir::new_in("/dev/shm").or_else(|_| tempfile::TempDir::new());
        let directory = directory.expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        let mut text = format!("[ledger]\npath = \"{}\"\n", path.display());
        write!(text, "[series]\nurl = \"{url}\"\norganisation = \"kitchens\"\nbucket = \"rinseward\"\n")
            .expect("text");
        for machine in 1..=machines {
            write!(
                text,
                "[[machine]]\nname = \"dm{machine}\"\nkind = \"stationary-rack-dual-temperature\"\n\
                 wash-time = \"45s\"\nrinse-time = \"12s\"\nprobes = [\"wash\", \"rinse\"]\n"
            )
            .expect("text");
        }
        let file = directory.path().join("gateway.toml");
        std::fs::write(&file, text).expect("our own directory");
        let loaded = Configuration::load(&[file], []).expect("a legal configuration");
        let writer = Arc::new(open(&path, &loaded.configuration, now));
        let site = Site::new(&loaded.configuration.machines, &loaded.configuration.channels);
        Self {
            _directory: directory,
            path,
            writer,
            site,
            effects: Vec::new(),
            commit: Commit::default(),
            inputs: 0,
            after: vec![0; usize::from(machines)],
            every_s: 1.0 / hertz,
            sampled: 0,
            loaded,
        }
    }

    /// Works from one instant to another, a commit for each `commit_s` seconds.
    pub(crate) fn work(&mut self, from: Timestamp, seconds: f64, commit_s: f64) {
        let steps = (seconds / self.every_s).round();
        let (mut step, mut since) = (0.0, 0.0);
        while step < steps {
            let at = from.plus(Duration::from_secs_f64(step * self.every_s));
            for channel in 0..u16::try_from(self.loaded.configuration.channels.len()).expect("few") {
                let celsius = celsius(channel, step * self.every_s);
                let sample = Sample { channel: ChannelId(channel), at, value: Value::Number(celsius) };
                self.apply(at, Event::Sample(sample));
                self.sampled += 1;
            }
            (step, since) = (step + 1.0, since + self.every_s);
            if since >= commit_s {
                self.commit();
                since = 0.0;
            }
        }
        self.commit();
    }

    fn apply(&mut self, now: Timestamp, event: Event) {
        self.commit.inputs.push(Input { now, event });
        self.inputs += 1;
        self.site.handle(now, event, &mut self.effects);
        for effect in self.effects.drain(..) {
            match effect {
                Effect::Record { record, trace } => {
                    self.commit.records.push(NewRecord { record: *record, trace: trace.map(|trace| *trace) });
                }
                Effect::Snapshot { machine, state } => {
                    self.after[usize::from(machine.0)] = self.inputs;
                    self.commit.snapshots.retain(|snapshot| snapshot.machine != machine);
                    self.commit.snapshots.push(MachineSnapshot { machine, after: self.inputs, state });
                }
            }
        }
    }

    fn commit(&mut self) {
        let mut commit = std::mem::take(&mut self.commit);
        commit.settled = self.after.iter().copied().min().unwrap_or(0);
        let (done, stored) = sync_channel(1);
        self.writer.submit(commit, Box::new(move |result| done.send(result.map(|_| ())).expect("room")));
        stored.recv().expect("an answer").expect("the ledger takes it");
    }

    /// The ledger as the series reads it.
    pub(crate) fn loader(&self) -> Arc<Loader<LedgerStock>> {
        let configuration = &self.loaded.configuration;
        let channels = configuration.channels.iter().map(|channel| channel.name.to_string()).collect();
        let writer = Arc::clone(&self.writer);
        let keeper = Box::new(move |append, done| writer.append(append, done));
        let stock = LedgerStock::new(&self.path, keeper, channels);
        let options = configuration.series.as_ref().expect("a [series]");
        let points = ReadingPoints::new(configuration, options.readings);
        Arc::new(Loader::new(stock, points, configuration.site.clone()))
    }

    /// Every reading of the ledger, see [`readings`].
    pub(crate) fn readings(&self) -> BTreeMap<String, Vec<i64>> {
        let names = self.loaded.configuration.channels.iter().map(|channel| channel.name.to_string());
        readings(&self.path, names)
    }
}

/// Every reading of these channels in a ledger: by channel the times in µs, in order.
pub(crate) fn readings(path: &Path, channels: impl Iterator<Item = String>) -> BTreeMap<String, Vec<i64>> {
    let reader = Reader::open(path).expect("a ledger");
    let all = channels.map(|name| {
        let readings = reader.readings(&name, Timestamp::MIN, Timestamp::MAX).expect("readings");
        (name, readings.iter().map(|reading| reading.at.micros()).collect())
    });
    all.collect()
}

/// Every cycle of a ledger: by machine the starts of the final rinse in µs, in order.
pub(crate) fn cycles(path: &Path) -> BTreeMap<String, Vec<i64>> {
    let reader = Reader::open(path).expect("a ledger");
    let mut all: BTreeMap<String, Vec<i64>> = BTreeMap::new();
    let take = |_, _: &[u8], record: rinseward::core::record::Record| {
        if let (Body::Cycle(cycle), Some(machine)) = (&record.body, &record.machine) {
            all.entry(machine.clone()).or_default().push(cycle.rinse_started.micros());
        }
        ControlFlow::Continue(())
    };
    reader.cycles(&CycleFilter::default(), take).expect("cycles");
    all
}

fn open(path: &Path, configuration: &Configuration, now: Timestamp) -> Writer {
    let machines: Vec<String> = configuration.machines.iter().map(|machine| machine.name.clone()).collect();
    let channels: Vec<String> =
        configuration.channels.iter().map(|channel| channel.name.to_string()).collect();
    let options = Options { path: path.to_owned(), block_retention: configuration.ledger.block_retention };
    let names = Names { machines: &machines, channels: &channels };
    Writer::open(&options, names, now).expect("the ledger opens").0
}

/// A rack every [`RACK_S`]: after 50 s of wash the rinse line rises to 85 °C within seconds for 12 s, and
/// cools afterwards. Made up after the shape of a real trace; tenths of a degree.
fn celsius(channel: u16, second: f64) -> f64 {
    let phase = (second + 11.0 * f64::from(channel / 2)) % RACK_S;
    let is_wash = channel.is_multiple_of(2);
    let celsius = if is_wash {
        66.0 + 0.3 * (second / 40.0).sin()
    } else if (50.0..62.0).contains(&phase) {
        85.5 - 25.0 * (-(phase - 50.0) / 0.8).exp()
    } else {
        let since = if phase < 50.0 { phase + RACK_S - 62.0 } else { phase - 62.0 };
        58.0 + 27.5 * (-since / 30.0).exp()
    };
    (celsius * 10.0).round() / 10.0
}
