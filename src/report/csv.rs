//! Cycles as CSV by RFC 4180: comma, CRLF, quotes where needed, one header line.
//!
//! Temperatures and times are rounded to 0.001. A text that a spreadsheet would
//! take for a formula gets an apostrophe in front (OWASP, "CSV Injection"); numbers stay
//! what they are, negative ones too.
//!
//! `history` prints the columns of [`CycleRow`]. An export has those of [`cycle_header`], more
//! at the end: [`cycle_cells`] makes them from the record and from those of alerts alone, so that whoever holds
//! these can make them again and compare. The other tables of an export are in [`tables`].

pub mod tables;

use std::io::{self, Write};

use jiff::tz::TimeZone;
use serde::Serialize;

use super::row::CycleRow;
use crate::core::alert::doubts::Doubts;
use crate::core::late::late_by;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;

/// Columns with their units; the order of [`cells`].
const HEADER: [&str; 35] = [
    "machine",
    "started (RFC 3339 UTC)",
    "rinse_started (RFC 3339 UTC)",
    "rinse_ended (RFC 3339 UTC)",
    "verdict",
    "reasons",
    "reason_codes",
    "findings",
    "finding_codes",
    "rinse_min (degC)",
    "rinse_min_raw (degC)",
    "rinse_min_corrected (degC)",
    "basis",
    "limit (degC)",
    "limit_source",
    "rinse_peak (degC)",
    "dwell (s)",
    "dwell_required (s)",
    "settled_after (s)",
    "area_below (degC*s)",
    "wash_min (degC)",
    "wash_limit (degC)",
    "a0 (s at 80 degC)",
    "hue (1)",
    "dose_basis",
    "uncertainty k=2 (degC)",
    "conformance (probability)",
    "rule",
    "machine_kind",
    "sanitizing",
    "concentration (mg/L)",
    "ph (1)",
    "window_from",
    "received (RFC 3339 UTC)",
    "ledger_index",
];

/// Numbers of the alerts that put a rack in doubt which passed, with blanks between them.
pub const IN_DOUBT_BY: &str = "in_doubt_by";

/// Columns of the history that follow [`HEADER`].
const ON_RECORD: [&str; 4] = ["recorded (RFC 3339 UTC)", "late", "amendments", IN_DOUBT_BY];

/// Columns of an export that follow [`HEADER`].
const MORE: [&str; 11] = [
    "started (RFC 3339 local)",
    "rinse_started (RFC 3339 local)",
    "rinse_ended (RFC 3339 local)",
    "received (RFC 3339 local)",
    "recorded (RFC 3339 UTC)",
    "recorded (RFC 3339 local)",
    "late (recorded over 1 h after its end)",
    "rinse_readings (1)",
    "spikes (1)",
    "trace_sha256",
    IN_DOUBT_BY,
];

/// Columns of the cycles of an export, with their units; the order of [`cycle_cells`].
#[must_use]
pub fn cycle_header() -> Vec<&'static str> {
    HEADER.into_iter().chain(MORE).collect()
}

/// The cells of one cycle of an export, from its index in the ledger, its record and the alerts that put racks in
/// doubt; local times are those of `zone`. `None` for a record of another kind.
#[must_use]
pub fn cycle_cells(index: u64, record: &Record, zone: &TimeZone, doubts: &Doubts) -> Option<Vec<String>> {
    let Body::Cycle(cycle) = &record.body else { return None };
    let machine = record.machine.as_deref().unwrap_or_default();
    let row = CycleRow::new(machine, cycle, Some(index)).in_doubt(&doubts.by(machine, index, cycle));
    let more = [
        local(cycle.started, zone),
        local(cycle.rinse_started, zone),
        local(cycle.rinse_ended, zone),
        local(cycle.received, zone),
        record.recorded.to_string(),
        local(record.recorded, zone),
        late_by(record).is_some().to_string(),
        cycle.rinse_readings.to_string(),
        cycle.spikes.to_string(),
        cycle.trace_sha256.clone().unwrap_or_default(),
        numbers(row.in_doubt_by.as_deref()),
    ];
    Some(cells(&row).into_iter().chain(more).collect())
}

/// Writes one line of cells, each quoted where it needs to be.
///
/// # Errors
/// The writer's.
pub fn write_cells<Cell: AsRef<str>>(out: &mut dyn Write, cells: &[Cell]) -> io::Result<()> {
    write_line(out, cells.iter().map(AsRef::as_ref))
}

/// An instant as RFC 3339 with the offset of the zone.
fn local(instant: Timestamp, zone: &TimeZone) -> String {
    jiff::Timestamp::from_microsecond(instant.micros()).map_or_else(
        |_| instant.to_string(),
        |known| known.display_with_offset(zone.to_offset(known)).to_string(),
    )
}

/// Writes the header line of the history.
///
/// # Errors
/// The writer's.
pub fn write_header(out: &mut dyn Write) -> io::Result<()> {
    write_line(out, HEADER.into_iter().chain(ON_RECORD))
}

