//! What the history finds, beside what there is: indexes against their tables.
//!
//! The history is read from indexes alone. Whoever takes a cycle out of one hides it without
//! touching the table, so that both are summed up and compared: each entry is hashed with a key
//! drawn for this run, so that nobody can make one sum pass for another.

use std::hash::{BuildHasher, RandomState};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use rusqlite::{Connection, Row};

use crate::core::audit::{Audit, BesideFault};

/// How entries of the table of cycles are read: index, machine, start of the final rinse, verdict.
type Cycle = (i64, i64, i64, i64);

/// The sums over what the tables hold, added to by several threads.
#[derive(Debug, Default)]
pub(super) struct Sums {
    keyed: RandomState,
    by_machine: AtomicU64,
    of_site: AtomicU64,
    by_kind: AtomicU64,
    /// Part of a table could not be read, so that nothing can be compared.
    incomplete: AtomicBool,
}

impl Sums {
    /// Adds an entry of the table of cycles.
    pub(super) fn add_cycle(&self, (index, machine, started, verdict): Cycle) {
        let by_machine = self.keyed.hash_one((index, machine, started, verdict));
        self.by_machine.fetch_add(by_machine, Ordering::Relaxed);
        self.of_site.fetch_add(self.keyed.hash_one((index, started, verdict)), Ordering::Relaxed);
    }

    /// Adds a record.
    pub(super) fn add_record(&self, index: i64, kind: &str) {
        if kind != "cycle" {
            self.by_kind.fetch_add(self.keyed.hash_one((index, kind)), Ordering::Relaxed);
        }
    }

    /// Says that not everything was added.
    pub(super) fn give_up(&self) {
        self.incomplete.store(true, Ordering::Relaxed);
    }

    /// Compares the indexes of records and cycles before `end`.
    pub(super) fn compare(&self, connection: &Connection, format: i64, end: i64, audit: &mut Audit) {
        if self.incomplete.load(Ordering::Relaxed) {
            return;
        }
        let by_machine = |row: &Row<'_>| {
            let cycle: Cycle = (row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?);
            Ok(self.keyed.hash_one(cycle))
        };
        let of_site = |row: &Row<'_>| {
            let entry: (i64, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
            Ok(self.keyed.hash_one(entry))
        };
        let by_kind = |row: &Row<'_>| {
            let (index, kind): (i64, String) = (row.get(0)?, row.get(1)?);
            Ok(self.keyed.hash_one((index, kind.as_str())))
        };
        let sql = "SELECT idx, machine, rinse_started, verdict FROM cycle INDEXED BY cycle_of_machine WHERE idx < ?1";
        compare(connection, "cycle_of_machine", sql, end, &self.by_machine, by_machine, audit);
        let sql = "SELECT idx, rinse_started, verdict FROM cycle INDEXED BY cycle_of_site WHERE idx < ?1";
        compare(connection, "cycle_of_site", sql, end, &self.of_site, of_site, audit);
        if format > 1 {
            let sql =
                "SELECT idx, kind FROM record INDEXED BY record_by_kind WHERE kind <> 'cycle' AND idx < ?1";
            compare(connection, "record_by_kind", sql, end, &self.by_kind, by_kind, audit);
        }
    }
}

fn compare(
    connection: &Connection,
    name: &'static str,
    sql: &str,
    end: i64,
    expected: &AtomicU64,
    entry: impl Fn(&Row<'_>) -> rusqlite::Result<u64>,
    audit: &mut Audit,
) {
    let sum = || -> rusqlite::Result<u64> {
        let mut statement = connection.prepare(sql)?;
        let mut rows = statement.query([end])?;
        let mut sum = 0_u64;
        while let Some(row) = rows.next()? {
            sum = sum.wrapping_add(entry(row)?);
        }
        Ok(sum)
    };
    match sum() {
        Ok(sum) if sum == expected.load(Ordering::Relaxed) => {}
        Ok(_) => audit.found(BesideFault::IndexDiffers { name }),
        Err(error) => {
            audit.found(BesideFault::TableUnreadable { what: name, from: 0, cause: error.to_string() })
        }
    }
}
