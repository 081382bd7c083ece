//! From a delivered value to a calibrated temperature.
