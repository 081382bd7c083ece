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

mod alert;
mod check;
mod kept;
mod technician;
#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

pub use alert::{
    AlertAcknowledged, AlertChanged, AlertCleared, AlertClosed, AlertRaised, Change, Clearing,
    CorrectiveAction, Maintenance, Notification, Outcome,
};
pub use check::{Check, CheckKind};
pub use kept::{
    Amendment, AmendmentChange, Import, KeyChange, LawfulHold, Note, Pruned, Restored, SigningKeyChange,
};
pub use technician::{
    Against, CalibrationDone, CalibrationPoint, Correction, ProvenProbe, ResponseDone, SignedOff,
    SignedPlate, SignedProbe, TestCycle, WiringProofDone,
};

use super::alert::AlertNumber;
use super::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use super::cycle::verdict::{Finding, Reason, Verdict};
use super::reading::Fault;
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
}

impl Body {
    /// Every word of [`Body::kind`] but `cycle`, in order of the alphabet.
    pub const EVENTS: [&'static str; 26] = [
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
        }
    }

    /// The alert that it is about.
    #[must_use]
    pub fn alert(&self) -> Option<AlertNumber> {
        match self {
            Self::AlertRaised(raised) => Some(raised.alert),
            Self::AlertChanged(changed) => Some(changed.alert),
            Self::AlertAcknowledged(taken) => Some(taken.alert),
            Self::AlertCleared(cleared) => Some(cleared.alert),
            Self::AlertClosed(closed) => Some(closed.alert),
            Self::CorrectiveAction(action) => Some(action.alert),
            Self::Notification(notification) => notification.alert,
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
            | Self::SignOff(_) => None,
        }
    }

    /// The records that its alert names: the cycle or gap behind it, and the last good rack before it.
    #[must_use]
    pub fn causes(&self) -> [Option<u64>; 2] {
        if let Self::AlertRaised(raised) = self {
            [raised.cause, raised.last_good]
        } else if let Self::AlertChanged(changed) = self {
            [changed.cause, None]
        } else if let Self::AlertCleared(cleared) = self {
            [cleared.cause, None]
        } else {
            [None, None]
        }
    }

    /// Whether the record must be committed at once, since somebody is to be told.
    #[must_use]
    pub fn is_urgent(&self) -> bool {
        // What the desk records is committed at once by the desk itself.
        if let Self::Cycle(cycle) = self {
            cycle.verdict.is_urgent() || !cycle.findings.is_empty()
        } else if let Self::Gap(gap) = self {
            gap.to.is_none()
        } else {
            // The signing key and whoever follows the record wait for the start.
            matches!(self, Self::ServiceStart(_) | Self::ClockStep(_) | Self::MachineFailure(_))
        }
    }
}

/// Which value the verdict stands on.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// The probe's own settled minimum.
    Raw,
    /// The settled minimum corrected for the probe's time constant.
    LagCorrected,
}

/// What set the rinse window.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WindowFrom {
    /// The trace of the final-rinse probe alone.
    Trace,
    /// The machine's run signal and the data-plate times.
    RunSignal,
}

/// A judged cycle. Temperatures in °C, times in s unless the name says otherwise.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Cycle {
    /// Start of the wash: seen by the run signal, else placed by the data-plate times.
    pub started: Timestamp,
    /// Start of the final-rinse flow.
    pub rinse_started: Timestamp,
    /// End of the final-rinse flow.
    pub rinse_ended: Timestamp,
    /// When the last reading it stands on arrived, by the gateway's clock.
    pub received: Timestamp,
    /// Kind of machine.
    pub machine_kind: MachineKind,
    /// Sanitizing method.
    pub sanitizing: Sanitizing,
    /// What set the rinse window.
    pub window_from: WindowFrom,
    /// Verdict.
    pub verdict: Verdict,
    /// Reasons, the decisive one first; empty for a plain pass.
    pub reasons: Vec<Reason>,
    /// Findings beside the verdict.
    pub findings: Vec<Finding>,
    /// Settled final-rinse minimum that the verdict stands on; `basis` says which of the two below it is.
    pub rinse_min_c: Option<f64>,
    /// Settled minimum as the calibrated probe showed it.
    pub rinse_min_raw_c: Option<f64>,
    /// Settled minimum corrected for the probe's time constant; absent where that is not on file.
    pub rinse_min_corrected_c: Option<f64>,
    /// Which of the two the verdict stands on.
    pub basis: Basis,
    /// Limit for the final rinse.
    pub limit_c: f64,
    /// Origin of that limit.
    pub limit_source: LimitSource,
    /// Highest final-rinse reading.
    pub rinse_peak_c: Option<f64>,
    /// From the start of the flow to the first reading at or above the limit.
    pub settled_after_s: Option<f64>,
    /// Time at or above the limit during the flow.
    pub dwell_s: f64,
    /// Time required.
    pub dwell_required_s: f64,
    /// Integral of (limit − reading) over the flow where the reading is below, °C·s.
    pub area_below_c_s: f64,
    /// Wash minimum over the wash window.
    pub wash_min_c: Option<f64>,
    /// Limit for the wash.
    pub wash_limit_c: f64,
    /// A0 (EN ISO 15883-1) over wash and final rinse, s at 80 °C.
    pub a0: f64,
    /// Heat unit equivalents over wash and final rinse.
    pub hue: f64,
    /// What the doses were computed from.
    pub dose_basis: DoseBasis,
    /// Expanded uncertainty (k = 2) of the settled minimum.
    pub uncertainty_c: f64,
    /// Probability that the true minimum is at or above the limit (JCGM 106:2012).
    pub conformance: Option<f64>,
    /// Decision rule; always simple acceptance, as an inspector applies it.
    pub rule: Rule,
    /// Concentration on file that was used, mg/L.
    pub concentration_mg_per_l: Option<f64>,
    /// pH on file that was used.
    pub ph: Option<f64>,
    /// Final-rinse readings in the rinse window.
    pub rinse_readings: u32,
    /// Readings set aside as spikes in the rinse window.
    pub spikes: u32,
    /// SHA-256 of the stored trace in hexadecimal; absent where none is kept.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub trace_sha256: Option<String>,
}

