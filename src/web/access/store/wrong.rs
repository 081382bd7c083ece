//! Wrong tries in the store, and what they lead to.
//!
//! They are counted by the account as it was typed, whether there is such an account or not, so
//! that a lock tells nobody which accounts there are; from each address for itself, so that nobody
//! keeps the owner of an account out by its name, and from all together, so that many addresses are
//! no way round it (OWASP, Authentication Cheat Sheet, «Account Lockout», names both).

use std::net::IpAddr;
use std::time::Duration;

use rusqlite::{OptionalExtension, Transaction, params};

use super::{Store, StoreError, instant};
use crate::core::record::AccessEvent;
use crate::core::time::Timestamp;
use crate::web::access::bucket::network;
use crate::web::access::name::AccountName;

/// How many wrong tries lock, and how long at most.
#[derive(Clone, Copy)]
struct Bound {
    tries_max: u32,
    lock_max: Duration,
}

/// Of one account from one address: ten leave room for a wet hand, and what is locked is nobody else's way in (own
/// choice).
const FROM_ONE: Bound = Bound { tries_max: 10, lock_max: Duration::from_secs(4 * 3_600) };
/// Of one account from all addresses, as many as NIST SP 800-63B §5.2.2 permits: it slows whoever has many. They can keep
/// its owner out as long as they go on, but no longer than a quarter of an hour behind it (own choice).
const FROM_ALL: Bound = Bound { tries_max: 100, lock_max: LOCK_FIRST };
/// Within how long they count together (own choice).
const TRIES_WITHIN: Duration = Duration::from_secs(15 * 60);
/// First lock; each one after it lasts twice as long, up to the longest.
const LOCK_FIRST: Duration = Duration::from_secs(15 * 60);
/// After so long without a wrong try the locks are forgotten.
pub(super) const FORGET_AFTER: Duration = Duration::from_secs(24 * 3_600);
/// Names, and names from an address, that are counted at a time beside those of accounts; the oldest is forgotten.
const KEYS_MAX: i64 = 4_000;

/// A lock.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Lock {
    /// Until when.
    pub until: Timestamp,
    /// How long it was when it began.
    pub lasts: Duration,
    /// Whether only from where the tries came.
    pub there: bool,
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
    fn more(self, now: Timestamp, bound: Bound, there: bool) -> (Self, Option<Lock>) {
        let fresh = now.since(self.since) > TRIES_WITHIN;
        let (times, since) = if fresh { (1, now) } else { (self.times + 1, self.since) };
        if times < bound.tries_max {
            return (Self { times, since, ..self }, None);
        }
        let lasts = LOCK_FIRST.saturating_mul(2_u32.saturating_pow(self.locks)).min(bound.lock_max);
        let until = now.plus(lasts);
        let locks = self.locks.saturating_add(1).min(16);
        (Self { times: 0, since: now, locked_until: until, locks }, Some(Lock { until, lasts, there }))
    }
}

/// What tries with an account from an address are counted under; no account is called so.
fn key(account: &AccountName, address: IpAddr) -> String {
    format!("{account} {}", network(address))
}

fn count(transaction: &Transaction<'_>, key: &str) -> rusqlite::Result<Option<Count>> {
    transaction
        .prepare_cached("SELECT times, since, locked_until, locks FROM wrong WHERE account = ?1")?
        .query_row([key], |row| {
            Ok(Count {
                times: row.get(0)?,
                since: instant(row, 1)?,
                locked_until: instant(row, 2)?,
                locks: row.get(3)?,
            })
        })
        .optional()
}

/// Counts one more under a key; the lock that it leads to, which holds only `there`.
fn more(
    transaction: &Transaction<'_>,
    now: Timestamp,
    key: &str,
    (bound, there): (Bound, bool),
) -> rusqlite::Result<Option<Lock>> {
    let begun = Count { times: 0, since: now, locked_until: Timestamp::from_micros(0), locks: 0 };
    let (after, lock) = count(transaction, key)?.unwrap_or(begun).more(now, bound, there);
    transaction.execute(
        "INSERT INTO wrong (account, times, since, locked_until, locks) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (account) DO UPDATE SET times = excluded.times, since = excluded.since,
             locked_until = excluded.locked_until, locks = excluded.locks",
        params![key, after.times, after.since.micros(), after.locked_until.micros(), after.locks],
    )?;
    Ok(lock)
}

/// Forgets the wrong tries with an account from an address at which its owner came in, and how many there were from all
/// together; those from one elsewhere may be somebody else's.
pub(super) fn forgive(
    transaction: &Transaction<'_>,
    account: &AccountName,
    address: IpAddr,
) -> rusqlite::Result<()> {
    let forgotten = "DELETE FROM wrong WHERE account IN (?1, ?2)";
    transaction.execute(forgotten, [account.as_str(), &key(account, address)]).map(drop)
}

impl Store {
    /// Until when this account, as it was typed, is locked from this address.
    ///
    /// # Errors
    /// The database's.
    pub fn locked(
        &mut self,
        now: Timestamp,
        account: &AccountName,
        address: IpAddr,
    ) -> Result<Option<Timestamp>, StoreError> {
        let failed = self.failed("reading the wrong tries");
        let transaction = self.connection.transaction().map_err(&failed)?;
        let all = count(&transaction, account.as_str()).map_err(&failed)?;
        let one = count(&transaction, &key(account, address)).map_err(&failed)?;
        let until = all.into_iter().chain(one).map(|count| count.locked_until).max();
        Ok(until.filter(|until| *until > now))
    }

    /// Counts a wrong try; the locks that it leads to, from its address and from everywhere.
    ///
    /// # Errors
    /// The database's.
    pub fn wrong(
        &mut self,
        now: Timestamp,
        account: &AccountName,
        address: IpAddr,
    ) -> Result<Vec<Lock>, StoreError> {
        let failed = self.failed("counting a wrong try");
        let transaction = self.connection.transaction().map_err(&failed)?;
        let mut locks = Vec::new();
        let one = key(account, address);
        for (key, bound) in [(one.as_str(), (FROM_ONE, true)), (account.as_str(), (FROM_ALL, false))] {
            locks.extend(more(&transaction, now, key, bound).map_err(&failed)?);
        }
        transaction
            .execute(
                "DELETE FROM wrong WHERE account IN (
                     SELECT account FROM wrong WHERE account NOT IN (SELECT name FROM account)
                     ORDER BY max(since, locked_until) DESC LIMIT -1 OFFSET ?1)",
                [KEYS_MAX],
            )
            .map_err(&failed)?;
        transaction.commit().map_err(failed)?;
        Ok(locks)
    }

    /// Takes logins with this account again, from wherever; `false` where it was not locked.
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
                "DELETE FROM wrong WHERE locked_until > ?2
                     AND (account = ?1 OR substr(account, 1, length(?1) + 1) = ?1 || ' ')",
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
            let (after, lock) = count.more(now, FROM_ONE, true);
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
            let (after, lock) = count.more(now, FROM_ONE, true);
            assert_eq!(lock, None);
            count = after;
        }
    }
}
