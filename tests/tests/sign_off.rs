//! `sign-off` by the real program: with a service, on the ledger itself, and the sheet that it prints.

use std::fs::{self, File};
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use jiff::ToSpan;
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::record::{
    Against, Body, CalibrationDone, CalibrationPoint, Correction, ProvenProbe, Record, ResponseDone,
    SignedOff, WiringProofDone,
};
use rinseward::core::signoff::OpenPoint;
use rinseward::core::time::Timestamp;
use rinseward::core::wiring::Evidence;
use rinseward::ledger::{Commit, NewRecord, Reader};
use tempfile::TempDir;

use crate::ledger::fixture::{NEW_YEAR, commit, cycle, open, trace};
use crate::live::terminal::Terminal;

/// Longest wait for a process to do what is awaited.
const WAIT_MAX: Duration = Duration::from_secs(60);
/// A name that would be markup, and drive a terminal.
const HOSTILE: &str = "<script>alert('x')</script> & \u{1b}[31m";

/// A site with one machine, `dm1`, whose limits are those of its data plate.
struct Kitchen {
    directory: TempDir,
}

impl Kitchen {
    fn new() -> Self {
        let kitchen = Self { directory: TempDir::new().expect("a temporary directory") };
        kitchen.configure("port1", "rinse-min = \"180F\"\nwash-min = \"150F\"\n");
        // A run whose input has ended leaves a ledger with its configuration behind; its key is put in
        // place with the first checkpoint at the latest.
        for arguments in [&["run"][..], &["checkpoint", "make"]] {
            let (code, said) = kitchen.say(arguments);
            assert_eq!(code, Some(0), "{said}");
        }
        kitchen
    }

    fn configure(&self, source: &str, limits: &str) {
        let text = format!(
            "[site]\nname = \"Harbour kitchen\"\ntime-zone = \"America/New_York\"\n[ledger]\npath = \"ledger.sqlite\"\n\
             [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nwash-time = \"45s\"\n\
             rinse-time = \"12s\"\n{limits}probes = [\"wash\", \"rinse\"]\n\
             [[source]]\nname = \"{source}\"\nkind = \"replay\"\n"
        );
        fs::write(self.path("gateway.toml"), text).expect("a temporary file");
    }

    fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.args(arguments).arg("--config").arg(self.path("gateway.toml")).env_remove("RUST_LOG");
        command
    }

    /// Exit code and everything said.
    fn say(&self, arguments: &[&str]) -> (Option<i32>, String) {
        let output = self.command(arguments).stdin(Stdio::null()).output().expect("the program starts");
        let said = [output.stdout, output.stderr].concat();
        (output.status.code(), String::from_utf8(said).expect("UTF-8"))
    }

    /// Signs with these arguments more, and writes the sheet.
    fn sign(&self, more: &[&str]) -> (Option<i32>, String) {
        let sheet = self.sheet().display().to_string();
        let arguments = ["sign-off", "dm1", "--by", "Tom", "--yes", "--out", &sheet, "--force"];
        self.say(&[&arguments[..], more].concat())
    }

    fn sheet(&self) -> PathBuf {
        self.path("sheet.html")
    }

    fn written(&self) -> String {
        // A number stays on one line with its unit.
        fs::read_to_string(self.sheet()).expect("a sheet").replace('\u{a0}', " ")
    }

    /// Puts records of dm1 into the ledger, as other commands do; a cycle with its trace.
    fn put(&self, bodies: Vec<Body>) {
        let (writer, _) = open(&self.path("ledger.sqlite"));
        for body in bodies {
            let begun = if let Body::Cycle(cycle) = &body { Some(cycle.rinse_started) } else { None };
            let trace = begun.map(|begun| trace(begun.seconds_since(NEW_YEAR)));
            let record = Record::new(now(), Some("dm1".to_owned()), body);
            let records = vec![NewRecord { record, trace }];
            commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
        }
    }

    /// Everything that a commissioning leaves behind, the test cycle with this verdict.
    fn commissioned(&self, verdict: Verdict) {
        self.put(vec![
            calibration("dm1/wash"),
            calibration("dm1/rinse"),
            response("dm1/rinse", 1.4),
            proof(true),
            tested(verdict),
        ]);
    }

    fn signed(&self) -> Vec<SignedOff> {
        let mut signed = Vec::new();
        let reader = Reader::open(&self.path("ledger.sqlite")).expect("a ledger");
        let read = reader.records_of(&["sign-off"], 0, |_, _, record| {
            if let Body::SignOff(done) = record.body {
                signed.push(*done);
            }
            ControlFlow::Continue(())
        });
        read.expect("whole records");
        signed
    }
}

