//! What stands above the story of an alert: whether its entries count as they were entered, who was told, and what is due.

use std::collections::{BTreeMap, BTreeSet};

use super::trail::{due_again, say};
use super::words;
use crate::core::alert::story::{held_by, missing};
use crate::core::alert::{Alert, Occasion, Rack};
use crate::core::reader::{Reader, filled};
use crate::core::record::{
    Amendment, AmendmentChange, Body, Change, MissedDue, Notification, OfAlert, Outcome, Record,
};
use crate::core::time::Timestamp;

/// What the newest amendment of each entry that an alert rests on withdrew or corrected, so that nobody goes by a
/// headline that tells of what counts no more; with the record of the entry. Nothing where another entry holds it that
/// counts as it was entered; what it rested on before it came back last is told by its story.
pub(super) fn rests_on(trail: &[(u64, Record)], racks: &[Rack], reader: &Reader) -> Vec<(String, u64)> {
    let mut newest: BTreeMap<u64, &Amendment> = BTreeMap::new();
    for (_, record) in trail {
        if let Body::Amendment(amendment) = &record.body
            && amendment.change != AmendmentChange::Comment
        {
            newest.insert(amendment.of, amendment);
        }
    }
    let begins = |(_, record): &(u64, Record)| {
        record.body.of_alert().is_some_and(|told| match told {
            OfAlert::Raised(_) => true,
            OfAlert::Changed(changed) => changed.change == Change::Returned,
            OfAlert::Acknowledged(_)
            | OfAlert::Cleared(_)
            | OfAlert::Closed(_)
            | OfAlert::Action(_)
            | OfAlert::Notification(_) => false,
        })
    };
    let (before, since) = trail.split_at(trail.iter().rposition(begins).unwrap_or(0));
    let holding = |part: &[(u64, Record)]| -> BTreeSet<u64> {
        part.iter().filter_map(|(index, record)| held_by(*index, record)).collect()
    };
    let mut hold = holding(since);
    hold.retain(|entry| racks.iter().all(|rack| rack.index != *entry));
    if hold.iter().any(|entry| !newest.contains_key(entry)) {
        return Vec::new();
    }
    let over = holding(before);
    newest.retain(|of, _| hold.contains(of) || !over.contains(of));
    newest.into_iter().map(|(of, amendment)| (words::rests_on(of, amendment, reader), of)).collect()
}

/// From the first time to the last.
type Span = (Timestamp, Timestamp);

/// Who was told of an open alert so far, and who could not be when it was tried last.
pub(super) fn reached(records: &[(u64, Record)], reader: &Reader, now: Timestamp) -> Vec<String> {
    // Of each contact when it was told first and last, and whether the newest message came through by any route.
    let mut contacts: Vec<(&str, Option<Span>, Option<Occasion>, bool)> = Vec::new();
    for (_, record) in records {
        let Body::Notification(notification) = &record.body else { continue };
        let Notification { contact, outcome, occasion, .. } = &**notification;
        let told = *outcome == Outcome::Delivered;
        let at = told.then_some((record.recorded, record.recorded));
        match contacts.iter_mut().find(|(known, ..)| known == contact) {
            Some((_, span, newest, reached)) => {
                *span = span.zip(at).map(|(span, at)| (span.0, at.1)).or(*span).or(at);
                *reached = told || (*reached && newest == occasion);
                *newest = *occasion;
            }
            None => contacts.push((contact, at, *occasion, told)),
        }
    }
    let told = contacts.iter().filter_map(|(contact, span, ..)| Some((contact, (*span)?)));
    let told: Vec<String> =
        told.map(|(contact, span)| format!("{contact} ({})", told_at(span, reader, now))).collect();
    let missed = contacts.iter().filter(|(.., reached)| !reached).map(|(contact, ..)| *contact);
    let missed: Vec<&str> = missed.collect();
    let line = |pair, names: String| format!("{}: {names}", say(reader.language, pair));
    let mut lines = Vec::new();
    if !told.is_empty() {
        lines.push(line(("Told so far", "Avisados hasta ahora"), told.join(", ")));
    }
    if !missed.is_empty() {
        lines.push(line(("Could NOT be told last", "NO se pudo avisar la última vez a"), missed.join(", ")));
    }
    lines
}

/// When somebody was told, first and last.
fn told_at((first, last): Span, reader: &Reader, now: Timestamp) -> String {
    let [first, last] = [first, last].map(|at| reader.near(at, now));
    if first == last {
        return first;
    }
    let pair = ("{first}, last {last}", "{first}; la última vez {last}");
    filled(say(reader.language, pair), &[("first", &first), ("last", &last)])
}

/// When each of several checks was due that an open alert finds missing, the first one first; none where it is one.
pub(super) fn overdue(
    alert: &Alert,
    records: &[(u64, Record)],
    reader: &Reader,
    now: Timestamp,
) -> Vec<String> {
    if alert.cleared.is_some() {
        return Vec::new();
    }
    let line = |own: MissedDue| due_again(own, Change::MissedAgain, Some(now), reader);
    missing(alert, records).into_iter().map(line).collect()
}
