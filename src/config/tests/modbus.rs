//! Modbus sources: units, registers, notations, and what a line can carry.

use super::*;
use crate::config::modbus::{ModbusLink, ModbusSource};
use crate::core::reading::{Fault as Reading, Value};
use crate::wire::registers::{Function, RegisterType, WordOrder};

const PROBES: &str = "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n\
                      probes = [\"wash\", \"rinse\", \"running\"]\n";

fn rtu(line: &str, units: &str) -> String {
    format!(
        "{PROBES}[[source]]\nname = \"bus\"\nkind = \"modbus-rtu\"\ndevice = \"/dev/ttyUSB0\"\n{line}\n{units}"
    )
}

fn unit(keys: &str, registers: &[&str]) -> String {
    let register = |keys: &&str| format!("[[source.unit.register]]\n{keys}\n");
    format!("[[source.unit]]\n{keys}\n{}", registers.iter().map(register).collect::<String>())
}

fn source(text: &str) -> ModbusSource {
    let SourceKind::Modbus(source) = good(&[text]).sources.remove(0).kind else {
        panic!("a Modbus source");
    };
    source
}

const RINSE: &str = "probe = \"dm1/rinse\"\nfunction = 4\naddress = 0";

#[test]
fn a_line_takes_what_the_standard_has_where_nothing_is_said() {
    let source = source(&rtu("", &unit("address = 1", &[RINSE])));
    let ModbusLink::Rtu(line) = &source.link else { panic!("a line") };
    // MODBUS over Serial Line V1.02 §2.5.1: 19,200 baud, even parity, one stop bit; 3.5 characters.
    assert_eq!((line.baud, line.parity, line.stop_bits), (19_200, crate::config::source::Parity::Even, 1));
    assert_eq!(line.turnaround.as_micros(), 2_005);
    let unit = &source.units[0];
    assert_eq!((unit.poll, unit.time_out), (Duration::from_millis(250), Duration::from_millis(200)));
    let register = &unit.registers[0];
    assert_eq!((register.function, register.address), (Function::Input, 0));
    assert_eq!(register.shape.read(&[82], register.unit), Value::Number(82.0));
}

#[test]
fn presets_are_shapes_and_a_key_beside_them_wins() {
    for (keys, kind, order, words, expected) in [
        ("preset = \"tenths\"", RegisterType::I16, WordOrder::HighFirst, &[822][..], 82.2),
        ("preset = \"hundredths\"", RegisterType::I16, WordOrder::HighFirst, &[8_220], 82.2),
        ("preset = \"tenths\"\ntype = \"u16\"", RegisterType::U16, WordOrder::HighFirst, &[40_000], 4_000.0),
        ("preset = \"tenths\"\nscale = 0.5", RegisterType::I16, WordOrder::HighFirst, &[164], 82.0),
        ("preset = \"float\"", RegisterType::F32, WordOrder::HighFirst, &[0x428F, 0], 71.5),
        ("preset = \"float-swapped\"", RegisterType::F32, WordOrder::LowFirst, &[0, 0x428F], 71.5),
        (
            "type = \"i32\"\nscale = 0.01\noffset = -10",
            RegisterType::I32,
            WordOrder::HighFirst,
            &[0, 9_220],
            82.2,
        ),
    ] {
        let source = source(&rtu("", &unit("address = 1", &[&format!("{RINSE}\n{keys}")])));
        let register = &source.units[0].registers[0];
        assert_eq!((register.shape.kind, register.shape.order), (kind, order), "{keys}");
        let Value::Number(value) = register.shape.read(words, register.unit) else { panic!("{keys}") };
        assert!((value - expected).abs() < 1e-9, "{keys}: {value}");
    }
    let faults = format!("{RINSE}\nfault-values = [-32768, \"0x7fff open-circuit\"]");
    let source = source(&rtu("", &unit("address = 1", &[&faults])));
    let shape = &source.units[0].registers[0].shape;
    assert_eq!(shape.read(&[0x8000], WireUnit::Celsius), Value::Fault(Reading::Reported));
    assert_eq!(shape.read(&[0x7FFF], WireUnit::Celsius), Value::Fault(Reading::OpenCircuit));
}

#[test]
fn a_source_delivers_the_probes_of_its_registers() {
    let text = rtu("", &unit("address = 1", &[RINSE]));
    let loaded = load(&[&text], &[]).expect("a legal configuration");
    let directory = &loaded.configuration.sources[0].directory;
    assert!(directory.find("dm1/rinse").is_some());
    assert!(directory.find("dm1/wash").is_none(), "no register has it");
    let told: Vec<String> = loaded.warnings.iter().map(|warning| warning.key.clone()).collect();
    assert_eq!(told, ["[[probe]] dm1/wash", "[[probe]] dm1/running"], "nobody delivers these");
}

