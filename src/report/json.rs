//! Cycles as JSON lines: one object a line, UTF-8, numbers as in the record.

use std::io::{self, Write};

use super::row::CycleRow;

/// Writes one row and its line end.
///
/// # Errors
/// The writer's.
pub fn write_row(out: &mut dyn Write, row: &CycleRow) -> io::Result<()> {
    serde_json::to_writer(&mut *out, row)?;
    out.write_all(b"\n")
}

#[cfg(test)]
mod tests {
    use super::super::row::samples;
    use super::*;

    // The keys that other programs read; they may grow, never change.
    #[test]
    fn an_object_a_line_with_the_promised_keys() {
        let mut bytes = Vec::new();
        for row in samples::rows() {
            write_row(&mut bytes, &row).expect("a vector takes everything");
        }
        let text = String::from_utf8(bytes).expect("JSON is UTF-8");
        assert_eq!(text.lines().count(), 4);
        for line in text.lines() {
            let object: serde_json::Value = serde_json::from_str(line).expect("each line is one document");
            for key in [
                "machine",
                "started",
                "rinse_started",
                "rinse_ended",
                "verdict",
                "reasons",
                "reason_codes",
                "findings",
                "rinse_min_c",
                "rinse_min_corrected_c",
                "basis",
                "limit_c",
                "limit_source",
                "wash_min_c",
                "wash_limit_c",
                "dwell_s",
                "dwell_required_s",
                "rinse_peak_c",
                "a0",
                "hue",
                "dose_basis",
                "uncertainty",
                "conformance",
                "received",
                "ledger_index",
            ] {
                assert!(object.get(key).is_some(), "{key} in {line}");
            }
        }
        let cold: serde_json::Value =
            serde_json::from_str(text.lines().nth(2).expect("four lines")).expect("JSON");
        assert_eq!(cold["verdict"], "cold");
        assert_eq!(cold["rinse_started"], "2023-11-14T22:18:05Z");
        assert_eq!(cold["reason_codes"][0], "rinse-below-limit");
    }
}
