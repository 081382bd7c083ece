//! What stands behind the other pages: the configuration, contacts and their channels, work on a machine.
//!
//! The configuration is shown and never changed here. Secrets stand in it by their path only.

mod maintenance;
mod words;

use std::future::Future;
use std::time::Duration;

use askama::Template;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

pub(super) use self::maintenance::{begin, show as show_maintenance};
use self::words::{Words, words};
use super::access;
use super::access::store::{Account, Token};
use super::attempt::NotOver;
use super::frame::{self, Frame, Refusal, Tab};
use super::kitchen::{Kitchen, Pages};
use super::person::Person;
use super::who;
use crate::config::note::{Origin, Section};
use crate::core::access::Right;
use crate::core::alert::Contact;
use crate::core::alert::trial::{self, Told};
use crate::core::reader::{Language, Reader, filled};
use crate::core::time::Timestamp;

/// Longest wait for a test of channels before the page says that it is under way (own choice: shorter than a
/// connection lasts).
const TEST_MAX: Duration = Duration::from_secs(8);

/// Most messages that are looked through for how each channel did last (own choice: weeks of a busy kitchen). A
/// channel of which none of them is may have done well or badly before.
pub const MESSAGES_MAX: u32 = 1_000;

/// What the other side of a channel said last.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Tried {
    /// When.
    pub at: Timestamp,
    /// Why it was not taken; `None` where it was.
    pub failed: Option<Told>,
}

/// A channel of messages.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Channel {
    /// Which: `mail`, `webhook:office`, `publish`, `heartbeat`.
    pub name: String,
    /// Why it cannot work as it is configured.
    pub broken: Option<Told>,
    /// What came of the newest message or test; `None` where none of the last [`MESSAGES_MAX`] messages and no test
    /// since the start was of it.
    pub last: Option<Tried>,
    /// Messages that wait to be sent by it.
    pub waiting: u64,
}

/// One step of a test.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct TestStep {
    /// By which route.
    pub route: String,
    /// What was tried.
    pub what: String,
    /// Whether it went well.
    pub good: bool,
    /// What came of it.
    pub told: Told,
}

/// The latest test of a contact's channels since the start.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Tested {
    /// When it was begun.
    pub at: Timestamp,
    /// Who pressed the button.
    pub by: String,
    /// Its steps; `None` while it is under way.
    pub steps: Option<Vec<TestStep>>,
}

/// Who may ask anything of this gateway.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Entitled {
    /// Every account, by name.
    pub accounts: Vec<Account>,
    /// Every token, by name.
    pub tokens: Vec<Token>,
    /// What the clock of the accounts shows.
    pub now: Timestamp,
}

/// What the pages ask of whoever runs the site.
pub trait Premises: Clone + Send + Sync + 'static {
    /// The configuration in force.
    fn sections(&self) -> Vec<Section>;

    /// The contacts, each with its latest test.
    fn contacts(&self) -> Vec<(Contact, Option<Tested>)>;

    /// Every channel that is configured.
    fn channels(&self) -> impl Future<Output = Result<Vec<Channel>, Refusal>> + Send;

    /// Who may log in, and the tokens of programs, with the time by which these have ended.
    fn accounts(&self) -> impl Future<Output = Result<Entitled, Refusal>> + Send;

    /// Sends a marked test by every route of a contact; ends with it. One that has just been made is not
    /// made again.
    fn test(&self, contact: String, by: String) -> impl Future<Output = Result<(), Refusal>> + Send;

    /// Holds the messages about a machine until then; without a time it ends.
    fn maintain(
        &self,
        machine: String,
        until: Option<Timestamp>,
        by: String,
    ) -> impl Future<Output = Result<(), Refusal>> + Send;

    /// Ends the work at a machine, and with it what is open there, where that was shown and has found nothing; its
    /// [`OpenAt::mark`]s are `shown`. What others had open goes on record as ended.
    ///
    /// [`OpenAt::mark`]: super::attempt::OpenAt::mark
    fn end_work(
        &self,
        machine: String,
        shown: Vec<String>,
        person: &Person,
    ) -> impl Future<Output = Result<(), NotOver>> + Send;
}