// The notation of manuals: 30001 for input register 0, 40001 for holding register 0 (common
// practice; MODBUS Application Protocol V1.1b3 §4.4 counts from 0 on the wire).
#[test]
fn the_notation_of_manuals_is_refused_with_the_number_to_write() {
    for (written, advice) in [
        ("30001", "0 with function = 4"),
        ("40001", "0 with function = 3"),
        ("40108", "107 with function = 3"),
        ("\"40108\"", ""),
        ("400108", "107 with function = 3"),
    ] {
        let register = format!("probe = \"dm1/rinse\"\nfunction = 3\naddress = {written}");
        let problems = load(&[&rtu("", &unit("address = 1", &[&register]))], &[]).expect_err("it is refused");
        let said = Diagnostic::from(&problems[0]).to_string();
        assert!(said.contains("config-value") && said.contains(advice), "{said}");
    }
    let register = "probe = \"dm1/rinse\"\nfunction = 3\naddress = \"0x9c41\"";
    let loaded = load(&[&rtu("", &unit("address = 1", &[register]))], &[]).expect("meant as it is");
    let again = load(&[loaded.to_toml()], &[]).expect("its canonical text");
    let SourceKind::Modbus(source) = &again.configuration.sources[0].kind else { panic!("a Modbus source") };
    assert_eq!(source.units[0].registers[0].address, 40_001);
}

#[test]
fn mistakes_are_told_all_at_once_each_at_its_place() {
    let text = rtu(
        "stop-bits = 3",
        &[
            unit("address = 0", &["probe = \"dm1/rinze\"\nfunction = 5\naddress = 70000"]),
            unit("address = 1", &[RINSE, RINSE]),
            unit("address = 1", &["probe = \"dm1/wash\"\nfunction = 3\naddress = 65535\ntype = \"f32\""]),
            unit("address = 248\npoll = \"1ms\"", &[]),
            unit(
                "address = 7",
                &["probe = \"dm1/running\"\nfunction = 3\naddress = 1\nscale = 0\nword-order = \"low-first\"\nfault-values = [\"70000\"]"],
            ),
        ]
        .concat(),
    );
    let source = "[[source]] bus";
    assert_eq!(
        problems(&[&text], &[]),
        [
            format!("config-value {source}, stop-bits"),
            format!("config-value {source}, unit 1, address"),
            format!("config-name {source}, unit 1, register 1, probe"),
            format!("config-value {source}, unit 1, register 1, function"),
            format!("config-value {source}, unit 1, register 1, address"),
            format!("config-value {source}, unit 2, register 2, probe"),
            format!("config-value {source}, unit 3, address"),
            format!("config-value {source}, unit 3, register 1, address"),
            format!("config-missing {source}, unit 4, register"),
            format!("config-value {source}, unit 4, address"),
            format!("config-value {source}, unit 4, poll"),
            format!("config-value {source}, unit 5, register 1, scale"),
            format!("config-value {source}, unit 5, register 1, word-order"),
            format!("config-value {source}, unit 5, register 1, fault-values"),
        ]
    );
    let none = "kind = \"modbus-tcp\"\nhost = \"192.0.2.1\"\n";
    let told = problems(&[&format!("{PROBES}[[source]]\nname = \"b\"\n{none}")], &[]);
    assert_eq!(told, ["config-missing [[source]] b, unit"]);
    let baud =
        format!("{PROBES}[[source]]\nname = \"b\"\n{none}baud = 9600\n{}", unit("address = 0", &[RINSE]));
    assert_eq!(problems(&[&baud], &[]), ["config-key [[source]] b, baud"], "TCP has no baud rate");
}

// 32 units of 8 registers: 8 and 21 bytes of 11 bits each and two silences (computed by hand).
#[test]
fn a_line_that_cannot_carry_it_is_doubtful() {
    let warned = |line: &str, units: String| {
        let loaded = load(&[&rtu(line, &units)], &[]).expect("legal");
        let told: Vec<String> = loaded.warnings.iter().map(|one| Diagnostic::from(one).to_string()).collect();
        told.iter().find(|told| told.contains("[[source]] bus")).cloned()
    };
    let one = || unit("address = 1\npoll = \"10ms\"\ntime-out = \"5ms\"", &[RINSE]);
    assert_eq!(warned("baud = 115200", one()), None);
    let told = warned("baud = 1200", one()).expect("15 bytes at 1,200 baud take 137 ms");
    assert!(told.contains("% of the line at 1200 baud"), "{told}");
    let two = |time_out: &str| {
        let wash = "probe = \"dm1/wash\"\nfunction = 4\naddress = 0";
        unit(&format!("address = 1\ntime-out = \"{time_out}\""), &[RINSE]) + &unit("address = 2", &[wash])
    };
    assert_eq!(warned("", two("200ms")), None);
    let told = warned("", two("240ms")).expect("240 ms and the other requests are more than 250 ms");
    assert!(told.contains("unit 1 falls silent"), "{told}");
    // Over TCP a new connection may take as long as the time-out again.
    let tcp = |time_out: &str| {
        let source = "[[source]]\nname = \"bus\"\nkind = \"modbus-tcp\"\nhost = \"192.0.2.1\"\n";
        let units =
            two(time_out).replace("address = 2\n", &format!("address = 2\ntime-out = \"{time_out}\"\n"));
        let loaded = load(&[&format!("{PROBES}{source}{units}")], &[]).expect("legal");
        let told: Vec<String> = loaded.warnings.iter().map(|one| Diagnostic::from(one).to_string()).collect();
        told.iter().find(|told| told.contains("[[source]] bus")).cloned()
    };
    assert_eq!(tcp("125ms"), None);
    let told = tcp("130ms").expect("twice 130 ms are more than 250 ms");
    assert!(told.contains("its time-out of 130ms and as long for a new connection"), "{told}");
}