/// Writes one row.
///
/// # Errors
/// The writer's.
pub fn write_row(out: &mut dyn Write, row: &CycleRow) -> io::Result<()> {
    let on_record = [
        row.recorded.map(|at| at.to_string()).unwrap_or_default(),
        row.late.to_string(),
        numbers(row.amendments.as_deref()),
        numbers(row.in_doubt_by.as_deref()),
    ];
    write_line(out, cells(row).into_iter().chain(on_record))
}

/// Numbers of records or alerts, with blanks between them.
fn numbers(numbers: Option<&[u64]>) -> String {
    numbers.unwrap_or_default().iter().map(u64::to_string).collect::<Vec<_>>().join(" ")
}

fn cells(row: &CycleRow) -> [String; 35] {
    [
        text(&row.machine),
        row.started.to_string(),
        row.rinse_started.to_string(),
        row.rinse_ended.to_string(),
        word(&row.verdict),
        text(&row.reasons.join(" ")),
        row.reason_codes.join(" "),
        text(&row.findings.join(" ")),
        row.finding_codes.join(" "),
        maybe(row.rinse_min_c),
        maybe(row.rinse_min_raw_c),
        maybe(row.rinse_min_corrected_c),
        word(&row.basis),
        number(row.limit_c),
        word(&row.limit_source),
        maybe(row.rinse_peak_c),
        number(row.dwell_s),
        number(row.dwell_required_s),
        maybe(row.settled_after_s),
        number(row.area_below_c_s),
        maybe(row.wash_min_c),
        number(row.wash_limit_c),
        number(row.a0),
        number(row.hue),
        word(&row.dose_basis),
        number(row.uncertainty),
        row.conformance.map(|probability| format!("{probability:.6}")).unwrap_or_default(),
        word(&row.rule),
        word(&row.machine_kind),
        word(&row.sanitizing),
        maybe(row.concentration_mg_per_l),
        maybe(row.ph),
        word(&row.window_from),
        row.received.to_string(),
        row.ledger_index.map(|index| index.to_string()).unwrap_or_default(),
    ]
}

pub(super) fn write_line<Cell: AsRef<str>>(
    out: &mut dyn Write,
    cells: impl Iterator<Item = Cell>,
) -> io::Result<()> {
    for (place, cell) in cells.enumerate() {
        let cell = cell.as_ref();
        if place > 0 {
            out.write_all(b",")?;
        }
        if cell.contains(['"', ',', '\r', '\n']) {
            write!(out, "\"{}\"", cell.replace('"', "\"\""))?;
        } else {
            out.write_all(cell.as_bytes())?;
        }
    }
    out.write_all(b"\r\n")
}

/// A text from outside the program, made harmless for spreadsheets.
pub(super) fn text(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// The word of one of our enums, as in the record.
fn word<Word: Serialize>(word: &Word) -> String {
    match serde_json::to_value(word) {
        Ok(serde_json::Value::String(word)) => word,
        Ok(_) | Err(_) => String::new(),
    }
}

pub(super) fn number(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn maybe(value: Option<f64>) -> String {
    value.map(number).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::super::row::samples;
    use super::*;

    // OWASP, "CSV Injection": cells that begin with = + - @ tab or carriage return,
    // and their full-width forms.
    #[test]
    fn no_text_becomes_a_formula() {
        for (given, expected) in [
            ("=HYPERLINK(\"http://x\")", "'=HYPERLINK(\"http://x\")"),
            ("+1", "'+1"),
            ("-1+1", "'-1+1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\t=1", "'\t=1"),
            ("\r=1", "'\r=1"),
            ("＝1", "'＝1"),
            ("dm1", "dm1"),
            ("", ""),
        ] {
            assert_eq!(text(given), expected, "{given:?}");
        }
    }

    // RFC 4180 §2, rules 1, 5, 6 and 7.
    #[test]
    fn quotes_by_rfc_4180() {
        let mut out = Vec::new();
        let cells = ["plain", "a,b", "say \"so\"", "two\r\nlines"];
        write_line(&mut out, cells.into_iter()).expect("a vector takes everything");
        let text = String::from_utf8(out).expect("text in, text out");
        assert_eq!(text, "plain,\"a,b\",\"say \"\"so\"\"\",\"two\r\nlines\"\r\n");
    }

    #[test]
    fn numbers_are_short_and_keep_their_sign() {
        for (value, expected) in [(82.0, "82"), (-3.25, "-3.25"), (0.1 + 0.2, "0.3"), (100.0, "100")] {
            assert_eq!(number(value), expected);
        }
    }

    // Columns follow the fields of the JSON object, one for one.
    #[test]
    fn columns_are_the_fields_of_the_row() {
        for row in samples::rows() {
            let object = serde_json::to_string(&row).expect("a row has a JSON form");
            let mut rest = object.as_str();
            for column in HEADER {
                let name = column.split([' ', '(']).next().expect("a header has a first word");
                let found = rest.find(&format!("\"{name}")).unwrap_or_else(|| panic!("{name} out of order"));
                rest = &rest[found..];
            }
        }
    }
}