fn now() -> Timestamp {
    Timestamp::from_micros(jiff::Timestamp::now().as_microsecond())
}

/// A day of the site, some days from now.
fn day(days: i64) -> String {
    let zone = jiff::tz::TimeZone::get("America/New_York").expect("the zone data is built in");
    let today = zone.to_datetime(jiff::Timestamp::now()).date();
    today.saturating_add(days.days()).to_string()
}

fn calibration(probe: &str) -> Body {
    let point = CalibrationPoint {
        against: Against::Thermometer { thermometer: "thermometer 17".to_owned() },
        reference_c: 80.0,
        reference_expanded_c: 0.3,
        indicated_c: 80.8,
        spread_c: 0.05,
        readings: 120,
        lasted_s: 60.0,
        found_error_c: 0.8,
        left_error_c: 0.02,
    };
    Body::Calibration(Box::new(CalibrationDone {
        probe: probe.to_owned(),
        at: now(),
        points: vec![point],
        found: Correction { gain: 1.0, offset_c: 0.0 },
        left: Correction { gain: 1.0, offset_c: -0.8 },
        expanded_c: 0.4,
        until: Some(day(365)),
        note: None,
        by: "Tom".to_owned(),
    }))
}

fn response(probe: &str, tau_s: f64) -> Body {
    Body::Response(Box::new(ResponseDone {
        probe: probe.to_owned(),
        at: now(),
        tau_s,
        expanded_s: 0.1,
        residual_c: 0.1,
        from_c: 24.0,
        to_c: 80.0,
        readings: 60,
        fast_enough: Some(true),
        by: "Tom".to_owned(),
    }))
}

fn proof(good: bool) -> Body {
    let proven = |probe: &str, good: bool| ProvenProbe {
        probe: probe.to_owned(),
        good,
        finding: if good { "answers" } else { "reversed" }.to_owned(),
        seen: Evidence::Rose { from_c: 21.0, to_c: 33.3, off: None, unseen: Vec::new() },
        instead: None,
    };
    let probes = vec![proven("dm1/wash", true), proven("dm1/rinse", good)];
    Body::WiringProof(Box::new(WiringProofDone { at: now(), probes, good, by: "Tom".to_owned() }))
}

/// A cycle that begins a little later than now, when everything before it is on record.
fn tested(verdict: Verdict) -> Body {
    let from_new_year = now().seconds_since(NEW_YEAR);
    cycle("dm1", from_new_year + 60.0, verdict).body
}

// Exit codes: 1 where the answer is «not good», 64 of sysexits.h. U: calibration 0.4 °C (k = 2) with
// 0.1 °C steps, ±0.3 °C installation and 0.1 °C repeatability is 0.57 °C by root sum of squares
// (JCGM 100:2008): 2·√(0.2² + (0.1/√12)² + (0.3/√3)² + 0.1²).
#[test]
fn a_machine_with_nothing_open_is_signed_off() {
    let kitchen = Kitchen::new();
    kitchen.commissioned(Verdict::Pass);

    let (code, said) = kitchen.say(&["sign-off", "dm1", "--by", "Tom"]);
    assert_eq!((code, kitchen.signed().len()), (Some(64), 0), "nobody was asked: {said}");
    assert!(said.contains("add --yes"), "{said}");

    let (code, said) = kitchen.sign(&["--note", "Booster set to 88 °C."]);
    assert_eq!(code, Some(0), "{said}");
    let signed = kitchen.signed().pop().expect("a record");
    assert_eq!(signed.open_points, []);
    assert!(signed.by.starts_with("Tom ("), "the user stands beside the name: {}", signed.by);
    assert_eq!(signed.site, "Harbour kitchen");
    let rinse = signed.probes.iter().find(|probe| probe.probe == "dm1/rinse").expect("its probe");
    let known = (0.2_f64.powi(2) + 0.01 / 12.0 + 0.09 / 3.0 + 0.01).sqrt() * 2.0;
    assert!((rinse.expanded_c - known).abs() < 1e-9, "{rinse:?}");
    assert_eq!((rinse.tau_s, rinse.until.clone()), (Some(1.4), Some(day(365))));
    assert!(signed.wiring_proof.is_some() && signed.test_cycle.is_some());

    let sheet = kitchen.written();
    for wanted in [
        "Harbour kitchen · dm1",
        "as found +0.80 °C, as left +0.02 °C; correction -0.80 °C",
        "±0.57 °C at 82.2 °C",
        "1.40 s ± 0.10 s",
        "✓ pass",
        "<svg",
        "Booster set to 88 °C.",
        "licensed electrician",
        "licensed plumber",
        "records, root",
    ] {
        assert!(sheet.contains(wanted), "«{wanted}» is not in\n{sheet}");
    }

    let (code, listed) = kitchen.say(&["history", "--show", "records", "--kind", "sign-off"]);
    assert_eq!(code, Some(0), "{listed}");
    assert!(listed.contains("signed off by Tom"), "{listed}");
}

