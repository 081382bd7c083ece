//! Recognising and judging a cycle.
//!
//! [`tracker`] composes: [`spike`] cleans the trace, [`mod@line`] or [`sump`] finds a
//! rinse in it (or [`run`] takes the machine's word), [`tank`] tells it from a
//! fill, [`window`] measures it, [`judge`] judges it.
//!
//! A constant here that names no source is an own choice, held to the budget of
//! recognition by the simulator's scenarios (`tests/simulation`).

pub mod back;
pub mod baseline;
pub mod conveyor;
pub mod counts;
mod faults;
pub mod figures;
#[cfg(test)]
pub(crate) mod fixture;
pub mod judge;
pub mod line;
pub mod minimum;
pub mod plate;
pub mod run;
pub mod sign;
pub mod spike;
pub mod strength;
pub mod sump;
pub mod tank;
pub mod tracker;
pub mod verdict;
pub mod window;
pub mod words;
