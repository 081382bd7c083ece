use std::sync::Arc;

use axum::body::Body;
use axum::extract::Request;
use axum::http::{StatusCode, header};
use axum::response::Response;
use futures_util::StreamExt;
use tower::ServiceExt;

use super::*;
use crate::core::access::Role;
use crate::core::cycle::verdict::Verdict;
use crate::core::reader::Language;
use crate::web::access::{Access, Options, PAGES, protect};
use crate::web::fixture::{StillKitchen, person, visit};

fn ask(path: &str, person: Option<Person>) -> Request {
    let mut request =
        Request::get(path).header(header::ACCEPT, "text/html").body(Body::empty()).expect("a request");
    if let Some(person) = person {
        request.extensions_mut().insert(person);
    }
    request
}

async fn send(method: &Method, path: &str, person: Option<Person>) -> Response {
    let mut request = ask(path, person);
    *request.method_mut() = method.clone();
    site(StillKitchen::new().pages()).oneshot(request).await.expect("it never fails")
}

async fn get(path: &str, person: Option<Person>) -> Response {
    let site = site(StillKitchen::new().pages());
    site.oneshot(ask(path, person)).await.expect("it never fails")
}

async fn text(response: Response) -> String {
    let bytes = axum::body::to_bytes(response.into_body(), 1 << 20).await.expect("a body");
    String::from_utf8(bytes.to_vec()).expect("text")
}

// Own promise: nobody sees a page without being known; each role sees what its rights say, and no more.
#[tokio::test]
async fn each_role_sees_its_own_pages() {
    for Route { path, method, right, .. } in routes::<StillKitchen>() {
        let path = known(path);
        let unknown = send(&method, &path, None).await;
        if method == Method::GET {
            assert_eq!(unknown.status(), StatusCode::SEE_OTHER, "{path}");
            let to = unknown.headers()[header::LOCATION].to_str().expect("text");
            assert!(
                to.split('?').next().is_some_and(|to| to.ends_with("login")) && !to.starts_with('/'),
                "{path} leads to {to}"
            );
        } else {
            assert_eq!(unknown.status(), StatusCode::UNAUTHORIZED, "{path}");
        }
        for role in Role::ALL {
            let seen = send(&method, &path, Some(person(role, Language::English))).await;
            let forbidden = seen.status() == StatusCode::FORBIDDEN;
            assert_eq!(forbidden, !role.may(right), "{role} at {path}: {}", seen.status());
        }
    }
}

/// A path of the router with something that the made-up kitchen knows in each of its places.
fn known(path: &str) -> String {
    let path = path
        .replace("{number}", "3")
        .replace("{check}", "sanitizer")
        .replace("{name}", "dm1")
        .replace("{machine}", "dm1")
        .replace("{probe}", "rinse");
    path.replace("{record}", if path.starts_with("/cycles") { "47" } else { "70" })
}

