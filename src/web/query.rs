//! What stands in the address of a page behind its `?`, and what is wrong with it.
//!
//! It is a question, and one that is not understood is never answered as if another had been asked: the page comes
//! with status 422 and with nothing looked up. Of each part that is wrong it says the name, what was read and what
//! is expected, in the words of the reader: beside its field where the page has one, above all else where it has
//! none. The same holds for a part that the page does not know, for one that is given twice, and for one that says
//! nothing to what is looked at. An empty part asks for nothing, since forms send their empty fields along.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::Query;
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use jiff::civil::{Date, DateTime, Time};

use super::form::Field;
use super::frame::{self, Frame, Site, Tab, said};
use super::pages;
use super::person::Person;
use super::stranger::Stranger;
use crate::core::reader::{Language, filled};
use crate::core::wall_clock::minute;

/// Longest part that is said again to whoever sent it, in characters; the rest is left out (own choice).
const READ_CHARS_MAX: usize = 40;

/// What is expected where something else was read.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Expected {
    /// A day.
    Day,
    /// A day no later than this one.
    DayUntil(Date),
    /// A day no earlier than this one.
    DayFrom(Date),
    /// Day and time by the clock of the site.
    Moment,
    /// A moment that has come.
    Past,
    /// A time that the clock showed: it went from the first to the second.
    Shown(Time, Time),
    /// Which of the two times that the clock showed as one.
    Which,
    /// One of these.
    OneOf(Vec<String>),
    /// Number of a record.
    Record,
    /// Number of a record that the list holds.
    Listed,
    /// That it is given once.
    Once,
    /// That it is left out beside this one.
    Without(&'static str),
    /// That it is given with one of these alone.
    Beside(&'static str, Vec<&'static str>),
    /// One of these names.
    Named(Vec<&'static str>),
    /// The way to a page of this site.
    Page,
    /// Names and values that can be told apart.
    Pairs,
}

impl Expected {
    fn say(&self, language: Language) -> String {
        let (english, spanish) = match self {
            Self::Day => ("a day such as 2026-11-26", "un día como 2026-11-26"),
            Self::DayUntil(_) => ("a day no later than {what}", "un día no posterior a {what}"),
            Self::DayFrom(_) => ("a day no earlier than {what}", "un día no anterior a {what}"),
            Self::Moment => ("day and time such as 2026-11-26T12:40", "día y hora como 2026-11-26T12:40"),
            Self::Past => ("a time that has come", "una hora que ya haya llegado"),
            Self::Shown(..) => (
                "a time that was: the clocks went forward that night, from {what}",
                "una hora que haya existido: esa noche se adelantaron los relojes, de las {what}",
            ),
            Self::Which => (
                "which of two: the clocks went back that night, and this time came twice. Choose below",
                "cuál de las dos: esa noche se atrasaron los relojes, y esa hora se repitió. Elija abajo",
            ),
            Self::OneOf(_) => ("one of {what}", "uno de estos valores: {what}"),
            Self::Record => ("the number of a record", "el número de un asiento"),
            Self::Listed => ("the number of a record of this list", "el número de un asiento de esta lista"),
            Self::Once => ("that it is given once", "una sola vez"),
            Self::Without(_) => ("that it is left out beside {what}", "sin {what}"),
            Self::Beside(..) => ("that it is given with {what} only", "solo con {what}"),
            Self::Named(names) if names.is_empty() => {
                ("it knows none: take it away from the address", "no conoce ninguno: quítelo de la dirección")
            }
            Self::Named(_) => ("the names that it knows: {what}", "los que conoce: {what}"),
            Self::Page => ("the way to a page of this site", "el camino a una página de este sitio"),
            Self::Pairs => ("name=value, with & between", "nombre=valor, con & entre ellos"),
        };
        let what = match self {
            Self::DayUntil(day) | Self::DayFrom(day) => day.to_string(),
            Self::Shown(last, next) => {
                format!("{} {} {}", minute(*last), said(language, "to", "a las"), minute(*next))
            }
            Self::OneOf(words) => words.join(", "),
            Self::Without(name) => (*name).to_owned(),
            Self::Beside(name, words) => format!("{name}={}", words.join(", ")),
            Self::Named(names) => names.join(", "),
            Self::Day
            | Self::Moment
            | Self::Past
            | Self::Which
            | Self::Record
            | Self::Listed
            | Self::Once
            | Self::Page
            | Self::Pairs => String::new(),
        };
        filled(if language == Language::English { english } else { spanish }, &[("what", &what)])
    }
}

/// A part that is wrong.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Wrong {
    /// The part; empty where it is none that the page knows.
    name: String,
    read: String,
    expected: Expected,
}

