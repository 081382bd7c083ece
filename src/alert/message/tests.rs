mod amended;
mod event;
mod sanitizer;
mod short;
mod spanish;
mod times;

use std::path::PathBuf;
use std::time::Duration;

use jiff::tz::TimeZone;

use super::phrases::Phrase;
use super::short::{SEPTETS_MAX, septets};
use super::*;
use crate::core::alert::{
    Acknowledgement, Action, Alert, AlertNumber, Condition, Pattern, Quantity, Rack, Racks, words,
};
use crate::core::channel::Place;
use crate::core::reader::{Language, Reader, Scale};

const OCCASIONS: [Occasion; 10] = [
    Occasion::Raised,
    Occasion::Grew,
    Occasion::Returned,
    Occasion::Summary,
    Occasion::Escalated,
    Occasion::Cleared,
    Occasion::ActionMissing,
    Occasion::Closed,
    Occasion::AfterMaintenance,
    Occasion::Test,
];

fn zone() -> TimeZone {
    TimeZone::get("America/New_York").expect("the zone data is built in")
}

fn at(text: &str) -> Timestamp {
    text.parse().expect("RFC 3339")
}

/// Three racks of a dead booster on a Wednesday at noon in New York.
fn alert(condition: Condition) -> Alert {
    let since = at("2026-11-25T17:05:12Z");
    let mut racks = Racks::default();
    for number in 0..3 {
        racks.push(Rack {
            index: 4210 + number,
            at: since.plus(Duration::from_secs(number * 95)),
            began: None,
        });
    }
    let celsius = |measured, worst, limit| {
        Some((Quantity::Celsius(measured), Quantity::Celsius(worst), Quantity::Celsius(limit)))
    };
    let same = |measured, limit| Some((measured, measured, limit));
    let (figures, about) = match condition {
        Condition::Cold => (celsius(71.31, 68.4, 82.222_222), vec![]),
        Condition::Narrow => (celsius(82.9, 82.5, 82.222_222), vec![]),
        Condition::Drifting => (celsius(83.6, 83.4, 84.4), vec![]),
        Condition::Brief => (same(Quantity::Seconds(4.2), Quantity::Seconds(5.0)), vec![]),
        Condition::Weak => (same(Quantity::MgPerL(20.0), Quantity::MgPerL(50.0)), vec![]),
        Condition::Unproven => (same(Quantity::Count(3), Quantity::Count(3)), vec![]),
        Condition::WashLow | Condition::TankCold => (celsius(61.0, 61.0, 66.0), vec![]),
        Condition::RinseHot => (celsius(91.5, 92.0, 90.0), vec![]),
        Condition::DiskFilling => (same(Quantity::Fraction(0.08), Quantity::Fraction(0.1)), vec![]),
        Condition::SeriesBacklog => (same(Quantity::Seconds(5400.0), Quantity::Seconds(3600.0)), vec![]),
        Condition::ProbeFault
        | Condition::ProbeSilent
        | Condition::CalibrationOverdue
        | Condition::ThermometerOff => (None, vec!["dm1/rinse"]),
        Condition::CheckOverdue => (None, vec!["sanitizer", "drain-and-clean"]),
        Condition::SuppliesShort => (None, vec!["Ana: R2D2"]),
        Condition::RecordDamaged => (None, vec!["4107"]),
        Condition::ClockUnsynchronised => (None, vec![]),
        Condition::Undelivered => (None, vec!["email:ana@example.org"]),
    };
    let of_site = matches!(
        condition,
        Condition::RecordDamaged
            | Condition::DiskFilling
            | Condition::ClockUnsynchronised
            | Condition::SeriesBacklog
            | Condition::Undelivered
    );
    let about = about.into_iter().map(str::to_owned).collect();
    Alert {
        number: AlertNumber(17),
        condition,
        machine: (!of_site).then(|| "dish machine 1".to_owned()),
        place: (condition == Condition::Cold).then_some(Place::FinalRinse),
        raised: since.plus(Duration::from_secs(1)),
        since,
        measured: figures.map(|figures| figures.0),
        worst: figures.map(|figures| figures.1),
        limit: figures.map(|figures| figures.2),
        racks: if figures.is_some() && !of_site { racks } else { Racks::default() },
        earlier: 0,
        beside: 0,
        last_good: (!of_site).then(|| Rack { index: 4208, at: at("2026-11-25T17:01:40Z"), began: None }),
        before_return: 0,
        returns: crate::core::alert::Returns::default(),
        pattern: (condition == Condition::Cold).then_some(Pattern::Repeated),
        about,
        acknowledged: None,
        cleared: None,
        needs_action: condition.needs_action(),
        action: None,
        amended: None,
        rest_since: None,
        lapsed: false,
        other_side: None,
    }
}

