//! The real process `rinseward run`, killed at any instant: what the broker got an
//! acknowledgement for is on record, once, and the cycles are those of an unbroken run.
//!
//! A real Mosquitto with the shipped settings collects what a node publishes at QoS 1. The
//! full run of a thousand kills takes four minutes:
//!
//! ```text
//! KILLS=1000 cargo test --release --features failpoints --test tests crash::kills -- --nocapture
//! ```
//!
//! `SEED=…` repeats the instants of a run, as far as the system lets it. With the feature
//! `failpoints` the steps of a commit and of compaction are drawn out at times, so that kills
//! find them; without, they are as long as they are.

#[path = "crash/audit.rs"]
mod audit;
#[cfg(feature = "failpoints")]
#[path = "crash/failpoints.rs"]
mod failpoints;
#[path = "crash/gateway.rs"]
pub(crate) mod gateway;
#[path = "support/killing.rs"]
pub(crate) mod killing;
#[path = "crash/kills.rs"]
mod kills;
#[path = "crash/kitchen.rs"]
pub(crate) mod kitchen;
#[path = "crash/power.rs"]
mod power;
#[path = "crash/publisher.rs"]
pub(crate) mod publisher;
#[path = "crash/stops.rs"]
mod stops;
