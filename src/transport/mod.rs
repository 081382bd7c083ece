//! What the links to the outside share, whichever edge holds them: secrets by
//! file, certificates, the packets of MQTT, and the patience after a failure or a
//! server's wish.
//!
//! Edges may use it, it knows none of them.

pub mod accounts;
pub mod backoff;
pub mod certificate;
pub mod dial;
pub mod mqtt;
pub mod retry_after;
pub mod secret;
