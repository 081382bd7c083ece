//! What a technician does at the machine: calibrations, response tests, the proof of the wiring, the sign-off.

use serde::{Deserialize, Serialize};

use super::Basis;
use crate::core::channel::{Place, Solution};
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::Verdict;
use crate::core::reader::{Language, Scale};
use crate::core::signoff::OpenPoint;
use crate::core::time::Timestamp;
use crate::core::wiring::Evidence;

/// A probe was compared with what it should show. Temperatures in °C, uncertainties expanded with k = 2.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct CalibrationDone {
    /// Name of the channel.
    pub probe: String,
    /// When the last of its points was taken, by the gateway's clock.
    pub at: Timestamp,
    /// The points, in the order in which they were taken.
    pub points: Vec<CalibrationPoint>,
    /// The correction in force before.
    pub found: Correction,
    /// The correction in force from this record on.
    pub left: Correction,
    /// Expanded uncertainty of a value that is corrected so, at the limit of the probe's place.
    pub expanded_c: f64,
    /// Last day on which it holds, as `2027-03-01` of the site.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub until: Option<String>,
    /// What is to be known beside it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
    /// Who made it.
    pub by: String,
}

/// What is added to what a probe shows: `value · gain + offset_c`.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Correction {
    /// Factor; 1 where there is none.
    pub gain: f64,
    /// Added after the factor, °C; 0 where there is none.
    pub offset_c: f64,
}

/// One comparison.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct CalibrationPoint {
    /// What it was compared with.
    #[serde(flatten)]
    pub against: Against,
    /// What the probe should show.
    pub reference_c: f64,
    /// Expanded uncertainty of that.
    pub reference_expanded_c: f64,
    /// What the probe showed without any correction: the mean of the steady stretch.
    pub indicated_c: f64,
    /// Standard deviation of the readings of that stretch.
    pub spread_c: f64,
    /// Readings in it.
    pub readings: u32,
    /// How long it was, s.
    pub lasted_s: f64,
    /// Difference from the reference with the correction in force before.
    pub found_error_c: f64,
    /// Difference from the reference with the correction in force from here on.
    pub left_error_c: f64,
}

/// What a probe is compared with, as facts: words for it, in either language, come from
/// [`crate::core::technician::words`].
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "against", rename_all = "kebab-case")]
pub enum Against {
    /// Ice and water.
    Ice,
    /// Boiling water, by the pressure of the place.
    Boiling {
        /// Station pressure, hPa.
        station_hpa: f64,
        /// What it may be off by, ± hPa.
        barometer_hpa: f64,
    },
    /// Boiling water, by the altitude of the place, whatever the weather.
    BoilingAtAltitude {
        /// Altitude, m.
        altitude_m: f64,
    },
    /// Another thermometer in the same water.
    Thermometer {
        /// Its name, as somebody gave it.
        thermometer: String,
    },
}

/// How fast a probe answers was measured.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ResponseDone {
    /// Name of the channel.
    pub probe: String,
    /// When its answer was over, by the gateway's clock.
    pub at: Timestamp,
    /// Time constant in force from this record on: the time to 63.2 % of a step, s.
    pub tau_s: f64,
    /// Expanded uncertainty (k = 2) of it, s.
    pub expanded_s: f64,
    /// Root mean square of what the fit leaves, °C.
    pub residual_c: f64,
    /// Where the step began, °C.
    pub from_c: f64,
    /// Where it ended, °C.
    pub to_c: f64,
    /// Readings that were fitted.
    pub readings: u32,
    /// Whether it answers fast enough for the rinse of its machine; absent where no machine needs it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fast_enough: Option<bool>,
    /// Who made it.
    pub by: String,
}

/// Probes of a machine were warmed by hand, one at a time: all of them, or some.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct WiringProofDone {
    /// When it ended.
    pub at: Timestamp,
    /// What was found of each probe, in the order in which they were warmed.
    pub probes: Vec<ProvenProbe>,
    /// Whether each of these is wired as the configuration says.
    pub good: bool,
    /// Who made it.
    pub by: String,
}

/// What was found of one probe.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ProvenProbe {
    /// Name of the channel that was to be warmed.
    pub probe: String,
    /// Whether this channel, and no other, answered as it must.
    pub good: bool,
    /// What was found, as one word: `answers`, `swapped`, `reversed`, `dead`, `wrong-type`, `wrong-place`,
    /// `not-at-rest`, `too-warm`, `still-rising`.
    pub finding: String,
    /// What was seen.
    pub seen: Evidence,
    /// The channel that answered instead.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub instead: Option<String>,
}

