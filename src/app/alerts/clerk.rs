//! The desk at the ledger: reads what was committed, tells the desk, and commits
//! what the desk asks for.
//!
//! Records, letters and the desk's own state go into **one** append. Killed before
//! it, nothing of it happened, and the same records are read again; killed after
//! it, all of it did. The service and a command without one use the same clerk.

use std::ops::ControlFlow;
use std::sync::Arc;
use std::time::Duration;

use super::letters;
use super::stumble::{self, Stumble};
use crate::app::in_force;
use crate::app::ledger::LedgerHandle;
use crate::core::alert::{Alert, AlertNumber, Desk, Effects, Event, Refusal, Settings};
use crate::core::on_file::OnFile;
use crate::core::record::Record;
use crate::core::time::Timestamp;
use crate::ledger::{Append, Bookmark, Committed, LedgerError, NewRecord, OutboxChange, Reader, Retry};
use crate::transport::backoff::Backoff;

/// Name of the desk's bookmark.
pub(in crate::app) const BOOKMARK: &str = "desk";
/// Most records of one step, so that people are heard between two steps.
const RECORDS_MAX: u64 = 256;
/// After so many records without a consequence the bookmark is written nevertheless.
const BOOKMARK_EVERY: u64 = 1_000;
/// First and longest wait before a refused append is tried again.
const AGAIN_AFTER: (Duration, Duration) = (Duration::from_millis(200), Duration::from_secs(10));

/// Why the clerk cannot go on.
#[derive(Debug, thiserror::Error)]
pub(in crate::app) enum ClerkError {
    /// The ledger cannot be read or written.
    #[error("the ledger failed the alerts")]
    Ledger(#[from] LedgerError),
}

/// The desk at the ledger.
#[derive(Debug)]
pub(in crate::app) struct Clerk {
    desk: Desk,
    /// The settings as they are configured; the desk's have the calibrations on record laid over them.
    configured: Settings,
    file: OnFile,
    reader: Reader,
    ledger: LedgerHandle,
    /// What waits to be committed.
    effects: Effects,
    /// Records of people that are none of the desk's.
    entered: Vec<Record>,
    /// The first record that is not behind the stored bookmark.
    marked: u64,
    /// Whether people have changed the desk since then, or a record was passed over.
    changed: bool,
    stumble: Arc<Stumble>,
    /// The record of this index makes the desk fail.
    #[cfg(test)]
    poison: Option<u64>,
}

impl Clerk {
    /// Takes the desk up where its bookmark stands. Without one it begins at the end of the
    /// ledger, since nobody is to be told of the past, and marks that place.
    ///
    /// # Errors
    /// [`ClerkError`] where the ledger cannot be read or written.
    pub(in crate::app) async fn open(
        settings: Settings,
        ledger: LedgerHandle,
        now: Timestamp,
    ) -> Result<Self, ClerkError> {
        let reader = Reader::open(ledger.path())?;
        let stored = reader.bookmark(BOOKMARK)?;
        let is_new = stored.is_none();
        let configured = settings;
        let file = in_force::on_file(&reader)?;
        let settings = configured.with_on_file(&file);
        let desk = restored(settings, stored.as_deref(), reader.size()?);
        let marked = desk.next_record();
        let (effects, entered) = (Effects::default(), Vec::new());
        let stumble = Arc::default();
        let mut clerk = Self {
            desk,
            configured,
            file,
            reader,
            ledger,
            effects,
            entered,
            marked,
            changed: is_new,
            stumble,
            #[cfg(test)]
            poison: None,
        };
        if is_new {
            clerk.commit(now).await?;
        }
        clerk.tell_doubts(now);
        Ok(clerk)
    }

    /// Tells the desk which records of calibrations cannot be read and still matter to a probe.
    fn tell_doubts(&mut self, now: Timestamp) {
        let machines = self.configured.machines.values();
        let probes = machines.flat_map(|machine| machine.calibrated_on.keys()).map(String::as_str);
        let doubts = self.file.doubts(probes);
        tell(&mut self.desk, now, Event::Damaged(&doubts), &mut self.effects);
    }

    /// Remembers in `stumble` at which record the desk fails.
    pub(super) fn watched_by(mut self, stumble: Arc<Stumble>) -> Self {
        self.stumble = stumble;
        self
    }

    /// The desk.
    pub(in crate::app) fn desk(&self) -> &Desk {
        &self.desk
    }

    /// The ledger, to be read.
    pub(in crate::app) fn reader(&self) -> &Reader {
        &self.reader
    }

