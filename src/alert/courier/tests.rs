//! The courier against an outbox in memory and a receiver that answers as told,
//! on a clock that runs as fast as it may. All rules are those of the module.

use std::collections::BTreeMap;
use std::convert::Infallible;

use tokio::sync::watch;

use super::*;

const NOON: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

/// Tokio's paused clock, shown as time of day.
#[derive(Clone)]
struct Paused(Instant);

impl Time for Paused {
    fn now(&self) -> Timestamp {
        NOON.plus(self.0.elapsed())
    }

    fn wait_until(&self, instant: Timestamp) -> Duration {
        instant.since(self.now())
    }
}

#[derive(Clone, PartialEq, Debug)]
struct Row {
    letter: Due,
    due: Timestamp,
    ended: Option<Outcome>,
}

#[derive(Clone)]
struct Memory {
    rows: Arc<Mutex<BTreeMap<i64, Row>>>,
    tide: watch::Sender<u64>,
    seen: watch::Receiver<u64>,
    broken: Arc<AtomicBool>,
}

#[derive(Debug, thiserror::Error)]
#[error("the disk is full")]
struct Full;

impl Memory {
    fn new() -> Self {
        let (tide, seen) = watch::channel(0);
        Self { rows: Arc::default(), tide, seen, broken: Arc::default() }
    }

    fn put(&self, channel: &str, sequence: &str, key: &str, created: Timestamp) {
        let mut rows = self.rows.lock().expect("no test panics with the lock");
        let id = i64::try_from(rows.len()).expect("few") + 1;
        let letter = Due {
            id,
            key: key.to_owned(),
            channel: channel.to_owned(),
            sequence: sequence.to_owned(),
            created,
            attempts: 0,
            bytes: Vec::new(),
        };
        rows.insert(id, Row { letter, due: created, ended: None });
        drop(rows);
        self.tide.send_modify(|count| *count += 1);
    }

    /// First waiting letters of their sequences.
    fn heads(&self, channel: &str) -> Vec<Row> {
        let rows = self.rows.lock().expect("no test panics with the lock");
        let mut seen = BTreeSet::new();
        let waiting = rows.values().filter(|row| row.letter.channel == channel && row.ended.is_none());
        waiting.filter(|row| seen.insert(row.letter.sequence.clone())).cloned().collect()
    }

    fn ended(&self) -> BTreeMap<String, Outcome> {
        let rows = self.rows.lock().expect("no test panics with the lock");
        rows.values().filter_map(|row| Some((row.letter.key.clone(), row.ended.clone()?))).collect()
    }
}

impl Outbox for Memory {
    type Error = Full;

    async fn due(&self, channel: &str, now: Timestamp, limit: usize) -> Result<Vec<Due>, Full> {
        let due = self.heads(channel).into_iter().filter(|row| row.due <= now);
        Ok(due.take(limit).map(|row| row.letter).collect())
    }

    async fn next_due(&self, channel: &str, now: Timestamp) -> Result<Option<Timestamp>, Full> {
        Ok(self.heads(channel).into_iter().map(|row| row.due).filter(|due| *due > now).min())
    }

    async fn mark(&self, mark: Mark) -> Result<(), Full> {
        if self.broken.load(Ordering::SeqCst) {
            return Err(Full);
        }
        let mut rows = self.rows.lock().expect("no test panics with the lock");
        let row = rows.get_mut(&mark.letter.id).expect("a letter of this outbox");
        assert_eq!(row.ended, None, "a letter ends once");
        row.letter.attempts = mark.attempts;
        match mark.outcome {
            Outcome::Failed { due, .. } => row.due = due,
            outcome @ (Outcome::Delivered | Outcome::GivenUp { .. }) => row.ended = Some(outcome),
        }
        drop(rows);
        self.tide.send_modify(|count| *count += 1);
        Ok(())
    }

    async fn changed(&mut self) {
        self.seen.changed().await.expect("this outbox holds the other end");
    }
}

/// Answers as told, and notes what came when.
#[derive(Clone)]
struct Receiver {
    answer: fn(&Due, usize) -> Answer,
    takes: Duration,
    calls: Arc<Mutex<Vec<(String, Duration)>>>,
    busy: Arc<Mutex<(usize, usize)>>,
    since: Instant,
}

impl Receiver {
    fn new(answer: fn(&Due, usize) -> Answer) -> Self {
        Self {
            answer,
            takes: Duration::from_millis(10),
            calls: Arc::default(),
            busy: Arc::default(),
            since: Instant::now(),
        }
    }

    fn keys(&self) -> Vec<String> {
        self.calls.lock().expect("no test panics with the lock").iter().map(|(key, _)| key.clone()).collect()
    }

