//! Every page as people see it: found by following every link from the first page on, in both languages, light and
//! dark, with a morning of racks, alerts, entries and a calibration behind it.
//!
//! `SHOTS=<folder> cargo test --features failpoints --test tests web::looks` also takes a picture of each page at
//! 360, 768 and 1280 px, light and dark.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde_json::{Value, json};

use super::browser::Browser;
use super::chromium::{Chromium, PHONE, Wish, axe};
use super::gateway::{PASSWORD, choose};
use super::kitchen::Kitchen;
use super::walk::{lines, walk};

/// Bytes of a page and all that it needs (own promise).
const FIRST_LOAD_BYTES_MAX: u64 = 100_000;
/// Requests of a page: itself, its style, its script.
const REQUESTS_MAX: u64 = 3;
/// Smallest side of what is pressed, px (WCAG 2.2 asks 24, at level AAA 44; own promise for a wet hand).
const TARGET_MIN: f64 = 44.0;
/// Levels A and AA of WCAG 2.2, and what is good practice beside them, as axe-core names them.
const RULES: &str = "['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa','best-practice']";

/// Every page that is seen, by kind; those of access are not in the router's list.
const KINDS: [&str; 27] = [
    "/",
    "/account",
    "/accounts",
    "/accounts/#",
    "/alerts",
    "/alerts/#",
    "/calibrate/#/#",
    "/cycles/#",
    "/cycles/#/proof",
    "/history",
    "/logbook",
    "/logbook/#",
    "/logbook/drain-and-clean",
    "/logbook/entries/#",
    "/logbook/sanitizer",
    "/logbook/supply",
    "/logbook/thermometer",
    "/machines/#",
    "/maintenance",
    "/more",
    "/probes",
    "/probes/#",
    "/probes/#/#",
    "/prove/#",
    "/respond/#/#",
    "/settings",
    "/sign-off/#",
];

/// What is wrong with the page that is open, in words; nothing where all is well.
const SEEN: &str = r#"
const done = arguments[arguments.length - 1];
const wrong = [];
const root = document.documentElement;
document.querySelectorAll('details').forEach((one) => { one.open = true; });
const shown = (one) => one.checkVisibility() && one.getBoundingClientRect().width > 1;
const named = (one) => one.tagName.toLowerCase() + ' «' + (one.innerText || one.name || '').slice(0, 30) + '»';
if (root.scrollWidth > root.clientWidth) {
  wrong.push('wider than the screen: ' + root.scrollWidth);
  for (const one of document.querySelectorAll('main *')) {
    if (one.getBoundingClientRect().right > root.clientWidth + 1 && !one.closest('.wide, .plot')) {
      wrong.push('sticks out: ' + named(one));
      break;
    }
  }
}
if (document.querySelectorAll('h1').length !== 1) wrong.push('not one h1');
if (!document.title.includes('TITLE')) wrong.push('title: ' + document.title);
const targets = 'button, .button, .tabs a, .target, summary, select, textarea, .choice, input:not([type=hidden]), .big';
for (const one of document.querySelectorAll(targets)) {
  if (!shown(one) || one.closest('.choice') && !one.matches('.choice')) continue;
  const { width, height } = one.getBoundingClientRect();
  if (Math.min(width, height) < TARGET_MIN) wrong.push(`too small: ${named(one)} ${width} x ${height}`);
}
for (const one of performance.getEntriesByType('resource')) {
  if (!one.name.startsWith(location.origin + '/')) wrong.push('leaves the site: ' + one.name);
}
const own = performance.getEntriesByType('navigation').concat(performance.getEntriesByType('resource'));
const loaded = own.filter((one) => one.initiatorType !== 'other' || one.entryType === 'navigation');
const bytes = loaded.reduce((sum, one) => sum + one.transferSize, 0);
const links = [...document.querySelectorAll('a[href]')].map((one) => one.href);
axe.run(document, { runOnly: RULES }).then((found) => {
  for (const one of found.violations) {
    for (const node of one.nodes) {
      wrong.push(`${one.id}: ${node.target.join(' ')} ${node.failureSummary} ${node.html.slice(0, 120)}`);
    }
  }
  const language = root.lang;
  done({ wrong, bytes, requests: loaded.length, links, language, passes: found.passes.length });
}).catch((error) => done({ wrong: ['axe: ' + error] }));
"#;

/// Contrast alone, for the dark page.
const DARK: &str = r"
const done = arguments[arguments.length - 1];
axe.run(document, { runOnly: ['color-contrast'] }).then((found) => done(found.violations.flatMap(
  (one) => one.nodes.map((node) => 'dark: ' + node.target.join(' ') + ' ' + node.failureSummary)
))).catch((error) => done(['axe: ' + error]));
";

