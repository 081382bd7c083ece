//! The table of checks: those that people entered, and those that were missed.

use jiff::tz::TimeZone;

use super::{both, count, perhaps};
use crate::core::record::Check;
use crate::report::account::{Account, CheckAccount};
use crate::report::csv::{maybe, number, text};

pub(super) const COLUMNS: [&str; 27] = [
    "machine",
    "check",
    "state (made, withdrawn-or-corrected, overdue)",
    "at (RFC 3339 UTC)",
    "at (RFC 3339 local)",
    "recorded (RFC 3339 UTC)",
    "recorded (RFC 3339 local)",
    "good (true, false, empty where not judged)",
    "missed_min_concentration (mg/L)",
    "missed_max_concentration (mg/L)",
    "missed_max_ph (1)",
    "missed_min_solution (degC)",
    "by",
    "concentration (mg/L)",
    "ph (1)",
    "solution (degC)",
    "method",
    "enough",
    "short (supplies with a name of their own)",
    "what",
    "shown (degC)",
    "reference (degC)",
    "tolerance (degC)",
    "note",
    "ledger_index",
    "amended_by (ledger_index)",
    "corrects (ledger_index)",
];

/// Checks in order of time, and below them those that were missed: `at` is then since when, `recorded` when the check was
/// made after all, and `good` what that came to.
pub(super) fn rows(account: &Account, zone: &TimeZone) -> Vec<Vec<String>> {
    let mut rows: Vec<Vec<String>> = account.checks.iter().map(|check| cells(check, zone)).collect();
    for missed in &account.overdue {
        let mut cells = vec![String::new(); COLUMNS.len()];
        cells[0] = missed.machine.as_deref().map(text).unwrap_or_default();
        cells[1] = text(&missed.check);
        "overdue".clone_into(&mut cells[2]);
        (cells[3], cells[4]) = both(missed.since, zone);
        (cells[5], cells[6]) = perhaps(missed.made, zone);
        cells[7] = missed.good.map(|good| good.to_string()).unwrap_or_default();
        rows.push(cells);
    }
    rows
}

fn cells(entry: &CheckAccount, zone: &TimeZone) -> Vec<String> {
    let check = &entry.check;
    let state = if entry.amended_by.is_some() { "withdrawn-or-corrected" } else { "made" };
    let (at, at_local) = both(check.at(), zone);
    let (recorded, recorded_local) = both(entry.recorded, zone);
    let mut cells = vec![
        entry.machine.as_deref().map(text).unwrap_or_default(),
        check.kind().as_str().to_owned(),
        state.to_owned(),
        at,
        at_local,
        recorded,
        recorded_local,
        entry.good.map(|good| good.to_string()).unwrap_or_default(),
    ];
    let missed = &entry.missed;
    cells.extend([missed.min_mg_per_l, missed.max_mg_per_l, missed.max_ph, missed.min_solution_c].map(maybe));
    cells.extend(found(check));
    cells.extend([entry.index.to_string(), count(entry.amended_by), count(entry.corrects)]);
    cells
}

/// From `by` to `note`.
fn found(check: &Check) -> [String; 12] {
    let mut cells: [String; 12] = Default::default();
    let words = |words: &Option<String>| words.as_deref().map(text).unwrap_or_default();
    match check {
        Check::Sanitizer { mg_per_l, ph, solution_c, method, by, .. } => {
            cells[0] = text(by);
            (cells[1], cells[2], cells[3]) = (number(*mg_per_l), maybe(*ph), maybe(*solution_c));
            cells[4] = words(method);
        }
        Check::Supply { enough, short, note, by, .. } => {
            let short: Vec<&str> = short.iter().map(|supply| supply.as_str()).collect();
            (cells[0], cells[5], cells[6]) = (text(by), enough.to_string(), short.join(" "));
            cells[11] = words(note);
        }
        Check::DrainAndClean { note, by, .. } => (cells[0], cells[11]) = (text(by), words(note)),
        Check::Thermometer { what, shown_c, reference_c, tolerance_c, reference, by, .. } => {
            (cells[0], cells[7], cells[11]) = (text(by), text(what), text(reference));
            (cells[8], cells[9], cells[10]) = (number(*shown_c), number(*reference_c), number(*tolerance_c));
        }
    }
    cells
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::record::TEST_STRIP;
    use crate::core::time::Timestamp;
    use crate::report::account::samples;

    // 25 mg/L: FDA Food Code 4-501.114(A); 200 mg/L: 40 CFR 180.940.
    #[test]
    fn a_failed_strip_stands_with_the_limit_that_it_missed() {
        let rows = rows(&samples::month(), &TimeZone::UTC);
        let missed = |index: &str| {
            let row = rows.iter().find(|row| row[24] == index).expect("it is there");
            row[8..12].join(" ")
        };
        assert_eq!([missed("2000"), missed("2001"), missed("2003")], ["   ", "25   ", " 200  "]);
    }

    // Own rule: a table is for programs. Its words are those of the record, in whatever language somebody asks for it.
    #[test]
    fn how_the_sanitizer_was_measured_stays_the_word_on_record() {
        for method in [TEST_STRIP, "strip", "titration", "a blue strip"] {
            let check = Check::Sanitizer {
                at: Timestamp::from_micros(0),
                mg_per_l: 100.0,
                ph: None,
                solution_c: None,
                method: Some(method.to_owned()),
                by: "Ana".to_owned(),
            };
            assert_eq!(found(&check)[4], method);
        }
    }
}
