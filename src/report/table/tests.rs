use super::super::row::samples;
use super::*;
use crate::core::record::{Amendment, AmendmentChange, Body, Record};

fn print(colour: bool, rows: &[CycleRow]) -> String {
    print_on(Scale::Celsius, colour, rows)
}

fn print_on(scale: Scale, colour: bool, rows: &[CycleRow]) -> String {
    let zone = TimeZone::get("America/New_York").expect("the zone data base is built in");
    let mut table = Table::new(Style { zone, colour, advice: false, scale });
    let mut out = Vec::new();
    for row in rows {
        table.write_row(&mut out, row).expect("a vector takes everything");
    }
    table.finish(&mut out).expect("a vector takes everything");
    String::from_utf8(out).expect("a table is text")
}

// 2023-11-14T22:14:05Z is 17:14:05 in New York (UTC−05:00, IANA time zone data base).
#[test]
fn a_table_reads_like_this() {
    let golden = "tests/golden/table.txt";
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(golden);
    let printed = print(false, &samples::rows());
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(&path, &printed).expect("the golden file can be written");
    }
    let expected = std::fs::read_to_string(&path).expect("the golden file is there");
    assert_eq!(printed, expected, "UPDATE_GOLDEN=1 rewrites {golden}");
}

#[test]
fn fits_its_width_and_colours_only_when_asked() {
    for line in print(false, &samples::rows()).lines() {
        assert!(line.chars().count() <= WIDTH, "{line}");
        assert!(!line.contains('\u{1b}'), "{line:?}");
    }
    let coloured = print(true, &samples::rows());
    assert!(coloured.contains("\u{1b}[1;31m✗ cold     \u{1b}[0m"), "{coloured}");
}

#[test]
fn an_empty_table_says_so() {
    assert_eq!(print(false, &[]), "No cycle on record for this choice.\n");
}

// Late records and amendments stand below their row and are counted. 71.31 °C are 160.358 °F and
// 82.222 °C are 179.9996 °F by definition of the scales.
#[test]
fn late_and_amended_racks_show_as_such() {
    let cycle = samples::cycle(240, Verdict::Cold, 71.31, Vec::new());
    let at = cycle.rinse_ended.plus(std::time::Duration::from_secs(7_200));
    let record = Record::new(at, None, Body::Cycle(Box::new(cycle.clone())));
    let amendment = Amendment {
        of: 41,
        reason: "the rack was\u{1b}[2J washed again".to_owned(),
        by: "Ana".to_owned(),
        change: AmendmentChange::Comment,
    };
    let row = CycleRow::new("dm1", &cycle, Some(41))
        .recorded(&record)
        .amended(&[(57, Some(amendment)), (58, None)]);
    let printed = print_on(Scale::Fahrenheit, false, &[row]);
    for part in [
        "160.4 /180.0 °F",
        "+ Late: recorded at 2023-11-14 19:18 (America/New_York), more than an hour after it.",
        "+ Amended by record 57: «the rack was [2J washed again» (Ana).",
        "+ Record 58 speaks of it and is damaged.",
        "Of these 1 recorded late, 1 amended (+).",
    ] {
        assert!(printed.contains(part), "«{part}» in {printed}");
    }
    assert!(!printed.contains('\u{1b}'));
}

// Own promise: a minimum that was not judged is shown as that, also where it would have been corrected.
#[test]
fn a_minimum_that_was_not_judged_shows_as_such() {
    let mut cycle = samples::cycle(240, Verdict::Pass, 84.56, Vec::new());
    cycle.put_in_doubt(crate::core::cycle::verdict::Reason::WorkedOn);
    for (corrected, shown) in [(None, " 84.6 / 82.2 °C^ "), (Some(83.21), " 83.2 / 82.2 °C^ ")] {
        cycle.rinse_min_corrected_c = corrected;
        let printed = print(false, &[CycleRow::new("dm1", &cycle, Some(7))]);
        let is_told = printed.contains("^ a minimum that was not judged") && !printed.contains('*');
        assert!(printed.contains(shown) && is_told, "{printed}");
    }
    (cycle.rinse_min_raw_c, cycle.rinse_min_corrected_c) = (None, None);
    let printed = print(false, &[CycleRow::new("dm1", &cycle, Some(7))]);
    assert!(printed.contains("    - / 82.2 °C ") && !printed.contains('^'), "{printed}");
}