impl Wrong {
    /// What is wrong, under the name that the reader knows it by.
    fn say(&self, name: &str, language: Language) -> String {
        let (english, spanish) = match self.expected {
            Expected::Named(_) => (
                "The address gives «{read}», which this page does not know; {expected}.",
                "La dirección da «{read}», que esta página no conoce; {expected}.",
            ),
            Expected::Pairs => (
                "Behind the «?» of the address «{read}» was read; expected is {expected}.",
                "Tras el «?» de la dirección se leyó «{read}»; se espera {expected}.",
            ),
            Expected::Day
            | Expected::DayUntil(_)
            | Expected::DayFrom(_)
            | Expected::Moment
            | Expected::Past
            | Expected::Shown(..)
            | Expected::Which
            | Expected::OneOf(_)
            | Expected::Record
            | Expected::Listed
            | Expected::Once
            | Expected::Without(_)
            | Expected::Beside(..)
            | Expected::Page => (
                "{name}: «{read}» was read; expected is {expected}.",
                "{name}: se leyó «{read}»; se espera {expected}.",
            ),
        };
        let phrase = said(language, english, spanish);
        filled(
            phrase,
            &[("name", name), ("read", &short(&self.read)), ("expected", &self.expected.say(language))],
        )
    }
}

/// A text as it is said again: no longer than a line, and of letters that can be seen.
fn short(text: &str) -> String {
    let seen = |c: char| if c.is_control() { '\u{fffd}' } else { c };
    let mut short: String = text.chars().take(READ_CHARS_MAX).map(seen).collect();
    if text.chars().nth(READ_CHARS_MAX).is_some() {
        short.push('…');
    }
    short
}

/// What was given in an address, and what is wrong with it.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Given {
    values: BTreeMap<&'static str, String>,
    wrong: Vec<Wrong>,
}

