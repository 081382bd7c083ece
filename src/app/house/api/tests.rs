//! The interface over a real ledger, a real desk and a real driver, asked by this module and by other hands' tools.

mod paging;
mod probes;
mod proofs;

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::Request;
use axum::http::header;
use axum::middleware::{self, Next};
use axum::response::Response;
use serde_json::Value;
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::*;
use crate::app::alerts::compose::Composer;
use crate::app::alerts::start::Surroundings;
use crate::app::alerts::{self, Reception};
use crate::app::export::seal;
use crate::app::house::Ground;
use crate::app::ledger::{self, LedgerHandle, LedgerStore};
use crate::app::live::Tap;
use crate::app::seal::Seal;
use crate::app::verify::verify_export;
use crate::config::resolve::Configuration;
use crate::core::access::Role;
use crate::core::audit::Outcome;
use crate::core::checkpoint::Checkpoint;
use crate::core::cycle::verdict::Verdict;
use crate::core::effect::{Trace, TraceReading};
use crate::core::evidence::Hex;
use crate::core::evidence::examine::Trust;
use crate::core::merkle::{Hash, leaf_hash, verify_inclusion};
use crate::core::note::Note;
use crate::core::reading::Fault;
use crate::core::record::{AccessDeed, Body as Said, Check, Gap, Record};
use crate::core::units::Celsius;
use crate::ledger::{Commit, NewRecord, Order, Reader, RecordFilter};
use crate::report::row::samples;
use crate::runtime::clock::Clock;
use crate::runtime::driver::{CHECKS_MAX, Driver, INBOUND_MAX, Limits};
use crate::web::access::{Access, Options};
use crate::web::api::{Form, LIMIT_MAX, State, When};
use crate::web::cycle::Racks;
use crate::web::frame::Site;
use crate::web::kitchen::Pages;
use crate::web::logbook::{Amending, Corrected, Going, Logbook, Written};
use crate::web::person::Person;
use crate::web::router::site;

const KITCHEN: &str = "[site]\nname = \"Harbour\"\ntime-zone = \"Europe/Madrid\"\n\
    [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nwash-time = \"45s\"\n\
    rinse-time = \"10s\"\nprobes = [\"rinse\"]\n\
    [[machine]]\nname = \"bar\"\nkind = \"stationary-rack-single-temperature\"\nsanitizing = \"chlorine\"\n\
    wash-time = \"45s\"\nrinse-time = \"10s\"\nprobes = [\"rinse\", \"sanitizer\"]\n";
/// What the test's own way in takes for the secret of a token.
const TOKEN: &str = "let-me-in";
/// Cycles of each machine.
const CYCLES: u64 = 40;

/// A gateway at work, without sources.
struct Running {
    house: House,
    ledger: LedgerHandle,
    reception: Reception,
    stop: CancellationToken,
    _directory: TempDir,
}

impl Drop for Running {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

#[expect(clippy::disallowed_methods, reason = "what is spawned ends with the test")]
impl Running {
    async fn start() -> Self {
        let directory = tempfile::tempdir().expect("a directory");
        let (gateway, path) = (directory.path().join("gateway.toml"), directory.path().join("ledger.sqlite"));
        let text = format!("{KITCHEN}[ledger]\npath = \"{}\"\n", path.display());
        std::fs::write(&gateway, text).expect("a temporary file");
        let loaded = Configuration::load(&[gateway], []).expect("a sound configuration");
        let configuration = &loaded.configuration;
        let (clock, stop) = (Clock::system(), CancellationToken::new());
        let (ledger, gather) = ledger::open(&loaded, &path, clock.now()).expect("a ledger");
        let limits = Limits {
            commit_interval: Duration::from_millis(20),
            ahead_max: configuration.ahead_max,
            drain_within: Duration::from_secs(1),
        };
        let (checks, entered) = mpsc::channel(CHECKS_MAX);
        let mut driver =
            Driver::new(clock.clone(), limits, LedgerStore(ledger.clone()), gather).with_checks(entered);
        let pulse = driver.pulse();
        let (inbound, deliveries) = mpsc::channel(INBOUND_MAX);
        let driven = stop.clone();
        tokio::spawn(async move {
            let _kept = inbound;
            driver.run(deliveries, driven).await.expect("a driver at work");
        });
        let (seal, tap) = (
            Seal::of_service(ledger.clone(), &configuration.site),
            Tap::new(configuration, &configuration.channels),
        );
        let around = Surroundings {
            loaded: &loaded,
            ledger: &ledger,
            clock: &clock,
            last_commit: &stop,
            checks: &checks,
            seal: &seal,
            tap: &tap,
            simulated: false,
            series: None,
            pulse: &pulse,
            access: None,
        };
        let (desk, reception) = alerts::Ground::new(&around, None);
        tokio::spawn(desk.run(stop.clone()));
        let composer = Arc::new(Composer::new(&loaded, &path, &clock, None).expect("a ledger"));
        let access = accounts(&directory.path().join("access"), configuration, &clock);
        let ground = Ground {
            loaded: &loaded,
            clock: &clock,
            tap: &tap,
            reception: &reception,
            composer: &composer,
            ledger: &ledger,
            seal: &seal,
            edition: loaded.sha256(),
            series: None,
            pulse: Some(pulse.clone()),
            access: &access,
            simulated: false,
        };
        let (house, beating) = House::new(&ground, stop.clone());
        tokio::spawn(beating);
        // The desk raises alerts of what comes after it has begun.
        reception.open().await.expect("a desk at work");
        let running = Self { house, ledger, reception, stop, _directory: directory };
        running.wash_until_told().await;
        seal.checkpoint(clock.now()).await.expect("a checkpoint");
        running
    }

