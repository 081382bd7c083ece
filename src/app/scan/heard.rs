//! What lines of text tell of themselves: names, units, values. Pure.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use crate::config::source::LineFormat;
use crate::core::id::ChannelId;
use crate::core::reading::Value;
use crate::core::time::Timestamp;
use crate::wire::decoded::Decoded;
use crate::wire::directory::{Directory, WireUnit};
use crate::wire::lines::{Line, LineSplitter};
use crate::wire::senml::is_legal_name;
use crate::wire::{plain, senml};

/// Longest line, the default of a source.
const LINE_BYTES_MAX: usize = 4_096;
/// Most names that are kept; of a port that prints ever new ones the rest is counted as unread.
const NAMES_MAX: usize = 256;
/// Lines before a rate counts as the right one (own choice).
const LEGIBLE_LINES: u64 = 2;
/// Units in the order in which a number without one is taken.
const UNITS: [WireUnit; 8] = [
    WireUnit::Celsius,
    WireUnit::Flag,
    WireUnit::Fahrenheit,
    WireUnit::Kelvin,
    WireUnit::Volt,
    WireUnit::Ohm,
    WireUnit::MilligramPerLitre,
    WireUnit::Ph,
];

/// What was heard at one rate.
#[derive(Debug)]
pub(super) struct Heard {
    splitter: LineSplitter,
    /// Lines of either form with at least one value.
    senml: u64,
    plain: u64,
    /// Lines without.
    pub(super) unread: u64,
    /// By name on the wire.
    pub(super) channels: BTreeMap<String, HeardChannel>,
    /// Time of the last line.
    pub(super) until: Duration,
}

/// One name.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct HeardChannel {
    /// The unit that its numbers can be in; until one came, °C.
    pub(super) unit: WireUnit,
    /// Whether that is known.
    known: bool,
    /// How many values came.
    pub(super) count: u64,
    /// The last.
    pub(super) last: Value,
}

impl Default for Heard {
    /// Begins in the middle of a line, which is not used.
    fn default() -> Self {
        let mut splitter = LineSplitter::new(LINE_BYTES_MAX);
        splitter.resynchronise();
        let (channels, until) = (BTreeMap::new(), Duration::ZERO);
        Self { splitter, senml: 0, plain: 0, unread: 0, channels, until }
    }
}

impl Heard {
    /// Takes what came.
    pub(super) fn feed(&mut self, at: Duration, bytes: &[u8]) {
        let mut lines = Vec::new();
        self.splitter.feed(bytes, |line| {
            lines.push(match line {
                Line::Whole(line) => line.to_vec(),
                Line::TooLong(_) => Vec::new(),
            });
        });
        lines.iter().for_each(|line| self.line(at, line));
    }

    fn line(&mut self, at: Duration, line: &[u8]) {
        self.until = at;
        let pack = line.trim_ascii_start().starts_with(b"[");
        let format = if pack { LineFormat::Senml } else { LineFormat::Plain };
        let names = if pack { senml_names(line) } else { plain_name(line).into_iter().collect() };
        let mut read = false;
        for name in names.into_iter().filter(|name| is_legal_name(name)) {
            read |= self.channel(format, line, name);
        }
        match (read, format) {
            (true, LineFormat::Senml) => self.senml += 1,
            (true, LineFormat::Plain) => self.plain += 1,
            (false, _) => self.unread += 1,
        }
    }

    /// Takes the values of one name, in the unit that it is known by or in the first that fits.
    fn channel(&mut self, format: LineFormat, line: &[u8], name: String) -> bool {
        let known = self.channels.get(&name).copied();
        if known.is_none() && self.channels.len() >= NAMES_MAX {
            return false;
        }
        let own = name.rsplit('/').next().unwrap_or(&name);
        let first = match own {
            "running" => WireUnit::Flag,
            "sanitizer" => WireUnit::MilligramPerLitre,
            "ph" => WireUnit::Ph,
            _ => WireUnit::Celsius,
        };
        let tried: Vec<WireUnit> = match known {
            Some(channel) if channel.known => vec![channel.unit],
            Some(_) | None => [first].into_iter().chain(UNITS).collect(),
        };
        for unit in tried {
            let mut directory = Directory::default();
            directory.insert(name.clone(), ChannelId(0), unit);
            let mut decoded = Decoded::default();
            match format {
                LineFormat::Senml => senml::decode(line, &directory, Timestamp::from_micros(0), &mut decoded),
                LineFormat::Plain => plain::decode(line, &directory, Timestamp::from_micros(0), &mut decoded),
            }
            let Some(sample) = decoded.samples.last() else { continue };
            let number = decoded.samples.iter().any(|sample| !matches!(sample.value, Value::Fault(_)));
            let count = known.map_or(0, |channel| channel.count)
                + u64::try_from(decoded.samples.len()).unwrap_or(u64::MAX);
            self.channels.insert(name, HeardChannel { unit, known: number, count, last: sample.value });
            return true;
        }
        false
    }

    /// Whether most lines could be read, so that the rate is the right one.
    pub(super) fn legible(&self) -> bool {
        let read = self.senml + self.plain;
        read >= LEGIBLE_LINES && read > self.unread
    }

    /// How most lines are written.
    pub(super) const fn format(&self) -> LineFormat {
        if self.senml >= self.plain { LineFormat::Senml } else { LineFormat::Plain }
    }

    /// Lines that could be read.
    pub(super) const fn read(&self) -> u64 {
        self.senml + self.plain
    }
}

/// The names of a pack; nothing where it is none.
fn senml_names(line: &[u8]) -> BTreeSet<String> {
    let Ok(serde_json::Value::Array(records)) = serde_json::from_slice(line) else { return BTreeSet::new() };
    let mut base = String::new();
    let mut names = BTreeSet::new();
    for record in &records {
        let text = |key: &str| record.get(key).and_then(serde_json::Value::as_str);
        if let Some(given) = text("bn") {
            given.clone_into(&mut base);
        }
        names.insert(format!("{base}{}", text("n").unwrap_or_default()));
    }
    names
}

/// The name of a plain line: up to a blank, `=` or `,`, else up to the last colon.
fn plain_name(line: &[u8]) -> Option<String> {
    let line = std::str::from_utf8(line).ok()?.trim();
    let end = line.find([' ', '\t', '=', ',']).or_else(|| line.rfind(':'))?;
    Some(line[..end].trim_end_matches(':').to_owned())
}
