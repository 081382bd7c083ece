//! What is proposed for what was seen, and that it loads.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

use super::heard::Heard;
use super::propose::{Found, for_text, for_units};
use super::shapes::{leave_out_repeated, rows};
use crate::config::load::Loaded;
use crate::config::modbus::{ModbusLine, ModbusLink};
use crate::config::resolve::Configuration;
use crate::config::source::{Parity, SourceKind};
use crate::probe::scan::PortSettings;
use crate::wire::directory::WireUnit;
use crate::wire::registers::Function;

fn words(first: u16, words: &[u16]) -> BTreeMap<u16, u16> {
    (first..=u16::MAX).zip(words.iter().copied()).collect()
}

/// Registers with the presets that are proposed for them.
fn proposed(first: u16, of: &[u16]) -> Vec<(u16, &'static str, f64)> {
    let rows = rows(&words(first, of));
    rows.iter()
        .filter_map(|row| {
            let preset = row.proposed?;
            Some((row.register, preset, row.celsius[preset]))
        })
        .collect()
}

// Words computed with another program (IEEE 754 by Python's struct); the choice is our own, stated
// at `shapes`.
#[test]
fn a_register_is_proposed_by_the_shape_that_is_plausible() {
    for (of, expected) in [
        (&[822_u16][..], &[(0, "tenths", 82.2)][..]),
        (&[82], &[(0, "whole", 82.0)]),
        (&[8_220], &[(0, "hundredths", 82.2)]),
        // The edges: 10 °C is plausible, 100 °C and what lies below 10 °C is not.
        (&[10], &[(0, "whole", 10.0)]),
        (&[1_000], &[(0, "hundredths", 10.0)]),
        (&[9_999], &[(0, "hundredths", 99.99)]),
        (&[10_000], &[]),
        (&[9], &[]),
        (&[0], &[]),
        // Values for faults, and a negative one.
        (&[0x7FFF], &[]),
        (&[0x8000], &[]),
        (&[0xFFFF], &[]),
        (&[(-50_i16).cast_unsigned()], &[]),
        // 82.5 is 42A50000, 60.25 is 42710000.
        (&[0x42A5, 0x0000, 0x4271, 0x0000], &[(0, "float", 82.5), (2, "float", 60.25)]),
        (&[0x0000, 0x42A5, 0x0000, 0x4271], &[(0, "float-swapped", 82.5), (2, "float-swapped", 60.25)]),
        // A NaN in place of the first; half a float at the end.
        (&[0x0000, 0x7FC0, 0x0000, 0x4271], &[(2, "float-swapped", 60.25)]),
        (&[0x42A5], &[]),
        // Whole numbers beside each other, a run signal behind them.
        (&[655, 822, 0, 1], &[(0, "tenths", 65.5), (1, "tenths", 82.2)]),
    ] {
        assert_eq!(proposed(0, of), expected, "{of:04x?}");
    }
}

#[test]
fn what_both_functions_give_is_proposed_once() {
    let before = rows(&words(0, &[822, 655, 300]));
    // A little warmer; by more than 2 K another value; a register that was no temperature before.
    let mut again = rows(&words(0, &[830, 700, 301, 400]));
    leave_out_repeated(&mut again, &before);
    let proposed: Vec<u16> =
        again.iter().filter(|row| row.proposed.is_some()).map(|row| row.register).collect();
    assert_eq!(proposed, [1, 3]);
    assert_eq!(again[0].plausible, ["tenths"], "it is shown all the same");
}

#[test]
fn the_last_register_of_all_has_none_behind_it() {
    assert_eq!(proposed(65_534, &[0, 822]), [(65_535, "tenths", 82.2)]);
}

fn load(proposal: &str) -> Loaded {
    let directory = tempfile::TempDir::new().expect("a directory");
    let file = directory.path().join("gateway.toml");
    std::fs::write(&file, proposal).expect("a temporary file");
    Configuration::load(&[file], []).unwrap_or_else(|problems| panic!("{problems:#?}\n{proposal}"))
}

fn line() -> ModbusLink {
    ModbusLink::Rtu(ModbusLine {
        device: PathBuf::from("/dev/serial/by-id/usb-a \"b\"\nc"),
        baud: 9_600,
        parity: Parity::None,
        stop_bits: 2,
        turnaround: Duration::from_millis(4),
    })
}

fn found(unit: u8, function: Function, first: u16, of: &[u16], together_max: Option<u16>) -> Found {
    Found { unit, function, together_max, late: None, rows: rows(&words(first, of)) }
}

