//! What the pages are told, from a ledger on the disk.

mod by_desk;
mod counted;
mod doubted;
mod hits;
mod known;
mod missed;
mod of_alerts;
mod records;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use super::alert_book::{Closed, is_news, with_amendments};
use super::logbook::{entered, since};
use super::racks::{Read, Stands, leads, read};
use crate::app::alerts::pages::{affected, cycles};
use crate::app::alerts::{doubts, story};
use crate::app::history::gaps;
use crate::app::ledger::{self, LedgerHandle};
use crate::config::load::Loaded;
use crate::config::resolve::Configuration;
use crate::core::alert::doubts::Doubts;
use crate::core::alert::hours::Stretch;
use crate::core::alert::{AlertNumber, Condition, Occasion, Route};
use crate::core::cycle::verdict::Verdict;
use crate::core::monitored::Blank;
use crate::core::on_file::OnFile;
use crate::core::reading::Fault;
use crate::core::record::{
    AlertClosed, AlertRaised, Amendment, AmendmentChange, Body, Check, ConfigurationChange, Gap, Note,
    Notification, Outcome, Record, ServiceStop, StopCause,
};
use crate::core::time::Timestamp;
use crate::ledger::{Append, Known, Missing, NewRecord, Reader};
use crate::report::row::samples::cycle;
use crate::web::cycle::InDoubt;
use crate::web::logbook::Written;

const NOW: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

fn loaded(directory: &Path) -> Loaded {
    let path = directory.join("gateway.toml");
    let text = "[ledger]\npath = \"ledger.sqlite\"\n[[machine]]\nname = \"dm1\"\n\
                kind = \"stationary-rack-single-temperature\"\nsanitizing = \"chlorine\"\nprobes = [\"rinse\", \"sanitizer\"]\n";
    std::fs::write(&path, text).expect("a temporary file");
    Configuration::load(&[path], []).expect("a sound configuration")
}

/// An empty ledger in a folder of its own, which goes with it.
fn book() -> (tempfile::TempDir, PathBuf, LedgerHandle) {
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    let (handle, _) = ledger::open_alone(&loaded(directory.path()), &path, NOW).expect("a ledger");
    (directory, path, handle)
}

fn of(machine: &str, recorded: Timestamp, body: Body) -> NewRecord {
    NewRecord { record: Record::new(recorded, Some(machine.to_owned()), body), trace: None }
}

async fn put(handle: &LedgerHandle, records: Vec<NewRecord>) -> u64 {
    let committed = handle.append(Append { records, ..Append::default() }).await.expect("stored");
    committed.first_index.expect("records")
}

fn gap(seconds: u64, closed: bool) -> Body {
    let from = NOW.plus(Duration::from_secs(seconds));
    let to = closed.then(|| from.plus(Duration::from_secs(30)));
    Body::Gap(Gap { probe: "dm1/rinse".to_owned(), fault: Fault::Silent, from, to, filled: false })
}

// Own promise: what was kept of gaps and read on with each record comes to what a first reading of all comes to, while
// a gap is open, closed, ended by a configuration without its probe, and while the service is stopped.
#[tokio::test]
async fn gaps_that_are_read_on_are_those_of_a_first_reading() {
    let (_directory, path, handle) = book();
    let reader = Reader::open(&path).expect("a reader");
    let (known, mut lines) = (Known::<Missing>::default(), Vec::new());
    let without = "[[machine]]\nname = \"dm1\"\nprobes = [\"wash\"]\n".to_owned();
    let change = ConfigurationChange { sha256: "0".repeat(64), toml: without };
    let stop = ServiceStop { cause: StopCause::Signal };
    let bodies = [
        gap(60, false),
        gap(60, true),
        gap(300, false),
        Body::ConfigurationChange(change),
        gap(900, false),
        Body::ServiceStop(stop),
    ];
    for (number, body) in (1..).zip(bodies) {
        let at = NOW.plus(Duration::from_secs(number * 200));
        put(&handle, vec![of("dm1", at, body)]).await;
        for span in [(0, 5_000), (350, 700)] {
            let [from, to] = [span.0, span.1].map(|second| NOW.plus(Duration::from_secs(second)));
            let span = Stretch { from, to };
            let anew = reader.blanks(&Known::default(), span, at).expect("read");
            assert_eq!(reader.blanks(&known, span, at).expect("read on"), anew, "{number}");
            lines.push(anew.0.len());
        }
    }
    assert_eq!(lines, [1, 1, 1, 0, 2, 1, 2, 1, 3, 1, 4, 1]);
}