#[test]
fn open_points_refuse_it_until_they_are_known() {
    let kitchen = Kitchen::new();
    kitchen.configure("port1", "");
    kitchen.put(vec![calibration("dm1/rinse"), response("dm1/rinse", 1.4), tested(Verdict::Cold)]);

    let (code, said) = kitchen.sign(&[]);
    assert_eq!((code, kitchen.signed().len()), (Some(1), 0), "{said}");
    assert!(!kitchen.sheet().exists(), "no sheet of what nobody signed");
    for wanted in
        ["error[sign-off-open]", "The wiring was never proved.", "dm1/wash was never calibrated.", "✗ cold"]
    {
        assert!(said.contains(wanted), "«{wanted}»: {said}");
    }

    let (code, said) = kitchen.sign(&["--open-points-are-known"]);
    assert_eq!(code, Some(0), "{said}");
    let points = kitchen.signed().pop().expect("a record").open_points;
    assert!(points.contains(&OpenPoint::WiringNotProved), "{points:?}");
    assert!(points.contains(&OpenPoint::NotCalibrated { probe: "dm1/wash".to_owned() }), "{points:?}");
    assert!(points.iter().any(|open| matches!(open, OpenPoint::RinseLimitOfFoodCode { .. })), "{points:?}");
    assert!(points.iter().any(|open| matches!(open, OpenPoint::Uncertain { .. })), "{points:?}");
    let cold = |open: &OpenPoint| matches!(open, OpenPoint::TestCycleNotGood { verdict: Verdict::Cold, .. });
    assert!(points.iter().any(cold), "{points:?}");
    assert!(kitchen.written().contains("Whoever signed knew and accepted them"), "{}", kitchen.written());
    assert!(kitchen.written().contains("NOT CALIBRATED"), "{}", kitchen.written());
}

/// Changes bytes of a record as a broken disk would.
fn damage(kitchen: &Kitchen, index: u64) {
    let connection = rusqlite::Connection::open(kitchen.path("ledger.sqlite")).expect("a second connection");
    let sql = format!(
        "DROP TRIGGER record_stays; UPDATE record SET bytes = x'7b7d' WHERE idx = {index};
         CREATE TRIGGER record_stays BEFORE UPDATE ON record BEGIN SELECT RAISE(ABORT, 'no'); END;"
    );
    connection.execute_batch(&sql).expect("a damaged record");
}

// Own rule, see `core::on_file`: a calibration that a damaged one may have replaced counts for nothing, and neither
// does a response test; made again, both count.
#[test]
fn what_a_damaged_record_may_have_replaced_is_an_open_point() {
    let kitchen = Kitchen::new();
    kitchen.commissioned(Verdict::Pass);
    let first = 1 + last_cycle(&kitchen);
    kitchen.put(vec![calibration("dm1/wash"), response("dm1/wash", 1.4)]);
    // The alerts have heard of them, and they are not the end of the ledger.
    let (code, said) = kitchen.say(&["enter", "note", "dm1", "the disk is old", "--by", "Tom"]);
    assert_eq!(code, Some(0), "{said}");
    damage(&kitchen, first);
    damage(&kitchen, first + 1);
    let (code, said) = kitchen.sign(&[]);
    assert_eq!((code, kitchen.signed().len()), (Some(1), 0), "{said}");
    for wanted in [
        "The calibration of dm1/rinse (record",
        "The response test of dm1/rinse (record",
        "rinseward calibrate dm1/rinse",
        "rinseward respond dm1/rinse",
    ] {
        assert!(said.contains(wanted), "«{wanted}»: {said}");
    }
    let again = vec![
        calibration("dm1/wash"),
        calibration("dm1/rinse"),
        response("dm1/rinse", 1.4),
        tested(Verdict::Pass),
    ];
    kitchen.put(again);
    let (code, said) = kitchen.sign(&[]);
    assert_eq!((code, kitchen.signed().len()), (Some(0), 1), "{said}");
}

