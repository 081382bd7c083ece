//! `history` from outside: each of its views in each of its forms, from a ledger of the writer.

#[path = "history/damage.rs"]
mod damage;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use rinseward::core::alert::{AlertNumber, Condition, Quantity};
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Fault;
use rinseward::core::record::{
    AlertClosed, AlertRaised, AmendmentChange, Body, Check, ConfigurationChange, CorrectiveAction, Gap,
    ServiceStart,
};
use rinseward::core::time::Timestamp;
use rinseward::ledger::{Commit, NewRecord};

use crate::ledger::fixture::{commit, cycle, open, place, plain, stop, trace};
use crate::records::{amendment, put};

/// 2026-03-08, the day of 23 h in New York, at its midnight, in seconds after the new year in UTC.
const DAY_S: f64 = 66.0 * 86_400.0 + 5.0 * 3_600.0;
const HOUR_S: f64 = 3_600.0;

struct Site {
    _directory: tempfile::TempDir,
    ledger: PathBuf,
    configuration: PathBuf,
}

/// Seconds after the midnight of that day.
fn at(seconds: f64) -> Timestamp {
    crate::ledger::fixture::at(DAY_S + seconds)
}

fn record(seconds: f64, machine: Option<&str>, body: Body) -> NewRecord {
    put(at(seconds), machine, body)
}

fn rack(hours: f64, verdict: Verdict) -> NewRecord {
    let seconds = DAY_S + hours * HOUR_S;
    NewRecord { record: cycle("dm1", seconds, verdict), trace: Some(trace(seconds)) }
}

/// A day of one machine with one of each that an auditor asks for.
fn day() -> Vec<NewRecord> {
    let start = ServiceStart {
        version: "1.2.3".to_owned(),
        last_record: Some(at(10.5 * HOUR_S)),
        after_clean_stop: false,
        from_file: false,
        replayed: 0,
    };
    let configuration = ConfigurationChange {
        sha256: "0123456789abcdef".repeat(4),
        toml:
            "[site]\nname = \"kitchen\"\n\n[[machine]]\nname = \"dm1\"\n# rinse-min = 82.2 °C, Food Code\n\n\
               [ledger]\nx = 1\n\n[[probe]]\nname = \"dm1/rinse\"\n"
                .to_owned(),
    };
    let gap = |fault, from: f64, to: f64| Gap {
        probe: "dm1/rinse".to_owned(),
        fault,
        from: at(from * HOUR_S),
        to: Some(at(to * HOUR_S)),
        filled: fault == Fault::Silent,
    };
    let sanitizer = Check::Sanitizer {
        at: at(12.0 * HOUR_S),
        mg_per_l: 100.0,
        ph: Some(7.2),
        solution_c: Some(50.0),
        method: Some("strip".to_owned()),
        by: "Ana".to_owned(),
    };
    let supply = Check::Supply {
        at: at(12.5 * HOUR_S),
        enough: false,
        short: Vec::new(),
        note: Some("=salt".to_owned()),
        by: "Ben".to_owned(),
    };
    let raised = AlertRaised {
        measured: Some(Quantity::Celsius(71.3)),
        limit: Some(Quantity::Celsius(82.2)),
        cause: Some(4),
        last_good: Some(3),
        ..AlertRaised::new(AlertNumber(1), Condition::Cold, at(14.0 * HOUR_S))
    };
    let action = CorrectiveAction {
        alert: AlertNumber(1),
        by: "Ana".to_owned(),
        racks: "washed again".to_owned(),
        done: "booster reset".to_owned(),
        last_good: None,
        covers: Some(1),
    };
    let amended = |of, change| amendment(of, "the wrong \u{1b}[2Jbottle", "Cy", change);
    let mut late = rack(13.5, Verdict::Narrow);
    late.record.recorded = at(20.0 * HOUR_S);
    let machine = Some("dm1");
    vec![
        record(0.0, None, Body::ConfigurationChange(configuration)),
        record(11.0 * HOUR_S, None, Body::ServiceStart(start)),
        record(12.0 * HOUR_S, machine, Body::Check(sanitizer)),
        rack(13.0, Verdict::Pass),
        rack(14.0, Verdict::Cold),
        record(14.0 * HOUR_S, machine, Body::AlertRaised(Box::new(raised))),
        record(14.2 * HOUR_S, machine, Body::CorrectiveAction(action)),
        record(
            14.5 * HOUR_S,
            machine,
            Body::AlertClosed(AlertClosed { alert: AlertNumber(1), racks: 1, needed_action: true }),
        ),
        record(16.0 * HOUR_S, machine, Body::Gap(gap(Fault::OpenCircuit, 15.0, 16.0))),
        record(17.0 * HOUR_S, machine, Body::Gap(gap(Fault::Silent, 16.5, 17.0))),
        record(18.0 * HOUR_S, machine, Body::Check(supply)),
        late,
        record(20.1 * HOUR_S, None, amended(4, AmendmentChange::Comment)),
        record(20.2 * HOUR_S, None, amended(2, AmendmentChange::Withdrawn)),
        plain(stop(DAY_S + 21.0 * HOUR_S)),
    ]
}

