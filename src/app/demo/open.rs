//! The open alerts of the demo, as the ledger tells them.

use std::path::{Path, PathBuf};

use jiff::tz::TimeZone;

use crate::app::alerts::past::Raised;
use crate::app::alerts::story;
use crate::core::alert::words::in_table;
use crate::core::alert::{Alert, AlertNumber};
use crate::core::counted::Noun;
use crate::core::reader::Language;
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader};
use crate::report::{alerts as printed, local, table};

/// Open alerts, and what of them was told in lines.
#[derive(Debug)]
pub(super) struct OpenAlerts {
    ledger: PathBuf,
    reader: Option<Reader>,
    open: Vec<Alert>,
    /// Records of alerts that cannot be read.
    damaged: usize,
    told: Vec<Told>,
}

/// A line is told again when this changes; each further rack has a line of its own.
type Told = (AlertNumber, bool, bool, bool);

impl OpenAlerts {
    pub(super) fn new(ledger: &Path) -> Self {
        Self { ledger: ledger.to_owned(), reader: None, open: Vec::new(), damaged: 0, told: Vec::new() }
    }

    /// Reads them anew. What cannot be read is left as it was: the next look is near.
    pub(super) fn look(&mut self) {
        match self.read() {
            Ok((open, damaged)) => (self.open, self.damaged) = (open, damaged),
            Err(error) => tracing::debug!(%error, "the open alerts cannot be read"),
        }
    }

    /// One line each as it is read at `now`, such as «open: cold at dm1, 2 racks since 12:08:04».
    pub(super) fn lines(&self, now: Option<Timestamp>, zone: &TimeZone) -> Vec<String> {
        let damaged = (self.damaged > 0)
            .then(|| format!("records of alerts that are damaged, so perhaps more open: {}", self.damaged));
        self.open.iter().map(|alert| line(alert, now, zone)).chain(damaged).collect()
    }

    /// The lines of those that are new or stand otherwise than when they were told last.
    pub(super) fn news(&mut self, now: Option<Timestamp>, zone: &TimeZone) -> Vec<String> {
        let before = std::mem::take(&mut self.told);
        self.told = self.open.iter().map(told).collect();
        let new = self.open.iter().filter(|alert| !before.contains(&told(alert)));
        new.map(|alert| line(alert, now, zone)).collect()
    }

    fn read(&mut self) -> Result<(Vec<Alert>, usize), LedgerError> {
        let reader = match self.reader.take() {
            Some(reader) => reader,
            None => Reader::open(&self.ledger)?,
        };
        let reader = &*self.reader.insert(reader);
        let (stories, damaged) = story::all(reader)?;
        let (open, mut raised) =
            (stories.into_values().filter(|story| story.closed.is_none()), Raised::of(reader));
        // Its first rack says by which time it is known.
        let filled = open.map(|mut told| story::fill(&mut raised, &mut told).map(|()| told.alert));
        Ok((filled.collect::<Result<_, _>>()?, damaged.len()))
    }
}

fn told(alert: &Alert) -> Told {
    (alert.number, alert.racks.count > 1, alert.cleared.is_some(), alert.acknowledged.is_some())
}

fn line(alert: &Alert, now: Option<Timestamp>, zone: &TimeZone) -> String {
    let machine = alert.machine.as_deref().unwrap_or("the site");
    let racks = match alert.racks.count {
        0 => String::new(),
        count => format!(", {}", Noun::Racks.of(count, Language::English)),
    };
    let (since, standing) = (alert.lasts_since(), printed::standing(alert));
    let is_today = now.is_none_or(|now| local::day(now, zone) == local::day(since, zone));
    let since = if is_today { table::time_of_day(since, zone) } else { local::second(since, zone) };
    let condition = in_table(alert.condition, Language::English);
    format!("open: {condition} at {machine}{racks} since {since} ({standing})")
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::core::alert::Condition;
    use crate::core::record::{AlertRaised, Body, Record};
    use crate::ledger::{Append, Names, NewRecord, Options, Writer};

    fn raised(number: u64, since: Timestamp) -> NewRecord {
        let raised = AlertRaised::new(AlertNumber(number), Condition::Cold, since);
        let body = Body::AlertRaised(Box::new(raised));
        NewRecord { record: Record::new(since, Some("dm1".to_owned()), body), trace: None }
    }

    // One record of three is damaged: the other two are shown, and that there may be more.
    #[test]
    fn open_alerts_are_shown_past_damage() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        let since: Timestamp = "2026-03-02T12:00:00Z".parse().expect("an instant");
        let options = Options { path: path.clone(), block_retention: Duration::from_secs(86_400) };
        let names = Names { machines: &["dm1".to_owned()], channels: &[] };
        let (writer, _) = Writer::open(&options, names, since).expect("a ledger");
        let records = (1..=3).map(|number| raised(number, since)).collect();
        let (done, wait) = std::sync::mpsc::sync_channel(1);
        let append = Append { records, ..Append::default() };
        writer.append(append, Box::new(move |result| done.send(result.is_ok()).expect("somebody waits")));
        assert!(wait.recv().expect("an answer"));
        let mut open = OpenAlerts::new(&path);
        let look = |open: &mut OpenAlerts| {
            open.look();
            open.lines(Some(since), &TimeZone::UTC)
        };
        assert_eq!(look(&mut open).len(), 3);
        // One of another day says of which.
        let lines = open.lines(Some(since.plus(Duration::from_secs(86_400))), &TimeZone::UTC);
        assert!(lines[0].starts_with("open: cold at dm1 since 2026-03-02 12:00:00 ("), "{lines:?}");
        let connection = rusqlite::Connection::open(&path).expect("a second connection");
        connection
            .execute_batch("DROP TRIGGER record_stays; UPDATE record SET bytes = x'7b7d' WHERE idx = 1;")
            .expect("a damaged ledger");
        let lines = look(&mut open);
        assert_eq!(lines.len(), 3, "{lines:?}");
        assert_eq!(lines[2], "records of alerts that are damaged, so perhaps more open: 1");
    }
}
