//! Looks whether the server, the organisation and the bucket are there.
//!
//! Nothing of it stops the recording, and nothing of it is needed to write: a
//! server may take points without showing its buckets. InfluxDB 2 lists a bucket
//! only to a token that may read or write it, and other servers with the same
//! write API have no buckets at all; both are told apart from a bucket that is
//! missing.

use std::time::Duration;

use serde::Deserialize;

use super::answer::{Answer, Fault, Missing, Outcome, Thing};
use super::http::{Request, Server};
use crate::config::series::SeriesOptions;

/// What was found.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Look {
    /// What the server calls itself.
    pub server: Option<String>,
    /// The bucket.
    pub bucket: BucketSeen,
}

/// What was found of the bucket.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum BucketSeen {
    /// It is there.
    Found {
        /// How long it keeps points; `None` is for ever.
        retention: Option<Duration>,
    },
    /// The server has no list of buckets; the first write tells.
    NoList,
}

/// Answer of `GET /health` (InfluxDB 2 OpenAPI description, schema `HealthCheck`).
#[derive(Deserialize)]
struct Health {
    name: Option<String>,
    status: Option<String>,
    version: Option<String>,
    message: Option<String>,
}

/// Answer of `GET /api/v2/buckets` (schema `Buckets`).
#[derive(Deserialize)]
struct Buckets {
    buckets: Vec<Bucket>,
}

#[derive(Deserialize)]
struct Bucket {
    name: String,
    #[serde(rename = "retentionRules", default)]
    rules: Vec<Rule>,
}

#[derive(Deserialize)]
struct Rule {
    #[serde(rename = "everySeconds", default)]
    every_seconds: u64,
}

/// Asks the server how it is and whether the bucket is there.
///
/// # Errors
/// The [`Outcome`] that a write would have, as far as it can be told without writing.
pub async fn look(server: &Server, options: &SeriesOptions) -> Result<Look, Outcome> {
    let health = server.ask(&Request::get("health", Vec::new())).await.map_err(Outcome::Later)?;
    let name = name_of(&health)?;
    let query = vec![("org", options.organisation.clone()), ("name", options.bucket.clone())];
    let answer = server.ask(&Request::get("api/v2/buckets", query)).await.map_err(Outcome::Later)?;
    Ok(Look { server: name, bucket: bucket(&answer, &options.bucket)? })
}

/// What the server calls itself; a server may be without this page.
fn name_of(answer: &Answer) -> Result<Option<String>, Outcome> {
    let health = serde_json::from_slice::<Health>(&answer.body).ok();
    if let (503, Some(Health { status: Some(status), message, .. })) = (answer.status, &health) {
        let message = message.clone().or_else(|| Some(status.clone()));
        return Err(Outcome::Later(Fault::Server { status: 503, message }));
    }
    if matches!(answer.status, 301 | 302 | 303 | 307 | 308 | 429 | 500..=599) {
        return Err(answer.outcome());
    }
    Ok(health.and_then(|health| match (health.name, health.version) {
        (Some(name), Some(version)) => Some(super::point::one_line(&format!("{name} {version}"), 80)),
        (name, _) => name.map(|name| super::point::one_line(&name, 80)),
    }))
}

fn bucket(answer: &Answer, bucket: &str) -> Result<BucketSeen, Outcome> {
    let is_json = serde_json::from_slice::<serde_json::Map<String, serde_json::Value>>(&answer.body).is_ok();
    match answer.status {
        200 => match serde_json::from_slice::<Buckets>(&answer.body) {
            Ok(listed) => {
                let found = listed.buckets.iter().find(|listed| listed.name == bucket);
                let found = found.ok_or(Outcome::Missing(Missing { what: Thing::Bucket, message: None }))?;
                let seconds = found.rules.iter().map(|rule| rule.every_seconds).find(|seconds| *seconds > 0);
                Ok(BucketSeen::Found { retention: seconds.map(Duration::from_secs) })
            }
            Err(_) => Ok(BucketSeen::NoList),
        },
        // InfluxDB 2 answers in JSON; a server without this path in other words.
        400 | 404 | 405 | 501 if !is_json => Ok(BucketSeen::NoList),
        404 => {
            let outcome = answer.outcome();
            let of_path = matches!(&outcome, Outcome::Missing(missing) if missing.what == Thing::Path);
            if of_path { Ok(BucketSeen::NoList) } else { Err(outcome) }
        }
        400 | 405 | 422 | 501 => Ok(BucketSeen::NoList),
        _ => Err(answer.outcome()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(status: u16, body: &str) -> Answer {
        Answer { status, location: None, retry_after: None, body: body.as_bytes().to_vec() }
    }

    // Bodies as in the OpenAPI description of InfluxDB 2 (schemas `Buckets`, `Error`); the plain
    // text is what victoria-metrics 1.79 says to a path it does not know.
    #[test]
    fn a_missing_bucket_is_told_from_a_missing_list() {
        let listed =
            r#"{"buckets":[{"name":"rinseward","retentionRules":[{"type":"expire","everySeconds":86400}]}]}"#;
        let day = BucketSeen::Found { retention: Some(Duration::from_secs(86_400)) };
        let missing = |what| Err(Some(what));
        for (name, status, body, expected) in [
            ("listed", 200, listed, Ok(day)),
            (
                "kept for ever",
                200,
                r#"{"buckets":[{"name":"rinseward","retentionRules":[]}]}"#,
                Ok(BucketSeen::Found { retention: None }),
            ),
            ("not listed", 200, r#"{"buckets":[]}"#, missing(Thing::Bucket)),
            (
                "no organisation",
                404,
                r#"{"code":"not found","message":"organization name \"kitchens\" not found"}"#,
                missing(Thing::Organisation),
            ),
            (
                "no bucket",
                404,
                r#"{"code":"not found","message":"bucket \"rinseward\" not found"}"#,
                missing(Thing::Bucket),
            ),
            ("no such path", 400, "unsupported path requested: \"/api/v2/buckets\"", Ok(BucketSeen::NoList)),
            ("not found", 404, "404 page not found", Ok(BucketSeen::NoList)),
            ("a page", 200, "<html>hello</html>", Ok(BucketSeen::NoList)),
            ("denied", 401, r#"{"code":"unauthorized","message":"unauthorized access"}"#, Err(None)),
        ] {
            let found = bucket(&answer(status, body), "rinseward").map_err(|outcome| {
                if let Outcome::Missing(missing) = outcome { Some(missing.what) } else { None }
            });
            assert_eq!(found, expected, "{name}");
        }
    }
}
