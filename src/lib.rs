//! rinseward: proves, rack after rack, that a commercial dish machine washed
//! and sanitized. DEVELOPERS.md has the code map; the arrows go
//! `main → app → edges → transport → config → wire → core`, never back.

pub mod alert;
pub mod app;
pub mod cli;
pub mod config;
pub mod core;
pub mod diagnostic;
pub mod ledger;
pub mod probe;
pub mod report;
pub mod runtime;
pub mod series;
pub mod transport;
pub mod web;
pub mod wire;
