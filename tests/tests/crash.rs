//! Tests of the crash part from outside.
