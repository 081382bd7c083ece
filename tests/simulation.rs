//! Tests against the simulator's truth.
//!
//! The simulator makes readings from heat balances and knows what the water
//! really did; the gateway's core sees only the readings. They share no code.

#[path = "simulation/delivery.rs"]
mod delivery;
#[path = "simulation/gateway.rs"]
mod gateway;
#[path = "simulation/recognition.rs"]
mod recognition;
