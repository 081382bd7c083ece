//! What is wrong and who takes care: the open alerts, those that are over, and the whole story of each.
//!
//! Nobody acts by opening a page: only a pressed button does, and pressed twice it acts once.

mod deeds;
mod head;
mod news;
mod others;
mod racks;
pub(in crate::web) mod trail;
pub(in crate::web) mod words;

use std::future::Future;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;

pub(super) use self::deeds::{acknowledge, act};
pub(super) use self::news::news;
use self::racks::Rack;
use self::trail::Happened;
use self::words::{Words, missing, standing, words};
use super::form::Field;
use super::frame::{self, Frame, Refusal, Tab};
use super::kitchen::{Kitchen, Pages};
use super::pages::{Words as LinkWords, left_out, words as link_words};
use super::person::Person;
use super::query::{self, Expected, Given};
use super::sheet::{Decided, Deed};
use super::who;
use crate::core::access::Right;
use crate::core::address::escaped;
use crate::core::alert::entered::EnteredChecks;
use crate::core::alert::{Alert, Foreseen, Occasion, Rack as Named};
use crate::core::cycle::figures::{Figures, Overtaken};
use crate::core::cycle::sign::Sign;
use crate::core::cycle::verdict::Verdict;
use crate::core::logbook::words::to_do;
use crate::core::reader::{Reader, filled};
use crate::core::record::{CheckKind, Cycle, Record};
use crate::core::time::Timestamp;

/// Most racks that the page of an alert lists unfolded (own choice: half a screen of a phone).
const RACKS_SHOWN_MAX: usize = 6;

/// Most of what happened that the page of an alert shows unfolded (own choice, likewise); one more is not folded alone.
const STORY_SHOWN_MAX: usize = 4;

/// An alert with what is said of it in one line.
#[derive(Clone, PartialEq, Debug)]
pub struct Headed {
    /// What is wrong, where, and what to do, in the words of the reader.
    pub headline: String,
    /// The alert.
    pub alert: Alert,
    /// When it closed.
    pub closed: Option<Timestamp>,
}

/// The alerts of a page.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Listing {
    /// Those that are open, the newest first.
    pub open: Vec<Headed>,
    /// Some that are closed, the latest closed first.
    pub closed: Vec<Headed>,
    /// Where older ones follow, as the page is asked for them.
    pub older: Option<u64>,
    /// Records of closed ones that cannot be read.
    pub damaged: usize,
}

/// What is said of an alert, in the words of the reader.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Said {
    /// What is wrong, where, and what to do.
    pub headline: String,
    /// How bad it is.
    pub why: Vec<String>,
    /// Label and value of each fact.
    pub facts: Vec<(String, String)>,
    /// What to do now, in order.
    pub steps: Vec<String>,
    /// Whether the last of them asks for the corrective action.
    pub asks_for_action: bool,
    /// How to wash by hand.
    pub by_hand: Vec<String>,
    /// What could hurt whoever follows the steps.
    pub cautions: Vec<String>,
}

/// A rack that an alert is about.
#[derive(Clone, PartialEq, Debug)]
pub struct Affected {
    /// Index of its record.
    pub record: u64,
    /// When its final rinse began, as far as the alert keeps it.
    pub rinsed: Timestamp,
    /// How it was judged; `None` where its record cannot be read.
    pub judged: Option<Judged>,
}

/// How a rack was judged.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Judged {
    /// Its verdict.
    pub verdict: Verdict,
    /// When its final rinse began, by which lists tell it.
    pub rinsed: Timestamp,
    /// What was measured.
    pub figures: Figures,
    /// What it passed by, and what the test found by which it is in doubt.
    pub overtaken: Option<Overtaken>,
}

impl Judged {
    /// As its record says.
    #[must_use]
    pub fn of(cycle: &Cycle) -> Self {
        let (verdict, rinsed) = (cycle.verdict, cycle.rinse_started);
        Self { verdict, rinsed, figures: Figures::of(cycle), overtaken: None }
    }
}

/// A good test that went on record after racks of before it were in doubt.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Late {
    /// Index of its record.
    pub record: u64,
    /// When it was made.
    pub made: Timestamp,
    /// When it went on record.
    pub entered: Timestamp,
}

