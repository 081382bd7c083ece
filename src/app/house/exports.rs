//! Exports that people begin on a page: jobs of their own, made beside the service, few at a time.
//!
//! | bound | what happens there |
//! |---|---|
//! | [`OWN_MAX`] jobs of one account | the next is refused until one is taken away |
//! | [`JOBS_MAX`] jobs in all | the next is refused |
//! | as many at work as [`super::EXPORTS_MAX`], with those of programs | the others wait |
//! | [`KEPT`] since it ended | its file is removed |
//! | [`ROOM_MIN`] left on the device | it ends without a file: recording comes first |
//!
//! Files lie in a folder beside the ledger that nobody else may look into; what a run before left there is
//! removed at the start.

mod make;

use std::collections::BTreeMap;
use std::fs::{File, Permissions};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::body::Body;
use bytes::Bytes;
use futures_util::stream;
use jiff::tz::TimeZone;
use tokio::io::AsyncReadExt;
use tokio::runtime::Handle;
use tokio::sync::watch;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use self::make::UnderWay;
use super::House;
use crate::app::export::gather::Site;
use crate::app::export::pdf::Typesetter;
use crate::app::export::progress::Watched;
use crate::core::causes::chain;
use crate::core::file_name;
use crate::core::monitored;
use crate::core::record::{AccessDeed, AccessEvent, Body as Said, Record};
use crate::core::time::Timestamp;
use crate::ledger::{Append, LedgerError, NewRecord, Reader};
use crate::web::frame::Refusal;
use crate::web::history::exports::{Exports, Form, Job, NotBegun, Stage, Wanted};
use crate::web::person::Person;

/// Most jobs of one account, made or under way (own choice).
const OWN_MAX: usize = 3;
/// Most jobs in all (own choice).
const JOBS_MAX: usize = 12;
/// How long a file is kept.
const KEPT: Duration = Duration::from_secs(3_600);
/// Room that is left on the device, bytes (own choice: days of recording).
const ROOM_MIN: u64 = 512 << 20;
/// Bytes of a file that are read together.
const PART_BYTES: usize = 64 * 1024;
/// Records between two signs of life.
const TOLD_EVERY: u64 = 500;

/// A job and what belongs to it.
#[derive(Debug)]
struct Held {
    account: String,
    job: Job,
    watch: Arc<Watch>,
    /// When it ended.
    ended: Option<Instant>,
}

/// What is seen of a job from elsewhere.
#[derive(Debug)]
pub(super) struct Watch {
    far: AtomicU64,
    typesetting: std::sync::atomic::AtomicBool,
    /// Pictures of a report that are laid out, and how many there are.
    laid: AtomicU64,
    pictures: AtomicU64,
    over: CancellationToken,
    stir: watch::Sender<u64>,
    folder: Arc<Path>,
}

impl Watched for Watch {
    fn far(&self, records: u64) {
        self.far.store(records, Ordering::Relaxed);
        if records.is_multiple_of(TOLD_EVERY) {
            self.stir.send_modify(|stir| *stir += 1);
        }
    }

    fn typesetting(&self) {
        self.typesetting.store(true, Ordering::Relaxed);
        self.stir.send_modify(|stir| *stir += 1);
    }

    fn laid(&self, laid: u64, of: u64) {
        self.pictures.store(of, Ordering::Relaxed);
        if self.laid.swap(laid, Ordering::Relaxed) != laid {
            self.stir.send_modify(|stir| *stir += 1);
        }
    }

    fn is_over(&self) -> bool {
        self.over.is_cancelled()
    }

    fn room(&self) -> std::io::Result<u64> {
        let disk = rustix::fs::statvfs(&*self.folder)?;
        Ok(disk.f_bavail.saturating_mul(disk.f_frsize).saturating_sub(ROOM_MIN))
    }
}

#[derive(Debug, Default)]
struct Jobs {
    held: BTreeMap<u64, Held>,
    last: u64,
}