fn notice(condition: Condition, occasion: Occasion, language: Language, units: Scale) -> Notice {
    let mut alert = alert(condition);
    let acknowledged = Acknowledgement {
        by: "Ana".to_owned(),
        at: at("2026-11-25T17:12:00Z"),
        via: "link".to_owned(),
        note: None,
    };
    if matches!(occasion, Occasion::Cleared | Occasion::ActionMissing | Occasion::Closed) {
        alert.acknowledged = Some(acknowledged);
        alert.cleared = Some(at("2026-11-25T17:40:00Z"));
    }
    if occasion == Occasion::Closed && alert.needs_action {
        alert.action = Some(Action {
            by: "Ana".to_owned(),
            at: at("2026-11-25T17:55:00Z"),
            racks: "All three washed again by hand,\nnothing served from them.".to_owned(),
            done: "Breaker of the booster reset; two good racks and a label.".to_owned(),
            covers: alert.racks.count,
        });
    }
    Notice {
        key: "17-1-ana".to_owned(),
        alert,
        contact: "ana".to_owned(),
        language,
        units,
        routes: Vec::new(),
        step: 1,
        round: 0,
        occasion,
        rested_s: 0,
    }
}

/// What is known of a site with nobody to call and no pages.
fn plain(zone: &TimeZone, chemical: bool) -> Facts<'_> {
    Facts {
        site: "North kitchen",
        zone,
        written: at("2026-11-25T17:10:00Z"),
        chemical,
        permitted: None,
        call: None,
        link: None,
    }
}

fn told(notice: &Notice) -> Message {
    let zone = zone();
    let facts = Facts {
        permitted: Some((50.0, 200.0)),
        call: Some("Acme Service, +1 555 0100"),
        link: Some("https://kitchen.example.org/a/17?t=abc&c=ana"),
        ..plain(&zone, false)
    };
    compose(notice, &facts, Some(&Illustration { id: "trace", description: "Rinse below its limit" }))
}

fn everything() -> impl Iterator<Item = (String, Notice)> {
    Condition::ALL.into_iter().flat_map(|condition| {
        OCCASIONS.into_iter().flat_map(move |occasion| {
            Language::ALL.into_iter().map(move |language| {
                let scale = if language == Language::English { Scale::Fahrenheit } else { Scale::Celsius };
                let name = format!("{condition} {occasion:?} {language}");
                (name, notice(condition, occasion, language, scale))
            })
        })
    })
}

fn golden(name: &str, found: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/golden/message").join(name);
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("the folder can be made");
        std::fs::write(&path, found).expect("the golden file is writable");
    }
    let kept = std::fs::read_to_string(&path).expect("a golden file; UPDATE_GOLDEN=1 writes it");
    assert_eq!(found, kept, "{name}; UPDATE_GOLDEN=1 rewrites it");
}