/// A page that one can go on to.
struct Way {
    to: &'static str,
    name: &'static str,
    what: &'static str,
}

#[derive(Template)]
#[template(path = "web/settings/more.html", config = ".askama.toml")]
struct MorePage<'a> {
    frame: Frame<'a>,
    ways: Vec<Way>,
}

/// Shows the way to everything that has no tab.
pub(super) async fn more<K: Kitchen>(State(pages): State<Pages<K>>, person: Person) -> Response {
    let words = words(person.reader.language);
    let all = [
        (Right::Look, "account", words.account, words.account_what),
        (Right::Maintain, "maintenance", words.maintenance, words.maintenance_what),
        (Right::Settings, "settings", words.settings, words.settings_what),
        (Right::Accounts, "accounts", words.accounts, words.accounts_what),
    ];
    let ways = all.into_iter().filter(|(right, ..)| person.may(*right));
    let ways = ways.map(|(_, to, name, what)| Way { to, name, what }).collect();
    let open = pages.open().await;
    let frame = Frame::new(&pages.site, &person, Tab::More, 0, words.more).with_open(open);
    frame::page(StatusCode::OK, MorePage { frame, ways }.render())
}

/// A line of the configuration.
struct Line {
    text: String,
    origin: String,
}

/// A channel as it is shown.
struct Stood {
    name: String,
    broken: Option<(String, String)>,
    /// Whether the other side took the last; `None` where nothing is known.
    good: Option<bool>,
    told: String,
    waiting: u64,
}

fn stood(Channel { name, broken, last, waiting }: Channel, reader: &Reader) -> Stood {
    let words = words(reader.language);
    let (good, told) = match last {
        Some(Tried { at, failed: None }) => (Some(true), format!("{} {}", words.taken, reader.moment(at))),
        Some(Tried { at, failed: Some(why) }) => {
            (Some(false), format!("{} {}: {}", words.not_taken, reader.moment(at), why.tell(reader.language)))
        }
        None if name == "heartbeat" => (None, words.watched.to_owned()),
        None => (None, filled(words.unknown, &[("most", &MESSAGES_MAX.to_string())])),
    };
    let broken = broken.map(|why| in_full(&why, reader.language));
    Stood { name, broken, good, told, waiting }
}

/// A contact as it is shown.
struct Seen {
    name: String,
    told: String,
    routes: Vec<String>,
    tested: Option<String>,
    running: bool,
    steps: Vec<Stepped>,
}

/// A step of a test as it is shown.
struct Stepped {
    route: String,
    what: String,
    good: bool,
    said: String,
}

#[derive(Template)]
#[template(path = "web/settings/settings.html", config = ".askama.toml")]
struct SettingsPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    contacts: Vec<Seen>,
    ask: Option<String>,
    channels: Vec<Stood>,
    /// Who may log in; `None` where that could not be read.
    accounts: Option<String>,
    /// Whom to ask for another account; `None` for those who make them.
    ask_accounts: Option<String>,
    sections: Vec<(String, Vec<Line>)>,
}

