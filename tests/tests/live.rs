//! Live readings by the real program: from a pseudo-terminal, through the service, from a broker.

#[path = "live/kitchen.rs"]
mod kitchen;
#[path = "support/port.rs"]
pub(crate) mod port;
#[path = "live/ports.rs"]
mod ports;
#[path = "live/proving.rs"]
mod proving;
#[path = "live/readings.rs"]
mod readings;
#[path = "support/terminal.rs"]
pub(crate) mod terminal;
#[path = "live/watching.rs"]
mod watching;