    fn times(&self) -> Vec<Duration> {
        self.calls.lock().expect("no test panics with the lock").iter().map(|(_, at)| *at).collect()
    }
}

impl Carrier for Receiver {
    async fn carry(&self, letter: &Due) -> Answer {
        let count = {
            let mut calls = self.calls.lock().expect("no test panics with the lock");
            calls.push((letter.key.clone(), self.since.elapsed()));
            let mut busy = self.busy.lock().expect("no test panics with the lock");
            busy.0 += 1;
            busy.1 = busy.1.max(busy.0);
            calls.iter().filter(|(key, _)| *key == letter.key).count()
        };
        sleep(self.takes).await;
        self.busy.lock().expect("no test panics with the lock").0 -= 1;
        (self.answer)(letter, count)
    }
}

fn lane(channel: &str, receiver: &Receiver, per_minute: u32) -> Lane<Receiver> {
    let pace = Pace { per_minute, give_up_after: Duration::from_secs(3_600), attempts_max: 200 };
    Lane { channel: channel.to_owned(), carrier: receiver.clone(), pace, at_once: 2 }
}

/// Runs a worker for so long, then stops it in order.
async fn work(lane: Lane<Receiver>, outbox: &Memory, span: Duration) {
    let stop = CancellationToken::new();
    let worker = run(lane, outbox.clone(), Paused(Instant::now()), stop.clone());
    let ended: Result<(), Infallible> = async {
        let stopper = async {
            sleep(span).await;
            stop.cancel();
        };
        tokio::join!(worker, stopper);
        Ok(())
    }
    .await;
    assert_eq!(ended, Ok(()));
}

fn minutes(minutes: u64) -> Duration {
    Duration::from_secs(60 * minutes)
}

#[tokio::test(start_paused = true)]
async fn delivers_each_letter_once_and_in_order() {
    let outbox = Memory::new();
    for number in 0..20 {
        outbox.put("email", &format!("s{}", number % 3), &format!("k{number:02}"), NOON);
    }
    outbox.put("webhook:other", "s0", "foreign", NOON);
    let receiver = Receiver::new(|_, _| Answer::Taken);

    work(lane("email", &receiver, 600), &outbox, minutes(1)).await;

    let keys = receiver.keys();
    assert_eq!(keys.len(), 20);
    assert!(!keys.contains(&"foreign".to_owned()));
    for sequence in 0..3 {
        let own: Vec<&String> =
            keys.iter().filter(|key| key[1..].parse::<usize>().expect("a number") % 3 == sequence).collect();
        assert!(own.is_sorted(), "{own:?}");
    }
    assert!(outbox.ended().values().all(|outcome| *outcome == Outcome::Delivered));
    assert_eq!(receiver.busy.lock().expect("free").1, 2, "two at once, no more");
}

// A letter that fails holds back its own sequence only.
#[tokio::test(start_paused = true)]
async fn a_failing_letter_keeps_its_place() {
    let outbox = Memory::new();
    for (sequence, key) in [("a", "a1"), ("a", "a2"), ("b", "b1")] {
        outbox.put("email", sequence, key, NOON);
    }
    let receiver =
        Receiver::new(
            |letter, count| {
                if letter.key == "a1" && count < 4 { Answer::later("busy") } else { Answer::Taken }
            },
        );

    work(lane("email", &receiver, 600), &outbox, minutes(5)).await;

    assert_eq!(receiver.keys(), ["a1", "b1", "a1", "a1", "a1", "a2"]);
    let times = receiver.times();
    for (earlier, later, rest) in [(0, 2, 5.0), (2, 3, 10.0), (3, 4, 20.0)] {
        let rested = (times[later] - times[earlier]).as_secs_f64();
        assert!((rest * 0.79..rest * 1.21 + 0.1).contains(&rested), "{rested} s, about {rest} wanted");
    }
}

#[tokio::test(start_paused = true)]
async fn gives_up_at_its_age_and_goes_on() {
    let outbox = Memory::new();
    outbox.put("email", "a", "a1", NOON);
    outbox.put("email", "a", "a2", NOON.plus(minutes(59)));
    let receiver =
        Receiver::new(|letter, _| if letter.key == "a1" { Answer::later("busy") } else { Answer::Taken });

    work(lane("email", &receiver, 600), &outbox, minutes(62)).await;

    let ended = outbox.ended();
    let Some(Outcome::GivenUp { error }) = ended.get("a1") else { panic!("{ended:?}") };
    assert!(error.to_string().ends_with("tries over 1.0 h: busy"), "{error}");
    assert_eq!(ended.get("a2"), Some(&Outcome::Delivered));
}

