//! Tests of the mqtt part from outside.
