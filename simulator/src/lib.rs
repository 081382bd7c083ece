//! Commercial dish machines from physics.
