//! SenML packs in JSON (RFC 8428): from text to samples in one pass.
//!
//! A pack is an array of records. A record that cannot be used is refused by
//! itself and the others stand. Three things refuse the whole pack: text that is
//! not a JSON array (a cut-off pack may end inside a number), a version above
//! 10, and an unknown label ending in `_`, which RFC 8428 §4.4 makes an error. A base
//! field that cannot be read refuses every record that depends on it, until
//! the same base field comes again.
//!
//! Beyond the RFC: the samples of a pack are put in order of time, as §4.6
//! asks of resolved records, so that a node may list probe after probe; a label
//! that appears twice in a record is refused, since JSON does not say which one
//! counts; `vs` is the word of a fault (a sensor that talks has no number to
//! give); sums (`s`, `bs`) are read and not used.
//!
//! Limit: [`RECORDS_MAX`] records a pack; the rest is refused as one
//! [`RefusedBecause::TooLong`]. Nested values are skipped without recursion.

mod record;

use serde::de::{DeserializeSeed, Deserializer, SeqAccess, Visitor};
use std::borrow::Cow;
use std::{fmt, mem};

use self::record::{Element, Field, Record, RecordSeed};
use super::decoded::Decoded;
use super::directory::{Directory, WireUnit};
use super::refusal::RefusedBecause;
use crate::core::reading::{Fault, Sample, Value};
use crate::core::time::Timestamp;

/// Most records of a pack that are used (own choice: an hour of four probes at 4 Hz is 57,600).
pub const RECORDS_MAX: usize = 65_536;

/// The version that this reader knows (RFC 8428 §4.4).
const VERSION: f64 = 10.0;

/// Times below this many seconds are relative to now (RFC 8428 §4.5.3).
const ABSOLUTE_FROM_S: f64 = 268_435_456.0;

/// Reads one pack.
///
/// `received` is the instant that relative times count from. Names that
/// `directory` does not hold are refused.
pub fn decode(pack: &[u8], directory: &Directory, received: Timestamp, into: &mut Decoded) {
    let Ok(text) = std::str::from_utf8(pack) else {
        into.refuse(pack, RefusedBecause::NotText);
        return;
    };
    // RFC 8259 §8.1 lets a parser ignore a byte order mark.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let (samples_before, refusals_before) = (into.samples.len(), into.refusals.len());
    let outcome = walk(text, false, directory, received, into).or_else(|_| {
        // A number beyond the range of a double, or an escape that is no character, spoils its
        // own record only: read again, field by field. Text that is not JSON fails again.
        into.samples.truncate(samples_before);
        into.refusals.truncate(refusals_before);
        walk(text, true, directory, received, into)
    });
    let whole_pack = match outcome {
        Ok(None) => None,
        Ok(Some(why)) => Some(why),
        Err(_) => Some(RefusedBecause::NotSenml),
    };
    if let Some(why) = whole_pack {
        into.samples.truncate(samples_before);
        into.refusals.truncate(refusals_before);
        into.refuse(pack, why);
        return;
    }
    let samples = &mut into.samples[samples_before..];
    if !samples.is_sorted_by_key(|sample| sample.at) {
        samples.sort_by_key(|sample| sample.at);
    }
}

/// Reads the array; gives the reason where the whole pack must be refused.
fn walk(
    text: &str,
    tolerant: bool,
    directory: &Directory,
    received: Timestamp,
    into: &mut Decoded,
) -> Result<Option<RefusedBecause>, serde_json::Error> {
    let mut json = serde_json::Deserializer::from_str(text);
    let resolver = Resolver { base: Base::default(), name: String::new(), directory, received, into };
    let outcome = PackSeed { tolerant, resolver }.deserialize(&mut json)?;
    json.end()?;
    Ok(outcome)
}

struct PackSeed<'r, 'de> {
    tolerant: bool,
    resolver: Resolver<'r, 'de>,
}

impl<'de> DeserializeSeed<'de> for PackSeed<'_, 'de> {
    type Value = Option<RefusedBecause>;

    fn deserialize<D: Deserializer<'de>>(self, json: D) -> Result<Self::Value, D::Error> {
        json.deserialize_seq(self)
    }
}

