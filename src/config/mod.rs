//! Configuration: read in layers, checked as a whole, every problem told at once.
//!
//! The way of a key: [`layers`] reads files and environment and lets the later
//! win ([`raw`] is what they say, each value with its place); [`keys`] is the one
//! table of legal keys with meaning, range and default; [`reader`] takes a
//! section apart by that table; [`check`] makes the types of [`resolve`],
//! [`source`] and [`series`] of it. [`reference`](mod@reference) prints the table as `config/reference.toml`.
//!
//! The tree is walked by hand and not by serde, because serde stops at the first
//! mistake and an operator wants all of them in one run.
//!
//! Edges read the resolved form of their own section from here; this module
//! itself knows only `wire` and `core`.

pub mod check;
pub mod delivery;
pub mod keys;
pub mod layers;
pub mod load;
pub mod modbus;
pub mod note;
pub mod problem;
pub mod raw;
pub mod reader;
pub mod recorded;
pub mod reference;
pub mod resolve;
pub mod series;
pub mod source;
mod suggest;
#[cfg(test)]
mod tests;
pub mod text;
