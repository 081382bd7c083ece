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

// Own promise: what nobody can read may have held a lawful hold, so that one is switched on; whoever
// knows better says so, at once or afterwards.
#[test]
fn a_hold_that_nobody_can_read_is_taken_to_be_there() {
    let site = Site::new(1, PIPE);
    let (ledger, configuration, out) = (site.ledger(), site.configuration(), site.path("out.sqlite"));
    kept(&site, 0.15);
    json(&["backup", "--ledger", text(&ledger), "--out", text(&out), "--json"]);
    let on = ["hold", "on", "--reason", "a case", "--by", "Ana", "--config", text(&configuration)];
    assert_eq!(say(&on).0, Some(0));
    let whole_before = fs::read(&ledger).expect("a file");
    let damaged_hold = || {
        fs::write(&ledger, &whole_before).expect("our own file");
        let connection = rusqlite::Connection::open(&ledger).expect("a second connection");
        let sql = "DROP TRIGGER record_stays; UPDATE record SET bytes = x'7b7d' WHERE kind = 'lawful-hold';";
        connection.execute_batch(sql).expect("a damaged record");
    };
    let scrambled = || fs::write(&ledger, "scrambled").expect("our own file");
    let breaks: [&dyn Fn(); 2] = [&damaged_hold, &scrambled];
    for break_it in breaks {
        for (more, expected) in [(&[][..], true), (&["--without-hold"][..], false)] {
            break_it();
            let restore = ["restore", text(&out), "--to", text(&ledger), "--force", "--by", "Ben", "--json"];
            let told = json(&[&restore[..], more].concat());
            assert_eq!(
                (&told["hold_switched_on"], &told["holds_kept"]),
                (&expected.into(), &0.into()),
                "{told}"
            );
            let status = json(&["hold", "status", "--ledger", text(&ledger), "--json"]);
            assert_eq!(status["in_force"], expected, "{status}");
            if expected {
                let reason = status["holds"][0]["reason"].as_str().expect("a reason");
                assert!(reason.contains("cannot be read") && reason.contains("hold off"), "{reason}");
            }
            whole(&ledger);
        }
    }
    // In words, and ended by hand.
    scrambled();
    let (code, said) = say(&["restore", text(&out), "--to", text(&ledger), "--force"]);
    assert_eq!((code, said.contains("until `rinseward hold off`")), (Some(0), true), "{said}");
    let off = ["hold", "off", "--reason", "settled", "--by", "Ana", "--config", text(&configuration)];
    assert_eq!(say(&off).0, Some(0));
    let status = json(&["hold", "status", "--ledger", text(&ledger), "--json"]);
    assert_eq!(status["in_force"], false);
}

// A backup from before a new key names the old one: that is said, with what to do, and both ways of
// doing it lead to a ledger that is signed again.
#[test]
fn a_backup_from_before_a_new_key_says_which_key_is_in_force() {
    let site = Site::new(1, PIPE);
    let (ledger, configuration, out) = (site.ledger(), site.configuration(), site.path("out.sqlite"));
    let (secret, saved) = (beside(&ledger, ".signing-key"), site.path("saved"));
    let start = || {
        let mut gateway = Gateway::start(&site, "");
        // Its key is in its place with the first checkpoint.
        super::until(|| secret.exists() && !beside(&ledger, ".signing-key.next").exists(), || gateway.log());
        drop(gateway.pipe());
        assert!(gateway.end().success());
    };
    start();
    let key = || json(&["key", "show", "--ledger", text(&ledger), "--json"]);
    let first = key()["key"].clone();
    json(&["backup", "--ledger", text(&ledger), "--out", text(&out), "--json"]);
    fs::copy(&secret, &saved).expect("a copy");
    let restore = || json(&["restore", text(&out), "--to", text(&ledger), "--force", "--json"]);
    assert_eq!(restore()["key"]["standing"], "fits", "nothing happened to the key");
    let (code, said) = say(&["key", "rotate", "--by", "Ana", "--config", text(&configuration)]);
    assert_eq!(code, Some(0), "{said}");
    let second = key()["key"].clone();
    let told = restore();
    assert_eq!(told["key"]["standing"], "other", "{told}");
    assert_eq!((&told["key"]["on_record"], &told["key"]["beside"]), (&first, &second));
    let (_, said) = say(&["restore", text(&out), "--to", text(&ledger), "--force"]);
    let first_text = first.as_str().expect("a key");
    for part in [first_text, "key rotate", "nothing is signed with it", "move it away"] {
        assert!(said.contains(part), "{part}: {said}");
    }
    assert!(!said.contains("PRIVATE"), "no secret is printed");

    // The right one is put back: the ledger is signed by it again.
    fs::copy(&saved, &secret).expect("our own file");
    start();
    assert_eq!(key()["key"], first);
    // Or it is moved away: a new one is made, and that the one before was lost is on record.
    assert_eq!(restore()["key"]["standing"], "fits");
    fs::remove_file(&secret).expect("our own file");
    assert_eq!(restore()["key"]["standing"], "missing");
    start();
    let third = key();
    assert!(third["key"] != first && third["key"] != second, "{third}");
    assert_eq!(third["change"], "lost", "{third}");
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

// A mistyped path is told as that, and leaves nothing behind.
#[test]
fn what_is_no_backup_is_told_and_nothing_is_left() {
    let site = Site::new(1, PIPE);
    let (ledger, other) = (site.ledger(), site.path("notes.txt"));
    fs::write(&other, "no ledger").expect("a temporary file");
    let before = ending(&site, "");
    for (from, part) in [
        (site.path("nowhere.sqlite"), "there is no such backup"),
        (other, "this is no backup of a ledger"),
        (site.path(""), "this is a directory, not a backup"),
    ] {
        let (code, said) = say(&["restore", text(&from), "--to", text(&ledger)]);
        assert_eq!((code, said.contains(part)), (Some(74), true), "{said}");
        assert!(said.contains("error[backup-failed]") && said.contains("nothing was changed"), "{said}");
        assert!(said.contains("the file that rinseward backup made"), "{said}");
        assert_eq!(ending(&site, ""), before, "{said}");
    }
}
