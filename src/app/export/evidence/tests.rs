//! Evidence out of a real ledger, checked as an auditor checks it; then tampered with.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::time::Duration;

use super::*;
use crate::app::alerts::doubts;
use crate::app::fixture::{BEGAN, CONFIGURATION, at, comment, key, ledger, opening, plain, rack};
use crate::app::verify::{CannotCheck, ExportReport, verify_export};
use crate::core::alert::{AlertNumber, Condition, Earlier, Rack, Racks};
use crate::core::audit::Outcome;
use crate::core::effect::{Trace, TraceReading};
use crate::core::evidence::examine::Trust;
use crate::core::merkle::Leaves;
use crate::core::note::SigningKey;
use crate::core::record::{AlertChanged, AlertRaised, Change, CorrectiveAction};
use crate::core::units::Celsius;
use crate::ledger::{NewRecord, WholeChunks};
use crate::report::csv;

/// Cycles of the ledger, one a minute, so that its tree has three chunks.
const CYCLES: u64 = 2_500;

/// A cycle that begins in `minute` and is recorded in minute `recorded`; each hundredth is cold.
fn cycle(minute: u64, recorded: u64) -> NewRecord {
    let (machine, mut cycle) = rack(minute);
    let reading = |n: u64| TraceReading {
        at: cycle.rinse_started.plus(Duration::from_millis(250 * n)),
        celsius: Celsius(84.5 + 0.1 * (n % 3) as f64),
    };
    let trace = Trace { rinse: (0..48).map(reading).collect(), wash: (0..9).map(reading).collect() };
    let kept = cycle.verdict == Verdict::Cold;
    cycle.trace_sha256 = kept.then(|| trace.sha256().to_string());
    let new = plain(recorded, Some(machine), Body::Cycle(Box::new(cycle)));
    NewRecord { trace: kept.then_some(trace), ..new }
}

/// 0 the key, 1 the configuration, 2 to 2,501 the cycles of minutes 0 to 2,499, then what was added.
fn records() -> Vec<NewRecord> {
    let raised =
        AlertRaised { cause: Some(1_202), ..AlertRaised::new(AlertNumber(1), Condition::Cold, at(1_200)) };
    let action = CorrectiveAction {
        alert: AlertNumber(1),
        by: "Ana".to_owned(),
        racks: "washed again".to_owned(),
        done: "=booster reset".to_owned(),
        last_good: None,
        covers: Some(1),
    };
    let mut records = opening(&CONFIGURATION.replace("UTC", "America/New_York"));
    records.extend((0..CYCLES).map(|minute| cycle(minute, minute + 1)));
    records.push(plain(2_600, Some("dm1"), Body::AlertRaised(Box::new(raised)))); // 2,502
    records.push(plain(2_610, Some("dm1"), Body::CorrectiveAction(action))); // 2,503
    records.push(cycle(1_230, 2_620)); // 2,504, a second cycle of that minute, recorded late
    records.push(plain(2_630, Some("dm1"), comment(1_210, "the rack was empty"))); // 2,505
    records.push(cycle(2_640, 2_641)); // 2,506
    records
}

struct Site {
    directory: tempfile::TempDir,
}

impl Site {
    /// With records behind those of [`records`].
    fn with(more: Vec<NewRecord>) -> Self {
        let site = Self { directory: tempfile::tempdir().expect("room for a directory") };
        let records = records().into_iter().chain(more).collect();
        ledger(&site.ledger(), records).close().expect("it closes");
        site
    }

    fn new() -> Self {
        static LEDGER: OnceLock<Vec<u8>> = OnceLock::new();
        let site = Self { directory: tempfile::tempdir().expect("room for a directory") };
        let bytes = LEDGER.get_or_init(|| {
            drop(ledger(&site.ledger(), records()));
            std::fs::read(site.ledger()).expect("the closed ledger")
        });
        std::fs::write(site.ledger(), bytes).expect("a copy of the ledger");
        site
    }

    fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    fn ledger(&self) -> PathBuf {
        self.path("ledger.sqlite")
    }

    fn reader(&self) -> Reader {
        Reader::open(&self.ledger()).expect("a reader")
    }

    fn seal(&self, size: u64) -> Seal {
        let reader = self.reader();
        let head = reader.tree(size, |_, _| {}).expect("a tree").head();
        Seal {
            checkpoint: Checkpoint::sign(head, &key()).to_string(),
            key: key().verifying().to_string(),
            size,
            root: head.root.to_string(),
        }
    }

