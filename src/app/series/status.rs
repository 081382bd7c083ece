//! `series status`: read from the ledger, with or without the service.

use std::io::Write;

use serde::Serialize;

use super::not_configured;
use super::stock::{CONSUMER, heads};
use crate::app::door::client::{self, CallError};
use crate::app::door::time;
use crate::app::{Failure, Streams, configuration, ledger};
use crate::cli::SeriesStatusArgs;
use crate::config::series::SeriesOptions;
use crate::core::counted::Noun;
use crate::core::reader::Language;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{LedgerError, Reader, SetAside};
use crate::series::track::{Heads, Track, Trouble};

/// Rows of what was set aside that are shown, the oldest first.
const ASIDE_SHOWN: usize = 20;
/// Longest first line of a row that is shown, in characters.
const LINE_SHOWN: usize = 160;

/// How the series stands, as far as the ledger knows.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
struct Status {
    url: String,
    organisation: String,
    bucket: String,
    /// Whether the service answers at its control socket.
    service_runs: bool,
    /// When the server last took something; absent where it never did.
    last_taken: Option<Timestamp>,
    /// Why nothing goes out.
    trouble: Option<Waits>,
    /// About how many readings wait.
    readings_behind: u64,
    records_behind: u64,
    /// Time of the oldest that waits, as far as is known, and its age.
    oldest: Option<Timestamp>,
    oldest_age_s: Option<u64>,
    /// Stretches of readings and of records behind the newest, spans asked for with `resend`.
    reading_stretches: usize,
    record_stretches: usize,
    spans: Vec<super::Again>,
    /// Points set aside in the life of the ledger.
    set_aside_points: u64,
    set_aside_rows: u64,
    set_aside: Vec<Row>,
}

/// Why nothing goes out, since when, and what to do.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
struct Waits {
    since: Timestamp,
    slug: String,
    text: String,
    #[serde(rename = "do")]
    advice: String,
}

/// Something that was set aside.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
struct Row {
    id: i64,
    at: Timestamp,
    reason: String,
    first_line: String,
}

pub(super) fn status(arguments: &SeriesStatusArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let options = loaded.configuration.series.as_ref().ok_or_else(not_configured)?;
    let path = &loaded.configuration.ledger.path;
    let stored = read(path).map_err(|error| ledger::diagnose(&error, path))?;
    let now = time::clock(&loaded.configuration.socket).now();
    let runs = !matches!(client::knock(&loaded.configuration.socket), Err(CallError::NotRunning));
    let status = Status::of(stored, options, runs, now)?;
    if arguments.json {
        serde_json::to_writer(&mut *streams.out, &status)
            .map_err(|error| Failure::output(error.into()))
            .and_then(|()| writeln!(streams.out).map_err(Failure::output))
    } else {
        status.print(now, streams.out).map_err(Failure::output)
    }
}

struct Stored {
    bookmark: Option<Vec<u8>>,
    heads: Heads,
    rows: u64,
    aside: Vec<(i64, SetAside)>,
}

fn read(path: &std::path::Path) -> Result<Stored, LedgerError> {
    let reader = Reader::open(path)?;
    Ok(Stored {
        bookmark: reader.bookmark(CONSUMER)?,
        heads: heads(&reader)?,
        rows: reader.set_aside_count(CONSUMER)?,
        aside: reader.set_aside(CONSUMER, ASIDE_SHOWN)?,
    })
}

impl Status {
    fn of(stored: Stored, options: &SeriesOptions, runs: bool, now: Timestamp) -> Result<Self, Failure> {
        let Stored { bookmark, heads, rows, aside } = stored;
        let bookmark_is_there = bookmark.is_some();
        let track = match bookmark {
            Some(bytes) => Track::from_bytes(&bytes)
                .map_err(|error| Diagnostic::error("ledger-version", error.to_string()).because(&error))?,
            None => Track::new(now),
        };
        let oldest = bookmark_is_there.then(|| track.oldest(heads)).flatten();
        Ok(Self {
            url: options.url.to_string(),
            organisation: options.organisation.clone(),
            bucket: options.bucket.clone(),
            service_runs: runs,
            last_taken: track.last_taken,
            readings_behind: track.inputs_behind(heads),
            records_behind: track.records_behind(heads),
            oldest,
            oldest_age_s: oldest.map(|oldest| now.since(oldest).as_secs()),
            reading_stretches: track.readings.len(),
            record_stretches: track.records.len(),
            spans: track.spans.iter().map(|span| super::Again { from: span.from, to: span.to }).collect(),
            set_aside_points: track.set_aside,
            set_aside_rows: rows,
            set_aside: aside.into_iter().map(|(id, aside)| Row::of(id, &aside)).collect(),
            trouble: track.trouble.map(Waits::from),
        })
    }

