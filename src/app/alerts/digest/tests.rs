//! Digests at their hour, and what they count in a ledger on the disk.

use super::*;
use crate::app::fixture::{self, CONFIGURATION, at, comment, opening, plain, rack};
use crate::app::ledger;
use crate::app::seal::Standing;
use crate::config::load::Loaded;
use crate::config::recorded::Recorded;
use crate::config::resolve::Configuration;
use crate::core::alert::{AlertNumber, Condition, Earlier, Rack, Racks};
use crate::core::cycle::verdict::Verdict;
use crate::core::record::{
    AlertChanged, AlertRaised, Body, Change, Check, CheckKind, MissedDue, Notification, Outcome, Record,
    ServiceStart,
};
use crate::ledger::NewRecord;

/// A gateway's configuration.
fn loaded(directory: &std::path::Path) -> Loaded {
    let path = directory.join("gateway.toml");
    let text = "[site]\ntime-zone = \"Europe/Berlin\"\n[[machine]]\nname = \"dm1\"\n\
                kind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n\
                [[contact]]\nname = \"ana\"\ndigest = \"both\"\nroutes = [\"email:ana@example.org\"]\n\
                [alert]\ndigest-at = \"07:00\"\n[mail]\nhost = \"127.0.0.1\"\n\
                security = \"none\"\nfrom = \"kitchen@example.org\"\n";
    std::fs::write(&path, text).expect("a temporary file");
    Configuration::load(&[path], []).expect("a sound configuration")
}

/// Its digests, with a clock that runs fast.
fn digests(directory: &std::path::Path, start: &str) -> Digests {
    let loaded = loaded(directory);
    let start: Timestamp = start.parse().expect("an instant");
    let ledger = directory.join("ledger.sqlite");
    let (ledger, _) = ledger::open_alone(&loaded, &ledger, start).expect("a ledger");
    // An hour in half a second.
    let clock = Clock::at_rate(start, 7_200.0);
    {
        let seal = Seal::new(ledger.clone(), "kitchen", Standing::Service);
        let configuration = &loaded.configuration;
        Digests::new(&configuration.digest, &configuration.alerts, &seal, &ledger, &clock)
    }
}

