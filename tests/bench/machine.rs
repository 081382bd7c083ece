//! The machine that the benches feed: a door machine of the Food Code's figures.

use std::time::Duration;

use rinseward::core::cycle::plate::{
    Limit, LimitSource, MachineKind, PlateTimes, Profile, RinseFrom, Sanitizing,
};
use rinseward::core::sanitizer::Rules;
use rinseward::core::units::Celsius;

pub(crate) fn profile() -> Profile {
    let limit = |celsius| Limit { at: Celsius(celsius), source: LimitSource::FoodCode };
    Profile {
        name: "dm1".into(),
        kind: MachineKind::StationaryRackDualTemperature,
        sanitizing: Sanitizing::HotWater,
        rinse_from: RinseFrom::FreshLine,
        times: PlateTimes {
            wash: Duration::from_secs(45),
            pause: Duration::from_secs(3),
            rinse: Duration::from_secs(10),
        },
        rinse_min: limit(82.222),
        rinse_max: Some(limit(90.0)),
        wash_min: limit(66.0),
        dwell_min: Duration::from_secs(5),
        disorder_window: Duration::from_secs(5),
        sanitizer: Rules::default(),
        check_valid_for: Duration::from_secs(8 * 3600),
    }
}
