//! Every source as a task of its own, each run on a link of its own.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use super::live::Tap;
use crate::config::source::{MqttSource, Payload, Source, SourceKind, Subscription};
use crate::core::id::{ChannelId, SourceId};
use crate::core::reading::{Sample, Value};
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::probe::modbus::ModbusProbe;
use crate::probe::mqtt::{Mqtt, Wiring};
use crate::probe::refusals::RefusalLog;
use crate::probe::replay::ReplayProbe;
use crate::probe::serial::SerialProbe;
use crate::probe::{FromSource, SourceState};
use crate::runtime::clock::Clock;
use crate::runtime::driver::{Inbound, Link};
use crate::runtime::supervisor::Supervisor;
use crate::transport::secret::PrepareError;
use crate::wire::decoded::Decoded;
use crate::wire::directory::{Directory, WireUnit};
use crate::wire::payload::{self, PayloadShape};
use crate::wire::pointer::JsonPointerError;
use crate::wire::refusal::{Refusal, RefusedBecause};
use crate::wire::topics::{TopicError, TopicFilter};

/// Messages between a source and its link.
const LINK_MAX: usize = 64;
/// So many messages without an acknowledgement are committed at once. A broker keeps
/// 20 under way where nobody told it otherwise (Mosquitto's max_inflight_messages).
const EAGER_AFTER_MAX: usize = 16;

/// Why a source could not be started.
#[derive(Debug, thiserror::Error)]
pub(super) enum SourceError {
    /// A file that it needs cannot be used.
    #[error("a broker cannot be reached as configured")]
    Prepare(#[from] PrepareError),
    /// A subscription is none.
    #[error("«{filter}» is no topic filter")]
    Filter {
        /// The filter.
        filter: String,
        /// Why.
        #[source]
        source: TopicError,
    },
    /// A pointer is none.
    #[error("«{pointer}» is no JSON pointer")]
    Pointer {
        /// The pointer.
        pointer: String,
        /// Why.
        #[source]
        source: JsonPointerError,
    },
    /// A subscription names a channel that the source may not deliver.
    #[error("no channel «{channel}» is configured for this source")]
    Channel {
        /// The channel.
        channel: String,
    },
}

/// What every source needs.
#[derive(Clone, Debug)]
pub(super) struct Surroundings {
    pub(super) clock: Clock,
    pub(super) stop: CancellationToken,
    pub(super) inbound: mpsc::Sender<Inbound>,
    pub(super) links: Arc<AtomicU64>,
    /// Names of the channels, by number, where the log is to be told of what is heard.
    pub(super) journal: Option<Arc<[String]>>,
    /// Where those who look on are told what arrives.
    pub(super) tap: Tap,
}

/// Starts these sources. Their end of the channel closes when the last of them has ended.
pub(super) fn start(
    supervisor: &mut Supervisor,
    sources: impl IntoIterator<Item = (SourceId, Source)>,
    surroundings: &Surroundings,
) {
    for (id, source) in sources {
        let around = surroundings.clone();
        supervisor
            .keep_running(format!("source {}", source.name), move || run(id, source.clone(), around.clone()));
    }
}

async fn run(id: SourceId, source: Source, around: Surroundings) -> Result<(), SourceError> {
    let link = Link {
        id: around.links.fetch_add(1, Ordering::Relaxed),
        committed: watch::Sender::new(0),
        eager_after: eager_after(&source.kind),
    };
    let (to, messages) = mpsc::channel(LINK_MAX);
    let journal = around.journal.clone().map(|channels| Journal::new(&source, channels));
    let way = Way { link: link.clone(), journal, tap: around.tap };
    let clock = around.clock.clone();
    let now = move || clock.now();
    let (name, directory) = (source.name, source.directory);
    match source.kind {
        SourceKind::Serial(settings) => {
            let probe = SerialProbe { source: id, name, settings, directory, now };
            tokio::join!(probe.run(to, around.stop), forward(messages, &around.inbound, way));
        }
        SourceKind::Replay(settings) => {
            let probe = ReplayProbe { source: id, name, settings, directory, now };
            tokio::join!(probe.run(to, around.stop), forward(messages, &around.inbound, way));
        }
        SourceKind::Modbus(settings) => {
            let probe = ModbusProbe { source: id, name, settings, now };
            tokio::join!(probe.run(to, around.stop), forward(messages, &around.inbound, way));
        }
        SourceKind::Mqtt(settings) => {
            let decode = decoder(&settings, directory)?;
            let wiring = Wiring {
                source: id,
                decode,
                now,
                deliveries: to,
                committed: link.committed.subscribe(),
                stop: around.stop,
            };
            let mqtt = Mqtt::prepare(settings).inspect_err(|error| {
                let advice = error.fix();
                tracing::error!(source = %name, %error, %advice, "the settings of a broker cannot be used");
            })?;
            tokio::join!(mqtt.run(wiring), forward(messages, &around.inbound, way));
        }
    }
    Ok(())
}

fn eager_after(kind: &SourceKind) -> Option<u64> {
    match kind {
        SourceKind::Mqtt(settings) => {
            u64::try_from((settings.unacked_max / 2).clamp(1, EAGER_AFTER_MAX)).ok()
        }
        SourceKind::Serial(_) | SourceKind::Modbus(_) | SourceKind::Replay(_) => None,
    }
}

/// What one payload held.
type Read = (Vec<Sample>, Vec<Refusal>);

/// Reads the payload of a topic by the first subscription whose filter fits.
fn decoder(
    settings: &MqttSource,
    directory: Directory,
) -> Result<impl Fn(&str, &[u8], Timestamp) -> Read + use<>, SourceError> {
    let shapes = settings
        .subscriptions
        .iter()
        .map(|subscription| shape(subscription, &directory))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(move |topic: &str, bytes: &[u8], received: Timestamp| {
        let mut decoded = Decoded::default();
        match shapes.iter().find(|(filter, _)| filter.matches(topic)) {
            Some((_, shape)) => payload::decode(bytes, shape, &directory, received, &mut decoded),
            None => decoded.refuse(topic.as_bytes(), RefusedBecause::UnknownName),
        }
        (decoded.samples, decoded.refusals)
    })
}

fn shape(
    subscription: &Subscription,
    directory: &Directory,
) -> Result<(TopicFilter, PayloadShape), SourceError> {
    let filter = subscription
        .filter
        .parse()
        .map_err(|source| SourceError::Filter { filter: subscription.filter.clone(), source })?;
    let find = |channel: &String| -> Result<(ChannelId, WireUnit), SourceError> {
        directory.find(channel).ok_or_else(|| SourceError::Channel { channel: channel.clone() })
    };
    let pointer = |pointer: &String| {
        pointer.parse().map_err(|source| SourceError::Pointer { pointer: pointer.clone(), source })
    };
    let shape = match &subscription.payload {
        Payload::Senml => PayloadShape::Senml,
        Payload::Bare { channel } => {
            let (channel, unit) = find(channel)?;
            PayloadShape::Bare { channel, unit }
        }
        Payload::Pointer { channel, value, time } => {
            let (channel, unit) = find(channel)?;
            let (value, time) = (pointer(value)?, time.as_ref().map(pointer).transpose()?);
            PayloadShape::Pointer { channel, unit, value, time }
        }
    };
    Ok((filter, shape))
}

/// What a message passes on its way to the driver.
struct Way {
    link: Link,
    journal: Option<Journal>,
    tap: Tap,
}

async fn forward(mut messages: mpsc::Receiver<FromSource>, inbound: &mpsc::Sender<Inbound>, mut way: Way) {
    while let Some(message) = messages.recv().await {
        if let Some(journal) = &mut way.journal {
            journal.note(&message);
        }
        way.tap.hear(&message);
        if inbound.send(Inbound { link: way.link.clone(), message }).await.is_err() {
            return;
        }
    }
}

/// What the log is told of a source, so that whoever fits a probe sees that it is
/// heard: that it is up or down, the first reading of each channel, and for a
/// broker, which does not say so itself, what was refused.
struct Journal {
    source: String,
    channels: Arc<[String]>,
    heard: BTreeSet<ChannelId>,
    refusals: Option<RefusalLog>,
    was_up: bool,
    /// Why it is down, once that was told.
    down: Option<String>,
}

impl Journal {
    fn new(source: &Source, channels: Arc<[String]>) -> Self {
        let refusals = match source.kind {
            SourceKind::Mqtt(_) => Some(RefusalLog::default()),
            SourceKind::Serial(_) | SourceKind::Modbus(_) | SourceKind::Replay(_) => None,
        };
        Self {
            source: source.name.clone(),
            channels,
            heard: BTreeSet::new(),
            refusals,
            was_up: false,
            down: None,
        }
    }

