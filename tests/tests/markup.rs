//! HTML and SVG as other programs read them: Python's `html.parser` and expat.

use std::collections::BTreeMap;
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Duration;

use jiff::tz::TimeZone;
use rinseward::alert::digest::{self, Span, Standing, Tally};
use rinseward::alert::message::{Facts, Illustration, compose};
use rinseward::core::alert::{Alert, AlertNumber, Condition, Notice, Occasion, Quantity, Rack, Racks};
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::monitored::Monitored;
use rinseward::core::reader::{Language, Reader, Scale};
use rinseward::core::record::{Body, SignedOff};
use rinseward::core::time::Timestamp;
use rinseward::report::plot::{Size, day};
use rinseward::report::signoff;
use serde_json::{Value, json};

use crate::export::records::records;
use crate::ledger::fixture::{cycle, trace};

/// A name that would break out of text, of an attribute, and of a header line.
const HOSTILE: &str = "<script>alert('x')</script> \"><img src=x onerror=y> & ]]> \r\n{{ title }}\u{0}";

const OCCASIONS: [Occasion; 6] = [
    Occasion::Raised,
    Occasion::Escalated,
    Occasion::Cleared,
    Occasion::ActionMissing,
    Occasion::Closed,
    Occasion::Test,
];

fn zone() -> TimeZone {
    TimeZone::get("America/New_York").expect("the zone data is built in")
}

fn at(text: &str) -> Timestamp {
    text.parse().expect("RFC 3339")
}

fn notice(condition: Condition, occasion: Occasion, language: Language) -> Notice {
    let since = at("2026-11-25T17:05:12Z");
    let mut racks = Racks::default();
    racks.push(Rack { index: 1, at: since, began: None });
    let alert = Alert {
        number: AlertNumber(1),
        condition,
        machine: Some(HOSTILE.to_owned()),
        place: None,
        raised: since,
        since,
        measured: Some(Quantity::Celsius(71.0)),
        worst: None,
        limit: Some(Quantity::Celsius(82.0)),
        racks,
        earlier: 0,
        beside: 0,
        last_good: Some(Rack { index: 0, at: since, began: None }),
        before_return: 0,
        returns: rinseward::core::alert::Returns::default(),
        pattern: None,
        about: vec![HOSTILE.to_owned()],
        acknowledged: None,
        cleared: None,
        needs_action: true,
        action: None,
        amended: None,
        rest_since: None,
        lapsed: false,
        other_side: None,
    };
    Notice {
        key: "1-1-ana".to_owned(),
        alert,
        contact: HOSTILE.to_owned(),
        language,
        units: Scale::Celsius,
        routes: Vec::new(),
        step: 1,
        round: 0,
        occasion,
        rested_s: 0,
    }
}

/// Hands documents to the parsers, and fails with what they found.
fn read(documents: &[Value]) {
    let mut python = Command::new("python3")
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/tests/support/markup.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3 is there, as tests/all asks");
    let bytes = serde_json::to_vec(documents).expect("texts have a JSON form");
    let mut input = python.stdin.take().expect("it was piped");
    input.write_all(&bytes).expect("the parsers read to the end");
    drop(input);
    let output = python.wait_with_output().expect("the parsers end with their input");
    assert!(output.status.success(), "the parsers ran to their end");
    assert_eq!(String::from_utf8_lossy(&output.stdout), "");
}

/// Every condition and occasion in both languages, with names that try everything.
#[test]
fn a_mail_is_well_formed_and_fetches_nothing() {
    let zone = zone();
    let facts = Facts {
        site: HOSTILE,
        zone: &zone,
        written: at("2026-11-25T17:10:00Z"),
        chemical: true,
        permitted: None,
        call: Some(HOSTILE),
        link: Some("https://kitchen.example.org/a?x=\"><script>&y=1"),
    };
    let picture = Illustration { id: "trace", description: HOSTILE };
    let mut documents = Vec::new();
    for condition in Condition::ALL {
        for occasion in OCCASIONS {
            for language in Language::ALL {
                let message = compose(&notice(condition, occasion, language), &facts, Some(&picture));
                documents.push(json!({
                    "name": format!("{condition} {occasion:?} {language}"),
                    "kind": "html",
                    "body": message.html,
                    "holds": ["<script>alert('x')</script>", message.content.headline.replace(" °", "\u{a0}°")],
                }));
            }
        }
    }
    read(&documents);
}

