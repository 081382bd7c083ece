//! What a message says: one notice in the language and on the scale of its reader.
//!
//! [`compose`] touches nothing and asks for no time; whatever it needs beside
//! the notice stands in [`Facts`]. The same notice and facts give the same bytes,
//! so that a letter sent twice says the same.
//!
//! The first line of every form carries what is wrong, where, how bad, and what
//! to do. A test says so before anything else. Names and texts of people are
//! made one line each, without control characters, and escaped in HTML: a
//! machine called `<script>` or with a line break in its name harms nothing.

mod beside;
mod conditions;
pub mod data;
mod html;
pub(crate) mod phrases;
pub mod short;
pub(crate) mod tell;

#[cfg(test)]
mod tests;

pub use beside::Beside;
pub use data::AlertData;

use jiff::tz::TimeZone;

use crate::core::alert::quantity::{Side, duration, pair, quantity, side};
use crate::core::alert::{Alert, Condition, Notice, Occasion, Quantity};
use crate::core::counted::Noun;
use crate::core::one_line::one_line;
use crate::core::reader::Language;
use crate::core::sanitizer::shown as concentration;
use crate::core::time::Timestamp;
use phrases::Phrase;
use tell::{NOTE_CHARS_MAX, Teller};

/// What a message needs to know beside its notice.
#[derive(Clone, Debug)]
pub struct Facts<'a> {
    /// Name of the site.
    pub site: &'a str,
    /// Zone in which times are told.
    pub zone: &'a TimeZone,
    /// When the letter was written; a time of the same day is told without its date.
    pub written: Timestamp,
    /// Whether the machine sanitizes by a chemical.
    pub chemical: bool,
    /// The range of the concentrations that the machine permits, mg/L, where it sanitizes by a chemical.
    pub permitted: Option<(f64, f64)>,
    /// Whom to call, with the number: «Acme Service, +1 555 0100».
    pub call: Option<&'a str>,
    /// Whole address of the page of this alert; only `https:` and `http:` are shown.
    pub link: Option<&'a str>,
}

/// A picture that travels with the mail.
#[derive(Clone, Copy, Debug)]
pub struct Illustration<'a> {
    /// Its content id, without brackets.
    pub id: &'a str,
    /// What it shows, for whoever does not see it.
    pub description: &'a str,
}

/// A notice in words, in every form that a channel may need.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Message {
    /// Subject of a mail, one line.
    pub subject: String,
    /// Plain text.
    pub text: String,
    /// HTML with inline styles, and without anything to fetch.
    pub html: String,
    /// At most 160 septets of GSM 03.38.
    pub short: String,
    /// The parts, for a page that shows the same.
    pub content: Content,
}

/// Puts a notice into words.
#[must_use]
pub fn compose(notice: &Notice, facts: &Facts<'_>, picture: Option<&Illustration<'_>>) -> Message {
    let link = facts.link.filter(|link| link.starts_with("https://") || link.starts_with("http://"));
    let facts = Facts { link, ..facts.clone() };
    let teller = Teller::new(notice, &facts);
    let content = Content::new(&teller);
    Message {
        subject: subject(&teller),
        text: content.text(&teller),
        html: html::write(&content, &teller, picture),
        short: short::compose(&teller),
        content,
    }
}

/// What is said, with its label, where some records of alerts cannot be read.
#[must_use]
pub fn damaged(language: Language, count: usize) -> (String, String) {
    let text = Phrase::DamageOfAlerts.with(language, &[("count", &count.to_string())]);
    (Phrase::Damage.say(language).to_owned(), text)
}

/// What is wrong, as a phrase.
pub(crate) const fn condition_title(condition: Condition) -> Phrase {
    conditions::title(condition)
}

