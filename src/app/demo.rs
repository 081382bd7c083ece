//! `demo`: simulated machines, an ordinary gateway, and a view of both.
//!
//! The machines speak through pseudo-terminals; from there on everything is what
//! `run` is made of: serial sources, driver, ledger. Only the clock differs: it
//! runs as fast as the simulated kitchen does, so that every timer stays right. The
//! messages go to a receiver of its own, see [`inbox`].

mod days;
mod inbox;
mod kitchen;
mod open;
mod scene;
mod screen;
mod watch;

use std::fs;
use std::io::{self, IsTerminal};
use std::net::TcpListener;
use std::ops::ControlFlow;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::tz::TimeZone;
use rinseward_simulator::scenario::Scenario;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use self::inbox::Inbox;
use self::kitchen::Kitchen;
use self::open::OpenAlerts;
use self::scene::Scene;
use self::screen::Setting;
use self::watch::Watched;
use super::access::{Called, program};
use super::run::{bug, failed, runtime};
use super::station::Station;
use super::{Failure, Streams, configuration, history, ledger, terminal, watch as watch_command};
use crate::cli::{Command, DemoArgs};
use crate::config::load::Loaded;
use crate::core::counted::Noun;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::verdicts;
use crate::core::reader::Language;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;
use crate::diagnostic::Diagnostic;
use crate::ledger::{CycleFilter, Reader, unused};
use crate::report::table::{self, Style, Table};
use crate::report::words;
use crate::runtime::clock::Clock;
use crate::runtime::shutdown::Signals;

/// How long ago the first day of a demo is. At sixty times the real speed it reaches the present after 2.8 h; until then no
/// command that goes by the computer's clock finds records of a time to come.
const DAYS_BACK: i64 = 7;

/// Whether the command draws on the whole terminal, which a log would disturb.
pub(super) fn takes_the_screen(command: &Command) -> bool {
    match command {
        Command::Demo(arguments) => draws(arguments) && io::stderr().is_terminal(),
        Command::Watch(arguments) => watch_command::draws(arguments) && io::stderr().is_terminal(),
        Command::Run(_)
        | Command::Replay(_)
        | Command::History(_)
        | Command::Export(_)
        | Command::Alerts(_)
        | Command::Maintenance(_)
        | Command::Scan(_)
        | Command::SignOff(_)
        | Command::Ports(_)
        | Command::Prove(_)
        | Command::Calibrate(_)
        | Command::Respond(_)
        | Command::Enter(_)
        | Command::Hold(_)
        | Command::Backup(_)
        | Command::Restore(_)
        | Command::Import(_)
        | Command::Accounts(_)
        | Command::Key(_)
        | Command::Checkpoint(_)
        | Command::Verify(_)
        | Command::Series(_)
        | Command::CheckConfig(_) => false,
    }
}

fn draws(arguments: &DemoArgs) -> bool {
    !arguments.plain && terminal::is_there()
}

pub(super) fn demo(arguments: &DemoArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let scenario: Scenario = arguments.scenario.parse().map_err(|_| unknown_scenario(&arguments.scenario))?;
    let directory = directory(arguments)?;
    let path = directory.join("ledger.sqlite");
    // Before anything of it is written: that demo goes by the configuration that is there.
    unused(&path).map_err(|error| ledger::diagnose(&error, &path))?;
    let day = next_day(&path)?;
    let kitchen = Kitchen::open(scenario, arguments.seed, day).map_err(|error| {
        Diagnostic::error("source-open", "cannot make a pseudo-terminal")
            .because(&error)
            .advice("see that /dev/ptmx is there and may be opened")
    })?;
    let gateway = directory.join("gateway.toml");
    let inbox = Inbox::open(&directory).map_err(|error| unwritable(&directory, &error))?;
    let before = fs::read_to_string(&gateway).ok().and_then(|written| kitchen::port_of(&written));
    let pages = kitchen::pages(before).map_err(|error| no_port(&error))?;
    let address = pages.local_addr().map_err(|error| no_port(&error))?;
    fs::write(&gateway, kitchen.configuration(&path, &inbox, address))
        .map_err(|error| unwritable(&gateway, &error))?;
    writeln!(streams.err, "All that it keeps is in {}", directory.display()).map_err(Failure::output)?;
    if let Some(taken) = before.filter(|before| *before != address.port()) {
        let said =
            format!("Its pages were at port {taken}, which another program has: they are at {address} now");
        writeln!(streams.err, "{said}").map_err(Failure::output)?;
    }
    let loaded = configuration::load_alone(gateway.clone(), streams)?;
    let mut scene = Scene::new(&loaded.configuration.machines, &loaded.configuration.channels);
    show(arguments, scenario, (kitchen, inbox, pages), (&loaded, &gateway), &mut scene, streams)?;
    summarise(&scene, &directory, streams).map_err(Failure::output)
}