/// Shows contacts, channels and the configuration in force.
pub(super) async fn show<K: Kitchen>(State(pages): State<Pages<K>>, person: Person) -> Response {
    let (channels, entitled) = tokio::join!(pages.kitchen.channels(), pages.kitchen.accounts());
    let channels = match channels {
        Ok(channels) => channels,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 0),
    };
    let reader = &person.reader;
    let words = words(reader.language);
    let open = pages.open().await;
    let line = |note: crate::config::note::Note| {
        let (text, origin) = match note.origin {
            Origin::Set(place) => (note.line, place.to_string()),
            Origin::Default => (note.line, words.default.to_owned()),
            Origin::Follows(None) => (note.line, words.follows.to_owned()),
            Origin::Follows(Some(whence)) => {
                let told = words::whence(whence, reader.language);
                let english = format!(" ({})", whence.as_str());
                let text = note.line.strip_suffix(&english).unwrap_or(&note.line).to_owned();
                (text, format!("{}: {told}", words.follows))
            }
        };
        Line { text, origin }
    };
    let sections = pages.kitchen.sections().into_iter();
    let page = SettingsPage {
        frame: Frame::new(&pages.site, &person, Tab::More, 0, words.settings).with_open(open),
        words,
        contacts: pages.kitchen.contacts().into_iter().map(|one| seen(one, &person)).collect(),
        ask: who::instead(&person, Right::Act, words.test),
        channels: channels.into_iter().map(|channel| stood(channel, reader)).collect(),
        accounts: entitled.ok().and_then(|entitled| told(entitled, reader)),
        ask_accounts: who::instead(&person, Right::Accounts, words.accounts_change),
        sections: sections
            .map(|Section { header, notes }| (header, notes.into_iter().map(line).collect()))
            .collect(),
    };
    frame::page(StatusCode::OK, page.render())
}

/// Who may log in, in words.
fn told(Entitled { accounts, tokens, now }: Entitled, reader: &Reader) -> Option<String> {
    let told = access::listed(accounts, tokens, now, reader);
    // By the words that the page points to, whichever way it came to nothing.
    told.inspect_err(
        |error| tracing::error!(%error, "the accounts cannot be read: no part of a page is made"),
    )
    .ok()
}

fn seen((contact, tested): (Contact, Option<Tested>), person: &Person) -> Seen {
    let words = words(person.reader.language);
    let step = format!("{} {}", words.step, contact.step);
    let last = contact.last_resort.then_some(words.last_resort);
    let hours = contact.hours.is_some().then_some(words.hours);
    let parts = [contact.role.as_deref(), Some(step.as_str()), last, hours].into_iter().flatten();
    let (at, running, steps) = match tested {
        Some(Tested { at, by, steps }) => {
            let when = format!("{} {} ({by})", words.tested, person.reader.moment(at));
            let told = steps.iter().flatten().map(|step| in_words(step, person.reader.language));
            (Some(when), steps.is_none(), told.collect())
        }
        None => (None, false, Vec::new()),
    };
    Seen {
        told: parts.collect::<Vec<_>>().join(" · "),
        routes: contact.routes.iter().map(ToString::to_string).collect(),
        name: contact.name,
        tested: at,
        running,
        steps,
    }
}

/// A step of a test in the words of the reader.
fn in_words(step: &TestStep, language: Language) -> Stepped {
    let TestStep { route, what, good, told } = step;
    let (why, advice) = in_full(told, language);
    let said = if advice.is_empty() { why } else { format!("{why}; {advice}") };
    Stepped { route: route.clone(), what: trial::step(what, language).to_owned(), good: *good, said }
}

/// What is told and what to do about it; nothing where that is not ours to know.
fn in_full(told: &Told, language: Language) -> (String, String) {
    (told.tell(language), told.advice(language).unwrap_or_default())
}

/// Whose channels are to be tried.
#[derive(Deserialize)]
pub(super) struct Trying {
    contact: String,
}

/// Tries the channels of a contact, and sends the browser back to what it came to. What is begun goes
/// on where the wait is over.
pub(super) async fn test<K: Kitchen>(
    State(pages): State<Pages<K>>,
    person: Person,
    sent: Result<Form<Trying>, FormRejection>,
) -> Response {
    let Ok(Form(Trying { contact })) = sent else { return StatusCode::BAD_REQUEST.into_response() };
    let tried = pages.kitchen.test(contact, person.name.clone());
    match tokio::time::timeout(TEST_MAX, tried).await {
        Ok(Err(refused)) => frame::refuse(refused, &person, &pages.site, 1),
        Ok(Ok(())) | Err(_) => frame::go("../settings#contacts"),
    }
}

#[cfg(test)]
mod tests;
