//! The command line of keeping the record: holds, backups, restoring, importing.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::{ConfigArgs, LedgerArgs};

/// Arguments of `hold`.
#[derive(Args, Debug)]
pub struct HoldArgs {
    /// What to do with it.
    #[command(subcommand)]
    pub command: HoldCommand,
}

/// What to do with a lawful hold.
#[derive(Subcommand, Debug)]
pub enum HoldCommand {
    /// Keep all readings, however old, until the hold is ended; in force over restarts.
    On(HoldChangeArgs),
    /// End every hold: readings are pruned by their age again.
    Off(HoldChangeArgs),
    /// Show whether a hold is in force, by whom, why and since when.
    Status(HoldStatusArgs),
}

/// Arguments of `hold on` and `hold off`.
#[derive(Args, Debug)]
pub struct HoldChangeArgs {
    /// Who asked for it and why, such as the number of a case.
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
    /// Who says so.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// Print what was recorded as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `hold status`.
#[derive(Args, Debug)]
pub struct HoldStatusArgs {
    /// Where to read.
    #[command(flatten)]
    pub from: LedgerArgs,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `backup`.
#[derive(Args, Debug)]
pub struct BackupArgs {
    /// Where to: a new file such as backup.sqlite, or a directory that is there, for one named after ledger and time.
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Copy the secret key too, for whoever moves the gateway; keep that copy locked away.
    #[arg(long)]
    pub with_signing_key: bool,
    /// Which ledger.
    #[command(flatten)]
    pub from: LedgerArgs,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `restore`.
#[derive(Args, Debug)]
pub struct RestoreArgs {
    /// The backup.
    #[arg(value_name = "FILE")]
    pub backup: PathBuf,
    /// The ledger that is to go on from it, as `path` of `[ledger]` names it.
    #[arg(long, value_name = "LEDGER")]
    pub to: PathBuf,
    /// Replace the ledger that is there; it is kept beside the new one under a dated name.
    #[arg(long)]
    pub force: bool,
    /// Where the ledger that is replaced cannot be read, leave off the lawful hold that is switched on then.
    #[arg(long, requires = "force")]
    pub without_hold: bool,
    /// Who restores it.
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `import`.
#[derive(Args, Debug)]
pub struct ImportArgs {
    /// File of SenML packs (RFC 8428), one a line, as `replay` reads it.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Who takes it over.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}
