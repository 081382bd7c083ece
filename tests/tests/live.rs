//! Live readings by the real program: from a pseudo-terminal, through the service, from a broker.

#[path = "support/port.rs"]
pub(crate) mod port;
#[path = "live/readings.rs"]
mod readings;
