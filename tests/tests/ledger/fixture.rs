//! Commits to store, made up.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

use rinseward::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use rinseward::core::cycle::verdict::{Reason, Verdict};
use rinseward::core::effect::{Trace, TraceReading};
use rinseward::core::id::ChannelId;
use rinseward::core::reading::{Sample, Value};
use rinseward::core::record::{
    Basis, Body, Cycle, DoseBasis, Record, Rule, ServiceStart, ServiceStop, StopCause, WindowFrom,
};
use rinseward::core::site::Event;
use rinseward::core::time::Timestamp;
use rinseward::core::units::Celsius;
use rinseward::ledger::{
    Commit, Committed, Input, Names, NewRecord, Options, Reader, Recovered, Refused, Writer,
};

/// 2026-01-01T00:00:00Z.
pub(crate) const NEW_YEAR: Timestamp = Timestamp::from_micros(1_767_225_600_000_000);

/// Seconds after [`NEW_YEAR`].
pub(crate) fn at(seconds: f64) -> Timestamp {
    Timestamp::from_seconds(NEW_YEAR.seconds() + seconds).expect("a time of this century")
}

/// Machines and channels of the site.
pub(crate) fn site() -> (Vec<String>, Vec<String>) {
    let text = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
    (text(&["dm1", "dm2"]), text(&["dm1/wash", "dm1/rinse", "dm2/rinse"]))
}

/// Default options.
pub(crate) fn options(path: &Path) -> Options {
    Options { path: path.to_path_buf(), block_retention: Duration::from_secs(400 * 86_400) }
}

/// Opens with the names of [`site`].
pub(crate) fn open(path: &Path) -> (Writer, Recovered) {
    let (machines, channels) = site();
    Writer::open(&options(path), Names { machines: &machines, channels: &channels }, NEW_YEAR)
        .expect("the ledger opens")
}

/// Submits and waits.
pub(crate) fn commit(writer: &Writer, commit: Commit) -> Result<Committed, Box<Refused>> {
    let (done, wait) = mpsc::channel();
    writer
        .submit(commit, Box::new(move |result| done.send(result.map_err(Box::new)).expect("the test waits")));
    wait.recv_timeout(Duration::from_secs(30)).expect("an answer within 30 s")
}

/// A sample applied at the time it was measured.
pub(crate) fn sample(channel: u16, seconds: f64, value: Value) -> Input {
    Input {
        now: at(seconds),
        event: Event::Sample(Sample { channel: ChannelId(channel), at: at(seconds), value }),
    }
}

/// A cycle of a machine with its final rinse at `seconds`.
pub(crate) fn cycle(machine: &str, seconds: f64, verdict: Verdict) -> Record {
    let rinse_min_c = if verdict == Verdict::Cold { 71.3 } else { 84.6 };
    let reasons = match verdict {
        Verdict::Cold => {
            vec![Reason::RinseBelowLimit { measured_c: rinse_min_c, limit_c: 82.222_222_222_222_23 }]
        }
        Verdict::Brief | Verdict::Weak | Verdict::Unproven | Verdict::Narrow | Verdict::Pass => Vec::new(),
    };
    let cycle = Cycle {
        started: at(seconds - 45.0),
        rinse_started: at(seconds),
        rinse_ended: at(seconds + 12.0),
        received: at(seconds + 12.5),
        machine_kind: MachineKind::StationaryRackDualTemperature,
        sanitizing: Sanitizing::HotWater,
        window_from: WindowFrom::Trace,
        verdict,
        reasons,
        findings: Vec::new(),
        rinse_min_c: Some(rinse_min_c),
        rinse_min_raw_c: Some(rinse_min_c),
        rinse_min_corrected_c: Some(rinse_min_c + 0.2),
        basis: Basis::Raw,
        limit_c: 82.222_222_222_222_23,
        limit_source: LimitSource::FoodCode,
        rinse_peak_c: Some(86.1),
        settled_after_s: Some(3.0),
        dwell_s: 9.0,
        dwell_required_s: 9.0,
        area_below_c_s: 0.0,
        wash_min_c: Some(66.2),
        wash_limit_c: 65.555_555_555_555_56,
        a0: 41.7,
        hue: 3_700.25,
        dose_basis: DoseBasis::WaterSideEstimate,
        uncertainty_c: 1.7,
        conformance: Some(0.997),
        rule: Rule::SimpleAcceptance,
        concentration_mg_per_l: None,
        ph: None,
        rinse_readings: 48,
        spikes: 0,
        trace_sha256: None,
    };
    Record::new(at(seconds + 17.5), Some(machine.to_owned()), Body::Cycle(Box::new(cycle)))
}

/// A trace of a rinse.
pub(crate) fn trace(seconds: f64) -> Trace {
    let reading = |n: i32, celsius: f64| TraceReading {
        at: at(seconds + f64::from(n) / 4.0),
        celsius: Celsius(celsius + 0.1 * f64::from(n % 3)),
    };
    Trace {
        rinse: (0..48).map(|n| reading(n, 84.6)).collect(),
        wash: (-180..-20).map(|n| reading(n, 66.2)).collect(),
    }
}

/// A record without its trace.
pub(crate) fn plain(record: Record) -> NewRecord {
    NewRecord { record, trace: None }
}

/// The record of a start.
pub(crate) fn start(seconds: f64) -> Record {
    let start = ServiceStart {
        version: "0.1.0".to_owned(),
        last_record: None,
        after_clean_stop: true,
        from_file: false,
        replayed: 0,
    };
    Record::new(at(seconds), None, Body::ServiceStart(start))
}

/// The record of a stop.
pub(crate) fn stop(seconds: f64) -> Record {
    Record::new(at(seconds), None, Body::ServiceStop(ServiceStop { cause: StopCause::Signal }))
}

/// Every record of a ledger, in order.
pub(crate) fn records(path: &Path) -> Vec<Record> {
    let mut records = Vec::new();
    let each = |_, _: &[u8], record| {
        records.push(record);
        ControlFlow::Continue(())
    };
    Reader::open(path).and_then(|reader| reader.records(0, each)).expect("whole records");
    records
}

/// A directory that goes with the test, and a ledger's place in it.
pub(crate) fn place() -> (tempfile::TempDir, PathBuf) {
    let directory = tempfile::tempdir().expect("room for a directory");
    let path = directory.path().join("ledger.sqlite");
    (directory, path)
}
