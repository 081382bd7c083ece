//! What the pages read, out of a real ledger: days, racks with their proof, the history page by page, damage.

mod paging;

use std::path::PathBuf;
use std::sync::{Arc, Mutex, mpsc};
use std::time::Duration;

use jiff::tz::TimeZone;

use super::super::histories::{Around, Sought, gathered, one};
use super::super::machines::find;
use super::super::racks::{Proof, Stands, prove, read};
use super::doubts;
use crate::app::amended::Amended;
use crate::app::fixture::{CONFIGURATION, at, comment, key, ledger, opening, plain, rack};
use crate::app::history::Kept;
use crate::config::recorded::Recorded;
use crate::core::alert::hours::Stretch;
use crate::core::alert::{AlertNumber, Condition};
use crate::core::checkpoint::Checkpoint;
use crate::core::cycle::verdict::{Reason, Verdict};
use crate::core::evidence::examine::Trust;
use crate::core::evidence::inclusion::check;
use crate::core::merkle::{Hash, TreeHead, leaf_hash, verify_inclusion};
use crate::core::reader::Language;
use crate::core::reading::Fault;
use crate::core::record::{
    AlertRaised, Amendment, AmendmentChange, Body, Check, CheckKind, DialogWork, Gap, Maintenance,
};
use crate::ledger::{Append, NewRecord, ReadOn, Reader, StoredCheckpoint, WholeChunks};
use crate::web::history::record::Stands as OneStands;
use crate::web::history::{
    AlertsSummed, Found, GapLine, HistoryLine, HistoryPart, LINES_MAX, Listed, Page, Question, Tally, View,
};

/// Racks of the ledger, one a minute, every second one of `dm2`.
pub(super) const RACKS: u64 = 240;
/// Index of the first rack: behind the key and the configuration.
pub(super) const FIRST: u64 = 2;

/// A machine that sanitizes with chlorine.
const CHLORINE: &str = r#"
[site]
name = "north kitchen"
time-zone = "UTC"

[[machine]]
name = "dm1"
kind = "stationary-rack-single-temperature"
sanitizing = "chlorine"
probes = ["rinse", "sanitizer"]
"#;

pub(super) struct Site {
    directory: tempfile::TempDir,
}

/// A rack of that minute, recorded two minutes later.
fn washed(minute: u64) -> NewRecord {
    let (machine, cycle) = rack(minute);
    plain(minute + 2, Some(machine), Body::Cycle(Box::new(cycle)))
}

fn records() -> Vec<NewRecord> {
    let raised = AlertRaised {
        cause: Some(FIRST + 100),
        ..AlertRaised::new(AlertNumber(1), Condition::Cold, at(100))
    };
    let gap =
        |to| Gap { probe: "dm1/rinse".to_owned(), fault: Fault::Silent, from: at(80), to, filled: false };
    let mut records = opening(CONFIGURATION);
    records.extend((0..RACKS).map(washed));
    records.push(plain(241, Some("dm1"), Body::AlertRaised(Box::new(raised))));
    records.push(plain(242, Some("dm1"), comment(FIRST + 100, "washed again")));
    records.push(plain(243, Some("dm1"), Body::Gap(gap(None))));
    records.push(plain(244, Some("dm1"), Body::Gap(gap(Some(at(130))))));
    records
}

impl Site {
    pub(super) fn new() -> Self {
        let site = Self { directory: tempfile::tempdir().expect("room for a directory") };
        let writer = ledger(&site.path(), records());
        let reader = site.reader();
        let head =
            TreeHead { size: reader.size().expect("a size"), root: Hash(reader.root().expect("a root")) };
        let note = Checkpoint::sign_at(head, at(250), &key()).to_string();
        let stored = StoredCheckpoint { at: at(250), size: head.size, note };
        let (done, wait) = mpsc::sync_channel(1);
        let append = Append { checkpoints: vec![stored], ..Append::default() };
        writer.append(append, Box::new(move |result| done.send(result.is_ok()).expect("the test waits")));
        assert!(wait.recv().expect("an answer"), "appended");
        writer.close().expect("it closes");
        site
    }

    fn path(&self) -> PathBuf {
        self.directory.path().join("ledger.sqlite")
    }

    pub(super) fn reader(&self) -> Reader {
        Reader::open(&self.path()).expect("a reader")
    }

