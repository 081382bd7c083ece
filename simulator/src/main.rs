//! The command `rinseward-simulator`.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::thread;
use std::time::Duration;

use clap::{Parser, Subcommand};
use rinseward_simulator::bench::{self, Bench, BenchError, Format, HELP};
use rinseward_simulator::checker::{ReadError, Table, compare, read_lines};
use rinseward_simulator::node::Stop;
use rinseward_simulator::node::modbus::{self, Line, UnitFault, Units, UnknownFault};
use rinseward_simulator::node::mqtt::{self, Broker, PublishError};
use rinseward_simulator::node::serial::{self, PseudoTerminal, SerialError};
use rinseward_simulator::probe::ProbeSpec;
use rinseward_simulator::scenario::{NOT_FROM_WATER, Scenario, UnknownScenario};
use rinseward_simulator::time::{MIDNIGHT_MICROS, parse_rfc3339};
use rinseward_simulator::truth::TruthEntry;
use rinseward_simulator::world::World;

/// Commercial dish machines from physics: probe readings, and the truth of every cycle.
#[derive(Parser)]
#[command(version)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// List the scenarios.
    Scenarios,
    /// Write a scenario's readings, and its truth, to files as fast as possible.
    Generate {
        #[command(flatten)]
        run: Run,
        /// File of SenML packs, one a line; `-` is standard output.
        #[arg(long, default_value = "-")]
        out: PathBuf,
    },
    /// Play a scenario onto pseudo-terminals, one per machine, and print their paths.
    Serial {
        #[command(flatten)]
        run: Run,
        /// Simulated seconds per second.
        #[arg(long, default_value_t = 1.0, value_parser = speed)]
        speed: f64,
        /// Folder for a symbolic link to each port, named after its machine.
        #[arg(long)]
        link_dir: Option<PathBuf>,
        /// How long the ports stay open after the end, s.
        #[arg(long, default_value_t = 2)]
        linger: u64,
    },
    /// Play a scenario into the registers of Modbus RTU units on one pseudo-terminal, and print its path.
    Modbus {
        #[command(flatten)]
        run: Run,
        /// Simulated seconds per second.
        #[arg(long, default_value_t = 1.0, value_parser = speed)]
        speed: f64,
        /// Symbolic link to the port.
        #[arg(long)]
        link: Option<PathBuf>,
        /// Be as slow as a line of this rate; answers come at once if not given.
        #[arg(long)]
        baud: Option<u32>,
        /// What is wrong with a unit: dead, exception:CODE, slow:MS, late:MS, noise, garbled.
        #[arg(long, value_name = "UNIT=FAULT", value_parser = unit_fault)]
        fault: Vec<(u8, UnitFault)>,
        /// How long the port stays open after the end, s.
        #[arg(long, default_value_t = 2)]
        linger: u64,
    },
    /// Hold two probes of a hot-water machine into ice, a hand, a pot or the machine, as standard input says: to practise a commissioning.
    ///
    /// The probes are dm1/wash and dm1/rinse, the contact is dm1/running. Each line of standard input is answered
    /// by one line; its end is the end. `help` says what can be done.
    Bench(Practice),
    /// Play a scenario to an MQTT 3.1.1 broker, QoS 1.
    Mqtt {
        #[command(flatten)]
        run: Run,
        /// Simulated seconds per second.
        #[arg(long, default_value_t = 1.0, value_parser = speed)]
        speed: f64,
        /// Host of the broker.
        #[arg(long, default_value = "127.0.0.1")]
        host: String,
        /// Port of the broker.
        #[arg(long, default_value_t = 1883)]
        port: u16,
        /// Client identifier.
        #[arg(long, default_value = "rinseward-simulator")]
        client_id: String,
        /// First part of every topic; the machine's name follows.
        #[arg(long, default_value = "dish")]
        prefix: String,
        /// PEM file of the certificate authority; switches TLS on.
        #[arg(long)]
        ca: Option<PathBuf>,
        /// User name.
        #[arg(long, requires = "password_file")]
        user: Option<String>,
        /// File that holds the password.
        #[arg(long, requires = "user")]
        password_file: Option<PathBuf>,
    },
    /// Compare a gateway's cycles with the truth.
    Score {
        /// File of truth entries.
        #[arg(long)]
        truth: PathBuf,
        /// File of cycles, one JSON object a line.
        #[arg(long)]
        cycles: PathBuf,
        /// Name of the row in the table.
        #[arg(long, default_value = "run")]
        name: String,
    },
}

