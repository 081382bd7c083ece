//! What is read while an export is checked: a file, or a file within a PDF.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read};
use std::path::PathBuf;

use flate2::read::ZlibDecoder;
use std::sync::Arc;

use crate::core::evidence::LINE_MAX;

/// Bytes that can be read from their beginning as often as needed.
#[derive(Clone, Debug)]
pub(super) enum Source {
    /// A file.
    File(PathBuf),
    /// An attachment, as it stands in its PDF.
    Attachment {
        /// Its bytes.
        bytes: Arc<[u8]>,
        /// Whether they are compressed (zlib).
        packed: bool,
    },
}

impl Source {
    /// Begins to read.
    pub(super) fn open(&self) -> io::Result<Box<dyn BufRead>> {
        Ok(match self {
            Self::File(path) => Box::new(BufReader::with_capacity(1 << 16, File::open(path)?)),
            Self::Attachment { bytes, packed: false } => Box::new(io::Cursor::new(Arc::clone(bytes))),
            Self::Attachment { bytes, packed: true } => {
                Box::new(BufReader::new(ZlibDecoder::new(io::Cursor::new(Arc::clone(bytes)))))
            }
        })
    }

    /// Its first bytes.
    pub(super) fn head(&self) -> io::Result<Vec<u8>> {
        let mut head = Vec::new();
        self.open()?.take(64).read_to_end(&mut head)?;
        Ok(head)
    }
}

/// What the next line is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Line {
    /// There is none.
    End,
    /// It is in the buffer, without its end.
    Whole,
    /// It was longer than [`LINE_MAX`] and passed over.
    TooLong,
}

/// Reads the next line into the buffer.
pub(super) fn next_line(input: &mut dyn BufRead, buffer: &mut Vec<u8>) -> io::Result<Line> {
    buffer.clear();
    let most = LINE_MAX as u64 + 1;
    let mut limited = (&mut *input).take(most);
    if limited.read_until(b'\n', buffer)? == 0 {
        return Ok(Line::End);
    }
    if buffer.last() == Some(&b'\n') {
        buffer.pop();
        return Ok(Line::Whole);
    }
    if buffer.len() <= LINE_MAX {
        return Ok(Line::Whole);
    }
    input.skip_until(b'\n')?;
    Ok(Line::TooLong)
}
