//! A pump at work on the ledger of a kitchen, and what it sent when.

use std::collections::BTreeMap;
use std::future::Future;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use rinseward::core::time::Timestamp;
use rinseward::series::answer::Outcome;
use rinseward::series::batch::Lines;
use rinseward::series::pump::{Inbox, Parts, Pump, Request, Server, Standing};
use rinseward::series::sender::Sender;
use rinseward::series::wait::Waits;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use super::kitchen::{Kitchen, cycles};
use super::victoria::{Series, Victoria};

/// Waits short enough for a test.
pub(crate) const QUICK: Waits = Waits {
    first: Duration::from_millis(5),
    longest: Duration::from_millis(50),
    person: Duration::from_millis(50),
    asked_max: Duration::from_secs(1),
};

/// A clock that a test sets.
#[derive(Clone, Debug)]
pub(crate) struct Hands(Arc<AtomicI64>);

impl Hands {
    pub(crate) fn at(now: Timestamp) -> Self {
        Self(Arc::new(AtomicI64::new(now.micros())))
    }

    pub(crate) fn set(&self, now: Timestamp) {
        self.0.store(now.micros(), Ordering::SeqCst);
    }

    fn now(&self) -> Timestamp {
        Timestamp::from_micros(self.0.load(Ordering::SeqCst))
    }
}

/// One request that was taken.
#[derive(Clone, Debug)]
pub(crate) struct Sent {
    /// How many lines, and how many bytes.
    pub(crate) lines: usize,
    pub(crate) bytes: usize,
    /// Latest time of a reading in it, in ns.
    pub(crate) newest_ns: i64,
}

/// What was sent, in order.
#[derive(Clone, Debug, Default)]
pub(crate) struct Log(Arc<Mutex<(Vec<Sent>, usize)>>);

impl Log {
    fn open(&self) -> MutexGuard<'_, (Vec<Sent>, usize)> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What was taken so far.
    pub(crate) fn sent(&self) -> Vec<Sent> {
        self.open().0.clone()
    }

    /// How many requests were tried, taken or not.
    pub(crate) fn tries(&self) -> usize {
        self.open().1
    }
}

/// The sender of the gateway, with a log.
pub(crate) struct Logged {
    sender: Sender,
    log: Log,
    /// Added to each request, so that a fast server shows what happens while it drains.
    slow: Duration,
}

impl Server for Logged {
    async fn write(&self, lines: Lines<'_>) -> Outcome {
        self.log.open().1 += 1;
        let outcome = self.sender.write(lines).await;
        tokio::time::sleep(self.slow).await;
        if outcome == Outcome::Taken {
            let text = std::str::from_utf8(lines.bytes()).expect("lines are text");
            let readings = text.lines().filter(|line| line.starts_with("reading,"));
            let times = readings.filter_map(|line| line.rsplit_once(' ')?.1.parse::<i64>().ok());
            let newest_ns = times.max().unwrap_or(0);
            self.log.open().0.push(Sent { lines: lines.len(), bytes: lines.bytes().len(), newest_ns });
        }
        outcome
    }
}

/// A running pump.
pub(crate) struct Pumping {
    pub(crate) requests: mpsc::Sender<Request>,
    pub(crate) standing: watch::Receiver<Standing>,
    pub(crate) tide: watch::Sender<u64>,
    stop: CancellationToken,
    task: tokio::task::JoinHandle<()>,
}

/// Starts a pump on a kitchen's ledger that writes to this address.
pub(crate) async fn pump(kitchen: &Kitchen, url: &str, hands: &Hands, log: &Log, slow: Duration) -> Pumping {
    let mut options = kitchen.loaded.configuration.series.clone().expect("a [series]");
    options.url = url.parse().expect("an address");
    options.timeout = Duration::from_secs(5);
    let sender = Sender::new(&options).expect("sound settings");
    let (told, standing) = watch::channel(Standing::default());
    let hands = hands.clone();
    let parts = Parts {
        loader: kitchen.loader(),
        server: Logged { sender, log: log.clone(), slow },
        options,
        now: Arc::new(move || hands.now()),
        standing: told,
        waits: QUICK,
    };
    let (tide, tide_out) = watch::channel(0);
    let (requests, requests_out) = mpsc::channel(4);
    let stop = CancellationToken::new();
    let mut inbox = Inbox { requests: requests_out, tide: tide_out, stop: stop.clone() };
    let pump = Pump::open(parts).await.expect("a ledger");
    let task = tokio::spawn(async move { pump.run(&mut inbox).await.expect("a ledger that can be read") });
    Pumping { requests, standing, tide, stop, task }
}