/// What axe-core does not look at: edges of fields (WCAG 2.2, 1.4.11) and the examples in them (1.4.3).
const FIELDS: &str = r"
const numbers = (colour) => (colour.match(/[\d.]+/g) || []).map(Number);
const light = (colour) => numbers(colour).slice(0, 3).map((one) => one / 255)
  .map((one) => one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4)
  .reduce((sum, one, at) => sum + one * [0.2126, 0.7152, 0.0722][at], 0);
const contrast = (one, other) => {
  const [low, high] = [light(one), light(other)].sort((a, b) => a - b);
  return (high + 0.05) / (low + 0.05);
};
const ground = (one) => {
  for (let at = one; at; at = at.parentElement) {
    const colour = getComputedStyle(at).backgroundColor;
    if (numbers(colour)[3] !== 0) return colour;
  }
  return 'rgb(255, 255, 255)';
};
const scheme = matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light';
const wrong = [];
const fields = 'input:not([type=hidden], [type=radio], [type=checkbox], [type=submit]), textarea, select';
for (const one of document.querySelectorAll(fields)) {
  if (!one.checkVisibility()) continue;
  const edge = contrast(getComputedStyle(one).borderTopColor, ground(one.parentElement));
  if (edge < 3) wrong.push(`${scheme}: edge of ${one.name}: ${edge}`);
  const example = one.placeholder ? contrast(getComputedStyle(one, '::placeholder').color, ground(one)) : 21;
  if (example < 4.5) wrong.push(`${scheme}: example in ${one.name}: ${example}`);
}
return wrong;
";

/// What is off the screen of a phone where the text is twice as large (WCAG 2.2, 1.4.4).
const LARGE: &str = r"
const root = document.documentElement;
const wide = root.clientWidth;
const wrong = [];
root.style.fontSize = '200%';
const off = (one) => {
  const { left, right } = one.getBoundingClientRect();
  return left < 0 || right > wide + 1 || one.scrollWidth > one.clientWidth + 1;
};
for (const tab of document.querySelectorAll('.tabs a')) {
  if (off(tab)) wrong.push('text twice as large: off the screen: ' + tab.innerText);
}
if (root.scrollWidth > wide) {
  const out = [...document.querySelectorAll('main *')].filter((one) =>
    (one.getBoundingClientRect().right > wide + 1 || one.scrollWidth > Math.max(one.clientWidth, 1) + 1 && one.scrollWidth > 300) && !one.closest('.wide, .plot'));
  wrong.push(`text twice as large: ${root.scrollWidth} px wide: ` + out.map((one) => one.outerHTML.slice(0, 120)).slice(0, 3));
}
root.style.fontSize = '';
return wrong;
";

/// What a reader found wrong, and how much each page weighs.
#[derive(Default)]
struct Tour {
    wrong: Vec<String>,
    kinds: BTreeSet<String>,
    heaviest: BTreeMap<u64, String>,
}

/// Makes a browser ready to look at pages.
pub(crate) async fn prepare(browser: &Chromium) {
    let source = std::fs::read_to_string(axe()).expect("axe-core is there");
    browser.chrome("Page.addScriptToEvaluateOnNewDocument", json!({ "source": source })).await;
    browser.chrome("Network.setCacheDisabled", json!({ "cacheDisabled": true })).await;
}

/// The script that looks at a page, whose title holds this.
fn script(title: &str) -> String {
    let script = SEEN.replace("TARGET_MIN", &TARGET_MIN.to_string()).replace("RULES", RULES);
    script.replace("TITLE", title)
}

/// What is wrong with the page that is open, light and dark, whose title holds this.
pub(crate) async fn faults(browser: &Chromium, title: &str) -> Vec<String> {
    let found = browser.ask_later(&script(title)).await;
    [lines(&found["wrong"]), contrasts(browser).await].concat()
}

/// What of the open page is too faint: its fields, light and dark, and all of it, dark.
async fn contrasts(browser: &Chromium) -> Vec<String> {
    let light = browser.ask(FIELDS).await;
    browser.colours("dark").await;
    let (dark, fields) = (browser.ask_later(DARK).await, browser.ask(FIELDS).await);
    browser.colours("light").await;
    [lines(&light), lines(&dark), lines(&fields)].concat()
}

/// Follows every link as one reader.
async fn tour(browser: &Chromium, site: u16, language: &str) -> Tour {
    prepare(browser).await;
    let script = script("North kitchen");
    let mut tour = Tour::default();
    let kinds = walk(browser, site, &script, async |path: &str, found: &Value| {
        let faint = contrasts(browser).await;
        let large = browser.ask(LARGE).await;
        let mut wrong = [lines(&found["wrong"]), faint, lines(&large)].concat();
        let number = |name: &str| found[name].as_u64().unwrap_or(u64::MAX);
        let (bytes, requests) = (number("bytes"), number("requests"));
        if bytes > FIRST_LOAD_BYTES_MAX || requests > REQUESTS_MAX {
            wrong.push(format!("{bytes} bytes in {requests} requests"));
        }
        if found["language"] != language {
            wrong.push(format!("in the language {}", found["language"]));
        }
        tour.wrong.extend(wrong.into_iter().map(|one| format!("{language} {path}: {one}")));
        tour.heaviest.insert(bytes, path.to_owned());
        pictures(browser, path, language).await;
    })
    .await;
    tour.kinds = kinds;
    tour
}

