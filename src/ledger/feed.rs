//! Readings in the order in which they became durable, for a reader that has a
//! place of its own, such as a copy of the readings elsewhere.
//!
//! What became durable last lies in the tail, one input after another. What the
//! rounds of compaction took lies in blocks, and `round` says which blocks each
//! round wrote to, and which of their readings came with it: a block that is
//! filled up grows at its end. A reader that is behind the last whole round goes
//! from round to round and in each from block to block; then it follows the tail.
//! The blocks of a whole round only go, by age; those of a round that is under
//! way are not looked at, since the tail still holds all its inputs. So no stored
//! reading is left out, whatever is compacted or pruned between two calls. Some
//! come twice to a reader that had read only the beginning of what a round took.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use rusqlite::{Row, params};
use serde::{Deserialize, Serialize};

use crate::core::time::Timestamp;

use super::blocks;
use super::error::{LedgerError, Part};
use super::reader::{Reader, Reading, without_repeats};
use super::recover::STRETCHES_AFTER;
use super::tail::{self, What};

/// How far a reader of [`Reader::feed`] is. The default is the very beginning.
/// Places of one ledger are in order.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default, Serialize, Deserialize)]
pub struct Place {
    /// All inputs up to this number are behind, or come with the blocks of the next field.
    pub input: u64,
    /// 0, or: of the round of compaction that ends with input `input` + 1, blocks up to this id are behind.
    pub block: i64,
}

/// What [`Reader::feed`] gives.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct FeedPart {
    /// Where to go on. The same place as before where nothing is left; it can also
    /// be further without any reading, past ticks and what was pruned.
    pub next: Place,
    /// By name of the channel, in order of time, those of one instant in order of
    /// arrival; a value of one instant once.
    pub readings: Vec<(String, Vec<Reading>)>,
    /// What lay on the way and cannot be read.
    pub damaged: Vec<Part>,
}

impl Place {
    /// Behind all inputs up to this number: readings that were there before are left out.
    #[must_use]
    pub const fn after(input: u64) -> Self {
        Self { input, block: 0 }
    }
}

/// What a call has collected.
struct Collected {
    next: Place,
    room: usize,
    taken: usize,
    readings: BTreeMap<i64, Vec<Reading>>,
    damaged: Vec<Part>,
}

impl Reader {
    /// Readings that became durable after `place`, about `readings_max` of them at
    /// most: one block more than none is given whole, which is up to 16,384.
    /// Each call takes time and memory for what it gives, not for the age of the ledger.
    ///
    /// A reading can come again in a later part, see the head of this file.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails. Blocks and stretches that are
    /// damaged are named in the part, and passed over.
    pub fn feed(&self, place: Place, readings_max: usize) -> Result<FeedPart, LedgerError> {
        let _one_state = self.one_state()?;
        let compacted = self.state()?.compacted;
        let mut part = Collected {
            next: place,
            room: readings_max.max(1),
            taken: 0,
            readings: BTreeMap::new(),
            damaged: Vec::new(),
        };
        let mut flow = ControlFlow::Continue(());
        while part.next.input < compacted && flow.is_continue() {
            match self.round_after(part.next.input, compacted)? {
                Some(round) => flow = self.take_round(&mut part, round)?,
                None => part.next = Place::after(compacted),
            }
        }
        if flow.is_continue() {
            self.take_tail(&mut part)?;
        }
        self.finish(part)
    }

    /// Number of the newest input; 0 where there never was one.
    ///
    /// # Errors
    /// [`LedgerError`] where the state of the ledger cannot be read.
    pub fn newest_input(&self) -> Result<u64, LedgerError> {
        Ok(self.state()?.next_input - 1)
    }

    /// The next round that wrote a block which is still there.
    fn round_after(&self, input: u64, compacted: u64) -> Result<Option<u64>, LedgerError> {
        self.connection
            .prepare_cached("SELECT min(last) FROM round WHERE last > ?1 AND last <= ?2")
            .and_then(|mut statement| statement.query_row([input, compacted], |row| row.get(0)))
            .map_err(|source| self.failed("looking for the next round", source))
    }

