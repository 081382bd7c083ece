//! What is told of an alert's days, and of whoever takes care no longer.

use super::*;

// Own promise: an alert that joins racks of several days of the site says so, in the list and on its page; one whose
// racks are of one day there does not, whatever the day is in Greenwich.
#[tokio::test]
async fn an_alert_of_several_days_says_so() {
    use crate::core::alert::{Alert, Rack};
    let at = |text: &str| text.parse::<Timestamp>().expect("an instant");
    let told = |since, last, language| {
        let mut alert = Alert { since: at(since), ..Alert::trial(at(since)) };
        alert.racks.push(Rack { index: 7, at: at(since) });
        alert.racks.push(Rack { index: 9, at: at(last) });
        let zone = TimeZone::get("America/New_York").expect("built in");
        words::days(&alert, &Reader { language, scale: Scale::Celsius, zone })
    };
    let evening = "2026-11-23T23:30:00Z";
    assert_eq!(told(evening, "2026-11-24T04:30:00Z", Language::English), None, "half past eleven at night");
    let several = told(evening, "2026-11-24T12:00:00Z", Language::English).expect("two days");
    let wanted = "several days: the first is Mon 23 Nov 2026, 18:30 EST, and its last rack is of Tue 24 Nov 2026, 07:00 EST.";
    assert!(several.ends_with(wanted), "{several}");
    let spanish = told(evening, "2026-11-24T12:00:00Z", Language::Spanish).expect("two days");
    assert!(
        spanish.starts_with("Abarca varios días: el primero es el lun 23 nov 2026, 18:30 EST"),
        "{spanish}"
    );
    // Missed on Tuesday, with racks of Monday that are still to be dealt with.
    let mut back = Alert { since: at("2026-11-24T19:00:00Z"), ..Alert::trial(at(evening)) };
    for (index, rack) in [(7, evening), (9, "2026-11-24T00:30:00Z")] {
        back.racks.push(Rack { index, at: at(rack) });
    }
    let zone = TimeZone::get("America/New_York").expect("built in");
    for (language, wanted) in [
        (
            Language::English,
            "its first rack is of Mon 23 Nov 2026, 18:30 EST, its last of Mon 23 Nov 2026, 19:30 EST, and it came back on Tue 24 Nov 2026, 14:00 EST.",
        ),
        (Language::Spanish, "y volvió el mar 24 nov 2026, 14:00 EST."),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: zone.clone() };
        let said = words::days(&back, &reader).expect("two days");
        assert!(said.ends_with(wanted), "{said}");
    }

    let kitchen = StillKitchen::new();
    for (path, times) in [("/alerts", 1), ("/alerts/2", 1), ("/alerts/3", 0)] {
        let (_, page) = get(&kitchen, path, Role::Operator, Language::English).await;
        let said = "It is about several days: the first is Wed 25 Nov 2026, 12:00 UTC, and its last rack is of Thu 26";
        assert_eq!(page.matches(said).count(), times, "{path}: {page}");
    }
}

// Own promise: that somebody takes care no longer is told where it ended, and stands out.
#[test]
fn whoever_takes_care_no_longer_is_named() {
    for (language, said) in [
        (
            Language::English,
            "It came back (racks affected: 2). Ana <b> takes care of it no longer: somebody must",
        ),
        (
            Language::Spanish,
            "Volvió (canastas afectadas: 2). Ana <b> ya no se encarga de ella: alguien tiene",
        ),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let back = AlertChanged { racks: 2, ..AlertChanged::new(AlertNumber(1), Change::Returned) };
        let told = |released: Option<&str>| {
            let released = released.map(str::to_owned);
            trail::of(&Body::AlertChanged(AlertChanged { released, ..back.clone() }), &reader)
                .expect("of an alert")
        };
        let (what, _, stands_out) = told(Some("Ana <b>"));
        assert!(what.starts_with(said) && stands_out, "{what}");
        let (what, _, stands_out) = told(None);
        assert!(!what.contains("Ana") && !stands_out, "{what}");
    }
}
