//! The seal of the ledger: its signing key, and the checkpoints that it signs.
//!
//! One [`Seal`] signs for a ledger, behind a lock, so that a checkpoint is always signed by
//! the key that is in force at the last record it counts. A key is made with the ledger; where its
//! secret is lost another one is made. Both are on record, see [`crate::core::keys`].
//!
//! A key that cannot be used stops no recording: checkpoints wait, what is wrong is told at
//! each hour, and once it is mended the next checkpoint counts all records since.

pub(super) mod command;
#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Mutex;

use super::ledger::{self, LedgerHandle};
use super::order::Problem;
use crate::core::causes::chain;
use crate::core::checkpoint::Checkpoint;
use crate::core::keys::{endorsement, key_chain, name_of_key};
use crate::core::note::{SigningKey, VerifyingKey};
use crate::core::record::{Body, KeyChange, Record, SigningKeyChange};
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{
    Append, KeyFileError, KeyFiles, LedgerError, NewRecord, Pair, Reader, Settled, StoredCheckpoint, settle,
};

/// Longest wait for the last checkpoint (own choice; the whole program ends within 5 s).
const LAST_WITHIN: Duration = Duration::from_millis(400);

/// Why nothing was signed.
#[derive(Debug, thiserror::Error)]
pub(super) enum SealError {
    /// The ledger failed.
    #[error("the ledger cannot be sealed")]
    Ledger(#[from] LedgerError),
    /// The files of the key.
    #[error("the signing key cannot be used")]
    Files(#[from] KeyFileError),
    /// Another key lies where the one on record should.
    #[error("«{}» is not the key that this ledger names as its own", path.display())]
    Foreign {
        /// The file of the secret key.
        path: PathBuf,
    },
    /// The secret of the key on record is not here, and this is no start of the service.
    #[error("«{}», the secret key of this ledger, is not here", path.display())]
    NotHere {
        /// The file of the secret key.
        path: PathBuf,
    },
}

impl SealError {
    fn advice(&self) -> String {
        match self {
            Self::Ledger(_) => "see the message of the ledger in the log".to_owned(),
            Self::Files(error) => error.fix(),
            Self::Foreign { path } => format!(
                "put the right key in place of {}, or move that file away: the service then makes a new key, and that is on record",
                path.display()
            ),
            Self::NotHere { .. } => {
                "sign on the gateway; checkpoint show has the newest one that the ledger holds; \
                 where the key is lost, the next start of the service makes a new one"
                    .to_owned()
            }
        }
    }

    /// In the form for people.
    pub(super) fn diagnose(&self, ledger_path: &Path) -> Diagnostic {
        match self {
            Self::Ledger(error) => ledger::diagnose(error, ledger_path),
            Self::Files(error) => {
                let source = std::error::Error::source(error);
                let told = Diagnostic::error("signing-key", error.to_string())
                    .place(ledger_path.display().to_string());
                source.map_or(told.clone(), |source| told.because(source)).advice(error.fix())
            }
            Self::Foreign { .. } | Self::NotHere { .. } => Diagnostic::error("signing-key", self.to_string())
                .place(ledger_path.display().to_string())
                .advice(self.advice()),
        }
    }
}

impl From<SealError> for Problem {
    fn from(error: SealError) -> Self {
        let slug = match &error {
            SealError::Ledger(error) => ledger::diagnose(error, Path::new("")).slug(),
            SealError::Files(_) | SealError::Foreign { .. } | SealError::NotHere { .. } => "signing-key",
        };
        Self::new(slug, chain(&error), error.advice())
    }
}

/// Whether a lost key may be replaced.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Standing {
    /// The service starts on its own ledger.
    Service,
    /// A command on a ledger that may be a copy of somebody else's.
    Command,
}

/// Signs for one ledger. Copies share one key.
#[derive(Clone, Debug)]
pub(super) struct Seal {
    inner: Arc<Mutex<Inner>>,
}

#[derive(Debug)]
struct Inner {
    ledger: LedgerHandle,
    files: KeyFiles,
    site: String,
    standing: Standing,
    key: Option<SigningKey>,
    /// Records of the runs before, where a key waits for more than these.
    behind: Option<u64>,
}

impl Seal {
    /// The seal of the service's ledger, to be made before the driver commits anything: a key waits
    /// for its first commit, since a step of the clock and the start come first on record.
    pub(super) fn of_service(ledger: LedgerHandle, site: &str) -> Self {
        let behind = Some(ledger.tide().borrow().records);
        Self::with(ledger, site, Standing::Service, behind)
    }

