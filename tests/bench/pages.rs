//! Measures the pages of a service with a ledger of years while a hundred of them are open.
//!
//! `cargo bench --bench pages` runs the service with 50,000 cycles of five machines up to a
//! minute ago, `CYCLES=2700000` with five years of them; `LEDGER=/path/ledger.sqlite` fills it
//! there and keeps it, or takes the one that is there; `ONLY=days` asks for the pages alone whose names
//! begin so. Probes deliver at 4 Hz all the time. A
//! hundred streams of open pages are kept as browsers keep them; then each page is asked for
//! `ASKED` times (200) over the same loopback, one after the other, by one person who looks at
//! ever other machines, days, racks and alerts. Beside it: bytes and requests of a first and a
//! later load, what logins and streams take of memory and processor, and how long a reading takes
//! until it is committed (at most 100 ms of it wait for company), without and with people at
//! the pages, turn by turn in one run.

#![expect(clippy::disallowed_methods, reason = "a bench spawns and measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use rinseward::ledger::Reader;
use tempfile::TempDir;

#[expect(dead_code, reason = "the tests use all of it")]
#[path = "../tests/ledger/fixture.rs"]
mod fixture;
#[path = "pages/gateway.rs"]
mod gateway;
#[path = "pages/people.rs"]
mod people;
#[path = "pages/years.rs"]
mod years;

use gateway::Gateway;
use people::{Answer, Browser, Seen};
use years::{GONE, Years, machine};

/// Pages that are open.
const OPEN: usize = 100;
/// Logins after which memory is looked at.
const LOGINS: usize = 100;
/// Accounts that keep them open.
const CREW: usize = 4;
/// Of each page, ms.
const BUDGET_MS: f64 = 50.0;
/// Of a first load, bytes.
const BUDGET_BYTES: usize = 100_000;
/// How long processor time is looked at.
const STILL: Duration = Duration::from_secs(20);
/// Readings of one turn whose way into the ledger is measured.
const KEPT: usize = 100;
/// Time between two pages while that is measured: 20 a second.
const PAGE_EVERY: Duration = Duration::from_millis(50);

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build();
    runtime.expect("a runtime").block_on(measure());
}

fn number(name: &str, usual: u32) -> u32 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}

async fn measure() {
    let (cycles, asked) = (number("CYCLES", 50_000), number("ASKED", 200));
    let directory = TempDir::new().expect("a temporary directory");
    let port = gateway::free_port();
    let configuration = gateway::configuration(port);
    let kept = std::env::var_os("LEDGER").map(PathBuf::from);
    let path = kept.unwrap_or_else(|| directory.path().join("ledger.sqlite"));
    let mut years = Years::until(gateway::now(), cycles);
    if path.exists() {
        let last = Reader::open(&path).and_then(|reader| reader.last_recorded()).expect("a ledger");
        years = Years::until(last.expect("something is on record"), cycles);
        println!("{cycles} cycles, written before");
    } else {
        let began = Instant::now();
        years.fill(&path, &configuration);
        println!("{cycles} cycles of {} machines written in {:.1?}", years::MACHINES, began.elapsed());
    }
    let place = path.parent().expect("a directory");
    std::fs::write(place.join("gateway.toml"), configuration).expect("a writable directory");
    // The accounts of a run before have passwords of their own.
    drop(std::fs::remove_file(place.join("ledger.sqlite.access")));
    let (gateway, took) = Gateway::start(place, port);
    println!("  from the start until pages are served: {took:.1?}");
    let reader = Reader::open(&path).expect("a reader");
    until_sealed(&reader).await;
    let mut boss = Browser::new(port);
    boss.settle("boss", &gateway.account("boss", "administrator")).await;
    println!("  the first proof of inclusion: {:.1?}", boss.get("/cycles/7/proof").await.took);
    let boss = logins(&gateway, &boss).await;
    let crew = crew(&gateway, port).await;
    let (seen, open) = open_pages(&gateway, &crew).await;
    pages(&boss, &Paths { years, reader: &reader, size: reader.size().expect("its size") }, asked).await;
    println!(
        "  streams begun {}, refused {}; resident {:.1} MB, at most {:.1}",
        seen.begun.load(Ordering::Relaxed),
        seen.refused.load(Ordering::Relaxed),
        gateway.resident_mb().0,
        gateway.resident_mb().1
    );
    drop(open);
    beside(&gateway, (&boss, &crew), &path).await;
}