    /// Changes one record behind the ledger's back.
    fn damage(&self, index: u64) {
        let connection = rusqlite::Connection::open(self.path()).expect("a database");
        connection.execute_batch("DROP TRIGGER record_stays").expect("it was there");
        let changed = connection
            .execute("UPDATE record SET bytes = x'00' WHERE idx = ?1", [i64::try_from(index).expect("small")])
            .expect("changed");
        assert_eq!(changed, 1);
    }
}

pub(super) fn asked(view: View, page: Page) -> Question {
    Question { page, ..Question::all(view) }
}

/// A page; `None` where it is to go on from what stands in no such list.
fn asked_for(reader: &Reader, question: Question) -> Option<HistoryPart> {
    let settings = Recorded::read(CONFIGURATION).expect("a sound configuration").settings;
    let sought = Sought::new(question, &TimeZone::UTC);
    let path = std::path::Path::new("ledger.sqlite");
    let doubts = &doubts(reader);
    let around = Around {
        ledger: reader,
        path,
        settings: &settings,
        now: at(250),
        doubts,
        kept: &Kept::default(),
        amended: &Amended::whole(reader).expect("the amendments"),
    };
    gathered(&sought, around).expect("gathered")
}

pub(super) fn page(reader: &Reader, question: Question) -> HistoryPart {
    asked_for(reader, question).expect("a page")
}

fn list(part: &HistoryPart) -> &Listed<HistoryLine> {
    let Found::Lines(list) = &part.found else { panic!("lines: {part:?}") };
    list
}

fn lines(part: &HistoryPart) -> &[HistoryLine] {
    &list(part).lines
}

fn indices(part: &HistoryPart) -> Vec<u64> {
    let index = |line: &HistoryLine| match line {
        HistoryLine::Rack { rack, .. } => rack.record,
        HistoryLine::Record { index, .. } | HistoryLine::Damaged(index) => *index,
    };
    lines(part).iter().map(index).collect()
}

// Own promises: each rack of the stretch once, in order of time; what is damaged is named and stops nothing; a
// gap and its end are one; whether anything is older is known.
#[test]
fn a_day_of_a_machine_is_whole() {
    let site = Site::new();
    site.damage(FIRST + 10);
    let day = Stretch { from: at(2), to: at(120) };
    let found = find(&site.reader(), "dm1", day).expect("a day");
    // The final rinse of the sample begins 45 s into its minute: minutes 2 to 118, every second one.
    assert_eq!(found.racks.len(), 58);
    assert!(found.racks.is_sorted_by_key(|(_, cycle)| cycle.rinse_started) && found.earlier);
    assert_eq!(found.damaged, [FIRST + 10]);
    let gaps: Vec<_> = found.gaps.iter().map(|gap| (gap.from, gap.to)).collect();
    assert_eq!(gaps, [(at(80), Some(at(130)))]);
    let other = find(&site.reader(), "dm2", Stretch { from: at(0), to: at(2) }).expect("a day");
    assert!((other.racks.len(), other.gaps.len()) == (1, 0) && !other.earlier, "{:?}", other.racks);
}

// Own promises: a rack has its neighbours of the same machine, its amendments and alerts; what is no rack is
// none; damage is told as damage.
#[test]
fn a_rack_has_what_concerns_it() {
    let site = Site::new();
    site.damage(FIRST + 50);
    let reader = site.reader();
    let Stands::Rack(cold) = read(&reader, FIRST + 100, Arc::default(), &doubts(&reader)).expect("read")
    else {
        panic!("a rack")
    };
    assert_eq!((cold.before, cold.after), (Some(FIRST + 98), Some(FIRST + 102)));
    let alerts: Vec<u64> = cold.did.keys().map(|alert| alert.0).collect();
    assert_eq!((alerts.as_slice(), cold.amendments.len()), ([1].as_slice(), 1));
    assert_eq!(cold.sealing.checkpoint, Some((RACKS + 6, at(250))));
    assert!(cold.probes.is_some_and(|probes| probes.len() == 2), "both probes as configured");
    assert!(
        matches!(read(&reader, FIRST + 50, Arc::default(), &doubts(&reader)), Ok(Stands::Damaged(sealing)) if sealing.leaf.is_some())
    );
    for index in [0, RACKS + 3, 9_999] {
        assert!(
            matches!(read(&reader, index, Arc::default(), &doubts(&reader)), Ok(Stands::NoRack)),
            "{index}"
        );
    }
    let Stands::Rack(first) = read(&reader, FIRST, Arc::default(), &doubts(&reader)).expect("read") else {
        panic!("a rack")
    };
    assert_eq!(first.before, None);
}

