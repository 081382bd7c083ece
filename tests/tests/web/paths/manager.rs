//! The manager's phone: a cold rack, from the moment it shows to the written corrective action.

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

use rinseward::core::record::Body;
use serde_json::json;

use super::chromium::{Chromium, Wish};
use super::gateway::{PASSWORD, member};
use super::kitchen::Kitchen;

const RACKS: &str = "Held and rewashed since the first cold one, none went out";
const DONE: &str = "Booster reset; an empty rack reached the limit";

/// Who answered the alert of the cold rack, and what was done, as the record has it.
fn answered(kitchen: &Kitchen) -> (Option<String>, Option<(String, String, String)>, bool) {
    let (mut taken, mut action, mut closed) = (None, None, false);
    let mut cold = None;
    for record in kitchen.site.records() {
        match record.body {
            Body::AlertRaised(raised) if raised.condition.as_str() == "cold" => cold = Some(raised.alert),
            Body::AlertAcknowledged(answer) if Some(answer.alert) == cold => taken = Some(answer.by),
            Body::CorrectiveAction(done) if Some(done.alert) == cold => {
                action = Some((done.by, done.racks, done.done));
            }
            Body::AlertClosed(end) if Some(end.alert) == cold => closed = true,
            _ => {}
        }
    }
    (taken, action, closed)
}

// What a manager must get done (own promise): the page that lies open shows the cold rack by itself, and two
// presses lead from it to the answer; the alert closes when racks are good again and the action is written.
#[tokio::test(flavor = "multi_thread")]
async fn a_cold_rack_shows_by_itself_is_answered_and_closed() {
    let mut kitchen = Kitchen::recovered(0.15);
    member(&kitchen.site, &kitchen.gateway, "ana", "manager").await;
    let phone = Chromium::open(kitchen.site.port, Wish::default()).await;
    phone.log_in("ana", PASSWORD).await;
    kitchen.until_before_cold();
    let before = phone.until_shown("PASS").await;
    assert!(!before.contains("COLD"), "{before}");
    phone.ask("window.opened = 'once'").await;
    let title = phone.ask("return document.title").await;

    kitchen.until_cold();
    let shown = phone.until_shown("COLD").await;
    assert!(shown.contains("limit 82.2 °C") && shown.contains("nobody takes care of it now"), "{shown}");
    assert_eq!(phone.ask("return window.opened").await, "once", "the page was not loaded again");
    phone.until(|| async { phone.ask("return document.title").await != title }).await;

    phone.press("Final rinse too cold").await;
    let alert = phone.until_shown("I take care of it").await;
    assert!(alert.contains("Do now") && alert.contains("Caution"), "{alert}");
    phone.press("I take care of it").await;
    phone.until_shown("Taken care of by ana the manager").await;
    let place = phone.place().await;
    // The booster is reset, and racks are good again.
    kitchen.until_end();
    phone
        .until(|| async {
            phone.go(&place).await;
            phone.text().await.contains("It has recovered")
        })
        .await;
    phone.fill("What happened to the racks", RACKS).await;
    phone.fill("What was done", DONE).await;
    phone.press("Put on record").await;
    phone.until_shown(DONE).await;
    kitchen.until(|kitchen| answered(kitchen).2);
    phone.press("All alerts").await;
    let list = phone.until_shown("Closed").await;
    assert!(!list.contains("Taken care of by"), "{list}");
    let by = "ana the manager";
    let (taken, action, closed) = answered(&kitchen);
    assert_eq!(taken.as_deref(), Some(by));
    assert_eq!(action, Some((by.to_owned(), RACKS.to_owned(), DONE.to_owned())));
    assert!(closed);
    kitchen.gateway.stop();
}

// Own promise: everything works without scripts but what changes by itself. The page is asked for anew by itself, as
// plain HTML can, only where somebody wants that (WCAG 2.2, F41), and says how to stop it.
#[tokio::test(flavor = "multi_thread")]
async fn a_cold_rack_is_answered_without_scripts() {
    let mut kitchen = Kitchen::open(0.15);
    member(&kitchen.site, &kitchen.gateway, "ana", "manager").await;
    kitchen.until_cold();
    let phone = Chromium::open(kitchen.site.port, Wish { without_script: true, ..Wish::default() }).await;
    phone.log_in("ana", PASSWORD).await;
    phone
        .until(|| async {
            phone.press("Show it again").await;
            phone.text().await.contains("COLD")
        })
        .await;
    let anew = "return document.querySelectorAll('meta[http-equiv=refresh]').length";
    assert_eq!(phone.ask(anew).await, 0);
    phone.press("Renew every 30 seconds").await;
    phone.until_shown("is renewed every 30 seconds, as you asked").await;
    assert_eq!((phone.ask(anew).await, phone.place().await.as_str()), (json!(1), "/?renew=30"));
    phone.press("Stop renewing it").await;
    phone.until_shown("does not renew itself without scripts").await;
    assert_eq!(phone.ask(anew).await, 0);
    phone.press("Final rinse too cold").await;
    phone.press("I take care of it").await;
    phone.until_shown("Taken care of by ana the manager").await;
    assert_eq!(answered(&kitchen).0.as_deref(), Some("ana the manager"));
    kitchen.gateway.stop();
}
