//! What others than the driver put on record, and the readers of it. No outside
//! source: these are the promises at the heads of `append.rs` and `outbox.rs`.

use std::sync::mpsc;
use std::time::Duration;

use rinseward::core::reading::Value;
use rinseward::core::record::{Body, MachineFailure, Record};
use rinseward::core::time::Timestamp;
use rinseward::ledger::{
    Append, AppendRefused, Bookmark, Commit, Committed, LedgerError, Letter, LetterStatus, OutboxChange,
    QUEUE_APPENDS_MAX, Reader, Retry, SetAside, StoredCheckpoint, Writer,
};

use super::fixture::{at, commit, open, place, plain, sample, start, stop};
use super::{count, ramp, wait_for_tail};

/// Hands over and waits.
pub(crate) fn append(writer: &Writer, append: Append) -> Result<Committed, Box<AppendRefused>> {
    let (done, wait) = mpsc::channel();
    writer
        .append(append, Box::new(move |result| done.send(result.map_err(Box::new)).expect("the test waits")));
    wait.recv_timeout(Duration::from_secs(30)).expect("an answer within 30 s")
}

/// A letter due at once.
pub(crate) fn letter(key: &str, sequence: &str, seconds: f64) -> Letter {
    Letter {
        key: key.to_owned(),
        channel: "email".to_owned(),
        sequence: sequence.to_owned(),
        created: at(seconds),
        due: at(seconds),
        bytes: key.as_bytes().to_vec(),
    }
}

fn put(key: &str, sequence: &str, seconds: f64) -> OutboxChange {
    OutboxChange::Put(letter(key, sequence, seconds))
}

fn letters(outbox: Vec<OutboxChange>) -> Append {
    Append { outbox, ..Append::default() }
}

fn note(seconds: f64) -> Record {
    let body = Body::MachineFailure(MachineFailure { cause: "a test".to_owned(), stopped: false });
    Record::new(at(seconds), Some("dm1".to_owned()), body)
}

fn due(reader: &Reader, seconds: f64) -> Vec<String> {
    let letters = reader.letters_due_by("email", at(seconds), 10).expect("the letters");
    letters.into_iter().map(|waiting| waiting.letter.key).collect()
}

#[test]
fn an_append_is_read_back() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let reader = Reader::open(&path).expect("a reader");
    assert_eq!(reader.newest_input().expect("a number"), 0);
    commit(&writer, Commit { inputs: ramp(1, 0..3), records: vec![plain(start(0.0))], ..Commit::default() })
        .expect("a commit");
    assert_eq!(reader.bookmark("desk").expect("no failure"), None);
    let aside = |reason: &str| SetAside {
        consumer: "series".to_owned(),
        at: at(1.0),
        reason: reason.to_owned(),
        bytes: vec![7, 8],
    };
    let first = Append {
        records: vec![plain(note(1.0)), plain(note(2.0))],
        bookmarks: vec![Bookmark { name: "desk".to_owned(), state: vec![1] }],
        outbox: vec![put("a", "one", 1.0)],
        set_aside: vec![aside("first"), aside("second")],
        taken_back: Vec::new(),
        checkpoints: vec![checkpoint(1.0, 1)],
        days: None,
    };
    let committed = append(&writer, first).expect("an append");
    assert_eq!((committed.first_index, committed.tree_size, committed.last_input), (Some(1), 3, 3));
    assert_eq!(reader.bookmark("desk").expect("no failure"), Some(vec![1]));
    assert_eq!(reader.newest_checkpoint().expect("no failure"), Some(checkpoint(1.0, 1)));
    assert_eq!(reader.newest_input().expect("a number"), 3);
    assert_eq!(reader.root().expect("a root"), committed.root);
    let kept = reader.set_aside("series", 10).expect("no failure");
    assert_eq!(kept.iter().map(|(_, aside)| &*aside.reason).collect::<Vec<_>>(), ["first", "second"]);
    assert_eq!(reader.set_aside("other", 10).expect("no failure"), []);
    let again = Append {
        bookmarks: vec![Bookmark { name: "desk".to_owned(), state: vec![2, 3] }],
        taken_back: vec![kept[0].0, 999],
        ..Append::default()
    };
    let committed = append(&writer, again).expect("an append");
    assert_eq!((committed.first_index, committed.tree_size), (None, 3));
    assert_eq!(reader.bookmark("desk").expect("no failure"), Some(vec![2, 3]));
    assert_eq!(reader.set_aside("series", 10).expect("no failure"), [kept[1].clone()]);
    assert_eq!(reader.set_aside_count("series").expect("no failure"), 1);
    writer.close().expect("an orderly end");
    assert_eq!(open(&path).1.tree_size, 3);
}

