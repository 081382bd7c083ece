//! An open front page follows what others enter.

use std::sync::atomic::Ordering;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, BodyDataStream};
use axum::extract::Request;
use axum::http::{StatusCode, header};
use futures_util::StreamExt;
use tower::ServiceExt;

use crate::core::access::Role;
use crate::core::reader::Language;
use crate::web::fixture::{StillKitchen, person};
use crate::web::router::site;

/// A site at which several people look at the same time.
struct Looked {
    kitchen: StillKitchen,
    site: Router,
}

impl Looked {
    fn new() -> Self {
        let kitchen = StillKitchen::new();
        let site = site(kitchen.pages());
        Self { kitchen, site }
    }

    async fn ask(&self, mut request: Request, role: Role, language: Language) -> (StatusCode, Body) {
        request.extensions_mut().insert(person(role, language));
        let answer = self.site.clone().oneshot(request).await.expect("it never fails");
        (answer.status(), answer.into_body())
    }

    async fn open(&self, role: Role, language: Language) -> BodyDataStream {
        let request = Request::get("/live/logbook").body(Body::empty()).expect("a request");
        let (status, body) = self.ask(request, role, language).await;
        assert_eq!(status, StatusCode::OK);
        body.into_data_stream()
    }

    async fn page(&self, role: Role) -> String {
        let request = Request::get("/logbook").body(Body::empty()).expect("a request");
        let (_, body) = self.ask(request, role, Language::English).await;
        let bytes = axum::body::to_bytes(body, 1 << 20).await.expect("a body");
        String::from_utf8(bytes.to_vec()).expect("text")
    }

    async fn enter(&self, note: &str) {
        let form = Body::from(format!("machine=dm1&enough=no&note={note}"));
        let kind = "application/x-www-form-urlencoded";
        let request = Request::post("/logbook/supply").header(header::CONTENT_TYPE, kind).body(form);
        let (status, _) = self.ask(request.expect("a request"), Role::Operator, Language::English).await;
        assert_eq!(status, StatusCode::SEE_OTHER);
        self.kitchen.beat.send_modify(|beat| *beat += 1);
    }
}

/// What a stream says until it says this.
async fn heard(stream: &mut BodyDataStream, wanted: &str) -> String {
    let mut heard = String::new();
    while !heard.contains(wanted) {
        let more = stream.next().await.expect("it goes on").expect("no failure");
        heard.push_str(std::str::from_utf8(&more).expect("text"));
    }
    heard
}

// Own promise: what one enters stands on the open pages of all others within seconds, in their words and with the links
// of those who may enter something; whoever opens the page sees it at once, and no page goes back to before.
#[tokio::test(start_paused = true)]
async fn what_one_enters_stands_on_the_pages_of_others() {
    let looked = Looked::new();
    let page = looked.page(Role::Operator).await;
    let live =
        page.split_once("data-live=\"./live/logbook\"").and_then(|(_, live)| live.split_once("</main>"));
    // Nothing is replaced in which somebody types.
    assert!(live.is_some_and(|(live, _)| !live.contains("<form")), "{page}");
    let mut operator = looked.open(Role::Operator, Language::English).await;
    let first = heard(&mut operator, "id=\"entered\"").await;
    assert!(first.contains("event: count") && first.contains("data-say=\"Due: 2\""), "{first}");
    assert!(first.contains("href=\"logbook/sanitizer?machine=dm2\"") && !first.contains("gloves"), "{first}");
    let mut auditor = looked.open(Role::Auditor, Language::Spanish).await;
    let first = heard(&mut auditor, "id=\"entered\"").await;
    assert!(first.contains("data-say=\"Pendiente: 2\""), "{first}");
    assert!(!first.contains("href=\"logbook/sanitizer"), "{first}");
    let mut colleague = looked.open(Role::Auditor, Language::English).await;
    let first = heard(&mut colleague, "id=\"entered\"").await;
    assert!(first.contains("data-say=\"Due: 2\"") && !first.contains("href=\"logbook/sanitizer"), "{first}");
    looked.enter("gloves").await;
    assert!(looked.page(Role::Operator).await.contains("gloves"), "whoever opens it sees it");
    for stream in [&mut operator, &mut auditor, &mut colleague] {
        let told = heard(stream, "gloves").await;
        assert!(told.contains("event: part") && told.contains("data-say="), "{told}");
    }
    for _ in 0..3 {
        looked.kitchen.beat.send_modify(|beat| *beat += 1);
        // No beat goes back.
        for stream in [&mut operator, &mut auditor, &mut colleague] {
            let told = heard(stream, "event: alive").await;
            assert!(!told.contains("id=\"entered\"") || told.contains("gloves"), "{told}");
        }
    }
    tokio::time::advance(Duration::from_secs(3)).await;
    let mut later = looked.open(Role::Operator, Language::English).await;
    assert!(heard(&mut later, "id=\"entered\"").await.contains("gloves"));
}

// Own promise: a page that cannot be told what is due is not told either that it is of now, and is told again by itself
// once that can be read.
#[tokio::test(start_paused = true)]
async fn a_logbook_that_cannot_be_read_is_not_alive() {
    let looked = Looked::new();
    let mut stream = looked.open(Role::Operator, Language::English).await;
    heard(&mut stream, "id=\"entered\"").await;
    looked.kitchen.desk.is_shut.store(true, Ordering::Relaxed);
    tokio::time::advance(Duration::from_secs(3)).await;
    let silent = heard(&mut stream, ": not now").await;
    assert!(!silent.contains("event:"), "{silent}");
    looked.kitchen.desk.is_shut.store(false, Ordering::Relaxed);
    looked.enter("gloves").await;
    assert!(heard(&mut stream, "gloves").await.contains("event: alive"));
}
