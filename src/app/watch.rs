//! `watch`: live readings in the terminal.

use std::time::Duration;

use super::live::{Live, LiveEvent, LiveReading, Through, Wanted};
use super::{Failure, Streams, configuration};
use crate::cli::WatchArgs;
use crate::core::reading::Value;
use crate::diagnostic::Diagnostic;
use crate::runtime::clock::Clock;

/// Longest wait for the next event.
const WAIT_MAX: Duration = Duration::from_secs(1);

/// Shows what comes in until it ends, or the time is over.
pub(super) fn watch(arguments: &WatchArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let wanted = Wanted { machines: arguments.machines.clone(), channels: arguments.probes.clone() };
    let mut live = Live::open(&loaded, &wanted)?;
    let clock = Clock::system();
    let begun = clock.elapsed();
    let limit = arguments.seconds.map(Duration::from_secs);
    if !arguments.json {
        let way = match live.through() {
            Through::Service { same_configuration: true } => "through the running service",
            Through::Service { same_configuration: false } => {
                "through the running service, which runs with another configuration than the one given"
            }
            Through::OwnSources => "from the sources themselves, since no service runs",
        };
        writeln!(streams.out, "{} channels, {way}", live.channels().len()).map_err(Failure::output)?;
    }
    loop {
        let left = limit.map(|limit| limit.saturating_sub(clock.elapsed().saturating_sub(begun)));
        if left.is_some_and(|left| left.is_zero()) {
            return Ok(());
        }
        let Some(event) = live.next(left.unwrap_or(WAIT_MAX).min(WAIT_MAX)) else { continue };
        if arguments.json {
            serde_json::to_writer(&mut *streams.out, &event)
                .map_err(|error| Failure::output(error.into()))?;
            writeln!(streams.out).map_err(Failure::output)?;
        } else if let LiveEvent::Reading(reading) = &event {
            writeln!(streams.out, "{}", line(reading)).map_err(Failure::output)?;
        }
        streams.out.flush().map_err(Failure::output)?;
        if let LiveEvent::Ended { cause } = event {
            return Err(Diagnostic::error("source-lost", "no more readings come")
                .cause(cause)
                .advice("start the service again, or end it and watch from the ports themselves")
                .into());
        }
    }
}

fn line(reading: &LiveReading) -> String {
    let shown = match (reading.fault, reading.corrected, reading.delivered) {
        (Some(fault), _, _) => fault.to_string(),
        (None, Some(celsius), _) => celsius.to_string(),
        (None, None, Value::Number(number)) => number.to_string(),
        (None, None, Value::Flag(flag)) => flag.to_string(),
        (None, None, Value::Fault(fault)) => fault.to_string(),
    };
    format!("{} {} {shown}", reading.at, reading.channel)
}
