//! `series resend`: sends a span of time again.
//!
//! The request becomes part of the bookmark, so that it survives the end of the
//! program. Where the service runs, it has the ledger and does that itself.

use std::path::Path;
use std::sync::mpsc;

use serde::{Deserialize, Serialize};

use super::not_configured;
use super::stock::{CONSUMER, heads};
use crate::app::door::client::{self, CallError};
use crate::app::door::time;
use crate::app::{Failure, Streams, configuration, ledger, people};
use crate::cli::SeriesResendArgs;
use crate::config::resolve::Configuration;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{Append, Bookmark, LedgerError, Names, Options, Reader, Writer};
use crate::runtime::clock::Clock;
use crate::series::track::Track;

/// What is to be sent again.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Again {
    /// Measured or recorded at or after this.
    pub from: Timestamp,
    /// Measured or recorded before this.
    pub to: Timestamp,
}

pub(super) fn resend(arguments: &SeriesResendArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let configuration = &loaded.configuration;
    if configuration.series.is_none() {
        return Err(not_configured());
    }
    let zone = &configuration.alerts.zone;
    let now = time::clock(&configuration.socket).now();
    let from = arguments.from.in_zone(zone, now).map_err(Failure::unclear("--from"))?;
    let to = arguments.to.end_in_zone(zone, now).map_err(Failure::unclear("--to"))?;
    let again = Again { from, to };
    if again.from >= again.to {
        let what = format!("nothing lies between {} and {}", again.from, again.to);
        let advice = "--from names the earlier time, --to the later one; a time on --to itself is left out";
        return Err(Diagnostic::error("usage", what).advice(advice).into());
    }
    let path = &configuration.ledger.path;
    // A ledger that is not there is not made by this.
    drop(Reader::open(path).map_err(|error| ledger::diagnose(&error, path))?);
    let told = match Writer::open(&options(configuration), names(&[], &[]), Clock::system().now()) {
        Ok((writer, _)) => {
            keep(&writer, path, again)?;
            writer.close().map_err(|error| ledger::diagnose(&error, path))?;
            "the next `rinseward run` sends it"
        }
        Err(LedgerError::InUse { .. }) => {
            ask_service(configuration, again)?;
            "the service sends it, after what is new"
        }
        Err(error) => return Err(ledger::diagnose(&error, path).into()),
    };
    writeln!(streams.out, "{} to {}: {told}", again.from, again.to).map_err(Failure::output)
}

/// Hands the request to the running service.
fn ask_service(configuration: &Configuration, again: Again) -> Result<(), Failure> {
    let asked: Result<Again, CallError> = client::post(&configuration.socket, "/series/resend", &again);
    asked.map(drop).map_err(|error| people::unanswered(error, &configuration.socket))
}

/// Adds the request to the bookmark of a ledger that no service has.
fn keep(writer: &Writer, path: &Path, again: Again) -> Result<(), Failure> {
    let read = || -> Result<_, LedgerError> {
        let reader = Reader::open(path)?;
        Ok((reader.bookmark(CONSUMER)?, heads(&reader)?))
    };
    let (stored, heads) = read().map_err(|error| ledger::diagnose(&error, path))?;
    let mut track = match stored {
        Some(bytes) => Track::from_bytes(&bytes)
            .map_err(|error| Diagnostic::error("ledger-version", error.to_string()).because(&error))?,
        None => Track::new(Clock::system().now()),
    };
    track.send_again(again.from, again.to, heads, Clock::system().now()).map_err(|error| {
        let advice =
            "start the service and wait until some are through; `rinseward series status` shows them";
        Diagnostic::error("series-busy", error.to_string()).advice(advice)
    })?;
    let bookmark = Bookmark { name: CONSUMER.to_owned(), state: track.to_bytes() };
    let append = Append { bookmarks: vec![bookmark], ..Append::default() };
    let (done, kept) = mpsc::sync_channel(1);
    // The channel has room for the one answer.
    writer.append(append, Box::new(move |result| drop(done.send(result))));
    match kept.recv() {
        Ok(Ok(_)) => Ok(()),
        Ok(Err(refused)) => Err(ledger::diagnose(&refused.error, path).into()),
        Err(_) => Err(ledger::diagnose(&LedgerError::WriterEnded { source: None }, path).into()),
    }
}

fn options(configuration: &Configuration) -> Options {
    let ledger = &configuration.ledger;
    Options { path: ledger.path.clone(), block_retention: ledger.block_retention }
}

const fn names<'n>(machines: &'n [String], channels: &'n [String]) -> Names<'n> {
    Names { machines, channels }
}
