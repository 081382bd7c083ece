//! From bytes to samples, and nothing else: pure, like the core.
//!
//! A parser never fails as a whole. It gives what could be read and a
//! [`refusal::Refusal`] for each piece that could not.

pub mod directory;
pub mod refusal;
