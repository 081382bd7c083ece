//! The driver against a ledger that answers as told. The rows stand on the
//! promises in the module's own description; no outside source applies.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};

use tokio::task::JoinHandle;

use super::*;
use crate::config::resolve::Configuration;
use crate::core::id::{ChannelId, MachineId, SourceId};
use crate::core::reading::{Sample, Value};
use crate::core::record::{Check, ServiceStart};
use crate::core::site::Entered;
use crate::core::site::Site;
use crate::probe::Delivery;
use crate::wire::refusal::{Refusal, RefusedBecause};

const START: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);
const LIMITS: Limits = Limits {
    commit_interval: Duration::from_secs(1),
    ahead_max: Duration::from_secs(60),
    drain_within: Duration::from_secs(4),
};

#[derive(Clone, Copy, Debug)]
enum Answer {
    Commit,
    Refuse { again: bool },
    Nothing,
}

#[derive(Debug, thiserror::Error)]
#[error("disk full")]
struct DiskFull;

/// Answers the first commits as told and commits the rest.
#[derive(Clone, Debug, Default)]
struct Script {
    seen: Arc<Mutex<Seen>>,
}

#[derive(Debug, Default)]
struct Seen {
    answers: VecDeque<Answer>,
    held: Vec<oneshot::Sender<Outcome<DiskFull>>>,
    commits: Vec<(Instant, usize, Vec<&'static str>)>,
    told: Vec<&'static str>,
}

impl Script {
    fn new(answers: &[Answer]) -> Self {
        let seen = Seen { answers: answers.iter().copied().collect(), ..Seen::default() };
        Self { seen: Arc::new(Mutex::new(seen)) }
    }

