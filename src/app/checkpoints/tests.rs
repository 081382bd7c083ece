//! When checkpoints are due, and that the follower signs them then.

use std::path::Path;

use super::*;
use crate::app::ledger::LedgerHandle;
use crate::app::seal::Standing;
use crate::core::record::{Body, Note, Record};
use crate::ledger::{Append, Names, NewRecord, Options, Reader, StoredCheckpoint, Writer};

fn at(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

// Offsets of the IANA time zone database: Kathmandu is UTC+05:45, St. John's UTC−03:30 in winter;
// Beirut went from 00:00 to 01:00 on 2025-03-30, Havana on 2026-03-08 from 00:00 to 01:00.
#[test]
fn an_hour_begins_when_the_clock_at_the_wall_says_so() {
    for (zone, now, hour) in [
        ("UTC", "2026-11-26T13:59:59.999999Z", "2026-11-26T13:00:00Z"),
        ("UTC", "2026-11-26T14:00:00Z", "2026-11-26T14:00:00Z"),
        ("Asia/Kathmandu", "2026-11-26T18:14:59Z", "2026-11-26T17:15:00Z"),
        ("Asia/Kathmandu", "2026-11-26T18:15:00Z", "2026-11-26T18:15:00Z"),
        ("America/St_Johns", "2026-11-26T03:30:00Z", "2026-11-26T03:30:00Z"),
        ("Asia/Beirut", "2025-03-29T22:00:00Z", "2025-03-29T22:00:00Z"),
        ("America/Havana", "2026-03-08T05:30:00Z", "2026-03-08T05:00:00Z"),
        ("UTC", "1969-12-31T23:30:00Z", "1969-12-31T23:00:00Z"),
    ] {
        let zone_of = TimeZone::get(zone).expect("a zone of the database");
        assert_eq!(hour_of(&zone_of, at(now)), at(hour), "{zone}, {now}");
    }
}

// Own rule: once for each hour, until it has succeeded; a failure is told once for each hour.
#[test]
fn each_hour_is_done_once() {
    let (one, two) = (at("2026-11-26T13:00:00Z"), at("2026-11-26T14:00:00Z"));
    let mut plan = Plan::default();
    assert!(plan.is_due(one) && plan.is_news(one) && !plan.is_news(one));
    assert!(plan.is_due(one), "what failed stays due");
    plan.done = Some(one);
    assert!(!plan.is_due(one) && plan.is_due(two) && plan.is_news(two));
    plan.done = Some(two);
    assert!(plan.is_due(one), "the clock was set back");
}

/// A ledger and what follows it, by a clock that runs fast.
struct Kitchen {
    ledger: LedgerHandle,
    clock: Clock,
}

impl Kitchen {
    fn open(directory: &Path, start: &str) -> Self {
        let path = directory.join("ledger.sqlite");
        let options = Options { path: path.clone(), block_retention: Duration::from_secs(86_400) };
        let names = Names { machines: &[], channels: &[] };
        let (writer, recovered) = Writer::open(&options, names, at(start)).expect("a ledger");
        let ledger = LedgerHandle::new(writer, &recovered, &path);
        // An hour in half a second.
        Self { ledger, clock: Clock::at_rate(at(start), 7_200.0) }
    }

    fn checkpoints(&self) -> Vec<StoredCheckpoint> {
        Reader::open(self.ledger.path()).and_then(|reader| reader.checkpoints()).expect("readable")
    }

    async fn note(&self) {
        let body = Body::Note(Note { at: None, text: "wiped".to_owned(), by: "Cy".to_owned() });
        let record = Record::new(self.clock.now(), None, body);
        let records = vec![NewRecord { record, trace: None }];
        self.ledger.append(Append { records, ..Append::default() }).await.expect("stored");
    }

    async fn until(&self, count: usize) -> Vec<StoredCheckpoint> {
        let limit = tokio::time::Instant::now() + Duration::from_secs(60);
        loop {
            let found = self.checkpoints();
            if found.len() >= count || tokio::time::Instant::now() > limit {
                return found;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    }
}

// Own promise: one soon after the start, then one in each hour in which something was added, and
// none in the others.
#[tokio::test]
async fn a_checkpoint_is_signed_in_each_hour_that_added_something() {
    let directory = tempfile::tempdir().expect("a directory");
    let kitchen = Kitchen::open(directory.path(), "2026-11-26T08:10:00Z");
    let seal = Seal::new(kitchen.ledger.clone(), "North kitchen", Standing::Service);
    let hours = Hours { seal, zone: TimeZone::UTC, clock: kitchen.clock.clone() };
    let stop = CancellationToken::new();
    let work = async {
        let first = kitchen.until(1).await;
        assert_eq!((first.len(), first[0].size), (1, 1), "over the record of the key");
        let hour = hour_of(&TimeZone::UTC, first[0].at);
        kitchen.note().await;
        let second = kitchen.until(2).await;
        assert_eq!((second.len(), second[1].size), (2, 2));
        let next = hour_of(&TimeZone::UTC, second[1].at);
        assert!(next > hour, "in a later hour: {second:?}");
        // At its beginning: the follower sleeps until then. Half an hour is a quarter of a second.
        assert!(second[1].at.since(next) < Duration::from_secs(1_800), "{second:?}");
        // Hours go by without a record.
        let later = second[1].at.plus(Duration::from_secs(3 * 3_600));
        tokio::time::sleep(kitchen.clock.wait_until(later)).await;
        assert_eq!(kitchen.checkpoints().len(), 2);
        stop.cancel();
    };
    tokio::join!(hours.run(stop.clone()), work);
}