// Own promise: probes that fall silent together miss their time once, and only as far as it lies in the span.
#[test]
fn what_is_missing_at_once_counts_once() {
    let directory = tempfile::tempdir().expect("a directory");
    let settings = loaded(directory.path()).configuration.alerts;
    let at = |second| NOW.plus(Duration::from_secs(second));
    let gap = |from, to: Option<u64>| {
        let (machine, from, to) = (Some("dm1".to_owned()), at(from), to.map(at));
        (Blank { index: 0, machine, probe: None, fault: None, from, to, filled: false }, 0.0)
    };
    let gaps = [gap(300, Some(900)), gap(0, Some(600)), gap(0, Some(600)), gap(1_200, None)];
    for (from, to, missing_s) in
        [(0, 2_000, 1_700.0), (100, 700, 600.0), (900, 1_200, 0.0), (1_000, 1_300, 100.0)]
    {
        let span = Stretch { from: at(from), to: at(to) };
        let found = gaps::missing_s(&gaps, span, &settings);
        assert!((found - missing_s).abs() < 1e-6, "{from} to {to}: {found}");
    }
}

fn raised(number: u64, since: Timestamp) -> Body {
    Body::AlertRaised(Box::new(AlertRaised::new(AlertNumber(number), Condition::Cold, since)))
}

fn closed(number: u64, racks: u64) -> Body {
    Body::AlertClosed(AlertClosed { alert: AlertNumber(number), racks, needed_action: true })
}

// Own promise: a rack leads to the reading that it was judged by, as that counted then, and to what was said of it
// later; of one that was withdrawn before the rack it is not the one.
#[tokio::test]
async fn a_rack_tells_of_the_reading_it_was_judged_by() {
    let (_directory, path, handle) = book();
    let after = |minutes: u64| NOW.plus(Duration::from_secs(minutes * 60));
    let reading = |minute, mg_per_l| Check::Sanitizer {
        at: after(minute),
        mg_per_l,
        ph: None,
        solution_c: None,
        method: None,
        by: "Ana".to_owned(),
    };
    let strip = |minute, mg_per_l| of("dm1", NOW, Body::Check(reading(minute, mg_per_l)));
    let amended = |of_record, change| {
        let (reason, by) = ("misread".to_owned(), "Ben".to_owned());
        of("dm1", NOW, Body::Amendment(Box::new(Amendment { of: of_record, reason, by, change })))
    };
    // Its rinse ends 57 s after the hour, and it comes two hours late.
    let rack = |mg_per_l| {
        let mut cycle = cycle(3_600, Verdict::Pass, 57.0, Vec::new());
        (cycle.concentration_mg_per_l, cycle.received) = (mg_per_l, after(180));
        of("dm1", NOW, Body::Cycle(Box::new(cycle)))
    };
    let records = vec![
        strip(0, 50.0),
        amended(0, AmendmentChange::Corrected(reading(0, 75.0))),
        strip(10, 75.0),
        amended(2, AmendmentChange::Withdrawn),
        strip(90, 75.0),
        rack(Some(75.0)),
        rack(Some(50.0)),
        rack(None),
        amended(0, AmendmentChange::Comment),
        amended(0, AmendmentChange::Withdrawn),
        amended(4, AmendmentChange::Withdrawn),
        rack(Some(75.0)),
        strip(20, 100.0),
        rack(Some(75.0)),
    ];
    assert_eq!(put(&handle, records).await, 0);
    let reader = Reader::open(&path).expect("a ledger");
    let found = |index| match read(&reader, index, Arc::default(), &doubts(&reader)).expect("read") {
        Stands::Rack(rack) => rack
            .strip
            .map(|strip| (strip.record, strip.later.iter().map(|(index, _)| *index).collect::<Vec<u64>>())),
        Stands::NoRack | Stands::Damaged(_) => panic!("a rack"),
    };
    assert_eq!(
        found(5),
        Some((0, vec![9])),
        "as corrected, and withdrawn later; not the one after the rinse"
    );
    assert_eq!(found(6), None, "the one in force had another value");
    assert_eq!(found(7), None, "none is named");
    assert_eq!(found(11), None, "it was withdrawn before");
    assert_eq!(found(13), None, "a newer one was in force");
}

