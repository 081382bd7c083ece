//! What a message says.

pub mod data;

pub use data::AlertData;