    /// Puts cycles on record until an alert is open.
    async fn wash_until_told(&self) {
        let mut tide = self.ledger.tide();
        self.wash(0..CYCLES).await;
        while self.reception.open().await.expect("a desk at work").0.is_empty() {
            tide.changed().await.expect("a ledger at work");
        }
    }

    /// Puts cycles on record, each tenth of them cold.
    async fn wash(&self, minutes: std::ops::Range<u64>) {
        let mut records = Vec::new();
        for minute in minutes {
            for machine in ["dm1", "bar"] {
                let verdict = if minute % 10 == 0 { Verdict::Cold } else { Verdict::Pass };
                let mut cycle = samples::cycle(60 * minute, verdict, 84.5, Vec::new());
                let recorded = cycle.received;
                let reading = TraceReading { at: cycle.rinse_started, celsius: Celsius(84.5) };
                let trace = Trace { rinse: vec![reading; 40], wash: Vec::new() };
                cycle.trace_sha256 = Some(trace.sha256().to_string());
                let trace = Some(trace);
                let record = Record::new(recorded, Some(machine.to_owned()), Said::Cycle(Box::new(cycle)));
                records.push(NewRecord { record, trace });
            }
        }
        self.ledger.commit(Commit { records, ..Commit::default() }).await.expect("stored");
    }

    /// Serves it on a port, to whoever shows the token, as the administrator.
    async fn serve(&self) -> String {
        let clock = Clock::system();
        let site = Site::new("Harbour".to_owned(), false, move || clock.now());
        let pages = Pages::new(self.house.clone(), site, self.stop.clone());
        let router = site_of(pages);
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let stop = self.stop.clone();
        let serving = axum::serve(listener, router).with_graceful_shutdown(stop.cancelled_owned());
        tokio::spawn(async move { serving.await.expect("served") });
        format!("http://{address}")
    }

