//! The pages as a browser, a mail scanner and a stranger meet them.

use std::net::Ipv4Addr;
use std::sync::{Arc, Mutex};

use reqwest::redirect::Policy;
use reqwest::{Client, Response, StatusCode};
use tower::ServiceExt;

use super::super::sheet::{Action, LeftOut, Sheet, Standing};
use super::*;
use crate::core::reader::Language;
use crate::web::access::Options;

const NOW: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

/// One alert, number 7, kept in memory.
#[derive(Clone)]
struct Kitchen(Arc<Mutex<(Sheet, Vec<Deed>)>>);

impl Kitchen {
    fn new() -> Self {
        Self(Arc::new(Mutex::new((sheet(), Vec::new()))))
    }

    fn keep(&self, deed: Deed) -> Result<(), Refused> {
        let mut kept = self.0.lock().expect("no holder panics");
        match &deed {
            Deed::Acknowledge { by, .. } => {
                kept.0.standing = Standing::Acknowledged { by: by.clone(), at: "12:41".to_owned() };
            }
            Deed::Act { by, racks, done, .. } => {
                let (by, racks, done) = (by.clone(), racks.clone(), done.clone());
                kept.0.action = Some(Action { by, racks, done });
            }
        }
        kept.1.push(deed);
        Ok(())
    }

    /// A rack that came after the action.
    fn one_more(&self, at: &str) {
        let mut kept = self.0.lock().expect("no holder panics");
        kept.0.racks += 1;
        kept.0.left_out = Some(LeftOut { count: 1, last: Some(at.to_owned()) });
    }

    fn deeds(&self) -> Vec<Deed> {
        self.0.lock().expect("no holder panics").1.clone()
    }
}

impl Alerts for Kitchen {
    async fn show(&self, link: Link) -> Result<Sheet, Refused> {
        let sheet = self.0.lock().expect("no holder panics").0.clone();
        std::future::ready(if link.alert == 7 { Ok(sheet) } else { Err(Refused::Unknown) }).await
    }

    async fn act(&self, _: Link, deed: Deed) -> Result<(), Refused> {
        let kept = self.keep(deed);
        std::future::ready(kept).await
    }
}

fn sheet() -> Sheet {
    let fact = |label: &str, value: &str| (label.to_owned(), value.to_owned());
    Sheet {
        language: Language::English,
        site: "North <kitchen>".to_owned(),
        number: 7,
        headline: "dm1: final rinse 71.3 °C, limit 82.2 °C".to_owned(),
        facts: vec![
            fact("Measured", "71.3 °C against 82.2 °C at the least"),
            fact("Since", "12:38, first rack after 40 s idle"),
            fact("Racks affected", "3, since the last good one at 12:36"),
        ],
        steps: vec![
            "Hold these racks. Wash them again once the final rinse is back at its limit.".to_owned(),
            "Run one empty rack and see whether the rinse recovers.".to_owned(),
            "If it stays cold: stop the machine and call service.".to_owned(),
        ],
        cautions: vec!["Rinse water scalds at once. Never reach into a running machine.".to_owned()],
        standing: Standing::Waiting,
        needs_action: true,
        listed: vec![("Wed 25 Nov 2026, 12:38 EST".to_owned(), "cold".to_owned())],
        racks: 3,
        left_out: None,
        action: None,
        reader: "Ana".to_owned(),
    }
}

/// Pages at work, and the ways to them.
struct Site {
    address: String,
    key: LinkKey,
    kitchen: Kitchen,
    client: Client,
    _stop: tokio_util::sync::DropGuard,
    _directory: tempfile::TempDir,
}

impl Site {
    async fn open() -> Self {
        Self::of(false).await
    }

