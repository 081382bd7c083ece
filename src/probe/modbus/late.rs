//! Answers on a line that came after their time-out: what a unit that is merely slow sends.
//!
//! A frame does not say which request it answers, but of whom it is, by which function, and how long, and its
//! check must hold. One that fits a request which was given up counts as its late answer. It is never read
//! for its values.

use std::collections::{BTreeMap, BTreeSet};

use tokio::time::Instant;

use super::link::Ask;

/// An answer that is later than so many of its time-outs is none that comes (own choice, as `scan` waits for them).
const DOUBT_TIMES: u32 = 8;
/// Most bytes that are looked through: what is longer is no answer that was waited for.
pub(super) const KEPT_BYTES_MAX: usize = 512;
/// Unit, function, and the two bytes of the check (MODBUS over Serial Line V1.02 §2.5.1).
const FRAME_BYTES_MIN: usize = 5;
/// Added to the function's code where the unit refuses (MODBUS Application Protocol V1.1b3 §7).
const REFUSES: u8 = 0x80;

/// Requests that were given up, and whose answers came all the same.
#[derive(Debug, Default)]
pub(super) struct Late {
    /// The last such request by unit and function, and when it was given up.
    missed: BTreeMap<(u8, u8), (Ask, Instant)>,
    /// Units of which one came, until they are taken.
    seen: BTreeSet<u8>,
}

impl Late {
    /// A request got no answer in its time, which ended at `at`.
    pub(super) fn missed(&mut self, ask: Ask, at: Instant) {
        self.missed.insert((ask.unit, ask.function.code()), (ask, at));
    }

    /// A request was answered in its time.
    pub(super) fn answered(&mut self, ask: Ask) {
        self.missed.remove(&(ask.unit, ask.function.code()));
    }

    /// Whether what looks like the answer to this request, made at `now`, may be that of one before, which was given
    /// up: no frame says from which register on it was read, and when.
    pub(super) fn leaves_doubt(&self, ask: &Ask, now: Instant) -> bool {
        let missed = self.missed.get(&(ask.unit, ask.function.code()));
        missed.is_some_and(|(missed, at)| now < *at + missed.time_out * DOUBT_TIMES)
    }

    /// Looks for late answers in what came. Gives unit and function of each.
    pub(super) fn look(&mut self, bytes: &[u8]) -> Vec<(u8, u8)> {
        let came: Vec<(u8, u8)> = self
            .missed
            .iter()
            .filter(|(_, (ask, _))| answer_in(bytes, ask).is_some())
            .map(|(key, _)| *key)
            .collect();
        for key in &came {
            self.missed.remove(key);
            self.seen.insert(key.0);
        }
        came
    }

    /// The units of which a late answer was seen since this was asked last.
    pub(super) fn take(&mut self) -> BTreeSet<u8> {
        std::mem::take(&mut self.seen)
    }

    /// Whether any answer is still to come, perhaps.
    pub(super) fn waits(&self) -> bool {
        !self.missed.is_empty()
    }
}

/// The answer to a request within these bytes, whatever stands around it: its words, or the code of an exception.
pub(super) fn answer_in(bytes: &[u8], ask: &Ask) -> Option<Result<Vec<u16>, u8>> {
    (0..bytes.len()).find_map(|start| answer_at(&bytes[start..], ask))
}

fn answer_at(bytes: &[u8], ask: &Ask) -> Option<Result<Vec<u16>, u8>> {
    let &[unit, function, third, ..] = bytes else { return None };
    if unit != ask.unit {
        return None;
    }
    let data = usize::from(ask.count) * 2;
    let refused = function == ask.function.code() | REFUSES;
    let length = if refused {
        FRAME_BYTES_MIN
    } else if function == ask.function.code() && usize::from(third) == data {
        FRAME_BYTES_MIN + data
    } else {
        return None;
    };
    let frame = bytes.get(..length)?;
    let (body, check) = frame.split_at(length - 2);
    if crc(body).to_le_bytes() != check {
        return None;
    }
    let words = body[3..].chunks_exact(2).map(|pair| u16::from_be_bytes([pair[0], pair[1]]));
    Some(if refused { Err(third) } else { Ok(words.collect()) })
}