/// What stands before the first line.
const fn prefix(occasion: Occasion) -> Option<Phrase> {
    match occasion {
        Occasion::Raised => None,
        Occasion::Grew => Some(Phrase::Grew),
        Occasion::Returned => Some(Phrase::Returned),
        Occasion::Summary => Some(Phrase::Summary),
        Occasion::Escalated => Some(Phrase::Escalated),
        Occasion::Cleared => Some(Phrase::Cleared),
        Occasion::ActionMissing => Some(Phrase::ActionMissing),
        Occasion::Closed => Some(Phrase::Closed),
        Occasion::AfterMaintenance => Some(Phrase::AfterMaintenance),
        Occasion::Test => Some(Phrase::Test),
    }
}

/// The same in words. A recovery that is told once it has lasted may follow a message that tells of it already, and
/// says for how long it has lasted.
fn before(teller: &Teller<'_>) -> Option<String> {
    let (occasion, rested_s) = (teller.notice.occasion, teller.notice.rested_s);
    if occasion == Occasion::Cleared && teller.alert().lapsed {
        return Some(teller.say(Phrase::ClearedLapsed));
    }
    if occasion == Occasion::Cleared
        && let Some(amended) = &teller.alert().amended
    {
        let phrase = if amended.counts.is_some() { Phrase::EnteredWrongly } else { Phrase::TestWithdrawn };
        return Some(teller.say(phrase));
    }
    if occasion == Occasion::Cleared && rested_s > 0 {
        let rested = duration(std::time::Duration::from_secs(rested_s).as_secs_f64());
        return Some(teller.with(Phrase::ClearedForGood, &[("rested", &rested)]));
    }
    if occasion == Occasion::Returned && teller.alert().returns.count > 1 {
        let count = Noun::Times.of(teller.alert().returns.count, teller.reader.language);
        return Some(teller.with(Phrase::ReturnedOften, &[("times", &count)]));
    }
    prefix(occasion).map(|phrase| teller.say(phrase))
}

/// Whether the condition still holds, so that something must be done about it now.
const fn is_active(occasion: Occasion) -> bool {
    match occasion {
        Occasion::Raised
        | Occasion::Grew
        | Occasion::Returned
        | Occasion::Summary
        | Occasion::Escalated
        | Occasion::AfterMaintenance => true,
        Occasion::Cleared | Occasion::ActionMissing | Occasion::Closed | Occasion::Test => false,
    }
}

/// What to do, in one breath.
fn order(teller: &Teller<'_>) -> Phrase {
    let alert = teller.alert();
    let written = !alert.action_missing();
    match teller.notice.occasion {
        Occasion::Test => Phrase::OrderTest,
        Occasion::Closed => Phrase::OrderNothing,
        Occasion::ActionMissing => to_write(alert),
        occasion if is_active(occasion) && alert.cleared.is_none() => conditions::order(alert),
        Occasion::Raised
        | Occasion::Grew
        | Occasion::Returned
        | Occasion::Summary
        | Occasion::Escalated
        | Occasion::AfterMaintenance
        | Occasion::Cleared => {
            if written {
                Phrase::OrderNothing
            } else {
                to_write(alert)
            }
        }
    }
}

/// That the corrective action is to be written, and whether racks are to be held until then.
fn to_write(alert: &Alert) -> Phrase {
    match &alert.amended {
        Some(_) if alert.was_entered_wrongly() => Phrase::OrderEnteredWrongly,
        Some(_) if alert.racks.count > 0 => Phrase::OrderWithdrawn,
        Some(_) | None => Phrase::OrderWrite,
    }
}

/// Whether a step asks for the corrective action.
const fn is_writing(step: Phrase) -> bool {
    matches!(
        step,
        Phrase::WriteAction
            | Phrase::WriteActionCheck
            | Phrase::WriteActionOlderToo
            | Phrase::WriteActionSince
            | Phrase::WriteEnteredWrongly
    )
}

