//! Racks in doubt, those of work on a machine, and what is told at one rack.

use super::*;
use crate::core::time::Timestamp;
use crate::report::account::{CoveredAccount, DoubtedAccount};

/// A rack that passed and that these alerts put in doubt.
fn in_doubt(index: u64, at: Timestamp, alerts: &[u64]) -> DoubtedAccount {
    DoubtedAccount {
        index,
        at,
        verdict: Verdict::Pass,
        rinse_min_c: Some(83.4),
        limit_c: 82.2,
        wash_min_c: None,
        wash_limit_c: 65.6,
        alerts: alerts.to_vec(),
        covered: Vec::new(),
    }
}

// Own rule: racks in doubt are listed as those that did not pass are, each with when, what it measured, its limits and
// the alert; behind so many the rest is counted, with where it stands.
#[test]
fn racks_in_doubt_are_listed_up_to_a_bound() {
    let mut account = samples::month();
    let at = account.from;
    let heading = "Racks that passed and are in doubt";
    assert!(!headings(&made(&account, Language::English, Scale::Celsius)).contains(&heading.to_owned()));
    account.machines[0].in_doubt = (0..1_007).map(|index| in_doubt(index, at, &[12, 13])).collect();
    account.machines[1].in_doubt_left_out = 3;
    // Those of it that lie outside the span are no racks of the report.
    account.alerts[0].doubted = 4_000;
    let sheet = made(&account, Language::English, Scale::Celsius);
    let told = sheet.blocks.iter().any(|block| {
        let row = ("Racks that passed and are in doubt".to_owned(), "1010".to_owned());
        matches!(block, Block::Rows { rows } if rows.contains(&row))
    });
    assert!(told, "{:?}", texts(&sheet));
    assert!(headings(&sheet).contains(&heading.to_owned()));
    let rows: Vec<&Vec<String>> = sheet
        .blocks
        .iter()
        .filter_map(|block| if let Block::Table(table) = block { Some(&table.rows) } else { None })
        .flatten()
        .filter(|row| row.iter().any(|cell| cell == "12, 13"))
        .collect();
    assert_eq!(rows.len(), 1_000);
    assert!(rows[0].iter().any(|cell| cell == "83.4 °C against 82.2 °C"), "{:?}", rows[0]);
    assert!(rows[0].iter().any(|cell| cell == "none; limit 65.6 °C"), "{:?}", rows[0]);
    let texts = texts(&sheet);
    assert!(texts.iter().any(|text| text.contains("a comparison of a thermometer: 1010.")), "{texts:?}");
    assert!(
        texts.iter().any(|text| text.starts_with("10 more are not listed") && text.contains("in_doubt_by"))
    );
}

// Regression: of a rack in doubt by two alerts one cell named the records of both together, though one had no action, and of
// an alert without any action it said nothing. Own promise: it says of each alert what covers the rack.
#[test]
fn a_rack_in_doubt_says_of_each_alert_what_covers_it() {
    for (language, none, unknown, record, both) in [
        (
            Language::English,
            "none yet",
            "not known",
            "record 2009",
            "alert 1: record 2009; alert 2: none yet",
        ),
        (
            Language::Spanish,
            "ninguna todavía",
            "no se sabe",
            "asiento 2009",
            "alerta 1: asiento 2009; alerta 2: ninguna todavía",
        ),
    ] {
        let told = |alerts: &[u64], covered: &[(u64, Vec<u64>)], written: usize, damaged: &[u64]| -> String {
            let mut account = samples::month();
            account.damaged = damaged.to_vec();
            let at = account.from;
            account.alerts.iter_mut().for_each(|alert| alert.actions.truncate(written));
            let covered =
                covered.iter().map(|(alert, own)| CoveredAccount { alert: *alert, actions: own.clone() });
            account.machines[0].in_doubt =
                vec![DoubtedAccount { covered: covered.collect(), ..in_doubt(7, at, alerts) }];
            let sheet = made(&account, language, Scale::Celsius);
            let rows = sheet
                .blocks
                .into_iter()
                .filter_map(|block| if let Block::Table(table) = block { Some(table.rows) } else { None });
            let mut rows = rows.flatten().filter(|row| row.len() == 8 && row[7] == "7");
            rows.next().expect("the rack")[6].clone()
        };
        let acted = (1, vec![2009]);
        assert_eq!(told(&[1], std::slice::from_ref(&acted), 1, &[]), record);
        assert_eq!(told(&[1, 2], &[acted, (2, Vec::new())], 1, &[]), both);
        assert_eq!(told(&[1], &[(1, Vec::new())], 1, &[]), none);
        assert_eq!(told(&[1], &[], 0, &[]), none, "nobody has done anything");
        assert_eq!(told(&[1], &[], 1, &[]), unknown);
        // Regression: where a record could not be read, which may be one of them, there was none yet.
        assert_eq!(told(&[1], &[], 0, &[5]), unknown);
        assert_eq!(told(&[1], &[(1, Vec::new())], 1, &[5]), unknown);
        assert_eq!(told(&[99], &[], 0, &[]), unknown, "not in the account");
    }
}