    fn note(&mut self, message: &FromSource) {
        match message {
            FromSource::Delivery(delivery) => {
                if let Some(log) = &mut self.refusals {
                    log.note(&self.source, delivery.received, &delivery.refusals);
                }
                for sample in &delivery.samples {
                    self.sample(*sample);
                }
            }
            FromSource::State { state: SourceState::Up, .. } => {
                self.was_up = true;
                self.down = None;
                tracing::info!(source = self.source, "source is up");
            }
            FromSource::State { state: SourceState::Down { cause }, .. } => self.went_down(cause),
            FromSource::State { state: SourceState::Ended, .. } => {
                tracing::info!(source = self.source, "source has come to its end");
            }
            // The log of the units is that of the source.
            FromSource::Unit { .. } => {}
        }
    }

    /// Tells why a source is down, once for each cause.
    fn went_down(&mut self, cause: &str) {
        if self.down.as_deref() == Some(cause) {
            return;
        }
        self.down = Some(cause.to_owned());
        let (slug, summary) = if self.was_up {
            ("source-lost", format!("source «{}» went away", self.source))
        } else {
            ("source-open", format!("cannot open source «{}»", self.source))
        };
        let diagnostic = Diagnostic::warning(slug, summary)
            .cause(cause)
            .advice("put right what the cause names; it is tried again by itself");
        tracing::warn!(slug, "a source is down\n{diagnostic}");
    }

    fn sample(&mut self, sample: Sample) {
        if !self.heard.insert(sample.channel) {
            return;
        }
        let probe = self.channels.get(usize::from(sample.channel.0)).map_or("?", String::as_str);
        let value = match sample.value {
            Value::Number(number) => number.to_string(),
            Value::Flag(flag) => flag.to_string(),
            Value::Fault(fault) => fault.to_string(),
        };
        tracing::info!(source = self.source, probe, value, "first reading");
    }
}