impl Cycle {
    /// The verdict to go by. A cycle whose final-rinse probe was at fault may hold a
    /// cold or brief verdict on the readings there were; it is told as the fault of
    /// the probe and never as cold water.
    #[must_use]
    pub fn believed(&self) -> Verdict {
        let at_fault = self.reasons.iter().any(|reason| matches!(reason, Reason::RinseProbe { .. }));
        if at_fault { Verdict::Unproven } else { self.verdict }
    }

    /// Makes it unproven, whatever was measured, for a reason that leaves open whether it was a cycle at
    /// all. No verdict stands on its minimum then, which is kept as it was measured.
    pub fn put_in_doubt(&mut self, reason: Reason) {
        self.verdict = Verdict::Unproven;
        self.reasons.insert(0, reason);
        self.rinse_min_c = None;
        self.conformance = None;
    }

    /// Whether it was made while somebody worked on the machine.
    #[must_use]
    pub fn is_worked_on(&self) -> bool {
        self.reasons.contains(&Reason::WorkedOn)
    }
}

/// What a thermal dose was computed from.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DoseBasis {
    /// A probe in the water: an upper bound for the ware.
    WaterSideEstimate,
    /// A probe at the surface of a ware.
    WareSurface,
}

/// Decision rule of ILAC-G8:09/2019.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// Guard band zero: at or above the limit is accepted.
    SimpleAcceptance,
}

/// A stretch without usable readings of one probe.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Gap {
    /// Name of the channel.
    pub probe: String,
    /// Why.
    pub fault: Fault,
    /// Instant of the last usable reading before it.
    pub from: Timestamp,
    /// Instant of the first usable reading after it; absent while it lasts.
    pub to: Option<Timestamp>,
    /// Whether readings for this stretch arrived after all, late.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub filled: bool,
}

/// The service started.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ServiceStart {
    /// Version of the program.
    pub version: String,
    /// Last instant on record before this start.
    pub last_record: Option<Timestamp>,
    /// Whether the last run ended in order.
    pub after_clean_stop: bool,
    /// Whether a file of readings is replayed: there is no clock beside them, and what is recorded
    /// of the machines up to the next start bears the times of the readings.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub from_file: bool,
    /// Inputs that were applied again to bring the machines back to where they were.
    pub replayed: u64,
}

/// The service stopped in order.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ServiceStop {
    /// Why.
    pub cause: StopCause,
}

/// Why the service stopped.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StopCause {
    /// A terminate or interrupt signal.
    Signal,
    /// Every source came to its end.
    EndOfInput,
}

/// A clock stepped.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ClockStep {
    /// Whose clock.
    pub clock: Clock,
    /// What it showed before.
    pub from: Timestamp,
    /// What it showed after.
    pub to: Timestamp,
}

/// Whose clock.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Clock {
    /// The gateway's.
    Gateway,
    /// That of the sources of one machine.
    Source,
}

/// The configuration in force changed.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ConfigurationChange {
    /// SHA-256 of the resolved configuration in hexadecimal.
    pub sha256: String,
    /// The resolved configuration, secrets left out, as TOML.
    pub toml: String,
}

/// A mistake in this program ended the judging of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct MachineFailure {
    /// What the program says of its mistake.
    pub cause: String,
    /// Whether the machine is left alone until the service starts again. Otherwise its judging
    /// begins anew with the next reading; the cycle under way is not judged.
    pub stopped: bool,
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