// Own promise: the summary, the table and the chart of the days say how many of the racks that passed are in doubt.
#[test]
fn sums_days_and_charts_mark_racks_in_doubt() {
    for (language, column, framed, alt) in [
        (Language::English, "In doubt", "as racks that passed: 7.", "of these in doubt: 7."),
        (Language::Spanish, "En duda", "como canastas correctas: 7.", "de ellas en duda: 7."),
    ] {
        let mut account = samples::month();
        let says = |account: &Account, wanted: &str| {
            texts(&made(account, language, Scale::Celsius)).iter().any(|text| text.contains(wanted))
        };
        assert!(!says(&account, framed) && !says(&account, alt));
        (account.machines[0].in_doubt_left_out, account.machines[0].days[0].in_doubt) = (7, 7);
        let sheet = made(&account, language, Scale::Celsius);
        let cells = sheet.blocks.iter().filter_map(|block| {
            let Block::Table(table) = block else { return None };
            let place = table.columns.iter().position(|own| own.title == column)?;
            Some(table.rows[0][place].clone())
        });
        assert_eq!(cells.take(2).collect::<Vec<_>>(), ["7", "7"]);
        assert!(says(&account, framed) && says(&account, alt));
        // Where an alert counts racks of other days, these are told apart.
        (account.alerts[0].doubted, account.alerts[0].doubted_outside) = (9, 2);
        let of =
            if language == Language::English { "are in doubt: 7 of 9" } else { "están en duda: 7 de 9" };
        assert!(says(&account, of));
    }
}

// Own promise: at a rack stands the action that covers it, and no other; where none does, that is said.
#[test]
fn a_rack_names_no_action_that_does_not_cover_it() {
    for (language, covers, none) in [
        (Language::English, "record 2009, covers this rack)", "Alert 1: no action covers this rack yet"),
        (
            Language::Spanish,
            "asiento 2009, abarca esta canasta)",
            "Alerta 1: ninguna acción abarca todavía esta canasta",
        ),
    ] {
        let told = |covered: Option<Vec<u64>>| -> Vec<String> {
            let mut account = samples::month();
            for machine in &mut account.machines {
                machine.exceptions.retain(|one| one.alerts == [1]);
                machine.exceptions.truncate(1);
            }
            let own = account.machines.iter_mut().find_map(|machine| machine.exceptions.first_mut());
            let covered = covered.map(|actions| CoveredAccount { alert: 1, actions });
            own.expect("a cold rack").covered = covered.into_iter().collect();
            let sheet = made(&account, language, Scale::Celsius);
            let racks = sheet
                .blocks
                .into_iter()
                .filter_map(|block| if let Block::Rack(rack) = block { Some(rack.rows) } else { None });
            racks.flatten().map(|(_, told)| told).filter(|told| told.contains("Alert")).collect()
        };
        let [one] = told(Some(vec![2009])).try_into().expect("one action");
        assert!(one.contains(covers), "{one}");
        assert_eq!(told(Some(Vec::new())), [none]);
        assert_eq!(told(None).len(), 2, "what is not known is told as the alert has it");
    }
}

// Own rule: a rack that barely passed and is in doubt is one of those that did not plainly pass, and says by which alert
// it is in doubt; one that no alert names says so, and that a later row may.
#[test]
fn a_narrow_rack_in_doubt_names_its_alert() {
    let mut account = samples::month();
    for machine in &mut account.machines {
        machine.exceptions.retain(|one| one.cycle.verdict == Verdict::Narrow);
        machine.exceptions.truncate(1);
        machine.exceptions.iter_mut().for_each(|one| one.alerts.clear());
    }
    let none = "no alert that this report knows; a later one may count this rack";
    let rows = |account: &Account| -> Vec<String> {
        let sheet = made(account, Language::English, Scale::Celsius);
        let racks = sheet
            .blocks
            .into_iter()
            .filter_map(|block| if let Block::Rack(rack) = block { Some(rack.rows) } else { None });
        racks.flatten().map(|(_, told)| told).filter(|told| told.contains("alert")).collect()
    };
    let before = rows(&account);
    assert!(!before.is_empty() && before.iter().all(|told| told == none), "{before:?}");
    let machine = account.machines.iter_mut().find(|machine| !machine.exceptions.is_empty());
    let machine = machine.expect("a narrow rack");
    let narrow = &machine.exceptions[0];
    machine.in_doubt = vec![DoubtedAccount {
        verdict: Verdict::Narrow,
        rinse_min_c: narrow.cycle.rinse_min_c,
        limit_c: narrow.cycle.limit_c,
        ..in_doubt(narrow.index, narrow.cycle.rinse_started, &[12])
    }];
    let after = rows(&account);
    assert_eq!(after.len(), before.len());
    assert!(after.contains(&"in doubt by alert 12".to_owned()), "{after:?}");
}

// Own rule: a rack of work on the machine proves nothing, so its trace is not drawn; it is listed all the same.
#[test]
fn racks_of_work_are_one_table_without_traces() {
    let mut account = samples::month();
    let drawn = |account: &Account| {
        let sheet = made(account, Language::English, Scale::Celsius);
        sheet.blocks.iter().filter(|block| matches!(block, Block::Rack(_))).count()
    };
    let before = drawn(&account);
    let own = account.machines[0].exceptions.iter_mut().find(|one| one.cycle.findings.is_empty());
    let rack = own.expect("a rack without a finding");
    (rack.cycle.verdict, rack.cycle.reasons) = (Verdict::Unproven, Vec::new());
    rack.cycle.rinse_min_raw_c = Some(62.611);
    rack.cycle.put_in_doubt(Reason::WorkedOn);
    let index = rack.index.to_string();
    assert_eq!(drawn(&account), before - 1);
    let texts = texts(&made(&account, Language::English, Scale::Celsius));
    assert!(texts.contains(&"Racks made while somebody worked on the machine".to_owned()));
    assert!(texts.contains(&index));
    let told =
        |text: &String| text.starts_with("62.6 °C against ") && text.ends_with("not judged (worked on)");
    assert!(texts.iter().any(told), "{texts:?}");
    account.renewals = 61;
    let texts = super::tests::texts(&made(&account, Language::English, Scale::Celsius));
    assert!(texts.iter().any(|text| text.contains("the beginning and the end of the work tell: 61 records")));
}
