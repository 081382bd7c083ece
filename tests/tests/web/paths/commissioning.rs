//! The technician commissions a machine on a small phone: wiring proved, probes calibrated and plunged, signed off.

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::record::Body;
use rinseward_simulator::bench::Spot;
use rinseward_simulator::fault::Place;

use super::chromium::{Chromium, Wish};
use super::gateway::{PASSWORD, member};
use super::practice::Practice;
use super::sheets::SMALL;

/// Both probes of the machine, in the order of their names in the configuration.
const PROBES: [(Place, &str); 2] = [(Place::Wash, "dm1/wash"), (Place::Rinse, "dm1/rinse")];
/// Hot water near the limit of the final rinse, °C.
const POT: Spot = Spot::Pot { water_c: 80.0 };

/// Each tip is warmed by a hand when the page says so.
async fn prove(phone: &Chromium, practice: &mut Practice) {
    phone.press("Prove the wiring").await;
    phone.press("Begin").await;
    for (number, (place, name)) in (1..).zip(PROBES) {
        phone.until_shown(&format!("{number} / 2: {name}")).await;
        phone.press("It hangs free").await;
        phone.until_shown("Waiting until it is at rest").await;
        practice.pass(15.0);
        phone.until_shown(&format!("NOW warm the tip of {name}")).await;
        practice.hold(place, Spot::Hand, 30.0);
        phone
            .until_shown(&format!("{name} ({}): ✓", if number == 1 { "wash tank" } else { "final rinse" }))
            .await;
        practice.hold(place, Spot::Air, 60.0);
    }
    phone.until_shown("Each probe is wired as configured").await;
    phone.press("Put it on record").await;
    phone.until_shown("What was found of the wiring is on record").await;
}

/// A tip beside a thermometer in hot water.
async fn calibrate(phone: &Chromium, practice: &mut Practice, place: Place) {
    phone.press("Calibrate it").await;
    phone.press("Beside a reference thermometer").await;
    phone.fill("Which thermometer", "no. 7").await;
    phone.fill("The reference thermometer shows", "80").await;
    phone.fill("Uncertainty of the reference", "0.3").await;
    phone.press("Compare with it").await;
    phone.press("The probe is in it now").await;
    phone.until_shown("The point is taken by itself").await;
    practice.hold(place, POT, 90.0);
    phone.until_shown("It can go on record as it is").await;
    phone.press("Put it on record").await;
    phone.until_shown("It is on record and in force").await;
    practice.hold(place, Spot::Air, 200.0);
}

/// A tip from the air of the room at once into hot water.
async fn respond(phone: &Chromium, practice: &mut Practice, place: Place) {
    phone.press("Test its response").await;
    phone.press("Begin").await;
    phone.press("Everything is ready: begin").await;
    phone.until_shown("Still in the air, then at once into the water").await;
    practice.pass(15.0);
    practice.hold(place, POT, 40.0);
    phone.until_shown("It has answered").await;
    phone.press("Put it on record").await;
    phone.until_shown("It is on record and in force").await;
    practice.hold(place, Spot::Air, 200.0);
}

/// From a probe's page to what is open at its machine. Nobody is told that an attempt is open which is on record.
async fn what_is_open(phone: &Chromium) -> String {
    phone.press("Machine dm1").await;
    phone.press("Sign off").await;
    let shown = phone.until_shown("Open points").await;
    assert!(!shown.contains("for as long as"), "{shown}");
    shown
}

/// The rack after the work, and the name below what was compared and found open.
async fn sign(phone: &Chromium, practice: &mut Practice) {
    phone.press("Work is over").await;
    practice.wash();
    practice.until(|bodies| {
        let mut racks = bodies.iter().filter(|body| matches!(body, Body::Cycle(_)));
        racks
            .next_back()
            .is_some_and(|body| matches!(body, Body::Cycle(rack) if rack.verdict == Verdict::Pass))
    });
    let shown = what_is_open(phone).await;
    assert!(shown.contains("Nothing is open") && shown.contains("PASS"), "{shown}");
    phone.press("I have compared these limits").await;
    phone.press("Sign off").await;
    let signed = phone.until_shown("It is signed off and on record").await;
    assert!(
        signed.contains("It has been signed off since") && signed.contains("eli the technician"),
        "{signed}"
    );
}

/// What the ledger holds of it, each by whom.
fn on_record(practice: &Practice) -> Vec<(String, String)> {
    let kinds = ["wiring-proof", "calibration", "response", "sign-off"];
    let told = practice.site.bodies(&kinds).into_iter().filter_map(|body| match body {
        Body::WiringProof(done) => Some((format!("wiring good: {}", done.good), done.by)),
        Body::Calibration(done) => {
            Some((format!("{} calibrated at {} point", done.probe, done.points.len()), done.by))
        }
        Body::Response(done) => {
            Some((format!("{} fast enough: {:?}", done.probe, done.fast_enough), done.by))
        }
        Body::SignOff(done) => Some((format!("signed with {} open", done.open_points.len()), done.by)),
        _ => None,
    });
    told.collect()
}

// Own promise: whoever commissions a machine is led from one open point to the next by what stands on the pages, and
// signs when nothing is open; each step is on record under their name.
#[tokio::test(flavor = "multi_thread")]
async fn a_machine_is_commissioned_on_a_small_phone() {
    let mut practice = Practice::open();
    member(&practice.site, &practice.gateway, "eli", "technician").await;
    let phone = Chromium::open(practice.site.port, Wish::default()).await;
    phone.resize(SMALL).await;
    phone.log_in("eli", PASSWORD).await;
    practice.pass(60.0);
    phone.press("Probes").await;
    phone.press("Sign off").await;
    let open = phone.until_shown("Open points").await;
    for point in
        ["dm1/wash was never calibrated", "No response test of dm1/rinse", "The wiring was never proved"]
    {
        assert!(open.contains(point), "{point}: {open}");
    }
    prove(&phone, &mut practice).await;
    for (place, name) in PROBES {
        calibrate(&phone, &mut practice, place).await;
        let open = what_is_open(&phone).await;
        assert!(!open.contains(&format!("{name} was never calibrated")), "{open}");
    }
    respond(&phone, &mut practice, Place::Rinse).await;
    what_is_open(&phone).await;
    sign(&phone, &mut practice).await;
    let by = |what: &str| (what.to_owned(), "eli the technician".to_owned());
    let expected = [
        "wiring good: true",
        "dm1/wash calibrated at 1 point",
        "dm1/rinse calibrated at 1 point",
        "dm1/rinse fast enough: Some(true)",
        "signed with 0 open",
    ];
    assert_eq!(on_record(&practice), expected.map(by));
    practice.gateway.stop();
}

// Own promise: the same by plain links and forms; what comes by itself comes by asking for the page again.
#[tokio::test(flavor = "multi_thread")]
async fn a_probe_is_proved_and_calibrated_without_scripts() {
    let mut practice = Practice::open();
    member(&practice.site, &practice.gateway, "eli", "technician").await;
    let phone = Chromium::open(practice.site.port, Wish { without_script: true, ..Wish::default() }).await;
    phone.resize(SMALL).await;
    phone.log_in("eli", PASSWORD).await;
    practice.pass(60.0);
    phone.press("Probes").await;
    phone.press("Sign off").await;
    prove(&phone, &mut practice).await;
    calibrate(&phone, &mut practice, Place::Wash).await;
    let by = |what: &str| (what.to_owned(), "eli the technician".to_owned());
    assert_eq!(on_record(&practice), ["wiring good: true", "dm1/wash calibrated at 1 point"].map(by));
    practice.gateway.stop();
}
