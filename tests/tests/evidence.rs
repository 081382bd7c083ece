//! Evidence by the command itself, checked by `verify` and by a program of other hands' libraries.

use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;

use rinseward::core::checkpoint::Checkpoint;
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::merkle::{Hash, TreeHead};
use rinseward::core::note::{Note, SigningKey};
use rinseward::ledger::Commit;

#[path = "evidence/account.rs"]
mod account;
#[cfg(feature = "pdf")]
#[path = "evidence/paper.rs"]
mod paper;
#[path = "evidence/pdf.rs"]
mod pdf;
#[path = "evidence/rotation.rs"]
mod rotation;
#[path = "evidence/site.rs"]
mod site;

use self::site::{PAGELESS, Site, key, rinseward, said, verify, verify_bytes};
use crate::ledger::fixture::{at, commit, cycle, open, plain};

#[test]
fn every_export_is_whole_with_nothing_but_the_key() {
    let site = Site::shared();
    for (name, with) in [
        ("evidence.jsonl", None),
        ("cycles.csv", Some("evidence.jsonl")),
        ("cycles.csv", Some(PAGELESS)),
        ("all.jsonl", Some("evidence.jsonl")),
        (PAGELESS, None),
    ] {
        let output = site.verify(name, with);
        assert_eq!(output.status.code(), Some(0), "{name}: {}", said(&output));
        let word = if name == PAGELESS { "whole, its printed pages not compared" } else { "whole" };
        assert!(said(&output).contains(&format!("{name}: {word}: «north kitchen»")), "{}", said(&output));
    }
}

// Own promise: a choice that says nothing to a file is refused, not passed over.
#[test]
fn a_choice_that_says_nothing_to_a_file_is_refused() {
    let (site, key) = (Site::shared(), key().verifying().to_string());
    for (option, name) in [("--records-only", "evidence.jsonl"), ("--with", "ledger.sqlite")] {
        let with = site.path("evidence.jsonl");
        let paths = if option == "--with" { vec![with.as_path()] } else { vec![] };
        let output =
            rinseward(&["verify", "--key", &key, option], &[&paths[..], &[&site.path(name)]].concat());
        let said = said(&output);
        assert!(output.status.code() == Some(2) && said.contains(&format!("leave {option} out")), "{said}");
    }
}

// Own promise: whoever gives the folder of an export is told which file of it.
#[test]
fn a_folder_is_asked_for_its_table() {
    let site = Site::shared();
    let folder = site.path("evidence.jsonl").parent().expect("a folder").to_owned();
    let output = verify(&folder, None, &key());
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("give one file of that folder"), "{}", said(&output));
}

// Regression: the table of a day beside the evidence of a month was NOT WHOLE, a fault for each rack
// of the other days. A row that is missing between two others stays a fault.
// Spreadsheets put the byte order mark of UTF-8 (RFC 3629 §6) before a text that they save.
#[test]
fn a_byte_order_mark_is_told_as_that() {
    let site = Site::shared();
    let marked = |name: &str| [b"\xEF\xBB\xBF", &*site.read(name)].concat();
    let evidence = site.path("evidence.jsonl");
    for name in ["cycles.csv", "evidence.jsonl"] {
        let (code, said) = verify_bytes(name, &marked(name), Some(&evidence));
        assert_eq!(code, Some(2), "{said}");
        for part in
            ["it begins with a byte order mark", "a spreadsheet or an editor saved it anew", "tail -c +4"]
        {
            assert!(said.contains(part), "{part}: {said}");
        }
    }
    let directory = tempfile::tempdir().expect("a temporary directory");
    let with = directory.path().join("evidence.jsonl");
    std::fs::write(&with, marked("evidence.jsonl")).expect("a temporary file");
    let (code, said) = verify_bytes("cycles.csv", &site.read("cycles.csv"), Some(&with));
    assert_eq!(
        (code, said.contains("its evidence begins with a byte order mark")),
        (Some(2), true),
        "{said}"
    );
}