/// An alert with all that is on record of it.
#[derive(Clone, PartialEq, Debug)]
pub struct Whole {
    /// The alert as it is now, or was when it closed.
    pub alert: Alert,
    /// When it closed.
    pub closed: Option<Timestamp>,
    /// Who is told next while it is open.
    pub foreseen: Option<Foreseen>,
    /// What is said of it.
    pub said: Said,
    /// Racks it is about, at most some of them.
    pub racks: Vec<Affected>,
    /// Good tests that came late, the first one first.
    pub late: Vec<Late>,
    /// Other alerts that put the rack in doubt which it names as the last good one.
    pub good_in_doubt: Vec<u64>,
    /// How many of the racks that it names other alerts put in doubt, and those.
    pub also_in_doubt: (usize, Vec<u64>),
    /// Its records, and what was said later of the entries that it rests on, in order.
    pub trail: Vec<(u64, Record)>,
    /// What the checks among them came to, and those by which it was eased.
    pub entered: EnteredChecks,
}

impl Whole {
    /// See [`Alert::left_out`]; of one that has closed none is.
    pub(super) fn left_out(&self) -> Option<(u64, Option<Named>)> {
        self.alert.left_out().filter(|_| self.closed.is_none())
    }
}

/// What the pages ask of whoever knows the alerts.
pub trait AlertBook: Clone + Send + Sync + 'static {
    /// How many alerts are open.
    fn open(&self) -> impl Future<Output = Result<usize, Refusal>> + Send;

    /// The open alerts, and those closed before the record with this index; the latest without one. `None` where no
    /// alert closed with that record.
    fn alerts(
        &self,
        reader: &Reader,
        before: Option<u64>,
    ) -> impl Future<Output = Result<Option<Listing>, Refusal>> + Send;

    /// One alert.
    fn alert(&self, reader: &Reader, number: u64) -> impl Future<Output = Result<Whole, Refusal>> + Send;

    /// Names the state of the open alerts, or of one alert: where that is another one, so is the name.
    fn state(&self, number: Option<u64>) -> impl Future<Output = Result<String, Refusal>> + Send;

    /// Does what somebody decided about an alert; answers when it is on record. Doing the same twice does it once.
    fn decide(&self, number: u64, deed: Deed) -> impl Future<Output = Result<Decided, Refusal>> + Send;
}

/// An alert in the list.
struct Line {
    number: u64,
    headline: String,
    since: String,
    /// Since when it is open as a whole, where what is left has been so since another time.
    open_since: Option<String>,
    /// Its first and last day, where it is about several.
    days: Option<String>,
    standing: String,
    racks: String,
    /// The worst that was measured, of one that has recovered: its headline gives no figures.
    worst: Option<String>,
    missing: Option<&'static str>,
}

#[derive(Template)]
#[template(path = "web/alerts/list.html", config = ".askama.toml")]
struct ListPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    open: Vec<Line>,
    closed: Vec<Line>,
    older: Option<u64>,
    later: bool,
    damaged: Option<String>,
    /// When it was so: the list is not renewed by itself.
    as_of: String,
    /// What it was made of, where it is told of what comes since.
    state: Option<String>,
}

/// Shows the open alerts and those that are over.
pub(super) async fn list<K: Kitchen>(State(pages): State<Pages<K>>, uri: Uri, person: Person) -> Response {
    let mut given = Given::read(&uri, &["before"]);
    let before = given.take("before", query::record);
    if given.is_refused() {
        return query::refused(&given, &person, &pages.site, 0);
    }
    let reader = &person.reader;
    // Asked first, so that nothing that comes meanwhile is passed over.
    let state = if before.is_none() { pages.kitchen.state(None).await.ok() } else { None };
    let listing = match pages.kitchen.alerts(reader, before).await {
        Ok(Some(listing)) => listing,
        Ok(None) => {
            given.refuse("before", Expected::Listed);
            return query::refused(&given, &person, &pages.site, 0);
        }
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 0),
    };
    let words = words(reader.language);
    let clock = reader.with_article(reader.clock_and_zone(pages.kitchen.time()));
    let line = |headed: &Headed| line(headed, reader);
    let page = ListPage {
        frame: Frame::new(&pages.site, &person, Tab::Alerts, 0, words.title).with_open(listing.open.len()),
        words,
        open: listing.open.iter().map(line).collect(),
        closed: listing.closed.iter().map(line).collect(),
        older: listing.older,
        later: before.is_some(),
        as_of: filled(words.as_of, &[("at", &clock)]),
        state,
        damaged: (listing.damaged > 0).then(|| words::damaged(listing.damaged, reader.language)),
    };
    frame::page(StatusCode::OK, page.render())
}

