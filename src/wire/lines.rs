//! Lines out of a stream of bytes that arrives in any pieces.

/// Bytes of an overlong line that are kept to show what it was.
const SHOWN_BYTES: usize = 80;

/// A line that ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Line<'a> {
    /// A line without its end, never empty; any bytes but CR and LF.
    Whole(&'a [u8]),
    /// The beginning of a line that is longer than the limit. It is told as soon
    /// as the limit is passed; the rest is dropped up to the end of the line.
    TooLong(&'a [u8]),
}

/// Cuts bytes into lines that end in LF, CR or CRLF. Empty lines are left out.
///
/// Holds at most the longest line allowed. How the bytes are cut into pieces
/// makes no difference to the lines.
#[derive(Clone, Debug)]
pub struct LineSplitter {
    line_bytes_max: usize,
    /// The beginning of a line whose end has not come.
    begun: Vec<u8>,
    /// The current line is not wanted: drop up to its end.
    dropping: bool,
}

impl LineSplitter {
    /// A splitter for lines of up to `line_bytes_max` bytes, at least 1.
    #[must_use]
    pub fn new(line_bytes_max: usize) -> Self {
        Self { line_bytes_max: line_bytes_max.max(1), begun: Vec::new(), dropping: false }
    }

    /// Takes the next bytes and calls `each` for every line that they end.
    pub fn feed(&mut self, mut bytes: &[u8], mut each: impl FnMut(Line<'_>)) {
        while let Some(end) = bytes.iter().position(|byte| matches!(byte, b'\n' | b'\r')) {
            self.add(&bytes[..end], true, &mut each);
            bytes = &bytes[end + 1..];
        }
        self.add(bytes, false, &mut each);
    }

    /// Takes what came last for a whole line: the input ended without a line end.
    pub fn finish(&mut self, mut each: impl FnMut(Line<'_>)) {
        self.add(&[], true, &mut each);
    }

    /// Forgets a line that has begun and drops everything up to the next line
    /// end: for a port that was just opened, perhaps in the middle of a line.
    pub fn resynchronise(&mut self) {
        self.begun.clear();
        self.dropping = true;
    }

    /// Forgets a line that has begun; the next byte begins a line.
    pub fn restart(&mut self) {
        self.begun.clear();
        self.dropping = false;
    }

    fn add(&mut self, piece: &[u8], ended: bool, each: &mut impl FnMut(Line<'_>)) {
        if self.dropping {
            self.dropping = !ended;
            return;
        }
        if self.begun.len() + piece.len() > self.line_bytes_max {
            let wanted = SHOWN_BYTES.min(self.line_bytes_max).saturating_sub(self.begun.len());
            self.begun.extend_from_slice(&piece[..wanted.min(piece.len())]);
            self.begun.truncate(SHOWN_BYTES);
            each(Line::TooLong(&self.begun));
            self.begun.clear();
            self.dropping = !ended;
        } else if !ended {
            self.begun.extend_from_slice(piece);
        } else if self.begun.is_empty() {
            if !piece.is_empty() {
                each(Line::Whole(piece));
            }
        } else {
            self.begun.extend_from_slice(piece);
            each(Line::Whole(&self.begun));
            self.begun.clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn split(pieces: &[&[u8]], line_bytes_max: usize) -> Vec<(bool, Vec<u8>)> {
        let mut splitter = LineSplitter::new(line_bytes_max);
        let mut lines = Vec::new();
        let mut note = |line: Line<'_>| match line {
            Line::Whole(bytes) => lines.push((true, bytes.to_vec())),
            Line::TooLong(bytes) => lines.push((false, bytes.to_vec())),
        };
        for piece in pieces {
            splitter.feed(piece, &mut note);
        }
        splitter.finish(&mut note);
        lines
    }

    // The three line ends: LF of POSIX.1-2024 §3.185, CR and CRLF of RFC 20 terminals (common practice, no source).
    #[test]
    fn ends_lines_at_lf_cr_and_crlf() {
        for (pieces, max, expected) in [
            (vec![&b"a 1\nb 2\rc 3\r\nd 4"[..]], 9, vec!["+a 1", "+b 2", "+c 3", "+d 4"]),
            (vec![b"a", b" 1\r", b"\nb 2\n"], 9, vec!["+a 1", "+b 2"]),
            (vec![b"\n\r\n\n"], 9, vec![]),
            (vec![b"123456789\n"], 9, vec!["+123456789"]),
            (vec![b"1234567890\nb\n"], 9, vec!["-123456789", "+b"]),
            (vec![b"12345", b"67890", b"123", b"45\nb\n"], 9, vec!["-123456789", "+b"]),
            (vec![b"a\0b\nc\n"], 9, vec!["+a\0b", "+c"]),
        ] {
            let lines: Vec<String> = split(&pieces, max)
                .into_iter()
                .map(|(whole, bytes)| {
                    format!("{}{}", if whole { '+' } else { '-' }, String::from_utf8_lossy(&bytes))
                })
                .collect();
            assert_eq!(lines, expected, "{pieces:?}");
        }
    }

    #[test]
    fn a_resynchronised_splitter_drops_the_line_it_fell_into() {
        let mut splitter = LineSplitter::new(20);
        let mut lines = Vec::new();
        splitter.feed(b"half a li", |_| {});
        splitter.resynchronise();
        for piece in [&b"nse 82"[..], b".4\nwash 66.1\n"] {
            splitter.feed(piece, |line| lines.push(format!("{line:?}")));
        }
        assert_eq!(lines, [format!("{:?}", Line::Whole(b"wash 66.1"))]);
    }

    proptest! {
        #[test]
        fn pieces_make_no_difference(
            bytes in proptest::collection::vec(prop_oneof![Just(b'\n'), Just(b'\r'), any::<u8>()], 0..400),
            cuts in proptest::collection::vec(0_usize..40, 0..60),
            line_bytes_max in 0_usize..200,
        ) {
            let mut pieces = Vec::new();
            let mut rest = &bytes[..];
            for cut in cuts {
                let (piece, after) = rest.split_at(cut.min(rest.len()));
                pieces.push(piece);
                rest = after;
            }
            pieces.push(rest);
            prop_assert_eq!(split(&pieces, line_bytes_max), split(&[&bytes], line_bytes_max));
        }
    }
}