fn site() -> Site {
    let (directory, ledger) = place();
    let (writer, _) = open(&ledger);
    commit(&writer, Commit { records: day(), ..Commit::default() }).expect("a commit");
    writer.close().expect("an orderly end");
    let configuration = directory.path().join("gateway.toml");
    let text = format!(
        "[site]\ntime-zone = \"America/New_York\"\nopen = [\"mon-sun 10:00-22:00\"]\n\n[ledger]\npath = \"{}\"\n\n\
         [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nwash-time = \"44s\"\n\
         rinse-time = \"12s\"\nprobes = [\"wash\", \"rinse\"]\n",
        ledger.display()
    );
    fs::write(&configuration, text).expect("a temporary file");
    Site { _directory: directory, ledger, configuration }
}

fn ask(source: &[&str], arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_rinseward"))
        .arg("history")
        .args(source)
        .args(arguments)
        .env_remove("RUST_LOG")
        .env("TZ", "Europe/Berlin")
        .stdin(Stdio::null())
        .output()
        .expect("the program starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("the program prints UTF-8")
}

fn path(path: &Path) -> &str {
    path.to_str().expect("a path of plain letters")
}

/// The day by the clock of the site: its 23 hours.
const SPAN: [&str; 4] = ["--from", "2026-03-08", "--to", "2026-03-08"];

/// The day, of what is no single moment.
fn span_of(view: &[&str]) -> &'static [&'static str] {
    let is_moment = view.contains(&"--record") || view.contains(&"--at");
    if is_moment { &[] } else { &SPAN }
}

const VIEWS: [&[&str]; 14] = [
    &["--show", "cycles"],
    &["--show", "cycles", "--scale", "f", "--verdict", "cold"],
    &["--show", "cycles", "--alert", "1", "--newest-first"],
    &["--show", "days"],
    &["--show", "days", "--scale", "f"],
    &["--show", "summary"],
    &["--show", "drift"],
    &["--show", "gaps"],
    &["--show", "checks"],
    &["--show", "checks", "--check", "supply"],
    &["--show", "alerts"],
    &["--show", "records", "--limit", "4"],
    &["--show", "records", "--alert", "1", "--kind", "corrective-action"],
    &["--show", "in-force", "--at", "2026-03-08 14:30"],
];

// Every view as people see it. The day has 23 h, of which the site was open 12; in these the service
// was down for 30 min, a probe for 1 h, and for 30 min its readings came late: 10 of 12 h watched.
#[test]
fn every_view_reads_like_this() {
    let site = site();
    let source = ["--config", path(&site.configuration)];
    let mut printed = String::new();
    let one: &[&str] = &["--record", "4"];
    for view in VIEWS.into_iter().chain([one]) {
        let output = ask(&source, &[view, span_of(view)].concat());
        assert!(output.status.success(), "{view:?}: {}", text(&output.stderr));
        printed.push_str(&format!("$ rinseward history {}\n{}\n", view.join(" "), text(&output.stdout)));
    }
    let golden = "tests/golden/history.txt";
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(golden);
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        fs::write(&file, &printed).expect("the golden file can be written");
    }
    let expected = fs::read_to_string(&file).expect("the golden file is there");
    assert_eq!(printed, expected, "UPDATE_GOLDEN=1 rewrites {golden}");
    assert!(!printed.contains('\u{1b}'), "nothing that a terminal would obey");
}