#[test]
fn messages_read_as_agreed() {
    for (condition, occasion) in [
        (Condition::Cold, Occasion::Raised),
        (Condition::Cold, Occasion::Escalated),
        (Condition::Cold, Occasion::ActionMissing),
        (Condition::Cold, Occasion::Closed),
        (Condition::Weak, Occasion::Raised),
        (Condition::ProbeFault, Occasion::Raised),
        (Condition::CheckOverdue, Occasion::Raised),
        (Condition::Cold, Occasion::Test),
    ] {
        for (language, scale) in [(Language::English, Scale::Fahrenheit), (Language::Spanish, Scale::Celsius)]
        {
            let message = told(&notice(condition, occasion, language, scale));
            let occasion = format!("{occasion:?}").to_lowercase();
            let found =
                format!("Subject: {}\n\n{}\n[short] {}\n", message.subject, message.text, message.short);
            golden(&format!("{condition}-{occasion}-{language}.txt"), &found);
            if condition == Condition::Cold && occasion == "raised" {
                golden(&format!("{condition}-{occasion}-{language}.html"), &message.html);
            }
        }
    }
}

/// The first line and the short form of every condition, for reading side by side.
#[test]
fn first_lines_read_as_agreed() {
    let mut lines = String::new();
    for (name, notice) in everything().filter(|(_, notice)| notice.occasion == Occasion::Raised) {
        let message = told(&notice);
        lines.push_str(&format!("{name}\n  {}\n  {}\n", message.content.headline, message.short));
    }
    golden("first-lines.txt", &lines);
}

#[test]
fn every_message_is_whole() {
    for (name, notice) in everything() {
        let message = told(&notice);
        for text in
            [&message.subject, &message.content.headline, &message.text, &message.html, &message.short]
        {
            assert!(!text.is_empty() && !text.contains(['{', '}']), "{name}: {text}");
        }
        assert!(
            !message.subject.contains(['\r', '\n']) && !message.content.headline.contains('\n'),
            "{name}"
        );
        assert!(message.text.starts_with(&message.content.headline), "{name}");
        assert!(message.text.contains("https://kitchen.example.org/a/17?t=abc&c=ana"), "{name}");
        let septets = septets(&message.short);
        assert!(septets.is_some_and(|count| count <= SEPTETS_MAX), "{name}: {septets:?} {}", message.short);
        let test = notice.occasion == Occasion::Test;
        for text in [&message.subject, &message.content.headline, &message.text, &message.short] {
            let marked = text.starts_with("TEST: ") || text.starts_with("PRUEBA: ");
            assert_eq!(marked, test, "{name}: {text}");
        }
        if notice.alert.condition.needs_action() && notice.occasion == Occasion::Raised {
            assert!(message.text.contains("Acme Service, +1 555 0100") && message.text.contains("4-501.111"));
        }
    }
}

/// Different conditions and occasions never read alike.
#[test]
fn every_condition_and_occasion_has_a_text_of_its_own() {
    let texts: Vec<String> = everything()
        .filter(|(_, notice)| notice.occasion != Occasion::Test)
        .map(|(_, notice)| told(&notice).content.headline)
        .collect();
    let distinct: std::collections::BTreeSet<&String> = texts.iter().collect();
    assert_eq!(distinct.len(), texts.len());
}

fn names(template: &str) -> std::collections::BTreeSet<&str> {
    template.split('{').skip(1).filter_map(|rest| rest.split_once('}')).map(|(name, _)| name).collect()
}

#[test]
fn every_phrase_exists_in_both_languages() {
    for phrase in Phrase::ALL {
        let (english, spanish) = phrase.pair();
        assert!(!english.trim().is_empty() && !spanish.trim().is_empty(), "{phrase:?}");
        assert_eq!(names(english), names(spanish), "{phrase:?}");
        let same = matches!(phrase, Phrase::ByAt | Phrase::DayLine);
        assert_eq!(english == spanish, same, "{phrase:?}: {english}");
    }
}

