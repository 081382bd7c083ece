//! What people do: take an alert on, write its corrective action, enter a check.

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use super::Deed;
use super::call::{Call, json, told};
use super::problem::{Problem, Wrong};
use super::single::{Named, misnamed};
use crate::core::alert::{LETTERS_MIN, TEXT_BYTES_MAX, says_something};
use crate::core::logbook::method::known_method;
use crate::core::record::Check;
use crate::core::time::Timestamp;
use crate::web::kitchen::{Kitchen, Pages};

/// Longest text, in characters: each has at most four bytes, of which the desk counts.
pub(super) const TEXT_CHARS_MAX: usize = TEXT_BYTES_MAX / 4;

/// A body, or why there is none.
type Sent = Result<Bytes, BytesRejection>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Note {
    #[serde(default)]
    note: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Action {
    racks: String,
    done: String,
    #[serde(default)]
    covers: Option<u64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entered {
    #[serde(default)]
    machine: Option<String>,
    check: Map<String, Value>,
    #[serde(default)]
    late: bool,
}

pub(super) async fn acknowledge<K: Kitchen>(
    State(pages): State<Pages<K>>,
    named: Named<u64>,
    call: Call,
    sent: Sent,
) -> Response {
    let deed = about_alert(named, &call, sent, |alert, Note { note }| {
        let wrong = note.as_deref().and_then(|note| too_long("/note", note));
        (Deed::Acknowledge { alert, note }, wrong.into_iter().collect())
    });
    decided(&pages, &call, deed).await
}

pub(super) async fn act<K: Kitchen>(
    State(pages): State<Pages<K>>,
    named: Named<u64>,
    call: Call,
    sent: Sent,
) -> Response {
    let deed = about_alert(named, &call, sent, |alert, Action { racks, done, covers }| {
        let fields = [("/racks", &racks), ("/done", &done)].into_iter();
        let wrong = fields.filter_map(|(pointer, text)| {
            if text.trim().is_empty() {
                return Some(Wrong::pointer(pointer, "it is empty"));
            }
            too_long(pointer, text).or_else(|| {
                let detail = format!("it says nothing: write at least {LETTERS_MIN} letters or digits");
                (!says_something(text)).then(|| Wrong::pointer(pointer, detail))
            })
        });
        let wrong = wrong.collect();
        (Deed::Act { alert, racks, done, covers }, wrong)
    });
    decided(&pages, &call, deed).await
}

/// What somebody does about the alert that the path names, as its body says; or why that cannot be.
fn about_alert<T: DeserializeOwned>(
    named: Named<u64>,
    call: &Call,
    sent: Sent,
    deed: impl FnOnce(u64, T) -> (Deed, Vec<Wrong>),
) -> Result<Deed, Problem> {
    let Path(alert) = named.map_err(|rejection| misnamed(&rejection, "number"))?;
    let (deed, wrong) = deed(alert, read(&call.headers, sent)?);
    if wrong.is_empty() { Ok(deed) } else { Err(Problem::fields(wrong)) }
}

async fn decided<K: Kitchen>(pages: &Pages<K>, call: &Call, deed: Result<Deed, Problem>) -> Response {
    match deed {
        Ok(deed) => perform(pages, call, StatusCode::OK, deed).await,
        Err(problem) => problem.into_response(),
    }
}

pub(super) async fn check<K: Kitchen>(State(pages): State<Pages<K>>, call: Call, sent: Sent) -> Response {
    let entered = read::<Entered>(&call.headers, sent)
        .and_then(|entered| made(entered, pages.kitchen.time(), &call.person.name));
    match entered {
        Ok(deed) => perform(&pages, &call, StatusCode::CREATED, deed).await,
        Err(problem) => problem.into_response(),
    }
}

async fn perform<K: Kitchen>(pages: &Pages<K>, call: &Call, status: StatusCode, deed: Deed) -> Response {
    told(pages.kitchen.perform(deed, &call.person.name).await.map(|text| json(status, text)))
}

fn too_long(pointer: &str, text: &str) -> Option<Wrong> {
    let detail = || format!("it is longer than {TEXT_CHARS_MAX} characters");
    (text.chars().count() > TEXT_CHARS_MAX).then(|| Wrong::pointer(pointer, detail()))
}

/// The check as it would go on record: by whoever enters it, and now where nothing else is said.
fn made(entered: Entered, now: Timestamp, by: &str) -> Result<Deed, Problem> {
    let Entered { machine, check: mut given, late } = entered;
    if given.contains_key("by") {
        let detail = "who made it is whoever enters it, by their own token or login";
        return Err(Problem::fields(vec![Wrong::pointer("/check/by", detail)]));
    }
    let names: Vec<String> = given.keys().cloned().collect();
    given.insert("by".to_owned(), Value::String(by.to_owned()));
    given.entry("at").or_insert_with(|| Value::String(now.to_string()));
    let wrong = |error: serde_json::Error| Problem::fields(vec![Wrong::pointer("/check", plain(&error))]);
    let check: Check = serde_json::from_value(Value::Object(given.clone())).map_err(|error| {
        let pointer = culprit(&given, &error).map_or_else(String::new, |name| format!("/{}", escaped(name)));
        Problem::fields(vec![Wrong::pointer(format!("/check{pointer}"), plain(&error))])
    })?;
    if let Check::Sanitizer { method: Some(method), .. } = &check
        && known_method(method).is_none()
    {
        let detail = "a method is one of test strip, titration, meter";
        return Err(Problem::fields(vec![Wrong::pointer("/check/method", detail)]));
    }
    // What is passed over in silence would look as if it were on record.
    let kept = serde_json::to_value(&check).map_err(wrong)?;
    let lost = names.iter().find(|name| kept.get(name.as_str()).is_none());
    match lost {
        // A key that says «nothing» is left out of the record.
        Some(name) if check_takes(check.kind().as_str(), name) => Ok(Deed::Check { machine, check, late }),
        Some(name) => {
            let detail = format!("a check of the kind «{}» has no such field", check.kind().as_str());
            Err(Problem::fields(vec![Wrong::pointer(format!("/check/{}", escaped(name)), detail)]))
        }
        None => Ok(Deed::Check { machine, check, late }),
    }
}

/// The field of a check that cannot be read: the one without which nothing, or something else, is wrong with it. `None`
/// where one is missing.
fn culprit<'g>(given: &'g Map<String, Value>, error: &serde_json::Error) -> Option<&'g str> {
    let told = error.to_string();
    if told.starts_with("missing field") {
        return None;
    }
    // What no check has cannot be wrong with it: so much and no more is read again.
    let known = |name: &&str| FIELDS.contains(name);
    let few: Vec<(&str, &Value)> =
        given.iter().map(|(name, value)| (name.as_str(), value)).filter(|(name, _)| known(name)).collect();
    let mends = |left_out: &&str| {
        let others = few.iter().filter(|(name, _)| name != left_out);
        let without = others.map(|(name, value)| ((*name).to_owned(), (*value).clone())).collect();
        let read = serde_json::from_value::<Check>(Value::Object(without));
        read.err().is_none_or(|error| error.to_string() != told)
    };
    // Without its kind nothing else is looked at.
    let mut named = few.iter().map(|(name, _)| *name).filter(|name| *name != KIND);
    named.find(mends).or_else(|| few.iter().map(|(name, _)| *name).find(|name| *name == KIND))
}

