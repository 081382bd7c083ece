//! Logging in, and who asks by a cookie or a token.

use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;

use super::bucket::ONE_MORE;
use super::name::AccountName;
use super::password::HashError;
use super::store::{Account, Lock, Store, StoreError, Token};
use super::tally::Whose;
use super::{Access, AccessError, event, secret};
use crate::core::record::{AccessDeed, AccessEvent, AccessRefusal};
use crate::core::time::Timestamp;

/// What goes on record for what has not the form of an account: it may be a password.
pub(super) const NO_ACCOUNT: &str = "?";
/// Longest secret of a cookie or a token that is looked up, in bytes.
const SECRET_BYTES_MAX: usize = 100;

/// Where a request came from.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct From {
    /// The address that tries are counted for.
    pub(super) address: IpAddr,
    /// As it goes on record.
    pub(super) told: String,
}

/// A session that began.
pub(super) struct Begun {
    /// The browser's secret.
    pub(super) secret: String,
    pub(super) account: Account,
}

/// That somebody is turned away, and until when, where that is known.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Turned {
    pub(super) why: AccessRefusal,
    /// After how long they may come again.
    pub(super) wait: Option<Duration>,
}

impl std::convert::From<AccessRefusal> for Turned {
    fn from(why: AccessRefusal) -> Self {
        Self { why, wait: None }
    }
}

impl Turned {
    /// From an account that is locked until then.
    pub(super) fn locked(now: Timestamp, until: Timestamp) -> Self {
        Self { why: AccessRefusal::Locked, wait: Some(until.since(now)) }
    }
}

