//! Accounts in the store.

use rusqlite::{OptionalExtension, Row, params};

use super::{Store, StoreError, instant, maybe_instant, word};
use crate::core::access::Role;
use crate::core::reader::{Language, Scale};
use crate::core::record::{AccessDeed, AccessEvent};
use crate::core::time::Timestamp;
use crate::web::access::name::AccountName;

/// An account, without its password.
#[derive(Clone, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
pub struct Account {
    /// Name that is typed to log in.
    pub name: AccountName,
    /// Name that goes on record beside what they do.
    pub shown: String,
    /// What they may do.
    pub role: Role,
    /// Their language.
    pub language: Language,
    /// Their scale.
    pub scale: Scale,
    /// Whether they must choose a password before anything else.
    pub must_change: bool,
    /// Until when their one-time secret can be used.
    pub secret_until: Option<Timestamp>,
    /// Whether nobody can log in with it.
    pub disabled: bool,
    /// When it was made.
    pub made: Timestamp,
    /// When somebody last logged in with it.
    pub last_login: Option<Timestamp>,
}

/// An account with the hash of its password, a PHC string.
#[derive(Clone)]
pub struct Stored {
    /// The account.
    pub account: Account,
    /// The hash.
    pub hash: String,
}

const COLUMNS: &str =
    "name, shown, role, language, scale, must_change, secret_until, disabled, made, last_login";

fn account(row: &Row<'_>) -> rusqlite::Result<Account> {
    Ok(Account {
        name: word(row, 0)?,
        shown: row.get(1)?,
        role: word(row, 2)?,
        language: word(row, 3)?,
        scale: word(row, 4)?,
        must_change: row.get(5)?,
        secret_until: maybe_instant(row, 6)?,
        disabled: row.get(7)?,
        made: instant(row, 8)?,
        last_login: maybe_instant(row, 9)?,
    })
}

impl Store {
    /// Every account, by name.
    ///
    /// # Errors
    /// The database's.
    pub fn accounts(&self) -> Result<Vec<Account>, StoreError> {
        let read = || {
            let mut statement =
                self.connection.prepare_cached(&format!("SELECT {COLUMNS} FROM account ORDER BY name"))?;
            statement.query_map([], account)?.collect::<rusqlite::Result<_>>()
        };
        read().map_err(self.failed("reading the accounts"))
    }

    /// The account of this name.
    ///
    /// # Errors
    /// The database's.
    pub fn account(&self, name: &AccountName) -> Result<Option<Stored>, StoreError> {
        let read = || {
            self.connection
                .prepare_cached(&format!("SELECT {COLUMNS}, hash FROM account WHERE name = ?1"))?
                .query_row([name.as_str()], |row| Ok(Stored { account: account(row)?, hash: row.get(10)? }))
                .optional()
        };
        read().map_err(self.failed("reading an account"))
    }

    /// Makes an account, with its event; `false` where one of this name is there.
    ///
    /// # Errors
    /// The database's.
    pub fn add(&mut self, new: &Stored, event: &AccessEvent) -> Result<bool, StoreError> {
        let Stored { account, hash } = new;
        self.change("making an account", account.made, event, |transaction| {
            transaction.execute(
                "INSERT INTO account (name, shown, role, language, scale, hash, must_change, secret_until,
                     disabled, made)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10) ON CONFLICT (name) DO NOTHING",
                params![
                    account.name.as_str(),
                    account.shown,
                    account.role.as_str(),
                    account.language.code(),
                    account.scale.as_str(),
                    hash,
                    account.must_change,
                    account.secret_until.map(Timestamp::micros),
                    account.disabled,
                    account.made.micros(),
                ],
            )
        })
    }

    /// Writes an account as it is from here on, with its event. Where it may do another thing than
    /// before, or has another password, its sessions end at once, but for the one to `keep`.
    ///
    /// # Errors
    /// The database's.
    pub fn put(
        &mut self,
        now: Timestamp,
        new: &Stored,
        keep: Option<&[u8]>,
        event: &AccessEvent,
    ) -> Result<bool, StoreError> {
        let Stored { account, hash } = new;
        let ends = !matches!(event.what, AccessDeed::ReaderChanged { .. } | AccessDeed::Enabled);
        self.change("changing an account", now, event, |transaction| {
            let changed = transaction.execute(
                "UPDATE account SET shown = ?2, role = ?3, language = ?4, scale = ?5, hash = ?6,
                     must_change = ?7, secret_until = ?8, disabled = ?9 WHERE name = ?1",
                params![
                    account.name.as_str(),
                    account.shown,
                    account.role.as_str(),
                    account.language.code(),
                    account.scale.as_str(),
                    hash,
                    account.must_change,
                    account.secret_until.map(Timestamp::micros),
                    account.disabled,
                ],
            )?;
            if ends {
                transaction.execute(
                    "DELETE FROM session WHERE account = ?1 AND hash IS NOT ?2",
                    params![account.name.as_str(), keep],
                )?;
            }
            Ok(changed)
        })
    }

    /// Removes an account and ends its sessions; `false` where there is none.
    ///
    /// # Errors
    /// The database's.
    pub fn remove(
        &mut self,
        now: Timestamp,
        name: &AccountName,
        event: &AccessEvent,
    ) -> Result<bool, StoreError> {
        self.change("removing an account", now, event, |transaction| {
            transaction.execute("DELETE FROM session WHERE account = ?1", [name.as_str()])?;
            transaction.execute(
                "DELETE FROM wrong WHERE account = ?1 OR substr(account, 1, length(?1) + 1) = ?1 || ' '",
                [name.as_str()],
            )?;
            transaction.execute("DELETE FROM account WHERE name = ?1", [name.as_str()])
        })
    }
}