/// Waits for the first checkpoint, without which nothing can be proved.
async fn until_sealed(reader: &Reader) {
    let began = Instant::now();
    while reader.newest_checkpoint().expect("the ledger").is_none() {
        assert!(began.elapsed() < Duration::from_secs(120), "no checkpoint is made");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

/// Gives the browser of the last login: an account keeps a few sessions only.
async fn logins(gateway: &Gateway, boss: &Browser) -> Browser {
    let mut last = boss.clone();
    let (before, _) = gateway.resident_mb();
    let began = Instant::now();
    for number in 0..LOGINS {
        last = boss.again("boss", number).await;
    }
    let (after, most) = gateway.resident_mb();
    println!(
        "  {LOGINS} logins in {:.1?}: resident {before:.1} MB before, {after:.1} after, {most:.1} at most",
        began.elapsed()
    );
    last
}

/// Those who keep pages open: an account has 40 live pages at most.
async fn crew(gateway: &Gateway, port: u16) -> Vec<Browser> {
    let mut crew = Vec::new();
    for number in 0..CREW {
        let (account, mut browser) = (format!("crew-{number}"), Browser::new(port));
        browser.settle(&account, &gateway.account(&account, "operator")).await;
        crew.push(browser);
    }
    crew
}

/// Open pages: what they saw, and what ends them.
async fn open_pages(gateway: &Gateway, crew: &[Browser]) -> (Arc<Seen>, tokio::task::JoinSet<()>) {
    let share = |began: Instant, cpu: f64| 100.0 * (gateway.cpu_s() - cpu) / began.elapsed().as_secs_f64();
    tokio::time::sleep(Duration::from_secs(2)).await;
    let (began, cpu) = (Instant::now(), gateway.cpu_s());
    tokio::time::sleep(STILL / 2).await;
    let alone = share(began, cpu);
    let (before, _) = gateway.resident_mb();
    let (seen, mut open) = (Arc::new(Seen::default()), tokio::task::JoinSet::new());
    let streams = ["/live", "/live", "/machines/dm0/live", "/machines/dm1/live", "/live/probes"];
    for number in 0..OPEN {
        crew[number % crew.len()].keep_open(streams[number % streams.len()], Arc::clone(&seen), &mut open);
    }
    tokio::time::sleep(Duration::from_secs(3)).await;
    let (began, cpu, bytes) = (Instant::now(), gateway.cpu_s(), seen.bytes.load(Ordering::Relaxed));
    tokio::time::sleep(STILL).await;
    let sent = (seen.bytes.load(Ordering::Relaxed) - bytes) as f64 / began.elapsed().as_secs_f64();
    println!(
        "  10 probes at 4 Hz: {alone:.1} % of one core; with {OPEN} open pages {:.1} %, {:.0} kB/s sent; resident {before:.1} MB, then {:.1}",
        share(began, cpu),
        sent / 1e3,
        gateway.resident_mb().0
    );
    (seen, open)
}

/// Where the pages are, ever another.
struct Paths<'a> {
    years: Years,
    reader: &'a Reader,
    size: u64,
}

/// Numbers that repeat: minimal generator of Park and Miller (Communications of the ACM 31, 1988).
struct Draw(u64);

impl Draw {
    fn below(&mut self, end: u64) -> u64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0 % end.max(1)
    }
}

