//! What the links to the outside share, whichever edge holds them: secrets by
//! file, certificates, the packets of MQTT, and the patience after a failure.
//!
//! Edges may use it, it knows none of them.

pub mod backoff;
pub mod certificate;
pub mod dial;
pub mod mqtt;
pub mod secret;
