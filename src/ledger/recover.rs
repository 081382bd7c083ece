//! What a start needs to know of the runs before it.

use std::path::Path;

use rusqlite::{Connection, OptionalExtension};

use crate::core::merkle::leaf_hash;
use crate::core::reading::Sample;
use crate::core::site::Event;
use crate::core::time::Timestamp;

use super::error::{LedgerError, Part, Readable};
use super::names::Numbers;
use super::schema::{State, read_state};
use super::tail::{self, Entry, What};
use super::{Input, MachineSnapshot};

/// Where the ledger stood when it was opened.
#[derive(Clone, PartialEq, Debug)]
pub struct Recovered {
    /// Number that the next input gets; the first input of all has 1.
    pub next_input: u64,
    /// Number of records.
    pub tree_size: u64,
    /// Root of the Merkle tree over them (RFC 6962).
    pub root: [u8; 32],
    /// Last instant on record: of the last commit's records and inputs the latest time, by the
    /// gateway's clock; later where an append after it says so.
    pub last_recorded: Option<Timestamp>,
    /// Whether neither an input nor a start came after the last record of an orderly stop; true for a new ledger.
    pub clean_stop: bool,
    /// Whether the ledger was made by this start.
    pub created: bool,
    /// The newest state of each machine that has one and is still configured.
    pub snapshots: Vec<MachineSnapshot>,
    /// The inputs after the last settled one with their numbers, in order; those of
    /// machines and channels that are configured no longer are left out.
    pub inputs: Vec<(u64, Input)>,
    /// Hash in the last record of a configuration change.
    pub configuration_sha256: Option<String>,
}

/// Reads and checks where the ledger stands: the state, the last record, the
/// tail. Takes time for the tail only, not for the age of the ledger.
pub(super) fn recover(
    connection: &Connection,
    path: &Path,
    numbers: &Numbers,
    created: bool,
) -> Result<(Recovered, State), LedgerError> {
    let failed = |step| move |source| LedgerError::from_database(path, step, source);
    let state = read_state(connection)
        .map_err(|source| look_around(connection, failed("reading its state")(source)))?
        .ok_or(LedgerError::Damaged(Part::State))?;
    check_last_record(connection, path, &state).map_err(|error| look_around(connection, error))?;
    let recovered = Recovered {
        next_input: state.next_input,
        tree_size: state.tree.size(),
        root: state.tree.root().0,
        last_recorded: state.last_recorded.map(Timestamp::from_micros),
        clean_stop: state.clean_stop,
        created,
        snapshots: snapshots(connection, numbers)
            .map_err(|source| look_around(connection, failed("reading the machines' states")(source)))?,
        inputs: inputs(connection, path, numbers, &state).map_err(|error| look_around(connection, error))?,
        configuration_sha256: state.configuration_sha256.clone(),
    };
    Ok((recovered, state))
}

/// The last record must be where the state says, and match its hash.
fn check_last_record(connection: &Connection, path: &Path, state: &State) -> Result<(), LedgerError> {
    let last: Option<(u64, bool)> = connection
        .query_row("SELECT idx, leaf, bytes FROM record ORDER BY idx DESC LIMIT 1", [], |row| {
            let sound = leaf_hash(row.get_ref(2)?.as_blob()?).0[..] == *row.get_ref(1)?.as_blob()?;
            Ok((row.get(0)?, sound))
        })
        .optional()
        .map_err(|source| LedgerError::from_database(path, "reading the last record", source))?;
    match last {
        Some((index, false)) => Err(LedgerError::Damaged(Part::Record { index })),
        Some((index, true)) if index + 1 == state.tree.size() => Ok(()),
        None if state.tree.size() == 0 => Ok(()),
        Some(_) | None => Err(LedgerError::Damaged(Part::State)),
    }
}

fn snapshots(connection: &Connection, numbers: &Numbers) -> rusqlite::Result<Vec<MachineSnapshot>> {
    let mut statement = connection.prepare("SELECT machine, after, state FROM snapshot ORDER BY machine")?;
    let mut rows = statement.query([])?;
    let mut snapshots = Vec::new();
    while let Some(row) = rows.next()? {
        if let Some(machine) = numbers.machine_of(row.get(0)?) {
            snapshots.push(MachineSnapshot { machine, after: row.get(1)?, state: row.get(2)? });
        }
    }
    Ok(snapshots)
}

