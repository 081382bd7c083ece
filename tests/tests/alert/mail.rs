//! Mail that is taken: by aiosmtpd, read by Python's email library and by hand.

use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use rinseward::alert::answer::{Answer, Step};
use rinseward::alert::email::{Mail, Mailer, Picture};
use rinseward::config::delivery::{MailLogin, MailSecurity, MailSettings};
use rinseward::core::alert::trial::{Fact, Told};
use serde_json::{Value, json};

use super::peer::{AT, Identity, PACE, Peer};

/// Settings for a server on this computer.
pub(crate) fn settings(port: u16, security: MailSecurity, identity: Option<&Identity>) -> MailSettings {
    MailSettings {
        host: "localhost".to_owned(),
        port,
        security,
        login: None,
        ca_file: identity.map(Identity::ca),
        from: "Dish machines <kitchen@example.org>".to_owned(),
        reply_to: Some("maintenance@example.org".to_owned()),
        hello_name: Some("gateway.example.org".to_owned()),
        timeout: Duration::from_secs(10),
        pace: PACE,
    }
}

/// A whole message to this name.
pub(crate) fn mail(to: &str) -> Mail {
    Mail {
        key: "17-1-ana-email".to_owned(),
        thread: "alert-17".to_owned(),
        to: format!("{to}@example.org"),
        at: AT,
        subject: "COLD: Küche dm1, final rinse 71.3 °C, limit 82.2 °C".to_owned(),
        text: "Hold the racks since 21:50.\n.\n..and dots\nÑandú".to_owned(),
        html: Some("<p>Hold the racks.</p><img src=\"cid:trace\" alt=\"trace\">".to_owned()),
        pictures: vec![Picture { id: "trace".to_owned(), png: (0..=255).cycle().take(5_000).collect() }],
    }
}

fn header<'a>(message: &'a Value, name: &str) -> Vec<&'a str> {
    let headers = message["headers"].as_array().expect("a list");
    let own =
        headers.iter().filter(|pair| pair[0].as_str().is_some_and(|own| own.eq_ignore_ascii_case(name)));
    own.filter_map(|pair| pair[1].as_str()).collect()
}

fn raw(message: &Value) -> Vec<u8> {
    STANDARD.decode(message["raw"].as_str().expect("text")).expect("base64 of the peer")
}

// RFC 2046 §5.1.4 (alternative, best last), RFC 2387 (related), RFC 3834 §5, RFC 5322 §3.6.4.
#[tokio::test]
async fn is_read_as_it_was_meant() {
    let identity = Identity::of("localhost");
    let server = Peer::start("smtp.py", &[&["--tls", "starttls"][..], &identity.args()].concat());
    let settings = settings(server.port(), MailSecurity::StartTls, Some(&identity));
    let mailer = Mailer::prepare(settings, "north").expect("legal settings");
    let mail = mail("ana");

    assert_eq!(mailer.send(&mail).await, Answer::Taken);

    let message = server.next("a message");
    assert_eq!(message["sender"], "kitchen@example.org");
    assert_eq!(message["recipients"], json!(["ana@example.org"]));
    assert_eq!(message["hello"], "gateway.example.org");
    assert_eq!(message["tls"], "TLSv1.3");
    assert_eq!(message["defects"], json!([]));
    assert_eq!(
        message["shape"],
        json!(["multipart/alternative", "text/plain", ["multipart/related", "text/html", "image/png"]])
    );
    assert_eq!(header(&message, "Subject"), [mail.subject.as_str()]);
    assert_eq!(header(&message, "From"), ["Dish machines <kitchen@example.org>"]);
    assert_eq!(header(&message, "To"), ["ana@example.org"]);
    assert_eq!(header(&message, "Reply-To"), ["maintenance@example.org"]);
    assert_eq!(header(&message, "Auto-Submitted"), ["auto-generated"]);
    assert_eq!(header(&message, "Date"), ["Tue, 14 Nov 2023 22:13:20 +0000"]);
    assert_eq!(header(&message, "MIME-Version"), ["1.0"]);
    assert_eq!(header(&message, "References"), header(&message, "In-Reply-To"));
    let text = message["texts"]["plain"].as_str().expect("a plain part").replace("\r\n", "\n");
    assert_eq!(text.trim_end(), mail.text);
    let html = message["texts"]["html"].as_str().expect("an HTML part");
    assert_eq!(html.trim_end(), mail.html.as_deref().expect("given above"));
    let picture = &message["pictures"][0];
    assert_eq!(picture[0], "<trace>");
    assert_eq!(picture[1], "inline");
    assert_eq!(picture[2], STANDARD.encode(&mail.pictures[0].png));
    // RFC 5322 §2.1.1 and §2.3 by hand: lines end with CRLF and hold at most 998 characters; RFC 5321 wants 7 bits where 8BITMIME is not asked for.
    let raw = raw(&message);
    assert!(raw.is_ascii());
    for line in raw.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()) {
        assert!(line.len() <= 999 && line.iter().filter(|byte| **byte == b'\r').count() == 1, "{line:?}");
    }
}

