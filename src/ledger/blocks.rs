//! Blocks: the readings of one channel over a stretch of time, compressed.
//!
//! Format 1, in this order:
//!
//! | what | how |
//! |---|---|
//! | version | byte 1 |
//! | check | first 4 bytes of the SHA-256 of all that follows |
//! | count | varint, 1 to [`READINGS_MAX`] |
//! | times | `count` times, µs since the epoch, ascending, see [`super::numbers`] |
//! | kinds | runs of (kind byte, varint length) until `count` is reached |
//! | values | the numbers among the readings, in order, see [`super::numbers`]; absent where there are none |
//!
//! Kinds: 0 a number, 1 a flag that is off, 2 one that is on, 3 open circuit,
//! 4 short, 5 reversed, 6 out of range, 7 stuck, 8 silent, 9 reported, 10 no
//! cold junction; a new fault gets the next number, up to 28. Times and values are kept bit by bit.
//! Readings of one instant stand in the order of their arrival. When they
//! arrived is kept once per block, beside it in the table.
//!
//! The trace of a cycle is two such blocks, each after a varint with its
//! length, final rinse first; a part without readings has length 0.

use crate::core::effect::{Trace, TraceReading};
use crate::core::reading::{Fault, Value};
use crate::core::time::Timestamp;
use crate::core::units::Celsius;

use super::bytes::{Cursor, push_varint, seal, unseal};
use super::numbers::{Malformed, push_numbers, push_times, read_numbers, read_times};

/// Version of the block format.
const VERSION: u8 = 1;
/// Most readings that a stored block may claim (the trace of a long rinse is one block).
const READINGS_MAX: usize = 1 << 20;
const NUMBER: u8 = 0;

/// A value and its instant.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Point {
    pub(super) at: Timestamp,
    pub(super) value: Value,
}

/// Whether two values are stored alike; numbers by their bits.
pub(super) fn same_value(a: Value, b: Value) -> bool {
    match (a, b) {
        (Value::Number(a), Value::Number(b)) => a.to_bits() == b.to_bits(),
        (Value::Flag(a), Value::Flag(b)) => a == b,
        (Value::Fault(a), Value::Fault(b)) => a == b,
        (Value::Number(_) | Value::Flag(_) | Value::Fault(_), _) => false,
    }
}

/// Byte for the kind of a value.
pub(super) const fn kind_of(value: Value) -> u8 {
    match value {
        Value::Number(_) => NUMBER,
        Value::Flag(false) => 1,
        Value::Flag(true) => 2,
        Value::Fault(Fault::OpenCircuit) => 3,
        Value::Fault(Fault::Short) => 4,
        Value::Fault(Fault::Reversed) => 5,
        Value::Fault(Fault::OutOfRange) => 6,
        Value::Fault(Fault::Stuck) => 7,
        Value::Fault(Fault::Silent) => 8,
        Value::Fault(Fault::Reported) => 9,
        Value::Fault(Fault::NoColdJunction) => 10,
    }
}

/// The value of a kind that is no number.
pub(super) fn value_of(kind: u8) -> Option<Value> {
    let faults = Fault::ALL.into_iter().map(Value::Fault);
    let mut values = [Value::Flag(false), Value::Flag(true)].into_iter().chain(faults);
    values.find(|value| kind_of(*value) == kind)
}

/// Compresses readings, which must be in time order and at least one.
pub(super) fn encode(points: &[Point]) -> Vec<u8> {
    let mut body = Vec::new();
    push_varint(&mut body, points.len() as u64);
    let times: Vec<i64> = points.iter().map(|point| point.at.micros()).collect();
    push_times(&mut body, &times);
    for run in points.chunk_by(|a, b| kind_of(a.value) == kind_of(b.value)) {
        body.push(kind_of(run[0].value));
        push_varint(&mut body, run.len() as u64);
    }
    let numbers: Vec<f64> = points
        .iter()
        .filter_map(|point| match point.value {
            Value::Number(number) => Some(number),
            Value::Flag(_) | Value::Fault(_) => None,
        })
        .collect();
    if !numbers.is_empty() {
        push_numbers(&mut body, &numbers);
    }
    seal(VERSION, &body)
}

/// Whether a stored block is the one that was written, by its own check alone.
pub(super) fn fits_its_check(bytes: &[u8]) -> bool {
    unseal(VERSION, bytes).is_some()
}

/// Reads a block back.
pub(super) fn decode(bytes: &[u8]) -> Result<Vec<Point>, Malformed> {
    let mut cursor = Cursor::new(unseal(VERSION, bytes).ok_or(Malformed)?);
    let count = cursor.varint().and_then(|count| usize::try_from(count).ok()).ok_or(Malformed)?;
    if count == 0 || count > READINGS_MAX {
        return Err(Malformed);
    }
    let times = read_times(&mut cursor, count)?;
    let mut kinds = Vec::with_capacity(count);
    while kinds.len() < count {
        let kind = cursor.byte().ok_or(Malformed)?;
        let length = cursor.varint().and_then(|length| usize::try_from(length).ok()).ok_or(Malformed)?;
        if length == 0 || length > count - kinds.len() {
            return Err(Malformed);
        }
        kinds.resize(kinds.len() + length, kind);
    }
    let expected = kinds.iter().filter(|kind| **kind == NUMBER).count();
    let numbers = if expected == 0 { Vec::new() } else { read_numbers(&mut cursor, expected)? };
    if !cursor.is_at_end() {
        return Err(Malformed);
    }
    let mut numbers = numbers.into_iter();
    let mut points = Vec::with_capacity(count);
    for (micros, kind) in times.into_iter().zip(kinds) {
        let value = if kind == NUMBER { numbers.next().map(Value::Number) } else { value_of(kind) }
            .ok_or(Malformed)?;
        points.push(Point { at: Timestamp::from_micros(micros), value });
    }
    Ok(points)
}

/// Compresses the trace of a cycle.
pub(super) fn encode_trace(trace: &Trace) -> Vec<u8> {
    let mut bytes = Vec::new();
    for readings in [&trace.rinse, &trace.wash] {
        let points: Vec<Point> = readings
            .iter()
            .map(|reading| Point { at: reading.at, value: Value::Number(reading.celsius.0) })
            .collect();
        let block = if points.is_empty() { Vec::new() } else { encode(&points) };
        push_varint(&mut bytes, block.len() as u64);
        bytes.extend_from_slice(&block);
    }
    bytes
}

/// Reads a trace back.
pub(super) fn decode_trace(bytes: &[u8]) -> Result<Trace, Malformed> {
    let mut cursor = Cursor::new(bytes);
    let mut part = || -> Result<Vec<TraceReading>, Malformed> {
        let block = cursor.counted().ok_or(Malformed)?;
        if block.is_empty() {
            return Ok(Vec::new());
        }
        decode(block)?
            .into_iter()
            .map(|point| match point.value {
                Value::Number(celsius) => Ok(TraceReading { at: point.at, celsius: Celsius(celsius) }),
                Value::Flag(_) | Value::Fault(_) => Err(Malformed),
            })
            .collect()
    };
    let (rinse, wash) = (part()?, part()?);
    if cursor.is_at_end() { Ok(Trace { rinse, wash }) } else { Err(Malformed) }
}

#[cfg(test)]
mod tests;
