//! How much of a span was watched, machine by machine.

use super::Ground;
use crate::app::Failure;
use crate::core::alert::Settings;
use crate::core::alert::hours::Stretch;
use crate::core::monitored::{self, Blank, Monitored, monitored};
use crate::core::time::Timestamp;
use crate::ledger::{Known, LedgerError, Missing, Reader};

/// Hours, gaps and span that a share is reckoned from.
#[derive(Debug)]
pub(in crate::app) struct Watch {
    pub(super) span: Stretch,
    operating: Vec<Stretch>,
    /// The gaps that touch the span, the oldest first.
    pub(super) blanks: Vec<Blank>,
}

impl Watch {
    pub(super) fn new(ground: &mut Ground, span: Stretch) -> Result<Self, Failure> {
        let known = (&ground.kept.blanks, ground.settings.as_ref());
        let (watch, damaged) =
            Self::read(ground.reader, known, span, ground.now).map_err(|error| ground.failed(&error))?;
        for index in damaged {
            if let Err(error) = ground.reader.record(index).map_err(|error| ground.failed(&error))? {
                ground.damaged.push((index, error));
            }
        }
        Ok(watch)
    }

    /// Reads it by the hours of these settings, as it is known `now`; also the indices of damaged records that may tell
    /// of more gaps.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub(in crate::app) fn read(
        reader: &Reader,
        (known, settings): (&Known<Missing>, Option<&Settings>),
        span: Stretch,
        now: Timestamp,
    ) -> Result<(Self, Vec<u64>), LedgerError> {
        let (blanks, damaged) = reader.blanks(known, span, now)?;
        let begun = reader.begun()?;
        // What was imported of the time before is on record, and nobody watched it.
        let since = Stretch { from: begun.unwrap_or(span.to).clamp(span.from, span.to), to: span.to };
        let operating = match settings {
            Some(settings) => monitored::operating(settings, since),
            None => vec![since],
        };
        Ok((Self { span, operating, blanks }, damaged))
    }

    /// What was watched of a machine inside a stretch.
    pub(in crate::app) fn of(&self, machine: &str, span: Stretch) -> Monitored {
        let first = self.operating.partition_point(|hours| hours.to <= span.from);
        let hours = self.operating.get(first..).unwrap_or_default();
        let hours = hours.get(..hours.partition_point(|hours| hours.from < span.to)).unwrap_or_default();
        let end = self.blanks.partition_point(|blank| blank.from < span.to);
        let own = |blank: &&Blank| {
            blank.to.is_none_or(|to| to > span.from)
                && blank.machine.as_deref().is_none_or(|own| own == machine)
        };
        monitored(span, hours, self.blanks.get(..end).unwrap_or_default().iter().filter(own))
    }
}
