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
use crate::web::fixture::{StillKitchen, person};

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
        let path = path
            .replace("{number}", "3")
            .replace("{check}", "sanitizer")
            .replace("{name}", "dm1")
            .replace("{machine}", "dm1")
            .replace("{probe}", "rinse");
        let path = path.replace("{record}", if path.starts_with("/cycles") { "47" } else { "70" });
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
        "Final rinse &#60;too&#62; cold",
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
    while heard.matches("event: part").count() < 2 {
        let more = body.next().await.expect("the stream goes on").expect("no failure");
        heard.push_str(std::str::from_utf8(&more).expect("text"));
    }
    // A browser gives a page no event without data (HTML standard, «Interpreting an event stream»).
    assert!(heard.starts_with("event: alive\ndata: "), "{heard}");
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
}
