//! Sequences of numbers, compressed without loss.
//!
//! Every sequence is written in each way that can hold it exactly, and the
//! shortest is kept; its first byte says which one that is:
//!
//! | byte | of | what follows |
//! |---|---|---|
//! | 0 | integers | pco of the integers |
//! | 1 | integers | power of ten (1 byte), then zstd of the zigzag varints of the differences of the integers divided by it |
//! | 2 | numbers | pco of the doubles |
//! | 3 | numbers | decimal places (1 byte), then the integers `value × 10^places` as 0 or 1 |
//! | 4 | times | power of ten (1 byte), first and span of the times divided by it (zigzag varints), then what each departs from the even grid between first and last, as 0 or 1 |
//!
//! Times are integers and may also be written as those. A varint with the
//! length of what follows stands after the first byte. Way 3 is only taken where
//! dividing gives back the same bits, so that −0, NaN and values from a
//! conversion go through 2. Way 4 suits a source that keeps its rhythm: jitter
//! around a grid is smaller than its differences by a factor of √2.

use super::bytes::{Cursor, push_varint, unzigzag, zigzag};

/// Most decimal places that are tried (own choice: 0.000001 °C is finer than any converter).
pub(super) const PLACES_MAX: u8 = 6;
const PCO_INTEGERS: u8 = 0;
const DIFFERENCES: u8 = 1;
const PCO_NUMBERS: u8 = 2;
const DECIMALS: u8 = 3;
const GRID: u8 = 4;
/// Levels past this one gained nothing on probe traces.
const ZSTD_LEVEL: i32 = 9;
/// Longest varint of 64 bits.
const VARINT_BYTES_MAX: usize = 10;

/// The bytes hold no such sequence.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Malformed;

/// Appends times in µs.
pub(super) fn push_times(bytes: &mut Vec<u8>, times: &[i64]) {
    let plain = shortest_integers(times);
    let shortest = grid(times).map(|body| tagged(GRID, &body)).filter(|grid| grid.len() < plain.len());
    bytes.extend_from_slice(&shortest.unwrap_or(plain));
}

/// Appends numbers, bit by bit what they are.
pub(super) fn push_numbers(bytes: &mut Vec<u8>, numbers: &[f64]) {
    let plain = pco::standalone::simple_compress(numbers, &pco::ChunkConfig::default())
        .ok()
        .map(|packed| tagged(PCO_NUMBERS, &packed));
    let decimal = decimals(numbers).map(|(places, integers)| {
        let mut body = vec![places];
        body.extend_from_slice(&shortest_integers(&integers));
        tagged(DECIMALS, &body)
    });
    let shortest = [plain, decimal].into_iter().flatten().min_by_key(Vec::len);
    bytes.extend_from_slice(&shortest.unwrap_or_default());
}

/// Reads back what [`push_times`] wrote; `count` is the number expected.
pub(super) fn read_times(cursor: &mut Cursor<'_>, count: usize) -> Result<Vec<i64>, Malformed> {
    let mut ahead = cursor.clone();
    if ahead.byte() != Some(GRID) {
        return read_integers(cursor, count);
    }
    *cursor = ahead;
    let mut body = Cursor::new(cursor.counted().ok_or(Malformed)?);
    let exponent = body.byte().ok_or(Malformed)?;
    let unit = 10_i64.checked_pow(u32::from(exponent)).ok_or(Malformed)?;
    let first = unzigzag(body.varint().ok_or(Malformed)?);
    let span = unzigzag(body.varint().ok_or(Malformed)?);
    let departures = read_integers(&mut body, count)?;
    let place = |(n, departure): (usize, i64)| {
        let time = on_grid(first, span, n, count)?.checked_add(departure)?;
        time.checked_mul(unit)
    };
    departures.into_iter().enumerate().map(place).collect::<Option<_>>().ok_or(Malformed)
}

fn read_integers(cursor: &mut Cursor<'_>, count: usize) -> Result<Vec<i64>, Malformed> {
    let tag = cursor.byte().ok_or(Malformed)?;
    let body = cursor.counted().ok_or(Malformed)?;
    let integers = match tag {
        PCO_INTEGERS => pco::standalone::simple_decompress(body).map_err(|_| Malformed)?,
        DIFFERENCES => read_differences(body, count)?,
        _ => return Err(Malformed),
    };
    if integers.len() == count { Ok(integers) } else { Err(Malformed) }
}

/// Reads back what [`push_numbers`] wrote; `count` is the number expected.
pub(super) fn read_numbers(cursor: &mut Cursor<'_>, count: usize) -> Result<Vec<f64>, Malformed> {
    let tag = cursor.byte().ok_or(Malformed)?;
    let body = cursor.counted().ok_or(Malformed)?;
    let numbers = match tag {
        PCO_NUMBERS => pco::standalone::simple_decompress(body).map_err(|_| Malformed)?,
        DECIMALS => {
            let mut inner = Cursor::new(body);
            let places = inner.byte().filter(|places| *places <= PLACES_MAX).ok_or(Malformed)?;
            let integers = read_integers(&mut inner, count)?;
            integers.into_iter().map(|integer| from_decimal(integer, places)).collect()
        }
        _ => return Err(Malformed),
    };
    if numbers.len() == count { Ok(numbers) } else { Err(Malformed) }
}

