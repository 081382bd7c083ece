//! Payloads of messages: a SenML pack, a bare value, or a value inside any JSON.

use serde_json::Value as Json;

use super::decoded::Decoded;
use super::directory::{Directory, WireUnit};
use super::pointer::JsonPointer;
use super::refusal::RefusedBecause;
use super::{plain, senml};
use crate::core::id::ChannelId;
use crate::core::reading::{Fault, Sample, Value};
use crate::core::time::Timestamp;

/// How a payload is read.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum PayloadShape {
    /// A SenML pack (RFC 8428); the names in it are looked up in the directory.
    Senml,
    /// A number, `true`, `false` or a fault word and nothing else; see [`super::plain`].
    Bare {
        /// Whose value it is.
        channel: ChannelId,
        /// Its unit.
        unit: WireUnit,
    },
    /// A value inside a JSON document.
    Pointer {
        /// Whose value it is.
        channel: ChannelId,
        /// Its unit.
        unit: WireUnit,
        /// Where the value is: a number, a boolean, a fault word, or `null`, which
        /// is [`Fault::Reported`]. A number in a string is refused.
        value: JsonPointer,
        /// Where its time is, a number of seconds since 1970 or RFC 3339 text; arrival where `None`.
        time: Option<JsonPointer>,
    },
}

/// Reads one payload that arrived at `received`.
pub fn decode(
    payload: &[u8],
    shape: &PayloadShape,
    directory: &Directory,
    received: Timestamp,
    into: &mut Decoded,
) {
    let sample = match shape {
        PayloadShape::Senml => {
            senml::decode(payload, directory, received, into);
            return;
        }
        PayloadShape::Bare { channel, unit } => {
            bare(payload, *unit).map(|value| Sample { channel: *channel, at: received, value })
        }
        PayloadShape::Pointer { channel, unit, value, time } => document(payload).and_then(|document| {
            let value = pointed_value(value.find(&document), *unit)?;
            let at = match time {
                Some(time) => pointed_time(time.find(&document))?,
                None => received,
            };
            Ok(Sample { channel: *channel, at, value })
        }),
    };
    match sample {
        Ok(sample) => into.samples.push(sample),
        Err(why) => into.refuse(payload, why),
    }
}

fn bare(payload: &[u8], unit: WireUnit) -> Result<Value, RefusedBecause> {
    let text = std::str::from_utf8(payload).map_err(|_| RefusedBecause::NotText)?;
    plain::parse_value(text.trim_ascii(), unit)
}

/// Nesting is limited to 128 by `serde_json`; deeper is refused as no JSON.
fn document(payload: &[u8]) -> Result<Json, RefusedBecause> {
    let text = std::str::from_utf8(payload).map_err(|_| RefusedBecause::NotText)?;
    serde_json::from_str(text).map_err(|_| RefusedBecause::NotJson)
}

fn pointed_value(found: Option<&Json>, unit: WireUnit) -> Result<Value, RefusedBecause> {
    match (found.ok_or(RefusedBecause::NothingThere)?, unit) {
        (Json::Null, _) => Ok(Value::Fault(Fault::Reported)),
        (Json::String(word), _) => word.parse().map(Value::Fault).map_err(|_| RefusedBecause::ValueType),
        (Json::Bool(flag), WireUnit::Flag) => Ok(Value::Flag(*flag)),
        (
            Json::Number(number),
            WireUnit::Celsius
            | WireUnit::Fahrenheit
            | WireUnit::Kelvin
            | WireUnit::Volt
            | WireUnit::Ohm
            | WireUnit::MilligramPerLitre
            | WireUnit::Ph,
        ) => {
            let number = number.as_f64().filter(|number| number.is_finite());
            number.map(Value::Number).ok_or(RefusedBecause::ValueType)
        }
        _ => Err(RefusedBecause::ValueType),
    }
}