    /// Tampers with the ledger as somebody with the file may.
    fn sql(&self, statement: &str) {
        let connection = rusqlite::Connection::open(self.ledger()).expect("the file");
        connection.execute_batch(statement).expect("a statement");
    }

    /// Writes the evidence of minutes 1,190 to 1,240 and the table of its cycles.
    fn export(&self) -> EvidenceFacts {
        let mut evidence = Vec::new();
        let facts = write(
            &self.reader(),
            &asked(1_190, 1_240),
            &self.seal(self.reader().size().expect("a size")),
            &mut evidence,
            &mut Progress::unseen(),
        );
        std::fs::write(self.path("evidence.jsonl"), evidence).expect("written");
        let mut table = Vec::new();
        csv_table(&self.reader(), &mut table);
        std::fs::write(self.path("cycles.csv"), table).expect("written");
        facts.expect("evidence")
    }

    fn edit(&self, name: &str, change: impl FnOnce(String) -> String) {
        let text = std::fs::read_to_string(self.path(name)).expect("written before");
        let changed = change(text.clone());
        assert_ne!(text, changed, "something was changed");
        std::fs::write(self.path(name), changed).expect("written");
    }

    fn verify(&self, name: &str, with: Option<&str>) -> Result<ExportReport, CannotCheck> {
        let with = with.map(|name| self.path(name));
        verify_export(&self.path(name), with.as_deref(), trust(&key()), true)
    }

    fn codes(&self, name: &str, with: Option<&str>) -> Vec<(&'static str, Option<u64>, Option<u64>)> {
        let report = self.verify(name, with).expect("checked");
        assert_eq!(report.outcome == Outcome::Whole, report.flaws.is_empty());
        report.flaws.iter().map(|told| (told.code, told.line, told.record)).collect()
    }
}

fn trust(key: &SigningKey) -> Trust {
    Trust { keys: vec![key.verifying()], kept: Vec::new() }
}

fn asked(from: u64, to: u64) -> Asked {
    Asked {
        span: Span { from: at(from), to: at(to) },
        machines: Vec::new(),
        site: "north kitchen".to_owned(),
        zone: "America/New_York".to_owned(),
        made: at(3_000),
        traces: Traces::OfExceptions,
    }
}

fn csv_table(reader: &Reader, out: &mut Vec<u8>) {
    let filter = crate::ledger::CycleFilter {
        from: Some(at(1_190)),
        to: Some(at(1_240)),
        ..crate::ledger::CycleFilter::default()
    };
    let zone = jiff::tz::TimeZone::get("America/New_York").expect("a zone");
    let doubts = doubts::read(reader, reader.size().expect("a size")).expect("readable");
    let mut table = ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(out);
    table.write_record(csv::cycle_header()).expect("a vector takes everything");
    reader
        .cycles(&filter, |index, _, record| {
            let cells = csv::cycle_cells(index, &record, &zone, &doubts).expect("a cycle");
            table.write_record(cells).expect("a vector takes everything");
            ControlFlow::Continue(())
        })
        .expect("cycles");
}

#[test]
fn a_span_proves_itself_with_what_belongs_to_it() {
    let site = Site::new();
    let facts = site.export();
    // Recorded a minute after they began: minute 1,189 to 1,238, with one before and one after.
    assert_eq!(facts.stretch, (1_190, 1_242));
    assert_eq!((facts.sealed, facts.unsealed, facts.damaged.as_slice()), (2_507, 0, [].as_slice()));
    // The key, the configuration; the alert that a record of the span raised, its action, the late
    // cycle and the amendment. The cycle of minute 1,239 was recorded in minute 1,240.
    assert_eq!(facts.counted, Trailer { records: 52, apart: 6, traces: 1 });
    let report = site.verify("evidence.jsonl", None).expect("checked");
    assert_eq!(report.outcome, Outcome::Whole, "{report}");
    let report = site.verify("cycles.csv", Some("evidence.jsonl")).expect("checked");
    assert_eq!(report.outcome, Outcome::Whole, "{report}");
    assert!(report.holds.iter().any(|holds| holds.contains("the 51 rows")), "{report}");
}

