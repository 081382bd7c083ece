//! Tests against the simulator's truth.
//!
//! The simulator makes readings from heat balances and knows what the water
//! really did; the gateway's core sees only the readings. They share no code.

#[path = "simulation/alerts.rs"]
mod alerts;
#[path = "simulation/delivery.rs"]
mod delivery;
#[path = "simulation/dry.rs"]
mod dry;
#[path = "simulation/gateway.rs"]
mod gateway;
#[path = "simulation/office.rs"]
mod office;
#[path = "simulation/recognition.rs"]
mod recognition;