/// `value × 10^places` where dividing it again gives the very same bits.
pub(super) fn to_decimal(value: f64, places: u8) -> Option<i64> {
    /// Every integer below 2^53 is a double.
    const EXACT: f64 = 9_007_199_254_740_992.0;
    let scaled = (value * power(places)).round();
    if scaled.is_nan() || scaled.abs() >= EXACT {
        return None;
    }
    #[expect(clippy::cast_possible_truncation, reason = "a whole number below 2^53")]
    let integer = scaled as i64;
    (from_decimal(integer, places).to_bits() == value.to_bits()).then_some(integer)
}

/// The value that [`to_decimal`] came from.
pub(super) fn from_decimal(integer: i64, places: u8) -> f64 {
    integer as f64 / power(places)
}

fn power(places: u8) -> f64 {
    const POWERS: [f64; PLACES_MAX as usize + 1] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6];
    POWERS[usize::from(places.min(PLACES_MAX))]
}

fn decimals(numbers: &[f64]) -> Option<(u8, Vec<i64>)> {
    (0..=PLACES_MAX).find_map(|places| {
        let integers: Option<Vec<i64>> = numbers.iter().map(|number| to_decimal(*number, places)).collect();
        integers.map(|integers| (places, integers))
    })
}

fn tagged(tag: u8, body: &[u8]) -> Vec<u8> {
    let mut bytes = vec![tag];
    push_varint(&mut bytes, body.len() as u64);
    bytes.extend_from_slice(body);
    bytes
}

fn shortest_integers(integers: &[i64]) -> Vec<u8> {
    let packed = pco::standalone::simple_compress(integers, &pco::ChunkConfig::default())
        .ok()
        .map(|packed| tagged(PCO_INTEGERS, &packed));
    let differences = differences(integers).map(|body| tagged(DIFFERENCES, &body));
    [packed, differences].into_iter().flatten().min_by_key(Vec::len).unwrap_or_default()
}

fn differences(integers: &[i64]) -> Option<Vec<u8>> {
    let (exponent, unit) = common_power(integers);
    let mut plain = Vec::with_capacity(integers.len() * 2);
    let mut previous = 0_i64;
    for integer in integers {
        let scaled = integer / unit;
        push_varint(&mut plain, zigzag(scaled.wrapping_sub(previous)));
        previous = scaled;
    }
    let mut body = vec![exponent];
    body.extend_from_slice(&zstd::bulk::compress(&plain, ZSTD_LEVEL).ok()?);
    Some(body)
}

fn grid(times: &[i64]) -> Option<Vec<u8>> {
    let (exponent, unit) = common_power(times);
    let (first, last) = (times.first()? / unit, times.last()? / unit);
    let span = last.checked_sub(first)?;
    let departures: Option<Vec<i64>> = times
        .iter()
        .enumerate()
        .map(|(n, time)| (time / unit).checked_sub(on_grid(first, span, n, times.len())?))
        .collect();
    let mut body = vec![exponent];
    push_varint(&mut body, zigzag(first));
    push_varint(&mut body, zigzag(span));
    body.extend_from_slice(&shortest_integers(&departures?));
    Some(body)
}

/// Place `n` of `count` on an even grid, rounded down.
fn on_grid(first: i64, span: i64, n: usize, count: usize) -> Option<i64> {
    let steps = i128::try_from(count.saturating_sub(1).max(1)).ok()?;
    let offset = (i128::from(span) * i128::try_from(n).ok()?).div_euclid(steps);
    first.checked_add(i64::try_from(offset).ok()?)
}

/// The largest power of ten, up to a million, that divides every integer.
fn common_power(integers: &[i64]) -> (u8, i64) {
    let (mut exponent, mut unit) = (0, 1);
    while exponent < PLACES_MAX && integers.iter().all(|integer| integer % (unit * 10) == 0) {
        exponent += 1;
        unit *= 10;
    }
    (exponent, unit)
}

fn read_differences(body: &[u8], count: usize) -> Result<Vec<i64>, Malformed> {
    let (exponent, packed) = body.split_first().ok_or(Malformed)?;
    let unit = 10_i64.checked_pow(u32::from(*exponent)).ok_or(Malformed)?;
    let plain =
        zstd::bulk::decompress(packed, count.saturating_mul(VARINT_BYTES_MAX)).map_err(|_| Malformed)?;
    let mut cursor = Cursor::new(&plain);
    let mut previous = 0_i64;
    let mut integers = Vec::with_capacity(count);
    for _ in 0..count {
        previous = previous.wrapping_add(unzigzag(cursor.varint().ok_or(Malformed)?));
        integers.push(previous.wrapping_mul(unit));
    }
    Ok(integers)
}