// Own promise: what is asked behind the `?` of any page is understood or refused by its name, and no page answers
// as if nothing had been asked.
#[tokio::test]
async fn no_page_passes_over_a_question() {
    let mut tried = 0;
    for Route { path, .. } in routes::<StillKitchen>().iter().filter(|route| route.method == Method::GET) {
        let path = known(path);
        for (query, name) in [("mistyped=1", "mistyped"), ("%3Cb%3E=", "&#60;b&#62;")] {
            let asked = format!("{path}?{query}");
            let answer = get(&asked, Some(person(Role::Administrator, Language::Spanish))).await;
            assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{asked}");
            let page = text(answer).await;
            let said = format!("La dirección da «{name}», que esta página no conoce");
            assert!(page.contains(&said) && page.contains("lang=\"es\""), "{asked}: {page}");
            tried += 1;
        }
        // An empty question is none.
        let answer = get(&format!("{path}?"), Some(person(Role::Administrator, Language::Spanish))).await;
        assert_ne!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{path}");
    }
    assert!(tried > 60, "{tried}");
    // Those of access are beside them, and a stranger is led to the login first.
    let directory = tempfile::tempdir().expect("a directory");
    let (site, zone) = ("North kitchen".to_owned(), jiff::tz::TimeZone::UTC);
    let options = Options { site, zone, tls: false, behind_proxy: false, public_url: None, port: 0 };
    let path = directory.path().join("access");
    let access = Access::open(&path, options, || crate::web::fixture::NOW).expect("a store");
    for path in PAGES.map(|path| path.replace("{account}", "ana")) {
        for (query, name) in [("mistyped=1", "mistyped"), ("to=account&%3Cb%3E=", "&#60;b&#62;")] {
            for known in [true, false] {
                let known_person = known.then(|| person(Role::Administrator, Language::Spanish));
                let answer = protected(&access, &format!("{path}?{query}"), known_person).await;
                if !known && path != "/login" {
                    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{path}?{query}");
                    continue;
                }
                assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{path}?{query}");
                let page = text(answer).await;
                let said = format!("La dirección da «{name}», que esta página no conoce");
                assert!(page.contains(&said) && page.contains("lang=\"es\""), "{path}?{query}: {page}");
            }
        }
        let answer = protected(&access, &format!("{path}?"), None).await;
        assert_ne!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{path}");
    }
    for (query, status) in [
        ("to=machines/dm1", StatusCode::OK),
        ("to=", StatusCode::OK),
        ("to=//evil.example", StatusCode::UNPROCESSABLE_ENTITY),
        ("to=account&to=account", StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        assert_eq!(protected(&access, &format!("/login?{query}"), None).await.status(), status, "{query}");
    }
}

// Own promise: whoever is not logged in is shown the way to the login, and from there back to the page that the form
// was on; never to elsewhere (OWASP, Unvalidated Redirects and Forwards Cheat Sheet, from memory).
#[tokio::test]
async fn whoever_is_not_logged_in_is_shown_the_way_there_and_back() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let (site_name, zone) = ("North kitchen".to_owned(), jiff::tz::TimeZone::UTC);
    let options =
        Options { site: site_name, zone, tls: false, behind_proxy: false, public_url: None, port: 0 };
    let path = directory.path().join("access");
    let access = Access::open(&path, options, || crate::web::fixture::NOW).expect("a store");
    let refused = async |path: &str| {
        let kitchen = StillKitchen::new().pages();
        let request = Request::post(path).header(header::HOST, "127.0.0.1");
        let request = request.header("sec-fetch-site", "same-origin");
        let request = request.header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        let mut request = request.body(Body::empty()).expect("a request");
        request.extensions_mut().insert(Arc::clone(&kitchen.site));
        protect(site(kitchen), &access).oneshot(request).await.expect("it never fails")
    };
    let seen: Vec<&str> = routes::<StillKitchen>()
        .iter()
        .filter(|route| route.method == Method::GET)
        .map(|route| route.path)
        .chain(PAGES)
        .collect();
    // A `public-url` that ends in a page was copied from the line of the browser, and is told so.
    for path in seen.iter().filter(|path| path.len() > 1 && !path.starts_with("/live")) {
        let first = path.split('/').nth(1).expect("an absolute path");
        assert!(crate::config::check::OWN_PATHS.contains(&first), "{path}");
    }
    for route in routes::<StillKitchen>().iter().filter(|route| route.method == Method::POST) {
        assert!(seen.contains(&crate::web::access::page_of(route.path)), "{}", route.path);
    }
    for (path, login) in [
        ("/logbook/sanitizer", "../login?to=logbook%2Fsanitizer"),
        ("/alerts/3/act", "../../login?to=alerts%2F3"),
        ("/settings/test", "../login?to=settings"),
        ("/logbook/entries/7/comment", "../../../login?to=logbook%2Fentries%2F7"),
        ("/tokens/export", "../login?to=accounts"),
        ("/sign-off/act", "../login?to=sign-off%2Fact"),
        ("/calibrate/test/end", "../../login?to=calibrate%2Ftest%2Fend"),
        ("//evil.example/x", "../../login\""),
        ("/https:%2f%2fevil.example", "./login\""),
        ("/a/%2e%2e/x", "../../login\""),
    ] {
        let answer = refused(path).await;
        assert_eq!(answer.status(), StatusCode::UNAUTHORIZED, "{path}");
        let page = text(answer).await;
        assert!(page.contains(&format!("<a class=\"button\" href=\"{login}")), "{path}: {page}");
    }
}

/// The site with its pages of access, asked by a browser that reads Spanish.
async fn protected(access: &Arc<Access>, path: &str, person: Option<Person>) -> Response {
    let kitchen = StillKitchen::new().pages();
    let mut request = ask(path, person);
    request.extensions_mut().insert(Arc::clone(&kitchen.site));
    for (name, value) in [(header::HOST, "127.0.0.1"), (header::ACCEPT_LANGUAGE, "es")] {
        request.headers_mut().insert(name, header::HeaderValue::from_static(value));
    }
    protect(site(kitchen), access).oneshot(request).await.expect("it never fails")
}

// The list that the tests of the running program go by: a page that is added is one more that they must try.
#[test]
fn the_list_of_pages_is_as_agreed() {
    let line = |route: &Route<StillKitchen>| format!("{} {} {:?}\n", route.method, route.path, route.right);
    let found: String = routes().iter().map(line).collect();
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/pages.txt");
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(&path, &found).expect("the golden file is writable");
    }
    let kept = std::fs::read_to_string(&path).expect("a golden file; UPDATE_GOLDEN=1 writes it");
    assert_eq!(found, kept, "pages.txt; UPDATE_GOLDEN=1 rewrites it");
}