impl Given {
    /// Reads the parts that a page knows; all others are wrong.
    pub(super) fn read(uri: &Uri, known: &[&'static str]) -> Self {
        let Ok(Query(pairs)) = Query::<Vec<(String, String)>>::try_from_uri(uri) else {
            let mut given = Self::default();
            given.refuse_read("", uri.query().unwrap_or_default().to_owned(), Expected::Pairs);
            return given;
        };
        Self::of(pairs, known)
    }

    /// The same of a form that was sent.
    pub(super) fn of(pairs: Vec<(String, String)>, known: &[&'static str]) -> Self {
        let mut given = Self::default();
        for (name, value) in pairs {
            match known.iter().find(|known| **known == name) {
                None => given.refuse_read("", name, Expected::Named(known.to_vec())),
                Some(known) if given.values.contains_key(known) => {
                    given.refuse_read(known, value, Expected::Once)
                }
                Some(known) => {
                    given.values.insert(known, value.trim().to_owned());
                }
            }
        }
        given
    }

    /// What stands in a part; empty where it was not given.
    pub(super) fn text(&self, name: &str) -> &str {
        self.values.get(name).map_or("", String::as_str)
    }

    /// Whether something stands in a part.
    pub(super) fn has(&self, name: &str) -> bool {
        !self.text(name).is_empty()
    }

    /// What a part comes to; `None` where it is empty or wrong.
    pub(super) fn take<T>(
        &mut self,
        name: &'static str,
        read: impl FnOnce(&str) -> Result<T, Expected>,
    ) -> Option<T> {
        if !self.has(name) {
            return None;
        }
        read(self.text(name)).map_err(|expected| self.refuse(name, expected)).ok()
    }

    /// Puts down that a part is wrong by what else is known.
    pub(super) fn refuse(&mut self, name: &'static str, expected: Expected) {
        let read = self.text(name).to_owned();
        self.refuse_read(name, read, expected);
    }

    fn refuse_read(&mut self, name: &str, read: String, expected: Expected) {
        self.wrong.push(Wrong { name: name.to_owned(), read, expected });
    }

    /// Whether anything is wrong, so that nothing may be looked up.
    pub(super) fn is_refused(&self) -> bool {
        !self.wrong.is_empty()
    }

    /// Whether this part is wrong.
    pub(super) fn is_wrong(&self, name: &str) -> bool {
        self.wrong.iter().any(|wrong| wrong.name == name)
    }

    /// A part as a field of the page shows it, under the label that it has there.
    pub(super) fn field(&self, name: &str, label: &str, language: Language) -> Field {
        let wrong = self.wrong.iter().find(|wrong| wrong.name == name);
        Field { value: self.text(name).to_owned(), fault: wrong.map(|wrong| wrong.say(label, language)) }
    }

    /// What is wrong with the parts that have none of these fields.
    pub(super) fn beside(&self, fields: &[&str], language: Language) -> Vec<String> {
        let others = self.wrong.iter().filter(|wrong| !fields.contains(&wrong.name.as_str()));
        others.map(|wrong| wrong.say(&wrong.name, language)).collect()
    }
}

#[derive(Template)]
#[template(path = "web/form/astray.html", config = ".askama.toml")]
struct AstrayPage<'a> {
    frame: Frame<'a>,
    wrong: Vec<String>,
}

/// Says what is wrong with the address of a page that has no field for any part of it.
pub(super) fn refused(given: &Given, person: &Person, site: &Site, deep: usize) -> Response {
    let language = person.reader.language;
    let title = said(language, "Not understood", "No se entiende");
    let frame = Frame::new(site, person, Tab::None, deep, title);
    let wrong = given.beside(&[], language);
    frame::page(StatusCode::UNPROCESSABLE_ENTITY, AstrayPage { frame, wrong }.render())
}

#[derive(Template)]
#[template(path = "web/form/astray-stranger.html", config = ".askama.toml")]
struct AstrayStrangerPage {
    words: &'static pages::Words,
    title: &'static str,
    style: &'static str,
    stranger: Stranger,
    wrong: Vec<String>,
}

/// The same for somebody who is not known.
pub(super) fn refused_to(given: &Given, stranger: Stranger) -> Response {
    let language = stranger.language;
    let title = said(language, "Not understood", "No se entiende");
    let (words, style, wrong) = (pages::words(language), pages::STYLE, given.beside(&[], language));
    let page = AstrayStrangerPage { words, title, style, stranger, wrong };
    frame::page(StatusCode::UNPROCESSABLE_ENTITY, page.render())
}

/// A day as addresses write it, and in no other of the ways that a day can be written.
pub(super) fn day(text: &str) -> Result<Date, Expected> {
    text.parse().ok().filter(|day: &Date| day.to_string() == text).ok_or(Expected::Day)
}

/// Day and time as addresses write them. One with an offset is refused: the clock is that of the site.
pub(super) fn moment(text: &str) -> Result<DateTime, Expected> {
    let (date, time) = text.split_once('T').ok_or(Expected::Moment)?;
    let clock = time.bytes().all(|byte| byte.is_ascii_digit() || b":.".contains(&byte));
    let time: Time = time.parse().map_err(|_| Expected::Moment)?;
    day(date).ok().filter(|_| clock).map(|date| date.to_datetime(time)).ok_or(Expected::Moment)
}

/// The number of a record.
pub(super) fn record(text: &str) -> Result<u64, Expected> {
    let digits = text.bytes().all(|byte| byte.is_ascii_digit());
    text.parse().ok().filter(|_| digits).ok_or(Expected::Record)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn given(query: &str) -> Given {
        Given::read(&format!("/history?{query}").parse().expect("an address"), &["day", "older"])
    }

    // Own rule, see the head of this file; days are those of the Gregorian calendar, as RFC 3339 writes them.
    #[test]
    fn what_is_wrong_is_said_with_its_name_and_what_is_expected() {
        for (query, english) in [
            ("day=2026-11-26&older=7", None),
            ("day=&older=", None),
            ("", None),
            ("day=2026-02-30", Some("day: «2026-02-30» was read; expected is a day such as 2026-11-26.")),
            (
                "day=2026-11-26T10:00",
                Some("day: «2026-11-26T10:00» was read; expected is a day such as 2026-11-26."),
            ),
            ("older=-1", Some("older: «-1» was read; expected is the number of a record.")),
            ("older=%2B1", Some("older: «+1» was read; expected is the number of a record.")),
            ("older=7&older=8", Some("older: «8» was read; expected is that it is given once.")),
            (
                "dya=2026-11-26",
                Some(
                    "The address gives «dya», which this page does not know; the names that it knows: day, older.",
                ),
            ),
            (
                "=7",
                Some(
                    "The address gives «», which this page does not know; the names that it knows: day, older.",
                ),
            ),
            ("day=%1b%5b2J", Some("day: «\u{fffd}[2J» was read; expected is a day such as 2026-11-26.")),
        ] {
            let mut given = given(query);
            given.take("day", day);
            given.take("older", record);
            assert_eq!(given.beside(&[], Language::English).first().map(String::as_str), english, "{query}");
            assert_eq!(given.is_refused(), english.is_some(), "{query}");
        }
    }

    // RFC 3339 without its offset, as HTML's datetime-local sends it.
    #[test]
    fn a_moment_is_of_the_clock_of_the_site() {
        for (text, fits) in [
            ("2026-11-26T12:40", true),
            ("2026-11-26T12:40:30", true),
            ("2026-11-26", false),
            ("2026-11-26 12:40", false),
            ("2026-11-26T12:40Z", false),
            ("2026-11-26T12:40+05:00", false),
            ("2026-11-26T25:00", false),
            ("2026-02-30T12:40", false),
            ("soon", false),
        ] {
            assert_eq!(moment(text).is_ok(), fits, "{text}");
        }
    }

    #[test]
    fn a_field_shows_what_was_typed_and_its_fault_and_nobody_else_repeats_it() {
        let mut given = given("day=soon");
        assert_eq!(given.take("day", day), None);
        let field = given.field("day", "Día", Language::Spanish);
        assert_eq!(field.value, "soon");
        assert_eq!(field.fault.as_deref(), Some("Día: se leyó «soon»; se espera un día como 2026-11-26."));
        assert!(given.beside(&["day"], Language::Spanish).is_empty());
    }

    #[test]
    fn a_long_part_is_cut_where_it_is_said_again() {
        let mut given = given(&format!("day={}", "9".repeat(500)));
        given.take("day", day);
        let said = given.beside(&[], Language::English).join("");
        assert!(said.contains(&format!("«{}…»", "9".repeat(READ_CHARS_MAX))), "{said}");
    }
}
