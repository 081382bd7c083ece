//! What is told of an alert whose entry was entered wrongly, and of checks that nobody entered.

use super::*;
use crate::core::alert::{Action, Amended};

fn told(notice: &Notice) -> String {
    let zone = zone();
    let facts = Facts { written: at("2026-11-25T18:10:00Z"), ..plain(&zone, true) };
    compose(notice, &facts, None).text
}

// Own promise: nobody is told to hold racks for a strip that was misread; what counts now is told, with who said so. Of
// one that was withdrawn nothing is known.
#[test]
fn nobody_holds_racks_for_a_strip_that_was_misread() {
    for language in Language::ALL {
        let of = |counts| {
            let mut notice = notice(Condition::Weak, Occasion::ActionMissing, language, Scale::Celsius);
            let at = at("2026-11-25T17:40:00Z");
            notice.alert.amended =
                Some(Amended { by: "Ana".to_owned(), at, of: Some(7), was: Quantity::MgPerL(20.0), counts });
            told(&notice)
        };
        let (corrected, withdrawn) = (of(Some(Quantity::MgPerL(100.0))), of(None));
        let rewash = Phrase::RewashNamed.say(language);
        assert!(!corrected.contains(rewash) && withdrawn.contains(rewash), "{corrected}{withdrawn}");
        let wanted: &[&str] = match language {
            Language::English => &[
                "no rack is to be held for it. The corrective action is to be written.",
                "«entered wrongly, corrected»",
                "Measured last: 100 mg/L, as corrected by Ana, 12:40 EST; entered as 20 mg/L",
            ],
            Language::Spanish => &[
                "no hay que apartar ninguna canasta por ella",
                "«se anotó mal, corregido»",
                "Última medida: 100 mg/L, según la corrección de Ana, 12:40 EST; anotado como 20 mg/L",
            ],
        };
        for said in wanted {
            assert!(corrected.contains(said), "{said}: {corrected}");
        }
    }
}

// Regression: «Recovered» and «good again» were said of an alert whose test was withdrawn after a correction had freed its
// racks: nobody was told that they are to be held after all.
#[test]
fn a_test_that_counts_no_more_is_no_recovery() {
    for (language, corrected, withdrawn, wrong) in [
        (
            Language::English,
            ["Entered wrongly: ", "test corrected 12:40 EST", "no rack is to be held for it"],
            ["Test withdrawn: ", "3 racks since 12:05 EST; test withdrawn 12:40 EST", "Hold its racks"],
            ["ecovered", "good again"],
        ),
        (
            Language::Spanish,
            ["Se anotó mal: ", "prueba corregida: 12:40 EST", "no hay que apartar ninguna canasta"],
            ["Prueba retirada: ", "prueba retirada: 12:40 EST", "Aparte sus canastas"],
            ["ecuperad", "bien otra vez"],
        ),
    ] {
        for (counts, wanted) in [(Some(Quantity::MgPerL(100.0)), corrected), (None, withdrawn)] {
            let mut notice = notice(Condition::Weak, Occasion::Cleared, language, Scale::Celsius);
            notice.rested_s = 1_800;
            let at = at("2026-11-25T17:40:00Z");
            notice.alert.cleared = Some(at);
            notice.alert.amended =
                Some(Amended { by: "Ana".to_owned(), at, of: Some(7), was: Quantity::MgPerL(20.0), counts });
            let text = told(&notice);
            for said in wanted {
                assert!(text.contains(said), "{said}: {text}");
            }
            let first = text.lines().next().expect("a line");
            assert!(!wrong.iter().any(|said| first.contains(said)), "{first}");
        }
    }
}

// Own promise: the first cause of a check that is missing is that nobody entered it.
#[test]
fn a_missed_check_is_no_fault_of_the_machine() {
    let mut notice = notice(Condition::CheckOverdue, Occasion::Raised, Language::English, Scale::Celsius);
    let said = "Most often it was not made, or nobody entered it: that is no fault of the machine.";
    assert!(!told(&notice).contains(said));
    notice.alert.racks.count = 3;
    let text = told(&notice);
    assert!(text.contains(said) && text.contains("(3 racks)"), "{text}");
}

