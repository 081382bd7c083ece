//! Readings as they come in: the one way for commands to look on.
//!
//! [`Live::open`] goes through the running service where one answers at the control socket, and
//! else opens the configured sources itself, by the very edges of the gateway: then no ledger is
//! touched, and at a broker the readings are copies under a session of its own, which ends with
//! the command, so that none is lost to the service. Either way [`Live::next`] gives the same
//! [`LiveEvent`]s, each value converted and corrected by the core.
//!
//! What waits for a slow listener is bounded by [`WAITING_MAX`] events: the oldest go, and it is
//! told how many. Nothing here holds the gateway back. What is seen is what was delivered, before
//! it is put in order or on record; a value from the future is among it.

mod event;
mod own;
mod recent;
mod service;
mod tap;

use std::collections::{BTreeSet, VecDeque};
use std::sync::Arc;
use std::time::Duration;

use tokio::runtime::{Builder, Runtime};
use tokio::sync::broadcast;
use tokio::sync::broadcast::error::RecvError;
use tokio::time::Instant;
use tokio_util::sync::{CancellationToken, DropGuard};

#[cfg(test)]
pub(super) use self::event::LiveRole;
pub(super) use self::event::{Begun, LiveEvent, LiveReading, SourceSeen, UnitSeen};
pub(super) use self::recent::{Extremes, SECONDS as RECENT_S};
pub(super) use self::service::{READINGS, answer};
pub(super) use self::tap::{Listening, Newest, Tap};
use super::Failure;
use super::door::client::{self, CallError};
use super::door::time;
use super::run::bug;
use crate::config::load::Loaded;
use crate::config::resolve::Configuration;
use crate::core::channel::Channel;
use crate::diagnostic::Diagnostic;
use crate::runtime::clock::Clock;
use crate::runtime::shutdown::Signals;

/// Most events that wait for a listener (own choice): a minute of 16 probes at 4 Hz, and 0.4 s of the
/// largest site, 1,000 probes at 10 Hz.
const WAITING_MAX: usize = 4_096;

/// Silence after which nothing that was measured before a key was pressed is on its way any more, and how long
/// it is waited for where readings never pause so long (own choice: a step lasts ten times that at least).
const ON_ITS_WAY: Duration = Duration::from_millis(200);
const ON_ITS_WAY_MAX: Duration = Duration::from_secs(2);

/// Which channels are looked at; all where nothing is named.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Wanted {
    /// Every channel of these machines.
    pub(super) machines: Vec<String>,
    /// These channels, `<machine>/<probe>`.
    pub(super) channels: Vec<String>,
}

/// By which way readings come.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Through {
    /// The running service sends them.
    Service {
        /// Whether it runs with the configuration that the command was given.
        same_configuration: bool,
        /// Whether its machines are simulated.
        simulated: bool,
    },
    /// The sources were opened by this command.
    OwnSources,
}

/// Readings of the wanted channels, as they come in. What it started ends with it.
pub(super) struct Live {
    runtime: Runtime,
    through: Through,
    channels: Vec<Channel>,
    wanted: BTreeSet<String>,
    /// What was known when the listening began.
    known: VecDeque<LiveEvent>,
    events: broadcast::Receiver<Arc<LiveEvent>>,
    ended: Option<String>,
    _stop: DropGuard,
}

impl Live {
    /// Begins to listen.
    ///
    /// # Errors
    /// A name that is not configured; a service that refuses; no source that could deliver it.
    pub(super) fn open(loaded: &Loaded, wanted: &Wanted) -> Result<Self, Failure> {
        let configuration = &loaded.configuration;
        let channels = chosen(configuration, wanted)?;
        let names: BTreeSet<String> = channels.iter().map(|channel| channel.name.to_string()).collect();
        let runtime = Builder::new_multi_thread()
            .worker_threads(1)
            .thread_name("rinseward-live")
            .enable_all()
            .build()
            .map_err(|error| bug("cannot start the runtime", &error))?;
        let stop = CancellationToken::new();
        let socket = &configuration.socket;
        let (through, known, events) = match client::knock(socket) {
            Ok(()) => {
                let (begun, events) =
                    service::listen(&runtime, socket, &stop).map_err(|error| unheard(&error, socket))?;
                let same_configuration = begun.configuration == loaded.sha256();
                (Through::Service { same_configuration, simulated: begun.simulated }, Vec::new(), events)
            }
            Err(CallError::NotRunning) => {
                let Listening { known, events } = own::listen(&runtime, configuration, &channels, &stop)?;
                (Through::OwnSources, known, events)
            }
            Err(error) => return Err(unheard(&error, socket)),
        };
        let (known, stop) = (known.into(), stop.drop_guard());
        Ok(Self { runtime, through, channels, wanted: names, known, events, ended: None, _stop: stop })
    }

    /// By which way readings come.
    pub(super) const fn through(&self) -> Through {
        self.through
    }

    /// Whether the service is known to run another configuration than the command was given.
    pub(super) const fn is_configured_otherwise(&self) -> bool {
        matches!(self.through, Through::Service { same_configuration: false, .. })
    }

    /// Whether the machines that are looked at are those of a demo.
    pub(super) const fn is_simulated(&self) -> bool {
        matches!(self.through, Through::Service { simulated: true, .. })
    }

