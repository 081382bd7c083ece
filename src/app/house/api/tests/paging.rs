//! Pages of lists: nothing lost and nothing twice, whatever comes meanwhile.

use super::*;

// Own promise: whoever goes through the pages sees each row that was there at the first one, once,
// although more come meanwhile; in both orders, of each list that has pages.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_lose_and_double_nothing_while_records_come() {
    let running = Running::start().await;
    let mut minute = CYCLES;
    for (view, oldest_first) in [
        (View::Cycles, false),
        (View::Cycles, true),
        (View::Records, false),
        (View::Records, true),
        (View::Alerts, false),
    ] {
        let all = running.page(Asked { limit: LIMIT_MAX, oldest_first, ..asked(view) }).await.items;
        assert!(!all.is_empty(), "{view:?}");
        let (mut seen, mut after) = (Vec::new(), None);
        loop {
            let limit = if view == View::Alerts { 1 } else { 7 };
            let page = running.page(Asked { oldest_first, after, limit, ..asked(view) }).await;
            assert!(page.items.len() <= limit && page.damaged.is_empty());
            seen.extend(page.items);
            running.wash(minute..minute + 1).await;
            minute += 1;
            after = page.next;
            if after.is_none() || seen.len() > 10 * all.len() + 100 {
                break;
            }
        }
        let index = |row: &String| serde_json::from_str::<Value>(row).expect("JSON");
        let (all, seen): (Vec<Value>, Vec<Value>) =
            (all.iter().map(index).collect(), seen.iter().map(index).collect());
        let key = |row: &Value| {
            let key = ["ledger_index", "index", "number"].into_iter().find_map(|key| row.get(key)?.as_u64());
            key.expect("a row has a number")
        };
        let seen: Vec<u64> = seen.iter().map(key).collect();
        let mut once = seen.clone();
        once.sort_unstable();
        once.dedup();
        assert_eq!(once.len(), seen.len(), "{view:?}: a row came twice");
        for row in &all {
            assert!(seen.contains(&key(row)), "{view:?}: {row} was lost");
        }
    }
}

// Own promise: also a list that is reckoned from the whole span goes on behind the row that the page before ended
// with, whatever comes meanwhile: a gap, or a day with another machine; and a gap that ends stays at its place.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_of_days_and_gaps_lose_and_double_nothing() {
    let running = Running::start().await;
    let gap = |probe: &str, minute: u64, to: Option<u64>| {
        let at = |minute: u64| samples::cycle(60 * minute, Verdict::Pass, 84.5, Vec::new()).received;
        let (from, to) = (at(minute), to.map(at));
        let gap = Gap { probe: probe.to_owned(), fault: Fault::Silent, from, to, filled: false };
        let machine = probe.split('/').next().map(str::to_owned);
        NewRecord { record: Record::new(at(minute), machine, Said::Gap(gap)), trace: None }
    };
    let put = async |records| {
        running.ledger.commit(Commit { records, ..Commit::default() }).await.expect("stored");
    };
    put((0..9).map(|n| gap("dm1/rinse", 10 * n, Some(10 * n + 5))).collect()).await;
    put(vec![gap("bar/rinse", 40, None), gap("bar/tank", 40, None)]).await;
    let mut minute = 200;
    for (view, oldest_first, limit, ends) in [
        (View::Gaps, false, 2, Some("bar/rinse")),
        (View::Gaps, true, 2, Some("bar/tank")),
        (View::Days, false, 1, None),
        (View::Days, true, 1, None),
    ] {
        let key = |row: &String| {
            let row: Value = serde_json::from_str(row).expect("JSON");
            let part = |one: &str, other: &str| row.get(one).unwrap_or(&row[other]).to_string();
            (part("day", "from"), part("probe", "machine"))
        };
        let all = running.page(Asked { limit: LIMIT_MAX, oldest_first, ..asked(view) }).await.items;
        // The service has recorded nothing since the past that this test plays in: that gap moves on with it.
        let of_a_probe = |row: &(String, String)| row.1 != "null";
        let all: Vec<_> = all.iter().map(key).filter(of_a_probe).collect();
        assert!(all.len() > 2 * limit, "{view:?}: {all:?}");
        let (mut seen, mut after) = (Vec::new(), None);
        let mut ends = ends.map(|probe| gap(probe, 40, Some(90)));
        loop {
            let page = running.page(Asked { oldest_first, after, limit, ..asked(view) }).await;
            let rows: Vec<_> = page.items.iter().map(key).filter(of_a_probe).collect();
            // The gap ends when the page has just ended with it.
            let ending = ends.take_if(|_| rows.last().is_some_and(|(_, probe)| probe.contains("bar/")));
            seen.extend(rows);
            put(ending.into_iter().chain([gap("dm1/rinse", minute, Some(minute + 1))]).collect()).await;
            running.wash(minute..minute + 1).await;
            minute += 2;
            after = page.next;
            if after.is_none() || seen.len() > all.len() + 50 {
                break;
            }
        }
        let mut once = seen.clone();
        once.sort_unstable();
        once.dedup();
        assert_eq!(once.len(), seen.len(), "{view:?}: a row came twice: {seen:?}");
        assert!(all.iter().all(|row| seen.contains(row)), "{view:?}: a row was lost: {seen:?} of {all:?}");
    }
    for (view, after) in
        [(View::Gaps, "7"), (View::Days, "7"), (View::Days, "yesterday/dm1"), (View::Gaps, "/")]
    {
        let answer = running.house.rows(Asked { after: Some(after.to_owned()), ..asked(view) }).await;
        assert!(matches!(&answer, Err(Trouble::Wrong { field, .. }) if field == "after"), "{answer:?}");
    }
}

