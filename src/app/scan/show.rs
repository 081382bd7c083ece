//! What a scan found, in words and as JSON.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::time::Duration;

use serde_json::{Value as Json, json};

use super::heard::Heard;
use super::propose::Found;
use super::shapes::PLAUSIBLE_C;
use crate::cli::Span;
use crate::config::keys::{PARITIES, PRESETS};
use crate::config::modbus::ModbusLink;
use crate::config::text;
use crate::core::reading::Value;
use crate::probe::modbus::link::meaning;
use crate::probe::scan::{Answer as UnitAnswer, PortSettings, UnitSeen};

/// Before a line is scanned.
const LINE: &str =
    "Nothing else may be master on this line meanwhile. rinseward only reads; it never writes a register.";
/// Before anybody mends what a scan shows.
const MAINS: &str = "The line is low voltage. Mains inside a cabinet is a licensed electrician's work: isolate, lock out, verify.";
/// Before a port is listened to.
const PORT: &str = "The port is only listened to. Hot water scalds at once: never reach into a running machine to get at a probe.";

/// What was found, and what is proposed for it.
#[derive(Debug)]
pub(super) struct Answer {
    pub(super) way: Way,
    pub(super) proposal: Option<String>,
}

/// How it was looked for.
#[derive(Debug)]
pub(super) enum Way {
    /// By listening.
    Text(Listened),
    /// By asking units.
    Modbus {
        /// The line or the address, in words.
        place: String,
        /// Which units.
        asked: Span,
        /// Those that gave a sign of life.
        seen: Vec<UnitSeen>,
        /// What their registers could be, in the same order.
        found: Vec<Found>,
    },
}

/// What came of listening.
#[derive(Debug)]
pub(super) struct Listened {
    place: String,
    baud: u32,
    tried: Vec<u32>,
    lines: u64,
    unread: u64,
    seconds: f64,
    channels: BTreeMap<String, (u64, &'static str, Value)>,
}

impl Listened {
    pub(super) fn new(port: &PortSettings, tried: Vec<u32>, heard: &Heard, time: Duration) -> Self {
        let channel = |(name, one): (&String, &super::heard::HeardChannel)| {
            (name.clone(), (one.count, one.unit.as_str(), one.last))
        };
        Self {
            place: port.device.display().to_string(),
            baud: port.baud,
            tried,
            lines: heard.read(),
            unread: heard.unread,
            seconds: time.as_secs_f64(),
            channels: heard.channels.iter().map(channel).collect(),
        }
    }

    /// Whether there were lines that could be read.
    pub(super) const fn bytes_read(&self) -> bool {
        self.lines > self.unread
    }
}

/// The line or the address in words.
pub(super) fn place(link: &ModbusLink) -> String {
    match link {
        ModbusLink::Rtu(line) => {
            let parity =
                PARITIES.iter().find(|(_, parity)| *parity == line.parity).map_or("", |(word, _)| word);
            format!(
                "{} at {} baud, parity {parity}, stop bits {}",
                line.device.display(),
                line.baud,
                line.stop_bits
            )
        }
        ModbusLink::Tcp { host, port } => format!("{host}:{port}"),
    }
}

/// Says what must not be done, first of all.
pub(super) fn cautions(modbus: bool, out: &mut dyn Write) -> io::Result<()> {
    caution_lines(modbus).iter().try_for_each(|caution| writeln!(out, "CAUTION: {caution}"))
}

const fn caution_lines(modbus: bool) -> &'static [&'static str] {
    if modbus { &[LINE, MAINS] } else { &[PORT, MAINS] }
}

/// Writes the answer.
pub(super) fn answer(answer: &Answer, as_json: bool, out: &mut dyn Write) -> io::Result<()> {
    if as_json {
        serde_json::to_writer(&mut *out, &json_of(answer)).map_err(io::Error::from)?;
        return writeln!(out);
    }
    match &answer.way {
        Way::Text(listened) => heard(listened, out)?,
        Way::Modbus { place, asked, seen, found } => {
            writeln!(out, "{place}: units {} to {} asked", asked.first, asked.last)?;
            units(seen, found, out)?;
        }
    }
    match &answer.proposal {
        Some(proposal) => write!(out, "\nTo paste into the configuration:\n\n{proposal}"),
        None => Ok(()),
    }
}

fn heard(listened: &Listened, out: &mut dyn Write) -> io::Result<()> {
    let Listened { place, baud, lines, unread, seconds, channels, .. } = listened;
    writeln!(out, "{place} at {baud} baud, {seconds:.0} s: {lines} lines read, {unread} not")?;
    for (name, (count, unit, last)) in channels {
        let rate = per_s(*count, *seconds);
        writeln!(out, "  {name:<24} {:>12} {unit:<5} {rate:>6.1}/s", shown(*last))?;
    }
    Ok(())
}

#[expect(clippy::cast_precision_loss, reason = "a rate for people")]
fn per_s(count: u64, seconds: f64) -> f64 {
    count as f64 / seconds
}

fn shown(value: Value) -> String {
    match value {
        Value::Number(number) => number.to_string(),
        Value::Flag(flag) => flag.to_string(),
        Value::Fault(fault) => fault.to_string(),
    }
}

