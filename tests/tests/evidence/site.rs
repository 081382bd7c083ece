//! A kitchen of two days, what was exported from its ledger, and `verify` on that.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use rinseward::core::cycle::verdict::{Finding, Verdict};
use rinseward::core::note::SigningKey;
use rinseward::core::record::{Body, Check};
use rinseward::ledger::{Commit, NewRecord};

use super::pdf;
use crate::ledger::fixture::{at, commit, cycle, open, plain, trace};
use crate::records::{SITE, configured, first_key, machine, put, traced};

/// Secret of the made-up site: public, for tests alone.
pub(super) fn key() -> SigningKey {
    SigningKey::from_seed("north-kitchen", &[3; 32]).expect("a name")
}

/// Two days of a kitchen: a cycle every ten minutes, each twentieth cold and with its readings.
fn records() -> Vec<NewRecord> {
    let toml = format!("{SITE}{}", machine("dm1", "probes = [\"wash\", \"rinse\"]"));
    let checked = Check::DrainAndClean { at: at(21_600.0), note: None, by: "Ana".to_owned() };
    let mut records = vec![
        first_key(at(0.0), &key()),
        configured(at(0.0), toml),
        put(at(60.0), Some("dm1"), Body::Check(checked)),
    ];
    for n in 1..288_u32 {
        let seconds = f64::from(n) * 600.0;
        if n % 20 != 0 {
            let mut record = cycle("dm1", seconds, Verdict::Pass);
            // Some pass after a wash that was too cold: each is told one by one, too.
            if let Body::Cycle(cycle) = &mut record.body
                && n % 20 == 7
            {
                cycle.findings = vec![Finding::WashLow { measured_c: 60.0, limit_c: 65.6 }];
            }
            records.push(plain(record));
            continue;
        }
        records.push(traced(cycle("dm2", seconds, Verdict::Cold), trace(seconds)));
    }
    records
}

/// A gateway's directory, and what was exported from it.
pub(super) struct Site {
    directory: tempfile::TempDir,
}

impl Site {
    pub(super) fn new() -> Self {
        Self::of(records(), "2026-01-01")
    }

    /// With these records, and exports of one day of the site.
    pub(super) fn of(records: Vec<NewRecord>, day: &str) -> Self {
        Self::made(records, day, "")
    }

    /// The same where one of them cannot be read.
    pub(super) fn damaged(records: Vec<NewRecord>, day: &str, index: u64) -> Self {
        let sql = format!(
            "DROP TRIGGER record_stays; UPDATE record SET bytes = x'7b7d' WHERE idx = {index};
             CREATE TRIGGER record_stays BEFORE UPDATE ON record BEGIN SELECT RAISE(ABORT, 'no'); END;"
        );
        Self::made(records, day, &sql)
    }

    fn made(records: Vec<NewRecord>, day: &str, sql: &str) -> Self {
        let directory = tempfile::tempdir().expect("room for a directory");
        let site = Self { directory };
        let ledger = site.path("ledger.sqlite");
        let (writer, _) = open(&ledger);
        commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
        drop(writer);
        let connection = rusqlite::Connection::open(&ledger).expect("a second connection");
        connection.execute_batch(sql).expect("what is done to it");
        drop(connection);
        for (ending, text, mode) in [
            ("signing-key", key().secret_text(), 0o600),
            ("verify-key", key().verifying().to_string(), 0o644),
        ] {
            let path = site.path(&format!("ledger.sqlite.{ending}"));
            std::fs::write(&path, text + "\n").expect("a key file");
            std::fs::set_permissions(&path, PermissionsExt::from_mode(mode)).expect("its mode");
        }
        for (form, name) in [
            ("evidence", "evidence.jsonl"),
            ("csv", "cycles.csv"),
            ("json", "account.json"),
            ("jsonl", "all.jsonl"),
        ] {
            let out = site.path(name);
            let arguments = ["export", "--form", form, "--day", day, "--out"];
            let done = rinseward(&arguments, &[&out, Path::new("--ledger"), &ledger]);
            assert!(done.status.success(), "{form}: {}", said(&done));
        }
        let attached = ["cycles.csv", "evidence.jsonl", "account.json"];
        let files: Vec<(&str, Vec<u8>)> = attached.iter().map(|name| (*name, site.read(name))).collect();
        std::fs::write(site.path(PAGELESS), pdf::with_files(&files)).expect("a PDF");
        site
    }

    /// The same site for each test that does not touch it.
    pub(super) fn shared() -> &'static Self {
        static SITE: OnceLock<Site> = OnceLock::new();
        SITE.get_or_init(Self::new)
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    pub(super) fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).expect("exported before")
    }

    pub(super) fn text(&self, name: &str) -> String {
        String::from_utf8(self.read(name)).expect("text")
    }

    pub(super) fn verify(&self, name: &str, with: Option<&str>) -> Output {
        verify(&self.path(name), with.map(|with| self.path(with)).as_deref(), &key())
    }
}

/// A PDF with the attachments of a report and one empty page.
pub(super) const PAGELESS: &str = "attached.pdf";

pub(super) fn rinseward(arguments: &[&str], paths: &[&Path]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    command.args(arguments).args(paths).output().expect("the command runs")
}

/// One that is not a report but holds what one does is checked without its pages.
pub(super) fn verify(path: &Path, with: Option<&Path>, key: &SigningKey) -> Output {
    let mut paths = vec![path];
    if path.ends_with(PAGELESS) {
        paths.insert(0, Path::new("--records-only"));
    }
    paths.extend(with.into_iter().flat_map(|with| [Path::new("--with"), with]));
    rinseward(&["verify", "--key", &key.verifying().to_string()], &paths)
}

pub(super) fn said(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    text(&output.stdout) + &text(&output.stderr)
}

/// Writes a changed file beside a new directory of its own and verifies it.
pub(super) fn verify_bytes(name: &str, bytes: &[u8], with: Option<&Path>) -> (Option<i32>, String) {
    let directory = tempfile::tempdir().expect("room for a directory");
    let path = directory.path().join(name);
    std::fs::write(&path, bytes).expect("written");
    let output = verify(&path, with, &key());
    (output.status.code(), said(&output))
}
