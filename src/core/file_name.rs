//! Names of files that people take away: safe wherever they are saved, and telling where they hold only a part.
//!
//! The one rule for pages, programs and the command line alike.

use sha2::{Digest, Sha256};

/// Longest part of a name that people chose, in letters (own choice).
const PART_CHARS_MAX: usize = 40;
/// Most machines that are named; of more their number is told (own choice).
const NAMED_MAX: usize = 3;

/// What people called something, in letters, digits and hyphens; empty where it has neither letters nor digits of
/// ASCII.
#[must_use]
pub fn plain(text: &str) -> String {
    let letters = text
        .chars()
        .map(|letter| if letter.is_ascii_alphanumeric() { letter.to_ascii_lowercase() } else { '-' });
    let text: String = letters.take(PART_CHARS_MAX).collect();
    text.split('-').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("-")
}

/// The name of a file that holds what is of these machines alone, where `name` is that of the whole: told before its
/// ending, which begins at the first point. No machine means all of them. Machines that would be called alike are told
/// apart by a mark of their whole names, the first 8 digits of its SHA-256.
#[must_use]
pub fn of_only(name: &str, machines: &[String]) -> String {
    let Some(only) = only(machines) else { return name.to_owned() };
    match name.split_once('.') {
        Some((stem, ending)) => format!("{stem}_{only}.{ending}"),
        None => format!("{name}_{only}"),
    }
}

fn only(machines: &[String]) -> Option<String> {
    let names: Vec<String> = machines.iter().map(|machine| plain(machine)).collect();
    match names.len() {
        0 => None,
        1..=NAMED_MAX if names == machines && names.iter().all(|name| !name.contains(AND)) => {
            Some(format!("only-{}", names.join(AND)))
        }
        // Without the letters that every disk takes it would be called like the whole.
        1..=NAMED_MAX if names.iter().all(|name| !name.is_empty()) => {
            Some(format!("only-{}-{}", names.join(AND), mark(machines)))
        }
        1 => Some(format!("only-1-machine-{}", mark(machines))),
        count => Some(format!("only-{count}-machines-{}", mark(machines))),
    }
}

/// Between the names of two machines.
const AND: &str = "-and-";

fn mark(machines: &[String]) -> String {
    let mut names = Sha256::new();
    for machine in machines {
        names.update(machine);
        // No name has it: two lists of names never run together alike.
        names.update([0]);
    }
    names.finalize().iter().take(4).map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own rule: a part is never called like the whole. Marks: `printf 'Bar 2\0' | sha256sum` of GNU coreutils.
    #[test]
    fn a_part_is_told_from_the_whole() {
        for (name, machines, expected) in [
            ("cycles.csv", &[][..], "cycles.csv"),
            ("cycles.csv", &["dm1"], "cycles_only-dm1.csv"),
            (
                "north_2026-11-01.evidence.jsonl",
                &["Bar 2"],
                "north_2026-11-01_only-bar-2-5866a3e2.evidence.jsonl",
            ),
            ("cycles.csv", &["a", "b", "c"], "cycles_only-a-and-b-and-c.csv"),
            ("cycles.csv", &["a", "b", "c", "d"], "cycles_only-4-machines-5853dca2.csv"),
            ("cycles.csv", &["Бар"], "cycles_only-1-machine-f99f85c5.csv"),
            ("cycles.csv", &["a", "Бар"], "cycles_only-2-machines-1f310600.csv"),
            ("cycles", &["../\"\r\n"], "cycles_only-1-machine-d364359a"),
        ] {
            let machines: Vec<String> = machines.iter().map(|&name| name.to_owned()).collect();
            assert_eq!(of_only(name, &machines), expected);
        }
        assert!(of_only("cycles.csv", &["x".repeat(500)]).len() < 70);
    }

    // Own rule: nor are two parts called alike, also where a disk takes capital letters for small ones.
    #[test]
    fn two_parts_are_told_apart() {
        let parts: [&[&str]; 8] =
            [&["dm-1"], &["dm/1"], &["DM-1"], &["a", "b"], &["a-and-b"], &["a", "B"], &["Бар"], &["Зал"]];
        let name = |machines: &&[&str]| {
            let machines: Vec<String> = machines.iter().map(|&name| name.to_owned()).collect();
            of_only("cycles.csv", &machines).to_ascii_lowercase()
        };
        let names: std::collections::BTreeSet<String> = parts.iter().map(name).collect();
        assert_eq!(names.len(), parts.len(), "{names:?}");
    }
}