fn units(seen: &[UnitSeen], found: &[Found], out: &mut dyn Write) -> io::Result<()> {
    for unit in seen {
        if let Some(late) = unit.late {
            let (address, time_out) = (unit.address, text::of_duration(late));
            let none = if unit.functions.is_empty() { ", and not within that either" } else { "" };
            writeln!(
                out,
                "unit {address} answers LATE, after the usual time-out: it was asked again with {time_out}{none}; \
                 raise time-out of this unit in the configuration"
            )?;
        }
        for one in &unit.functions {
            let said = said(one.answer);
            writeln!(out, "unit {}, function {}: {said}", unit.address, one.function.code())?;
            let same = |found: &&Found| found.unit == unit.address && found.function == one.function;
            if let Some(found) = found.iter().find(same) {
                registers(found, out)?;
            }
        }
    }
    if !seen.is_empty() {
        writeln!(
            out,
            "* is plausible for water or a room: {:.0} to {:.0} °C, an own choice; > is proposed",
            PLAUSIBLE_C.start, PLAUSIBLE_C.end
        )?;
    }
    Ok(())
}

fn said(answer: UnitAnswer) -> String {
    match answer {
        UnitAnswer::Values => "answers".to_owned(),
        UnitAnswer::Exception(code) => format!("is there, exception {code}: {}", meaning(code)),
        UnitAnswer::Garbled => "something answers that cannot be read".to_owned(),
    }
}

fn registers(found: &Found, out: &mut dyn Write) -> io::Result<()> {
    let shown: Vec<_> = found.rows.iter().filter(|row| row.word != 0 || row.proposed.is_some()).collect();
    if !shown.is_empty() {
        write!(out, "  {:>8} {:>7}", "register", "raw")?;
        PRESETS.iter().try_for_each(|(preset, _)| write!(out, " {preset:>14}"))?;
        writeln!(out)?;
    }
    for row in &shown {
        write!(out, "  {:>8}  0x{:04x}", row.register, row.word)?;
        for (preset, _) in PRESETS {
            let mark = match row.proposed {
                Some(proposed) if proposed == preset => ">",
                Some(_) | None if row.plausible.contains(&preset) => "*",
                Some(_) | None => "",
            };
            let number = row.celsius.get(preset).map_or("-".to_owned(), |value| brief(*value));
            write!(out, " {:>14}", format!("{mark}{number}"))?;
        }
        writeln!(out)?;
    }
    let zeros = found.rows.len() - shown.len();
    match zeros {
        0 => Ok(()),
        1 => writeln!(out, "  1 register holds 0"),
        _ => writeln!(out, "  {zeros} registers hold 0"),
    }
}

/// A number in the room of a column; what is far from any temperature in powers of ten.
fn brief(value: f64) -> String {
    let plain = value == 0.0 || (0.005..1e6).contains(&value.abs());
    if plain { format!("{value:.2}") } else { format!("{value:.1e}") }
}

fn json_of(answer: &Answer) -> Json {
    let proposal = &answer.proposal;
    match &answer.way {
        Way::Text(listened) => {
            let channels: Vec<Json> =
                listened.channels.iter().map(|channel| channel_json(channel, listened)).collect();
            json!({
                "way": "text", "place": listened.place, "baud": listened.baud, "tried": listened.tried,
                "lines": listened.lines, "unread": listened.unread, "seconds": listened.seconds,
                "cautions": caution_lines(false), "channels": channels, "proposal": proposal,
            })
        }
        Way::Modbus { place, asked, seen, found } => {
            let units: Vec<Json> = seen
                .iter()
                .flat_map(|unit| unit.functions.iter().map(move |one| (unit.address, one)))
                .zip(found)
                .map(|((address, one), found)| {
                    let exception = match one.answer {
                        UnitAnswer::Exception(code) => Some(code),
                        UnitAnswer::Values | UnitAnswer::Garbled => None,
                    };
                    json!({
                        "unit": address, "function": one.function.code(), "says": said(one.answer),
                        "exception": exception, "together_max": one.together_max, "registers": found.rows,
                    })
                })
                .collect();
            let late: Vec<Json> = seen
                .iter()
                .filter_map(|unit| {
                    Some(json!({ "unit": unit.address, "time_out": text::of_duration(unit.late?) }))
                })
                .collect();
            json!({
                "late": late, "way": "modbus", "place": place, "asked": [asked.first, asked.last], "cautions": caution_lines(true),
                "plausible_c": [PLAUSIBLE_C.start, PLAUSIBLE_C.end], "answers": units, "proposal": proposal,
            })
        }
    }
}

fn channel_json(
    (name, (count, unit, last)): (&String, &(u64, &'static str, Value)),
    listened: &Listened,
) -> Json {
    let last = match last {
        Value::Number(number) => json!(number),
        Value::Flag(flag) => json!(flag),
        Value::Fault(fault) => json!(fault.to_string()),
    };
    json!({ "name": name, "unit": unit, "last": last, "count": count, "per_s": per_s(*count, listened.seconds) })
}
