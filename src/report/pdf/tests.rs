//! What the sheet says; how it comes out on paper is tested from outside, on the real file.

mod people;
mod racks;

use super::*;
use crate::core::cycle::counts::Counts;
use crate::core::cycle::verdict::{Reason, Verdict};
use crate::report::account::samples;

const ATTACHED: [Attached<'_>; 2] =
    [Attached { name: CYCLES, bytes: 2048 }, Attached { name: ACCOUNT, bytes: 3 << 20 }];

fn options(language: Language, scale: Scale) -> Options {
    Options { paper: Paper::A4, scale, language }
}

fn made(account: &Account, language: Language, scale: Scale) -> Sheet {
    sheet(account, options(language, scale), &ATTACHED).expect("a known zone")
}

/// Every text of the blocks, one after the other.
fn texts(sheet: &Sheet) -> Vec<String> {
    let pairs = |rows: &[(String, String)]| -> Vec<String> {
        rows.iter().flat_map(|(name, value)| [name.clone(), value.clone()]).collect()
    };
    let said = |block: &Block| match block {
        Block::Heading { text, .. } | Block::Text { text, .. } | Block::Code { text } => vec![text.clone()],
        Block::Rows { rows } | Block::Steps { steps: rows } => pairs(rows),
        Block::Table(table) => {
            let titles = table.columns.iter().map(|column| column.title.clone());
            titles.chain(table.rows.iter().flatten().cloned()).collect()
        }
        Block::Plot { alt, .. } => vec![alt.clone()],
        Block::Rack(rack) => {
            let alt = rack.plot.as_ref().map(|(_, alt)| alt.clone());
            let mut all = vec![rack.verdict.clone(), rack.head.clone()];
            all.extend(alt);
            all.extend(pairs(&rack.rows));
            all
        }
        Block::Contents => Vec::new(),
        Block::Caution { lines } => lines.clone(),
    };
    sheet.blocks.iter().flat_map(said).collect()
}

fn headings(sheet: &Sheet) -> Vec<String> {
    let heading = |block: &Block| match block {
        Block::Heading { level: 1, text } => Some(text.clone()),
        Block::Heading { .. }
        | Block::Text { .. }
        | Block::Rows { .. }
        | Block::Table(_)
        | Block::Plot { .. }
        | Block::Rack(_)
        | Block::Steps { .. }
        | Block::Code { .. }
        | Block::Contents
        | Block::Caution { .. } => None,
    };
    sheet.blocks.iter().filter_map(heading).collect()
}

#[test]
fn no_name_is_left_unfilled_and_every_cell_has_its_column() {
    for language in Language::ALL {
        for scale in Scale::ALL {
            let sheet = made(&samples::month(), language, scale);
            for text in texts(&sheet) {
                assert!(!text.contains('{') && !text.contains('}'), "{text}");
            }
            for block in &sheet.blocks {
                if let Block::Table(table) = block {
                    assert!(table.rows.iter().all(|row| row.len() == table.columns.len()));
                }
            }
        }
    }
}

#[test]
fn the_languages_share_their_shape_and_no_heading() {
    let [english, spanish] =
        Language::ALL.map(|language| headings(&made(&samples::month(), language, Scale::Celsius)));
    assert_eq!(english.len(), spanish.len());
    assert_eq!(english.len(), 13, "{english:?}");
    assert!(english.iter().zip(&spanish).all(|(one, other)| one != other));
}

/// Values in °C alone, in °F alone: nobody has to convert, and nothing is told twice.
#[test]
fn one_report_has_one_scale() {
    let account = samples::month();
    for (scale, wanted, other) in [(Scale::Celsius, "°C", "°F"), (Scale::Fahrenheit, "°F", "°C")] {
        let sheet = made(&account, Language::English, scale);
        // What people wrote stays as they wrote it.
        let texts = texts(&sheet).into_iter().filter(|text| !text.contains("Booster element"));
        let texts: Vec<String> = texts.collect();
        assert!(texts.iter().any(|text| text.contains(wanted)));
        let strays: Vec<&String> = texts.iter().filter(|text| text.contains(other)).collect();
        assert!(strays.is_empty(), "{strays:?}");
    }
}

// Own rule, as in `core::reader`; the sample has a rack 0.02 °C = 0.036 °F below 82.222 °C = 180 °F.
#[test]
fn a_value_below_its_limit_never_looks_equal() {
    for (scale, expected) in
        [(Scale::Celsius, "82.20 °C against 82.22 °C"), (Scale::Fahrenheit, "179.96 °F against 180.00 °F")]
    {
        let texts = texts(&made(&samples::month(), Language::English, scale));
        assert!(texts.iter().any(|text| text.starts_with(expected)), "{expected}");
    }
}

// Own rule: shares are rounded down, and an unproven rack is no pass.
#[test]
fn unproven_is_never_a_pass_and_almost_all_is_not_all() {
    let rate = |counts: Counts| {
        let mut account = samples::month();
        account.machines.truncate(1);
        account.machines[0].counts = counts;
        let sheet = made(&account, Language::English, Scale::Celsius);
        let table = sheet.blocks.iter().find_map(|block| {
            let Block::Table(table) = block else { return None };
            (table.columns.len() == 10).then(|| table.rows[0].last().cloned()).flatten()
        });
        table.expect("the table of counts")
    };
    assert_eq!(rate(Counts { unproven: 10, ..Counts::default() }), "0.0 %");
    assert_eq!(rate(Counts { pass: 99_999, unproven: 1, ..Counts::default() }), "99.9 %");
    assert_eq!(rate(Counts { pass: 7, narrow: 3, ..Counts::default() }), "100.0 %");
    assert_eq!(rate(Counts { pass: 1, cold: 2, ..Counts::default() }), "33.3 %");
    assert_eq!(rate(Counts::default()), "–");
}

#[test]
fn what_somebody_caused_and_what_is_in_doubt_is_told() {
    for (language, worked_on, in_doubt) in [
        (
            Language::English,
            "unproven racks that were made while somebody worked on the machine: 3 of 9.",
            "What is in doubt counts for nothing",
        ),
        (
            Language::Spanish,
            "canastas sin comprobar que se hicieron mientras alguien trabajaba en la máquina: 3 de 9.",
            "Lo que está en duda no cuenta",
        ),
    ] {
        let mut account = samples::month();
        let says = |account: &Account, wanted: &str| {
            texts(&made(account, language, Scale::Celsius)).iter().any(|text| text.contains(wanted))
        };
        assert!(!says(&account, in_doubt) && !says(&account, worked_on));
        account.machines[0].counts = Counts { unproven: 9, worked_on: 3, ..Counts::default() };
        account.calibrations[0].doubted = true;
        assert!(says(&account, worked_on) && says(&account, in_doubt));
    }
}

/// Thousands of exceptions: the worst with their trace, the others listed, the rule and the rest told.
#[test]
fn thousands_of_exceptions_are_bounded_and_the_rule_is_told() {
    let mut account = samples::month();
    let (first, count) = (account.machines[0].exceptions.clone(), TRACES_MAX + LISTED_MAX + 25);
    let others = account.machines[1].exceptions.len();
    let narrow = first.iter().find(|rack| rack.cycle.verdict == Verdict::Narrow).expect("a narrow one");
    let many = std::iter::repeat_n(narrow.clone(), count - first.len() - others);
    account.machines[0].exceptions.extend(many);
    let sheet = made(&account, Language::English, Scale::Celsius);
    let racks: Vec<&Rack> = sheet
        .blocks
        .iter()
        .filter_map(|block| if let Block::Rack(rack) = block { Some(rack) } else { None })
        .collect();
    assert_eq!(racks.len(), TRACES_MAX);
    let bad = first.iter().chain(&account.machines[1].exceptions[..others]);
    let cold = bad.filter(|rack| rack.cycle.verdict != Verdict::Narrow).count();
    assert!(racks[..cold].iter().all(|rack| !rack.verdict.contains("narrow")), "the worst come first");
    let listed = sheet
        .blocks
        .iter()
        .filter_map(|block| if let Block::Table(table) = block { Some(table.rows.len()) } else { None });
    assert_eq!(listed.max(), Some(LISTED_MAX));
    let texts = texts(&sheet);
    assert!(texts.iter().any(|text| text.starts_with(&format!("There are {count} of them. The 400 worst"))));
    assert!(texts.iter().any(|text| text.starts_with("25 more are not listed on paper")));
}

#[test]
fn what_the_account_leaves_out_is_said() {
    let mut account = samples::month();
    let left = Counts { unproven: 40, narrow: 2, ..Counts::default() };
    account.machines[0].exceptions_left_out = left;
    account.traces_left_out = 7;
    let rack = &mut account.machines[0].exceptions[0];
    (rack.trace, rack.cycle.trace_sha256) = (None, Some("0".repeat(64)));
    let told: usize = account.machines.iter().map(|machine| machine.exceptions.len()).sum();
    let texts = texts(&made(&account, Language::English, Scale::Celsius));
    let machine = &account.machines[0].machine;
    for wanted in [
        format!("There are {} of them.", told + 42),
        format!(
            "More racks of «{machine}» that are counted above and told neither here nor in account.json, since there were too many: 42"
        ),
        "unproven 40".to_owned(),
        "More traces that are kept and not drawn, since there were too many: 7.".to_owned(),
        "No trace of this rack is drawn".to_owned(),
    ] {
        assert!(texts.iter().any(|text| text.contains(&wanted)), "«{wanted}»: {texts:?}");
    }
}

// Own rule: a report counts the racks of its span, and says where an alert counts others.
#[test]
fn racks_of_an_alert_outside_the_span_are_told_apart() {
    for (language, cell, note) in [
        (Language::English, "1 of 5", "«1 of 5»: of the 5 racks"),
        (Language::Spanish, "1 de 5", "«1 de 5»: de las 5 canastas"),
    ] {
        let mut account = samples::month();
        let says = |account: &Account, wanted: &str| {
            texts(&made(account, language, Scale::Celsius)).iter().any(|text| text.contains(wanted))
        };
        assert!(!says(&account, note), "all of the sample are in its span");
        (account.alerts[0].racks, account.alerts[0].racks_outside) = (5, 4);
        assert!(says(&account, note));
        let texts = texts(&made(&account, language, Scale::Celsius));
        assert!(texts.iter().any(|text| text == cell), "{texts:?}");
    }
}

// Own rule: whoever reads a list knows before it begins which records it leaves out, and where they stand.
#[test]
fn the_list_of_events_says_what_is_not_in_it() {
    for (language, heading, wanted) in [
        (
            Language::English,
            "The program and the record",
            ["log-ins", "refusals", "taken away", "JSON Lines", "evidence", "verify"],
        ),
        (
            Language::Spanish,
            "El programa y el registro",
            ["inicios de sesión", "rechazos", "se llevó", "JSON Lines", "pruebas", "verify"],
        ),
    ] {
        let sheet = made(&samples::month(), language, Scale::Celsius);
        let mut blocks = sheet.blocks.iter();
        blocks.find(|block| matches!(block, Block::Heading { text, .. } if text == heading));
        let before = blocks.map_while(|block| match block {
            Block::Text { text, .. } => Some(text.as_str()),
            Block::Heading { .. }
            | Block::Rows { .. }
            | Block::Table(_)
            | Block::Plot { .. }
            | Block::Rack(_)
            | Block::Steps { .. }
            | Block::Code { .. }
            | Block::Contents
            | Block::Caution { .. } => None,
        });
        let before: Vec<&str> = before.collect();
        for word in wanted {
            assert!(before.iter().any(|text| text.contains(word)), "«{word}»: {before:?}");
        }
    }
}

#[test]
fn an_alert_says_what_it_is_about_and_a_check_what_it_corrects() {
    let mut account = samples::month();
    account.alerts[0].about = vec!["dish-1/rinse".to_owned(), "drain-and-clean".to_owned()];
    account.alerts[0].needs_action = true;
    account.alerts[0].actions.clear();
    account.checks[0].corrects = Some(77);
    let sheet = made(&account, Language::Spanish, Scale::Celsius);
    let texts = texts(&sheet);
    for wanted in [
        ": dish-1/rinse, vaciado y limpieza",
        "Acción correctiva: no consta",
        "corrige el asiento 77",
        // Limits: FDA Food Code 4-501.114(A); 200 mg/L of 40 CFR 180.940.
        "20 mg/L (al menos 25 mg/L)",
        "500 mg/L (como máximo 200 mg/L)",
    ] {
        assert!(texts.iter().any(|text| text.contains(wanted)), "«{wanted}»: {texts:?}");
    }
}

#[test]
fn what_is_not_sealed_or_damaged_is_said_in_a_frame() {
    let mut account = samples::month();
    account.seal = None;
    account.damaged = (7..40).collect();
    let sheet = made(&account, Language::English, Scale::Celsius);
    assert_eq!(sheet.seal, "not sealed");
    let framed: Vec<&String> = sheet
        .blocks
        .iter()
        .filter_map(
            |block| if let Block::Text { text, tone: Tone::Framed } = block { Some(text) } else { None },
        )
        .collect();
    assert!(framed[0].starts_with("NOT SEALED"));
    assert!(
        framed[1].starts_with("DAMAGED: records that could not be read")
            && framed[1].contains(": 33 (7, 8")
            && framed[1].contains("26 and 13 more"),
        "{}",
        framed[1]
    );
    assert!(
        !sheet.blocks.iter().any(|block| matches!(block, Block::Steps { .. })),
        "nothing can be verified"
    );
}

#[test]
fn an_account_of_nothing_is_told() {
    let mut account = samples::span(0);
    account.machines.clear();
    account.alerts.clear();
    account.records.to = account.records.from;
    let sheet = made(&account, Language::Spanish, Scale::Celsius);
    // Said of alerts and checks, feminine and masculine alike.
    assert!(texts(&sheet).contains(&"nada en el período".to_owned()));
    assert!(sheet.plots.is_empty());
}

// Own words: a column of racks is headed by what they are, and a count that may be one agrees with nothing.
#[test]
fn spanish_heads_and_counts_agree_with_what_they_stand_over() {
    let told = format!("{:?}", made(&samples::month(), Language::Spanish, Scale::Celsius));
    for said in ["Correctas", "No correctas", "Mensajes entregados: ", "; se exigen "] {
        assert!(told.contains(said), "{said}");
    }
    for unsaid in ["Pasaron", "No pasaron", " entregados, "] {
        assert!(!told.contains(unsaid), "{unsaid}");
    }
}

#[test]
fn a_zone_that_is_not_known_is_refused() {
    let mut account = samples::month();
    account.zone = "Atlantis/Center".to_owned();
    let refused = sheet(&account, Options::default(), &[]).expect_err("no such zone");
    assert_eq!(refused.zone, "Atlantis/Center");
}

// Own promise: what needs attention counts an early warning once, although both charts signal it.
#[test]
fn an_early_warning_counts_once() {
    let mut account = samples::month();
    let signals: Vec<usize> = account.machines.iter().map(|own| own.drift.signals.len()).collect();
    let warned = signals.iter().filter(|signals| **signals == 2).count();
    assert!(warned > 0 && signals.iter().all(|signals| [0, 2].contains(signals)), "{signals:?}");
    let counted = |account: &Account| {
        let sheet = made(account, Language::English, Scale::Celsius);
        let rows = sheet.blocks.iter().filter_map(|block| {
            if let Block::Rows { rows } = block {
                rows.iter().find(|(name, _)| name == "Early warnings")
            } else {
                None
            }
        });
        rows.map(|(_, count)| count.clone()).collect::<Vec<String>>()
    };
    assert_eq!(counted(&account), [warned.to_string()]);
    account.machines.iter_mut().for_each(|own| own.drift.signals.clear());
    assert_eq!(counted(&account), ["0"]);
}
