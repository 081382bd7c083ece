//! Exports from outside: the command on a ledger of the real writer, read back by parsers of
//! other hands (Python's csv, the crate csv, a validator of JSON Schema 2020-12).

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use jiff::tz::TimeZone;
use rinseward::core::alert::doubts::Doubts;
use rinseward::core::record::{Body, Record};
use rinseward::ledger::{Commit, NewRecord, Reader};
use rinseward::report::csv::cycle_cells;
use serde_json::Value;
use sha2::Digest as _;
use tempfile::TempDir;

use crate::ledger::fixture::{commit, open, trace};

#[path = "export/records.rs"]
pub(crate) mod records;

use records::{HOSTILE, NOON_S, records};

struct Site {
    directory: TempDir,
}

impl Site {
    fn new() -> Self {
        let site = Self { directory: TempDir::new().expect("room for a directory") };
        let (writer, _) = open(&site.ledger());
        for record in records() {
            let with_trace = matches!(&record.body, Body::Cycle(cycle) if cycle.trace_sha256.is_some());
            let trace = with_trace.then(|| trace(NOON_S));
            let records = vec![NewRecord { record, trace }];
            commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
        }
        site
    }

    fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    fn ledger(&self) -> PathBuf {
        self.path("ledger.sqlite")
    }

    fn export(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .args(["export", "--ledger"])
            .arg(self.ledger())
            .args(arguments)
            .env_remove("RUST_LOG")
            .env("TZ", "Asia/Tokyo")
            .stdin(Stdio::null())
            .output()
            .expect("the program starts")
    }

    /// An export that must succeed, and says beside what it is asked for only what it came to; gives what is on
    /// standard output.
    fn done(&self, arguments: &[&str]) -> String {
        let output = self.export(arguments);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        let out = String::from_utf8(output.stdout).expect("UTF-8");
        assert!(output.status.success(), "{arguments:?}: {told}");
        let standard = told.starts_with("Exported, ") && told.lines().count() == 2;
        assert!(standard || told.is_empty() && out.starts_with("Exported, "), "{arguments:?}: {told}");
        out
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.directory.path()).expect("the directory");
        let mut names: Vec<String> = entries
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.retain(|name| !name.starts_with("ledger.sqlite"));
        names.sort();
        names
    }
}

fn shown(path: &Path) -> &str {
    path.to_str().expect("temporary paths are text")
}

/// Runs `exported.py` with the Python of the peers, and reads its answer.
fn python(arguments: &[&str]) -> Value {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let output = Command::new(root.join("target/peers/bin/python"))
        .arg(root.join("tests/tests/support/exported.py"))
        .args(arguments)
        .output()
        .expect("target/peers is made by tests/all");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

fn schema(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("deploy/export/{name}.schema.json"))
}

/// A table read by the crate csv: each row by column.
fn rows(path: &Path) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(path).expect("a table");
    reader.deserialize().map(|row| row.expect("a row with as many cells as the header")).collect()
}

#[test]
fn every_table_reads_back_in_two_parsers_and_holds_no_formula() {
    let site = Site::new();
    let folder = site.path("year");
    site.done(&["--form", "csv", "--year", "2026", "--out", shown(&folder)]);
    let read = python(&["tables", shown(&folder)]);
    let tables = read.as_object().expect("tables");
    let names: Vec<&str> = tables.keys().map(String::as_str).collect();
    let expected = [
        "actions.csv",
        "alerts.csv",
        "calibrations.csv",
        "checks.csv",
        "cycles.csv",
        "days.csv",
        "gaps.csv",
        "remarks.csv",
        "service.csv",
    ];
    assert_eq!(names, expected);
    for (name, rows) in tables {
        let bytes = fs::read_to_string(folder.join(name)).expect("the table");
        let mut other = csv::ReaderBuilder::new().has_headers(false).from_reader(bytes.as_bytes());
        let other: Vec<Vec<String>> = other.deserialize().map(|row| row.expect("a row")).collect();
        let rows: Vec<Vec<String>> = serde_json::from_value(rows.clone()).expect("rows of cells");
        assert_eq!(rows, other, "{name} in both parsers");
        assert!(rows.len() > 1, "{name} has rows");
        for cell in rows.iter().flatten() {
            let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
            assert!(!formula || cell.parse::<f64>().is_ok(), "{name}: {cell:?}");
        }
    }
    let checks = rows(&folder.join("checks.csv"));
    let thermometer = checks.iter().find(|row| row["check"] == "thermometer").expect("it is there");
    assert_eq!(thermometer["shown (degC)"], "-0.5", "a number stays what it is");
    assert_eq!(thermometer["good (true, false, empty where not judged)"], "true");
    let strip = checks.iter().find(|row| row["check"] == "sanitizer").expect("it is there");
    assert_eq!(strip["by"], format!("'{HOSTILE}"), "an apostrophe in front, and nothing else changed");
    let cycles = rows(&folder.join("cycles.csv"));
    assert_eq!(cycles.len(), 3);
    assert_eq!(cycles[0]["rinse_started (RFC 3339 UTC)"], "2026-01-01T17:00:00Z");
    assert_eq!(cycles[0]["rinse_started (RFC 3339 local)"], "2026-01-01T12:00:00-05:00", "the site's zone");
    let days = rows(&folder.join("days.csv"));
    let first = days.iter().find(|row| row["machine"] == "dm1" && row["cold (1)"] == "1").expect("a day");
    assert_eq!((&*first["day (local date)"], &*first["pass (1)"]), ("2026-01-01", "1"));
}