/// Own rule. The Fahrenheit figures by the definition of the scale.
#[test]
fn figures_never_contradict_the_verdict() {
    for (scale, measured, limit, expected) in [
        (Scale::Celsius, Quantity::Celsius(81.96), Quantity::Celsius(82.0), "81.96 °C (limit 82.00 °C)"),
        (Scale::Celsius, Quantity::Celsius(71.31), Quantity::Celsius(82.222_222), "71.3 °C (limit 82.2 °C)"),
        (
            Scale::Fahrenheit,
            Quantity::Celsius(82.2),
            Quantity::Celsius(82.222_222),
            "179.96 °F (limit 180.00 °F)",
        ),
        (Scale::Celsius, Quantity::Seconds(4.96), Quantity::Seconds(5.0), "4.96 s (limit 5.00 s)"),
        (Scale::Celsius, Quantity::MgPerL(49.6), Quantity::MgPerL(50.0), "49.6 mg/L (limit 50.0 mg/L)"),
        (Scale::Celsius, Quantity::Fraction(0.098), Quantity::Fraction(0.1), "9.8 % (limit 10.0 %)"),
        (
            Scale::Celsius,
            Quantity::Seconds(5400.0),
            Quantity::Seconds(3600.0),
            "1 h 30 min (limit 1 h 00 min)",
        ),
    ] {
        let mut notice = notice(Condition::Cold, Occasion::Raised, Language::English, scale);
        (notice.alert.measured, notice.alert.limit) = (Some(measured), Some(limit));
        let message = told(&notice);
        assert!(message.content.headline.contains(expected), "{expected}: {}", message.content.headline);
        assert!(message.subject.contains(expected), "{expected}: {}", message.subject);
    }
}

/// A rack after the corrective action is in no one's hands: a recovery must ask for it.
#[test]
fn an_action_before_the_latest_rack_is_not_enough() {
    let closed = notice(Condition::Cold, Occasion::Closed, Language::English, Scale::Celsius);
    let mut cleared = Notice { occasion: Occasion::Cleared, ..closed };
    let first_line = |notice: &Notice| told(notice).text.lines().next().map(str::to_owned);
    let done = first_line(&cleared);
    cleared.alert.racks.count += 1;
    let missing = first_line(&cleared);
    assert_ne!(done, missing, "the same order before and after one more rack");
    cleared.alert.action = None;
    assert_eq!(missing, first_line(&cleared), "as if no action had been written");
}

// Own promise: what only ended, with its hours or by work on the machine, is never called good again.
#[test]
fn what_ended_without_proof_is_not_called_good() {
    for (language, said, never) in [
        (Language::English, "Over, not seen good again", ["good again since", "Recovered"]),
        (Language::Spanish, "Terminó sin verse bien otra vez", ["bien otra vez desde", "Recuperado"]),
    ] {
        let mut notice = notice(Condition::TankCold, Occasion::Cleared, language, Scale::Celsius);
        assert!(notice.alert.cleared.is_some());
        notice.alert.lapsed = true;
        let message = told(&notice);
        for text in [&message.subject, &message.text] {
            assert!(never.iter().all(|word| !text.contains(word)), "{text}");
        }
        assert!(message.text.contains(said), "{}", message.text);
    }
}

// Own promise: nobody is told to hold racks that were good between two times, and of the first nothing is forgotten.
#[test]
fn an_alert_that_came_back_holds_the_racks_of_both_times() {
    let mut notice = notice(Condition::Cold, Occasion::Raised, Language::English, Scale::Celsius);
    assert!(!told(&notice).text.contains("and those of before"), "{}", told(&notice).text);
    notice.alert.before_return = 2;
    assert!(
        told(&notice).text.contains("and those of before that this alert names"),
        "{}",
        told(&notice).text
    );
}

