//! Recognising and judging a cycle.

pub mod plate;
pub mod verdict;
