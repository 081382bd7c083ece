//! Modbus sources: the line or the address, units, registers, and whether the line can carry it.

use std::collections::BTreeSet;
use std::time::Duration;

use super::source::{Heard, read_device, take_once};
use crate::config::keys::{FUNCTIONS, PARITIES, PRESETS, REGISTER_TYPES, WORD_ORDERS};
use crate::config::modbus::{
    ModbusLine, ModbusLink, ModbusRegister, ModbusSource, ModbusUnit, REQUEST_BYTES, answer_bytes,
    frame_silence,
};
use crate::config::note::Whence;
use crate::config::problem::{Fault, Findings};
use crate::config::raw::Place;
use crate::config::reader::Reader;
use crate::config::source::{Source, SourceKind};
use crate::config::text;
use crate::core::id::ChannelId;
use crate::wire::directory::Directory;
use crate::wire::registers::{FaultValue, FaultValueError, RegisterShape, RegisterType, WordOrder};

/// Addresses of units on a serial line (MODBUS over Serial Line V1.02 §2.2).
const UNITS_RTU: std::ops::RangeInclusive<u8> = 1..=247;

/// Reads a source of Modbus RTU.
pub(super) fn read_rtu(
    reader: &mut Reader<'_>,
    name: String,
    heard: Heard<'_>,
    taken: &mut Vec<(String, Option<Place>)>,
    findings: &mut Findings,
) -> Option<Source> {
    let device = read_device(reader, taken, findings);
    let baud = reader.integer("baud", findings);
    let parity = reader.choice("parity", &PARITIES, findings);
    let stop_bits = reader.integer("stop-bits", findings);
    let given = reader.duration("turnaround", findings);
    let rest = read_rest(reader, heard, true, findings);
    let (baud, parity, stop_bits) = (baud?, parity?, stop_bits?);
    let turnaround = given.unwrap_or_else(|| {
        let silence = frame_silence(baud, parity, stop_bits);
        reader.note_derived("turnaround", &text::of_duration(silence), Whence::BaudRate);
        silence
    });
    let line = ModbusLine { device: device?, baud, parity, stop_bits, turnaround };
    let (units, directory, retry_after_max, reopen_after_max) = rest?;
    warn_of_load(reader, &line, &units, findings);
    let kind = ModbusSource { link: ModbusLink::Rtu(line), units, retry_after_max, reopen_after_max };
    Some(Source { name, directory, kind: SourceKind::Modbus(kind) })
}

/// Reads a source of Modbus TCP.
pub(super) fn read_tcp(
    reader: &mut Reader<'_>,
    name: String,
    heard: Heard<'_>,
    taken: &mut Vec<(String, Option<Place>)>,
    findings: &mut Findings,
) -> Option<Source> {
    let host = reader.text("host", findings);
    let port = reader.integer::<u16>("port", findings);
    if let (Some(host), Some(port)) = (&host, port) {
        take_once(reader, "host", format!("modbus {host}:{port}"), taken, findings);
    }
    let (units, directory, retry_after_max, reopen_after_max) = read_rest(reader, heard, false, findings)?;
    warn_of_silence(reader, &units, Duration::ZERO, 2, findings);
    let link = ModbusLink::Tcp { host: host?, port: port? };
    let kind = ModbusSource { link, units, retry_after_max, reopen_after_max };
    Some(Source { name, directory, kind: SourceKind::Modbus(kind) })
}

/// What both have: units, the channels that they deliver, and the waits.
type Rest = (Vec<ModbusUnit>, Directory, Duration, Duration);

fn read_rest(
    reader: &mut Reader<'_>,
    heard: Heard<'_>,
    on_line: bool,
    findings: &mut Findings,
) -> Option<Rest> {
    let retry_after_max = reader.duration("retry-after-max", findings);
    let reopen_after_max = reader.duration("reopen-after-max", findings);
    let inner = reader.tables("unit", findings);
    at_least_one(reader, "unit", inner.len(), "[[source.unit]]", findings);
    let (mut units, mut notes, mut addresses) = (Vec::new(), Vec::new(), BTreeSet::new());
    let mut registers = Registers { heard, seen: BTreeSet::new(), directory: Directory::default() };
    for mut inner in inner {
        let address = inner.integer::<u8>("address", findings);
        let unit = read_unit(&mut inner, address, &mut registers, findings);
        if let Some(address) = address {
            if on_line && !UNITS_RTU.contains(&address) {
                inner.refuse("address", "1 to 247 on a serial line; 0 is for all at once", findings);
            }
            if !addresses.insert(address) {
                let wanted = "each unit once; put all its registers below one [[source.unit]]";
                inner.refuse("address", wanted, findings);
            }
        }
        units.extend(unit);
        notes.push(inner.finish(findings));
    }
    reader.note_tables("unit", &notes);
    Some((units, registers.directory, retry_after_max?, reopen_after_max?))
}

fn at_least_one(reader: &Reader<'_>, key: &'static str, count: usize, header: &str, findings: &mut Findings) {
    if count == 0 && !reader.has(key) {
        reader.require(key, findings);
    } else if count == 0 {
        reader.refuse(key, format!("at least one [{header}]"), findings);
    }
}

/// What is known of the registers of a source so far.
struct Registers<'a> {
    heard: Heard<'a>,
    /// Channels that have a register.
    seen: BTreeSet<ChannelId>,
    directory: Directory,
}

