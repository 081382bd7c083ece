//! What people do by command: alerts and maintenance.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::{ConfigArgs, Moment};
use crate::core::reader::Scale;

/// Arguments of `alerts`.
#[derive(Args, Debug)]
pub struct AlertsArgs {
    /// What to do.
    #[command(subcommand)]
    pub command: AlertsCommand,
}

/// What to do with alerts.
#[derive(Subcommand, Debug)]
pub enum AlertsCommand {
    /// List alerts, oldest first.
    List(AlertsListArgs),
    /// Tell the whole story of one alert, as it is on record.
    Show(AlertsShowArgs),
    /// Take an alert on: the next contact is then not called.
    Acknowledge(AcknowledgeArgs),
    /// Put the corrective action on record; what may have reached a customer closes only with it.
    Act(ActArgs),
    /// Send a marked test through every channel of a contact, and report each step.
    Test(TestArgs),
}

/// Which ledger to read.
#[derive(Args, Debug)]
pub struct LedgerArgs {
    /// Configuration file that names the ledger; may be given more than once, the later wins.
    #[arg(long = "config", value_name = "FILE", default_value = super::DEFAULT_CONFIG)]
    pub files: Vec<PathBuf>,
    /// The ledger itself, in place of --config.
    #[arg(long, value_name = "FILE", conflicts_with = "files")]
    pub ledger: Option<PathBuf>,
}

/// Arguments of `alerts list`.
#[derive(Args, Debug)]
pub struct AlertsListArgs {
    /// Where to read.
    #[command(flatten)]
    pub from: LedgerArgs,
    /// Only those that are open.
    #[arg(long)]
    pub open: bool,
    /// Only the newest N.
    #[arg(long, value_name = "N", value_parser = super::how_many)]
    pub limit: Option<usize>,
    /// Scale of temperatures: c or f. JSON is always in °C.
    #[arg(long, value_name = "SCALE", value_parser = scale, default_value = "c")]
    pub scale: Scale,
    /// One JSON object an alert, one a line.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `alerts show`.
#[derive(Args, Debug)]
pub struct AlertsShowArgs {
    /// Number of the alert.
    #[arg(value_name = "NUMBER", value_parser = super::numbered)]
    pub alert: u64,
    /// Where to read.
    #[command(flatten)]
    pub from: LedgerArgs,
    /// Scale of temperatures: c or f. JSON is always in °C.
    #[arg(long, value_name = "SCALE", value_parser = scale, default_value = "c")]
    pub scale: Scale,
    /// Its records as JSON, one a line.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `alerts acknowledge`.
#[derive(Args, Debug)]
pub struct AcknowledgeArgs {
    /// Number of the alert.
    #[arg(value_name = "NUMBER", value_parser = super::numbered)]
    pub alert: u64,
    /// Who takes care.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// A note.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// Print the alert as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `alerts act`.
#[derive(Args, Debug)]
pub struct ActArgs {
    /// Number of the alert.
    #[arg(value_name = "NUMBER", value_parser = super::numbered)]
    pub alert: u64,
    /// Who did it.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// What happened to the racks since the last good cycle.
    #[arg(long, value_name = "TEXT")]
    pub racks: String,
    /// What was done.
    #[arg(long, value_name = "TEXT")]
    pub done: String,
    /// How many of its racks were looked at, counted from the first; without it all that it counts.
    #[arg(long, value_name = "COUNT")]
    pub covers: Option<u64>,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// Print the alert as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `alerts test`.
#[derive(Args, Debug)]
pub struct TestArgs {
    /// Name of the contact.
    #[arg(value_name = "CONTACT")]
    pub contact: String,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// Print the steps as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `maintenance`.
#[derive(Args, Debug)]
pub struct MaintenanceArgs {
    /// Name of the machine; `all` is the whole site.
    #[arg(value_name = "MACHINE")]
    pub machine: String,
    /// Until then: RFC 3339, or a date and time of the site.
    #[arg(long, value_name = "TIME", required_unless_present_any = ["span", "end"], conflicts_with_all = ["span", "end"])]
    pub until: Option<Moment>,
    /// For so long, such as 2h or 90m.
    #[arg(long = "for", value_parser = span, value_name = "SPAN", conflicts_with = "end")]
    pub span: Option<std::time::Duration>,
    /// End it now.
    #[arg(long)]
    pub end: bool,
    /// Who works there.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// Print what was recorded as JSON.
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, thiserror::Error)]
enum ArgumentError {
    #[error("a span such as 90m or 2h")]
    Span,
    #[error("c or f")]
    Scale,
}

fn span(text: &str) -> Result<std::time::Duration, ArgumentError> {
    crate::config::text::duration(text).map_err(|_| ArgumentError::Span)
}

pub(super) fn scale(text: &str) -> Result<Scale, impl std::error::Error + Send + Sync + use<>> {
    match text {
        "c" => Ok(Scale::Celsius),
        "f" => Ok(Scale::Fahrenheit),
        _ => Err(ArgumentError::Scale),
    }
}