fn line(headed: &Headed, reader: &Reader) -> Line {
    let Headed { headline, alert, closed } = headed;
    Line {
        number: alert.number.0,
        headline: headline.clone(),
        since: reader.moment(alert.lasts_since()),
        open_since: words::open_since(alert, reader),
        days: words::days(alert, reader),
        standing: standing(alert, *closed, reader),
        racks: words::affected(alert, reader.language),
        worst: trail::worst(alert, reader),
        missing: missing(alert, *closed, reader.language),
    }
}

#[derive(Template)]
#[template(path = "web/alerts/one.html", config = ".askama.toml")]
struct AlertPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    link: &'static LinkWords,
    whole: &'a Whole,
    /// Its first and last day, where it is about several.
    days: Option<String>,
    /// Since when it is open as a whole, where what is left has been so since another time.
    open_since: Option<String>,
    /// That it came back, and when.
    returned: Option<String>,
    standing: String,
    missing: Option<&'static str>,
    /// What was withdrawn or corrected of the entries that it rests on, each with the record of the entry.
    amended: Vec<(String, u64)>,
    /// What other alerts say of racks that it names.
    others: Vec<String>,
    waiting: bool,
    /// Who may take it on, for those who may not.
    not_taking: Option<String>,
    needs_action: bool,
    not_acting: Option<String>,
    /// What to do now, in order, for this person.
    steps: Vec<String>,
    racks: Vec<Rack>,
    /// Whether they would push what happened off a phone, so that they are folded.
    is_long: bool,
    more_racks: Option<(String, String)>,
    /// Whether an action stands for all of them: another one is seldom wanted.
    is_written: bool,
    trail: Vec<Happened>,
    /// What happened behind those, folded.
    later: Vec<Happened>,
    folded: String,
    /// Who was told while it is open, and who could not be.
    reached: Vec<String>,
    /// Who is told next, and when.
    next: Option<String>,
    /// When each of several checks was due.
    overdue: Vec<String>,
    /// Entries that may take it back, each with its address.
    entries: Vec<(String, String)>,
    note: Field,
    held: Field,
    done: Field,
    /// What somebody may write as done.
    done_example: &'static str,
    /// How many racks an action that is written on this page covers.
    covers: u64,
    /// Racks that the action on record does not cover.
    left_out: Option<String>,
    /// What the page was made of, where it is told of what comes since.
    state: Option<String>,
}

/// What was typed into the forms of an alert.
#[derive(Default)]
struct Typed {
    note: Field,
    held: Field,
    done: Field,
    /// How many racks there were when the typing began.
    covers: Option<u64>,
}

/// Shows one alert.
pub(super) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(number): Path<String>,
    person: Person,
) -> Response {
    let Ok(number) = number.parse() else { return frame::refuse(Refusal::Unknown, &person, &pages.site, 1) };
    answer(&pages, &person, number, Typed::default(), (StatusCode::OK, 1)).await
}

/// The page of an alert, so many steps deep.
async fn answer<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    number: u64,
    typed: Typed,
    (status, deep): (StatusCode, usize),
) -> Response {
    let reader = &person.reader;
    // Of what was sent and not taken the page says what is so; asked first, as for the list.
    let state = if deep == 1 { pages.kitchen.state(Some(number)).await.ok() } else { None };
    let whole = match pages.kitchen.alert(reader, number).await {
        Ok(whole) => whole,
        Err(refused) => return frame::refuse(refused, person, &pages.site, deep),
    };
    let (open, now) = (pages.open().await, pages.kitchen.time());
    let (words, link) = (words(reader.language), link_words(reader.language));
    let title = format!("{} {number}: {}", words.alert, whole.said.headline);
    let (racks, more) = racks::listed(&whole, reader);
    let (told, later) = folded_story(&whole, reader);
    let page = AlertPage {
        frame: Frame::new(&pages.site, person, Tab::Alerts, deep, &title).with_open(open),
        words,
        link,
        days: words::days(&whole.alert, reader),
        open_since: words::open_since(&whole.alert, reader),
        returned: whole.alert.returns.told(whole.alert.came_back(), reader),
        standing: standing(&whole.alert, whole.closed, reader),
        missing: missing(&whole.alert, whole.closed, reader.language),
        amended: amended(&whole, reader, now),
        others: others::told(&whole, reader.language),
        waiting: whole.closed.is_none() && whole.alert.wants_somebody(),
        not_taking: who::instead(person, Right::Acknowledge, link.acknowledge),
        // What could not be taken is shown to whoever typed it, also where the alert closed meanwhile.
        needs_action: whole.alert.needs_action && (whole.closed.is_none() || typed.held.fault.is_some()),
        not_acting: who::instead(person, Right::Act, link.action),
        steps: steps(&whole.said, person),
        is_written: whole.alert.action.is_some()
            && whole.alert.left_out().is_none()
            && typed.held.fault.is_none(),
        more_racks: (more > 0).then(|| {
            (words::more_racks(more, reader.language), format!("history?show=racks&alert={number}"))
        }),
        is_long: racks.len() > RACKS_SHOWN_MAX,
        racks,
        folded: words::folded(later.len(), reader.language),
        trail: told,
        later,
        reached: if whole.closed.is_none() { head::reached(&whole.trail, reader, now) } else { Vec::new() },
        next: next(&whole, reader, now),
        overdue: head::overdue(&whole.alert, &whole.trail, reader, now),
        entries: entries(&whole, person),
        note: typed.note,
        held: typed.held,
        done: typed.done,
        done_example: words::done_example(whole.alert.condition, reader.language),
        covers: typed.covers.unwrap_or(whole.alert.racks.count).min(whole.alert.racks.count),
        left_out: whole.left_out().map(|(count, last)| {
            let last = last.map(|rack| reader.moment(rack.rinsed()));
            left_out(count, last.as_deref(), reader.language)
        }),
        state,
        whole: &whole,
    };
    frame::page(status, page.render())
}

