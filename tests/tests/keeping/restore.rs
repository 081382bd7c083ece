//! A ledger that goes on from a backup.

use std::fs;
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;

use rinseward::core::record::Body;
use rustix::process::Signal;

use super::{PIPE, beside, json, kept, kinds, records, say, whole};
use crate::crash::gateway::Gateway;
use crate::crash::kitchen::{Site, Stream, text};

/// Files beside the ledger whose names end so.
fn ending(site: &Site, with: &str) -> Vec<PathBuf> {
    let directory = fs::read_dir(site.path("")).expect("our own directory");
    let names = directory.map(|entry| entry.expect("an entry").path());
    names.filter(|path| path.to_string_lossy().contains(with)).collect()
}

// Own promises: what the ledger before had more is counted and told; it is kept; the new one
// says that it was restored, is whole, and the service goes on with it.
#[test]
fn a_ledger_goes_on_from_its_backup() {
    let site = Site::new(1, PIPE);
    let (ledger, configuration, out) = (site.ledger(), site.configuration(), site.path("out.sqlite"));
    kept(&site, 0.2);
    json(&["backup", "--ledger", text(&ledger), "--out", text(&out), "--json"]);
    let at_backup = records(&ledger);
    let (code, _) = say(&["enter", "supply", "dm1", "--by", "Cy", "--config", text(&configuration)]);
    assert_eq!(code, Some(0));
    let more = records(&ledger);
    assert_eq!(more.len(), at_backup.len() + 1);

    let restore = |more: &[&str]| say(&[&["restore", text(&out), "--to", text(&ledger)], more].concat());
    let gateway = Gateway::start(&site, "");
    super::until(|| gateway.log().contains("ledger is open"), || gateway.log());
    let (code, said) = restore(&["--force"]);
    assert_eq!((code, said.contains("stop the service")), (Some(74), true), "{said}");
    gateway.kill();
    let more = records(&ledger).len();
    let (code, said) = restore(&[]);
    assert_eq!((code, said.contains("give --force")), (Some(64), true), "{said}");
    assert_eq!(records(&ledger).len(), more, "nothing was changed");

    let told = json(&["restore", text(&out), "--to", text(&ledger), "--force", "--by", "Ana", "--json"]);
    assert_eq!(told["lost"]["what"], "more");
    assert_eq!(told["lost"]["records"].as_u64(), Some((more - at_backup.len()) as u64), "{told}");
    assert_eq!(told["record"].as_u64(), Some(at_backup.len() as u64));
    let aside = PathBuf::from(told["laid_aside"].as_str().expect("a path"));
    assert_eq!(records(&aside).len(), more, "the ledger before is kept");
    let now = records(&ledger);
    assert_eq!(now[..at_backup.len()], at_backup);
    let Body::Restored(restored) = &now[at_backup.len()].body else { panic!("{:?}", now.last()) };
    assert_eq!(restored.records, at_backup.len() as u64);
    assert!(restored.by.starts_with("Ana (user "), "{}", restored.by);
    assert_eq!(whole(&ledger).records, now.len() as u64);
    assert!(!beside(&ledger, ".restoring").exists() && ending(&site, ".restoring").is_empty());

    let mut gateway = Gateway::start(&site, "");
    let stream = Stream::of(1, 0.3, 5);
    let mut pipe = gateway.pipe();
    for pack in &stream.packs {
        writeln!(pipe, "{}", pack.payload).expect("it reads");
    }
    drop(pipe);
    assert!(gateway.end().success());
    assert_eq!(site.recorded_cycles().len(), site.expected_cycles(&stream).len(), "each rack once");
    assert_eq!(kinds(&ledger)[at_backup.len()], "restored");
    whole(&ledger);
}

// Own promise: no backup undoes a hold that was ordered after it was made.
#[test]
fn a_hold_outlives_a_backup_that_knows_nothing_of_it() {
    let site = Site::new(1, PIPE);
    let (ledger, configuration, out) = (site.ledger(), site.configuration(), site.path("out.sqlite"));
    kept(&site, 0.15);
    json(&["backup", "--ledger", text(&ledger), "--out", text(&out), "--json"]);
    let on = ["hold", "on", "--reason", "a case", "--by", "Ana", "--config", text(&configuration)];
    assert_eq!(say(&on).0, Some(0));
    for holds_kept in [1, 1] {
        let told = json(&["restore", text(&out), "--to", text(&ledger), "--force", "--json"]);
        assert_eq!(told["holds_kept"].as_u64(), Some(holds_kept), "{told}");
        let status = json(&["hold", "status", "--ledger", text(&ledger), "--json"]);
        assert_eq!((&status["in_force"], &status["holds"][0]["reason"]), (&true.into(), &"a case".into()));
    }
    whole(&ledger);
}