    fn with<T>(&self, look: impl FnOnce(&mut Seen) -> T) -> T {
        look(&mut self.seen.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Store for Script {
    type Error = DiskFull;

    fn submit(&self, commit: Commit, done: oneshot::Sender<Outcome<DiskFull>>) {
        self.with(|seen| {
            let kinds = commit.records.iter().map(|new| new.record.body.kind()).collect();
            seen.commits.push((Instant::now(), commit.inputs.len(), kinds));
            let outcome = match seen.answers.pop_front().unwrap_or(Answer::Commit) {
                Answer::Commit => Outcome::Committed { first_index: Some(7) },
                Answer::Refuse { again } => {
                    Outcome::Refused { commit: Box::new(commit), again, error: DiskFull }
                }
                Answer::Nothing => {
                    seen.held.push(done);
                    return;
                }
            };
            drop(done.send(outcome));
        });
    }

    fn tell_refused(&self, _error: &DiskFull) {
        self.with(|seen| seen.told.push("refused"));
    }

    fn tell_accepted_again(&self) {
        self.with(|seen| seen.told.push("accepted"));
    }
}

/// A running driver and one link to it.
struct Bench {
    script: Script,
    clock: Clock,
    stop: CancellationToken,
    sender: mpsc::Sender<Inbound>,
    link: Link,
    published: broadcast::Receiver<Arc<Published>>,
    task: JoinHandle<Result<(), DriverError<DiskFull>>>,
    started: Instant,
    checks: mpsc::Sender<Entry>,
}

impl Bench {
    fn start(answers: &[Answer], eager_after: Option<u64>) -> Self {
        Self::start_with(Gather::new(site(), 1), answers, eager_after)
    }

    fn start_with(gather: Gather, answers: &[Answer], eager_after: Option<u64>) -> Self {
        let script = Script::new(answers);
        let clock = Clock::manual(START, 1.0);
        let (checks, entered) = mpsc::channel(CHECKS_MAX);
        let driver = Driver::new(clock.clone(), LIMITS, script.clone(), gather).with_checks(entered);
        let published = driver.published();
        let (sender, inbound) = mpsc::channel(INBOUND_MAX);
        let stop = CancellationToken::new();
        #[expect(clippy::disallowed_methods, reason = "the bench watches the one task it starts")]
        let task = tokio::spawn(driver.run(inbound, stop.clone()));
        let link = Link { id: 1, committed: watch::Sender::new(0), eager_after };
        Self { script, clock, stop, sender, link, published, task, started: Instant::now(), checks }
    }

    fn delivery(&self, number: u64, samples: Vec<Sample>, refusals: Vec<Refusal>) -> Inbound {
        let received = self.clock.now();
        let delivery = Delivery { source: SourceId(0), number, received, messages: 1, samples, refusals };
        Inbound { link: self.link.clone(), message: FromSource::Delivery(delivery) }
    }

    async fn deliver(&self, number: u64, samples: Vec<Sample>) {
        let inbound = self.delivery(number, samples, Vec::new());
        self.sender.send(inbound).await.expect("the driver runs");
    }

    async fn end(self) -> (Script, Result<(), DriverError<DiskFull>>) {
        drop(self.sender);
        (self.script, self.task.await.expect("the driver does not panic"))
    }
}

/// One machine with one probe.
fn site() -> Site {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path().join("gateway.toml");
    let text =
        "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n";
    std::fs::write(&path, text).expect("a temporary file");
    let configuration = Configuration::load(&[path], []).expect("a sound configuration").configuration;
    Site::new(&configuration.machines, &configuration.channels)
}

fn sample(at: Timestamp) -> Sample {
    Sample { channel: ChannelId(0), at, value: Value::Number(20.0) }
}

#[tokio::test(start_paused = true)]
async fn a_refused_commit_is_kept_told_once_and_tried_again() {
    let refuse = Answer::Refuse { again: true };
    let mut bench = Bench::start(&[refuse, refuse, refuse], None);
    bench.deliver(1, vec![sample(START), sample(START)]).await;
    let mut committed = bench.link.committed.subscribe();
    committed.changed().await.expect("the link lives");
    assert_eq!(*committed.borrow(), 1, "acknowledged by the commit that passed, not before");
    // Interval 1 s, then waits of 1, 2 and 4 s.
    assert_eq!(bench.started.elapsed().as_secs(), 8);
    let published = bench.published.recv().await.expect("published after the commit");
    assert_eq!(published.inputs.len(), 2);
    let (script, ended) = bench.end().await;
    assert!(ended.is_ok());
    script.with(|seen| {
        assert_eq!(seen.told, ["refused", "accepted"]);
        assert!(seen.commits[..4].iter().all(|(_, inputs, _)| *inputs == 2), "the same commit each time");
        assert_eq!(seen.commits[4].2, ["service-stop"]);
    });
}

#[tokio::test(start_paused = true)]
async fn a_ledger_that_refuses_for_good_ends_the_driver() {
    let bench = Bench::start(&[Answer::Refuse { again: false }], None);
    bench.deliver(1, vec![sample(START)]).await;
    let link = bench.link.clone();
    let (_, ended) = bench.end().await;
    assert!(matches!(ended, Err(DriverError::Refused(DiskFull))));
    assert_eq!(*link.committed.borrow(), 0, "nothing is acknowledged");
}

#[tokio::test(start_paused = true)]
async fn the_end_does_not_wait_for_ever() {
    let bench = Bench::start(&[Answer::Refuse { again: true }; 20], None);
    bench.deliver(1, vec![sample(START)]).await;
    let started = bench.started;
    let (_, ended) = bench.end().await;
    assert!(matches!(ended, Err(DriverError::NotDrained { left: Left { inputs: 1, records: 1 } })));
    assert!(started.elapsed() < Duration::from_secs(5));
}

// What is under way when the time is over counts too: the ledger took it and is slow, as after an import.
#[tokio::test(start_paused = true)]
async fn what_is_under_way_at_the_end_is_counted() {
    let bench = Bench::start(&[Answer::Nothing], None);
    bench.deliver(1, vec![sample(START), sample(START)]).await;
    tokio::time::sleep(Duration::from_secs(3)).await;
    let (_, ended) = bench.end().await;
    let Err(error @ DriverError::NotDrained { left: Left { inputs: 2, records: 1 } }) = ended else {
        panic!("{ended:?}")
    };
    assert!(error.to_string().starts_with("2 readings and ticks and 1 record could not"), "{error}");
}

#[test]
fn what_is_left_is_said_in_words() {
    for (inputs, records, said) in [
        (0, 1, "1 record"),
        (1, 0, "1 reading or tick and 0 records"),
        (7, 2, "7 readings and ticks and 2 records"),
    ] {
        assert_eq!(Left { inputs, records }.to_string(), said);
    }
}

// An MQTT source keeps its end of the channel open until its last messages are acknowledged.
#[tokio::test(start_paused = true)]
async fn a_stop_commits_at_once_and_does_not_wait_for_a_source_that_stays() {
    let bench = Bench::start(&[], None);
    bench.deliver(1, vec![sample(START)]).await;
    let mut committed = bench.link.committed.subscribe();
    bench.stop.cancel();
    committed.changed().await.expect("the link lives");
    assert!(bench.started.elapsed() < LIMITS.commit_interval);
    assert!(bench.task.await.expect("the driver does not panic").is_ok());
    assert!(bench.started.elapsed() <= LIMITS.drain_within);
}

#[tokio::test(start_paused = true)]
async fn commits_when_a_source_would_stall() {
    let bench = Bench::start(&[], Some(3));
    let mut committed = bench.link.committed.subscribe();
    for number in 1..=3 {
        bench.deliver(number, vec![sample(START)]).await;
    }
    committed.changed().await.expect("the link lives");
    assert_eq!(*committed.borrow(), 3);
    assert!(bench.started.elapsed() < LIMITS.commit_interval);
    assert!(bench.end().await.1.is_ok());
}

/// What one read from the network brought is one delivery of many messages.
#[tokio::test(start_paused = true)]
async fn messages_that_came_together_stall_a_source_as_well() {
    let bench = Bench::start(&[], Some(3));
    let mut committed = bench.link.committed.subscribe();
    let mut inbound = bench.delivery(1, vec![sample(START)], Vec::new());
    if let FromSource::Delivery(delivery) = &mut inbound.message {
        delivery.messages = 3;
    }
    bench.sender.send(inbound).await.expect("the driver runs");
    committed.changed().await.expect("the link lives");
    assert!(bench.started.elapsed() < LIMITS.commit_interval);
    assert!(bench.end().await.1.is_ok());
}

#[tokio::test(start_paused = true)]
async fn counts_what_it_refuses_and_acknowledges_it() {
    let bench = Bench::start(&[], None);
    let mut committed = bench.link.committed.subscribe();
    let ahead = START.plus(LIMITS.ahead_max).plus(Duration::from_micros(1));
    bench.deliver(1, vec![sample(ahead)]).await;
    let noise = Refusal { what: "\\xff".to_owned(), why: RefusedBecause::NotText };
    bench.sender.send(bench.delivery(2, Vec::new(), vec![noise])).await.expect("the driver runs");
    committed.changed().await.expect("the link lives");
    assert_eq!(*committed.borrow(), 2, "a poison message must not come back for ever");
    let (script, _) = bench.end().await;
    script.with(|seen| assert_eq!(seen.commits.len(), 1, "only the stop is committed"));
}

#[tokio::test(start_paused = true)]
async fn a_step_of_the_clock_goes_on_record_and_recording_goes_on() {
    let bench = Bench::start(&[], None);
    bench.deliver(1, vec![sample(START)]).await;
    tokio::time::sleep(Duration::from_millis(10)).await;
    bench.clock.turn(CLOCK_CHECK_EVERY, -3600);
    tokio::time::sleep(SLEEP_MAX * 2).await;
    bench.deliver(2, vec![sample(bench.clock.now())]).await;
    bench.stop.cancel();
    let (script, ended) = bench.end().await;
    assert!(ended.is_ok());
    script.with(|seen| {
        let kinds: Vec<_> = seen.commits.iter().flat_map(|(_, _, kinds)| kinds.clone()).collect();
        assert_eq!(kinds, ["clock-step", "service-stop"]);
        assert_eq!(seen.commits.iter().map(|(_, inputs, _)| inputs).sum::<usize>(), 2);
    });
}

#[tokio::test(start_paused = true)]
async fn a_slow_ledger_holds_the_sources_back() {
    let bench = Bench::start(&[Answer::Nothing], None);
    let pack = vec![sample(START); INPUTS_MANY];
    let mut taken = 0;
    while tokio::time::timeout(Duration::from_secs(5), bench.deliver(taken + 1, pack.clone())).await.is_ok() {
        taken += 1;
        assert!(taken < 1000, "memory is bounded");
    }
    let held = bench.script.with(|seen| seen.held.pop()).expect("one commit is under way");
    drop(held.send(Outcome::Committed { first_index: None }));
    let (script, ended) = bench.end().await;
    assert!(ended.is_ok());
    let inputs = script.with(|seen| seen.commits.iter().map(|(_, inputs, _)| inputs).sum::<usize>());
    assert_eq!(inputs as u64, taken * INPUTS_MANY as u64, "everything taken is committed once");
}

// Own promise: who enters a check is told its place in the ledger once it is durable, not before.
#[tokio::test(start_paused = true)]
async fn a_check_is_answered_when_it_is_on_record() {
    let bench = Bench::start(&[Answer::Refuse { again: true }], None);
    let check = Check::Sanitizer {
        at: START,
        mg_per_l: 75.0,
        ph: None,
        solution_c: None,
        method: None,
        by: "Cy".to_owned(),
    };
    let (answer, answered) = oneshot::channel();
    bench
        .checks
        .send(Entry { machine: MachineId(0), entered: Entered::Check(check), answer })
        .await
        .expect("the driver runs");
    assert_eq!(answered.await, Ok(7), "the index that the ledger gave");
    // At once, and again 1 s after it was refused.
    assert_eq!(bench.started.elapsed().as_secs(), 1);
    let (answer, answered) = oneshot::channel();
    let check = Check::Supply { at: START, enough: true, short: Vec::new(), note: None, by: "Cy".to_owned() };
    bench
        .checks
        .send(Entry { machine: MachineId(9), entered: Entered::Check(check), answer })
        .await
        .expect("the driver runs");
    assert!(answered.await.is_err(), "no such machine");
    let (script, ended) = bench.end().await;
    assert!(ended.is_ok());
    script.with(|seen| assert_eq!(seen.commits[1].2, ["check"]));
}

// A gateway whose probes are away has started all the same, and its key waits for that record.
#[tokio::test(start_paused = true)]
async fn the_start_is_on_record_before_anything_arrives() {
    let mut gather = Gather::new(site(), 1);
    let start = ServiceStart {
        version: "1".to_owned(),
        last_record: None,
        after_clean_stop: true,
        from_file: false,
        replayed: 0,
    };
    gather.record(Record::new(START, None, Body::ServiceStart(start)));
    let bench = Bench::start_with(gather, &[], None);
    tokio::time::sleep(Duration::from_millis(100)).await;
    let commits =
        bench.script.with(|seen| seen.commits.iter().map(|commit| commit.2.clone()).collect::<Vec<_>>());
    assert_eq!(commits, [["service-start"]]);
    let (_, ended) = bench.end().await;
    ended.expect("the driver ends in order");
}