// Both forms for programs have as many rows; CSV says units where temperatures are.
#[test]
fn programs_get_the_same_rows() {
    let site = site();
    let source = ["--config", path(&site.configuration)];
    for view in VIEWS {
        let (json, csv) = (
            text(&ask(&source, &[view, span_of(view), &["--json"]].concat()).stdout),
            text(&ask(&source, &[view, span_of(view), &["--csv"]].concat()).stdout),
        );
        let objects: Vec<serde_json::Value> =
            json.lines().map(|line| serde_json::from_str(line).expect("an object a line")).collect();
        assert!(!objects.is_empty(), "{view:?}");
        assert!(csv.matches("\r\n").count() == objects.len() + 1, "{view:?}: {csv}");
        let header = csv.lines().next().expect("a header");
        for (key, _) in
            objects[0].as_object().expect("an object").iter().filter(|(key, _)| key.ends_with("_c"))
        {
            let name = key.trim_end_matches("_c");
            assert!(header.contains(&format!("{name} (degC)")), "{view:?}: {key} in {header}");
        }
        assert!(!csv.contains(",=salt"), "no text becomes a formula: {csv}");
    }
    let day =
        text(&ask(&source, &[&["--show", "days", "--machine", "dm1", "--json"][..], &SPAN].concat()).stdout);
    let day: serde_json::Value = serde_json::from_str(&day).expect("an object");
    assert_eq!((&day["operating_s"], &day["monitored_s"]), (&43_200.0.into(), &36_000.0.into()));
    assert_eq!((&day["filled_s"], &day["late"], &day["cycles"]), (&1_800.0.into(), &1.into(), &3.into()));
}

// Own promise: before the first record nobody watched, so that such time is none that was.
#[test]
fn nothing_was_watched_before_the_first_record() {
    let site = site();
    let source = ["--config", path(&site.configuration)];
    let span = ["--machine", "dm1", "--from", "2026-03-06", "--to", "2026-03-08", "--json"];
    let rows = |view: &str| -> Vec<serde_json::Value> {
        let printed = text(&ask(&source, &[&["--show", view][..], &span].concat()).stdout);
        printed.lines().map(|line| serde_json::from_str(line).expect("an object a line")).collect()
    };
    let days: Vec<serde_json::Value> = rows("days").into_iter().map(|day| day["day"].clone()).collect();
    assert_eq!(days, ["2026-03-08"], "a day before it on which nobody washed is none");
    assert_eq!(rows("summary")[0]["operating_s"], 43_200.0, "12 h of the day, nothing of those before");
}

// An auditor with the ledger alone is told times and hours of the site, by what it says of itself:
// it was open 12 of its 23 h.
#[test]
fn the_ledger_alone_says_zone_and_hours() {
    let (_directory, ledger) = place();
    let toml = "[site]\nname = \"Quay\"\ntime-zone = \"America/New_York\"\nopen = [\"mon-sun 10:00-22:00\"]\n\
                [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n\
                wash-time = \"44s\"\nrinse-time = \"12s\"\nprobes = [\"wash\", \"rinse\"]\n";
    let change = ConfigurationChange { sha256: "0123456789abcdef".repeat(4), toml: toml.to_owned() };
    let configured = record(0.0, None, Body::ConfigurationChange(change));
    let (writer, _) = open(&ledger);
    let records = vec![configured, rack(14.0, Verdict::Pass), plain(stop(DAY_S + 22.0 * HOUR_S))];
    commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
    writer.close().expect("an orderly end");
    let source = ["--ledger", path(&ledger)];
    let days = text(&ask(&source, &[&["--show", "days"][..], &SPAN].concat()).stdout);
    let heading = "America/New_York, the zone of the site by the configuration on record.";
    assert!(days.contains(heading) && days.contains("share of the opening hours of the site"), "{days}");
    let one = ["--show", "days", "--machine", "dm1", "--json"];
    let json = text(&ask(&source, &[&one[..], &SPAN].concat()).stdout);
    let day: serde_json::Value = serde_json::from_str(&json).expect("an object");
    assert_eq!((&day["day"], &day["operating_s"]), (&"2026-03-08".into(), &43_200.0.into()), "{json}");
    // 14 h after its midnight the clock of New York shows 15:00; that of Berlin, this computer's, 20:00.
    for (from, racks) in [("2026-03-08 14:59", 1), ("2026-03-08 15:01", 0)] {
        let rows = text(&ask(&source, &["--from", from, "--json"]).stdout).lines().count();
        assert_eq!(rows, racks, "{from}");
    }
}

