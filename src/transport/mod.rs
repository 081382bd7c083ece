//! What the links to the outside share, whichever edge holds them: secrets by
//! file, certificates, and the packets of MQTT.
//!
//! Edges may use it, it knows none of them.

pub mod certificate;
pub mod dial;
pub mod mqtt;
pub mod secret;
