//! What a technician does at a probe and at a machine, step by step, without the dialog.
//!
//! Each attempt is fed with readings and with what its person does, and says where it stands; the
//! command and the page show that in their own way. Nothing here goes on record: an attempt
//! only says what could.

pub mod attempt;
pub mod bath;
pub mod calibrating;
pub mod gauge;
pub mod proving;
pub mod refusals;
pub mod responding;
pub mod told;
pub mod words;
pub mod work;

use std::time::Duration;

use super::reading::Fault;
use super::time::Timestamp;
use super::units::Celsius;

/// Longest wait for one step (that of the commands, own choice: a pot of water boils within it).
pub const STEP_MAX: Duration = Duration::from_secs(900);

/// What a probe shows, before any calibration.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Value {
    /// When it was measured.
    pub at: Timestamp,
    /// The temperature; a stuck probe shows its digits beside the fault.
    pub measured: Option<Celsius>,
    /// Why there is no usable one.
    pub fault: Option<Fault>,
}

impl Value {
    /// For a bath: what stands still for hours is no fault in one that does.
    fn in_bath(self) -> Result<Celsius, Fault> {
        self.measured.ok_or(self.fault.unwrap_or(Fault::Reported))
    }
}
