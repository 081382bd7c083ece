//! What a temperature may be wrong by.

/// Uncertainty budget of a probe.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Budget {}
