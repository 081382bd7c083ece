//! A stub that answers as InfluxDB 2 is documented to (OpenAPI description of its API): it keeps
//! points by their key as the real one does, to the nanosecond, and gives any answer on request.

use std::collections::{BTreeMap, VecDeque};
use std::io::Read as _;
use std::net::Ipv4Addr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::Router;
use axum::body::Bytes;
use axum::extract::{DefaultBodyLimit, State};
use axum::http::{HeaderMap, Method, StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use influxdb_line_protocol::parse_lines;
use tokio::task::JoinHandle;

/// The organisation it has.
pub(crate) const ORGANISATION: &str = "kitchens";
/// The bucket it has.
pub(crate) const BUCKET: &str = "rinseward";

/// One answer.
#[derive(Clone, Debug, Default)]
pub(crate) struct Reply {
    pub(crate) status: u16,
    pub(crate) headers: Vec<(&'static str, String)>,
    pub(crate) body: String,
}

impl Reply {
    /// A status without more.
    pub(crate) fn status(status: u16) -> Self {
        Self { status, ..Self::default() }
    }

    /// A status with an error body of InfluxDB 2.
    pub(crate) fn error(status: u16, code: &str, message: &str) -> Self {
        let body = serde_json::json!({ "code": code, "message": message }).to_string();
        Self { status, headers: vec![("content-type", "application/json; charset=utf-8".to_owned())], body }
    }

    /// With a header more.
    pub(crate) fn header(mut self, name: &'static str, value: &str) -> Self {
        self.headers.push((name, value.to_owned()));
        self
    }
}

/// One request as it came.
#[derive(Clone, Debug)]
pub(crate) struct Seen {
    pub(crate) method: String,
    pub(crate) path: String,
    pub(crate) query: String,
    pub(crate) headers: BTreeMap<String, String>,
    /// Decompressed.
    pub(crate) body: String,
}

/// Measurement with tags as text, and nanoseconds.
pub(crate) type Key = (String, i64);

/// Why a line is not taken; `None` where it is.
type Refuse = Box<dyn Fn(&str) -> Option<String> + Send>;

/// What the stub is like; changed while it runs.
#[derive(Default)]
pub(crate) struct Behaviour {
    /// The token that it knows; `None` takes any.
    pub(crate) token: Option<String>,
    /// Answers to the next writes, whatever they are; without any the write is done.
    pub(crate) script: VecDeque<Reply>,
    /// Largest body after decompression; beyond it 413.
    pub(crate) body_bytes_max: Option<usize>,
    /// Says of a line why it is dropped; the other lines of the batch are written (422).
    pub(crate) refuse: Option<Refuse>,
    /// Every request.
    pub(crate) seen: Vec<Seen>,
    /// Points by key, with their fields.
    pub(crate) points: BTreeMap<Key, BTreeMap<String, String>>,
    /// How many times a point was written.
    pub(crate) writes: u64,
}

/// A running stub.
pub(crate) struct Influx {
    port: u16,
    behaviour: Arc<Mutex<Behaviour>>,
    task: JoinHandle<()>,
}

impl Influx {
    /// Starts it on a free port, under this path («/» or «/influx/»).
    pub(crate) async fn start_below(base: &str) -> Self {
        let listener = tokio::net::TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.expect("loopback");
        let port = listener.local_addr().expect("a bound socket").port();
        let behaviour = Arc::new(Mutex::new(Behaviour::default()));
        let state = (base.to_owned(), Arc::clone(&behaviour));
        let router = Router::new().fallback(answer).layer(DefaultBodyLimit::disable()).with_state(state);
        let serve = async move { axum::serve(listener, router).await.expect("the stub serves") };
        Self { port, behaviour, task: tokio::spawn(serve) }
    }

    /// Starts it on a free port.
    pub(crate) async fn start() -> Self {
        Self::start_below("/").await
    }

    /// Its port on 127.0.0.1.
    pub(crate) fn port(&self) -> u16 {
        self.port
    }

    /// Its address.
    pub(crate) fn url(&self) -> String {
        format!("http://127.0.0.1:{}/", self.port)
    }

    /// What it is like and what it has.
    pub(crate) fn behaviour(&self) -> MutexGuard<'_, Behaviour> {
        self.behaviour.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Adds answers to the script of writes.
    pub(crate) fn script(&self, replies: impl IntoIterator<Item = Reply>) {
        self.behaviour().script.extend(replies);
    }
}

impl Drop for Influx {
    fn drop(&mut self) {
        self.task.abort();
    }
}

async fn answer(
    State((base, behaviour)): State<(String, Arc<Mutex<Behaviour>>)>,
    method: Method,
    uri: Uri,
    headers: HeaderMap,
    body: Bytes,
) -> Response {
    let mut behaviour = behaviour.lock().unwrap_or_else(PoisonError::into_inner);
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let body = if text("content-encoding") == "gzip" { unzipped(&body) } else { body.to_vec() };
    let seen = Seen {
        method: method.to_string(),
        path: uri.path().to_owned(),
        query: uri.query().unwrap_or_default().to_owned(),
        headers: headers
            .iter()
            .map(|(name, value)| (name.to_string(), value.to_str().unwrap_or_default().to_owned()))
            .collect(),
        body: String::from_utf8(body).expect("line protocol is UTF-8"),
    };
    behaviour.seen.push(seen.clone());
    let reply = respond(&base, &mut behaviour, &seen);
    let mut response = Response::builder().status(StatusCode::from_u16(reply.status).expect("a status"));
    for (name, value) in &reply.headers {
        response = response.header(*name, value);
    }
    response.body(reply.body.into()).unwrap_or_else(|_| StatusCode::INTERNAL_SERVER_ERROR.into_response())
}

fn respond(base: &str, behaviour: &mut Behaviour, seen: &Seen) -> Reply {
    let Some(path) = seen.path.strip_prefix(base) else {
        return Reply::error(404, "not found", "path not found");
    };
    if path == "health" {
        return Reply {
            status: 200,
            headers: Vec::new(),
            body: r#"{"name":"influxdb","message":"ready","status":"pass","version":"2.7.1","checks":[]}"#
                .to_owned(),
        };
    }
    if path == "api/v2/write"
        && let Some(reply) = behaviour.script.pop_front()
    {
        return reply;
    }
    let given = seen.headers.get("authorization").map(String::as_str);
    if behaviour.token.as_ref().is_some_and(|token| given != Some(format!("Token {token}").as_str())) {
        return Reply::error(401, "unauthorized", "unauthorized access");
    }
    let query: BTreeMap<String, String> = queries(&seen.query);
    let asked = |name: &str| query.get(name).map(String::as_str);
    if matches!(path, "api/v2/write" | "api/v2/buckets" | "api/v2/query")
        && asked("org") != Some(ORGANISATION)
    {
        let name = asked("org").unwrap_or_default();
        return Reply::error(404, "not found", &format!("organization name \"{name}\" not found"));
    }
    match (seen.method.as_str(), path) {
        ("GET", "api/v2/buckets") => {
            let found = asked("name") == Some(BUCKET);
            let bucket = serde_json::json!({ "name": BUCKET, "retentionRules": [{ "type": "expire", "everySeconds": 3_456_000 }] });
            let buckets = if found { vec![bucket] } else { Vec::new() };
            Reply {
                status: 200,
                headers: Vec::new(),
                body: serde_json::json!({ "buckets": buckets }).to_string(),
            }
        }
        ("POST", "api/v2/write") if asked("bucket") != Some(BUCKET) => {
            let name = asked("bucket").unwrap_or_default();
            Reply::error(404, "not found", &format!("bucket \"{name}\" not found"))
        }
        ("POST", "api/v2/write") => write(behaviour, &seen.body),
        ("POST", "api/v2/query") => query_test(behaviour),
        _ => Reply::error(404, "not found", "path not found"),
    }
}

/// Takes a batch: each line that is legal and not refused is written, whatever the others are.
fn write(behaviour: &mut Behaviour, body: &str) -> Reply {
    if behaviour.body_bytes_max.is_some_and(|bytes_max| body.len() > bytes_max) {
        return Reply::error(413, "request too large", "unable to read data: points batch is too large");
    }
    if let Some(error) = parse_lines(body).find_map(Result::err) {
        return Reply::error(400, "invalid", &format!("unable to parse: {error}"));
    }
    let mut dropped = 0_u32;
    let mut why = String::new();
    for text in body.lines() {
        if let Some(refusal) = behaviour.refuse.as_ref().and_then(|refuse| refuse(text)) {
            dropped += 1;
            why = refusal;
            continue;
        }
        for line in parse_lines(text).map(|line| line.expect("it was parsed before")) {
            let mut tags: Vec<String> =
                line.series.tag_set.iter().flatten().map(|(name, value)| format!("{name}={value}")).collect();
            tags.sort();
            let series = format!("{},{}", line.series.measurement, tags.join(","));
            let at = line.timestamp.expect("every point of ours has a time");
            let fields = behaviour.points.entry((series, at)).or_default();
            fields.extend(line.field_set.iter().map(|(name, value)| (name.to_string(), value.to_string())));
            behaviour.writes += 1;
        }
    }
    if dropped > 0 {
        let message = format!("failure writing points to database: partial write: {why} dropped={dropped}");
        return Reply::error(422, "unprocessable entity", &message);
    }
    Reply::status(204)
}

/// The points of the measurement `test` as a Flux query answers them: annotated CSV.
fn query_test(behaviour: &Behaviour) -> Reply {
    let mut body = "#datatype,string,long,double,string\r\n#group,false,false,false,true\r\n#default,_result,,,\r\n,result,table,_value,_field\r\n".to_owned();
    for ((series, _), fields) in &behaviour.points {
        if let (true, Some(value)) = (series.starts_with("test,"), fields.get("value")) {
            body.push_str(&format!(",,0,{value},value\r\n"));
        }
    }
    Reply { status: 200, headers: vec![("content-type", "text/csv; charset=utf-8".to_owned())], body }
}

fn queries(query: &str) -> BTreeMap<String, String> {
    let url = reqwest::Url::parse(&format!("http://stub/?{query}")).expect("a query that came over HTTP");
    url.query_pairs().into_owned().collect()
}

fn unzipped(bytes: &[u8]) -> Vec<u8> {
    let mut plain = Vec::new();
    flate2::read::GzDecoder::new(bytes).read_to_end(&mut plain).expect("what we compressed");
    plain
}
