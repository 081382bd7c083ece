//! What is told of a sanitizer, and of a machine that sanitizes by one.

use super::*;

// Own promise: a concentration is not rounded to the one that it missed, and stands beside what is permitted.
#[test]
fn a_concentration_stands_beside_its_range() {
    let mut notice = notice(Condition::Weak, Occasion::Raised, Language::English, Scale::Celsius);
    (notice.alert.measured, notice.alert.limit) = (Some(Quantity::MgPerL(49.6)), None);
    let message = told(&notice);
    assert!(message.content.headline.contains("49.6 mg/L"), "{}", message.content.headline);
    for row in ["Measured last: 49.6 mg/L", "Limit: 50 to 200 mg/L"] {
        assert!(message.text.contains(row), "{row}: {}", message.text);
    }
}

// Own promise: the first line says on which side of its range the sanitizer lies, and so does the advice; 25 mg/L: FDA Food
// Code 4-501.114(A), as is pH 10; 200 mg/L: 40 CFR 180.940.
#[test]
fn an_alert_of_the_sanitizer_says_on_which_side_it_lies() {
    let mg_per_l = |measured, limit| (Quantity::MgPerL(measured), Quantity::MgPerL(limit));
    let (weak, strong) = (mg_per_l(10.0, 25.0), mg_per_l(300.0, 200.0));
    let ph = (Quantity::Ph(10.5), Quantity::Ph(10.0));
    for ((measured, limit), language, headline, advice) in [
        (weak, Language::English, "10 mg/L (at least 25 mg/L)", "is too weak: it does not sanitize."),
        (weak, Language::Spanish, "10 mg/L (al menos 25 mg/L)", "es demasiado débil: no desinfecta."),
        (strong, Language::English, "300 mg/L (at most 200 mg/L)", "the sanitizer is too strong for"),
        (strong, Language::Spanish, "300 mg/L (como máximo 200 mg/L)", "es demasiado fuerte para"),
        (ph, Language::English, "pH 10.5 (pH at most 10)", "At this pH the sanitizer"),
        (ph, Language::Spanish, "pH 10.5 (pH como máximo 10)", "Con este pH no consta"),
    ] {
        let mut notice = notice(Condition::Weak, Occasion::Raised, language, Scale::Celsius);
        (notice.alert.measured, notice.alert.limit) = (Some(measured), Some(limit));
        let message = told(&notice);
        assert!(message.content.headline.contains(headline), "{}", message.content.headline);
        assert!(message.text.contains(advice), "{}", message.text);
        let brief = headline
            .replace("(al menos", "(min.")
            .replace("(como máximo", "(max.")
            .replace("máximo", "maximo");
        assert!(message.short.contains(&brief), "{}", message.short);
        assert!(septets(&message.short).is_some_and(|count| count <= SEPTETS_MAX), "{}", message.short);
    }
}

/// A machine that sanitizes by a chemical is told of strips, not of a heat label.
#[test]
fn a_chemical_machine_gets_its_own_advice() {
    let zone = zone();
    let notice = notice(Condition::Cold, Occasion::Raised, Language::English, Scale::Celsius);
    let message = compose(&notice, &plain(&zone, true), None);
    assert!(
        message.text.contains("test strip at the end of the rinse")
            && !message.text.contains("label on a plate")
    );
}
