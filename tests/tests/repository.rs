//! Tests of the repository part from outside.
