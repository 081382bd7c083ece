//! Who may come in: accounts, logins, browser sessions, tokens, and what protects them.
//!
//! [`protect`] puts all of it before a router: the pages to log in and to keep accounts, and for
//! every request the [`Person`](super::person::Person) who asks. What a route takes is said by
//! [`require`]. Nothing here tells a stranger whether an account exists: a wrong name costs as
//! much, counts as much and is told in the same words as a wrong password.
//!
//! | threat | answered by |
//! |---|---|
//! | guessing | [`store`] locks, `bucket` bounds each address, `password` refuses what everybody tries |
//! | a stolen copy of the store | argon2id; sessions and tokens are kept as their SHA-256 |
//! | a session that somebody else began | its secret is made at the login, never taken from the browser |
//! | forms of other sites | `origin`, and cookies that are `SameSite=Strict` |
//! | a name of others that leads here | `host` |
//! | a redirect to elsewhere | `origin::own_path` |
//! | a full record | `tally` tells equal refusals together |
//!
//! It knows neither clock nor ledger: the caller gives the time, and takes the events.

mod bucket;
mod change;
mod done;
mod gate;
mod host;
mod life;
mod login;
pub mod name;
mod origin;
mod own;
mod pages;
pub mod password;
mod routes;
mod secret;
pub mod store;
mod tally;
mod wanted;
mod words;

use std::collections::VecDeque;
use std::fmt;
use std::net::IpAddr;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use jiff::tz::TimeZone;
use tokio::sync::Notify;

pub(super) use bucket::network;
pub use change::FIRST;
pub(super) use gate::{Far, login_from, not_allowed, page_of, to_login, whence};
pub use gate::{Requirement, protect, require};
pub(super) use pages::{asked, listed};
#[cfg(test)]
pub(super) use routes::PAGES;
pub use wanted::{Change, ChangeError, ChangeRefusal, Changed, TOKEN_DAYS_MAX};
pub(in crate::web) use words::name_refused;

use self::bucket::Buckets;
use self::done::Untold;
use self::password::Hasher;
use self::store::{Account, Pending, Recorded, Store, StoreError, Token};
use self::tally::{Refused, Tally, Whose};
use crate::core::access::Right;
use crate::core::record::{AccessDeed, AccessEvent, AccessRefusal, AskedChange, Unchanged};
use crate::core::time::Timestamp;

/// What the pages are to know of the site.
#[derive(Clone, Debug)]
pub struct Options {
    /// Name of the site.
    pub site: String,
    /// Its zone.
    pub zone: TimeZone,
    /// Whether the pages themselves speak TLS.
    pub tls: bool,
    /// Whether a proxy stands before them, whose `X-Forwarded-For` is then believed.
    pub behind_proxy: bool,
    /// How the pages are reached from outside, without a slash at its end.
    pub public_url: Option<String>,
    /// The port that the pages are served at; 0 where any free one is taken.
    pub port: u16,
}

/// Somebody may wait no longer for the store.
#[derive(Debug, thiserror::Error)]
pub enum AccessError {
    /// The store fails.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// What was begun there ended without an answer.
    #[error("the accounts gave no answer")]
    Gone,
}

/// What bounds strangers.
#[derive(Debug, Default)]
struct Bounds {
    buckets: Buckets,
    tally: Tally,
}

/// Accounts, sessions and tokens at work.
pub struct Access {
    store: Mutex<Store>,
    hasher: Hasher,
    bounds: Mutex<Bounds>,
    /// What sessions just did and were not told yet.
    untold: Mutex<VecDeque<Untold>>,
    options: Options,
    now: Box<dyn Fn() -> Timestamp + Send + Sync>,
    noted: Notify,
}

impl fmt::Debug for Access {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Access").field("options", &self.options).finish_non_exhaustive()
    }
}

impl Access {
    /// Opens the store at `path`. `now` is the time of the world, which sessions and locks are
    /// measured by.
    ///
    /// # Errors
    /// [`StoreError`] where the store cannot be used.
    pub fn open(
        path: &Path,
        options: Options,
        now: impl Fn() -> Timestamp + Send + Sync + 'static,
    ) -> Result<Arc<Self>, StoreError> {
        let store = Mutex::new(Store::open(path)?);
        Ok(Arc::new(Self {
            store,
            hasher: Hasher::default(),
            bounds: Mutex::default(),
            untold: Mutex::default(),
            options,
            now: Box::new(now),
            noted: Notify::new(),
        }))
    }

    /// What the clock of the accounts shows.
    pub fn now(&self) -> Timestamp {
        (self.now)()
    }