impl Paths<'_> {
    /// A day on which all machines washed.
    fn day(&self, draw: &mut Draw) -> String {
        let n = u32::try_from(draw.below(u64::from(self.years.cycles))).unwrap_or(0);
        self.years.at(n).to_string().chars().take(10).collect()
    }

    fn machine(draw: &mut Draw) -> String {
        machine(u32::try_from(draw.below(u64::from(years::MACHINES))).unwrap_or(0))
    }

    /// A rack; where `kept`, one whose trace is.
    fn rack(&self, draw: &mut Draw, kept: bool) -> u64 {
        loop {
            let index = draw.below(self.size);
            let is_cycle = self
                .reader
                .record(index)
                .is_ok_and(|found| found.is_ok_and(|(_, record)| record.body.kind() == "cycle"));
            if is_cycle && (!kept || self.reader.trace(index).is_ok_and(|trace| trace.is_some())) {
                return index;
            }
        }
    }

    fn of(&self, form: &str, draw: &mut Draw) -> String {
        let mut path = form.to_owned();
        if path.contains("{machine}") {
            path = path.replace("{machine}", &Self::machine(draw));
        }
        if path.contains("{day}") {
            path = path.replace("{day}", &self.day(draw));
        }
        if path.contains("{rack}") {
            path = path.replace("{rack}", &self.rack(draw, false).to_string());
        }
        if path.contains("{traced}") {
            path = path.replace("{traced}", &self.rack(draw, true).to_string());
        }
        let alerts = u64::from(self.years.cycles / 2_000);
        path.replace("{alert}", &draw.below(alerts).to_string()).replace("{gone}", GONE)
    }
}

/// What is asked for.
const PAGES: [(&str, &str); 39] = [
    ("now", "/"),
    ("machine, today", "/machines/{machine}"),
    ("machine, a day", "/machines/{machine}?day={day}"),
    ("cycle", "/cycles/{rack}"),
    ("cycle with trace", "/cycles/{traced}"),
    ("proof of inclusion", "/cycles/{rack}/proof"),
    ("alerts", "/alerts"),
    ("one alert", "/alerts/{alert}"),
    ("logbook", "/logbook"),
    ("logbook, a form", "/logbook/supply"),
    ("history", "/history"),
    ("history, before a day", "/history?to={day}"),
    ("history, older", "/history?older={rack}"),
    ("history of a machine", "/history?machine={machine}&to={day}"),
    ("history, cold", "/history?verdict=cold&to={day}"),
    ("history of a machine, cold", "/history?machine={machine}&verdict=cold"),
    ("history of one given away", "/history?machine={gone}"),
    ("history, in doubt", "/history?verdict=in-doubt"),
    ("history of a machine, in doubt", "/history?machine={machine}&verdict=in-doubt&to={day}"),
    ("missed checks", "/history?show=missed&to={day}"),
    ("days", "/history?show=days&to={day}"),
    ("days of a machine", "/history?show=days&machine={machine}&to={day}"),
    ("checks", "/history?show=checks&to={day}"),
    ("checks of a machine", "/history?show=checks&machine={machine}&to={day}"),
    ("checks of one given away", "/history?show=checks&machine={gone}"),
    ("alerts on record", "/history?show=alerts&to={day}"),
    ("alerts of a machine", "/history?show=alerts&machine={machine}"),
    ("alerts of one given away", "/history?show=alerts&machine={gone}"),
    ("gaps of a machine", "/history?show=gaps&machine={machine}"),
    ("gaps of one given away", "/history?show=gaps&machine={gone}"),
    ("records", "/history?show=records&to={day}"),
    ("records of a machine", "/history?show=records&machine={machine}&to={day}"),
    ("records of one given away", "/history?show=records&machine={gone}"),
    ("probes", "/probes"),
    ("probe", "/probes/{machine}/rinse"),
    ("sheet of a machine", "/probes/{machine}/sheet"),
    ("sign-off", "/sign-off/{machine}"),
    ("settings", "/settings"),
    ("accounts", "/accounts"),
];

