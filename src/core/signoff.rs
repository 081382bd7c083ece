//! What stands in the way of signing a machine off: what is missing or not good of what is on record.
//!
//! A commissioning ends with a sign-off. Whoever signs sees every open point first; one that is
//! accepted stays on record as such, and none is ever left out.

pub mod chemistry;
pub mod lapse;
#[cfg(test)]
mod tests;

use std::time::Duration;

use jiff::ToSpan;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::alert::{AlertNumber, Condition};
use super::channel::Place;
use super::cycle::plate::LimitSource;
use super::cycle::verdict::{Finding, Verdict};
use super::food_code::Rounding;
use super::logbook::Device;
use super::record::{Cycle, SignedPlate, SignedProbe};
use super::response::fast_enough;
use super::time::Timestamp;
use super::wiring::Finding as Answer;
use super::wiring::proofs::Proofs;

/// A calibration that ends within so many days is an open point (own choice: a machine that is
/// handed over should not need its technician again in the same month).
pub const DUE_SOON_DAYS: i64 = 30;

/// Something that is missing or not good. Temperatures in °C, times in s.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "point", rename_all = "kebab-case")]
pub enum OpenPoint {
    /// The limit of the final rinse is that of the Food Code: none was taken from the data plate.
    RinseLimitOfFoodCode {
        /// The limit.
        limit_c: f64,
    },
    /// The limit of the wash is that of the Food Code: none was taken from the data plate.
    WashLimitOfFoodCode {
        /// The limit.
        limit_c: f64,
    },
    /// A probe that is judged was never calibrated.
    NotCalibrated {
        /// Name of the channel.
        probe: String,
    },
    /// The calibration of a probe corrects and counts for nothing: a record that may have taken its place is damaged.
    CalibrationDoubted {
        /// Name of the channel.
        probe: String,
        /// Its record.
        record: u64,
    },
    /// The response test of a probe counts for nothing: a record that may have taken its place is damaged.
    ResponseDoubted {
        /// Name of the channel.
        probe: String,
        /// Its record.
        record: u64,
    },
    /// The calibration of a probe has run out.
    CalibrationOverdue {
        /// Name of the channel.
        probe: String,
        /// The last day on which it held.
        until: String,
    },
    /// The calibration of a probe runs out within [`DUE_SOON_DAYS`].
    CalibrationDue {
        /// Name of the channel.
        probe: String,
        /// The last day on which it holds.
        until: String,
    },
    /// A probe may be wrong by more than the Food Code grants.
    Uncertain {
        /// Name of the channel.
        probe: String,
        /// Expanded uncertainty (k = 2) at the limit.
        expanded_c: f64,
        /// What Food Code 4-203.12 grants a device in water.
        granted_c: f64,
    },
    /// No time constant is on file: nobody can say whether the probe can judge this rinse.
    NoResponse {
        /// Name of the channel.
        probe: String,
    },
    /// The probe answers too slowly for the rinse.
    TooSlow {
        /// Name of the channel.
        probe: String,
        /// Its time constant.
        tau_s: f64,
        /// Time of the final rinse.
        rinse_s: f64,
    },
    /// The wiring was never proved.
    WiringNotProved,
    /// The newest proof of a probe's wiring was not good.
    WiringNotGood {
        /// Name of the channel; absent where the proof as a whole was not good.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        probe: Option<String>,
        /// What was found, in the word of the proof.
        finding: String,
    },
    /// Other probes of the machine are proved, and this one never was.
    WiringLeftOut {
        /// Name of the channel.
        probe: String,
    },
    /// The configuration of the probes or of how they arrive changed after the proof of the wiring.
    WiringOutdated {
        /// When it changed on record; absent where the service has not run with it yet.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        since: Option<Timestamp>,
    },
    /// No cycle is on record since the wiring was proved and the probes were calibrated.
    NoTestCycle,
    /// The test cycle was run before the wiring was proved or a probe was calibrated.
    TestCycleOutdated {
        /// Its record.
        record: u64,
    },
    /// The test cycle did not pass.
    TestCycleNotGood {
        /// Its record.
        record: u64,
        /// Its verdict.
        verdict: Verdict,
        /// Whether it was run while the machine was marked as worked on, so that it proves nothing.
        #[serde(skip_serializing_if = "std::ops::Not::not", default)]
        worked_on: bool,
    },
    /// Something was found beside the verdict of the test cycle.
    TestCycleFinding {
        /// Its record.
        record: u64,
        /// What.
        found: Finding,
    },
    /// An alert of the machine is open.
    OpenAlert {
        /// Its number.
        alert: AlertNumber,
        /// What it is about.
        condition: Condition,
    },
}

/// Everything that is looked at.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// The day at the site.
    pub today: Date,
    /// What the machine is judged by.
    pub plate: &'a SignedPlate,
    /// Its probes, with what is in force of each.
    pub probes: &'a [SignedProbe],
    /// Calibrations and response tests that count for nothing, as open points.
    pub doubted: &'a [OpenPoint],
    /// The newest proof of the wiring of each probe.
    pub proofs: &'a Proofs,
    /// Whether the configuration of the wiring changed after the oldest of those proofs, and when where that is
    /// on record.
    pub rewired: Option<Option<Timestamp>>,
    /// When the newest of proof, calibrations and response tests in force came on record.
    pub proved_at: Option<Timestamp>,
    /// The cycle that was run to try the machine, with its record.
    pub cycle: Option<(u64, &'a Cycle)>,
    /// Its open alerts.
    pub alerts: &'a [(AlertNumber, Condition)],
}