// Own promise: the last verdict stands in words beside its sign, with what was measured against the
// limit, and a machine without data says so.
#[tokio::test]
async fn the_first_page_says_how_each_machine_is() {
    let page = text(get("/", Some(person(Role::Operator, Language::English))).await).await;
    for said in [
        "COLD",
        "79.4 °C",
        "limit 82.2 °C",
        "120 s",
        "NO DATA",
        "Alert 3: Too &#60;cold&#62;",
        "1 rack affected · nobody takes care of it now</span>",
        "2 min ago",
    ] {
        let wanted = said != "120 s";
        assert_eq!(page.contains(said), wanted, "{said}: {page}");
    }
    let spanish = text(get("/", Some(person(Role::Operator, Language::Spanish))).await).await;
    assert!(
        spanish.contains("FRÍA") && spanish.contains("SIN DATOS") && spanish.contains("lang=\"es\""),
        "{spanish}"
    );
}

// Own promise: an address that leads nowhere says so in the site's own words, whatever stands in it.
#[tokio::test]
async fn an_unknown_address_is_told() {
    for path in ["/nothing", "/assets/x/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/machines/%00"] {
        let answer = get(path, Some(person(Role::Manager, Language::English))).await;
        assert_eq!(answer.status(), StatusCode::NOT_FOUND, "{path}");
    }
}

// Own promise: an open page is told of a new rack without asking again, and only of what changed.
#[tokio::test]
async fn an_open_page_is_told_of_what_changes() {
    let kitchen = StillKitchen::new();
    let site = site(kitchen.pages());
    let answer = site
        .oneshot(ask("/live", Some(person(Role::Auditor, Language::English))))
        .await
        .expect("it never fails");
    let mut body = answer.into_body().into_data_stream();
    let mut heard = String::new();
    while heard.matches("event: part").count() < 3 {
        let more = body.next().await.expect("the stream goes on").expect("no failure");
        heard.push_str(std::str::from_utf8(&more).expect("text"));
    }
    // A browser gives a page no event without data (HTML standard, «Interpreting an event stream»).
    assert!(heard.starts_with("event: reader\ndata: en celsius\n\nevent: alive\ndata: "), "{heard}");
    assert_eq!(heard.matches("event: ").count(), heard.matches("\n\n").count(), "{heard}");
    assert!(heard.split("\n\n").all(|event| event.is_empty() || event.contains("\ndata: ")), "{heard}");
    kitchen.glances.send_modify(|glances| {
        glances[0].last.as_mut().expect("a rack").verdict = Verdict::Pass;
    });
    kitchen.beat.send_modify(|beat| *beat += 1);
    heard.clear();
    while !heard.contains("</article>") {
        let more = body.next().await.expect("the stream goes on").expect("no failure");
        heard.push_str(std::str::from_utf8(&more).expect("text"));
    }
    assert!(heard.contains("PASS") && heard.contains("machine-0") && !heard.contains("machine-1"), "{heard}");
    // A good rack closes no alert: how the machine stands is told apart from its last rack.
    assert!(heard.contains("tells-bad") && heard.contains("Alert open: 1 rack to wash again"), "{heard}");
    kitchen.glances.send_modify(|glances| glances[0].alerts.clear());
    kitchen.beat.send_modify(|beat| *beat += 1);
    heard.clear();
    while !heard.contains("</article>") {
        let more = body.next().await.expect("the stream goes on").expect("no failure");
        heard.push_str(std::str::from_utf8(&more).expect("text"));
    }
    assert!(heard.contains("id=\"lead\"") && heard.contains("tells-good"), "{heard}");
}

/// The site as it is served: with the rule for refusals that have no page.
async fn served(method: &Method, path: &str, form: &str, person: Option<Person>) -> Response {
    let kitchen = StillKitchen::new().pages();
    let mut request = ask(path, person);
    *request.method_mut() = method.clone();
    request.extensions_mut().insert(std::sync::Arc::clone(&kitchen.site));
    let kind = header::HeaderValue::from_static("application/x-www-form-urlencoded");
    request.headers_mut().insert(header::CONTENT_TYPE, kind);
    let request = request.map(|_| Body::from(form.to_owned()));
    let site = site(kitchen).layer(middleware::from_fn(super::super::explained::explained));
    site.oneshot(request).await.expect("it never fails")
}

