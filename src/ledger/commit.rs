//! One commit: one transaction, all of it or nothing.

use std::path::PathBuf;

use rusqlite::{Connection, Transaction, params};

use crate::core::merkle::leaf_hash;
use crate::core::record::{Body, Cycle};
use crate::core::site::Event;

use super::blocks::encode_trace;
use super::error::LedgerError;
use super::events;
use super::failpoint::{Point, reach};
use super::names::{Numbers, number_of};
use super::retention::held_after;
use super::schema::{State, write_state};
use super::subtrees;
use super::tail::{self, Entry, What};
use super::{Commit, Input, NewRecord};

/// Most inputs in one stored part of the tail, so that none is large to read (own choice: twice
/// what the driver commits at once). An import commits more.
const STRETCH_INPUTS_MAX: usize = 1 << 17;

/// What a commit came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Committed {
    /// Ledger index of its first record; `None` where it had none.
    pub first_index: Option<u64>,
    /// Records in the ledger after it.
    pub tree_size: u64,
    /// Root of the Merkle tree over them (RFC 6962).
    pub root: [u8; 32],
    /// Number of the last input of the ledger after it; 0 where there never was one.
    pub last_input: u64,
}

/// The open ledger, in the hands of the writer thread.
#[derive(Debug)]
pub(super) struct Store {
    pub(super) connection: Connection,
    pub(super) path: PathBuf,
    pub(super) numbers: Numbers,
    /// As of the last transaction that came to its end.
    pub(super) state: State,
    /// Whether a lawful hold keeps readings from being pruned.
    pub(super) held: bool,
}

impl Store {
    /// Stores a commit. It is on the device when this returns; after an error nothing of it is.
    pub(super) fn commit(&mut self, commit: &Commit) -> Result<Committed, LedgerError> {
        reach(Point::BeforeBegin);
        let mut state = self.state.clone();
        let entries = self.entries(&commit.inputs)?;
        check_numbers(commit, state.next_input + entries.len() as u64 - 1)?;
        let failed = |source| LedgerError::from_database(&self.path, "committing", source);
        let transaction = self.connection.transaction().map_err(failed)?;
        insert_inputs(&transaction, &mut state, &entries).map_err(failed)?;
        // Readings after the record of a stop say that it was none, unless another one follows.
        // An import comes while nothing runs.
        let is_import = commit.records.iter().any(|new| matches!(new.record.body, Body::Import(_)));
        state.clean_stop &= entries.is_empty() || is_import;
        reach(Point::AfterInputs);
        let first_index = (!commit.records.is_empty()).then(|| state.tree.size());
        for record in &commit.records {
            insert_record(&transaction, &mut state, record).map_err(failed)?;
        }
        reach(Point::AfterRecords);
        for snapshot in &commit.snapshots {
            let machine = self.numbers.machine(snapshot.machine)?;
            transaction
                .prepare_cached("REPLACE INTO snapshot (machine, after, state) VALUES (?1, ?2, ?3)")
                .and_then(|mut statement| statement.execute(params![machine, snapshot.after, snapshot.state]))
                .map_err(failed)?;
        }
        note_progress(&mut state, commit);
        write_state(&transaction, &state).map_err(failed)?;
        reach(Point::BeforeCommit);
        transaction.commit().map_err(failed)?;
        reach(Point::AfterCommit);
        self.state = state;
        self.held = held_after(self.held, &commit.records);
        Ok(self.committed(first_index))
    }

    /// Where the ledger stands, for the answer to whoever brought it there.
    pub(super) fn committed(&self, first_index: Option<u64>) -> Committed {
        Committed {
            first_index,
            tree_size: self.state.tree.size(),
            root: self.state.tree.root().0,
            last_input: self.state.next_input - 1,
        }
    }

