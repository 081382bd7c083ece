//! The open alerts of the demo, as the ledger tells them.

use std::path::{Path, PathBuf};

use jiff::tz::TimeZone;

use crate::app::alerts::story;
use crate::core::alert::{Alert, AlertNumber};
use crate::ledger::{LedgerError, Reader};
use crate::report::{alerts as printed, table};

/// Open alerts, and what of them was told in lines.
#[derive(Debug)]
pub(super) struct OpenAlerts {
    ledger: PathBuf,
    reader: Option<Reader>,
    open: Vec<Alert>,
    told: Vec<Told>,
}

/// A line is told again when this changes; each further rack has a line of its own.
type Told = (AlertNumber, bool, bool, bool);

impl OpenAlerts {
    pub(super) fn new(ledger: &Path) -> Self {
        Self { ledger: ledger.to_owned(), reader: None, open: Vec::new(), told: Vec::new() }
    }

    /// Reads them anew. What cannot be read is left as it was: the next look is near.
    pub(super) fn look(&mut self) {
        match self.read() {
            Ok(open) => self.open = open,
            Err(error) => tracing::debug!(%error, "the open alerts cannot be read"),
        }
    }

    /// One line each, such as «open: cold at dm1, 2 racks since 12:08».
    pub(super) fn lines(&self, zone: &TimeZone) -> Vec<String> {
        self.open.iter().map(|alert| line(alert, zone)).collect()
    }

    /// The lines of those that are new or stand otherwise than when they were told last.
    pub(super) fn news(&mut self, zone: &TimeZone) -> Vec<String> {
        let before = std::mem::take(&mut self.told);
        self.told = self.open.iter().map(told).collect();
        let new = self.open.iter().filter(|alert| !before.contains(&told(alert)));
        new.map(|alert| line(alert, zone)).collect()
    }

    fn read(&mut self) -> Result<Vec<Alert>, LedgerError> {
        let reader = match self.reader.take() {
            Some(reader) => reader,
            None => Reader::open(&self.ledger)?,
        };
        let stories = story::all(self.reader.insert(reader))?;
        let open = stories.into_values().filter(|story| story.closed.is_none());
        Ok(open.map(|story| story.alert).collect())
    }
}

fn told(alert: &Alert) -> Told {
    (alert.number, alert.racks.count > 1, alert.cleared.is_some(), alert.acknowledged.is_some())
}

fn line(alert: &Alert, zone: &TimeZone) -> String {
    let machine = alert.machine.as_deref().unwrap_or("the site");
    let racks = match alert.racks.count {
        0 => String::new(),
        1 => ", 1 rack".to_owned(),
        count => format!(", {count} racks"),
    };
    let since = table::time_of_day(alert.since, zone);
    let standing = printed::standing(alert);
    format!("open: {} at {machine}{racks} since {since} ({standing})", alert.condition)
}
