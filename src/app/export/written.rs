//! What an export came to, said to whoever made it: where it is, how large, and its hash.

use std::fmt;
use std::io::{self, Write};

use sha2::{Digest, Sha256};

/// A writer that keeps count and hash of what went through it.
#[derive(Debug)]
pub(in crate::app) struct Hashed<W> {
    out: W,
    hash: Sha256,
    bytes: u64,
}

/// What was written at one place.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(in crate::app) struct Written {
    /// Where, in words.
    pub(in crate::app) place: String,
    bytes: u64,
    sha256: String,
}

impl<W: Write> Hashed<W> {
    pub(in crate::app) fn new(out: W) -> Self {
        Self { out, hash: Sha256::new(), bytes: 0 }
    }

    /// The writer, and what went through it.
    pub(in crate::app) fn ended(self, place: String) -> (W, Written) {
        let sha256 = self.hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
        (self.out, Written { place, bytes: self.bytes, sha256 })
    }
}

impl<W: Write> Write for Hashed<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.out.write(bytes)?;
        self.hash.update(&bytes[..count]);
        self.bytes += u64::try_from(count).unwrap_or(0);
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

impl fmt::Display for Written {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {} bytes, SHA-256 {}", self.place, self.bytes, self.sha256)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // SHA-256 of «abc»: FIPS 180-4, example of NIST.
    #[test]
    fn what_was_written_is_told_with_its_hash() {
        let mut out = Hashed::new(Vec::new());
        out.write_all(b"a").and_then(|()| out.write_all(b"bc")).expect("memory takes all");
        let (kept, written) = out.ended("here".to_owned());
        assert_eq!(kept, b"abc");
        let known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(written.to_string(), format!("here: 3 bytes, SHA-256 {known}"));
    }
}
