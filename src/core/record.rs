//! Records: what the ledger keeps for ever.
//!
//! A record is one line of JSON: the bytes that [`Record::to_bytes`] makes. They
//! are stored as they are, hashed as they are, and never made again from the
//! parsed form, so that a later version of this program cannot change an old
//! hash. `v` is the version of the format; a reader refuses one it does not know.
//!
//! JSON, because an auditor must be able to read a record with any tool in
//! twenty years. Numbers are printed in their shortest form that reads back to
//! the same double. Times are RFC 3339 in UTC.

mod access;
mod alert;
mod check;
mod cycle;
mod kept;
mod service;
mod technician;
#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

pub use access::{AccessDeed, AccessEvent, AccessRefusal, AskedChange, FIRST_START, Unchanged};
pub use alert::{
    AlertAcknowledged, AlertChanged, AlertCleared, AlertClosed, AlertRaised, Change, Clearing,
    CorrectiveAction, DialogWork, Maintenance, MissedDue, Notification, OfAlert, Outcome, Worked,
};
pub use check::{Check, CheckKind, Supply, TEST_STRIP, UnknownSupply};
pub use cycle::{Basis, Cycle, DoseBasis, Gap, Rule, WindowFrom};
pub use kept::{
    Amendment, AmendmentChange, Import, KeyChange, LawfulHold, Note, Pruned, Restored, SigningKeyChange,
};
pub use service::{
    Clock, ClockStep, ConfigurationChange, MachineFailure, ServiceStart, ServiceStop, StopCause,
};
pub use technician::{
    Against, CalibrationDone, CalibrationPoint, Correction, ProvenProbe, ResponseDone, SignedChemistry,
    SignedMinimum, SignedOff, SignedPlate, SignedProbe, SignedSolution, TestCycle, WiringProofDone,
};

use super::alert::AlertNumber;
use super::time::Timestamp;

/// Version of the record format written by this program.
pub const FORMAT: u32 = 1;

/// One record.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Record {
    /// Format version, [`FORMAT`].
    pub v: u32,
    /// When the program recorded it, by the gateway's clock.
    pub recorded: Timestamp,
    /// The machine it is about; absent for the service itself.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub machine: Option<String>,
    /// What happened.
    pub body: Body,
}

/// What happened.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Body {
    /// A cycle was recognised and judged.
    Cycle(Box<Cycle>),
    /// A probe gave no usable readings for a while.
    Gap(Gap),
    /// Somebody entered a check.
    Check(Check),
    /// The service started.
    ServiceStart(ServiceStart),
    /// The service stopped in order.
    ServiceStop(ServiceStop),
    /// A clock stepped.
    ClockStep(ClockStep),
    /// The configuration in force changed.
    ConfigurationChange(ConfigurationChange),
    /// A mistake in this program ended the judging of one machine.
    MachineFailure(MachineFailure),
    /// An alert was raised.
    AlertRaised(Box<AlertRaised>),
    /// Something happened to an open alert.
    AlertChanged(AlertChanged),
    /// A named person took an alert on.
    AlertAcknowledged(AlertAcknowledged),
    /// An alert recovered.
    AlertCleared(AlertCleared),
    /// An alert was closed.
    AlertClosed(AlertClosed),
    /// What somebody did about an alert.
    CorrectiveAction(CorrectiveAction),
    /// A message was delivered, or given up.
    Notification(Box<Notification>),
    /// Somebody works on a machine.
    Maintenance(Maintenance),
    /// Somebody noted something.
    Note(Note),
    /// Somebody said what is to be known of an earlier record.
    Amendment(Box<Amendment>),
    /// The key that signs checkpoints changed.
    SigningKey(Box<SigningKeyChange>),
    /// Pruning was stopped, or allowed again.
    LawfulHold(LawfulHold),
    /// Readings were pruned by their age.
    Pruned(Pruned),
    /// Readings of a file were taken over.
    Import(Import),
    /// The ledger goes on from a backup.
    Restored(Restored),
    /// A probe was calibrated.
    Calibration(Box<CalibrationDone>),
    /// The time constant of a probe was measured.
    Response(Box<ResponseDone>),
    /// The wiring of a machine's probes was proved.
    WiringProof(Box<WiringProofDone>),
    /// A machine was signed off by its technician.
    SignOff(Box<SignedOff>),
    /// Somebody came in or was turned away, or an account or a token changed.
    Access(Box<AccessEvent>),
}

impl Body {
    /// Every word of [`Body::kind`] but `cycle`, in order of the alphabet.
    pub const EVENTS: [&'static str; 27] = [
        "access",
        "alert-acknowledged",
        "alert-changed",
        "alert-cleared",
        "alert-closed",
        "alert-raised",
        "amendment",
        "calibration",
        "check",
        "clock-step",
        "configuration-change",
        "corrective-action",
        "gap",
        "import",
        "lawful-hold",
        "machine-failure",
        "maintenance",
        "note",
        "notification",
        "pruned",
        "response",
        "restored",
        "service-start",
        "service-stop",
        "sign-off",
        "signing-key",
        "wiring-proof",
    ];