#[test]
fn a_row_can_be_made_again_from_its_record() {
    let site = Site::new();
    let table = site.path("cycles.csv");
    site.done(&["--form", "csv", "--from", "2026-01-01", "--to", "2026-01-01", "--out", shown(&table)]);
    let zone = TimeZone::get("America/New_York").expect("a zone of the database");
    let mut reader = csv::Reader::from_path(&table).expect("a table");
    let rows: Vec<Vec<String>> = reader.deserialize().map(|row| row.expect("a row")).collect();
    let mut made = Vec::new();
    let ledger = Reader::open(&site.ledger()).expect("the ledger");
    let each = |index, _: &[u8], record: Record| {
        made.extend(cycle_cells(index, &record, &zone, &Doubts::default()));
        std::ops::ControlFlow::Continue(())
    };
    ledger.records(0, each).expect("every record");
    assert_eq!(rows, made);
}

// The golden ledger holds every kind and variant that can stand on record.
#[test]
fn whatever_can_stand_on_record_fits_the_published_schema() {
    let directory = tempfile::tempdir().expect("room for a directory");
    let (ledger, lines) = (directory.path().join("ledger.sqlite"), directory.path().join("records.jsonl"));
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/ledger-format-2.sqlite");
    fs::copy(&golden, &ledger).expect("the golden ledger is there");
    let exported = Command::new(env!("CARGO_BIN_EXE_rinseward"))
        .args([
            "export",
            "--form",
            "jsonl",
            "--year",
            "2026",
            "--out",
            shown(&lines),
            "--ledger",
            shown(&ledger),
        ])
        .output()
        .expect("the program starts");
    assert!(exported.status.success(), "{}", String::from_utf8_lossy(&exported.stderr));
    let valid = python(&["validate", shown(&schema("record")), shown(&lines)]);
    let text = fs::read_to_string(&lines).expect("lines");
    let wrong = text.lines().zip(valid.as_array().expect("a list")).filter(|(_, ok)| **ok != true);
    let wrong: Vec<&str> = wrong.map(|(line, _)| line).collect();
    assert!(wrong.is_empty() && text.lines().count() > 100, "not valid: {wrong:#?}");
}