#[test]
fn what_is_proposed_for_units_loads() {
    let all = [
        found(1, Function::Input, 0, &[655, 822, 0, 1], Some(1)),
        found(1, Function::Holding, 8, &[0x42A5, 0], None),
        found(2, Function::Input, 0, &[0, 0], None),
        found(7, Function::Holding, 30, &[8_220], None),
    ];
    let text = for_units(&line(), &all, "bar").expect("three registers are plausible");
    let loaded = load(&text);
    let configuration = &loaded.configuration;
    assert_eq!(configuration.machines.len(), 1);
    assert_eq!(configuration.channels.len(), 4, "{text}");
    let SourceKind::Modbus(source) = &configuration.sources[0].kind else { panic!("{text}") };
    let ModbusLink::Rtu(read) = &source.link else { panic!("{text}") };
    assert_eq!((read.baud, read.parity, read.stop_bits), (9_600, Parity::None, 2));
    assert_eq!(read.device, PathBuf::from("/dev/serial/by-id/usb-a \"b\"\nc"), "quoted as it is");
    let units: Vec<(u8, u16, usize)> =
        source.units.iter().map(|unit| (unit.address, unit.block_max, unit.registers.len())).collect();
    assert_eq!(units, [(1, 2, 3), (7, 125, 1)], "unit 2 has nothing to propose");
    assert!(text.contains("final-rinse\"    # DECIDE"), "a person says which it is:\n{text}");
    assert_eq!(text.matches("place = \"other\"").count(), 3, "the others are recorded, not judged:\n{text}");

    let tcp = ModbusLink::Tcp { host: "192.0.2.10".to_owned(), port: 1_502 };
    let text = for_units(&tcp, &all, "dm1").expect("the same");
    let SourceKind::Modbus(source) = &load(&text).configuration.sources[0].kind else { panic!("{text}") };
    assert!(matches!(&source.link, ModbusLink::Tcp { host, port: 1_502 } if host == "192.0.2.10"));
    assert_eq!(for_units(&line(), &all[2..3], "dm1"), None, "zeros are no temperatures");
    assert_eq!(for_units(&line(), &[], "dm1"), None);
}

fn heard(lines: &[&str]) -> Heard {
    let mut heard = Heard::default();
    heard.feed(Duration::ZERO, b"se 82.2\n");
    for line in lines {
        heard.feed(Duration::from_secs(1), line.as_bytes());
        heard.feed(Duration::from_secs(1), b"\r\n");
    }
    heard
}

fn port() -> PortSettings {
    PortSettings { device: PathBuf::from("/dev/ttyUSB0"), baud: 57_600, parity: Parity::None, stop_bits: 1 }
}

// Forms of RFC 8428 §4 and of `wire::plain`.
#[test]
fn what_is_proposed_for_lines_loads() {
    for (what, lines, channels, said) in [
        (
            "a SenML node",
            &[
                r#"[{"bn":"dm1/","n":"wash","u":"Cel","v":66.1},{"n":"rinse","u":"Cel","v":82.4},{"n":"running","vb":true}]"#,
            ][..],
            3,
            &["probes = [\"rinse\", \"running\", \"wash\"]"][..],
        ),
        (
            "two machines, one in °F, one without a known place",
            &[r#"[{"n":"a/rinse","u":"degF","v":181}]"#, r#"[{"n":"b/boiler","u":"Cel","v":80}]"#],
            2,
            &["signal = \"fahrenheit\"", "place = \"final-rinse\"    # DECIDE", "name = \"b\""],
        ),
        (
            "plain lines, a broken probe among them, and a name without a machine",
            &["dm1/wash 66.1", "dm1/rinse: open-circuit", "dm1/wash=66.2", "room 21.5"],
            2,
            &["format = \"plain\"", "«room» cannot be used", "«dm1/room»"],
        ),
        ("no final rinse", &["dm1/wash 66.1"], 2, &["no probe of the final rinse was seen"]),
        (
            "a thermocouple with its cold junction",
            &[r#"[{"n":"dm1/rinse","u":"V","v":0.0033},{"n":"dm1/cold-junction","u":"Cel","v":24}]"#],
            2,
            &["thermocouple = \"K\"       # DECIDE"],
        ),
        (
            "a thermocouple without, and a Pt100",
            &[r#"[{"n":"dm1/wash","u":"V","v":0.0033},{"n":"dm1/rinse","u":"Ohm","v":131.2}]"#],
            1,
            &["«dm1/wash» is left out", "signal = \"pt100\""],
        ),
        (
            "a chemical machine",
            &["dm2/rinse 49.5", "dm2/sanitizer 100", "dm2/ph 7.1", "dm2/door true"],
            3,
            &["«dm2/door» is left out"],
        ),
    ] {
        let text = for_text(&port(), &heard(lines), "dm1").unwrap_or_else(|| panic!("{what}: nothing"));
        assert_eq!(load(&text).configuration.channels.len(), channels, "{what}:\n{text}");
        for part in said.iter().chain(&["device = \"/dev/ttyUSB0\"", "baud = 57600"]) {
            assert!(text.contains(part), "{what} lacks {part}:\n{text}");
        }
    }
    for lines in [&["room 21.5"][..], &["dm1/door true"], &[]] {
        assert_eq!(for_text(&port(), &heard(lines), "dm1"), None, "{lines:?}");
    }
}

#[test]
fn a_rate_is_the_right_one_where_most_lines_can_be_read() {
    for (lines, legible) in [
        (&["dm1/rinse 82.2", "dm1/rinse 82.3"][..], true),
        (&["dm1/rinse 82.2"], false),
        (&["dm1/rinse 82.2", "dm1/rinse 82.3", "booting", "\u{fffd}x\u{fffd}"], false),
        (&["dm1/rinse 82.2", "dm1/rinse 82.3", "booting"], true),
        (&["\u{fffd}\u{1}", "\u{2}\u{fffd} 1"], false),
        (&["[]", "[{\"n\":\"dm1/rinse\"}]", "[{"], false),
    ] {
        assert_eq!(heard(lines).legible(), legible, "{lines:?}");
    }
    let heard = heard(&["dm1/x open-circuit", "dm1/x true", "dm1/x 1"]);
    let channel = heard.channels["dm1/x"];
    assert_eq!(
        (channel.unit, channel.count),
        (WireUnit::Flag, 3),
        "a fault says no unit, the first value does"
    );
}
