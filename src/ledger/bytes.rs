//! Varints, zigzag and short checks: the small change of the stored forms.

use sha2::{Digest, Sha256};

/// Bytes of a check at the head of a stored part.
const CHECK_BYTES: usize = 4;

/// Appends an unsigned LEB128 number.
pub(super) fn push_varint(bytes: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        bytes.push((number & 0x7f) as u8 | 0x80);
        number >>= 7;
    }
    bytes.push((number & 0x7f) as u8);
}

/// Maps small numbers of either sign to small numbers.
pub(super) const fn zigzag(number: i64) -> u64 {
    ((number << 1) ^ (number >> 63)).cast_unsigned()
}

/// The inverse of [`zigzag`].
pub(super) const fn unzigzag(number: u64) -> i64 {
    (number >> 1).cast_signed() ^ -((number & 1).cast_signed())
}

/// Puts a version byte and the first four bytes of the SHA-256 of `body` before it.
pub(super) fn seal(version: u8, body: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(body.len() + 1 + CHECK_BYTES);
    bytes.push(version);
    bytes.extend_from_slice(&Sha256::digest(body)[..CHECK_BYTES]);
    bytes.extend_from_slice(body);
    bytes
}

/// The body that [`seal`] wrote, where version and check fit.
pub(super) fn unseal(version: u8, bytes: &[u8]) -> Option<&[u8]> {
    let (head, body) = bytes.split_at_checked(1 + CHECK_BYTES)?;
    let sound = head[0] == version && head[1..] == Sha256::digest(body)[..CHECK_BYTES];
    sound.then_some(body)
}

/// Reads from the front of a slice.
#[derive(Clone, Debug)]
pub(super) struct Cursor<'a> {
    rest: &'a [u8],
}

impl<'a> Cursor<'a> {
    /// Starts at the first byte.
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    /// Whether nothing is left.
    pub(super) fn is_at_end(&self) -> bool {
        self.rest.is_empty()
    }

    /// The next byte.
    pub(super) fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.rest.split_first()?;
        self.rest = rest;
        Some(*first)
    }

    /// The next eight bytes, least significant first.
    pub(super) fn eight(&mut self) -> Option<[u8; 8]> {
        let (first, rest) = self.rest.split_first_chunk::<8>()?;
        self.rest = rest;
        Some(*first)
    }

    /// The next varint; `None` also where it is longer than 64 bits.
    pub(super) fn varint(&mut self) -> Option<u64> {
        let mut number = 0_u64;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            let bits = u64::from(byte & 0x7f);
            if shift == 63 && bits > 1 {
                return None;
            }
            number |= bits << shift;
            if byte < 0x80 {
                return Some(number);
            }
        }
        None
    }

    /// The next bytes, as many as the varint before them says.
    pub(super) fn counted(&mut self) -> Option<&'a [u8]> {
        let length = usize::try_from(self.varint()?).ok()?;
        let (body, rest) = self.rest.split_at_checked(length)?;
        self.rest = rest;
        Some(body)
    }
}
