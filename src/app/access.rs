//! Access at work: the store beside the ledger, and its events on their way to the record.
//!
//! What happens to accounts waits in their store, where it was written together with the change.
//! The [`Keeper`] appends it to the ledger together with a bookmark that says how far it came, so
//! that a kill loses and doubles nothing.

pub(super) mod command;

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Mutex;
use tokio_util::sync::CancellationToken;

use super::ledger::LedgerHandle;
use crate::cli::DEFAULT_CONFIG;
use crate::config::resolve::{Configuration, WebOptions};
use crate::core::causes::chain;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{Append, AppendRefused, Bookmark, LedgerError, NewRecord, Reader};
use crate::runtime::clock::Clock;
use crate::runtime::supervisor::Supervisor;
use crate::web::access::store::{Account, Recorded, StoreError};
use crate::web::access::{Access, AccessError, Changed, FIRST, Options};

/// Name of the bookmark.
const BOOKMARK: &str = "access";
/// How often counted refusals are looked at, and a ledger that refused is tried again.
const TIDY_EVERY: Duration = Duration::from_secs(30);

/// The store's place: beside the ledger.
fn path(ledger: &Path) -> PathBuf {
    let mut path = ledger.as_os_str().to_owned();
    path.push(".access");
    PathBuf::from(path)
}

/// Opens the store beside the ledger. Its times are those of the world, also where a demo lives
/// faster.
///
/// # Errors
/// The store's.
pub(super) fn open(
    configuration: &Configuration,
    web: &WebOptions,
    ledger: &Path,
) -> Result<Arc<Access>, StoreError> {
    let options = Options {
        site: configuration.site.clone(),
        zone: configuration.alerts.zone.clone(),
        tls: web.tls.is_some(),
        behind_proxy: web.behind_proxy,
        public_url: web.public_url.clone(),
        port: web.listen.port(),
    };
    let clock = Clock::system();
    Access::open(&path(ledger), options, move || clock.now())
}

/// How this gateway was called, for commands that whoever reads them can type as they stand.
#[derive(Debug)]
pub(super) struct Called {
    program: String,
    /// What its configuration is given by; empty where every command finds it by itself.
    own_files: String,
}

impl Called {
    /// By this program, with these files.
    pub(super) fn with(files: &[PathBuf]) -> Self {
        let usual = matches!(files, [file] if file.as_path() == Path::new(DEFAULT_CONFIG));
        let named = |file: &PathBuf| format!(" --config {}", file.display());
        let own_files = if usual { String::new() } else { files.iter().map(named).collect() };
        Self { program: program(), own_files }
    }
}

/// As this program was called: whoever tries the demo has not installed it.
pub(super) fn program() -> String {
    std::env::args().next().unwrap_or_else(|| "rinseward".to_owned())
}

/// Access of a gateway that starts.
#[derive(Debug)]
pub(super) struct Entrance {
    pub(super) access: Arc<Access>,
    /// The secret of the first account, where it was made just now.
    first: Option<Changed>,
}

impl Entrance {
    /// Opens access where pages are configured, and makes the first account. A store that cannot
    /// be used stops no recording: no page is served then.
    pub(super) fn open(configuration: &Configuration, ledger: &Path) -> Option<Self> {
        let web = configuration.web.as_ref()?;
        let failed = |error: &dyn std::error::Error| {
            let error = chain(error);
            tracing::error!(slug = "access-store", error, "no page is served");
        };
        let access = open(configuration, web, ledger).inspect_err(|error| failed(error)).ok()?;
        let first = access.begin().inspect_err(|error| failed(error)).ok()?;
        let alike = access.like_programs().inspect_err(|error| failed(error)).ok()?;
        for account in alike {
            tracing::warn!("an account is called like a program\n{}", called_like_a_program(&account));
        }
        Some(Self { access, first })
    }

    /// What whoever sets the gateway up is told, once.
    pub(super) fn first_words(&mut self, web: &WebOptions, called: &Called) -> Option<FirstWords> {
        let Changed { secret, until, .. } = self.first.take()?;
        let (secret, until) = (secret?, until?);
        let Called { program, own_files } = called;
        let scheme = if web.tls.is_some() { "https" } else { "http" };
        let own = format!("{scheme}://{}", reached_at(web.listen));
        let url = web.public_url.as_deref().unwrap_or(&own);
        let text = format!(
            "The pages have no account yet, so one was made.\n\
             \x20 log in at:       {url}/login\n\
             \x20 account:         {FIRST}\n\
             \x20 one-time secret: {secret}\n\
             It is shown this once and can be used until {until}; you choose a password then.\n\
             If it is lost: {program} accounts reset {FIRST} --by YOUR-NAME{own_files}\n"
        );
        let login = format!("{url}/login");
        Some(FirstWords { text, login, secret, until, access: Arc::clone(&self.access) })
    }
}

/// Where the pages are opened; an address that stands for every one of this computer opens nothing elsewhere.
fn reached_at(listen: SocketAddr) -> String {
    if listen.ip().is_unspecified() {
        format!("<this computer's address>:{}", listen.port())
    } else {
        listen.to_string()
    }
}

