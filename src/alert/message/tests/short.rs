//! The short form, for text gateways.

use proptest::prelude::*;

use super::*;

/// The rule of 3GPP TS 23.038, 6.2.1 and 6.2.1.1: «€» takes two septets, «á» is not there, «é» and «ñ» are.
#[test]
fn septets_are_counted_by_the_alphabet() {
    for (text, expected) in
        [("abc", Some(3)), ("é ñ ¿", Some(5)), ("1 €", Some(4)), ("á", None), ("°", None), ("[x]", Some(5))]
    {
        assert_eq!(septets(text), expected, "{text}");
    }
}

proptest! {
    /// 160 septets of the alphabet, whatever the names, numbers and links are.
    #[test]
    fn the_short_form_fits_one_message(
        machine in ".{0,80}",
        contact in ".{0,80}",
        about in ".{0,80}",
        link in "https://[ -~áñ€]{0,200}",
        number in any::<u64>(),
        count in any::<u64>(),
        value in -50.0..150.0_f64,
        condition in 0..Condition::ALL.len(),
        occasion in 0..OCCASIONS.len(),
        spanish in any::<bool>(),
    ) {
        let language = Language::ALL[usize::from(spanish)];
        let mut notice = notice(Condition::ALL[condition], OCCASIONS[occasion], language, Scale::Fahrenheit);
        notice.alert.machine = Some(machine);
        notice.contact = contact;
        notice.alert.about = vec![about];
        notice.alert.number = AlertNumber(number);
        notice.alert.racks.count = count;
        if let Some(Quantity::Celsius(_)) = notice.alert.measured {
            notice.alert.measured = Some(Quantity::Celsius(value));
        }
        let zone = zone();
        let written = at("2027-11-25T17:10:00Z");
        let facts = Facts { site: "s", zone: &zone, written, chemical: false, permitted: None, call: None, link: Some(&link) };
        let message = compose(&notice, &facts, None);
        let count = septets(&message.short);
        prop_assert!(count.is_some_and(|count| (1..=SEPTETS_MAX).contains(&count)), "{count:?} {}", message.short);
        prop_assert!(!message.subject.contains(['\r', '\n']));
    }
}

// Own promise: how many more there are is never cut off; the name before it is. «€» takes two septets.
#[test]
fn a_long_name_leaves_room_for_how_many_more_there_are() {
    for (language, more) in [(Language::English, " and 2 more."), (Language::Spanish, " y 2 mas.")] {
        for name in ["dm1/the-probe-at-the-far-end-of-the-final-rinse-manifold", &"€".repeat(60)] {
            let mut notice = notice(Condition::ProbeSilent, Occasion::Raised, language, Scale::Celsius);
            notice.alert.measured = None;
            notice.alert.about = vec![name.to_owned(), "dm1/wash".to_owned(), "dm1/rinse".to_owned()];
            let message = told(&notice);
            let begin: String = name.chars().take(10).collect();
            assert!(message.short.contains(&begin) && message.short.contains(more), "{}", message.short);
            assert!(septets(&message.short) <= Some(SEPTETS_MAX), "{}", message.short);
        }
    }
}
