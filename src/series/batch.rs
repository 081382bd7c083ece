//! Lines gathered for one request, each of them findable again.

use super::point::{Key, Point, Unwritable};

/// Lines of line protocol, each with its end.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Batch {
    bytes: Vec<u8>,
    /// Where each line ends, its line end included.
    ends: Vec<usize>,
}

impl Batch {
    /// Adds the line of a point.
    ///
    /// # Errors
    /// [`Unwritable`]; the batch is then as it was, and the point is to be set aside.
    pub fn push(&mut self, point: &Point) -> Result<(), Unwritable> {
        point.write_to(&mut self.bytes)?;
        self.ends.push(self.bytes.len());
        Ok(())
    }

    /// Adds the line of a point below a key, see [`Point::write_below`].
    ///
    /// # Errors
    /// As [`Batch::push`].
    pub fn push_below(&mut self, key: &Key, point: &Point) -> Result<(), Unwritable> {
        point.write_below(key, &mut self.bytes)?;
        self.ends.push(self.bytes.len());
        Ok(())
    }

    /// Takes lines that were set aside; an empty one is passed over.
    #[must_use]
    pub fn from_lines(text: &[u8]) -> Self {
        let mut batch = Self::default();
        for line in text.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()) {
            batch.bytes.extend_from_slice(line);
            batch.bytes.push(b'\n');
            batch.ends.push(batch.bytes.len());
        }
        batch
    }

    /// Forgets every line and keeps the memory.
    pub fn clear(&mut self) {
        self.bytes.clear();
        self.ends.clear();
    }

    /// How many lines.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// All lines.
    #[must_use]
    pub fn lines(&self) -> Lines<'_> {
        Lines { bytes: &self.bytes, ends: &self.ends, start: 0 }
    }
}

/// Some lines of a batch, side by side.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Lines<'a> {
    /// Of the whole batch.
    bytes: &'a [u8],
    /// Of these lines.
    ends: &'a [usize],
    /// Where the first of them starts.
    start: usize,
}

impl<'a> Lines<'a> {
    /// How many.
    #[must_use]
    pub const fn len(self) -> usize {
        self.ends.len()
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.ends.is_empty()
    }

    /// The text of all of them.
    #[must_use]
    pub fn bytes(self) -> &'a [u8] {
        &self.bytes[self.start..self.ends.last().copied().unwrap_or(self.start)]
    }

    /// The lines before `at` and those from there on; `at` is held inside.
    #[must_use]
    pub fn split_at(self, at: usize) -> (Self, Self) {
        let at = at.min(self.ends.len());
        let (first, second) = self.ends.split_at(at);
        let middle = first.last().copied().unwrap_or(self.start);
        (
            Self { bytes: self.bytes, ends: first, start: self.start },
            Self { bytes: self.bytes, ends: second, start: middle },
        )
    }

    /// Two halves: of a single line the second is empty.
    #[must_use]
    pub fn halves(self) -> (Self, Self) {
        self.split_at(self.ends.len().div_ceil(2))
    }

    /// Each line alone.
    pub fn each(self) -> impl Iterator<Item = Self> {
        let mut rest = self;
        std::iter::from_fn(move || {
            let (first, second) = rest.split_at(1);
            rest = second;
            (!first.is_empty()).then_some(first)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::time::Timestamp;

    #[test]
    fn halves_and_single_lines_cover_every_line_once() {
        let mut batch = Batch::default();
        for number in 0..7 {
            let point = Point::new("reading", Timestamp::from_micros(number)).integer("n", number);
            batch.push(&point).expect("a plain point");
        }
        let none = Point::new("reading", Timestamp::from_micros(9));
        assert!(batch.push(&none).is_err(), "a point without fields");
        assert_eq!(batch.len(), 7);

        let (first, second) = batch.lines().halves();
        assert_eq!((first.len(), second.len()), (4, 3));
        assert_eq!([first.bytes(), second.bytes()].concat(), batch.lines().bytes());
        let (third, fourth) = second.halves();
        assert_eq!(third.bytes(), b"reading n=4i 4000\nreading n=5i 5000\n");
        assert_eq!(fourth.bytes(), b"reading n=6i 6000\n");
        let (all, nothing) = fourth.halves();
        assert_eq!((all, nothing.len(), nothing.bytes()), (fourth, 0, &b""[..]));
        let each: Vec<&[u8]> = batch.lines().each().map(Lines::bytes).collect();
        assert_eq!(each.concat(), batch.lines().bytes());
        assert_eq!(Batch::from_lines(batch.lines().bytes()), batch);
    }
}
