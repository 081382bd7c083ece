use super::super::row::samples;
use super::*;

fn print(colour: bool, rows: &[CycleRow]) -> String {
    let zone = TimeZone::get("America/New_York").expect("the zone data base is built in");
    let mut table = Table::new(Style { zone, colour, advice: false });
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
    assert!(coloured.contains("\u{1b}[1;31m✗ cold    \u{1b}[0m"), "{coloured}");
}

#[test]
fn an_empty_table_says_so() {
    assert_eq!(print(false, &[]), "No cycle on record for this choice.\n");
}
