//! Keys of `[site]` and `[ledger]`.

use super::{Default, Form, Key, days, millis, secs};

/// Keys of `[site]`.
pub static SITE: [Key; 5] = [
    Key {
        name: "name",
        form: Form::Text,
        default: Default::Value("site"),
        example: "\"north kitchen\"",
        meaning: "Name of the site, for pages, alerts and reports.",
    },
    Key {
        name: "time-zone",
        form: Form::Text,
        default: Default::Follows("that of this computer"),
        example: "\"America/New_York\"",
        meaning: "Zone of every local time: hours, shifts, messages. A name of the tz database; daylight saving comes with it.",
    },
    Key {
        name: "call",
        form: Form::Text,
        default: Default::Absent("messages name nobody"),
        example: "\"kitchen service, 555-0100\"",
        meaning: "Whom to call for service, as messages are to say it.",
    },
    Key {
        name: "open",
        form: Form::Hours,
        default: Default::Absent("no tank is asked for"),
        example: "[\"mon-sat 11:00-23:00\"]",
        meaning: "When ware is washed: at each start, and alert.tank-grace more, every tank with a probe must be up to temperature.",
    },
    Key {
        name: "ahead-max",
        form: Form::Duration { min: secs(1), max: days(1) },
        default: Default::Value("60s"),
        example: "\"60s\"",
        meaning: "How far ahead of the gateway's clock a reading may be stamped; one stamped later is refused and counted. Own choice: wider than the error of a node whose clock is set once a day.",
    },
];

/// Keys of `[ledger]`.
pub static LEDGER: [Key; 3] = [
    Key {
        name: "path",
        form: Form::Path,
        default: Default::Value("/var/lib/rinseward/ledger.sqlite"),
        example: "\"/var/lib/rinseward/ledger.sqlite\"",
        meaning: "The ledger file. Its directory must be writable, and on a local disk.",
    },
    Key {
        name: "commit-interval",
        form: Form::Duration { min: millis(10), max: secs(60) },
        default: Default::Value("1s"),
        example: "\"1s\"",
        meaning: "Longest time between two commits: the most that a cut of the mains can cost. A commit comes at once where an alert is due.",
    },
    Key {
        name: "block-retention",
        form: Form::Duration { min: days(1), max: days(36_500) },
        default: Default::Value("400d"),
        example: "\"400d\"",
        meaning: "How long all readings are kept. Records and the readings of each cycle stay for ever. Own choice: a year and a month, so that a season can be laid beside the one before.",
    },
];
