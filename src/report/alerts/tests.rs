use jiff::tz::TimeZone;

use super::*;
use crate::core::reader::Scale;

// Regression: a text longer than its column pushed what followed out of its own. What is too long is cut.
#[test]
fn the_columns_of_the_list_stand_under_each_other() {
    let since = "2026-11-28T12:08:00Z".parse::<Timestamp>().expect("an instant");
    let about = |condition, about: &[&str]| Alert {
        condition,
        machine: None,
        measured: None,
        limit: None,
        about: about.iter().map(|text| (*text).to_owned()).collect(),
        ..Alert::trial(since)
    };
    let alerts = [
        Alert::trial(since),
        about(Condition::SuppliesShort, &["detergent,sanitizer: the can\nis empty and another is ordered"]),
        about(Condition::ProbeSilent, &["dm1/rinse", "dm1/wash-tank"]),
        Alert { machine: Some("the machine behind the bakery".to_owned()), ..Alert::trial(since) },
        about(Condition::DiskFilling, &[]),
    ];
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
    let mut out = Vec::new();
    table(&mut out, alerts.iter().map(|alert| (alert, None)), &reader).expect("memory takes it");
    let out = String::from_utf8(out).expect("text");
    let lines: Vec<Vec<char>> = out.lines().skip(1).map(|line| line.chars().collect()).collect();
    let head: String = lines[0].iter().collect();
    assert_eq!(lines.len(), 1 + alerts.len(), "{out}");
    for name in ["SINCE", "MACHINE", "CONDITION", "MEASURED", "STATE"] {
        let at = head.find(name).expect("a column");
        for line in &lines {
            let apart = line[at - 2..at].iter().all(|c| *c == ' ');
            assert!(apart && (line[at] != ' ' || name == "MEASURED"), "{name}: {out}");
        }
    }
    assert!(out.contains('…'), "{out}");
}

// Regression: that it had come back stood only among the lines of its story.
#[test]
fn the_story_begins_with_each_return() {
    let at = |text: &str| text.parse::<Timestamp>().expect("an instant");
    let mut alert = Alert::trial(at("2026-11-28T12:08:00Z"));
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
    let told = |alert: &Alert| {
        let mut out = Vec::new();
        story(&mut out, alert, None, &[], &reader).expect("memory takes it");
        String::from_utf8(out).expect("text")
    };
    assert!(!told(&alert).contains("came back"), "{}", told(&alert));
    alert.returns = ["2026-11-28T13:31:00Z", "2026-11-28T17:34:00Z"].map(at).into_iter().collect();
    alert.before_return = 2;
    let line = "came back Sat 28 Nov 2026, 13:31 and 17:34 UTC: its racks are those of all three times.\n";
    assert!(told(&alert).contains(line), "{}", told(&alert));
}
