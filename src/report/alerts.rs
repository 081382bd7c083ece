//! Alerts and their story for people on a terminal, and for programs as JSON lines.

use std::io::{self, Write};

use serde::Serialize;

use super::local::{minute, second, zone_name};
use super::said::found;
use crate::core::alert::entered::{EnteredChecks, made};
use crate::core::alert::quantity::{Side, against, of_change, pair, side};
use crate::core::alert::words::{condition, digest, in_table};
use crate::core::alert::{Action, Alert, Condition, Earlier, Occasion, Pattern};
use crate::core::counted::Noun;
use crate::core::logbook::Missed;
use crate::core::logbook::words::{short_of_look, to_do};
use crate::core::one_line::one_line;
use crate::core::reader::{Language, Reader};
use crate::core::record::{
    AlertChanged, AlertRaised, Body, Change, CheckKind, Clearing, MissedDue, Notification, OfAlert, Outcome,
    Record,
};
use crate::core::time::Timestamp;

/// One alert as JSON on a line: all its fields, `since` as people are told it, and `closed` where it is over.
///
/// # Errors
/// The writer's.
pub fn json(out: &mut dyn Write, alert: &Alert, closed: Option<Timestamp>) -> io::Result<()> {
    #[derive(Serialize)]
    struct Line<'a> {
        #[serde(flatten)]
        alert: &'a Alert,
        closed: Option<Timestamp>,
    }
    line(out, &Line { alert: &alert.as_told(), closed })
}

/// One record as JSON on a line, with its index in the ledger.
///
/// # Errors
/// The writer's.
pub fn record_json(out: &mut dyn Write, index: u64, record: &Record) -> io::Result<()> {
    #[derive(Serialize)]
    struct Line<'a> {
        index: u64,
        #[serde(flatten)]
        record: &'a Record,
    }
    line(out, &Line { index, record })
}

fn line(out: &mut dyn Write, value: &impl Serialize) -> io::Result<()> {
    serde_json::to_writer(&mut *out, value)?;
    writeln!(out)
}

/// A table of alerts with the time each closed, oldest first.
///
/// # Errors
/// The writer's.
pub fn table<'a>(
    out: &mut dyn Write,
    alerts: impl Iterator<Item = (&'a Alert, Option<Timestamp>)>,
    reader: &Reader,
) -> io::Result<()> {
    let mut rows = vec![HEADS.map(str::to_owned)];
    for (alert, closed) in alerts {
        if rows.len() == 1 {
            writeln!(out, "Times are those of {}.", zone_name(&reader.zone, alert.since))?;
        }
        rows.push(row(alert, closed, reader));
    }
    if rows.len() == 1 {
        return writeln!(out, "No alerts.");
    }
    let mut widths = WIDTHS_MIN;
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let [number_wide, since_wide, machine_wide, condition_wide, measured_wide, racks_wide] = widths;
    for [number, since, machine, condition, measured, racks, state] in &rows {
        writeln!(
            out,
            "{number:>number_wide$}  {since:<since_wide$}  {machine:<machine_wide$}  {condition:<condition_wide$}  \
             {measured:<measured_wide$}  {racks:>racks_wide$}  {state}",
        )?;
    }
    Ok(())
}

/// Heads of the table, and the least width of each column but the last: a usual list looks the same every time.
const HEADS: [&str; 7] = ["NUMBER", "SINCE", "MACHINE", "CONDITION", "WORST", "RACKS", "STATE"];
const WIDTHS_MIN: [usize; 6] = [6, 16, 12, 20, 18, 5];

/// Most characters of a cell (own choice: figures with their limit, or every check); the story of an alert has the whole.
const CELL_CHARS_MAX: usize = 60;

fn row(alert: &Alert, closed: Option<Timestamp>, reader: &Reader) -> [String; 7] {
    let state = closed.map_or_else(|| standing(alert), |_| "closed".to_owned());
    let cells = [
        alert.number.to_string(),
        minute(alert.lasts_since(), &reader.zone),
        alert.machine.clone().unwrap_or_else(|| "site".to_owned()),
        in_table(alert.condition, reader.language).to_owned(),
        figures(alert, reader),
        alert.racks.count.to_string(),
    ];
    let [number, since, machine, condition, measured, racks] =
        cells.map(|text| one_line(&text, CELL_CHARS_MAX));
    [number, since, machine, condition, measured, racks, state]
}

/// Where an alert stands, in a few words.
#[must_use]
pub fn standing(alert: &Alert) -> String {
    let taken = alert.acknowledged.as_ref();
    if alert.cleared.is_some() && alert.action_missing() {
        return "recovered; the corrective action is missing".to_owned();
    }
    match (alert.cleared, &alert.action, taken) {
        (Some(_), _, _) => "recovered; closes by itself once it stays so".to_owned(),
        (None, Some(action), _) if alert.action_missing() => {
            format!("lasts; racks after the corrective action of {} want another", action.by)
        }
        (None, Some(action), _) => format!("lasts; corrective action written by {}", action.by),
        (None, None, Some(taken)) => format!("lasts; {} takes care", taken.by),
        (None, None, None) => "lasts; nobody has answered".to_owned(),
    }
}