    async fn page(&self, asked: Asked) -> Rows {
        self.house.rows(asked).await.expect("a page")
    }
}

/// A store of accounts that holds none.
fn accounts(directory: &Path, configuration: &Configuration, clock: &Clock) -> Arc<Access> {
    let (site, zone) = (configuration.site.clone(), configuration.alerts.zone.clone());
    let options = Options { site, zone, tls: false, behind_proxy: false, public_url: None, port: 0 };
    let now = clock.clone();
    Access::open(directory, options, move || now.now()).expect("a store of accounts")
}

fn site_of(pages: Pages<House>) -> axum::Router {
    async fn enter(mut request: Request, next: Next) -> Response {
        let shown = request.headers().get(header::AUTHORIZATION).and_then(|value| value.to_str().ok());
        if shown == Some(&format!("Bearer {TOKEN}")) {
            let reader = crate::core::reader::Reader {
                language: crate::core::reader::Language::English,
                scale: crate::core::reader::Scale::Celsius,
                zone: jiff::tz::TimeZone::UTC,
            };
            let (account, name) = ("robot".to_owned(), "Robot".to_owned());
            request.extensions_mut().insert(Person { account, name, role: Role::Administrator, reader });
        }
        next.run(request).await
    }
    site(pages).layer(middleware::from_fn(enter))
}

fn asked(view: View) -> Asked {
    Asked {
        view,
        machine: None,
        from: None,
        to: None,
        verdicts: Vec::new(),
        in_doubt: false,
        check: None,
        kinds: Vec::new(),
        state: None,
        oldest_first: false,
        limit: 7,
        after: None,
    }
}

/// A program of the peers.
fn peer(name: &str) -> Command {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let program = root.join("target/peers/bin").join(name);
    assert!(
        program.is_file(),
        "the peers of these tests are missing: python3 -m venv target/peers && \
         target/peers/bin/pip install -r tests/tests/alert/peers/requirements.txt"
    );
    let mut command = Command::new(program);
    command.current_dir(root);
    command
}

fn peers(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/tests/web/peers").join(file)
}

// Own promise: what is damaged of an alert is named beside the list, which cannot say how it stands then.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_record_of_an_alert_is_named() {
    let running = Running::start().await;
    let open = Asked { state: Some(State::Open), limit: 1, ..asked(View::Alerts) };
    let alert: Value = serde_json::from_str(&running.page(open).await.items[0]).expect("JSON");
    let alert = alert["number"].as_u64().expect("a number");
    let done = running.house.perform(Deed::Acknowledge { alert, note: None }, "Ana").await.expect("done");
    let done: Value = serde_json::from_str(&done).expect("JSON");
    let record = done["record"].as_u64().expect("a record");
    let connection = rusqlite::Connection::open(running.ledger.path()).expect("a database");
    connection.execute_batch("DROP TRIGGER record_stays").expect("it was there");
    let index = i64::try_from(record).expect("small");
    connection.execute("UPDATE record SET bytes = x'00' WHERE idx = ?1", [index]).expect("changed");
    let page = running.page(Asked { limit: LIMIT_MAX, ..asked(View::Alerts) }).await;
    assert_eq!(page.damaged, [record]);
    assert!(!page.items.is_empty());
    let closed = Asked { state: Some(State::Closed), limit: LIMIT_MAX, ..asked(View::Alerts) };
    assert_eq!(running.page(closed).await.damaged, [record], "it may be closed");
}

/// The whole of an export.
async fn taken(running: &Running, form: Form, from: &str) -> String {
    let from = When::Instant(from.parse().expect("an instant"));
    let taken = Taken { form, from, to: None, machines: Vec::new(), all_traces: false };
    let body = running.house.export(taken, "till").await.expect("an export");
    let bytes = axum::body::to_bytes(body, 1 << 24).await.expect("it is whole");
    String::from_utf8(bytes.to_vec()).expect("text")
}

// Own promise: an export over the interface is what the command writes: each cycle of the span once, and
// evidence that holds under the ledger's own key.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn records_are_taken_away_in_each_form() {
    let running = Running::start().await;
    let all = "2023-11-14T00:00:00Z";
    let csv = taken(&running, Form::Csv, all).await;
    assert_eq!(csv.lines().count() as u64, 2 * CYCLES + 1);
    let later = taken(&running, Form::Csv, "2023-11-14T22:23:00Z").await;
    assert!(later.lines().count() > 1 && later.lines().count() < csv.lines().count());
    let lines = taken(&running, Form::Jsonl, all).await;
    let cycles = lines.lines().map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    assert_eq!(cycles.filter(|line| line["record"]["body"]["cycle"].is_object()).count() as u64, 2 * CYCLES);
    let account: Value = serde_json::from_str(&taken(&running, Form::Json, all).await).expect("JSON");
    assert_eq!(account["site"], "Harbour");
    let evidence = taken(&running, Form::Evidence, all).await;
    // The file itself proves who took it.
    assert!(evidence.contains("took-away") && evidence.contains("till"), "{evidence}");
    let reader = Reader::open(running.ledger.path()).expect("a ledger");
    let mut forms = Vec::new();
    let filter = RecordFilter { kinds: vec!["access".to_owned()], ..RecordFilter::default() };
    let noted = reader.events(Order::OldestFirst, &filter, |_, found| {
        let (_, record) = found.expect("a whole record");
        if let Said::Access(event) = record.body
            && let AccessDeed::TookAway { form, .. } = event.what
        {
            assert_eq!(event.account, "till");
            forms.push(form);
        }
        ControlFlow::Continue(())
    });
    noted.expect("it is read");
    assert_eq!(forms, ["csv", "csv", "jsonl", "json", "evidence"]);
    let directory = tempfile::tempdir().expect("a directory");
    let file = directory.path().join("evidence.jsonl");
    std::fs::write(&file, evidence).expect("a temporary file");
    let seal = seal::newest(&Reader::open(running.ledger.path()).expect("a ledger")).expect("it is read");
    let key = seal.expect("a checkpoint").key.parse().expect("a key");
    let report =
        verify_export(&file, None, Trust { keys: vec![key], kept: Vec::new() }, true).expect("checked");
    assert!(report.outcome == Outcome::Whole && report.size > 2 * CYCLES, "{report}");
}

