//! What has been sent and what has not: the state that the bookmark `series` holds.
//!
//! One live place follows the newest inputs and records. Where it falls too far
//! behind it is cut: what lies between becomes a stretch behind, and live goes on
//! from the newest, so that what is measured now arrives within seconds however
//! much waits. Sending something twice is harmless, since a point keeps its key;
//! leaving something out is not. So whenever two things could be told apart only
//! by remembering more, they are merged and the gap between them is sent again.
//!
//! Limits: [`STRETCHES_MAX`] of each kind; the next one is merged with its
//! nearest neighbour. [`SPANS_MAX`] spans to send again; one more is refused.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::reading::Thinning;
use crate::core::time::{Timestamp, micros};

/// Inputs that one request carries at most, nearly: so many more are no reason to cut live.
pub const LIVE_INPUTS_MANY: u64 = 5_000;
/// How old what live sends may be while more than [`LIVE_INPUTS_MANY`] wait; older, it is cut.
pub const LIVE_AGE_MAX: Duration = Duration::from_secs(30);
/// Inputs that live may be behind at all: five seconds of a thousand probes at 10 Hz.
pub const LIVE_INPUTS_MAX: u64 = 50_000;
/// Records that live may be behind; at more it is cut.
pub const LIVE_RECORDS_MAX: u64 = 500;
/// Stretches of one kind that are told apart.
pub const STRETCHES_MAX: usize = 32;
/// Spans of time that wait to be sent again.
pub const SPANS_MAX: usize = 16;
/// Version of the stored form.
const FORMAT: u32 = 1;

/// A place in the order in which readings became durable, as the ledger counts. Places are in order.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default, Serialize, Deserialize)]
pub struct Place {
    /// Every input up to this number is behind, or comes with the blocks of the next field.
    pub input: u64,
    /// 0, or: of the compressed blocks that hold inputs up to `input` + 1, those up to this number
    /// are behind.
    pub block: i64,
}

impl Place {
    /// Whether every input up to `end` is behind.
    const fn is_past(self, end: u64) -> bool {
        self.block == 0 && self.input >= end
    }
}

/// How far the ledger is.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Heads {
    /// Number of the newest input.
    pub inputs: u64,
    /// Number of records.
    pub records: u64,
}

/// Readings that are behind live and not sent.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Stretch {
    /// Sent up to here.
    pub at: Place,
    /// Its last input.
    pub end: u64,
    /// No reading in it is older, as far as is known: when live was cut, then the time of what was sent last.
    #[serde(with = "micros")]
    pub since: Timestamp,
}

/// Records from one index up to and without another, sent from the newest down.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Run {
    /// Index of the oldest one.
    pub from: u64,
    /// Index after the newest one.
    pub to: u64,
}

impl Run {
    fn is_empty(self) -> bool {
        self.from >= self.to
    }
}

/// A span of time that somebody asked to have sent again.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Span {
    /// Its first instant.
    #[serde(with = "micros")]
    pub from: Timestamp,
    /// The instant after its last.
    #[serde(with = "micros")]
    pub to: Timestamp,
    /// When it was asked for: what was set aside before is settled by it.
    #[serde(with = "micros")]
    pub asked: Timestamp,
    /// Records that have not been looked at yet.
    pub records: Run,
    /// Readings measured before this instant are sent.
    #[serde(with = "micros")]
    pub at: Timestamp,
    /// And so are those of the window from there, of the channels up to this place in the list.
    pub channel: usize,
}

impl Span {
    /// Whether nothing of it is left.
    #[must_use]
    pub fn is_through(&self) -> bool {
        self.records.is_empty() && self.at >= self.to
    }
}

/// Why nothing goes out.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Trouble {
    /// When nothing was taken for the first time.
    #[serde(with = "micros")]
    pub since: Timestamp,
    /// Short name of what it is at present.
    pub slug: String,
    /// What it is, for people.
    pub text: String,
    /// What to do about it.
    #[serde(default)]
    pub advice: String,
}

/// Too many spans wait already.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{SPANS_MAX} spans wait to be sent again; ask once more when one of them is through")]
pub struct TooManySpans;

