//! Tests against the simulator's truth.