    /// Takes blocks of a round; breaks where the part is full before its end.
    fn take_round(&self, part: &mut Collected, round: u64) -> Result<ControlFlow<()>, LedgerError> {
        let failed = |source| self.failed("reading the blocks of a round", source);
        // The block of a place belongs to one round; should that be pruned, the next one begins at its first.
        let behind = if part.next.input + 1 == round { part.next.block } else { 0 };
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT block.id, block.channel, block.first, block.last, block.bytes, round.begin, round.readings
                 FROM round CROSS JOIN block ON block.id = round.block
                 WHERE round.last = ?1 AND round.block > ?2 ORDER BY round.block",
            )
            .map_err(failed)?;
        let mut rows = statement.query(params![round, behind]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            let readings: usize = row.get(6).map_err(failed)?;
            if part.is_full_with(readings) {
                return Ok(ControlFlow::Break(()));
            }
            self.take_block(part, row, readings)?;
            part.next = Place { input: round - 1, block: row.get(0).map_err(failed)? };
        }
        part.next = Place::after(round);
        Ok(ControlFlow::Continue(()))
    }

    fn take_block(&self, part: &mut Collected, row: &Row<'_>, count: usize) -> Result<(), LedgerError> {
        let failed = |source| self.failed("reading the blocks of a round", source);
        let channel: i64 = row.get(1).map_err(failed)?;
        let bytes = row.get_ref(4).map_err(failed)?.as_blob().map_err(|error| failed(error.into()))?;
        let begin: usize = row.get(5).map_err(failed)?;
        let points = blocks::decode(bytes).ok();
        if let Some(points) =
            points.as_ref().and_then(|points| points.get(begin..begin.saturating_add(count)))
        {
            part.taken += count;
            let readings =
                points.iter().map(|point| Reading { at: point.at, received: None, value: point.value });
            part.readings.entry(channel).or_default().extend(readings);
        } else {
            let time = |place| row.get(place).map(Timestamp::from_micros).map_err(failed);
            let (first, last) = (time(2)?, time(3)?);
            part.damaged.push(Part::Block { channel: self.name_of(channel)?, first, last });
        }
        Ok(())
    }

    /// Takes inputs of the tail until the part is full.
    fn take_tail(&self, part: &mut Collected) -> Result<(), LedgerError> {
        let failed = |source| self.failed("reading the tail of inputs", source);
        let mut statement = self.connection.prepare_cached(STRETCHES_AFTER).map_err(failed)?;
        let mut rows = statement.query([part.next.input]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            let (first, last): (u64, u64) = (row.get(0).map_err(failed)?, row.get(1).map_err(failed)?);
            if last <= part.next.input {
                continue;
            }
            let bytes = row.get_ref(2).map_err(failed)?.as_blob().map_err(|error| failed(error.into()))?;
            let Ok(entries) = tail::decode(bytes) else {
                part.damaged.push(Part::Tail { first });
                part.next = Place::after(last);
                continue;
            };
            let behind = part.next.input;
            for (input, entry) in (first..).zip(entries).skip_while(|(input, _)| *input <= behind) {
                if let What::Sample { channel, at, value } = entry.what {
                    if part.is_full_with(1) {
                        return Ok(());
                    }
                    part.taken += 1;
                    let reading = Reading { at, received: Some(entry.now), value };
                    part.readings.entry(channel).or_default().push(reading);
                }
                part.next = Place::after(input);
            }
        }
        Ok(())
    }

    fn finish(&self, part: Collected) -> Result<FeedPart, LedgerError> {
        let mut named = Vec::with_capacity(part.readings.len());
        for (channel, mut readings) in part.readings {
            readings.sort_by_key(|reading| reading.at);
            named.push((self.name_of(channel)?, without_repeats(readings)));
        }
        Ok(FeedPart { next: part.next, readings: named, damaged: part.damaged })
    }

    fn name_of(&self, channel: i64) -> Result<String, LedgerError> {
        self.connection
            .prepare_cached("SELECT name FROM channel WHERE id = ?1")
            .and_then(|mut statement| statement.query_row([channel], |row| row.get(0)))
            .map_err(|source| self.failed("looking up the name of a channel", source))
    }
}

impl Collected {
    /// Whether so many readings more are too many; the first are never.
    const fn is_full_with(&self, readings: usize) -> bool {
        self.taken > 0 && self.taken + readings > self.room
    }
}

#[cfg(test)]
mod tests;