// The last line is not sealed: whoever drops what a record of the file amends can count anew.
#[test]
fn what_an_amendment_speaks_of_must_be_there() {
    let site = Site::new();
    let mut evidence = Vec::new();
    // The span of the amendment alone, which is of a cycle of a day before.
    let facts = write(
        &site.reader(),
        &asked(2_625, 2_635),
        &site.seal(2_507),
        &mut evidence,
        &mut Progress::unseen(),
    )
    .expect("evidence");
    std::fs::write(site.path("evidence.jsonl"), evidence).expect("written");
    assert_eq!(site.codes("evidence.jsonl", None), []);
    let apart = facts.counted.apart;
    site.edit("evidence.jsonl", |text| {
        let left: Vec<&str> = text.lines().filter(|line| !line.starts_with("{\"index\":1210,")).collect();
        left.join("\n").replace(&format!("\"apart\":{apart}"), &format!("\"apart\":{}", apart - 1)) + "\n"
    });
    let found = site.codes("evidence.jsonl", None);
    assert!(matches!(found[..], [("amended-missing", Some(_), Some(2_505))]), "{found:?}");
}

// The last line is not sealed: whoever leaves the configuration out can count anew.
#[test]
fn a_site_that_no_record_names_is_told_as_not_proved() {
    let site = Site::new();
    site.export();
    let unnamed = || {
        let report = site.verify("evidence.jsonl", None).expect("checked");
        (
            report.outcome == Outcome::Whole,
            report.remarks.iter().any(|remark| remark.contains("no configuration in this file")),
        )
    };
    assert_eq!(unnamed(), (true, false));
    site.edit("evidence.jsonl", |text| {
        let left: Vec<&str> = text.lines().filter(|line| !line.starts_with("{\"index\":1,")).collect();
        left.join("\n").replace("\"apart\":6", "\"apart\":5") + "\n"
    });
    assert_eq!(unnamed(), (true, true));
}

// Own promise, as for diagnostics: a terminal obeys no file that is checked.
#[test]
fn what_a_file_says_fakes_no_line_of_the_answer() {
    let site = Site::new();
    site.export();
    site.edit("evidence.jsonl", |text| {
        text.replacen("north kitchen", "x»\\n  holds:  everything\\u001b[2J", 1)
    });
    let told = site.verify("evidence.jsonl", None).expect("checked").to_string();
    assert!(told.starts_with("NOT WHOLE") && told.contains("everything"), "{told}");
    assert!(!told.contains('\u{1b}') && !told.lines().any(|line| line.starts_with("  holds:")), "{told}");
}

#[test]
fn what_the_checkpoint_does_not_count_is_left_out_and_told() {
    let site = Site::new();
    let mut out = Vec::new();
    let facts =
        write(&site.reader(), &asked(1_190, 1_240), &site.seal(1_200), &mut out, &mut Progress::unseen())
            .expect("evidence");
    assert_eq!((facts.stretch, facts.sealed, facts.unsealed), ((1_190, 1_200), 1_200, 1_307));
    std::fs::write(site.path("early.jsonl"), out).expect("written");
    let report = site.verify("early.jsonl", None).expect("checked");
    assert_eq!(report.outcome, Outcome::Whole, "{report}");
    assert!(report.remarks.iter().any(|remark| remark.contains("was not over")), "{report}");
}

#[test]
fn spans_before_after_and_over_everything_hold() {
    let site = Site::new();
    let before = Span { from: BEGAN.minus(Duration::from_secs(86_400)), to: BEGAN };
    let after = Span { from: at(10_000), to: at(20_000) };
    let all = Span { from: BEGAN, to: at(10_000) };
    for (span, records) in [(before, 1), (after, 1), (all, 2_507)] {
        let mut out = Vec::new();
        let asked = Asked { span, traces: Traces::All, ..asked(0, 0) };
        let facts = write(&site.reader(), &asked, &site.seal(2_507), &mut out, &mut Progress::unseen())
            .expect("evidence");
        assert_eq!(facts.counted.records, records, "{span:?}");
        std::fs::write(site.path("span.jsonl"), out).expect("written");
        let report = site.verify("span.jsonl", None).expect("checked");
        assert_eq!(report.outcome, Outcome::Whole, "{report}");
    }
}

