//! `run`: the daemon.

use tokio::runtime::{Builder, Runtime};
use tokio::task::JoinError;
use tokio_util::sync::CancellationToken;

use super::station::Station;
use super::{Failure, Streams, configuration};
use crate::cli::RunArgs;
use crate::config::load::Loaded;
use crate::diagnostic::Diagnostic;
use crate::runtime::clock::Clock;
use crate::runtime::shutdown::Signals;

pub(super) fn run(arguments: &RunArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files, streams)?;
    if loaded.configuration.sources.is_empty() {
        let advice = "add a [[source]]; config/gateway.toml is an example";
        let diagnostic = Diagnostic::error("config-source", "no source is configured, so nothing can arrive");
        return Err(diagnostic.advice(advice).into());
    }
    let runtime = runtime()?;
    let ended = runtime.block_on(serve(&loaded, &runtime));
    // A thread that reads standard input may block for ever; nothing waits for it.
    runtime.shutdown_background();
    ended
}

async fn serve(loaded: &Loaded, runtime: &Runtime) -> Result<(), Failure> {
    let stop = CancellationToken::new();
    let signals = Signals::take().map_err(|error| bug("cannot take over the signals", &error))?;
    let station = Station::open(loaded, &Clock::system(), &stop)?;
    tokio::select! {
        ended = runtime.spawn(station.run()) => ended.unwrap_or_else(|error| Err(failed(&error))),
        // Never ends: the second signal ends the process.
        () = signals.watch(stop.clone()) => Ok(()),
    }
}

/// The runtime of the daemon and the demo.
pub(super) fn runtime() -> Result<Runtime, Failure> {
    Builder::new_multi_thread()
        .worker_threads(2)
        .thread_name("rinseward")
        .enable_all()
        .build()
        .map_err(|error| bug("cannot start the runtime", &error))
}

/// The task of the gateway panicked.
pub(super) fn failed(error: &JoinError) -> Failure {
    Diagnostic::error("bug", "the gateway failed")
        .because(error)
        .advice("report it with the log; after a restart recording goes on, nothing acknowledged is lost")
        .into()
}

/// Something that only a mistake of ours, or a system at its end, explains.
pub(super) fn bug(summary: &str, error: &std::io::Error) -> Failure {
    Diagnostic::error("bug", summary).because(error).advice("report it with this message").into()
}