/// CRC of MODBUS over Serial Line V1.02 §6.2.2: polynomial 0xA001, all ones before.
pub(super) fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xA001 } else { crc >> 1 })
    })
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::wire::registers::Function;

    fn ask(unit: u8, count: u16) -> Ask {
        Ask { unit, function: Function::Input, first: 0, count, time_out: Duration::ZERO }
    }

    // 0x4B37: check value of CRC-16/MODBUS in the catalogue of parametrised CRC algorithms (Greg Cook).
    #[test]
    fn the_check_is_that_of_the_standard() {
        assert_eq!(crc(b"123456789"), 0x4B37);
    }

    // Frames of MODBUS Application Protocol V1.1b3 §6.4 (04, register 8 holds 10) and §7.
    #[test]
    fn a_late_answer_is_told_by_unit_function_length_and_check() {
        let frame = |body: &[u8]| [body, &crc(body).to_le_bytes()].concat();
        let answer = frame(&[7, 4, 2, 0, 10]);
        let mut bent = answer.clone();
        bent[4] ^= 1;
        for (what, bytes, expected) in [
            ("the answer", answer.clone(), Some(Ok(vec![10]))),
            ("behind noise", [&[0xFF, 7, 0][..], &answer].concat(), Some(Ok(vec![10]))),
            ("before another's", [&answer[..], &frame(&[8, 4, 2, 0, 1])].concat(), Some(Ok(vec![10]))),
            ("an exception", frame(&[7, 0x84, 2]), Some(Err(2))),
            ("a half", answer[..5].to_vec(), None),
            ("bent", bent, None),
            ("another unit", frame(&[8, 4, 2, 0, 10]), None),
            ("another function", frame(&[7, 3, 2, 0, 10]), None),
            ("longer", frame(&[7, 4, 4, 0, 10, 0, 10]), None),
        ] {
            assert_eq!(answer_in(&bytes, &ask(7, 1)), expected, "{what}");
            let mut late = Late::default();
            assert_eq!(late.look(&bytes), [], "{what}: nothing was asked for");
            late.missed(ask(7, 1), Instant::now());
            let seen = if expected.is_some() { vec![(7, 4)] } else { Vec::new() };
            assert_eq!((late.look(&bytes), late.waits()), (seen, expected.is_none()), "{what}");
            assert_eq!(late.take().contains(&7), expected.is_some(), "{what}");
        }
    }

    // MODBUS Application Protocol V1.1b3 §6.4 and §7: an answer holds function, length and values, a refusal its code,
    // and neither the register. How long there is doubt is an own choice.
    #[test]
    fn a_request_that_was_given_up_leaves_doubt_for_a_while() {
        let asked = Ask { time_out: Duration::from_millis(100), ..ask(7, 2) };
        let (now, mut late) = (Instant::now(), Late::default());
        assert!(!late.leaves_doubt(&asked, now), "nothing was given up");
        late.missed(asked, now);
        for (what, ask, after_ms, expected) in [
            ("the same register", asked, 0, true),
            ("another one", Ask { first: 8, ..asked }, 0, true),
            ("another count, which may be refused", Ask { count: 1, ..asked }, 799, true),
            ("long after", asked, 800, false),
            ("another function", Ask { function: Function::Holding, ..asked }, 0, false),
            ("another unit", Ask { unit: 8, ..asked }, 0, false),
        ] {
            assert_eq!(late.leaves_doubt(&ask, now + Duration::from_millis(after_ms)), expected, "{what}");
        }
        late.answered(Ask { first: 8, ..asked });
        assert!(!late.leaves_doubt(&asked, now), "it was answered since");
    }
}