// RFC 9162 §2.1.3.2: the path leads from the leaf to the root that the checkpoint signs.
#[test]
fn a_proof_holds_for_whoever_has_the_key() {
    let site = Site::new();
    let chunks = Mutex::new(WholeChunks::default());
    let Proof::Holds(proof) = prove(&site.reader(), FIRST + 100, &chunks).expect("read") else {
        panic!("it is sealed")
    };
    let trust = Trust { keys: vec![key().verifying()], kept: Vec::new() };
    let checked = check(proof.as_bytes(), &trust);
    assert!(checked.broken.is_empty(), "{:?}", checked.broken);
    assert!(checked.record.is_some_and(|record| matches!(record.body, Body::Cycle(_))));
    let proof: serde_json::Value = serde_json::from_str(&proof).expect("JSON");
    let text = |name: &str| proof[name].as_str().expect("a text").to_owned();
    let note = crate::core::note::Note::parse(&text("checkpoint")).expect("a note");
    let head = Checkpoint::verified(&note, &key().verifying()).expect("signed").head;
    let path = proof["inclusion_path"].as_array().expect("a list");
    let path: Vec<Hash> =
        path.iter().map(|hash| hash.as_str().expect("a text").parse().expect("a hash")).collect();
    let leaf = leaf_hash(text("bytes").as_bytes());
    assert_eq!(verify_inclusion(&leaf, FIRST + 100, &path, &head), Ok(()));
    assert!(text("bytes").contains("\"verdict\":\"cold\""), "{proof}");
    let none = prove(&site.reader(), RACKS + 6, &chunks).expect("read");
    assert!(matches!(none, Proof::NotSealed), "there is no such record");
    site.damage(FIRST + 100);
    let damaged = prove(&site.reader(), FIRST + 100, &chunks).expect("read");
    assert!(matches!(damaged, Proof::Damaged), "what is damaged is not proved");
    let connection = rusqlite::Connection::open(site.path()).expect("a database");
    let changed = connection
        .execute("UPDATE record SET leaf = zeroblob(32) WHERE idx = ?1", [FIRST.cast_signed()])
        .expect("changed");
    assert_eq!(changed, 1);
    let fresh = Mutex::new(WholeChunks::default());
    let unfit = prove(&site.reader(), FIRST + 101, &fresh).expect("read");
    assert!(matches!(unfit, Proof::Damaged), "a ledger that is not as it was sealed proves none");
}

// Own promise: of a spell of work its beginnings and its end are lines. What only moves its end is counted, and is all
// there for whoever asks for its kind; pages meet every line once beside it.
#[test]
fn work_is_told_by_its_beginning_and_its_end() {
    let directory = tempfile::tempdir().expect("a directory");
    let work = |minute: u64, dialog, ended| {
        let by = Some("Eli".to_owned());
        let why = Some("calibration of dm1/rinse".to_owned());
        let (until, begun) = (at(minute + 4), Some(at(3)));
        let of = Maintenance { until, by, why, ended, begun, dialog, worked: Vec::new() };
        plain(minute, Some("dm1"), Body::Maintenance(of))
    };
    let mut records = opening(CONFIGURATION);
    records.push(work(3, None, false));
    for minute in 4..64 {
        records.push(work(minute, Some(DialogWork::GoesOn), false));
        records.push(plain(minute, Some("dm1"), comment(2, "looked at")));
    }
    records.extend([work(64, Some(DialogWork::Over), false), work(67, None, true)]);
    let path = directory.path().join("ledger.sqlite");
    drop(ledger(&path, records));
    let reader = Reader::open(&path).expect("a ledger");
    let newest = page(&reader, asked(View::Records, Page::Newest));
    assert_eq!((lines(&newest).len(), list(&newest).folded), (LINES_MAX, 49));
    let last = list(&newest).older.expect("an older page");
    let older = page(&reader, asked(View::Records, Page::Older(last)));
    let all: Vec<u64> = indices(&newest).into_iter().chain(indices(&older)).collect();
    assert_eq!(list(&newest).folded + list(&older).folded, 61);
    // Key, configuration, 60 remarks, a beginning and an end.
    assert_eq!((all.len(), all.is_sorted_by(|newer, older| newer > older)), (64, true), "{all:?}");
    let question = Question { kind: Some("maintenance"), ..asked(View::Records, Page::Newest) };
    let newest = page(&reader, question.clone());
    assert_eq!((lines(&newest).len(), list(&newest).folded), (LINES_MAX, 0));
    let rest = Question { page: Page::Older(list(&newest).older.expect("more")), ..question };
    assert_eq!(lines(&page(&reader, rest)).len(), 63 - LINES_MAX);
}

