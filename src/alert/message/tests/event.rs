//! What an event tells programs.

use serde_json::json;

use super::*;

// Own promise: a program that reads an event knows on which side of its limit a value has to be: of a sanitizer and of a
// drift it may be either.
#[test]
fn an_event_says_on_which_side_of_its_limit_a_value_has_to_be() {
    let told = |condition, measured| {
        let mut notice = notice(condition, Occasion::Raised, Language::English, Scale::Celsius);
        notice.alert.measured = measured;
        if matches!(measured, Some(Quantity::Ph(_))) {
            notice.alert.limit = Some(Quantity::Ph(10.0));
        }
        let data = AlertData::new(&notice, "a site", String::new(), None);
        serde_json::to_value(data.limit).expect("a limit")
    };
    for (condition, measured, value, unit, side) in [
        (Condition::Weak, Some(Quantity::MgPerL(20.0)), 50.0, "mg/L", json!("at-least")),
        (Condition::Weak, Some(Quantity::MgPerL(300.0)), 50.0, "mg/L", json!("at-most")),
        (Condition::Drifting, Some(Quantity::Celsius(83.6)), 84.4, "Cel", json!("at-least")),
        (Condition::Drifting, Some(Quantity::Celsius(84.6)), 84.4, "Cel", json!("at-most")),
        (Condition::Weak, Some(Quantity::Ph(10.5)), 10.0, "pH", json!("at-most")),
        // Above its limit, and too near to be sure.
        (Condition::Narrow, Some(Quantity::Celsius(82.9)), 82.222_222, "Cel", json!("at-least")),
        (Condition::RinseHot, Some(Quantity::Celsius(91.5)), 90.0, "Cel", json!("at-most")),
        (Condition::Narrow, None, 82.222_222, "Cel", json!(null)),
    ] {
        assert_eq!(told(condition, measured), json!({"value": value, "unit": unit, "side": side}));
    }
}

// Regression: an event said since when by the end of the first rack's final rinse, its own text by the beginning.
#[test]
fn an_event_says_since_when_as_its_text_does() {
    let mut notice = notice(Condition::Cold, Occasion::Raised, Language::English, Scale::Celsius);
    let began = notice.alert.since.minus(std::time::Duration::from_secs(60));
    notice.alert.racks.named[0] = Rack { index: 7, at: notice.alert.since, began: Some(began) };
    assert_eq!(AlertData::new(&notice, "a site", String::new(), None).since, began);
}
