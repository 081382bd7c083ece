//! Writes one point and reads it back, and says which step failed.
//!
//! Reading back is by a Flux query where the server is InfluxDB 2, and by the
//! export of VictoriaMetrics where there is no such query.

use std::fmt;
use std::time::Duration;

use reqwest::Method;
use serde::{Deserialize, Serialize};

use super::answer::{Answer, Outcome};
use super::batch::Batch;
use super::check::{BucketSeen, Look, look};
use super::explain::Explanation;
use super::http::{PrepareError, Request};
use super::measurements::TEST;
use super::point::Point;
use super::sender::Sender;
use crate::config::series::SeriesOptions;
use crate::core::time::Timestamp;

/// Time between two looks.
const LOOK_EVERY: Duration = Duration::from_millis(250);

/// One step.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Step {
    /// Certificates and token are there.
    Prepare,
    /// The server answers, and the bucket is there.
    Bucket,
    /// The server takes a point.
    Write,
    /// The point comes back.
    Read,
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Prepare => "prepare",
            Self::Bucket => "bucket",
            Self::Write => "write",
            Self::Read => "read",
        })
    }
}

/// What came of one step.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Done {
    /// Which.
    pub step: Step,
    /// What was seen, in words, or what went wrong.
    pub result: Result<String, Explanation>,
}

/// Goes through the steps up to the first that fails. `now` is the time of the point.
pub async fn run(options: &SeriesOptions, site: &str, now: Timestamp) -> Vec<Done> {
    let mut done = Vec::new();
    let mut go = |step, result: Result<String, Explanation>| {
        let good = result.is_ok();
        done.push(Done { step, result });
        good
    };
    let sender = Sender::new(options);
    let prepared = match &sender {
        Ok(_) => Ok(format!("certificates and settings for {} are sound", options.url)),
        Err(error) => Err(unprepared(error)),
    };
    go(Step::Prepare, prepared);
    let Ok(sender) = sender else { return done };
    let seen = match look(sender.server(), options).await {
        Ok(look) => Ok(seen(look, options)),
        Err(outcome @ Outcome::Later(_)) => Err(told(&outcome, options)),
        // Where only the list of buckets is closed to the token, the write itself tells more.
        Err(outcome) => Ok(format!("not seen ({}); the write tells", told(&outcome, options).summary)),
    };
    if !go(Step::Bucket, seen) {
        return done;
    }
    let value = mark(now);
    let point = Point::new(TEST, at_milli(now)).tag("site", site.to_owned()).float("value", value);
    if !go(Step::Write, write(&sender, options, &point).await) {
        return done;
    }
    go(Step::Read, read(&sender, options, site, at_milli(now), value).await);
    done
}

/// The time to the millisecond, since some servers keep no more.
fn at_milli(now: Timestamp) -> Timestamp {
    Timestamp::from_micros(now.micros().div_euclid(1_000) * 1_000)
}

/// A value that another trial hardly has.
fn mark(now: Timestamp) -> f64 {
    Duration::from_micros(u64::try_from(now.micros().rem_euclid(100_000_000)).unwrap_or(0)).as_secs_f64()
}

/// What to tell of a server that could not be prepared.
#[must_use]
pub fn unprepared(error: &PrepareError) -> Explanation {
    let cause = std::error::Error::source(error).map(ToString::to_string);
    Explanation::new("series-tls", error.to_string(), error.fix()).because(cause)
}

fn seen(look: Look, options: &SeriesOptions) -> String {
    let server = look.server.unwrap_or_else(|| "the server".to_owned());
    match look.bucket {
        BucketSeen::Found { retention: None } => {
            format!("{server} has the bucket «{}» and keeps its points for ever", options.bucket)
        }
        BucketSeen::Found { retention: Some(kept) } => {
            let hours = kept.as_secs() / 3_600;
            format!("{server} has the bucket «{}» and keeps its points for {hours} h", options.bucket)
        }
        BucketSeen::NoList => format!("{server} answers and has no list of buckets"),
    }
}