impl Pumping {
    /// Ends it in order.
    pub(crate) async fn stop(self) {
        self.stop.cancel();
        self.task.await.expect("no panic");
    }

    /// Ends it as a kill of the process would: between any two of its steps.
    pub(crate) async fn kill(self) {
        self.task.abort();
        assert!(self.task.await.is_err_and(|error| error.is_cancelled()), "aborted");
    }

    /// Waits until nothing is left to send.
    pub(crate) async fn until_sent(&mut self, within: Duration) {
        let standing = &mut self.standing;
        until(within, "all to be sent", || {
            let standing = standing.borrow_and_update();
            let none = standing.readings_behind == 0 && standing.records_behind == 0;
            none && standing.last_taken.is_some() && standing.trouble.is_none()
        })
        .await;
    }
}

/// Waits with a deadline.
pub(crate) async fn until(within: Duration, what: &str, mut is_so: impl FnMut() -> bool) {
    let deadline = Instant::now() + within;
    while !is_so() {
        assert!(Instant::now() < deadline, "waited {within:?} for {what}");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

/// Runs work that blocks beside the pump.
pub(crate) fn beside<Answer>(work: impl FnOnce() -> Answer) -> Answer {
    tokio::task::block_in_place(work)
}

/// Every reading and every cycle of the ledger is on the server once, and nothing else is.
pub(crate) fn assert_the_server_has_it_all(kitchen: &Kitchen, server: &Victoria) {
    assert_the_server_has(&kitchen.readings(), server);
    let wanted = cut(&cycles(&kitchen.path));
    let by_machine = |series: &[Series]| -> BTreeMap<String, Vec<i64>> {
        series.iter().map(|series| (series.metric["machine"].clone(), series.timestamps.clone())).collect()
    };
    let found = server.export_whole("{__name__=\"cycle_verdict\"}", |series| by_machine(series) == wanted);
    assert_same(&by_machine(&found), &wanted, "cycles");
}

/// The server has these readings once, and no others.
pub(crate) fn assert_the_server_has(readings: &BTreeMap<String, Vec<i64>>, server: &Victoria) {
    assert_same(&on_the_server(readings, server), &cut(readings), "readings");
}

/// The times of the readings that the server has, in ms, by probe; asked for until they are these
/// `readings`, or something more has arrived.
pub(crate) fn on_the_server(
    readings: &BTreeMap<String, Vec<i64>>,
    server: &Victoria,
) -> BTreeMap<String, Vec<i64>> {
    let wanted = cut(readings);
    let by_probe = |series: &[Series]| {
        let mut found = BTreeMap::new();
        for Series { metric, timestamps, .. } in series {
            let name = format!("{}/{}", metric["machine"], metric["probe"]);
            assert!(found.insert(name, timestamps.clone()).is_none(), "one series for each probe");
        }
        found
    };
    by_probe(&server.export_whole("{__name__=\"reading_celsius\"}", |series| by_probe(series) == wanted))
}

/// To milliseconds, as the server keeps them.
pub(crate) fn cut(times: &BTreeMap<String, Vec<i64>>) -> BTreeMap<String, Vec<i64>> {
    let millis = |times: &Vec<i64>| times.iter().map(|micros| micros / 1_000).collect();
    times.iter().map(|(name, times)| (name.clone(), millis(times))).collect()
}

pub(crate) fn assert_same(
    found: &BTreeMap<String, Vec<i64>>,
    wanted: &BTreeMap<String, Vec<i64>>,
    what: &str,
) {
    assert!(!wanted.is_empty(), "there are {what}");
    let names = |map: &BTreeMap<String, Vec<i64>>| map.keys().cloned().collect::<Vec<String>>();
    assert_eq!(names(found), names(wanted), "{what}");
    for (name, wanted) in wanted {
        let found = &found[name];
        let first = found.iter().zip(wanted).position(|(found, wanted)| found != wanted);
        let (has, should) = (found.len(), wanted.len());
        assert!(
            has == should && first.is_none(),
            "{what} of {name}: {has} of {should}; the first that differs is {first:?}"
        );
    }
}

/// So that a future is named without its type.
pub(crate) fn runtime<Answer>(work: impl Future<Output = Answer>) -> Answer {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(3).enable_all().build();
    runtime.expect("a runtime").block_on(work)
}
