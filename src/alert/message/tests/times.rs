//! What is told of times: when an alert began and ended, and when its last good rack was.

use super::*;

// Regression: between the «last good rack» of an alert that came back and its return others lie, good ones too. Own
// rule: a rack is named by when its final rinse began, as in every list; the alert itself by that of its first rack.
#[test]
fn the_last_good_rack_says_what_it_was_the_last_before() {
    for (language, plain, back, rinsed, before, since) in [
        (
            Language::English,
            "Last good rack",
            "Last good rack before it came back",
            "Wed 25 Nov 2026, 12:01",
            "(12:01 EST, before it came back)",
            "since 12:04 EST",
        ),
        (
            Language::Spanish,
            "Última canasta correcta",
            "Última canasta correcta antes de que volviera",
            "mié 25 nov 2026, 12:01",
            "(12:01 EST, antes de que volviera)",
            "desde las 12:04 EST",
        ),
    ] {
        for (count, name) in [(0, plain), (2, back)] {
            let mut notice = notice(Condition::Cold, Occasion::Raised, language, Scale::Celsius);
            notice.alert.before_return = count;
            let since = (notice.alert.since, since);
            notice.alert.racks.named[0] =
                Rack { index: 7, at: since.0, began: Some(since.0.minus(Duration::from_secs(60))) };
            let text = told(&notice).text;
            assert!(text.contains(since.1), "{text}");
            let row = text.lines().find(|line| line.starts_with(plain)).unwrap_or_else(|| panic!("{text}"));
            assert!(row.starts_with(&format!("{name}: ")) && row.contains(rinsed), "{row}");
            assert_eq!(text.contains(before), count > 0, "{text}");
        }
    }
}

// Regression: after one of several overdue checks was made, the logbook said since when the other was missing, and the
// alert since when the one was that had been made.
#[test]
fn what_is_still_missing_is_so_since_its_own_time() {
    for (language, headline, since, open) in [
        (
            Language::English,
            ", since 12:45 EST",
            "Since: Wed 25 Nov 2026, 12:45 EST",
            "The alert is open since: Wed 25",
        ),
        (
            Language::Spanish,
            ", desde las 12:45 EST",
            "Desde: mié 25 nov 2026, 12:45 EST",
            "La alerta está abierta desde: mié",
        ),
    ] {
        let mut notice = notice(Condition::CheckOverdue, Occasion::Escalated, language, Scale::Celsius);
        notice.alert.racks = Racks::default();
        assert!(!told(&notice).text.contains(open));
        notice.alert.rest_since = Some(at("2026-11-25T17:45:00Z"));
        let message = told(&notice);
        assert!(message.content.headline.contains(headline), "{}", message.content.headline);
        let line = |begin: &str| message.text.lines().any(|line| line.starts_with(begin));
        assert!(line(since) && line(open), "{}", message.text);
        // Once nothing is missing it is told as a whole.
        (notice.alert.rest_since, notice.alert.cleared) = (None, Some(at("2026-11-25T18:00:00Z")));
        assert!(!told(&notice).text.contains(open));
    }
}

/// Names of the Americas' daylight saving: the site's zone, wherever the reader is.
#[test]
fn an_older_alert_is_told_with_its_date() {
    let mut notice = notice(Condition::CheckOverdue, Occasion::Raised, Language::Spanish, Scale::Celsius);
    notice.alert.since = at("2026-10-31T05:10:00Z");
    notice.alert.about.truncate(1);
    let text = told(&notice).text;
    assert!(text.contains("Se esperaba para el sáb 31 oct 2026, 01:10 EDT y no consta"), "{text}");
    let reader = Reader { language: Language::Spanish, scale: Scale::Celsius, zone: zone() };
    assert_eq!(reader.clock(notice.alert.since), "01:10");
}

