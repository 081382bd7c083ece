//! The signing key and its checkpoints, with the real process.

#[path = "seal/commands.rs"]
mod commands;
#[path = "seal/look.rs"]
mod look;
#[path = "seal/service.rs"]
mod service;
#[cfg(feature = "failpoints")]
#[path = "seal/steps.rs"]
mod steps;