    /// The seal of the ledger behind `ledger`, which `site` is the owner of. Nothing is read or made yet.
    pub(super) fn new(ledger: LedgerHandle, site: &str, standing: Standing) -> Self {
        Self::with(ledger, site, standing, None)
    }

    fn with(ledger: LedgerHandle, site: &str, standing: Standing, behind: Option<u64>) -> Self {
        let files = KeyFiles::of(ledger.path());
        let inner = Inner { ledger, files, site: site.to_owned(), standing, key: None, behind };
        Self { inner: Arc::new(Mutex::new(inner)) }
    }

    /// The last checkpoint, over everything up to the end, where this run could sign at all: the end
    /// is no time to make a key. A ledger that hangs must not keep the program from its end, so that
    /// it is not waited for longer than [`LAST_WITHIN`].
    pub(super) async fn finish(self, now: Timestamp, path: &Path) {
        let last = async {
            let mut inner = self.inner.lock().await;
            if inner.key.is_some() { inner.checkpoint(now).await.map(drop) } else { Ok(()) }
        };
        match tokio::time::timeout(LAST_WITHIN, last).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => {
                let told = error.diagnose(path);
                tracing::error!(slug = told.slug(), "the last checkpoint is not signed\n{told}");
            }
            Err(_) => tracing::warn!("the last checkpoint takes too long and was left"),
        }
    }

    /// Where the ledger is.
    pub(super) async fn path(&self) -> PathBuf {
        self.inner.lock().await.ledger.path().to_owned()
    }

    /// A checkpoint over all records so far: a new one, or the newest where nothing was added since.
    ///
    /// # Errors
    /// [`SealError`]; nothing was stored.
    pub(super) async fn checkpoint(&self, now: Timestamp) -> Result<StoredCheckpoint, SealError> {
        self.inner.lock().await.checkpoint(now).await
    }

    /// Puts a new key in the place of the old one, which signs a last checkpoint and the new key.
    /// Gives the new public key.
    ///
    /// # Errors
    /// [`SealError`]; the old key stays in force.
    pub(super) async fn rotate(&self, now: Timestamp, by: String) -> Result<VerifyingKey, SealError> {
        self.inner.lock().await.rotate(now, by).await
    }
}

impl Inner {
    async fn ready(&mut self, now: Timestamp) -> Result<(), SealError> {
        if self.key.is_none() {
            self.key = Some(self.settled(now).await?);
        }
        Ok(())
    }

    /// The key in force, once record and files agree.
    async fn settled(&self, now: Timestamp) -> Result<SigningKey, SealError> {
        self.started().await;
        // A change whose caller went away may still be before the writer, and what is handed over
        // is stored in order: after this one it is on record.
        self.ledger.append(Append::default()).await.map_err(|refused| refused.error)?;
        let chain = {
            let changes = Reader::open(self.ledger.path())?.signing_keys()?;
            key_chain(changes.iter().map(|(index, change)| (*index, change)))
        };
        let on_record = chain.newest().map(|newest| newest.key.clone());
        let placed = self.files.load(Pair::Placed)?;
        let next = match self.files.load(Pair::Next) {
            // Cut off while it was written, so that no record names it.
            Err(KeyFileError::Shape { .. }) => None,
            read => read?,
        };
        let public = |key: &Option<SigningKey>| key.as_ref().map(SigningKey::verifying);
        let (placed_public, next_public) = (public(&placed), public(&next));
        match settle(on_record.as_ref(), placed_public.as_ref(), next_public.as_ref()) {
            Settled::InForce => self.tidied(placed),
            Settled::ToPlace => {
                self.files.place_next()?;
                self.tidied(next)
            }
            Settled::ToRecord => {
                let key = self.tidied(placed)?;
                self.record(now, SigningKeyChange::first(&key.verifying())).await?;
                Ok(key)
            }
            Settled::ToMake => self.make(now, &name_of_key(&self.site), SigningKeyChange::first).await,
            Settled::Lost => self.replace(now, on_record).await,
            Settled::Foreign => Err(SealError::Foreign { path: self.files.secret().to_owned() }),
        }
    }

    /// In the service, waits for the record of its start.
    async fn started(&self) {
        if let Some(behind) = self.behind {
            // It ends with an error where the handle is gone, which this holds.
            drop(self.ledger.tide().wait_for(|tide| tide.records > behind).await);
        }
    }