/// Bytes that hold no state of this version.
#[derive(Debug, thiserror::Error)]
pub enum TrackError {
    /// Not the form expected.
    #[error("the place of the series cannot be read")]
    Shape(#[source] serde_json::Error),
    /// Written by a later version.
    #[error("the place of the series has format {found}; this version knows formats up to {FORMAT}")]
    Version {
        /// Format found.
        found: u32,
    },
}

/// What has been sent and what has not.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Track {
    v: u32,
    /// Readings: live is here.
    pub live: Place,
    /// When live was last known to be at the newest, or the time of what it sent last.
    #[serde(with = "micros")]
    pub live_since: Timestamp,
    /// Records before this index are sent or in `records`.
    pub live_records: u64,
    /// Readings behind live, in order of their start.
    pub readings: Vec<Stretch>,
    /// Records behind live, in order.
    pub records: Vec<Run>,
    /// Records behind live whose alerts have not been looked for, in order.
    pub alerts: Vec<Run>,
    /// Which intervals have had their reading, live and behind.
    pub thinning: [Thinning; 2],
    /// Spans to send again, in the order in which they were asked for.
    pub spans: Vec<Span>,
    /// When the server last took something.
    pub last_taken: Option<Timestamp>,
    /// Points that were set aside, in the life of the ledger.
    pub set_aside: u64,
    /// Why nothing goes out; `None` while it does.
    pub trouble: Option<Trouble>,
}

impl Track {
    /// Nothing has been sent yet: whatever the ledger holds is behind.
    #[must_use]
    pub fn new(now: Timestamp) -> Self {
        Self {
            v: FORMAT,
            live: Place::default(),
            live_since: now,
            live_records: 0,
            readings: Vec::new(),
            records: Vec::new(),
            alerts: Vec::new(),
            thinning: [Thinning::default(), Thinning::default()],
            spans: Vec::new(),
            last_taken: None,
            set_aside: 0,
            trouble: None,
        }
    }

    /// Reads the bookmark.
    ///
    /// # Errors
    /// [`TrackError`] where the bytes hold none, or one of a later version.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, TrackError> {
        #[derive(Deserialize)]
        struct Version {
            v: u32,
        }
        let version: Version = serde_json::from_slice(bytes).map_err(TrackError::Shape)?;
        if version.v > FORMAT {
            return Err(TrackError::Version { found: version.v });
        }
        serde_json::from_slice(bytes).map_err(TrackError::Shape)
    }

    /// The bookmark: JSON.
    ///
    /// # Panics
    /// Never: every field has a JSON form.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        serde_json::to_vec(self).expect("a track holds nothing that JSON cannot print")
    }

    /// Cuts live where it is too far behind.
    pub fn cut(&mut self, heads: Heads, now: Timestamp) {
        let waiting = heads.inputs.saturating_sub(self.live.input);
        let is_old = now.since(self.live_since) > LIVE_AGE_MAX;
        if waiting > LIVE_INPUTS_MAX || (waiting > LIVE_INPUTS_MANY && is_old) {
            let behind = Stretch { at: self.live, end: heads.inputs, since: self.live_since };
            add_stretch(&mut self.readings, behind);
            self.live = Place { input: heads.inputs, block: 0 };
            self.live_since = now;
        }
        if heads.records.saturating_sub(self.live_records) > LIVE_RECORDS_MAX {
            let behind = Run { from: self.live_records, to: heads.records };
            add_run(&mut self.records, behind);
            add_run(&mut self.alerts, behind);
            self.live_records = heads.records;
        }
    }

    /// Whatever live has to send came after `until`: before that everything was sent, and nothing came.
    pub fn was_quiet(&mut self, heads: Heads, until: Timestamp) {
        if heads.inputs > self.live.input {
            self.live_since = self.live_since.max(until);
        }
    }

    /// Live readings up to `next` were taken; `heads` is how far the ledger was at `looked`.
    pub fn live_taken(&mut self, next: Place, heads: Heads, last: Option<Timestamp>, looked: Timestamp) {
        self.live = self.live.max(next);
        let newest = if self.live.input >= heads.inputs { Some(looked) } else { last };
        self.live_since = newest.unwrap_or(self.live_since);
    }

    /// Live records before `next` were taken.
    pub fn live_records_taken(&mut self, next: u64) {
        self.live_records = self.live_records.max(next);
    }

    /// Readings of a stretch from `from` up to `next` were taken; `last` is the time of the newest.
    /// A stretch that has changed meanwhile is left as it is, and sent again.
    pub fn stretch_taken(&mut self, from: Place, next: Place, last: Option<Timestamp>) {
        let Some(index) = self.readings.iter().position(|stretch| stretch.at == from) else { return };
        let stretch = &mut self.readings[index];
        if next.is_past(stretch.end) || next == from {
            self.readings.remove(index);
        } else {
            stretch.at = next;
            stretch.since = last.unwrap_or(stretch.since);
        }
    }

    /// Records from `down_to` up to the end of the run that ends with `to` were taken.
    pub fn records_taken(&mut self, to: u64, down_to: u64) {
        run_taken(&mut self.records, to, down_to);
    }

    /// The alerts among these records were taken.
    pub fn alerts_taken(&mut self, to: u64, down_to: u64) {
        run_taken(&mut self.alerts, to, down_to);
    }

    /// Puts a span of time among what is to be sent again.
    ///
    /// # Errors
    /// [`TooManySpans`].
    pub fn send_again(
        &mut self,
        from: Timestamp,
        to: Timestamp,
        heads: Heads,
        asked: Timestamp,
    ) -> Result<(), TooManySpans> {
        if self.spans.len() >= SPANS_MAX {
            return Err(TooManySpans);
        }
        let records = Run { from: 0, to: heads.records };
        self.spans.push(Span { from, to, asked, records, at: from, channel: 0 });
        Ok(())
    }

    /// The first span was sent as far as `reached` says; it is gone where nothing is left.
    pub fn span_taken(&mut self, reached: &Span) {
        let Some(span) = self.spans.first_mut() else { return };
        if (span.from, span.to, span.asked) != (reached.from, reached.to, reached.asked) {
            return;
        }
        *span = reached.clone();
        if span.is_through() {
            self.spans.remove(0);
        }
    }

    /// About how many inputs have not been sent; nearly all of them are readings.
    #[must_use]
    pub fn inputs_behind(&self, heads: Heads) -> u64 {
        let behind: u64 =
            self.readings.iter().map(|stretch| stretch.end.saturating_sub(stretch.at.input)).sum();
        behind + heads.inputs.saturating_sub(self.live.input)
    }

    /// How many records have not been sent.
    #[must_use]
    pub fn records_behind(&self, heads: Heads) -> u64 {
        let behind: u64 = self.records.iter().map(|run| run.to - run.from).sum();
        behind + heads.records.saturating_sub(self.live_records)
    }

    /// Time of the oldest reading that has not been sent, as far as is known; `None` where all are.
    #[must_use]
    pub fn oldest(&self, heads: Heads) -> Option<Timestamp> {
        let live = (heads.inputs > self.live.input).then_some(self.live_since);
        self.readings.iter().map(|stretch| stretch.since).chain(live).min()
    }
}

