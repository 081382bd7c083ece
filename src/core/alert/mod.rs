//! Alerts: what is wrong, since when, who is told, and how it ends.
//!
//! The [`Desk`] reads committed records, and is told of time, health and what
//! people do; it answers with records and notices. It touches nothing: its
//! state, its records and its notices go into one commit, so that it can be
//! killed anywhere.

pub mod condition;
pub mod contact;
pub mod event;
pub mod hours;
pub mod notice;
pub mod open;
pub mod settings;

pub use condition::{Condition, Severity, UnknownCondition};
pub use contact::{Contact, Route, UnknownRoute};
pub use event::{Effects, Event, Health, Refusal, TEXT_BYTES_MAX};
pub use hours::{Hours, HoursError};
pub use notice::{Notice, Occasion};
pub use open::{
    Acknowledgement, Action, Alert, AlertNumber, Pattern, Quantity, RACKS_NAMED_MAX, Rack, Racks,
};
pub use settings::{MachineSettings, Period, Rules, Settings};
