//! What an administrator changes: accounts and tokens.

use std::sync::Arc;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::login::NO_ACCOUNT;
use super::name::{self, AccountName, NoName, NoShown};
use super::password::{self, HashError};
use super::store::{Account, Store, StoreError, Stored, Token};
use super::tally::Whose;
use super::{Access, AccessError, event, secret};
use crate::core::access::Role;
use crate::core::reader::{Language, Scale};
use crate::core::record::{AccessDeed, AskedChange, FIRST_START, Unchanged};
use crate::core::time::Timestamp;

/// How long a one-time secret can be used.
const SECRET_LIFE: Duration = Duration::from_secs(24 * 3_600);
/// Longest life of a token, in days (own choice: a year and a day).
pub const TOKEN_DAYS_MAX: u32 = 366;
/// Account that the first start makes.
pub const FIRST: &str = "administrator";

/// What is to be changed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "kebab-case")]
pub enum Change {
    /// Makes an account, with a one-time secret.
    Add {
        /// Name to log in with.
        account: String,
        /// Name that goes on record.
        name: String,
        /// What they may do.
        role: Role,
        /// Their language.
        language: Language,
        /// Their scale.
        scale: Scale,
    },
    /// Gives an account another role.
    Role {
        /// Which.
        account: String,
        /// The role.
        role: Role,
    },
    /// Lets nobody log in with an account.
    Disable {
        /// Which.
        account: String,
    },
    /// Lets its owner log in again.
    Enable {
        /// Which.
        account: String,
    },
    /// Gives an account a one-time secret in place of its password.
    Reset {
        /// Which.
        account: String,
    },
    /// Ends a lock after wrong tries.
    Unlock {
        /// Which.
        account: String,
    },
    /// Removes an account.
    Remove {
        /// Which.
        account: String,
    },
    /// Makes a token.
    AddToken {
        /// Its name.
        token: String,
        /// What it may do.
        role: Role,
        /// How long it can be used, in days.
        days: u32,
    },
    /// Revokes a token.
    RevokeToken {
        /// Which.
        token: String,
    },
}

/// What a change came to.
#[derive(Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Changed {
    /// Name of the account or token that was made, as it is stored: in small letters.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub name: Option<String>,
    /// The secret that was made, which is shown this once.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub secret: Option<String>,
    /// Until when it can be used.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub until: Option<Timestamp>,
}

impl std::fmt::Debug for Changed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Changed").field("until", &self.until).finish_non_exhaustive()
    }
}

/// Why nothing is changed.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum ChangeRefusal {
    /// What was typed is no name of an account or token.
    #[error(transparent)]
    NoName(#[from] NoName),
    /// The shown name cannot be one.
    #[error(transparent)]
    Shown(#[from] NoShown),
    /// Somebody else is called so, or logs in so.
    #[error(
        "the name reads like that of the account «{0}», so that their deeds would be taken for one another's"
    )]
    ReadsAlike(AccountName),
    /// The shown name reads like what stands on record for a program.
    #[error("a name does not begin with «token»: so it is written on record of a program")]
    ReadsAsToken,
    /// There is no such account, or no such token that can be used.
    #[error("there is none of this name")]
    Unknown,
    /// There is one already.
    #[error("there is one of this name already, or there are too many")]
    Taken,
    /// Nobody would be left to make accounts.
    #[error("it is the last administrator who can log in")]
    LastAdministrator,
    /// It is so already.
    #[error("it is so already")]
    Same,
    /// A token lives from a day to [`TOKEN_DAYS_MAX`].
    #[error("a token lives from 1 to {TOKEN_DAYS_MAX} days")]
    Days,
}

impl ChangeRefusal {
    /// As it goes on record.
    const fn on_record(&self) -> Unchanged {
        match self {
            Self::NoName(_) => Unchanged::NoName,
            Self::Shown(_) => Unchanged::Shown,
            Self::ReadsAsToken => Unchanged::ReadsAsToken,
            Self::Unknown => Unchanged::Unknown,
            Self::ReadsAlike(_) | Self::Taken => Unchanged::Taken,
            Self::LastAdministrator => Unchanged::LastAdministrator,
            Self::Same => Unchanged::Same,
            Self::Days => Unchanged::Days,
        }
    }
}