#[test]
fn another_key_a_cut_file_and_another_file_are_told() {
    let site = Site::new();
    site.export();
    let stranger = SigningKey::from_seed("north-kitchen", &[8; 32]).expect("a name");
    let report = verify_export(&site.path("evidence.jsonl"), None, trust(&stranger), true).expect("checked");
    assert!(
        report.outcome == Outcome::NotWhole && report.flaws[0].text.contains("was not on record by then"),
        "{report}"
    );
    site.edit("evidence.jsonl", |text| text[..text.len() * 2 / 3].to_owned());
    let codes = site.codes("evidence.jsonl", None);
    assert!(codes.iter().any(|(code, _, _)| *code == "cut-short"), "{codes:?}");
    assert!(codes.iter().any(|(code, _, _)| *code == "missing"), "{codes:?}");
    assert!(matches!(site.verify("cycles.csv", None), Err(CannotCheck::Alone)));
    assert!(matches!(site.verify("ledger.sqlite", None), Err(CannotCheck::Unknown)));
    assert!(matches!(site.verify("none", None), Err(CannotCheck::Read(_))));
}

#[test]
fn a_changed_row_is_named_by_line_column_and_record() {
    let site = Site::new();
    site.export();
    site.edit("cycles.csv", |text| text.replacen("84.5", "94.5", 1));
    let report = site.verify("cycles.csv", Some("evidence.jsonl")).expect("checked");
    let text = &report.flaws[0].text;
    assert_eq!((report.flaws[0].line, report.flaws[0].record), (Some(2), Some(1_192)), "{report}");
    assert!(text.contains("column «rinse_min (degC)» says «94.5»") && text.contains("has «84.5»"), "{text}");
}

// Own promise: what puts a rack of the span in doubt goes with it, however much later it came and whatever was said of
// it first, so that a row which says less, or more, is found.
#[test]
fn a_row_tells_of_no_other_doubt_than_the_evidence() {
    let earlier = |first, last| {
        let rack = |index: u64| Rack { index, at: at(index - 1), began: None };
        Some(Earlier {
            racks: Racks { count: 2, named: vec![rack(first), rack(last)] },
            by_probe: None,
            beside: Racks::default(),
        })
    };
    let raised = |number, earlier| {
        let raised =
            AlertRaised { earlier, ..AlertRaised::new(AlertNumber(number), Condition::Weak, at(4_000)) };
        plain(4_000, Some("dm1"), Body::AlertRaised(Box::new(raised)))
    };
    let changed = AlertChanged {
        racks: 2,
        earlier: earlier(1_210, 1_211),
        ..AlertChanged::new(AlertNumber(6), Change::Returned)
    };
    let site = Site::with(vec![
        raised(5, earlier(1_100, 1_195)),
        raised(6, None),
        raised(7, earlier(2_300, 2_301)),
        plain(4_001, Some("dm1"), Body::AlertChanged(changed)),
    ]);
    site.export();
    let evidence = std::fs::read_to_string(site.path("evidence.jsonl")).expect("written");
    let has = |index: u64| evidence.contains(&format!("{{\"index\":{index},"));
    assert_eq!([2_507, 2_508, 2_509, 2_510].map(has), [true, true, false, true]);
    let rows = std::fs::read_to_string(site.path("cycles.csv")).expect("written");
    let doubted = |by: &str| rows.lines().filter(|row| row.trim_end().ends_with(by)).count();
    assert!(doubted(",5") > 1 && doubted(",6") > 0, "{rows}");
    assert_eq!(site.codes("cycles.csv", Some("evidence.jsonl")), []);
    site.edit("cycles.csv", |text| text.replacen(",5\r", ",\r", 1));
    let codes = site.codes("cycles.csv", Some("evidence.jsonl"));
    assert!(matches!(codes.as_slice(), [("doubt", Some(_), Some(_))]), "{codes:?}");
    site.export();
    site.edit("cycles.csv", |text| text.replacen(",6\r", ",6 7\r", 1));
    let codes = site.codes("cycles.csv", Some("evidence.jsonl"));
    assert!(matches!(codes.as_slice(), [("doubt", Some(_), Some(_))]), "{codes:?}");
}

#[test]
fn a_row_left_out_put_in_or_doubled_is_named() {
    let site = Site::new();
    site.export();
    let lines = |text: &str| text.split_inclusive("\r\n").map(str::to_owned).collect::<Vec<_>>();
    let table = std::fs::read_to_string(site.path("cycles.csv")).expect("written");
    let original = lines(&table);
    for (what, changed, expected) in [
        ("left out", [&original[..3], &original[4..]].concat(), ("row-missing", None, Some(1_194))),
        ("doubled", [&original[..4], &original[3..]].concat(), ("row-twice", Some(5), Some(1_194))),
        (
            "put in",
            [&original[..], &[original[3].replace(",1194,", ",77,")]].concat(),
            ("row-added", Some(53), Some(77)),
        ),
        ("no row", [&original[..], &["cold,again\r\n".to_owned()]].concat(), ("row", Some(53), None)),
    ] {
        std::fs::write(site.path("cycles.csv"), changed.concat()).expect("written");
        assert_eq!(site.codes("cycles.csv", Some("evidence.jsonl")), [expected], "{what}");
    }
    let other = table.replacen("verdict", "opinion", 1);
    std::fs::write(site.path("cycles.csv"), other).expect("written");
    let codes = site.codes("cycles.csv", Some("evidence.jsonl"));
    assert!(codes.contains(&("columns", None, None)), "{codes:?}");
}

