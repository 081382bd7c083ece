//! A sign-off as it could stand on record, for tests.

use crate::core::channel::Place;
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::record::{SignedOff, SignedPlate, SignedProbe};
use crate::core::signoff::OpenPoint;
use crate::core::time::Timestamp;

/// A hot-water machine with one probe, whose wiring is not proved.
pub(crate) fn signed() -> SignedOff {
    SignedOff {
        at: Timestamp::from_micros(0),
        site: "Harbour kitchen".to_owned(),
        plate: SignedPlate {
            kind: MachineKind::StationaryRackDualTemperature,
            sanitizing: Sanitizing::HotWater,
            rinse_limit_c: 82.2,
            rinse_limit_source: LimitSource::DataPlate,
            rinse_max_c: None,
            wash_limit_c: 65.6,
            wash_limit_source: LimitSource::FoodCode,
            wash_s: 45.0,
            pause_s: 3.0,
            rinse_s: 12.0,
            dwell_s: 6.0,
            chemistry: None,
        },
        probes: vec![SignedProbe {
            probe: "dm1/rinse".to_owned(),
            place: Place::FinalRinse,
            signal: "thermocouple K".to_owned(),
            calibration: Some(3),
            correction: None,
            calibrated_on: None,
            until: None,
            response: None,
            proof: None,
            tau_s: Some(1.2),
            expanded_c: 1.78,
            near_c: 82.2,
        }],
        wiring_proof: Some(5),
        test_cycle: None,
        open_points: vec![OpenPoint::WiringNotProved],
        note: None,
        by: "Tom".to_owned(),
    }
}
