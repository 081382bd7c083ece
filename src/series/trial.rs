//! Writes one point and reads it back.
