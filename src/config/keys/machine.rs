//! Keys of `[[machine]]`.

use super::{Default, Form, Key, days, millis, secs, words};
use crate::core::cycle::plate::{LimitSource, MachineKind, RinseFrom, Sanitizing};
use crate::core::food_code::Rounding;

/// Words for the kind of a machine.
pub const KINDS: [(&str, MachineKind); 4] = [
    ("stationary-rack-single-temperature", MachineKind::StationaryRackSingleTemperature),
    ("stationary-rack-dual-temperature", MachineKind::StationaryRackDualTemperature),
    ("single-tank-conveyor", MachineKind::SingleTankConveyor),
    ("multitank-conveyor", MachineKind::MultitankConveyor),
];
static KIND_WORDS: [&str; 4] = words(&KINDS);

/// Words for the sanitizing method.
pub const SANITIZINGS: [(&str, Sanitizing); 4] = [
    ("hot-water", Sanitizing::HotWater),
    ("chlorine", Sanitizing::Chlorine),
    ("iodine", Sanitizing::Iodine),
    ("quat", Sanitizing::Quat),
];
static SANITIZING_WORDS: [&str; 4] = words(&SANITIZINGS);

/// Words for where the rinse probe sits.
pub const RINSE_FROMS: [(&str, RinseFrom); 2] =
    [("fresh-line", RinseFrom::FreshLine), ("sump", RinseFrom::Sump)];
static RINSE_FROM_WORDS: [&str; 2] = words(&RINSE_FROMS);

/// Words for which half of a printed pair of temperatures holds.
pub const ROUNDINGS: [(&str, Rounding); 3] =
    [("stricter", Rounding::Stricter), ("celsius", Rounding::Celsius), ("fahrenheit", Rounding::Fahrenheit)];
static ROUNDING_WORDS: [&str; 3] = words(&ROUNDINGS);

/// Words for who sets the limits that are given.
pub const LIMIT_SOURCES: [(&str, LimitSource); 2] =
    [("data-plate", LimitSource::DataPlate), ("site", LimitSource::Site)];
static LIMIT_SOURCE_WORDS: [&str; 2] = words(&LIMIT_SOURCES);

const FOOD_CODE: Default = Default::Follows("the FDA Food Code's figure for this kind of machine");
const COMMON: Default =
    Default::Follows("a usual time for this kind of machine (common practice, no source)");
const LIMIT: Form = Form::Temperature { min_c: 5.0, max_c: 100.0 };

