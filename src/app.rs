//! The composition root: the only file tree that knows every edge.

mod access;
mod alerts;
mod amended;
mod arrival;
mod ask;
mod channels;
mod check;
mod checkpoints;
mod configuration;
mod days;
mod demo;
mod door;
mod enter;
pub mod export;
mod failure;
#[cfg(test)]
mod fixture;
mod history;
mod house;
mod in_force;
mod keeping;
mod ledger;
mod live;
mod logbook;
mod order;
mod people;
mod ports;
mod proofs;
mod prove;
mod replay;
mod run;
mod scan;
mod seal;
pub mod series;
mod service_manager;
mod sign_off;
mod sites;
mod sources;
mod station;
mod technician;
mod terminal;
mod verify;
mod watch;
mod work;

use std::io::Write;

pub use failure::Failure;
pub use terminal::fitted_to_errors;

use crate::cli::{Cli, Command};
use crate::diagnostic::Diagnostic;
use crate::runtime::telemetry;

/// Where answers and messages go.
pub struct Streams<'s> {
    /// What was asked for.
    pub out: &'s mut dyn Write,
    /// Everything else.
    pub err: &'s mut dyn Write,
}

/// Does what the command line asks.
///
/// # Errors
/// [`Failure`] holds what to tell and the code to exit with. An answer that nobody
/// reads to its end, as in `… | head`, is none.
pub fn execute(cli: &Cli, streams: &mut Streams<'_>) -> Result<(), Failure> {
    if !demo::takes_the_screen(&cli.command) {
        telemetry::start(&cli.log()).map_err(|bad| {
            let advice = "write a level such as info, or target=level, such as rinseward=debug";
            Failure::from(
                Diagnostic::error("usage", bad.to_string()).cause(bad.source.to_string()).advice(advice),
            )
        })?;
    }
    let done = match &cli.command {
        Command::Run(arguments) => run::run(arguments, streams),
        Command::Demo(arguments) => demo::demo(arguments, streams),
        Command::Replay(arguments) => replay::replay(arguments, streams),
        Command::History(arguments) => history::history(arguments, streams),
        Command::Export(arguments) => export::export(arguments, streams),
        Command::Alerts(arguments) => people::alerts(&arguments.command, streams),
        Command::Maintenance(arguments) => people::maintenance(arguments, streams),
        Command::Ports(arguments) => ports::ports(arguments, streams),
        Command::Prove(arguments) => prove::prove(arguments, streams),
        Command::Watch(arguments) => watch::watch(arguments, streams),
        Command::Scan(arguments) => scan::scan(arguments, streams),
        Command::SignOff(arguments) => sign_off::sign_off(arguments, streams),
        Command::Calibrate(arguments) => technician::calibrate(arguments, streams),
        Command::Respond(arguments) => technician::respond(arguments, streams),
        Command::Enter(arguments) => enter::enter(&arguments.entry, streams),
        Command::Hold(arguments) => keeping::hold::hold(&arguments.command, streams),
        Command::Backup(arguments) => keeping::backup::backup(arguments, streams),
        Command::Restore(arguments) => keeping::restore::restore(arguments, streams),
        Command::Import(arguments) => keeping::import::import(arguments, streams),
        Command::Accounts(arguments) => access::command::accounts(&arguments.command, streams),
        Command::Key(arguments) => seal::command::key(&arguments.command, streams),
        Command::Checkpoint(arguments) => seal::command::checkpoint(arguments, streams),
        Command::Verify(arguments) => verify::verify(arguments, streams),
        Command::Series(arguments) => series::series(arguments, streams),
        Command::CheckConfig(arguments) => check::check_config(arguments, streams),
    };
    done.or_else(Failure::unless_closed)
}