/// What to do once it has recovered and a corrective action is missing.
fn steps_to_write(alert: &Alert) -> Vec<Phrase> {
    if alert.was_entered_wrongly() {
        return vec![Phrase::NothingToHold, Phrase::WriteEnteredWrongly];
    }
    let write = match alert.last_good {
        _ if alert.condition == Condition::Weak => Phrase::WriteActionCheck,
        _ if alert.condition == Condition::ThermometerOff => Phrase::WriteAction,
        _ if alert.has_older_racks() => Phrase::WriteActionOlderToo,
        Some(_) => Phrase::WriteActionSince,
        None => Phrase::WriteAction,
    };
    // Whoever comes after it has recovered has not read what to do with the racks.
    let rewash = (alert.racks.count > 0).then_some(Phrase::RewashNamed);
    rewash.into_iter().chain([write]).collect()
}

/// The parts of a message, in the words of its reader and without markup.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Content {
    /// What is wrong, where, how bad, what to do: one line.
    pub headline: String,
    /// How bad it is, in sentences.
    pub why: Vec<String>,
    /// What to do now, in order.
    pub steps: Vec<String>,
    /// Whether the last of them asks for the corrective action.
    pub asks_for_action: bool,
    /// The facts: name and value, the names not yet in words, so that more is told of them by what they are.
    pub(crate) rows: Vec<(Phrase, String)>,
    /// The figures for washing by hand, their source last.
    pub by_hand: Vec<String>,
    /// What could hurt whoever follows the steps.
    pub cautions: Vec<String>,
    /// What the link is for.
    link: Phrase,
}

impl Content {
    fn new(teller: &Teller<'_>) -> Self {
        let alert = teller.alert();
        let occasion = teller.notice.occasion;
        let chemical = teller.facts.chemical;
        let active = is_active(occasion) && alert.cleared.is_none();
        let fill = |phrases: Vec<Phrase>| phrases.into_iter().map(|phrase| teller.filled(phrase)).collect();
        let to_write = matches!(
            order(teller),
            Phrase::OrderWrite | Phrase::OrderWithdrawn | Phrase::OrderEnteredWrongly
        );
        let mut why = if active { conditions::why(alert, chemical) } else { Vec::new() };
        why.extend(alert.amended.as_ref().map(|amended| match amended.counts {
            Some(_) => Phrase::WhyEnteredWrongly,
            None => Phrase::WhyTestWithdrawn,
        }));
        if occasion == Occasion::Test {
            why.push(Phrase::TestBody);
        } else if occasion == Occasion::Escalated {
            why.insert(0, Phrase::EscalatedBody);
            // Its recovery may not have been told yet: a later one is told once it has lasted.
            why.extend(alert.cleared.map(|_| Phrase::EscalatedRecovered));
        }
        let steps = if active {
            conditions::steps(alert, chemical)
        } else if to_write {
            steps_to_write(alert)
        } else {
            Vec::new()
        };
        let by_hand = if active && conditions::by_hand(alert.condition) {
            vec![
                Phrase::SinkWash,
                Phrase::SinkHeat,
                Phrase::SinkChlorine,
                Phrase::SinkDry,
                Phrase::SinkSource,
            ]
        } else {
            Vec::new()
        };
        let cautions = if active { conditions::cautions(alert.condition, chemical) } else { Vec::new() };
        Self {
            headline: headline(teller),
            why: fill(why),
            asks_for_action: steps.last().is_some_and(|last| is_writing(*last)),
            steps: fill(steps),
            rows: rows(teller),
            by_hand: fill(by_hand),
            cautions: fill(cautions),
            link: match (to_write, active) {
                (true, _) => Phrase::LinkWrite,
                (false, true) => Phrase::Link,
                (false, false) => Phrase::LinkSee,
            },
        }
    }