/// How many racks a corrective action covers that was just written, and how many more its alert counts where that
/// is still open. Begins with a blank.
#[must_use]
pub fn covered(covers: u64, alert: Option<&Alert>) -> String {
    let covered = match covers {
        0 if alert.is_none_or(|alert| alert.racks.count == 0) => String::new(),
        0 => " It covers no rack.".to_owned(),
        1 => " It covers 1 rack.".to_owned(),
        _ => format!(" It covers {covers} racks."),
    };
    match alert.and_then(Alert::left_out) {
        None => covered,
        Some((1, _)) => format!("{covered} 1 more rack needs an action of its own."),
        Some((more, _)) => format!("{covered} {more} more racks need an action of their own."),
    }
}

/// A corrective action in a sentence.
#[must_use]
pub fn action(action: &Action) -> String {
    let text =
        format!("Corrective action by {}: racks: «{}»; done: «{}».", action.by, action.racks, action.done);
    text.replace(char::is_control, " ")
}

/// What closes an alert that is open, and by which command.
#[must_use]
pub fn next_step(alert: &Alert) -> String {
    let number = alert.number;
    let act = format!(
        "rinseward alerts act {number} --by NAME --racks \"what became of the racks\" --done \"what was done\""
    );
    let acknowledge = format!("rinseward alerts acknowledge {number} --by NAME");
    match (alert.cleared.is_some(), alert.action_missing(), alert.acknowledged.is_some()) {
        (true, true, _) => format!("it is over; what closes it is the corrective action: {act}"),
        (true, false, _) => "nothing: it closes by itself once it stays as it is".to_owned(),
        (false, true, true) => {
            format!("put right what is wrong, and write the corrective action; then it closes: {act}")
        }
        (false, true, false) => format!(
            "take it on: {acknowledge}; put right what is wrong, and write the corrective action; then it closes: \
             {act}"
        ),
        (false, false, true) => "put right what is wrong; then it closes by itself".to_owned(),
        (false, false, false) => {
            format!("take it on: {acknowledge}; put right what is wrong; then it closes by itself")
        }
    }
}

/// The whole story of one alert, one line a record, and what is to be done next.
///
/// # Errors
/// The writer's.
pub fn story(
    out: &mut dyn Write,
    alert: &Alert,
    closed: Option<Timestamp>,
    (records, entered): (&[(u64, Record)], &EnteredChecks),
    reader: &Reader,
) -> io::Result<()> {
    let machine = alert.machine.as_deref().unwrap_or("site");
    let state = closed.map_or_else(|| standing(alert), |_| "closed".to_owned());
    let condition = in_table(alert.condition, reader.language);
    writeln!(out, "Alert {}: {condition} at {machine}. {state}.", alert.number)?;
    writeln!(out, "Times are those of {}.", zone_name(&reader.zone, alert.since))?;
    if let Some(since) = alert.open_since() {
        let (left, whole) = (minute(alert.lasts_since(), &reader.zone), minute(since, &reader.zone));
        writeln!(out, "What is still missing is so since {left}; the alert is open since {whole}.")?;
    }
    if let Some(returned) = alert.returns.told(alert.came_back(), reader) {
        writeln!(out, "{returned}")?;
    }
    let made = made(records);
    for (index, record) in records {
        let text = if let Body::Check(check) = &record.body {
            let missed = entered.of(*index).map(|(_, judgement)| Missed::of(judgement)).unwrap_or_default();
            let what = found(check, &missed);
            Some(plain(&format!("entered while it was open, and FAILED: {what} by {}", check.by())))
        } else if let Body::Amendment(_) = &record.body {
            Some(plain(&format!("of a record it rests on: {}", super::said::said(&record.body))))
        } else if let Body::AlertChanged(changed) = &record.body
            && let Some(kinds) = made.get(index).filter(|kinds| !kinds.is_empty())
        {
            Some(plain(&eased(changed, kinds, entered)))
        } else {
            said(&record.body, reader)
        };
        if let Some(text) = text {
            writeln!(out, "{}  {text}  [record {index}]", second(record.recorded, &reader.zone))?;
        }
    }
    if closed.is_some() { Ok(()) } else { writeln!(out, "Next: {}.", next_step(alert)) }
}