/// An account of before that rule was made: what is done with it can be taken for what a program did.
fn called_like_a_program(account: &Account) -> Diagnostic {
    let Account { name, shown, role, .. } = account;
    let summary = format!("the account «{name}» is called «{shown}», as programs are on record");
    let advice = format!(
        "give its owner another one: rinseward accounts add OTHER --name \"…\" --role {role}; then rinseward \
         accounts remove {name}"
    );
    Diagnostic::warning("account-name", summary)
        .place("account and name on record, on the page of accounts")
        .cause("a name that begins with «token» is what stands on record for a program")
        .advice(advice)
}

/// The secret of the first account, in words. Has no `Debug`: it belongs on the console alone.
pub(super) struct FirstWords {
    /// All that is to be known.
    pub(super) text: String,
    login: String,
    secret: String,
    until: Timestamp,
    access: Arc<Access>,
}

impl FirstWords {
    /// Where to log in, and as whom and by which secret as long as that can be used.
    pub(super) fn lines(&self) -> String {
        let Self { login, secret, .. } = self;
        if self.access.secret_waits(FIRST, self.until) { login_by(login, secret) } else { login.clone() }
    }
}

/// Where the first account logs in, and by which secret, each with its name: two lines, which a narrow terminal holds.
pub(super) fn login_by(login: &str, secret: &str) -> String {
    format!("{login} (log in, then choose a password)\naccount: {FIRST}   one-time secret: {secret}")
}

/// Why events are not on record.
#[derive(Debug, thiserror::Error)]
pub(super) enum KeepError {
    /// The store fails.
    #[error("the accounts failed")]
    Access(#[from] AccessError),
    /// The ledger cannot be read.
    #[error("the ledger failed")]
    Read(#[from] LedgerError),
    /// The ledger refuses.
    #[error(transparent)]
    Refused(#[from] AppendRefused),
}

/// Puts what happens to accounts on record.
#[derive(Clone, Debug)]
pub(super) struct Keeper {
    pub(super) access: Arc<Access>,
    ledger: LedgerHandle,
    clock: Clock,
    /// Held while events are appended: they are appended once.
    alone: Arc<Mutex<()>>,
}

impl Keeper {
    /// Takes up where the record is.
    ///
    /// # Errors
    /// The ledger's and the store's.
    pub(super) async fn open(
        access: Arc<Access>,
        ledger: LedgerHandle,
        clock: Clock,
    ) -> Result<Self, KeepError> {
        let kept = Reader::open(ledger.path())?.bookmark(BOOKMARK)?;
        // One that cannot be read is no reason to keep anybody out; what it told of may be told twice.
        if let Some(recorded) = kept.and_then(|kept| serde_json::from_slice::<Recorded>(&kept).ok()) {
            access.recorded(recorded).await?;
        }
        Ok(Self { access, ledger, clock, alone: Arc::default() })
    }

    /// Puts everything that waits on record.
    ///
    /// # Errors
    /// [`KeepError`]; what is left waits.
    pub(super) async fn drain(&self) -> Result<(), KeepError> {
        let _alone = self.alone.lock().await;
        loop {
            let (events, recorded) = self.access.pending().await?;
            if events.is_empty() {
                return Ok(());
            }
            let now = self.clock.now();
            let record = |event| NewRecord {
                record: Record::new(now, None, Body::Access(Box::new(event))),
                trace: None,
            };
            let state = serde_json::to_vec(&recorded).unwrap_or_default();
            let append = Append {
                records: events.into_iter().map(record).collect(),
                bookmarks: vec![Bookmark { name: BOOKMARK.to_owned(), state }],
                ..Append::default()
            };
            self.ledger.append(append).await?;
            self.access.recorded(recorded).await?;
        }
    }

    async fn run(self, stop: CancellationToken) {
        stop.run_until_cancelled(self.ledger.begun()).await;
        let mut told = false;
        loop {
            let ending = stop.is_cancelled();
            let kept = async {
                self.access.tidy(ending).await?;
                self.drain().await
            };
            match kept.await {
                Ok(()) => told = false,
                Err(error) if !std::mem::replace(&mut told, true) => {
                    let error = chain(&error);
                    tracing::warn!(error, "what happened to accounts waits to be put on record");
                }
                Err(_) => {}
            }
            if ending {
                return;
            }
            tokio::select! {
                () = self.access.noted() => {}
                () = tokio::time::sleep(TIDY_EVERY) => {}
                () = stop.cancelled() => {}
            }
        }
    }
}

/// Starts the keeper of a running gateway.
pub(super) fn start(followers: &mut Supervisor, keeper: Keeper, stop: &CancellationToken) {
    followers.run("record of access", keeper.run(stop.clone()));
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 1122 §3.2.1.3, RFC 4291 §2.5.2: the unspecified address is never one that somebody can go to.
    #[test]
    fn the_address_that_is_told_opens() {
        for (listen, expected) in [
            ("127.0.0.1:8480", "127.0.0.1:8480"),
            ("192.0.2.7:8480", "192.0.2.7:8480"),
            ("0.0.0.0:18481", "<this computer's address>:18481"),
            ("[::]:18481", "<this computer's address>:18481"),
        ] {
            assert_eq!(reached_at(listen.parse().expect("an address")), expected);
        }
    }
}