#[test]
fn what_is_json_fits_the_published_schemas() {
    let site = Site::new();
    let (account, lines) = (site.path("account.json"), site.path("records.jsonl"));
    site.done(&["--form", "json", "--year", "2026", "--out", shown(&account)]);
    site.done(&["--form", "jsonl", "--year", "2026", "--out", shown(&lines)]);
    assert_eq!(python(&["validate", shown(&schema("account")), shown(&account)]), serde_json::json!([true]));
    let valid = python(&["validate", shown(&schema("record")), shown(&lines)]);
    let text = fs::read_to_string(&lines).expect("lines");
    let records: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let wrong: Vec<&Value> = records
        .iter()
        .zip(valid.as_array().expect("a list"))
        .filter(|(_, ok)| **ok != true)
        .map(|w| w.0)
        .collect();
    assert!(wrong.is_empty(), "not valid: {wrong:#?}");
    let kind = |line: &Value| line["record"]["body"].as_object().and_then(|body| body.keys().next().cloned());
    let mut kinds: Vec<String> = records.iter().filter_map(kind).collect();
    kinds.sort();
    kinds.dedup();
    assert_eq!(kinds.len(), 26, "a record of each kind: {kinds:?}");
    let ledger = Reader::open(&site.ledger()).expect("the ledger");
    assert_eq!(records.len() as u64, ledger.size().expect("its size"));
    let each = |_, bytes: &[u8], _| {
        assert!(text.contains(std::str::from_utf8(bytes).expect("JSON is text")), "as it is stored");
        std::ops::ControlFlow::Continue(())
    };
    ledger.records(0, each).expect("every record");

    // The schemas can refuse: each of these changes makes a valid one invalid.
    let whole: Value = serde_json::from_str(&fs::read_to_string(&account).expect("it")).expect("JSON");
    let cycle = records.iter().find(|line| line.get("row").is_some()).expect("a cycle").clone();
    type Change = fn(&mut Value);
    let changes: [(&str, &Value, Change); 6] = [
        ("account", &whole, |account| account["extra"] = 1.into()),
        ("account", &whole, |account| account["machines"][0]["counts"]["cold"] = (-1).into()),
        ("account", &whole, |account| account["from"] = "yesterday".into()),
        ("record", &cycle, |line| line["record"]["body"]["cycle"]["verdict"] = "fine".into()),
        ("record", &cycle, |line| line["record"]["body"] = serde_json::json!({"oven": {}})),
        ("record", &cycle, |line| line["row"] = Value::Null),
    ];
    for (name, valid, change) in changes {
        let mut changed = valid.clone();
        change(&mut changed);
        let file = site.path("changed.json");
        fs::write(&file, format!("{changed}\n")).expect("a file");
        assert_eq!(python(&["validate", shown(&schema(name)), shown(&file)]), serde_json::json!([false]));
    }
}

#[test]
fn the_account_says_what_was_recorded() {
    let site = Site::new();
    let account: Value =
        serde_json::from_str(&site.done(&["--form", "json", "--day", "2026-01-01", "--out", "-"]))
            .expect("JSON");
    assert_eq!((&account["site"], &account["zone"]), (&"Harbour kitchen".into(), &"America/New_York".into()));
    assert_eq!(
        (&account["from"], &account["to"]),
        (&"2026-01-01T05:00:00Z".into(), &"2026-01-02T05:00:00Z".into())
    );
    let own = &account["machines"][0];
    assert_eq!((&own["counts"]["cold"], &own["counts"]["pass"]), (&1.into(), &1.into()));
    let exception = &own["exceptions"][0];
    assert_eq!((&exception["index"], &exception["alerts"]), (&1.into(), &serde_json::json!([1])));
    assert_eq!(exception["trace"]["rinse"].as_array().map(Vec::len), Some(48), "its trace");
    assert_eq!(own["gaps"].as_array().map(Vec::len), Some(2), "the probe, and the service since it stopped");
    assert_eq!(account["alerts"][0]["actions"][0]["done"], "@SUM(A1)", "JSON needs no apostrophe");
    let told = |kind: &str| {
        let events = account["service"].as_array().expect("a list");
        events.iter().filter(|event| event["kind"] == kind).count()
    };
    assert_eq!((told("wiring-proof"), told("sign-off")), (1, 2));
    let only = site.done(&["--form", "json", "--day", "2026-01-01", "--machine", "dm2", "--out", "-"]);
    let only: Value = serde_json::from_str(&only).expect("JSON");
    assert_eq!(only["machines"].as_array().map(Vec::len), Some(1));
    assert_eq!(only["machines"][0]["machine"], "dm2");
    assert!(only["checks"].as_array().is_some_and(Vec::is_empty), "they are of dm1");
    // A part is never called like the whole, which stands in the same folder.
    let tables = site.path("tables");
    for machine in [&[][..], &["--machine", "dm2"]] {
        let asked = ["--form", "csv", "--day", "2026-01-01", "--out", shown(&tables)];
        site.done(&[&asked[..], machine].concat());
    }
    for name in ["cycles.csv", "cycles_only-dm2.csv", "alerts.csv", "alerts_only-dm2.csv"] {
        assert!(tables.join(name).exists(), "{name}");
    }
    for (span, day) in [("future", "2031-01-01"), ("empty", "2025-06-01")] {
        // That the ledger begins later is said, see below.
        let output = site.export(&["--form", "json", "--day", day, "--out", "-"]);
        assert!(output.status.success(), "{span}");
        let account: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        let racks = account["machines"].as_array().expect("a list").iter();
        assert!(racks.clone().all(|machine| machine["days"].as_array().is_some_and(Vec::is_empty)), "{span}");
    }
}

