//! What raises an alert and what nearly does, what clears it, and who is told.
//!
//! The rules are this module's own, stated in the table at its head.

mod amended;
mod checks;
mod conditions;
mod cover;
mod dialog;
mod earlier;
mod fixture;
mod people;
mod properties;
mod story;
mod supplies;
mod telling;
mod thermometers;
