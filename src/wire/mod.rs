//! From bytes to samples, and nothing else: pure, like the core.
//!
//! A parser never fails as a whole. It gives what could be read and a
//! [`refusal::Refusal`] for each piece that could not.

pub mod decoded;
pub mod directory;
pub mod lines;
pub mod payload;
pub mod plain;
pub mod pointer;
pub mod refusal;
pub mod registers;
pub mod senml;
pub mod topics;
