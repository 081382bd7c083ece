//! Configuration: read in layers, checked as a whole, every problem told at once.
//!
//! Edges read the resolved form of their own section from here; this module
//! itself knows only `wire` and `core`.

pub mod resolve;
pub mod source;
