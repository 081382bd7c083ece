//! The pump against a ledger in memory and a server that answers as told, in simulated time.

mod fixture;

use proptest::prelude::*;

use self::fixture::{Act, Memory, NOON, Scripted, measured, start};
use super::*;
use crate::series::track::Place;

fn stocked(inputs: u64, records: u64) -> Memory {
    let memory = Memory::default();
    (memory.shelf().inputs, memory.shelf().records) = (inputs, records);
    memory
}

fn paused() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().expect("a runtime")
}

/// Waits until the server has so much, in simulated time.
async fn until(server: &Scripted, counts: (usize, usize), within: u64) {
    let deadline = Instant::now() + Duration::from_secs(within);
    while server.counts() != counts {
        let has = server.counts();
        assert!(Instant::now() < deadline, "{has:?} of {counts:?} after {within} s");
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

#[tokio::test(start_paused = true)]
async fn everything_there_was_and_everything_new_arrives() {
    let memory = stocked(60_000, 2_000);
    let server = Scripted::new(&[]);
    let work = start(&memory, &server).await;
    until(&server, (60_000, 2_000), 10).await;
    memory.shelf().inputs += 64;
    work.tide.send_replace(1);
    until(&server, (60_064, 2_000), 2).await;
    let standing = work.standing.borrow().clone();
    assert_eq!((standing.readings_behind, standing.records_behind, standing.trouble), (0, 0, None));
    work.stop().await;
    let track = Track::from_bytes(memory.shelf().bookmark.as_deref().expect("a bookmark")).expect("its form");
    assert_eq!(track.live, Place { input: 60_064, block: 0 });
}

#[tokio::test(start_paused = true)]
async fn an_idle_ledger_costs_one_point_a_minute() {
    let memory = stocked(100, 1);
    let server = Scripted::new(&[]);
    let work = start(&memory, &server).await;
    until(&server, (100, 1), 2).await;
    tokio::time::sleep(Duration::from_secs(60)).await;
    let before = server.desk().requests.len();
    tokio::time::sleep(Duration::from_secs(3_600)).await;
    let lines: Vec<usize> = server.desk().requests[before..].iter().map(|(_, lines)| *lines).collect();
    assert!((59..=61).contains(&lines.len()), "{lines:?}");
    assert!(lines.iter().all(|lines| *lines == 1), "{lines:?}");
    work.stop().await;
}

// A kitchen that is closed for the night has no backlog in the morning.
#[tokio::test(start_paused = true)]
async fn a_quiet_night_is_no_backlog() {
    let memory = stocked(100, 1);
    let server = Scripted::new(&[]);
    let work = start(&memory, &server).await;
    until(&server, (100, 1), 2).await;
    let night = Duration::from_secs(8 * 3_600);
    tokio::time::sleep(night).await;
    server.desk().acts = vec![Act::Away; 20];
    memory.shelf().inputs = 101;
    work.tide.send_replace(1);
    tokio::time::sleep(Duration::from_secs(60)).await;
    let oldest = work.standing.borrow().oldest;
    assert!(oldest.is_some_and(|oldest| oldest >= NOON.plus(night)), "{oldest:?}");
    work.stop().await;
}

// What came while the server was away waits since then, not since the server is back.
#[tokio::test(start_paused = true)]
async fn what_came_during_a_long_wait_is_as_old_as_it_is() {
    let memory = stocked(100, 1);
    let mut server = Scripted::new(&[Act::Away; 12]);
    server.takes = Duration::from_secs(2);
    let work = start(&memory, &server).await;
    tokio::time::sleep(Duration::from_secs(10)).await;
    memory.shelf().inputs = 200;
    work.tide.send_replace(1);
    until(&server, (100, 1), 3_600).await;
    assert!(server.started() > Duration::from_secs(120), "it was away for long");
    // The answer comes, and the next request is under way.
    tokio::time::sleep(Duration::from_millis(1_500)).await;
    let oldest = work.standing.borrow().oldest;
    assert!(oldest.is_some_and(|oldest| oldest <= NOON.plus(Duration::from_secs(10))), "{oldest:?}");
    work.stop().await;
}

// RFC 9110 §10.2.3 for Retry-After; 16 failures in a row are past the longest wait of a minute.
#[tokio::test(start_paused = true)]
async fn a_server_that_is_busy_or_away_is_left_alone_and_served_again() {
    for (acts, least_s, most_s) in [
        (vec![Act::Busy(Some(120))], 120, 122),
        (vec![Act::Busy(Some(100_000))], 600, 602),
        (vec![Act::Busy(None), Act::Busy(None)], 1, 4),
        (vec![Act::Away; 16], 300, 720),
        (vec![Act::TakeInSilence, Act::TakeHalf], 1, 4),
        (vec![Act::Deny, Act::Deny], 60, 122),
        (vec![Act::Miss], 30, 62),
    ] {
        let memory = stocked(1_000, 10);
        let server = Scripted::new(&acts);
        let work = start(&memory, &server).await;
        let begun = Instant::now();
        until(&server, (1_000, 10), 3_600).await;
        // The halves that were taken before count as well; the end is the first answer of 204.
        while work.standing.borrow().last_taken.is_none() {
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        let waited = begun.elapsed().as_secs();
        assert!((least_s..=most_s).contains(&waited), "{acts:?}: {waited} s");
        // After more than a minute one about the gateway itself may follow.
        let needed = server.desk().requests.iter().filter(|(_, lines)| *lines > 1).count();
        assert_eq!(needed, acts.len() + 2, "{acts:?}: no request but the needed ones");
        work.stop().await;
        assert!(memory.shelf().aside.is_empty(), "{acts:?}");
    }
}

#[tokio::test(start_paused = true)]
async fn one_point_that_is_refused_is_set_aside_and_everything_else_flows() {
    let memory = stocked(60_000, 10);
    let server = Scripted::new(&[]);
    let bad = measured(31_234).micros() * 1_000;
    server.desk().poison = Some(bad.to_string());
    let work = start(&memory, &server).await;
    until(&server, (59_999, 10), 60).await;
    while work.standing.borrow().readings_behind > 0 {
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    work.stop().await;
    let shelf = memory.shelf();
    assert_eq!(shelf.aside.len(), 1);
    assert!(shelf.aside[0].reason.contains("field type conflict"), "{}", shelf.aside[0].reason);
    assert!(std::str::from_utf8(&shelf.aside[0].lines).expect("text").contains(&bad.to_string()));
}

#[tokio::test(start_paused = true)]
async fn where_everything_is_refused_nothing_is_set_aside() {
    let memory = stocked(2_000, 10);
    let server = Scripted::new(&[Act::RefuseAll]);
    let work = start(&memory, &server).await;
    tokio::time::sleep(Duration::from_secs(600)).await;
    let trouble = work.standing.borrow().trouble.clone().expect("told");
    assert_eq!(trouble.slug, "series-refused");
    assert!(server.desk().requests.len() < 1_000, "it is not hammered");
    assert_eq!(server.counts(), (0, 0));
    // The bucket is set right.
    server.desk().acts.clear();
    until(&server, (2_000, 10), 120).await;
    assert_eq!(work.standing.borrow().set_aside, 0);
    work.stop().await;
    assert!(memory.shelf().aside.is_empty());
}

#[tokio::test(start_paused = true)]
async fn a_request_too_large_is_halved() {
    let memory = stocked(3_000, 0);
    let server = Scripted::new(&[]);
    server.desk().largest = 20_000;
    let work = start(&memory, &server).await;
    until(&server, (3_000, 0), 60).await;
    work.stop().await;
    assert!(memory.shelf().aside.is_empty());
}

#[tokio::test(start_paused = true)]
async fn a_ledger_that_takes_nothing_stops_no_sending_and_is_asked_again() {
    let memory = stocked(20_000, 10);
    memory.shelf().refuses = true;
    let server = Scripted::new(&[]);
    server.desk().poison = Some((measured(5).micros() * 1_000).to_string());
    let work = start(&memory, &server).await;
    until(&server, (19_999, 10), 60).await;
    assert!(memory.shelf().bookmark.is_none());
    memory.shelf().refuses = false;
    tokio::time::sleep(SAVE_EVERY * 2).await;
    assert_eq!(memory.shelf().aside.len(), 1, "it was not lost meanwhile");
    work.stop().await;
}

#[tokio::test(start_paused = true)]
async fn a_request_to_send_again_is_on_disk_when_it_is_answered() {
    let memory = stocked(1_000, 700);
    // Even while the server is away.
    let server = Scripted::new(&[Act::Away; 5]);
    let work = start(&memory, &server).await;
    let ask = async |from, to| {
        let (answer, answered) = oneshot::channel();
        work.requests.send(Request::SendAgain { from, to, answer }).await.expect("it runs");
        answered.await.expect("an answer")
    };
    ask(NOON, measured(60)).await.expect("room for one");
    let bookmark = memory.shelf().bookmark.clone().expect("saved");
    assert_eq!(Track::from_bytes(&bookmark).expect("its form").spans.len(), 1);
    until(&server, (1_000, 700), 600).await;
    tokio::time::sleep(SAVE_EVERY * 2).await;
    let bookmark = memory.shelf().bookmark.clone().expect("saved");
    assert_eq!(Track::from_bytes(&bookmark).expect("its form").spans, [], "it is through");
    memory.shelf().refuses = true;
    assert!(matches!(ask(NOON, measured(60)).await, Err(NotAccepted::NotKept)));
    memory.shelf().refuses = false;
    work.stop().await;
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        6 => Just(Act::Take),
        1 => Just(Act::TakeInSilence),
        1 => Just(Act::TakeHalf),
        1 => Just(Act::Away),
        1 => (0..20_u64).prop_map(|seconds| Act::Busy(Some(seconds))),
        1 => Just(Act::TooLarge),
        1 => Just(Act::Deny),
        1 => Just(Act::Miss),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, ..ProptestConfig::default() })]

    // The promise: whatever the server does and whenever the program is killed, each point is there
    // in the end, no other is, and the bookmark is never ahead of the server.
    #[test]
    fn nothing_is_lost_and_nothing_invented(
        acts in prop::collection::vec(act(), 0..60),
        kills in prop::collection::vec(1..40_000_u64, 0..6),
        grown in prop::collection::vec(0..9_000_u64, 1..5),
        is_poisoned in any::<bool>(),
    ) {
        paused().block_on(async {
            let memory = stocked(0, 0);
            let server = Scripted::new(&acts);
            if is_poisoned {
                server.desk().poison = Some((measured(77).micros() * 1_000).to_string());
            }
            let mut kills = kills.into_iter();
            for more in grown {
                memory.shelf().inputs += more;
                memory.shelf().records += more / 50;
                let mut work = start(&memory, &server).await;
                tokio::time::sleep(Duration::from_millis(kills.next().unwrap_or(500))).await;
                work.task.abort_all();
                while work.task.join_next().await.is_some() {}
                let Some(bookmark) = memory.shelf().bookmark.clone() else { continue };
                let track = Track::from_bytes(&bookmark).expect("its form");
                let heads = memory.heads().expect("in memory");
                let poison = usize::from(is_poisoned && heads.inputs >= 77);
                let sent = heads.inputs - track.inputs_behind(heads).min(heads.inputs);
                let (readings, _) = server.counts();
                assert!(readings + poison >= usize::try_from(sent).expect("few"), "the bookmark is ahead");
            }
            let work = start(&memory, &server).await;
            let heads = memory.heads().expect("in memory");
            let poison = u64::from(is_poisoned && heads.inputs >= 77);
            let expected = (heads.inputs - poison, heads.records);
            let expected = (expected.0.try_into().expect("few"), expected.1.try_into().expect("few"));
            until(&server, expected, 1_800).await;
            // The server took the others with the first request; the bad one is still being sought.
            tokio::time::sleep(Duration::from_secs(1)).await;
            while work.standing.borrow().readings_behind > 0 {
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
            work.stop().await;
            assert_eq!(memory.shelf().aside.is_empty(), poison == 0);
        });
    }
}