impl<'de> Visitor<'de> for PackSeed<'_, 'de> {
    type Value = Option<RefusedBecause>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an array of SenML records")
    }

    fn visit_seq<A: SeqAccess<'de>>(mut self, mut records: A) -> Result<Self::Value, A::Error> {
        let mut whole_pack = None;
        let mut count = 0_usize;
        while let Some(element) = records.next_element_seed(RecordSeed { tolerant: self.tolerant })? {
            count += 1;
            if count > RECORDS_MAX {
                continue;
            }
            match element {
                Element::Record(mut record) => {
                    whole_pack = whole_pack.or_else(|| must_refuse(&record));
                    self.resolver.resolve(&mut record);
                }
                Element::Other => self.resolver.into.refuse(b"", RefusedBecause::NotSenml),
            }
        }
        if count > RECORDS_MAX {
            let what = format!("{} records", count - RECORDS_MAX);
            self.resolver.into.refuse(what.as_bytes(), RefusedBecause::TooLong);
        }
        Ok(whole_pack)
    }
}

/// Whether a record asks for more than this reader understands, so that the pack cannot be trusted.
fn must_refuse(record: &Record<'_>) -> Option<RefusedBecause> {
    let later = match record.version {
        Field::Absent => false,
        Field::Given(version) => version > VERSION,
        Field::Wrong => true,
    };
    (later || record.must_understand).then_some(RefusedBecause::UnknownVersion)
}

/// Base fields in force (RFC 8428 §4.1); `Err` where the last one could not be read.
struct Base<'de> {
    name: Result<Text<'de>, RefusedBecause>,
    time_s: Result<f64, RefusedBecause>,
    unit: Result<Option<Text<'de>>, RefusedBecause>,
    value: Result<f64, RefusedBecause>,
}

impl Default for Base<'_> {
    fn default() -> Self {
        Self { name: Ok(Cow::Borrowed("")), time_s: Ok(0.0), unit: Ok(None), value: Ok(0.0) }
    }
}

impl<'de> Base<'de> {
    /// Takes the base fields out of a record.
    fn apply(&mut self, record: &mut Record<'de>) {
        match mem::take(&mut record.base_name) {
            Field::Absent => {}
            Field::Given(name) => self.name = Ok(name),
            Field::Wrong => self.name = Err(RefusedBecause::Name),
        }
        match record.base_time_s {
            Field::Absent => {}
            Field::Given(seconds) => self.time_s = Ok(seconds),
            Field::Wrong => self.time_s = Err(RefusedBecause::Time),
        }
        match mem::take(&mut record.base_unit) {
            Field::Absent => {}
            Field::Given(unit) => self.unit = Ok(Some(unit)),
            Field::Wrong => self.unit = Err(RefusedBecause::Unit),
        }
        match record.base_value {
            Field::Absent => {}
            Field::Given(value) => self.value = Ok(value),
            Field::Wrong => self.value = Err(RefusedBecause::ValueType),
        }
    }
}

/// Turns records into samples, one after the other.
struct Resolver<'r, 'de> {
    base: Base<'de>,
    /// Room for the joined name of a record.
    name: String,
    directory: &'r Directory,
    received: Timestamp,
    into: &'r mut Decoded,
}

