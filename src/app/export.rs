//! `export`: what is on record as files for others.

pub mod pdf;
