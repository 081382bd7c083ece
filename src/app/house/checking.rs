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
use crate::core::record::{AccessDeed, AccessEvent, Body, Record};
use crate::diagnostic::Diagnostic;
use crate::ledger::walk::{Extent, audit_told};
use crate::ledger::{self, KeyFiles, LedgerError, Order, RecordFilter};
use crate::runtime::clock::Clock;
use crate::web::frame::Refusal;
use crate::web::history::integrity::{Checked, Checks, Running, Sealed, Standing, Trusted};
use crate::web::person::Person;

/// Checks of one ledger. Copies are the same.
#[derive(Clone, Debug, Default)]
pub(super) struct Checking {
    stands: Arc<Mutex<Stands>>,
    far: Arc<AtomicU64>,
    stir: watch::Sender<u64>,
}

#[derive(Debug, Default)]
struct Stands {
    /// Name of whoever wanted the one under way, and the number of records.
    running: Option<(String, u64)>,
    last: Option<Checked>,
    failed: Option<String>,
    /// Whether the record was asked for a check of a run before; it is asked once.
    asked: bool,
}

impl Checking {
    fn stands(&self) -> MutexGuard<'_, Stands> {
        self.stands.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes the place of the one check at a time; `None` where it is taken.
    fn begin(&self, name: &str, of: u64) -> Option<Turn> {
        let mut stands = self.stands();
        if stands.running.is_some() {
            return None;
        }
        stands.running = Some((name.to_owned(), of));
        self.far.store(0, Ordering::Relaxed);
        drop(stands);
        Some(Turn { checking: self.clone(), found: None })
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

/// A check under way. Whatever becomes of it, a panic included, the next one can begin.
struct Turn {
    checking: Checking,
    found: Option<Result<Checked, String>>,
}

impl Turn {
    fn end(mut self, found: Result<Checked, Diagnostic>) {
        self.found = Some(found.map_err(|diagnostic| diagnostic.to_string()));
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let found = self.found.take().unwrap_or_else(|| {
            let said = Diagnostic::error("bug", "the check ended by a mistake in rinseward")
                .advice("see the log of the gateway, and tell whoever made it")
                .advice("meanwhile `rinseward verify` checks the ledger on the command line");
            Err(said.to_string())
        });
        self.checking.end(found);
    }
}

/// The keys that a check goes by: the one that lies on the gateway, since whoever puts another ledger in the
/// place of this one may have no other. Where that cannot be read the one on record, which any ledger has of its
/// own: whoever reads the outcome is told.
fn keys(path: &Path) -> Result<(Vec<VerifyingKey>, Trusted), LedgerError> {
    let file = KeyFiles::of(path).public().to_owned();
    let placed = std::fs::read_to_string(&file).ok().and_then(|text| text.parse().ok());
    if let Some(placed) = placed {
        return Ok((vec![placed], Trusted::Placed));
    }
    tracing::error!(
        slug = "signing-key",
        file = %file.display(),
        "the public key beside the ledger is missing or no key: the ledger is checked by the key that it names itself"
    );
    let changes = ledger::Reader::open(path)?.signing_keys()?;
    let chain = key_chain(changes.iter().map(|(index, change)| (*index, change)));
    let own = chain.newest().map(|newest| newest.key.clone()).into_iter().collect();
    Ok((own, Trusted::Own))
}

/// Checks everything; blocks until it is done.
fn checked(path: &Path, name: &str, clock: &Clock, checking: &Checking) -> Result<Checked, Diagnostic> {
    let unread = |error: LedgerError| crate::app::ledger::diagnose(&error, path);
    let begun = Instant::now();
    let mut far = |records: u64| {
        checking.far.store(records, Ordering::Relaxed);
        checking.stir.send_modify(|stir| *stir += 1);
    };
    let (keys, trusted) = keys(path).map_err(unread)?;
    let audited = audit_told(path, &keys, Vec::new(), Extent::Whole, &mut far).map_err(unread)?;
    let report = audited.report;
    Ok(Checked {
        at: clock.now(),
        by: name.to_owned(),
        outcome: report.outcome,
        records: report.records,
        findings: report.findings.len() as u64 + report.findings_more,
        report: Some((report, begun.elapsed().as_secs_f64())),
        trusted: Some(trusted),
    })
}

/// The newest check that is on record, however many records of accounts came after it, with the name that its
/// account was made for; the account itself where that is not on record, as for a token, or where a record that
/// may say it cannot be read: an older one may be of somebody else.
fn recorded(ledger: &ledger::Reader) -> Result<Option<Checked>, LedgerError> {
    let filter = RecordFilter { kinds: vec!["access".to_owned()], ..RecordFilter::default() };
    let mut found: Option<Checked> = None;
    ledger.events(Order::NewestFirst, &filter, |_, read| {
        let Ok((_, Record { recorded, body: Body::Access(event), .. })) = read else {
            return if found.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) };
        };
        let AccessEvent { account, what, .. } = *event;
        match &mut found {
            None => {
                if let AccessDeed::Checked { outcome, records, findings } = what {
                    let (at, by) = (recorded, account);
                    found = Some(Checked { at, by, outcome, records, findings, report: None, trusted: None });
                }
                ControlFlow::Continue(())
            }
            Some(checked) if checked.by == account => named(checked, what),
            Some(_) => ControlFlow::Continue(()),
        }
    })?;
    Ok(found)
}

