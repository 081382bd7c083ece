//! What is told of an alert's days, and of whoever takes care no longer.

use super::*;
use crate::core::alert::Quantity;

// Own promise: an alert that joins racks of several days of the site says so, in the list and on its page; one whose
// racks are of one day there does not, whatever the day is in Greenwich.
#[tokio::test]
async fn an_alert_of_several_days_says_so() {
    use crate::core::alert::{Alert, Rack};
    let at = |text: &str| text.parse::<Timestamp>().expect("an instant");
    let told = |since, last, language| {
        let mut alert = Alert { since: at(since), ..Alert::trial(at(since)) };
        alert.racks.push(Rack { index: 7, at: at(since), began: None });
        alert.racks.push(Rack { index: 9, at: at(last), began: None });
        let zone = TimeZone::get("America/New_York").expect("built in");
        words::days(&alert, &Reader { language, scale: Scale::Celsius, zone })
    };
    let evening = "2026-11-23T23:30:00Z";
    assert_eq!(told(evening, "2026-11-24T04:30:00Z", Language::English), None, "half past eleven at night");
    let several = told(evening, "2026-11-24T12:00:00Z", Language::English).expect("two days");
    let wanted = "several days: it begins on Mon 23 Nov 2026, 18:30 EST, and its last rack is of Tue 24 Nov 2026, 07:00 EST.";
    assert!(several.ends_with(wanted), "{several}");
    let spanish = told(evening, "2026-11-24T12:00:00Z", Language::Spanish).expect("two days");
    assert!(spanish.starts_with("Abarca varios días: empieza el lun 23 nov 2026, 18:30 EST"), "{spanish}");
    // Missed on Tuesday, with racks of Monday that are still to be dealt with.
    let mut back = Alert { since: at("2026-11-24T19:00:00Z"), ..Alert::trial(at(evening)) };
    for (index, rack) in [(7, evening), (9, "2026-11-24T00:30:00Z")] {
        back.racks.push(Rack { index, at: at(rack), began: None });
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
        let said = "It is about several days: it begins on Wed 25 Nov 2026, 12:00 UTC, and its last rack is of Thu 26";
        assert_eq!(page.matches(said).count(), times, "{path}: {page}");
    }
}

