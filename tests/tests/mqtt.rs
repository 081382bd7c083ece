//! The MQTT source against a real Mosquitto that runs with the settings shipped
//! in `deploy/mosquitto`: what it acknowledged is never lost, whatever ends.

#[path = "mqtt/access.rs"]
pub(crate) mod access;
#[path = "mqtt/gateway.rs"]
mod gateway;
#[path = "mqtt/input.rs"]
mod input;
#[path = "mqtt/restarts.rs"]
mod restarts;
#[path = "mqtt/shipped.rs"]
mod shipped;

#[path = "support/broker.rs"]
pub(crate) mod broker;