    /// The word for this kind of record.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Cycle(_) => "cycle",
            Self::Gap(_) => "gap",
            Self::Check(_) => "check",
            Self::ServiceStart(_) => "service-start",
            Self::ServiceStop(_) => "service-stop",
            Self::ClockStep(_) => "clock-step",
            Self::ConfigurationChange(_) => "configuration-change",
            Self::MachineFailure(_) => "machine-failure",
            Self::AlertRaised(_) => "alert-raised",
            Self::AlertChanged(_) => "alert-changed",
            Self::AlertAcknowledged(_) => "alert-acknowledged",
            Self::AlertCleared(_) => "alert-cleared",
            Self::AlertClosed(_) => "alert-closed",
            Self::CorrectiveAction(_) => "corrective-action",
            Self::Notification(_) => "notification",
            Self::Maintenance(_) => "maintenance",
            Self::Note(_) => "note",
            Self::Amendment(_) => "amendment",
            Self::SigningKey(_) => "signing-key",
            Self::LawfulHold(_) => "lawful-hold",
            Self::Pruned(_) => "pruned",
            Self::Import(_) => "import",
            Self::Restored(_) => "restored",
            Self::Calibration(_) => "calibration",
            Self::Response(_) => "response",
            Self::WiringProof(_) => "wiring-proof",
            Self::SignOff(_) => "sign-off",
            Self::Access(_) => "access",
        }
    }

    /// What it tells of an alert; `None` where it tells nothing of any.
    #[must_use]
    pub fn of_alert(&self) -> Option<OfAlert<'_>> {
        match self {
            Self::AlertRaised(raised) => Some(OfAlert::Raised(raised)),
            Self::AlertChanged(changed) => Some(OfAlert::Changed(changed)),
            Self::AlertAcknowledged(taken) => Some(OfAlert::Acknowledged(taken)),
            Self::AlertCleared(cleared) => Some(OfAlert::Cleared(cleared)),
            Self::AlertClosed(closed) => Some(OfAlert::Closed(closed)),
            Self::CorrectiveAction(action) => Some(OfAlert::Action(action)),
            Self::Notification(notification) => Some(OfAlert::Notification(notification)),
            Self::Cycle(_)
            | Self::Gap(_)
            | Self::Check(_)
            | Self::ServiceStart(_)
            | Self::ServiceStop(_)
            | Self::ClockStep(_)
            | Self::ConfigurationChange(_)
            | Self::MachineFailure(_)
            | Self::Maintenance(_)
            | Self::Note(_)
            | Self::Amendment(_)
            | Self::SigningKey(_)
            | Self::LawfulHold(_)
            | Self::Pruned(_)
            | Self::Import(_)
            | Self::Restored(_)
            | Self::Calibration(_)
            | Self::Response(_)
            | Self::WiringProof(_)
            | Self::SignOff(_)
            | Self::Access(_) => None,
        }
    }

    /// The alert that it is about.
    #[must_use]
    pub fn alert(&self) -> Option<AlertNumber> {
        self.of_alert().and_then(OfAlert::alert)
    }

    /// The records that its alert names, see [`OfAlert::causes`].
    #[must_use]
    pub fn causes(&self) -> [Option<u64>; 2] {
        self.of_alert().map_or([None, None], OfAlert::causes)
    }

    /// Whether the record must be committed at once, since somebody is to be told.
    #[must_use]
    pub fn is_urgent(&self) -> bool {
        match self {
            Self::Cycle(cycle) => cycle.verdict.is_urgent() || !cycle.findings.is_empty(),
            Self::Gap(gap) => gap.to.is_none(),
            // The signing key and whoever follows the record wait for the start.
            Self::ServiceStart(_) | Self::ClockStep(_) | Self::MachineFailure(_) => true,
            // What the desk and people record is committed at once by whoever takes it.
            Self::Check(_)
            | Self::ServiceStop(_)
            | Self::ConfigurationChange(_)
            | Self::AlertRaised(_)
            | Self::AlertChanged(_)
            | Self::AlertAcknowledged(_)
            | Self::AlertCleared(_)
            | Self::AlertClosed(_)
            | Self::CorrectiveAction(_)
            | Self::Notification(_)
            | Self::Maintenance(_)
            | Self::Note(_)
            | Self::Amendment(_)
            | Self::SigningKey(_)
            | Self::LawfulHold(_)
            | Self::Pruned(_)
            | Self::Import(_)
            | Self::Restored(_)
            | Self::Calibration(_)
            | Self::Response(_)
            | Self::WiringProof(_)
            | Self::SignOff(_)
            | Self::Access(_) => false,
        }
    }
}

/// Why bytes are no record.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// Not JSON of the expected shape.
    #[error("not a record")]
    Shape(#[source] serde_json::Error),
    /// A format version of a later program.
    #[error("record format {found} is newer than {FORMAT}")]
    Version {
        /// Version found.
        found: u32,
    },
}

impl Record {
    /// Makes a record of the current format.
    #[must_use]
    pub fn new(recorded: Timestamp, machine: Option<String>, body: Body) -> Self {
        Self { v: FORMAT, recorded, machine, body }
    }

    /// The bytes to store and to hash: one line of JSON without the line end.
    ///
    /// # Panics
    /// Never: every field has a JSON form, and no map key is anything but text.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        serde_json::to_vec(self).expect("a record holds nothing that JSON cannot print")
    }

    /// Reads stored bytes back.
    ///
    /// # Errors
    /// [`RecordError`] where the bytes are none, or of a later format.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, RecordError> {
        #[derive(Deserialize)]
        struct Version {
            v: u32,
        }
        let version: Version = serde_json::from_slice(bytes).map_err(RecordError::Shape)?;
        if version.v > FORMAT {
            return Err(RecordError::Version { found: version.v });
        }
        serde_json::from_slice(bytes).map_err(RecordError::Shape)
    }
}
