//! From bytes of text in any pieces to samples: what serial ports and files share.

use crate::config::source::LineFormat;
use crate::core::time::Timestamp;
use crate::wire::decoded::Decoded;
use crate::wire::directory::Directory;
use crate::wire::lines::{Line, LineSplitter};
use crate::wire::refusal::RefusedBecause;
use crate::wire::{plain, senml};

/// Splits bytes into lines and decodes each.
#[derive(Debug)]
pub struct TextDecoder {
    splitter: LineSplitter,
    lines: LineDecoder,
}

#[derive(Debug)]
struct LineDecoder {
    format: LineFormat,
    directory: Directory,
    /// The next line may have lost its beginning.
    may_be_cut: bool,
}

impl TextDecoder {
    /// A decoder for a stream that begins with a whole line.
    #[must_use]
    pub fn new(format: LineFormat, line_bytes_max: usize, directory: Directory) -> Self {
        let lines = LineDecoder { format, directory, may_be_cut: false };
        Self { splitter: LineSplitter::new(line_bytes_max), lines }
    }

    /// Starts over on a stream that may begin in the middle of a line.
    ///
    /// What came of the last line is forgotten: its number may be cut off. The
    /// first line of the new stream is dropped where it is plain, since the tail
    /// of a long name can be another name. A SenML pack proves itself by its
    /// brackets; it is used if whole and otherwise dropped without a refusal.
    pub fn join(&mut self) {
        match self.lines.format {
            LineFormat::Plain => self.splitter.resynchronise(),
            LineFormat::Senml => {
                self.splitter.restart();
                self.lines.may_be_cut = true;
            }
        }
    }

    /// Takes the next bytes, which arrived at `received`.
    pub fn feed(&mut self, bytes: &[u8], received: Timestamp, into: &mut Decoded) {
        let Self { splitter, lines } = self;
        splitter.feed(bytes, |line| lines.decode(line, received, into));
    }

    /// The input has ended: what came last is a whole line.
    pub fn finish(&mut self, received: Timestamp, into: &mut Decoded) {
        let Self { splitter, lines } = self;
        splitter.finish(|line| lines.decode(line, received, into));
    }
}

impl LineDecoder {
    fn decode(&mut self, line: Line<'_>, received: Timestamp, into: &mut Decoded) {
        let refusals_before = into.refusals.len();
        match (line, self.format) {
            (Line::TooLong(head), _) => into.refuse(head, RefusedBecause::TooLong),
            (Line::Whole(line), LineFormat::Plain) => plain::decode(line, &self.directory, received, into),
            (Line::Whole(line), LineFormat::Senml) => senml::decode(line, &self.directory, received, into),
        }
        if std::mem::take(&mut self.may_be_cut) {
            let no_pack = [RefusedBecause::NotSenml, RefusedBecause::NotText, RefusedBecause::TooLong];
            if into.refusals[refusals_before..].iter().all(|refusal| no_pack.contains(&refusal.why)) {
                into.refusals.truncate(refusals_before);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::id::ChannelId;
    use crate::wire::directory::WireUnit;

    fn decoded(format: LineFormat, pieces: &[&[u8]]) -> (usize, Vec<RefusedBecause>) {
        let mut directory = Directory::default();
        directory.insert("dm1/rinse".to_owned(), ChannelId(0), WireUnit::Celsius);
        let mut decoder = TextDecoder::new(format, 60, directory);
        let mut decoded = Decoded::default();
        for piece in pieces {
            decoder.join();
            decoder.feed(piece, Timestamp::MIN, &mut decoded);
        }
        (decoded.samples.len(), decoded.refusals.iter().map(|refusal| refusal.why).collect())
    }

    // Own rules, stated at `join`.
    #[test]
    fn joins_a_stream_in_the_middle_of_a_line() {
        let pack = br#"[{"n":"dm1/rinse","v":82.4}]"#;
        let whole = [&pack[..], b"\n"].concat();
        for (format, pieces, samples, refusals) in [
            (LineFormat::Plain, vec![&b"north/dm1/rinse 82.4\ndm1/rinse 82.5\n"[..]], 1, vec![]),
            (LineFormat::Plain, vec![b"dm1/rinse 1\ndm1/rinse 82", b".5\ndm1/rinse 82.5\n"], 1, vec![]),
            (LineFormat::Senml, vec![&whole], 1, vec![]),
            (LineFormat::Senml, vec![&whole[9..]], 0, vec![]),
            (LineFormat::Senml, vec![&pack[..9], &whole], 1, vec![]),
            (LineFormat::Senml, vec![b"\xff\n\xff\n"], 0, vec![RefusedBecause::NotText]),
            (
                LineFormat::Senml,
                vec![b"[{\"n\":\"dm2/rinse\",\"v\":1}]\n"],
                0,
                vec![RefusedBecause::UnknownName],
            ),
        ] {
            assert_eq!(decoded(format, &pieces), (samples, refusals), "{pieces:?}");
        }
    }
}