// Own promise: a rack that is unproven names the work that ran while it was washed, whether or not that is why; one that
// was judged, or was washed when nobody worked there, names none.
#[test]
fn an_unproven_rack_names_the_work_of_its_time() {
    let directory = tempfile::tempdir().expect("a directory");
    let work = |minute: u64, until, ended: bool| {
        let (by, begun) = (Some("Eli".to_owned()), ended.then(|| at(minute)));
        let of =
            Maintenance { until: at(until), by, why: None, ended, begun, dialog: None, worked: Vec::new() };
        plain(minute, Some("dm1"), Body::Maintenance(of))
    };
    let unproven = |minute, reason| {
        let (machine, mut cycle) = rack(minute);
        cycle.put_in_doubt(reason);
        plain(minute + 2, Some(machine), Body::Cycle(Box::new(cycle)))
    };
    let mut records = opening(CONFIGURATION);
    let slow = Reason::ProbeTooSlow;
    records.push(work(9, 99, false));
    records.extend([
        unproven(10, Reason::WorkedOn),
        unproven(12, slow.clone()),
        washed(14),
        unproven(13, slow.clone()),
    ]);
    records.extend([work(20, 20, true), unproven(30, slow)]);
    let path = directory.path().join("ledger.sqlite");
    drop(ledger(&path, records));
    let reader = Reader::open(&path).expect("a ledger");
    for (index, named) in
        [(FIRST + 1, true), (FIRST + 2, true), (FIRST + 3, false), (FIRST + 4, false), (FIRST + 6, false)]
    {
        let Stands::Rack(found) = read(&reader, index, Arc::default(), &doubts(&reader)).expect("read")
        else {
            panic!("a rack: {index}")
        };
        let work: Vec<_> = found.work.work.iter().map(|work| (work.record, work.until)).collect();
        assert_eq!(work, if named { vec![(FIRST, at(20))] } else { vec![] }, "{index}");
    }
}

// Own promises: a verdict and a machine are looked for alone; other records stand under their own views.
#[test]
fn what_is_asked_for_is_found_and_nothing_else() {
    let site = Site::new();
    let reader = site.reader();
    let cold = Question { verdict: Some(Verdict::Cold), ..asked(View::Racks, Page::Newest) };
    assert_eq!(indices(&page(&reader, cold)), [FIRST + 200, FIRST + 100, FIRST]);
    let other = Question { machine: Some("dm2".to_owned()), ..asked(View::Alerts, Page::Newest) };
    assert!(lines(&page(&reader, other)).is_empty());
    assert_eq!(indices(&page(&reader, asked(View::Alerts, Page::Newest))), [RACKS + FIRST]);
    assert_eq!(lines(&page(&reader, asked(View::Records, Page::Newest))).len(), 6);
    let configured = Question { kind: Some("configuration-change"), ..asked(View::Records, Page::Newest) };
    assert_eq!(indices(&page(&reader, configured)), [1]);
    let amended =
        page(&reader, Question { verdict: Some(Verdict::Cold), ..asked(View::Racks, Page::Newest) });
    let flags: Vec<bool> = lines(&amended)
        .iter()
        .map(|line| matches!(line, HistoryLine::Rack { amended: true, late: false, .. }))
        .collect();
    assert_eq!(flags, [false, true, false]);
}

