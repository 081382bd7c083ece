//! Plain text lines, `name value`, as a microcontroller prints them, and the
//! bare words of a value that they share with [`super::payload`].
//!
//! Between name and value stands a space, a tab, `=`, `:` or `,`, with blanks
//! around it if need be. The value is a number with a decimal point, a fault
//! word, or for a flag `true`, `false`, `1` or `0`. A unit may follow where it
//! is the configured one. The time is the time of arrival.
//!
//! A `nan` is [`Fault::Reported`]: that is what common converter libraries print
//! for a broken probe (common practice, no source). Other words are refused,
//! since a garbled number must not pass for a fault.

use super::decoded::Decoded;
use super::directory::{Directory, WireUnit};
use super::refusal::RefusedBecause;
use super::senml::is_legal_name;
use crate::core::id::ChannelId;
use crate::core::reading::{Fault, Sample, Value};
use crate::core::time::Timestamp;

/// Reads one line, without its end.
pub fn decode(line: &[u8], directory: &Directory, received: Timestamp, into: &mut Decoded) {
    let Ok(text) = std::str::from_utf8(line) else {
        into.refuse(line, RefusedBecause::NotText);
        return;
    };
    match parse(text.trim_matches(BLANK), directory) {
        Ok((channel, value)) => into.samples.push(Sample { channel, at: received, value }),
        Err(why) => into.refuse(line, why),
    }
}

const BLANK: [char; 2] = [' ', '\t'];

fn parse(line: &str, directory: &Directory) -> Result<(ChannelId, Value), RefusedBecause> {
    let (name, rest) = split(line, directory)?;
    let Some((channel, unit)) = directory.find(name) else {
        return Err(if is_legal_name(name) { RefusedBecause::UnknownName } else { RefusedBecause::Name });
    };
    Ok((channel, parse_value(rest, unit)?))
}

/// Splits at the first separator. A colon may also be part of a name (RFC 8428
/// §4.5.1), so one that ends a known name counts before any other.
fn split<'a>(line: &'a str, directory: &Directory) -> Result<(&'a str, &'a str), RefusedBecause> {
    let hard_end = line.find([' ', '\t', '=', ',']).unwrap_or(line.len());
    let known_end = line[..hard_end].match_indices(':').map(|(at, _)| at);
    let known_end = known_end.rev().find(|at| directory.find(&line[..*at]).is_some());
    let end = known_end.or((hard_end < line.len()).then_some(hard_end)).or(line.rfind(':'));
    let end = end.ok_or(RefusedBecause::NotPlain)?;
    let rest = line[end..].trim_start_matches(BLANK);
    let rest = rest.strip_prefix(['=', ':', ',']).unwrap_or(rest).trim_start_matches(BLANK);
    if end == 0 || rest.is_empty() {
        return Err(RefusedBecause::NotPlain);
    }
    Ok((&line[..end], rest))
}

/// Reads a value of that unit, with or without the unit behind it.
///
/// # Errors
/// [`RefusedBecause::DecimalComma`], [`RefusedBecause::Unit`] for another unit
/// than the configured one, [`RefusedBecause::ValueType`] for the rest.
pub(super) fn parse_value(text: &str, unit: WireUnit) -> Result<Value, RefusedBecause> {
    if let Ok(fault) = text.parse::<Fault>() {
        return Ok(Value::Fault(fault));
    }
    if text.eq_ignore_ascii_case("nan") {
        return Ok(Value::Fault(Fault::Reported));
    }
    if unit == WireUnit::Flag {
        return match text {
            "true" | "1" => Ok(Value::Flag(true)),
            "false" | "0" => Ok(Value::Flag(false)),
            _ => Err(RefusedBecause::ValueType),
        };
    }
    let end = text.find(|c: char| !c.is_ascii_digit() && !"+-.,eE".contains(c)).unwrap_or(text.len());
    let (number, said) = text.split_at(end);
    if number.contains(',') {
        return Err(RefusedBecause::DecimalComma);
    }
    let number: f64 = number.parse().map_err(|_| RefusedBecause::ValueType)?;
    if !number.is_finite() {
        return Err(RefusedBecause::ValueType);
    }
    let said = said.trim_start_matches(BLANK);
    if !said.is_empty() && !spellings(unit).contains(&said) {
        return Err(RefusedBecause::Unit);
    }
    Ok(Value::Number(number))
}

