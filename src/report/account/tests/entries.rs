//! Checks and notes, as they stand after what was said of them.

use super::*;

// Own rule: of all that was said of one check the newest withdrawal or correction counts, a comment
// changes nothing.
#[test]
fn the_newest_amendment_of_a_check_counts() {
    let supply = |enough| Check::Supply {
        at: at("2026-03-05T15:00:00Z"),
        enough,
        short: Vec::new(),
        note: None,
        by: "Ana".to_owned(),
    };
    let corrected = |enough| AmendmentChange::Corrected(supply(enough));
    for (what, changes, counting) in [
        ("corrected twice", vec![corrected(true), corrected(false)], vec![(2, Some(false))]),
        ("corrected, then withdrawn", vec![corrected(true), AmendmentChange::Withdrawn], vec![]),
        (
            "withdrawn, then corrected",
            vec![AmendmentChange::Withdrawn, corrected(true)],
            vec![(2, Some(true))],
        ),
        ("corrected, with a comment", vec![corrected(true), AmendmentChange::Comment], vec![(1, Some(true))]),
        ("only commented on", vec![AmendmentChange::Comment], vec![(0, Some(false))]),
        (
            "back and forth",
            vec![corrected(true), AmendmentChange::Withdrawn, corrected(false), AmendmentChange::Withdrawn],
            vec![],
        ),
    ] {
        let mut book = Book::new();
        let first = book.put("2026-03-05T15:00:00Z", Some("glass"), Body::Check(supply(false)));
        for change in changes {
            let (reason, by) = ("slip of the pen".to_owned(), "Tom".to_owned());
            let amendment = Amendment { of: first, reason, by, change };
            book.put("2026-03-05T16:00:00Z", Some("glass"), Body::Amendment(Box::new(amendment)));
        }
        let account = book.account(question());
        let counts = account.checks.iter().filter(|entry| entry.amended_by.is_none());
        let counts: Vec<_> = counts.map(|entry| (entry.index - first, entry.good)).collect();
        assert_eq!(counts, counting, "{what}");
    }
}

// 50 mg/L of chlorine at 50 °C is fine, 10 mg/L is too weak at any temperature: Food Code 4-501.114(A).
#[test]
fn checks_are_judged_and_stand_as_they_were_amended() {
    let mut book = Book::new();
    let glass = Some("glass");
    let strip = |time: &str, mg_per_l| Check::Sanitizer {
        at: at(time),
        mg_per_l,
        ph: Some(7.0),
        solution_c: Some(50.0),
        method: Some("strip".to_owned()),
        by: "Ana".to_owned(),
    };
    let amend = |of, change| {
        let (reason, by) = ("slip of the pen".to_owned(), "Tom".to_owned());
        Body::Amendment(Box::new(Amendment { of, reason, by, change }))
    };
    let good = book.put("2026-03-03T15:00:00Z", glass, Body::Check(strip("2026-03-03T15:00:00Z", 50.0)));
    let weak = book.put("2026-03-04T15:00:00Z", glass, Body::Check(strip("2026-03-04T15:00:00Z", 10.0)));
    let change = AmendmentChange::Corrected(strip("2026-03-04T15:00:00Z", 100.0));
    let once = book.put("2026-03-04T16:00:00Z", glass, amend(weak, change));
    let change = AmendmentChange::Corrected(strip("2026-03-04T15:00:00Z", 20.0));
    let twice = book.put("2026-03-04T17:00:00Z", glass, amend(weak, change));
    let (at_, by) = (at("2026-03-05T15:00:00Z"), "Ana".to_owned());
    let supply = Check::Supply { at: at_, enough: false, short: Vec::new(), note: None, by };
    let short = book.put("2026-03-05T15:00:00Z", glass, Body::Check(supply));
    let gone = book.put("2026-03-05T16:00:00Z", glass, amend(short, AmendmentChange::Withdrawn));
    let note = Note { at: None, text: "new hose".to_owned(), by: "Tom".to_owned() };
    let noted = book.put("2026-03-06T15:00:00Z", glass, Body::Note(note));
    let unsaid = book.put("2026-03-06T16:00:00Z", glass, amend(noted, AmendmentChange::Withdrawn));
    let account = book.account(question());
    let told: Vec<_> = account
        .checks
        .iter()
        .map(|entry| (entry.index, entry.good, entry.amended_by, entry.corrects))
        .collect();
    assert_eq!(
        told,
        [
            (good, Some(true), None, None),
            (weak, Some(false), Some(twice), None),
            (once, Some(true), Some(twice), Some(weak)),
            (twice, Some(false), None, Some(weak)),
            (short, Some(false), Some(gone), None),
        ]
    );
    assert_eq!(account.remarks.len(), 5, "four amendments and a note");
    let withdrawn: Vec<_> =
        account.remarks.iter().filter_map(|remark| Some((remark.index, remark.withdrawn_by?))).collect();
    assert_eq!(withdrawn, [(noted, unsaid)], "the note stays, and is marked");
    let only = Question { only: vec!["dm1".to_owned()], ..question() };
    assert!(book.account(only).checks.is_empty(), "they are of another machine");
}

#[test]
fn a_check_that_was_overdue_says_when_it_was_made() {
    let mut book = Book::new();
    let (due, counts_from) = (at("2026-03-03T15:00:00Z"), at("2026-03-03T14:30:00Z"));
    let missed = |check| Some(MissedDue { check, due, counts_from });
    let raised = AlertRaised {
        missed: missed(CheckKind::Supply),
        ..AlertRaised::new(AlertNumber(1), Condition::CheckOverdue, due)
    };
    let grew = AlertChanged {
        missed: missed(CheckKind::DrainAndClean),
        ..AlertChanged::new(AlertNumber(1), Change::Grew)
    };
    book.put("2026-03-03T15:30:00Z", Some("dm1"), Body::AlertRaised(Box::new(raised)));
    book.put("2026-03-03T15:30:00Z", Some("dm1"), Body::AlertChanged(grew));
    let made = at("2026-03-03T18:00:00Z");
    let supply =
        Check::Supply { at: made, enough: true, short: Vec::new(), note: None, by: "Ana".to_owned() };
    book.put("2026-03-03T18:00:05Z", Some("dm1"), Body::Check(supply));
    // The configuration asks for it no longer: that does not make the check that is missing.
    let (alert, clearing) = (AlertNumber(1), Clearing::Retired);
    let retired =
        Body::AlertCleared(AlertCleared { alert, clearing, racks: 0, worst: None, limit: None, cause: None });
    book.put("2026-03-03T20:00:00Z", Some("dm1"), retired);
    let account = book.account(question());
    let told: Vec<_> = account.overdue.iter().map(|check| (check.check.as_str(), check.made)).collect();
    assert_eq!(told, [("drain-and-clean", None), ("supply", Some(made))]);
    // One that was made in time and entered only after it was missed.
    let early = at("2026-03-03T14:50:00Z");
    let drain = Check::DrainAndClean { at: early, note: None, by: "Ana".to_owned() };
    book.put("2026-03-03T19:00:00Z", Some("dm1"), Body::Check(drain));
    assert_eq!(book.account(question()).overdue[0].made, Some(early));
}
