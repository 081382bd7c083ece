//! One machine: event time, probes, tracker.
