//! Machines, probes and traces that the tests of recognition stand on.
//!
//! The line is the simplest that shows every hard case: at rest it cools to the
//! kitchen's air by Newton's law, a flow brings it to the water's temperature
//! by a first-order purge after a dead time, and the probe follows by its own first-order lag.

use std::time::Duration;

use super::plate::{Limit, LimitSource, MachineKind, PlateTimes, Profile, RinseFrom, Sanitizing};
use crate::core::calibration::Calibration;
use crate::core::channel::{Place, Probe, Signal};
use crate::core::effect::TraceReading;
use crate::core::sanitizer::Rules;
use crate::core::thermocouple::ThermocoupleType;
use crate::core::time::Timestamp;
use crate::core::uncertainty::tolerance::ThermocoupleClass;
use crate::core::uncertainty::{Budget, Sensor};
use crate::core::units::Celsius;

/// Air of the kitchen, °C.
const AIR_C: f64 = 30.0;
/// Time constant of a line at rest, s.
const REST_TAU_S: f64 = 500.0;
/// Time from the opening of the valve until its water reaches the probe, s.
const DEAD_S: f64 = 0.3;
/// Time constant of a purge, s.
const PURGE_TAU_S: f64 = 0.5;
/// Step of the integration, s.
const STEP_S: f64 = 0.05;

/// An instant some seconds after the epoch.
pub(crate) fn at(seconds: f64) -> Timestamp {
    Timestamp::from_seconds(seconds).expect("a small number of seconds")
}

/// A door machine, dual temperature: 45 s wash, 5 s pause, 10 s final rinse, 82 °C held for 5 s.
pub(crate) fn door() -> Profile {
    let limit = |celsius| Limit { at: Celsius(celsius), source: LimitSource::FoodCode };
    Profile {
        name: "dm1".into(),
        kind: MachineKind::StationaryRackDualTemperature,
        sanitizing: Sanitizing::HotWater,
        rinse_from: RinseFrom::FreshLine,
        times: PlateTimes {
            wash: Duration::from_secs(45),
            pause: Duration::from_secs(5),
            rinse: Duration::from_secs(10),
        },
        rinse_min: limit(82.0),
        rinse_max: Some(limit(90.0)),
        wash_min: limit(66.0),
        dwell_min: Duration::from_secs(5),
        disorder_window: Duration::from_secs(5),
        sanitizer: Rules::default(),
        check_valid_for: Duration::from_secs(8 * 3600),
    }
}

/// A single-tank conveyor.
pub(crate) fn conveyor() -> Profile {
    Profile { kind: MachineKind::SingleTankConveyor, ..door() }
}

/// A machine that sanitizes by a chemical, with a final rinse of 40 s.
pub(crate) fn chemical(sanitizing: Sanitizing) -> Profile {
    let limit = |celsius| Limit { at: Celsius(celsius), source: LimitSource::FoodCode };
    let times = PlateTimes { rinse: Duration::from_secs(40), ..door().times };
    let (rinse_min, wash_min) = (limit(13.0), limit(49.0));
    Profile { sanitizing, times, rinse_min, rinse_max: None, wash_min, ..door() }
}

/// A probe with the uncertainty of the worked example of `core::uncertainty`: U = 0.8246 °C.
pub(crate) fn probe(place: Place, tau_s: Option<f64>) -> Probe {
    Probe {
        place,
        signal: Signal::Celsius,
        calibration: Calibration::None,
        budget: Budget {
            sensor: Sensor::Thermocouple { kind: ThermocoupleType::T, class: ThermocoupleClass::Iec1 },
            cold_junction_c: 0.3,
            converter_c: 0.2,
            resolution_c: 0.1,
            installation_c: 0.3,
            repeatability_c: 0.1,
            drift_c: 0.05 * 3_f64.sqrt(),
        },
        tau: tau_s.map(Duration::from_secs_f64),
        silent_after: Duration::from_secs(10),
        stuck_after: Some(Duration::from_secs(600)),
    }
}

/// Readings at 4 Hz of what `celsius` says from `from` up to `to`, s.
pub(crate) fn sampled(from: f64, to: f64, celsius: impl Fn(f64) -> f64) -> Vec<TraceReading> {
    (0..)
        .map(|i| from + f64::from(i) * 0.25)
        .take_while(|t| *t <= to)
        .map(|t| TraceReading { at: at(t), celsius: Celsius(celsius(t)) })
        .collect()
}

/// Water that flows through the line.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Flow {
    /// When the valve opens, s.
    pub(crate) from: f64,
    /// When it closes, s.
    pub(crate) to: f64,
    /// Temperature of the water, °C.
    pub(crate) celsius: f64,
}

/// What a probe of time constant `tau_s` in a line that starts at `start_c` shows over `seconds`,
/// at 4 Hz, in digits of 0.1 °C.
pub(crate) fn line(seconds: f64, start_c: f64, tau_s: f64, flows: &[Flow]) -> Vec<TraceReading> {
    let (mut water, mut shown) = (start_c, start_c);
    let mut readings = Vec::new();
    for step in 0..u32::MAX {
        let t = f64::from(step) * STEP_S;
        if t > seconds {
            break;
        }
        if step % 5 == 0 {
            let dither = 0.04 * (f64::from(step) * 1.7).sin();
            let celsius = Celsius(((shown + dither) * 10.0).round() / 10.0);
            readings.push(TraceReading { at: at(t), celsius });
        }
        let (target, tau) = flows
            .iter()
            .find(|flow| t >= flow.from + DEAD_S && t < flow.to)
            .map_or((AIR_C, REST_TAU_S), |flow| (flow.celsius, PURGE_TAU_S));
        water += (target - water) * STEP_S / tau;
        shown += (water - shown) * STEP_S / tau_s;
    }
    readings
}