// Own promise: of a rack that came after the evidence was made it is said that the evidence is too old, and not that
// somebody put it in.
#[test]
fn a_row_that_is_newer_than_the_evidence_is_told_so() {
    let site = Site::shared();
    let table = site.text("cycles.csv");
    let place =
        table.lines().next().and_then(|heads| heads.split(',').position(|head| head == "ledger_index"));
    let last = table.lines().last().expect("a row");
    let mut cells: Vec<&str> = last.split(',').collect();
    for (record, expected) in
        [("999999", "this evidence counts only those before record"), ("0", "the row was put in")]
    {
        cells[place.expect("a column of records")] = record;
        let later = format!("{table}{}\r\n", cells.join(","));
        let evidence = site.path("evidence.jsonl");
        let (code, said) = verify_bytes("cycles.csv", later.as_bytes(), Some(&evidence));
        assert_eq!(code, Some(1), "{said}");
        assert!(said.contains(expected), "{record}: {said}");
        let first =
            said.contains("the evidence is older than the table: export evidence of the same days now");
        assert_eq!(first, record == "999999", "{said}");
    }
}

#[test]
fn a_shorter_table_is_no_fault_and_a_hole_in_it_is_one() {
    let site = Site::shared();
    let table = String::from_utf8(site.read("cycles.csv")).expect("text");
    let lines: Vec<&str> = table.split_inclusive("\r\n").collect();
    let evidence = site.path("evidence.jsonl");
    let shorter = [&lines[..1], &lines[3..lines.len() - 2]].concat().concat();
    let (code, text) = verify_bytes("cycles.csv", shorter.as_bytes(), Some(&evidence));
    assert_eq!(code, Some(0), "{text}");
    // A cut table looks the same, and must not be called whole: regression, «none missing».
    for words in [
        "cycles.csv: whole as far as it goes: «north kitchen»",
        "4 racks of the evidence lie outside, all of which plainly passed",
        "2 sealed records of the evidence before its first row and 2 after its last one have no row in it",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(!text.contains("none missing, none added"), "{text}");
    // Each twentieth rack is cold, the first one in line 21.
    let cut = [&lines[..1], &lines[21..]].concat().concat();
    let (code, text) = verify_bytes("cycles.csv", cut.as_bytes(), Some(&evidence));
    assert_eq!(code, Some(0), "{text}");
    assert!(
        text.contains("20 racks of the evidence lie outside, 1 of which did not plainly pass: 1 cold"),
        "{text}"
    );
    let holed = [&lines[..5], &lines[6..]].concat().concat();
    let (code, text) = verify_bytes("cycles.csv", holed.as_bytes(), Some(&evidence));
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("is missing"), "{text}");
    for (name, bytes) in
        [("gaps.csv", &b"machine,probe\r\ndm1,rinse\r\n"[..]), ("account.json", b"{\"v\":1}")]
    {
        let (code, text) = verify_bytes(name, bytes, Some(&evidence));
        assert_eq!(code, Some(2), "{name}: {text}");
        assert!(text.contains("only that of the cycles"), "{name}: {text}");
    }
}

#[test]
fn what_cannot_be_checked_ends_with_2() {
    let site = Site::shared();
    let without = site.verify("cycles.csv", None);
    let nothing = site.verify("none.jsonl", None);
    let no_key = rinseward(&["verify", "--key", "north-kitchen+1"], &[&site.path("evidence.jsonl")]);
    for output in [&without, &nothing, &no_key] {
        assert_eq!(output.status.code(), Some(2), "{}", said(output));
        assert!(said(output).contains("error[verify-unchecked]"), "{}", said(output));
    }
    let bare = pdf::with_files(&[("cycles.csv", site.read("cycles.csv"))]);
    for (name, bytes) in
        [(PAGELESS, bare), (PAGELESS, site.read(PAGELESS)[..2_000].to_vec()), ("x.jsonl", b"{}".to_vec())]
    {
        let (code, text) = verify_bytes(name, &bytes, None);
        assert_eq!(code, Some(2), "{text}");
    }
}

