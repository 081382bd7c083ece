//! Each role at each page of the running program.

use rinseward::core::access::{Right, Role};

use super::browser::Browser;
use super::gateway::{Gateway, Site, member};

/// The router's own list, each line a method, a path and a right.
const LISTED: &str = include_str!("../../golden/pages.txt");

/// Each page and the right that it takes, written down a second time from what is promised of the roles.
const PAGES: [(&str, &str, Right); 62] = [
    ("GET", "/", Right::Look),
    ("GET", "/live", Right::Look),
    ("GET", "/machines/dm1", Right::Look),
    ("GET", "/machines/dm1/live", Right::Look),
    ("GET", "/cycles/1", Right::Look),
    ("GET", "/cycles/1/proof", Right::Look),
    ("GET", "/history", Right::Look),
    ("GET", "/history/in-force", Right::Look),
    ("GET", "/history/records/1", Right::Look),
    ("GET", "/history/integrity", Right::Look),
    ("POST", "/history/integrity", Right::Export),
    ("GET", "/history/key", Right::Look),
    ("GET", "/history/checkpoint", Right::Look),
    ("GET", "/history/exports", Right::Export),
    ("POST", "/history/exports", Right::Export),
    ("GET", "/history/exports/1", Right::Export),
    ("POST", "/history/exports/1/end", Right::Export),
    ("GET", "/history/exports/1/file", Right::Export),
    ("GET", "/live/integrity", Right::Look),
    ("GET", "/live/exports/1", Right::Export),
    ("GET", "/alerts", Right::Look),
    ("GET", "/alerts/1", Right::Look),
    ("POST", "/alerts/1/acknowledge", Right::Acknowledge),
    ("POST", "/alerts/1/act", Right::Act),
    ("GET", "/live/alerts", Right::Look),
    ("GET", "/live/alerts/1", Right::Look),
    ("GET", "/logbook", Right::Look),
    ("GET", "/live/logbook", Right::Look),
    ("GET", "/logbook/sanitizer", Right::Enter),
    ("POST", "/logbook/sanitizer", Right::Enter),
    ("GET", "/logbook/entries/1", Right::Look),
    ("POST", "/logbook/entries/1", Right::Amend),
    ("POST", "/logbook/entries/1/own", Right::Enter),
    ("POST", "/logbook/entries/1/comment", Right::Enter),
    ("GET", "/more", Right::Look),
    ("GET", "/settings", Right::Settings),
    ("POST", "/settings/test", Right::Act),
    ("GET", "/maintenance", Right::Maintain),
    ("POST", "/maintenance", Right::Maintain),
    ("GET", "/probes", Right::Look),
    ("GET", "/probes/dm1", Right::Look),
    ("GET", "/probes/dm1/sheet", Right::Look),
    ("GET", "/probes/dm1/rinse", Right::Look),
    ("GET", "/live/probes", Right::Look),
    ("GET", "/live/probes/dm1", Right::Look),
    ("GET", "/live/probes/dm1/rinse", Right::Look),
    ("GET", "/live/attempt/dm1", Right::Measure),
    ("GET", "/live/attempt/dm1/rinse", Right::Measure),
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

/// Whether a path is one of a route.
fn is_of(path: &str, route: &str) -> bool {
    let fits = |(part, of): (&str, &str)| part == of || of.starts_with('{');
    path.split('/').count() == route.split('/').count() && path.split('/').zip(route.split('/')).all(fits)
}

/// The route of the list that names most of a path, as the router chooses it.
fn closest(method: &str, path: &str) -> &'static str {
    let routes = LISTED.lines().filter_map(|line| line.strip_prefix(method)?.trim_start().split(' ').next());
    let fits = routes.filter(|route| is_of(path, route));
    fits.min_by_key(|route| route.matches('{').count()).expect("one fits")
}

// No page may be left out of the list above, and none may take another right than it says there.
#[test]
fn every_page_of_the_router_is_tried() {
    for line in LISTED.lines() {
        let [method, route, right] = line.split(' ').collect::<Vec<_>>()[..] else { panic!("{line}") };
        let tried = PAGES.iter().filter(|(how, path, _)| *how == method && is_of(path, route));
        // A path fits the route that names more of it: `/probes/dm1/sheet` is none of `/probes/{machine}/{probe}`.
        let tried: Vec<_> = tried.filter(|(_, path, _)| closest(method, path) == route).collect();
        assert!(!tried.is_empty(), "nobody tries {line}");
        for (_, path, wanted) in tried {
            assert_eq!(format!("{wanted:?}"), right, "{method} {path}");
        }
    }
}

async fn asked(browser: &mut Browser, method: &str, path: &str) -> u16 {
    if method == "GET" { browser.status(path).await } else { browser.post(path, &[]).await.status }
}

// Own promise: each role reaches its pages and no others, and whoever is not logged in reaches none.
#[tokio::test(flavor = "multi_thread")]
async fn each_role_reaches_its_pages_and_no_others() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    for role in Role::ALL {
        let mut browser = member(&site, &gateway, &format!("a-{role}"), role.as_str()).await;
        for (method, path, right) in PAGES {
            let status = asked(&mut browser, method, path).await;
            assert_eq!(status == 403, !role.may(right), "{role} {method} {path}: {status}");
            assert!(status < 500, "{role} {method} {path}: {status}");
        }
    }
    let mut stranger = gateway.browser();
    for (method, path, _) in PAGES {
        let expected = if method == "GET" { 303 } else { 401 };
        assert_eq!(asked(&mut stranger, method, path).await, expected, "{method} {path}");
    }
    gateway.stop();
}
