//! What lies where on a page: nothing over what somebody is at, and things of one kind in line and apart.

use serde_json::{Value, json};

use super::chromium::{Chromium, Wish};
use super::kitchen::Kitchen;
use super::looks::reader;

/// The smallest phone, px: 1280 px wide at 400 % (WCAG 2.2, 1.4.10).
const SMALLEST: (u32, u32) = (320, 568);
/// Most keys until a page has been gone through (own choice).
const TABS_MAX: usize = 150;

/// Of what has the focus its words, and how many px of it are hidden: by the fixed tabs, or above the screen. Of what is
/// taller than the room above the tabs so much must be seen as a thumb needs.
const FOCUSED: &str = "
const one = document.activeElement;
if (!one || one === document.body || one.closest('.tabs')) return { first: false, hidden: 0 };
const { top, bottom } = one.getBoundingClientRect();
const edge = document.querySelector('.tabs').getBoundingClientRect().top;
const seen = Math.min(bottom, edge) - Math.max(top, 0);
const said = one.tagName + ' ' + one.className + ' «' + (one.innerText || one.name || '').slice(0, 40) + '»';
const hidden = Math.min(bottom - top, bottom - top > edge - 64 ? 44 : Infinity) - seen;
return { first: one.matches('.skip'), hidden, said, top, bottom, edge };
";

async fn tab(browser: &Chromium) {
    for kind in ["rawKeyDown", "keyUp"] {
        let key = json!({ "type": kind, "key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9 });
        browser.chrome("Input.dispatchKeyEvent", key).await;
    }
}

/// What is hidden of all that the Tab key leads to on the page that is open.
async fn hidden(browser: &Chromium) -> (usize, Vec<Value>) {
    let (mut seen, mut hidden) = (0, Vec::new());
    for count in 0..TABS_MAX {
        tab(browser).await;
        let found = browser.ask(FOCUSED).await;
        if count > 0 && found["first"] == true {
            break;
        }
        seen += 1;
        if found["hidden"].as_f64() > Some(0.5) {
            hidden.push(found);
        }
    }
    (seen, hidden)
}

// WCAG 2.2, 2.4.11, and more than it asks: what has the focus is hidden by the tabs in no part and at no moment, on the
// smallest phone and in the longer words. Regression: the page took its time to follow the focus.
#[tokio::test(flavor = "multi_thread")]
async fn the_tabs_hide_nothing_that_has_the_focus() {
    let mut kitchen = Kitchen::open(0.15);
    let luz = reader(&kitchen, "luz", "es").await;
    kitchen.until_cold();
    let phone = Chromium::open(kitchen.site.port, Wish::default()).await;
    phone.enter_as(&luz).await;
    phone.resize(SMALLEST).await;
    let mut wrong = Vec::new();
    for path in [
        "/",
        "/alerts",
        "/history",
        "/logbook",
        "/logbook/thermometer",
        "/settings",
        "/machines/dm1",
        "/probes",
        "/account",
    ] {
        phone.go(path).await;
        phone.ask("document.querySelectorAll('details').forEach((one) => { one.open = true; })").await;
        let (seen, hidden) = hidden(&phone).await;
        assert!(seen > 8, "{path}: {seen}");
        wrong.extend(hidden.into_iter().map(|one| format!("{path}: {one}")));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

// Own promise: cards stand apart on every page, and the words of a line on one line of letters.
#[tokio::test(flavor = "multi_thread")]
async fn cards_stand_apart_and_words_in_line() {
    let mut kitchen = Kitchen::open(0.15);
    let ana = reader(&kitchen, "ana", "en").await;
    kitchen.until_cold();
    let phone = Chromium::open(kitchen.site.port, Wish::default()).await;
    phone.enter_as(&ana).await;
    for path in ["/", "/probes", "/prove/dm1", "/calibrate/dm1/rinse", "/respond/dm1/rinse"] {
        phone.go(path).await;
        let apart = phone
            .ask(
                "const cards = [...document.querySelectorAll('.machine')];
                 return cards.map((card) => {
                   const below = [...document.querySelectorAll('main *')].filter((one) =>
                     one.compareDocumentPosition(card) & Node.DOCUMENT_POSITION_PRECEDING && !card.contains(one) &&
                     one.checkVisibility() && one.getBoundingClientRect().height > 1);
                   const edge = card.getBoundingClientRect().bottom;
                   return below.length ? below[0].getBoundingClientRect().top - edge : 99;
                 })",
            )
            .await;
        let apart: Vec<f64> = apart.as_array().into_iter().flatten().filter_map(Value::as_f64).collect();
        assert!(!apart.is_empty() && apart.iter().all(|apart| *apart >= 8.0), "{path}: {apart:?}");
    }
    let alert = |record: &rinseward::core::record::Record| record.body.kind() == "alert-raised";
    kitchen.until(|kitchen| kitchen.site.records().iter().any(alert));
    phone.resize((1280, 800)).await;
    phone
        .until(|| async {
            phone.go("/alerts/1").await;
            phone.text().await.contains("Racks it is about")
        })
        .await;
    let lines = phone
        .ask(
            "const baseline = (one) => {
               const words = document.createRange();
               words.selectNodeContents([...one.childNodes].findLast((node) => node.nodeType === Node.TEXT_NODE));
               return words.getBoundingClientRect().bottom;
             };
             return [...document.querySelectorAll('.racks li:has(a)')].map((line) =>
               [...line.children].map(baseline))",
        )
        .await;
    let lines = lines.as_array().expect("lines");
    assert!(!lines.is_empty());
    for line in lines {
        let bases: Vec<f64> = line.as_array().into_iter().flatten().filter_map(Value::as_f64).collect();
        let (low, high) =
            bases.iter().fold((f64::MAX, f64::MIN), |(low, high), one| (low.min(*one), high.max(*one)));
        assert!(bases.len() > 2 && high - low < 0.6, "{bases:?}");
    }
}
