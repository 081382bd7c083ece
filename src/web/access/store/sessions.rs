//! Browser sessions in the store.

use std::net::IpAddr;

use rusqlite::{OptionalExtension, params};

use super::pending::put;
use super::{Account, Store, StoreError, instant, wrong};
use crate::core::record::AccessEvent;
use crate::core::time::Timestamp;
use crate::web::access::life;
use crate::web::access::name::AccountName;

/// Most sessions of one account; the oldest ends where one more begins (own choice: phones,
/// tablets and desks of one person).
pub const SESSIONS_MAX: u32 = 16;

impl Store {
    /// Begins a session of an account, with the event of the login; the one before it in the same
    /// browser ends. Forgets the wrong tries from its address.
    ///
    /// # Errors
    /// The database's.
    pub fn begin(
        &mut self,
        now: Timestamp,
        (account, address): (&AccountName, IpAddr),
        new: &[u8],
        before: Option<&[u8]>,
        event: &AccessEvent,
    ) -> Result<bool, StoreError> {
        self.change("beginning a session", now, event, |transaction| {
            let begun = transaction.execute(
                "INSERT INTO session (hash, account, made, seen)
                 SELECT ?1, name, ?3, ?3 FROM account WHERE name = ?2 AND disabled = 0",
                params![new, account.as_str(), now.micros()],
            )?;
            transaction.execute("DELETE FROM session WHERE hash = ?1", [before])?;
            transaction.execute(
                "DELETE FROM session WHERE account = ?1 AND hash NOT IN (
                     SELECT hash FROM session WHERE account = ?1 ORDER BY made DESC, hash = ?3 DESC LIMIT ?2)",
                params![account.as_str(), SESSIONS_MAX, new],
            )?;
            if begun > 0 {
                wrong::forgive(transaction, account, address)?;
            }
            transaction.execute(
                "UPDATE account SET last_login = ?2 WHERE name = ?1",
                params![account.as_str(), now.micros()],
            )?;
            Ok(begun)
        })
    }

    /// The account whose session this is, where it has not ended. Says that it was seen.
    ///
    /// # Errors
    /// The database's.
    pub fn session(&mut self, now: Timestamp, hash: &[u8]) -> Result<Option<Account>, StoreError> {
        let failed = self.failed("reading a session");
        let found = self
            .connection
            .prepare_cached("SELECT account, made, seen FROM session WHERE hash = ?1")
            .and_then(|mut statement| {
                statement
                    .query_row([hash], |row| {
                        Ok((super::word::<AccountName>(row, 0)?, instant(row, 1)?, instant(row, 2)?))
                    })
                    .optional()
            })
            .map_err(&failed)?;
        let Some((name, made, seen)) = found else { return Ok(None) };
        let account = self.account(&name)?.map(|stored| stored.account);
        let Some(account) = account.filter(|account| !account.disabled) else { return Ok(None) };
        if !life::holds(account.role, made, seen, now) {
            self.connection.execute("DELETE FROM session WHERE hash = ?1", [hash]).map_err(failed)?;
            return Ok(None);
        }
        if now.since(seen) >= life::SEEN_EVERY {
            self.connection
                .execute("UPDATE session SET seen = ?2 WHERE hash = ?1", params![hash, now.micros()])
                .map_err(failed)?;
        }
        Ok(Some(account))
    }

    /// Puts another secret in the place of a session's, which begins anew with it.
    ///
    /// # Errors
    /// The database's.
    pub fn cycle(&mut self, now: Timestamp, before: &[u8], new: &[u8]) -> Result<bool, StoreError> {
        self.connection
            .execute(
                "UPDATE session SET hash = ?2, made = ?3, seen = ?3 WHERE hash = ?1",
                params![before, new, now.micros()],
            )
            .map(|changed| changed == 1)
            .map_err(self.failed("changing a session"))
    }

    /// Ends a session, with the event of it; `false` where there is none.
    ///
    /// # Errors
    /// The database's.
    pub fn end(&mut self, now: Timestamp, hash: &[u8], event: &AccessEvent) -> Result<bool, StoreError> {
        self.change("ending a session", now, event, |transaction| {
            transaction.execute("DELETE FROM session WHERE hash = ?1", [hash])
        })
    }

    /// Forgets sessions that ended long ago, and counts of wrong tries that no longer matter.
    ///
    /// # Errors
    /// The database's.
    pub fn tidy(&mut self, now: Timestamp, events: &[AccessEvent]) -> Result<(), StoreError> {
        let failed = self.failed("tidying up");
        let transaction = self.connection.transaction().map_err(&failed)?;
        let longest = now.minus(life::ABSOLUTE).micros();
        let forgotten = now.minus(super::wrong::FORGET_AFTER).micros();
        transaction
            .execute("DELETE FROM session WHERE made < ?1", [longest])
            .and_then(|_| {
                transaction.execute("DELETE FROM wrong WHERE max(since, locked_until) < ?1", [forgotten])
            })
            .map_err(&failed)?;
        for event in events {
            // What does not fit any more was a refusal; the count of those waiting says enough.
            put(&transaction, now, event).map_err(&failed)?;
        }
        transaction.commit().map_err(failed)?;
        self.noted |= !events.is_empty();
        Ok(())
    }
}
