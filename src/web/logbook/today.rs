//! What is due on top, as one big target each; below it what else can be entered, and what was entered today.

use std::iter;

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, Uri};
use axum::response::Response;

use super::check::SITE;
use super::words::{Words, heading, words};
use super::{Entered, Today, words as said};
use crate::core::access::Right;
use crate::core::address::escaped;
use crate::core::alert::DueCheck;
use crate::core::alert::supplies::Shortage;
use crate::core::logbook::{Missed, counting, words as told};
use crate::core::reader::Reader;
use crate::core::record::{AmendmentChange, Check, CheckKind};
use crate::core::time::Timestamp;
use crate::web::frame::{self, Frame, Tab};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::logbook::Written;
use crate::web::now::Card;
use crate::web::person::Person;
use crate::web::query;
use crate::web::renew::{self, Renewal};
use crate::web::who;

/// How pressing it is, the most pressing first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Rank {
    /// Ware may not be fit for use by it: a test failed, or something is short.
    Danger,
    /// Its time is over.
    Overdue,
    /// It can still be in time.
    Due,
}

impl Rank {
    /// The class of its target.
    const fn class(self) -> &'static str {
        match self {
            Self::Danger => " danger",
            Self::Overdue => " overdue",
            Self::Due => "",
        }
    }
}

/// Something that is to be done, as a target.
struct Target {
    rank: Rank,
    /// Since when it stands so, or when its time is over.
    since: Timestamp,
    /// Where it leads, with its machine.
    to: String,
    what: String,
    machine: String,
    /// Since when, what was found since, what to put right first.
    told: Vec<String>,
    /// Record of the entry that failed, or that found something short.
    entry: Option<u64>,
    alert: Option<u64>,
}

/// Something to enter that nobody asks for.
struct Other {
    to: &'static str,
    what: &'static str,
}

/// An entry as a line.
pub(super) struct Line {
    pub(super) record: u64,
    pub(super) clock: String,
    pub(super) what: &'static str,
    pub(super) machine: String,
    /// What counts.
    pub(super) found: String,
    /// What counted before it was corrected, the newest first.
    pub(super) was: Vec<String>,
    pub(super) by: String,
    /// Whether it failed; absent where it is not judged.
    pub(super) good: Option<bool>,
    pub(super) withdrawn: bool,
    pub(super) late: bool,
    /// Whether something that was said of it cannot be read.
    pub(super) damaged: bool,
    pub(super) amendments: Vec<String>,
}

#[derive(Template)]
#[template(path = "web/logbook/today.html", config = ".askama.toml")]
struct TodayPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    due: String,
    others: Vec<Other>,
    ask: Option<String>,
    entered: String,
}

/// What is due, which changes while the page is open.
#[derive(Template)]
#[template(path = "web/logbook/due.html", config = ".askama.toml")]
struct DuePart {
    words: &'static Words,
    due: Vec<Target>,
    none_due: &'static str,
    /// Whether whoever looks may enter it.
    enters: bool,
}

/// What was entered today, which does so too.
#[derive(Template)]
#[template(path = "web/logbook/entered.html", config = ".askama.toml")]
struct EnteredPart {
    words: &'static Words,
    entries: Vec<Line>,
    damaged: bool,
}

/// Shows the logbook of the day.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    uri: Uri,
    person: Person,
) -> Response {
    let renewal = match Renewal::alone(&uri, renew::OFTEN_S) {
        Ok(renewal) => renewal,
        Err(given) => return query::refused(&given, &person, &pages.site, 0),
    };
    let reader = &person.reader;
    let ([due, entered], _) =
        match pages.live.logbook(&pages.kitchen, reader, person.may(Right::Enter), true).await {
            Ok(parts) => parts,
            Err(refused) => return frame::refuse(refused, &person, &pages.site, 0),
        };
    let open = pages.open().await;
    let words = words(reader.language);
    let page = TodayPage {
        frame: Frame::new(&pages.site, &person, Tab::Logbook, 0, words.title)
            .with_open(open)
            .renewing(renewal),
        words,
        due: due.html,
        others: others(pages.kitchen.machines().iter().any(|one| one.sanitizing.is_chemical()), reader),
        ask: who::instead(&person, Right::Enter, words.title),
        entered: entered.html,
    };
    frame::page(StatusCode::OK, page.render())
}