async fn pages(boss: &Browser, paths: &Paths<'_>, asked: u32) {
    let mut draw = Draw(2_718);
    let assets = assets(&boss.get("/").await.body);
    let mut later = 0;
    for path in &assets {
        let answer = boss.get(path).await;
        assert!(answer.status == 200 && answer.kept, "{path} is kept by browsers");
        later += answer.bytes;
    }
    println!(
        "  first load: the page and {} files of {later} bytes, {} requests; later the page alone, 1 request",
        assets.len(),
        assets.len() + 1
    );
    let only = std::env::var("ONLY").unwrap_or_default();
    for (what, form) in PAGES.into_iter().filter(|(what, _)| what.starts_with(&only)) {
        let mut answers: Vec<Answer> = Vec::new();
        for _ in 0..asked {
            let path = paths.of(form, &mut draw);
            let answer = boss.get(&path).await;
            assert!(matches!(answer.status, 200 | 404), "{path}: {}", answer.status);
            answers.push(answer);
        }
        let found = answers.iter().filter(|answer| answer.status == 200).count();
        let most = answers.iter().map(|answer| answer.bytes).max().unwrap_or(0);
        let plain = answers.iter().map(|answer| answer.body.len()).max().unwrap_or(0);
        let mut took: Vec<Duration> = answers.iter().map(|answer| answer.took).collect();
        let (p50, p99) = (rank(&mut took, 50), rank(&mut took, 99));
        println!(
            "  {what}: p50 {p50:.2} ms, p99 {p99:.2}{}; {found} of {asked} found; at most {most} bytes of {plain}{}",
            if p99 > BUDGET_MS { " OVER" } else { "" },
            if most + later > BUDGET_BYTES { " OVER" } else { "" },
        );
    }
}

/// What a page names beside itself.
fn assets(body: &str) -> Vec<String> {
    let parts = body.split(['"', '\'']).filter(|part| part.contains("assets/"));
    parts.map(|part| format!("/{}", part.trim_start_matches("./"))).collect()
}

/// Nearest rank, ms.
fn rank(took: &mut [Duration], percent: usize) -> f64 {
    took.sort_unstable();
    took[(took.len() * percent).div_ceil(100).max(1) - 1].as_secs_f64() * 1e3
}

/// How long a reading takes into the ledger, without and with people at the pages, turn by turn.
async fn beside(gateway: &Gateway, (boss, crew): (&Browser, &[Browser]), path: &Path) {
    let (mut alone, mut beside) = (Vec::new(), Vec::new());
    for _ in 0..3 {
        alone.extend(kept(gateway, path));
        let (seen, mut open) = (Arc::new(Seen::default()), tokio::task::JoinSet::new());
        for number in 0..OPEN {
            crew[number % crew.len()].keep_open("/live", Arc::clone(&seen), &mut open);
        }
        let forms: Vec<&str> =
            PAGES.iter().map(|(_, form)| *form).filter(|form| !form.contains('{')).collect();
        let every = PAGE_EVERY * u32::try_from(forms.len()).unwrap_or(1);
        for form in forms {
            let browser = boss.clone();
            tokio::time::sleep(PAGE_EVERY).await;
            open.spawn(async move {
                loop {
                    let began = Instant::now();
                    browser.get(form).await;
                    tokio::time::sleep(every.saturating_sub(began.elapsed())).await;
                }
            });
        }
        tokio::time::sleep(Duration::from_secs(2)).await;
        beside.extend(kept(gateway, path));
    }
    for (what, mut took) in [("alone", alone), ("beside people", beside)] {
        let (p50, p99, most) = (rank(&mut took, 50), rank(&mut took, 99), rank(&mut took, 100));
        println!("  a reading until it is kept, {what}: p50 {p50:.1} ms, p99 {p99:.1}, most {most:.1}");
    }
}

fn kept(gateway: &Gateway, path: &Path) -> Vec<Duration> {
    let reader = Reader::open(path).expect("a reader");
    tokio::task::block_in_place(|| (0..KEPT).map(|_| gateway.until_kept(&reader)).collect())
}
