//! How much room a page takes: on the first screen of a small phone, and on paper.

use std::process::Command;

use rinseward::core::reader::Language;
use rinseward::web::frame::simulated;
use serde_json::json;

use super::chromium::{Chromium, PHONE, Wish};
use super::kitchen::Kitchen;
use super::looks::reader;

/// A small phone, px.
pub(crate) const SMALL: (u32, u32) = (360, 640);
/// Most sheets of A4 for a day of a machine.
const SHEETS_MAX: usize = 6;

// Own promise: with two alerts open at each machine and one of the site, also under the banner of the demo, it stands on
// the first screen of a small phone, above the tabs, how the first machine stands and what its last rack came to; how many
// alerts are open, the worst in words, and the way to them stand there too.
#[tokio::test(flavor = "multi_thread")]
async fn two_alerts_push_no_verdict_off_the_first_screen() {
    let mut kitchen = Kitchen::open(0.15);
    let mut readers = [reader(&kitchen, "ana", "en").await, reader(&kitchen, "luz", "es").await];
    kitchen.until_cold();
    for (path, form) in [
        (
            "thermometer",
            &[("what", "dm1/rinse"), ("shown", "84"), ("right", "80"), ("reference", "no. 7")][..],
        ),
        ("sanitizer", &[("machine", "bar"), ("strip", "10")]),
        // With a check that is late the second at that machine; this one is of the site.
        ("supply", &[("machine", "all"), ("enough", "no"), ("note", "rinse aid")]),
    ] {
        let answer = readers[0].post(&format!("/logbook/{path}"), form).await;
        assert_eq!(answer.status, 303, "{path}: {}", answer.body);
    }
    let phone = Chromium::open(kitchen.site.port, Wish::default()).await;
    for (browser, language) in readers.iter().zip([Language::English, Language::Spanish]) {
        phone.enter_as(browser).await;
        let (two, other) = match language {
            Language::English => ("2 alerts open", "1 more alert is open"),
            Language::Spanish => ("2 alertas abiertas", "Hay otra alerta abierta"),
        };
        phone
            .until(|| async {
                phone.go("/").await;
                let shown = phone.text().await;
                shown.matches(two).count() == 4 && shown.contains(other)
            })
            .await;
        for size in [SMALL, PHONE] {
            phone.resize(size).await;
            phone.go("/").await;
            let place = phone.ask(&above_the_tabs(simulated(language))).await;
            let tabs = place["tabs"].as_f64();
            assert_eq!(place["alarms"], 2, "{place}");
            assert!(place["word"].as_f64() <= tabs, "{language} {size:?}: {place}");
            let count = place["count"].as_str().unwrap_or_default();
            assert!(count.contains(two) && place["linked"].as_f64() <= tabs, "{place}");
        }
    }
}

/// Where the first card and its verdict stand against the tabs, with this banner above all, as the demo has it.
fn above_the_tabs(banner: &str) -> String {
    format!(
        "document.querySelector('header').insertAdjacentHTML(
           'beforebegin', '<section class=\"simulated\"><p>{banner}</p></section>');
         const bottom = (one) => document.querySelector(one).getBoundingClientRect().bottom;
         return {{
           word: bottom('.machine .word'), linked: bottom('.machine .how a'),
           tabs: document.querySelector('.tabs').getBoundingClientRect().top,
           count: document.querySelector('.machine .how').innerText,
           alarms: document.querySelectorAll('#machine-0 .alarm').length,
         }}"
    )
}

// Own promise: at each temperature probe in the list a thumb finds its calibration and its response test, also where
// text is twice as large: nothing is wider than a small phone. 44 px: own promise for a wet hand.
#[tokio::test(flavor = "multi_thread")]
async fn the_list_of_probes_leads_a_thumb_on() {
    let kitchen = Kitchen::open(0.15);
    let luz = reader(&kitchen, "luz", "es").await;
    let phone = Chromium::open(kitchen.site.port, Wish::default()).await;
    phone.enter_as(&luz).await;
    phone.resize(SMALL).await;
    phone.go("/probes").await;
    for size in ["100%", "200%"] {
        let seen = phone
            .ask(&format!(
                "document.documentElement.style.fontSize = '{size}';
                 const links = [...document.querySelectorAll('main a[href*=\"calibrate/\"], main a[href*=\"respond/\"]')];
                 const root = document.documentElement;
                 return {{
                   cards: document.querySelectorAll('.probe h3 a').length, links: links.length,
                   least: Math.min(...links.map((one) => one.getBoundingClientRect().height)),
                   wide: root.scrollWidth, screen: root.clientWidth,
                   out: [...document.querySelectorAll('body *')]
                     .filter((one) => one.getBoundingClientRect().right > root.clientWidth + 1)
                     .map((one) => one.tagName + '.' + one.className + ' ' + (one.innerText || '').slice(0, 40)),
                 }}"
            ))
            .await;
        let number = |key: &str| seen[key].as_f64().unwrap_or_default();
        assert!(number("cards") > 0.0 && number("links") >= 2.0 * number("cards"), "{size}: {seen}");
        assert!(number("least") >= 44.0 && number("wide") <= number("screen"), "{size}: {seen}");
    }
}