// Regression: the list and the page said since when that had been missing which had been made by then.
#[test]
fn what_is_still_missing_is_told_beside_since_when_the_alert_is_open() {
    use crate::core::alert::Alert;
    let at = |text: &str| text.parse::<Timestamp>().expect("an instant");
    let whole = Alert::trial(at("2026-11-22T12:15:00Z"));
    let rest = Alert { rest_since: Some(at("2026-11-22T20:30:00Z")), ..whole.clone() };
    for (language, open) in [
        (Language::English, "open since Sun 22 Nov 2026, 12:15 UTC"),
        (Language::Spanish, "abierta desde el dom 22 nov 2026, 12:15 UTC"),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let listed = |alert: &Alert| {
            line(&Headed { headline: String::new(), alert: alert.clone(), closed: None }, &reader)
        };
        assert_eq!(listed(&whole).open_since, None);
        let line = listed(&rest);
        assert_eq!(
            (line.since, line.open_since.as_deref()),
            (reader.moment(at("2026-11-22T20:30:00Z")), Some(open))
        );
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

// Own promise: of several checks that are missing each is named with when it was due, the first one first; one that was
// made since is not, and one alone needs none.
#[test]
fn each_of_several_missed_checks_has_its_due_time() {
    use crate::core::alert::Alert;
    let at = |minute: i64| Timestamp::from_micros((12 * 60 + minute) * 60_000_000);
    let missed = |check, minute| Some(MissedDue { check, due: at(minute), counts_from: at(minute) });
    let about = |kinds: &[&str]| kinds.iter().map(|kind| (*kind).to_owned()).collect::<Vec<String>>();
    let number = AlertNumber(7);
    let raised = AlertRaised {
        missed: missed(CheckKind::DrainAndClean, 45),
        ..AlertRaised::new(number, Condition::CheckOverdue, at(45))
    };
    let changed = |change, missed, kinds: &[&str]| {
        let new = AlertChanged::new(number, change);
        Body::AlertChanged(AlertChanged { missed, about: about(kinds), ..new })
    };
    let mut records: Vec<(u64, Record)> = [
        Body::AlertRaised(Box::new(raised)),
        changed(Change::Grew, missed(CheckKind::Supply, 15), &["drain-and-clean", "supply"]),
        changed(Change::MissedAgain, missed(CheckKind::Supply, 55), &["drain-and-clean", "supply"]),
    ]
    .into_iter()
    .zip(0..)
    .map(|(body, index)| (index, Record::new(at(60), Some("dm1".to_owned()), body)))
    .collect();
    let mut alert = Alert {
        condition: Condition::CheckOverdue,
        about: about(&["drain-and-clean", "supply"]),
        ..Alert::trial(at(15))
    };
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
    let told = |alert: &Alert, records: &[(u64, Record)]| head::overdue(alert, records, &reader, at(70));
    assert_eq!(
        told(&alert, &records),
        ["Supplies, due 12:15 UTC".to_owned(), "Drain and clean, due 12:45 UTC".to_owned()]
    );
    // The supplies are looked at, and missed anew.
    for body in [
        changed(Change::Eased, None, &["drain-and-clean"]),
        changed(Change::Grew, missed(CheckKind::Supply, 65), &["drain-and-clean", "supply"]),
    ] {
        records.push((9, Record::new(at(70), Some("dm1".to_owned()), body)));
    }
    let expected = ["Drain and clean, due 12:45 UTC".to_owned(), "Supplies, due 13:05 UTC".to_owned()];
    assert_eq!(told(&alert, &records), expected);
    alert.about = about(&["supply"]);
    assert!(told(&alert, &records).is_empty());
}

// Own promise: what may be written as done fits what was wrong, and an early warning judges no rack.
#[test]
fn what_is_said_beside_an_alert_fits_its_condition() {
    use crate::core::alert::Alert;
    let example = |condition| words::done_example(condition, Language::English);
    assert_eq!(example(Condition::Weak), "New drum connected, line primed; strip reads 100 ppm");
    assert!(!example(Condition::Unproven).contains("reset") && example(Condition::Cold).contains("reset"));
    let trial = Alert::trial(Timestamp::from_micros(0));
    let drift = Alert { condition: Condition::Drifting, ..trial.clone() };
    assert_eq!(words::affected(&drift, Language::English), "an early warning: it judges no rack");
    assert_eq!(words::affected(&drift, Language::Spanish), "un aviso temprano: no juzga ninguna canasta");
    assert_eq!(words::affected(&trial, Language::English), "1 rack affected");
    let raised = AlertRaised {
        measured: Some(Quantity::Celsius(57.6)),
        limit: Some(Quantity::Celsius(58.4)),
        ..AlertRaised::new(AlertNumber(7), Condition::Drifting, Timestamp::from_micros(0))
    };
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
    let (said, ..) = trail::of(&Body::AlertRaised(Box::new(raised)), &reader).expect("of an alert");
    let whole =
        "Raised: 57.6 °C (below its usual range, which begins at 58.4 °C), smoothed mean of the racks";
    assert_eq!(said, whole);
    // Regression: that it came back was told with what was measured alone, so that nobody knew on which side.
    let back = |condition, measured, limit| AlertChanged {
        condition,
        measured: Some(measured),
        limit: Some(limit),
        ..AlertChanged::new(AlertNumber(7), Change::Returned)
    };
    let drift = |condition| back(condition, Quantity::Celsius(58.8), Quantity::Celsius(58.6));
    for (changed, whole) in [
        (
            drift(Some(Condition::Drifting)),
            "It came back (58.8 °C, above its usual range, which ends at 58.6 °C)",
        ),
        // As earlier versions wrote it.
        (drift(None), "It came back (58.8 °C)"),
        (
            back(Some(Condition::Weak), Quantity::MgPerL(300.0), Quantity::MgPerL(200.0)),
            "It came back (300 mg/L, at most 200 mg/L)",
        ),
    ] {
        let (told, ..) = trail::of(&Body::AlertChanged(changed), &reader).expect("of an alert");
        assert_eq!(told, whole);
    }
}

// Own promise: the list says of an alert that has recovered what was worst, since its headline gives no figures any more;
// nothing of one that lasts, and nothing of what was entered wrongly.
#[test]
fn the_list_says_what_was_worst() {
    use crate::core::alert::{Alert, Amended, Condition};
    let at = Timestamp::from_micros(0);
    let cold = Alert { worst: Some(Quantity::Celsius(53.8)), cleared: Some(at), ..Alert::trial(at) };
    let weak =
        Alert { condition: Condition::Weak, worst: Some(Quantity::MgPerL(5.0)), limit: None, ..cold.clone() };
    let (was, counts) = (Quantity::MgPerL(5.0), Some(Quantity::MgPerL(100.0)));
    let amended = Some(Amended { by: "Ana".to_owned(), at, of: Some(7), was, counts });
    for (language, alert, wanted) in [
        (Language::English, cold.clone(), Some("worst 53.8 °C (limit 82.2 °C)")),
        (Language::Spanish, cold.clone(), Some("lo peor 53.8 °C (límite 82.2 °C)")),
        (Language::English, weak.clone(), Some("worst 5 mg/L")),
        (Language::English, Alert { amended, ..weak }, None),
        (Language::English, Alert { cleared: None, ..cold.clone() }, None),
        (Language::English, Alert { worst: None, ..cold.clone() }, None),
        (
            Language::English,
            Alert { condition: Condition::Drifting, ..cold },
            Some("worst 53.8 °C (below its usual range, which begins at 82.2 °C)"),
        ),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        assert_eq!(trail::worst(&alert, &reader).as_deref(), wanted);
    }
}

// Regression: that an entry was corrected and that it was withdrawn later read alike.
#[test]
fn what_was_said_of_the_entry_is_told_with_who_said_it() {
    use crate::core::alert::{Amended, Quantity};
    let at = Timestamp::from_micros(0);
    for (language, counts, by, said) in [
        (
            Language::English,
            Some(100.0),
            "Ana",
            "What it stood on counts no more as it did: Ana corrected it to 100 mg/L (entered first as 20 mg/L)",
        ),
        (
            Language::English,
            None,
            "Bo",
            "What it stood on counts no more: Bo withdrew it (entered first as 20 mg/L)",
        ),
        (
            Language::Spanish,
            None,
            "Bo",
            "Lo que la sostenía ya no vale: Bo lo retiró (anotado primero como 20 mg/L)",
        ),
    ] {
        let (was, counts) = (Quantity::MgPerL(20.0), counts.map(Quantity::MgPerL));
        let amended = Some(Box::new(Amended { by: by.to_owned(), at, of: Some(7), was, counts }));
        let changed = AlertChanged { amended, ..AlertChanged::new(AlertNumber(8), Change::Eased) };
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let (told, ..) = trail::of(&Body::AlertChanged(changed), &reader).expect("of an alert");
        assert_eq!(told, said);
    }
}

// Regression: of each contact only the first time was told.
#[test]
fn whoever_was_told_is_named_with_the_first_and_the_last_time() {
    use crate::core::record::{Notification, Outcome};
    let at = |minute: i64| Timestamp::from_micros(minute * 60_000_000);
    let told = |contact: &str, minute| {
        let notification = Notification {
            key: String::new(),
            alert: Some(AlertNumber(7)),
            occasion: Some(Occasion::Summary),
            contact: contact.to_owned(),
            route: "email:ana@example.org".parse().expect("a route"),
            outcome: Outcome::Delivered,
            attempts: 1,
            error: None,
            why: None,
        };
        (0, Record::new(at(minute), None, Body::Notification(Box::new(notification))))
    };
    let records = [told("duty", 881), told("office", 901), told("duty", 1_084)];
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
    assert_eq!(
        head::reached(&records, &reader, at(1_090)),
        ["Told so far: duty (14:41 UTC, last 18:04 UTC), office (15:01 UTC)"]
    );
}

// Regression: of a check that was made, with nothing left to do, the page asked for somebody to take care of it.
#[test]
fn nobody_is_asked_for_where_nothing_is_left_to_do() {
    use crate::core::alert::Alert;
    let at = Timestamp::from_micros(0);
    let trial = Alert { needs_action: false, ..Alert::trial(at) };
    let made = Alert { cleared: Some(at), ..trial.clone() };
    let wants_action = Alert { needs_action: true, ..made.clone() };
    let asks = [&trial, &made, &wants_action].map(Alert::wants_somebody);
    assert_eq!(asks, [true, false, true]);
    for (language, lasts, over) in [
        (Language::English, "Nobody takes care of it now.", "Nobody need take care of it any more."),
        (Language::Spanish, "Nadie se encarga ahora.", "Ya no hace falta que nadie se encargue."),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let said = [&trial, &made, &wants_action].map(|alert| words::standing(alert, None, &reader));
        assert_eq!(said, [lasts, over, lasts]);
    }
}
