//! `scan`: what is on a port or a Modbus line that is not configured yet, and what to write for it.

mod heard;
mod propose;
mod shapes;
mod show;
#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};
use std::time::Duration;

use self::heard::Heard;
use self::propose::{Found, for_text, for_units};
use self::show::{Answer, Listened, Way};
use super::{Failure, Streams};
use crate::cli::{ScanArgs, Span};
use crate::config::modbus::{ModbusLine, ModbusLink, frame_silence};
use crate::config::source::Parity;
use crate::diagnostic::Diagnostic;
use crate::probe::ports::{self, Holder, Users, WhyNoPort};
use crate::probe::scan::{PortSettings, ScanError, UnitSeen, Walk, listen, walk};
use crate::wire::registers::Function;

/// Rates that are tried for lines of text, the most usual first (common practice, no source).
const BAUDS: [u32; 4] = [115_200, 57_600, 19_200, 9_600];
/// How long each is listened to before the next; nodes print at least once a second as a rule.
const TRY: Duration = Duration::from_secs(3);
/// How long a port is listened to.
const LISTEN_S: u64 = 10;
/// Default rate of a Modbus line, as of a source.
const MODBUS_BAUD: u32 = 19_200;
/// How long a unit on a line may think, beside what the bytes take at its speed (own choice: units
/// answer within 50 ms as a rule, and a USB converter holds bytes back for 16 ms).
const THINK: Duration = Duration::from_millis(150);
/// The same over TCP, with a gateway and its line behind.
const THINK_TCP: Duration = Duration::from_secs(1);

/// Looks, shows what is there, and proposes the configuration.
pub(super) fn scan(arguments: &ScanArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Diagnostic::error("source-open", "nothing can be looked at").because(&error))?;
    if !arguments.json {
        show::cautions(arguments.modbus || arguments.tcp.is_some(), streams.out).map_err(Failure::output)?;
        streams.out.flush().map_err(Failure::output)?;
    }
    let answer = match (&arguments.port, &arguments.tcp) {
        (_, Some((host, port))) => {
            let link = ModbusLink::Tcp { host: host.clone(), port: *port };
            runtime.block_on(units(arguments, link))?
        }
        (Some(device), None) if arguments.modbus => {
            let (baud, stop_bits) = (arguments.baud.unwrap_or(MODBUS_BAUD), arguments.stop_bits);
            let parity = arguments.parity.unwrap_or(Parity::Even);
            let turnaround = frame_silence(baud, parity, stop_bits);
            let line = ModbusLine { device: device.clone(), baud, parity, stop_bits, turnaround };
            runtime.block_on(units(arguments, ModbusLink::Rtu(line)))?
        }
        (Some(device), None) => {
            let port = PortSettings {
                device: device.clone(),
                baud: arguments.baud.unwrap_or(BAUDS[0]),
                parity: arguments.parity.unwrap_or(Parity::None),
                stop_bits: arguments.stop_bits,
            };
            runtime.block_on(text(arguments, port))?
        }
        (None, None) => return Err(Diagnostic::error("usage", "give --port or --tcp").into()),
    };
    if let Some(device) = &arguments.port {
        warn_of_others(&device.display().to_string(), streams)?;
    }
    show::answer(&answer, arguments.json, streams.out).map_err(Failure::output)?;
    if answer.proposal.is_some() { Ok(()) } else { Err(nothing(&answer)) }
}

/// Listens for lines of text: at the rate that is given, else at each of [`BAUDS`] until one is legible.
async fn text(arguments: &ScanArgs, mut port: PortSettings) -> Result<Answer, Failure> {
    let whole = Duration::from_secs(arguments.seconds.unwrap_or(LISTEN_S));
    let mut tried = Vec::new();
    if arguments.baud.is_none() {
        for baud in BAUDS {
            port.baud = baud;
            tried.push(baud);
            if heard(&port, TRY.min(whole)).await?.legible() {
                break;
            }
        }
    } else {
        tried.push(port.baud);
    }
    let heard = heard(&port, whole).await?;
    let legible = heard.legible();
    let proposal = if legible { for_text(&port, &heard, &arguments.machine) } else { None };
    let way = Way::Text(Listened::new(&port, tried, &heard, whole));
    Ok(Answer { way, proposal })
}

async fn heard(port: &PortSettings, time: Duration) -> Result<Heard, Failure> {
    let mut heard = Heard::default();
    let device = port.device.display().to_string();
    listen(port, time, |at, bytes| heard.feed(at, bytes)).await.map_err(|error| unopened(&device, &error))?;
    Ok(heard)
}

/// Asks the units and takes what their registers could be.
async fn units(arguments: &ScanArgs, link: ModbusLink) -> Result<Answer, Failure> {
    let (place, usual, time_out) = match &link {
        ModbusLink::Rtu(line) => (line.device.display().to_string(), Span { first: 1, last: 32 }, THINK),
        ModbusLink::Tcp { host, port } => (format!("{host}:{port}"), Span { first: 1, last: 1 }, THINK_TCP),
    };
    let asked = arguments.units.unwrap_or(usual);
    if matches!(link, ModbusLink::Rtu(_)) && (asked.first < 1 || asked.last > 247) {
        // 0 speaks to all units at once, and those from 248 on are reserved (V1.02 §2.2).
        let diagnostic = Diagnostic::error("usage", "units on a line have the addresses 1 to 247");
        return Err(diagnostic.advice("write --units 1-32, or another part of it").into());
    }
    let (first, last) = (address(asked.first), address(asked.last));
    let functions = match arguments.function {
        Some(3) => vec![Function::Holding],
        Some(_) => vec![Function::Input],
        None => vec![Function::Input, Function::Holding],
    };
    let registers = arguments.registers.first..=arguments.registers.last;
    let plan = Walk { link: link.clone(), units: first..=last, functions, registers, time_out };
    let seen = walk(&plan).await.map_err(|error| match &link {
        ModbusLink::Rtu(_) => unopened(&place, &error),
        ModbusLink::Tcp { .. } => unreached(&place, &error),
    })?;
    let found = found(&seen);
    let proposal = for_units(&link, &found, &arguments.machine);
    Ok(Answer { way: Way::Modbus { place: show::place(&link), asked, seen, found }, proposal })
}