impl<'de> Resolver<'_, 'de> {
    fn resolve(&mut self, record: &mut Record<'de>) {
        self.base.apply(record);
        match self.sample(record) {
            Ok(Some(sample)) => self.into.samples.push(sample),
            Ok(None) => {}
            Err(why) => {
                // Where the name itself is wrong, its own half says most.
                let what = match &record.name {
                    Field::Given(own) if self.name.is_empty() => own.as_bytes(),
                    Field::Given(_) | Field::Absent | Field::Wrong => self.name.as_bytes(),
                };
                self.into.refuse(what, why);
            }
        }
    }

    /// The sample of a record; `None` where it holds only a sum.
    fn sample(&mut self, record: &Record<'_>) -> Result<Option<Sample>, RefusedBecause> {
        self.join_name(record)?;
        let Some((channel, unit)) = self.directory.find(&self.name) else {
            return Err(if is_legal_name(&self.name) {
                RefusedBecause::UnknownName
            } else {
                RefusedBecause::Name
            });
        };
        let Some(value) = self.value(record, unit)? else { return Ok(None) };
        let at = self.time(record)?;
        Ok(Some(Sample { channel, at, value }))
    }

    fn join_name(&mut self, record: &Record<'_>) -> Result<(), RefusedBecause> {
        self.name.clear();
        let base = self.base.name.as_ref().map_err(|why| *why)?;
        self.name.push_str(base);
        match &record.name {
            Field::Absent => Ok(()),
            Field::Given(own) => {
                self.name.push_str(own);
                Ok(())
            }
            Field::Wrong => Err(RefusedBecause::Name),
        }
    }

    fn time(&self, record: &Record<'_>) -> Result<Timestamp, RefusedBecause> {
        let own_s = match record.time_s {
            Field::Absent => 0.0,
            Field::Given(seconds) => seconds,
            Field::Wrong => return Err(RefusedBecause::Time),
        };
        instant(self.base.time_s? + own_s, self.received).ok_or(RefusedBecause::Time)
    }

    fn value(&self, record: &Record<'_>, unit: WireUnit) -> Result<Option<Value>, RefusedBecause> {
        let given = [
            record.number.is_present(),
            record.text.is_present(),
            record.flag.is_present(),
            record.data_is_present,
        ];
        match given.iter().filter(|present| **present).count() {
            0 if record.sum_is_present => return Ok(None),
            1 => {}
            _ => return Err(RefusedBecause::ValueType),
        }
        if let Field::Given(word) = &record.text {
            return Ok(Some(Value::Fault(word.parse().unwrap_or(Fault::Reported))));
        }
        match (unit, &record.flag, record.number) {
            (WireUnit::Flag, Field::Given(flag), _) => Ok(Some(Value::Flag(*flag))),
            (
                WireUnit::Celsius
                | WireUnit::Fahrenheit
                | WireUnit::Kelvin
                | WireUnit::Volt
                | WireUnit::Ohm
                | WireUnit::MilligramPerLitre
                | WireUnit::Ph,
                _,
                Field::Given(number),
            ) => self.number(record, unit, number).map(Some),
            _ => Err(RefusedBecause::ValueType),
        }
    }

    fn number(&self, record: &Record<'_>, unit: WireUnit, own: f64) -> Result<Value, RefusedBecause> {
        let said = match &record.unit {
            Field::Absent => self.base.unit.as_ref().map_err(|why| *why)?.as_deref(),
            Field::Given(said) => Some(said.as_ref()),
            Field::Wrong => return Err(RefusedBecause::Unit),
        };
        if said.is_some_and(|said| said != unit.as_str()) {
            return Err(RefusedBecause::Unit);
        }
        let number = self.base.value? + own;
        if number.is_finite() { Ok(Value::Number(number)) } else { Err(RefusedBecause::ValueType) }
    }
}

/// The instant of a resolved SenML time (RFC 8428 §4.5.3): seconds since 1970
/// from 2^28 on, below that seconds from `received`. `None` outside the years 1 to 9999.
fn instant(seconds: f64, received: Timestamp) -> Option<Timestamp> {
    if seconds >= ABSOLUTE_FROM_S {
        return Timestamp::from_seconds(seconds);
    }
    let micros = (seconds * 1e6).round();
    // The whole calendar has 3.2e17 µs.
    if micros.is_nan() || micros.abs() >= 4e17 {
        return None;
    }
    #[expect(clippy::cast_possible_truncation, reason = "the range was checked above")]
    let at = received.micros().checked_add(micros as i64)?;
    let instant = Timestamp::from_micros(at);
    (instant.micros() == at).then_some(instant)
}

/// Whether a name has the characters of RFC 8428 §4.5.1 only.
#[must_use]
pub fn is_legal_name(name: &str) -> bool {
    let legal = |byte: u8| byte.is_ascii_alphanumeric() || b"-:./_".contains(&byte);
    name.as_bytes().first().is_some_and(u8::is_ascii_alphanumeric) && name.bytes().all(legal)
}

/// A text field of a record.
type Text<'a> = Cow<'a, str>;

#[cfg(test)]
mod tests;