// Own promise: the end of a span says its day where that is not the day of its beginning.
#[test]
fn a_span_over_midnight_says_both_days() {
    let mut notice = notice(Condition::Cold, Occasion::Cleared, Language::English, Scale::Celsius);
    let headline = told(&notice).content.headline;
    assert!(headline.contains("since 12:05 EST; good again since 12:40 EST"), "{headline}");
    notice.alert.since = at("2026-11-24T04:50:00Z");
    let headline = told(&notice).content.headline;
    let span = "since Mon 23 Nov 2026, 23:50 EST; good again since Wed 25 Nov 2026, 12:40 EST";
    assert!(headline.contains(span), "{headline}");
    // Of one day, and read on another.
    (notice.alert.since, notice.alert.cleared) =
        (at("2026-11-24T15:00:00Z"), Some(at("2026-11-24T15:40:00Z")));
    let headline = told(&notice).content.headline;
    let span = "since Tue 24 Nov 2026, 10:00 EST; good again since Tue 24 Nov 2026, 10:40 EST";
    assert!(headline.contains(span), "{headline}");
}

// Own promise: the rack that is named as the last good one is told to be in doubt where an alert says so, be it another
// one or its own.
#[test]
fn a_last_good_rack_that_is_in_doubt_is_told_so() {
    let rows: [(Language, bool, &[u64], &str); 6] = [
        (Language::English, false, &[7], "(in doubt since, by alert 7)"),
        (Language::English, true, &[], "(in doubt since, by this alert)"),
        (Language::English, true, &[7], "(in doubt since, by this alert and alert 7)"),
        (Language::English, false, &[7, 9], "(in doubt since, by alerts 7, 9)"),
        (Language::Spanish, false, &[7], "(en duda desde entonces, por la alerta 7)"),
        (Language::Spanish, true, &[7, 9], "(en duda desde entonces, por esta alerta y las alertas 7, 9)"),
    ];
    for (language, doubted_by_itself, doubted_by, said) in rows {
        let mut notice = notice(Condition::Cold, Occasion::Raised, language, Scale::Celsius);
        let mut content = told(&notice).content;
        let reader = Reader { language, scale: Scale::Celsius, zone: zone() };
        let beside = Beside { doubted_by_itself, doubted_by, ..Beside::default() };
        content.say_beside(&notice.alert, &beside, &reader);
        let row = Phrase::RowLastGood.say(language);
        let told_in = |(name, value): &(String, String)| value.ends_with(said) == (name == row);
        let facts = content.facts(&reader);
        assert!(facts.iter().all(told_in) && content.names_last_good(), "{facts:?}");
        notice.alert.last_good = None;
        assert!(!told(&notice).content.names_last_good());
    }
}

// Regression: two spells were read as one, and a check that was due later as if it had been due with the first.
#[test]
fn facts_say_when_it_came_back_and_what_was_due_when() {
    use crate::core::record::{CheckKind, MissedDue};
    let mut notice = notice(Condition::CheckOverdue, Occasion::Raised, Language::English, Scale::Celsius);
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: zone() };
    let due = |check, text| MissedDue { check, due: at(text), counts_from: at(text) };
    let missed = [
        due(CheckKind::Sanitizer, "2026-11-25T17:15:00Z"),
        due(CheckKind::DrainAndClean, "2026-11-25T17:45:00Z"),
    ];
    notice.alert.returns.push(at("2026-11-25T18:31:00Z"));
    let mut content = told(&notice).content;
    content.say_beside(&notice.alert, &Beside { missed: &missed, ..Beside::default() }, &reader);
    let facts = content.facts(&reader);
    let about =
        "sanitizer (due Wed 25 Nov 2026, 12:15 EST); drain and clean (due Wed 25 Nov 2026, 12:45 EST)";
    for (name, value) in [("Came back", "Wed 25 Nov 2026, 13:31 EST"), ("About", about)] {
        assert!(facts.contains(&(name.to_owned(), value.to_owned())), "{name}: {facts:?}");
    }
}

