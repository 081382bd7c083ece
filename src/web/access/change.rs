//! What an administrator changes: accounts and tokens.

use std::sync::Arc;
use std::time::Duration;

use super::login::NO_ACCOUNT;
use super::name::{self, AccountName};
use super::password;
use super::store::{Account, Store, StoreError, Stored, Token};
use super::tally::Whose;
use super::wanted::{Change, ChangeError, ChangeRefusal, Changed, TOKEN_DAYS_MAX};
use super::{Access, event, secret};
use crate::core::access::Role;
use crate::core::reader::{Language, Scale};
use crate::core::record::{AccessDeed, AskedChange, FIRST_START, Unchanged};
use crate::core::time::Timestamp;

/// How long a one-time secret can be used.
const SECRET_LIFE: Duration = Duration::from_secs(24 * 3_600);
/// Account that the first start makes.
pub const FIRST: &str = "administrator";

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
                name::one_script_a_word(&shown).map_err(ChangeRefusal::from)?;
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
                    || name::reads_alike(account.name.as_str(), &other.shown)
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
