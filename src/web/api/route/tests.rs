//! Each route by each role, refusals, tags, and the description.

use std::collections::BTreeSet;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::atomic::Ordering;

use axum::body::Body;
use axum::http::{HeaderMap, Method, header};
use prometheus_client::metrics::histogram::Histogram;
use serde_json::{Value, json};
use tower::ServiceExt;

use super::*;
use crate::core::access::Role;
use crate::core::cycle::verdict::Verdict;
use crate::core::reader::Language;
use crate::web::api::Figures;
use crate::web::fixture::{StillKitchen, person};
use crate::web::person::Person;
use crate::web::router::site;

/// One call of the interface.
struct Asking {
    kitchen: StillKitchen,
    person: Option<Person>,
}

struct Answered {
    status: StatusCode,
    headers: HeaderMap,
    text: String,
}

impl Answered {
    fn json(&self) -> Value {
        serde_json::from_str(&self.text).unwrap_or_else(|error| panic!("{error}: {}", self.text))
    }

    fn is_problem(&self) {
        assert_eq!(self.headers[header::CONTENT_TYPE], "application/problem+json", "{}", self.text);
        let problem = self.json();
        assert_eq!(problem["status"], self.status.as_u16());
        assert!(
            problem["type"].as_str().is_some_and(|kind| kind.starts_with("urn:rinseward:problem:")),
            "{problem}"
        );
        assert!(problem["title"].is_string(), "{problem}");
        for member in ["detail", "do"] {
            let text = problem[member].as_str().unwrap_or_default();
            assert!(text.chars().next().is_some_and(|first| first != ':'), "{member}: {problem}");
        }
    }
}

impl Asking {
    fn of(role: Role) -> Self {
        Self { kitchen: StillKitchen::new(), person: Some(person(role, Language::English)) }
    }

    fn nobody() -> Self {
        Self { person: None, ..Self::of(Role::Auditor) }
    }

    async fn send(&self, request: axum::http::request::Builder, body: Body) -> Answered {
        let mut request = request.body(body).expect("a request");
        if let Some(person) = &self.person {
            request.extensions_mut().insert(person.clone());
        }
        let answer = site(self.kitchen.pages()).oneshot(request).await.expect("it never fails");
        let (parts, body) = answer.into_parts();
        let bytes = axum::body::to_bytes(body, 1 << 20).await.expect("a body");
        let text = String::from_utf8(bytes.to_vec()).expect("text");
        Answered { status: parts.status, headers: parts.headers, text }
    }

    async fn get(&self, path: &str) -> Answered {
        self.send(Request::get(path), Body::empty()).await
    }

    async fn post(&self, path: &str, body: &str) -> Answered {
        let request = Request::post(path).header(header::CONTENT_TYPE, "application/json");
        self.send(request, Body::from(body.to_owned())).await
    }
}

/// A path of the list with something in its places, and a query where one must be given.
fn filled(path: &str) -> String {
    let path = path.replace("{record}", "1").replace("{number}", "1").replace("{name}", "dm1");
    let query = if path == "/export" { "?form=csv&from=2026-11-25" } else { "" };
    format!("/api/v1{path}{query}")
}

const CHECK: &str = r#"{"machine":"dm1","check":{"check":"supply","enough":true}}"#;

