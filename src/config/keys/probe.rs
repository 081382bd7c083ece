//! Keys of `[[probe]]`.

use super::{Default, Form, Key, days, millis, secs, words};
use crate::core::channel::Place;
use crate::core::thermocouple::ThermocoupleType;
use crate::core::uncertainty::tolerance::{Pt100Class, ThermocoupleClass};

/// What a channel is for, as named in a file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum RoleWord {
    /// A temperature.
    Temperature,
    /// The temperature of thermocouple terminals.
    ColdJunction,
    /// The run signal.
    Running,
    /// Concentration.
    Concentration,
    /// pH.
    Ph,
}

/// What a number is, as named in a file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SignalWord {
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Kelvin.
    Kelvin,
    /// Volts.
    Thermocouple,
    /// Ohms.
    Pt100,
}

/// Words for roles.
pub const ROLES: [(&str, RoleWord); 5] = [
    ("temperature", RoleWord::Temperature),
    ("cold-junction", RoleWord::ColdJunction),
    ("running", RoleWord::Running),
    ("concentration", RoleWord::Concentration),
    ("ph", RoleWord::Ph),
];
static ROLE_WORDS: [&str; 5] = words(&ROLES);

/// Words for places.
pub const PLACES: [(&str, Place); 4] = [
    ("wash-tank", Place::WashTank),
    ("final-rinse", Place::FinalRinse),
    ("ware", Place::Ware),
    ("other", Place::Other),
];
static PLACE_WORDS: [&str; 4] = words(&PLACES);

/// Words for signals.
pub const SIGNALS: [(&str, SignalWord); 5] = [
    ("celsius", SignalWord::Celsius),
    ("fahrenheit", SignalWord::Fahrenheit),
    ("kelvin", SignalWord::Kelvin),
    ("thermocouple", SignalWord::Thermocouple),
    ("pt100", SignalWord::Pt100),
];
static SIGNAL_WORDS: [&str; 5] = words(&SIGNALS);

/// Letters of thermocouples.
pub const THERMOCOUPLES: [(&str, ThermocoupleType); 7] = [
    ("K", ThermocoupleType::K),
    ("T", ThermocoupleType::T),
    ("J", ThermocoupleType::J),
    ("E", ThermocoupleType::E),
    ("N", ThermocoupleType::N),
    ("R", ThermocoupleType::R),
    ("S", ThermocoupleType::S),
];
static THERMOCOUPLE_WORDS: [&str; 7] = words(&THERMOCOUPLES);

/// Tolerance class, as named in a file.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum ClassWord {
    /// Of thermocouple wire.
    Thermocouple(ThermocoupleClass),
    /// Of a Pt100.
    Pt100(Pt100Class),
}

/// Words for tolerance classes.
pub const CLASSES: [(&str, ClassWord); 7] = [
    ("iec-1", ClassWord::Thermocouple(ThermocoupleClass::Iec1)),
    ("iec-2", ClassWord::Thermocouple(ThermocoupleClass::Iec2)),
    ("astm-special", ClassWord::Thermocouple(ThermocoupleClass::AstmSpecial)),
    ("astm-standard", ClassWord::Thermocouple(ThermocoupleClass::AstmStandard)),
    ("pt100-aa", ClassWord::Pt100(Pt100Class::Aa)),
    ("pt100-a", ClassWord::Pt100(Pt100Class::A)),
    ("pt100-b", ClassWord::Pt100(Pt100Class::B)),
];
static CLASS_WORDS: [&str; 7] = words(&CLASSES);

/// Keys of `[[probe]]`.
pub static PROBE: [Key; 13] = [
    Key {
        name: "name",
        form: Form::Text,
        default: Default::Required,
        example: "\"dm1/rinse\"",
        meaning: "Name on the wire, <machine>/<probe>. Conventional names need no more: wash (in the wash tank), rinse (in the final rinse), ware (at a ware), running (run signal), sanitizer (concentration, mg/L), ph, cold-junction.",
    },
    Key {
        name: "role",
        form: Form::Choice(&ROLE_WORDS),
        default: Default::Follows("the conventional name, else temperature"),
        example: "\"temperature\"",
        meaning: "What the channel is for.",
    },
    Key {
        name: "place",
        form: Form::Choice(&PLACE_WORDS),
        default: Default::Follows("the conventional name; any other name must say its place"),
        example: "\"final-rinse\"",
        meaning: "Where a temperature probe sits. In a machine that dumps and refills the probe in the sump is its final-rinse probe. SCALD: cool and drain a line before a fitting is loosened. In `other` it is recorded, never judged.",
    },
    Key {
        name: "signal",
        form: Form::Choice(&SIGNAL_WORDS),
        default: Default::Value("celsius"),
        example: "\"celsius\"",
        meaning: "What its number is: degrees, the voltage of a thermocouple in volts, or the resistance of a Pt100 in ohms.",
    },
    Key {
        name: "thermocouple",
        form: Form::Choice(&THERMOCOUPLE_WORDS),
        default: Default::Follows("needed where signal = \"thermocouple\""),
        example: "\"K\"",
        meaning: "Type of the thermocouple (IEC 60584-1). Beside a signal in degrees it only says what accuracy.class is about.",
    },
    Key {
        name: "cold-junction",
        form: Form::Text,
        default: Default::Follows("needed where signal = \"thermocouple\""),
        example: "\"dm1/cold-junction\"",
        meaning: "The channel that gives the temperature of the thermocouple's terminals.",
    },
    Key {
        name: "tau",
        form: Form::Duration { min: millis(10), max: secs(120) },
        default: Default::Absent("never measured"),
        example: "\"1.5s\"",
        meaning: "Time constant of the probe in water, from a response test: the time to 63.2 % of a step. One that `respond` has put on record counts before it, until that is withdrawn.",
    },
    Key {
        name: "silent-after",
        form: Form::Duration { min: secs(1), max: secs(86_400) },
        default: Default::Value("30s"),
        example: "\"30s\"",
        meaning: "Longest silence before the probe counts as silent.",
    },
    Key {
        name: "stuck-after",
        form: Form::DurationOrOff { min: secs(30), max: secs(604_800) },
        default: Default::Value("2h"),
        example: "\"2h\"",
        meaning: "Longest time of unchanged digits before the probe counts as stuck; \"off\" for a converter so coarse that a resting line never moves it. Own choice: longer than a quiet hour, shorter than a meal.",
    },
    Key {
        name: "calibration",
        form: Form::Table(&CALIBRATION),
        default: Default::Absent("no correction"),
        example: "",
        meaning: "Correction from the probe's calibration: either `offset`, or the four keys of two points. One that `calibrate` has put on record counts before it, unless calibrated-on names a later day.",
    },
    Key {
        name: "calibrated-on",
        form: Form::Date,
        default: Default::Absent("not on file"),
        example: "\"2026-03-01\"",
        meaning: "Day of the last calibration; with it the next one is asked for in time. From its midnight at the site it counts before calibrations on record that are older; without a day every one on record counts before the configuration.",
    },
    Key {
        name: "calibration-due",
        form: Form::Duration { min: days(1), max: days(3_650) },
        default: Default::Value("365d"),
        example: "\"365d\"",
        meaning: "How long a calibration holds; it counts only beside calibrated-on. Common practice, no source: once a year, more often for a thermocouple in a hot rinse.",
    },
    Key {
        name: "accuracy",
        form: Form::Table(&ACCURACY),
        default: Default::Absent("the defaults of its keys"),
        example: "",
        meaning: "What the probe may be wrong by; it decides which passes are narrow. Limits of error are half widths (±).",
    },
];

