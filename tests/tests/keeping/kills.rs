//! SIGKILL at random instants of keeping: a backup is whole or not there, an import is whole or
//! not there, a hold that was confirmed is in force, and a restore leaves one ledger or the other.

use std::fs;
use std::path::Path;
use std::process::Stdio;
use std::thread;
use std::time::Duration;

use rinseward::core::record::Body;
use rinseward::ledger::Reader;
use rinseward_simulator::dice::Dice;

use super::{PIPE, beside, json, kept, records, say, whole};
use crate::crash::killing::{AgainWith, report};
use crate::crash::kitchen::{Site, Stream, rinseward, text};

/// Kills where `KILLS` does not say, shared by what is killed.
const KILLS: u32 = 24;

/// Runs a command and kills it after some time; `true` where it had ended well before that.
fn killed_after(arguments: &[&str], after: Duration) -> bool {
    let mut child =
        rinseward(arguments).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the program starts");
    thread::sleep(after);
    // Has no effect on one that has ended.
    drop(child.kill());
    child.wait().expect("our own child").success()
}

/// How long a command takes, so that kills fall everywhere in it.
fn pace(dice: &mut Dice, longest_ms: f64) -> Duration {
    Duration::from_secs_f64(dice.uniform(0.0, longest_ms) / 1e3)
}

fn imports(ledger: &Path) -> usize {
    records(ledger).iter().filter(|record| matches!(record.body, Body::Import(_))).count()
}

#[test]
fn what_is_killed_is_whole_or_not_there() {
    let again = AgainWith::of_environment("keeping::kills", KILLS);
    let (seed, each) = (again.seed, again.kills.div_ceil(4));
    let mut dice = Dice::new(seed, 4);
    let site = Site::new(1, PIPE);
    let (ledger, configuration) = (site.ledger(), site.configuration());
    kept(&site, 0.5);
    let mut done = [0_u32; 4];

    for number in 0..each {
        let to = site.path(&format!("backup-{number}.sqlite"));
        let arguments = ["backup", "--ledger", text(&ledger), "--out", text(&to)];
        let ended = killed_after(&arguments, pace(&mut dice, 60.0));
        done[0] += u32::from(ended);
        assert!(!ended || to.exists(), "what was confirmed is there");
        if to.exists() {
            assert_eq!(records(&to), records(&ledger));
            whole(&to);
        } else {
            assert_eq!(say(&arguments).0, Some(0), "the next one succeeds");
        }
    }

    for number in 0..each {
        let on = number % 2 == 0;
        let word = if on { "on" } else { "off" };
        let arguments = ["hold", word, "--reason", "a case", "--by", "Ana", "--config", text(&configuration)];
        let ended = killed_after(&arguments, pace(&mut dice, 60.0));
        done[1] += u32::from(ended);
        let held = || !Reader::open(&ledger).and_then(|reader| reader.holds()).expect("readable").is_empty();
        assert!(!ended || held() == on, "what was confirmed is in force");
        if held() != on {
            assert_eq!(say(&arguments).0, Some(0));
        }
        whole(&ledger);
    }

    for number in 0..each {
        let seed = 100 + u64::from(number);
        let stream = Stream::of(1, 0.3, seed);
        let file = site.path(&format!("import-{number}.senml"));
        let lines: Vec<&str> = stream.packs.iter().map(|pack| pack.payload.as_str()).collect();
        fs::write(&file, lines.join("\n")).expect("a file");
        let arguments = ["import", text(&file), "--by", "Ana", "--config", text(&configuration)];
        let (before, records_before) = (imports(&ledger), records(&ledger));
        let ended = killed_after(&arguments, pace(&mut dice, 250.0));
        done[2] += u32::from(ended);
        let now = imports(&ledger);
        assert!(!ended || now == before + 1, "what was confirmed is there");
        if now == before {
            assert_eq!(records(&ledger), records_before, "nothing of it is there");
            assert_eq!(say(&arguments).0, Some(0), "and the next one succeeds");
        } else {
            assert_eq!(say(&arguments).0, Some(64), "it is there, whole");
        }
        assert_eq!(imports(&ledger), before + 1);
        whole(&ledger);
    }

    let backup = site.path("backup-0.sqlite");
    for _ in 0..each {
        let before = records(&ledger);
        let arguments = ["restore", text(&backup), "--to", text(&ledger), "--force"];
        let ended = killed_after(&arguments, pace(&mut dice, 80.0));
        done[3] += u32::from(ended);
        let now = records(&ledger);
        let is_restored = matches!(now.last().map(|record| &record.body), Some(Body::Restored(_)));
        assert!(now == before || is_restored, "one ledger or the other");
        assert!(!ended || is_restored);
        whole(&ledger);
        json(&["restore", text(&backup), "--to", text(&ledger), "--force", "--json"]);
        assert_eq!(records(&ledger).len(), records(&backup).len() + 1);
        assert!(!beside(&ledger, ".restoring").exists());
        // So that the next one has something to lose.
        let enter = ["enter", "supply", "dm1", "--by", "Cy", "--config", text(&configuration)];
        assert_eq!(say(&enter).0, Some(0));
    }
    report(&format!(
        "seed {seed}, {each} kills each; ended before the kill: backup {}, hold {}, import {}, restore {}",
        done[0], done[1], done[2], done[3]
    ));
    drop(again);
}