    /// The open alert of this number.
    pub(in crate::app) fn alert(&self, number: AlertNumber) -> Option<&Alert> {
        self.desk.alerts().find(|alert| alert.number == number)
    }

    /// Tells the desk of the records it has not seen, some of them; `true` where more wait.
    ///
    /// # Errors
    /// [`ClerkError::Ledger`] where they cannot be read.
    pub(in crate::app) fn read_on(&mut self, now: Timestamp) -> Result<bool, ClerkError> {
        let (desk, effects) = (&mut self.desk, &mut self.effects);
        let (mut read, mut filed) = (0, false);
        self.reader.records(desk.next_record(), |index, _, record| {
            if self.stumble.may_take(index) {
                #[cfg(test)]
                assert!(self.poison != Some(index), "poisoned");
                tell(desk, now, Event::Record { index, record: &record }, effects);
            } else {
                desk.pass_over(index);
                self.entered.extend(stumble::passed_over(now, index, &record));
                self.changed = true;
            }
            self.stumble.taken();
            if OnFile::KINDS.contains(&record.body.kind()) {
                self.file.take(index, &record);
                filed = true;
            }
            read += 1;
            if read < RECORDS_MAX { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        })?;
        if filed {
            self.desk.go_on_under(now, self.configured.with_on_file(&self.file));
            self.tell_doubts(now);
        }
        Ok(read == RECORDS_MAX)
    }

    /// Tells the desk something that nobody waits for.
    pub(in crate::app) fn tell(&mut self, now: Timestamp, event: Event<'_>) {
        tell(&mut self.desk, now, event, &mut self.effects);
    }

    /// Tells the desk what a person wants.
    ///
    /// # Errors
    /// The desk's, with nothing changed.
    pub(in crate::app) fn ask(&mut self, now: Timestamp, event: Event<'_>) -> Result<(), Refusal> {
        self.desk.handle(now, event, &mut self.effects)?;
        self.changed = true;
        Ok(())
    }

    /// Takes the record of what a person enters.
    pub(in crate::app) fn enter(&mut self, record: Record) {
        self.entered.push(record);
    }

    /// Takes a record that is none of the desk's.
    pub(in crate::app) fn put(&mut self, record: Record) {
        self.entered.push(record);
    }

    /// Machines whose tank the desk asks for, once.
    pub(in crate::app) fn tanks_asked(&mut self) -> Vec<String> {
        std::mem::take(&mut self.effects.ask_tank)
    }

    /// Whether a commit is due: something is to be recorded or sent, or the bookmark is far behind.
    pub(in crate::app) fn is_due(&self) -> bool {
        self.changed
            || !(self.effects.records.is_empty()
                && self.effects.notices.is_empty()
                && self.entered.is_empty())
            || self.desk.next_record() >= self.marked + BOOKMARK_EVERY
    }

    /// Whether the stored bookmark is behind at all.
    pub(in crate::app) fn is_behind(&self) -> bool {
        self.is_due() || self.desk.next_record() != self.marked
    }

    /// Commits what waits, with the bookmark. A ledger that refuses for now is tried again until
    /// it takes it; nothing else happens meanwhile, since all of it would have to wait too.
    ///
    /// # Errors
    /// [`ClerkError`] where it will never take it.
    pub(in crate::app) async fn commit(&mut self, now: Timestamp) -> Result<Committed, ClerkError> {
        let next = self.desk.next_record();
        let records = self.entered.drain(..).chain(self.effects.records.drain(..));
        let mut append = Append {
            records: records.map(|record| NewRecord { record, trace: None }).collect(),
            bookmarks: vec![Bookmark { name: BOOKMARK.to_owned(), state: self.desk.state() }],
            outbox: letters::of(self.effects.notices.drain(..), now).map(OutboxChange::Put).collect(),
            ..Append::default()
        };
        let mut again_after = Backoff::new(AGAIN_AFTER.0, AGAIN_AFTER.1);
        let mut is_told = false;
        loop {
            let refused = match self.ledger.append(append).await {
                Ok(committed) => {
                    (self.marked, self.changed) = (next, false);
                    return Ok(committed);
                }
                Err(refused) => refused,
            };
            if refused.error.retry() == Retry::Never {
                return Err(refused.error.into());
            }
            if !std::mem::replace(&mut is_told, true) {
                tracing::warn!(error = %refused.error, "alerts wait for the ledger; they are tried again");
            }
            append = *refused.append;
            tokio::time::sleep(again_after.after_failure()).await;
        }
    }
}

/// The desk as its bookmark says; a state that cannot be read is begun anew, since a desk that
/// never starts would tell nobody of anything.
fn restored(settings: Settings, stored: Option<&[u8]>, size: u64) -> Desk {
    let Some(state) = stored else { return Desk::begin_at(settings, size) };
    match Desk::restore(settings.clone(), state) {
        Ok(desk) => desk,
        Err(error) => {
            tracing::error!(%error, "the state of the alerts cannot be read; they begin anew from here");
            Desk::begin_at(settings, size)
        }
    }
}

fn tell(desk: &mut Desk, now: Timestamp, event: Event<'_>, effects: &mut Effects) {
    // Only what people ask for is ever refused.
    if let Err(refusal) = desk.handle(now, event, effects) {
        tracing::error!(%refusal, "the desk refused what nobody asked for");
    }
}

#[cfg(test)]
mod tests {
    use std::panic::{AssertUnwindSafe, catch_unwind};

