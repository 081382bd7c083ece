//! Keys of `[[probe]]`.

use super::{Default, Form, Key, millis, secs, words};
use crate::core::channel::Place;
use crate::core::thermocouple::ThermocoupleType;

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

/// Keys of `[[probe]]`.
pub static PROBE: [Key; 11] = [
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
        meaning: "Type of the thermocouple (IEC 60584-1).",
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
        meaning: "Time constant of the probe in water, from a response test: the time to 63.2 % of a step.",
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
        meaning: "Correction from the probe's calibration: either `offset`, or the four keys of two points.",
    },
    Key {
        name: "accuracy",
        form: Form::Table(&ACCURACY),
        default: Default::Absent("usual figures for the signal"),
        example: "",
        meaning: "What the probe may be wrong by; it decides which passes are narrow. Limits of error (±) unless a line says otherwise.",
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
pub static ACCURACY: [Key; 7] = [
    Key {
        name: "sensor",
        form: ERROR,
        default: Default::Follows("the tolerance class of a common sensor of this signal"),
        example: "\"1.5 °C\"",
        meaning: "Tolerance of wire or element, from its class (IEC 60584-1, IEC 60751).",
    },
    Key {
        name: "cold-junction",
        form: ERROR,
        default: Default::Follows("0.5 °C for a thermocouple, else none"),
        example: "\"0.5 °C\"",
        meaning: "Error of the temperature of the terminals.",
    },
    Key {
        name: "converter",
        form: ERROR,
        default: Default::Value("0.2 °C"),
        example: "\"0.2 °C\"",
        meaning: "Error of the converter, from its data sheet.",
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
        meaning: "Error of where and how it sits: immersion, stem conduction. A strap-on probe is far worse.",
    },
    Key {
        name: "reference",
        form: ERROR,
        default: Default::Value("0 °C"),
        example: "\"0.1 °C\"",
        meaning: "Expanded uncertainty (k = 2) of the thermometer or fixed point it was calibrated with.",
    },
    Key {
        name: "repeatability",
        form: ERROR,
        default: Default::Value("0.1 °C"),
        example: "\"0.1 °C\"",
        meaning: "Standard deviation of repeated readings.",
    },
];