    async fn of(simulated: bool) -> Self {
        // An error says that a provider is installed already.
        drop(rustls::crypto::ring::default_provider().install_default());
        let directory = tempfile::tempdir().expect("a temporary directory");
        let key = LinkKey::load_or_make(&directory.path().join("key")).expect("a key");
        let kitchen = Kitchen::new();
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.expect("loopback");
        let address = format!("http://{}", listener.local_addr().expect("bound"));
        let stop = CancellationToken::new();
        let (site, zone) = ("North kitchen".to_owned(), jiff::tz::TimeZone::UTC);
        let known = Arc::new(crate::web::frame::Site::new(site.clone(), simulated, || NOW));
        let options = Options { site, zone, tls: false, behind_proxy: false, public_url: None, port: 0 };
        let access = Access::open(&directory.path().join("access"), options, || NOW).expect("a store");
        let front = Front { access, identity: None, site: known };
        let (alerts, stopped) = (kitchen.clone(), stop.clone());
        let serving = serve(listener, front, key.clone(), alerts, || NOW, axum::Router::new(), stopped);
        let mut tasks = tokio::task::JoinSet::new();
        tasks.spawn(serving);
        tasks.detach_all();
        let client = Client::builder().redirect(Policy::none()).no_proxy().build().expect("a client");
        Self { address, key, kitchen, client, _stop: stop.drop_guard(), _directory: directory }
    }

    fn link(&self, alert: u64, seconds: i64) -> String {
        let expires = Timestamp::from_micros(NOW.micros() + seconds * 1_000_000);
        let link = Link { alert, contact: "ana".to_owned(), expires };
        format!("{}/alert/{}", self.address, self.key.token(&link))
    }

    async fn get(&self, url: &str) -> Response {
        self.client.get(url).send().await.expect("an answer")
    }

    async fn post(&self, url: &str, headers: &[(&str, &str)], form: &str) -> Response {
        let mut request = self.client.post(url).body(form.to_owned());
        request = request.header("content-type", "application/x-www-form-urlencoded");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.send().await.expect("an answer")
    }
}