impl Change {
    /// What is asked for, and the name that was typed for it.
    fn asked(&self) -> (AskedChange, &str) {
        match self {
            Self::Add { account, .. } => (AskedChange::Add, account),
            Self::Role { account, .. } => (AskedChange::Role, account),
            Self::Disable { account } => (AskedChange::Disable, account),
            Self::Enable { account } => (AskedChange::Enable, account),
            Self::Reset { account } => (AskedChange::Reset, account),
            Self::Unlock { account } => (AskedChange::Unlock, account),
            Self::Remove { account } => (AskedChange::Remove, account),
            Self::AddToken { token, .. } => (AskedChange::AddToken, token),
            Self::RevokeToken { token } => (AskedChange::RevokeToken, token),
        }
    }
}

/// Why a change was not made.
#[derive(Debug, thiserror::Error)]
pub enum ChangeError {
    /// It cannot be.
    #[error(transparent)]
    Refused(#[from] ChangeRefusal),
    /// The store fails.
    #[error(transparent)]
    Access(#[from] AccessError),
    /// There is no hash.
    #[error(transparent)]
    Hash(#[from] HashError),
}

impl From<StoreError> for ChangeError {
    fn from(error: StoreError) -> Self {
        Self::Access(error.into())
    }
}

impl From<NoName> for ChangeError {
    fn from(error: NoName) -> Self {
        Self::Refused(error.into())
    }
}

/// Who asks for a change, for the record.
#[derive(Clone, Debug)]
struct Asker {
    by: String,
    from: Option<String>,
}

impl Access {
    /// Makes a change, asked for by `by` at the address `from`; its event waits to be recorded then, and so does
    /// that of a refusal.
    ///
    /// # Errors
    /// [`ChangeError`], with nothing changed.
    pub async fn change(
        self: &Arc<Self>,
        change: Change,
        by: &str,
        from: Option<&str>,
    ) -> Result<Changed, ChangeError> {
        let (asked, typed) = change.asked();
        let name = on_record(typed);
        let done = self.make(change, Asker { by: by.to_owned(), from: from.map(str::to_owned) }).await;
        if let Err(ChangeError::Refused(why)) = &done {
            self.change_refused(&name, (asked, why.on_record()), (from, Whose::Person(by))).await;
        }
        done
    }

    /// Notes that a change was asked for with a role that is none, where `typed` is the name that was typed for it.
    pub(super) async fn role_refused(
        self: &Arc<Self>,
        (asked, typed): (AskedChange, &str),
        by: &str,
        from: &str,
    ) {
        let refused = (asked, Unchanged::NoRole);
        self.change_refused(&on_record(typed), refused, (Some(from), Whose::Person(by))).await;
    }

    async fn make(self: &Arc<Self>, change: Change, asker: Asker) -> Result<Changed, ChangeError> {
        let now = self.now();
        match change {
            Change::Add { account, name, role, language, scale } => {
                let (name, shown) = (account.parse()?, name::shown(&name).map_err(ChangeRefusal::from)?);
                if name::reads_as_token(&shown) {
                    return Err(ChangeRefusal::ReadsAsToken.into());
                }
                self.add(fresh(name, shown, role, (language, scale), now), asker).await
            }
            Change::Role { account, role } => {
                self.put(now, account.parse()?, asker, move |stored| {
                    let before = std::mem::replace(&mut stored.account.role, role);
                    (before != role).then_some(AccessDeed::RoleChanged { role, before })
                })
                .await
            }
            Change::Disable { account } => {
                self.put(now, account.parse()?, asker, |stored| {
                    (!std::mem::replace(&mut stored.account.disabled, true)).then_some(AccessDeed::Disabled)
                })
                .await
            }
            Change::Enable { account } => {
                self.put(now, account.parse()?, asker, |stored| {
                    std::mem::replace(&mut stored.account.disabled, false).then_some(AccessDeed::Enabled)
                })
                .await
            }
            Change::Reset { account } => self.reset(now, account.parse()?, asker).await,
            Change::Unlock { account } => {
                let name: AccountName = account.parse()?;
                self.at_store(move |store| {
                    let event = asker.event(&name, AccessDeed::Unlocked);
                    if store.unlock(now, &name, &event)? {
                        Ok(Changed::default())
                    } else {
                        Err(ChangeRefusal::Same.into())
                    }
                })
                .await
            }
            Change::Remove { account } => self.remove(now, account.parse()?, asker).await,
            Change::AddToken { token, role, days } => {
                self.add_token(now, token.parse()?, role, days, asker).await
            }
            Change::RevokeToken { token } => {
                let name: AccountName = token.parse()?;
                self.at_store(move |store| {
                    let event = asker.event(&name, AccessDeed::TokenRevoked);
                    if store.revoke(now, &name, &event)? {
                        Ok(Changed::default())
                    } else {
                        Err(ChangeRefusal::Unknown.into())
                    }
                })
                .await
            }
        }
    }

    async fn add(self: &Arc<Self>, account: Account, asker: Asker) -> Result<Changed, ChangeError> {
        let (secret, hash) = self.one_time().await?;
        let until = account.secret_until;
        self.at_store(move |store| {
            let accounts = store.accounts()?;
            let mut others = accounts.into_iter().filter(|other| other.name != account.name);
            let alike = others.find(|other| {
                name::reads_alike(&account.shown, &other.shown)
                    || name::reads_alike(&account.shown, other.name.as_str())
            });
            if let Some(other) = alike {
                return Err(ChangeRefusal::ReadsAlike(other.name).into());
            }
            let deed = AccessDeed::Added { role: account.role, name: account.shown.clone() };
            let event = asker.event(&account.name, deed);
            let name = account.name.to_string();
            if store.add(&Stored { account, hash }, &event)? {
                Ok(Changed { name: Some(name), secret: Some(secret), until })
            } else {
                Err(ChangeRefusal::Taken.into())
            }
        })
        .await
    }

    async fn put(
        self: &Arc<Self>,
        now: Timestamp,
        name: AccountName,
        asker: Asker,
        change: impl FnOnce(&mut Stored) -> Option<AccessDeed> + Send + 'static,
    ) -> Result<Changed, ChangeError> {
        self.at_store(move |store| {
            let mut stored = store.account(&name)?.ok_or(ChangeRefusal::Unknown)?;
            let administers = administers(&stored.account);
            let deed = change(&mut stored).ok_or(ChangeRefusal::Same)?;
            if administers && !self::administers(&stored.account) {
                refuse_last(store, &name)?;
            }
            store.put(now, &stored, None, &asker.event(&name, deed))?;
            Ok(Changed::default())
        })
        .await
    }

    async fn reset(
        self: &Arc<Self>,
        now: Timestamp,
        name: AccountName,
        asker: Asker,
    ) -> Result<Changed, ChangeError> {
        let (secret, hash) = self.one_time().await?;
        let until = Some(now.plus(SECRET_LIFE));
        self.at_store(move |store| {
            let mut stored = store.account(&name)?.ok_or(ChangeRefusal::Unknown)?;
            (stored.account.must_change, stored.account.secret_until) = (true, until);
            stored.hash = hash;
            store.put(now, &stored, None, &asker.event(&name, AccessDeed::SecretReset))?;
            Ok(Changed { name: Some(name.into()), secret: Some(secret), until })
        })
        .await
    }

    async fn remove(
        self: &Arc<Self>,
        now: Timestamp,
        name: AccountName,
        asker: Asker,
    ) -> Result<Changed, ChangeError> {
        self.at_store(move |store| {
            let stored = store.account(&name)?.ok_or(ChangeRefusal::Unknown)?;
            if administers(&stored.account) {
                refuse_last(store, &name)?;
            }
            store.remove(now, &name, &asker.event(&name, AccessDeed::Removed))?;
            Ok(Changed::default())
        })
        .await
    }

    async fn add_token(
        self: &Arc<Self>,
        now: Timestamp,
        name: AccountName,
        role: Role,
        days: u32,
        asker: Asker,
    ) -> Result<Changed, ChangeError> {
        if !(1..=TOKEN_DAYS_MAX).contains(&days) {
            return Err(ChangeRefusal::Days.into());
        }
        let secret = secret::fresh_token().map_err(StoreError::Random)?;
        let until = now.plus(Duration::from_secs(u64::from(days) * 86_400));
        self.at_store(move |store| {
            let event = asker.event(&name, AccessDeed::TokenAdded { role, until });
            let stored = name.to_string();
            let token = Token { name, role, made: now, until, revoked: false, seen: None };
            if store.add_token(&token, &secret::hash(&secret), &event)? {
                Ok(Changed { name: Some(stored), secret: Some(secret), until: Some(until) })
            } else {
                Err(ChangeRefusal::Taken.into())
            }
        })
        .await
    }

    /// Makes the first account where there is none; its one-time secret.
    ///
    /// # Errors
    /// [`ChangeError`] where it cannot be made.
    pub fn begin(&self) -> Result<Option<Changed>, ChangeError> {
        let mut store = self.store();
        if !store.accounts()?.is_empty() {
            return Ok(None);
        }
        let secret = secret::one_time().map_err(StoreError::Random)?;
        let hash = password::make(&secret)?;
        let (now, shown) = (self.now(), "Administrator".to_owned());
        let reading = (Language::English, Scale::Celsius);
        let account = fresh(FIRST.parse()?, shown.clone(), Role::Administrator, reading, now);
        let until = account.secret_until;
        let deed = AccessDeed::Added { role: Role::Administrator, name: shown };
        let event = event(FIRST, deed, None, Some(FIRST_START));
        store.add(&Stored { account, hash }, &event)?;
        Ok(Some(Changed { name: Some(FIRST.to_owned()), secret: Some(secret), until }))
    }

    /// Accounts whose shown name reads on record like that of a program, made before such names were refused.
    ///
    /// # Errors
    /// [`StoreError`] where they cannot be read.
    pub fn like_programs(&self) -> Result<Vec<Account>, StoreError> {
        let accounts = self.store().accounts()?;
        Ok(accounts.into_iter().filter(|account| name::reads_as_token(&account.shown)).collect())
    }

    /// Whether the one-time secret of an account that can be used until then is still good: nobody has chosen a
    /// password since, nor made another secret. An account that cannot be read has none.
    #[must_use]
    pub fn secret_waits(&self, account: &str, until: Timestamp) -> bool {
        let Ok(name) = account.parse() else { return false };
        let known = self.store().account(&name).ok().flatten().map(|known| known.account);
        known.is_some_and(|known| {
            let good = known.must_change && known.secret_until == Some(until) && !known.disabled;
            good && self.now() < until
        })
    }

    /// A one-time secret and its hash.
    async fn one_time(&self) -> Result<(String, String), ChangeError> {
        let secret = secret::one_time().map_err(StoreError::Random)?;
        let hash = self.hasher.make(secret.clone()).await?;
        Ok((secret, hash))
    }
}

impl Asker {
    fn event(&self, name: &AccountName, deed: AccessDeed) -> crate::core::record::AccessEvent {
        event(name.as_str(), deed, self.from.as_deref(), Some(&self.by))
    }
}

/// A typed name as it goes on record: what has not the form of one may be a password.
fn on_record(typed: &str) -> String {
    typed.parse().map_or_else(|_| NO_ACCOUNT.to_owned(), |name: AccountName| name.into())
}

fn administers(account: &Account) -> bool {
    account.role == Role::Administrator && !account.disabled
}

fn refuse_last(store: &Store, name: &AccountName) -> Result<(), ChangeError> {
    let left = store.accounts()?.iter().any(|account| account.name != *name && administers(account));
    if left { Ok(()) } else { Err(ChangeRefusal::LastAdministrator.into()) }
}

/// An account made at `now`, which waits for its one-time secret.
fn fresh(
    name: AccountName,
    shown: String,
    role: Role,
    (language, scale): (Language, Scale),
    now: Timestamp,
) -> Account {
    Account {
        name,
        shown,
        role,
        language,
        scale,
        must_change: true,
        secret_until: Some(now.plus(SECRET_LIFE)),
        disabled: false,
        made: now,
        last_login: None,
    }
}