// Shows which letters are given when, and what each change does to one of each status.
#[test]
fn letters_of_one_sequence_leave_in_order() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let reader = Reader::open(&path).expect("a reader");
    assert_eq!(reader.next_letter_due_by("email", at(0.0)).expect("no failure"), None);
    append(&writer, letters(vec![put("a", "one", 1.0), put("b", "one", 0.0), put("c", "two", 2.0)]))
        .expect("an append");
    assert_eq!(due(&reader, 0.5), [""; 0], "b waits for a");
    assert_eq!(reader.next_letter_due_by("email", at(0.0)).expect("no failure"), Some(at(1.0)));
    assert_eq!(due(&reader, 2.0), ["a", "c"]);
    assert_eq!(reader.letters_due_by("email", at(2.0), 1).expect("no failure").len(), 1);

    let id = |key: &str| reader.letter(key).expect("no failure").expect("it is there").id;
    let fail = OutboxChange::Failed { id: id("a"), at: at(2.0), due: at(9.0), error: "busy".to_owned() };
    append(&writer, letters(vec![fail])).expect("an append");
    assert_eq!(due(&reader, 3.0), ["c"], "a waits for its next try, and b for a");
    let waiting = reader.letters_due_by("email", at(9.0), 10).expect("no failure").pop().expect("a");
    assert_eq!((waiting.attempts, waiting.last_error.as_deref()), (1, Some("busy")));
    assert_eq!(reader.letters_waiting(Some("one")).expect("no failure").len(), 2);

    for (ended, status) in [
        (OutboxChange::GivenUp { id: id("a"), at: at(9.0), error: "gone".to_owned() }, LetterStatus::GivenUp),
        (OutboxChange::Withdrawn { id: id("b"), at: at(9.0) }, LetterStatus::Withdrawn),
        (OutboxChange::Delivered { id: id("c"), at: at(9.0) }, LetterStatus::Delivered),
    ] {
        append(&writer, letters(vec![ended.clone()])).expect("an append");
        let newest = reader.letters(10).expect("no failure");
        assert!(newest.iter().any(|posted| posted.status == status), "{ended:?}");
    }
    assert_eq!(reader.next_letter_due_by("email", at(9.0)).expect("no failure"), None);
    assert_eq!(reader.letter("a").expect("no failure").expect("a").attempts, 2);

    // Whoever comes too late changes nothing, but a delivery is always true.
    append(&writer, letters(vec![OutboxChange::Withdrawn { id: id("c"), at: at(10.0) }])).expect("an append");
    let c = reader.letter("c").expect("no failure").expect("c");
    assert_eq!((c.status, c.changed), (LetterStatus::Delivered, Some(at(9.0))));
    append(&writer, letters(vec![OutboxChange::Delivered { id: id("b"), at: at(10.0) }])).expect("an append");
    assert_eq!(reader.letter("b").expect("no failure").expect("b").status, LetterStatus::Delivered);

    // A key is known whatever became of its letter.
    append(&writer, letters(vec![put("a", "three", 11.0), put("d", "one", 11.0)])).expect("an append");
    assert_eq!(reader.letter("a").expect("no failure").expect("a").letter.sequence, "one");
    assert_eq!(due(&reader, 11.0), ["d"]);
    let keys: Vec<String> =
        reader.letters(2).expect("no failure").into_iter().map(|posted| posted.letter.key).collect();
    assert_eq!(keys, ["d", "c"], "the newest first");
}

