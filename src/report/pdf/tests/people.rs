//! What people did and entered, and until when the record goes.

use super::{made, texts};
use crate::core::alert::{Condition, Quantity, Returns};
use crate::core::reader::{Language, Scale};
use crate::report::account::{Account, samples};

fn says(account: &Account, language: Language, wanted: &str) -> bool {
    texts(&made(account, language, Scale::Celsius)).iter().any(|text| text.contains(wanted))
}

// Own promise: whoever reads the report of a day that was not over knows until when it goes, on the cover and over each
// page.
#[test]
fn a_span_that_is_not_over_says_until_when_the_record_goes() {
    for (language, row, head) in [
        (
            Language::English,
            "It was not over when this was made: the record goes until 20",
            ", so far until 20",
        ),
        (
            Language::Spanish,
            "No había terminado al hacer este informe: el registro llega hasta 20",
            ", por ahora hasta 20",
        ),
    ] {
        let mut account = samples::month();
        account.made = account.to;
        assert!(!says(&account, language, row));
        assert!(!made(&account, language, Scale::Celsius).span.contains(head));
        account.to = account.to.just_after();
        assert!(says(&account, language, row));
        let sheet = made(&account, language, Scale::Celsius);
        assert!(sheet.span.contains(head) && sheet.title.contains(head), "{}", sheet.span);
    }
}

// Own promise: a missed check is counted as the history counts it, and one that was made after all and failed says so.
#[test]
fn missed_checks_are_counted_and_a_failed_one_is_none_that_was_good() {
    for (language, counted, failed, none) in [
        (Language::English, "2 missed: 1 entered late, 1 not entered", ": FAILED", "NOT ENTERED"),
        (Language::Spanish, "2 omitidos: 1 anotado tarde, 1 no anotado", ": NO CUMPLE", "NO ANOTADO"),
    ] {
        let mut account = samples::month();
        for wanted in [counted, failed, none] {
            assert!(says(&account, language, wanted), "{wanted}");
        }
        account.overdue.iter_mut().for_each(|check| check.good = check.made.map(|_| true));
        assert!(!says(&account, language, failed));
    }
}

// Own promise: an alert that had recovered and came back says so, and names the worst of either side.
#[test]
fn an_alert_that_came_back_says_so() {
    for (language, one, many, worst) in [
        (
            Language::English,
            "It had recovered and came back: ",
            "It had recovered and came back 5 times, last 20",
            "; on the other side 300 mg/L (",
        ),
        (
            Language::Spanish,
            "Se había recuperado y volvió: ",
            "Se había recuperado y volvió 5 veces, la última el 20",
            "; por el otro lado 300 mg/L (",
        ),
    ] {
        let mut account = samples::month();
        assert!(![one, many, worst].iter().any(|said| says(&account, language, said)));
        let at = account.from;
        let weak = account.alerts.iter_mut().find(|alert| alert.condition == Condition::Weak);
        let weak = weak.expect("it is in the sample");
        weak.returns = [at].into_iter().collect();
        weak.other_side = Some((Quantity::MgPerL(300.0), Quantity::MgPerL(200.0)));
        assert!(says(&account, language, one) && says(&account, language, worst));
        let weak = account.alerts.iter_mut().find(|alert| alert.condition == Condition::Weak);
        weak.expect("it is there").returns = Returns { count: 5, latest: vec![at] };
        assert!(says(&account, language, many));
    }
}

// Own rule: of an alert that came after the span it is said that it did, and why it is listed.
#[test]
fn an_alert_that_was_raised_later_says_so() {
    for (language, wanted) in [
        (Language::English, "Raised after this span, "),
        (Language::Spanish, "Surgida después del período, el "),
    ] {
        let mut account = samples::month();
        assert!(!says(&account, language, wanted));
        account.alerts[0].later = true;
        assert!(says(&account, language, wanted));
    }
}

// Own rule: what somebody wrote ends before the next word of the report begins.
#[test]
fn what_somebody_wrote_ends_before_the_next_word() {
    let mut account = samples::month();
    account.alerts[0].actions[0].racks = "none left".to_owned();
    assert!(says(&account, Language::English, "Racks: none left. Done: "));
    account.alerts[0].actions[0].racks = "none left!".to_owned();
    assert!(says(&account, Language::English, "Racks: none left! Done: "));
}

// Own rule: a fall has the sign U+2212, as wide as that of a rise.
#[test]
fn a_fall_has_a_minus_sign() {
    let mut account = samples::month();
    let signals = account.machines.iter_mut().flat_map(|machine| &mut machine.drift.signals);
    signals.for_each(|signal| signal.shift_c = -0.5);
    assert!(says(&account, Language::English, ", −0.5 °C against the usual"));
}
