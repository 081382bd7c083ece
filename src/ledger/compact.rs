//! From the tail to blocks, and out when they are old enough.
//!
//! Settled inputs gather in the tail until there are enough for full blocks, or
//! the oldest is [`TAIL_AGE_MAX`] old. Then a round takes the stretches of the
//! tail that are settled as a whole and writes their readings as blocks, some
//! channels to a transaction, so that a commit never waits for long. `compacted`
//! of a channel says up to which input its readings are in blocks; a reader
//! takes from the tail what comes after. The last transaction of a round
//! deletes the stretches; `compacted` of the ledger says up to where rounds are
//! whole. A round that was broken off is taken up by one that goes at least as
//! far. A reading is therefore in the tail or in a block at every instant, for
//! every reader, wherever the process ends.
//!
//! A block holds at most [`BLOCK_READINGS`] readings of at most [`BLOCK_SPAN`],
//! in at most [`BLOCK_BYTES`], so that it fills one page of the database: two
//! rows of more than half a page would leave as much empty again. A small
//! newest block of a channel is filled up, and then belongs to both rounds.
//! Readings older than the newest one in a block make blocks of their own.
//!
//! Repeats (same channel, time and value) are left out and counted. Another
//! value at the same time is kept, in order of arrival, and counted.

use std::collections::BTreeMap;
use std::time::Duration;

use rusqlite::{OptionalExtension, Transaction, params};

use crate::core::time::Timestamp;

use super::blocks::{self, Point, same_value};
use super::commit::Store;
use super::error::LedgerError;
use super::failpoint::{self, reach};
use super::outbox::{self, LETTERS_STAY};
use super::retention;
use super::schema::{State, write_state};
use super::tail::{self, What};

/// Longest stretch of event time in one block, so that a query knows how far back to look.
pub(super) const BLOCK_SPAN: Duration = Duration::from_secs(6 * 3600);
/// How long a settled input stays in the tail at most while inputs arrive.
const TAIL_AGE_MAX: Duration = Duration::from_secs(3600);
/// Most inputs in one round, about 32 MB in memory.
const ROUND_INPUTS_MAX: usize = 1 << 20;
/// Most readings in one block, more than an hour at 4 Hz.
const BLOCK_READINGS: usize = 1 << 14;
/// Most bytes of a block with many readings. A row of up to 4061 bytes stays in
/// one page of 4096 (SQLite file format §1.6); the other columns take up to 60.
const BLOCK_BYTES: usize = 4000;
/// Blocks of so few readings may be larger.
const FEW_READINGS: usize = 256;
/// Least number of blocks that one round may prune. Pruning at the pace of
/// writing keeps a clock that is wrong for a minute from emptying the ledger.
const PRUNE_BLOCKS: usize = 64;
/// Most letters deleted in one step.
const LETTERS_AT_ONCE: usize = 64;
/// Commits to let pass after a round failed.
const REST_COMMITS: u32 = 64;

/// A reading on its way into a block.
#[derive(Clone, Copy, Debug)]
struct Held {
    point: Point,
    received: Timestamp,
}

/// What is left of a round.
#[derive(Debug)]
struct Round {
    /// Number of the last input it takes.
    last: u64,
    /// Where the stretches begin that it takes.
    stretches: Vec<u64>,
    /// By channel, in order of arrival.
    channels: std::vec::IntoIter<(i64, Vec<Held>)>,
}

/// What a round and its transactions are measured by.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sizes {
    /// Settled inputs for each channel that make a round worth its while.
    pub(super) round_inputs: usize,
    /// Readings after which a transaction of a round is ended.
    pub(super) step_readings: usize,
}

impl Default for Sizes {
    fn default() -> Self {
        // 17 minutes at 4 Hz.
        Self { round_inputs: 1 << 12, step_readings: 1 << 13 }
    }
}