#[test]
fn another_key_and_a_cut_file_end_with_1() {
    let site = Site::shared();
    let stranger = SigningKey::from_seed("north-kitchen", &[4; 32]).expect("a name");
    let output = verify(&site.path("evidence.jsonl"), None, &stranger);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    let whole = site.read("evidence.jsonl");
    for end in [whole.len() / 3, whole.len() / 2, whole.len() - 60] {
        let (code, text) = verify_bytes("evidence.jsonl", &whole[..end], None);
        assert_eq!(code, Some(1), "{text}");
        assert!(text.contains("it was cut short"), "{text}");
    }
}

/// A file, what of it is changed into what, and what must be said.
const CHANGES: [(&str, &str, &str, &str); 6] = [
    ("cycles.csv", "84.6", "94.6", "column «rinse_min (degC)» says «94.6»"),
    ("cycles.csv", ",cold,", ",pass,", "column «verdict» says «pass», and record"),
    ("all.jsonl", "\"dwell_s\":9.0", "\"dwell_s\":19.0", "column «record/body/cycle/dwell_s» says «19.0»"),
    ("evidence.jsonl", "84.6", "94.6", "the record was changed"),
    ("evidence.jsonl", "\"rinse\":[[", "\"rinse\":[[1,60.0],[", "the readings of the cycle were changed"),
    (
        "evidence.jsonl",
        "\"site\":\"north kitchen",
        "\"site\":\"south kitchen",
        "the site is called «south kitchen»",
    ),
];

#[test]
fn a_changed_cell_or_record_is_named() {
    let site = Site::shared();
    for (name, from, to, expected) in CHANGES {
        let text = site.text(name);
        let changed = text.replacen(from, to, 1);
        assert_ne!(text, changed, "{name} has «{from}»");
        let with = (name != "evidence.jsonl").then(|| site.path("evidence.jsonl"));
        let (code, said) = verify_bytes(name, changed.as_bytes(), with.as_deref());
        assert_eq!(code, Some(1), "{name}: {said}");
        assert!(said.contains(expected), "{name}, «{expected}»: {said}");
    }
}

#[test]
fn a_report_is_checked_through_what_is_inside() {
    let site = Site::shared();
    let files = ["cycles.csv", "evidence.jsonl", "account.json"];
    let cold = "\"counts\":{\"cold\":";
    for (changed, from, to, expected) in [
        ("cycles.csv", "84.6", "94.6", "column «rinse_min (degC)»"),
        ("account.json", cold, "\"counts\":{\"cold\":1", "account.json counts"),
        (
            "account.json",
            "\"by\":\"Ana\"",
            "\"by\":\"Bea\"",
            "account.json tells a check of record 2 otherwise than the sealed records",
        ),
        ("account.json", "north kitchen", "south kitchen", "of another site"),
        (
            "account.json",
            "\"rinse_median_c\":71.3,\"limit_c\"",
            "\"rinse_median_c\":81.3,\"limit_c\"",
            "account.json has another median of the settled minima of «dm2» on 2026-01-01 than",
        ),
        (
            "account.json",
            "\"rinse_min_c\":84.6,\"rinse_median_c\":84.6,\"days\"",
            "\"rinse_min_c\":84.7,\"rinse_median_c\":84.6,\"days\"",
            "account.json has another lowest settled minimum of «dm1» in all than",
        ),
        ("evidence.jsonl", "84.6", "94.6", "the record was changed"),
    ] {
        let inside: Vec<(&str, Vec<u8>)> = files
            .iter()
            .map(|name| {
                let text = site.text(name);
                let text = if *name == changed { text.replacen(from, to, 1) } else { text };
                (*name, text.into_bytes())
            })
            .collect();
        let (code, said) = verify_bytes(PAGELESS, &pdf::with_files(&inside), None);
        assert_eq!(code, Some(1), "{changed}: {said}");
        assert!(said.contains(expected), "{changed}, «{expected}»: {said}");
    }
}

// Own promise: nothing about the file that is not sealed may be dropped unseen.
#[test]
fn readings_that_were_taken_out_are_told_of() {
    let site = Site::shared();
    let text = site.text("evidence.jsonl");
    let traces = text.matches("\"trace\":{").count();
    let mut left = 0;
    let lines: Vec<String> = text
        .lines()
        .map(|line| match line.find(",\"trace\":{") {
            Some(place) if left == 0 => {
                left += 1;
                line[..place].to_owned() + "}"
            }
            _ => line.to_owned(),
        })
        .collect();
    let counted = |n| format!("\"traces\":{n}");
    let changed = lines.join("\n").replace(&counted(traces), &counted(traces - 1)) + "\n";
    let (code, said) = verify_bytes("evidence.jsonl", changed.as_bytes(), None);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("the readings that this cycle was judged on are not in the file"), "{said}");
}