fn pointed_time(found: Option<&Json>) -> Result<Timestamp, RefusedBecause> {
    match found.ok_or(RefusedBecause::NothingThere)? {
        Json::Number(seconds) => {
            seconds.as_f64().and_then(Timestamp::from_seconds).ok_or(RefusedBecause::Time)
        }
        Json::String(text) => text.parse().map_err(|_| RefusedBecause::Time),
        Json::Null | Json::Bool(_) | Json::Array(_) | Json::Object(_) => Err(RefusedBecause::Time),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use RefusedBecause as No;

    const RECEIVED: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

    fn check(payload: &[u8], shape: &PayloadShape, expected: Result<(i64, Value), RefusedBecause>) {
        let mut decoded = Decoded::default();
        decode(payload, shape, &Directory::default(), RECEIVED, &mut decoded);
        let shown = String::from_utf8_lossy(payload);
        let seen = match (&decoded.samples[..], &decoded.refusals[..]) {
            ([sample], []) => Ok((sample.at.micros(), sample.value)),
            ([], [refusal]) => Err(refusal.why),
            other => panic!("one outcome for one payload, not {other:?}: {shown}"),
        };
        assert_eq!(seen, expected, "{shown}");
    }

    // The format is the gateway's own.
    #[test]
    fn reads_bare_values() {
        let now = RECEIVED.micros();
        let celsius = PayloadShape::Bare { channel: ChannelId(0), unit: WireUnit::Celsius };
        let flag = PayloadShape::Bare { channel: ChannelId(0), unit: WireUnit::Flag };
        for (shape, payload, expected) in [
            (&celsius, &b"82.4"[..], Ok((now, Value::Number(82.4)))),
            (&celsius, b" 82.4\r\n", Ok((now, Value::Number(82.4)))),
            (&celsius, b"stuck", Ok((now, Value::Fault(Fault::Stuck)))),
            (&flag, b"true", Ok((now, Value::Flag(true)))),
            (&celsius, b"true", Err(No::ValueType)),
            (&celsius, b"82,4", Err(No::DecimalComma)),
            (&celsius, b"180 F", Err(No::Unit)),
            (&celsius, b"", Err(No::ValueType)),
            (&celsius, b"\xff\xfe", Err(No::NotText)),
        ] {
            check(payload, shape, expected);
        }
    }

    // RFC 6901 leads to the value; the instant is the example of RFC 3339 §5.8, 482196050.52 s since 1970.
    #[test]
    fn reads_values_inside_json() {
        let pointer = |text: &str| text.parse::<JsonPointer>().expect("a JSON pointer");
        let shape = |unit, time: Option<&str>| PayloadShape::Pointer {
            channel: ChannelId(0),
            unit,
            value: pointer("/temps/1"),
            time: time.map(pointer),
        };
        let (now, instant) = (RECEIVED.micros(), 482_196_050_520_000);
        let celsius = WireUnit::Celsius;
        for (payload, shape, expected) in [
            (r#"{"temps":[1,82.4]}"#, shape(celsius, None), Ok((now, Value::Number(82.4)))),
            (r#"{"temps":[1,true]}"#, shape(WireUnit::Flag, None), Ok((now, Value::Flag(true)))),
            (r#"{"temps":[1,null]}"#, shape(celsius, None), Ok((now, Value::Fault(Fault::Reported)))),
            (r#"{"temps":[1,"short"]}"#, shape(celsius, None), Ok((now, Value::Fault(Fault::Short)))),
            (
                r#"{"temps":[1,2],"at":"1985-04-12T23:20:50.52Z"}"#,
                shape(celsius, Some("/at")),
                Ok((instant, Value::Number(2.0))),
            ),
            (
                r#"{"temps":[1,2],"at":482196050.52}"#,
                shape(celsius, Some("/at")),
                Ok((instant, Value::Number(2.0))),
            ),
            (r#"{"temps":[1,"82.4"]}"#, shape(celsius, None), Err(No::ValueType)),
            (r#"{"temps":[1,true]}"#, shape(celsius, None), Err(No::ValueType)),
            (r#"{"temps":[1,2]}"#, shape(WireUnit::Flag, None), Err(No::ValueType)),
            (r#"{"temps":[1]}"#, shape(celsius, None), Err(No::NothingThere)),
            (r#"{"temps":[1,2]}"#, shape(celsius, Some("/at")), Err(No::NothingThere)),
            (r#"{"temps":[1,2],"at":"noon"}"#, shape(celsius, Some("/at")), Err(No::Time)),
            (r#"{"temps":[1,2],"at":1700000000000}"#, shape(celsius, Some("/at")), Err(No::Time)),
            (r#"{"temps":[1,2]"#, shape(celsius, None), Err(No::NotJson)),
        ] {
            check(payload.as_bytes(), &shape, expected);
        }
        check("[".repeat(100_000).as_bytes(), &shape(celsius, None), Err(No::NotJson));
    }
}