/// Why nobody is logged in.
#[derive(Debug, thiserror::Error)]
pub(super) enum LoginError {
    /// Turned away.
    #[error("{}", .0.why.words())]
    Refused(Turned),
    /// The passwords of others are looked at.
    #[error(transparent)]
    Hash(#[from] HashError),
    /// The store fails.
    #[error(transparent)]
    Access(#[from] AccessError),
}

/// What a token turned out to be.
pub(super) enum Shown {
    /// It can be used.
    Good(Token),
    /// Not, for this reason.
    Bad(AccessRefusal),
}

impl Access {
    /// Logs somebody in. `before` is the secret of the session that the browser had.
    pub(super) async fn login(
        self: &Arc<Self>,
        typed: &str,
        password: String,
        before: Option<&str>,
        from: &From,
    ) -> Result<Begun, LoginError> {
        let name: Option<AccountName> = typed.parse().ok();
        let told = name.as_ref().map_or(NO_ACCOUNT, AccountName::as_str);
        let tried = self.try_login(name.clone(), password, before, from).await;
        if let Err(LoginError::Refused(turned)) = &tried {
            self.refused(told, turned.why, (&from.told, Whose::Stranger)).await;
        }
        tried
    }

    async fn try_login(
        self: &Arc<Self>,
        name: Option<AccountName>,
        password: String,
        before: Option<&str>,
        from: &From,
    ) -> Result<Begun, LoginError> {
        if !self.may_try(from.address) {
            return Err(LoginError::Refused(Turned { why: AccessRefusal::TooMany, wait: Some(ONE_MORE) }));
        }
        let now = self.now();
        let (sought, address) = (name.clone(), from.address);
        let stored = self
            .at_store(move |store| {
                let Some(name) = sought else { return Ok(None) };
                if let Some(until) = store.locked(now, &name, address).map_err(AccessError::from)? {
                    return Err(LoginError::Refused(Turned::locked(now, until)));
                }
                Ok(store.account(&name).map_err(AccessError::from)?)
            })
            .await?;
        let same = self.hasher.compare(password, stored.as_ref().map(|stored| stored.hash.clone())).await?;
        let Some(stored) = stored.filter(|_| same) else {
            self.count_wrong(name, from).await?;
            return Err(LoginError::Refused(AccessRefusal::Wrong.into()));
        };
        let now = self.now();
        if stored.account.disabled {
            return Err(LoginError::Refused(AccessRefusal::Disabled.into()));
        }
        if stored.account.must_change && stored.account.secret_until.is_none_or(|until| until <= now) {
            return Err(LoginError::Refused(AccessRefusal::Expired.into()));
        }
        let secret = secret::fresh().map_err(|error| AccessError::Store(error.into()))?;
        let (new, before) = (secret::hash(&secret), before.map(secret::hash));
        let event = event(stored.account.name.as_str(), AccessDeed::LoggedIn, Some(&from.told), None);
        let begun = self
            .at_store(move |store| {
                let failed = AccessError::from;
                // Others may have tried, or changed the account, while this password was looked at.
                if let Some(until) = store.locked(now, &stored.account.name, address).map_err(failed)? {
                    return Err(LoginError::Refused(Turned::locked(now, until)));
                }
                let known = store.account(&stored.account.name).map_err(failed)?;
                let Some(known) = known.filter(|known| known.hash == stored.hash) else {
                    return Err(LoginError::Refused(AccessRefusal::Wrong.into()));
                };
                let before = before.as_ref().map(<[u8; 32]>::as_slice);
                let whose = (&known.account.name, address);
                if store.begin(now, whose, &new, before, &event).map_err(failed)? {
                    Ok(known.account)
                } else {
                    Err(LoginError::Refused(AccessRefusal::Disabled.into()))
                }
            })
            .await?;
        tracing::info!(account = %begun.name, from = from.told, "logged in");
        Ok(Begun { secret, account: begun })
    }

    /// Counts a wrong try with an account, if what was typed can be one.
    pub(super) async fn count_wrong(
        self: &Arc<Self>,
        name: Option<AccountName>,
        from: &From,
    ) -> Result<(), AccessError> {
        let Some(name) = name else { return Ok(()) };
        let (now, from) = (self.now(), from.clone());
        self.at_store(move |store| Ok(count_wrong(store, now, &name, &from)?)).await
    }

    /// Whose session this is.
    pub(super) async fn visitor(self: &Arc<Self>, secret: &str) -> Result<Option<Account>, AccessError> {
        if secret.len() > SECRET_BYTES_MAX {
            return Ok(None);
        }
        let (now, hash) = (self.now(), secret::hash(secret));
        self.at_store(move |store| Ok(store.session(now, &hash)?)).await
    }

    /// What this token is. A stranger's is counted as a try of that address.
    pub(super) async fn program(self: &Arc<Self>, secret: &str, from: &From) -> Result<Shown, AccessError> {
        let now = self.now();
        let found = if secret.len() > SECRET_BYTES_MAX {
            None
        } else {
            let hash = secret::hash(secret);
            self.at_store(move |store| Ok::<_, AccessError>(store.token(now, &hash)?)).await?
        };
        let (told, why) = match found {
            Some(token) if !token.revoked && now < token.until => return Ok(Shown::Good(token)),
            Some(token) if !token.revoked => (token.told(), AccessRefusal::Expired),
            Some(token) => (token.told(), AccessRefusal::UnknownToken),
            None => (NO_ACCOUNT.to_owned(), AccessRefusal::UnknownToken),
        };
        let why = if self.may_try(from.address) { why } else { AccessRefusal::TooMany };
        self.refused(&told, why, (&from.told, Whose::Stranger)).await;
        Ok(Shown::Bad(why))
    }

    /// Ends a session.
    pub(super) async fn logout(
        self: &Arc<Self>,
        account: &AccountName,
        secret: &str,
        from: &From,
    ) -> Result<(), AccessError> {
        let (now, hash) = (self.now(), secret::hash(secret));
        let event = event(account.as_str(), AccessDeed::LoggedOut, Some(&from.told), None);
        self.at_store(move |store| store.end(now, &hash, &event).map(drop).map_err(AccessError::from)).await
    }
}

/// Counts a wrong try; each lock that it leads to goes on record.
fn count_wrong(store: &mut Store, now: Timestamp, name: &AccountName, from: &From) -> Result<(), StoreError> {
    let locks = store.wrong(now, name, from.address)?;
    let told = |lock: &Lock| {
        let (for_s, there) = (lock.lasts.as_secs(), lock.there);
        tracing::warn!(account = %name, from = from.told, for_s, there, "an account is locked after wrong tries");
        event(name.as_str(), AccessDeed::Locked { for_s, there }, Some(&from.told), None)
    };
    let events: Vec<AccessEvent> = locks.iter().map(told).collect();
    if events.is_empty() { Ok(()) } else { store.note(now, &events) }
}
