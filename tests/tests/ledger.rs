//! Tests of the ledger part from outside.
