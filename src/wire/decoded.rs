//! What a decoder gives back.

use super::refusal::{Refusal, RefusedBecause};
use crate::core::reading::Sample;

/// Samples and refusals, in the order of the input. Decoders only append, so
/// that one value can collect everything that arrived together.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Decoded {
    /// What could be used.
    pub samples: Vec<Sample>,
    /// What could not.
    pub refusals: Vec<Refusal>,
}

impl Decoded {
    /// Whether there is nothing in it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.samples.is_empty() && self.refusals.is_empty()
    }

    /// Notes that `what` was refused.
    pub fn refuse(&mut self, what: &[u8], why: RefusedBecause) {
        self.refusals.push(Refusal::new(what, why));
    }
}