/// The parts of the page that change while it is open: what is due, and what was entered today.
///
/// # Errors
/// The template's.
pub(in crate::web) fn parts(
    today: &Today,
    reader: &Reader,
    now: Timestamp,
    enters: bool,
) -> Result<[Card; 2], askama::Error> {
    let words = words(reader.language);
    let short = today.short.iter().map(|one| short(one, reader, now));
    let mut due: Vec<Target> =
        short.chain(today.due.iter().map(|due| target(due, today, reader, now))).collect();
    most_pressing_first(&mut due);
    let due = DuePart { words, due, none_due: told::none_due(!today.is_planned, reader.language), enters };
    let entries = today.entries.iter().map(|entered| line(entered, reader)).collect();
    let entered = EnteredPart { words, entries, damaged: today.damaged > 0 };
    Ok([Card { html: due.render()? }, Card { html: entered.render()? }])
}

/// Puts what endangers ware before what is overdue, and that before what can still be in time; of each the oldest first.
fn most_pressing_first(due: &mut [Target]) {
    due.sort_by_key(|target| (target.rank, target.since));
}

fn target(due: &DueCheck, today: &Today, reader: &Reader, now: Timestamp) -> Target {
    let how = if due.overdue {
        told::Due::Overdue
    } else if due.since > now {
        told::Due::By
    } else {
        told::Due::Since
    };
    let since = reader.with_article(reader.near(due.since, now));
    let found = failed(due, today, reader, now);
    let rank = match (&found, due.overdue) {
        (Some(_), _) => Rank::Danger,
        (None, true) => Rank::Overdue,
        (None, false) => Rank::Due,
    };
    let when = format!("{} {}", told::due(how, reader.language), since);
    Target {
        rank,
        since: due.again.as_ref().map_or(due.since, |again| again.at),
        to: leads_to(due),
        what: due.again.as_ref().map_or_else(
            || told::to_do(due.check, reader.language).to_owned(),
            |again| told::to_do_again(due.check, again.what.as_deref(), reader.language),
        ),
        machine: due.machine.clone(),
        told: std::iter::once(when).chain(found).collect(),
        entry: due.again.as_ref().map(|again| again.record),
        alert: None,
    }
}

/// The form with its machine, and with the thermometer that is to be compared again.
fn leads_to(due: &DueCheck) -> String {
    let form = format!("logbook/{}?machine={}", due.check.as_str(), escaped(&due.machine));
    let what = due.again.as_ref().and_then(|again| again.what.as_deref());
    what.map_or_else(|| form.clone(), |what| format!("{form}&what={}", escaped(what)))
}

fn short(one: &Shortage, reader: &Reader, now: Timestamp) -> Target {
    let words = words(reader.language);
    let machine = one.machine.as_deref();
    let since = reader.with_article(reader.near(one.since, now));
    Target {
        rank: Rank::Danger,
        since: one.since,
        to: format!("logbook/supply?machine={}", machine.map_or_else(|| SITE.to_owned(), escaped)),
        machine: machine.unwrap_or(words.site).to_owned(),
        what: said::is_short(&one.supplies, reader.language),
        told: vec![said::short_since(&since, &one.said, reader.language), words.put_right.to_owned()],
        entry: Some(one.look),
        alert: one.alert.map(|alert| alert.0),
    }
}

/// What the check found wrong that is to be made again, or today's latest look that counts: the check stays due until
/// one is good. What is short stands by itself.
fn failed(due: &DueCheck, today: &Today, reader: &Reader, now: Timestamp) -> Option<String> {
    let Today { entries, short, .. } = today;
    if let Some(again) = &due.again {
        let known = entries.iter().find(|one| one.record == again.record);
        let at = reader.near(again.at, now);
        return Some(match known {
            Some(entry) => said::failed_on(&at, &entry.told(reader).0, reader.language),
            None => said::failed_earlier(&at, reader.language),
        });
    }
    let is_its = |one: &Shortage| one.machine.as_ref().is_none_or(|machine| *machine == due.machine);
    if due.check == CheckKind::Supply && short.iter().any(is_its) {
        return None;
    }
    let own = |one: &&Entered| one.machine.as_ref().is_none_or(|machine| *machine == due.machine);
    let counting = |one| Entered::counting(one).map(|check| (one, check));
    let (latest, check) = entries
        .iter()
        .filter(own)
        .filter_map(counting)
        .filter(|(_, check)| check.kind() == due.check)
        .max_by_key(|(one, check)| (check.at(), one.record))?;
    let is_failed = latest.judgement.as_ref().is_some_and(|judgement| judgement.good == Some(false));
    let at = is_failed.then(|| reader.with_article(reader.clock_and_zone(check.at())))?;
    Some(said::failed_at(&at, &latest.told(reader).0, reader.language))
}

