//! What a digest says of racks in doubt, of checks that were made since, and of many machines.

use super::*;

/// One machine that washed these racks, so many of which are in doubt; it had no operating hours.
fn washed(machine: &str, counts: Counts, in_doubt: u64) -> MachineDigest {
    let machine = machine.to_owned();
    MachineDigest { machine, counts, in_doubt, coldest: None, gaps: 0, gap_s: 0.0, monitored: None }
}

// Own rule: a rack that passed narrowly can be in doubt like any other that passed, so that the doubt is told of both
// together and is no part of the number of either.
#[test]
fn racks_in_doubt_are_told_of_narrow_ones_too() {
    let narrow = Counts { narrow: 3, ..Counts::default() };
    for (counts, in_doubt, english, spanish) in [
        (
            Counts { pass: 1, ..narrow },
            4,
            "narrow: 3, pass: 1; 4 of those that passed, narrowly or plainly, are in doubt",
            "justa: 3, correcta: 1; 4 de las correctas, justas o no, están en duda",
        ),
        (
            narrow,
            1,
            "narrow: 3; 1 of those that passed, narrowly or plainly, is in doubt",
            "justa: 3; 1 de las correctas, justas o no, está en duda",
        ),
        (narrow, 0, "3 racks – narrow: 3; alerts open", "3 canastas – justa: 3; alertas abiertas"),
    ] {
        let days = vec![DayDigest { date: "2026-11-25".to_owned(), counts, in_doubt }];
        let digest = Digest { machines: vec![washed("dm1", counts, in_doubt)], days, ..day() };
        for (language, told) in [(Language::English, english), (Language::Spanish, spanish)] {
            let message = compose(&digest, &facts(language, Scale::Celsius), None);
            assert!(message.subject.contains(told), "{told}: {}", message.subject);
            let wanted = if in_doubt > 0 { 3 } else { 1 };
            let found = message.text.matches(told).count();
            assert_eq!(found, wanted, "in all, of the machine and of the day: {}", message.text);
        }
    }
}