#[test]
fn what_happened_since_counts() {
    let kitchen = Kitchen::new();
    kitchen.commissioned(Verdict::Pass);
    // Another source than the one that was proved.
    kitchen.configure("port2", "rinse-min = \"180F\"\nwash-min = \"150F\"\n");
    let (code, said) = kitchen.sign(&[]);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("1 point is open"), "{said}");
    assert!(said.contains("configured anew after the wiring was proved"), "{said}");

    // Proved anew, so that the cycle before it proves nothing, whether it is named or not.
    kitchen.configure("port1", "rinse-min = \"180F\"\nwash-min = \"150F\"\n");
    let before = 1 + last_cycle(&kitchen);
    let (writer, _) = open(&kitchen.path("ledger.sqlite"));
    let later = now().plus(Duration::from_secs(7_200));
    let record = Record::new(later, Some("dm1".to_owned()), proof(false));
    let records = vec![NewRecord { record, trace: None }];
    commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
    drop(writer);
    let (code, said) = kitchen.sign(&[]);
    assert_eq!(code, Some(1), "{said}");
    for wanted in ["No cycle is on record since", "wiring of dm1/rinse is not good: leads exchanged"] {
        assert!(said.contains(wanted), "«{wanted}»: {said}");
    }
    let (code, said) = kitchen.sign(&["--cycle", &(before - 1).to_string()]);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("was run before the wiring was proved"), "{said}");
    // The record behind it is no cycle.
    let (code, said) = kitchen.sign(&["--cycle", &before.to_string()]);
    assert_eq!(code, Some(64), "{said}");
    assert_eq!(kitchen.signed(), []);
}

// Own promise: what was withdrawn is not proved, and what a record withdrew that nobody can read is not either.
#[test]
fn a_withdrawn_proof_of_the_wiring_is_an_open_point() {
    let kitchen = Kitchen::new();
    kitchen.commissioned(Verdict::Pass);
    let proved = newest(&kitchen, "wiring-proof").to_string();
    let withdraw = ["enter", "amendment", &proved, "--withdraw", "--reason", "the wrong cup", "--by", "Tom"];
    let (code, said) = kitchen.say(&withdraw);
    assert_eq!((code, said.contains("is withdrawn")), (Some(0), true), "{said}");
    let (code, said) = kitchen.say(&withdraw);
    assert_eq!((code, said.contains("was withdrawn before")), (Some(64), true), "{said}");
    let unproved = "The wiring was never proved";
    let (code, said) = kitchen.sign(&[]);
    assert_eq!((code, said.contains(unproved)), (Some(1), true), "{said}");
    assert!(said.contains("rinseward prove dm1 --by NAME"), "{said}");
    kitchen.put(vec![proof(true)]);
    let (_, said) = kitchen.sign(&[]);
    assert!(!said.contains(unproved), "{said}");

    let kitchen = Kitchen::new();
    kitchen.commissioned(Verdict::Pass);
    let proved = newest(&kitchen, "wiring-proof").to_string();
    let (code, said) =
        kitchen.say(&["enter", "amendment", &proved, "--reason", "by daylight", "--by", "Tom"]);
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(kitchen.sign(&[]).0, Some(0), "a remark changes nothing");
    damage(&kitchen, newest(&kitchen, "amendment"));
    let (code, said) = kitchen.sign(&[]);
    assert_eq!((code, said.contains(unproved)), (Some(1), true), "{said}");
}

// Who sits at a terminal is asked once everything was shown; anything but a yes records nothing.
#[test]
fn whoever_sits_at_the_terminal_is_asked() {
    let kitchen = Kitchen::new();
    kitchen.commissioned(Verdict::Pass);
    for (typed, language, expected, signed) in
        [("n\r", "en", 64, 0), ("\r", "en", 64, 0), ("y\r", "en", 0, 1), ("sí\r", "es", 0, 2)]
    {
        let mut command = kitchen.command(&["sign-off", "dm1", "--by", "Tom", "--language", language]);
        let mut terminal = Terminal::start(&mut command, 100, 120);
        // What was typed before the question answers nothing.
        terminal.press("y\ry\r");
        terminal.until(if language == "es" { "¿Firmar? [s/n]" } else { "Sign it? [y/n]" });
        // Whoever is asked has seen what it is about.
        let seen = terminal.seen();
        assert!(seen.contains("dm1/rinse") && seen.contains("82.2 °C"), "{typed:?}: {seen}");
        assert!(
            kitchen.signed().len() == signed - usize::from(expected == 0),
            "{typed:?}: {}",
            terminal.seen()
        );
        terminal.press(typed);
        if typed == "\r" {
            terminal.until("Type y and Enter to sign");
            terminal.press("n\r");
        }
        let code = terminal.ended().code();
        assert_eq!(
            (code, kitchen.signed().len()),
            (Some(expected), signed),
            "{typed:?}: {}",
            terminal.seen()
        );
    }
}