fn others(has_chemical: bool, reader: &Reader) -> Vec<Other> {
    let mut others = Vec::new();
    if has_chemical {
        let what = heading(Some(CheckKind::Sanitizer), reader.language);
        others.push(Other { to: "logbook/sanitizer", what });
    }
    for (kind, to) in [
        (Some(CheckKind::Supply), "logbook/supply"),
        (Some(CheckKind::DrainAndClean), "logbook/drain-and-clean"),
        (Some(CheckKind::Thermometer), "logbook/thermometer"),
        (None, "logbook/note"),
    ] {
        others.push(Other { to, what: heading(kind, reader.language) });
    }
    others
}

/// An entry as a line.
pub(super) fn line(entered: &Entered, reader: &Reader) -> Line {
    let words = words(reader.language);
    let (kind, at) = match &entered.written {
        Written::Check(check) => (Some(check.kind()), check.at()),
        Written::Note(note) => (None, note.at.unwrap_or(entered.recorded)),
    };
    let withdrawn = entered.is_withdrawn();
    let (found, was) = entered.told(reader);
    Line {
        record: entered.record,
        clock: reader.clock_and_zone(at),
        what: heading(kind, reader.language),
        machine: entered.machine.clone().unwrap_or_else(|| words.site.to_owned()),
        found,
        was,
        by: said::by(entered, reader.language),
        good: entered.good(),
        damaged: entered.is_damaged,
        withdrawn,
        late: crate::core::logbook::lateness(at, entered.recorded).is_some(),
        amendments: entered.amendments.iter().map(|(_, _, one)| said::amended(one, reader)).collect(),
    }
}

impl Entered {
    /// What counts of it in words, with the limits that it missed, and what counted before it was corrected, the
    /// newest first. Of one that was withdrawn the last that counted stands for it.
    pub(super) fn told(&self, reader: &Reader) -> (String, Vec<String>) {
        let check = match &self.written {
            Written::Check(check) => check,
            Written::Note(note) => return (note.text.clone(), Vec::new()),
        };
        let corrected = self.amendments.iter().filter_map(|(_, _, amendment)| match &amendment.change {
            AmendmentChange::Corrected(check) => Some(check),
            AmendmentChange::Withdrawn | AmendmentChange::Comment => None,
        });
        let mut said: Vec<&Check> = iter::once(check).chain(corrected).collect();
        let counts = said.pop().unwrap_or(check);
        let missed = self.judgement.as_ref().map(Missed::of).unwrap_or_default();
        let was = said.iter().rev().map(|check| said::of_check(check, reader)).collect();
        (said::of_check_missing(counts, missed, reader), was)
    }

    /// Whether it is good, for its mark. Absent where it is not judged, as a machine that was drained and cleaned, and
    /// where it counts no more, or may be good no more by something that cannot be read.
    pub(super) fn good(&self) -> Option<bool> {
        let judged = || self.judgement.as_ref().and_then(|judgement| judgement.good);
        let good = self.counting().and_then(|_| judged());
        good.filter(|good| !(*good && self.is_damaged))
    }

    /// Whether it counts no more.
    pub(super) fn is_withdrawn(&self) -> bool {
        self.amendments.iter().any(|(_, _, one)| one.change == AmendmentChange::Withdrawn)
    }

    /// A check as it counts with all that was said of it; `None` for a note and for one that counts no more.
    pub(crate) fn counting(&self) -> Option<&Check> {
        let Written::Check(check) = &self.written else { return None };
        let said = self.amendments.iter().map(|(at, _, one)| (*at, &one.change));
        counting(check, said).map(|(check, _)| check)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: whoever looks at what is due sees first what endangers ware, then what is late, then the rest, and of
    // each what stands so for longest.
    #[test]
    fn what_endangers_ware_comes_first_then_what_is_late() {
        let target = |machine: &str, rank, since| Target {
            rank,
            since: Timestamp::from_micros(since),
            to: String::new(),
            what: String::new(),
            machine: machine.to_owned(),
            told: Vec::new(),
            entry: None,
            alert: None,
        };
        let mut due = [
            target("soon", Rank::Due, 1),
            target("late", Rank::Overdue, 5),
            target("failed", Rank::Danger, 9),
            target("later", Rank::Overdue, 2),
            target("short", Rank::Danger, 7),
        ];
        most_pressing_first(&mut due);
        let order: Vec<&str> = due.iter().map(|target| target.machine.as_str()).collect();
        assert_eq!(order, ["short", "failed", "later", "late", "soon"]);
    }
}