    use super::*;
    use crate::app::ledger;
    use crate::config::load::Loaded;
    use crate::config::resolve::Configuration;
    use crate::core::alert::Condition;
    use crate::core::record::{
        Amendment, AmendmentChange, Body, CalibrationDone, Correction, MachineFailure, ServiceStop, StopCause,
    };

    fn loaded(directory: &std::path::Path) -> Loaded {
        let path = directory.join("gateway.toml");
        let text = "[ledger]\npath = \"ledger.sqlite\"\n[[machine]]\nname = \"dm1\"\n\
                    kind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n";
        std::fs::write(&path, text).expect("a temporary file");
        Configuration::load(&[path], []).expect("a sound configuration")
    }

    // Own promise: a record that the desk can never take is tried three times and then passed over,
    // so that those after it are heard of; what is passed over is on record.
    #[tokio::test]
    async fn a_record_that_the_desk_fails_at_does_not_hold_it_for_ever() {
        let directory = tempfile::tempdir().expect("a directory");
        let loaded = loaded(directory.path());
        let settings = &loaded.configuration.alerts;
        let now = Timestamp::from_micros(1_700_000_000_000_000);
        let path = directory.path().join("ledger.sqlite");
        let (handle, _) = ledger::open_alone(&loaded, &path, now).expect("a ledger");
        let stumble = Arc::new(Stumble::default());
        let open = || async {
            let opened = Clerk::open(settings.clone(), handle.clone(), now).await.expect("a clerk");
            Clerk { poison: Some(1), ..opened.watched_by(Arc::clone(&stumble)) }
        };
        drop(open().await);
        let body = || Body::ServiceStop(ServiceStop { cause: StopCause::Signal });
        let record = |machine: Option<&str>| {
            let record = Record::new(now, machine.map(str::to_owned), body());
            NewRecord { record, trace: None }
        };
        let records = vec![record(None), record(Some("dm1")), record(None)];
        handle.append(Append { records, ..Append::default() }).await.expect("stored");

        for attempt in 1..=3 {
            let mut clerk = open().await;
            let failed = catch_unwind(AssertUnwindSafe(|| clerk.read_on(now))).is_err();
            assert!(failed, "attempt {attempt}");
        }
        let mut clerk = open().await;
        assert!(!clerk.read_on(now).expect("readable"));
        assert_eq!(clerk.desk().next_record(), 3, "the records after it are heard of");
        assert!(clerk.is_due(), "the bookmark goes past it at once");
        clerk.commit(now).await.expect("stored");
        let mut last = None;
        clerk
            .reader()
            .records(3, |_, _, record| {
                last.get_or_insert(record);
                ControlFlow::Continue(())
            })
            .expect("readable");
        let last = last.expect("a record of it");
        let cause = "record 1 (service-stop) cannot be told of; look at it in the history".to_owned();
        assert_eq!(last.body, Body::MachineFailure(MachineFailure { cause, stopped: false }));
        assert_eq!(last.machine.as_deref(), Some("dm1"));
    }

    fn one(record: Record) -> Append {
        Append { records: vec![NewRecord { record, trace: None }], ..Append::default() }
    }

    fn calibration(now: Timestamp) -> Append {
        let correction = Correction { gain: 1.0, offset_c: 0.5 };
        let done = CalibrationDone {
            probe: "dm1/rinse".to_owned(),
            at: now,
            points: Vec::new(),
            found: correction,
            left: correction,
            expanded_c: 0.3,
            until: None,
            note: None,
            by: "Eli".to_owned(),
        };
        one(Record::new(now, Some("dm1".to_owned()), Body::Calibration(Box::new(done))))
    }