#[test]
fn an_append_that_speaks_of_an_unknown_letter_is_given_back_whole() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let reader = Reader::open(&path).expect("a reader");
    for change in [
        OutboxChange::Delivered { id: 7, at: at(1.0) },
        OutboxChange::Failed { id: 7, at: at(1.0), due: at(2.0), error: String::new() },
        OutboxChange::GivenUp { id: 7, at: at(1.0), error: String::new() },
        OutboxChange::Withdrawn { id: 7, at: at(1.0) },
    ] {
        let wrong = Append {
            records: vec![plain(note(1.0))],
            bookmarks: vec![Bookmark { name: "desk".to_owned(), state: Vec::new() }],
            ..letters(vec![put("a", "one", 1.0), change])
        };
        let refused = append(&writer, wrong.clone()).expect_err("there is no letter 7");
        assert!(matches!(refused.error, LedgerError::UnknownLetter { id: 7 }), "{:?}", refused.error);
        assert_eq!(refused.error.retry(), Retry::Never);
        assert_eq!(*refused.append, wrong);
        assert_eq!(reader.size().expect("a size"), 0);
        assert_eq!(reader.letters(1).expect("no failure"), []);
        assert_eq!(reader.bookmark("desk").expect("no failure"), None);
    }
}

// Shows that neither waits for the other's refusals.
#[test]
fn appends_and_commits_do_not_hold_each_other_back() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let wrong = letters(vec![OutboxChange::Delivered { id: 7, at: at(1.0) }]);
    append(&writer, wrong).expect_err("there is no letter 7");
    commit(&writer, Commit { inputs: ramp(1, 0..1), ..Commit::default() }).expect("no append is in its way");

    // One commit that is refused, with appends and commits behind it in the queue.
    let (done, answers) = mpsc::channel();
    for n in 1..6_u32 {
        let next =
            Commit { inputs: ramp(1, n..n + 1), settled: if n == 1 { 999 } else { 0 }, ..Commit::default() };
        let told = done.clone();
        writer.submit(
            next,
            Box::new(move |result| told.send(("commit", result.is_ok())).expect("the test waits")),
        );
        let told = done.clone();
        let next = letters(vec![put(&n.to_string(), "one", f64::from(n))]);
        writer.append(
            next,
            Box::new(move |result| told.send(("append", result.is_ok())).expect("the test waits")),
        );
    }
    let answered: Vec<(&str, bool)> =
        (0..10).map(|_| answers.recv_timeout(Duration::from_secs(30)).expect("an answer")).collect();
    assert_eq!(answered.iter().filter(|answer| **answer == ("commit", false)).count(), 5);
    assert_eq!(answered.iter().filter(|answer| **answer == ("append", true)).count(), 5);
    append(&writer, letters(vec![put("6", "one", 6.0)])).expect("the gate is for commits");
    let reader = Reader::open(&path).expect("a reader");
    let keys: Vec<String> =
        reader.letters(10).expect("no failure").into_iter().rev().map(|posted| posted.letter.key).collect();
    assert_eq!(keys, ["1", "2", "3", "4", "5", "6"]);
    commit(&writer, Commit { inputs: ramp(1, 1..2), ..Commit::default() })
        .expect("the first of those refused");
}

// Shows that each kind has its own share of the queue.
#[test]
fn a_flood_of_appends_leaves_room_for_commits() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let (done, answers) = mpsc::channel();
    let appends = 4 * QUEUE_APPENDS_MAX;
    for n in 0..appends {
        let done = done.clone();
        let next = letters(vec![put(&n.to_string(), "one", 1.0)]);
        writer.append(next, Box::new(move |result| done.send(result.err()).expect("the test waits")));
    }
    commit(&writer, Commit { inputs: ramp(1, 0..1), ..Commit::default() }).expect("there is room for it");
    let refused: Vec<AppendRefused> = (0..appends)
        .filter_map(|_| answers.recv_timeout(Duration::from_secs(30)).expect("an answer within 30 s"))
        .collect();
    assert!(!refused.is_empty(), "{appends} at once are more than {QUEUE_APPENDS_MAX}");
    assert!(refused.iter().all(|refused| matches!(refused.error, LedgerError::QueueFull)));
    assert_eq!(count(&path, "outbox"), (appends - refused.len()) as u64);
}

