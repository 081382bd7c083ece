#![no_main]

#[expect(dead_code, reason = "the other targets use the rest")]
#[path = "../properties.rs"]
mod properties;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| properties::record(bytes));
