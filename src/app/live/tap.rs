//! Where those who look on are told what the sources deliver, on its way to the driver.
//!
//! Each message of a source is looked at once and goes on untouched; nobody who listens can hold
//! it back. What a listener has not taken is bounded, and the oldest of it is dropped.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::sync::broadcast;

use super::WAITING_MAX;
use super::event::{LiveEvent, LiveReading, SourceSeen, UnitSeen};
use super::recent::{Extremes, Recent};
use crate::config::resolve::Configuration;
use crate::core::channel::{Channel, Probe};
use crate::core::id::{ChannelId, SourceId};
use crate::core::presence::Recency;
use crate::core::reading::Value;
use crate::core::readout::{Readout, Shown};
use crate::core::time::Timestamp;
use crate::probe::{Delivery, FromSource, SourceState};

/// The place past which every message of a source goes. Copies are the same place.
#[derive(Clone, Debug)]
pub(in crate::app) struct Tap {
    shared: Arc<Shared>,
}

#[derive(Debug)]
struct Shared {
    /// Names of the sources, by number.
    names: Vec<String>,
    to: broadcast::Sender<Arc<LiveEvent>>,
    seen: Mutex<Seen>,
}

#[derive(Debug)]
struct Seen {
    readout: Readout,
    /// What the pages look back on; nothing where none are served.
    pages: Option<Past>,
    sources: BTreeMap<SourceId, SourceSeen>,
    /// Readings of each source.
    received: BTreeMap<SourceId, u64>,
    /// By source and the first channel of the request: as many as requests are configured.
    units: BTreeMap<(SourceId, ChannelId), UnitSeen>,
}

/// What was shown before somebody looked.
#[derive(Debug, Default)]
struct Past {
    /// The newest value of each channel that has delivered one.
    newest: BTreeMap<ChannelId, Newest>,
    recent: Recent,
}

/// The newest value of one channel.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(in crate::app) struct Newest {
    /// When it was measured, by the source's clock.
    pub(in crate::app) at: Timestamp,
    /// When it arrived, by the gateway's clock.
    pub(in crate::app) arrived: Timestamp,
    /// As it was delivered.
    pub(in crate::app) value: Value,
    /// What it shows.
    pub(in crate::app) shown: Shown,
}

impl Newest {
    /// How far it tells of `now`.
    pub(in crate::app) fn recency(&self, now: Timestamp, silent_after: Duration) -> Recency {
        Recency::of(now, self.at, self.arrived, silent_after)
    }
}

/// What a listener gets.
#[derive(Debug)]
pub(in crate::app) struct Listening {
    /// How each source stands that has said so.
    pub(in crate::app) known: Vec<LiveEvent>,
    /// Everything from there on.
    pub(in crate::app) events: broadcast::Receiver<Arc<LiveEvent>>,
}

impl Tap {
    /// A tap for the sources of this configuration, and for its channels as they are in force.
    pub(in crate::app) fn new(configuration: &Configuration, channels: &[Channel]) -> Self {
        let names = configuration.sources.iter().map(|source| source.name.clone()).collect();
        let readout = Readout::new(channels);
        let seen = Seen {
            readout,
            pages: configuration.web.as_ref().map(|_| Past::default()),
            sources: BTreeMap::new(),
            received: BTreeMap::new(),
            units: BTreeMap::new(),
        };
        let seen = Mutex::new(seen);
        Self { shared: Arc::new(Shared { names, to: broadcast::Sender::new(WAITING_MAX), seen }) }
    }

    /// Shows this probe with another correction from here on.
    pub(in crate::app) fn put_in_force(&self, channel: ChannelId, probe: Probe) {
        let mut seen = self.shared.seen.lock().unwrap_or_else(PoisonError::into_inner);
        seen.readout.put_in_force(channel, probe);
    }

    /// The newest value of each channel that has delivered one since the start, where pages are served.
    pub(in crate::app) fn newest(&self) -> BTreeMap<ChannelId, Newest> {
        let seen = self.shared.seen.lock().unwrap_or_else(PoisonError::into_inner);
        seen.pages.as_ref().map(|past| past.newest.clone()).unwrap_or_default()
    }