/// What a record says of an alert; `None` for one that says nothing of any.
pub(super) fn said(body: &Body, reader: &Reader) -> Option<String> {
    let text = match body.of_alert()? {
        OfAlert::Raised(raised) => of_raised(raised, reader),
        OfAlert::Changed(changed) => {
            let of_racks = (changed.racks > 0).then(|| racks(changed.racks));
            let measured = of_change(changed, reader);
            let missed = changed.missed.map(|missed| in_missed(missed, changed.change, reader));
            let parts = of_racks
                .into_iter()
                .chain(one_more(changed))
                .chain(measured)
                .chain(doubted(changed.earlier.as_ref()));
            let parts: Vec<String> = parts.chain(missed).collect();
            let beside = if parts.is_empty() { String::new() } else { format!(" ({})", parts.join(", ")) };
            let released = changed.released.as_ref();
            let released = released.map(|by| format!("; {by} takes care no longer, somebody must anew"));
            format!("{}{}{beside}{}", in_change(changed), still(changed), released.unwrap_or_default())
        }
        OfAlert::Acknowledged(taken) => {
            let note = taken.note.as_ref().map(|note| format!(": «{note}»"));
            format!("{} takes care, by {}{}", taken.by, taken.via, note.unwrap_or_default())
        }
        OfAlert::Cleared(cleared) => match cleared.clearing {
            Clearing::Recovered if cleared.racks == 0 => "recovered".to_owned(),
            Clearing::Recovered => format!("recovered after {}", racks(cleared.racks)),
            Clearing::Withdrawn => {
                "what raised it was withdrawn or corrected: no rack was in doubt".to_owned()
            }
            Clearing::Lapsed => {
                "over, not seen good again: its hours ended, or somebody worked on the machine".to_owned()
            }
            Clearing::Retired => "no longer asked for by the configuration".to_owned(),
        },
        OfAlert::Closed(closed) => {
            format!("closed after {}", racks(closed.racks))
        }
        OfAlert::Action(action) => {
            let covers =
                action.covers.filter(|racks| *racks > 0).map(|count| format!(" for {}", racks(count)));
            let covers = covers.unwrap_or_default();
            format!(
                "corrective action by {}{covers}: racks: «{}»; done: «{}»",
                action.by, action.racks, action.done
            )
        }
        OfAlert::Notification(notification) => of_notification(notification, reader),
    };
    Some(plain(&text))
}

/// What people wrote must not fake a line of ours, or drive a terminal.
fn plain(text: &str) -> String {
    text.replace(char::is_control, " ")
}

/// Which check was made while others are still missing, and that it failed where it did.
fn eased(changed: &AlertChanged, kinds: &[CheckKind], entered: &EnteredChecks) -> String {
    let behind = changed.cause.and_then(|cause| entered.of(cause));
    let behind = behind.filter(|(check, _)| kinds.contains(&check.kind()));
    let failed = behind.is_some_and(|(_, judgement)| judgement.good == Some(false));
    let made = behind.map_or_else(
        || kinds.iter().map(|kind| to_do(*kind, Language::English)).collect::<Vec<_>>().join(", "),
        |(check, judgement)| format!("{} by {}", found(check, &Missed::of(judgement)), check.by()),
    );
    let failed = if failed { ", and FAILED" } else { "" };
    format!("one of the checks was made{failed}: {made}{}", still(changed))
}

/// The checks that are still missing, where it is about checks.
fn still(changed: &AlertChanged) -> String {
    let kinds = changed.checks().filter(|_| changed.change == Change::Eased).unwrap_or_default();
    let kinds: Vec<&str> = kinds.into_iter().map(|kind| to_do(kind, Language::English)).collect();
    if kinds.is_empty() { String::new() } else { format!("; still missing: {}", kinds.join(", ")) }
}

fn of_raised(raised: &AlertRaised, reader: &Reader) -> String {
    let measured = against(raised.condition, raised.measured, raised.limit, reader);
    let measured = measured.map(|measured| format!(", {measured}"));
    let (about, pattern) = (in_words(raised.condition, &raised.about), raised.pattern.map_or("", in_pattern));
    let what = condition(raised.condition, reader.language);
    let earlier: String = doubted(raised.earlier.as_ref()).iter().map(|told| format!(", {told}")).collect();
    format!("raised: {what}{}{about}{pattern}{earlier}", measured.unwrap_or_default())
}

/// What one without racks grew by, which it names last: one more check, one more probe.
fn one_more(changed: &AlertChanged) -> Option<String> {
    let added = changed.about.last().filter(|_| changed.change == Change::Grew && changed.racks == 0);
    added.map(|text| format!("one more: {}", in_word(Condition::CheckOverdue, text)))
}

/// Which check was missed, where nothing beside it says so, and when it was due.
fn in_missed(missed: MissedDue, change: Change, reader: &Reader) -> String {
    let due = format!("due {}", reader.near(missed.due, missed.due));
    if change == Change::Grew { due } else { format!("{}, {due}", to_do(missed.check, Language::English)) }
}