// A repeat can be told by its identifier, and messages of one alert by their root (RFC 5322 §3.6.4).
#[tokio::test]
async fn repeats_and_threads_can_be_told() {
    let server = Peer::start("smtp.py", &[]);
    let mailer = |origin| {
        Mailer::prepare(settings(server.port(), MailSecurity::None, None), origin).expect("legal settings")
    };
    let (north, south) = (mailer("north"), mailer("south"));
    let first = mail("ana");
    let next = Mail { key: "17-2-ana-email".to_owned(), ..mail("ana") };
    let other = Mail { thread: "alert-18".to_owned(), key: "18-1-ana-email".to_owned(), ..mail("ana") };
    let mut seen = Vec::new();
    for (mailer, mail) in
        [(&north, &first), (&north, &first), (&north, &next), (&north, &other), (&south, &first)]
    {
        assert_eq!(mailer.send(mail).await, Answer::Taken);
        let message = server.next("a message");
        let one = |name| header(&message, name).concat();
        seen.push((one("Message-ID"), one("References")));
    }
    let [first, again, next, other, south] = &seen[..] else { panic!("five were sent") };
    assert_eq!(first, again);
    assert!(first.0 != next.0 && first.1 == next.1, "{seen:?}");
    assert!(first.0 != other.0 && first.1 != other.1, "{seen:?}");
    assert!(first.0 != south.0 && first.1 != south.1, "two gateways: {seen:?}");
    assert!(first.0.ends_with("@example.org>"), "{seen:?}");
}

#[tokio::test]
async fn goes_by_every_way_and_login() {
    let identity = Identity::of("localhost");
    let password = identity.secret("password", "right \"horse\" ñ");
    let login = ["--user", "kitchen", "--password", "right \"horse\" ñ"];
    for (way, security) in
        [("none", MailSecurity::None), ("starttls", MailSecurity::StartTls), ("tls", MailSecurity::Tls)]
    {
        for mechanism in ["PLAIN", "LOGIN"] {
            let args = [&["--tls", way, "--mechanism", mechanism][..], &login, &identity.args()].concat();
            let server = Peer::start("smtp.py", &args);
            let mut settings = settings(server.port(), security, Some(&identity));
            settings.login = Some(MailLogin { user: "kitchen".to_owned(), password_file: password.clone() });
            let mailer = Mailer::prepare(settings, "north").expect("legal settings");

            let answer = mailer.send(&mail("ana")).await;

            assert_eq!(answer, Answer::Taken, "{way} {mechanism}");
            let message = server.next("a message");
            assert_eq!(message["user"], "kitchen", "{way} {mechanism}");
            assert_eq!(message["tls"].is_null(), way == "none", "{way} {mechanism}");
        }
    }
}

