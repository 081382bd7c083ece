//! The tail: inputs as they were applied, one stored part per commit.
//!
//! Format 1: version byte 1; check (first 4 bytes of the SHA-256 of what
//! follows); varint count; then for each input
//!
//! | what | how |
//! |---|---|
//! | kind | low 5 bits: 0 to 28 as in [`super::blocks`], 29 an end, 30 a decimal, 31 a tick; high 3 bits: decimal places of a decimal |
//! | now | zigzag varint, µs since the `now` before (since the epoch for the first) |
//! | whose | varint, the ledger's number of the channel (of the machine for a tick or an end) |
//! | at | zigzag varint, µs from `now` to the sample's own time; absent for a tick or an end |
//! | value | kind 0: the double, 8 bytes, least significant first; kind 30: zigzag varint |

use crate::core::reading::Value;
use crate::core::time::Timestamp;

use super::blocks::{kind_of, value_of};
use super::bytes::{Cursor, push_varint, seal, unseal, unzigzag, zigzag};
use super::numbers::{Malformed, PLACES_MAX, from_decimal, to_decimal};

const VERSION: u8 = 1;
const NUMBER: u8 = 0;
const END: u8 = 29;
const DECIMAL: u8 = 30;
const TICK: u8 = 31;

/// An input with the ledger's own numbers for channels and machines.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Entry {
    pub(super) now: Timestamp,
    pub(super) what: What,
}

/// What was applied.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) enum What {
    Sample { channel: i64, at: Timestamp, value: Value },
    Tick { machine: i64 },
    End { machine: i64 },
}

/// The stored form of the inputs of one commit.
pub(super) fn encode(entries: &[Entry]) -> Vec<u8> {
    let mut body = Vec::with_capacity(entries.len() * 12);
    push_varint(&mut body, entries.len() as u64);
    let mut previous = 0;
    for entry in entries {
        let now = entry.now.micros();
        let since = zigzag(now - previous);
        previous = now;
        match entry.what {
            What::Tick { machine } | What::End { machine } => {
                body.push(if matches!(entry.what, What::End { .. }) { END } else { TICK });
                push_varint(&mut body, since);
                push_varint(&mut body, machine.cast_unsigned());
            }
            What::Sample { channel, at, value } => {
                let decimal = decimal(value);
                body.push(decimal.map_or(kind_of(value), |(places, _)| DECIMAL | places << 5));
                push_varint(&mut body, since);
                push_varint(&mut body, channel.cast_unsigned());
                push_varint(&mut body, zigzag(at.micros() - now));
                match (decimal, value) {
                    (Some((_, integer)), _) => push_varint(&mut body, zigzag(integer)),
                    (None, Value::Number(number)) => body.extend_from_slice(&number.to_le_bytes()),
                    (None, Value::Flag(_) | Value::Fault(_)) => {}
                }
            }
        }
    }
    seal(VERSION, &body)
}

/// Reads back what [`encode`] wrote.
pub(super) fn decode(bytes: &[u8]) -> Result<Vec<Entry>, Malformed> {
    let mut cursor = Cursor::new(unseal(VERSION, bytes).ok_or(Malformed)?);
    let count = cursor.varint().ok_or(Malformed)?;
    let mut entries = Vec::new();
    let mut now = 0_i64;
    for _ in 0..count {
        entries.push(decode_one(&mut cursor, &mut now).ok_or(Malformed)?);
    }
    if cursor.is_at_end() { Ok(entries) } else { Err(Malformed) }
}

fn decode_one(cursor: &mut Cursor<'_>, now: &mut i64) -> Option<Entry> {
    let kind = cursor.byte()?;
    *now = now.checked_add(unzigzag(cursor.varint()?))?;
    let whose = cursor.varint()?.cast_signed();
    let what = if kind == TICK {
        What::Tick { machine: whose }
    } else if kind == END {
        What::End { machine: whose }
    } else {
        let at = now.checked_add(unzigzag(cursor.varint()?))?;
        let value = match kind & 0x1f {
            NUMBER => Value::Number(f64::from_le_bytes(cursor.eight()?)),
            DECIMAL if kind >> 5 <= PLACES_MAX => {
                Value::Number(from_decimal(unzigzag(cursor.varint()?), kind >> 5))
            }
            other => value_of(other)?,
        };
        What::Sample { channel: whose, at: Timestamp::from_micros(at), value }
    };
    Some(Entry { now: Timestamp::from_micros(*now), what })
}

/// The shortest exact decimal of a number, where it is short enough to be worth it.
fn decimal(value: Value) -> Option<(u8, i64)> {
    /// Zigzag varints of integers below this take at most 5 bytes.
    const SHORT: i64 = 1 << 34;
    let Value::Number(number) = value else { return None };
    (0..=PLACES_MAX)
        .find_map(|places| to_decimal(number, places).map(|integer| (places, integer)))
        .filter(|(_, integer)| integer.abs() < SHORT)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::reading::Fault;
    use proptest::prelude::*;

    fn entry() -> impl Strategy<Value = Entry> {
        let time = (-2_000_000_000_000_000_i64..4_000_000_000_000_000).prop_map(Timestamp::from_micros);
        let value = prop_oneof![
            any::<f64>().prop_filter("finite", |number| number.is_finite()).prop_map(Value::Number),
            (-50_000_i32..200_000).prop_map(|tenths| Value::Number(f64::from(tenths) / 10.0)),
            Just(Value::Number(-0.0)),
            any::<bool>().prop_map(Value::Flag),
            prop::sample::select(Fault::ALL.to_vec()).prop_map(Value::Fault),
        ];
        let what = prop_oneof![
            (0_i64..70_000, time.clone(), value).prop_map(|(channel, at, value)| What::Sample {
                channel,
                at,
                value
            }),
            (0_i64..70_000).prop_map(|machine| What::Tick { machine }),
            (0_i64..70_000).prop_map(|machine| What::End { machine }),
        ];
        (time, what).prop_map(|(now, what)| Entry { now, what })
    }

    proptest! {
        #[test]
        fn inputs_come_back_as_they_went_in(entries in prop::collection::vec(entry(), 0..50)) {
            let bytes = encode(&entries);
            prop_assert_eq!(decode(&bytes), Ok(entries));
        }

        // Own promise: what is stored is never taken for something else.
        #[test]
        fn any_flipped_bit_is_found(entries in prop::collection::vec(entry(), 1..5), place: prop::sample::Index, bit in 0_u8..8) {
            let mut bytes = encode(&entries);
            let place = place.index(bytes.len());
            bytes[place] ^= 1 << bit;
            prop_assert_eq!(decode(&bytes), Err(Malformed));
        }
    }
}