#[test]
fn evidence_of_a_changed_ledger_names_the_record_or_is_refused() {
    let site = Site::new();
    let seal = site.seal(2_507);
    site.sql(
        "DROP TRIGGER record_stays; UPDATE record SET bytes = CAST(replace(CAST(bytes AS TEXT), '84.5', '94.5') AS BLOB)
         WHERE idx = 1200",
    );
    let mut out = Vec::new();
    let facts = write(&site.reader(), &asked(1_190, 1_240), &seal, &mut out, &mut Progress::unseen())
        .expect("evidence");
    assert_eq!(facts.damaged, [1_200]);
    std::fs::write(site.path("evidence.jsonl"), out).expect("written");
    assert_eq!(site.codes("evidence.jsonl", None), [("changed", Some(14), Some(1_200))]);
    site.sql("UPDATE record SET leaf = zeroblob(32) WHERE idx = 1200");
    let refused =
        write(&site.reader(), &asked(1_190, 1_240), &seal, &mut Vec::new(), &mut Progress::unseen());
    assert!(matches!(refused, Err(EvidenceError::NotAsSealed { size: 2_507 })), "{refused:?}");
    let longer = Seal {
        checkpoint: Checkpoint::sign(TreeHead { size: 9_999, root: Hash([0; 32]) }, &key()).to_string(),
        ..seal
    };
    let refused =
        write(&site.reader(), &asked(1_190, 1_240), &longer, &mut Vec::new(), &mut Progress::unseen());
    assert!(matches!(refused, Err(EvidenceError::NotAsSealed { size: 9_999 })), "{refused:?}");
}

// The tree of the ledger answers from chunks; a list of its leaves answers from each.
#[test]
fn the_tree_of_a_ledger_gives_the_proofs_of_its_leaves() {
    let site = Site::new();
    let reader = site.reader();
    let leaves: Vec<Hash> =
        (0..2_507).map(|index| Hash(reader.leaf(index).expect("a leaf").expect("it is there"))).collect();
    // Kept over all sizes, also from a larger one to a smaller.
    let mut kept = WholeChunks::default();
    for size in [1, 1_023, 1_024, 2_507, 1_025, 2_048, 2_507] {
        let tree = reader.tree(size, |_, _| {}).expect("a tree");
        assert_eq!(tree.size(), size);
        let by_kept = reader.tree_by(size, &mut kept).expect("a tree");
        assert_eq!(by_kept.head(), tree.head(), "{size}");
        let last = size - 1;
        for index in [0, last / 3, last / 2, last] {
            let expected = inclusion_proof(leaves.as_slice(), index, size).expect("inside");
            assert_eq!(inclusion_proof(&tree, index, size).expect("inside"), expected, "{index} of {size}");
            assert_eq!(
                inclusion_proof(&by_kept, index, size).expect("inside"),
                expected,
                "{index} of {size}"
            );
            let expected = range_proof(leaves.as_slice(), index, size, size).expect("inside");
            assert_eq!(range_proof(&tree, index, size, size).expect("inside"), expected, "{index} of {size}");
            let expected = range_proof(leaves.as_slice(), 0, index + 1, size).expect("inside");
            assert_eq!(
                range_proof(&tree, 0, index + 1, size).expect("inside"),
                expected,
                "{index} of {size}"
            );
        }
    }
}

#[test]
fn a_path_is_only_read() {
    let site = Site::new();
    site.export();
    let names = |directory: &Path| -> Vec<_> {
        let entries = std::fs::read_dir(directory).expect("the directory");
        entries.map(|entry| entry.expect("an entry").file_name()).collect()
    };
    let before = names(site.directory.path());
    drop(site.verify("cycles.csv", Some("evidence.jsonl")).expect("checked"));
    assert_eq!(names(site.directory.path()).len(), before.len());
}