/// That racks which had passed are in doubt, and which others are held with them.
fn doubted(earlier: Option<&Earlier>) -> Vec<String> {
    let told = |count, what| (count > 0).then(|| format!("{} {what}", racks(count)));
    let Some(Earlier { racks, beside, .. }) = earlier else { return Vec::new() };
    let are = if racks.count == 1 { "that had passed is in doubt" } else { "that had passed are in doubt" };
    let doubted = told(racks.count, are);
    doubted.into_iter().chain(told(beside.count, "without a good verdict held with them")).collect()
}

fn in_change(changed: &AlertChanged) -> &'static str {
    match changed.change {
        Change::Eased if changed.amended.is_some() => "what it stood on was entered wrongly",
        Change::Eased if changed.worst.is_some() => "what it measured is counted anew: an entry was amended",
        Change::Grew => "became worse",
        Change::MissedAgain => "missed once more",
        Change::Eased if changed.checks().is_some() => "one of the checks was made",
        Change::Eased => "one thing that it is about is well again",
        Change::Returned => "came back",
        Change::Escalated => "nobody answered: whoever is next is told, after the last the first again",
        Change::EscalationEnded => "nobody answered: every contact was told as often as configured",
        Change::NobodyToTell => "no contact is on duty for it",
        Change::Held => "its messages are held: maintenance",
    }
}

fn of_notification(notification: &Notification, reader: &Reader) -> String {
    let (contact, route, attempts) = (&notification.contact, &notification.route, notification.attempts);
    let occasion = notification.occasion.map(|told| occasion(told).to_owned());
    let occasion = occasion.unwrap_or_else(|| digest(notification, reader));
    match notification.outcome {
        Outcome::Delivered => format!("{contact} was told by {route}: {occasion} (try {attempts})"),
        Outcome::GivenUp => format!(
            "{contact} could not be told by {route} ({occasion}) after {}: {}",
            Noun::Tries.of(u64::from(attempts), Language::English),
            notification.error.as_deref().unwrap_or("no reason was given")
        ),
    }
}

fn in_words(condition: Condition, about: &[String]) -> String {
    if about.is_empty() { String::new() } else { format!(" ({})", listed(condition, about)) }
}

/// What an alert is about, with a comma between each.
fn listed(condition: Condition, about: &[String]) -> String {
    about.iter().map(|text| in_word(condition, text)).collect::<Vec<_>>().join(", ")
}

/// A check by what is to be done, as pages and messages name it; a probe, a route or a record as it is named.
fn in_word(condition: Condition, text: &str) -> String {
    let check = CheckKind::named(text).filter(|_| condition == Condition::CheckOverdue);
    match check {
        Some(kind) => to_do(kind, Language::English).to_owned(),
        None if condition == Condition::SuppliesShort => short_of_look(text, Language::English),
        None => text.to_owned(),
    }
}

const fn in_pattern(pattern: Pattern) -> &'static str {
    match pattern {
        Pattern::FirstAfterIdle => "; first rack after idle",
        Pattern::Single => "; one rack",
        Pattern::Repeated => "; several in a row",
    }
}

fn racks(count: u64) -> String {
    Noun::Racks.of(count, Language::English)
}

/// The worst that was measured, as far as it stands, against its limit; else what it is about.
fn figures(alert: &Alert, reader: &Reader) -> String {
    // Of a drift that came back the worst may be of another stretch than since when it is so.
    let is_of_one = alert.condition != Condition::Drifting || alert.returns.is_empty();
    let worst = alert.worst.filter(|_| is_of_one && !alert.was_entered_wrongly());
    match (worst.or(alert.measured), alert.limit) {
        // The whole sentence is too long for a column.
        (Some(measured), Some(limit)) if alert.condition == Condition::Drifting => {
            let usual = match side(alert.condition, measured, limit) {
                Side::AtLeast => "usual from",
                Side::AtMost => "usual to",
            };
            let (measured, limit) = pair(measured, limit, reader);
            format!("{measured} ({usual} {limit})")
        }
        (measured, limit) => against(alert.condition, measured, limit, reader)
            .unwrap_or_else(|| listed(alert.condition, &alert.about)),
    }
}

/// What a message was about.
const fn occasion(occasion: Occasion) -> &'static str {
    match occasion {
        Occasion::Raised => "raised",
        Occasion::Grew => "worse",
        Occasion::Returned => "came back",
        Occasion::Summary => "goes on",
        Occasion::Escalated => "nobody has answered",
        Occasion::Cleared => "recovered",
        Occasion::ActionMissing => "corrective action missing",
        Occasion::Closed => "closed",
        Occasion::AfterMaintenance => "open after maintenance",
        Occasion::Test => "test",
    }
}

#[cfg(test)]
mod tests;
