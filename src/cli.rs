//! The command line.

mod accounts;
mod enter;
mod export;
mod history;
mod keeping;
mod moment;
mod people;
mod ports;
mod prove;
mod scan;
mod seal;
mod sign_off;
mod technician;
mod verify;
mod watch;

use std::path::PathBuf;

use rinseward_simulator::scenario::Scenario;

pub use accounts::{
    AccountAddArgs, AccountArgs, AccountRoleArgs, AccountsArgs, AccountsBy, AccountsCommand, AccountsOutput,
    TokenAddArgs, TokenArgs, TokensArgs, TokensCommand,
};
pub use enter::{
    AmendmentArgs, AnswerArgs, CorrectionArgs, DrainAndCleanArgs, DueArgs, EnterArgs, EnterCommand,
    EntryArgs, NoteArgs, SanitizerArgs, SupplyArgs, ThermometerArgs,
};
pub use export::{ExportArgs, ExportForm, SpanArgs, SpanEnd};
pub use history::{HistoryArgs, Judged, Show};
pub use keeping::{
    BackupArgs, HoldArgs, HoldChangeArgs, HoldCommand, HoldStatusArgs, ImportArgs, RestoreArgs,
};
pub use moment::{Moment, MomentError};
pub use people::{
    AcknowledgeArgs, ActArgs, AlertsArgs, AlertsCommand, AlertsListArgs, AlertsShowArgs, LedgerArgs,
    MaintenanceArgs, TestArgs,
};

pub use ports::PortsArgs;
pub use prove::ProveArgs;
pub use scan::{ScanArgs, Span};
pub use seal::{
    CheckpointArgs, CheckpointCommand, CheckpointMakeArgs, CheckpointShowArgs, KeyArgs, KeyCommand,
    KeyExportArgs, KeyRotateArgs, KeyShowArgs,
};
pub use sign_off::SignOffArgs;
pub use technician::{CalibrateArgs, PointArg, PointsArgs, RespondArgs, TechnicianArgs};
pub use verify::VerifyArgs;
pub use watch::WatchArgs;

use clap::{Args, Parser, Subcommand};

use crate::runtime::telemetry::{Log, LogForm};

/// Proves, rack after rack, that a commercial dish machine washed and sanitized.
///
/// An aid: it never controls the machine, and replaces neither the machine's own
/// gauges nor the required test kit or surface indicator.
#[derive(Parser, Debug)]
#[command(
    name = "rinseward",
    version,
    propagate_version = true,
    arg_required_else_help = true,
    after_help = "Exit codes: 0 done, 64 command line, 70 a mistake in rinseward, 74 file, device or link, \
                  78 configuration; of verify: 0 whole, 1 not whole, 2 could not be checked; 1 of \
                  calibrate and respond: refused; of prove: not wired as configured; of scan: nothing found; of sign-off: points \
                  are open. README.md lists every message."
)]
pub struct Cli {
    /// Filter of the log, such as `info` or `rinseward=debug`; RUST_LOG where not given.
    #[arg(long, global = true, value_name = "FILTER", help_heading = "Log", display_order = 900)]
    log: Option<String>,
    /// Form of the log on standard error.
    #[arg(
        long,
        global = true,
        value_enum,
        default_value_t,
        value_name = "FORM",
        help_heading = "Log",
        display_order = 901
    )]
    log_format: LogForm,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

impl Cli {
    /// How to log.
    #[must_use]
    pub fn log(&self) -> Log {
        Log { filter: self.log.clone(), form: self.log_format }
    }
}

