//! Modbus sources on real pseudo-terminals: the simulator's units, and units of other
//! hands.

#[path = "modbus/listener.rs"]
mod listener;
#[path = "modbus/peers.rs"]
mod peers;
#[path = "modbus/source.rs"]
mod source;