impl ProvenProbe {
    /// What was seen, and why that is so, in a sentence without its stop.
    #[must_use]
    pub fn told(&self, language: Language, scale: Scale) -> String {
        self.seen.told(&self.probe, self.instead.as_deref(), language, scale)
    }
}

/// A machine was handed over: what it is fitted with and how that was shown to work.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SignedOff {
    /// When.
    pub at: Timestamp,
    /// Name of the site.
    pub site: String,
    /// What the machine was judged by.
    pub plate: SignedPlate,
    /// Each temperature probe of the machine, in order of the configuration.
    pub probes: Vec<SignedProbe>,
    /// The record of the newest wiring proof.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub wiring_proof: Option<u64>,
    /// The cycle that was run to try it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub test_cycle: Option<TestCycle>,
    /// What was missing or not good; empty where nothing was. Whoever signs has accepted it.
    pub open_points: Vec<OpenPoint>,
    /// What is to be known beside it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
    /// Who signs.
    pub by: String,
}

/// What a machine was judged by when it was signed off. Temperatures in °C, times in s.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SignedPlate {
    /// Kind of machine.
    pub kind: MachineKind,
    /// Sanitizing method.
    pub sanitizing: Sanitizing,
    /// Lowest final rinse.
    pub rinse_limit_c: f64,
    /// Origin of that limit.
    pub rinse_limit_source: LimitSource,
    /// Highest final rinse; absent where none is set.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rinse_max_c: Option<f64>,
    /// Lowest wash.
    pub wash_limit_c: f64,
    /// Origin of that limit.
    pub wash_limit_source: LimitSource,
    /// Time of the wash.
    pub wash_s: f64,
    /// From the end of the wash to the start of the final rinse.
    pub pause_s: f64,
    /// Time of the final rinse; on a conveyor that of one rack in it.
    pub rinse_s: f64,
    /// How long the limit must be held.
    pub dwell_s: f64,
    /// What its sanitizer was judged by; absent for hot water, and in earlier records.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub chemistry: Option<Box<SignedChemistry>>,
}

/// What the sanitizer of a machine was judged by when it was signed off.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SignedChemistry {
    /// Lowest strength, mg/L.
    pub least_mg_per_l: f64,
    /// Highest strength, mg/L.
    pub most_mg_per_l: f64,
    /// Highest pH; absent where none is set.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ph_max: Option<f64>,
    /// The lowest final rinse by strength, the weakest first.
    pub minima: Vec<SignedMinimum>,
    /// The channels that measure it, in order of the configuration; empty where somebody tests it.
    pub channels: Vec<SignedSolution>,
}

/// The lowest final rinse from a strength on.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SignedMinimum {
    /// From this strength on, mg/L.
    pub from_mg_per_l: f64,
    /// Up to this pH; absent where it holds for every pH that is permitted.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ph_max: Option<f64>,
    /// The lowest final rinse, °C.
    pub rinse_c: f64,
}

/// A channel of a sanitizing solution at a sign-off.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SignedSolution {
    /// Name of the channel.
    pub channel: String,
    /// What it measures.
    pub solution: Solution,
}

/// A probe at a sign-off.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SignedProbe {
    /// Name of the channel.
    pub probe: String,
    /// Where it sits.
    pub place: Place,
    /// What it delivers: `celsius`, `fahrenheit`, `kelvin`, `pt100`, or `thermocouple` with the letter of its type.
    pub signal: String,
    /// The record of its calibration in force; absent where none is on record.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub calibration: Option<u64>,
    /// The correction in force, on record or configured; absent where there is none.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub correction: Option<Correction>,
    /// Day of the configured calibration, as `2026-03-01`, where that one counts.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub calibrated_on: Option<String>,
    /// Last day on which its calibration holds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub until: Option<String>,
    /// The record of its response test in force; absent where none is on record.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub response: Option<u64>,
    /// The record by which its wiring is proved, or is not; absent where none is on record.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub proof: Option<u64>,
    /// Time constant, on record or configured, s.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub tau_s: Option<f64>,
    /// Expanded uncertainty (k = 2) of a reading at `near_c`, °C.
    pub expanded_c: f64,
    /// The limit by which its place is judged, °C.
    pub near_c: f64,
}

/// The cycle that was run for a sign-off.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct TestCycle {
    /// Its record.
    pub record: u64,
    /// Its verdict.
    pub verdict: Verdict,
    /// Settled final-rinse minimum, °C.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rinse_min_c: Option<f64>,
    /// Which value that is.
    pub basis: Basis,
}
