//! Ends in order, and starts that cannot be.

use std::fs;
use std::io::Write as _;
use std::ops::ControlFlow;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use rinseward::core::record::{Body, Record, ServiceStop, StopCause};
use rinseward::core::time::Timestamp;
use rinseward::ledger::{Commit, Reader};
use rustix::process::Signal;

use super::audit::{check, until_reading, until_recorded, verify};
use super::gateway::Gateway;
use super::kitchen::{Site, Stream, rinseward, text};
use super::publisher::{Publisher, until_listening};
use crate::ledger::fixture;
use crate::mqtt::broker::Broker;

/// Longest time to end after a signal, as promised to the service manager.
const END_WITHIN: Duration = Duration::from_secs(5);

// Shows that either signal, in the middle of a stream, commits and acknowledges what was taken,
// puts the stop on record as the last thing, and costs nothing.
#[test]
fn both_signals_end_in_order_in_the_middle_of_a_stream() {
    let stream = Stream::of(1, 0.25, 5);
    let broker = Broker::start();
    let site = Site::with_broker(1, broker.port());
    let gateway = Gateway::start(&site, "");
    until_listening(&gateway, &site, &stream, broker.port());
    gateway.kill();
    let expected = site.expected_cycles(&stream).len();

    let publisher = Publisher::start(broker.port(), stream.packs.clone(), 300.0);
    for (part, signal) in (1..).zip([Signal::TERM, Signal::INT, Signal::TERM, Signal::INT]) {
        let gateway = Gateway::start(&site, "");
        let pack = &stream.packs[stream.packs.len() * part / 5];
        until_reading(&gateway, &site.ledger(), "dm1/rinse", stream.start_micros + pack.after_micros);
        let (status, took) = gateway.stop(signal);
        assert!(status.success() && took < END_WITHIN, "{signal:?}: {status} after {took:?}");
        let last = last_record(&site.ledger());
        let stop = Body::ServiceStop(ServiceStop { cause: StopCause::Signal });
        assert_eq!(last.body, stop, "{signal:?}");
    }
    publisher.finish();
    let gateway = Gateway::start(&site, "");
    until_recorded(&gateway, &site.ledger(), expected);
    assert!(gateway.stop(Signal::TERM).0.success());
    let kinds = check(&site, &stream);
    assert_eq!(kinds["service-stop"], 5, "{kinds:?}");
}

/// Does to a ledger what must be told.
type Spoil = fn(&Path);

// Exit code 74 of sysexits.h (4.3BSD): input/output.
#[test]
fn a_ledger_that_cannot_be_kept_is_told_at_the_start() {
    let spoil_pages = |ledger: &Path| {
        let mut bytes = fs::read(ledger).expect("the ledger");
        // Past the first page, which says what the file is (SQLite file format §1.3).
        bytes[4096..].fill(0xa5);
        fs::write(ledger, bytes).expect("our own file");
    };
    let protect = |ledger: &Path| {
        fs::set_permissions(ledger, fs::Permissions::from_mode(0o444)).expect("our own file");
    };
    let other_program = |ledger: &Path| {
        fs::write(ledger, "not a ledger at all").expect("our own file");
    };
    let rows: [(&str, Spoil); 3] = [
        ("error[ledger-damaged]", spoil_pages),
        ("error[ledger-read-only]", protect),
        ("error[ledger-open]", other_program),
    ];
    for (slug, spoil) in rows {
        let site = Site::new(1, "\n[[source]]\nname = \"pipe\"\nkind = \"replay\"\n");
        let configuration = site.configuration();
        let arguments = ["run", "--config", text(&configuration)];
        assert!(
            rinseward(&arguments).output().expect("it starts").status.success(),
            "an empty input ends it"
        );
        spoil(&site.ledger());
        let before = fs::read(site.ledger()).expect("the ledger");

        let output = rinseward(&arguments).output().expect("it starts");
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(74), "{slug}: {told}");
        assert!(told.contains(slug) && told.contains("do:"), "{slug}: {told}");
        assert_eq!(fs::read(site.ledger()).expect("the ledger"), before, "{slug}: it is left as it is");
    }
}

// Shows that a start with the clock an hour behind the last record says so on record, before
// anything else, and records.
#[test]
fn a_clock_set_back_between_two_runs_goes_on_record_first() {
    let stream = Stream::of(1, 0.05, 5);
    let site = Site::new(1, "\n[[source]]\nname = \"pipe\"\nkind = \"replay\"\n");
    let since = SystemTime::now().duration_since(UNIX_EPOCH).expect("a clock after 1970");
    let ahead = Timestamp::from_micros(0).plus(since + Duration::from_secs(3600));
    let (writer, _) = fixture::open(&site.ledger());
    let stop = Record::new(ahead, None, Body::ServiceStop(ServiceStop { cause: StopCause::Signal }));
    let records = vec![fixture::plain(stop)];
    fixture::commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
    writer.close().expect("an orderly end");

    let mut gateway = Gateway::start(&site, "");
    let mut pipe = gateway.pipe();
    for pack in &stream.packs {
        writeln!(pipe, "{}", pack.payload).expect("the gateway reads");
    }
    drop(pipe);
    assert!(gateway.end().success());

    let mut bodies = Vec::new();
    let reader = Reader::open(&site.ledger()).expect("the ledger opens");
    reader
        .records(1, |_, _, record| {
            bodies.push(record.body);
            ControlFlow::Continue(())
        })
        .expect("the records read");
    let Body::ClockStep(step) = &bodies[0] else { panic!("{bodies:?}") };
    assert_eq!(step.from, ahead);
    assert!((3_500.0..3_700.0).contains(&step.from.seconds_since(step.to)), "{step:?}");
    assert_eq!(bodies[1].kind(), "service-start");
    verify(&site.ledger());
    check(&site, &stream);
}

fn last_record(ledger: &Path) -> Record {
    let reader = Reader::open(ledger).expect("the ledger opens");
    let size = reader.size().expect("a size");
    let mut last = None;
    reader
        .records(size - 1, |_, _, record| {
            last = Some(record);
            ControlFlow::Continue(())
        })
        .expect("the record reads");
    last.expect("the last record")
}