#[derive(clap::Args)]
struct Run {
    /// Scenario, by name.
    #[arg(long, value_parser = scenario)]
    scenario: Scenario,
    /// Seed of all chance.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Length, h; the scenario's own if not given.
    #[arg(long)]
    hours: Option<f64>,
    /// Start, RFC 3339 or `now`; the scenario's own time on 2026-03-02 if not given.
    #[arg(long, value_parser = start)]
    from: Option<i64>,
    /// File of truth entries, one a line.
    #[arg(long)]
    truth: Option<PathBuf>,
}

#[derive(clap::Args)]
struct Practice {
    /// Symbolic link to the port.
    #[arg(long)]
    link: Option<PathBuf>,
    /// Form of the lines: plain (name value) or senml (RFC 8428).
    #[arg(long, default_value = "plain")]
    format: Format,
    /// Time constant of the wash probe in moving water, s.
    #[arg(long, default_value_t = 2.5, value_parser = tau)]
    wash_tau: f64,
    /// Time constant of the rinse probe in moving water, s.
    #[arg(long, default_value_t = 1.2, value_parser = tau)]
    rinse_tau: f64,
    /// What the wash probe shows too much, °C, for a calibration to find.
    #[arg(long, default_value_t = -0.4, value_parser = offset, allow_negative_numbers = true)]
    wash_off: f64,
    /// What the rinse probe shows too much, °C.
    #[arg(long, default_value_t = 0.6, value_parser = offset, allow_negative_numbers = true)]
    rinse_off: f64,
    /// Seed of all chance.
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

/// Something failed; the exit code is 74.
#[derive(Debug, thiserror::Error)]
enum Failure {
    #[error("cannot open {path}")]
    Open { path: PathBuf, source: io::Error },
    #[error("cannot write")]
    Write { source: io::Error },
    #[error(transparent)]
    Read(#[from] ReadError),
    #[error(transparent)]
    Serial(#[from] SerialError),
    #[error(transparent)]
    Publish(#[from] PublishError),
    #[error(transparent)]
    Bench(#[from] BenchError),
}

impl Failure {
    /// Whether the reader of the answer has gone, as in `… | head`: that is no failure.
    fn is_closed(&self) -> bool {
        match self {
            Self::Write { source } | Self::Bench(BenchError::Answer { source }) => {
                source.kind() == io::ErrorKind::BrokenPipe
            }
            Self::Open { .. } | Self::Read(_) | Self::Serial(_) | Self::Publish(_) | Self::Bench(_) => false,
        }
    }
}

fn written(source: io::Error) -> Failure {
    Failure::Write { source }
}

fn scenario(name: &str) -> Result<Scenario, UnknownScenario> {
    name.parse()
}

fn unit_fault(text: &str) -> Result<(u8, UnitFault), UnknownFault> {
    let (unit, fault) = text.split_once('=').ok_or(UnknownFault)?;
    Ok((unit.parse().map_err(|_| UnknownFault)?, fault.parse()?))
}

fn speed(text: &str) -> Result<f64, SpeedError> {
    text.parse().ok().filter(|speed| (1.0..=1_000.0).contains(speed)).ok_or(SpeedError)
}

#[derive(Debug, thiserror::Error)]
#[error("a speed is a number from 1 to 1000")]
struct SpeedError;

fn tau(text: &str) -> Result<f64, PracticeError> {
    text.parse().ok().filter(|tau_s| (0.1..=60.0).contains(tau_s)).ok_or(PracticeError::Tau)
}

fn offset(text: &str) -> Result<f64, PracticeError> {
    text.parse().ok().filter(|off_c| (-20.0..=20.0).contains(off_c)).ok_or(PracticeError::Offset)
}

#[derive(Debug, thiserror::Error)]
enum PracticeError {
    #[error("a time constant is a number from 0.1 to 60, in seconds")]
    Tau,
    #[error("an error of a probe is a number from -20 to 20, in °C")]
    Offset,
}

#[expect(clippy::disallowed_methods, reason = "the argument asks for this very moment")]
fn start(text: &str) -> Result<i64, jiff::Error> {
    if text == "now" { Ok(jiff::Timestamp::now().as_microsecond()) } else { parse_rfc3339(text) }
}

impl Run {
    fn world(&self) -> World {
        let mut plan = self.scenario.plan();
        if let Some(hours) = self.hours {
            plan.hours = hours;
        }
        match self.from {
            Some(start_micros) => World::starting_at(&plan, self.seed, start_micros),
            None => World::of(&plan, self.seed, MIDNIGHT_MICROS),
        }
    }

    fn truths(&self) -> Result<Truths, Failure> {
        Ok(Truths { file: self.truth.as_deref().map(create).transpose()?, failed: None })
    }
}

fn main() -> ExitCode {
    let Err(failure) = run(Arguments::parse().command) else { return ExitCode::SUCCESS };
    if failure.is_closed() {
        return ExitCode::SUCCESS;
    }
    let mut text = format!("error: {failure}");
    let mut source = std::error::Error::source(&failure);
    while let Some(cause) = source {
        text.push_str("\n  cause: ");
        text.push_str(&cause.to_string());
        source = cause.source();
    }
    // With standard error gone there is nobody left to tell.
    let _gone = writeln!(io::stderr(), "{text}");
    ExitCode::from(74)
}

fn run(command: Command) -> Result<(), Failure> {
    match command {
        Command::Scenarios => scenarios(&mut io::stdout().lock()).map_err(written),
        Command::Generate { run, out } => generate(&run, &out),
        Command::Serial { run, speed, link_dir, linger } => {
            play_serial(&run, speed, link_dir.as_deref(), Duration::from_secs(linger))
        }
        Command::Modbus { run, speed, link, baud, fault, linger } => {
            let world = run.world();
            let units = Units::of(&world);
            for (unit, fault) in fault {
                units.set_fault(unit, Some(fault));
            }
            let line = Line::open(units.clone(), link.as_deref(), baud)?;
            play_modbus(&run, world, speed, (&line, &units), Duration::from_secs(linger))
        }
        Command::Bench(practice) => play_bench(&practice),
        Command::Mqtt { run, speed, host, port, client_id, prefix, ca, user, password_file } => {
            let ca_pem = ca.as_deref().map(read).transpose()?;
            let broker = Broker { host, port, client_id, prefix, ca_pem, user: user.zip(password_file) };
            play_mqtt(&run, speed, &broker)
        }
        Command::Score { truth, cycles, name } => score(&truth, &cycles, &name),
    }
}

fn scenarios(out: &mut dyn Write) -> io::Result<()> {
    for scenario in Scenario::RECOGNITION {
        writeln!(out, "{scenario:<20}{}", scenario.about())?;
    }
    writeln!(out, "\nWho must be told of what:")?;
    for scenario in Scenario::ALERTS {
        writeln!(out, "{scenario:<20}{}", scenario.about())?;
        writeln!(out, "{:<20}{}", "", scenario.aim())?;
    }
    for (condition, how) in NOT_FROM_WATER {
        writeln!(out, "{condition:<20}{how}")?;
    }
    Ok(())
}

fn generate(run: &Run, out: &Path) -> Result<(), Failure> {
    let mut world = run.world();
    let mut packs = create(out)?;
    let mut truths = run.truths()?;
    let mut line = String::new();
    while let Some(emission) = world.next() {
        line.clear();
        emission.write_line(&mut line);
        line.push('\n');
        packs.write_all(line.as_bytes()).map_err(written)?;
        world.take_truth().iter().for_each(|entry| truths.write(entry));
    }
    world.take_truth().iter().for_each(|entry| truths.write(entry));
    packs.flush().map_err(written)?;
    truths.finish()
}

fn play_serial(run: &Run, speed: f64, link_dir: Option<&Path>, linger: Duration) -> Result<(), Failure> {
    let mut world = run.world();
    let mut ports = Vec::new();
    {
        let mut out = io::stdout().lock();
        for facts in world.facts() {
            let mut port = PseudoTerminal::open()?;
            if let Some(dir) = link_dir {
                port.link(&dir.join(&facts.name))?;
            }
            writeln!(out, "{} {}", facts.name, port.path().display()).map_err(written)?;
            ports.push(port);
        }
        out.flush().map_err(written)?;
    }
    let mut truths = run.truths()?;
    serial::play(&mut world, &mut ports, speed, &Stop::default(), |entry| truths.write(&entry))?;
    thread::sleep(linger);
    let lost: u64 = ports.iter().map(PseudoTerminal::lost).sum();
    if lost > 0 {
        let _gone = writeln!(io::stderr(), "{lost} lines were lost because nobody read them");
    }
    truths.finish()
}

fn play_modbus(
    run: &Run,
    mut world: World,
    speed: f64,
    (line, units): (&Line, &Units),
    linger: Duration,
) -> Result<(), Failure> {
    {
        let mut out = io::stdout().lock();
        writeln!(out, "line {}", line.path().display()).map_err(written)?;
        for (facts, (address, layout)) in world.facts().zip(units.list()) {
            writeln!(out, "unit {address} {} {}", facts.name, layout.as_str()).map_err(written)?;
        }
        out.flush().map_err(written)?;
    }
    let mut truths = run.truths()?;
    modbus::play(&mut world, units, speed, &Stop::default(), |entry| truths.write(&entry));
    thread::sleep(linger);
    truths.finish()
}

#[expect(clippy::disallowed_methods, reason = "a bench is where somebody works at this very moment")]
fn play_bench(practice: &Practice) -> Result<(), Failure> {
    let probe = |tau_s, offset_c| ProbeSpec { tau_s, offset_c, ..ProbeSpec::default() };
    let mut port = PseudoTerminal::open()?;
    if let Some(link) = &practice.link {
        port.link(link)?;
    }
    let mut out = io::stdout();
    writeln!(out, "port {}", port.path().display()).map_err(written)?;
    writeln!(out, "{HELP}").and_then(|()| out.flush()).map_err(written)?;
    let wash = probe(practice.wash_tau, practice.wash_off);
    let rinse = probe(practice.rinse_tau, practice.rinse_off);
    let mut bench = Bench::new(wash, rinse, practice.seed, jiff::Timestamp::now().as_microsecond());
    Ok(bench::play(&mut bench, &mut port, practice.format, BufReader::new(io::stdin()), &mut out)?)
}

fn play_mqtt(run: &Run, speed: f64, broker: &Broker) -> Result<(), Failure> {
    // Fails only when a provider is installed already, which serves as well.
    let _installed = rustls::crypto::ring::default_provider().install_default();
    let mut truths = run.truths()?;
    let mut world = run.world();
    let published = mqtt::play(&mut world, broker, speed, &Stop::default(), |entry| truths.write(&entry))?;
    writeln!(io::stdout(), "{published} packs published and acknowledged").map_err(written)?;
    truths.finish()
}

fn score(truth: &Path, cycles: &Path, name: &str) -> Result<(), Failure> {
    let truth: Vec<TruthEntry> = read_lines(BufReader::new(open(truth)?))?;
    let cycles = read_lines(BufReader::new(open(cycles)?))?;
    let report = compare(&truth, &cycles)?;
    let mut table = Table::default();
    table.add(name, &report.score);
    let mut out = io::stdout().lock();
    write!(out, "{table}").map_err(written)?;
    for cycle in &report.missed {
        writeln!(out, "missed   {} {} {:?}", cycle.machine, cycle.rinse_started, cycle.faults)
            .map_err(written)?;
    }
    for row in &report.invented {
        let at = row.rinse_started.as_deref().unwrap_or(&row.started);
        writeln!(out, "invented {} {at} {}", row.machine, row.verdict).map_err(written)?;
    }
    for (cycle, row) in &report.misjudged {
        let (name, at) = (&cycle.machine, &cycle.rinse_started);
        let (true_c, margin_c) = (cycle.rinse_min_c.unwrap_or(f64::NAN), cycle.margin_c.unwrap_or(f64::NAN));
        writeln!(
            out,
            "misjudged {name} {at} {:?} called {}: true {true_c:.2} °C, {margin_c:+.2} K from the limit",
            cycle.expected, row.verdict
        )
        .map_err(written)?;
    }
    Ok(())
}

/// A truth file; the first failure to write is kept for the end.
struct Truths {
    file: Option<Box<dyn Write>>,
    failed: Option<io::Error>,
}

impl Truths {
    fn write(&mut self, entry: &TruthEntry) {
        if let (Some(file), None) = (&mut self.file, &self.failed) {
            let written = serde_json::to_writer(&mut *file, entry)
                .map_err(io::Error::from)
                .and_then(|()| file.write_all(b"\n"))
                .and_then(|()| file.flush());
            self.failed = written.err();
        }
    }

    fn finish(self) -> Result<(), Failure> {
        self.failed.map_or(Ok(()), |source| Err(written(source)))
    }
}

fn open(path: &Path) -> Result<File, Failure> {
    File::open(path).map_err(|source| Failure::Open { path: path.to_owned(), source })
}

fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(path).map_err(|source| Failure::Open { path: path.to_owned(), source })
}

fn create(path: &Path) -> Result<Box<dyn Write>, Failure> {
    if path.as_os_str() == "-" {
        return Ok(Box::new(BufWriter::new(io::stdout())));
    }
    let file = File::create(path).map_err(|source| Failure::Open { path: path.to_owned(), source })?;
    Ok(Box::new(BufWriter::new(file)))
}

#[cfg(test)]
mod tests {
    use super::*;

    // EPIPE (write(2)): the reader has gone, as in `scenarios | head`.
    #[test]
    fn a_reader_that_has_gone_is_no_failure() {
        let (reader, mut writer) = io::pipe().expect("a pipe");
        drop(reader);
        let failure = scenarios(&mut writer).map_err(written).expect_err("nobody reads");
        assert!(failure.is_closed());
        let full = written(io::Error::from(io::ErrorKind::StorageFull));
        assert!(!full.is_closed());
    }
}