/// Keeps the tail short and the blocks young.
#[derive(Debug)]
pub(super) struct Compactor {
    block_retention: Duration,
    /// The latest instant known.
    now: Timestamp,
    /// The last round took inputs up to this one. A damaged stretch before stays in the tail, untouched.
    passed: u64,
    /// First input of the tail after that and its time of arrival.
    oldest: Option<(u64, Timestamp)>,
    round: Option<Round>,
    /// Blocks that may be pruned next.
    prune: usize,
    /// Whether old letters may be left in the outbox.
    letters: bool,
    sizes: Sizes,
    /// Commits to let pass before the next try.
    rest: u32,
}

impl Compactor {
    /// Looks where the tail begins.
    pub(super) fn new(store: &Store, block_retention: Duration, now: Timestamp) -> Result<Self, LedgerError> {
        let mut compactor = Self {
            block_retention,
            now,
            passed: 0,
            oldest: None,
            round: None,
            prune: PRUNE_BLOCKS,
            letters: true,
            sizes: Sizes::default(),
            rest: 0,
        };
        compactor.find_oldest(store)?;
        Ok(compactor)
    }

    /// Makes rounds and their transactions small.
    #[cfg(test)]
    pub(super) fn set_sizes(&mut self, sizes: Sizes) {
        self.sizes = sizes;
    }

    /// Takes note of a commit whose first input has this number, and its times of arrival.
    pub(super) fn note(&mut self, first: u64, arrived: Timestamp, last_arrived: Timestamp) {
        self.now = self.now.max(last_arrived);
        self.oldest.get_or_insert((first, arrived));
        self.rest = self.rest.saturating_sub(1);
    }

    /// Waits some commits after a failure, which the next round will meet again or not.
    pub(super) fn put_off(&mut self) {
        self.round = None;
        self.rest = REST_COMMITS;
    }

    /// Does one bounded step, in a transaction of its own. `true` where more waits.
    pub(super) fn step(&mut self, store: &mut Store) -> Result<bool, LedgerError> {
        if self.rest > 0 {
            return Ok(false);
        }
        if self.round.is_none() && self.is_due(store) {
            self.round = gather(store, self.passed, self.round_inputs(store))?;
        }
        if self.round.is_some() {
            self.write_some(store)?;
            return Ok(true);
        }
        if self.prune > 0 {
            self.prune_some(store)?;
            return Ok(true);
        }
        if self.letters {
            let deleted = outbox::tidy(&store.connection, self.now.minus(LETTERS_STAY), LETTERS_AT_ONCE)
                .map_err(|source| LedgerError::from_database(&store.path, "clearing the outbox", source))?;
            self.letters = deleted == LETTERS_AT_ONCE;
            return Ok(self.letters);
        }
        Ok(false)
    }

    fn is_due(&self, store: &Store) -> bool {
        let Some((first, arrived)) = self.oldest else { return false };
        let settled = (store.state.settled + 1).saturating_sub(first);
        settled >= self.round_inputs(store) as u64 || (settled > 0 && self.now.since(arrived) >= TAIL_AGE_MAX)
    }

    /// How many settled inputs make a round.
    fn round_inputs(&self, store: &Store) -> usize {
        (self.sizes.round_inputs * store.numbers.channels().max(1)).min(ROUND_INPUTS_MAX)
    }

    fn find_oldest(&mut self, store: &Store) -> Result<(), LedgerError> {
        self.oldest = store
            .connection
            .prepare_cached("SELECT first, received FROM tail WHERE first > ?1 ORDER BY first LIMIT 1")
            .and_then(|mut statement| {
                statement
                    .query_row([self.passed], |row| Ok((row.get(0)?, Timestamp::from_micros(row.get(1)?))))
                    .optional()
            })
            .map_err(|source| LedgerError::from_database(&store.path, "looking for the tail", source))?;
        Ok(())
    }

