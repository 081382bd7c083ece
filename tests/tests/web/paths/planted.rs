//! Script that somebody writes into every field there is, and every page on which it comes to stand.

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

use std::process::Command;

use rinseward::core::record::{AccessDeed, AccessRefusal, Body, Record};
use serde_json::Value;

use super::browser::Browser;
use super::chromium::{Chromium, Wish};
use super::desk::{begin, fetched};
use super::gateway::{PASSWORD, choose};
use super::kitchen::Kitchen;
use super::walk::walk;

/// Closes whatever it stands in, and acts in each way that markup can (OWASP, Cross Site Scripting, from memory).
const PLANTED: &str = "\"'>--></title></textarea></script><script>window.planted=1</script>\
    <img src=x onerror=\"window.planted=1\"><svg onload=\"window.planted=1\"><b id=planted>";
/// The same, short enough for a name.
const NAMED: &str = "\"'></title><script>window.planted=1</script><img src=x onerror=window.planted=1>";
/// The same for an account, whose name may not hold «/».
const CALLED: &str = "\"'><img src=x onerror=window.planted=1><svg onload=window.planted=1>";
/// The same for somebody without an account, who says behind the link of a message who they are.
const LINKED: &str = "\"'><img src=x onerror=window.planted=1><b id=planted>";

/// Whether it did anything, whether it stands on the page, and where one can go from there. Asked when the page has
/// loaded, which it has not before its scripts have run and its images have come or failed (HTML standard, «delay the
/// load event»).
const LOOK: &str = "
const done = arguments[arguments.length - 1];
const markup = document.querySelectorAll('img, #planted, [onload], [onerror], script:not([src])').length;
const links = [...document.querySelectorAll('a[href]')].map((one) => one.href);
done({
  acted: window.planted === 1 || markup > 0,
  stands: document.documentElement.outerHTML.includes('window.planted'),
  links,
});
";

/// Sends a form that must be taken.
async fn taken(browser: &mut Browser, path: &str, form: &[(&str, &str)]) -> String {
    let answer = browser.post(path, form).await;
    assert!([200, 303].contains(&answer.status), "{path}: {} {}", answer.status, answer.body);
    answer.location().to_owned()
}

/// The alert of the cold rack.
fn cold(kitchen: &Kitchen) -> u64 {
    let cold = kitchen.site.bodies(&["alert-raised"]).into_iter().find_map(|body| match body {
        Body::AlertRaised(raised) if raised.condition.as_str() == "cold" => Some(raised.alert.0),
        _ => None,
    });
    cold.expect("an alert of the cold rack")
}

/// Looks at the page that is open, on which it must stand.
async fn stands(browser: &Chromium) {
    let found = browser.ask_later(LOOK).await;
    let place = browser.place().await;
    assert_eq!((&found["acted"], &found["stands"]), (&false.into(), &true.into()), "{place}: {found}");
}

/// Writes it into every field behind the link of a message, in the browser of somebody without an account: where it
/// is refused, since nobody is called so, and where it is taken.
async fn plant_behind_a_link(kitchen: &Kitchen, browser: &Chromium) {
    let refused = "nothing was put on record";
    browser.go(&kitchen.link(cold(kitchen), 3_600_000_000)).await;
    browser.fill("Note", PLANTED).await;
    for (name, told) in [(NAMED, refused), (LINKED, "Taken care of by")] {
        browser.fill("Your name", name).await;
        browser.press("I take care of it").await;
        browser.until_shown(told).await;
        stands(browser).await;
    }
    browser.fill("What happened to the racks", PLANTED).await;
    browser.fill("What was done", PLANTED).await;
    for (name, told) in [(NAMED, refused), (LINKED, LINKED)] {
        browser.fill("Your name", name).await;
        browser.press("Put on record").await;
        browser.until_shown(told).await;
        stands(browser).await;
    }
}

/// Types it where one logs in: it is no possible account, and may be a password, so that it is shown nowhere again.
async fn plant_at_the_door(kitchen: &Kitchen, browser: &Chromium) {
    browser.go("/login").await;
    browser.fill("Account", LINKED).await;
    browser.fill("Password", PASSWORD).await;
    browser.press("Log in").await;
    browser.until_shown("Account or password is wrong").await;
    let found = browser.ask_later(LOOK).await;
    assert_eq!((&found["acted"], &found["stands"]), (&false.into(), &false.into()), "{found}");
    // On record, without what was typed.
    kitchen.site.until_told("?", &AccessDeed::Refused(AccessRefusal::Wrong));
}

