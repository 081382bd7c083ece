//! The server is away for thirty days under full load, and comes back.
//!
//! The days are simulated: readings go through the real core into the real ledger on a clock of
//! their own; the server is Debian's victoria-metrics, stopped and started again (killed, it loses
//! the last seconds of what it has acknowledged). Each day has an hour of rush in a short run;
//! `DAYS=30 HOURS=24 HERTZ=4` makes it whole days.

#![expect(clippy::print_stderr, reason = "a long run tells how it goes, and a failure its seed")]

use std::time::{Duration, Instant};

use rinseward::core::time::Timestamp;

use super::kitchen::Kitchen;
use super::pumping::{Hands, Log, assert_the_server_has_it_all, beside, pump, runtime, until};
use super::victoria::Victoria;

const DAY: Duration = Duration::from_secs(86_400);

fn setting(name: &str, default: f64) -> f64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

#[test]
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "small whole numbers from a person"
)]
fn every_reading_and_cycle_of_thirty_days_is_found_exactly_once() {
    let days = setting("DAYS", 30.0) as u32;
    let (hours, hertz) = (setting("HOURS", 1.0), setting("HERTZ", 1.0));
    let machines = setting("MACHINES", 1.0) as u16;
    runtime(async {
        let start: Timestamp = "2026-03-01T10:00:00Z".parse().expect("a time");
        let mut server = Victoria::start();
        let mut kitchen = Kitchen::open(machines, hertz, &server.url(), start);
        let (hands, log) = (Hands::at(start), Log::default());
        // The last day on which all is well.
        beside(|| kitchen.work(start, 600.0, 60.0));
        // A short backlog lasts some seconds, so that something new comes while it drains.
        let slow = Duration::from_millis(if hours < 2.0 { 100 } else { 0 });
        let mut pumping = pump(&kitchen, &server.url(), &hands, &log, slow).await;
        pumping.until_sent(Duration::from_secs(60)).await;

        server.stop();
        let began = Instant::now();
        let (tries, taken) = (log.tries(), log.sent().len());
        let mut at = start;
        for day in 1..=days {
            at = start.plus(DAY * day);
            hands.set(at);
            beside(|| kitchen.work(at, hours * 3_600.0, 60.0));
            pumping.tide.send_replace(u64::from(day));
            // A clock that leaps by a day between a commit and the look at it is nowhere but here.
            until(Duration::from_secs(20), "the pump to look", || pumping.standing.borrow().oldest.is_some())
                .await;
        }
        at = at.plus(Duration::from_secs_f64(hours * 3_600.0));
        hands.set(at);
        until(Duration::from_secs(20), "the pump to notice", || {
            pumping.standing.borrow().trouble.is_some() && log.tries() > tries + 5
        })
        .await;
        assert_eq!(log.sent().len(), taken, "nothing is taken by a server that is away");
        let oldest = pumping.standing.borrow().oldest.expect("a backlog has an age");
        assert!(at.since(oldest) >= DAY * (days - 1), "the backlog is told: {oldest}");
        eprintln!("{} readings in {:?}", kitchen.sampled, began.elapsed());

        let began = Instant::now();
        server.restart();
        let new = work_on_while_it_drains(&mut kitchen, at, &hands, &log, &pumping).await;
        pumping.until_sent(Duration::from_secs(3_600)).await;
        eprintln!("drained in {:?}", began.elapsed());
        pumping.stop().await;
        assert_what_is_new_came_first(&log, taken, &new);
        let most = log.sent().iter().map(|sent| sent.bytes).max().expect("requests");
        assert!(most <= 1 << 20, "a request of {most} bytes");
        assert!(log.sent().iter().all(|sent| sent.lines <= 5_000), "batch-points holds");
        beside(|| assert_the_server_has_it_all(&kitchen, &server));
    });
}

/// Ten seconds more of readings, each after a few more requests have been taken; gives the time of
/// the newest of each, in ns, and how many requests had been taken before it was committed.
async fn work_on_while_it_drains(
    kitchen: &mut Kitchen,
    from: Timestamp,
    hands: &Hands,
    log: &Log,
    pumping: &super::pumping::Pumping,
) -> Vec<(i64, usize)> {
    let mut new = Vec::new();
    let mut at = from.plus(Duration::from_secs(5));
    for _ in 0..3 {
        let taken = log.sent().len();
        until(Duration::from_secs(60), "the next requests", || log.sent().len() > taken + 4).await;
        hands.set(at);
        let before = log.sent().len();
        beside(|| kitchen.work(at, 10.0, 1.0));
        pumping.tide.send_replace(u64::MAX - before as u64);
        // The last reading lies one step before the end.
        let last = at.micros() * 1_000 + 9_000_000_000;
        new.push((last, before));
        at = at.plus(Duration::from_secs(10));
    }
    new
}

/// By the order of requests: what was committed while a month waited was taken before the end of
/// the month was, and the requests between are shared.
fn assert_what_is_new_came_first(log: &Log, taken: usize, new: &[(i64, usize)]) {
    let sent = log.sent();
    let is_old = |newest_ns: i64| newest_ns < new[0].0 - 20_000_000_000;
    let last_old = sent.iter().rposition(|sent| sent.newest_ns > 0 && is_old(sent.newest_ns));
    let last_old = last_old.expect("a backlog was sent");
    assert!(last_old > taken + 10, "the backlog took {} requests", last_old - taken);
    for (newest_ns, before) in new {
        let arrived = sent.iter().skip(*before).position(|sent| sent.newest_ns >= *newest_ns);
        let arrived = before + arrived.expect("it arrived");
        assert!(arrived < last_old, "request {arrived} of {last_old}");
    }
    let behind = sent[taken..].iter().filter(|sent| is_old(sent.newest_ns)).count();
    assert!(behind * 2 >= last_old - taken, "{behind} of {} requests for the backlog", last_old - taken);
}
