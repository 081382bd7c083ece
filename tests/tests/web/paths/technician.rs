//! The technician's phone at the machine: a probe calibrated in ice and in boiling water.

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

use rinseward::core::record::Body;

use super::chromium::{Chromium, Wish};
use super::gateway::{PASSWORD, member};
use super::kitchen::Kitchen;

/// How much later each answer comes over a bad connection, ms.
const LATE_MS: u32 = 1500;
/// Boiling at 1002.5 hPa, °C (IAPWS-IF97, equation 31).
const BOILING_C: f64 = 99.677;

// Own promise: two baths, each taken by itself once the probe is steady in it, and the correction is in force and
// on record under the technician's name. The probe shows 0.6 °C too much.
#[tokio::test(flavor = "multi_thread")]
async fn a_probe_is_calibrated_at_the_machine() {
    let mut kitchen = Kitchen::idle();
    member(&kitchen.site, &kitchen.gateway, "eli", "technician").await;
    let phone = Chromium::open(kitchen.site.port, Wish::default()).await;
    phone.log_in("eli", PASSWORD).await;
    kitchen.shows("dm1/rinse", 21.0);
    phone.press("Probes").await;
    phone.until_shown("21.0").await;
    phone.press("rinse").await;
    phone.press("Calibrate").await;
    let asked = phone.until_shown("Which bath is next?").await;
    assert!(asked.contains("Caution"), "{asked}");
    phone.press("Ice and water").await;
    phone.press("Ice bath").await;
    phone.press("The probe is in it now").await;
    phone.until_shown("The point is taken by itself").await;
    kitchen.shows("dm1/rinse", 0.6);
    phone.until_shown("The point is taken\n").await;
    phone.press("Boiling water, the air pressure is measured").await;
    phone.fill("Pressure at this place", "1002.5").await;
    phone.press("Boiling water").await;
    phone.press("The probe is in it now").await;
    phone.until_shown("The point is taken by itself").await;
    kitchen.shows("dm1/rinse", BOILING_C + 0.6);
    let result = phone.until_shown("It can go on record as it is").await;
    assert!(result.contains("-0.6") || result.contains("−0.6"), "{result}");
    // What the page is told by itself comes before the answer to what was pressed, and must not take its place.
    phone.delay(LATE_MS).await;
    phone.press("Put it on record").await;
    let filed = phone.until_shown("It is on record and in force").await;
    assert!(filed.contains("eli the technician"), "{filed}");
    phone.delay(0).await;
    kitchen.shows("dm1/rinse", 60.6);
    phone.until_shown("60.0").await;

    let calibrations = kitchen.site.records().into_iter().filter_map(|record| match record.body {
        Body::Calibration(calibration) => Some(*calibration),
        _ => None,
    });
    let calibrations: Vec<_> = calibrations.collect();
    assert_eq!(calibrations.len(), 1, "{calibrations:?}");
    assert_eq!(calibrations[0].by, "eli the technician");
    assert_eq!(calibrations[0].points.len(), 2);
    kitchen.gateway.stop();
}