    fn store(&self) -> MutexGuard<'_, Store> {
        self.store.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn bounds(&self) -> MutexGuard<'_, Bounds> {
        self.bounds.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Does something at the store, off the runtime's threads.
    async fn at_store<T: Send + 'static, E: From<AccessError> + Send + 'static>(
        self: &Arc<Self>,
        work: impl FnOnce(&mut Store) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E> {
        let access = Arc::clone(self);
        let done = tokio::task::spawn_blocking(move || {
            let mut store = access.store();
            let done = work(&mut store);
            if store.take_noted() {
                access.noted.notify_one();
            }
            done
        });
        done.await.map_err(|_| AccessError::Gone)?
    }

    /// Every account.
    ///
    /// # Errors
    /// [`AccessError`] where they cannot be read.
    pub async fn accounts(self: &Arc<Self>) -> Result<Vec<Account>, AccessError> {
        self.at_store(|store| Ok(store.accounts()?)).await
    }

    /// Every token.
    ///
    /// # Errors
    /// [`AccessError`] where they cannot be read.
    pub async fn tokens(self: &Arc<Self>) -> Result<Vec<Token>, AccessError> {
        self.at_store(|store| Ok(store.tokens()?)).await
    }

    /// Whether this address may try, which is counted.
    fn may_try(&self, from: IpAddr) -> bool {
        self.bounds().buckets.take(self.now(), from)
    }

    /// Notes that somebody was turned away. `account` is what goes on record; it is what they typed
    /// where they are not known.
    async fn refused(self: &Arc<Self>, account: &str, why: AccessRefusal, (from, whose): (&str, Whose<'_>)) {
        let now = self.now();
        let told = self.bounds().tally.take(now, account, Refused::Visit(why), (Some(from), whose));
        self.note(now, told).await;
    }

    /// Notes that somebody asked for what their role does not reach, since it lacks this right.
    async fn not_allowed(self: &Arc<Self>, account: &str, right: Right, from: &str) {
        let now = self.now();
        let told = self.bounds().tally.take(now, account, Refused::Deed(right), (Some(from), Whose::Own));
        self.note(now, told).await;
    }

    /// Notes that a change of an account or a token was refused. `account` is what goes on record.
    async fn change_refused(
        self: &Arc<Self>,
        account: &str,
        (asked, why): (AskedChange, Unchanged),
        (from, whose): (Option<&str>, Whose<'_>),
    ) {
        let now = self.now();
        let told = self.bounds().tally.take(now, account, Refused::Change(asked, why), (from, whose));
        self.note(now, told).await;
    }

    async fn note(self: &Arc<Self>, now: Timestamp, events: Vec<AccessEvent>) {
        if events.is_empty() {
            return;
        }
        let noted = self.at_store(move |store| Ok::<_, AccessError>(store.note(now, &events)?)).await;
        if let Err(error) = noted {
            tracing::error!(%error, "what was refused could not be noted");
        }
    }

    /// Waits until something may have to be put on record.
    pub async fn noted(&self) {
        self.noted.notified().await;
    }

    /// Tells what was counted together and is due, and forgets what has ended. To be called about
    /// once a minute; with `end` whatever was counted is told.
    ///
    /// # Errors
    /// [`AccessError`] where it cannot be noted.
    pub async fn tidy(self: &Arc<Self>, end: bool) -> Result<(), AccessError> {
        let now = self.now();
        let told = {
            let Bounds { tally, .. } = &mut *self.bounds();
            if end { tally.end() } else { tally.turn(now) }
        };
        self.at_store(move |store| Ok(store.tidy(now, &told)?)).await
    }

    /// The oldest events that are not on record, and the bookmark that belongs beside them. What
    /// happened more than a minute ago says when.
    ///
    /// # Errors
    /// [`AccessError`] where they cannot be read.
    pub async fn pending(self: &Arc<Self>) -> Result<(Vec<AccessEvent>, Recorded), AccessError> {
        /// Most events of one append (own choice).
        const TOGETHER_MAX: u32 = 200;
        let now = self.now();
        let (pending, recorded) =
            self.at_store(|store| Ok::<_, AccessError>(store.pending(TOGETHER_MAX)?)).await?;
        let told = |Pending { at, event, .. }: Pending| {
            let late = now.since(at) > std::time::Duration::from_secs(60);
            AccessEvent { at: late.then_some(at), ..event }
        };
        Ok((pending.into_iter().map(told).collect(), recorded))
    }

    /// Forgets what is on record.
    ///
    /// # Errors
    /// [`AccessError`] where the store fails.
    pub async fn recorded(self: &Arc<Self>, recorded: Recorded) -> Result<(), AccessError> {
        let access = Arc::clone(self);
        let done = tokio::task::spawn_blocking(move || access.store().recorded(&recorded));
        Ok(done.await.map_err(|_| AccessError::Gone)??)
    }
}

/// An event.
fn event(account: &str, what: AccessDeed, from: Option<&str>, by: Option<&str>) -> AccessEvent {
    let (from, by) = (from.map(str::to_owned), by.map(str::to_owned));
    AccessEvent { account: account.to_owned(), what, at: None, from, by, times: 1, right: None }
}
