//! When a probe was at fault, as far as a judgement may ask.

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::core::reading::Fault;
use crate::core::time::Timestamp;

/// Most stretches of faults remembered; beyond it the oldest is forgotten.
const SPANS_MAX: usize = 32;
/// Shortest stretch of faults that counts of itself, s; a shorter one is left to the rules on missing readings.
const FAULT_MIN_S: f64 = 1.0;
/// How close to a lasting fault a reading is not believed, s (own choice: a wire that is about to break, or has just
/// touched again, shows anything for some readings).
const FAULT_NEAR_S: f64 = 5.0;

/// The stretches of faults of one probe.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct Faults(VecDeque<Span>);

#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
struct Span {
    #[serde(with = "crate::core::time::micros")]
    from: Timestamp,
    #[serde(with = "crate::core::time::micros")]
    to: Timestamp,
    fault: Fault,
    /// Whether no usable reading has come since.
    open: bool,
}

impl Faults {
    /// There were none.
    pub(super) const fn new() -> Self {
        Self(VecDeque::new())
    }

    /// Takes a fault in place of a reading.
    pub(super) fn note(&mut self, at: Timestamp, fault: Fault) {
        match self.0.back_mut() {
            Some(last) if last.open && last.fault == fault => last.to = at,
            Some(_) | None => {
                if self.0.len() >= SPANS_MAX {
                    self.0.pop_front();
                }
                self.0.push_back(Span { from: at, to: at, fault, open: true });
            }
        }
    }

    /// A usable reading has come.
    pub(super) fn over(&mut self) {
        if let Some(last) = self.0.back_mut() {
            last.open = false;
        }
    }

    /// The first fault that lasted and touches the stretch.
    pub(super) fn between(&self, from: Timestamp, to: Timestamp) -> Option<Fault> {
        let inside = |span: &&Span| span.from <= to && span.to >= from;
        self.lasting().find(inside).map(|span| span.fault)
    }

    /// Whether a reading lies well clear of every fault that lasted.
    pub(super) fn spare(&self, at: Timestamp) -> bool {
        let near = Duration::from_secs_f64(FAULT_NEAR_S);
        !self.lasting().any(|span| at >= span.from.minus(near) && at <= span.to.plus(near))
    }

    fn lasting(&self) -> impl Iterator<Item = &Span> {
        self.0.iter().filter(|span| span.to.seconds_since(span.from) >= FAULT_MIN_S)
    }
}
