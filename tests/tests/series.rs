//! Time series against a real server of the write API, against a stub that answers as InfluxDB 2 is
//! documented to, and over links that break in every way that links break.

#[path = "series/answers.rs"]
mod answers;
#[path = "series/away.rs"]
mod away;
#[path = "series/command.rs"]
mod command;
#[path = "series/encrypted.rs"]
mod encrypted;
#[path = "series/forward.rs"]
mod forward;
#[path = "series/kitchen.rs"]
mod kitchen;
#[path = "series/process.rs"]
mod process;
#[path = "series/pumping.rs"]
mod pumping;
#[path = "series/questions.rs"]
mod questions;
#[path = "series/round_trip.rs"]
mod round_trip;
#[path = "series/wire.rs"]
mod wire;

#[path = "support/authority.rs"]
pub(crate) mod authority;
#[path = "support/bad_proxy.rs"]
pub(crate) mod bad_proxy;
#[path = "support/influx.rs"]
pub(crate) mod influx;
#[path = "support/victoria.rs"]
pub(crate) mod victoria;

use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::time::Duration;

use rinseward::config::series::{Readings, SeriesOptions};
use rinseward::core::time::Timestamp;
use rinseward::series::answer::{Fault, Outcome};
use rinseward::series::batch::Batch;
use rinseward::series::point::Point;
use rinseward::series::sender::Sender;

/// Settings for a server at this address; a short time-out, for some of them never answer.
pub(crate) fn options(url: &str) -> SeriesOptions {
    SeriesOptions {
        url: url.parse().expect("an address"),
        organisation: influx::ORGANISATION.to_owned(),
        bucket: influx::BUCKET.to_owned(),
        token_file: None,
        ca_file: None,
        readings: Readings::All,
        timeout: Duration::from_secs(10),
        batch_points: 5_000,
        gzip: true,
    }
}

/// A sender with these settings.
pub(crate) fn sender(options: &SeriesOptions) -> Sender {
    Sender::new(options).expect("sound settings")
}

/// So many points, a second apart, from 2026-11-25T10:00:00Z on.
pub(crate) fn batch(count: i64) -> Batch {
    let start: Timestamp = "2026-11-25T10:00:00Z".parse().expect("a time");
    let mut batch = Batch::default();
    for number in 0..count {
        let at = Timestamp::from_micros(start.micros() + number * 1_000_000);
        let point = Point::new("reading", at).tag("machine", "dm1").float("celsius", 20.0 + number as f64);
        batch.push(&point).expect("a plain point");
    }
    batch
}

/// What became of it, where it did not come to an answer.
pub(crate) fn fault(outcome: Outcome) -> Fault {
    let Outcome::Later(fault) = outcome else { panic!("not a fault: {outcome:?}") };
    fault
}

/// Writes a secret that only its owner may read.
pub(crate) fn secret(path: &Path, text: &str) {
    use std::io::Write;
    let file = std::fs::OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(path);
    file.and_then(|mut file| file.write_all(text.as_bytes())).expect("a directory of our own");
}