#[test]
fn what_is_not_whole_or_not_of_one_history_is_told() {
    let (site, other) = (Site::new(1, PIPE), Site::new(1, PIPE));
    let (ledger, out) = (site.ledger(), site.path("out.sqlite"));
    kept(&site, 0.2);
    kept(&other, 0.15);
    json(&["backup", "--ledger", text(&ledger), "--out", text(&out), "--json"]);
    let bytes = fs::read(&out).expect("a file");
    let bad = site.path("bad.sqlite");
    for cut in [0, 5_000, bytes.len() / 2] {
        fs::write(&bad, &bytes[..cut]).expect("a file");
        let before = records(&ledger);
        let (code, said) = say(&["restore", text(&bad), "--to", text(&ledger), "--force"]);
        assert_eq!((code, said.contains("nothing was changed")), (Some(74), true), "{cut}: {said}");
        assert_eq!(records(&ledger), before);
        assert!(ending(&site, ".replaced").is_empty() && ending(&site, ".restoring").is_empty());
    }
    // Another ledger in the place: its records are another history.
    let told = json(&["restore", text(&out), "--to", text(&other.ledger()), "--force", "--json"]);
    assert_eq!(told["lost"]["what"], "another_history", "{told}");
    assert_eq!(told["lost"]["from_record"].as_u64(), Some(0));
    // One that is behind has nothing more; one that is no ledger is kept too.
    let told = json(&["restore", text(&other.ledger()), "--to", text(&ledger), "--force", "--json"]);
    assert_eq!(told["lost"]["what"], "nothing", "{told}");
    fs::write(&ledger, "scrambled").expect("our own file");
    let told = json(&["restore", text(&out), "--to", text(&ledger), "--force", "--json"]);
    assert_eq!(told["lost"]["what"], "unknown", "{told}");
    let aside = told["laid_aside"].as_str().expect("a path");
    assert_eq!(fs::read_to_string(aside).expect("a file"), "scrambled");
    whole(&ledger);
}

// A gateway that moves: a backup with the secret key makes a new place the same signer; a place
// that has keys of its own keeps them.
#[test]
fn keys_move_only_where_there_are_none() {
    let site = Site::new(1, PIPE);
    let (ledger, out) = (site.ledger(), site.path("out.sqlite"));
    kept(&site, 0.15);
    fs::write(beside(&ledger, ".verify-key"), "public").expect("a file");
    fs::write(beside(&ledger, ".signing-key"), "secret").expect("a file");
    json(&["backup", "--ledger", text(&ledger), "--out", text(&out), "--with-signing-key", "--json"]);
    let new = site.path("new.sqlite");
    let told = json(&["restore", text(&out), "--to", text(&new), "--json"]);
    assert_eq!((told["keys_moved"].as_bool(), told["lost"].is_null()), (Some(true), true));
    let secret = beside(&new, ".signing-key");
    assert_eq!(fs::read_to_string(&secret).expect("a file"), "secret");
    assert_eq!(fs::metadata(&secret).expect("a file").permissions().mode() & 0o777, 0o600);
    fs::write(&secret, "its own").expect("our own file");
    let told = json(&["restore", text(&out), "--to", text(&new), "--force", "--json"]);
    assert_eq!(told["keys_moved"].as_bool(), Some(false));
    assert_eq!(fs::read_to_string(&secret).expect("a file"), "its own");
}

// A restore that ends at its last step but one leaves the place as it was; the next one is whole.
#[cfg(feature = "failpoints")]
#[test]
fn a_restore_that_is_killed_leaves_the_place_as_it_was() {
    let site = Site::new(1, PIPE);
    let (ledger, out) = (site.ledger(), site.path("out.sqlite"));
    kept(&site, 0.15);
    json(&["backup", "--ledger", text(&ledger), "--out", text(&out), "--json"]);
    let before = records(&ledger);
    for point in ["during-backup", "before-append-commit", "after-append-commit", "before-restore"] {
        let status =
            crate::crash::kitchen::rinseward(&["restore", text(&out), "--to", text(&ledger), "--force"])
                .env("FAILPOINTS", format!("ledger::{point}=return"))
                .stderr(std::process::Stdio::null())
                .status()
                .expect("the program starts");
        assert_eq!(std::os::unix::process::ExitStatusExt::signal(&status), Some(Signal::ABORT.as_raw()));
        assert_eq!(records(&ledger), before, "{point}");
        whole(&ledger);
    }
    json(&["restore", text(&out), "--to", text(&ledger), "--force", "--json"]);
    assert_eq!(whole(&ledger).records, before.len() as u64 + 1);
}
