//! Ledgers of older formats are brought to the newest, and back to what they were where that fails.

use std::fs;
use std::path::{Path, PathBuf};

use rinseward::core::merkle::{Frontier, leaf_hash};
use rinseward::ledger::{LedgerError, Names, Reader, Writer};

use super::beside;
use crate::ledger::fixture::{NEW_YEAR, open, options, place, site};

fn golden(format: u32) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/golden/ledger-format-{format}.sqlite"))
}

/// Format, and the root over the records as they are stored, by nothing but their bytes.
fn look(path: &Path) -> (i64, [u8; 32]) {
    let connection = rusqlite::Connection::open(path).expect("a database");
    let format = connection.query_row("PRAGMA user_version", [], |row| row.get(0)).expect("a format");
    let mut tree = Frontier::default();
    let mut statement = connection.prepare("SELECT bytes FROM record ORDER BY idx").expect("records");
    let mut rows = statement.query([]).expect("records");
    while let Some(row) = rows.next().expect("a record") {
        tree.push(leaf_hash(&row.get::<_, Vec<u8>>(0).expect("bytes")));
    }
    (format, tree.root().0)
}

#[test]
fn each_older_format_becomes_the_newest_with_its_root_unchanged() {
    for format in [1, 2] {
        let (_directory, path) = place();
        fs::copy(golden(format), &path).expect("the golden ledger is there");
        let (found, root) = look(&path);
        assert_eq!(found, i64::from(format));
        let (writer, recovered) = open(&path);
        assert_eq!(recovered.root, root);
        writer.close().expect("an orderly end");
        assert_eq!(look(&path), (2, root), "format {format}");
        let copy = beside(&path, ".format-1.backup");
        assert_eq!(copy.exists(), format == 1, "only where the format changes");
        if copy.exists() {
            assert_eq!(look(&copy), (1, root), "the way back to the program before");
        }
    }
}

#[test]
fn a_format_of_a_later_program_is_refused_and_left_as_it_is() {
    let (_directory, path) = place();
    drop(open(&path));
    let connection = rusqlite::Connection::open(&path).expect("a ledger");
    connection.execute_batch("PRAGMA user_version = 9; PRAGMA wal_checkpoint(TRUNCATE)").expect("a format");
    drop(connection);
    let before = fs::read(&path).expect("a file");
    let (machines, channels) = site();
    let names = Names { machines: &machines, channels: &channels };
    let refused = Writer::open(&options(&path), names, NEW_YEAR).err();
    assert!(matches!(refused, Some(LedgerError::NewerFormat { found: 9, known: 2 })), "{refused:?}");
    assert!(matches!(Reader::open(&path), Err(LedgerError::NewerFormat { .. })));
    let (code, said) = super::say(&["history", "--ledger", path.to_str().expect("UTF-8")]);
    assert_eq!(code, Some(74));
    assert!(said.contains("ledger-version") && said.contains("formats up to 2"), "{said}");
    assert_eq!(fs::read(&path).expect("a file"), before);
}

// Where a copy cannot be made, the kitchen is not left without its gateway: the format is
// changed all the same.
#[test]
fn a_copy_that_cannot_be_made_does_not_stop_the_start() {
    let (_directory, path) = place();
    fs::copy(golden(1), &path).expect("the golden ledger is there");
    let (_, root) = look(&path);
    // A directory has the name that the copy is written under.
    fs::create_dir(beside(&path, ".format-1.backup.partial")).expect("a directory");
    let (_writer, recovered) = open(&path);
    assert_eq!(recovered.root, root);
    assert!(!beside(&path, ".format-1.backup").exists());
}

#[cfg(feature = "failpoints")]
mod killed {
    use super::*;
    use std::process::{Command, Stdio};

    /// Where the child finds the ledger it is to open.
    const CHILD: &str = "RINSEWARD_TEST_MIGRATION";

    // Not a test of its own: the process that the test below starts and that ends itself.
    #[test]
    fn child() {
        let Some(path) = std::env::var_os(CHILD).map(PathBuf::from) else { return };
        let _scenario = fail::FailScenario::setup();
        drop(open(&path));
    }

    // Shows that a start that ends in the middle leaves a ledger of the one format or of the
    // other, with the same records, and that the next start goes on.
    #[test]
    fn a_kill_in_the_middle_leaves_the_old_one_whole() {
        for (point, format) in [("during-backup", 1), ("before-migration", 1), ("after-migration", 2)] {
            let (_directory, path) = place();
            fs::copy(golden(1), &path).expect("the golden ledger is there");
            let (_, root) = look(&path);
            let status = Command::new(std::env::current_exe().expect("this program"))
                .args(["--exact", "keeping::migration::killed::child"])
                .env(CHILD, &path)
                .env("FAILPOINTS", format!("ledger::{point}=return"))
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .status()
                .expect("this program starts again");
            assert!(!status.success(), "{point}: the child was to be ended");
            assert_eq!(look(&path), (format, root), "{point}");
            assert_eq!(
                Reader::open(&path).and_then(|reader| reader.root()).expect("it reads"),
                root,
                "{point}"
            );
            let (writer, recovered) = open(&path);
            assert_eq!((recovered.root, recovered.next_input), (root, 607), "{point}");
            writer.close().expect("an orderly end");
            assert_eq!(look(&path), (2, root), "{point}");
            assert_eq!(look(&beside(&path, ".format-1.backup")), (1, root), "{point}");
            assert!(!beside(&path, ".format-1.backup.2").exists(), "{point}: one copy of one state");
        }
    }
}
