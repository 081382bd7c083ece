//! What the history finds, beside what there is: indexes against their tables, and the tables
//! that name records against the records.
//!
//! The history is read from these alone. Whoever takes a cycle or an alert out of one hides it
//! without touching the record, so that both are summed up and compared: each entry is hashed with a key
//! drawn for this run, so that nobody can make one sum pass for another.

use std::hash::{BuildHasher, RandomState};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use rusqlite::{Connection, Row};

use crate::core::audit::{Audit, BesideFault};
use crate::core::merkle::leaf_hash;
use crate::core::record::Record;
use crate::ledger::events::{self, Entries};

/// How entries of the table of cycles are read: index, machine, start of the final rinse, verdict.
type Cycle = (i64, i64, i64, i64);

/// The sums over what the tables hold, added to by several threads.
#[derive(Debug, Default)]
pub(super) struct Sums {
    keyed: RandomState,
    by_machine: AtomicU64,
    of_site: AtomicU64,
    by_kind: AtomicU64,
    event: AtomicU64,
    of_machine: AtomicU64,
    about: AtomicU64,
    /// A record is not as it was when the tables that name it were written.
    changed: AtomicBool,
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

    /// Adds a record with the hash and the bytes that are stored of it.
    pub(super) fn add_record(&self, index: i64, kind: &str, leaf: &[u8], bytes: &[u8]) {
        if kind == "cycle" {
            return;
        }
        self.by_kind.fetch_add(self.keyed.hash_one((index, kind)), Ordering::Relaxed);
        let fits = leaf_hash(bytes).0[..] == *leaf;
        match Record::from_bytes(bytes) {
            Ok(record) if fits => self.add_entries(index, &record),
            Ok(_) | Err(_) => self.changed.store(true, Ordering::Relaxed),
        }
    }

    /// Adds what the tables that name records say of one.
    fn add_entries(&self, index: i64, record: &Record) {
        let Some(Entries { word, at, machine, about }) = events::entries(record) else { return };
        let entry = self.keyed.hash_one((word.as_str(), at, index, machine.as_deref()));
        self.event.fetch_add(entry, Ordering::Relaxed);
        if machine.is_some() {
            self.of_machine.fetch_add(entry, Ordering::Relaxed);
        }
        for (subject, number) in about {
            let entry = self.keyed.hash_one((subject, number.cast_signed(), index));
            self.about.fetch_add(entry, Ordering::Relaxed);
        }
    }

    /// Says that not everything was added.
    pub(super) fn give_up(&self) {
        self.incomplete.store(true, Ordering::Relaxed);
    }