#[test]
fn a_damaged_record_is_named_and_the_rest_is_there() {
    let site = Site::new();
    let connection = rusqlite::Connection::open(site.ledger()).expect("the ledger");
    connection
        .execute_batch(
            "DROP TRIGGER record_stays;
             UPDATE record SET bytes = CAST(replace(CAST(bytes AS TEXT), 'dm1', 'dm9') AS BLOB) WHERE idx = 2;
             UPDATE record SET bytes = X'00' WHERE idx = 8;",
        )
        .expect("the changes");
    drop(connection);
    for (form, missing, damaged) in [("json", "", "2, 8"), ("jsonl", "", "2, 8"), ("csv", "dm9", "2")] {
        let output = site.export(&["--form", form, "--day", "2026-01-01", "--out", "-"]);
        let (out, told) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        assert!(output.status.success(), "{form}: {told}");
        assert!(
            told.contains("warning[ledger-damaged]") && told.contains(&format!("read: {damaged}\n")),
            "{told}"
        );
        assert!(out.contains("dm2"), "{form} has the others");
        assert!(missing.is_empty() || !out.contains(missing), "{form} has nothing of the damaged one");
        if form == "json" {
            let account: Value = serde_json::from_str(&out).expect("JSON");
            assert_eq!(account["damaged"], serde_json::json!([2, 8]));
        }
    }
}

#[test]
fn nothing_is_written_over_and_nothing_is_left_by_halves() {
    let site = Site::new();
    let table = site.path("cycles.csv");
    let out = shown(&table);
    let told = site.done(&["--form", "csv", "--day", "2026-01-01", "--out", out]);
    let whole = fs::read(&table).expect("the table");
    let hash: String = sha2::Sha256::digest(&whole).iter().map(|byte| format!("{byte:02x}")).collect();
    assert!(told.contains(&format!("{out}: {} bytes, SHA-256 {hash}", whole.len())), "{told}");
    let refused: [(&[&str], i32, &str); 11] = [
        (&["--form", "csv", "--day", "2026-01-02", "--out", "-", "--paper", "letter"], 64, "--paper"),
        (&["--form", "json", "--day", "2026-01-02", "--out", "-", "--scale", "f"], 64, "in °C"),
        (&["--form", "jsonl", "--day", "2026-01-02", "--out", "-", "--language", "es"], 64, "--language"),
        (&["--form", "evidence", "--day", "2026-01-02", "--out", "-", "--language", "en"], 64, "--form pdf"),
        (&["--form", "csv", "--day", "2026-01-02", "--out", "-", "--all-traces"], 64, "--form evidence"),
        (&["--form", "csv", "--day", "2026-01-02", "--out", out], 74, "--force"),
        (&["--form", "csv", "--day", "2026-01-01", "--machine", "dm7", "--out", "-"], 64, "dm1, dm2"),
        (&["--form", "json", "--day", "2026-01-01", "--out", "/nowhere/account.json"], 74, "No such file"),
        (&["--form", "csv", "--out", "-"], 64, "--from"),
        (&["--form", "csv", "--from", "2026-01-02", "--to", "2026-01-01", "--out", "-"], 64, "empty"),
        (&["--form", "oven", "--day", "2026-01-01", "--out", "-"], 64, "jsonl"),
    ];
    for (arguments, code, told) in refused {
        let output = site.export(arguments);
        let err = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {err}");
        assert!(err.contains(told), "{arguments:?} should tell «{told}»: {err}");
        assert!(output.stdout.is_empty());
    }
    assert_eq!(fs::read(&table).expect("the table"), whole, "left as it was");
    site.done(&["--form", "csv", "--day", "2026-01-02", "--out", out, "--force"]);
    assert_ne!(fs::read(&table).expect("the table"), whole, "written over by order");
    assert_eq!(site.names(), ["cycles.csv"], "nothing beside it");
}

// Nothing on record is not the same as nothing that happened.
#[test]
fn a_span_before_the_ledger_begins_is_told() {
    let site = Site::new();
    for form in ["json", "jsonl"] {
        let out = site.path(form);
        let before = site.export(&["--form", form, "--day", "1999-12-31", "--out", shown(&out)]);
        let told = String::from_utf8_lossy(&before.stderr).into_owned();
        assert!(before.status.success(), "{told}");
        for part in ["warning[export-before]", "the ledger begins later", "its first record is of 2026-"] {
            assert!(told.contains(part), "{part}: {told}");
        }
    }
    let out = site.path("ahead");
    let ahead = site.export(&["--form", "json", "--day", "2999-12-31", "--out", shown(&out)]);
    let told = String::from_utf8_lossy(&ahead.stderr).into_owned();
    assert!(ahead.status.success() && told.contains("warning[export-ahead]"), "{told}");
    assert!(told.contains("it has not begun") && told.contains("by its clock it is "), "{told}");
}
