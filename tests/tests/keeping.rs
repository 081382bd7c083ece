//! The record is kept for years: held, backed up, restored, brought to newer formats, filled up
//! from files, and not lost where the disk is full. Real processes and files.
//!
//! ```text
//! KILLS=300 cargo test --release --features failpoints --test tests keeping::kills -- --nocapture
//! ```

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

use std::path::{Path, PathBuf};

use rinseward::core::record::Body;
use rinseward::ledger::{Inspected, inspect};

use crate::crash::kitchen::{Site, rinseward, text};
use crate::ledger::fixture::records;

#[path = "keeping/backup.rs"]
mod backup;
#[path = "support/device.rs"]
pub(crate) mod device;
#[path = "keeping/full.rs"]
mod full;
#[path = "keeping/hold.rs"]
mod hold;
#[path = "keeping/import.rs"]
mod import;
#[path = "keeping/kills.rs"]
mod kills;
#[path = "keeping/migration.rs"]
mod migration;
#[path = "keeping/restore.rs"]
mod restore;

/// Where lines come by standard input.
const PIPE: &str = "\n[[source]]\nname = \"pipe\"\nkind = \"replay\"\n";

/// Runs a command and gives its exit code and what it said.
pub(crate) fn say(arguments: &[&str]) -> (Option<i32>, String) {
    let output = rinseward(arguments).output().expect("the program starts");
    let said = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(said).expect("UTF-8"))
}

/// Runs a command that must do what is asked, and gives its JSON.
fn json(arguments: &[&str]) -> serde_json::Value {
    let output = rinseward(arguments).output().expect("the program starts");
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("one JSON object")
}

fn kinds(path: &Path) -> Vec<&'static str> {
    records(path).iter().map(|record| record.body.kind()).collect()
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

fn whole(path: &Path) -> Inspected {
    inspect(path).unwrap_or_else(|error| panic!("{} is not whole: {error:?}", path.display()))
}

/// A closed ledger with the cycles of so many simulated hours, by `replay`.
pub(crate) fn kept(site: &Site, hours: f64) -> usize {
    let stream = crate::crash::kitchen::Stream::of(1, hours, 5);
    let trace = site.path("kept.senml");
    let lines: Vec<&str> = stream.packs.iter().map(|pack| pack.payload.as_str()).collect();
    std::fs::write(&trace, lines.join("\n")).expect("a temporary file");
    let (configuration, ledger) = (site.configuration(), site.ledger());
    let (code, said) =
        say(&["replay", "--config", text(&configuration), "--json", "--ledger", text(&ledger), text(&trace)]);
    assert_eq!(code, Some(0), "{said}");
    let cycles = records(&ledger).iter().filter(|record| matches!(record.body, Body::Cycle(_))).count();
    assert!(cycles > 3, "{cycles} cycles");
    cycles
}

// Own rule: a name on record is one line of at most 200 bytes that a hand can write, whichever
// command takes it (`core::logbook::name`).
#[test]
fn a_name_on_record_is_one_line() {
    let site = Site::new(1, PIPE);
    let (ledger, configuration, out) = (site.ledger(), site.configuration(), site.path("out.sqlite"));
    kept(&site, 0.15);
    json(&["backup", "--ledger", text(&ledger), "--out", text(&out), "--json"]);
    let file = site.path("kept.senml");
    let before = records(&ledger);
    let long = "a".repeat(201);
    for name in [&*long, "Ana\nBen", "Ana\u{1b}[2J", " ", ""] {
        for words in [
            &["restore", text(&out), "--to", text(&ledger), "--force", "--by", name][..],
            &["import", text(&file), "--config", text(&configuration), "--by", name],
            &["key", "rotate", "--config", text(&configuration), "--by", name],
            &["enter", "supply", "dm1", "--config", text(&configuration), "--by", name],
        ] {
            let (code, said) = say(words);
            assert_eq!((code, said.contains("the name ")), (Some(64), true), "{words:?}: {said}");
            assert!(!said.contains('\u{1b}'), "{said}");
        }
    }
    assert_eq!(records(&ledger), before, "nothing was changed");
}

/// Polls until it holds, at most a minute.
fn until(holds: impl Fn() -> bool, otherwise: impl Fn() -> String) {
    crate::alerts::office::until(holds, otherwise);
}