/// The field that says of which kind a check is.
const KIND: &str = "check";

/// Every field that a check of some kind has.
const FIELDS: [&str; 15] = [
    KIND,
    "at",
    "by",
    "mg_per_l",
    "ph",
    "solution_c",
    "method",
    "enough",
    "short",
    "note",
    "what",
    "shown_c",
    "reference_c",
    "tolerance_c",
    "reference",
];

/// Whether a kind of check has this field, which is left out of the record where it is `null`.
fn check_takes(kind: &str, name: &str) -> bool {
    match kind {
        "sanitizer" => matches!(name, "ph" | "solution_c" | "method"),
        "supply" | "drain-and-clean" => name == "note",
        _ => false,
    }
}

/// What does not fit, in our words where a field is missing.
fn plain(error: &serde_json::Error) -> String {
    let told = error.to_string();
    let missing = told.strip_prefix("missing field `").and_then(|rest| rest.split('`').next());
    missing.map(|field| format!("the field «{field}» is missing")).unwrap_or(told)
}

/// A key as a token of a JSON pointer (RFC 6901 §3), its begin where it is long.
fn escaped(key: &str) -> String {
    let key: String = key.chars().take(100).collect();
    key.replace('~', "~0").replace('/', "~1")
}

/// Reads a body.
fn read<T: DeserializeOwned>(headers: &HeaderMap, sent: Sent) -> Result<T, Problem> {
    if !is_json(headers) {
        let (status, detail) = (StatusCode::UNSUPPORTED_MEDIA_TYPE, "the body is not said to be JSON");
        return Err(Problem::new(status, "api-request", detail, "send Content-Type: application/json"));
    }
    let bytes = sent.map_err(|rejection| match rejection.status() {
        StatusCode::PAYLOAD_TOO_LARGE => {
            let advice = format!("send at most {} bytes", super::route::BODY_BYTES_MAX);
            Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "api-request", "the body is too long", advice)
        }
        _ => {
            let (detail, advice) = ("the body cannot be read to its end", "send it again, whole");
            Problem::new(StatusCode::BAD_REQUEST, "api-request", detail, advice)
        }
    })?;
    let value: Value = serde_json::from_slice(&bytes).map_err(|error| {
        let detail = format!("the body is no JSON: {error}");
        Problem::new(StatusCode::BAD_REQUEST, "api-request", detail, "send one JSON object")
    })?;
    // An array would be taken too, its elements by their places.
    if !value.is_object() {
        return Err(Problem::fields(vec![Wrong::pointer(String::new(), "one JSON object is expected")]));
    }
    serde_path_to_error::deserialize(value).map_err(|error| {
        let pointer: String = error
            .path()
            .iter()
            .map(|segment| format!("/{}", escaped(&segment.to_string())))
            .filter(|token| token != "/?")
            .collect();
        Problem::fields(vec![Wrong::pointer(pointer, plain(error.inner()))])
    })
}