    /// Writes the blocks of some channels; with the last of them the round ends.
    fn write_some(&mut self, store: &mut Store) -> Result<(), LedgerError> {
        let Some(round) = &mut self.round else { return Ok(()) };
        let failed = |source| LedgerError::from_database(&store.path, "writing blocks", source);
        let mut state = store.state.clone();
        let transaction = store.connection.transaction().map_err(failed)?;
        let mut readings = 0;
        while readings < self.sizes.step_readings
            && let Some((channel, held)) = round.channels.next()
        {
            readings += held.len();
            let blocks =
                write_channel(&transaction, &mut state, channel, held, round.last).map_err(failed)?;
            self.prune = self.prune.max(PRUNE_BLOCKS).saturating_add(4 * blocks);
            reach(failpoint::Point::DuringCompaction);
        }
        let ended = round.channels.len() == 0;
        if ended {
            state.compacted = state.compacted.max(round.last);
            let mut delete =
                transaction.prepare_cached("DELETE FROM tail WHERE first = ?1").map_err(failed)?;
            for first in &round.stretches {
                delete.execute([first]).map_err(failed)?;
            }
        }
        write_state(&transaction, &state).map_err(failed)?;
        transaction.commit().map_err(failed)?;
        reach(failpoint::Point::AfterCompaction);
        store.state = state;
        if ended {
            self.passed = round.last;
            self.round = None;
            self.letters = true;
            self.find_oldest(store)?;
        }
        Ok(())
    }

    /// Deletes some blocks that are old enough, unless a hold keeps them.
    fn prune_some(&mut self, store: &mut Store) -> Result<(), LedgerError> {
        let some = self.prune.min(PRUNE_BLOCKS);
        let deleted = retention::prune(store, self.block_retention, self.now, some)?;
        self.prune = if deleted < some { 0 } else { self.prune - some };
        Ok(())
    }
}

/// Collects the readings of the settled stretches, by channel.
fn gather(store: &Store, passed: u64, enough: usize) -> Result<Option<Round>, LedgerError> {
    let failed = |source| LedgerError::from_database(&store.path, "reading the tail of inputs", source);
    let compacted = compacted(store).map_err(failed)?;
    // Blocks of a round that was broken off are whole only with the rest of it.
    let begun = compacted.values().copied().max().unwrap_or(0);
    let mut statement = store
        .connection
        .prepare_cached("SELECT first, last, bytes FROM tail WHERE first > ?1 AND first <= ?2 ORDER BY first")
        .map_err(failed)?;
    let mut rows = statement.query([passed, store.state.settled]).map_err(failed)?;
    let mut channels: BTreeMap<i64, Vec<Held>> = BTreeMap::new();
    let (mut taken, mut end, mut stretches) = (0, None::<u64>, Vec::new());
    while let Some(row) = rows.next().map_err(failed)? {
        let (first, last): (u64, u64) = (row.get(0).map_err(failed)?, row.get(1).map_err(failed)?);
        let is_enough = taken >= enough && end.is_some_and(|end| end >= begun);
        if last > store.state.settled || is_enough {
            break;
        }
        let bytes = row.get_ref(2).map_err(failed)?.as_blob().map_err(|error| failed(error.into()))?;
        end = Some(last);
        let Ok(entries) = tail::decode(bytes) else {
            tracing::error!(first, last, "a damaged stretch of inputs is passed over and kept as it is");
            continue;
        };
        taken += entries.len();
        stretches.push(first);
        for (number, entry) in (first..).zip(entries) {
            let What::Sample { channel, at, value } = entry.what else { continue };
            if compacted.get(&channel).is_none_or(|up_to| number > *up_to) {
                let held = Held { point: Point { at, value }, received: entry.now };
                channels.entry(channel).or_default().push(held);
            }
        }
    }
    let channels: Vec<(i64, Vec<Held>)> = channels.into_iter().collect();
    Ok(end.map(|last| Round { last, stretches, channels: channels.into_iter() }))
}

fn compacted(store: &Store) -> rusqlite::Result<BTreeMap<i64, u64>> {
    let mut statement = store.connection.prepare_cached("SELECT id, compacted FROM channel")?;
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    rows.collect()
}