/// What to do.
#[derive(Subcommand, Debug)]
pub enum Command {
    /// Listen to the probes and keep the ledger, until stopped.
    Run(RunArgs),
    /// Show simulated machines at work, judged as real ones are; needs no hardware.
    Demo(DemoArgs),
    /// Judge recorded readings: a file of SenML packs (RFC 8428), one a line.
    Replay(ReplayArgs),
    /// Look through the record: cycles, days, gaps, checks, alerts, what was in force when.
    History(HistoryArgs),
    /// Put what is on record into files: CSV, JSON, JSON Lines, PDF, evidence.
    Export(ExportArgs),
    /// See alerts, take one on, put a corrective action on record, try the channels.
    Alerts(AlertsArgs),
    /// Say that somebody works on a machine: its racks are marked unproven meanwhile, and messages about it are held.
    Maintenance(MaintenanceArgs),
    /// List the serial ports: what they are, who has them, who may open them.
    Ports(PortsArgs),
    /// Show the readings as they come in: through the service, or from the sources themselves.
    Watch(WatchArgs),
    /// Look at a port or a Modbus line that is not configured yet, and propose the configuration.
    Scan(ScanArgs),
    /// End a commissioning: show what is on record of a machine and what is missing, sign, print the sheet.
    SignOff(SignOffArgs),
    /// Prove the wiring: warm one probe at a time, and see which one answers.
    Prove(ProveArgs),
    /// Compare a probe in ice, in boiling water or with a thermometer, and put its correction in force.
    Calibrate(Box<CalibrateArgs>),
    /// Measure how fast a probe answers, and put its time constant in force.
    Respond(RespondArgs),
    /// Put on record what people see: checks, notes, amendments; and show which checks are due.
    Enter(EnterArgs),
    /// Keep readings from being pruned while somebody may ask for them.
    Hold(HoldArgs),
    /// Copy the ledger, beside the service or without it, and verify the copy.
    Backup(BackupArgs),
    /// Let a ledger go on from a backup.
    Restore(RestoreArgs),
    /// Take the readings of a file into the ledger as history; the service must not run.
    Import(ImportArgs),
    /// Who may log in at the pages, and the tokens of programs.
    Accounts(AccountsArgs),
    /// The key that signs checkpoints: show it, hand it out, replace it.
    Key(KeyArgs),
    /// Show the newest signed checkpoint, or sign one: whoever keeps it can prove that nothing changed.
    Checkpoint(CheckpointArgs),
    /// Check that a ledger or an export is whole: offline, with nothing but the public key.
    Verify(VerifyArgs),
    /// The link to the server of the time series.
    Series(SeriesArgs),
    /// Check configuration files and report every problem.
    CheckConfig(CheckConfigArgs),
}

/// Where the configuration is where nobody says it.
pub const DEFAULT_CONFIG: &str = "/etc/rinseward/gateway.toml";

/// Where the configuration is.
#[derive(Args, Debug)]
pub struct ConfigArgs {
    /// Configuration file; may be given more than once, the later wins.
    #[arg(long = "config", value_name = "FILE", default_value = DEFAULT_CONFIG)]
    pub files: Vec<PathBuf>,
}

/// Arguments of `run`.
#[derive(Args, Debug)]
pub struct RunArgs {
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// Every scenario of the demo with what it shows, a line each.
fn scenarios() -> String {
    let line = |scenario: &Scenario| format!("  {:<20} {}", scenario.as_str(), scenario.about().trim());
    let lines: Vec<String> = Scenario::ALL.iter().map(line).collect();
    format!("Scenarios:\n{}", lines.join("\n"))
}

/// Arguments of `demo`.
#[derive(Args, Debug)]
#[command(after_long_help = scenarios())]
pub struct DemoArgs {
    /// What happens: the name of a scenario; `--help` lists them all.
    #[arg(long, default_value = "demo", value_name = "NAME")]
    pub scenario: String,
    /// Seed of all chance: with the same seed a new ledger has the same days.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// How many times faster than real time, 1 to 1000.
    #[arg(long, default_value_t = 60.0, value_parser = speed, value_name = "FACTOR")]
    pub speed: f64,
    /// Directory to keep the ledger in; a fresh temporary one where not given.
    #[arg(long, value_name = "DIR")]
    pub ledger: Option<PathBuf>,
    /// End by itself after N seconds of real time. Without it the demo goes on until it is stopped: a scenario that is
    /// over begins again.
    #[arg(long, value_name = "N")]
    pub seconds: Option<u64>,
    /// Print lines where a terminal would get the full view.
    #[arg(long)]
    pub plain: bool,
}

/// Arguments of `replay`.
#[derive(Args, Debug)]
pub struct ReplayArgs {
    /// Configuration file; may be given more than once, the later wins.
    #[arg(long = "config", value_name = "FILE", required = true)]
    pub files: Vec<PathBuf>,
    /// How to print.
    #[command(flatten)]
    pub form: FormArgs,
    /// Keep a ledger in this file too; without it nothing is stored.
    #[arg(long, value_name = "FILE")]
    pub ledger: Option<PathBuf>,
    /// Tell at the end how many readings were judged how fast, on standard error.
    #[arg(long)]
    pub stats: bool,
    /// File of SenML packs, one a line; `-` is standard input.
    #[arg(value_name = "TRACE")]
    pub trace: PathBuf,
}

/// How to print.
#[derive(Args, Debug, Clone, Copy, Default)]
#[group(multiple = false)]
pub struct FormArgs {
    /// One JSON object a row, one a line.
    #[arg(long)]
    pub json: bool,
    /// CSV by RFC 4180 with a header line.
    #[arg(long)]
    pub csv: bool,
}

/// Arguments of `series`.
#[derive(Args, Debug)]
pub struct SeriesArgs {
    /// What to do with it.
    #[command(subcommand)]
    pub command: SeriesCommand,
}

/// What to do with the link to the server of the time series.
#[derive(Subcommand, Debug)]
pub enum SeriesCommand {
    /// Write one point, read it back, and say which step fails and why.
    Test(SeriesTestArgs),
    /// Show what the server has, what waits and what was set aside.
    Status(SeriesStatusArgs),
    /// Send again what was measured or recorded in a span of time.
    Resend(SeriesResendArgs),
}

/// Arguments of `series test`.
#[derive(Args, Debug)]
pub struct SeriesTestArgs {
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// One JSON object with every step.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `series status`.
#[derive(Args, Debug)]
pub struct SeriesStatusArgs {
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `series resend`.
#[derive(Args, Debug)]
pub struct SeriesResendArgs {
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// Measured or recorded at or after this: RFC 3339, or a date or date and time of the site.
    #[arg(long, value_name = "TIME")]
    pub from: Moment,
    /// Up to the end of this day of the site, or before this date and time of it, or RFC 3339.
    #[arg(long, value_name = "TIME")]
    pub to: Moment,
}

/// Arguments of `check-config`.
#[derive(Args, Debug)]
pub struct CheckConfigArgs {
    /// Configuration files, laid over one another in this order.
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
}

fn speed(text: &str) -> Result<f64, SpeedError> {
    text.trim_end_matches(['x', '×'])
        .parse()
        .ok()
        .filter(|speed: &f64| (1.0..=1000.0).contains(speed))
        .ok_or(SpeedError)
}

/// A text that is no number of the kind that is asked for.
#[derive(Debug, thiserror::Error)]
enum NumberError {
    #[error("a whole number, as rinseward history and rinseward alerts list show it, such as 42")]
    Numbered,
    #[error("a whole number from 1 on, such as 20; leave it out for all")]
    HowMany,
}

/// Reads the number of a record or of an alert.
fn numbered(text: &str) -> Result<u64, NumberError> {
    text.parse().map_err(|_| NumberError::Numbered)
}

/// Reads how many are wanted at most.
fn how_many(text: &str) -> Result<usize, NumberError> {
    text.parse().ok().filter(|count| *count > 0).ok_or(NumberError::HowMany)
}

#[derive(Debug, thiserror::Error)]
#[error("a number from 1 to 1000")]
struct SpeedError;

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        Cli::command().debug_assert();
    }

