//! Calibrations in an account: in force, on record, in doubt.

use super::*;

#[test]
fn calibrations_are_those_in_force() {
    let mut book = Book::new();
    let toml = CONFIGURATION.replace("99.1 °C", "99.3 °C").replace("2026-01-15", "2026-03-05");
    let change = ConfigurationChange { sha256: "01".to_owned(), toml };
    book.put("2026-03-05T12:00:00Z", None, Body::ConfigurationChange(change));
    let account = book.account(question());
    let rinse: Vec<_> =
        account.calibrations.iter().filter(|known| known.probe == "dm1/rinse").cloned().collect();
    let changed = at("2026-03-05T12:00:00Z");
    assert_eq!(rinse.len(), 2);
    assert_eq!((rinse[0].made, rinse[0].until), (Some(date(2026, 1, 15)), Some(changed)));
    assert_eq!(rinse[0].points, [(0.0, 0.4), (99.97, 99.1)], "reference and shown");
    assert_eq!((rinse[1].made, rinse[1].since), (Some(date(2026, 3, 5)), changed));
    assert_eq!((rinse[1].points[1], rinse[1].until), ((99.97, 99.3), None));
    assert_eq!(rinse[1].tau_s, Some(1.5));
    let wash = account.calibrations.iter().find(|known| known.probe == "dm1/wash").expect("a probe");
    assert_eq!((wash.made, wash.points.len(), wash.until), (None, 0, None), "not calibrated, and told so");
    // Before the second one nothing is known of it.
    let early = Question { to: at("2026-03-05T00:00:00Z"), ..question() };
    let early = book.account(early).calibrations;
    assert_eq!(early.iter().filter(|known| known.probe == "dm1/rinse").count(), 1);
}

// Own promise: one on record ends the configured one, and withdrawn it leaves it again.
#[test]
fn a_calibration_on_record_is_told_with_its_record() {
    let mut book = Book::new();
    let point = |against, reference_c, indicated_c| CalibrationPoint {
        against,
        reference_c,
        reference_expanded_c: 0.23,
        indicated_c,
        spread_c: 0.02,
        readings: 80,
        lasted_s: 20.0,
        found_error_c: 0.6,
        left_error_c: 0.0,
    };
    let done = CalibrationDone {
        probe: "dm1/rinse".to_owned(),
        at: at("2026-03-04T01:00:00Z"),
        points: vec![
            point(Against::Ice, 0.0, 0.6),
            point(Against::BoilingAtAltitude { altitude_m: 120.0 }, 99.7, 100.3),
        ],
        found: Correction { gain: 1.0, offset_c: 0.0 },
        left: Correction { gain: 1.0, offset_c: -0.6 },
        expanded_c: 0.24,
        until: Some("2027-03-03".to_owned()),
        note: None,
        by: "Eli".to_owned(),
    };
    let made = "2026-03-04T01:00:00Z";
    let of = book.put(made, Some("dm1"), Body::Calibration(Box::new(done)));
    let (reason, by) = ("the ice was gone".to_owned(), "Eli".to_owned());
    let amendment = Amendment { of, reason, by, change: AmendmentChange::Withdrawn };
    let withdrawn = "2026-03-06T12:00:00Z";
    book.put(withdrawn, Some("dm1"), Body::Amendment(Box::new(amendment)));
    let account = book.account(question());
    let rinse: Vec<_> =
        account.calibrations.iter().filter(|known| known.probe == "dm1/rinse").cloned().collect();
    let told: Vec<_> = rinse.iter().map(|known| (known.record, known.offset_c, known.until)).collect();
    let expected =
        [(None, None, Some(at(made))), (Some(of), Some(-0.6), Some(at(withdrawn))), (None, None, None)];
    assert_eq!(told, expected);
    assert_eq!(rinse[1].made, Some(date(2026, 3, 3)), "the day at the site, in New York");
    assert_eq!(rinse[1].points, [(0.0, 0.6), (99.7, 100.3)], "reference and shown");
    assert!(rinse[1].uncertainty_c < rinse[0].uncertainty_c, "{rinse:?}");
    assert_eq!(rinse[1].tau_s, Some(1.5), "the time constant stays the configured one");
}

/// A calibration of the rinse probe that leaves −0.6 °C.
fn calibrated(made: &str) -> Body {
    Body::Calibration(Box::new(CalibrationDone {
        probe: "dm1/rinse".to_owned(),
        at: at(made),
        points: Vec::new(),
        found: Correction { gain: 1.0, offset_c: 0.0 },
        left: Correction { gain: 1.0, offset_c: -0.6 },
        expanded_c: 0.24,
        until: None,
        note: None,
        by: "Eli".to_owned(),
    }))
}

// Own rule, see `core::on_file`: it goes on correcting, is claimed by nothing, and the account says so.
#[test]
fn a_calibration_in_doubt_is_told_as_such() {
    let mut book = Book::new();
    let of = book.put("2026-03-04T01:00:00Z", Some("dm1"), calibrated("2026-03-04T01:00:00Z"));
    let since = at("2026-03-05T12:00:00Z");
    let note = Note { at: None, text: "in its place".to_owned(), by: "Eli".to_owned() };
    let index = book.put("2026-03-05T12:00:00Z", Some("dm1"), Body::Note(note));
    let again = book.put("2026-03-06T12:00:00Z", Some("dm1"), calibrated("2026-03-06T12:00:00Z"));
    let missed = vec![Missed { index, since, kind: MissedKind::Calibration }];
    let account = book.account_without(missed.clone(), question());
    let told: Vec<_> = account
        .calibrations
        .iter()
        .filter(|known| known.probe == "dm1/rinse")
        .map(|known| (known.record, known.offset_c, known.doubted, known.until))
        .collect();
    let expected = [
        (None, None, false, Some(at("2026-03-04T01:00:00Z"))),
        (Some(of), Some(-0.6), false, Some(since)),
        (Some(of), Some(-0.6), true, Some(at("2026-03-06T12:00:00Z"))),
        (Some(again), Some(-0.6), false, None),
    ];
    assert_eq!(told, expected);
    let uncertain = |place: usize| {
        let mut own = account.calibrations.iter().filter(|known| known.probe == "dm1/rinse");
        own.nth(place).and_then(|known| known.uncertainty_c).expect("a number")
    };
    assert!(uncertain(2) > uncertain(1), "{account:?}");
    assert_eq!(account.doubts, missed);
}
