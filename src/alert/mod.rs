//! Alerts on their way to people: the channels, and the courier that serves them.
//!
//! [`courier`] takes letters from the outbox and knows neither words nor wires;
//! [`email`], [`webhook`] and [`publish`] each hand one message to one receiver
//! and say in an [`answer`] what became of it; [`event`] is the form that
//! programs get; [`heartbeat`] tells a watcher that all of this is alive.

pub mod answer;
pub mod courier;
pub mod email;
pub mod event;
pub mod heartbeat;
mod http;
pub mod publish;
pub mod webhook;