/// Writes the readings of one channel; gives the number of blocks written.
fn write_channel(
    transaction: &Transaction<'_>,
    state: &mut State,
    channel: i64,
    mut held: Vec<Held>,
    last: u64,
) -> rusqlite::Result<usize> {
    held.sort_by_key(|held| held.point.at);
    let newest: Option<i64> = transaction
        .prepare_cached("SELECT newest FROM channel WHERE id = ?1")?
        .query_row([channel], |row| row.get(0))?;
    let late = held.partition_point(|held| newest.is_some_and(|newest| held.point.at.micros() < newest));
    let (late, timely) = held.split_at(late);
    let mut written = 0;
    for part in [late, timely] {
        let mut rest = part;
        while !rest.is_empty() {
            rest = write_block(transaction, state, (channel, last), rest)?;
            written += 1;
        }
    }
    let end = held.last().map(|held| held.point.at.micros());
    transaction
        .prepare_cached("UPDATE channel SET compacted = ?2, newest = ?3 WHERE id = ?1")?
        .execute(params![channel, last, newest.max(end)])?;
    Ok(written)
}

/// The newest block of a channel, where it has room.
struct Open {
    id: i64,
    points: Vec<Point>,
    received_first: i64,
    received_last: i64,
}

/// Takes readings of one block's span from the front of `held`, fills the newest
/// block up and makes new ones; gives what is left.
fn write_block<'a>(
    transaction: &Transaction<'_>,
    state: &mut State,
    (channel, round): (i64, u64),
    held: &'a [Held],
) -> rusqlite::Result<&'a [Held]> {
    let first = held[0].point.at;
    let reach =
        |from: Timestamp, room| held.partition_point(|held| held.point.at <= from.plus(BLOCK_SPAN)).min(room);
    let mut open = open_block(transaction, channel, first)?;
    let (from, room) = match &open {
        Some(open) => (open.points[0].at, BLOCK_READINGS - open.points.len()),
        None => (first, BLOCK_READINGS),
    };
    let (mut part, mut rest) = held.split_at(reach(from, room));
    let mut stored = overlapping(transaction, channel, part)?;
    if open.is_some() && !stored.is_empty() {
        // Blocks over the same time are told apart by their age, so that no older one may grow.
        open = None;
        (part, rest) = held.split_at(reach(first, BLOCK_READINGS));
        stored = overlapping(transaction, channel, part)?;
    }
    let fresh = without_repeats(state, &stored, part);
    let mut left = fresh.as_slice();
    while !left.is_empty() {
        let (taken, bytes) = fill(open.as_ref(), left);
        if taken > 0 {
            store_block(transaction, (channel, round), open.as_ref(), &left[..taken], &bytes)?;
        }
        open = None;
        left = &left[taken..];
    }
    Ok(rest)
}

/// How many of the readings fit with those of the open block, and the bytes of
/// all; none where the open block is full. Without one it is at least one.
fn fill(open: Option<&Open>, held: &[Held]) -> (usize, Vec<u8>) {
    let before = open.map_or(&[][..], |open| &open.points);
    let mut taken = held.len();
    loop {
        let mut points = before.to_vec();
        points.extend(held[..taken].iter().map(|held| held.point));
        let bytes = blocks::encode(&points);
        if bytes.len() <= BLOCK_BYTES || (before.is_empty() && points.len() <= FEW_READINGS) || taken == 0 {
            return (taken, bytes);
        }
        // A little less than in proportion, so that the second try fits nearly always.
        let wanted = (points.len() * BLOCK_BYTES / bytes.len() * 63 / 64).max(FEW_READINGS);
        taken = wanted.saturating_sub(before.len()).min(taken - 1);
    }
}

