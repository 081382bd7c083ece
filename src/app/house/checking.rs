//! Whether the record is whole: checked beside the running service, as `verify` does it.

use std::ops::ControlFlow;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use sha2::{Digest, Sha256};
use tokio::sync::watch;
use tokio::time::Instant;

use super::House;
use crate::app::export::seal;
use crate::core::keys::key_chain;
use crate::core::note::VerifyingKey;
use crate::core::record::{AccessDeed, Body, Record};
use crate::diagnostic::Diagnostic;
use crate::ledger::walk::{Extent, audit_told};
use crate::ledger::{self, KeyFiles, LedgerError, Order, RecordFilter};
use crate::runtime::clock::Clock;
use crate::web::frame::Refusal;
use crate::web::history::integrity::{Checked, Checks, Running, Sealed, Standing};
use crate::web::person::Person;

/// Newest records of accounts among which a check of a run before is looked for (own choice: some weeks of logins).
const LOOKED_MAX: usize = 2_000;

/// Checks of one ledger. Copies are the same.
#[derive(Clone, Debug, Default)]
pub(super) struct Checking {
    stands: Arc<Mutex<Stands>>,
    far: Arc<AtomicU64>,
    stir: watch::Sender<u64>,
}

#[derive(Debug, Default)]
struct Stands {
    /// Account of whoever wanted the one under way, and the number of records.
    running: Option<(String, u64)>,
    last: Option<Checked>,
    failed: Option<String>,
}

impl Checking {
    fn stands(&self) -> MutexGuard<'_, Stands> {
        self.stands.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes the place of the one check at a time.
    fn begin(&self, account: &str, of: u64) -> bool {
        let mut stands = self.stands();
        if stands.running.is_some() {
            return false;
        }
        stands.running = Some((account.to_owned(), of));
        self.far.store(0, Ordering::Relaxed);
        true
    }

    fn end(&self, found: Result<Checked, String>) {
        let mut stands = self.stands();
        stands.running = None;
        match found {
            Ok(checked) => (stands.last, stands.failed) = (Some(checked), None),
            Err(said) => stands.failed = Some(said),
        }
        drop(stands);
        self.stir.send_modify(|stir| *stir += 1);
    }
}

/// The key that a check goes by: the one that lies on the gateway, since whoever puts another ledger in the
/// place of this one may have no other. Where that cannot be read the one on record.
fn key(path: &Path) -> Result<Vec<VerifyingKey>, LedgerError> {
    let placed = std::fs::read_to_string(KeyFiles::of(path).public()).ok();
    if let Some(placed) = placed.and_then(|text| text.parse().ok()) {
        return Ok(vec![placed]);
    }
    let changes = ledger::Reader::open(path)?.signing_keys()?;
    let chain = key_chain(changes.iter().map(|(index, change)| (*index, change)));
    Ok(chain.newest().map(|newest| newest.key.clone()).into_iter().collect())
}

/// Checks everything; blocks until it is done.
fn checked(path: &Path, account: &str, clock: &Clock, checking: &Checking) -> Result<Checked, Diagnostic> {
    let unread = |error: LedgerError| crate::app::ledger::diagnose(&error, path);
    let begun = Instant::now();
    let mut far = |records: u64| {
        checking.far.store(records, Ordering::Relaxed);
        checking.stir.send_modify(|stir| *stir += 1);
    };
    let keys = key(path).map_err(unread)?;
    let audited = audit_told(path, &keys, Vec::new(), Extent::Whole, &mut far).map_err(unread)?;
    let report = audited.report;
    Ok(Checked {
        at: clock.now(),
        by: account.to_owned(),
        outcome: report.outcome,
        records: report.records,
        findings: report.findings.len() as u64 + report.findings_more,
        report: Some((report, begun.elapsed().as_secs_f64())),
    })
}

/// The newest check that is on record.
fn recorded(ledger: &ledger::Reader) -> Result<Option<Checked>, LedgerError> {
    let filter = RecordFilter {
        kinds: vec!["access".to_owned()],
        machine: None,
        check: None,
        from: None,
        to: None,
        limit: Some(LOOKED_MAX),
        after_index: None,
    };
    let mut found = None;
    ledger.events(Order::NewestFirst, &filter, |_, read| {
        if let Ok((_, Record { recorded, body: Body::Access(event), .. })) = read
            && let AccessDeed::Checked { outcome, records, findings } = event.what
        {
            let by = event.account.clone();
            found = Some(Checked { at: recorded, by, outcome, records, findings, report: None });
            return ControlFlow::Break(());
        }
        ControlFlow::Continue(())
    })?;
    Ok(found)
}

impl Checks for House {
    async fn sealed(&self) -> Result<Sealed, Refusal> {
        let found = self.readers.ask(|ledger| {
            let changes = ledger.signing_keys()?;
            let chain = key_chain(changes.iter().map(|(index, change)| (*index, change)));
            let newest = chain.newest().map(|newest| newest.key.to_string());
            let vouched = seal::newest(ledger)?.map(|seal| seal.key);
            let key = vouched.or(newest);
            let record = changes.iter().rev().find(|(_, change)| Some(&change.key) == key.as_ref());
            let record = record.map(|(index, _)| *index);
            Ok(Sealed {
                records: ledger.size()?,
                checkpoint: ledger.newest_checkpoint()?.map(|stored| (stored.size, stored.at)),
                fingerprint: key.as_ref().map(|key| fingerprint(key)),
                key: key.zip(record),
            })
        });
        found.await
    }

    async fn standing(&self) -> Result<Standing, Refusal> {
        let standing = {
            let stands = self.checking.stands();
            let running = stands.running.as_ref().map(|(by, of)| Running {
                by: by.clone(),
                far: self.checking.far.load(Ordering::Relaxed).min(*of),
                of: *of,
            });
            Standing { running, last: stands.last.clone(), failed: stands.failed.clone() }
        };
        if standing.last.is_some() || standing.running.is_some() {
            return Ok(standing);
        }
        let last = self.readers.ask(recorded).await?;
        // Kept, so that whoever leaves the page open has it looked up once.
        let mut stands = self.checking.stands();
        if stands.last.is_none() {
            stands.last.clone_from(&last);
        }
        Ok(Standing { last, ..standing })
    }

    fn check_stirs(&self) -> watch::Receiver<u64> {
        self.checking.stir.subscribe()
    }

    fn check(&self, person: &Person) {
        let account = person.account.clone();
        if !self.checking.begin(&account, self.tide.borrow().records.max(1)) {
            return;
        }
        let house = self.clone();
        let handle = tokio::runtime::Handle::current();
        // Its end is told to whoever looks.
        drop(tokio::task::spawn_blocking(move || {
            let found = checked(&house.path, &account, &house.clock, &house.checking);
            if let Ok(Checked { outcome, records, findings, .. }) = &found {
                let what = AccessDeed::Checked { outcome: *outcome, records: *records, findings: *findings };
                // What was found is shown also where it cannot be put on record; the log tells of that.
                let noted = handle.block_on(house.note_access(&account, what));
                tracing::info!(records, findings, noted, "the ledger was checked");
            }
            house.checking.end(found.map_err(|diagnostic| diagnostic.to_string()));
        }));
    }
}

/// SHA-256 of the file of the key, as `sha256sum` prints it.
fn fingerprint(key: &str) -> String {
    Sha256::digest(format!("{key}\n").as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}
