//! Each role at each page of the running program.

use rinseward::core::access::{Right, Role};

use super::gateway::{Gateway, Site, member};

/// Each page and the right that it takes, written down a second time from what is promised of the roles.
const PAGES: [(&str, &str, Right); 37] = [
    ("GET", "/", Right::Look),
    ("GET", "/machines/dm1", Right::Look),
    ("GET", "/cycles/1", Right::Look),
    ("GET", "/cycles/1/proof", Right::Look),
    ("GET", "/history", Right::Look),
    ("GET", "/alerts", Right::Look),
    ("GET", "/alerts/1", Right::Look),
    ("POST", "/alerts/1/acknowledge", Right::Acknowledge),
    ("POST", "/alerts/1/act", Right::Act),
    ("GET", "/logbook", Right::Look),
    ("GET", "/logbook/sanitizer", Right::Enter),
    ("POST", "/logbook/sanitizer", Right::Enter),
    ("GET", "/logbook/entries/1", Right::Look),
    ("POST", "/logbook/entries/1", Right::Amend),
    ("GET", "/more", Right::Look),
    ("GET", "/settings", Right::Settings),
    ("POST", "/settings/test", Right::Act),
    ("GET", "/maintenance", Right::Maintain),
    ("POST", "/maintenance", Right::Maintain),
    ("GET", "/probes", Right::Look),
    ("GET", "/probes/dm1", Right::Look),
    ("GET", "/probes/dm1/sheet", Right::Look),
    ("GET", "/probes/dm1/rinse", Right::Look),
    ("GET", "/prove/dm1", Right::Measure),
    ("POST", "/prove/dm1", Right::Measure),
    ("GET", "/calibrate/dm1/rinse", Right::Measure),
    ("POST", "/calibrate/dm1/rinse", Right::Measure),
    ("GET", "/respond/dm1/rinse", Right::Measure),
    ("POST", "/respond/dm1/rinse", Right::Measure),
    ("GET", "/sign-off/dm1", Right::Measure),
    ("POST", "/sign-off/dm1", Right::Measure),
    ("GET", "/accounts", Right::Accounts),
    ("POST", "/accounts", Right::Accounts),
    ("GET", "/accounts/ann", Right::Accounts),
    ("POST", "/accounts/ann", Right::Accounts),
    ("POST", "/tokens", Right::Accounts),
    ("POST", "/tokens/none", Right::Accounts),
];

// Own promise: each role reaches its pages and no others, and whoever is not logged in reaches none.
#[tokio::test(flavor = "multi_thread")]
async fn each_role_reaches_its_pages_and_no_others() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    for role in Role::ALL {
        let mut browser = member(&site, &gateway, &format!("a-{role}"), role.as_str()).await;
        for (method, path, right) in PAGES {
            let answer =
                if method == "GET" { browser.get(path).await } else { browser.post(path, &[]).await };
            let turned_away = answer.status == 403;
            assert_eq!(turned_away, !role.may(right), "{role} {method} {path}: {}", answer.status);
            assert!(answer.status < 500, "{role} {method} {path}: {}", answer.status);
        }
    }
    let mut stranger = gateway.browser();
    for (method, path, _) in PAGES {
        let answer = if method == "GET" { stranger.get(path).await } else { stranger.post(path, &[]).await };
        let expected = if method == "GET" { 303 } else { 401 };
        assert_eq!(answer.status, expected, "{method} {path}");
    }
    gateway.stop();
}