fn address(unit: u16) -> u8 {
    u8::try_from(unit).unwrap_or(u8::MAX)
}

/// What the registers of each function could be, what two functions of a unit both give once.
fn found(seen: &[UnitSeen]) -> Vec<Found> {
    let mut found: Vec<Found> = Vec::new();
    for unit in seen {
        for one in &unit.functions {
            let mut rows = shapes::rows(&one.words);
            for before in found.iter().filter(|before| before.unit == unit.address) {
                shapes::leave_out_repeated(&mut rows, &before.rows);
            }
            let (function, together_max) = (one.function, one.together_max);
            found.push(Found { unit: unit.address, function, together_max, late: unit.late, rows });
        }
    }
    found
}

/// Other programs that have the port open, as far as this user may see.
fn holders(place: &str) -> Vec<Holder> {
    let path = PathBuf::from(place);
    let Ok(device) = std::fs::canonicalize(&path) else { return Vec::new() };
    let Ok(found) = ports::look(&[path], &Users::of_system()) else { return Vec::new() };
    let held = found.ports.into_iter().filter(|port| port.device == device).flat_map(|port| port.held_by);
    held.filter(|holder| holder.pid != std::process::id()).collect()
}

fn who(holder: &Holder) -> String {
    let Holder { pid, command, user } = holder;
    format!("«{command}» has it open, process {pid}, user {user}")
}

/// A program that has the port open without a lock hinders nobody; two of them garble each other.
fn warn_of_others(place: &str, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let others = holders(place);
    if others.is_empty() {
        return Ok(());
    }
    let warning = Diagnostic::warning("source-open", format!("{place} is open elsewhere too"));
    let warning = others.iter().fold(warning, |warning, holder| warning.cause(who(holder)));
    let warning = warning.advice("end it where it reads or writes this line; what is shown may be garbled");
    writeln!(streams.err, "{warning}").map_err(Failure::output)
}

fn unreached(place: &str, error: &ScanError) -> Failure {
    Diagnostic::error("source-open", format!("cannot look at {place}"))
        .because(error)
        .advice("see that the unit or its gateway is switched on and on this network: ping its address")
        .advice(
            "refused: another port (502 is usual), Modbus TCP switched off in its settings, or all its connections \
             taken by other programs",
        )
        .advice("no answer: another address, another network, or a firewall between")
        .into()
}

fn unopened(place: &str, error: &ScanError) -> Failure {
    let diagnostic = Diagnostic::error("source-open", format!("cannot look at {place}")).because(error);
    match error {
        ScanError::Held { .. } => holders(place)
            .iter()
            .fold(diagnostic, |diagnostic, holder| diagnostic.cause(who(holder)))
            .advice("where it is the service: sudo systemctl stop rinseward, scan, then sudo systemctl start rinseward")
            .advice("else end the program that has it; a line serves one master at a time")
            .into(),
        ScanError::Link { .. }
            if matches!(
                ports::device_at(Path::new(place)),
                Err(WhyNoPort::NoDevice | WhyNoPort::NoLine)
            ) =>
        {
            diagnostic.advice("give a serial port; rinseward ports lists what is there").into()
        }
        ScanError::Link { .. } => diagnostic
            .advice("see that it is plugged in and switched on; rinseward ports lists what is there, and who may open it")
            .into(),
    }
}

/// Why nothing is proposed, and what to look at.
fn nothing(answer: &Answer) -> Failure {
    let none = |summary: &str| Diagnostic::error("scan-none", summary);
    match &answer.way {
        Way::Text(listened) if listened.bytes_read() => {
            none("what is printed here has no name that can be used")
                .advice("let the node print SenML lines, or «name value», under names such as dm1/rinse")
                .into()
        }
        Way::Text(_) => none("no line of text could be read")
            .advice("is the node powered, and does it print at least once a second?")
            .advice("other rates: --baud 38400, --baud 4800; parity: --parity even")
            .advice("TX and RX swapped? is it a line of Modbus units? then --modbus")
            .into(),
        Way::Modbus { seen, .. } if seen.is_empty() => none("no unit answers")
            .advice("are the units supplied, and are A and B swapped? (names differ; swapping harms nothing)")
            .advice(
                "another speed or parity, the same in all units: --baud 9600, --parity none, --stop-bits 2",
            )
            .advice("other addresses: --units 33-247, or 1-247 for all; two units of one address garble each other")
            .advice("120 Ω at both ends of a long line, and a common reference wire where units have one")
            .into(),
        Way::Modbus { seen, .. } if seen.iter().all(|unit| unit.late.is_some() && unit.functions.is_empty()) => {
            none("units answer, but later than they can be waited for here")
                .advice("write the unit with a longer time-out into the configuration: time-out = \"2s\"")
                .advice("look at its manual for a delay of its answers, and at its baud rate")
                .into()
        }
        Way::Modbus { .. } => none("units answer, but no register gives a temperature that is plausible")
            .advice("look at the unit's manual for its registers: --registers 30-60, --function 3")
            .advice("is a probe connected? an open one gives the unit's value for faults")
            .advice("where all is garbled: another --parity, --stop-bits or --baud; two units of one address")
            .into(),
    }
}
