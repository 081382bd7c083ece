//! What `history` and `alerts` say of a ledger that is damaged or may not be read.

use std::fs;
use std::process::{Command, Stdio};

use super::{ask, path, site, text};

// A damaged record is named, the rest is shown, and the exit code says that something is wrong.
#[test]
fn damage_is_named_and_the_rest_shown() {
    let site = site();
    rusqlite::Connection::open(&site.ledger)
        .expect("a second connection")
        .execute_batch(
            "DROP TRIGGER record_stays; UPDATE record SET bytes = x'7b7d' WHERE idx IN (3, 10, 6, 0);",
        )
        .expect("a damaged ledger");
    let source = ["--ledger", path(&site.ledger)];
    for (view, shown, named) in [
        (&["--show", "cycles", "--json"][..], 2, &["record 3"][..]),
        (&["--show", "checks", "--json"], 1, &["record 10"]),
        (&["--show", "alerts", "--json"], 1, &[]),
        (&["--show", "records", "--json"], 9, &["record 0", "record 6", "record 10"]),
        (&["--show", "days", "--json", "--from", "2026-03-08", "--to", "2026-03-08"], 2, &["record 0"]),
        (
            &["--show", "drift", "--json", "--from", "2026-03-08", "--to", "2026-03-08"],
            2,
            &["record 0", "record 3"],
        ),
        (&["--show", "in-force", "--at", "2026-03-09", "--json"], 0, &["record 0"]),
        (&["--record", "3", "--json"], 0, &["record 3"]),
    ] {
        let output = ask(&source, view);
        let (out, told) = (text(&output.stdout), text(&output.stderr));
        assert_eq!(out.lines().count(), shown, "{view:?}: {out}{told}");
        assert_eq!(output.status.code(), Some(if named.is_empty() { 0 } else { 74 }), "{view:?}: {told}");
        for name in named {
            assert!(told.contains(&format!("{name} is damaged")), "{view:?} should name {name}: {told}");
        }
    }
    let alerts = text(&ask(&source, &["--show", "alerts"]).stdout);
    assert!(alerts.contains("damaged, so perhaps more: record 6"), "{alerts}");
}

// What may not be read is no missing ledger: who may read it is said, and how to become one of them.
#[test]
fn a_ledger_that_may_not_be_read_is_told_as_that() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    let site = site();
    let directory = site.ledger.parent().expect("a directory");
    let may = |mode| fs::set_permissions(directory, fs::Permissions::from_mode(mode)).expect("the own place");
    let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    command.args(["history", "--ledger", path(&site.ledger)]).env_remove("RUST_LOG");
    may(0o050);
    // Who may do everything is nobody here: 65534 by the kernel's overflowuid.
    let is_root = fs::read_dir(directory).is_ok();
    if is_root {
        command.uid(65_534).gid(65_534);
    }
    let output = command.output();
    may(0o700);
    let output = output.expect("the program starts");
    let told = text(&output.stderr);
    assert_eq!(output.status.code(), Some(74), "{told}");
    for part in
        ["error[ledger-open]: this user may not read the ledger", "permission denied: it belongs to user «"]
    {
        assert!(told.contains(part), "{told}");
    }
    assert!(told.contains("join the group: sudo usermod -a -G ") && !told.contains("no ledger"), "{told}");
}

// The alerts that can be told are told; what is damaged among their records is named, since it may
// have been of any of them.
#[test]
fn the_list_of_alerts_goes_on_past_damage() {
    let site = site();
    let alerts = |words: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.arg("alerts").args(words).args(["--ledger", path(&site.ledger), "--json"]);
        let output = command.env_remove("RUST_LOG").stdin(Stdio::null()).output();
        let output = output.expect("the program starts");
        (output.status.code(), text(&output.stdout).lines().count(), text(&output.stderr))
    };
    let damage = |index: u64| {
        let connection = rusqlite::Connection::open(&site.ledger).expect("a second connection");
        let sql = format!(
            "DROP TRIGGER IF EXISTS record_stays; UPDATE record SET bytes = x'7b7d' WHERE idx = {index};"
        );
        connection.execute_batch(&sql).expect("a damaged ledger");
    };
    assert_eq!(alerts(&["list"]), (Some(0), 1, String::new()));
    // Its corrective action, then the record that raised it.
    for (index, listed, shown) in [(6, 1, 2), (5, 0, 0)] {
        damage(index);
        for (words, lines) in [(&["list"][..], listed), (&["show", "1"], shown)] {
            let (code, rows, told) = alerts(words);
            assert_eq!((code, rows), (Some(74), lines), "{words:?}: {told}");
            assert!(told.contains(&format!("record {index} is damaged")), "{words:?}: {told}");
        }
    }
}
