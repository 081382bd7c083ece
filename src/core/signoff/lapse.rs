//! Whether a machine is still as it was signed off, and what is not.
//!
//! A sign-off says of one day what a machine is judged by, how its probes were in force, and what was open. What
//! counts later is that this has not changed and that nothing is missing which nobody accepted. What changes from rack
//! to rack, open alerts and a calibration that is due soon take nothing from it.

use std::mem::discriminant;

use super::OpenPoint;
use crate::core::record::{SignedOff, SignedPlate, SignedProbe};

/// Something that is not as it was signed. Probes are named `<machine>/<probe>`.
#[derive(Clone, PartialEq, Debug)]
pub enum Lapse {
    /// A limit or a time by which the machine is judged.
    Plate,
    /// The calibration of a probe.
    Calibration(String),
    /// The response test of a probe.
    Response(String),
    /// Where a probe sits, or what it sends.
    Fitted(String),
    /// A probe that was not there.
    Added(String),
    /// A probe that is gone.
    Gone(String),
    /// Something that is missing or not good, and was not accepted.
    Point(OpenPoint),
}

/// What is not as it was signed; `now` is what would be signed, without a test cycle and alerts.
#[must_use]
pub fn lapses(signed: &SignedOff, now: &SignedOff) -> Vec<Lapse> {
    let mut lapses = Vec::new();
    // Earlier records say nothing of the sanitizer: what they do not hold is no change.
    let chemistry = signed.plate.chemistry.as_ref().or(now.plate.chemistry.as_ref());
    if (SignedPlate { chemistry: chemistry.cloned(), ..signed.plate.clone() }) != now.plate {
        lapses.push(Lapse::Plate);
    }
    for probe in &now.probes {
        match signed.probes.iter().find(|known| known.probe == probe.probe) {
            Some(known) => of_probe(known, probe, &mut lapses),
            None => lapses.push(Lapse::Added(probe.probe.clone())),
        }
    }
    let gone = |known: &&SignedProbe| now.probes.iter().all(|probe| probe.probe != known.probe);
    lapses.extend(signed.probes.iter().filter(gone).map(|known| Lapse::Gone(known.probe.clone())));
    let is_accepted = |point: &OpenPoint| {
        let same = |known: &OpenPoint| discriminant(known) == discriminant(point) && of(known) == of(point);
        signed.open_points.iter().any(same)
    };
    let missing = now.open_points.iter().filter(|point| lasts(point) && !is_accepted(point));
    lapses.extend(missing.cloned().map(Lapse::Point));
    lapses
}

fn of_probe(known: &SignedProbe, probe: &SignedProbe, lapses: &mut Vec<Lapse>) {
    let name = || probe.probe.clone();
    if (known.place, &known.signal) != (probe.place, &probe.signal) {
        lapses.push(Lapse::Fitted(name()));
    }
    let calibration =
        |probe: &SignedProbe| (probe.calibration, probe.correction, probe.calibrated_on.clone());
    if calibration(known) != calibration(probe) {
        lapses.push(Lapse::Calibration(name()));
    }
    if (known.response, known.tau_s) != (probe.response, probe.tau_s) {
        lapses.push(Lapse::Response(name()));
    }
}

/// Whether an open point is about the machine as it is fitted, not about one rack or one alert, and not only foreseen.
const fn lasts(point: &OpenPoint) -> bool {
    match point {
        OpenPoint::RinseLimitOfFoodCode { .. }
        | OpenPoint::WashLimitOfFoodCode { .. }
        | OpenPoint::NotCalibrated { .. }
        | OpenPoint::CalibrationDoubted { .. }
        | OpenPoint::ResponseDoubted { .. }
        | OpenPoint::CalibrationOverdue { .. }
        | OpenPoint::Uncertain { .. }
        | OpenPoint::NoResponse { .. }
        | OpenPoint::TooSlow { .. }
        | OpenPoint::WiringNotProved
        | OpenPoint::WiringNotGood { .. }
        | OpenPoint::WiringLeftOut { .. }
        | OpenPoint::WiringOutdated { .. } => true,
        OpenPoint::CalibrationDue { .. }
        | OpenPoint::NoTestCycle
        | OpenPoint::TestCycleOutdated { .. }
        | OpenPoint::TestCycleNotGood { .. }
        | OpenPoint::TestCycleFinding { .. }
        | OpenPoint::OpenAlert { .. } => false,
    }
}

/// The probe that an open point is about.
fn of(point: &OpenPoint) -> Option<&str> {
    match point {
        OpenPoint::NotCalibrated { probe }
        | OpenPoint::CalibrationDoubted { probe, .. }
        | OpenPoint::ResponseDoubted { probe, .. }
        | OpenPoint::CalibrationOverdue { probe, .. }
        | OpenPoint::CalibrationDue { probe, .. }
        | OpenPoint::Uncertain { probe, .. }
        | OpenPoint::NoResponse { probe }
        | OpenPoint::TooSlow { probe, .. }
        | OpenPoint::WiringLeftOut { probe } => Some(probe),
        OpenPoint::WiringNotGood { probe, .. } => probe.as_deref(),
        OpenPoint::RinseLimitOfFoodCode { .. }
        | OpenPoint::WashLimitOfFoodCode { .. }
        | OpenPoint::WiringNotProved
        | OpenPoint::WiringOutdated { .. }
        | OpenPoint::NoTestCycle
        | OpenPoint::TestCycleOutdated { .. }
        | OpenPoint::TestCycleNotGood { .. }
        | OpenPoint::TestCycleFinding { .. }
        | OpenPoint::OpenAlert { .. } => None,
    }
}
