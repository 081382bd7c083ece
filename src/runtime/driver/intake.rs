//! What came by which link, and what of it was refused. Sources tell the log of
//! their own refusals and states; here they are counted.

use std::collections::BTreeMap;
use std::time::Duration;

use super::Link;
use crate::core::id::SourceId;
use crate::core::reading::Sample;
use crate::core::site::Event;
use crate::core::time::Timestamp;
use crate::probe::Delivery;
use crate::probe::refusals::RefusalLog;
use crate::runtime::gather::Gather;
use crate::wire::refusal::{Refusal, RefusedBecause};

/// The last delivery of a link that is in the commit being gathered.
#[derive(Debug)]
pub(super) struct Pending {
    pub(super) link: Link,
    pub(super) number: u64,
    /// Messages since the last commit.
    messages: u64,
}

/// What people call the sources and channels; the place is the number.
#[derive(Clone, Default, Debug)]
pub struct Names {
    /// Names of the sources.
    pub sources: Vec<String>,
    /// Names of the channels on the wire.
    pub channels: Vec<String>,
}

impl Names {
    fn source(&self, source: SourceId) -> String {
        let known = self.sources.get(usize::from(source.0)).cloned();
        known.unwrap_or_else(|| format!("source {}", source.0))
    }

    /// A reading from the future, as the log shows it.
    fn ahead(&self, sample: Sample) -> String {
        let channel = self.channels.get(usize::from(sample.channel.0)).map_or("a probe", String::as_str);
        format!("{channel} at {}", sample.at)
    }
}

/// What waits for a commit, and counts over all sources.
#[derive(Debug, Default)]
pub(super) struct Intake {
    pending: Vec<Pending>,
    log: RefusalLog,
    names: Names,
    refused: BTreeMap<(SourceId, RefusedBecause), u64>,
}

impl Intake {
    /// Tells the log by these names from now on.
    pub(super) fn name(&mut self, names: Names) {
        self.names = names;
    }

    pub(super) fn is_empty(&self) -> bool {
        self.pending.is_empty()
    }

    /// Whether a source is about to stall for want of acknowledgements.
    pub(super) fn would_stall(&self) -> bool {
        self.pending
            .iter()
            .any(|pending| pending.link.eager_after.is_some_and(|after| pending.messages >= after))
    }

    pub(super) fn take(&mut self) -> Vec<Pending> {
        std::mem::take(&mut self.pending)
    }

    /// Applies what can be used of a delivery and counts the rest.
    pub(super) fn delivery(
        &mut self,
        link: Link,
        delivery: Delivery,
        now: Timestamp,
        ahead_max: Duration,
        gather: &mut Gather,
    ) {
        for refusal in &delivery.refusals {
            self.count(delivery.source, refusal.why);
        }
        let latest = now.plus(ahead_max);
        for sample in delivery.samples {
            if sample.at > latest {
                let refusal = Refusal::new(self.names.ahead(sample).as_bytes(), RefusedBecause::Future);
                self.log.note(&self.names.source(delivery.source), now, &[refusal]);
                self.count(delivery.source, RefusedBecause::Future);
            } else {
                gather.apply(now, Event::Sample(sample));
            }
        }
        self.note(link, delivery.number, delivery.messages);
    }

    /// Tells the log how much was refused in all.
    pub(super) fn tell_counts(&self) {
        for ((source, why), count) in &self.refused {
            tracing::info!(source = self.names.source(*source), %why, count, "input refused during this run");
        }
    }

    fn note(&mut self, link: Link, number: u64, messages: u64) {
        match self.pending.iter_mut().find(|pending| pending.link.id == link.id) {
            Some(pending) => {
                pending.number = number;
                pending.messages += messages;
            }
            None => self.pending.push(Pending { link, number, messages }),
        }
    }

    fn count(&mut self, source: SourceId, why: RefusedBecause) {
        *self.refused.entry((source, why)).or_default() += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::id::ChannelId;
    use crate::core::reading::Value;

    #[test]
    fn the_log_calls_sources_and_probes_by_their_names() {
        let names = Names { sources: vec!["port1".to_owned()], channels: vec!["dm1/rinse".to_owned()] };
        let at = Timestamp::from_micros(1_700_000_000_000_000);
        for (number, source, reading) in [
            (0, "port1", "dm1/rinse at 2023-11-14T22:13:20Z"),
            (1, "source 1", "a probe at 2023-11-14T22:13:20Z"),
        ] {
            let sample = Sample { channel: ChannelId(number), at, value: Value::Number(1.0) };
            assert_eq!(names.source(SourceId(number)), source);
            assert_eq!(names.ahead(sample), reading);
        }
    }
}