/// Writes a new block of readings, or the open one with them at its end, and that they came with this round.
fn store_block(
    transaction: &Transaction<'_>,
    (channel, round): (i64, u64),
    open: Option<&Open>,
    held: &[Held],
    bytes: &[u8],
) -> rusqlite::Result<()> {
    let Some((received_first, received_last)) = received(held) else { return Ok(()) };
    let (first, last) = (held[0].point.at.micros(), held[held.len() - 1].point.at.micros());
    let block = match open {
        Some(open) => {
            let mut update = transaction.prepare_cached(
                "UPDATE block SET last = ?2, received_first = ?3, received_last = ?4, readings = ?5, bytes = ?6
                 WHERE id = ?1",
            )?;
            update.execute(params![
                open.id,
                last,
                open.received_first.min(received_first),
                open.received_last.max(received_last),
                open.points.len() + held.len(),
                bytes
            ])?;
            open.id
        }
        None => transaction
            .prepare_cached(
                "INSERT INTO block (channel, first, last, received_first, received_last, readings, bytes)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            )?
            .insert(params![channel, first, last, received_first, received_last, held.len(), bytes])?,
    };
    transaction
        .prepare_cached(
            "INSERT INTO round (last, block, begin, readings) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (last, block) DO UPDATE SET readings = readings + excluded.readings",
        )?
        .execute(params![round, block, open.map_or(0, |open| open.points.len()), held.len()])?;
    Ok(())
}

fn received(held: &[Held]) -> Option<(i64, i64)> {
    let times = || held.iter().map(|held| held.received.micros());
    Some((times().min()?, times().max()?))
}

/// From where on a block is full enough to be left alone.
const fn nearly(full: usize) -> usize {
    full / 16 * 15
}

/// The block that ends before `first`, where it has room for readings from there on.
fn open_block(
    transaction: &Transaction<'_>,
    channel: i64,
    first: Timestamp,
) -> rusqlite::Result<Option<Open>> {
    let mut statement = transaction.prepare_cached(
        "SELECT id, first, last, received_first, received_last, readings, bytes FROM block
         WHERE channel = ?1 AND first >= ?2 AND first <= ?3 ORDER BY first DESC LIMIT 1",
    )?;
    let mut rows = statement.query(params![channel, first.minus(BLOCK_SPAN).micros(), first.micros()])?;
    let Some(row) = rows.next()? else { return Ok(None) };
    let end: i64 = row.get(2)?;
    let bytes = row.get_ref(6)?.as_blob().map_err(rusqlite::Error::from)?;
    let is_full = row.get::<_, usize>(5)? >= nearly(BLOCK_READINGS) || bytes.len() >= nearly(BLOCK_BYTES);
    if end >= first.micros() || is_full {
        return Ok(None);
    }
    // A damaged block is left as it is; a reader of it is told.
    let Ok(points) = blocks::decode(bytes) else { return Ok(None) };
    Ok(Some(Open { id: row.get(0)?, points, received_first: row.get(3)?, received_last: row.get(4)? }))
}

/// The readings already in blocks over the time of these.
fn overlapping(transaction: &Transaction<'_>, channel: i64, part: &[Held]) -> rusqlite::Result<Vec<Point>> {
    let (first, last) = (part[0].point.at, part[part.len() - 1].point.at);
    let mut statement = transaction.prepare_cached(
        "SELECT bytes FROM block
         WHERE channel = ?1 AND first >= ?2 AND first <= ?3 AND last >= ?4 ORDER BY id",
    )?;
    let mut rows =
        statement.query(params![channel, first.minus(BLOCK_SPAN).micros(), last.micros(), first.micros()])?;
    let mut points = Vec::new();
    while let Some(row) = rows.next()? {
        let bytes = row.get_ref(0)?.as_blob().map_err(rusqlite::Error::from)?;
        points.extend(blocks::decode(bytes).unwrap_or_default());
    }
    points.sort_by_key(|point| point.at);
    Ok(points)
}

/// Leaves out what is stored, or stands earlier in `part`, with the same time and value.
fn without_repeats(state: &mut State, stored: &[Point], part: &[Held]) -> Vec<Held> {
    let mut fresh: Vec<Held> = Vec::with_capacity(part.len());
    for held in part {
        let at = held.point.at;
        let begin = stored.partition_point(|point| point.at < at);
        let before = stored[begin..].iter().take_while(|point| point.at == at);
        let beside = fresh.iter().rev().map(|held| &held.point).take_while(|point| point.at == at);
        let mut same_time = before.chain(beside).peekable();
        if same_time.peek().is_none() {
            fresh.push(*held);
        } else if same_time.any(|point| same_value(point.value, held.point.value)) {
            state.repeats += 1;
        } else {
            state.contradictions += 1;
            fresh.push(*held);
        }
    }
    fresh
}
