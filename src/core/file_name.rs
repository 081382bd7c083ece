//! Names of files that people take away: safe wherever they are saved, and telling where they hold only a part.
//!
//! The one rule for pages, programs and the command line alike.

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
/// ending, which begins at the first point. No machine means all of them.
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
        // Without the letters that every disk takes it would be called like the whole.
        1..=NAMED_MAX if names.iter().all(|name| !name.is_empty()) => {
            Some(format!("only-{}", names.join("-and-")))
        }
        1 => Some("only-1-machine".to_owned()),
        count => Some(format!("only-{count}-machines")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own rule: a part is never called like the whole.
    #[test]
    fn a_part_is_told_from_the_whole() {
        for (name, machines, expected) in [
            ("cycles.csv", &[][..], "cycles.csv"),
            ("cycles.csv", &["dm1"], "cycles_only-dm1.csv"),
            ("north_2026-11-01.evidence.jsonl", &["Bar 2"], "north_2026-11-01_only-bar-2.evidence.jsonl"),
            ("cycles.csv", &["a", "b", "c"], "cycles_only-a-and-b-and-c.csv"),
            ("cycles.csv", &["a", "b", "c", "d"], "cycles_only-4-machines.csv"),
            ("cycles.csv", &["Бар"], "cycles_only-1-machine.csv"),
            ("cycles.csv", &["a", "Бар"], "cycles_only-2-machines.csv"),
            ("cycles", &["../\"\r\n"], "cycles_only-1-machine"),
        ] {
            let machines: Vec<String> = machines.iter().map(|&name| name.to_owned()).collect();
            assert_eq!(of_only(name, &machines), expected);
        }
        assert!(of_only("cycles.csv", &["x".repeat(500)]).len() < 60);
    }
}
