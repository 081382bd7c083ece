//! What came by which link, what of it was refused, and how the sources are.

use std::collections::BTreeMap;
use std::time::Duration;

use super::Link;
use crate::core::id::SourceId;
use crate::core::site::Event;
use crate::core::time::Timestamp;
use crate::probe::{Delivery, SourceState};
use crate::runtime::gather::Gather;
use crate::wire::refusal::RefusedBecause;

/// The last delivery of a link that is in the commit being gathered.
#[derive(Debug)]
pub(super) struct Pending {
    pub(super) link: Link,
    pub(super) number: u64,
    count: u64,
}

/// Counts and states of all sources.
#[derive(Debug, Default)]
pub(super) struct Intake {
    pending: Vec<Pending>,
    states: BTreeMap<SourceId, SourceState>,
    refused: BTreeMap<(SourceId, RefusedBecause), u64>,
}

impl Intake {
    pub(super) fn is_empty(&self) -> bool {
        self.pending.is_empty()
    }

    /// Whether a source is about to stall for want of acknowledgements.
    pub(super) fn would_stall(&self) -> bool {
        self.pending
            .iter()
            .any(|pending| pending.link.eager_after.is_some_and(|after| pending.count >= after))
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
            self.refuse(delivery.source, refusal.why, &refusal.what);
        }
        let latest = now.plus(ahead_max);
        for sample in delivery.samples {
            if sample.at > latest {
                self.refuse(delivery.source, RefusedBecause::Future, &sample.at.to_string());
            } else {
                gather.apply(now, Event::Sample(sample));
            }
        }
        self.note(link, delivery.number);
    }

    /// Notes a state of a source and tells of the change.
    pub(super) fn state(&mut self, source: SourceId, state: SourceState) {
        if self.states.get(&source) == Some(&state) {
            return;
        }
        match &state {
            SourceState::Up => tracing::info!(source = source.0, "source is up"),
            SourceState::Down { cause } => {
                tracing::warn!(source = source.0, cause, "source is down; it keeps trying");
            }
            SourceState::Ended => tracing::info!(source = source.0, "source has ended"),
        }
        self.states.insert(source, state);
    }

    fn note(&mut self, link: Link, number: u64) {
        match self.pending.iter_mut().find(|pending| pending.link.id == link.id) {
            Some(pending) => {
                pending.number = number;
                pending.count += 1;
            }
            None => self.pending.push(Pending { link, number, count: 1 }),
        }
    }

    /// Counts a refusal and logs the 1st, 10th, 100th … of its kind.
    fn refuse(&mut self, source: SourceId, why: RefusedBecause, what: &str) {
        let count = self.refused.entry((source, why)).or_default();
        *count += 1;
        if is_power_of_ten(*count) {
            tracing::warn!(source = source.0, what, %why, count = *count, "input refused");
        }
    }
}

fn is_power_of_ten(count: u64) -> bool {
    let mut power = 1_u64;
    while power < count {
        power = power.saturating_mul(10);
    }
    power == count
}