// Own promise: whoever reads an alert reads that an entry it rests on was withdrawn, and that once, where it happened.
#[tokio::test]
async fn an_alert_tells_of_its_amended_entries() {
    let (_directory, path, handle) = book();
    let supply =
        Check::Supply { at: NOW, enough: false, short: Vec::new(), note: None, by: "Ana".to_owned() };
    let entry = put(&handle, vec![of("dm1", NOW, Body::Check(supply))]).await;
    let caused = |number| {
        let mut raised = AlertRaised::new(AlertNumber(number), Condition::SuppliesShort, NOW);
        raised.cause = Some(entry);
        of("dm1", NOW, Body::AlertRaised(Box::new(raised)))
    };
    let amendment = |of| {
        let change = AmendmentChange::Withdrawn;
        Body::Amendment(Box::new(Amendment {
            of,
            reason: "wrong machine".to_owned(),
            by: "Ben".to_owned(),
            change,
        }))
    };
    let first = put(
        &handle,
        vec![
            caused(1),
            of("dm1", NOW, amendment(entry)),
            of("dm1", NOW, amendment(77)),
            of("dm1", NOW, closed(1, 0)),
        ],
    )
    .await;
    let reader = Reader::open(&path).expect("a ledger");
    let (records, _) = story::records(&reader, AlertNumber(1)).expect("readable");
    let told = with_amendments(&reader, records).expect("readable");
    let indices: Vec<u64> = told.iter().map(|(index, _)| *index).collect();
    assert_eq!(indices, [first, first + 1, first + 3]);
}

// Own promise: closed alerts come page by page, the latest closed first, each once, whatever was raised first.
#[tokio::test]
async fn closed_alerts_come_page_by_page() {
    let (_directory, path, handle) = book();
    let later = |minutes: u64| NOW.plus(Duration::from_secs(minutes * 60));
    let open = (1..=45).map(|number| of("dm1", later(number), raised(number, later(number))));
    put(&handle, open.collect()).await;
    // Closed from the newest to the oldest; the last one stays open.
    let over = (1..45).map(|place| of("dm1", later(100 + place), closed(45 - place, 1)));
    put(&handle, over.collect()).await;
    let reader = Reader::open(&path).expect("readable");
    let (mut before, mut seen, mut pages) = (None, Vec::new(), 0);
    loop {
        let page = Closed::read(&reader, before).expect("readable").expect("a page");
        assert_eq!(page.damaged, 0);
        seen.extend(page.alerts.iter().map(|(alert, _)| alert.number.0));
        pages += 1;
        before = page.older;
        if before.is_none() {
            break;
        }
    }
    assert_eq!((seen, pages), ((1..45).collect::<Vec<u64>>(), 3));
    // The record of the key, one that raised an alert, and one that is not there yet.
    for other in [0, reader.size().expect("a size") - 45, 9_999] {
        assert!(Closed::read(&reader, Some(other)).expect("readable").is_none(), "{other}");
    }
}