/// Keys of `[[machine]]`.
pub static MACHINE: [Key; 22] = [
    Key {
        name: "name",
        form: Form::Text,
        default: Default::Required,
        example: "\"dm1\"",
        meaning: "Name of the machine, the first part of its probes' names: letters, digits and - : . _, a letter or digit first.",
    },
    Key {
        name: "kind",
        form: Form::Choice(&KIND_WORDS),
        default: Default::Required,
        example: "\"stationary-rack-dual-temperature\"",
        meaning: "Kind of machine, in the words of FDA Food Code 4-501.110. Its data plate tells: one temperature for wash and rinse, or a hotter final rinse.",
    },
    Key {
        name: "sanitizing",
        form: Form::Choice(&SANITIZING_WORDS),
        default: Default::Value("hot-water"),
        example: "\"hot-water\"",
        meaning: "How the machine sanitizes. A chemical machine is judged by the concentration on file for the shift too.",
    },
    Key {
        name: "rinse-from",
        form: Form::Choice(&RINSE_FROM_WORDS),
        default: Default::Value("fresh-line"),
        example: "\"fresh-line\"",
        meaning: "Where the rinse probe meets the water: in the line to the manifold, or in the sump of a machine that dumps its wash water and refills with the rinse.",
    },
    Key {
        name: "wash-time",
        form: Form::Duration { min: secs(3), max: secs(3_600) },
        default: COMMON,
        example: "\"45s\"",
        meaning: "Length of the wash, from the data plate (4-204.113).",
    },
    Key {
        name: "pause-time",
        form: Form::Duration { min: secs(0), max: secs(600) },
        default: COMMON,
        example: "\"3s\"",
        meaning: "From the end of the wash to the start of the final rinse, drain and refill included.",
    },
    Key {
        name: "rinse-time",
        form: Form::Duration { min: secs(1), max: secs(600) },
        default: COMMON,
        example: "\"10s\"",
        meaning: "Length of the final rinse, from the data plate; on a conveyor the time one rack spends in it.",
    },
    Key {
        name: "rinse-min",
        form: LIMIT,
        default: FOOD_CODE,
        example: "\"180 °F\"",
        meaning: "Lowest permitted final rinse. On a chemical machine the concentration may ask for more.",
    },
    Key {
        name: "rinse-max",
        form: LIMIT,
        default: FOOD_CODE,
        example: "\"194 °F\"",
        meaning: "Highest permitted final rinse: hotter spray breaks up and heats the ware less (4-501.112). The Food Code sets none for a chemical machine. SCALD: at these temperatures skin burns at once.",
    },
    Key {
        name: "wash-min",
        form: LIMIT,
        default: FOOD_CODE,
        example: "\"150 °F\"",
        meaning: "Lowest permitted wash.",
    },
    Key {
        name: "limits-from",
        form: Form::Choice(&LIMIT_SOURCE_WORDS),
        default: Default::Value("data-plate"),
        example: "\"data-plate\"",
        meaning: "Who set the limits given above: the data plate, or the site with stricter figures of its own. Every record names it.",
    },
    Key {
        name: "dwell-min",
        form: Form::Duration { min: millis(100), max: secs(600) },
        default: Default::Follows(
            "half the rinse time for hot water (own choice); the contact time of 4-703.11 for a chemical: chlorine 10 s, others 30 s",
        ),
        example: "\"5s\"",
        meaning: "How long the limit must be held within one final rinse.",
    },
    Key {
        name: "rounding",
        form: Form::Choice(&ROUNDING_WORDS),
        default: Default::Value("stricter"),
        example: "\"stricter\"",
        meaning: "The Food Code prints °C and °F rounded, and the two differ (82 °C is 179.6 °F). Which of the pair holds for limits that are not given.",
    },
    Key {
        name: "chlorine-max-mg-per-l",
        form: Form::Number { min: 25.0, max: 1_000.0 },
        default: Default::Value("200"),
        example: "200",
        meaning: "Highest permitted chlorine, mg/L (40 CFR 180.940); only with sanitizing = \"chlorine\". CHLORINE: never let it meet an acid such as a descaler, or ammonia.",
    },
    Key {
        name: "iodine-min-mg-per-l",
        form: Form::Number { min: 1.0, max: 100.0 },
        default: Default::Value("12.5"),
        example: "12.5",
        meaning: "Lowest permitted iodine, mg/L (4-501.114); only with sanitizing = \"iodine\".",
    },
    Key {
        name: "iodine-max-mg-per-l",
        form: Form::Number { min: 1.0, max: 100.0 },
        default: Default::Value("25"),
        example: "25",
        meaning: "Highest permitted iodine, mg/L (4-501.114); only with sanitizing = \"iodine\".",
    },
    Key {
        name: "iodine-ph-max",
        form: Form::Number { min: 2.0, max: 9.0 },
        default: Default::Value("5"),
        example: "5",
        meaning: "Highest permitted pH of an iodine solution (4-501.114, or the label); only with sanitizing = \"iodine\".",
    },
    Key {
        name: "quat-min-mg-per-l",
        form: Form::Number { min: 10.0, max: 2_000.0 },
        default: Default::Value("200"),
        example: "200",
        meaning: "Lowest quaternary ammonium, mg/L, from the label (the default is common practice, no source); only with sanitizing = \"quat\".",
    },
    Key {
        name: "quat-max-mg-per-l",
        form: Form::Number { min: 10.0, max: 2_000.0 },
        default: Default::Value("400"),
        example: "400",
        meaning: "Highest quaternary ammonium, mg/L, from the label (the default is common practice, no source); only with sanitizing = \"quat\".",
    },
    Key {
        name: "disorder-window",
        form: Form::Duration { min: secs(0), max: secs(300) },
        default: Default::Value("5s"),
        example: "\"5s\"",
        meaning: "How late a reading may come behind a younger one and still be put in its place; also how long a silent probe holds its machine back. A verdict comes later by this time.",
    },
    Key {
        name: "check-valid-for",
        form: Form::Duration { min: secs(60), max: days(7) },
        default: Default::Value("8h"),
        example: "\"8h\"",
        meaning: "How long a concentration check stands for the cycles after it: one shift.",
    },
    Key {
        name: "probes",
        form: Form::Names,
        default: Default::Absent("every probe has a [[probe]] of its own"),
        example: "[\"wash\", \"rinse\", \"running\"]",
        meaning: "Short form: probes that need no more than a conventional name (see [[probe]], name).",
    },
];