// Whatever stands in a name or a probe, no header and no recipient comes of it (RFC 5322 §2.2).
#[tokio::test]
async fn nothing_in_a_message_becomes_a_header() {
    let server = Peer::start("smtp.py", &[]);
    let settings = settings(server.port(), MailSecurity::None, None);
    let mailer = Mailer::prepare(settings, "north").expect("legal settings");
    for subject in [
        "a\r\nBcc: x@evil.example",
        "a\nBcc: x@evil.example\n\nbody",
        "a\rBcc: x@evil.example",
        "a\0\u{85}Bcc: x",
    ] {
        let mail = Mail {
            subject: subject.to_owned(),
            key: subject.to_owned(),
            thread: subject.to_owned(),
            text: "From me\r\n.\r\nMAIL FROM:<x@evil.example>\r\nBcc: x@evil.example\n".to_owned(),
            pictures: vec![Picture { id: "a\r\nBcc: x@evil.example".to_owned(), png: vec![1] }],
            ..mail("ana")
        };
        assert_eq!(mailer.send(&mail).await, Answer::Taken, "{subject:?}");
        let message = server.next("a message");
        assert_eq!(message["recipients"], json!(["ana@example.org"]), "{subject:?}");
        assert_eq!(header(&message, "Bcc"), [] as [&str; 0], "{subject:?}");
        assert_eq!(header(&message, "Subject").len(), 1);
        assert_eq!(
            message["texts"]["plain"].as_str().map(|text| text.contains("MAIL FROM:<x@evil.example>")),
            Some(true)
        );
        server.assert_silent();
    }
    for to in ["ana@example.org>\r\nRCPT TO:<x@evil.example", "ana@example.org, x@evil.example", "", "@"] {
        let mail = Mail { to: to.to_owned(), ..mail("ana") };
        let answer = mailer.send(&mail).await;
        assert!(matches!(answer, Answer::Never { .. }), "{to:?}: {answer:?}");
    }
    server.assert_silent();
}

#[tokio::test]
async fn a_short_message_is_plain_text_alone() {
    let server = Peer::start("smtp.py", &[]);
    let settings = settings(server.port(), MailSecurity::None, None);
    let mailer = Mailer::prepare(settings, "north").expect("legal settings");
    let mail = Mail { html: None, pictures: Vec::new(), ..mail("ana") };
    assert_eq!(mailer.send(&mail).await, Answer::Taken);
    assert_eq!(server.next("a message")["shape"], "text/plain");
}

#[tokio::test]
async fn a_trial_tells_each_step() {
    let identity = Identity::of("localhost");
    let password = identity.secret("password", "horse");
    let args =
        [&["--tls", "starttls", "--user", "kitchen", "--password", "horse"][..], &identity.args()].concat();
    let server = Peer::start("smtp.py", &args);
    let mut settings = settings(server.port(), MailSecurity::StartTls, Some(&identity));
    settings.login = Some(MailLogin { user: "kitchen".to_owned(), password_file: password });
    let mailer = Mailer::prepare(settings, "north").expect("legal settings");
    let mut steps: Vec<Step> = Vec::new();

    let answer = mailer.trial(&mail("ana"), &mut |step| steps.push(step)).await;

    assert_eq!(answer, Answer::Taken);
    let told: Vec<&str> = steps.iter().map(|step| step.what).collect();
    assert_eq!(told, ["name", "connection", "login", "recipient", "message"]);
    assert_eq!(steps[4].outcome, Ok(Told::words("250 2.0.0 queued as 7B2")));
    let way = Fact::AnswersByStartTls { who: "sink.example".to_owned() };
    assert_eq!(steps[1].outcome, Ok(way.into()));
    assert!(steps.iter().all(|step| step.outcome.is_ok()), "{steps:?}");

    steps.clear();
    let answer = mailer.trial(&mail("nobody"), &mut |step| steps.push(step)).await;
    assert!(matches!(answer, Answer::Never { .. }), "{answer:?}");
    let last = steps.last().expect("steps");
    assert_eq!(last.what, "recipient");
    let error = last.outcome.as_ref().expect_err("nobody lives there").to_string();
    assert!(error.contains("550") && error.contains("no such user"), "{error}");
}