/// The exports of one gateway. Copies are the same.
#[derive(Clone, Debug)]
pub(super) struct Desk {
    jobs: Arc<Mutex<Jobs>>,
    folder: Arc<Path>,
    stir: watch::Sender<u64>,
    stop: CancellationToken,
    /// Whether the program that makes reports was there at the start.
    has_report: bool,
}

impl Desk {
    /// None yet; what a run before left is removed.
    pub(super) fn new(ledger: &Path, stop: CancellationToken) -> Self {
        let mut folder = ledger.as_os_str().to_owned();
        folder.push(".exports");
        let folder = PathBuf::from(folder);
        match std::fs::remove_dir_all(&folder) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                tracing::warn!(%error, folder = %folder.display(), "old exports cannot be removed");
            }
            Ok(()) | Err(_) => {}
        }
        let (stir, has_report) = (watch::Sender::new(0), Typesetter::find().is_ok());
        Self { jobs: Arc::default(), folder: folder.into(), stir, stop, has_report }
    }

    fn jobs(&self) -> MutexGuard<'_, Jobs> {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn file(&self, number: u64) -> PathBuf {
        self.folder.join(number.to_string())
    }

    /// Removes what was kept long enough.
    pub(super) fn tidy(&self, now: Instant) {
        let old = |held: &Held| held.ended.is_some_and(|ended| now.duration_since(ended) >= KEPT);
        let gone: Vec<u64> = {
            let mut jobs = self.jobs();
            let gone = jobs.held.iter().filter(|(_, held)| old(held)).map(|(number, _)| *number).collect();
            jobs.held.retain(|_, held| !old(held));
            gone
        };
        for number in gone {
            self.clear(number);
        }
    }

    /// Removes the file of a job; a large one takes its time, so that no thread of the runtime does it.
    fn clear(&self, number: u64) {
        let desk = self.clone();
        match Handle::try_current() {
            // What fails is told to the log.
            Ok(handle) => drop(handle.spawn_blocking(move || desk.remove(number))),
            Err(_) => desk.remove(number),
        }
    }

    /// As [`Desk::clear`], on this thread.
    fn remove(&self, number: u64) {
        match std::fs::remove_file(self.file(number)) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                tracing::warn!(%error, number, "the file of an export cannot be removed");
            }
            Ok(()) | Err(_) => {}
        }
    }

    /// Takes a place for a job.
    fn reserve(
        &self,
        wanted: Wanted,
        account: &str,
        file: &str,
        (now, records): (Timestamp, u64),
    ) -> Result<(u64, Arc<Watch>), NotBegun> {
        self.tidy(Instant::now());
        let mut jobs = self.jobs();
        if jobs.held.values().filter(|held| held.account == account).count() >= OWN_MAX {
            return Err(NotBegun::Many);
        }
        if jobs.held.len() >= JOBS_MAX {
            return Err(NotBegun::Busy);
        }
        // Each puts a record into the ledger, so that no number comes again after a restart: an address is that of one
        // file for ever.
        jobs.last = (jobs.last + 1).max(records);
        let number = jobs.last;
        let watch = Arc::new(Watch {
            far: AtomicU64::new(0),
            typesetting: false.into(),
            laid: AtomicU64::new(0),
            pictures: AtomicU64::new(0),
            over: self.stop.child_token(),
            stir: self.stir.clone(),
            folder: Arc::clone(&self.folder),
        });
        let job = Job { number, wanted, file: file.to_owned(), begun: now, stage: Stage::Waiting };
        let held = Held { account: account.to_owned(), job, watch: Arc::clone(&watch), ended: None };
        jobs.held.insert(number, held);
        Ok((number, watch))
    }

    fn put(&self, number: u64, stage: Stage) {
        if let Some(held) = self.jobs().held.get_mut(&number) {
            held.ended = stage.is_over().then(Instant::now);
            held.job.stage = stage;
        }
        self.stir.send_modify(|stir| *stir += 1);
    }

    fn drop(&self, number: u64) {
        if let Some(held) = self.jobs().held.remove(&number) {
            held.watch.over.cancel();
        }
        self.clear(number);
        self.stir.send_modify(|stir| *stir += 1);
    }

    /// The folder, made where it is not there yet, and closed to everybody else where it is.
    fn ready(&self) -> std::io::Result<()> {
        std::fs::DirBuilder::new().recursive(true).mode(0o700).create(&*self.folder)?;
        let found = std::fs::symlink_metadata(&*self.folder)?;
        if !found.is_dir() {
            // A link leads to where others may look.
            return Err(std::io::ErrorKind::NotADirectory.into());
        }
        if found.permissions().mode() & 0o077 != 0 {
            std::fs::set_permissions(&*self.folder, Permissions::from_mode(0o700))?;
        }
        Ok(())
    }

    /// A new file for a job, which nobody else may read.
    fn create(&self, number: u64) -> std::io::Result<File> {
        self.ready()?;
        File::options().write(true).create_new(true).mode(0o600).open(self.file(number))
    }
}