/// Takes the name of whoever wanted a check from what was done with the account before it, the newest first.
fn named(checked: &mut Checked, what: AccessDeed) -> ControlFlow<()> {
    match what {
        AccessDeed::Added { name, .. } => {
            checked.by = name;
            ControlFlow::Break(())
        }
        // What lies before it is of somebody else who had the same account.
        AccessDeed::Removed => ControlFlow::Break(()),
        AccessDeed::LoggedIn
        | AccessDeed::LoggedOut
        | AccessDeed::Refused(_)
        | AccessDeed::ChangeRefused { .. }
        | AccessDeed::Locked { .. }
        | AccessDeed::Unlocked
        | AccessDeed::RoleChanged { .. }
        | AccessDeed::Disabled
        | AccessDeed::Enabled
        | AccessDeed::SecretReset
        | AccessDeed::PasswordChanged
        | AccessDeed::ReaderChanged { .. }
        | AccessDeed::TokenAdded { .. }
        | AccessDeed::TokenRevoked
        | AccessDeed::TookAway { .. }
        | AccessDeed::Checked { .. }
        | AccessDeed::EndedWork { .. } => ControlFlow::Continue(()),
    }
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
            let newest = ledger.newest_checkpoint()?;
            Ok(Sealed {
                records: ledger.size()?,
                checkpoint: newest.as_ref().map(|stored| (stored.size, stored.at)),
                note: newest.map(|stored| stored.note),
                fingerprint: key.as_ref().map(|key| fingerprint(key)),
                key: key.zip(record),
            })
        });
        found.await
    }

    async fn standing(&self) -> Result<Standing, Refusal> {
        let (standing, known) = {
            let stands = self.checking.stands();
            let running = stands.running.as_ref().map(|(by, of)| Running {
                by: by.clone(),
                far: self.checking.far.load(Ordering::Relaxed).min(*of),
                of: *of,
            });
            let known = stands.asked || stands.last.is_some() || running.is_some();
            (Standing { running, last: stands.last.clone(), failed: stands.failed.clone() }, known)
        };
        if known {
            return Ok(standing);
        }
        let last = self.readers.ask(recorded).await?;
        // Kept, that there is none as well: whoever leaves the page open has it looked up once.
        let mut stands = self.checking.stands();
        stands.asked = true;
        if stands.last.is_none() {
            stands.last = last;
        }
        Ok(Standing { last: stands.last.clone(), ..standing })
    }

    fn check_stirs(&self) -> watch::Receiver<u64> {
        self.checking.stir.subscribe()
    }

    fn check(&self, person: &Person) {
        let (account, name) = (person.account.clone(), person.name.clone());
        let Some(turn) = self.checking.begin(&name, self.tide.borrow().records.max(1)) else { return };
        let house = self.clone();
        let handle = tokio::runtime::Handle::current();
        // Its end is told to whoever looks.
        drop(tokio::task::spawn_blocking(move || {
            let found = checked(&house.path, &name, &house.clock, &house.checking);
            if let Ok(Checked { outcome, records, findings, .. }) = &found {
                let what = AccessDeed::Checked { outcome: *outcome, records: *records, findings: *findings };
                // What was found is shown also where it cannot be put on record; the log tells of that.
                let noted = handle.block_on(house.note_access(&account, what));
                if *findings > 0 {
                    tracing::error!(
                        slug = "verify-not-whole",
                        records,
                        findings,
                        noted,
                        "the ledger was checked, and does not hold"
                    );
                } else {
                    tracing::info!(records, noted, "the ledger was checked");
                }
            }
            turn.end(found);
        }));
    }
}