    /// The clock by which what is seen is judged: that of the service where it sends the readings, else the
    /// computer's.
    pub(super) fn clock(&self, loaded: &Loaded) -> Clock {
        match self.through {
            Through::Service { .. } => time::clock(&loaded.configuration.socket),
            Through::OwnSources => Clock::system(),
        }
    }

    /// The channels that are looked at, in the order of the configuration.
    pub(super) fn channels(&self) -> &[Channel] {
        &self.channels
    }

    /// A token that SIGINT and SIGTERM cancel, so that the terminal is given back and the answer
    /// has an end.
    ///
    /// # Errors
    /// The system's, where a handler cannot be installed.
    pub(super) fn stop_on_signals(&self) -> Result<CancellationToken, Failure> {
        let entered = self.runtime.enter();
        let signals = Signals::take().map_err(|error| bug("cannot take over the signals", &error))?;
        drop(entered);
        let stop = CancellationToken::new();
        let asked = stop.clone();
        drop(self.runtime.spawn(async move {
            signals.first().await;
            asked.cancel();
        }));
        Ok(stop)
    }

    /// Passes over what was measured while a person was waited for: what waits already, and what is on its way as they
    /// press the key. `each` hears of it all the same.
    ///
    /// # Errors
    /// That of `each`, at which it ends.
    pub(super) fn pass_over(
        &mut self,
        clock: &Clock,
        mut each: impl FnMut(&LiveEvent) -> Result<(), Failure>,
    ) -> Result<(), Failure> {
        let pressed = clock.elapsed();
        while let Some(event) = self.next(ON_ITS_WAY) {
            each(&event)?;
            if clock.elapsed().saturating_sub(pressed) >= ON_ITS_WAY_MAX {
                break;
            }
        }
        Ok(())
    }

    /// The next event, waited for no longer than this. Readings are those of the wanted channels. After
    /// [`LiveEvent::Ended`] nothing else comes.
    pub(super) fn next(&mut self, within: Duration) -> Option<LiveEvent> {
        let until = self.runtime.block_on(async { Instant::now() }) + within;
        loop {
            let event = match self.known.pop_front() {
                Some(event) => event,
                None => self.wait(until)?,
            };
            match &event {
                LiveEvent::Reading(reading) if !self.wanted.contains(&reading.channel) => {}
                LiveEvent::Unit(unit) if !unit.channels.iter().any(|name| self.wanted.contains(name)) => {}
                LiveEvent::Ended { cause } => {
                    self.ended = Some(cause.clone());
                    return Some(event);
                }
                LiveEvent::Reading(_)
                | LiveEvent::Begun(_)
                | LiveEvent::Source(_)
                | LiveEvent::Unit(_)
                | LiveEvent::Refused { .. }
                | LiveEvent::Lost { .. } => return Some(event),
            }
        }
    }

    fn wait(&mut self, until: Instant) -> Option<LiveEvent> {
        if let Some(cause) = &self.ended {
            return Some(LiveEvent::Ended { cause: cause.clone() });
        }
        let events = &mut self.events;
        let received = self.runtime.block_on(async { tokio::time::timeout_at(until, events.recv()).await });
        match received.ok()? {
            Ok(event) => Some(LiveEvent::clone(&event)),
            Err(RecvError::Lagged(events)) => Some(LiveEvent::Lost { events }),
            Err(RecvError::Closed) => {
                Some(LiveEvent::Ended { cause: "nothing is left to listen to".to_owned() })
            }
        }
    }
}

/// The wanted channels, in the order of the configuration.
fn chosen(configuration: &Configuration, wanted: &Wanted) -> Result<Vec<Channel>, Failure> {
    let machines: Vec<&str> = configuration.machines.iter().map(|machine| machine.name.as_str()).collect();
    let names: Vec<&str> = configuration.channels.iter().map(|channel| channel.name.as_str()).collect();
    for (what, asked, known) in
        [("machine", &wanted.machines, &machines), ("probe", &wanted.channels, &names)]
    {
        if let Some(name) = asked.iter().find(|name| !known.contains(&name.as_str())) {
            return Err(Diagnostic::error("usage", format!("no {what} «{name}» is configured"))
                .advice(format!("give one of {}", known.join(", ")))
                .into());
        }
    }
    let all = wanted.machines.is_empty() && wanted.channels.is_empty();
    let machine_of = |channel: &Channel| machines.get(usize::from(channel.machine.0)).copied();
    let is_wanted = |channel: &&Channel| {
        let by_machine =
            machine_of(channel).is_some_and(|name| wanted.machines.iter().any(|one| one == name));
        all || by_machine || wanted.channels.iter().any(|name| name == channel.name.as_str())
    };
    Ok(configuration.channels.iter().filter(is_wanted).cloned().collect())
}

fn unheard(error: &CallError, socket: &std::path::Path) -> Failure {
    let advice = match error {
        CallError::Forbidden => "run it as the service's user, such as sudo -u rinseward rinseward …",
        CallError::NotRunning | CallError::Refused(_) | CallError::Answer(_) => {
            "see that the service is of this version and that its log tells no error; while it runs, its \
             ports are not opened a second time"
        }
    };
    Diagnostic::error("service-socket", "the readings of the running service cannot be had")
        .place(socket.display().to_string())
        .because(error)
        .advice(advice)
        .into()
}

#[cfg(test)]
mod tests;