    fn entries(&self, inputs: &[Input]) -> Result<Vec<Entry>, LedgerError> {
        inputs
            .iter()
            .map(|input| {
                let what = match input.event {
                    Event::Tick(machine) => What::Tick { machine: self.numbers.machine(machine)? },
                    Event::End(machine) => What::End { machine: self.numbers.machine(machine)? },
                    Event::Sample(sample) => What::Sample {
                        channel: self.numbers.channel(sample.channel)?,
                        at: sample.at,
                        value: sample.value,
                    },
                };
                Ok(Entry { now: input.now, what })
            })
            .collect()
    }
}

/// A commit may only speak of inputs up to its own last one.
fn check_numbers(commit: &Commit, last: u64) -> Result<(), LedgerError> {
    let named = commit.snapshots.iter().map(|snapshot| snapshot.after).chain([commit.settled]);
    match named.max() {
        Some(number) if number > last => Err(LedgerError::InputAhead { number, last }),
        Some(_) | None => Ok(()),
    }
}

fn insert_inputs(
    transaction: &Transaction<'_>,
    state: &mut State,
    entries: &[Entry],
) -> rusqlite::Result<()> {
    let mut insert = transaction
        .prepare_cached("INSERT INTO tail (first, last, received, bytes) VALUES (?1, ?2, ?3, ?4)")?;
    for stretch in entries.chunks(STRETCH_INPUTS_MAX) {
        let next = state.next_input + stretch.len() as u64;
        insert.execute(params![
            state.next_input,
            next - 1,
            stretch[0].now.micros(),
            tail::encode(stretch)
        ])?;
        state.next_input = next;
    }
    Ok(())
}

/// Stores a record after those there are, and what is derived from it.
pub(super) fn insert_record(
    transaction: &Transaction<'_>,
    state: &mut State,
    NewRecord { record, trace }: &NewRecord,
) -> rusqlite::Result<()> {
    let index = state.tree.size();
    let bytes = record.to_bytes();
    let leaf = leaf_hash(&bytes);
    transaction
        .prepare_cached("INSERT INTO record (idx, kind, leaf, bytes) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![index, record.body.kind(), leaf.0, bytes])?;
    subtrees::push(transaction, &mut state.tree, leaf)?;
    if let Some(trace) = trace {
        transaction
            .prepare_cached("INSERT INTO trace (idx, bytes) VALUES (?1, ?2)")?
            .execute(params![index, encode_trace(trace)])?;
    }
    events::put(transaction, index, record)?;
    if let Body::Cycle(cycle) = &record.body {
        // A cycle is always one of a machine; were the name missing, it would be found under the empty one.
        insert_cycle(transaction, index, record.machine.as_deref().unwrap_or_default(), cycle)?;
    } else if let Body::ConfigurationChange(change) = &record.body {
        state.configuration_sha256 = Some(change.sha256.clone());
    } else if let Body::ServiceStart(_) = &record.body {
        state.clean_stop = false;
    } else if let Body::ServiceStop(_) = &record.body {
        state.clean_stop = true;
    }
    Ok(())
}

fn insert_cycle(
    transaction: &Transaction<'_>,
    index: u64,
    machine: &str,
    cycle: &Cycle,
) -> rusqlite::Result<()> {
    let machine = number_of(transaction, "machine", machine)?;
    transaction
        .prepare_cached(
            "INSERT INTO cycle (idx, machine, rinse_started, verdict, rinse_min_c) VALUES (?1, ?2, ?3, ?4, ?5)",
        )?
        .execute(params![
            index,
            machine,
            cycle.rinse_started.micros(),
            super::schema::verdict_number(cycle.verdict),
            cycle.rinse_min_c
        ])?;
    Ok(())
}

fn note_progress(state: &mut State, commit: &Commit) {
    state.settled = state.settled.max(commit.settled);
    let inputs = commit.inputs.last().map(|input| input.now);
    let records = commit.records.iter().map(|new| new.record.recorded).max();
    if let Some(last) = inputs.max(records) {
        state.last_recorded = Some(last.micros());
    }
}
