//! Tests of the cli part from outside.
