//! Alerts on their way to people: what a message says, the channels, and the courier that serves them.
//!
//! What is wrong and who is told was decided by `core::alert`. [`message`] and
//! [`digest`] put it into words, and touch nothing; [`courier`] takes letters
//! from the outbox and knows neither words nor wires; [`email`], [`webhook`] and
//! [`publish`] each hand one message to one receiver and say in an [`answer`]
//! what became of it; [`event`] is the form that programs get; [`heartbeat`]
//! tells a watcher that all of this is alive.

pub mod answer;
pub mod courier;
pub mod digest;
pub mod email;
pub mod event;
pub mod heartbeat;
mod http;
pub mod message;
pub mod publish;
mod told;
pub mod webhook;