    /// How it stands where nothing is the matter with the server.
    const fn untroubled(&self) -> &'static str {
        match (self.service_runs, self.last_taken.is_some()) {
            (true, true) => "the server takes points",
            (true, false) => "the service runs; nothing was sent so far",
            (false, true) => "no service runs; the server took what was sent",
            (false, false) => "no service runs, nothing was sent so far; `rinseward run` sends it",
        }
    }

    fn troubled(&self, since: Timestamp) -> String {
        let runs = if self.service_runs { "" } else { "no service runs; " };
        format!("{runs}waits since {since}")
    }

    fn print(&self, now: Timestamp, out: &mut dyn Write) -> std::io::Result<()> {
        writeln!(out, "server      {} bucket «{}» of «{}»", self.url, self.bucket, self.organisation)?;
        match &self.trouble {
            Some(waits) => {
                writeln!(out, "state       {}: {}", self.troubled(waits.since), waits.text)?;
                if !waits.advice.is_empty() {
                    writeln!(out, "do          {}", waits.advice)?;
                }
            }
            None => writeln!(out, "state       {}", self.untroubled())?,
        }
        if let Some(taken) = self.last_taken {
            writeln!(out, "last taken  {taken}, {} ago", span(now.since(taken).as_secs()))?;
        }
        let (readings, records) = (self.readings_behind, self.records_behind);
        let of = |noun: Noun, count| noun.of(count, Language::English);
        let (readings, records) = (of(Noun::Readings, readings), of(Noun::Records, records));
        write!(out, "waiting     about {readings}, {records}")?;
        match (self.oldest, self.oldest_age_s) {
            (Some(oldest), Some(age)) => writeln!(out, ", the oldest of {oldest}, {} ago", span(age))?,
            _ => writeln!(out)?,
        }
        if self.reading_stretches + self.record_stretches > 0 {
            let (readings, records) = (self.reading_stretches, self.record_stretches);
            writeln!(out, "behind      {readings} stretches of readings, {records} of records")?;
        }
        for again in &self.spans {
            writeln!(out, "again       {} to {}", again.from, again.to)?;
        }
        let rows = if self.set_aside_rows == 1 { "row" } else { "rows" };
        let points = of(Noun::Points, self.set_aside_points);
        writeln!(out, "set aside   {points} in {} {rows}", self.set_aside_rows)?;
        for row in &self.set_aside {
            writeln!(out, "            {} {}", row.at, row.reason)?;
            writeln!(out, "              {}", row.first_line)?;
        }
        let hidden = self.set_aside_rows.saturating_sub(self.set_aside.len() as u64);
        if hidden > 0 {
            writeln!(out, "            and {hidden} more")?;
        }
        out.flush()
    }
}

impl From<Trouble> for Waits {
    fn from(trouble: Trouble) -> Self {
        let Trouble { since, slug, text, advice } = trouble;
        Self { since, slug, text, advice }
    }
}

impl Row {
    fn of(id: i64, aside: &SetAside) -> Self {
        let text = String::from_utf8_lossy(&aside.bytes);
        let first_line = text.lines().next().unwrap_or_default().chars().take(LINE_SHOWN).collect();
        Self { id, at: aside.at, reason: aside.reason.clone(), first_line }
    }
}

/// Seconds in the unit that fits.
fn span(seconds: u64) -> String {
    match seconds {
        0..120 => format!("{seconds} s"),
        120..7_200 => format!("{} min", seconds / 60),
        7_200..172_800 => format!("{} h", seconds / 3_600),
        _ => format!("{} days", seconds / 86_400),
    }
}