// Shows what undoes the record of an orderly stop: inputs and a start, nothing else.
#[test]
fn appends_after_the_stop_do_not_make_a_start_look_unclean() {
    let records = |record: Record| Commit { records: vec![plain(record)], ..Commit::default() };
    let inputs = Commit { inputs: vec![sample(1, 9.0, Value::Number(60.0))], ..Commit::default() };
    let check = |after: &str, next: Option<Commit>, clean: bool| {
        let (_directory, path) = place();
        let (writer, _) = open(&path);
        commit(&writer, records(start(0.0))).expect("a commit");
        commit(&writer, records(stop(5.0))).expect("a commit");
        let late = Append { records: vec![plain(note(6.0))], ..Append::default() };
        append(&writer, late).expect("an append");
        if let Some(next) = next {
            commit(&writer, next).expect("a commit");
        }
        writer.close().expect("an orderly end");
        let recovered = open(&path).1;
        assert_eq!(recovered.clean_stop, clean, "after {after}");
        assert!(recovered.last_recorded >= Some(at(6.0)));
    };
    check("an append", None, true);
    check("another record", Some(records(note(7.0))), true);
    check("a start", Some(records(start(7.0))), false);
    check("inputs", Some(inputs.clone()), false);
    check("inputs and a stop", Some(Commit { records: vec![plain(stop(10.0))], ..inputs }), true);
}

// Shows that ended letters go after 90 days, those given up and those waiting never.
#[test]
fn old_letters_go_when_they_have_ended() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let days = 86_400.0;
    let many: Vec<OutboxChange> = (0..200).map(|n| put(&n.to_string(), "many", 0.0)).collect();
    append(&writer, letters(many)).expect("an append");
    let reader = Reader::open(&path).expect("a reader");
    let id = |key: &str| reader.letter(key).expect("no failure").expect("it is there").id;
    let (delivered, given_up) = (id("198"), id("199"));
    let ended = (id("0")..=id("197")).map(|id| OutboxChange::Withdrawn { id, at: at(1.0) }).collect();
    append(&writer, letters(ended)).expect("an append");
    let ended = vec![
        put("waiting", "one", 0.0),
        OutboxChange::Delivered { id: delivered, at: at(2.0 * days) },
        OutboxChange::GivenUp { id: given_up, at: at(1.0), error: "gone".to_owned() },
    ];
    append(&writer, letters(ended)).expect("an append");
    // A round of compaction 91 days later.
    for (day, settled) in [(0.0, 0), (91.0, 1), (91.1, 2)] {
        let inputs = vec![sample(1, day * days, Value::Number(60.0))];
        commit(&writer, Commit { inputs, settled, ..Commit::default() }).expect("a commit");
    }
    wait_for_tail(&path, 1);
    let began = std::time::Instant::now();
    while count(&path, "outbox") > 3 {
        assert!(began.elapsed() < Duration::from_secs(20), "the outbox was not cleared");
        std::thread::yield_now();
    }
    writer.close().expect("an orderly end");
    let (_writer, _) = open(&path);
    let left: Vec<String> =
        reader.letters(10).expect("no failure").into_iter().map(|posted| posted.letter.key).collect();
    assert_eq!(left, ["waiting", "199", "198"]);
    assert_eq!(reader.next_letter_due_by("email", at(-1.0)).expect("no failure"), Some::<Timestamp>(at(0.0)));
}

pub(super) fn checkpoint(seconds: f64, size: u64) -> StoredCheckpoint {
    StoredCheckpoint { at: at(seconds), size, note: format!("a note over {size} records") }
}