    /// The ledger for somebody who damages it.
    fn opened(path: &std::path::Path) -> rusqlite::Connection {
        let other = rusqlite::Connection::open(path).expect("the ledger");
        other.execute_batch("DROP TRIGGER record_stays").expect("no guard");
        other
    }

    fn damage(other: &rusqlite::Connection, index: u64) {
        let sql = "UPDATE record SET bytes = zeroblob(40) WHERE idx = ?1";
        assert_eq!(other.execute(sql, [index]).expect("damaged"), 1);
    }

    // Own promise: a calibration that cannot be read counts no more, and the first look at the ledger puts on
    // record which one and since when; a later calibration of the probe clears it.
    #[tokio::test]
    async fn a_damaged_calibration_is_put_on_record() {
        let directory = tempfile::tempdir().expect("a directory");
        let loaded = loaded(directory.path());
        let settings = &loaded.configuration.alerts;
        let now = Timestamp::from_micros(1_700_000_000_000_000);
        let path = directory.path().join("ledger.sqlite");
        let (handle, _) = ledger::open_alone(&loaded, &path, now).expect("a ledger");
        let open = || async { Clerk::open(settings.clone(), handle.clone(), now).await.expect("a clerk") };
        drop(open().await);
        handle.append(calibration(now)).await.expect("stored");
        let mut clerk = open().await;
        clerk.read_on(now).expect("readable");
        assert_eq!(clerk.desk().alerts().count(), 0, "nothing is wrong");
        clerk.commit(now).await.expect("stored");
        drop(clerk);

        damage(&opened(&path), 0);
        let later = Timestamp::from_micros(1_700_000_060_000_000);
        let mut clerk = Clerk::open(settings.clone(), handle.clone(), later).await.expect("a clerk");
        assert!(clerk.is_due(), "it is committed at once");
        clerk.commit(later).await.expect("stored");
        let mut raised = Vec::new();
        let mut take = |_, _: &[u8], record: Record| {
            if let Body::AlertRaised(alert) = record.body {
                raised.push((alert.condition, alert.since, alert.about));
            }
            ControlFlow::Continue(())
        };
        clerk.reader().records(1, &mut take).expect("readable");
        assert_eq!(raised, [(Condition::RecordDamaged, later, vec!["0".to_owned()])]);
        drop(clerk);
        let mut clerk = open().await;
        clerk.read_on(later).expect("readable");
        assert!(!clerk.is_due(), "nothing is said twice");

        handle.append(calibration(later)).await.expect("stored");
        clerk.read_on(later).expect("readable");
        assert!(clerk.desk().alerts().all(|alert| alert.cleared.is_some()), "calibrated again");
    }

    // Own rule: an amendment that cannot be read matters where it speaks of the calibration that counts.
    #[tokio::test]
    async fn a_damaged_withdrawal_leaves_what_it_speaks_of_in_doubt() {
        let directory = tempfile::tempdir().expect("a directory");
        let loaded = loaded(directory.path());
        let now = Timestamp::from_micros(1_700_000_000_000_000);
        let later = Timestamp::from_micros(1_700_000_060_000_000);
        let path = directory.path().join("ledger.sqlite");
        let (handle, _) = ledger::open_alone(&loaded, &path, now).expect("a ledger");
        let (other, reader) = (opened(&path), Reader::open(&path).expect("the ledger"));
        for _ in 0..2 {
            handle.append(calibration(now)).await.expect("stored");
        }
        for (of, index, matters) in [(0, 2, false), (1, 3, true)] {
            let (reason, by) = ("the ice was gone".to_owned(), "Eli".to_owned());
            let amendment = Amendment { of, reason, by, change: AmendmentChange::Withdrawn };
            let body = Body::Amendment(Box::new(amendment));
            let record = Record::new(later, Some("dm1".to_owned()), body);
            handle.append(one(record)).await.expect("stored");
            damage(&other, index);
            let file = in_force::on_file(&reader).expect("readable");
            let doubts = file.doubts(["dm1/rinse"].into_iter());
            assert_eq!(doubts, if matters { vec![index] } else { Vec::new() }, "an amendment of record {of}");
            let in_force = |at| file.in_force("dm1/rinse", None, at);
            assert!(in_force(now).calibration.is_some(), "what was measured before it is not in doubt");
            assert_eq!(in_force(later).doubted.is_some(), matters, "an amendment of record {of}");
        }
    }
}
