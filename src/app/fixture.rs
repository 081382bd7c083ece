//! A kitchen of two machines and what is on record there, for the tests of what reads a ledger.

use std::path::Path;
use std::sync::mpsc;
use std::time::Duration;

use crate::core::cycle::verdict::Verdict;
use crate::core::note::SigningKey;
use crate::core::record::{
    Amendment, AmendmentChange, Body, Check, ConfigurationChange, Cycle, Record, SigningKeyChange,
};
use crate::core::time::Timestamp;
use crate::ledger::{Commit, Names, NewRecord, Options, Writer};
use crate::report::row::samples;

/// 2023-11-14T22:13:20Z, where the sample cycles begin.
pub(super) const BEGAN: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

/// As it is on record; `dm2` is known by its racks alone.
pub(super) const CONFIGURATION: &str = r#"
[site]
name = "north kitchen"
time-zone = "UTC"

[[machine]]
name = "dm1"
kind = "stationary-rack-dual-temperature"
wash-time = "45s"
rinse-time = "10s"
probes = ["wash", "rinse"]
"#;

/// A machine that sanitizes with chlorine.
pub(super) const CHEMICAL: &str = "[site]\nname = \"north kitchen\"\ntime-zone = \"UTC\"\n[[machine]]\nname = \"dm1\"\n\
                        kind = \"stationary-rack-single-temperature\"\nsanitizing = \"chlorine\"\n\
                        probes = [\"rinse\", \"sanitizer\"]\n";

/// A test of the sanitizer by Ana, at this minute.
pub(super) fn strip(minute: u64, mg_per_l: f64) -> Check {
    let (at, by) = (at(minute), "Ana".to_owned());
    Check::Sanitizer { at, mg_per_l, ph: None, solution_c: None, method: None, by }
}

/// So many minutes after [`BEGAN`].
pub(super) fn at(minute: u64) -> Timestamp {
    BEGAN.plus(Duration::from_secs(60 * minute))
}

/// Secret of the kitchen: public, for tests alone.
pub(super) fn key() -> SigningKey {
    SigningKey::from_seed("north-kitchen", &[7; 32]).expect("a name")
}

/// A record of that minute.
pub(super) fn plain(minute: u64, machine: Option<&str>, body: Body) -> NewRecord {
    NewRecord { record: Record::new(at(minute), machine.map(str::to_owned), body), trace: None }
}

/// What a ledger begins with: its key, and the configuration.
pub(super) fn opening(toml: &str) -> Vec<NewRecord> {
    let first = SigningKeyChange::first(&key().verifying());
    let configured = ConfigurationChange { sha256: "0".repeat(64), toml: toml.to_owned() };
    vec![
        plain(0, None, Body::SigningKey(Box::new(first))),
        plain(0, None, Body::ConfigurationChange(configured)),
    ]
}

/// The rack of that minute and its machine, every second one of `dm2`; each hundredth is cold.
pub(super) fn rack(minute: u64) -> (&'static str, Cycle) {
    let verdict = if minute.is_multiple_of(100) { Verdict::Cold } else { Verdict::Pass };
    let machine = if minute.is_multiple_of(2) { "dm1" } else { "dm2" };
    (machine, samples::cycle(60 * minute, verdict, 84.5, Vec::new()))
}

/// Ana's comment on a record.
pub(super) fn comment(of: u64, reason: &str) -> Body {
    let (reason, by) = (reason.to_owned(), "Ana".to_owned());
    Body::Amendment(Box::new(Amendment { of, reason, by, change: AmendmentChange::Comment }))
}

/// A new ledger with these records.
pub(super) fn ledger(path: &Path, records: Vec<NewRecord>) -> Writer {
    let options = Options { path: path.to_owned(), block_retention: Duration::from_secs(86_400) };
    let machines = ["dm1".to_owned(), "dm2".to_owned()];
    let names = Names { machines: &machines, channels: &[] };
    let (writer, _) = Writer::open(&options, names, BEGAN).expect("the ledger opens");
    let (done, wait) = mpsc::sync_channel(1);
    let tell = move |result: Result<_, _>| done.send(result.is_ok()).expect("the test waits");
    writer.submit(Commit { records, ..Commit::default() }, Box::new(tell));
    assert!(wait.recv().expect("an answer"), "committed");
    writer
}