// A mail server that hangs holds up its own letters and no others.
#[tokio::test(start_paused = true)]
async fn a_dead_channel_delays_no_other() {
    let outbox = Memory::new();
    for number in 0..50 {
        outbox.put("email", &format!("s{number}"), &format!("m{number}"), NOON);
        outbox.put("webhook:w", &format!("s{number}"), &format!("w{number}"), NOON);
    }
    let mut dead = Receiver::new(|_, _| Answer::later("no answer"));
    dead.takes = Duration::from_secs(30);
    let alive = Receiver::new(|_, _| Answer::Taken);

    tokio::join!(
        work(lane("email", &dead, 600), &outbox, Duration::from_secs(10)),
        work(lane("webhook:w", &alive, 600), &outbox, Duration::from_secs(10)),
    );

    assert_eq!(alive.keys().len(), 50);
    assert!(alive.times().iter().all(|at| *at < Duration::from_secs(1)), "{:?}", alive.times());
    assert_eq!(dead.keys().len(), 2, "as many as may be under way");
}

#[tokio::test(start_paused = true)]
async fn keeps_to_its_pace() {
    let outbox = Memory::new();
    for number in 0..90 {
        outbox.put("email", &format!("s{number}"), &format!("k{number:02}"), NOON);
    }
    let receiver = Receiver::new(|_, _| Answer::Taken);

    work(lane("email", &receiver, 30), &outbox, minutes(1)).await;

    // A minute's letters at once, then one every two seconds.
    let times = receiver.times();
    assert!((58..=60).contains(&times.len()), "{}", times.len());
    assert!(times[29] < Duration::from_secs(1) && times[30] > Duration::from_millis(1_500));
}

// 410 by the specification of Standard Webhooks: no more to this receiver.
#[tokio::test(start_paused = true)]
async fn a_receiver_that_is_gone_gets_nothing_more() {
    let outbox = Memory::new();
    let receiver = Receiver::new(|_, _| Answer::Closed { error: "410 Gone".into() });
    outbox.put("email", "a", "a1", NOON);
    outbox.put("email", "a", "a2", NOON);

    work(lane("email", &receiver, 600), &outbox, minutes(1)).await;

    assert_eq!(receiver.keys(), ["a1"]);
    let given_up = outbox.ended().into_values().filter(|end| matches!(end, Outcome::GivenUp { .. })).count();
    assert_eq!(given_up, 2);
}

// While the outcome cannot be written the letter is not sent again; it is written once that is possible.
#[tokio::test(start_paused = true)]
async fn a_full_disk_makes_no_repeats() {
    let outbox = Memory::new();
    outbox.put("email", "a", "a1", NOON);
    outbox.broken.store(true, Ordering::SeqCst);
    let receiver = Receiver::new(|_, _| Answer::Taken);
    let healing = outbox.clone();
    let heal = async {
        sleep(minutes(3)).await;
        healing.broken.store(false, Ordering::SeqCst);
    };

    tokio::join!(work(lane("email", &receiver, 600), &outbox, minutes(4)), heal);

    assert_eq!(receiver.keys(), ["a1"]);
    assert_eq!(outbox.ended().get("a1"), Some(&Outcome::Delivered));
}

#[tokio::test(start_paused = true)]
async fn a_panic_is_a_failed_try() {
    let outbox = Memory::new();
    outbox.put("email", "a", "a1", NOON);
    let receiver = Receiver::new(|_, count| {
        assert!(count > 1, "the first try goes wrong");
        Answer::Taken
    });

    work(lane("email", &receiver, 600), &outbox, minutes(1)).await;

    assert_eq!(receiver.keys(), ["a1", "a1"]);
    assert_eq!(outbox.ended().get("a1"), Some(&Outcome::Delivered));
}

// What was under way at a stop is waited for, shortly; what takes longer comes again at the next start.
#[tokio::test(start_paused = true)]
async fn stops_in_order_and_resumes() {
    let outbox = Memory::new();
    for sequence in ["a", "b", "c"] {
        outbox.put("email", sequence, sequence, NOON);
    }
    let mut receiver = Receiver::new(|_, _| Answer::Taken);
    receiver.takes = Duration::from_secs(1);
    work(lane("email", &receiver, 600), &outbox, Duration::from_millis(500)).await;
    assert_eq!(outbox.ended().len(), 2, "two were under way and came to their end");

    receiver.takes = minutes(10);
    work(lane("email", &receiver, 600), &outbox, Duration::from_millis(500)).await;
    assert_eq!(outbox.ended().len(), 2);
    receiver.takes = Duration::ZERO;
    work(lane("email", &receiver, 600), &outbox, minutes(1)).await;
    assert_eq!(receiver.keys(), ["a", "b", "c", "c"]);
    assert_eq!(outbox.ended().len(), 3);
}
