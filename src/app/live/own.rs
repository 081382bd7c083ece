//! Readings from the sources themselves, where no service runs.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;
use std::time::Duration;

use tokio::runtime::Runtime;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::event::{LiveEvent, SourceSeen};
use super::tap::{Listening, Tap};
use crate::app::{Failure, in_force, sources};
use crate::config::resolve::Configuration;
use crate::config::source::{Source, SourceKind};
use crate::core::channel::{Channel, Role, Signal};
use crate::core::id::SourceId;
use crate::diagnostic::Diagnostic;
use crate::probe::FromSource;
use crate::runtime::clock::Clock;
use crate::runtime::driver::{INBOUND_MAX, Inbound};
use crate::runtime::supervisor::Supervisor;

/// Opens the sources that deliver these channels, and takes what they deliver for committed.
///
/// # Errors
/// Where no source delivers any of them.
pub(super) fn listen(
    runtime: &Runtime,
    configuration: &Configuration,
    channels: &[Channel],
    stop: &CancellationToken,
) -> Result<Listening, Failure> {
    let needed = with_junctions(configuration, channels);
    let delivers = |source: &Source| needed.iter().any(|name| source.directory.find(name).is_some());
    let (mut opened, mut standing_by) = (Vec::new(), Vec::new());
    for (number, source) in (0_u16..).zip(&configuration.sources).filter(|(_, source)| delivers(source)) {
        match copied(source) {
            Some(source) => opened.push((SourceId(number), source)),
            None => standing_by.push(source.name.clone()),
        }
    }
    if opened.is_empty() {
        return Err(nothing_to_open(&standing_by));
    }
    let tap = Tap::new(configuration, &in_force::channels(configuration));
    let mut listening = tap.listen();
    listening.known.extend(standing_by.into_iter().map(|source| {
        let cause = Some("standard input is read by the service only".to_owned());
        LiveEvent::Source(SourceSeen { source, up: false, cause })
    }));
    let (to, mut inbound) = mpsc::channel::<Inbound>(INBOUND_MAX);
    let surroundings = sources::Surroundings {
        clock: Clock::system(),
        stop: stop.clone(),
        inbound: to,
        links: Arc::new(AtomicU64::new(0)),
        journal: None,
        tap,
    };
    let entered = runtime.enter();
    let mut supervisor = Supervisor::new(stop.clone());
    sources::start(&mut supervisor, opened, &surroundings);
    drop((entered, surroundings));
    drop(runtime.spawn(async move {
        // It lives as long as what it watches.
        let _supervisor = supervisor;
        while let Some(Inbound { link, message }) = inbound.recv().await {
            if let FromSource::Delivery(delivery) = message {
                link.committed.send_replace(delivery.number);
            }
        }
    }));
    Ok(listening)
}

/// The names of the channels, and of the cold junctions without which some show nothing.
fn with_junctions(configuration: &Configuration, channels: &[Channel]) -> BTreeSet<String> {
    let junctions = channels.iter().filter_map(|channel| match &channel.role {
        Role::Probe(probe) => match probe.signal {
            Signal::Thermocouple { cold_junction, .. } => {
                configuration.channels.get(usize::from(cold_junction.0))
            }
            Signal::Celsius | Signal::Fahrenheit | Signal::Kelvin | Signal::Pt100 => None,
        },
        Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
    });
    channels.iter().chain(junctions).map(|channel| channel.name.to_string()).collect()
}

/// The source as it is opened beside the service's own: at a broker under another name, in a
/// session that ends with the connection. `None` for standard input, which is this command's.
fn copied(source: &Source) -> Option<Source> {
    let kind = match &source.kind {
        SourceKind::Serial(settings) => SourceKind::Serial(settings.clone()),
        SourceKind::Modbus(settings) => SourceKind::Modbus(settings.clone()),
        SourceKind::Mqtt(settings) => {
            let mut settings = settings.clone();
            settings.client_id = format!("{}-live-{}", settings.client_id, std::process::id());
            settings.session_expiry = Duration::ZERO;
            SourceKind::Mqtt(settings)
        }
        SourceKind::Replay(settings) => {
            settings.path.as_ref()?;
            SourceKind::Replay(settings.clone())
        }
    };
    Some(Source { kind, ..source.clone() })
}

fn nothing_to_open(standing_by: &[String]) -> Failure {
    let summary = match standing_by {
        [] => "no configured source delivers what is asked for".to_owned(),
        names => format!("source «{}» is standard input, which only the service reads", names.join("», «")),
    };
    Diagnostic::error("config-source", summary)
        .advice("add a [[source]] that delivers it, or start the service")
        .into()
}
