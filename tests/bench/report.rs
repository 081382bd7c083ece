//! Measures exports of a month and a year out of a ledger of many years, by the command itself.
//!
//! `CYCLES=2700000 cargo bench --bench report` fills five machines over five years; without
//! `CYCLES` there are 50,000. `LEDGER=/path/ledger.sqlite` fills it there and keeps it, or takes
//! the one that is there. Time is that of the whole process, memory its peak (VmHWM). Evidence is
//! verified by `rinseward verify` in turn, as an auditor does.

#![expect(clippy::disallowed_methods, reason = "a bench measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::note::SigningKey;
use rinseward::core::record::{Body, ConfigurationChange, Record, SigningKeyChange};
use rinseward::ledger::{Commit, KeyFiles, Names, NewRecord, Writer};

#[expect(dead_code, reason = "the tests use all of it")]
#[path = "../tests/ledger/fixture.rs"]
mod fixture;

use fixture::{NEW_YEAR, at, commit, cycle, options, place, plain, start, trace};

const MACHINES: u32 = 5;
/// Time between two cycles of one machine: 540,000 a year of all five.
const EVERY_S: f64 = 291.0;
/// Racks that did not plainly pass have a trace.
const TRACES_EVERY: u32 = 50;

fn main() {
    let cycles = std::env::var("CYCLES").ok().and_then(|text| text.parse().ok()).unwrap_or(50_000);
    let kept = std::env::var_os("LEDGER").map(PathBuf::from);
    let (directory, mut path) = place();
    let key = SigningKey::from_seed("rinseward/bench", &[7; 32]).expect("a fine name");
    path = kept.unwrap_or(path);
    if path.exists() {
        println!("{cycles} cycles of {MACHINES} machines, written before");
    } else {
        let began = Instant::now();
        fill(&path, cycles, &key);
        println!("{cycles} cycles of {MACHINES} machines written in {:.1?}", began.elapsed());
    }
    println!("  {:.0} bytes a cycle", size(&path) as f64 / f64::from(cycles));
    let last = at(f64::from(cycles / MACHINES) * EVERY_S).to_string();
    let (year, month) = (&last[..4], &last[5..7]);
    // The last whole month and year there is, or what there is of the first.
    let whole_year = year.parse::<u32>().map_or(2026, |year| (year - 1).max(2026)).to_string();
    let whole_month = if month == "01" { "2026-01".to_owned() } else { format!("{year}-01") };
    for (what, span) in
        [("a month", ["--month", whole_month.as_str()]), ("a year", ["--year", whole_year.as_str()])]
    {
        for form in ["json", "csv", "jsonl", "evidence"] {
            let out = directory.path().join(match form {
                "csv" => "tables".to_owned(),
                form => format!("export.{form}"),
            });
            let bytes = measure(&format!("{what} as {form}"), &out, || {
                let mut export = program();
                export.args(["export", "--force", "--form", form, span[0], span[1], "--ledger"]);
                export.arg(&path).arg("--out").arg(&out);
                export
            });
            if form == "evidence" {
                assert!(bytes > 0, "evidence of {what}");
                measure(&format!("{form} of {what} verified"), &out, || {
                    let mut verify = program();
                    verify.arg("verify").arg(&out).args(["--key", &key.verifying().to_string()]);
                    verify.stdout(Stdio::null());
                    verify
                });
            }
        }
    }
}

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_rinseward"))
}

/// Puts the key beside the ledger, as the service does at its first start, and gives its record.
fn place_key(path: &Path, key: &SigningKey) -> Record {
    let files = KeyFiles::of(path);
    std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(files.secret())
        .and_then(|mut file| writeln!(file, "{}", key.secret_text()))
        .expect("the secret key");
    std::fs::write(files.public(), format!("{}\n", key.verifying())).expect("the public key");
    let first = SigningKeyChange::first(&key.verifying());
    Record::new(at(0.0), None, Body::SigningKey(Box::new(first)))
}

fn fill(path: &Path, cycles: u32, key: &SigningKey) {
    let machines: Vec<String> = (0..MACHINES).map(|n| format!("dm{n}")).collect();
    let names = Names { machines: &machines, channels: &[] };
    let writer = Writer::open(&options(path), names, NEW_YEAR).expect("the ledger opens").0;
    let mut toml = "[site]\nname = \"bench\"\ntime-zone = \"America/New_York\"\n".to_owned();
    for machine in &machines {
        toml.push_str(&format!(
            "\n[[machine]]\nname = \"{machine}\"\nkind = \"stationary-rack-dual-temperature\"\n\
             wash-time = \"44s\"\nrinse-time = \"12s\"\nprobes = [\"wash\", \"rinse\"]\n"
        ));
    }
    let change = ConfigurationChange { sha256: String::new(), toml };
    let change = Record::new(at(0.0), None, Body::ConfigurationChange(change));
    let records = vec![plain(place_key(path, key)), plain(start(0.0)), plain(change)];
    commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
    let mut next = 0;
    while next < cycles {
        let end = (next + 1_000).min(cycles);
        let records = (next..end).map(rack).collect();
        commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
        next = end;
    }
}

fn rack(n: u32) -> NewRecord {
    let seconds = f64::from(n / MACHINES) * EVERY_S + f64::from(n % MACHINES) + 100.0;
    let verdict = match n % 1_009 {
        0 => Verdict::Cold,
        1 => Verdict::Brief,
        2..8 => Verdict::Unproven,
        8..20 => Verdict::Narrow,
        _ => Verdict::Pass,
    };
    let mut record = cycle(&format!("dm{}", n % MACHINES), seconds, verdict);
    let kept = n.is_multiple_of(TRACES_EVERY) || verdict != Verdict::Pass;
    let trace = kept.then(|| trace(seconds));
    if let Body::Cycle(cycle) = &mut record.body {
        cycle.trace_sha256 = trace.as_ref().map(|trace| trace.sha256().to_string());
        cycle.rinse_min_c = cycle.rinse_min_c.map(|min_c| min_c + f64::from(n % 17) * 0.05);
    }
    NewRecord { record, trace }
}

/// Runs a command three times; gives the size of what lies at `out` then.
fn measure(what: &str, out: &Path, command: impl Fn() -> Command) -> u64 {
    let mut spent = Vec::new();
    let mut peak_kb = 0;
    for _ in 0..3 {
        let began = Instant::now();
        let mut child = command().stdin(Stdio::null()).spawn().expect("the program starts");
        let status = loop {
            peak_kb = peak_kb.max(resident_kb(child.id()));
            if let Some(status) = child.try_wait().expect("a child of ours") {
                break status;
            }
            std::thread::sleep(Duration::from_millis(5));
        };
        spent.push(began.elapsed());
        assert!(status.success(), "{what}");
    }
    let bytes = size(out);
    spent.sort_unstable();
    println!(
        "  {what}: median {:.2?} (fastest {:.2?}, slowest {:.2?}), {} MB resident, {:.1} MB written",
        spent[1],
        spent[0],
        spent[2],
        peak_kb / 1024,
        bytes as f64 / 1e6
    );
    bytes
}

fn resident_kb(process: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    peak.and_then(|peak| peak.trim().trim_end_matches(" kB").parse().ok()).unwrap_or(0)
}

fn size(path: &Path) -> u64 {
    if path.is_dir() {
        let entries = std::fs::read_dir(path).expect("the tables");
        return entries.map(|entry| size(&entry.expect("an entry").path())).sum();
    }
    path.metadata().map(|found| found.len()).unwrap_or(0)
}