/// The pages on which stands what was written behind the link: that of its alert, its records, and that of each.
fn linked(kitchen: &Kitchen) -> Vec<String> {
    let alert = cold(kitchen);
    let lines = kitchen.site.lines();
    let written = lines.iter().map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    let by = |line: &Value| line.to_string().contains(Value::from(LINKED).to_string().trim_matches('"'));
    let records = written.enumerate().filter(|(_, line)| by(line)).map(|(index, _)| index);
    let records: Vec<String> = records.map(|index| format!("/history/records/{index}")).collect();
    assert_eq!(records.len(), 2, "taken care of, and acted");
    let lists = [format!("/alerts/{alert}"), format!("/history?show=records&alert={alert}")];
    lists.into_iter().chain(records).collect()
}

/// Without what ends a line on paper, or lets it end.
fn unbroken(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_whitespace() && *letter != '\u{200b}').collect()
}

/// What was written behind the link in the files that are taken away: in the lines as it is, on paper as text, and
/// with nothing beside it that a reader of PDF would do by itself (ISO 32000-2, 12.6: actions).
async fn taken_away(kitchen: &Kitchen, eve: &mut Browser) {
    let job = begin(eve, &[("form", "jsonl")]).await;
    let lines = std::fs::read_to_string(fetched(&kitchen.site, eve, &job).await).expect("text");
    let signed = format!("{LINKED} (link of ana)");
    let lines = lines.lines().map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    let bodies: Vec<Value> = lines.map(|line| line["record"]["body"].clone()).collect();
    let told = |kind: &str| -> Vec<&Value> {
        bodies.iter().map(|body| &body[kind]).filter(|said| said["by"] == signed.as_str()).collect()
    };
    let (taken, acted) = (told("alert-acknowledged"), told("corrective-action"));
    assert!(taken.len() == 1 && taken[0]["note"] == PLANTED, "{taken:?}");
    assert!(acted.len() == 1 && acted[0]["racks"] == PLANTED && acted[0]["done"] == PLANTED, "{acted:?}");
    if cfg!(feature = "pdf") {
        let job = begin(eve, &[("form", "pdf")]).await;
        let report = fetched(&kitchen.site, eve, &job).await;
        let said = |program: &str, arguments: &[&str], end: &[&str]| {
            let output = Command::new(program).args(arguments).arg(&report).args(end).output();
            String::from_utf8_lossy(&output.expect("`tests/all` installs it").stdout).into_owned()
        };
        let text = unbroken(&said("pdftotext", &["-raw"], &["-"]));
        for written in [PLANTED, LINKED] {
            assert!(text.contains(&unbroken(written)), "{written}: {text}");
        }
        let objects = said("qpdf", &["--json", "--json-key=qpdf"], &[]);
        assert!(objects.contains("\"/Catalog\""), "{objects}");
        for acts in ["/OpenAction", "/AA", "/JavaScript", "/JS", "/Launch", "/SubmitForm", "/RichMedia"] {
            assert!(!objects.contains(&format!("\"{acts}\"")), "{acts}");
        }
    }
}