/// Adds a stretch; those that touch become one, and above the limit the two with the smallest gap.
fn add_stretch(stretches: &mut Vec<Stretch>, new: Stretch) {
    stretches.push(new);
    stretches.sort_by_key(|stretch| (stretch.at, stretch.end));
    let gap = |pair: &[Stretch]| pair[1].at.input.saturating_sub(pair[0].end);
    while let Some(first) = closest(stretches, gap) {
        let second = stretches.remove(first + 1);
        let merged = &mut stretches[first];
        merged.end = merged.end.max(second.end);
        merged.since = merged.since.min(second.since);
    }
}

/// As [`add_stretch`].
fn add_run(runs: &mut Vec<Run>, new: Run) {
    runs.push(new);
    runs.sort_by_key(|run| (run.from, run.to));
    let gap = |pair: &[Run]| pair[1].from.saturating_sub(pair[0].to);
    while let Some(first) = closest(runs, gap) {
        let second = runs.remove(first + 1);
        runs[first].to = runs[first].to.max(second.to);
    }
}

/// The first of two neighbours that are to be merged.
fn closest<Kind>(list: &[Kind], gap: impl Fn(&[Kind]) -> u64) -> Option<usize> {
    let nearest = list.windows(2).enumerate().min_by_key(|(_, pair)| gap(pair));
    let (first, pair) = nearest?;
    (gap(pair) == 0 || list.len() > STRETCHES_MAX).then_some(first)
}

fn run_taken(runs: &mut Vec<Run>, to: u64, down_to: u64) {
    if let Some(run) = runs.iter_mut().find(|run| run.to == to) {
        run.to = down_to.min(to);
    }
    runs.retain(|run| !run.is_empty());
}

#[cfg(test)]
mod tests;