/// How the unit may be written behind a number: its SenML symbol, and what
/// instruments print (common practice, no source).
const fn spellings(unit: WireUnit) -> &'static [&'static str] {
    match unit {
        WireUnit::Celsius => &["Cel", "C", "°C", "degC"],
        WireUnit::Fahrenheit => &["degF", "F", "°F"],
        WireUnit::Kelvin => &["K"],
        WireUnit::Volt => &["V"],
        WireUnit::Ohm => &["Ohm", "ohm", "Ω"],
        WireUnit::Flag => &[],
        WireUnit::MilligramPerLitre => &["mg/L", "mg/l"],
        WireUnit::Ph => &["pH"],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use RefusedBecause as No;

    fn check(line: &[u8], expected: Result<(u16, Value), RefusedBecause>) {
        let mut directory = Directory::default();
        directory.insert("dm1/rinse".to_owned(), ChannelId(0), WireUnit::Celsius);
        directory.insert("dm1/running".to_owned(), ChannelId(1), WireUnit::Flag);
        directory.insert("dm1/a:b".to_owned(), ChannelId(2), WireUnit::Fahrenheit);
        directory.insert("dm1/cj".to_owned(), ChannelId(3), WireUnit::Ohm);
        let mut decoded = Decoded::default();
        let received = Timestamp::from_micros(1_700_000_000_000_000);
        decode(line, &directory, received, &mut decoded);
        let shown = String::from_utf8_lossy(line);
        match expected {
            Ok((channel, value)) => {
                let sample = Sample { channel: ChannelId(channel), at: received, value };
                assert_eq!(decoded, Decoded { samples: vec![sample], refusals: vec![] }, "{shown}");
            }
            Err(why) => {
                assert!(decoded.samples.is_empty(), "{shown}");
                let reasons: Vec<_> = decoded.refusals.iter().map(|refusal| refusal.why).collect();
                assert_eq!(reasons, [why], "{shown}");
            }
        }
    }

    // The format is the gateway's own; the fault words are those of `core::reading`.
    #[test]
    fn reads_name_and_value() {
        let number = |channel, number| Ok((channel, Value::Number(number)));
        for (line, expected) in [
            ("dm1/rinse 82.4", number(0, 82.4)),
            ("dm1/rinse\t82.4", number(0, 82.4)),
            ("dm1/rinse=82.4", number(0, 82.4)),
            ("dm1/rinse = 82.4", number(0, 82.4)),
            ("dm1/rinse:82.4", number(0, 82.4)),
            ("dm1/rinse: 82.4", number(0, 82.4)),
            ("dm1/rinse,82.4", number(0, 82.4)),
            ("  dm1/rinse  -3  ", number(0, -3.0)),
            ("dm1/rinse +8.24e1", number(0, 82.4)),
            ("dm1/a:b 180", number(2, 180.0)),
            ("dm1/a:b: 180 °F", number(2, 180.0)),
            ("dm1/rinse 82.4 Cel", number(0, 82.4)),
            ("dm1/rinse:82.4°C", number(0, 82.4)),
            ("dm1/cj 109.73 Ω", number(3, 109.73)),
            ("dm1/rinse open-circuit", Ok((0, Value::Fault(Fault::OpenCircuit)))),
            ("dm1/running short", Ok((1, Value::Fault(Fault::Short)))),
            ("dm1/rinse NaN", Ok((0, Value::Fault(Fault::Reported)))),
            ("dm1/running true", Ok((1, Value::Flag(true)))),
            ("dm1/running 0", Ok((1, Value::Flag(false)))),
        ] {
            check(line.as_bytes(), expected);
        }
    }

    #[test]
    fn refuses_what_could_be_misread() {
        for (line, why) in [
            (&b"dm1/rinse"[..], No::NotPlain),
            (b"dm1/rinse ", No::NotPlain),
            (b"=82.4", No::NotPlain),
            (b"", No::NotPlain),
            (b"dm1/rinse 82,4", No::DecimalComma),
            (b"dm1/rinse,82,4", No::DecimalComma),
            (b"dm1/rinse 82.4 F", No::Unit),
            (b"dm1/a:b 180 C", No::Unit),
            (b"dm1/rinse 82.4 66.1", No::Unit),
            (b"dm1/rinse 82.4.1", No::ValueType),
            (b"dm1/rinse 1e999", No::ValueType),
            (b"dm1/rinse inf", No::ValueType),
            (b"dm1/rinse opne-circuit", No::ValueType),
            (b"dm1/rinse 0x52", No::Unit),
            (b"dm1/rinse true", No::ValueType),
            (b"dm1/running 82.4", No::ValueType),
            (b"dm2/rinse 82.4", No::UnknownName),
            (b"dm1\x07rinse 82.4", No::Name),
            (b"dm1/rin\xff 82.4", No::NotText),
        ] {
            check(line, Err(why));
        }
    }
}