/// Runs them until so many letters are in the outbox; their keys and when they were written.
async fn until_written(digests: &Digests, count: usize) -> Vec<(String, Timestamp)> {
    let stop = CancellationToken::new();
    let look = async {
        let limit = tokio::time::Instant::now() + Duration::from_secs(60);
        loop {
            let reader = Reader::open(digests.ledger.path()).expect("a reader");
            let posted = reader.letters(100).expect("readable");
            if posted.len() >= count || tokio::time::Instant::now() > limit {
                stop.cancel();
                return posted.into_iter().map(|posted| (posted.letter.key, posted.letter.created));
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    let (ended, letters) = tokio::join!(digests.clone().run(stop.clone()), look);
    ended.expect("the ledger works");
    let mut letters: Vec<_> = letters.collect();
    letters.sort_by(|one, other| (one.1, &one.0).cmp(&(other.1, &other.0)));
    letters
}

// Own promise: a digest that waits for a program leaves also where its contact is gone meanwhile.
#[test]
fn a_digest_leaves_without_its_contact() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let file = directory.path().join("gateway.toml");
    let machine =
        "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n";
    std::fs::write(&file, machine).expect("a temporary file");
    let loaded = Configuration::load(&[file], []).expect("a sound configuration");
    let start: Timestamp = "2026-03-02T06:00:00Z".parse().expect("an instant");
    let path = directory.path().join("ledger.sqlite");
    let (ledger, _) = ledger::open_alone(&loaded, &path, start).expect("a ledger");
    let composer = Composer::new(&loaded, &path, &Clock::at_rate(start, 1.0), None).expect("a ledger");
    let event = composer.digest_event("key", (Span::Day, "2026-03-01"), "gone", start);
    let event = serde_json::to_value(event.expect("an event")).expect("JSON");
    assert_eq!(event["data"]["language"], "en");
    ledger.close().expect("an orderly end");
}

// Own promise: a digest is counted once for all its letters, and anew where anything else was recorded since.
#[tokio::test]
async fn the_letters_of_a_digest_share_what_was_counted() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let loaded = loaded(directory.path());
    let start: Timestamp = "2026-03-02T06:00:00Z".parse().expect("an instant");
    let path = directory.path().join("ledger.sqlite");
    let (ledger, _) = ledger::open_alone(&loaded, &path, start).expect("a ledger");
    let composer = Composer::new(&loaded, &path, &Clock::at_rate(start, 1.0), None).expect("a ledger");
    let append = async |body| {
        let record = Record::new(start, None, body);
        let records = vec![NewRecord { record, trace: None }];
        ledger.append(Append { records, ..Append::default() }).await.expect("it is written");
    };
    let counted = |span, first| composer.counted((span, first)).expect("it can be counted");
    let first = counted(Span::Day, "2026-03-01");
    let went = |alert| Notification {
        key: "key".to_owned(),
        alert,
        occasion: None,
        contact: "ana".to_owned(),
        route: Route::Email("ana@example.org".to_owned()),
        outcome: Outcome::Delivered,
        attempts: 1,
        error: None,
        why: None,
    };
    append(Body::Notification(Box::new(went(None)))).await;
    assert!(Arc::ptr_eq(&first, &counted(Span::Day, "2026-03-01")), "for the next letter");
    append(Body::Notification(Box::new(went(Some(AlertNumber(1)))))).await;
    let second = counted(Span::Day, "2026-03-01");
    assert!(!Arc::ptr_eq(&first, &second), "something was recorded");
    let week = counted(Span::Week, "2026-02-23");
    assert_eq!((second.digest.span, week.digest.span), (Span::Day, Span::Week));
    assert!(!Arc::ptr_eq(&second, &counted(Span::Day, "2026-03-01")), "one is kept");
    assert_eq!(counted(Span::Day, "2026-02-28").digest.to, second.digest.from, "of another day");
    ledger.close().expect("an orderly end");
}

// 2026-03-02 is a Monday; 07:00 in Berlin is 06:00 UTC in winter. Own promise: each digest once,
// at its hour, also where the gateway is started again in between.
#[tokio::test]
async fn each_digest_is_written_once_at_its_hour() {
    let directory = tempfile::tempdir().expect("a directory");
    let first = digests(directory.path(), "2026-03-01T05:00:00Z");
    let letters = until_written(&first, 1).await;
    assert_eq!(letters.len(), 1, "{letters:?}");
    let Digests { ledger, seal, .. } = first;
    drop(seal);
    ledger.close().expect("an orderly end");
    let again = digests(directory.path(), "2026-03-01T20:00:00Z");
    let letters = until_written(&again, 3).await;
    let keys: Vec<&str> = letters.iter().map(|(key, _)| key.as_str()).collect();
    let wanted = [
        "digest-day-2026-02-28-ana-email:ana@example.org",
        "digest-day-2026-03-01-ana-email:ana@example.org",
        "digest-week-2026-02-23-ana-email:ana@example.org",
    ];
    assert_eq!(keys, wanted);
    for ((key, created), due) in
        letters.iter().zip(["2026-03-01T06:00:00Z", "2026-03-02T06:00:00Z", "2026-03-02T06:00:00Z"])
    {
        let due: Timestamp = due.parse().expect("an instant");
        // The clock runs 7,200 times as fast: six hours are 3 s.
        assert!(*created >= due && created.since(due) < Duration::from_secs(21_600), "{key}: {created}");
    }
}

// Own promise: a damaged record costs what it said and no more, and that is told. Of 60 records,
// one an hour, each second one is damaged; the day has 12 that are not. Looked through are those
// from an hour before it on, so that 19 that are damaged may be of it: 22, 24 … 58.
#[tokio::test]
async fn a_digest_goes_past_damage_and_says_so() {
    let directory = tempfile::tempdir().expect("a directory");
    let digests = digests(directory.path(), "2026-03-01T00:00:00Z");
    let start: Timestamp = "2026-03-01T00:00:00Z".parse().expect("an instant");
    let at = |hours: u64| start.plus(Duration::from_secs(hours * 3_600));
    let note = |hours| {
        let check = Check::Supply {
            at: at(hours),
            enough: false,
            short: Vec::new(),
            note: None,
            by: "ana".to_owned(),
        };
        let record = Record::new(at(hours), Some("dm1".to_owned()), Body::Check(check));
        NewRecord { record, trace: None }
    };
    let records = (0..60).map(note).collect();
    digests.ledger.append(Append { records, ..Append::default() }).await.expect("an append");
    let path = digests.ledger.path().to_owned();
    let connection = rusqlite::Connection::open(&path).expect("a second connection");
    connection
        .execute_batch("DROP TRIGGER record_stays; UPDATE record SET bytes = x'7b7d' WHERE idx % 2 = 0;")
        .expect("a damaged ledger");
    let reader = Reader::open(&path).expect("a reader");
    let asked = Asked { span: Span::Day, from: at(24), to: at(48), now: at(60) };
    let (digest, _) =
        tell(&reader, asked, &loaded(directory.path()).configuration.alerts, &[], "/k").expect("a digest");
    assert_eq!((digest.failed_checks.len(), digest.unreadable), (12, 19));
}

// Local midnights and the change to summer time of 2026-03-29 in Berlin by the IANA time zone
// database; the rule is this program's own.
#[test]
fn the_hour_of_a_digest_comes_once_a_day() {
    let zone = TimeZone::get("Europe/Berlin").expect("a zone of the database");
    let at: Time = "02:30:00".parse().expect("a time");
    for (now, due) in [
        ("2026-03-28T01:29:59Z", "2026-03-27"),
        ("2026-03-28T01:30:00Z", "2026-03-28"),
        // 02:30 does not exist on the 29th; it is told at 03:30 summer time.
        ("2026-03-29T01:29:59Z", "2026-03-28"),
        ("2026-03-29T01:30:00Z", "2026-03-29"),
        ("2026-10-25T00:30:00Z", "2026-10-25"),
        ("2026-10-25T01:30:00Z", "2026-10-25"),
    ] {
        let now: Timestamp = now.parse().expect("an instant");
        assert_eq!(latest_due(&zone, at, now), due.parse().ok(), "{now}");
    }
}

// Own promise: a digest counts as the history does: the racks that passed and are in doubt since, the checks that were
// not made in time, and the share of the operating hours. The day is 15 November 2023, whose midnight is 106 min 40 s
// after the first record; the service was down from 04:53:20 to 06:53:20, of which 3,200 s are of the 12 h.
#[test]
fn a_digest_counts_as_the_history_does() {
    let hours = "time-zone = \"UTC\"\nopen = [\"mon-sun 06:00-18:00\"]";
    let configuration = CONFIGURATION.replace("time-zone = \"UTC\"", hours);
    let mut records = opening(&configuration);
    let first = records.len() as u64;
    // Every second one is of the other machine, and the first is cold, see the fixture; the last two are narrow.
    for minute in 200..210 {
        let (machine, mut cycle) = rack(minute);
        if minute >= 208 {
            cycle.verdict = Verdict::Narrow;
        }
        records.push(plain(minute, Some(machine), Body::Cycle(Box::new(cycle))));
    }
    let of_rack = |place: u64| Rack { index: first + place, at: at(200 + place), began: None };
    let racks = Racks { count: 4, named: (6..10).map(of_rack).collect() };
    let weak = AlertRaised {
        earlier: Some(Earlier { racks, by_probe: None, beside: Racks::default() }),
        ..AlertRaised::new(AlertNumber(1), Condition::Weak, at(215))
    };
    records.push(plain(215, Some("dm1"), Body::AlertRaised(Box::new(weak))));
    let missed = |check, due| Some(MissedDue { check, due: at(due), counts_from: at(due - 60) });
    let overdue = AlertRaised {
        about: vec![CheckKind::Supply.as_str().to_owned()],
        missed: missed(CheckKind::Supply, 300),
        ..AlertRaised::new(AlertNumber(2), Condition::CheckOverdue, at(300))
    };
    records.push(plain(330, Some("dm1"), Body::AlertRaised(Box::new(overdue))));
    let more = AlertChanged {
        about: ["supply", "sanitizer"].map(str::to_owned).into(),
        missed: missed(CheckKind::Sanitizer, 320),
        ..AlertChanged::new(AlertNumber(2), Change::MissedAgain)
    };
    records.push(plain(350, Some("dm1"), Body::AlertChanged(more)));
    let start = ServiceStart {
        version: "0".to_owned(),
        last_record: Some(at(400)),
        after_clean_stop: true,
        from_file: false,
        replayed: 0,
    };
    records.push(plain(520, None, Body::ServiceStart(start)));
    records.push(plain(1_546, None, comment(2, "still there")));
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    fixture::ledger(&path, records).close().expect("it closes");
    let reader = Reader::open(&path).expect("a reader");
    let midnight: Timestamp = "2023-11-15T00:00:00Z".parse().expect("an instant");
    let next = midnight.plus(Duration::from_secs(86_400));
    let asked = Asked { span: Span::Day, from: midnight, to: next, now: next };
    let settings = Recorded::read(&configuration).expect("a sound configuration").settings;
    let (digest, washed) = tell(&reader, asked, &settings, &[], "/k").expect("a digest");
    assert_eq!(washed.iter().filter(|washed| washed.in_doubt).count(), 2, "as the picture shows them");
    let machine = digest.machines.first().expect("it washed");
    let counts = machine.counts;
    assert_eq!((counts.total(), counts.pass, counts.narrow, machine.in_doubt), (5, 3, 1, 2));
    assert_eq!((digest.missed_checks, digest.open.len()), (2, 2));
    assert!(digest.open.iter().any(|alert| alert.about == ["supply", "sanitizer"]), "{:?}", digest.open);
    assert!((machine.gap_s - 3_200.0).abs() < 1e-6 && machine.gaps == 1, "{machine:?}");
    let share = machine.monitored.expect("there were hours");
    assert!((share - (1.0 - 3_200.0 / 43_200.0)).abs() < 1e-9, "{share}");
    let (language, scale) = (reader::Language::English, reader::Scale::Celsius);
    let facts =
        Facts { site: "k", reader: reader::Reader { language, scale, zone: TimeZone::UTC }, link: None };
    let told = headline(&digest, &facts);
    for said in [
        "narrow: 2, pass: 7; 2 of those that passed, narrowly or plainly, are in doubt",
        "alerts open: 2",
        "not made in time: 2",
        "missing now: 2",
    ] {
        assert!(told.contains(said), "{said}: {told}");
    }
    let whole = serde_json::to_string(&digest).expect("JSON");
    assert!(!whole.contains("-0.0"), "{whole}");
}
