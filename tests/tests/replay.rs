//! Tests of the replay part from outside.