// Own promise: nobody gets anything without being known, each role what its rights say and no more,
// and each refusal is a problem of RFC 9457; 401 names the way in (RFC 9110 §11.6.1).
#[tokio::test]
async fn each_role_gets_what_its_rights_say() {
    for Route { path, right, body, .. } in routes::<StillKitchen>() {
        let place = filled(path);
        let ask = async |asking: Asking| match body {
            None => asking.get(&place).await,
            Some("Entering") => asking.post(&place, CHECK).await,
            Some("Acting") => asking.post(&place, r#"{"racks":"held","done":"heated"}"#).await,
            Some(_) => asking.post(&place, "{}").await,
        };
        let unknown = ask(Asking::nobody()).await;
        assert_eq!(unknown.status, StatusCode::UNAUTHORIZED, "{path}");
        assert_eq!(unknown.headers[header::WWW_AUTHENTICATE], "Bearer", "{path}");
        unknown.is_problem();
        for role in Role::ALL {
            let answered = ask(Asking::of(role)).await;
            let forbidden = answered.status == StatusCode::FORBIDDEN;
            assert_eq!(forbidden, !role.may(right), "{role} at {path}: {}", answered.text);
            if forbidden {
                answered.is_problem();
            } else if path != "/export" {
                assert!(
                    answered.status.is_success(),
                    "{role} at {path}: {} {}",
                    answered.status,
                    answered.text
                );
            }
        }
    }
}

// Own rule: a part is never called like the whole; RFC 6266 for the header.
#[tokio::test]
async fn a_file_of_one_machine_says_so_by_its_name() {
    let path = "/api/v1/export?form=evidence&from=2026-11-25&machine=dm1,dm2";
    let answered = Asking::of(Role::Administrator).get(path).await;
    let named = "attachment; filename=\"evidence_only-dm1-and-dm2.jsonl\"";
    assert_eq!(answered.headers[header::CONTENT_DISPOSITION], named, "{}", answered.text);
}

// RFC 9457 for the form, RFC 9110 §15.5 for the codes.
#[tokio::test]
async fn each_bad_question_has_its_problem() {
    let asking = Asking::of(Role::Administrator);
    for (path, status, parameter) in [
        ("nothing", 404, None),
        ("cycles/9", 404, None),
        ("cycles/one", 422, Some("record")),
        ("cycles/-1", 422, Some("record")),
        ("cycles/99999999999999999999999", 422, Some("record")),
        ("cycles?limit=0", 422, Some("limit")),
        ("cycles?limit=1001", 422, Some("limit")),
        ("cycles?limit=x", 422, Some("limit")),
        ("cycles?verdict=warm", 422, Some("verdict")),
        ("cycles?from=yesterday", 422, Some("from")),
        ("cycles?from=2026-11-25&from=2026-11-26", 422, Some("from")),
        ("cycles?machine=", 422, Some("machine")),
        ("cycles?unknown=1", 422, Some("unknown")),
        ("records?kind=cycle", 422, Some("kind")),
        ("export?form=csv", 422, Some("from")),
        ("export?form=pdf&from=2026-11-25", 422, Some("form")),
        ("export?form=csv&from=2026-11-25&all-traces=true", 422, Some("all-traces")),
        ("export?form=csv&from=2026-11-25", 429, None),
    ] {
        let answered = asking.get(&format!("/api/v1/{path}")).await;
        assert_eq!(answered.status.as_u16(), status, "{path}: {}", answered.text);
        answered.is_problem();
        let problem = answered.json();
        assert_eq!(problem["errors"][0]["parameter"].as_str(), parameter, "{path}: {problem}");
    }
    for (path, body, status, pointer) in [
        ("checks", "", 400, None),
        ("checks", "{", 400, None),
        ("checks", "[]", 422, Some("")),
        ("checks", "{}", 422, Some("")),
        ("checks", r#"{"check":{"check":"supply"}}"#, 422, Some("/check")),
        ("checks", r#"{"check":{"check":"smell","enough":true}}"#, 422, Some("/check/check")),
        ("checks", r#"{"check":{"check":"supply","enough":"yes"}}"#, 422, Some("/check/enough")),
        ("checks", r#"{"check":{"check":"sanitizer","mg_per_l":"50","ph":7}}"#, 422, Some("/check/mg_per_l")),
        ("checks", r#"{"check":{"check":"supply","enough":true,"at":"noon"}}"#, 422, Some("/check/at")),
        (
            "checks",
            r#"{"check":{"check":"supply","enough":true,"by":"somebody else"}}"#,
            422,
            Some("/check/by"),
        ),
        (
            "checks",
            r#"{"check":{"check":"supply","enough":true,"mg_per_l":50}}"#,
            422,
            Some("/check/mg_per_l"),
        ),
        ("checks", r#"{"check":{"check":"supply","enough":true},"late":"yes"}"#, 422, Some("/late")),
        ("checks", r#"{"check":{"check":"supply","enough":true},"extra":1}"#, 422, Some("/extra")),
        ("alerts/1/act", r#"{"racks":" ","done":"x"}"#, 422, Some("/racks")),
        ("alerts/1/act", r#"{"racks":"x","done":"heated"}"#, 422, Some("/racks")),
        ("alerts/1/act", r#"{"racks":"held","done":"ok!!"}"#, 422, Some("/done")),
        ("alerts/1/act", r#"{"racks":"x"}"#, 422, Some("")),
        ("alerts/1/act", r#"{"racks":"x","done":"x","covers":-1}"#, 422, Some("/covers")),
        ("alerts/one/act", r#"{"racks":"x","done":"x"}"#, 422, None),
        ("alerts/1/acknowledge", r#"{"note":5}"#, 422, Some("/note")),
    ] {
        let answered = asking.post(&format!("/api/v1/{path}"), body).await;
        assert_eq!(answered.status.as_u16(), status, "{path} {body}: {}", answered.text);
        answered.is_problem();
        assert_eq!(
            answered.json()["errors"][0]["pointer"].as_str(),
            pointer,
            "{path} {body}: {}",
            answered.text
        );
    }
    let long = format!("{{\"note\":\"{}\"}}", "a".repeat(BODY_BYTES_MAX));
    let answered = asking.post("/api/v1/alerts/1/acknowledge", &long).await;
    assert_eq!(answered.status, StatusCode::PAYLOAD_TOO_LARGE);
    answered.is_problem();
    let form =
        Request::post("/api/v1/checks").header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    let answered = asking.send(form, Body::from("machine=dm1")).await;
    assert_eq!(answered.status, StatusCode::UNSUPPORTED_MEDIA_TYPE);
    answered.is_problem();
    let answered =
        asking.send(Request::builder().method(Method::DELETE).uri("/api/v1/checks"), Body::empty()).await;
    assert_eq!(answered.status, StatusCode::METHOD_NOT_ALLOWED);
    let allowed = answered.headers[header::ALLOW].to_str().expect("text");
    assert!(allowed.contains("GET") && allowed.contains("POST"), "{allowed}");
    answered.is_problem();
}

// RFC 9110 §13.1.2 and §8.8.3: the tag changes with the record and with the question, and only so.
#[tokio::test]
async fn a_tag_holds_until_the_record_or_the_question_changes() {
    let asking = Asking::of(Role::Auditor);
    let tag = async |path: &str| {
        let answered = asking.get(path).await;
        answered.headers.get(header::ETAG).map(|tag| tag.to_str().expect("text").to_owned())
    };
    let first = tag("/api/v1/cycles?limit=5").await.expect("it follows from the record");
    assert!(first.starts_with('"'), "{first} is strong");
    assert_eq!(tag("/api/v1/cycles?limit=5").await.as_ref(), Some(&first));
    assert_ne!(tag("/api/v1/cycles?limit=6").await.as_ref(), Some(&first));
    assert_ne!(tag("/api/v1/checks?limit=5").await.as_ref(), Some(&first));
    let again = async || {
        let request =
            Request::get("/api/v1/cycles?limit=5").header(header::IF_NONE_MATCH, format!("\"x\", {first}"));
        asking.send(request, Body::empty()).await
    };
    let unchanged = again().await;
    assert_eq!(unchanged.status, StatusCode::NOT_MODIFIED);
    assert!(unchanged.text.is_empty());
    asking.kitchen.size.store(1, Ordering::Relaxed);
    assert_eq!(again().await.status, StatusCode::OK);
    // What hangs on the hour as well has a tag of its own bytes.
    for path in
        ["days", "summary", "gaps", "due", "machines", "probes", "cycles/1/proof", "checkpoints/newest"]
    {
        let path = format!("/api/v1/{path}");
        let held = tag(&path).await.unwrap_or_else(|| panic!("{path} has none"));
        let request = Request::get(&path).header(header::IF_NONE_MATCH, &held);
        let unchanged = asking.send(request, Body::empty()).await;
        assert_eq!((unchanged.status, unchanged.text.as_str()), (StatusCode::NOT_MODIFIED, ""), "{path}");
        let request = Request::get(&path).header(header::IF_NONE_MATCH, "\"x\"");
        assert_eq!(asking.send(request, Body::empty()).await.status, StatusCode::OK, "{path}");
    }
    // A role that lost its right is told so, whatever it holds.
    let stranger = Asking::nobody();
    let request = Request::get("/api/v1/cycles?limit=5").header(header::IF_NONE_MATCH, "*");
    assert_eq!(stranger.send(request, Body::empty()).await.status, StatusCode::UNAUTHORIZED);
}

// RFC 8288 for the link, RFC 3986 §5 for what it means: relative to the address that was asked.
#[tokio::test]
async fn the_link_to_the_next_page_keeps_the_question() {
    let asking = Asking::of(Role::Auditor);
    let answered = asking.get("/api/v1/cycles?machine=dm%201&after=7&limit=1").await;
    let link = "cycles?machine=dm%201&limit=1&after=1%20%C3%BC";
    assert_eq!(answered.json()["next"], link);
    assert_eq!(answered.headers[header::LINK], format!("<{link}>; rel=\"next\""));
    let last = asking.get("/api/v1/cycles?limit=2").await;
    assert_eq!(last.json(), json!({ "items": [{ "index": 1 }], "next": null }));
    assert!(!last.headers.contains_key(header::LINK));
}

// Own promise: what somebody enters bears their own name and nobody else's.
#[tokio::test]
async fn what_is_entered_bears_the_name_of_whoever_enters_it() {
    let asking = Asking::of(Role::Operator);
    let answered = asking.post("/api/v1/checks", CHECK).await;
    assert_eq!(answered.status, StatusCode::CREATED, "{}", answered.text);
    let told = answered.json();
    assert_eq!(told["by"], "Ana");
    assert!(
        told["said"].as_str().is_some_and(|said| said.contains("by: \"Ana\"") && said.contains("Supply")),
        "{told}"
    );
}

// Own promise: who watches over the gateway needs no login to learn that it lives and works, and nothing
// secret is said; a gateway that does not work says why, with the code that load balancers read.
#[tokio::test]
async fn health_and_readiness_need_no_login() {
    let mut asking = Asking::nobody();
    assert_eq!(asking.get("/health").await.json(), json!({ "alive": true }));
    let ready = asking.get("/ready").await;
    assert_eq!((ready.status, ready.json()), (StatusCode::OK, json!({ "ready": true, "reasons": [] })));
    asking.kitchen.hindrances = vec!["the ledger takes nothing".to_owned()];
    let ready = asking.get("/ready").await;
    assert_eq!(ready.status, StatusCode::SERVICE_UNAVAILABLE);
    assert_eq!(ready.json(), json!({ "ready": false, "reasons": ["the ledger takes nothing"] }));
    assert_eq!(asking.get("/health").await.status, StatusCode::OK);
}

/// Runs the Python of the peers on a script with this as its input.
fn python(script: &str, input: &str) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join("target/peers/bin/python");
    assert!(python.is_file(), "target/peers is made by tests/all");
    let mut child = Command::new(python)
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the peers' Python starts");
    child.stdin.take().expect("it is piped").write_all(input.as_bytes()).expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text")
}

// OpenMetrics 1.0, read by the parser of the Python client (other hands'), which refuses what does not
// keep to it: types, suffixes, escapes, the last line.
#[tokio::test]
async fn the_figures_are_open_metrics() {
    let commits = Histogram::new([0.01, 0.1]);
    commits.observe(0.05);
    let mut asking = Asking::nobody();
    asking.kitchen.figures = Figures {
        readings: vec![("port \"1\"\\\n".to_owned(), 7)],
        cycles: vec![("dm1".to_owned(), Verdict::Cold, 2), ("dm1".to_owned(), Verdict::Pass, 40)],
        alerts: vec![("cold".to_owned(), 1)],
        records: 1_000_000,
        ledger_bytes: 4_096,
        letters: vec![("email".to_owned(), 3)],
        series_behind_s: Some(1.5),
        ages_s: vec![("dm1/rinse".to_owned(), 0.25)],
        commits_s: Some(commits),
    };
    assert_eq!(asking.get("/metrics").await.status, StatusCode::UNAUTHORIZED);
    asking.person = Some(person(Role::Auditor, Language::English));
    let answered = asking.get("/metrics").await;
    assert_eq!(answered.status, StatusCode::OK);
    let kind = answered.headers[header::CONTENT_TYPE].to_str().expect("text");
    assert!(kind.starts_with("application/openmetrics-text; version=1.0.0"), "{kind}");
    assert!(answered.text.ends_with("# EOF\n"), "{}", answered.text);
    let read = python(
        "import json, sys\n\
         from prometheus_client.openmetrics.parser import text_string_to_metric_families as read\n\
         print(json.dumps([[s.name, s.labels, float(s.value)] for f in read(sys.stdin.read()) for s in f.samples]))",
        &answered.text,
    );
    let read: Value = serde_json::from_str(&read).expect("JSON");
    let samples = read.as_array().expect("samples");
    for sample in [
        json!(["rinseward_readings_total", { "source": "port \"1\"\\\n" }, 7.0]),
        json!(["rinseward_cycles_total", { "machine": "dm1", "verdict": "cold" }, 2.0]),
        json!(["rinseward_alerts_open", { "condition": "cold" }, 1.0]),
        json!(["rinseward_ledger_records", {}, 1_000_000.0]),
        json!(["rinseward_ledger_size_bytes", {}, 4096.0]),
        json!(["rinseward_letters_waiting", { "channel": "email" }, 3.0]),
        json!(["rinseward_series_behind_seconds", {}, 1.5]),
        json!(["rinseward_reading_age_seconds", { "probe": "dm1/rinse" }, 0.25]),
        json!(["rinseward_commit_seconds_bucket", { "le": "0.1" }, 1.0]),
        json!(["rinseward_build_info", { "version": env!("CARGO_PKG_VERSION") }, 1.0]),
    ] {
        assert!(samples.contains(&sample), "{sample} is not in {read}");
    }
}

// OpenAPI 3.1, checked by openapi-spec-validator (other hands') against the published schema; and every
// route is in it, with its method.
#[test]
fn the_description_is_open_api_3_1_and_whole() {
    let described = spec::document::<StillKitchen>();
    python(
        "import json, sys\n\
         from openapi_spec_validator import OpenAPIV31SpecValidator as Validator\n\
         errors = [str(error.message)[:300] + ' at ' + '/'.join(map(str, error.path)) \
         for error in Validator(json.load(sys.stdin)).iter_errors()]\n\
         sys.exit('\\n'.join(errors) if errors else 0)",
        &described.to_string(),
    );
    assert!(described["openapi"].as_str().is_some_and(|version| version.starts_with("3.1.")));
    let mut names = BTreeSet::new();
    for Route { path, body, .. } in routes::<StillKitchen>() {
        let method = if body.is_some() { "post" } else { "get" };
        let operation = &described["paths"][path][method];
        assert!(
            operation["operationId"].as_str().is_some_and(|name| names.insert(name.to_owned())),
            "{path}"
        );
    }
}

// The server's rules are those of the desk (`logbook::name`) and of `str::trim`; the patterns are read by Python's `re`.
// Whatever the description takes the server takes, and the other way round; but that signs such as «★» are no letters is
// said in words.
#[test]
fn the_patterns_are_the_rules_of_the_server() {
    let described = spec::document::<StillKitchen>();
    let shapes = &described["components"]["schemas"];
    let thermometer = shapes["Entering"]["properties"]["check"]["oneOf"]
        .as_array()
        .and_then(|kinds| kinds.iter().find(|kind| kind["properties"]["check"]["const"] == "thermometer"))
        .expect("a thermometer can be checked");
    let long = "a".repeat(crate::core::logbook::NAME_BYTES_MAX);
    let too_long = format!("{long}a");
    let texts = [
        "Gauge 3",
        "Manómetro nº 2",
        "田中",
        "€",
        "«new» + old",
        "-",
        "x\u{a0}y",
        "\u{a0}",
        "\u{3000}",
        "\u{2028}",
        "",
        " ",
        " x ",
        "\t",
        "a\nb",
        "a\tb",
        "a\u{7f}",
        "a\u{85}",
        "a\u{9f}b",
        "\u{feff}",
        "\u{200b}",
        "held",
        " h e\u{3000}l  d ",
        "再洗浄済",
        "----",
        "¡¿…!",
        "– 50 €",
        "a-1 / b",
        "ºª½ñ",
        &long,
        &too_long,
    ];
    let name = |text: &str| crate::core::logbook::name(crate::core::logbook::Field::By, text).is_ok();
    let written = crate::core::alert::says_something;
    for (shape, takes) in [
        (&thermometer["properties"]["what"], &name as &dyn Fn(&str) -> bool),
        (&thermometer["properties"]["reference"], &name),
        (&shapes["Acting"]["properties"]["racks"], &written),
        (&shapes["Acting"]["properties"]["done"], &written),
    ] {
        let asked = json!({ "pattern": shape["pattern"], "longest": shape["maxLength"], "texts": texts });
        let read = python(
            "import json, re, sys\n\
             asked = json.load(sys.stdin)\n\
             fits = lambda text: bool(re.search(asked['pattern'], text)) and len(text) <= asked['longest']\n\
             print(json.dumps([fits(text) for text in asked['texts']]))",
            &asked.to_string(),
        );
        let fits: Vec<bool> = serde_json::from_str(&read).expect("JSON");
        for (text, fits) in texts.iter().zip(fits) {
            assert_eq!(fits, takes(text), "{text:?} by {shape}");
        }
    }
}

// Own promise: what the description gives as an example is taken as it stands, and names are such as programs take.
#[tokio::test]
async fn the_examples_are_taken() {
    let described = spec::document::<StillKitchen>();
    let shapes = &described["components"]["schemas"];
    let mut taken = 0;
    for (shape, path) in
        [("Acknowledging", "alerts/1/acknowledge"), ("Acting", "alerts/1/act"), ("Entering", "checks")]
    {
        for example in shapes[shape]["examples"].as_array().expect("examples") {
            let asking = Asking::of(Role::Administrator);
            let answered = asking.post(&format!("/api/v1/{path}"), &example.to_string()).await;
            assert!(answered.status.is_success(), "{path} {example}: {}", answered.text);
            taken += 1;
        }
    }
    assert_eq!(taken, 4);
    for (path, method, name) in [
        ("/cycles", "get", "listCycles"),
        ("/cycles/{record}", "get", "getCycle"),
        ("/cycles/{record}/trace", "get", "getCycleTrace"),
        ("/alerts/{number}/act", "post", "actOnAlert"),
        ("/checks", "post", "enterCheck"),
        ("/openapi.json", "get", "getOpenapiJson"),
    ] {
        let operation = &described["paths"][path][method];
        assert_eq!(operation["operationId"], name, "{path}");
        let tag = &operation["tags"][0];
        let tags = described["tags"].as_array().expect("tags");
        assert!(tags.iter().any(|known| known["name"] == *tag), "{path}: {tag}");
    }
}
