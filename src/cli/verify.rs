//! The command line of `verify`.

use std::path::PathBuf;

use clap::Args;

/// Arguments of `verify`.
#[derive(Args, Debug)]
#[command(after_help = "Exit codes: 0 whole, 1 not whole, 2 could not be checked.")]
pub struct VerifyArgs {
    /// The ledger or a copy of it, evidence, a report (PDF), a table of cycles (CSV, JSON Lines)
    /// --with its evidence, or the proof of one record (JSON). Nothing is written to it or beside it.
    #[arg(value_name = "FILE")]
    pub path: PathBuf,
    /// The public key, as you got it from the site: its text, or a file that holds it. More than
    /// one where you got a newer one after a loss.
    #[arg(long = "key", required = true, value_name = "KEY_OR_FILE")]
    pub keys: Vec<String>,
    /// A checkpoint that you kept: proves that nothing before it was changed since. May be given
    /// more than once.
    #[arg(long = "checkpoint", value_name = "FILE")]
    pub checkpoints: Vec<PathBuf>,
    /// The evidence that belongs to a table of cycles, or the report that holds it.
    #[arg(long, value_name = "FILE")]
    pub with: Option<PathBuf>,
    /// Leave out the traces of cycles and the readings of a ledger, and the printed pages of a report: quicker, and said
    /// in the answer.
    #[arg(long)]
    pub records_only: bool,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}