/// Racks two minutes apart from 12:00 on: two that warm up and the 50 that the charts learn from,
/// then some that are 2.0 K colder; after a pause of an hour a cold one.
fn declining() -> Vec<NewRecord> {
    let washed = |place: u32, rinse_min_c: f64| {
        let mut record = cycle("dm1", DAY_S + 12.0 * HOUR_S + 120.0 * f64::from(place), Verdict::Pass);
        let Body::Cycle(rack) = &mut record.body else { return plain(record) };
        rack.rinse_min_c = Some(rinse_min_c);
        rack.settled_after_s = Some(if place < 52 { 3.0 } else { 4.5 });
        plain(record)
    };
    let usual = (0..52).map(|place| washed(place, if place % 2 == 0 { 84.9 } else { 84.3 }));
    let lower = (52..82).map(|place| washed(place, 82.6));
    let cold = plain(cycle("dm1", DAY_S + 16.0 * HOUR_S, Verdict::Cold));
    usual.chain(lower).chain([cold]).collect()
}

// By the formulas of `core::trend`: mean (84.9 + 84.3)/2, moving range 0.6, so that σ = 0.6/1.128 =
// 0.5319. At 82.6 °C z = −3.76 and the sum below is 3.26 after one rack, 6.52 after two, beyond 5.
// The average is then 0.2·2.0 + 0.8·0.4 = 0.72 K below, beyond 3σ·√(0.2/1.8·(1 − 0.8⁴)) = 0.41 K.
#[test]
fn early_warnings_are_shown_as_such() {
    let (_directory, ledger) = place();
    let (writer, _) = open(&ledger);
    commit(&writer, Commit { records: declining(), ..Commit::default() }).expect("a commit");
    writer.close().expect("an orderly end");
    let source = ["--ledger", path(&ledger)];
    let table = text(&ask(&source, &[&["--show", "drift"][..], &SPAN].concat()).stdout);
    assert!(table.starts_with("Early warnings, no verdicts:"), "{table}");
    let json = text(&ask(&source, &[&["--show", "drift", "--json"][..], &SPAN].concat()).stdout);
    let rows: Vec<serde_json::Value> =
        json.lines().map(|line| serde_json::from_str(line).expect("an object a line")).collect();
    let of = |what: &str| rows.iter().filter(|row| row["what"] == what).collect::<Vec<_>>();
    let number = |row: &serde_json::Value, key: &str| row[key].as_f64().unwrap_or(f64::NAN);
    let usual = of("usual-level")[0];
    assert!((number(usual, "level_c") - 84.6).abs() < 1e-9, "{usual}");
    assert!((number(usual, "sigma_c") - 0.6 / 1.128).abs() < 1e-9, "{usual}");
    let signals = of("signal");
    let charts: Vec<&serde_json::Value> = signals.iter().map(|row| &row["chart"]).collect();
    assert_eq!(charts, ["ewma", "cusum"], "{json}");
    assert!(signals.iter().all(|row| (number(row, "shift_c") + 0.72).abs() < 1e-9), "{json}");
    // The 53rd rack, at 12:00 + 104 min in New York, is the first of those that are lower.
    assert_eq!(signals[1]["since"], "2026-03-08T18:44:00Z", "{json}");
    assert_eq!(of("cold-first-racks")[0]["racks"], 1);
    // Of the 81 that follow another one within three minutes 51 took 3 s and 30 took 4.5 s.
    let recovery = of("recovery");
    assert_eq!((&recovery[0]["day"], &recovery[0]["recovery_s"]), (&"2026-03-08".into(), &3.0.into()));
}