/// Runs kitchen, gateway and view until one of them ends.
fn show(
    arguments: &DemoArgs,
    scenario: Scenario,
    (kitchen, inbox, pages): (Kitchen, Inbox, TcpListener),
    (loaded, gateway): (&Loaded, &Path),
    scene: &mut Scene,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let clock = Clock::at_rate(kitchen.start(), arguments.speed);
    let address = pages.local_addr().map_err(|error| no_port(&error))?;
    let stop = CancellationToken::new();
    let runtime = runtime()?;
    let entered = runtime.enter();
    let signals = Signals::take().map_err(|error| bug("cannot take over the signals", &error))?;
    let mut station = Station::open(loaded, &clock, &stop)?.simulated().with_pages_at(pages);
    drop(entered);
    let words = station.first_words(&Called::with(&[gateway.to_owned()]));
    let login = format!("http://{address}/login");
    // Where the terminal is drawn on, the picture shows the secret as long as it can be used: what was printed before
    // would be seen again after it, when the secret was used or nothing is left to log in at.
    if !(draws(arguments) && io::stderr().is_terminal()) {
        match &words {
            Some(words) => write!(streams.err, "{}", words.text),
            None => writeln!(streams.err, "The pages are at {login}; the accounts are those of before"),
        }
        .map_err(Failure::output)?;
    }
    let mut published = station.published();
    begin_playing(kitchen, &clock, &stop)?;
    let (told, mut messages) = mpsc::channel(inbox::SHOWN_MAX);
    let inbox = inbox.take(told, stop.clone());
    drop(runtime.spawn(async {
        if let Err(error) = inbox.await {
            tracing::warn!(%error, "the receiver of the demo's messages ended");
        }
    }));
    let gateway = runtime.spawn(station.run());
    drop(runtime.spawn(signals.watch(stop.clone())));
    if let Some(seconds) = arguments.seconds {
        let ended = stop.clone();
        drop(runtime.spawn(async move {
            tokio::time::sleep(Duration::from_secs(seconds)).await;
            ended.cancel();
        }));
    }
    let mut open = OpenAlerts::new(&loaded.configuration.ledger.path);
    let watched =
        Watched { scene, published: &mut published, open: &mut open, messages: &mut messages, stop: &stop };
    let seen = if draws(arguments) {
        let speed = format!("{}× real time", arguments.speed);
        let (scenario, path) = (scenario.to_string(), &loaded.configuration.ledger.path);
        let kept_in = path.parent().unwrap_or(path).display().to_string();
        let setting = Setting { zone: TimeZone::system(), speed, scenario, login: Some(login), kept_in };
        watch::on_screen(watched, setting, words.as_ref())
    } else {
        in_lines(&runtime, arguments, watched, streams)
    };
    stop.cancel();
    let ended = runtime.block_on(gateway).unwrap_or_else(|error| Err(failed(&error)));
    runtime.shutdown_background();
    // What the last commits held, for the summary.
    while let Ok(last) = published.try_recv() {
        drop(scene.take(&last));
    }
    seen.and(ended)
}

/// Has the kitchen played on a thread of its own until it is to stop.
fn begin_playing(kitchen: Kitchen, clock: &Clock, stop: &CancellationToken) -> Result<(), Failure> {
    let (clock, stop) = (clock.clone(), stop.clone());
    let play = move || kitchen.play(&clock, &stop);
    let player = std::thread::Builder::new().name("kitchen".to_owned()).spawn(play);
    player.map(drop).map_err(|error| bug("cannot start a thread", &error))
}

fn no_port(error: &io::Error) -> Diagnostic {
    Diagnostic::error("web-listen", "there is no free port for the pages")
        .because(error)
        .advice("end what holds the ports of this computer")
}

fn in_lines(
    runtime: &tokio::runtime::Runtime,
    arguments: &DemoArgs,
    watched: Watched<'_>,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let mut table = Table::new(Style { advice: true, ..history::style() });
    writeln!(streams.out, "SIMULATED – demo, {}× real time; Ctrl-C ends it", arguments.speed)
        .and_then(|()| {
            let mut lines = table::wrapped(words::CAUTION, table::WIDTH).into_iter();
            lines.try_for_each(|line| writeln!(streams.out, "{line}"))
        })
        .and_then(|()| streams.out.flush())
        .map_err(Failure::output)?;
    runtime.block_on(watch::in_lines(watched, &mut table, &TimeZone::system(), streams))
}

