//! Wrong tries in the store, and what they lead to.
//!
//! They are counted by the account as it was typed, whether there is such an account or not, so
//! that a lock tells nobody which accounts there are.

use std::time::Duration;

use rusqlite::{OptionalExtension, Transaction, params};

use super::{Store, StoreError, instant};
use crate::core::record::AccessEvent;
use crate::core::time::Timestamp;
use crate::web::access::name::AccountName;

/// Wrong tries after which an account is locked. NIST SP 800-63B §5.2.2 permits at most 100; ten
/// leave room for a wet hand (own choice).
const TRIES_MAX: u32 = 10;
/// Within how long they count together (own choice).
const TRIES_WITHIN: Duration = Duration::from_secs(15 * 60);
/// First lock; each one after it lasts twice as long.
const LOCK_FIRST: Duration = Duration::from_secs(15 * 60);
/// Longest lock (own choice: a shift is never lost to a stranger's game).
const LOCK_MAX: Duration = Duration::from_secs(4 * 3_600);
/// After so long without a wrong try the locks are forgotten.
pub(super) const FORGET_AFTER: Duration = Duration::from_secs(24 * 3_600);
/// Names that are counted at a time; of those that are no account the oldest is forgotten.
const NAMES_MAX: i64 = 2_000;

/// A lock.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Lock {
    /// Until when.
    pub until: Timestamp,
    /// How long it was when it began.
    pub lasts: Duration,
}

/// What one more wrong try led to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Wrong {
    /// It was counted.
    Counted,
    /// The account is locked from here on.
    Locks(Lock),
}

#[derive(Clone, Copy, Debug)]
struct Count {
    times: u32,
    since: Timestamp,
    locked_until: Timestamp,
    locks: u32,
}

impl Count {
    /// One more wrong try; the lock that it leads to.
    fn more(self, now: Timestamp) -> (Self, Option<Lock>) {
        let fresh = now.since(self.since) > TRIES_WITHIN;
        let (times, since) = if fresh { (1, now) } else { (self.times + 1, self.since) };
        if times < TRIES_MAX {
            return (Self { times, since, ..self }, None);
        }
        let lasts = LOCK_FIRST.saturating_mul(2_u32.saturating_pow(self.locks)).min(LOCK_MAX);
        let until = now.plus(lasts);
        let locks = self.locks.saturating_add(1).min(16);
        (Self { times: 0, since: now, locked_until: until, locks }, Some(Lock { until, lasts }))
    }
}

fn count(transaction: &Transaction<'_>, account: &AccountName) -> rusqlite::Result<Option<Count>> {
    transaction
        .prepare_cached("SELECT times, since, locked_until, locks FROM wrong WHERE account = ?1")?
        .query_row([account.as_str()], |row| {
            Ok(Count {
                times: row.get(0)?,
                since: instant(row, 1)?,
                locked_until: instant(row, 2)?,
                locks: row.get(3)?,
            })
        })
        .optional()
}

impl Store {
    /// Until when this account, as it was typed, is locked.
    ///
    /// # Errors
    /// The database's.
    pub fn locked(&mut self, now: Timestamp, account: &AccountName) -> Result<Option<Timestamp>, StoreError> {
        let failed = self.failed("reading the wrong tries");
        let transaction = self.connection.transaction().map_err(&failed)?;
        let count = count(&transaction, account).map_err(&failed)?;
        Ok(count.map(|count| count.locked_until).filter(|until| *until > now))
    }

    /// Counts a wrong try.
    ///
    /// # Errors
    /// The database's.
    pub fn wrong(&mut self, now: Timestamp, account: &AccountName) -> Result<Wrong, StoreError> {
        let failed = self.failed("counting a wrong try");
        let transaction = self.connection.transaction().map_err(&failed)?;
        let before = count(&transaction, account).map_err(&failed)?;
        let begun = Count { times: 0, since: now, locked_until: Timestamp::from_micros(0), locks: 0 };
        let (after, lock) = before.unwrap_or(begun).more(now);
        let put = || {
            transaction.execute(
                "INSERT INTO wrong (account, times, since, locked_until, locks) VALUES (?1, ?2, ?3, ?4, ?5)
                 ON CONFLICT (account) DO UPDATE SET times = excluded.times, since = excluded.since,
                     locked_until = excluded.locked_until, locks = excluded.locks",
                params![
                    account.as_str(),
                    after.times,
                    after.since.micros(),
                    after.locked_until.micros(),
                    after.locks
                ],
            )?;
            transaction.execute(
                "DELETE FROM wrong WHERE account IN (
                     SELECT account FROM wrong WHERE account NOT IN (SELECT name FROM account)
                     ORDER BY max(since, locked_until) DESC LIMIT -1 OFFSET ?1)",
                [NAMES_MAX],
            )
        };
        put().map_err(&failed)?;
        transaction.commit().map_err(failed)?;
        Ok(lock.map_or(Wrong::Counted, Wrong::Locks))
    }

    /// Takes logins with this account again; `false` where it was not locked.
    ///
    /// # Errors
    /// The database's.
    pub fn unlock(
        &mut self,
        now: Timestamp,
        account: &AccountName,
        event: &AccessEvent,
    ) -> Result<bool, StoreError> {
        self.change("unlocking an account", now, event, |transaction| {
            transaction.execute(
                "DELETE FROM wrong WHERE account = ?1 AND locked_until > ?2",
                params![account.as_str(), now.micros()],
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Ten wrong tries in 15 min lock for 15 min, then twice as long each, up to 4 h: own choice.
    #[test]
    fn locks_grow_up_to_their_longest() {
        let mut now = Timestamp::from_micros(1_700_000_000_000_000);
        let mut count = Count { times: 0, since: now, locked_until: Timestamp::from_micros(0), locks: 0 };
        let mut minutes = Vec::new();
        for _ in 0..60 {
            now = now.plus(Duration::from_secs(1));
            let (after, lock) = count.more(now);
            count = after;
            if let Some(lock) = lock {
                minutes.push(lock.lasts.as_secs() / 60);
                now = lock.until;
            }
        }
        assert_eq!(minutes, [15, 30, 60, 120, 240, 240]);
    }

    // Nine in a quarter of an hour, again and again, never lock.
    #[test]
    fn slow_tries_do_not_lock() {
        let mut now = Timestamp::from_micros(1_700_000_000_000_000);
        let mut count = Count { times: 0, since: now, locked_until: Timestamp::from_micros(0), locks: 0 };
        for _ in 0..90 {
            now = now.plus(Duration::from_secs(101));
            let (after, lock) = count.more(now);
            assert_eq!(lock, None);
            count = after;
        }
    }
}