// Own promise: the racks of an alert that is over are found again: those of its machine and its verdict, from
// its first one on, and no more than were counted.
#[tokio::test]
async fn the_racks_of_a_closed_alert_are_found_again() {
    let (_directory, path, handle) = book();
    let rack = |minute: u64, verdict| cycle(minute * 60, verdict, 79.0, Vec::new());
    let all = [
        (1, Verdict::Cold, "dm1"),
        (2, Verdict::Pass, "dm1"),
        (3, Verdict::Cold, "dm1"),
        (4, Verdict::Cold, "dm2"),
        (5, Verdict::Unproven, "dm1"),
        (6, Verdict::Cold, "dm1"),
        (7, Verdict::Cold, "dm1"),
    ];
    let first = rack(3, Verdict::Cold).rinse_ended;
    let records = all.iter().map(|(minute, verdict, machine)| {
        let cycle = rack(*minute, *verdict);
        of(machine, cycle.rinse_ended, Body::Cycle(Box::new(cycle)))
    });
    let index = put(&handle, records.collect()).await;
    let end = rack(9, Verdict::Cold).rinse_ended;
    let raised = AlertRaised {
        cause: Some(index + 2),
        last_good: Some(index + 1),
        ..AlertRaised::new(AlertNumber(1), Condition::Cold, first)
    };
    let raised = of("dm1", first, Body::AlertRaised(Box::new(raised)));
    put(&handle, vec![raised, of("dm1", end, closed(1, 2))]).await;
    let reader = Reader::open(&path).expect("readable");
    let page = Closed::read(&reader, None).expect("readable").expect("a page");
    let (alert, _) = page.alerts.first().expect("the alert");
    let found = affected(&cycles(&reader, alert).expect("readable"));
    let named: Vec<(u64, Option<Verdict>)> =
        found.iter().map(|rack| (rack.record, rack.judged.map(|judged| judged.verdict))).collect();
    assert_eq!(named, [(index + 2, Some(Verdict::Cold)), (index + 5, Some(Verdict::Cold))]);
    // From the rack one comes to the alert as well: not from the last good one before it, which it names.
    let of_rack: Vec<Vec<u64>> = (all.iter().enumerate())
        .map(|(place, _)| {
            let number = index + u64::try_from(place).expect("few");
            linked(&reader, number)
        })
        .collect();
    assert_eq!(of_rack, [vec![], vec![], vec![1], vec![], vec![], vec![1], vec![1]]);
    assert!(story::told(&reader, &[]).expect("readable").is_none());
}

/// What put racks in doubt.
fn doubts(reader: &Reader) -> Doubts {
    doubts::read(reader, reader.size().expect("a size")).expect("readable")
}

/// Numbers of the alerts that put a rack in doubt which had passed.
fn doubting(reader: &Reader, index: u64) -> Vec<u64> {
    let (_, record) = reader.record(index).expect("readable").expect("whole");
    leads(reader, index, &record, &doubts(reader))
        .expect("readable")
        .doubts
        .into_iter()
        .map(|number| number.0)
        .collect()
}

/// What a rack says of why it is in doubt.
fn in_doubt(reader: &Reader, index: u64) -> Vec<InDoubt> {
    whole(reader, index).doubts
}

/// All that is read of a rack.
fn whole(reader: &Reader, index: u64) -> Box<Read> {
    let file = Arc::new(OnFile::default());
    let stands = read(reader, index, file, &doubts(reader)).expect("readable");
    let Stands::Rack(read) = stands else { panic!("a rack") };
    read
}

/// Numbers of the alerts that a rack leads to.
fn linked(reader: &Reader, index: u64) -> Vec<u64> {
    let (_, record) = reader.record(index).expect("readable").expect("whole");
    let leads = leads(reader, index, &record, &doubts(reader)).expect("readable");
    leads.alerts.into_iter().map(|number| number.0).collect()
}