// Own promise: a gateway at work is ready, and one whose driver has gone is not; the figures count this run.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_gateway_whose_driver_has_gone_is_not_ready() {
    let running = Running::start().await;
    assert_eq!(running.house.hindrances().await, Vec::<String>::new());
    let figures = running.house.figures().await.expect("figures");
    let cold: u64 =
        figures.cycles.iter().filter(|(_, verdict, _)| *verdict == Verdict::Cold).map(|(.., n)| n).sum();
    let all: u64 = figures.cycles.iter().map(|(.., count)| count).sum();
    assert_eq!((cold, all), (2 * CYCLES / 10, 2 * CYCLES));
    assert!(figures.records >= all && figures.ledger_bytes > 0);
    assert!(figures.alerts.iter().any(|(name, _)| name == "cold"), "{:?}", figures.alerts);
    running.stop.cancel();
    let reasons = running.house.hindrances().await;
    assert!(reasons.iter().any(|reason| reason == "the driver does not answer"), "{reasons:?}");
}

// Own promise: a check over the interface goes on record and is judged at once; what cannot be is refused
// with the slug that the command has; what is asked of an alert twice is refused.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn deeds_go_on_record_in_the_name_of_whoever_does_them() {
    let running = Running::start().await;
    let now = running.house.clock.now();
    let strip = |machine: &str, mg_per_l| Deed::Check {
        machine: Some(machine.to_owned()),
        check: Check::Sanitizer {
            at: now,
            mg_per_l,
            ph: None,
            solution_c: None,
            method: None,
            by: "Ana".to_owned(),
        },
        late: false,
    };
    let done = running.house.perform(strip("bar", 10.0), "Ana").await.expect("it is on record");
    let done: Value = serde_json::from_str(&done).expect("JSON");
    assert_eq!(done["judged"]["good"], false);
    let index = done["record"].as_u64().expect("a record");
    let record = running.house.single(Single::Record { index, settings: false }).await.expect("it");
    let record: Value = serde_json::from_str(&record.json).expect("JSON");
    assert!(record["bytes"].as_str().is_some_and(|bytes| bytes.contains("\"by\":\"Ana\"")), "{record}");
    let slug = |answer: Result<String, Trouble>| match answer {
        Err(Trouble::Refused { slug, .. }) => slug,
        answer => panic!("{answer:?}"),
    };
    assert_eq!(slug(running.house.perform(strip("dm1", 50.0), "Ana").await), "entry-refused");
    for (machine, mg_per_l, at) in [
        ("dm1", 50.0, "/machine"),
        ("dm9", 50.0, "/machine"),
        ("bar", -1.0, "/check/mg_per_l"),
        ("bar", 5_000.0, "/check/mg_per_l"),
    ] {
        let refused = running.house.perform(strip(machine, mg_per_l), "Ana").await;
        let told = matches!(&refused, Err(Trouble::Refused { pointer: Some(pointer), .. }) if pointer == at);
        assert!(told, "{machine} {mg_per_l}: {refused:?}");
    }
    let open = Asked { state: Some(State::Open), limit: 1, ..asked(View::Alerts) };
    let alert: Value = serde_json::from_str(&running.page(open).await.items[0]).expect("JSON");
    let alert = alert["number"].as_u64().expect("a number");
    let take = || Deed::Acknowledge { alert, note: None };
    let done = running.house.perform(take(), "Ana").await.expect("it is on record");
    let done: Value = serde_json::from_str(&done).expect("JSON");
    assert_eq!(done["alert"]["acknowledged"]["by"], "Ana");
    assert_eq!(done["alert"]["acknowledged"]["via"], "api");
    assert_eq!(slug(running.house.perform(take(), "Ben").await), "alert-refused");
    let trail = running.house.single(Single::Alert(alert)).await.expect("an alert");
    let trail: Value = serde_json::from_str(&trail.json).expect("JSON");
    assert_eq!(trail["alert"]["number"], alert);
    assert!(trail["trail"].as_array().is_some_and(|trail| trail.len() >= 2), "{trail}");
}