    /// Compares the indexes and tables that name records and cycles. Cycles from `end` on are
    /// told of elsewhere; what names any other record there is a stray.
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
        let mut look = Look { connection, end, audit };
        let differs = |name| BesideFault::IndexDiffers { name };
        // By its name a machine is asked for, by its number it is found.
        let named = |row: &Row<'_>| {
            let entry: (i64, String) = (row.get(0)?, row.get(1)?);
            Ok(self.keyed.hash_one((entry.0, entry.1.as_str())))
        };
        for (name, by_table, by_index) in NAMES {
            let expected = AtomicU64::new(look.sum(by_table, named).unwrap_or_default());
            look.compare(name, by_index, &expected, named, differs);
        }
        let sql = "SELECT idx, machine, rinse_started, verdict FROM cycle INDEXED BY cycle_of_machine WHERE idx < ?1";
        look.compare("cycle_of_machine", sql, &self.by_machine, by_machine, differs);
        let sql = "SELECT idx, rinse_started, verdict FROM cycle INDEXED BY cycle_of_site WHERE idx < ?1";
        look.compare("cycle_of_site", sql, &self.of_site, of_site, differs);
        if format > 1 {
            let sql =
                "SELECT idx, kind FROM record INDEXED BY record_by_kind WHERE kind <> 'cycle' AND ?1 >= 0";
            look.compare("record_by_kind", sql, &self.by_kind, by_kind, differs);
            self.compare_tables(&mut look);
            self.compare_subtrees(&mut look);
        }
    }

    /// Compares the roots of subtrees that proofs are made of.
    fn compare_subtrees(&self, look: &mut Look<'_>) {
        // Where a record is missing or was changed the roots are others, and that is told of already.
        let Some(roots) = look.audit.subtrees().filter(|_| !self.changed.load(Ordering::Relaxed)) else {
            return;
        };
        let entry = |index: i64, root: &[u8]| self.keyed.hash_one((index, root));
        let sums = roots.iter().zip(0..).map(|(root, index)| entry(index, &root.0));
        let expected = AtomicU64::new(sums.fold(0, u64::wrapping_add));
        let stored = |row: &Row<'_>| Ok(entry(row.get(0)?, row.get_ref(1)?.as_blob()?));
        let sql = "SELECT idx, root FROM subtree WHERE ?1 >= 0";
        look.compare("subtree", sql, &expected, stored, |name| BesideFault::LookupDiffers { name });
    }

    /// Compares the tables that name records.
    fn compare_tables(&self, look: &mut Look<'_>) {
        if self.changed.load(Ordering::Relaxed) {
            return;
        }
        let event = |row: &Row<'_>| {
            let (word, at, index): (String, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
            let machine: Option<String> = row.get(3)?;
            Ok(self.keyed.hash_one((word.as_str(), at, index, machine.as_deref())))
        };
        let about = |row: &Row<'_>| {
            let entry: (i64, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
            Ok(self.keyed.hash_one(entry))
        };
        let differs = |name| BesideFault::LookupDiffers { name };
        let sql = "SELECT kind, at, idx, machine FROM event WHERE ?1 >= 0";
        look.compare("event", sql, &self.event, event, differs);
        let sql = "SELECT kind, at, idx, machine FROM event INDEXED BY event_of_machine
                   WHERE machine IS NOT NULL AND ?1 >= 0";
        look.compare("event_of_machine", sql, &self.of_machine, event, |name| BesideFault::IndexDiffers {
            name,
        });
        let sql = "SELECT subject, number, idx FROM about WHERE ?1 >= 0";
        look.compare("about", sql, &self.about, about, differs);
    }
}

/// Tables of names: the index that finds a number by its name, and how both are read. A record
/// before the end has nothing to do with them, which is asked for all the same.
const NAMES: [(&str, &str, &str); 2] = [
    (
        "sqlite_autoindex_machine_1",
        "SELECT id, name FROM machine NOT INDEXED WHERE ?1 >= 0",
        "SELECT id, name FROM machine INDEXED BY sqlite_autoindex_machine_1 WHERE name >= '' AND ?1 >= 0",
    ),
    (
        "sqlite_autoindex_channel_1",
        "SELECT id, name FROM channel NOT INDEXED WHERE ?1 >= 0",
        "SELECT id, name FROM channel INDEXED BY sqlite_autoindex_channel_1 WHERE name >= '' AND ?1 >= 0",
    ),
];

/// Where entries are looked at, and who is told.
struct Look<'a> {
    connection: &'a Connection,
    end: i64,
    audit: &'a mut Audit,
}

impl Look<'_> {
    fn sum(&self, sql: &str, entry: impl Fn(&Row<'_>) -> rusqlite::Result<u64>) -> rusqlite::Result<u64> {
        let mut statement = self.connection.prepare(sql)?;
        let mut rows = statement.query([self.end])?;
        let mut sum = 0_u64;
        while let Some(row) = rows.next()? {
            sum = sum.wrapping_add(entry(row)?);
        }
        Ok(sum)
    }

    fn compare(
        &mut self,
        name: &'static str,
        sql: &str,
        expected: &AtomicU64,
        entry: impl Fn(&Row<'_>) -> rusqlite::Result<u64>,
        differs: impl Fn(&'static str) -> BesideFault,
    ) {
        match self.sum(sql, entry) {
            Ok(sum) if sum == expected.load(Ordering::Relaxed) => {}
            Ok(_) => self.audit.found(differs(name)),
            Err(error) => {
                let cause = error.to_string();
                self.audit.found(BesideFault::TableUnreadable { what: name, from: 0, cause });
            }
        }
    }
}