/// Index of the newest record of a kind.
fn newest(kitchen: &Kitchen, kind: &str) -> u64 {
    let reader = Reader::open(&kitchen.path("ledger.sqlite")).expect("a ledger");
    let mut newest = None;
    let read = reader.records_of(&[kind], 0, |index, _, _| {
        newest = Some(index);
        ControlFlow::Continue(())
    });
    read.expect("whole records");
    newest.expect("one of that kind")
}

fn last_cycle(kitchen: &Kitchen) -> u64 {
    let reader = Reader::open(&kitchen.path("ledger.sqlite")).expect("a ledger");
    let mut last = 0;
    let read = reader.records(0, |index, _, record| {
        if matches!(record.body, Body::Cycle(_)) {
            last = index;
        }
        ControlFlow::Continue(())
    });
    read.expect("whole records");
    last
}

/// A running service; killed when dropped.
struct Service(Child);

impl Service {
    fn start(kitchen: &Kitchen) -> Self {
        let log = File::create(kitchen.path("gateway.log")).expect("a temporary file");
        let mut command = kitchen.command(&["run"]);
        command.stdin(Stdio::piped()).stdout(Stdio::null()).stderr(log);
        let service = Self(command.spawn().expect("the program starts"));
        let limit = Instant::now() + WAIT_MAX;
        let heard = || fs::read_to_string(kitchen.path("gateway.log")).unwrap_or_default();
        while !heard().contains("control socket") {
            assert!(Instant::now() < limit, "{}", heard());
            std::thread::sleep(Duration::from_millis(10));
        }
        service
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        // Has no effect on a child that has ended.
        drop(self.0.kill());
        drop(self.0.wait());
    }
}

#[test]
fn the_service_takes_it_and_the_sheet_can_be_printed_again() {
    let kitchen = Kitchen::new();
    kitchen.commissioned(Verdict::Pass);
    let service = Service::start(&kitchen);
    let (code, said) = kitchen.say(&["sign-off", "dm1", "--by", "Tom", "--yes", "--json", "--note", HOSTILE]);
    assert_eq!(code, Some(64), "a note that drives a terminal: {said}");
    let note = HOSTILE.replace('\u{1b}', "");
    let (code, said) = kitchen.say(&["sign-off", "dm1", "--by", "Tom", "--yes", "--json", "--note", &note]);
    assert_eq!(code, Some(0), "{said}");
    let shown: serde_json::Value = serde_json::from_str(&said).expect("JSON");
    let index = shown["record"].as_u64().expect("the number of its record").to_string();
    assert_eq!(shown["signed"]["open_points"], serde_json::json!([]));

    let sheet = kitchen.sheet().display().to_string();
    let again = ["sign-off", "dm1", "--sheet-only", &index];
    let (code, said) =
        kitchen.say(&[&again[..], &["--out", &sheet, "--language", "es", "--scale", "f"]].concat());
    assert_eq!(code, Some(0), "{said}");
    drop(service);
    let printed = kitchen.written();
    assert!(printed.contains("Hoja de puesta en servicio"), "{printed}");
    assert!(printed.contains("180.0 °F"), "{printed}");
    assert!(!printed.contains("<script>"), "{printed}");
    assert_eq!(kitchen.signed().len(), 1, "printing signs nothing");

    let (code, text) = kitchen.say(&again);
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains(&format!("Record  {index}")) || text.contains(&index), "{text}");
    let (code, said) = kitchen.say(&["sign-off", "dm1", "--sheet-only", "0"]);
    assert_eq!(code, Some(64), "no sign-off stands there: {said}");
    let (code, said) = kitchen.say(&["sign-off", "dm9", "--by", "Tom"]);
    assert_eq!(code, Some(64), "{said}");
}