    /// Readings that each source delivered since the start.
    pub(in crate::app) fn received(&self) -> Vec<(String, u64)> {
        let seen = self.shared.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let count = |place: usize| u16::try_from(place).ok().and_then(|id| seen.received.get(&SourceId(id)));
        let names = self.shared.names.iter().enumerate();
        names.map(|(place, name)| (name.clone(), count(place).copied().unwrap_or_default())).collect()
    }

    /// The channels with what is in force for each.
    pub(in crate::app) fn channels(&self) -> Vec<Channel> {
        self.shared.seen.lock().unwrap_or_else(PoisonError::into_inner).readout.channels().cloned().collect()
    }

    /// What a channel showed in the last ten minutes, where pages are served.
    pub(in crate::app) fn recent(&self, channel: ChannelId) -> Vec<Extremes> {
        let seen = self.shared.seen.lock().unwrap_or_else(PoisonError::into_inner);
        seen.pages.as_ref().map(|past| past.recent.of(channel)).unwrap_or_default()
    }

    /// Begins to listen.
    pub(in crate::app) fn listen(&self) -> Listening {
        let seen = self.shared.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let sources = seen.sources.values().cloned().map(LiveEvent::Source);
        let known = sources.chain(seen.units.values().cloned().map(LiveEvent::Unit)).collect();
        Listening { known, events: self.shared.to.subscribe() }
    }

    /// Tells those who listen what a source says.
    pub(in crate::app) fn hear(&self, message: &FromSource) {
        // A holder cannot leave this half written.
        let mut seen = self.shared.seen.lock().unwrap_or_else(PoisonError::into_inner);
        match message {
            FromSource::Delivery(delivery) => self.delivery(&mut seen, delivery),
            FromSource::State { source, state } => {
                let name = self.name(*source);
                let (up, cause) = match state {
                    SourceState::Up => (true, None),
                    SourceState::Down { cause } => (false, Some(cause.clone())),
                    SourceState::Ended => (false, Some("it has come to its end".to_owned())),
                };
                let state = SourceSeen { source: name, up, cause };
                seen.sources.insert(*source, state.clone());
                // What its units answered is over, and told anew once it is back.
                if !state.up {
                    seen.units.retain(|(of, _), _| of != source);
                }
                self.tell(LiveEvent::Source(state));
            }
            FromSource::Unit { source, unit, channels, state } => {
                let Some(first) = channels.first() else { return };
                let name = |channel: &ChannelId| {
                    seen.readout.channel(*channel).map(|channel| channel.name.to_string())
                };
                let names = channels.iter().filter_map(name).collect();
                let (unit, state) = (*unit, *state);
                let told = UnitSeen { source: self.name(*source), unit, channels: names, state };
                seen.units.insert((*source, *first), told.clone());
                self.tell(LiveEvent::Unit(told));
            }
        }
    }

    fn delivery(&self, seen: &mut Seen, delivery: &Delivery) {
        let heard = self.shared.to.receiver_count() > 0;
        *seen.received.entry(delivery.source).or_default() += delivery.samples.len() as u64;
        for sample in &delivery.samples {
            // Looked at even where nobody listens: what a value means may hang on those before it.
            let shown = seen.readout.take(*sample);
            if let Some(past) = &mut seen.pages {
                let newest = Newest { at: sample.at, arrived: delivery.received, value: sample.value, shown };
                past.newest.insert(sample.channel, newest);
                if let Some(celsius) = shown.corrected.filter(|_| shown.fault.is_none()) {
                    past.recent.take(sample.channel, sample.at, celsius.0);
                }
            }
            if heard && let Some(channel) = seen.readout.channel(sample.channel) {
                let reading = LiveReading::new(channel, sample.at, delivery.received, sample.value, shown);
                self.tell(LiveEvent::Reading(reading));
            }
        }
        for refusal in delivery.refusals.iter().filter(|_| heard) {
            let (source, what) = (self.name(delivery.source), refusal.what.clone());
            self.tell(LiveEvent::Refused { source, what, why: refusal.why.to_string() });
        }
    }

    fn name(&self, source: SourceId) -> String {
        self.shared.names.get(usize::from(source.0)).cloned().unwrap_or_default()
    }

    fn tell(&self, event: LiveEvent) {
        // An error says that nobody listens.
        drop(self.shared.to.send(Arc::new(event)));
    }
}