fn read_unit(
    reader: &mut Reader<'_>,
    address: Option<u8>,
    registers: &mut Registers<'_>,
    findings: &mut Findings,
) -> Option<ModbusUnit> {
    let poll = reader.duration("poll", findings);
    let time_out = reader.duration("time-out", findings);
    let block_max = reader.integer("block-max", findings);
    let gap_max = reader.integer("gap-max", findings);
    let inner = reader.tables("register", findings);
    at_least_one(reader, "register", inner.len(), "[[source.unit.register]]", findings);
    let (mut read, mut notes) = (Vec::new(), Vec::new());
    for mut inner in inner {
        read.extend(read_register(&mut inner, registers, findings));
        notes.push(inner.finish(findings));
    }
    reader.note_tables("register", &notes);
    Some(ModbusUnit {
        address: address?,
        poll: poll?,
        time_out: time_out?,
        block_max: block_max?,
        gap_max: gap_max?,
        registers: read,
    })
}

fn read_register(
    reader: &mut Reader<'_>,
    registers: &mut Registers<'_>,
    findings: &mut Findings,
) -> Option<ModbusRegister> {
    let name = reader.text("probe", findings);
    let function = reader.integer::<u8>("function", findings);
    let address = reader.register("address", findings);
    let preset = reader.choice("preset", &PRESETS.map(|(word, _)| (word, word)), findings);
    let preset = PRESETS.iter().find(|(word, _)| Some(*word) == preset).map(|(_, meaning)| *meaning);
    let (kind, order, scale) = preset.unwrap_or((RegisterType::I16, WordOrder::HighFirst, 1.0));
    let kind = reader.choice("type", &REGISTER_TYPES, findings).unwrap_or(kind);
    let given_order = reader.choice("word-order", &WORD_ORDERS, findings);
    let scale = reader.number("scale", findings).unwrap_or(scale);
    let offset = reader.number("offset", findings);
    let faults = read_faults(reader, kind, findings);
    if given_order.is_some() && kind.registers() == 1 {
        reader.refuse("word-order", "a type of two registers beside it, or no such key", findings);
    }
    if scale.abs() < f64::MIN_POSITIVE {
        reader.refuse("scale", "a number other than 0", findings);
    }
    if address.is_some_and(|address| u32::from(address) + u32::from(kind.registers()) > 65_536) {
        reader.refuse("address", "65534 at most for a value of two registers", findings);
    }
    let found = name.as_ref().and_then(|name| registers.heard.find(reader, name, findings));
    if let (Some((channel, unit)), Some(name)) = (found, name) {
        if !registers.seen.insert(channel) {
            reader.refuse("probe", "each probe once; another register has this one", findings);
        }
        registers.directory.insert(name, channel, unit);
    }
    let (channel, unit) = found?;
    let function = FUNCTIONS.iter().find(|(code, _)| Some(*code) == function)?.1;
    let order = given_order.unwrap_or(order);
    let shape = RegisterShape { kind, order, scale, offset: offset?, faults: faults? };
    Some(ModbusRegister { channel, unit, function, address: address?, shape })
}

fn read_faults(
    reader: &mut Reader<'_>,
    kind: RegisterType,
    findings: &mut Findings,
) -> Option<Vec<FaultValue>> {
    let Some(texts) = reader.values("fault-values", findings) else { return Some(Vec::new()) };
    let mut faults = Vec::new();
    for text in texts {
        match FaultValue::parse(&text, kind) {
            Ok(fault) => faults.push(fault),
            Err(error) => {
                let wanted = match error {
                    FaultValueError::NoNumber => "a number, or bits such as 0x7fff, at the beginning of each",
                    FaultValueError::OutOfType => "values that the type of the register can hold",
                    FaultValueError::NoFault => {
                        "at most one fault behind a value: open-circuit, short, reversed, out-of-range, reported"
                    }
                };
                reader.refuse("fault-values", format!("{wanted}; «{text}» does not do"), findings);
                return None;
            }
        }
    }
    Some(faults)
}

/// A line that has more to carry than fits, or on which one silent unit makes the others late.
fn warn_of_load(reader: &Reader<'_>, line: &ModbusLine, units: &[ModbusUnit], findings: &mut Findings) {
    let busy_of = |unit: &ModbusUnit| {
        let registers: u16 = unit.registers.iter().map(|register| register.shape.kind.registers()).sum();
        line.time_of(REQUEST_BYTES + answer_bytes(registers)) + line.turnaround * 2
    };
    let share: f64 = units.iter().map(|unit| busy_of(unit).as_secs_f64() / unit.poll.as_secs_f64()).sum();
    if share > 1.0 {
        let why = format!(
            "the bytes of these units alone take {:.0} % of the line at {} baud, so that readings come late",
            share * 100.0,
            line.baud
        );
        let advice = "poll less often, raise the baud rate in every unit, or divide the units over two ports";
        findings.warnings.push(reader.problem("", Fault::Doubtful { why, advice: advice.to_owned() }));
        return;
    }
    warn_of_silence(reader, units, units.iter().map(busy_of).sum(), 1, findings);
}

/// A unit whose silence makes the others late: it keeps the way busy for `times` its time-out, beside
/// what the others need. Over TCP a new connection may take as long again.
fn warn_of_silence(
    reader: &Reader<'_>,
    units: &[ModbusUnit],
    busy: Duration,
    times: u32,
    findings: &mut Findings,
) {
    let Some(fastest) = units.iter().map(|unit| unit.poll).min() else { return };
    let Some(slowest) = units.iter().max_by_key(|unit| unit.time_out).filter(|_| units.len() > 1) else {
        return;
    };
    if busy + slowest.time_out * times > fastest {
        let why = format!(
            "if unit {} falls silent, its time-out of {}{} beside the other requests makes units late that are read every {}",
            slowest.address,
            text::of_duration(slowest.time_out),
            if times > 1 { " and as long for a new connection" } else { "" },
            text::of_duration(fastest)
        );
        let advice = "a shorter time-out that its answers still keep, or a longer poll";
        findings.warnings.push(reader.problem("", Fault::Doubtful { why, advice: advice.to_owned() }));
    }
}
