//! The racks of an alert, each with how it was judged.

use jiff::tz::TimeZone;

use crate::core::alert::Condition;
use crate::core::cycle::figures::Figures;
use crate::core::cycle::verdict::Verdict;
use crate::core::reader::{Language, Reader, Scale};
use crate::web::alerts::racks::{of_the_last, shown};
use crate::web::alerts::{Affected, Judged};

// Own rule: a rack that had passed is told as in doubt by the alert that put it so, and by no other; it is named by
// the time by which every list has it, also where its record cannot be read.
#[test]
fn a_rack_that_had_passed_is_told_as_in_doubt() {
    for (condition, judged, english, spanish) in [
        (Condition::Weak, Verdict::Pass, "PASS, in doubt", "CORRECTA, en duda"),
        (Condition::ThermometerOff, Verdict::Narrow, "NARROW, in doubt", "JUSTA, en duda"),
        (Condition::Weak, Verdict::Weak, "OFF-RANGE", "FUERA DE RANGO"),
        (Condition::Narrow, Verdict::Narrow, "NARROW", "JUSTA"),
    ] {
        let affected = Affected {
            record: 7,
            rinsed: crate::web::fixture::NOW,
            judged: Some(Judged {
                verdict: judged,
                rinsed: crate::web::fixture::NOW,
                overtaken: None,
                figures: Figures { settled_c: Some(83.0), unjudged: None, limit_c: 82.2, off_range: None },
            }),
        };
        let unreadable = Affected { judged: None, ..affected.clone() };
        for (language, word) in [(Language::English, english), (Language::Spanish, spanish)] {
            let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
            let rack = shown(&affected, condition, &reader);
            let seen = rack.judged.expect("it was judged");
            assert_eq!((seen.word.as_str(), seen.doubted), (word, word.contains(',')));
            let when = reader.moment(affected.rinsed);
            assert_eq!((rack.when, shown(&unreadable, condition, &reader).when), (when.clone(), when));
        }
    }
}

// Own promise: a minimum that was not judged is told with that, as elsewhere; where there is none, a dash.
#[test]
fn a_rack_of_an_alert_shows_a_minimum_that_was_not_judged() {
    let mut cycle = crate::web::fixture::rack::cycle();
    (cycle.rinse_min_raw_c, cycle.rinse_min_corrected_c, cycle.limit_c) = (Some(62.611), None, 82.2);
    cycle.put_in_doubt(crate::core::cycle::verdict::Reason::WorkedOn);
    for (raw, language, told) in [
        (Some(62.611), Language::English, "62.6 °C, not judged (worked on) (limit 82.2 °C)"),
        (Some(62.611), Language::Spanish, "62.6 °C, no evaluado (en trabajos) (límite 82.2 °C)"),
        (None, Language::English, "– (limit 82.2 °C)"),
    ] {
        cycle.rinse_min_raw_c = raw;
        let judged = Some(Judged::of(&cycle));
        let affected = Affected { record: 7, rinsed: crate::web::fixture::NOW, judged };
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let rack = shown(&affected, Condition::Unproven, &reader);
        assert_eq!(rack.judged.expect("it was judged").measured, told);
    }
}

// Own promise: what decided is told first; the temperature of a weak rack may be fine. 25 mg/L: FDA Food Code
// 4-501.114(A).
#[test]
fn a_weak_rack_of_an_alert_is_told_by_its_sanitizer() {
    use crate::core::cycle::plate::Sanitizing;
    use crate::core::cycle::verdict::Reason;
    use crate::core::sanitizer::Refusal;
    let mut cycle = crate::web::fixture::rack::cycle();
    (cycle.rinse_min_c, cycle.limit_c, cycle.verdict) = (Some(58.6), 49.0, Verdict::Weak);
    cycle.sanitizing = Sanitizing::Chlorine;
    cycle.reasons =
        vec![Reason::Concentration { refusal: Refusal::TooWeak, mg_per_l: 10.0, limit: Some(25.0) }];
    let judged = Some(Judged::of(&cycle));
    let affected = Affected { record: 7, rinsed: crate::web::fixture::NOW, judged };
    for (language, told) in [
        (Language::English, "sanitizer 10 mg/L (at least 25 mg/L); 58.6 °C (limit 49.0 °C)"),
        (Language::Spanish, "desinfectante 10 mg/L (al menos 25 mg/L); 58.6 °C (límite 49.0 °C)"),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let rack = shown(&affected, Condition::Weak, &reader);
        assert_eq!(rack.judged.expect("it was judged").measured, told);
    }
}

// Own rule: an action covers the racks that its writer was shown, from the first; of 30 racks the first and the last ten
// are named.
#[test]
fn the_last_racks_are_those_that_an_action_does_not_cover() {
    for (count, more, left_out) in [(0, 0, 0), (3, 0, 3), (20, 0, 20), (4, 10, 4), (15, 10, 10), (21, 10, 11)]
    {
        let marked: Vec<bool> = of_the_last(count, more).take(20).collect();
        let place = marked.iter().position(|marked| !marked).unwrap_or(20);
        assert!(place == left_out && !marked[place..].contains(&true), "{count} {more}: {marked:?}");
    }
}