    /// The key in its place, with its public file beside it.
    fn tidied(&self, key: Option<SigningKey>) -> Result<SigningKey, SealError> {
        let key = key.ok_or_else(|| SealError::NotHere { path: self.files.secret().to_owned() })?;
        self.files.tidy(&key.verifying())?;
        Ok(key)
    }

    /// A new key in place of one that is lost. Nobody can vouch for it.
    async fn replace(&self, now: Timestamp, lost: Option<VerifyingKey>) -> Result<SigningKey, SealError> {
        let path = self.files.secret().to_owned();
        let lost = match (self.standing, lost) {
            (Standing::Service, Some(lost)) => lost,
            (Standing::Service | Standing::Command, _) => return Err(SealError::NotHere { path }),
        };
        let before = Some(lost.to_string());
        let change = |key: &VerifyingKey| SigningKeyChange {
            change: KeyChange::Lost,
            before,
            ..SigningKeyChange::first(key)
        };
        let key = self.make(now, lost.name(), change).await?;
        let told =
            Diagnostic::warning("signing-key-lost", "the secret signing key was gone; a new one was made")
                .place(path.display().to_string())
                .cause(format!("the key before it was {lost}"))
                .advice("hand out the new public key, rinseward key export, and say why it is new")
                .advice("what the lost key signed stays proved by it");
        tracing::error!(slug = told.slug(), "{told}");
        Ok(key)
    }

    /// Makes a key, puts it on record, and then into its place.
    async fn make(
        &self,
        now: Timestamp,
        name: &str,
        change: impl FnOnce(&VerifyingKey) -> SigningKeyChange,
    ) -> Result<SigningKey, SealError> {
        let key = self.files.make_next(name)?;
        if let Err(error) = self.record(now, change(&key.verifying())).await {
            // A writer that has ended may have stored it; the next start reads what is on record.
            if !matches!(error, LedgerError::WriterEnded { .. }) {
                self.files.drop_next()?;
            }
            return Err(error.into());
        }
        tracing::info!(key = %key.verifying(), "a new signing key is on record");
        // It is in force with its record. What cannot be put into its place is tried at the next start.
        if let Err(error) = self.files.place_next() {
            let (error, advice) = (chain(&error), error.fix());
            tracing::error!(slug = "signing-key", error, %advice, "the new signing key waits for its place");
        }
        Ok(key)
    }

    async fn record(&self, now: Timestamp, change: SigningKeyChange) -> Result<(), LedgerError> {
        let record = Record::new(now, None, Body::SigningKey(Box::new(change)));
        let append = Append { records: vec![NewRecord { record, trace: None }], ..Append::default() };
        self.ledger.append(append).await.map(drop).map_err(|refused| refused.error)
    }

    async fn checkpoint(&mut self, now: Timestamp) -> Result<StoredCheckpoint, SealError> {
        self.ready(now).await?;
        let key = self.key.as_ref().expect("the line above makes it ready or ends");
        let (head, newest) = {
            let reader = Reader::open(self.ledger.path())?;
            (reader.head()?, reader.newest_checkpoint()?)
        };
        if let Some(newest) = newest.filter(|newest| newest.size == head.size) {
            return Ok(newest);
        }
        let note = Checkpoint::sign_at(head, now, key).to_string();
        let made = StoredCheckpoint { at: now, size: head.size, note };
        let append = Append { checkpoints: vec![made.clone()], ..Append::default() };
        self.ledger.append(append).await.map_err(|refused| refused.error)?;
        tracing::info!(records = made.size, "a checkpoint is signed");
        Ok(made)
    }

    async fn rotate(&mut self, now: Timestamp, by: String) -> Result<VerifyingKey, SealError> {
        self.checkpoint(now).await?;
        // Whatever ends this early, the next call asks the record which key is in force.
        let old = self.key.take().expect("the line above makes it ready or ends");
        let before = old.verifying();
        let change = |key: &VerifyingKey| SigningKeyChange {
            change: KeyChange::Rotated,
            before: Some(before.to_string()),
            endorsed: Some(endorsement(key, &old).to_string()),
            by: Some(by),
            ..SigningKeyChange::first(key)
        };
        let key = self.make(now, before.name(), change).await?;
        let public = key.verifying();
        self.key = Some(key);
        Ok(public)
    }
}