// Own promise: what somebody has not done says nothing of a rack where none is affected.
#[test]
fn an_overdue_check_names_a_rack_only_where_one_is_affected() {
    for (count, named) in [(0, false), (2, true)] {
        let mut notice = notice(Condition::CheckOverdue, Occasion::Raised, Language::English, Scale::Celsius);
        notice.alert.last_good = Some(Rack { index: 7, at: at("2026-11-25T17:01:40Z"), began: None });
        notice.alert.racks.count = count;
        let text = told(&notice).text;
        assert_eq!(text.contains("Last good rack"), named, "{count}: {text}");
    }
}

// Regression: the action of an alert that had come back was asked for the racks since its return alone, and closed it
// for all of them.
#[test]
fn an_action_is_asked_for_the_racks_of_both_times() {
    for (before, expected) in [
        (0, "what happened to the racks washed since"),
        (2, "what happened to all 3 racks that this alert counts, those of before it came back too"),
    ] {
        let mut notice = notice(Condition::Cold, Occasion::ActionMissing, Language::English, Scale::Celsius);
        notice.alert.before_return = before;
        let text = told(&notice).text;
        assert!(text.contains(expected) && text.contains("hold the racks that this alert counts"), "{text}");
    }
}

#[test]
fn a_hostile_name_harms_nothing() {
    let name =
        "<script>alert('x')</script>\r\nBcc: all@example.org\u{202e}\u{0}\"><img src=x onerror=y>{limit}";
    for occasion in OCCASIONS {
        let mut notice = notice(Condition::Cold, occasion, Language::English, Scale::Celsius);
        notice.alert.machine = Some(name.to_owned());
        notice.contact = name.to_owned();
        notice.alert.about = vec![name.to_owned()];
        let message = told(&notice);
        assert!(!message.subject.contains(['\r', '\n', '\u{202e}', '\u{0}']), "{}", message.subject);
        assert!(!message.short.contains(['\r', '\n']), "{}", message.short);
        assert!(!message.html.contains("<script") && !message.html.contains("<img src=x"));
        assert!(!message.text.contains("\nBcc") && !message.html.contains("\nBcc"));
    }
}

#[test]
fn a_link_that_is_no_address_of_the_web_is_left_out() {
    let zone = zone();
    let facts = Facts { link: Some("javascript:alert(1)"), ..plain(&zone, true) };
    let notice = notice(Condition::Cold, Occasion::Raised, Language::English, Scale::Celsius);
    let message = compose(&notice, &facts, None);
    for text in [message.text, message.html, message.short] {
        assert!(!text.contains("javascript"), "{text}");
    }
}

// Own promise: whoever is told that nobody has answered is told too that it has not been seen since, in every form: that
// it has recovered may be told only after that, once it has lasted.
#[test]
fn an_escalation_says_that_it_is_not_seen_any_more() {
    for (language, body, short) in [
        (
            Language::English,
            "What raised it has not been seen since 12:40 EST.",
            "good again since 12:40 EST",
        ),
        (Language::Spanish, "no se ha visto desde las 12:40 EST.", "bien otra vez desde las 12:40 EST"),
    ] {
        let mut notice = notice(Condition::Cold, Occasion::Escalated, language, Scale::Celsius);
        assert!(!told(&notice).text.contains(body));
        notice.alert.cleared = Some(at("2026-11-25T17:40:00Z"));
        let message = told(&notice);
        assert!(message.text.contains(body) && message.html.contains(body), "{}", message.text);
        assert!(message.content.headline.contains(short), "{}", message.content.headline);
        assert!(message.short.contains(short), "{}", message.short);
    }
}

// One list of words: what a message calls a condition is what terminal and paper call it.
#[test]
fn a_condition_has_one_name_everywhere() {
    for condition in Condition::ALL {
        for language in [Language::English, Language::Spanish] {
            let title = super::condition_title(condition).say(language);
            let mut letters = title.chars();
            let first = letters.next().expect("a title").to_lowercase();
            let lower: String = first.chain(letters).collect();
            assert_eq!(lower, words::condition(condition, language), "{condition}");
        }
    }
}
