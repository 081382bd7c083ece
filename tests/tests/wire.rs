//! Any bytes at all: the properties that the fuzz targets look for, on the stable compiler.

use proptest::collection::vec;
use proptest::prelude::*;

#[path = "../fuzz/properties.rs"]
mod properties;

/// Bytes: any at all, or pieces of what the parsers expect in any order.
fn bytes(pieces: &'static [&'static str]) -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        9 => proptest::sample::select(pieces).prop_map(|piece| piece.as_bytes().to_vec()),
        1 => vec(any::<u8>(), 0..4),
    ];
    prop_oneof![vec(any::<u8>(), 0..200), vec(piece, 0..40).prop_map(|pieces| pieces.concat())]
}

const SENML: &[&str] = &[
    "[{",
    "}]",
    "},{",
    ",",
    "\"n\":\"dm1/rinse\"",
    "\"bn\":\"dm1/\"",
    "\"n\":\"rinse\"",
    "\"n\":\"running\"",
    "\"v\":82.4",
    "\"v\":1e999",
    "\"vb\":true",
    "\"vs\":\"short\"",
    "\"bt\":1700000000",
    "\"t\":-1",
    "\"u\":\"Cel\"",
    "\"u\":\"degF\"",
    "\"bver\":10",
    "\"bver\":11",
    "\"x_\":1",
    "\"bv\":null",
    "\"s\":1",
    "\"\\ud800\"",
    "[[",
    "]]",
    "1e308",
];
const RECORD: &[&str] = &[
    "{\"v\":1,\"recorded\":\"2026-01-01T00:00:00Z\",\"body\":{\"gap\":{\"probe\":\"a\",\"fault\":\"silent\",\"from\":\"2026-01-01T00:00:00Z\",\"to\":null}}}",
    "{\"v\":2}",
    "{",
    "}",
    "\"v\":1,",
    "\"recorded\":\"9999-12-31T23:59:60Z\",",
    "\"body\":",
    "1e308",
];
const CONFIG: &[&str] = &[
    "[[machine]]\nname = \"dm1\"\nkind = \"single-tank-conveyor\"\nprobes = [\"wash\", \"rinse\"]\n",
    "[[probe]]\nname = \"dm1/rinse\"\n",
    "[[source]]\nname = \"a\"\nkind = \"serial\"\ndevice = \"/dev/a\"\n",
    "[ledger]\npath = \"a\"\n",
    "[site]\n",
    "rinse-min = \"180 °F\"\n",
    "tau = \"1.5s\"\n",
    "wash-time = \"0s\"\n",
    "name = 1\n",
    "= \"nan\"",
    "[",
    "]",
    "\"",
    "\n",
];
const PLAIN: &[&str] = &[
    "dm1/rinse",
    "dm1/running",
    "dm1/tc:1",
    "a",
    " ",
    "\t",
    "=",
    ":",
    ",",
    "82.4",
    "-",
    "1e9",
    "nan",
    "inf",
    "true",
    "short",
    " Cel",
    "°C",
    "V",
];
const LINES: &[&str] = &["\n", "\r", "\r\n", "dm1/rinse 82.4", "\0", "x", "\u{8}\u{8}"];
const PAYLOAD: &[&str] = &[
    "/",
    "~0",
    "~1",
    "~",
    "a~1b",
    "m~0n",
    "0",
    "1",
    "01",
    "-",
    " ",
    "\n",
    "{",
    "}",
    "[",
    "]",
    "\"t\":",
    "\"a\":",
    "82.4",
    "true",
    "null",
    "\"short\"",
    "\"1985-04-12T23:20:50.52Z\"",
    ",",
];
const TOPICS: &[&str] = &["/", "+", "#", "$share/", "$SYS", "dm1", "rinse", "\n", "\0", "é"];

proptest! {
    #[test]
    fn senml(bytes in bytes(SENML)) {
        properties::senml(&bytes);
    }

    #[test]
    fn plain(bytes in bytes(PLAIN)) {
        properties::plain(&bytes);
    }

    #[test]
    fn splitter(limits in any::<[u8; 2]>(), bytes in bytes(LINES)) {
        properties::splitter(&[&limits[..], &bytes].concat());
    }

    #[test]
    fn payload(bytes in bytes(PAYLOAD)) {
        properties::payload(&bytes);
    }

    #[test]
    fn topics(bytes in bytes(TOPICS)) {
        properties::topics(&bytes);
    }

    #[test]
    fn record(bytes in bytes(RECORD)) {
        properties::record(&bytes);
    }

    #[test]
    fn config(bytes in bytes(CONFIG)) {
        properties::config(&bytes);
    }
}
