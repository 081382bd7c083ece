//! Alerts from a reading to a person and back, with the real process and real peers: a mail
//! server and a receiver of webhooks that others wrote.
//!
//! ```text
//! KILLS=500 cargo test --release --features failpoints --test tests alerts::kills -- --nocapture
//! ```

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

#[path = "alerts/commands.rs"]
mod commands;
#[path = "alerts/daily.rs"]
mod daily;
#[path = "alerts/kills.rs"]
mod kills;
#[path = "alerts/office.rs"]
pub(crate) mod office;
#[path = "alerts/states.rs"]
mod states;
#[path = "alerts/story.rs"]
mod story;