fn is_json(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let essence = kind.split(';').next().unwrap_or_default().trim();
    essence.eq_ignore_ascii_case("application/json")
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;
    use crate::core::record::Supply;

    // RFC 8259: an array is another value than an object, whatever its elements could be read as.
    #[test]
    fn a_body_is_one_object() {
        let mut headers = HeaderMap::new();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
        let status = |body: &'static str| {
            let read = read::<Entered>(&headers, Ok(Bytes::from_static(body.as_bytes())));
            read.map(|entered| entered.check.len()).map_err(|problem| problem.into_response().status())
        };
        assert_eq!(status(r#"{"machine":"dm2","check":{"kind":"supply"}}"#), Ok(1));
        for body in [r#"["dm2",{"kind":"supply"},false]"#, "3", "null"] {
            assert_eq!(status(body), Err(StatusCode::UNPROCESSABLE_ENTITY), "{body}");
        }
    }

    // The methods are those of `core::logbook::method`.
    #[test]
    fn a_method_is_one_that_is_known() {
        for (method, taken) in [("test strip", true), ("Titration", true), ("voodoo", false)] {
            let check = serde_json::json!({ "check": "sanitizer", "mg_per_l": 50.0, "method": method });
            let check = check.as_object().expect("an object").clone();
            let entered = Entered { machine: Some("dm2".to_owned()), check, late: false };
            assert_eq!(made(entered, Timestamp::from_micros(0), "Ana").is_ok(), taken, "{method}");
        }
    }

    // RFC 6901: the pointer names the field that is wrong, however many others are sent beside it; those are not what
    // is wrong, and to read the check once for each would take minutes.
    #[test]
    fn the_field_that_is_wrong_is_named_among_many() {
        let mut check = Map::new();
        for (name, value) in [("check", "sanitizer"), ("at", "2026-11-25T10:00:00Z"), ("by", "Ana")] {
            check.insert(name.to_owned(), Value::String(value.to_owned()));
        }
        check.insert("mg_per_l".to_owned(), Value::String("much".to_owned()));
        check.extend((0..5_000).map(|number| (format!("a{number}"), Value::Null)));
        let error = serde_json::from_value::<Check>(Value::Object(check.clone())).expect_err("no number");
        assert_eq!(culprit(&check, &error), Some("mg_per_l"));
        check.insert("check".to_owned(), Value::from(3));
        let error = serde_json::from_value::<Check>(Value::Object(check.clone())).expect_err("no kind");
        assert_eq!(culprit(&check, &error), Some("check"));
    }

    // Own rule: what is looked through for the wrong one is every field of every kind.
    #[test]
    fn every_field_of_a_check_is_known() {
        let (at, by, note) = (Timestamp::from_micros(0), || "Ana".to_owned(), Some("n".to_owned()));
        let (ph, solution_c, method) = (Some(7.0), Some(24.0), Some("meter".to_owned()));
        let (what, reference) = ("dm1/rinse".to_owned(), "ice".to_owned());
        let (shown_c, reference_c, tolerance_c) = (0.1, 0.0, 1.5);
        let checks = [
            Check::Sanitizer { at, mg_per_l: 50.0, ph, solution_c, method, by: by() },
            Check::Supply { at, enough: false, short: vec![Supply::Detergent], note: note.clone(), by: by() },
            Check::DrainAndClean { at, note, by: by() },
            Check::Thermometer { at, what, shown_c, reference_c, tolerance_c, reference, by: by() },
        ];
        let mut missing: Vec<&str> = FIELDS.to_vec();
        for check in checks {
            let Ok(Value::Object(fields)) = serde_json::to_value(&check) else { panic!("no object") };
            assert!(fields.keys().all(|name| FIELDS.contains(&name.as_str())), "{fields:?}");
            missing.retain(|name| !fields.contains_key(*name));
        }
        assert!(missing.is_empty(), "{missing:?}");
    }
}
