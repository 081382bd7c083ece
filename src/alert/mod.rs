//! Alerts on their way to people: what a message says, and how it gets there.
//!
//! What is wrong and who is told was decided by `core::alert`; here it is put
//! into words and handed to the channels.

pub mod message;
