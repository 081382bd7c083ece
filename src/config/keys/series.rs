//! Keys of `[series]`.

use super::{Default, Form, Key, millis, secs, words};

/// Which readings are sent, as named in a file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum ReadingsWord {
    /// Every one.
    All,
    /// By the rule of `readings-every`.
    Thinned,
}

/// Words for which readings are sent.
pub const READINGS: [(&str, ReadingsWord); 2] =
    [("all", ReadingsWord::All), ("thinned", ReadingsWord::Thinned)];
static READINGS_WORDS: [&str; 2] = words(&READINGS);

/// Keys of `[series]`.
pub static SERIES: [Key; 10] = [
    Key {
        name: "url",
        form: Form::Text,
        default: Default::Required,
        example: "\"https://influx.example:8086\"",
        meaning: "Address of the server, http or https. A path in it is kept, so that a server behind a reverse proxy is reached: /api/v2/write is added to it.",
    },
    Key {
        name: "organisation",
        form: Form::Text,
        default: Default::Required,
        example: "\"kitchens\"",
        meaning: "Name of the organisation on the server. A server without organisations takes any word.",
    },
    Key {
        name: "bucket",
        form: Form::Text,
        default: Default::Required,
        example: "\"rinseward\"",
        meaning: "Name of the bucket that takes the points. Its retention must be longer than the longest time the server may be away: a server refuses points that are older.",
    },
    Key {
        name: "token-file",
        form: Form::Secret,
        default: Default::Absent("no token is sent"),
        example: "\"/etc/rinseward/series-token\"",
        meaning: "File that holds the API token on one line. The token needs to write this bucket; with the right to read it, `rinseward series test` can read back what it wrote. The file is read again where the server refuses the token, so that a new one needs no restart.",
    },
    Key {
        name: "ca-file",
        form: Form::Path,
        default: Default::Absent("the roots of the system"),
        example: "\"/etc/rinseward/ca.pem\"",
        meaning: "PEM file with the certificates of a private CA; https only.",
    },
    Key {
        name: "readings",
        form: Form::Choice(&READINGS_WORDS),
        default: Default::Follows("thinned where readings-every is given, else all"),
        example: "\"all\"",
        meaning: "Which readings are sent. All stay in the ledger whatever stands here.",
    },
    Key {
        name: "readings-every",
        form: Form::Duration { min: millis(100), max: secs(3_600) },
        default: Default::Absent("every reading is sent"),
        example: "\"1s\"",
        meaning: "Sends fewer readings: of each probe the first one in each whole interval of this length since 1970-01-01T00:00:00Z, and besides that every fault and every reading of a run signal. Cycles keep the settled minimum of all readings.",
    },
    Key {
        name: "timeout",
        form: Form::Duration { min: secs(1), max: secs(300) },
        default: Default::Value("30s"),
        example: "\"30s\"",
        meaning: "Longest time for one request, from the connection to the end of the answer; then it is sent again.",
    },
    Key {
        name: "batch-points",
        form: Form::Integer { min: 1, max: 50_000 },
        default: Default::Value("5000"),
        example: "5000",
        meaning: "Most points in one request. 5,000 is what InfluxDB's own advice names; a request that is too large for the server is halved by itself.",
    },
    Key {
        name: "gzip",
        form: Form::Flag,
        default: Default::Value("true"),
        example: "true",
        meaning: "Whether requests are compressed.",
    },
];
