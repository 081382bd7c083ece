//! Tests of the serial part from outside.
