//! What the record tells beside the facts of an alert: who doubts its last good rack, what was due when.

use super::Content;
use super::phrases::Phrase;
use super::tell::check;
use crate::core::alert::Alert;
use crate::core::alert::words::numbered;
use crate::core::reader::Reader;
use crate::core::record::{CheckKind, MissedDue};

/// What the record tells of an alert, and the alert itself does not.
#[derive(Clone, Copy, Debug, Default)]
pub struct Beside<'a> {
    /// Whether it puts in doubt itself the rack that it names as the last good one.
    pub doubted_by_itself: bool,
    /// The other alerts that do.
    pub doubted_by: &'a [u64],
    /// When each of several checks was due that it finds missing.
    pub missed: &'a [MissedDue],
}

impl Content {
    /// Whether the facts name a last good rack.
    #[must_use]
    pub fn names_last_good(&self) -> bool {
        self.rows.iter().any(|(row, _)| is_last_good(*row))
    }

    /// Says what the record tells in the rows that it belongs to.
    pub fn say_beside(&mut self, alert: &Alert, beside: &Beside<'_>, reader: &Reader) {
        let doubt = doubt(beside, reader);
        for (_, value) in self.rows.iter_mut().filter(|(row, _)| is_last_good(*row)) {
            value.extend(doubt.iter().map(|doubt| format!(" ({doubt})")));
        }
        if let Some(about) = with_dues(alert, beside.missed, reader) {
            for (_, value) in self.rows.iter_mut().filter(|(row, _)| *row == Phrase::RowAbout) {
                value.clone_from(&about);
            }
        }
    }

    /// The facts as they are written: name and value.
    #[must_use]
    pub fn facts(&self, reader: &Reader) -> Vec<(String, String)> {
        let said = |(row, value): &(Phrase, String)| (row.say(reader.language).to_owned(), value.clone());
        self.rows.iter().map(said).collect()
    }
}

const fn is_last_good(row: Phrase) -> bool {
    matches!(row, Phrase::RowLastGood | Phrase::RowLastGoodBack)
}

/// Which alerts put the last good rack in doubt since; `None` where none does.
fn doubt(beside: &Beside<'_>, reader: &Reader) -> Option<String> {
    let language = reader.language;
    let others = numbered(beside.doubted_by, language);
    let this = Phrase::ThisAlert.say(language);
    let alerts = match (beside.doubted_by_itself, beside.doubted_by.is_empty()) {
        (false, true) => return None,
        (false, false) => others,
        (true, true) => this.to_owned(),
        (true, false) => Phrase::ThisAndOthers.with(language, &[("this", this), ("others", &others)]),
    };
    Some(Phrase::InDoubtBy.with(language, &[("alerts", &alerts)]))
}

/// What it is about, each check with its due time; `None` where it is no more than one.
fn with_dues(alert: &Alert, missed: &[MissedDue], reader: &Reader) -> Option<String> {
    if missed.len() < 2 {
        return None;
    }
    let due = |kind: &CheckKind| missed.iter().find(|own| own.check == *kind).map(|own| own.due);
    let kinds = CheckKind::ALL.into_iter().filter(|kind| alert.about.iter().any(|own| own == kind.as_str()));
    let said = kinds.map(|kind| {
        let name = check(kind).say(reader.language);
        due(&kind).map_or_else(
            || name.to_owned(),
            |at| {
                let at = reader.with_article(reader.moment(at));
                Phrase::CheckDue.with(reader.language, &[("check", name), ("at", &at)])
            },
        )
    });
    Some(said.collect::<Vec<_>>().join("; "))
}