// Regression: once it had recovered, the racks of before were told as if all had been washed since it began. Where the
// short form has no room for the times, it says so of the racks alone.
#[test]
fn racks_of_before_are_told_so_after_recovery_too() {
    let weak = |occasion, language| {
        let mut notice = notice(Condition::Weak, occasion, language, Scale::Celsius);
        (notice.alert.racks.count, notice.alert.earlier) = (318, 260);
        notice
    };
    for (language, before, good, doubted) in [
        (
            Language::English,
            "318 racks, 260 of them had passed and are in doubt; since 12:05 EST",
            "; good again since 12:40 EST",
            ("9 racks that had passed, now in doubt; since", "9 racks now in doubt"),
        ),
        (
            Language::Spanish,
            "318 canastas, 260 de ellas habían pasado y están en duda; desde las 12:05 EST",
            "; bien otra vez desde las 12:40 EST",
            ("9 canastas que habían pasado, ahora en duda; desde", "9 canastas ahora en duda"),
        ),
    ] {
        for occasion in [Occasion::Raised, Occasion::Cleared, Occasion::ActionMissing, Occasion::Closed] {
            let message = told(&weak(occasion, language));
            let whole =
                if occasion == Occasion::Raised { before.to_owned() } else { format!("{before}{good}") };
            assert!(message.content.headline.contains(&whole), "{}", message.content.headline);
            assert!(message.short.contains("260 "), "{}", message.short);
            assert!(
                super::super::short::septets(&message.short).is_some_and(|count| count <= 160),
                "{}",
                message.short
            );
        }
        // Regression: «9 racks, 9 of them from before».
        let mut all = weak(Occasion::Raised, language);
        (all.alert.racks.count, all.alert.earlier) = (9, 9);
        let message = told(&all);
        let said = message.content.headline.contains(doubted.0) && message.short.contains(doubted.1);
        assert!(said, "{} {}", message.content.headline, message.short);
        let mut lapsed = weak(Occasion::Cleared, language);
        lapsed.alert.lapsed = true;
        assert!(told(&lapsed).content.headline.contains(before));
    }
}

// Regression: of an alert that came back twice a message told of the last time alone, if of any. Own promise: the facts
// have each time, the first line of a return how often, and the short form both where they cost nothing else.
#[test]
fn a_message_says_how_often_an_alert_came_back() {
    for (language, first, row, line) in [
        (
            Language::English,
            "Came back 2 times: Final rinse too cold",
            "Came back: Wed 25 Nov 2026, 12:15 and 12:30 EST",
            "3 racks since 12:05 EST; came back 2 times (12:15 and 12:30 EST). Alert 17",
        ),
        (
            Language::Spanish,
            "Volvió 2 veces: Enjuague final demasiado frío",
            "Volvió: mié 25 nov 2026, 12:15 y 12:30 EST",
            "3 canastas desde las 12:05 EST; volvio 2 veces. Alerta 17",
        ),
    ] {
        let mut notice = notice(Condition::Cold, Occasion::Returned, language, Scale::Celsius);
        notice.alert.machine = Some("dm1".to_owned());
        notice.alert.returns = ["2026-11-25T17:15:00Z", "2026-11-25T17:30:00Z"].map(at).into_iter().collect();
        let message = told(&notice);
        for text in [&message.subject, &message.content.headline] {
            assert!(text.starts_with(first), "{text}");
        }
        assert!(message.text.lines().any(|line| line == row), "{}", message.text);
        assert!(message.short.starts_with(&super::super::short::folded(&first[..16])), "{}", message.short);
        // A link that fits stays; where there is none, the times have room.
        notice.occasion = Occasion::Grew;
        let short = told(&notice).short;
        assert!(language == Language::Spanish || short.ends_with("&c=ana"), "{short}");
        let zone = zone();
        let facts = Facts { written: at("2026-11-25T17:40:00Z"), ..plain(&zone, false) };
        notice.occasion = Occasion::Raised;
        let short = compose(&notice, &facts, None).short;
        assert!(short.contains(line), "{short}");
        assert!(super::super::short::septets(&message.short).is_some_and(|count| count <= 160));
        notice.occasion = Occasion::Returned;
        notice.alert.returns.latest.truncate(1);
        notice.alert.returns.count = 1;
        assert!(told(&notice).subject.starts_with(Phrase::Returned.say(language)));
    }
}