// Own promise: whatever stands in an address, a question or a form, a person gets a page of the site in their own
// language, a program a problem of RFC 9457; nobody gets words of a library, or nothing.
#[tokio::test]
async fn no_refusal_is_without_words_of_ours() {
    let odd = ["abc", "%ff", "%00", "-1", "99999999999999999999"];
    let mut tried = 0;
    for Route { path, method, .. } in routes::<StillKitchen>() {
        let mut paths = vec![format!("{path}?record=zz&before=zz&at=%ff&shape=%ff&day=zz&%ff=%ff")];
        for odd in odd {
            let parts = path.split('/').map(|part| if part.starts_with('{') { odd } else { part });
            paths.push(parts.collect::<Vec<_>>().join("/"));
        }
        for path in paths.iter().map(|path| path.replace(['{', '}'], "")) {
            for form in ["", "minutes=7&machine=dm1", "minutes=x", "%ff=%ff&note=%ff", "deed"] {
                let person = person(Role::Administrator, Language::Spanish);
                let answer = served(&method, &path, form, Some(person)).await;
                if !(answer.status().is_client_error() || answer.status().is_server_error()) {
                    continue;
                }
                let told = format!("{method} {path} {form}: {}", answer.status());
                let page = text(answer).await;
                assert!(page.contains("lang=\"es\"") && page.contains("<h1>"), "{told} {page}");
                tried += 1;
            }
        }
    }
    assert!(tried > 200, "{tried}");
    for (method, path, status) in [
        (Method::GET, "/assets/x/x", 404),
        (Method::GET, "/assets/%ff/x", 404),
        (Method::GET, "/history/exports/abc/file", 404),
        (Method::GET, "/probes/dm1/sheet?record=zz", 422),
        (Method::POST, "/maintenance", 422),
        (Method::DELETE, "/alerts", 404),
    ] {
        for (language, known) in
            [(Language::English, true), (Language::Spanish, true), (Language::English, false)]
        {
            let person = known.then(|| person(Role::Administrator, language));
            let answer = served(&method, path, "minutes=7&machine=dm1", person).await;
            let found = answer.status().as_u16();
            if !known && (300..400).contains(&found) {
                continue;
            }
            assert_eq!(found, if known || path.starts_with("/assets") { status } else { 401 }, "{path}");
            let page = text(answer).await;
            let lang = if language == Language::Spanish { "lang=\"es\"" } else { "lang=\"en\"" };
            assert!(page.contains(lang) && page.contains("<h1>"), "{path} {known}: {page}");
            assert!(!page.contains("aria-current"), "{path}: no tab is current: {page}");
        }
    }
    for path in ["/api/v1/nothing", "/api/v1/alerts/%ff", "/api/v1/alerts?limit=%ff", "/api/v2", "/health/x"]
    {
        for method in [Method::GET, Method::POST, Method::DELETE] {
            let answer =
                served(&method, path, "", Some(person(Role::Administrator, Language::English))).await;
            let told = format!("{method} {path}: {}", answer.status());
            assert!(answer.status().is_client_error(), "{told}");
            if path.starts_with("/api") {
                let kind =
                    answer.headers().get(header::CONTENT_TYPE).map(|kind| kind.to_str().expect("text"));
                assert_eq!(kind, Some("application/problem+json"), "{told}");
            }
        }
    }
}

// HTML standard, «Link type "icon"»: a browser asks by itself, also before anybody has logged in.
#[tokio::test]
async fn the_icon_is_there_for_everybody() {
    let answer = get("/favicon.ico", None).await;
    assert_eq!(
        (answer.status(), &answer.headers()[header::CONTENT_TYPE]),
        (StatusCode::OK, &header::HeaderValue::from_static("image/svg+xml"))
    );
    assert!(text(answer).await.starts_with("<svg"));
}

// Own promise: the pages that ask nothing of the kitchen show the open alerts too, as they were counted last.
#[tokio::test]
async fn a_refusal_shows_the_open_alerts() {
    let kitchen = StillKitchen::new();
    let pages = kitchen.pages();
    let open = pages.open().await;
    assert!(open > 0, "the made-up kitchen has some");
    let answer = site(pages).oneshot(ask("/nothing", Some(person(Role::Manager, Language::English)))).await;
    let page = text(answer.expect("it never fails")).await;
    assert!(page.contains(&format!("<title>({open}) ")) && !page.contains("aria-current"), "{page}");
}

// Own promise: who is refused a page reads which roles may open it.
#[tokio::test]
async fn a_page_that_is_refused_names_the_roles_that_may() {
    let kitchen = StillKitchen::new();
    for (path, language, said) in [
        (
            "/maintenance",
            Language::English,
            "This page: not by your role (operator). Ask: manager, technician,",
        ),
        (
            "/calibrate/dm1/rinse",
            Language::Spanish,
            "Esta página: su función (operador) no lo permite. Pídalo a: técnico",
        ),
    ] {
        let (status, page) = visit::get(&kitchen, path, Role::Operator, language).await;
        assert!(status == StatusCode::FORBIDDEN && page.contains(said), "{path}: {page}");
    }
}
