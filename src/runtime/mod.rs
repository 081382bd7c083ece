//! Clock, driver, shutdown and logs: what the daemon needs around the core.
