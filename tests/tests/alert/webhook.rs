//! Webhooks to a receiver that checks them by the libraries of Standard Webhooks and CloudEvents.

use std::time::Duration;

use rinseward::alert::answer::{Answer, Step};
use rinseward::alert::event::{CloudEvent, Envelope, source};
use rinseward::alert::webhook::Webhook;
use rinseward::config::delivery::WebhookSettings;
use rinseward::core::alert::trial::{Fact, Told};
use rinseward::core::time::Timestamp;
use serde_json::json;
use tokio::net::TcpListener;
use tokio::time::Instant;

use super::peer::{AT, Identity, PACE, Peer};

/// 24 to 64 bytes in base64, as Standard Webhooks asks.
const OLD: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
const NEW: &str = "whsec_c29tZSBvdGhlciBzZWNyZXQgb2YgMzIgYnl0ZXMuLi4=";

fn settings(port: u16, path: &str) -> WebhookSettings {
    WebhookSettings {
        name: "facility".to_owned(),
        url: format!("http://127.0.0.1:{port}{path}"),
        secret_files: Vec::new(),
        ca_file: None,
        timeout: Duration::from_secs(10),
        pace: PACE,
    }
}

pub(crate) fn event() -> CloudEvent {
    let source = source("North Kitchen/2", "8f3a");
    let envelope = Envelope { key: "17-1-ana-webhook:facility", source: &source, at: AT };
    let data = json!({"alert": 17, "measured": {"value": 71.3, "unit": "Cel"}, "text": "Küche «dm1»"});
    CloudEvent::new(&envelope, "alert.raised", Some("dm1".to_owned()), data)
}

/// The receiver refuses a signature that is not of this hour.
fn now() -> Timestamp {
    let since = std::time::SystemTime::now().duration_since(std::time::SystemTime::UNIX_EPOCH);
    Timestamp::from_micros(0).plus(since.expect("a clock after 1970"))
}

async fn send(settings: WebhookSettings) -> Answer {
    Webhook::prepare(settings).expect("legal settings").send(&event(), now()).await
}

// CloudEvents 1.0 (HTTP binding §3.2, structured mode) and Standard Webhooks 1.0, each by a library of its project.
#[tokio::test]
async fn libraries_of_the_standards_read_it() {
    let identity = Identity::of("localhost");
    let files = vec![identity.secret("old", OLD), identity.secret("new", NEW)];
    let stranger = "whsec_YSBzZWNyZXQgdGhhdCBub2JvZHkgc2lnbmVkIHdpdGg=";
    let args = [&["--secret", OLD, "--secret", NEW, "--secret", stranger][..], &identity.args()].concat();
    let receiver = Peer::start("webhook.py", &args);
    let mut settings = settings(receiver.port(), "/ok");
    settings.url = format!("https://localhost:{}/ok", receiver.port());
    settings.ca_file = Some(identity.ca());
    settings.secret_files = files;

    assert_eq!(send(settings).await, Answer::Taken);

    let seen = receiver.next("a request");
    // Who knows the old secret or the new one takes it, and nobody else.
    assert_eq!(seen["verified"], json!([true, true, "No matching signature found"]));
    let event = &seen["event"];
    for (name, expected) in [
        ("specversion", "1.0"),
        ("id", "17-1-ana-webhook:facility"),
        ("source", "/rinseward/North%20Kitchen%2F2/8f3a"),
        ("type", "dev.rinseward.alert.raised"),
        ("subject", "dm1"),
        ("datacontenttype", "application/json"),
        ("time", "2023-11-14 22:13:20+00:00"),
    ] {
        assert_eq!(event[name], expected, "{name}");
    }
    assert_eq!(event["data"]["measured"]["value"], 71.3);
    assert_eq!(event["data"]["text"], "Küche «dm1»");
    let headers = &seen["headers"];
    assert_eq!(headers["content-type"], "application/cloudevents+json; charset=utf-8");
    assert_eq!(headers["webhook-id"], "17-1-ana-webhook:facility", "the same for a repeat");
}