fn inputs(
    connection: &Connection,
    path: &Path,
    numbers: &Numbers,
    state: &State,
) -> Result<Vec<(u64, Input)>, LedgerError> {
    let mut inputs = Vec::new();
    for stretch in stretches_after(connection, path, state.settled)? {
        for (number, entry) in (stretch.first..).zip(stretch.entries) {
            if let (true, Some(input)) = (number > state.settled, input_of(entry, numbers)) {
                inputs.push((number, input));
            }
        }
    }
    Ok(inputs)
}

/// The inputs of one commit.
pub(super) struct Stretch {
    /// Number of the first.
    pub(super) first: u64,
    pub(super) entries: Vec<Entry>,
}

/// (first, last, bytes) of the stretches with inputs after `?1`, in order. `first` grows
/// with `last`: the scan starts at the one that may hold `?1 + 1`.
pub(super) const STRETCHES_AFTER: &str = "SELECT first, last, bytes FROM tail
    WHERE first >= coalesce((SELECT max(first) FROM tail WHERE first <= ?1 + 1), 0) ORDER BY first";

/// The stretches of the tail with inputs after `after`, in order.
pub(super) fn stretches_after(
    connection: &Connection,
    path: &Path,
    after: u64,
) -> Result<Vec<Stretch>, LedgerError> {
    let failed = |source| LedgerError::from_database(path, "reading the tail of inputs", source);
    let mut statement = connection.prepare_cached(STRETCHES_AFTER).map_err(failed)?;
    let mut rows = statement.query([after]).map_err(failed)?;
    let mut stretches = Vec::new();
    while let Some(row) = rows.next().map_err(failed)? {
        let first: u64 = row.get(0).map_err(failed)?;
        let last: u64 = row.get(1).map_err(failed)?;
        let bytes = row.get_ref(2).map_err(failed)?.as_blob().map_err(|error| failed(error.into()))?;
        let entries = tail::decode(bytes).map_err(|_| LedgerError::Damaged(Part::Tail { first }))?;
        if first + entries.len() as u64 != last + 1 {
            return Err(LedgerError::Damaged(Part::Tail { first }));
        }
        if last > after {
            stretches.push(Stretch { first, entries });
        }
    }
    Ok(stretches)
}

fn input_of(entry: Entry, numbers: &Numbers) -> Option<Input> {
    let event = match entry.what {
        What::Tick { machine } => Event::Tick(numbers.machine_of(machine)?),
        What::End { machine } => Event::End(numbers.machine_of(machine)?),
        What::Sample { channel, at, value } => {
            Event::Sample(Sample { channel: numbers.channel_of(channel)?, at, value })
        }
    };
    Some(Input { now: entry.now, event })
}

/// Says in an error about a corrupt page what can still be read.
pub(super) fn look_around(connection: &Connection, mut error: LedgerError) -> LedgerError {
    if let LedgerError::Corrupt { readable, .. } = &mut error {
        *readable = survey(connection);
    }
    error
}

/// Tries up to 64 records, spread evenly over the ledger.
fn survey(connection: &Connection) -> Readable {
    const SAMPLE: u64 = 64;
    let counted = match read_state(connection) {
        Ok(Some(state)) => state.tree.size(),
        Ok(None) | Err(_) => {
            connection.query_row("SELECT max(idx) + 1 FROM record", [], |row| row.get(0)).unwrap_or(0)
        }
    };
    let asked = counted.min(SAMPLE);
    let sound = (0..asked)
        .filter(|n| {
            // 64 × a count of rows stays far below 2^64.
            let index = n * counted / asked;
            connection
                .query_row("SELECT leaf, bytes FROM record WHERE idx = ?1", [index], |row| {
                    Ok(leaf_hash(row.get_ref(1)?.as_blob()?).0[..] == *row.get_ref(0)?.as_blob()?)
                })
                .unwrap_or(false)
        })
        .count() as u64;
    if sound == 0 { Readable::Nothing } else { Readable::Records { counted, asked, sound } }
}
