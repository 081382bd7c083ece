//! The command line of `scan`.

use std::path::PathBuf;

use clap::{ArgGroup, Args};

use crate::config::keys::PARITIES;
use crate::config::source::Parity;
use crate::wire::senml::is_legal_name;

/// Arguments of `scan`.
#[derive(Args, Debug)]
#[command(group(ArgGroup::new("way").required(true).args(["port", "tcp"])))]
pub struct ScanArgs {
    /// The port to look at, best by a name below /dev/serial/by-id.
    #[arg(long, value_name = "DEVICE")]
    pub port: Option<PathBuf>,
    /// Modbus TCP at this address, with or without a port (502).
    #[arg(long, value_name = "HOST[:PORT]", value_parser = address, conflicts_with_all = ["baud", "parity", "stop_bits", "seconds"])]
    pub tcp: Option<(String, u16)>,
    /// Ask Modbus units; without it the port is only listened to, for lines of text.
    #[arg(long)]
    pub modbus: bool,
    /// Speed of the line in bits a second: 19200 for Modbus where not given; lines of text are tried at 115200,
    /// 57600, 19200 and 9600.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(300..=4_000_000))]
    pub baud: Option<u32>,
    /// Parity: none, even, odd; even for Modbus where not given, else none.
    #[arg(long, value_name = "WORD", value_parser = parity)]
    pub parity: Option<Parity>,
    /// Stop bits, 1 or 2.
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=2))]
    pub stop_bits: u8,
    /// Addresses of the units to ask; where not given 1-32 on a line and 1 over TCP.
    #[arg(long, value_name = "FIRST-LAST", value_parser = units)]
    pub units: Option<Span>,
    /// Registers to read of a unit that answers, counted from 0, 256 at most.
    #[arg(long, value_name = "FIRST-LAST", default_value = "0-15", value_parser = registers)]
    pub registers: Span,
    /// Only this function: 3 holding registers, 4 input registers; both where not given.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(3..=4))]
    pub function: Option<u8>,
    /// How long to listen for lines of text, s, 1 to 3600; 10 where not given.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=3_600), conflicts_with = "modbus")]
    pub seconds: Option<u64>,
    /// Name of the machine in what is proposed.
    #[arg(long, value_name = "NAME", default_value = "dm1", value_parser = machine)]
    pub machine: String,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}

/// From the first to the last, both included.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Span {
    /// The first.
    pub first: u16,
    /// The last, not below the first.
    pub last: u16,
}

#[derive(Debug, thiserror::Error)]
enum ScanError {
    #[error("addresses from 1 to 247, such as 1-32 or 7; behind TCP also 0 and 255")]
    Units,
    #[error("registers counted from 0, up to 256 of them, such as 0-15 or 30")]
    Registers,
    #[error("none, even or odd")]
    Parity,
    #[error("a host and a port, such as 192.0.2.10 or 192.0.2.10:502")]
    Address,
    #[error("letters, digits and - _ . without a blank or a slash, such as dm1")]
    Machine,
}

fn span(text: &str) -> Option<Span> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let span = Span { first: first.trim().parse().ok()?, last: last.trim().parse().ok()? };
    (span.first <= span.last).then_some(span)
}

fn units(text: &str) -> Result<Span, ScanError> {
    span(text).filter(|span| span.last <= 255).ok_or(ScanError::Units)
}

fn registers(text: &str) -> Result<Span, ScanError> {
    span(text).filter(|span| span.last - span.first < 256).ok_or(ScanError::Registers)
}

fn parity(text: &str) -> Result<Parity, ScanError> {
    PARITIES.iter().find(|(word, _)| *word == text).map(|(_, parity)| *parity).ok_or(ScanError::Parity)
}

fn address(text: &str) -> Result<(String, u16), ScanError> {
    // Of an IPv6 address only the brackets tell where the port begins.
    let (host, port) = match text.rsplit_once(':') {
        Some((host, port)) if !host.contains(':') || host.ends_with(']') => {
            (host, port.parse().map_err(|_| ScanError::Address)?)
        }
        Some(_) | None => (text, 502),
    };
    let host = host.trim_start_matches('[').trim_end_matches(']');
    if host.is_empty() || port == 0 { Err(ScanError::Address) } else { Ok((host.to_owned(), port)) }
}

fn machine(text: &str) -> Result<String, ScanError> {
    let legal = is_legal_name(text) && !text.contains(['/', ':']);
    if legal { Ok(text.to_owned()) } else { Err(ScanError::Machine) }
}