const READS: Form = Form::Temperature { min_c: -20.0, max_c: 130.0 };
const POINT: Default = Default::Absent("given together with the other three");

/// Keys of `[probe.calibration]`.
pub static CALIBRATION: [Key; 5] = [
    Key {
        name: "offset",
        form: Form::Difference { min_k: -5.0, max_k: 5.0 },
        default: Default::Absent("two points, or none"),
        example: "\"-0.4 °C\"",
        meaning: "What is added to every value.",
    },
    Key {
        name: "low-reads",
        form: READS,
        default: POINT,
        example: "\"0.4 °C\"",
        meaning: "What the probe shows at the low point, commonly in ice and water.",
    },
    Key {
        name: "low-is",
        form: READS,
        default: POINT,
        example: "\"0 °C\"",
        meaning: "What the low point truly is.",
    },
    Key {
        name: "high-reads",
        form: READS,
        default: POINT,
        example: "\"99.1 °C\"",
        meaning: "What the probe shows at the high point, commonly in boiling water. SCALD: keep hands and face out of the steam.",
    },
    Key {
        name: "high-is",
        form: READS,
        default: POINT,
        example: "\"99.97 °C\"",
        meaning: "What the high point truly is: boiling depends on the air pressure of the day and the place.",
    },
];

const ERROR: Form = Form::Difference { min_k: 0.0, max_k: 20.0 };

/// Keys of `[probe.accuracy]`.
pub static ACCURACY: [Key; 9] = [
    Key {
        name: "class",
        form: Form::Choice(&CLASS_WORDS),
        default: Default::Absent("sensor says it"),
        example: "\"iec-1\"",
        meaning: "Tolerance class of uncalibrated wire (IEC 60584-1, ASTM E230; needs the key thermocouple) or element (IEC 60751).",
    },
    Key {
        name: "sensor",
        form: ERROR,
        default: Default::Absent("1.5 °C, which Food Code 4-203.12 grants the whole chain"),
        example: "\"1.5 °C\"",
        meaning: "In place of class: limit of error of the sensor from its data sheet.",
    },
    Key {
        name: "calibrated",
        form: ERROR,
        default: Default::Absent("not calibrated"),
        example: "\"0.3 °C\"",
        meaning: "In place of class: expanded uncertainty (k = 2) of the calibration whose correction is given above.",
    },
    Key {
        name: "cold-junction",
        form: ERROR,
        default: Default::Value("0 °C"),
        example: "\"0.5 °C\"",
        meaning: "Limit of error of the temperature of the terminals.",
    },
    Key {
        name: "converter",
        form: ERROR,
        default: Default::Value("0 °C"),
        example: "\"0.2 °C\"",
        meaning: "Limit of error of the converter, from its data sheet.",
    },
    Key {
        name: "resolution",
        form: ERROR,
        default: Default::Value("0.1 °C"),
        example: "\"0.1 °C\"",
        meaning: "One step of the last digit.",
    },
    Key {
        name: "installation",
        form: ERROR,
        default: Default::Value("0.3 °C"),
        example: "\"0.3 °C\"",
        meaning: "Limit of error of where and how it sits: immersion, stem conduction. A strap-on probe is far worse.",
    },
    Key {
        name: "repeatability",
        form: ERROR,
        default: Default::Value("0.1 °C"),
        example: "\"0.1 °C\"",
        meaning: "Standard deviation of repeated readings in steady water.",
    },
    Key {
        name: "drift",
        form: ERROR,
        default: Default::Value("0 °C"),
        example: "\"0.2 °C\"",
        meaning: "Limit of the drift since the last calibration.",
    },
];
