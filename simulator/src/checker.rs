//! The gateway against the truth.
