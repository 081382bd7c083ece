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

// Own rule: a check that was made is not missing, also where its alert is not closed yet and still names it.
#[test]
fn a_check_that_was_made_is_not_missing() {
    let mut digest = day();
    for alert in digest.open.iter_mut().filter(|alert| alert.condition == Condition::CheckOverdue) {
        alert.cleared = Some(at("2026-11-26T11:50:00Z"));
    }
    for (language, open, missing, told) in [
        (
            Language::English,
            "alerts open: 2",
            ["missing", "drain and clean"],
            "18: Check overdue – dish machine 1, since Wed 25 Nov 2026, 13:00 EST\n  recovered, not closed yet\n",
        ),
        (
            Language::Spanish,
            "alertas abiertas: 2",
            ["faltan", "vaciado y limpieza"],
            "18: Control atrasado – dish machine 1, desde el mié 25 nov 2026, 13:00 EST\n  recuperada, aún sin cerrar\n",
        ),
    ] {
        let facts = facts(language, Scale::Celsius);
        let message = compose(&digest, &facts, None);
        assert!(message.subject.contains(open) && message.text.contains(told), "{}", message.text);
        let lasting = compose(&day(), &facts, None).text;
        for missing in missing {
            assert!(lasting.contains(missing), "{missing}: {lasting}");
            assert!(!message.text.contains(missing), "{missing}: {}", message.text);
        }
    }
}

// Own rule: of many machines those with bad racks, or racks in doubt, are named first, and none is passed over as good.
#[test]
fn a_machine_with_racks_in_doubt_is_not_passed_over_as_good() {
    let good = Counts { pass: 40, unproven: 1, ..Counts::default() };
    let many = |doubted: usize| {
        let machine =
            |place: usize| washed(&format!("dm{place:02}"), good, if place > 20 - doubted { 30 } else { 0 });
        Digest { machines: (1..=20).map(machine).collect(), ..day() }
    };
    let bad = washed("dm00", Counts { cold: 29, ..good }, 0);
    for (language, folded, listed) in [
        (
            Language::English,
            "- 9 more without a rack that is bad or in doubt\n",
            "- 9 more, see the page or the command «history»\n",
        ),
        (
            Language::Spanish,
            "- 9 más sin ninguna canasta mala ni en duda\n",
            "- 9 más, vea la página o la orden «history»\n",
        ),
    ] {
        let facts = facts(language, Scale::Celsius);
        let mut digest = many(1);
        digest.machines.push(bad.clone());
        let text = compose(&digest, &facts, None).text;
        let of = |machine: &str| text.find(&format!("- {machine}: "));
        assert!(of("dm20").is_some() && of("dm20") < of("dm00") && of("dm00") < of("dm01"), "{text}");
        assert!(text.contains(folded), "{text}");
        let mut digest = many(13);
        digest.machines.push(bad.clone());
        let text = compose(&digest, &facts, None).text;
        assert!(text.contains(listed) && !text.contains(folded), "{text}");
    }
}

#[test]
fn a_machine_without_operating_hours_is_told_as_such() {
    let pass = Counts { pass: 2, ..Counts::default() };
    for (language, told) in [
        (Language::English, "- dm1: 2 racks, all passed\n  No operating hours\n"),
        (Language::Spanish, "- dm1: 2 canastas, todas correctas\n  Sin horas de servicio\n"),
    ] {
        let digest = Digest { machines: vec![washed("dm1", pass, 0)], ..day() };
        let text = compose(&digest, &facts(language, Scale::Celsius), None).text;
        assert!(text.contains(told), "{text}");
    }
}
