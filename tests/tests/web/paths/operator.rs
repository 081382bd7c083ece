//! The operator's seconds at the logbook: each check with a wet thumb.

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

use rinseward::core::record::{Body, Check};

use super::chromium::{Chromium, Effort, Wish};
use super::gateway::{PASSWORD, member};
use super::kitchen::Kitchen;

/// Keystroke, s: an average typist who does not type for a living (40 words a minute). Here and below: Card,
/// Moran and Newell, The Keystroke-Level Model, Communications of the ACM 23(7), 1980, from memory.
const K_S: f64 = 0.28;
/// Pointing at a target, s; a press is this and a keystroke.
const P_S: f64 = 1.1;
/// Deciding what comes next, s: before each press but the one that ends a form, which is no decision.
const M_S: f64 = 1.35;

/// Seconds of a person for what was done to fill one form in.
fn takes_s(effort: &Effort) -> (u32, u32, f64) {
    let (presses, keys) = effort.taken();
    let seconds = f64::from(presses) * (P_S + K_S) + f64::from(presses - 1) * M_S + f64::from(keys) * K_S;
    (presses, keys, seconds)
}

/// The keys that go on to the next field, and that end a form (WebDriver, W3C, 17.4.2).
const NEXT: &str = "\u{e004}";
const ENTER: &str = "\u{e007}";

/// Says that what was done since this was last asked takes under ten seconds.
fn is_quick(phone: &Chromium, what: &str) {
    let (presses, keys, seconds) = takes_s(&phone.effort);
    assert!(seconds < 10.0, "{what}: {presses} presses and {keys} keys take {seconds} s");
}

/// Concentrations on record, mg/L.
fn strips(kitchen: &Kitchen) -> Vec<(f64, String)> {
    let strip = |body| match body {
        Body::Check(Check::Sanitizer { mg_per_l, by, .. }) => Some((mg_per_l, by)),
        _ => None,
    };
    kitchen.site.records().into_iter().filter_map(|record| strip(record.body)).collect()
}

/// Enters a strip of a colour from the first page on.
async fn enter(phone: &Chromium, colour: &str) {
    phone.press("Logbook").await;
    phone.press("bar: test the sanitizer").await;
    phone.press(colour).await;
    phone.press("Put on record").await;
}

/// The whole path; the same with and without scripts.
async fn strip_check(without_script: bool) {
    let mut kitchen = Kitchen::open(0.1);
    member(&kitchen.site, &kitchen.gateway, "luz", "operator").await;
    kitchen.until_before_cold();
    let phone = Chromium::open(kitchen.site.port, Wish { without_script, ..Wish::default() }).await;
    phone.log_in("luz", PASSWORD).await;
    enter(&phone, "100").await;
    let good = phone.until_shown("The sanitizer is good.").await;
    assert!(good.contains("100 mg/L") && good.contains("luz the operator"), "{good}");
    is_quick(&phone, "a good strip");

    // Chlorine below 25 mg/L is too weak at any temperature (Food Code 4-501.114).
    phone.press("Enter one more").await;
    phone.press("10").await;
    phone.press("Put on record").await;
    let bad = phone.until_shown("FAILED: the sanitizer is not good.").await;
    for told in ["at least 25 mg/L", "Do now", "Stop feeding the machine.", "Never let chlorine meet acid"] {
        assert!(bad.contains(told), "{told}: {bad}");
    }
    is_quick(&phone, "a weak strip");
    let by = || "luz the operator".to_owned();
    assert_eq!(strips(&kitchen), [(100.0, by()), (10.0, by())]);
    kitchen.gateway.stop();
}

// Own promise: entered in under ten seconds, judged at once, with what to do where it fails.
#[tokio::test(flavor = "multi_thread")]
async fn a_strip_is_entered_in_under_ten_seconds() {
    strip_check(false).await;
}

// Own promise: the same without scripts.
#[tokio::test(flavor = "multi_thread")]
async fn a_strip_is_entered_without_scripts() {
    strip_check(true).await;
}

/// Shows and is compared with, on the page that waits for the first number.
async fn compare(phone: &Chromium, shown: &str, right: &str) {
    phone.keys(&format!("{shown}{NEXT}{right}{ENTER}")).await;
}

/// Supplies, draining and both comparisons: the same with and without scripts.
async fn other_checks(without_script: bool) {
    let kitchen = Kitchen::idle();
    member(&kitchen.site, &kitchen.gateway, "luz", "operator").await;
    let phone = Chromium::open(kitchen.site.port, Wish { without_script, ..Wish::default() }).await;
    phone.log_in("luz", PASSWORD).await;
    for (check, done, good) in [
        ("Supplies", "Everything is there, or was filled up", "The supplies are good."),
        ("Drain and clean", "Drained and cleaned", "Drained and cleaned."),
    ] {
        phone.press("Logbook").await;
        phone.press(check).await;
        phone.press("dm1").await;
        phone.press(done).await;
        phone.until_shown(good).await;
        is_quick(&phone, check);
    }
    // The reference is typed once, and offered from then on.
    phone.press("Logbook").await;
    phone.press("Thermometer").await;
    phone.press("dm1/rinse").await;
    phone.fill("Reference", "no. 7").await;
    phone.fill("It shows", "80.0").await;
    compare(&phone, "", "82.4").await;
    phone.until_shown("FAILED: the thermometer is off.").await;
    phone.effort.taken();
    for (asked, what) in [("compare dm1/rinse again", "due again"), ("Thermometer", "of one's own")] {
        phone.press("Logbook").await;
        phone.press(asked).await;
        if asked == "Thermometer" {
            phone.press("dm1/rinse").await;
        }
        phone.until_shown("The reference shows").await;
        compare(&phone, "82.1", "82.4").await;
        phone.until_shown("The thermometer is good.").await;
        is_quick(&phone, what);
    }
    let kinds = kitchen.site.bodies(&["check"]).len();
    assert_eq!(kinds, 5);
    kitchen.gateway.stop();
}

// Own promise: every check is entered in under ten seconds, from the first page on. A phone whose keypad has no key that
// goes on, or that opens at a touch alone, takes up to two presses more.
#[tokio::test(flavor = "multi_thread")]
async fn the_other_checks_are_entered_in_under_ten_seconds() {
    other_checks(false).await;
}

// Own promise: the same without scripts.
#[tokio::test(flavor = "multi_thread")]
async fn the_other_checks_are_entered_without_scripts() {
    other_checks(true).await;
}