/// SHA-256 of the file of the key, as `sha256sum` prints it.
fn fingerprint(key: &str) -> String {
    Sha256::digest(format!("{key}\n").as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{CONFIGURATION, at, comment, key, ledger, opening, plain};
    use crate::core::audit::Outcome;

    fn event(minute: u64, what: AccessDeed) -> ledger::NewRecord {
        let account = "eva".to_owned();
        let event = AccessEvent { account, what, at: None, from: None, by: None, times: 1, right: None };
        plain(minute, None, Body::Access(Box::new(event)))
    }

    // Own promise: a check goes by the key that lies on the gateway; where there is none, or none that can be
    // read, it says that the ledger vouches for itself.
    #[test]
    fn a_check_says_by_which_key() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        ledger(&path, opening(CONFIGURATION)).close().expect("it closes");
        let trusted = || {
            let (keys, trusted) = keys(&path).expect("readable");
            (keys.len(), trusted)
        };
        assert_eq!(trusted(), (1, Trusted::Own));
        let placed = KeyFiles::of(&path).public().to_owned();
        std::fs::write(&placed, "no key").expect("room");
        assert_eq!(trusted(), (1, Trusted::Own));
        std::fs::write(&placed, format!("{}\n", key().verifying())).expect("room");
        assert_eq!(trusted(), (1, Trusted::Placed));
    }

    // Own promise: the last check is found behind however many logins, with the name of whoever wanted it.
    #[test]
    fn a_check_is_found_behind_many_logins() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        let mut records = opening(CONFIGURATION);
        let role = crate::core::access::Role::Auditor;
        let added = |name: &str| AccessDeed::Added { role, name: name.to_owned() };
        records.extend([event(0, added("Eva Before")), event(0, added("Eva Klein"))]);
        let what = AccessDeed::Checked { outcome: Outcome::Whole, records: 2, findings: 0 };
        records.push(event(1, what));
        records.extend((0..2_500).map(|minute| event(2 + minute, AccessDeed::LoggedOut)));
        records.push(plain(3_000, None, comment(0, "the key")));
        ledger(&path, records).close().expect("it closes");
        let found = recorded(&ledger::Reader::open(&path).expect("a reader")).expect("readable");
        let found = found.map(|checked| (checked.at, checked.by, checked.records));
        assert_eq!(found, Some((at(1), "Eva Klein".to_owned(), 2)));
    }

    // Own promise: where the record that would say who had the account is damaged, nobody who had it before is named.
    #[test]
    fn a_damaged_name_names_nobody_else() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        let mut records = opening(CONFIGURATION);
        let first = u64::try_from(records.len()).expect("few");
        let role = crate::core::access::Role::Auditor;
        let added = |name: &str| AccessDeed::Added { role, name: name.to_owned() };
        let what = AccessDeed::Checked { outcome: Outcome::Whole, records: 2, findings: 0 };
        let deeds =
            [added("Eva Before"), AccessDeed::Removed, added("Eva Klein"), AccessDeed::LoggedIn, what];
        records.extend((0..).zip(deeds).map(|(minute, deed)| event(minute, deed)));
        ledger(&path, records).close().expect("it closes");
        let by = || {
            let reader = ledger::Reader::open(&path).expect("a reader");
            recorded(&reader).expect("readable").map(|checked| checked.by)
        };
        assert_eq!(by().as_deref(), Some("Eva Klein"));
        let connection = rusqlite::Connection::open(&path).expect("a database");
        connection.execute_batch("DROP TRIGGER record_stays").expect("it was there");
        for damaged in [first + 2, first + 1] {
            let sql = "UPDATE record SET bytes = x'00' WHERE idx = ?1";
            assert_eq!(connection.execute(sql, [damaged.cast_signed()]).expect("changed"), 1);
            assert_eq!(by().as_deref(), Some("eva"), "record {damaged}");
        }
    }

    // Own promise: a check that panics leaves the place to the next one, and is told of.
    #[test]
    fn a_panic_does_not_end_checking() {
        let checking = Checking::default();
        let turn = checking.begin("eva", 9).expect("the place is free");
        assert!(checking.begin("max", 9).is_none(), "one at a time");
        let made = std::thread::spawn(move || {
            let _turn = turn;
            panic!("a mistake in a check");
        });
        assert!(made.join().is_err());
        assert!(checking.stands().failed.as_ref().is_some_and(|said| said.contains("error[bug]")));
        assert!(checking.begin("max", 9).is_some());
    }
}