fn summarise(scene: &Scene, directory: &Path, streams: &mut Streams<'_>) -> io::Result<()> {
    let total: u64 = scene.counts.iter().sum();
    let total = Noun::Racks.of(total, Language::English);
    write!(streams.out, "\nSIMULATED – demo over: {total}")?;
    for (place, (verdict, count)) in
        Verdict::ALL.into_iter().zip(scene.counts).filter(|(_, count)| *count > 0).enumerate()
    {
        let separator = if place == 0 { ": " } else { ", " };
        let (word, mark) = (verdicts(verdict, count, Language::English), words::mark(verdict));
        write!(streams.out, "{separator}{count} {word} {mark}")?;
    }
    let (path, gateway) = (directory.join("ledger.sqlite"), directory.join("gateway.toml"));
    let path = path.display();
    writeln!(streams.out, "\nEvery rack is on record in {path}")?;
    let program = program();
    writeln!(streams.out, "Configured by {}", gateway.display())?;
    writeln!(streams.out, "See them:  {program} history --ledger {path}")?;
    if scene.counts[0] > 0 {
        writeln!(streams.out, "The cold:  {program} history --ledger {path} --verdict cold --json")?;
    }
    if let Some(day) = scene.now.and_then(|now| local_date(&TimeZone::system(), now)) {
        writeln!(streams.out, "In sum:    {program} history --ledger {path} --show summary --to {day}")?;
    }
    writeln!(streams.out, "Alerts:    {program} alerts list --config {}", gateway.display())?;
    writeln!(streams.out, "Messages:  {}", directory.join(inbox::FILE).display())
}

/// The directory of `--ledger`, or a fresh one among the temporary files.
fn directory(arguments: &DemoArgs) -> Result<PathBuf, Failure> {
    if let Some(directory) = &arguments.ledger {
        fs::create_dir_all(directory).map_err(|error| unwritable(directory, &error))?;
        return Ok(fs::canonicalize(directory).map_err(|error| unwritable(directory, &error))?);
    }
    let base = std::env::temp_dir();
    let mut made = Err(io::Error::from(io::ErrorKind::AlreadyExists));
    let mut directory = base.clone();
    for attempt in 0..100 {
        directory = base.join(format!("rinseward-demo-{}-{attempt}", std::process::id()));
        // Made by us and for us alone, or not at all: the place is open to everybody.
        made = fs::DirBuilder::new().mode(0o700).create(&directory);
        if made.as_ref().is_err_and(|error| error.kind() == io::ErrorKind::AlreadyExists) {
            continue;
        }
        break;
    }
    made.map_err(|error| unwritable(&directory, &error))?;
    Ok(directory)
}

/// The midnight that the scenario plays after: that of [`DAYS_BACK`], or that after the last rack of
/// a ledger that an earlier demo left, so that time never runs back on record; and how many days that is after its
/// first rack.
fn next_day(path: &Path) -> Result<(Timestamp, u32), Failure> {
    let (mut oldest, mut last) = (None, None);
    if path.exists() {
        let filter = CycleFilter { limit: Some(1), ..CycleFilter::default() };
        let found = |record: Record, of: &mut Option<Timestamp>| {
            if let Body::Cycle(cycle) = record.body {
                *of = Some(cycle.received);
            }
            ControlFlow::Break(())
        };
        Reader::open(path)
            .and_then(|reader| {
                reader.cycles(&filter, |_, _, record| found(record, &mut oldest))?;
                reader.cycles_newest_first(&filter, |_, _, record| found(record, &mut last))
            })
            .map_err(|error| ledger::diagnose(&error, path))?;
    }
    let first = midnight(Clock::system().now(), -DAYS_BACK);
    let day = last.map_or(first, |last| first.max(midnight(last, 1)));
    Ok((day, oldest.map_or(0, |oldest| days_between(oldest, day))))
}

/// How many midnights lie between two instants.
fn days_between(from: Timestamp, to: Timestamp) -> u32 {
    let zone = TimeZone::system();
    let days = local_date(&zone, from).zip(local_date(&zone, to)).map(|(from, to)| (to - from).get_days());
    days.and_then(|days| u32::try_from(days).ok()).unwrap_or(0)
}

/// The local midnight before `instant`, moved by `days`.
fn midnight(instant: Timestamp, days: i64) -> Timestamp {
    let local = jiff::Timestamp::from_microsecond(instant.micros())
        .ok()
        .map(|utc| utc.to_zoned_datetime(TimeZone::system()))
        .map(|local| local.date().saturating_add(jiff::Span::new().days(days)))
        .and_then(|date| date.to_zoned_datetime(TimeZone::system()).ok());
    local.map_or(instant, |midnight| Timestamp::from_micros(midnight.timestamp().as_microsecond()))
}

fn unknown_scenario(name: &str) -> Diagnostic {
    let names: Vec<&str> = Scenario::ALL.iter().map(|scenario| scenario.as_str()).collect();
    Diagnostic::error("usage", format!("there is no scenario «{name}»"))
        .advice(format!("choose one of {}", names.join(", ")))
}

fn unwritable(path: &Path, error: &io::Error) -> Diagnostic {
    Diagnostic::error("ledger-open", "cannot write here")
        .place(path.display().to_string())
        .because(error)
        .advice("give --ledger a directory that you may write")
}
