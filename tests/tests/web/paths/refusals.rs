//! What people see where something is refused, and behind the link of a message: as readable as every other page.

use serde_json::{Value, json};

use super::browser::{Browser, encoded};
use super::chromium::{Chromium, Wish};
use super::gateway::PASSWORD;
use super::kitchen::Kitchen;
use super::looks::{faults, prepare, reader};

/// A page that is asked for, or a form that is sent from a page; the status that the answer has.
type State<'s> = (&'s str, Option<&'s [(&'s str, &'s str)]>, u64);

/// What a stranger meets.
const STRANGER: [State<'static>; 7] = [
    ("/login", None, 200),
    ("/login?mistyped=1", None, 422),
    ("/login", Some(&[("account", "ana"), ("password", "not the password")]), 422),
    ("/login", Some(&[("account", "ana")]), 422),
    ("/logbook/sanitizer", Some(&[("machine", "bar"), ("strip", "100")]), 401),
    ("/alert/AAAA", None, 404),
    ("/alert/%ff", None, 404),
];
/// What somebody meets who may do everything.
const KNOWN: [State<'static>; 21] = [
    ("/nothing/here", None, 404),
    ("/machines/dm9", None, 404),
    ("/history/exports/abc/file", None, 404),
    ("/probes/dm1/sheet?record=zz", None, 422),
    ("/history/in-force?at=zz", None, 422),
    ("/history?from=26.11.2026", None, 422),
    ("/history?from=2026-11-26&to=2026-11-25", None, 422),
    ("/maintenance", Some(&[("machine", "dm1"), ("minutes", "7")]), 422),
    ("/logbook/sanitizer", Some(&[("machine", ""), ("strip", "")]), 422),
    ("/logbook/thermometer", Some(&[]), 422),
    ("/logbook/note", Some(&[("machine", "dm1"), ("note", "")]), 422),
    ("/alerts/1/act", Some(&[("racks", ""), ("done", "")]), 422),
    ("/sign-off/dm1", Some(&[("open", "0")]), 422),
    ("/calibrate/dm1/rinse", Some(&[("act", "begin"), ("kind", "bath"), ("truth", "x")]), 422),
    ("/history/exports", Some(&[("form", "csv"), ("from", "zz"), ("to", "")]), 422),
    (
        "/accounts",
        Some(&[
            ("account", "l/uz"),
            ("name", "Luz"),
            ("role", "operator"),
            ("language", "en"),
            ("scale", "celsius"),
        ]),
        422,
    ),
    (
        "/accounts",
        Some(&[
            ("account", "tok"),
            ("name", "token export"),
            ("role", "operator"),
            ("language", "en"),
            ("scale", "celsius"),
        ]),
        422,
    ),
    ("/accounts", Some(&[("account", "tok")]), 422),
    ("/accounts/nobody", None, 404),
    ("/tokens", Some(&[("token", "t"), ("role", "auditor"), ("days", "9999")]), 422),
    ("/account", Some(&[("deed", "password"), ("current", "x"), ("new", "short"), ("again", "short")]), 422),
];
/// What an operator meets.
const OPERATOR: [State<'static>; 4] = [
    ("/accounts", None, 403),
    ("/settings", None, 403),
    ("/maintenance", Some(&[("machine", "dm1"), ("minutes", "15")]), 403),
    ("/probes", None, 200),
];

/// Comes to such a state, and says what is wrong with what is shown there.
async fn look(browser: &Chromium, who: &str, (path, form, status): State<'_>) -> Vec<String> {
    match form {
        None => browser.go(path).await,
        Some(form) => {
            // From any page of the site, as a browser sends it.
            browser.go("/login").await;
            browser.ask("window.before = true").await;
            let fields: Vec<Value> = form.iter().map(|(name, value)| json!([name, value])).collect();
            let script = format!(
                "const form = document.createElement('form'); form.method = 'post'; form.action = {};
                 for (const [name, value] of {}) {{
                   const field = document.createElement('input');
                   field.type = 'hidden'; field.name = name; field.value = value; form.append(field);
                 }}
                 document.body.append(form); HTMLFormElement.prototype.submit.call(form);",
                json!(path),
                json!(fields)
            );
            browser.ask(&script).await;
            let arrived = "return window.before === undefined && document.readyState === 'complete'";
            browser.until(|| async { browser.ask(arrived).await == true }).await;
        }
    }
    let asked = form.map_or_else(String::new, |form| format!(" {}", encoded(form)));
    let found = browser.ask("return performance.getEntriesByType('navigation')[0].responseStatus").await;
    let mut wrong = faults(browser, "").await;
    if found != status {
        wrong.push(format!("status {found} in place of {status}: {}", browser.text().await));
    }
    wrong.into_iter().map(|one| format!("{who} {path}{asked}: {one}")).collect()
}

/// Somebody of this role.
async fn operator(kitchen: &Kitchen, account: &str, language: &str) -> Browser {
    let name = format!("{account} Ortiz");
    let arguments = ["accounts", "add", account, "--name", &name, "--role", "operator", "--by", "Tom"];
    let made = kitchen.site.json(&[&arguments[..], &["--language", language]].concat());
    let mut browser = kitchen.gateway.browser();
    browser.login(account, made["secret"].as_str().expect("a secret")).await;
    assert_eq!(super::gateway::choose(&mut browser, "", PASSWORD).await.status, 303);
    browser
}

// WCAG 2.2 AA by axe-core and the project's own bounds, as for every page: where a login, a form or an address is
// refused, where a role does not reach, and behind the link of a message, in both languages, light and dark.
#[tokio::test(flavor = "multi_thread")]
async fn every_refusal_can_be_read_by_everybody() {
    let mut kitchen = Kitchen::open(0.1);
    kitchen.until_cold();
    kitchen.until(|kitchen| kitchen.site.records().iter().any(|record| record.body.kind() == "alert-raised"));
    let [link, expired] = [3_600_000_000, -1_000_000].map(|left| kitchen.link(1, left));
    let acknowledged = format!("{link}/acknowledge");
    let acted = format!("{link}/act");
    let linked: [State<'_>; 4] = [
        (&link, None, 200),
        (&expired, None, 410),
        (&acknowledged, Some(&[("name", "")]), 422),
        (&acted, Some(&[("name", "Ana"), ("racks", ""), ("done", ""), ("covers", "1")]), 422),
    ];
    let mut wrong = Vec::new();
    for language in ["en", "es"] {
        let browser = Chromium::open(kitchen.site.port, Wish::default()).await;
        prepare(&browser).await;
        let asked = json!({ "headers": { "Accept-Language": language } });
        browser.chrome("Network.enable", json!({})).await;
        browser.chrome("Network.setExtraHTTPHeaders", asked).await;
        for state in STRANGER.into_iter().chain(linked) {
            wrong.extend(look(&browser, language, state).await);
        }
        browser.enter_as(&operator(&kitchen, &format!("ben-{language}"), language).await).await;
        for state in OPERATOR {
            wrong.extend(look(&browser, language, state).await);
        }
        browser.enter_as(&reader(&kitchen, &format!("ana-{language}"), language).await).await;
        for state in KNOWN {
            wrong.extend(look(&browser, language, state).await);
        }
    }
    assert!(wrong.is_empty(), "{}\n{} found", wrong.join("\n"), wrong.len());
}
