//! The numbers of this run and the numbers of the ledger.
//!
//! A run counts machines and channels in the order of its configuration, which
//! changes. The ledger gives each name a number once and keeps it.

use std::collections::BTreeMap;

use rusqlite::Connection;

use crate::core::id::{ChannelId, MachineId};

use super::error::LedgerError;

/// Names of this run, each at the place of its number.
#[derive(Clone, Copy, Debug)]
pub struct Names<'a> {
    /// Machines; the place is the [`MachineId`].
    pub machines: &'a [String],
    /// Channels; the place is the [`ChannelId`].
    pub channels: &'a [String],
}

/// Both ways between the two sets of numbers.
#[derive(Debug, Default)]
pub(super) struct Numbers {
    machines: Vec<i64>,
    channels: Vec<i64>,
    machine_of: BTreeMap<i64, MachineId>,
    channel_of: BTreeMap<i64, ChannelId>,
}

impl Numbers {
    /// Looks the names up and adds those that are new, in one transaction.
    pub(super) fn assign(connection: &mut Connection, names: Names<'_>) -> rusqlite::Result<Self> {
        let transaction = connection.transaction()?;
        let mut numbers = Self::default();
        for (place, name) in (0_u16..).zip(names.machines) {
            let number = number_of(&transaction, "machine", name)?;
            numbers.machines.push(number);
            numbers.machine_of.insert(number, MachineId(place));
        }
        for (place, name) in (0_u16..).zip(names.channels) {
            let number = number_of(&transaction, "channel", name)?;
            numbers.channels.push(number);
            numbers.channel_of.insert(number, ChannelId(place));
        }
        transaction.commit()?;
        Ok(numbers)
    }

    /// The ledger's number of a channel.
    pub(super) fn channel(&self, channel: ChannelId) -> Result<i64, LedgerError> {
        let number = self.channels.get(usize::from(channel.0)).copied();
        number.ok_or(LedgerError::UnknownChannel { channel })
    }

    /// The ledger's number of a machine.
    pub(super) fn machine(&self, machine: MachineId) -> Result<i64, LedgerError> {
        let number = self.machines.get(usize::from(machine.0)).copied();
        number.ok_or(LedgerError::UnknownMachine { machine })
    }

    /// This run's number of a channel, where it still has one.
    pub(super) fn channel_of(&self, number: i64) -> Option<ChannelId> {
        self.channel_of.get(&number).copied()
    }

    /// This run's number of a machine, where it still has one.
    pub(super) fn machine_of(&self, number: i64) -> Option<MachineId> {
        self.machine_of.get(&number).copied()
    }

    /// How many channels this run has.
    pub(super) fn channels(&self) -> usize {
        self.channels.len()
    }
}

/// The ledger's number for a name of `table`, given where it has none yet.
pub(super) fn number_of(connection: &Connection, table: &str, name: &str) -> rusqlite::Result<i64> {
    let known = connection
        .prepare_cached(&format!("SELECT id FROM {table} WHERE name = ?1"))?
        .query_row([name], |row| row.get(0));
    match known {
        Err(rusqlite::Error::QueryReturnedNoRows) => connection
            .prepare_cached(&format!("INSERT INTO {table} (name) VALUES (?1) RETURNING id"))?
            .query_row([name], |row| row.get(0)),
        other => other,
    }
}
