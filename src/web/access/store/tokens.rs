//! Tokens of programs in the store.

use rusqlite::{OptionalExtension, Row, params};

use super::{Store, StoreError, instant, maybe_instant, word};
use crate::core::access::Role;
use crate::core::record::AccessEvent;
use crate::core::time::Timestamp;
use crate::web::access::life;
use crate::web::access::name::{AccountName, TOKEN};

/// Most tokens that are kept, with those that have ended (own choice).
pub const TOKENS_MAX: i64 = 200;

/// A token, without its secret.
#[derive(Clone, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
pub struct Token {
    /// Its name, which goes on record beside what the program does.
    pub name: AccountName,
    /// What it may do.
    pub role: Role,
    /// When it was made.
    pub made: Timestamp,
    /// Until when it can be used.
    pub until: Timestamp,
    /// Whether it was revoked.
    pub revoked: bool,
    /// When it was last used, to the minute.
    pub seen: Option<Timestamp>,
}

impl Token {
    /// What stands where an account would, for whoever shows it: `token export`. The blank keeps it from being
    /// the name of any account, since a token and an account may be called alike.
    #[must_use]
    pub fn told(&self) -> String {
        format!("{TOKEN} {}", self.name)
    }
}

const COLUMNS: &str = "name, role, made, until, revoked, seen";

fn token(row: &Row<'_>) -> rusqlite::Result<Token> {
    Ok(Token {
        name: word(row, 0)?,
        role: word(row, 1)?,
        made: instant(row, 2)?,
        until: instant(row, 3)?,
        revoked: row.get(4)?,
        seen: maybe_instant(row, 5)?,
    })
}

impl Store {
    /// Every token, by name.
    ///
    /// # Errors
    /// The database's.
    pub fn tokens(&self) -> Result<Vec<Token>, StoreError> {
        let read = || {
            let mut statement =
                self.connection.prepare_cached(&format!("SELECT {COLUMNS} FROM token ORDER BY name"))?;
            statement.query_map([], token)?.collect::<rusqlite::Result<_>>()
        };
        read().map_err(self.failed("reading the tokens"))
    }

    /// Makes a token; one of the same name that has ended gives its place. `false` where one that
    /// can be used is there, or too many are.
    ///
    /// # Errors
    /// The database's.
    pub fn add_token(&mut self, new: &Token, hash: &[u8], event: &AccessEvent) -> Result<bool, StoreError> {
        self.change("making a token", new.made, event, |transaction| {
            transaction.execute(
                "DELETE FROM token WHERE name = ?1 AND (revoked = 1 OR until <= ?2)",
                params![new.name.as_str(), new.made.micros()],
            )?;
            transaction.execute(
                "INSERT INTO token (name, hash, role, made, until, revoked)
                 SELECT ?1, ?2, ?3, ?4, ?5, 0 WHERE (SELECT count(*) FROM token) < ?6
                 ON CONFLICT (name) DO NOTHING",
                params![
                    new.name.as_str(),
                    hash,
                    new.role.as_str(),
                    new.made.micros(),
                    new.until.micros(),
                    TOKENS_MAX
                ],
            )
        })
    }

    /// Revokes a token; `false` where none of this name can be used.
    ///
    /// # Errors
    /// The database's.
    pub fn revoke(
        &mut self,
        now: Timestamp,
        name: &AccountName,
        event: &AccessEvent,
    ) -> Result<bool, StoreError> {
        self.change("revoking a token", now, event, |transaction| {
            transaction
                .execute("UPDATE token SET revoked = 1 WHERE name = ?1 AND revoked = 0", [name.as_str()])
        })
    }

    /// The token with this hash, whether it can be used or not. Says that it was seen.
    ///
    /// # Errors
    /// The database's.
    pub fn token(&mut self, now: Timestamp, hash: &[u8]) -> Result<Option<Token>, StoreError> {
        let failed = self.failed("reading a token");
        let found = self
            .connection
            .prepare_cached(&format!("SELECT {COLUMNS} FROM token WHERE hash = ?1"))
            .and_then(|mut statement| statement.query_row([hash], token).optional())
            .map_err(&failed)?;
        if let Some(found) = &found
            && !found.revoked
            && found.seen.is_none_or(|seen| now.since(seen) >= life::SEEN_EVERY)
        {
            self.connection
                .execute("UPDATE token SET seen = ?2 WHERE hash = ?1", params![hash, now.micros()])
                .map_err(failed)?;
        }
        Ok(found)
    }
}
