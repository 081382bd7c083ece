//! A log that a cut of the mains left short: the process starts on what is there.

use std::fs;
use std::io::Write as _;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use rinseward::core::record::{Body, Record};
use rinseward::ledger::Reader;

use super::audit::{check, until_reading, verify};
use super::gateway::Gateway;
use super::kitchen::{Site, Stream};

/// A file, or here a pipe, as the source.
const PIPE: &str = "\n[[source]]\nname = \"pipe\"\nkind = \"replay\"\n";
/// Portions in which the stream is handed over; each is committed before the next.
const PORTIONS: usize = 12;

// Shows that whatever part of the write-ahead log is gone, the process starts, keeps every
// whole commit that is left, says that it did not end in order, and ends with what an unbroken
// run has once the node has sent again what it had no acknowledgement for.
#[test]
fn a_log_cut_short_costs_only_its_end() {
    let stream = Stream::of(1, 0.2, 3);
    let site = Site::new(1, PIPE);
    let mut gateway = Gateway::start(&site, "");
    let mut pipe = gateway.pipe();
    for portion in stream.packs.chunks(stream.packs.len().div_ceil(PORTIONS)) {
        for pack in portion {
            writeln!(pipe, "{}", pack.payload).expect("the gateway reads");
        }
        let last = portion.last().expect("a portion holds some");
        until_reading(&gateway, &site.ledger(), "dm1/rinse", stream.start_micros + last.after_micros);
    }
    gateway.kill();
    let (main, log) =
        (fs::read(site.ledger()).expect("the ledger"), fs::read(log_of(&site.ledger())).expect("its log"));
    let before = records(&site.ledger());

    let mut kept = Vec::new();
    for cut in (0..=8).map(|eighth| log.len() * eighth / 8) {
        let site = Site::new(1, PIPE);
        fs::write(site.ledger(), &main).expect("a copy");
        fs::write(log_of(&site.ledger()), &log[..cut]).expect("a copy");
        let mut gateway = Gateway::start(&site, "");
        let mut pipe = gateway.pipe();
        for pack in &stream.packs {
            writeln!(pipe, "{}", pack.payload).expect("the gateway reads");
        }
        drop(pipe);
        assert!(gateway.end().success(), "cut at {cut}");

        let after = records(&site.ledger());
        let whole = before.iter().zip(&after).take_while(|(one, other)| one == other).count();
        let start = Record::from_bytes(&after[whole]).expect("a record");
        let Body::ServiceStart(start) = start.body else { panic!("cut at {cut}: {start:?} comes next") };
        assert!(whole == 0 || !start.after_clean_stop, "cut at {cut}: the end was not in order");
        check(&site, &stream);
        kept.push(whole);
    }
    assert!(kept.is_sorted() && kept.first() < kept.last(), "the more is left, the more is kept: {kept:?}");
    assert_eq!(kept.last(), Some(&before.len()), "a whole log costs nothing");
    verify(&site.ledger());
}

fn log_of(ledger: &Path) -> PathBuf {
    let mut name = ledger.as_os_str().to_owned();
    name.push("-wal");
    name.into()
}

/// The bytes of all records.
fn records(ledger: &Path) -> Vec<Vec<u8>> {
    let mut records = Vec::new();
    let reader = Reader::open(ledger).expect("the ledger opens");
    reader
        .records(0, |_, bytes, _| {
            records.push(bytes.to_vec());
            ControlFlow::Continue(())
        })
        .expect("the records read");
    records
}
