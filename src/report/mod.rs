//! Cycles for people and for programs: table, JSON, CSV.
//!
//! All three print the same [`row::CycleRow`], so that they can never disagree; all else
//! that is looked up goes through one [`sheet::Sheet`].
//! Everything is written to a writer that is passed in.

pub mod account;
pub mod alerts;
pub mod csv;
pub mod json;
pub mod local;
pub mod pdf;
pub mod plot;
pub mod rack;
pub mod row;
pub mod said;
pub mod sheet;
pub mod signoff;
pub mod table;
pub mod words;