/// A name of a file that is safe wherever it is saved: the site, its days, and of which machine it is alone.
fn name(site: &str, wanted: &Wanted) -> String {
    let parts = [file_name::plain(site), wanted.from.to_string(), wanted.to.to_string()];
    let parts: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    let whole = format!("{}.{}", parts.join("_"), wanted.form.ending());
    file_name::of_only(&whole, wanted.machine.as_slice())
}

/// The span in instants; `None` where it is empty or has not begun.
fn span(wanted: &Wanted, zone: &TimeZone, now: Timestamp) -> Option<(Timestamp, Timestamp)> {
    let from = monitored::day(zone, wanted.from)?.1.from;
    let to = monitored::day(zone, wanted.to)?.1.to.min(now);
    (from < to).then_some((from, to))
}

/// What is known before an export begins.
struct Known {
    site: Site,
    machines: Vec<String>,
    /// Records in the ledger.
    records: u64,
    /// About how many records will be read.
    of: u64,
}

fn known(ledger: &Reader, wanted: &Wanted) -> Result<Known, LedgerError> {
    let (site, machines) = (Site::of(ledger)?, ledger.machines()?);
    let count = |machine: Option<&str>, first, last| -> Result<u64, LedgerError> {
        let days = ledger.days(&site.zone, machine, first, last)?;
        Ok(days.iter().map(|day| day.numbers.cycles() + day.numbers.damaged).sum())
    };
    let (inside, all) = match ledger.days_span(&site.zone)? {
        Some((first, last)) => {
            // Only days that are on record: a span may be asked for in centuries.
            let (from, to) = (wanted.from.max(first), wanted.to.min(last));
            let inside = if from <= to { count(wanted.machine.as_deref(), from, to)? } else { 0 };
            (inside, count(None, first, last)?)
        }
        None => (0, 0),
    };
    let others = ledger.size()?.saturating_sub(all);
    // Of the others about as many as of the racks lie in the span.
    let evidence = inside + (others * inside).checked_div(all).unwrap_or(others);
    let of = match wanted.form {
        Form::Csv => inside,
        Form::Json | Form::JsonLines => inside + others,
        Form::Evidence => evidence,
        // The evidence is attached to the account.
        Form::Pdf => inside + others + evidence,
    };
    Ok(Known { site, machines, records: ledger.size()?, of: of.max(1) })
}

impl House {
    /// Puts on record who takes what away; false where it cannot be. Before the seal is made, so that the file
    /// itself proves who took it.
    pub(super) async fn note_taken(
        &self,
        form: &str,
        machines: Vec<String>,
        (since, until): (Timestamp, Timestamp),
        account: &str,
    ) -> bool {
        let what = AccessDeed::TookAway { form: form.to_owned(), since, until, machines };
        self.note_access(account, what).await
    }