// 4-501.114 of the Food Code 2022: chlorine of 50 mg/L at pH 8 or less is for water of 24 °C and more; 10 mg/L is
// below each of its rows, the lowest of which is 25 mg/L. Own promise: a sum and a line of checks say what the
// logbook and the report say of them: what was withdrawn does not count, and what was corrected counts as the
// correction says, at its time.
#[test]
fn checks_count_as_they_were_amended() {
    let directory = tempfile::tempdir().expect("room for a directory");
    let path = directory.path().join("ledger.sqlite");
    let strip = |minute: u64, mg_per_l: f64| Check::Sanitizer {
        at: at(minute),
        mg_per_l,
        ph: None,
        solution_c: None,
        method: None,
        by: "Ana".to_owned(),
    };
    let said = |of, change| {
        let amendment = Amendment { of, reason: "misread".to_owned(), by: "Bo".to_owned(), change };
        plain(30, Some("dm1"), Body::Amendment(Box::new(amendment)))
    };
    let check = |minute, mg_per_l| plain(minute, Some("dm1"), Body::Check(strip(minute, mg_per_l)));
    let mut records = opening(CHLORINE);
    records.extend([check(10, 10.0), check(11, 10.0), check(12, 10.0), check(13, 50.0), check(2000, 50.0)]);
    records.push(said(FIRST, AmendmentChange::Withdrawn));
    records.push(said(FIRST + 1, AmendmentChange::Corrected(strip(11, 50.0))));
    records.push(said(FIRST + 2, AmendmentChange::Comment));
    records.push(said(FIRST + 3, AmendmentChange::Withdrawn));
    records.push(said(FIRST + 3, AmendmentChange::Corrected(strip(14, 10.0))));
    records.push(said(FIRST + 4, AmendmentChange::Corrected(strip(15, 50.0))));
    ledger(&path, records).close().expect("it closes");
    let reader = Reader::open(&path).expect("a reader");
    let question =
        Question { to: Some(jiff::civil::date(2023, 11, 14)), ..asked(View::Summary, Page::Newest) };
    let part = page(&reader, question);
    let Found::Summary(Some(summed)) = part.found else { panic!("a sum: {part:?}") };
    // Nothing was washed, and the checks stand all the same.
    let counted = [Tally { kind: CheckKind::Sanitizer, good: 2, bad: 2, done: 0 }];
    assert_eq!(summed.checks, counted);
    let Found::Summary(Some(summed)) = page(&reader, asked(View::Summary, Page::Newest)).found else {
        panic!("a sum of all")
    };
    assert_eq!(summed.checks.iter().map(|tally| tally.good + tally.bad).collect::<Vec<u64>>(), [4]);
    let part = page(&reader, asked(View::Checks, Page::Newest));
    let judged: Vec<Option<bool>> = lines(&part)
        .iter()
        .map(|line| match line {
            HistoryLine::Record { good, .. } => *good,
            HistoryLine::Rack { .. } | HistoryLine::Damaged(_) => None,
        })
        .collect();
    assert_eq!(judged, [Some(true), Some(false), Some(false), Some(true), None]);
    // The page of each says the same; what was entered as 10 mg/L names the limit that it missed.
    for (index, good) in (FIRST..).zip(judged.iter().rev()) {
        let found = one(&reader, &Kept::default(), index).expect("readable");
        let Some(OneStands::Whole(one)) = found else { panic!("a record: {found:?}") };
        assert_eq!(one.good, *good, "{index}");
        let entered = if index < FIRST + 3 { "10 mg/L (at least 25 mg/L)" } else { "50 mg/L" };
        let Body::Check(Check::Sanitizer { mg_per_l, .. }) = one.record.body else { panic!("a strip") };
        assert_eq!(one.missed.strength(mg_per_l, Language::English), entered);
    }
}

// Own promises: the sum of a span counts what its records say, each gap once with its length, and days and
// drift stand for the same racks. Numbers counted by hand from the ledger above.
#[test]
fn a_span_is_summed_up() {
    let site = Site::new();
    let reader = site.reader();
    let part = page(&reader, asked(View::Summary, Page::Newest));
    let Found::Summary(Some(summed)) = part.found else { panic!("a sum: {part:?}") };
    let racks: Vec<u64> = summed.machines.iter().map(|sum| sum.numbers.cycles()).collect();
    assert_eq!(racks, [RACKS / 2, RACKS / 2]);
    assert_eq!(summed.machines[0].numbers.of(Verdict::Cold), 3);
    assert_eq!(
        (summed.gaps.count, summed.alerts),
        (1, AlertsSummed { raised: 1, open: 1, ..AlertsSummed::default() })
    );
    assert!((summed.gaps.open_s - 50.0 * 60.0).abs() < 1e-6, "{}", summed.gaps.open_s);
    let share = summed.machines[0].watched.share().expect("it was open");
    assert!(share < 1.0, "a gap is no watched time: {share}");
    let Found::Gaps(gaps) = page(&reader, asked(View::Gaps, Page::Newest)).found else { panic!("gaps") };
    assert_eq!(gaps.lines.len(), 1);
    let Found::Days { days, .. } = page(&reader, asked(View::Days, Page::Newest)).found else {
        panic!("days")
    };
    let of_days: u64 = days.iter().map(|day| day.numbers.cycles()).sum();
    assert_eq!(of_days, RACKS);
    let Found::Drift { machines, span: Some(_) } = page(&reader, asked(View::Drift, Page::Newest)).found
    else {
        panic!("drift")
    };
    assert_eq!(machines.len(), 2);
}