// Times that were typed and times that are shown are those of the site; without a configuration
// those of the computer, which this test puts to Berlin.
#[test]
fn times_are_those_of_the_site() {
    let site = site();
    let from = |source: &[&str], from: &str| ask(source, &["--from", from, "--json"]);
    // The racks' rinses began at 14:00, 14:30 and 15:00 in New York, at UTC−04:00.
    for (source, from_time, racks) in [
        (["--config", path(&site.configuration)], "2026-03-08 14:45", 1),
        (["--config", path(&site.configuration)], "2026-03-08 15:01", 0),
        (["--ledger", path(&site.ledger)], "2026-03-08 14:45", 3),
        (["--ledger", path(&site.ledger)], "2026-03-08 19:45", 1),
    ] {
        let rows = text(&from(&source, from_time).stdout).lines().count();
        assert_eq!(rows, racks, "{source:?} {from_time}");
    }
    let days = |source: &[&str]| text(&ask(source, &[&["--show", "days"][..], &SPAN].concat()).stdout);
    assert!(
        days(&["--config", path(&site.configuration)]).contains("America/New_York, the zone of the site")
    );
    assert!(days(&["--ledger", path(&site.ledger)]).contains("Europe/Berlin, the zone of this computer"));
}

// The records of one alert and the cycles that it names come in pages like every other list: the
// pages together are the whole, and a limit alone is the newest.
#[test]
fn what_concerns_an_alert_comes_in_pages() {
    let site = site();
    let source = ["--ledger", path(&site.ledger)];
    let numbers = |words: &[&str]| -> Vec<u64> {
        let output = ask(&source, &[words, &["--alert", "1", "--json"]].concat());
        assert_eq!(output.status.code(), Some(0), "{words:?}: {}", text(&output.stderr));
        let out = text(&output.stdout);
        let rows = out.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).expect("JSON"));
        rows.map(|row| row["index"].as_u64().or(row["ledger_index"].as_u64()).expect("a number")).collect()
    };
    for show in ["records", "cycles"] {
        let all = numbers(&["--show", show]);
        assert!(!all.is_empty(), "{show}");
        let newest = all.last().copied().into_iter().collect::<Vec<u64>>();
        assert_eq!(numbers(&["--show", show, "--limit", "1"]), newest, "{show}");
        for order in [&[][..], &["--newest-first"]] {
            let whole = numbers(&[&["--show", show], order].concat());
            let mut paged = Vec::new();
            // The page before ended with the first of them.
            let mut after = whole[0];
            loop {
                let follow = after.to_string();
                let words = [&["--show", show, "--limit", "2", "--after", &follow], order].concat();
                let page = numbers(&words);
                let Some(last) = page.last() else { break };
                assert!(page.len() <= 2, "{page:?}");
                after = *last;
                paged.extend(page);
            }
            assert_eq!(paged, whole[1..], "{show} {order:?}");
        }
    }
}

// What a view would pass over in silence is refused, and so is what is not there.
#[test]
fn what_makes_no_sense_is_refused() {
    let site = site();
    let source = ["--ledger", path(&site.ledger)];
    for (arguments, part) in [
        (&["--show", "days", "--alert", "1"][..], "--alert"),
        (&["--show", "cycles", "--check", "supply"], "--check"),
        (&["--show", "gaps", "--verdict", "cold"], "--verdict"),
        (&["--show", "cycles", "--at", "2026-03-08"], "--at"),
        (&["--show", "in-force", "--from", "2026-03-08"], "--from"),
        (&["--record", "99"], "numbered from 0 to 14"),
        (&["--show", "drift", "--limit", "3"], "--limit"),
        (&["--machine", "dm9"], "dm1"),
        (&["--after", "99"], "the ledger has no such record"),
        (&["--show", "alerts", "--alert", "99"], "the ledger knows no alert 99"),
        (&["--after", "2"], "it is of the kind «check»"),
        (&["--show", "checks", "--after", "3"], "it is of the kind «cycle»"),
        (&["--limit", "0"], "from 1 on"),
        (&["--record", "abc"], "a whole number"),
    ] {
        let output = ask(&source, arguments);
        assert_eq!(output.status.code(), Some(64), "{arguments:?}");
        assert!(text(&output.stderr).contains(part), "{arguments:?}: {}", text(&output.stderr));
    }
}