async fn write(sender: &Sender, options: &SeriesOptions, point: &Point) -> Result<String, Explanation> {
    let mut batch = Batch::default();
    batch.push(point).map_err(|why| {
        let advice = "correct [site] name: it stands in every point";
        Explanation::new("series-refused", "the point of the test cannot be written", advice)
            .because(why.to_string())
    })?;
    let outcome = sender.write(batch.lines()).await;
    if outcome == Outcome::Taken {
        Ok("the server took one point".to_owned())
    } else {
        Err(told(&outcome, options))
    }
}

fn told(outcome: &Outcome, options: &SeriesOptions) -> Explanation {
    outcome.explain(options).unwrap_or_else(|| {
        Explanation::new("series-api", "the server gives an answer that does not fit", "report it")
    })
}

/// How a server can be asked for the point.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    Flux,
    Export,
}

impl Way {
    /// How often the point is looked for. InfluxDB shows it at once; victoria-metrics 1.79 shows a new
    /// series ten seconds after it was taken (measured), unless it is told to flush.
    const fn looks_max(self) -> u32 {
        match self {
            Self::Flux => 20,
            Self::Export => 60,
        }
    }
}

async fn read(
    sender: &Sender,
    options: &SeriesOptions,
    site: &str,
    at: Timestamp,
    value: f64,
) -> Result<String, Explanation> {
    let mut way = Way::Flux;
    let mut looks = 0;
    while looks < way.looks_max() {
        looks += 1;
        let request = match way {
            Way::Flux => flux(options, site, at),
            Way::Export => export(site, at),
        };
        let answer = sender.server().ask(&request).await.map_err(|fault| fault.explain(options))?;
        match (answer.status, way) {
            (200, Way::Flux) if in_csv(&answer, value) => {
                return Ok("a Flux query gave the same value back".to_owned());
            }
            (200, Way::Export) if in_export(&answer, at, value) => {
                return Ok("the export gave the same value back".to_owned());
            }
            (401 | 403, _) => {
                return Ok("not read back: the token may write and not read, which is enough".to_owned());
            }
            (200, Way::Flux) if is_csv(&answer) => {}
            (200, Way::Export) => {}
            // No Flux here, or an answer that is none.
            (200 | 400 | 404 | 405 | 501, Way::Flux) if !is_error_of_influx(&answer) => {
                way = Way::Export;
                // Else a new series is shown only ten seconds later; where this is not known or not
                // allowed, it is waited for.
                drop(sender.server().ask(&Request::get("internal/force_flush", Vec::new())).await);
                continue;
            }
            (400 | 404 | 405 | 501, Way::Export) => {
                return Ok("not read back: the server has neither Flux queries nor an export".to_owned());
            }
            _ => return Err(told(&answer.outcome(), options)),
        }
        tokio::time::sleep(LOOK_EVERY).await;
    }
    let advice = "read the log of the server: some servers take a line with 204 and drop it afterwards; check the \
                  clock of this computer and the retention of the bucket";
    let summary = "the server took the point and does not give it back";
    Err(Explanation::new("series-unread", summary, advice)
        .because(format!("no value {value} of «{TEST}» at {at} within {} s", (LOOK_EVERY * looks).as_secs())))
}

fn flux(options: &SeriesOptions, site: &str, at: Timestamp) -> Request {
    let query = format!(
        "from(bucket: {}) |> range(start: {at}, stop: {}) |> filter(fn: (r) => r._measurement == {} and r._field == \
         \"value\" and r.site == {})",
        in_flux(&options.bucket),
        at.plus(Duration::from_secs(1)),
        in_flux(TEST),
        in_flux(site),
    );
    Request {
        method: Method::POST,
        path: "api/v2/query",
        query: vec![("org", options.organisation.clone())],
        content_type: "application/vnd.flux",
        is_gzip: false,
        body: query.into(),
        answer_bytes_max: 1 << 20,
    }
}

/// A string literal of Flux (Flux language specification, «String literals»).
fn in_flux(text: &str) -> String {
    let mut quoted = String::from("\"");
    for character in text.chars() {
        if matches!(character, '"' | '\\' | '$') {
            quoted.push('\\');
        }
        quoted.push(character);
    }
    quoted.push('"');
    quoted
}