/// Writes it into every field that keeps a text.
async fn plant(kitchen: &mut Kitchen, eve: &mut Browser) {
    for (path, form) in [
        ("/logbook/sanitizer", &[("machine", "bar"), ("strip", "100")][..]),
        ("/logbook/supply", &[("machine", "bar"), ("enough", "no"), ("note", PLANTED)]),
        ("/logbook/drain-and-clean", &[("machine", "dm1"), ("note", PLANTED)]),
        ("/logbook/note", &[("machine", "dm1"), ("note", PLANTED)]),
        (
            "/logbook/thermometer",
            &[("other", NAMED), ("shown", "82"), ("right", "81"), ("reference", NAMED), ("device", "water")],
        ),
    ] {
        let to = taken(eve, path, form).await;
        let entry = format!("/logbook/{to}");
        if path.ends_with("/note") {
            taken(eve, &entry, &[("reason", PLANTED), ("change", "comment")]).await;
        }
        if path.ends_with("/sanitizer") {
            let form = [("reason", PLANTED), ("change", "correct"), ("method", NAMED)];
            taken(eve, &entry, &form).await;
        }
    }
    let cold = cold(kitchen);
    let other = if cold == 1 { 2 } else { 1 };
    taken(eve, &format!("/alerts/{other}/acknowledge"), &[("note", PLANTED)]).await;
    // By a page that showed no rack yet, so that another action can follow.
    taken(eve, &format!("/alerts/{cold}/act"), &[("racks", PLANTED), ("done", PLANTED), ("covers", "0")])
        .await;
    // Whoever looks at a probe is listened for, and what it shows is heard from then on.
    assert_eq!(eve.get("/probes/dm1/rinse").await.status, 200);
    let calibration = "/calibrate/dm1/rinse";
    let bath =
        [("act", "begin"), ("kind", "thermometer"), ("named", NAMED), ("shows", "60"), ("sure", "0.2")];
    taken(eve, calibration, &bath).await;
    taken(eve, calibration, &[("act", "go")]).await;
    kitchen.shows("dm1/rinse", 60.6);
    let limit = std::time::Instant::now() + std::time::Duration::from_secs(30);
    while !eve
        .post(calibration, &[("act", "record"), ("note", PLANTED)])
        .await
        .location()
        .contains("recorded=")
    {
        assert!(std::time::Instant::now() < limit, "{}", eve.get(calibration).await.body);
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    let sign_off = "/sign-off/dm1";
    let page = eve.get(sign_off).await.body;
    let hidden = |name: &str| {
        let rest = page.split_once(&format!("name=\"{name}\" value=\"")).map(|(_, rest)| rest);
        rest.and_then(|rest| rest.split('"').next()).unwrap_or_default().to_owned()
    };
    let (open, mark, rack) = (hidden("open"), hidden("mark"), hidden("rack"));
    let mut signed = vec![("compared", "yes"), ("known", "yes"), ("open", &*open), ("mark", &*mark)];
    signed.push(("note", PLANTED));
    signed.extend((!rack.is_empty()).then_some(("rack", &*rack)));
    taken(eve, sign_off, &signed).await;
    let has_signed = |record: &Record| record.body.kind() == "sign-off";
    assert!(kitchen.site.records().iter().any(has_signed), "it is not on record");
    // Nobody is called as somebody else is.
    let called = format!("{CALLED} too");
    let account = [
        ("account", "mallory"),
        ("name", called.as_str()),
        ("role", "operator"),
        ("language", "en"),
        ("scale", "celsius"),
    ];
    taken(eve, "/accounts", &account).await;
}

// Own promise: what people write is text wherever it is shown; nothing of it becomes markup, and nothing of it acts.
// The site's policy forbids such script besides, which is not looked at here.
#[tokio::test(flavor = "multi_thread")]
async fn what_people_write_never_acts() {
    let mut kitchen = Kitchen::open(0.1);
    let arguments = ["accounts", "add", "eve", "--name", CALLED, "--role", "administrator", "--by", "Tom"];
    let made = kitchen.site.json(&arguments);
    let mut eve = kitchen.gateway.browser();
    eve.login("eve", made["secret"].as_str().expect("a secret")).await;
    assert_eq!(choose(&mut eve, "", PASSWORD).await.status, 303);
    kitchen.until_cold();
    kitchen.until(|kitchen| {
        kitchen.site.records().iter().filter(|record| record.body.kind() == "alert-raised").count() > 1
    });
    let browser = Chromium::open(kitchen.site.port, Wish::default()).await;
    plant(&mut kitchen, &mut eve).await;
    plant_at_the_door(&kitchen, &browser).await;
    plant_behind_a_link(&kitchen, &browser).await;
    browser.enter_as(&eve).await;
    for path in linked(&kitchen) {
        browser.go(&path).await;
        stands(&browser).await;
    }
    taken_away(&kitchen, &mut eve).await;
    let (mut acted, mut stands) = (Vec::new(), 0);
    walk(&browser, kitchen.site.port, LOOK, async |path: &str, found: &Value| {
        if found["acted"] != false {
            acted.push(path.to_owned());
        }
        stands += usize::from(found["stands"] == true);
    })
    .await;
    assert!(acted.is_empty(), "{acted:?}");
    assert!(stands > 20, "it stands on {stands} pages");
    kitchen.gateway.stop();
}
