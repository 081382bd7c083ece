//! Measures exports of a month and a year out of a ledger of many years, by the command itself.
//!
//! `CYCLES=2700000 cargo bench --bench report` fills five machines over five years; without
//! `CYCLES` there are 50,000. Time is that of the whole process, memory its peak (VmHWM).

#![expect(clippy::disallowed_methods, reason = "a bench measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::record::{Body, ConfigurationChange, Record};
use rinseward::ledger::{Commit, Names, NewRecord, Writer};

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
    let (_directory, path) = place();
    let began = Instant::now();
    fill(&path, cycles);
    println!("{cycles} cycles of {MACHINES} machines written in {:.1?}", began.elapsed());
    let last = at(f64::from(cycles / MACHINES) * EVERY_S).to_string();
    let (year, month) = (&last[..4], &last[5..7]);
    // The last whole month and year there is, or what there is of the first.
    let whole_year = year.parse::<u32>().map_or(2026, |year| (year - 1).max(2026)).to_string();
    let whole_month = if month == "01" { "2026-01".to_owned() } else { format!("{year}-01") };
    for (what, span) in
        [("a month", ["--month", whole_month.as_str()]), ("a year", ["--year", whole_year.as_str()])]
    {
        for form in ["json", "csv", "jsonl"] {
            let name = match form {
                "csv" => "tables".to_owned(),
                form => format!("export.{form}"),
            };
            measure(&path, what, form, &span, &path.with_file_name(name));
        }
    }
}

fn fill(path: &Path, cycles: u32) {
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
    commit(&writer, Commit { records: vec![plain(start(0.0)), plain(change)], ..Commit::default() })
        .expect("a commit");
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
    let kept = n % TRACES_EVERY == 0 || verdict != Verdict::Pass;
    if let Body::Cycle(cycle) = &mut record.body {
        cycle.trace_sha256 = kept.then(|| "11".repeat(32));
        cycle.rinse_min_c = cycle.rinse_min_c.map(|min_c| min_c + f64::from(n % 17) * 0.05);
    }
    NewRecord { record, trace: kept.then(|| trace(seconds)) }
}

fn measure(ledger: &Path, what: &str, form: &str, span: &[&str; 2], out: &Path) {
    let mut spent = Vec::new();
    let (mut peak_kb, mut bytes) = (0, 0);
    for _ in 0..3 {
        let began = Instant::now();
        let mut child = Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .args(["export", "--force", "--form", form, span[0], span[1], "--ledger"])
            .arg(ledger)
            .arg("--out")
            .arg(out)
            .stdin(Stdio::null())
            .spawn()
            .expect("the program starts");
        let status = loop {
            peak_kb = peak_kb.max(resident_kb(child.id()));
            if let Some(status) = child.try_wait().expect("a child of ours") {
                break status;
            }
            std::thread::sleep(Duration::from_millis(5));
        };
        spent.push(began.elapsed());
        assert!(status.success(), "{form} of {what}");
        bytes = size(out);
    }
    spent.sort_unstable();
    println!(
        "  {what} as {form}: median {:.2?} (fastest {:.2?}, slowest {:.2?}), {} MB resident, {:.1} MB written",
        spent[1],
        spent[0],
        spent[2],
        peak_kb / 1024,
        bytes as f64 / 1e6
    );
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
