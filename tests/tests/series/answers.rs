//! What InfluxDB 2 answers, and what is sent to it.

use std::time::Duration;

use rinseward::series::answer::{Denial, Fault, Missing, Outcome, Refusal, Thing};
use rinseward::series::batch::Lines;
use rinseward::series::check::{BucketSeen, Look, look};
use rinseward::series::sender::Sender;

use super::influx::{BUCKET, Influx, ORGANISATION, Reply};
use super::{batch, options, secret, sender};

// InfluxDB 2 OpenAPI description, operation `PostWrite`: parameters org, bucket, precision; headers
// Authorization (scheme `Token`), Content-Encoding, Content-Type.
#[tokio::test]
async fn a_request_is_as_the_api_describes_it() {
    let server = Influx::start_below("/influx/").await;
    let directory = tempfile::tempdir().expect("a temporary directory");
    let token = directory.path().join("token");
    secret(&token, "s3cret==\n");
    let url = format!("http://127.0.0.1:{}/influx/", server.port());
    for gzip in [true, false] {
        let mut options = options(&url);
        options.token_file = Some(token.clone());
        options.gzip = gzip;
        let batch = batch(3);

        assert_eq!(sender(&options).write(batch.lines()).await, Outcome::Taken);

        let seen = server.behaviour().seen.pop().expect("a request");
        let header = |name: &str| seen.headers.get(name).map(String::as_str);
        assert_eq!((seen.method.as_str(), seen.path.as_str()), ("POST", "/influx/api/v2/write"));
        assert_eq!(seen.query, "org=kitchens&bucket=rinseward&precision=ns");
        assert_eq!(header("authorization"), Some("Token s3cret=="));
        assert_eq!(header("content-encoding"), gzip.then_some("gzip"));
        assert_eq!(header("content-type"), Some("text/plain; charset=utf-8"));
        assert_eq!(header("user-agent"), Some(concat!("rinseward/", env!("CARGO_PKG_VERSION"))));
        assert_eq!(seen.body.as_bytes(), batch.lines().bytes());
    }
    assert_eq!(server.behaviour().points.len(), 3);
}

#[tokio::test]
async fn names_in_the_address_are_encoded() {
    let server = Influx::start().await;
    let mut options = options(&server.url());
    options.organisation = "a&b = c/ü".to_owned();
    options.bucket = "x?#y".to_owned();
    let missing = Missing {
        what: Thing::Organisation,
        message: Some("organization name \"a&b = c/ü\" not found".to_owned()),
    };
    assert_eq!(sender(&options).write(batch(1).lines()).await, Outcome::Missing(missing));
}

// Statuses and bodies as in `answer::tests`, here over a real connection.
#[tokio::test]
async fn every_answer_is_told_apart() {
    let server = Influx::start().await;
    let sender = sender(&options(&server.url()));
    let lines = batch(2);
    let later = |status| Outcome::Later(Fault::Server { status, message: None });
    let busy = |status, seconds: Option<u64>| Outcome::Busy {
        status,
        retry_after: seconds.map(Duration::from_secs),
    };
    let foreign =
        |status, location: Option<&str>| Outcome::Foreign { status, location: location.map(str::to_owned) };
    let refusal =
        Refusal { status: 400, message: Some("unable to parse".to_owned()), line: None, dropped: None };
    for (reply, expected) in [
        (Reply::status(204), Outcome::Taken),
        (Reply::error(400, "invalid", "unable to parse"), Outcome::Refused(refusal)),
        (Reply::status(403), Outcome::Denied(Denial { status: 403, message: None })),
        (Reply::error(413, "request too large", "too large"), Outcome::TooLarge),
        (Reply::status(429).header("retry-after", "17"), busy(429, Some(17))),
        (
            Reply::status(503)
                .header("date", "Fri, 31 Dec 1999 23:58:59 GMT")
                .header("retry-after", "Fri, 31 Dec 1999 23:59:59 GMT"),
            busy(503, Some(60)),
        ),
        (Reply::status(503), busy(503, None)),
        (Reply::status(500), later(500)),
        (Reply::status(504), later(504)),
        (
            Reply::status(302).header("location", "http://127.0.0.2:1/x"),
            foreign(302, Some("http://127.0.0.2:1/x")),
        ),
        (
            Reply::status(307).header("location", "http://127.0.0.2:1/x"),
            foreign(307, Some("http://127.0.0.2:1/x")),
        ),
        (Reply::status(200), foreign(200, None)),
        (
            Reply::status(307).header("location", "/api/v2/write?org=kitchens&bucket=rinseward"),
            Outcome::Taken,
        ),
    ] {
        let asked = format!("{reply:?}");
        server.script([reply]);
        assert_eq!(sender.write(lines.lines()).await, expected, "{asked}");
    }
}

/// A new token in the file is taken without a restart, and a wrong one is told of.
#[tokio::test]
async fn a_token_may_be_changed_while_it_runs() {
    let server = Influx::start().await;
    server.behaviour().token = Some("first".to_owned());
    let directory = tempfile::tempdir().expect("a temporary directory");
    let token = directory.path().join("token");
    secret(&token, "first");
    let mut options = options(&server.url());
    options.token_file = Some(token.clone());
    let sender = sender(&options);
    assert_eq!(sender.write(batch(1).lines()).await, Outcome::Taken);

    server.behaviour().token = Some("second".to_owned());
    let message = Some("unauthorized access".to_owned());
    assert_eq!(sender.write(batch(1).lines()).await, Outcome::Denied(Denial { status: 401, message }));
    secret(&token, "second\n");
    assert_eq!(sender.write(batch(1).lines()).await, Outcome::Taken);
    // The one that works is kept: no second try.
    let before = server.behaviour().seen.len();
    assert_eq!(sender.write(batch(1).lines()).await, Outcome::Taken);
    assert_eq!(server.behaviour().seen.len(), before + 1);
}