// Own promise: a weak strip asks for the racks since the last good one by their number, without those that an action
// covers already, and does not say that the page names what it only counts.
#[test]
fn a_weak_strip_counts_the_racks_since_the_last_good_one() {
    let of = |count: u64, before_return, language| {
        let mut notice = notice(Condition::Weak, Occasion::Raised, language, Scale::Celsius);
        (notice.alert.racks.count, notice.alert.before_return) = (count, before_return);
        told(&notice)
    };
    // Two of three are accounted for by an action, which covers those that its writer was shown.
    let mut acted = notice(Condition::Weak, Occasion::Escalated, Language::English, Scale::Celsius);
    let [by, racks, done] = ["Ana", "washed again", "drum changed"].map(str::to_owned);
    acted.alert.racks.count = 3;
    acted.alert.action = Some(Action { by, at: acted.alert.since, racks, done, covers: 2 });
    let text = told(&acted);
    assert!(text.contains("whatever its verdict (1 rack so far without a corrective action). Do"), "{text}");
    for (count, before, english, spanish) in [
        (
            3,
            0,
            "verdict (3 racks so far; the page of this alert names them).",
            "(3 canastas hasta ahora; la página",
        ),
        (
            3,
            2,
            "verdict (1 rack so far; the page of this alert names them), and those of before",
            "(1 canasta hasta",
        ),
        (30, 2, "whatever its verdict (28 racks so far), and", "su resultado (28 canastas hasta ahora), y"),
        (0, 0, "whatever its verdict. Do not use", "sea cual sea su resultado. No use"),
        (
            3,
            3,
            "whatever its verdict, and those of before that this alert counts. Do",
            "resultado, y las anteriores",
        ),
    ] {
        for (language, said) in [(Language::English, english), (Language::Spanish, spanish)] {
            let text = of(count, before, language);
            assert!(text.contains(said), "{said}: {text}");
        }
    }
}

// Own promise: a strip has no place; an early warning judges no rack, and its figures are called what they are.
#[test]
fn facts_are_called_what_they_are() {
    let mut weak = notice(Condition::Weak, Occasion::Raised, Language::English, Scale::Celsius);
    weak.alert.place = Some(crate::core::channel::Place::FinalRinse);
    assert!(!told(&weak).contains("Place:"));
    for (language, wanted) in [
        (
            Language::English,
            [
                "it judges no rack",
                "Smoothed mean of the racks, last: 83.6",
                "Smoothed mean of the racks, worst: 83.4",
            ],
        ),
        (
            Language::Spanish,
            [
                "no juzga ninguna canasta",
                "Media suavizada de las canastas, última: 83.6",
                "canastas, peor: 83.4",
            ],
        ),
    ] {
        let text = told(&notice(Condition::Drifting, Occasion::Raised, language, Scale::Celsius));
        let no_verdict = !text.contains("racks are good") && !text.contains("canastas están bien");
        assert!(no_verdict && wanted.iter().all(|said| text.contains(said)), "{text}");
    }
}

// Own promise: a recovery that is told once it has lasted says so: another message may have told of it before.
#[test]
fn a_recovery_that_has_lasted_says_for_how_long() {
    for (language, at_once, lasted) in [
        (Language::English, "Recovered: ", "Recovered for good (30 min): "),
        (Language::Spanish, "Recuperado: ", "Recuperado de forma estable (30 min): "),
    ] {
        let mut notice = notice(Condition::Cold, Occasion::Cleared, language, Scale::Celsius);
        assert!(told(&notice).starts_with(at_once));
        notice.rested_s = 1_800;
        assert!(told(&notice).starts_with(lasted), "{}", told(&notice));
    }
}

// Own promise: of several checks no due time is told as that of all.
#[test]
fn several_missed_checks_name_the_first_due_time_as_such() {
    let mut notice = notice(Condition::CheckOverdue, Occasion::Raised, Language::English, Scale::Celsius);
    let of_all = "The first of them was due at 12:05 EST; none of them is on record.";
    assert!(told(&notice).contains(of_all), "{}", told(&notice));
    notice.alert.about.truncate(1);
    assert!(told(&notice).contains("It was due at 12:05 EST and is not on record."));
}

// Own promise: the first line names every check that is overdue, where that fits, else how many more there are.
#[test]
fn several_missed_checks_are_named_in_the_first_line() {
    let all = ["sanitizer", "supply", "drain-and-clean"].map(str::to_owned);
    for (language, line, short) in [
        (
            Language::English,
            ": sanitizer, supplies, drain and clean, since",
            ": sanitizer, supplies, drain and clean. Do and enter them now.",
        ),
        (
            Language::Spanish,
            ": desinfectante, suministros, vaciado y limpieza, desde",
            ": desinfectante, suministros, vaciado y limpieza. Hagalos y anotelos ya.",
        ),
    ] {
        let mut notice = notice(Condition::CheckOverdue, Occasion::Raised, language, Scale::Celsius);
        notice.alert.about = all.to_vec();
        let text = told(&notice);
        let first = text.lines().next().expect("a line");
        assert!(first.contains(line), "{first}");
        let message = super::told(&notice);
        assert!(message.short.contains(short) && septets(&message.short) <= Some(160), "{}", message.short);
        assert!(first.chars().count() <= 220, "{first}");
        // More than any line holds: a route or a probe each.
        notice.alert.condition = Condition::ProbeSilent;
        notice.alert.about = (0..9).map(|number| format!("dm1/a-long-name-{number}")).collect();
        let subject = super::told(&notice).subject;
        let more = if language == Language::English { "name-0 and 8 more" } else { "name-0 y 8 más" };
        assert!(subject.contains(more), "{subject}");
    }
}