/// Whether the value stands in the column `_value` of an annotated CSV.
fn in_csv(answer: &Answer, value: f64) -> bool {
    let text = String::from_utf8_lossy(&answer.body);
    let mut lines = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    let Some(head) = lines.next() else { return false };
    let Some(column) = head.split(',').position(|name| name == "_value") else { return false };
    // The columns before `_value` hold no commas: numbers and times.
    lines.any(|line| {
        let found = line.split(',').nth(column).and_then(|cell| cell.parse::<f64>().ok());
        found.is_some_and(|found| same(found, value))
    })
}

/// Whether this is an answer of a Flux query: empty, or CSV with its columns.
fn is_csv(answer: &Answer) -> bool {
    let text = String::from_utf8_lossy(&answer.body);
    text.trim().is_empty() || text.contains("_value") || text.starts_with("#datatype")
}

fn is_error_of_influx(answer: &Answer) -> bool {
    #[derive(Deserialize)]
    struct Error {
        code: String,
    }
    let code = serde_json::from_slice::<Error>(&answer.body).map(|error| error.code);
    // A path that is not known is «not found» in InfluxDB 2 as well: of `path`, not of a bucket.
    code.is_ok_and(|code| code != "not found" || answer.message().is_some_and(|said| !said.contains("path")))
}

fn export(site: &str, at: Timestamp) -> Request {
    let label = site.replace('\\', r"\\").replace('"', "\\\"");
    let matching = format!("{TEST}_value{{site=\"{label}\"}}");
    let seconds = |at: Timestamp| format!("{:.3}", at.seconds());
    let (from, to) = (at.minus(Duration::from_secs(1)), at.plus(Duration::from_secs(1)));
    let query = vec![("match[]", matching), ("start", seconds(from)), ("end", seconds(to))];
    Request::get("api/v1/export", query)
}

/// Whether a line of the export holds the value at its time, which is kept in milliseconds.
fn in_export(answer: &Answer, at: Timestamp, value: f64) -> bool {
    #[derive(Deserialize)]
    struct Line {
        values: Vec<Option<f64>>,
        timestamps: Vec<i64>,
    }
    let millis = at.micros().div_euclid(1_000);
    String::from_utf8_lossy(&answer.body).lines().filter_map(|line| serde_json::from_str(line).ok()).any(
        |line: Line| {
            let mut pairs = line.timestamps.iter().zip(&line.values);
            pairs.any(|(time, found)| *time == millis && found.is_some_and(|found| same(found, value)))
        },
    )
}

/// Numbers that passed through decimal text.
fn same(found: f64, value: f64) -> bool {
    (found - value).abs() < 1e-9
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(body: &str) -> Answer {
        Answer { status: 200, location: None, retry_after: None, body: body.as_bytes().to_vec() }
    }

    // Annotated CSV as in the InfluxDB 2 documentation, «Annotated CSV»; the export line as in the
    // VictoriaMetrics documentation, «How to export data in JSON line format».
    #[test]
    fn the_value_is_found_in_what_servers_answer() {
        let csv = "#datatype,string,long,dateTime:RFC3339,double\r\n#group,false,false,false,false\r\n\
                   #default,_result,,,\r\n,result,table,_time,_value\r\n,,0,2026-11-25T10:00:00Z,12.5\r\n\r\n";
        assert!(in_csv(&answer(csv), 12.5));
        assert!(!in_csv(&answer(csv), 12.6));
        assert!(is_csv(&answer("\r\n")) && !in_csv(&answer("\r\n"), 12.5));
        assert!(!is_csv(&answer("<html>")));
        let at = Timestamp::from_micros(1_700_000_000_123_000);
        let line = r#"{"metric":{"__name__":"test_value","site":"kitchen"},"values":[12.5],"timestamps":[1700000000123]}"#;
        assert!(in_export(&answer(line), at, 12.5));
        assert!(!in_export(&answer(line), at, 12.6));
        assert!(!in_export(&answer(""), at, 12.5));
        assert_eq!(in_flux("a\"b\\c ${d}"), r#""a\"b\\c \${d}""#);
    }
}