// Own promise: whoever may not see the settings sees them in no record either, as at the pages.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_configuration_is_for_those_who_may_see_settings() {
    let running = Running::start().await;
    let kinds = vec!["configuration-change".to_owned()];
    let line = &running.page(Asked { kinds, ..asked(View::Records) }).await.items[0];
    assert!(!line.contains("[["), "the list holds none of it: {line}");
    let index = serde_json::from_str::<Value>(line).expect("JSON")["index"].as_u64().expect("a record");
    let seen = async |settings| running.house.single(Single::Record { index, settings }).await;
    assert_eq!(seen(false).await, Err(Trouble::NotYours(crate::core::access::Right::Settings)));
    assert!(seen(true).await.is_ok_and(|one| one.json.contains("[[machine]]")));
}

// Own promise: readings come as at the control socket, an event a line.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn readings_come_as_at_the_control_socket() {
    let running = Running::start().await;
    let mut parts = running.house.readings().into_data_stream();
    let first = futures_util::StreamExt::next(&mut parts).await.expect("it begins").expect("no failure");
    let first: Value = serde_json::from_slice(&first).expect("one line");
    assert_eq!(first["event"], "begun");
    running.stop.cancel();
    let last =
        futures_util::StreamExt::next(&mut parts).await.expect("it says why it ends").expect("no failure");
    assert_eq!(serde_json::from_slice::<Value>(&last).expect("one line")["event"], "ended");
}

// Schemathesis (other hands') asks all it can think of by the description of the interface, in its
// phases of examples, coverage, fuzzing and stateful calls, and looks at each answer by all its checks.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn other_hands_find_nothing_that_the_description_does_not_say() {
    let running = Running::start().await;
    let origin = running.serve().await;
    // It keeps what it found where it is called.
    let place = tempfile::tempdir().expect("a directory");
    let asking = tokio::task::spawn_blocking(move || {
        peer("schemathesis")
            .current_dir(place.path())
            .arg("--config-file")
            .arg(peers("schemathesis.toml"))
            .args(["run", "--no-color", "--seed", "8"])
            .args(["--header", &format!("Authorization: Bearer {TOKEN}")])
            .arg(format!("{origin}/api/v1/openapi.json"))
            .output()
            .expect("the peers' schemathesis starts")
    });
    let output = asking.await.expect("it ends");
    let told = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{told}\n{}", String::from_utf8_lossy(&output.stderr));
    assert!(running.reception.open().await.is_ok(), "the desk is still at work");
}

// Own promise: the first page of an entry, and of one that failed by its correction, names the alert that it raised.
// 4-501.114: chlorine below 25 mg/L is too weak.
#[tokio::test]
async fn the_first_page_of_an_entry_names_its_alert() {
    for corrected in [false, true] {
        let running = Running::start().await;
        let at = running.house.clock.now();
        let strip = |mg_per_l| {
            let by = "Ana".to_owned();
            let check = Check::Sanitizer { at, mg_per_l, ph: None, solution_c: None, method: None, by };
            let (machine, written) = (Some("bar".to_owned()), Written::Check(check));
            running.house.put(Going { machine, written, late: false, once: None })
        };
        let record = strip(if corrected { 100.0 } else { 10.0 }).await.expect("taken").expect("on record");
        if corrected {
            assert!(running.house.entry(record).await.expect("an entry").alerts().is_empty());
            let right = Corrected { mg_per_l: Some(10.0), ..Corrected::default() };
            let (reason, by) = ("misread".to_owned(), "Ana".to_owned());
            running.house.amend(record, reason, by, Amending::Correct(right), None).await.expect("taken");
        }
        let shown = running.house.entry(record).await.expect("an entry");
        assert_eq!((shown.alerts().len(), shown.waiting.len()), (1, 1), "{corrected}");
    }
}
