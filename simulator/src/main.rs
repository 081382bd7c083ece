//! The command `rinseward-simulator`.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::time::MIDNIGHT_MICROS;
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
    /// Write a scenario's readings, and its truth, to files.
    Generate {
        #[command(flatten)]
        run: Run,
        /// File of SenML packs, one a line; `-` is standard output.
        #[arg(long, default_value = "-")]
        out: PathBuf,
        /// File of truth entries, one a line.
        #[arg(long)]
        truth: Option<PathBuf>,
    },
}

#[derive(clap::Args)]
struct Run {
    /// Scenario, by name.
    #[arg(long)]
    scenario: Scenario,
    /// Seed of all chance.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Length, h; the scenario's own if not given.
    #[arg(long)]
    hours: Option<f64>,
}

impl Run {
    fn world(&self) -> World {
        let mut plan = self.scenario.plan();
        if let Some(hours) = self.hours {
            plan.hours = hours;
        }
        World::of(&plan, self.seed, MIDNIGHT_MICROS)
    }
}

fn main() -> ExitCode {
    match run(Arguments::parse().command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            // With standard error gone there is nobody left to tell.
            let _gone = writeln!(io::stderr(), "error: {error}");
            ExitCode::from(74)
        }
    }
}

fn run(command: Command) -> io::Result<()> {
    match command {
        Command::Scenarios => {
            let mut out = io::stdout().lock();
            for scenario in Scenario::ALL {
                writeln!(out, "{scenario:<20}{}", scenario.about())?;
            }
            Ok(())
        }
        Command::Generate { run, out, truth } => generate(&run, &out, truth.as_deref()),
    }
}

fn generate(run: &Run, out: &Path, truth: Option<&Path>) -> io::Result<()> {
    let mut world = run.world();
    let mut packs = create(out)?;
    let mut truths = truth.map(create).transpose()?;
    let mut line = String::new();
    while let Some(emission) = world.next() {
        line.clear();
        emission.write_line(&mut line);
        line.push('\n');
        packs.write_all(line.as_bytes())?;
        write_truth(&mut world, truths.as_mut())?;
    }
    write_truth(&mut world, truths.as_mut())?;
    if let Some(truths) = &mut truths {
        truths.flush()?;
    }
    packs.flush()
}

fn write_truth(world: &mut World, truths: Option<&mut Box<dyn Write>>) -> io::Result<()> {
    let entries = world.take_truth();
    if let Some(truths) = truths {
        for entry in entries {
            serde_json::to_writer(&mut *truths, &entry)?;
            truths.write_all(b"\n")?;
        }
    }
    Ok(())
}

fn create(path: &Path) -> io::Result<Box<dyn Write>> {
    if path.as_os_str() == "-" {
        return Ok(Box::new(BufWriter::new(io::stdout())));
    }
    Ok(Box::new(BufWriter::new(File::create(path)?)))
}