#[test]
fn a_checkpoint_of_another_ledger_is_told_as_such() {
    let site = Site::shared();
    let bakery = SigningKey::from_seed("bakery", &[5; 32]).expect("a name");
    let head = TreeHead { size: 200, root: Hash([7; 32]) };
    let kept = site.path("bakery.txt");
    std::fs::write(&kept, Checkpoint::sign_at(head, at(0.0), &bakery).to_string()).expect("written");
    let (own, other) = (key().verifying().to_string(), bakery.verifying().to_string());
    let evidence = site.path("evidence.jsonl");
    for keys in [vec!["--key", &own], vec!["--key", &own, "--key", &other]] {
        let arguments = [&["verify"], &keys[..]].concat();
        let output = rinseward(&arguments, &[&evidence, Path::new("--checkpoint"), &kept]);
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains("of another ledger"), "{}", said(&output));
        assert!(said(&output).contains("«bakery»"), "{}", said(&output));
    }
}

// What the auditor kept speaks, whoever signed it, as beside a ledger: after a loss of the key the new one is given,
// and the one before signed what was kept. One that was changed since says nothing.
#[test]
fn a_kept_checkpoint_by_another_key_is_compared() {
    let site = Site::shared();
    let evidence = site.path("evidence.jsonl");
    let header = site.text("evidence.jsonl");
    let header: serde_json::Value =
        serde_json::from_str(header.lines().next().expect("a line")).expect("the header");
    let own = header["checkpoint"].as_str().expect("a note");
    let note = Note::parse(own).expect("a signed note");
    let sealed = Checkpoint::parse(note.unverified_text()).expect("a checkpoint");
    let before = SigningKey::from_seed(key().name(), &[6; 32]).expect("a name");
    let other = TreeHead { root: Hash([7; 32]), ..sealed.head };
    let changed = own.replacen(&sealed.head.size.to_string(), "1", 1);
    let file = site.path("kept.txt");
    for (kept, code, part) in [
        (
            Checkpoint::sign_at(sealed.head, at(0.0), &before).to_string(),
            0,
            "no key given signed the checkpoint in",
        ),
        (
            Checkpoint::sign_at(other, at(0.0), &before).to_string(),
            1,
            "no key given signed the checkpoint in",
        ),
        (own.to_owned(), 0, "the kept checkpoint of"),
        (changed, 2, "error[verify-unchecked]"),
    ] {
        std::fs::write(&file, &kept).expect("a temporary file");
        let arguments = ["verify", "--key", &key().verifying().to_string()];
        let output = rinseward(&arguments, &[&evidence, Path::new("--checkpoint"), &file]);
        let told = said(&output);
        assert_eq!((output.status.code(), told.contains(part)), (Some(code), true), "{kept}{told}");
    }
}

// Packed, a megabyte of one cell takes a thousandth of that: it is told, and not read to its end.
#[test]
fn what_is_longer_than_any_report_is_told_in_few_words() {
    let site = Site::shared();
    let inside = |changed: &str, bytes: Vec<u8>| {
        let files = ["cycles.csv", "evidence.jsonl", "account.json"];
        let of =
            |name: &&'static str| (*name, if *name == changed { bytes.clone() } else { site.read(name) });
        pdf::with_files(&files.iter().map(of).collect::<Vec<_>>())
    };
    let long = site.text("cycles.csv").replacen(",cold,", &format!(",\"{}\",", "cold\n".repeat(1 << 20)), 1);
    let (code, said) = verify_bytes(PAGELESS, &inside("cycles.csv", long.into_bytes()), None);
    assert_eq!(code, Some(1), "{said}");
    assert!(
        said.contains("is longer than any row of such a table: nothing from there on was read"),
        "{said}"
    );

    let mut account: serde_json::Value = serde_json::from_str(&site.text("account.json")).expect("JSON");
    let days = account["machines"][0]["days"].as_array_mut().expect("days");
    for number in 1..=28 {
        for month in 1..=10 {
            let mut day = days[0].clone();
            day["day"] = format!("1999-{month:02}-{number:02}").into();
            days.push(day);
        }
    }
    let (code, said) =
        verify_bytes(PAGELESS, &inside("account.json", account.to_string().into_bytes()), None);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.lines().count() < 70, "{}", said.lines().count());
    assert!(said.contains("more, not told one by one"), "{said}");
}