/// Takes pictures of the page that is open where they are wanted.
async fn pictures(browser: &Chromium, path: &str, language: &str) {
    let Some(folder) = std::env::var_os("SHOTS") else { return };
    std::fs::create_dir_all(&folder).expect("the folder can be made");
    let name: String = path.chars().map(|one| if one.is_alphanumeric() { one } else { '_' }).collect();
    for colours in ["light", "dark"] {
        browser.colours(colours).await;
        for width in [360, 768, 1280] {
            browser.resize((width, 800)).await;
            let file = Path::new(&folder).join(format!("{language}-{colours}-{width}{name}.png"));
            std::fs::write(file, browser.picture(width).await).expect("the folder is writable");
        }
    }
    browser.colours("light").await;
    browser.resize(PHONE).await;
}

/// An administrator who reads this language.
pub(crate) async fn reader(kitchen: &Kitchen, account: &str, language: &str) -> Browser {
    let name = format!("{account} Díaz");
    let arguments = ["accounts", "add", account, "--name", &name, "--role", "administrator", "--by", "Tom"];
    let made = kitchen.site.json(&[&arguments[..], &["--language", language]].concat());
    let mut browser = kitchen.gateway.browser();
    browser.login(account, made["secret"].as_str().expect("a secret")).await;
    assert_eq!(choose(&mut browser, "", PASSWORD).await.status, 303);
    browser
}

/// What people do in a morning: checks of each kind, one of which fails and one of which is amended; an alert
/// answered; a probe under calibration.
async fn morning(kitchen: &mut Kitchen, ana: &mut Browser) {
    kitchen.until_cold();
    kitchen.until(|kitchen| kitchen.site.records().iter().any(|record| record.body.kind() == "alert-raised"));
    for (path, form) in [
        ("/logbook/sanitizer", &[("machine", "bar"), ("strip", "100")][..]),
        ("/logbook/sanitizer", &[("machine", "bar"), ("strip", "10")]),
        ("/logbook/note", &[("machine", "dm1"), ("note", "The left arm drips.\nCalled Acme.")]),
        ("/logbook/drain-and-clean", &[("machine", "dm1"), ("note", "Screen torn")]),
        (
            "/logbook/thermometer",
            &[("what", "dm1/wash"), ("shown", "69"), ("right", "66"), ("reference", "no. 7")],
        ),
        ("/calibrate/dm1/rinse", &[("act", "begin"), ("kind", "ice"), ("announced", "yes")]),
        ("/alerts/1/acknowledge", &[("note", "on my way")]),
        ("/maintenance", &[("machine", "bar"), ("minutes", "60")]),
    ] {
        let answer = ana.post(path, form).await;
        assert!(answer.status == 303 || path == "/maintenance", "{path}: {} {}", answer.status, answer.body);
    }
}

// WCAG 2.2 AA by axe-core; the other bounds are the project's own promises. No page is written down here: whatever a
// link leads to is looked at.
#[tokio::test(flavor = "multi_thread")]
async fn every_page_can_be_read_by_everybody() {
    let mut kitchen = Kitchen::open(1.0);
    let mut english = reader(&kitchen, "ana", "en").await;
    let spanish = reader(&kitchen, "luz", "es").await;
    morning(&mut kitchen, &mut english).await;
    let port = kitchen.site.port;
    let (first, second) =
        tokio::join!(Chromium::open(port, Wish::default()), Chromium::open(port, Wish::default()));
    first.enter_as(&english).await;
    second.enter_as(&spanish).await;
    let (first, second) = tokio::join!(tour(&first, port, "en"), tour(&second, port, "es"));
    let wrong = [first.wrong, second.wrong].concat();
    assert!(wrong.is_empty(), "{}\n{} found", wrong.join("\n"), wrong.len());
    for tour in [&first.kinds, &second.kinds] {
        let missing: Vec<&str> = KINDS.into_iter().filter(|kind| !tour.contains(*kind)).collect();
        assert!(missing.is_empty(), "{missing:?} among {tour:?}");
    }
    let heaviest = first.heaviest.last_key_value().map(|(bytes, _)| *bytes);
    assert!(heaviest.is_some_and(|bytes| bytes > 10_000), "nothing was weighed: {heaviest:?}");
    assert!(kitchen.racks() > 50, "{} racks: the history has no second page", kitchen.racks());
}