    /// Every argument below a command that has no words, as `command argument`.
    fn wordless(command: &clap::Command, path: &str) -> Vec<String> {
        let own = command.get_arguments().filter(|argument| argument.get_help().is_none());
        let own = own.map(|argument| format!("{path} {}", argument.get_id()));
        let below = command.get_subcommands().flat_map(|below| {
            let path = format!("{path} {}", below.get_name());
            wordless(below, &path)
        });
        own.chain(below).collect()
    }

    // Own promises: no option without a word of what it is for, and each command that can end with 1 is named.
    #[test]
    fn help_tells_of_every_option_and_exit_code() {
        let command = Cli::command();
        assert_eq!(wordless(&command, "rinseward"), Vec::<String>::new());
        let codes = command.get_after_help().expect("exit codes").to_string();
        for named in ["verify", "calibrate", "respond", "prove", "scan", "sign-off"] {
            assert!(codes.contains(named), "{named}: {codes}");
        }
    }

    // Regression: the help of the demo named four of its scenarios.
    #[test]
    fn help_names_every_scenario() {
        let mut command = Cli::command();
        let demo = command.find_subcommand_mut("demo").expect("a command");
        let help = demo.render_long_help().to_string();
        for scenario in Scenario::ALL {
            let line = help.lines().find(|line| line.trim().starts_with(&format!("{scenario} ")));
            assert!(line.is_some_and(|line| line.contains(scenario.about().trim())), "{scenario}: {help}");
        }
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        for (line, legal) in [
            ("rinseward demo --speed 60x --seconds 5", true),
            ("rinseward demo --speed 0", false),
            ("rinseward demo --speed nan", false),
            ("rinseward history --ledger x --verdict cold,brief", true),
            ("rinseward history --ledger x --verdict chilly", false),
            ("rinseward history --json --csv", false),
            ("rinseward history --config a --ledger b --show days --from 2026-11-25", true),
            ("rinseward history --ledger x --show in-force --at yesterday", true),
            ("rinseward history --ledger x --show in-force --at tomorrow", false),
            ("rinseward history --ledger x --limit 0", false),
            ("rinseward history --ledger x --record abc", false),
            ("rinseward history --ledger x --show checks --check sanitizer --scale f", true),
            ("rinseward history --ledger x --check cycle", false),
            ("rinseward history --ledger x --show records --kind note,amendment", true),
            ("rinseward history --ledger x --kind cycle", false),
            ("rinseward history --ledger x --record 3 --alert 1", false),
            ("rinseward replay --json -", false),
            ("rinseward replay --config x --json -", true),
            ("rinseward series", false),
            ("rinseward series test --json", true),
            ("rinseward series status --json", true),
            ("rinseward series resend --from 2026-11-24 --to 2026-11-25", true),
            ("rinseward series resend --from 2026-11-24", false),
            ("rinseward check-config", false),
            ("rinseward watch --machine dm1 --probe dm2/rinse --seconds 5 --json", true),
            ("rinseward watch --seconds soon", false),
            ("rinseward scan", false),
            ("rinseward scan --port /dev/ttyUSB0 --seconds 5 --json", true),
            ("rinseward scan --port /dev/ttyUSB0 --modbus --baud 9600 --parity none --stop-bits 2", true),
            ("rinseward scan --port /dev/ttyUSB0 --modbus --units 1-8 --registers 30 --function 3", true),
            ("rinseward scan --port /dev/ttyUSB0 --modbus --seconds 5", false),
            ("rinseward scan --port /dev/ttyUSB0 --modbus --units 8-1", false),
            ("rinseward scan --port /dev/ttyUSB0 --modbus --units 1-256", false),
            ("rinseward scan --port /dev/ttyUSB0 --modbus --registers 0-256", false),
            ("rinseward scan --port /dev/ttyUSB0 --modbus --function 6", false),
            ("rinseward scan --port /dev/ttyUSB0 --parity mark", false),
            ("rinseward scan --port /dev/ttyUSB0 --machine dm/1", false),
            ("rinseward scan --tcp 192.0.2.10 --modbus --machine dm2", true),
            ("rinseward scan --tcp [2001:db8::1]:502", true),
            ("rinseward scan --tcp 192.0.2.10:none", false),
            ("rinseward scan --tcp 192.0.2.10 --port /dev/ttyUSB0", false),
            ("rinseward scan --tcp 192.0.2.10 --baud 9600", false),
            ("rinseward watch --json --plain", false),
            ("rinseward prove dm1 --by AB --order wash,rinse --seconds-each 30 --water 45C --yes", true),
            ("rinseward prove dm1", false),
            ("rinseward prove dm1 --by AB --water 45", false),
            ("rinseward ports --also /dev/pts/1 --config x --json", true),
            ("rinseward key", false),
            ("rinseward key show --ledger x --json", true),
            ("rinseward key export --config x", false),
            ("rinseward key rotate --config x", false),
            ("rinseward key rotate --by Ana", true),
            ("rinseward checkpoint", true),
            ("rinseward checkpoint --ledger x", true),
            ("rinseward checkpoint show --all --ledger x", true),
            ("rinseward checkpoint make --config x", true),
            ("rinseward checkpoint make --ledger x", false),
            ("rinseward verify x", false),
            ("rinseward verify --key k", false),
            ("rinseward verify x --key k --checkpoint a --checkpoint b --json", true),
            ("rinseward verify x --key k --key l --records-only", true),
            ("rinseward verify x.csv --key k --with x.jsonl --json", true),
            ("rinseward alerts list --ledger x --open", true),
            ("rinseward alerts list --config a --ledger x", false),
            ("rinseward alerts acknowledge 3", false),
            ("rinseward alerts acknowledge 3 --by Ana", true),
            ("rinseward maintenance dm1 --for 2h --by Ana", true),
            ("rinseward maintenance dm1 --by Ana", false),
            ("rinseward maintenance dm1 --end --for 2h --by Ana", false),
            ("rinseward enter sanitizer dm2 --by Ana --mg-per-l 100 --ph 7.2", true),
            ("rinseward enter sanitizer dm2 --by Ana --mg-per-l 100 --solution 120F --method strip", true),
            ("rinseward enter sanitizer dm2 --by Ana --mg-per-l 100 --solution 120", false),
            ("rinseward enter sanitizer dm2 --by Ana --mg-per-l 100 --method guess", false),
            (
                "rinseward enter thermometer all --what t1 --shown -0.2C --should 0C --reference ice --by A",
                true,
            ),
            ("rinseward enter note dm1 leaks --by Ana --language es", true),
            ("rinseward enter note dm1 leaks badly --by Ana", false),
            ("rinseward enter amendment 7 --by Ana --reason misread --mg-per-l 100 --ph 7", true),
            ("rinseward enter amendment 7 --by Ana --reason misread --withdraw", true),
            ("rinseward enter amendment 7 --by Ana --reason misread --withdraw --ph 7", false),
            ("rinseward enter due dm1 --json", true),
            ("rinseward alerts list --ledger x --scale f", true),
            ("rinseward alerts list --ledger x --scale k", false),
        ] {
            assert_eq!(Cli::try_parse_from(line.split(' ')).is_ok(), legal, "{line}");
        }
    }
}
