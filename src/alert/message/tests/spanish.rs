//! What is Spanish is Spanish all through.

use super::*;

/// Words that English has and Spanish has not (own list: those that the English phrases use most).
const ENGLISH_ONLY: [&str; 60] = [
    "the",
    "and",
    "of",
    "is",
    "are",
    "it",
    "to",
    "in",
    "or",
    "not",
    "rack",
    "racks",
    "rinse",
    "wash",
    "limit",
    "since",
    "water",
    "hold",
    "run",
    "check",
    "probe",
    "clock",
    "disk",
    "tank",
    "machine",
    "cold",
    "hot",
    "too",
    "below",
    "above",
    "worse",
    "open",
    "closed",
    "test",
    "sanitizer",
    "sanitize",
    "ware",
    "maximum",
    "recovered",
    "about",
    "measured",
    "worst",
    "last",
    "good",
    "nobody",
    "alert",
    "action",
    "corrective",
    "missing",
    "calibration",
    "overdue",
    "message",
    "delivered",
    "caution",
    "facts",
    "call",
    "service",
    "label",
    "steam",
    "booster",
];

#[test]
fn spanish_messages_hold_no_english() {
    for (name, mut notice) in everything().filter(|(_, notice)| notice.language == Language::Spanish) {
        // What people wrote and named is theirs.
        notice.alert.machine = notice.alert.machine.map(|_| "m1".to_owned());
        notice.alert.about.retain(|about| !about.contains(['/', ':']));
        if let Some(action) = &mut notice.alert.action {
            (action.racks, action.done) = ("x".to_owned(), "x".to_owned());
        }
        let zone = zone();
        let chemical = notice.alert.number.0.is_multiple_of(2);
        let facts = Facts { site: "s1", link: Some("https://x.y/1"), ..plain(&zone, chemical) };
        let message = compose(&notice, &facts, None);
        for text in [&message.subject, &message.text, &message.short] {
            let lower = text.to_lowercase();
            for word in lower.split(|c: char| !c.is_alphabetic()) {
                assert!(!ENGLISH_ONLY.contains(&word), "{name}: «{word}» in {text}");
            }
        }
    }
}
