//! Which measurements there are: their tags, fields and units.
//!
//! The table is the one that people get with the queries; a test holds it
//! against what is written.
#![doc = include_str!("../../deploy/series/measurements.md")]

use crate::core::cycle::verdict::Verdict;
use crate::core::reading::Fault;

/// One reading of one channel.
pub const READING: &str = "reading";
/// One judged cycle.
pub const CYCLE: &str = "cycle";
/// A check that somebody entered.
pub const CHECK: &str = "check";
/// An alert and what became of it.
pub const ALERT: &str = "alert";
/// An event of the service.
pub const SERVICE: &str = "service";
/// How the gateway is.
pub const GATEWAY: &str = "gateway";
/// Written and read back by a person.
pub const TEST: &str = "test";

/// The number of a fault: 1 open-circuit, 2 short, 3 reversed, 4 out-of-range, 5 stuck, 6 silent,
/// 7 no-cold-junction, 8 reported. A number is never given to another fault.
#[must_use]
pub const fn fault_code(fault: Fault) -> i64 {
    match fault {
        Fault::OpenCircuit => 1,
        Fault::Short => 2,
        Fault::Reversed => 3,
        Fault::OutOfRange => 4,
        Fault::Stuck => 5,
        Fault::Silent => 6,
        Fault::NoColdJunction => 7,
        Fault::Reported => 8,
    }
}

/// The number of a verdict, worst lowest: 0 cold, 1 brief, 2 weak, 3 unproven, 4 narrow, 5 pass. At
/// or above 4 the cycle passes. A number is never given to another verdict.
#[must_use]
pub const fn verdict_code(verdict: Verdict) -> i64 {
    match verdict {
        Verdict::Cold => 0,
        Verdict::Brief => 1,
        Verdict::Weak => 2,
        Verdict::Unproven => 3,
        Verdict::Narrow => 4,
        Verdict::Pass => 5,
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::core::alert::Condition;

    const TABLE: &str = include_str!("../../deploy/series/measurements.md");

    /// What the code of these files writes: (form, name), tags among them.
    fn written(sources: &[&str]) -> BTreeSet<(String, String)> {
        let forms = [
            (".float(\"", "float"),
            ("quantity(point, \"", "float"),
            (".text(\"", "text"),
            (".count(\"", "integer"),
            (".integer(\"", "integer"),
            (".flag(\"", "boolean"),
            (".tag(\"", "tag"),
        ];
        let mut found = BTreeSet::new();
        for source in sources {
            let code: String =
                source.split("#[cfg(test)]").next().unwrap_or_default().replace(char::is_whitespace, " ");
            for (call, form) in forms {
                let names = code.split(call).skip(1).filter_map(|rest| rest.split('"').next());
                found.extend(names.map(|name| (form.to_owned(), name.to_owned())));
            }
        }
        found
    }

    /// What the table has for these measurements.
    fn documented(measurements: &[&str]) -> BTreeSet<(String, String)> {
        let mut found = BTreeSet::from([("tag".to_owned(), "site".to_owned())]);
        for measurement in measurements {
            let head = format!("\n## {measurement}\n");
            let section = TABLE.split(&head).nth(1).expect("a section for each measurement");
            let section = section.split("\n## ").next().unwrap_or_default();
            for row in section.lines().filter(|line| line.starts_with("| `")) {
                let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
                let form = if cells.len() == 2 { "tag" } else { cells[1] };
                let names = cells[0].split(", ").map(|name| name.trim_matches('`'));
                found.extend(names.map(|name| (form.to_owned(), name.to_owned())));
            }
        }
        found
    }

    // Whatever is written is in the table with its form, and nothing else is.
    #[test]
    fn the_table_has_what_is_written_and_nothing_else() {
        let (record, alerts) = (include_str!("record.rs"), include_str!("alerts.rs"));
        let (reading, trial) = (include_str!("reading.rs"), include_str!("trial.rs"));
        let known = |form: &str, name: &str| (form.to_owned(), name.to_owned());
        // What every record has is added in `record.rs`, what a fault has in `reading.rs`.
        let of_records = [known("tag", "site"), known("tag", "machine"), known("integer", "record")];
        let of_faults = [known("integer", "fault"), known("text", "fault_name")];
        let mut expected = written(&[alerts]);
        expected.extend(of_records);
        assert_eq!(documented(&[ALERT]), expected);
        let mut expected = written(&[record]);
        expected.extend(of_faults);
        assert_eq!(documented(&[CYCLE, CHECK, SERVICE, GATEWAY]), expected);
        assert_eq!(documented(&[READING]), written(&[reading]));
        assert_eq!(documented(&[TEST]), written(&[trial]));
    }

    #[test]
    fn the_table_counts_the_conditions_and_names_every_code() {
        // The other events are the seven that `alerts.rs` makes points of beside a raised alert.
        let conditions = Condition::ALL.len();
        let count = format!("{} · (M + 1): one for each of {conditions} conditions", conditions + 7);
        assert!(TABLE.contains(&count), "{count}");
        let faults = [
            Fault::OpenCircuit,
            Fault::Short,
            Fault::Reversed,
            Fault::OutOfRange,
            Fault::Stuck,
            Fault::Silent,
            Fault::NoColdJunction,
            Fault::Reported,
        ];
        let verdicts = Verdict::ALL.map(|verdict| (verdict_code(verdict), verdict.as_str()));
        let faults = faults.map(|fault| (fault_code(fault), fault.as_str()));
        for (code, word) in verdicts.into_iter().chain(faults) {
            assert!(TABLE.contains(&format!("{code} {word}")), "{code} {word}");
        }
    }
}