    fn text(&self, teller: &Teller<'_>) -> String {
        let mut out = format!("{}\n", self.headline);
        let mut block = |lines: Vec<String>| {
            if !lines.is_empty() {
                out.push('\n');
                for line in lines {
                    out.push_str(&line);
                    out.push('\n');
                }
            }
        };
        block(self.why.clone());
        let titled = |title: Phrase, lines: Vec<String>| -> Vec<String> {
            if lines.is_empty() {
                return lines;
            }
            std::iter::once(format!("{}:", teller.say(title))).chain(lines).collect()
        };
        let numbered = self.steps.iter().zip(1..).map(|(step, number)| format!("{number}. {step}"));
        block(titled(Phrase::DoNow, numbered.collect()));
        if let Some(link) = teller.facts.link {
            block(vec![
                format!("{}:", teller.say(self.link)),
                one_line(link, 2000),
                teller.say(Phrase::LinkNote),
            ]);
        }
        block(titled(
            Phrase::CautionTitle,
            self.cautions.iter().map(|caution| format!("! {caution}")).collect(),
        ));
        let rows = self.facts(&teller.reader).into_iter().map(|(name, value)| format!("{name}: {value}"));
        block(titled(Phrase::Facts, rows.collect()));
        block(titled(Phrase::SinkTitle, self.by_hand.clone()));
        out
    }
}

/// Most characters by which the first line names one by one what it is about (own choice: it fits into the subject of a
/// mail on a phone).
const ABOUT_CHARS_MAX: usize = 80;

/// «Final rinse too cold – dm1: 71.3 °C (limit 82.2 °C)», after the occasion.
fn what_and_where(teller: &Teller<'_>) -> String {
    let alert = teller.alert();
    let mut line = format!("{} – {}", teller.say(conditions::title(alert.condition)), teller.where_());
    if let Some(detail) = teller.detail(false, &|text| text.chars().count() <= ABOUT_CHARS_MAX) {
        line.push_str(&format!(": {detail}"));
    }
    match before(teller) {
        Some(before) => format!("{before}: {line}"),
        None => line,
    }
}

fn test_title(teller: &Teller<'_>) -> String {
    format!("{}: {}", teller.say(Phrase::Test), teller.filled(Phrase::TestTitle))
}

fn subject(teller: &Teller<'_>) -> String {
    let site = teller.name(teller.facts.site);
    if teller.notice.occasion == Occasion::Test {
        return format!("{} · {site}", test_title(teller));
    }
    match teller.alert().machine {
        Some(_) => format!("{} · {site}", what_and_where(teller)),
        None => what_and_where(teller),
    }
}

fn headline(teller: &Teller<'_>) -> String {
    let order = teller.say(order(teller));
    if teller.notice.occasion == Occasion::Test {
        return format!("{}. {order}", test_title(teller));
    }
    format!("{}, {}. {order}", what_and_where(teller), teller.since(None))
}

/// What the limit of an alert is called.
fn limit_name(alert: &Alert) -> Phrase {
    if alert.condition != Condition::Drifting {
        return Phrase::RowLimit;
    }
    match alert.measured.zip(alert.limit) {
        Some((measured, limit)) => match side(alert.condition, measured, limit) {
            Side::AtLeast => Phrase::RowUsualFrom,
            Side::AtMost => Phrase::RowUsualTo,
        },
        None => Phrase::RowUsualFrom,
    }
}

/// How many racks it is about, and what those are that it counts for another reason than their verdict.
fn racks(teller: &Teller<'_>) -> Option<String> {
    let alert = teller.alert();
    let [count, earlier, beside] =
        [alert.racks.count, alert.earlier, alert.beside].map(|count| count.to_string());
    let values = [("count", count.as_str()), ("earlier", &earlier), ("beside", &beside)];
    match (alert.racks.count, alert.earlier, alert.beside) {
        (0, ..) => None,
        (_, 0, 0) => Some(count),
        (_, _, 0) => Some(teller.with(Phrase::RacksWithEarlier, &values)),
        (_, 0, _) => Some(teller.with(Phrase::RacksWithBeside, &values)),
        (..) => Some(teller.with(Phrase::RacksWithBoth, &values)),
    }
}

