//! Keys of `[[contact]]`, `[alert]`, `[[shift]]` and `[[meal-period]]`.
//!
//! The reason of each default stands with its key.

use super::{Default, Form, Key, days, secs, words};
use crate::core::reader::{Language, Scale};

/// Words for languages.
pub const LANGUAGES: [(&str, Language); 2] = [("en", Language::English), ("es", Language::Spanish)];
static LANGUAGE_WORDS: [&str; 2] = words(&LANGUAGES);

/// Words for scales of temperature.
pub const SCALES: [(&str, Scale); 2] = [("celsius", Scale::Celsius), ("fahrenheit", Scale::Fahrenheit)];
static SCALE_WORDS: [&str; 2] = words(&SCALES);

/// Words for digests.
pub const DIGESTS: [(&str, DigestWord); 4] = [
    ("off", DigestWord { daily: false, weekly: false }),
    ("daily", DigestWord { daily: true, weekly: false }),
    ("weekly", DigestWord { daily: false, weekly: true }),
    ("both", DigestWord { daily: true, weekly: true }),
];
static DIGEST_WORDS: [&str; 4] = words(&DIGESTS);

/// Which digests a contact gets, as named in a file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct DigestWord {
    /// Of yesterday, every day.
    pub daily: bool,
    /// Of last week, on Mondays.
    pub weekly: bool,
}

const fn minutes(minutes: u64) -> std::time::Duration {
    secs(minutes * 60)
}

/// Keys of `[[contact]]`.
pub static CONTACT: [Key; 9] = [
    Key {
        name: "name",
        form: Form::Text,
        default: Default::Required,
        example: "\"ana\"",
        meaning: "Short name of the contact, for commands and records.",
    },
    Key {
        name: "role",
        form: Form::Text,
        default: Default::Absent("none is told"),
        example: "\"kitchen manager\"",
        meaning: "What the contact is there: told to the others in messages.",
    },
    Key {
        name: "step",
        form: Form::Integer { min: 1, max: 20 },
        default: Default::Follows("1; a last resort is in no step unless one is given"),
        example: "1",
        meaning: "When the contact is told: step 1 at once, step 2 where nobody has acknowledged by then, and so on. Contacts of one step are told together; a step with nobody on duty is passed over.",
    },
    Key {
        name: "last-resort",
        form: Form::Flag,
        default: Default::Value("false"),
        example: "true",
        meaning: "Whether the contact is told, at any hour, where nobody of the steps to come is on duty. Never for a mere warning: it waits until somebody comes.",
    },
    Key {
        name: "routes",
        form: Form::Names,
        default: Default::Required,
        example: "[\"email:ana@example.org\", \"text:15551234567@sms.example.net\"]",
        meaning: "How the contact is reached, all of them at once: email:ADDRESS and text:ADDRESS (short form, by a text gateway) need [mail], webhook:NAME a [[webhook]], mqtt needs [publish].",
    },
    Key {
        name: "hours",
        form: Form::Hours,
        default: Default::Absent("always on duty"),
        example: "[\"mon-fri 07:00-15:30\", \"sat 22:00-06:00\"]",
        meaning: "When the contact is on duty, in the site's time. An end that is not after its start lies on the next day.",
    },
    Key {
        name: "language",
        form: Form::Choice(&LANGUAGE_WORDS),
        default: Default::Value("en"),
        example: "\"en\"",
        meaning: "Language of the contact's messages.",
    },
    Key {
        name: "units",
        form: Form::Choice(&SCALE_WORDS),
        default: Default::Value("fahrenheit"),
        example: "\"celsius\"",
        meaning: "Scale of the temperatures in the contact's messages.",
    },
    Key {
        name: "digest",
        form: Form::Choice(&DIGEST_WORDS),
        default: Default::Value("off"),
        example: "\"daily\"",
        meaning: "Which digests the contact gets: of yesterday every day, of last week on Mondays, or both. One that does not come tells that the gateway is dead.",
    },
];

/// Keys of `[[shift]]`.
pub static SHIFT: [Key; 2] = [
    Key {
        name: "name",
        form: Form::Text,
        default: Default::Required,
        example: "\"early\"",
        meaning: "Name of the shift.",
    },
    Key {
        name: "hours",
        form: Form::Hours,
        default: Default::Required,
        example: "[\"mon-sun 06:00-14:00\"]",
        meaning: "When it is. At its start the sanitizer of each chemical machine is to be tested (an hour before counts), at the first of the day the supplies are to be looked at. A machine that stands still misses nothing.",
    },
];

/// Keys of `[[meal-period]]`.
pub static MEAL_PERIOD: [Key; 2] = [
    Key {
        name: "name",
        form: Form::Text,
        default: Default::Required,
        example: "\"lunch\"",
        meaning: "Name of the meal period.",
    },
    Key {
        name: "hours",
        form: Form::Hours,
        default: Default::Required,
        example: "[\"mon-sun 11:30-14:00\"]",
        meaning: "When it is. At its end each machine that was used is to be drained and cleaned (half an hour before counts). SCALD: let the tank cool. Never let chlorine and descaler meet.",
    },
];

