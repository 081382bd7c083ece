//! Tests of the library and the program from outside.

#![expect(clippy::disallowed_methods, reason = "tests spawn, wait with a deadline and measure")]

#[path = "tests/alert.rs"]
mod alert;
#[path = "tests/alerts.rs"]
mod alerts;
#[path = "tests/cli.rs"]
mod cli;
#[path = "tests/crash.rs"]
mod crash;
#[path = "tests/demo.rs"]
mod demo;
#[path = "tests/entries.rs"]
mod entries;
#[path = "tests/evidence.rs"]
mod evidence;
#[path = "tests/export.rs"]
mod export;
#[path = "tests/history.rs"]
mod history;
#[path = "tests/keeping.rs"]
mod keeping;
#[path = "tests/ledger.rs"]
mod ledger;
#[path = "tests/live.rs"]
mod live;
#[path = "tests/markup.rs"]
mod markup;
#[path = "tests/modbus.rs"]
mod modbus;
#[path = "tests/mqtt.rs"]
mod mqtt;
#[path = "tests/support/records.rs"]
mod records;
#[path = "tests/replay.rs"]
mod replay;
#[cfg(feature = "pdf")]
#[path = "tests/report.rs"]
mod report;
#[path = "tests/repository.rs"]
mod repository;
#[path = "tests/seal.rs"]
mod seal;
#[path = "tests/serial.rs"]
mod serial;
#[path = "tests/series.rs"]
mod series;
#[path = "tests/sign_off.rs"]
mod sign_off;
#[path = "tests/technician.rs"]
mod technician;
#[path = "tests/verify.rs"]
mod verify;
#[path = "tests/web.rs"]
mod web;
#[path = "tests/wire.rs"]
mod wire;
#[path = "tests/words.rs"]
mod words;