/// The facts, one row each.
fn rows(teller: &Teller<'_>) -> Vec<(Phrase, String)> {
    let alert = teller.alert();
    let reader = &teller.reader;
    let mut rows = vec![(Phrase::RowSite, teller.name(teller.facts.site))];
    if teller.notice.occasion == Occasion::Test {
        return rows;
    }
    let mut row = |name: Phrase, value: Option<String>| rows.extend(value.map(|value| (name, value)));
    row(Phrase::RowMachine, alert.machine.as_deref().map(|name| teller.name(name)));
    // A strip of the sanitizer is held where whoever tests it finds best.
    row(Phrase::RowPlace, teller.place().filter(|_| alert.condition != Condition::Weak));
    let shown = |value, other| pair(value, other, reader).0;
    let against = |value| alert.limit.map_or_else(|| quantity(value, reader), |limit| shown(value, limit));
    let amended = alert.amended.as_ref().map(|amended| match amended.counts {
        Some(_) => teller.filled(Phrase::AsCorrected),
        None => teller.filled(Phrase::AsWithdrawn),
    });
    let worst = alert.worst.filter(|worst| alert.measured != Some(*worst) && amended.is_none());
    // The moving average of `core::drift`: no rack in the history has it.
    let (last, at_worst) = if alert.condition == Condition::Drifting {
        (Phrase::RowSmoothed, Phrase::RowSmoothedWorst)
    } else if alert.cleared.is_some() && amended.is_none() {
        (Phrase::RowMeasuredThen, Phrase::RowWorst)
    } else {
        (Phrase::RowMeasured, Phrase::RowWorst)
    };
    row(last, amended.or_else(|| alert.measured.map(against)));
    row(at_worst, worst.map(against));
    // Of a range that was changed since, the limit on record says more.
    let is_end = |(least, most): &(f64, f64)| {
        let crossed = alert.limit.map(Quantity::number);
        crossed.is_none_or(|limit| limit.total_cmp(least).is_eq() || limit.total_cmp(most).is_eq())
    };
    let is_strength = alert.condition == Condition::Weak && !matches!(alert.limit, Some(Quantity::Ph(_)));
    let permitted = teller.facts.permitted.filter(|range| is_strength && is_end(range));
    let range = permitted.map(|(least, most)| {
        let (least, most) = (concentration(least), concentration(most));
        teller.with(Phrase::Permitted, &[("least", &least), ("most", &most)])
    });
    let limit = alert.limit.map(|limit| match alert.measured {
        Some(measured) => pair(measured, limit, reader).1,
        None => quantity(limit, reader),
    });
    // Both ends of a range say more than the one that was crossed.
    row(limit_name(alert), range.or(limit));
    row(Phrase::RowSince, Some(reader.moment(alert.lasts_since())));
    row(Phrase::RowOpenSince, alert.open_since().map(|at| reader.moment(at)));
    row(Phrase::RowReturned, alert.returns.when(reader, None));
    row(Phrase::RowRacks, racks(teller));
    // Between that rack and the return others lie.
    let last_good = if alert.came_back() { Phrase::RowLastGoodBack } else { Phrase::RowLastGood };
    let has_racks = !conditions::is_of_a_task(alert.condition) || alert.racks.count > 0;
    row(last_good, alert.last_good.filter(|_| has_racks).map(|rack| reader.moment(rack.rinsed())));
    row(Phrase::RowAbout, (!alert.about.is_empty()).then(|| teller.about()));
    row(
        Phrase::RowTaken,
        alert.acknowledged.as_ref().map(|taken| {
            teller.with(Phrase::ByAt, &[("by", &teller.who(&taken.by)), ("at", &teller.time(taken.at))])
        }),
    );
    let ended = if alert.lapsed { Phrase::RowLapsed } else { Phrase::RowRecovered };
    row(ended, alert.cleared.map(|at| reader.moment(at)));
    if let Some(action) = &alert.action {
        row(Phrase::RowActionRacks, Some(one_line(&action.racks, NOTE_CHARS_MAX)));
        let done = one_line(&action.done, NOTE_CHARS_MAX);
        row(
            Phrase::RowAction,
            Some(format!("{done} ({}, {})", teller.who(&action.by), teller.time(action.at))),
        );
    }
    row(Phrase::RowAlert, Some(alert.number.to_string()));
    rows
}
