//! Store and forward over links that break and against servers that refuse: nothing lost, nothing
//! doubled, what is refused set aside with its reason.

#![expect(clippy::print_stderr, reason = "a long run tells how it goes, and a failure its seed")]

use std::time::Duration;

use rinseward::core::time::Timestamp;
use rinseward::ledger::Reader;
use rinseward::series::pump::Request;
use rinseward::series::track::Track;
use tokio::sync::oneshot;

use super::bad_proxy::{BadProxy, Mischief};
use super::influx::{Influx, Reply};
use super::kitchen::Kitchen;
use super::pumping::{Hands, Log, Pumping, assert_the_server_has_it_all, beside, pump, runtime, until};
use super::victoria::Victoria;

/// Longest wait for a ledger of some ten thousand readings to be sent.
const WITHIN: Duration = Duration::from_secs(60);

fn start() -> Timestamp {
    "2026-03-01T10:00:00Z".parse().expect("a time")
}

/// Asks for a span to be sent again.
async fn ask(pumping: &Pumping, from: Timestamp, to: Timestamp) {
    let (answer, answered) = oneshot::channel();
    pumping.requests.send(Request::SendAgain { from, to, answer }).await.expect("it runs");
    answered.await.expect("an answer").expect("accepted");
}

/// Seconds from a seed, so that a run can be repeated; generator of Park and Miller (CACM 31, 1988).
struct Draw(u64);

impl Draw {
    fn below(&mut self, end: u64) -> u64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0 % end
    }
}

fn seed() -> u64 {
    let seed = std::env::var("SEED").ok().and_then(|text| text.parse().ok());
    seed.unwrap_or(20_261_125)
}

// Killed between any two steps, while the link cuts requests and answers: the next run sends what
// the last one had not marked as sent, and what comes twice changes nothing.
#[test]
fn killed_at_random_instants_over_a_link_that_breaks() {
    runtime(async {
        let server = Victoria::start();
        let mut kitchen = Kitchen::open(2, 1.0, &server.url(), start());
        let port = server.url().rsplit(':').next().and_then(|rest| rest.trim_end_matches('/').parse().ok());
        let proxy = BadProxy::start(port.expect("a port"), []).await;
        let (hands, log) = (Hands::at(start()), Log::default());
        let seed = seed();
        eprintln!("SEED={seed}");
        let mut draw = Draw(seed);
        let mut at = start();
        for _ in 0..12 {
            let mischief = (0..3).map(|_| match draw.below(5) {
                0 => Mischief::Reset,
                1 => Mischief::CutRequest(usize::try_from(draw.below(60_000)).expect("few")),
                2 => Mischief::CutAnswer(usize::try_from(draw.below(40)).expect("few")),
                3 => Mischief::Garbage,
                _ => Mischief::Pass,
            });
            proxy.add(mischief);
            let pumping = pump(&kitchen, &proxy.url(), &hands, &log, Duration::ZERO).await;
            beside(|| kitchen.work(at, 900.0, 30.0));
            at = at.plus(Duration::from_secs(900));
            hands.set(at);
            pumping.tide.send_replace(1);
            tokio::time::sleep(Duration::from_millis(draw.below(400))).await;
            pumping.kill().await;
        }
        let mut pumping = pump(&kitchen, &server.url(), &hands, &log, Duration::ZERO).await;
        pumping.until_sent(WITHIN).await;
        pumping.stop().await;
        beside(|| assert_the_server_has_it_all(&kitchen, &server));
    });
}

// The answers of InfluxDB 2 as its API describes them, from the stub: too large, too many, away,
// denied, in any order; in the end every point is there once.
#[test]
fn whatever_a_server_answers_everything_arrives_once() {
    runtime(async {
        let server = Influx::start().await;
        let mut kitchen = Kitchen::open(1, 1.0, &server.url(), start());
        kitchen.work(start(), 3_600.0, 60.0);
        server.script([
            Reply::status(503),
            Reply::status(413),
            Reply::status(429).header("retry-after", "1"),
            Reply::status(500),
            Reply::status(401),
            Reply::status(404),
        ]);
        server.behaviour().body_bytes_max = Some(12_000);
        let (hands, log) = (Hands::at(start()), Log::default());
        let mut pumping = pump(&kitchen, &server.url(), &hands, &log, Duration::ZERO).await;
        pumping.until_sent(WITHIN).await;
        pumping.stop().await;
        let readings: usize = kitchen.readings().values().map(Vec::len).sum();
        let points =
            server.behaviour().points.keys().filter(|(series, _)| series.starts_with("reading,")).count();
        assert_eq!(points, readings);
        let reader = Reader::open(&kitchen.path).expect("a ledger");
        assert_eq!(reader.set_aside_count("series").expect("a count"), 0);
    });
}

