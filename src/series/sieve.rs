//! Finds the lines that a server refuses, so that everything beside them flows.
//!
//! A refused batch is halved until the parts are taken or a single line is left:
//! that line is set aside with the server's reason. Where line after line is
//! refused and none is taken, the lines are not to blame but the settings of
//! the server or of the gateway: then nothing is set aside, and the batch waits.
//!
//! Limits: [`ALL_REFUSED`] lines in a row, before that is concluded also the
//! last line of every part that is still to come, at most 20 of them. One bad
//! line in a batch of n costs about 2·log₂ n requests. Lines sent twice on the
//! way change nothing on the server.

use super::batch::Lines;

/// So many lines refused one by one, none taken: no accident.
pub const ALL_REFUSED: usize = 16;

/// What became of a part.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Sifted {
    /// The server has it.
    Taken,
    /// Too many bytes for one request.
    TooLarge,
    /// Something in it was refused; the server may have taken the rest of it.
    Refused {
        /// What the server said.
        reason: String,
        /// How many points it dropped while it took all others, where it says so.
        dropped: Option<usize>,
    },
}

/// Reason of a single line that is too large for a request.
const TOO_LARGE: &str = "the server takes no request of the size of this one point";

/// Everything is refused.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("the server refuses every point: {reason}")]
pub struct AllRefused {
    /// What it said of the last one.
    pub reason: String,
}

/// Lines that were refused for one reason, one after another.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Aside {
    /// What the server said.
    pub reason: String,
    /// How many.
    pub points: usize,
    /// The lines; of a long row the first [`ASIDE_BYTES_MAX`] bytes or so.
    pub lines: Vec<u8>,
}

/// Most bytes of one row of lines that is set aside. The readings stay in the ledger anyway.
pub const ASIDE_BYTES_MAX: usize = 64 * 1024;

/// Takes one batch apart.
#[derive(Debug)]
pub struct Sieve<'batch> {
    /// Parts to send, the next one last.
    open: Vec<Lines<'batch>>,
    aside: Vec<Aside>,
    /// Lines refused one by one since one was taken, those of earlier batches included.
    in_a_row: usize,
    /// At so many of them everything is refused.
    row_max: usize,
}

impl<'batch> Sieve<'batch> {
    /// Begins with the whole batch. `in_a_row` is what the sieve of the batch before gave.
    #[must_use]
    pub fn new(lines: Lines<'batch>, in_a_row: usize) -> Self {
        let open = if lines.is_empty() { Vec::new() } else { vec![lines] };
        Self { open, aside: Vec::new(), in_a_row, row_max: ALL_REFUSED }
    }

    /// What to send next; `None` where everything is taken or set aside.
    #[must_use]
    pub fn next(&self) -> Option<Lines<'batch>> {
        self.open.last().copied()
    }

    /// Takes what became of the part that [`Sieve::next`] gave.
    ///
    /// # Errors
    /// [`AllRefused`]: nothing of this batch is to be set aside.
    pub fn answer(&mut self, sifted: Sifted) -> Result<(), AllRefused> {
        let Some(lines) = self.open.pop() else { return Ok(()) };
        match sifted {
            Sifted::Taken => {
                self.in_a_row = 0;
                self.row_max = ALL_REFUSED;
                Ok(())
            }
            Sifted::TooLarge if lines.len() == 1 => {
                self.set_aside(lines, TOO_LARGE.to_owned());
                Ok(())
            }
            Sifted::Refused { reason, dropped } if is_past_retention(&reason, dropped, lines.len()) => {
                self.set_aside(lines, reason);
                Ok(())
            }
            Sifted::Refused { reason, .. } if lines.len() == 1 => self.refused(lines, reason),
            Sifted::TooLarge | Sifted::Refused { .. } => {
                let (first, second) = lines.halves();
                self.open.extend([second, first]);
                Ok(())
            }
        }
    }

    /// How many lines in a row were refused at the end, and what is to be set aside.
    #[must_use]
    pub fn finish(self) -> (usize, Vec<Aside>) {
        (self.in_a_row, self.aside)
    }

    fn refused(&mut self, lines: Lines<'batch>, reason: String) -> Result<(), AllRefused> {
        self.in_a_row += 1;
        if self.in_a_row >= self.row_max {
            let untried = self.row_max == ALL_REFUSED && !self.open.is_empty();
            if !untried {
                return Err(AllRefused { reason });
            }
            self.try_last_lines();
        }
        self.set_aside(lines, reason);
        Ok(())
    }

    /// Bad lines may stand side by side: before everything is called refused, the
    /// last line of each part that is still to come is tried.
    fn try_last_lines(&mut self) {
        let parts = std::mem::take(&mut self.open);
        let split = parts.iter().map(|lines| lines.split_at(lines.len() - 1));
        let (before, last): (Vec<_>, Vec<_>) = split.unzip();
        self.row_max = self.in_a_row + last.len();
        self.open.extend(before.into_iter().filter(|lines| !lines.is_empty()));
        self.open.extend(last);
    }

    fn set_aside(&mut self, lines: Lines<'batch>, reason: String) {
        match self.aside.last_mut() {
            Some(aside) if aside.reason == reason => {
                aside.points += lines.len();
                if aside.lines.len() < ASIDE_BYTES_MAX {
                    aside.lines.extend(bounded(lines));
                }
            }
            Some(_) | None => {
                self.aside.push(Aside { reason, points: lines.len(), lines: bounded(lines) });
            }
        }
    }
}

/// The first lines, up to about the limit.
fn bounded(lines: Lines<'_>) -> Vec<u8> {
    let mut bytes = Vec::new();
    for line in lines.each() {
        bytes.extend_from_slice(line.bytes());
        if bytes.len() >= ASIDE_BYTES_MAX {
            break;
        }
    }
    bytes
}

/// Whether the server says that all of `points` lie outside the time it keeps. InfluxDB 2 takes
/// the others of the batch and tells how many it dropped («partial write: points beyond retention
/// policy dropped=3»), so that they need not be sought one by one. That nothing of a batch is
/// taken is no fault then: an old ledger meets a bucket of thirty days.
fn is_past_retention(reason: &str, dropped: Option<usize>, points: usize) -> bool {
    reason.contains("retention") && (points == 1 || dropped == Some(points))
}

#[cfg(test)]
mod tests;
