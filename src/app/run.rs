//! `run`: the daemon.

use std::path::PathBuf;
use std::sync::Arc;

use tokio::runtime::{Builder, Runtime};
use tokio::sync::broadcast::{self, error::RecvError};
use tokio::task::JoinError;
use tokio_util::sync::CancellationToken;

use super::access::Called;
use super::station::Station;
use super::{Failure, Streams, channels, configuration, service_manager};
use crate::cli::RunArgs;
use crate::config::load::Loaded;
use crate::core::record::{Body, Record};
use crate::diagnostic::Diagnostic;
use crate::runtime::clock::Clock;
use crate::runtime::driver::{Published, Pulse};
use crate::runtime::shutdown::Signals;

pub(super) fn run(arguments: &RunArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load_with_doubts(&arguments.config.files, streams)?;
    if loaded.configuration.sources.is_empty() {
        let advice = "add a [[source]]; config/gateway.toml is an example";
        let diagnostic = Diagnostic::error("config-source", "no source is configured, so nothing can arrive");
        return Err(diagnostic.advice(advice).into());
    }
    tell_channels(&loaded);
    let runtime = runtime()?;
    let ended = runtime.block_on(serve(&loaded, &arguments.config.files, &runtime, streams));
    // A thread that reads standard input may block for ever; nothing waits for it.
    runtime.shutdown_background();
    ended
}

/// Tells at the start how messages leave, and by which channels they cannot.
fn tell_channels(loaded: &Loaded) {
    let configuration = &loaded.configuration;
    let (configured, broken) = channels::tried(&configuration.delivery);
    let contacts = configuration.alerts.contacts.len();
    if broken.is_empty() {
        tracing::info!(channels = configured, contacts, "every configured channel can be used");
        return;
    }
    let names: Vec<&str> = broken.iter().map(|one| one.channel.as_str()).collect();
    let cannot_work = names.join(", ");
    // Why and what to do is told of each where it is opened.
    tracing::error!(channels = configured, cannot_work, contacts, "messages by these channels wait");
}

async fn serve(
    loaded: &Loaded,
    files: &[PathBuf],
    runtime: &Runtime,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let stop = CancellationToken::new();
    let signals = Signals::take().map_err(|error| bug("cannot take over the signals", &error))?;
    let mut station = Station::open(loaded, &Clock::system(), &stop)?;
    if let Some(words) = station.first_words(&Called::with(files)) {
        // Not by the log, which is kept and passed on.
        write!(streams.err, "{}", words.text).map_err(Failure::output)?;
    }
    let (published, pulse) = (station.published(), station.pulse());
    tokio::select! {
        ended = runtime.spawn(station.run()) => ended.unwrap_or_else(|error| Err(failed(&error))),
        // Never ends: the second signal ends the process.
        () = signals.watch(stop.clone()) => Ok(()),
        () = tell_cycles(published) => Ok(()),
        () = keep_alive(pulse) => Ok(()),
    }
}

/// Never ends: the gateway does.
async fn keep_alive(pulse: Pulse) {
    service_manager::keep_alive(pulse).await;
    std::future::pending().await
}

/// Tells the log each cycle once it is on record. Never ends: the gateway does.
async fn tell_cycles(mut published: broadcast::Receiver<Arc<Published>>) {
    loop {
        match published.recv().await {
            Ok(commit) => commit.records.iter().for_each(|(index, record)| tell(*index, record)),
            Err(RecvError::Lagged(commits)) => {
                tracing::warn!(commits, "the log left cycles out; they are on record");
            }
            Err(RecvError::Closed) => std::future::pending().await,
        }
    }
}

fn tell(index: u64, record: &Record) {
    let (Body::Cycle(cycle), Some(machine)) = (&record.body, record.machine.as_deref()) else { return };
    let (verdict, limit_c) = (cycle.verdict, cycle.limit_c);
    let min = cycle.rinse_min_c.map_or_else(|| "nothing".to_owned(), |min_c| format!("{min_c:.1}"));
    let told = format!("{min} of {limit_c:.1} °C");
    if verdict.is_urgent() {
        tracing::warn!(machine, %verdict, rinse = told, record = index, "rack judged");
    } else {
        tracing::info!(machine, %verdict, rinse = told, record = index, "rack judged");
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
