use super::MachineKind::{
    MultitankConveyor, SingleTankConveyor, StationaryRackDualTemperature, StationaryRackSingleTemperature,
};
use super::Sanitizing::{Chlorine, HotWater, Iodine, Quat};
use super::*;

// Kind, wash °C/°F (4-501.110), final rinse °C/°F (4-501.112); read in WAC
// 246-215-04545 and -04555 and the VSP Operations Manual 2018, 7.5.3.2 and 7.5.5.2.
#[test]
fn has_the_printed_limits_of_hot_water_machines() {
    for (kind, wash, rinse) in [
        (StationaryRackSingleTemperature, (74.0, 165.0), (74.0, 165.0)),
        (StationaryRackDualTemperature, (66.0, 150.0), (82.0, 180.0)),
        (SingleTankConveyor, (71.0, 160.0), (82.0, 180.0)),
        (MultitankConveyor, (66.0, 150.0), (82.0, 180.0)),
    ] {
        let (celsius, fahrenheit) = wash;
        assert_eq!(wash_minimum(kind, HotWater), Printed { celsius, fahrenheit }, "{kind:?}");
        let (celsius, fahrenheit) = rinse;
        assert_eq!(final_rinse_minimum(kind, HotWater), Printed { celsius, fahrenheit }, "{kind:?}");
        for chemical in [Chlorine, Iodine, Quat] {
            let expected = Printed { celsius: 49.0, fahrenheit: 120.0 };
            assert_eq!(wash_minimum(kind, chemical), expected, "{kind:?}");
        }
    }
    assert_eq!(final_rinse_maximum(HotWater), Some(Printed { celsius: 90.0, fahrenheit: 194.0 }));
}

// 4-501.114, read in WAC 246-215-04565 and the Wisconsin Food Code appendix.
#[test]
fn has_the_lowest_rinse_of_chemical_machines() {
    for (sanitizing, celsius, fahrenheit) in
        [(Chlorine, 13.0, 55.0), (Iodine, 20.0, 68.0), (Quat, 24.0, 75.0)]
    {
        let expected = Printed { celsius, fahrenheit };
        assert_eq!(final_rinse_minimum(StationaryRackSingleTemperature, sanitizing), expected);
        assert_eq!(final_rinse_maximum(sanitizing), None);
    }
}

// °C, °F, the stricter minimum in °C: by the definition of the two scales.
#[test]
fn takes_the_stricter_of_a_pair() {
    for (celsius, fahrenheit, minimum) in [
        (90.0, 194.0, 90.0),
        (82.0, 180.0, 82.222_222),
        (77.0, 171.0, 77.222_222),
        (74.0, 165.0, 74.0),
        (71.0, 160.0, 71.111_111),
        (66.0, 150.0, 66.0),
        (49.0, 120.0, 49.0),
        (38.0, 100.0, 38.0),
        (24.0, 75.0, 24.0),
        (20.0, 68.0, 20.0),
        (13.0, 55.0, 13.0),
    ] {
        let printed = Printed { celsius, fahrenheit };
        assert!((printed.minimum(Rounding::default()).0 - minimum).abs() < 1e-6, "{printed:?}");
        assert!(printed.maximum(Rounding::Stricter) <= printed.minimum(Rounding::Stricter), "{printed:?}");
        assert_eq!(printed.minimum(Rounding::Celsius), Celsius(celsius));
        assert_eq!(printed.maximum(Rounding::Fahrenheit), Celsius::from_fahrenheit(fahrenheit));
    }
    let printed = Printed { celsius: 82.0, fahrenheit: 180.0 };
    assert_eq!(printed.maximum(Rounding::Stricter), Celsius(82.0));
}