/// A token that is not there yet holds up the sending and nothing else.
#[tokio::test]
async fn a_token_may_come_later() {
    let server = Influx::start().await;
    let directory = tempfile::tempdir().expect("a temporary directory");
    let mut options = options(&server.url());
    options.token_file = Some(directory.path().join("token"));
    let sender = sender(&options);
    assert!(matches!(super::fault(sender.write(batch(1).lines()).await), Fault::Token { .. }));
    secret(&directory.path().join("token"), "x");
    assert_eq!(sender.write(batch(1).lines()).await, Outcome::Taken);
}

/// Halves until the points at fault stand alone, as the sender's caller does.
async fn bisected(sender: &Sender, lines: Lines<'_>) -> (usize, Vec<String>) {
    let (mut requests, mut aside) = (0, Vec::new());
    let mut open = vec![lines];
    while let Some(lines) = open.pop() {
        requests += 1;
        match sender.write(lines).await {
            Outcome::Taken => {}
            Outcome::Refused(_) if lines.len() == 1 => {
                aside.push(String::from_utf8(lines.bytes().to_vec()).expect("UTF-8"));
            }
            Outcome::Refused(_) | Outcome::TooLarge => {
                let (first, second) = lines.halves();
                open.extend([second, first].into_iter().filter(|lines| !lines.is_empty()));
            }
            other @ (Outcome::Busy { .. }
            | Outcome::Later(_)
            | Outcome::Denied(_)
            | Outcome::Missing(_)
            | Outcome::Foreign { .. }) => panic!("{other:?}"),
        }
    }
    (requests, aside)
}

/// Of a batch with a poison point the others are written once, although some were written before
/// it was found (422: a partial write).
#[tokio::test]
async fn a_poison_point_is_found_and_the_others_are_there_once() {
    let server = Influx::start().await;
    let poison = |line: &str| line.contains("celsius=57 ").then(|| "field type conflict".to_owned());
    server.behaviour().refuse = Some(Box::new(poison));
    server.behaviour().body_bytes_max = Some(2_000);
    let sender = sender(&options(&server.url()));
    let batch = batch(64);
    let (requests, aside) = bisected(&sender, batch.lines()).await;
    assert_eq!(aside.len(), 1, "{aside:?}");
    assert!(aside[0].contains("celsius=57 "), "{aside:?}");
    assert_eq!(server.behaviour().points.len(), 63);
    assert!(requests <= 2 * 7 + 1, "{requests} requests");
}

#[tokio::test]
async fn a_partial_write_says_how_many_were_dropped() {
    let server = Influx::start().await;
    server.behaviour().refuse = Some(Box::new(|_| Some("points beyond retention policy".to_owned())));
    let outcome = sender(&options(&server.url())).write(batch(4).lines()).await;
    let Outcome::Refused(refusal) = &outcome else { panic!("{outcome:?}") };
    assert_eq!((refusal.status, refusal.dropped), (422, Some(4)));
    let told = outcome.explain(&options(&server.url())).expect("a problem");
    assert!(told.advice.starts_with("raise the retention of the bucket"), "{}", told.advice);
}

#[tokio::test]
async fn the_start_looks_for_organisation_and_bucket() {
    let server = Influx::start().await;
    let good = options(&server.url());
    let retention = Some(Duration::from_secs(3_456_000));
    let seen = Look { server: Some("influxdb 2.7.1".to_owned()), bucket: BucketSeen::Found { retention } };
    assert_eq!(look(sender(&good).server(), &good).await, Ok(seen));

    let what = |outcome: Outcome| {
        let Outcome::Missing(missing) = outcome else { panic!("{outcome:?}") };
        missing.what
    };
    let mut other = good.clone();
    other.bucket = "elsewhere".to_owned();
    let found = look(sender(&other).server(), &other).await.expect_err("no such bucket");
    assert_eq!(what(found), Thing::Bucket);
    let mut other = good.clone();
    other.organisation = "nobody".to_owned();
    let found = look(sender(&other).server(), &other).await.expect_err("no such organisation");
    assert_eq!(what(found), Thing::Organisation);

    server.behaviour().token = Some("x".to_owned());
    let found = look(sender(&good).server(), &good).await.expect_err("no token");
    assert!(matches!(found, Outcome::Denied(Denial { status: 401, .. })), "{found:?}");
    assert_eq!((ORGANISATION, BUCKET), ("kitchens", "rinseward"));
}

/// The real server has no list of buckets; that is not a missing bucket.
#[tokio::test]
async fn a_server_without_buckets_is_no_server_without_ours() {
    let server = super::victoria::Victoria::start();
    let options = options(&server.url());
    let found = look(sender(&options).server(), &options).await.expect("a server that answers");
    assert_eq!(found, Look { server: None, bucket: BucketSeen::NoList });
}