    /// Puts on record what an account did; false where it cannot be.
    pub(super) async fn note_access(&self, account: &str, what: AccessDeed) -> bool {
        let event = AccessEvent {
            account: account.to_owned(),
            what,
            at: None,
            from: None,
            by: None,
            times: 1,
            right: None,
        };
        let record = Record::new(self.clock.now(), None, Said::Access(Box::new(event)));
        let Some(ledger) = self.ledger() else { return false };
        let append = Append { records: vec![NewRecord { record, trace: None }], ..Append::default() };
        let stored = ledger.append(append).await.inspect_err(|refused| {
            tracing::warn!(error = chain(&refused.error), "what an account did cannot be put on record");
        });
        stored.is_ok()
    }
}

impl Exports for House {
    fn stir(&self) -> watch::Receiver<u64> {
        self.desk.stir.subscribe()
    }

    fn has_report(&self) -> bool {
        self.desk.has_report
    }

    async fn begin_export(&self, wanted: Wanted, person: &Person) -> Result<u64, NotBegun> {
        if wanted.form == Form::Pdf && !self.has_report() {
            return Err(NotBegun::NoReport);
        }
        let asked = wanted.clone();
        let found = self.readers.ask(move |ledger| known(ledger, &asked)).await;
        let known = found.map_err(|_| NotBegun::NotNow)?;
        if wanted.machine.as_ref().is_some_and(|machine| !known.machines.contains(machine)) {
            return Err(NotBegun::UnknownMachine);
        }
        let now = self.clock.now();
        let span = span(&wanted, &known.site.zone, now).ok_or(NotBegun::Empty)?;
        let file = name(&known.site.name, &wanted);
        let (number, watch) =
            self.desk.reserve(wanted.clone(), &person.account, &file, (now, known.records))?;
        // Whoever asked may go away at any point from here on.
        let under_way = UnderWay { desk: self.desk.clone(), number, watch, stage: None };
        let machines = wanted.machine.iter().cloned().collect();
        if !self.note_taken(wanted.form.as_str(), machines, span, &person.account).await {
            return Err(NotBegun::NotNow);
        }
        self.make(under_way, wanted, span, known).await;
        Ok(number)
    }

    fn exports(&self, account: &str) -> Vec<Job> {
        self.desk.tidy(Instant::now());
        let jobs = self.desk.jobs();
        let own = jobs.held.values().filter(|held| held.account == account);
        let seen = |held: &Held| {
            let mut job = held.job.clone();
            if let Stage::Reading { far, .. } = &mut job.stage {
                *far = held.watch.far.load(Ordering::Relaxed);
                if held.watch.typesetting.load(Ordering::Relaxed) {
                    let (laid, of) = (&held.watch.laid, &held.watch.pictures);
                    let (laid, of) = (laid.load(Ordering::Relaxed), of.load(Ordering::Relaxed));
                    job.stage = Stage::Typesetting { laid, of };
                }
            }
            job
        };
        own.rev().map(seen).collect()
    }

    fn end_export(&self, number: u64, account: &str) {
        let own = self.desk.jobs().held.get(&number).is_some_and(|held| held.account == account);
        if own {
            self.desk.drop(number);
        }
    }

    async fn fetch(&self, number: u64, account: &str) -> Result<Body, Refusal> {
        let own = self.desk.jobs().held.get(&number).is_some_and(|held| held.account == account);
        if !own {
            return Err(Refusal::Unknown);
        }
        let file = tokio::fs::File::open(self.desk.file(number)).await.map_err(|_| Refusal::Unknown)?;
        Ok(Body::from_stream(stream::try_unfold(file, |mut file| async move {
            let mut part = vec![0; PART_BYTES];
            let read = file.read(&mut part).await?;
            part.truncate(read);
            Ok::<_, std::io::Error>((read > 0).then(|| (Bytes::from(part), file)))
        })))
    }
}

#[cfg(test)]
mod tests;