// Statuses by RFC 9110 §15 and RFC 6585 §4; 410 by Standard Webhooks.
#[tokio::test]
async fn answers_of_the_receiver() {
    let receiver = Peer::start("webhook.py", &[]);
    let answers = |status: &str| Told::from(Fact::Status { status: status.to_owned() });
    let later =
        |error: Told, seconds: Option<u64>| Answer::Later { error, after: seconds.map(Duration::from_secs) };
    let moved = Fact::Redirected { status: "302 Found".to_owned() }.into();
    for (path, expected) in [
        ("/ok", Answer::Taken),
        ("/busy", later(answers("429 Too Many Requests").because("too many"), Some(7))),
        ("/down", later(answers("503 Service Unavailable"), Some(90))),
        ("/error", later(answers("500 Internal Server Error").because("<h1>it broke [31mreally</h1>"), None)),
        ("/bad", Answer::Doubtful { error: answers("400 Bad Request").because("no such tenant") }),
        ("/moved", Answer::Doubtful { error: moved }),
        ("/gone", Answer::Closed { error: answers("410 Gone") }),
    ] {
        let answer = send(settings(receiver.port(), path)).await;
        match (&answer, &expected) {
            // A date is given in whole seconds.
            (Answer::Later { after: Some(after), .. }, Answer::Later { after: Some(wanted), .. }) => {
                assert!(
                    *after <= *wanted && *after + Duration::from_secs(2) >= *wanted,
                    "{path}: {answer:?}"
                );
            }
            (answer, expected) => assert_eq!(answer, expected, "{path}"),
        }
        assert_eq!(receiver.next("the request")["path"], path);
        // A redirection is not followed.
        receiver.assert_silent();
    }
}

#[tokio::test]
async fn receivers_that_cannot_be_reached() {
    let (ours, elsewhere) = (Identity::of("localhost"), Identity::of("hooks.elsewhere.example"));
    for (shown, trusted, expected) in
        [(&ours, &elsewhere, Fact::AuthorityUnknown {}), (&elsewhere, &elsewhere, Fact::NameOther {})]
    {
        let receiver = Peer::start("webhook.py", &shown.args());
        let mut settings = settings(receiver.port(), "/ok");
        settings.url = format!("https://localhost:{}/ok", receiver.port());
        settings.ca_file = Some(trusted.ca());
        assert_eq!(send(settings).await, Answer::later(expected));
        receiver.assert_silent();
    }
    let slow = Peer::start("webhook.py", &[]);
    let mut hurried = settings(slow.port(), "/slow");
    hurried.timeout = Duration::from_millis(500);
    let since = Instant::now();
    assert_eq!(send(hurried).await, Answer::later(Fact::NoAnswer { within: "500ms".to_owned() }));
    assert!(since.elapsed() < Duration::from_secs(5), "{:?}", since.elapsed());

    let gone = TcpListener::bind("127.0.0.1:0").await.expect("loopback");
    let port = gone.local_addr().expect("a bound socket").port();
    drop(gone);
    let answer = send(settings(port, "/ok")).await;
    let error = answer.error().expect("nobody is there").to_string();
    assert!(matches!(answer, Answer::Later { .. }) && error.contains("Connection refused"), "{answer:?}");
}

#[tokio::test]
async fn a_trial_tells_each_step() {
    let receiver = Peer::start("webhook.py", &[]);
    let bad = Told::from(Fact::Status { status: "400 Bad Request".to_owned() }).because("no such tenant");
    for (path, last) in [("/ok", Ok(Told::words("204 No Content"))), ("/bad", Err(bad))] {
        let webhook = Webhook::prepare(settings(receiver.port(), path)).expect("legal settings");
        let mut steps: Vec<Step> = Vec::new();
        let answer = webhook.trial(&event(), now(), &mut |step| steps.push(step)).await;
        assert_eq!(answer == Answer::Taken, last.is_ok());
        let told: Vec<&str> = steps.iter().map(|step| step.what).collect();
        assert_eq!(told, ["signature", "connection", "message"]);
        assert_eq!(steps[2].outcome, last);
    }
}