/// Keys of `[alert]`.
pub static ALERT: [Key; 22] = [
    Key {
        name: "off",
        form: Form::Names,
        default: Default::Absent("every condition raises"),
        example: "[\"drifting\"]",
        meaning: "Conditions that raise no alert: cold, brief, weak, unproven, wash-low, rinse-hot, narrow, drifting, tank-cold, probe-fault, probe-silent, check-overdue, calibration-overdue, thermometer-off, supplies-short, record-damaged, disk-filling, clock-unsynchronised, series-backlog, undelivered. Cycles are judged and recorded all the same.",
    },
    Key {
        name: "checks",
        form: Form::Names,
        default: Default::Absent("all three"),
        example: "[\"sanitizer\", \"supply\", \"drain-and-clean\"]",
        meaning: "Checks that are asked for.",
    },
    Key {
        name: "good-cycles",
        form: Form::Integer { min: 1, max: 20 },
        default: Default::Value("3"),
        example: "3",
        meaning: "Good cycles in a row after which cold, brief, wash-low, rinse-hot and narrow have recovered. Common practice asks for two before a machine is used again; one more, since one may be luck.",
    },
    Key {
        name: "repeated-after",
        form: Form::Integer { min: 2, max: 20 },
        default: Default::Value("2"),
        example: "2",
        meaning: "Bad cycles in a row that are no single rack any more: in a hot-water machine the booster has then probably failed. Own choice: a booster that only recovers is there by the second rack.",
    },
    Key {
        name: "idle-after",
        form: Form::Duration { min: minutes(1), max: secs(86_400) },
        default: Default::Value("20min"),
        example: "\"20min\"",
        meaning: "Rest after which the next cycle is the first after idle. Own choice: in it the line between booster and machine cools to the room.",
    },
    Key {
        name: "narrow-after",
        form: Form::Integer { min: 2, max: 100 },
        default: Default::Value("5"),
        example: "5",
        meaning: "Narrow passes in a row that raise a warning. Own choice: one alone is what the uncertainty makes likely.",
    },
    Key {
        name: "unproven-after",
        form: Form::Integer { min: 1, max: 100 },
        default: Default::Value("3"),
        example: "3",
        meaning: "Cycles in a row without proof, and without a probe fault that explains it, that raise an alert. Own choice: a single gap in a radio link is no event.",
    },
    Key {
        name: "drift-cycles",
        form: Form::Integer { min: 10, max: 10_000 },
        default: Default::Value("50"),
        example: "50",
        meaning: "Good cycles from which the charts learn what is usual for a machine; they learn anew after a maintenance window. Own choice: fewer leave the standard deviation too unsure.",
    },
    Key {
        name: "drift-min",
        form: Form::Difference { min_k: 0.1, max_k: 10.0 },
        default: Default::Value("0.5 °C"),
        example: "\"0.5 °C\"",
        meaning: "Smallest shift of the settled minimum that is called drifting. Own choice: below it a chart finds changes that matter to nobody.",
    },
    Key {
        name: "tank-grace",
        form: Form::Duration { min: secs(0), max: secs(86_400) },
        default: Default::Value("15min"),
        example: "\"15min\"",
        meaning: "Time a tank has after opening to be up to temperature (see site.open).",
    },
    Key {
        name: "check-grace",
        form: Form::Duration { min: secs(0), max: secs(86_400) },
        default: Default::Value("30min"),
        example: "\"30min\"",
        meaning: "Time a check has after it is due.",
    },
    Key {
        name: "disk-free-min",
        form: Form::Number { min: 0.0, max: 0.9 },
        default: Default::Value("0.1"),
        example: "0.1",
        meaning: "Free share of the ledger's disk, 0 to 1, below which it is filling; with half as much again it has room.",
    },
    Key {
        name: "clock-grace",
        form: Form::Duration { min: secs(0), max: days(30) },
        default: Default::Value("1h"),
        example: "\"1h\"",
        meaning: "How long the gateway's clock may be without synchronisation. Own choice: a common crystal is off by less than 0.4 s in an hour (100 parts in a million).",
    },
    Key {
        name: "series-behind-max",
        form: Form::Duration { min: minutes(1), max: days(30) },
        default: Default::Value("1h"),
        example: "\"1h\"",
        meaning: "How old the oldest reading may get that the time series server has not taken. Nothing is lost by it: the ledger keeps what waits.",
    },
    Key {
        name: "escalate-after",
        form: Form::Duration { min: secs(1), max: secs(86_400) },
        default: Default::Value("10min"),
        example: "\"10min\"",
        meaning: "Time a step has to acknowledge before the next one is told. Own choice: long enough to finish what is in hand, short enough for the racks to be found.",
    },
    Key {
        name: "start-over-after",
        form: Form::Duration { min: secs(1), max: secs(86_400) },
        default: Default::Value("30min"),
        example: "\"30min\"",
        meaning: "Time from the last step until the steps start over.",
    },
    Key {
        name: "rounds",
        form: Form::Integer { min: 1, max: 20 },
        default: Default::Value("3"),
        example: "3",
        meaning: "How often the steps are gone through; after that nobody is told any more, which is put on record.",
    },
    Key {
        name: "summary-every",
        form: Form::Duration { min: secs(1), max: days(7) },
        default: Default::Value("1h"),
        example: "\"1h\"",
        meaning: "Least time between two messages that only tell of more racks of the same alert.",
    },
    Key {
        name: "settle",
        form: Form::Duration { min: secs(1), max: secs(86_400) },
        default: Default::Value("30min"),
        example: "\"30min\"",
        meaning: "How long a condition must stay away before its alert closes. What comes back within it comes back as the same alert.",
    },
    Key {
        name: "action-reminder",
        form: Form::Duration { min: minutes(10), max: days(7) },
        default: Default::Value("4h"),
        example: "\"4h\"",
        meaning: "Time after recovery from which a missing corrective action is asked for, and between two such messages.",
    },
    Key {
        name: "maintenance-max",
        form: Form::Duration { min: minutes(10), max: days(30) },
        default: Default::Value("1d"),
        example: "\"1d\"",
        meaning: "Longest maintenance window. Own choice: one that is forgotten must end by itself.",
    },
    Key {
        name: "digest-at",
        form: Form::Time,
        default: Default::Value("07:00"),
        example: "\"07:00\"",
        meaning: "When the digests leave, in the site's time.",
    },
];