// Own promise: a day of a machine is a few sheets, however many racks it had: its chart, its counts and the worst,
// without the table of all; what its probes showed in the last minutes is there in numbers too.
#[tokio::test(flavor = "multi_thread")]
async fn a_day_of_a_machine_is_few_sheets() {
    let mut kitchen = Kitchen::recovered(2.0);
    let ana = reader(&kitchen, "ana", "en").await;
    kitchen.until_end();
    kitchen.until(|kitchen| kitchen.racks() > 120);
    let phone = Chromium::open(kitchen.site.port, Wish::default()).await;
    phone.enter_as(&ana).await;
    phone.go("/machines/dm1").await;
    phone.chrome("Emulation.setEmulatedMedia", json!({ "media": "print" })).await;
    let heights = phone
        .ask(
            "const height = (part) => document.querySelector(part)?.getBoundingClientRect().height ?? -1;
             return { chart: height('nav.steps ~ figure.plot .broad'), table: height('table.figures'),
                      numbers: height('.one + details table') }",
        )
        .await;
    assert!(heights["chart"].as_f64() > Some(100.0), "{heights}");
    assert!(heights["table"].as_f64() <= Some(0.0), "{heights}");
    assert!(heights["numbers"].as_f64() > Some(100.0), "{heights}");
    let (sheets, first, _) = printed(&phone).await;
    assert!((1..=SHEETS_MAX).contains(&sheets), "{sheets}");
    assert!(first.contains("As of") && first.contains("An aid"), "{first}");
    // Regression: wherever the last section ends, no sheet is printed for the lines at the foot of the page alone.
    for filled in (0..10).map(|step| step * 100) {
        let fill = format!(
            "const own = document.getElementById('fill') ?? document.createElement('div');
             own.id = 'fill'; own.style.height = '{filled}px'; document.querySelector('ul.paper').before(own)"
        );
        phone.ask(&fill).await;
        let (_, _, last) = printed(&phone).await;
        assert!(last.contains("limit 82.2"), "{filled}: {last}");
    }
    // Regression: the history was printed with its form and the ways from there, and without what was asked for.
    phone.go("/history?machine=dm1&verdict=cold").await;
    let seen = "const seen = (one) => one.checkVisibility() && one.getBoundingClientRect().height > 0;
                return { led: [...document.querySelectorAll('nav, form')].filter(seen).length,
                         told: seen(document.querySelector('p.paper')) }";
    let seen = phone.ask(seen).await;
    assert!(seen["led"] == 0 && seen["told"] == true, "{seen}");
}

/// How many sheets the page that is open takes, and what stands on the first and on the last.
async fn printed(phone: &Chromium) -> (usize, String, String) {
    use base64::Engine as _;
    let printed = phone.chrome("Page.printToPDF", json!({ "paperWidth": 8.27, "paperHeight": 11.69 })).await;
    let text = printed["data"].as_str().expect("base64");
    let bytes = base64::engine::general_purpose::STANDARD.decode(text).expect("base64");
    let file = tempfile::NamedTempFile::new().expect("a file");
    std::fs::write(file.path(), bytes).expect("it is writable");
    let told = Command::new("pdftotext").arg(file.path()).arg("-").output();
    let told = told.expect("poppler; `tests/all` installs it");
    let told = String::from_utf8_lossy(&told.stdout).into_owned();
    // Each sheet ends with a form feed.
    let sheets: Vec<&str> = told.trim_end_matches('\u{c}').split('\u{c}').collect();
    let said = |sheet: Option<&&str>| sheet.copied().unwrap_or_default().to_owned();
    (sheets.len(), said(sheets.first()), said(sheets.last()))
}