// A gateway whose key is out of reach exports what it has, and says what is not proved.
#[test]
fn what_an_export_does_not_seal_is_said() {
    let site = Site::new();
    let ledger = site.path("ledger.sqlite");
    let (writer, _) = open(&ledger);
    let records = vec![plain(cycle("dm1", 180_000.0, Verdict::Pass))];
    commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
    drop(writer);
    let export = |form: &str| {
        let arguments = ["export", "--form", form, "--day", "2026-01-01", "--out", "-"];
        let output = rinseward(&arguments, &[Path::new("--ledger"), &ledger]);
        assert!(output.status.success(), "{form}: {}", said(&output));
        String::from_utf8(output.stderr).expect("text")
    };
    // Everybody may read the secret: it is not used.
    let secret = site.path("ledger.sqlite.signing-key");
    std::fs::set_permissions(&secret, PermissionsExt::from_mode(0o644)).expect("its mode");
    let said = export("json");
    assert!(
        said.contains("no checkpoint could be made for the export: it names the newest there is"),
        "{said}"
    );
    assert!(
        said.contains(
            "1 record came after the checkpoint: it is in the export, and nothing proves what it says"
        ),
        "{said}"
    );
    std::fs::remove_file(&secret).expect("it was there");
    let said = export("evidence");
    assert!(said.contains("export-unsealed"), "{said}");
    assert!(said.contains("1 record came after the checkpoint: it is not in the evidence"), "{said}");
}

#[test]
fn the_answer_is_json_where_asked() {
    let site = Site::shared();
    let arguments = ["verify", "--json", "--records-only", "--key", &key().verifying().to_string()];
    let output = rinseward(&arguments, &[&site.path(PAGELESS)]);
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).expect("one JSON object");
    assert_eq!(answer["outcome"], "whole", "{answer}");
    assert_eq!(answer["pages"], "not-compared", "{answer}");
    assert_eq!(answer["key"], key().verifying().to_string());
}

#[test]
fn a_program_of_other_hands_libraries_agrees() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join("target/peers/bin/python");
    assert!(
        python.is_file(),
        "the peers of these tests are missing: python3 -m venv target/peers && \
         target/peers/bin/pip install -r tests/tests/alert/peers/requirements.txt"
    );
    let site = Site::shared();
    let check = |bytes: &[u8]| {
        let directory = tempfile::tempdir().expect("room for a directory");
        let path = directory.path().join("evidence.jsonl");
        std::fs::write(&path, bytes).expect("written");
        let script = root.join("tests/tests/verify/check_evidence.py");
        let output = Command::new(&python)
            .args([script.as_path(), &path])
            .arg(key().verifying().to_string())
            .output()
            .expect("Python runs");
        (output.status.success(), said(&output))
    };
    let text = site.text("evidence.jsonl");
    let (whole, told) = check(text.as_bytes());
    assert!(whole && told.contains("whole: records"), "{told}");
    let mut lines: Vec<&str> = text.lines().collect();
    lines.swap(20, 21);
    let one_more = format!("\"before\":[\"{}\",\"", "0".repeat(64));
    for changed in [
        text.replacen("84.6", "94.6", 1),
        text.replacen("\"rinse\":[[", "\"rinse\":[[1,60.0],[", 1),
        text.replacen("\"before\":[\"", &one_more, 1),
        lines.join("\n"),
    ] {
        let (whole, told) = check(changed.as_bytes());
        let (code, ours) = verify_bytes("evidence.jsonl", changed.as_bytes(), None);
        assert_eq!((whole, code), (false, Some(1)), "{told} {ours}");
    }
}