// Own promise: what one record tells of twice, a silent service and the gap of a probe, is two rows of which none is
// lost and none comes twice, wherever a page ends.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_gaps_that_one_record_tells_of_are_two_rows() {
    let running = Running::start().await;
    // Their clock is far ahead of the gateway's: the service is silent since before they began.
    let records = (0..4).map(|n| {
        let ended = samples::cycle(60 * n, Verdict::Pass, 84.5, Vec::new()).received;
        let from = ended.plus(Duration::from_secs(7 * 86_400));
        let to = Some(from.plus(Duration::from_secs(30)));
        let gap = Gap { probe: "dm1/rinse".to_owned(), fault: Fault::Silent, from, to, filled: false };
        NewRecord { record: Record::new(ended, Some("dm1".to_owned()), Said::Gap(gap)), trace: None }
    });
    let commit = Commit { records: records.collect(), ..Commit::default() };
    running.ledger.commit(commit).await.expect("stored");
    for oldest_first in [false, true] {
        let asked = |limit, after| Asked { limit, after, oldest_first, ..asked(View::Gaps) };
        let all = running.page(asked(LIMIT_MAX, None)).await.items;
        let told = |row: &String| {
            let row: Value = serde_json::from_str(row).expect("JSON");
            (row["index"].to_string(), row["probe"].to_string())
        };
        let rows: Vec<_> = all.iter().map(told).collect();
        let (record, _) = rows.iter().find(|(_, probe)| probe == "null").expect("the service is silent");
        assert!(rows.contains(&(record.clone(), "\"dm1/rinse\"".to_owned())), "one record for two: {rows:?}");
        for limit in 1..=3 {
            let (mut seen, mut after) = (Vec::new(), None);
            loop {
                let page = running.page(asked(limit, after)).await;
                seen.extend(page.items.iter().map(told));
                after = page.next;
                if after.is_none() || seen.len() > 2 * rows.len() {
                    break;
                }
            }
            assert_eq!(seen, rows, "{limit} a page");
        }
    }
}

// Own promise: a span that ends before it begins is refused, however it is written, and of a time to come nothing is
// missing. 2026-01-01 is before what the fixture has, 2030 after it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_span_that_cannot_be_is_refused() {
    let running = Running::start().await;
    let day = |text: &str| Some(When::Day(text.parse().expect("a day")));
    let instant = |text: &str| Some(When::Instant(text.parse().expect("an instant")));
    for view in
        [View::Cycles, View::Days, View::Summary, View::Gaps, View::Alerts, View::Checks, View::Records]
    {
        for (from, to) in [
            (instant("2026-01-02T12:00:00Z"), day("2026-01-01")),
            (day("2026-01-02"), instant("2026-01-01T12:00:00Z")),
            (day("2026-01-02"), day("2026-01-01")),
            (instant("2026-01-02T12:00:00Z"), instant("2026-01-02T12:00:00Z")),
        ] {
            let refused = running.house.rows(Asked { from, to, ..asked(view) }).await;
            assert!(
                matches!(refused, Err(Trouble::Wrong { field, .. }) if field == "to"),
                "{view:?} {from:?}"
            );
        }
        let (from, to) = (day("2030-01-01"), day("2030-01-02"));
        assert!(running.page(Asked { from, to, ..asked(view) }).await.items.is_empty(), "{view:?}");
    }
}