/// What happened to an alert: what is shown, and what is folded behind it.
fn folded_story(whole: &Whole, reader: &Reader) -> (Vec<Happened>, Vec<Happened>) {
    let mut told = trail::told((&whole.trail, &whole.entered), &whole.alert.racks.named, reader);
    let first = if told.len() > STORY_SHOWN_MAX + 1 { STORY_SHOWN_MAX } else { told.len() };
    let later = told.split_off(first);
    (told, later)
}

/// What was withdrawn or corrected of the entries that it rests on, and good tests that came late.
fn amended(whole: &Whole, reader: &Reader, now: Timestamp) -> Vec<(String, u64)> {
    let mut amended = head::rests_on(&whole.trail, &whole.alert.racks.named, reader);
    let late = |late: &Late| (others::late(*late, &whole.alert, reader, now), late.record);
    amended.extend(whole.late.iter().map(late));
    amended
}

/// Who is told next, or that nobody else is.
fn next(whole: &Whole, reader: &Reader, now: Timestamp) -> Option<String> {
    match whole.foreseen.as_ref().filter(|next| holds(next, &whole.alert)) {
        Some(next) => Some(words::foreseen(next, reader, now)),
        None if whole.closed.is_none() && lasts_unanswered(&whole.alert) => {
            Some(words::nobody_else(reader.language).to_owned())
        }
        None => None,
    }
}

/// Whether what is foreseen can come of an alert as it is: once somebody takes care, nobody is told for want of them.
const fn holds(next: &Foreseen, alert: &Alert) -> bool {
    match next {
        Foreseen::Told { occasion: Occasion::ActionMissing | Occasion::AfterMaintenance, .. }
        | Foreseen::AskedNoMore { .. }
        | Foreseen::NotBefore { .. } => true,
        Foreseen::Told { .. } | Foreseen::NobodyElse { .. } => alert.acknowledged.is_none(),
    }
}

/// Whether somebody should take it on and nobody has.
const fn lasts_unanswered(alert: &Alert) -> bool {
    alert.cleared.is_none() && alert.acknowledged.is_none()
}

/// What to do now, for this person: nobody is told to write what others must.
fn steps(said: &Said, person: &Person) -> Vec<String> {
    let mut steps = said.steps.clone();
    if said.asks_for_action && !person.may(Right::Act) {
        steps.pop();
        steps
            .push(words::tell_them(&who::having(Right::Act, person.reader.language), person.reader.language));
    }
    steps
}

/// The forms of the logbook by which whoever looks may enter what takes an alert back.
fn entries(whole: &Whole, person: &Person) -> Vec<(String, String)> {
    if whole.closed.is_some() || !person.may(Right::Enter) {
        return Vec::new();
    }
    let language = person.reader.language;
    let form = |kind: CheckKind| {
        let machine = whole.alert.machine.as_deref().map(|machine| format!("?machine={}", escaped(machine)));
        let address = format!("logbook/{}{}", kind.as_str(), machine.unwrap_or_default());
        (address, format!("{}: {}", words(language).enter, to_do(kind, language)))
    };
    whole.alert.answered_by().into_iter().map(form).collect()
}

#[cfg(test)]
mod tests;