// What is refused is set aside with the server's own words, and everything beside it is there. The
// messages are those of InfluxDB 2.7, from memory.
#[test]
fn what_is_refused_is_set_aside_and_everything_else_flows() {
    let nanos = |seconds| start().plus(Duration::from_secs(seconds)).micros() * 1_000;
    for (what, from, to, reason) in [
        ("one poison point", 1_800, 1_801, "field type conflict: input field is type integer"),
        ("a clock that was wrong for a while", 0, 1_500, "points beyond retention policy"),
        ("a bucket that keeps nothing so old", 0, 3_600, "points beyond retention policy"),
    ] {
        runtime(async {
            let server = Influx::start().await;
            let mut kitchen = Kitchen::open(1, 1.0, &server.url(), start());
            kitchen.work(start(), 3_600.0, 60.0);
            let is_bad = move |line: &str| {
                let at = line.rsplit_once(' ').and_then(|(_, at)| at.parse::<i64>().ok());
                let is_within = at.is_some_and(|at| (nanos(from)..nanos(to)).contains(&at));
                line.starts_with("reading,") && line.contains("probe=rinse") && is_within
            };
            server.behaviour().refuse =
                Some(Box::new(move |line: &str| is_bad(line).then(|| reason.to_owned())));
            let (hands, log) = (Hands::at(start()), Log::default());
            let mut pumping = pump(&kitchen, &server.url(), &hands, &log, Duration::ZERO).await;
            pumping.until_sent(WITHIN).await;
            let standing = pumping.standing.borrow().clone();
            pumping.stop().await;
            let bad = usize::try_from(to - from).expect("a span forward");
            let readings: usize = kitchen.readings().values().map(Vec::len).sum();
            let is_reading = |(series, _): &&(String, i64)| series.starts_with("reading,");
            let points = server.behaviour().points.keys().filter(is_reading).count();
            assert_eq!((points, standing.set_aside), (readings - bad, bad as u64), "{what}");
            let reader = Reader::open(&kitchen.path).expect("a ledger");
            let aside = reader.set_aside("series", 1_000).expect("rows");
            assert!(!aside.is_empty(), "{what}");
            for (_, row) in aside {
                assert!(row.reason.contains(reason), "{what}: {}", row.reason);
                let text = String::from_utf8(row.bytes).expect("lines are text");
                assert!(text.lines().all(is_bad), "{what}: {text}");
            }
            // The bucket is set right, and the span is asked for: what was set aside is settled.
            server.behaviour().refuse = None;
            hands.set(start().plus(Duration::from_secs(7_200)));
            let pumping = pump(&kitchen, &server.url(), &hands, &log, Duration::ZERO).await;
            let to = start().plus(Duration::from_secs(3_600));
            ask(&pumping, start(), to).await;
            until(WITHIN, "the rows to be settled", || {
                reader.set_aside_count("series").expect("a count") == 0
            })
            .await;
            pumping.stop().await;
            assert_eq!(server.behaviour().points.keys().filter(is_reading).count(), readings, "{what}");
        });
    }
}

// A server that was killed has lost what it had acknowledged and not yet written. The operator
// sends that span again.
#[test]
fn a_span_is_sent_again_on_request() {
    runtime(async {
        let mut server = Victoria::start();
        let mut kitchen = Kitchen::open(1, 1.0, &server.url(), start());
        kitchen.work(start(), 7_200.0, 60.0);
        let (hands, log) = (Hands::at(start()), Log::default());
        let mut pumping = pump(&kitchen, &server.url(), &hands, &log, Duration::ZERO).await;
        pumping.until_sent(WITHIN).await;
        server.kill();
        server.restart();
        ask(&pumping, start(), start().plus(Duration::from_secs(7_200))).await;
        until(WITHIN, "the span to be through", || {
            let reader = Reader::open(&kitchen.path).expect("a ledger");
            let bookmark = reader.bookmark("series").expect("readable").expect("saved");
            Track::from_bytes(&bookmark).expect("its form").spans.is_empty()
        })
        .await;
        pumping.stop().await;
        beside(|| assert_the_server_has_it_all(&kitchen, &server));
    });
}
