//! Modbus sources on real pseudo-terminals: the simulator's units, units of other hands, and the
//! whole program.

#[path = "modbus/gateway.rs"]
mod gateway;
#[path = "modbus/listener.rs"]
mod listener;
#[path = "modbus/peers.rs"]
mod peers;
#[path = "modbus/scan.rs"]
mod scan;
#[path = "modbus/source.rs"]
mod source;
#[path = "modbus/tcp.rs"]
mod tcp;
#[path = "modbus/watching.rs"]
mod watching;
