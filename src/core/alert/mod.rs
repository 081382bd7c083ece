//! Alerts: what is wrong, since when, who is told, and how it ends.
//!
//! The [`Desk`] reads committed records, and is told of time, health and what
//! people do; it answers with records and notices. It touches nothing: its
//! state, its records and its notices go into one commit, so that it can be
//! killed anywhere.

pub mod condition;
pub mod contact;
mod cycles;
pub mod desk;
pub mod event;
mod health;
pub mod hours;
pub mod notice;
pub mod open;
mod people;
mod raise;
pub mod settings;
mod state;
mod tell;
mod timetable;

pub use condition::{Condition, Severity, UnknownCondition};
pub use contact::{Contact, Route, UnknownRoute};
pub use desk::{Desk, StateError};
pub use event::{Effects, Event, Health, Refusal, TEXT_BYTES_MAX};
pub use hours::{Hours, HoursError};
pub use notice::{Notice, Occasion};
pub use open::{
    Acknowledgement, Action, Alert, AlertNumber, Pattern, Quantity, RACKS_NAMED_MAX, Rack, Racks,
};
pub use settings::{MachineSettings, Period, Rules, Settings};
