//! How far an export is, and whether it goes on: told to a person at a terminal, or to whoever watches it from
//! elsewhere, may end it and bounds what it may write. Every part of an export is written through one
//! [`Bounded`] writer.

use std::io::{self, IsTerminal, Write};

/// After how many records the progress is told anew.
const PROGRESS_EVERY: u64 = 20_000;
/// Bytes between two looks at the room on the device.
const LOOK_EVERY: u64 = 16 << 20;

/// Tells how far it is: a person at a terminal, or whoever watches from elsewhere and may end it.
pub(in crate::app) struct Progress<'p> {
    /// A terminal; `None` where nobody looks at one.
    err: Option<&'p mut dyn Write>,
    watched: Option<&'p dyn Watched>,
    records: u64,
    /// Those of the passes before.
    before: u64,
    shown: bool,
}

/// Whoever watches an export from elsewhere.
pub(in crate::app) trait Watched: Sync {
    /// So many records were read.
    fn far(&self, records: u64);

    /// The report program begins.
    fn typesetting(&self);

    /// So many pictures of the report are laid out, of so many.
    fn laid(&self, laid: u64, of: u64);

    /// Whether it is to end.
    fn is_over(&self) -> bool;

    /// Bytes that may be written yet; what is left on the device beyond them is for recording.
    ///
    /// # Errors
    /// Where the device does not say.
    fn room(&self) -> io::Result<u64>;
}

impl<'p> Progress<'p> {
    pub(in crate::app) fn new(err: &'p mut dyn Write) -> Self {
        let err = io::stderr().is_terminal().then_some(err);
        Self { err, watched: None, records: 0, before: 0, shown: false }
    }

    /// Where nobody looks.
    pub(in crate::app) const fn unseen() -> Self {
        Self { err: None, watched: None, records: 0, before: 0, shown: false }
    }

    /// Where somebody watches from elsewhere.
    pub(in crate::app) const fn watched(watched: &'p dyn Watched) -> Self {
        Self { err: None, watched: Some(watched), records: 0, before: 0, shown: false }
    }

    /// Whether it is to end.
    pub(in crate::app) fn is_over(&self) -> bool {
        self.watched.is_some_and(Watched::is_over)
    }

    /// Bytes that may be written yet; `None` where nobody bounds them.
    ///
    /// # Errors
    /// Where the device does not say.
    pub(in crate::app) fn room(&self) -> io::Result<Option<u64>> {
        self.watched.map(Watched::room).transpose()
    }

    /// Looks whether it is still wanted and there is room for more.
    ///
    /// # Errors
    /// An output that ended where it is to end, a full device where there is no room.
    pub(in crate::app) fn look(&self) -> io::Result<()> {
        look(self.watched)
    }

    /// A writer that goes on while it is wanted and there is room.
    pub(in crate::app) const fn bounded<W: Write>(&self, out: W) -> Bounded<'p, W> {
        Bounded { out, watched: self.watched, written: 0, look_at: 0 }
    }

    /// Says that the report program begins.
    pub(in crate::app) fn typesetting(&self) {
        if let Some(watched) = self.watched {
            watched.typesetting();
        }
    }

    /// Says how many pictures of the report are laid out, of how many.
    pub(in crate::app) fn laid(&self, laid: u64, of: u64) {
        if let Some(watched) = self.watched {
            watched.laid(laid, of);
        }
    }

    /// Says that one more record was read. A terminal that takes no more text stops nothing.
    ///
    /// # Errors
    /// Where whoever watches ended it.
    pub(in crate::app) fn step(&mut self) -> io::Result<()> {
        self.records += 1;
        if let Some(watched) = self.watched {
            watched.far(self.records);
            if watched.is_over() {
                return Err(io::ErrorKind::BrokenPipe.into());
            }
        }
        if self.records.is_multiple_of(PROGRESS_EVERY)
            && let Some(err) = &mut self.err
        {
            self.shown = write!(err, "\r{} records read", self.records).and_then(|()| err.flush()).is_ok();
        }
        Ok(())
    }

    /// Begins another pass over the same records.
    pub(in crate::app) fn another_pass(&mut self) {
        self.before = self.records;
    }

    /// Records that were read, each once: those of the last pass.
    pub(in crate::app) const fn records(&self) -> u64 {
        self.records - self.before
    }

    /// Takes the line away.
    pub(in crate::app) fn finish(self) {
        if let (Some(err), true) = (self.err, self.shown) {
            let blank = write!(err, "\r{:40}\r", "").and_then(|()| err.flush());
            tracing::trace!(written = blank.is_ok(), "progress is over");
        }
    }
}

fn look(watched: Option<&dyn Watched>) -> io::Result<()> {
    let Some(watched) = watched else { return Ok(()) };
    if watched.is_over() {
        return Err(io::ErrorKind::BrokenPipe.into());
    }
    if watched.room()? == 0 {
        let said = "the device is nearly full, and what is left is for recording";
        return Err(io::Error::new(io::ErrorKind::StorageFull, said));
    }
    Ok(())
}

/// Writes while somebody wants it and there is room; where nobody watches, on and on.
pub(in crate::app) struct Bounded<'w, W> {
    out: W,
    watched: Option<&'w dyn Watched>,
    written: u64,
    look_at: u64,
}

impl<W> Bounded<'_, W> {
    /// Bytes that were written.
    pub(in crate::app) const fn written(&self) -> u64 {
        self.written
    }
}

impl<W: Write> Write for Bounded<'_, W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.watched.is_some_and(Watched::is_over) {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        if self.written >= self.look_at {
            look(self.watched)?;
            self.look_at = self.written + LOOK_EVERY;
        }
        let written = self.out.write(bytes)?;
        self.written += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
pub(in crate::app::export) mod tests {
    use std::sync::atomic::{AtomicU64, Ordering};

    use super::*;

    /// A device that says so many times that there is room.
    pub(in crate::app::export) struct Filling(pub(in crate::app::export) AtomicU64);

    impl Watched for Filling {
        fn far(&self, _records: u64) {}

        fn typesetting(&self) {}

        fn laid(&self, _laid: u64, _of: u64) {}

        fn is_over(&self) -> bool {
            false
        }

        fn room(&self) -> io::Result<u64> {
            let left = self.0.load(Ordering::Relaxed);
            self.0.store(left.saturating_sub(1), Ordering::Relaxed);
            Ok(left)
        }
    }

    // Own promise: a part is written no further than some bytes after the room for it was gone, and another part
    // not at all; where nobody watches nothing bounds it.
    #[test]
    fn what_is_left_on_a_device_is_for_recording() {
        let filling = Filling(AtomicU64::new(1));
        let progress = Progress::watched(&filling);
        let piece = vec![0; 1 << 20];
        let mut part = progress.bounded(io::sink());
        let refused = loop {
            if let Err(error) = part.write_all(&piece) {
                break error.kind();
            }
            assert!(part.written() <= LOOK_EVERY);
        };
        assert_eq!((refused, part.written()), (io::ErrorKind::StorageFull, LOOK_EVERY));
        let other = progress.bounded(io::sink()).write(b"x").map_err(|error| error.kind());
        assert_eq!(other, Err(io::ErrorKind::StorageFull));
        assert!(progress.look().is_err());
        let mut free = Progress::unseen().bounded(io::sink());
        assert!((0..40).all(|_| free.write_all(&piece).is_ok()));
    }
}