/// Every open point: limits, probes, wiring, test cycle, alerts.
#[must_use]
pub fn open_points(seen: &Seen<'_>) -> Vec<OpenPoint> {
    let mut points = Vec::new();
    let plate = seen.plate;
    if plate.rinse_limit_source == LimitSource::FoodCode {
        points.push(OpenPoint::RinseLimitOfFoodCode { limit_c: plate.rinse_limit_c });
    }
    if plate.wash_limit_source == LimitSource::FoodCode {
        points.push(OpenPoint::WashLimitOfFoodCode { limit_c: plate.wash_limit_c });
    }
    points.extend(seen.doubted.iter().cloned());
    for probe in seen.probes.iter().filter(|probe| is_judged(probe.place)) {
        of_probe(probe, seen, &mut points);
    }
    of_wiring(seen, &mut points);
    of_cycle(seen, &mut points);
    let open = seen.alerts.iter().map(|&(alert, condition)| OpenPoint::OpenAlert { alert, condition });
    points.extend(open);
    points
}

/// Whether anything is judged by a probe at this place.
const fn is_judged(place: Place) -> bool {
    match place {
        Place::WashTank | Place::FinalRinse => true,
        Place::Ware | Place::Other => false,
    }
}

fn of_probe(signed: &SignedProbe, seen: &Seen<'_>, points: &mut Vec<OpenPoint>) {
    let probe = || signed.probe.clone();
    let calibrated = signed.correction.is_some() || signed.calibrated_on.is_some();
    let doubted =
        |wanted: fn(&OpenPoint, &str) -> bool| seen.doubted.iter().any(|point| wanted(point, &signed.probe));
    let is_calibration = |point: &OpenPoint, name: &str| matches!(point, OpenPoint::CalibrationDoubted { probe, .. } if probe == name);
    let is_response = |point: &OpenPoint, name: &str| matches!(point, OpenPoint::ResponseDoubted { probe, .. } if probe == name);
    if !calibrated && signed.calibration.is_none() && !doubted(is_calibration) {
        points.push(OpenPoint::NotCalibrated { probe: probe() });
    }
    if let Some(until) = &signed.until {
        // A day that cannot be read proves nothing.
        let left = until
            .parse::<Date>()
            .ok()
            .map(|last| (last >= seen.today, seen.today.saturating_add(DUE_SOON_DAYS.days()) <= last));
        match left {
            Some((true, true)) => {}
            Some((true, false)) => {
                points.push(OpenPoint::CalibrationDue { probe: probe(), until: until.clone() });
            }
            Some((false, _)) | None => {
                points.push(OpenPoint::CalibrationOverdue { probe: probe(), until: until.clone() });
            }
        }
    }
    let granted_c = Device::Water.tolerance_c(Rounding::Stricter);
    if signed.expanded_c.is_nan() || signed.expanded_c > granted_c {
        let expanded_c = signed.expanded_c;
        points.push(OpenPoint::Uncertain { probe: probe(), expanded_c, granted_c });
    }
    if signed.place == Place::FinalRinse {
        let rinse_s = seen.plate.rinse_s;
        match signed.tau_s {
            None if doubted(is_response) => {}
            None => points.push(OpenPoint::NoResponse { probe: probe() }),
            Some(tau_s) if !is_fast_enough(signed.place, tau_s, rinse_s) => {
                points.push(OpenPoint::TooSlow { probe: probe(), tau_s, rinse_s });
            }
            Some(_) => {}
        }
    }
}

/// A time that is none proves nothing.
fn is_fast_enough(place: Place, tau_s: f64, rinse_s: f64) -> bool {
    let (tau, rinse) = (Duration::try_from_secs_f64(tau_s), Duration::try_from_secs_f64(rinse_s));
    tau.ok().zip(rinse.ok()).and_then(|(tau, rinse)| fast_enough(place, tau, rinse)) == Some(true)
}

fn of_wiring(seen: &Seen<'_>, points: &mut Vec<OpenPoint>) {
    let on_file = |probe: &SignedProbe| seen.proofs.of(&probe.probe);
    if !seen.probes.iter().any(|probe| on_file(probe).is_some()) {
        points.push(OpenPoint::WiringNotProved);
        return;
    }
    let mut as_a_whole = false;
    for probe in seen.probes {
        match on_file(probe).map(|proven| &proven.found) {
            None => points.push(OpenPoint::WiringLeftOut { probe: probe.probe.clone() }),
            Some(found) if found.good => {}
            // It answered, and yet the proof is told to be bad.
            Some(found) if found.finding == Answer::Answers.as_str() => as_a_whole = true,
            Some(found) => points.push(OpenPoint::WiringNotGood {
                probe: Some(probe.probe.clone()),
                finding: found.finding.clone(),
            }),
        }
    }
    if as_a_whole {
        points.push(OpenPoint::WiringNotGood { probe: None, finding: String::new() });
    }
    if let Some(since) = seen.rewired {
        points.push(OpenPoint::WiringOutdated { since });
    }
}

fn of_cycle(seen: &Seen<'_>, points: &mut Vec<OpenPoint>) {
    let Some((record, cycle)) = seen.cycle else {
        points.push(OpenPoint::NoTestCycle);
        return;
    };
    if seen.proved_at.is_some_and(|proved_at| cycle.started < proved_at) {
        points.push(OpenPoint::TestCycleOutdated { record });
    }
    let verdict = cycle.verdict;
    match verdict {
        Verdict::Cold | Verdict::Brief | Verdict::Weak | Verdict::Unproven => {
            let worked_on = cycle.is_worked_on();
            points.push(OpenPoint::TestCycleNotGood { record, verdict, worked_on });
        }
        Verdict::Narrow | Verdict::Pass => {}
    }
    let found = cycle.findings.iter().cloned();
    points.extend(found.map(|found| OpenPoint::TestCycleFinding { record, found }));
}
