//! Exports that people begin on a page: jobs of their own, made one after the other beside the service.
//!
//! | bound | what happens there |
//! |---|---|
//! | [`OWN_MAX`] jobs of one account | the next is refused until one is taken away |
//! | [`JOBS_MAX`] jobs in all | the next is refused |
//! | as many at work as programs may have exports | the others wait |
//! | [`KEPT`] since it ended | its file is removed |
//! | [`ROOM_MIN`] left on the device | it ends without a file: recording comes first |
//!
//! Files lie in a folder beside the ledger that nobody else may look into; what a run before left there is
//! removed at the start.

mod make;

use std::collections::BTreeMap;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::body::Body;
use bytes::Bytes;
use futures_util::stream;
use jiff::tz::TimeZone;
use tokio::io::AsyncReadExt;
use tokio::sync::watch;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::House;
use crate::app::export::Watched;
use crate::app::export::gather::Site;
use crate::app::export::pdf::Typesetter;
use crate::core::causes::chain;
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
/// Longest part of the name of the site in the name of a file, in letters.
const NAME_CHARS_MAX: usize = 40;

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
    over: CancellationToken,
    stir: watch::Sender<u64>,
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

    fn is_over(&self) -> bool {
        self.over.is_cancelled()
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
        Self { jobs: Arc::default(), folder: folder.into(), stir: watch::Sender::new(0), stop }
    }

    fn jobs(&self) -> MutexGuard<'_, Jobs> {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn file(&self, number: u64) -> PathBuf {
        self.folder.join(number.to_string())
    }

    /// Removes what was kept long enough.
    pub(super) fn tidy(&self, now: Instant) {
        let mut jobs = self.jobs();
        let old = |held: &Held| held.ended.is_some_and(|ended| now.duration_since(ended) >= KEPT);
        let gone: Vec<u64> =
            jobs.held.iter().filter(|(_, held)| old(held)).map(|(number, _)| *number).collect();
        for number in gone {
            jobs.held.remove(&number);
            self.remove(number);
        }
    }

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
        now: Timestamp,
    ) -> Result<(u64, Arc<Watch>), NotBegun> {
        self.tidy(Instant::now());
        let mut jobs = self.jobs();
        if jobs.held.values().filter(|held| held.account == account).count() >= OWN_MAX {
            return Err(NotBegun::Many);
        }
        if jobs.held.len() >= JOBS_MAX {
            return Err(NotBegun::Busy);
        }
        jobs.last += 1;
        let number = jobs.last;
        let watch = Arc::new(Watch {
            far: AtomicU64::new(0),
            typesetting: false.into(),
            over: self.stop.child_token(),
            stir: self.stir.clone(),
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
        self.remove(number);
        self.stir.send_modify(|stir| *stir += 1);
    }

    /// The folder, made where it is not there yet.
    fn ready(&self) -> std::io::Result<()> {
        std::fs::DirBuilder::new().recursive(true).mode(0o700).create(&*self.folder)
    }
}

/// A name of a file that is safe wherever it is saved: the site, what it is, its days.
fn name(site: &str, wanted: &Wanted) -> String {
    let plain = |text: &str| {
        let letters = text
            .chars()
            .map(|letter| if letter.is_ascii_alphanumeric() { letter.to_ascii_lowercase() } else { '-' });
        let text: String = letters.take(NAME_CHARS_MAX).collect();
        text.split('-').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("-")
    };
    let machine = wanted.machine.as_deref().map(plain);
    let parts = [Some(plain(site)), machine, Some(wanted.from.to_string()), Some(wanted.to.to_string())];
    let parts: Vec<String> = parts.into_iter().flatten().filter(|part| !part.is_empty()).collect();
    format!("{}.{}", parts.join("_"), wanted.form.ending())
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
    let of = match wanted.form {
        Form::Csv => inside,
        Form::Pdf | Form::Json | Form::JsonLines => inside + others,
        // Of the others about as many as of the racks lie in the span.
        Form::Evidence => inside + (others * inside).checked_div(all).unwrap_or(others),
    };
    Ok(Known { site, machines, of: of.max(1) })
}

impl House {
    /// Puts on record who takes what away.
    async fn note_taken(
        &self,
        wanted: &Wanted,
        (since, until): (Timestamp, Timestamp),
        account: &str,
    ) -> Result<(), NotBegun> {
        let machines = wanted.machine.iter().cloned().collect();
        let what = AccessDeed::TookAway { form: wanted.form.as_str().to_owned(), since, until, machines };
        if self.note_access(account, what).await { Ok(()) } else { Err(NotBegun::NotNow) }
    }

    /// Puts on record what an account did; false where it cannot be.
    pub(super) async fn note_access(&self, account: &str, what: AccessDeed) -> bool {
        let event =
            AccessEvent { account: account.to_owned(), what, at: None, from: None, by: None, times: 1 };
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
        Typesetter::find().is_ok()
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
        let (number, watch) = self.desk.reserve(wanted.clone(), &person.account, &file, now)?;
        // Before the seal is made, so that the file itself proves who took it.
        if let Err(why) = self.note_taken(&wanted, span, &person.account).await {
            self.desk.drop(number);
            return Err(why);
        }
        self.make(number, wanted, span, known, watch).await;
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
                    job.stage = Stage::Typesetting;
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
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::core::reader::{Language, Scale};
    use crate::web::history::exports::Paper;

    fn wanted(machine: Option<&str>) -> Wanted {
        Wanted {
            form: Form::Evidence,
            from: date(2026, 11, 1),
            to: date(2026, 11, 26),
            machine: machine.map(str::to_owned),
            all_traces: false,
            paper: Paper::A4,
            scale: Scale::Celsius,
            language: Language::English,
        }
    }

    // Own rule: letters, digits, points, hyphens and low lines, whatever the site is called.
    #[test]
    fn a_name_is_safe_in_a_header_and_on_a_disk() {
        for (site, machine, expected) in [
            ("North kitchen", None, "north-kitchen_2026-11-01_2026-11-26.evidence.jsonl"),
            ("../\"\r\nSet-Cookie: é", Some("dm/1"), "set-cookie_dm-1_2026-11-01_2026-11-26.evidence.jsonl"),
            ("Кухня", None, "2026-11-01_2026-11-26.evidence.jsonl"),
        ] {
            assert_eq!(name(site, &wanted(machine)), expected);
        }
        assert!(name(&"x".repeat(500), &wanted(None)).len() < 100);
    }

    // Own promise: jobs are bounded for one account and in all, and each is gone after an hour.
    #[test]
    fn jobs_are_bounded_and_go() {
        let directory = tempfile::tempdir().expect("a directory");
        let desk = Desk::new(&directory.path().join("ledger.sqlite"), CancellationToken::new());
        let reserve = |account: &str| desk.reserve(wanted(None), account, "x", Timestamp::from_micros(0));
        let (first, watch) = reserve("ana").expect("a place");
        for _ in 1..OWN_MAX {
            reserve("ana").expect("a place");
        }
        assert_eq!(reserve("ana").map(|_| ()), Err(NotBegun::Many));
        for other in OWN_MAX..JOBS_MAX {
            reserve(&format!("other {other}")).expect("a place");
        }
        assert_eq!(reserve("one more").map(|_| ()), Err(NotBegun::Busy));
        desk.ready().expect("room");
        std::fs::write(desk.file(first), b"abc").expect("room");
        desk.put(first, Stage::Done { bytes: 3, damaged: Vec::new(), sealed: None });
        let now = Instant::now();
        desk.tidy(now);
        assert!(desk.file(first).exists());
        desk.tidy(now + KEPT);
        assert!(!desk.file(first).exists() && !watch.is_over());
        let (next, watch) = reserve("ana").expect("a place again");
        desk.drop(next);
        assert!(watch.is_over(), "whoever makes it is told");
    }
}