// A mail scanner follows links by GET and HEAD (RFC 9110 §9.2.1: safe methods); nobody may be
// taken to have answered by that.
#[tokio::test]
async fn opening_acts_on_nothing_and_the_button_does() {
    let site = Site::open().await;
    let link = site.link(7, 3600);
    let response = site.get(&link).await;
    assert_eq!(response.status(), StatusCode::OK);
    let page = response.text().await.expect("a page");
    for part in [
        "final rinse 71.3 °C",
        "Hold these racks",
        "sent to <b>Ana</b>. Write who you are",
        "North &#60;kitchen&#62;",
    ] {
        assert!(page.contains(part), "{part} in {page}");
    }
    // Own rule: a record says who; the name of the contact may be that of a post.
    for id in ["name", "who"] {
        let empty =
            format!("<input id=\"{id}\" name=\"name\" required maxlength=\"100\" autocomplete=\"name\" ");
        assert!(page.contains(&empty), "{id}: {page}");
    }
    assert!(!page.contains("value=\"Ana\""), "{page}");
    site.client.head(&link).send().await.expect("an answer");
    site.get(&format!("{link}/acknowledge")).await;
    assert_eq!(site.kitchen.deeds(), []);

    let response = site.post(&format!("{link}/acknowledge"), &[], "name=Ana+B.&note=on+my+way").await;
    assert_eq!(response.status(), StatusCode::SEE_OTHER);
    let back = response.headers()["location"].to_str().expect("text");
    assert_eq!(format!("../{}", link.rsplit('/').next().expect("a token")), back);
    let (by, note) = ("Ana B.".to_owned(), "on my way".to_owned());
    assert_eq!(site.kitchen.deeds(), [Deed::Acknowledge { by, note }]);
    assert!(site.get(&link).await.text().await.expect("a page").contains("<b>Ana B.</b>"));

    assert!(page.contains(r#"name="covers" value="3""#), "the racks it shows: {page}");
    let form = "name=Ana&racks=rewashed&done=booster+reset&covers=3";
    assert_eq!(site.post(&format!("{link}/act"), &[], form).await.status(), StatusCode::SEE_OTHER);
    let deeds = site.kitchen.deeds();
    assert!(matches!(deeds.as_slice(), [_, Deed::Act { covers: Some(3), .. }]), "{deeds:?}");
    // A rack after the action needs another one: the page shows the first and still has the form.
    site.kitchen.one_more("12:52");
    let page = site.get(&link).await.text().await.expect("a page");
    assert!(page.contains("booster reset") && page.contains("/act\"") && page.contains("Another"), "{page}");
    assert!(page.contains("does not cover 1 later rack (12:52): it needs another"), "{page}");
    assert!(page.contains(r#"name="covers" value="4""#), "{page}");
    assert_eq!(site.post(&format!("{link}/act"), &[], form).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(site.kitchen.deeds().len(), 3);
}

// BREACH (Gluck, Harris and Prado, 2013): a secret beside text from outside is guessed at by the length of what is
// compressed. The style sheet of the login page is compressed by the same gateway.
#[tokio::test]
async fn the_page_of_a_link_is_not_compressed() {
    let site = Site::open().await;
    let ask = async |url: String| {
        let asked = site.client.get(&url).header("accept-encoding", "gzip").send();
        let response = asked.await.expect("an answer");
        assert_eq!(response.status(), StatusCode::OK, "{url}");
        let coded = response.headers().contains_key("content-encoding");
        (coded, response.bytes().await.expect("a body").len())
    };
    let (coded, length) = ask(site.link(7, 3600)).await;
    assert!(!coded && length > 1_024, "{length}");
    let (coded, _) = ask(format!("{}/login", site.address)).await;
    assert!(coded, "another page is");
}

/// A desk that has the order and does not answer.
#[derive(Clone)]
struct Slow(Arc<tokio::sync::Notify>);

impl Alerts for Slow {
    async fn show(&self, _: Link) -> Result<Sheet, Refused> {
        std::future::pending().await
    }

    async fn act(&self, _: Link, _: Deed) -> Result<(), Refused> {
        self.0.notify_one();
        std::future::pending().await
    }
}

// Own promise: nobody is told that nothing is on record while the order is with the desk.
#[tokio::test(start_paused = true)]
async fn what_was_not_answered_may_be_on_record() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let key = LinkKey::load_or_make(&directory.path().join("key")).expect("a key");
    let expires = Timestamp::from_micros(NOW.micros() + 1_000_000);
    let token = key.token(&Link { alert: 7, contact: "ana".to_owned(), expires });
    let begun = Arc::new(tokio::sync::Notify::new());
    let router = links(Shared { key, alerts: Slow(Arc::clone(&begun)), now: || NOW });
    for (method, path, language, says) in [
        ("POST", "/acknowledge", "en", "It may be on record"),
        ("POST", "/acknowledge", "es", "Puede que esté registrado"),
        ("GET", "", "en", "Nothing was put on record"),
    ] {
        let request = Request::builder()
            .method(method)
            .uri(format!("/alert/{token}{path}"))
            .header("content-type", "application/x-www-form-urlencoded")
            .header("accept-language", language)
            .body(axum::body::Body::from("name=Ana"))
            .expect("a request");
        let answer = router.clone().oneshot(request).await.expect("an answer");
        assert_eq!(answer.status(), StatusCode::SERVICE_UNAVAILABLE, "{method}");
        let body = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
        let page = String::from_utf8(body.to_vec()).expect("text");
        assert!(page.contains(says), "{method} {language}: {page}");
        assert_eq!(page.contains("Nothing was put on record"), method == "GET", "{page}");
    }
    begun.notified().await;
}

// Status codes by RFC 9110 §15.5; what each page says is the project's own.
#[tokio::test]
async fn what_is_no_good_link_or_form_does_nothing() {
    let site = Site::open().await;
    let good = site.link(7, 3600);
    let forged = format!("{}AAAA", &good[..good.len() - 4]);
    let cross = [("sec-fetch-site", "cross-site")];
    let origin = [("origin", "https://elsewhere.example")];
    let long = format!("name={}", "a".repeat(101));
    let huge = format!("name=a&note={}", "a".repeat(FORM_BYTES_MAX));
    let none: &[(&str, &str)] = &[];
    for (link, headers, form, status, says) in [
        (&site.link(7, 0), none, "name=a", 410, "expired"),
        (&forged, none, "name=a", 404, "does not lead"),
        (&site.link(8, 3600), none, "name=a", 303, ""),
        (&good, &cross, "name=a", 403, "another site"),
        (&good, &origin, "name=a", 403, "another site"),
        (&good, none, "name=+", 422, "missing"),
        (&good, none, "note=b", 422, "missing"),
        // U+200B is not seen, U+202E turns the writing round (Unicode, Default_Ignorable_Code_Point and Bidi_Control).
        (&good, none, "name=An%E2%80%8Ba", 422, "a sign that is not seen"),
        (&good, none, "name=An%E2%80%AEa", 422, "a sign that is not seen"),
        (&good, none, &long, 422, "missing"),
        (&good, none, &huge, 422, "missing"),
    ] {
        let before = site.kitchen.deeds().len();
        let response = site.post(&format!("{link}/acknowledge"), headers, form).await;
        assert_eq!(response.status().as_u16(), status, "{form:.40} {headers:?}");
        assert!(response.text().await.expect("a page").contains(says), "{says}");
        assert_eq!(site.kitchen.deeds().len() - before, usize::from(status == 303));
    }
    // «漢» is three bytes: 1,334 of them are fewer characters than the form allows, and more bytes than
    // the desk takes.
    for (count, status) in [(1_333, 303), (1_334, 422)] {
        let form = format!("name=a&racks={}&done=reset&covers=1", "%E6%BC%A2".repeat(count));
        let response = site.post(&format!("{good}/act"), none, &form).await;
        assert_eq!(response.status().as_u16(), status, "{count}");
    }
    let before = site.kitchen.deeds().len();
    let response = site.post(&format!("{good}/act"), none, "name=a&racks=held&done=b").await;
    assert_eq!(response.status(), StatusCode::CONFLICT, "which racks it showed is not said");
    // Whether the link is one comes first.
    for (link, status) in [(site.link(7, 0), StatusCode::GONE), (format!("{good}x"), StatusCode::NOT_FOUND)] {
        let response = site.post(&format!("{link}/act"), none, "name=a&racks=held&done=b").await;
        assert_eq!(response.status(), status, "{link}");
    }
    assert_eq!(site.kitchen.deeds().len(), before);
    let spanish = site.client.get(site.link(7, 0)).header("accept-language", "es-MX,es;q=0.9");
    assert!(spanish.send().await.expect("an answer").text().await.expect("a page").contains("caducado"));
    assert_eq!(site.get(&site.link(8, 3600)).await.status(), StatusCode::NOT_FOUND);
}

// Own promise: what cannot be taken is shown again with what was typed and what is wrong at its field; a dead link shows
// the way to the alerts.
#[tokio::test]
async fn what_cannot_be_taken_is_shown_again() {
    let site = Site::open().await;
    let good = site.link(7, 3600);
    let form = "name=dm1%2Frinse&racks=held+%3Cb%3E&done=&covers=2";
    let page = site.post(&format!("{good}/act"), &[], form).await.text().await.expect("a page");
    for said in [
        "id=\"who-fault\">The name holds «/»",
        // From the top of the page, far above them, each leads to its field.
        "<li><a href=\"#done\">What was done: Fill this in.</a></li>",
        "<a href=\"#who\">Your name: The name holds «/»",
        "value=\"dm1/rinse\"",
        "held &#60;b&#62;</textarea>",
        "id=\"done-fault\">Fill this in.",
        "name=\"covers\" value=\"2\"",
        "aria-describedby=\"who-hint who-fault\"",
        "Wed 25 Nov 2026, 12:38 EST: cold",
        "And 2 more.",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    let form = "name=Ana&racks=held&done=ok&covers=2";
    let page = site.post(&format!("{good}/act"), &[], form).await.text().await.expect("a page");
    for said in ["<a href=\"#done\">What was done: This says too little", "minlength=\"4\"", ">ok</textarea>"]
    {
        assert!(page.contains(said), "{said}: {page}");
    }
    let form = "name=&note=soon";
    let page = site.post(&format!("{good}/acknowledge"), &[], form).await.text().await.expect("a page");
    assert!(page.contains("<li><a href=\"#name\">Your name: Fill this in.</a></li>"), "{page}");
    assert_eq!(page.matches("<li><a href=\"#").count(), 1, "{page}");
    assert!(page.contains("id=\"name-fault\">Fill this in.") && page.contains("value=\"soon\""), "{page}");
    assert_eq!(site.kitchen.deeds(), []);
    let dead = site.get(&site.link(7, 0)).await.text().await.expect("a page");
    assert!(dead.contains("href=\"../alerts\">See the alerts"), "{dead}");
}

// The headers that the OWASP Secure Headers Project lists for a page that embeds nothing.
#[tokio::test]
async fn every_answer_carries_the_strict_headers() {
    let site = Site::open().await;
    // The address of a link is a secret; of any other page the site itself may know.
    for (url, referrer) in [
        (site.link(7, 3600), "no-referrer"),
        (site.link(7, 0), "no-referrer"),
        (format!("{}/login", site.address), "same-origin"),
        (site.address.clone(), "same-origin"),
    ] {
        let response = site.get(&url).await;
        let header = |name: &str| response.headers()[name].to_str().expect("text").to_owned();
        let policy = header("content-security-policy");
        assert!(
            policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"),
            "{policy}"
        );
        assert_eq!(header("x-content-type-options"), "nosniff");
        assert_eq!(header("referrer-policy"), referrer);
        assert_eq!(header("cache-control"), "no-store");
        assert!(!response.headers().contains_key("set-cookie"));
    }
}

// Own promise: no page of a simulated kitchen looks like one of a real one, whoever sees it.
#[tokio::test]
async fn whatever_is_simulated_says_so() {
    for simulated in [true, false] {
        let site = Site::of(simulated).await;
        for (url, language, said) in [
            (format!("{}/login", site.address), "en", "SIMULATED: these machines do not exist"),
            (format!("{}/login", site.address), "es", "SIMULADO: estas máquinas no existen"),
            (site.link(7, 3600), "en", "SIMULATED"),
            (site.link(7, 0), "es", "SIMULADO"),
            (format!("{}/alert/%ff", site.address), "es", "SIMULADO"),
            (format!("{}/nothing", site.address), "en", "SIMULATED"),
        ] {
            let answer = site.client.get(&url).header("accept-language", language).send().await;
            let answer = answer.expect("an answer");
            let told = format!("{url}: {}", answer.status());
            let page = answer.text().await.expect("a page");
            assert!(page.contains("<h1>") && page.contains(said) == simulated, "{told} {page}");
        }
        let large =
            site.client.post(format!("{}/login", site.address)).body("x".repeat(100_000)).send().await;
        let page = large.expect("an answer").text().await.expect("a page");
        assert_eq!(page.contains("SIMULATED"), simulated, "{page}");
    }
}

// Regression: of an alert that had ended with nothing left to do, the page of a link offered to take care of it.
#[tokio::test]
async fn nobody_is_asked_to_take_care_of_what_has_ended() {
    let site = Site::open().await;
    let url = site.link(7, 3600);
    let page = site.get(&url).await.text().await.expect("a page");
    assert!(page.contains("/acknowledge") && page.contains("Nobody takes care of it now."), "{page}");
    site.kitchen.0.lock().expect("no holder panics").0.standing = Standing::Recovered;
    let page = site.get(&url).await.text().await.expect("a page");
    assert!(
        !page.contains("/acknowledge") && page.contains("Nobody need take care of it any more."),
        "{page}"
    );
}
