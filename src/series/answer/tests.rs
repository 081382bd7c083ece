//! Answers of servers and what they mean.

use super::*;

fn answer(status: u16, body: &str) -> Answer {
    Answer { status, location: None, retry_after: None, body: body.as_bytes().to_vec() }
}

fn server(status: u16, message: Option<&str>) -> Outcome {
    Outcome::Later(Fault::Server { status, message: message.map(str::to_owned) })
}

fn refused(status: u16, message: &str, line: Option<usize>, dropped: Option<usize>) -> Outcome {
    Outcome::Refused(Refusal { status, message: Some(message.to_owned()), line, dropped })
}

fn missing(what: Thing, message: &str) -> Outcome {
    Outcome::Missing(Missing { what, message: Some(message.to_owned()) })
}

// Statuses and bodies: InfluxDB 2 OpenAPI description, operation `PostWrite`, schemas `Error`,
// `LineProtocolError`, `LineProtocolLengthError`; «partial write: … dropped=n» is the text of its
// storage engine. The text without JSON is victoria-metrics 1.79's.
#[test]
fn every_answer_has_one_meaning() {
    let parse = r#"{"code":"invalid","message":"unable to parse 'm,t= v=1': missing tag value","op":"write","line":2}"#;
    let partial = r#"{"code":"unprocessable entity","message":"failure writing points to database: partial write: points beyond retention policy dropped=2"}"#;
    for (name, answer, expected) in [
        ("taken", answer(204, ""), Outcome::Taken),
        (
            "a line at fault",
            answer(400, parse),
            refused(400, "unable to parse 'm,t= v=1': missing tag value", Some(2), None),
        ),
        (
            "a path that victoria-metrics does not know",
            answer(400, r#"unsupported path requested: "/nowhere/api/v2/write""#),
            missing(Thing::Path, r#"unsupported path requested: "/nowhere/api/v2/write""#),
        ),
        (
            "some too old",
            answer(422, partial),
            refused(
                422,
                "failure writing points to database: partial write: points beyond retention policy dropped=2",
                None,
                Some(2),
            ),
        ),
        (
            "some rejected",
            answer(201, r#"{"code":"invalid","message":"1 of 2 points rejected"}"#),
            refused(201, "1 of 2 points rejected", None, None),
        ),
        (
            "an unknown token",
            answer(401, r#"{"code":"unauthorized","message":"unauthorized access"}"#),
            Outcome::Denied(Denial { status: 401, message: Some("unauthorized access".to_owned()) }),
        ),
        ("not allowed", answer(403, ""), Outcome::Denied(Denial { status: 403, message: None })),
        (
            "no bucket",
            answer(404, r#"{"code":"not found","message":"bucket \"rinseward\" not found"}"#),
            missing(Thing::Bucket, "bucket \"rinseward\" not found"),
        ),
        (
            "no organisation",
            answer(404, r#"{"code":"not found","message":"organization name \"kitchens\" not found"}"#),
            missing(Thing::Organisation, "organization name \"kitchens\" not found"),
        ),
        ("no such path", answer(404, "404 page not found"), missing(Thing::Path, "404 page not found")),
        (
            "too large",
            answer(413, r#"{"code":"invalid","message":"too large","maxLength":50000000}"#),
            Outcome::TooLarge,
        ),
        ("failing", answer(500, r#"{"code":"internal error","message":"disk"}"#), server(500, Some("disk"))),
        ("a gateway before it", answer(502, "<html>Bad Gateway</html>"), server(502, None)),
        ("slow request", answer(408, ""), server(408, None)),
        (
            "a page in between",
            answer(200, "<html>please log in</html>"),
            Outcome::Foreign { status: 200, location: None },
        ),
        (
            "another host",
            Answer { location: Some("https://b.example/".to_owned()), ..answer(302, "") },
            Outcome::Foreign { status: 302, location: Some("https://b.example/".to_owned()) },
        ),
        (
            "too many",
            Answer { retry_after: Some(Duration::from_secs(7)), ..answer(429, "") },
            Outcome::Busy { status: 429, retry_after: Some(Duration::from_secs(7)) },
        ),
        ("overloaded", answer(503, ""), Outcome::Busy { status: 503, retry_after: None }),
    ] {
        assert_eq!(answer.outcome(), expected, "{name}");
    }
}

#[test]
fn a_message_stays_short_and_on_one_line() {
    let long = format!("{{\"message\":\"{}\\nerror[bug]: x\"}}", "é".repeat(1_000));
    let message = answer(400, &long).message().expect("a message");
    assert!(message.len() <= MESSAGE_BYTES_MAX && !message.contains('\n'), "{message}");
}

/// Every outcome but the good one has words for a person, under a slug that the program knows.
#[test]
fn every_outcome_is_explained() {
    let options = crate::config::series::SeriesOptions {
        url: "https://influx.example:8086/".parse().expect("an address"),
        organisation: "kitchens".to_owned(),
        bucket: "rinseward".to_owned(),
        token_file: Some("/etc/rinseward/token".into()),
        ca_file: None,
        readings: crate::config::series::Readings::All,
        timeout: Duration::from_secs(30),
        batch_points: 5_000,
        gzip: true,
    };
    assert_eq!(Outcome::Taken.explain(&options), None);
    let cause = || "x".to_owned();
    let faults = [
        Fault::Name,
        Fault::ConnectionRefused,
        Fault::Connect { cause: cause() },
        Fault::ConnectTimeout,
        Fault::Timeout,
        Fault::Tls(TlsFault::UnknownAuthority),
        Fault::Tls(TlsFault::OtherName),
        Fault::Tls(TlsFault::NotValidNow),
        Fault::Tls(TlsFault::NoTls),
        Fault::Tls(TlsFault::Other { cause: cause() }),
        Fault::Cut,
        Fault::NotHttp,
        Fault::Server { status: 500, message: None },
        Fault::Token { cause: cause(), fix: cause() },
        Fault::Other { cause: cause() },
    ];
    let statuses = [400, 401, 403, 404, 413, 418, 422, 429, 500, 503];
    let outcomes = statuses.into_iter().map(|status| answer(status, "").outcome());
    for outcome in outcomes.chain(faults.into_iter().map(Outcome::Later)) {
        let told = outcome.explain(&options).unwrap_or_else(|| panic!("nothing to say of {outcome:?}"));
        let known = crate::diagnostic::SLUGS.iter().any(|(slug, _, _)| *slug == told.slug);
        assert!(known, "{outcome:?}: {}", told.slug);
        assert!(told.cause.is_some() && !told.advice.is_empty(), "{outcome:?}");
        let words = format!("{} {:?} {}", told.summary, told.cause, told.advice);
        assert!(!words.contains("Token "), "{words}");
    }
}
