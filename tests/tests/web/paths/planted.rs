//! Script that somebody writes into every field there is, and every page on which it comes to stand.

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

use rinseward::core::record::Record;
use serde_json::Value;

use super::browser::Browser;
use super::chromium::{Chromium, Wish};
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
        if path.ends_with("/note") {
            let entry = format!("/logbook/{to}");
            taken(eve, &entry, &[("reason", PLANTED), ("change", "comment")]).await;
        }
    }
    taken(eve, "/alerts/1/acknowledge", &[("note", PLANTED)]).await;
    let cold = kitchen.site.records().into_iter().find_map(|record| match record.body {
        rinseward::core::record::Body::AlertRaised(raised) if raised.condition.as_str() == "cold" => {
            Some(raised.alert.0)
        }
        _ => None,
    });
    let cold = cold.expect("an alert of the cold rack");
    taken(eve, &format!("/alerts/{cold}/acknowledge"), &[("note", PLANTED)]).await;
    taken(eve, &format!("/alerts/{cold}/act"), &[("racks", PLANTED), ("done", PLANTED), ("covers", "1")])
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
    plant(&mut kitchen, &mut eve).await;
    let browser = Chromium::open(kitchen.site.port, Wish::default()).await;
    browser.enter_as(&eve).await;
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
