//! Clock, driver, shutdown and logs: what the daemon needs around the core.

pub mod clock;
pub mod driver;
pub mod gather;
pub mod shutdown;
pub mod supervisor;
pub mod telemetry;