// 4-501.114: chlorine below 25 mg/L is too weak. Own promise: an entry is judged as it counts after what was
// said of it, and stands there with all of it.
#[tokio::test]
async fn an_entry_stands_with_what_was_said_of_it() {
    let (directory, path, handle) = book();
    let loaded = loaded(directory.path());
    let strip = |mg_per_l: f64| Check::Sanitizer {
        at: NOW,
        mg_per_l,
        ph: None,
        solution_c: None,
        method: None,
        by: "ana".to_owned(),
    };
    let note = Body::Note(Note { at: None, text: "it hums".to_owned(), by: "ana".to_owned() });
    let index = put(&handle, vec![of("dm1", NOW, Body::Check(strip(10.0))), of("dm1", NOW, note)]).await;
    let amended = |change| {
        let amendment = Amendment { of: index, reason: "misread".to_owned(), by: "bo".to_owned(), change };
        of("dm1", NOW, Body::Amendment(Box::new(amendment)))
    };
    let machines = &loaded.configuration.machines;
    let look = || {
        let reader = Reader::open(&path).expect("readable");
        let (_, record) = reader.record(index).expect("readable").expect("whole");
        entered(&reader, machines, index, record).expect("readable").expect("an entry")
    };
    let good = |entry: &crate::web::logbook::Entered| entry.judgement.as_ref().map(|judged| judged.good);
    assert_eq!((good(&look()), look().alerts()), (Some(Some(false)), Vec::new()));
    let raised = AlertRaised { cause: Some(index), ..AlertRaised::new(AlertNumber(3), Condition::Weak, NOW) };
    put(&handle, vec![of("dm1", NOW, Body::AlertRaised(Box::new(raised)))]).await;
    assert_eq!(look().alerts(), [3], "it leads to what it set off");
    put(&handle, vec![amended(AmendmentChange::Corrected(strip(50.0)))]).await;
    assert_eq!(good(&look()), Some(Some(true)));
    assert_eq!(look().written, Written::Check(strip(10.0)), "it stays as it was entered");
    put(&handle, vec![amended(AmendmentChange::Withdrawn)]).await;
    let entry = look();
    assert_eq!((good(&entry), entry.amendments.len()), (None, 2));
    let by_correction =
        AlertRaised { cause: Some(index + 3), ..AlertRaised::new(AlertNumber(4), Condition::Weak, NOW) };
    put(&handle, vec![of("dm1", NOW, Body::AlertRaised(Box::new(by_correction)))]).await;
    assert_eq!(look().alerts(), [3, 4], "and to what its correction set off");

    let reader = Reader::open(&path).expect("readable");
    let (entries, damaged) = since(&reader, machines, Some(NOW)).expect("readable");
    let found: Vec<u64> = entries.iter().map(|entry| entry.record).collect();
    assert_eq!((found, damaged), (vec![index + 1, index], 0));
    let (none, _) = since(&reader, machines, Some(NOW.plus(Duration::from_secs(1)))).expect("readable");
    assert!(none.is_empty());
    let (_, start) = reader.record(index + 3).expect("readable").expect("whole");
    assert!(
        entered(&reader, machines, index + 3, start).expect("readable").is_none(),
        "an amendment is no entry"
    );
}

// Own promise: a message that came through is no news to whoever has just closed the alert that it tells of.
#[test]
fn a_message_that_came_through_changes_no_page_of_an_alert() {
    let notification = |outcome| {
        Body::Notification(Box::new(Notification {
            key: "17/1/ana".to_owned(),
            alert: Some(AlertNumber(1)),
            occasion: Some(Occasion::Closed),
            contact: "ana".to_owned(),
            route: Route::Mqtt,
            outcome,
            attempts: 1,
            error: None,
            why: None,
        }))
    };
    for (body, while_open, once_closed) in [
        (notification(Outcome::Delivered), false, false),
        (notification(Outcome::GivenUp), true, false),
        (closed(1, 0), true, true),
    ] {
        let record = Record::new(NOW, Some("dm1".to_owned()), body);
        let news = |is_open| is_news(Some(&record), is_open);
        assert_eq!((news(true), news(false)), (while_open, once_closed), "{record:?}");
    }
    assert!(is_news(None, true), "one that cannot be read is not passed over");
}
