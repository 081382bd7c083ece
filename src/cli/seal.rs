//! The command line of the signing key and of checkpoints.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::{ConfigArgs, LedgerArgs};

/// Arguments of `key`.
#[derive(Args, Debug)]
pub struct KeyArgs {
    /// What to do.
    #[command(subcommand)]
    pub command: KeyCommand,
}

/// What to do with the key that signs checkpoints.
#[derive(Subcommand, Debug)]
pub enum KeyCommand {
    /// Show the public key, its id, and since when it signs.
    Show(KeyShowArgs),
    /// Make a new key; the old one signs for it, and the change is put on record.
    Rotate(KeyRotateArgs),
    /// Write the public key into a file, for auditors.
    Export(KeyExportArgs),
}

/// Arguments of `key show`.
#[derive(Args, Debug)]
pub struct KeyShowArgs {
    /// Where to read.
    #[command(flatten)]
    pub from: LedgerArgs,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `key rotate`.
#[derive(Args, Debug)]
pub struct KeyRotateArgs {
    /// Who asks for it.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// Arguments of `key export`.
#[derive(Args, Debug)]
pub struct KeyExportArgs {
    /// File to make; one that is there is left as it is.
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Where to read.
    #[command(flatten)]
    pub from: LedgerArgs,
}

/// Arguments of `checkpoint`.
#[derive(Args, Debug)]
#[command(args_conflicts_with_subcommands = true)]
pub struct CheckpointArgs {
    /// What to do; shows the newest where nothing is said.
    #[command(subcommand)]
    pub command: Option<CheckpointCommand>,
    /// Where to read.
    #[command(flatten)]
    pub from: LedgerArgs,
}

/// What to do with checkpoints.
#[derive(Subcommand, Debug)]
pub enum CheckpointCommand {
    /// Print the newest checkpoint as it is, to be kept elsewhere.
    Show(CheckpointShowArgs),
    /// Sign a checkpoint over all records so far, and print it.
    Make(CheckpointMakeArgs),
}

/// Arguments of `checkpoint show`.
#[derive(Args, Debug)]
pub struct CheckpointShowArgs {
    /// Every checkpoint, oldest first, with an empty line between them.
    #[arg(long)]
    pub all: bool,
    /// Where to read.
    #[command(flatten)]
    pub from: LedgerArgs,
}

/// Arguments of `checkpoint make`.
#[derive(Args, Debug)]
pub struct CheckpointMakeArgs {
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
}