#[test]
fn a_digest_is_well_formed_and_fetches_nothing() {
    let (from, to) = (at("2026-11-25T05:00:00Z"), at("2026-11-26T05:00:00Z"));
    let tally = Tally::new(Span::Day, from, to, zone(), [HOSTILE.to_owned()]);
    let open = vec![notice(Condition::Cold, Occasion::Raised, Language::English).alert];
    let note = Some(HOSTILE.to_owned());
    let checkpoint =
        digest::Checkpoint { origin: HOSTILE.to_owned(), records: 1, root: HOSTILE.to_owned(), note };
    let digest = tally
        .finish(Standing { open, missed_checks: 2, checkpoint: Some(checkpoint) }, |_| Monitored::default());
    let documents = Language::ALL.map(|language| {
        let reader = Reader { language, scale: Scale::Fahrenheit, zone: zone() };
        let facts = digest::Facts { site: HOSTILE, reader, link: Some("https://kitchen.example.org/") };
        let message = digest::compose(&digest, &facts, None);
        let holds = ["<script>alert('x')</script>"];
        json!({ "name": format!("digest {language}"), "kind": "html", "body": message.html, "holds": holds })
    });
    read(&documents);
}

/// A sign-off of a machine, a site and a note that try everything, its test cycle drawn.
#[test]
fn a_sheet_is_well_formed_and_fetches_nothing() {
    let records = records();
    let signed = records
        .iter()
        .filter_map(|record| if let Body::SignOff(signed) = &record.body { Some(signed) } else { None });
    let mut documents = Vec::new();
    for (number, signed) in signed.enumerate() {
        let signed = SignedOff {
            site: HOSTILE.to_owned(),
            note: Some(HOSTILE.to_owned()),
            by: HOSTILE.to_owned(),
            ..(**signed).clone()
        };
        let Body::Cycle(cycle) = cycle("dm1", 0.0, Verdict::Pass).body else { panic!("a cycle") };
        let trace = trace(0.0);
        for language in Language::ALL {
            let reader = Reader { language, scale: Scale::Fahrenheit, zone: zone() };
            let facts = signoff::Facts {
                machine: HOSTILE,
                signed: &signed,
                record: Some(1),
                calibrations: &BTreeMap::new(),
                responses: &BTreeMap::new(),
                proofs: &BTreeMap::new(),
                cycle: Some(&cycle),
                trace: Some(&trace),
                seal: None,
            };
            let body = signoff::html::write(&signoff::paper(&facts, &reader));
            let name = format!("sheet {number} {language}");
            documents.push(json!({ "name": name, "kind": "sheet", "body": body, "holds": ["<script>alert('x')</script>"] }));
        }
    }
    assert_eq!(documents.len(), 4, "with open points and without");
    read(&documents);
}

#[test]
fn a_plot_is_valid_xml() {
    let from = at("2026-11-25T05:00:00Z");
    let hour = |count: u64| from.plus(Duration::from_secs(count * 3600));
    let gaps = [(hour(2), hour(5))];
    let documents = Language::ALL.map(|language| {
        let reader = Reader { language, scale: Scale::Celsius, zone: zone() };
        let day = day::Day { machine: HOSTILE, from, to: hour(24), cycles: &[], in_doubt: &[], gaps: &gaps };
        let body = day::plot(day, &reader).svg(Size::MAIL);
        let holds = ["<script>alert('x')</script>"];
        json!({ "name": format!("plot {language}"), "kind": "svg", "body": body, "holds": holds })
    });
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/golden/plot");
    let kept = std::fs::read_dir(folder).expect("the golden plots are there").map(|entry| {
        let path = entry.expect("a folder entry is readable").path();
        let body = std::fs::read_to_string(&path).expect("a golden plot is text");
        json!({ "name": path.display().to_string(), "kind": "svg", "body": body, "holds": [] })
    });
    read(&documents.into_iter().chain(kept).collect::<Vec<Value>>());
}
