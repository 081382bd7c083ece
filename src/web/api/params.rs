//! What a question may say of itself: the parameters of a query, as they are described and read.

use std::collections::BTreeMap;

use axum::extract::Query;
use axum::http::Uri;

use super::problem::Wrong;
use super::{LIMIT, LIMIT_MAX, When};
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::IN_DOUBT;
use crate::core::record::{Body, CheckKind};

/// Longest text of a parameter, in characters.
pub(super) const TEXT_MAX: usize = 100;

/// A parameter of a query.
#[derive(Clone, Copy, Debug)]
pub(super) struct Param {
    pub(super) name: &'static str,
    pub(super) takes: Takes,
    pub(super) must: bool,
    pub(super) about: &'static str,
}

/// What a parameter takes.
#[derive(Clone, Copy, Debug)]
pub(super) enum Takes {
    /// A name or a cursor.
    Text,
    /// A day or an instant.
    When,
    /// Rows of a page.
    Limit,
    /// `true` or `false`.
    Flag,
    /// One of these.
    Word(fn() -> Vec<&'static str>),
    /// Some of these, with commas between.
    Words(fn() -> Vec<&'static str>),
    /// Some names, with commas between.
    Names,
}

const fn param(name: &'static str, takes: Takes, about: &'static str) -> Param {
    Param { name, takes, must: false, about }
}

pub(super) const MACHINE: Param = param("machine", Takes::Text, "Only of this machine.");
pub(super) const MACHINES: Param =
    param("machine", Takes::Names, "Only of these machines, with commas between.");
pub(super) const FROM: Param =
    param("from", Takes::When, "From this instant (RFC 3339), or from the begin of this day of the site.");
pub(super) const TO: Param =
    param("to", Takes::When, "Before this instant (RFC 3339), or until the end of this day of the site.");
pub(super) const VERDICT: Param = param(
    "verdict",
    Takes::Words(verdicts),
    "Only with one of these verdicts, with commas between; in-doubt: those that passed and are in doubt by an alert.",
);
pub(super) const CHECK: Param = param("check", Takes::Word(checks), "Only this kind of check.");
pub(super) const KIND: Param = param("kind", Takes::Words(kinds), "Only these kinds, with commas between.");
pub(super) const STATE: Param = param("state", Takes::Word(states), "Only alerts that stand so.");
pub(super) const ORDER: Param =
    param("order", Takes::Word(orders), "Which come first; the newest where it is not given.");
pub(super) const PAGE_SIZE: Param =
    param("limit", Takes::Limit, "Most rows of one page; 100 where it is not given.");
pub(super) const AFTER: Param =
    param("after", Takes::Text, "Cursor of a page: take the link `next` of the page before as it is.");
pub(super) const FORM: Param = Param {
    must: true,
    ..param(
        "form",
        Takes::Word(forms),
        "csv: the cycles; json: the account; jsonl: every record; evidence: with proofs.",
    )
};
pub(super) const TRACES: Param = param(
    "all-traces",
    Takes::Flag,
    "Evidence only: the readings of every cycle, not only of those that did not plainly pass.",
);

/// The same, to be given.
pub(super) const fn must(param: Param) -> Param {
    Param { must: true, ..param }
}

fn verdicts() -> Vec<&'static str> {
    Verdict::ALL.map(Verdict::as_str).into_iter().chain([IN_DOUBT]).collect()
}

fn checks() -> Vec<&'static str> {
    CheckKind::ALL.map(CheckKind::as_str).to_vec()
}

fn kinds() -> Vec<&'static str> {
    Body::EVENTS.to_vec()
}

fn states() -> Vec<&'static str> {
    vec!["open", "closed"]
}

fn orders() -> Vec<&'static str> {
    vec!["newest-first", "oldest-first"]
}

fn forms() -> Vec<&'static str> {
    vec!["csv", "json", "jsonl", "evidence"]
}

/// The parameters that were given; each is what its [`Takes`] says.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Given(BTreeMap<&'static str, String>);

impl Given {
    /// Reads a query.
    ///
    /// # Errors
    /// Everything that is wrong with it.
    pub(super) fn read(params: &'static [Param], uri: &Uri) -> Result<Self, Vec<Wrong>> {
        let Ok(Query(pairs)) = Query::<Vec<(String, String)>>::try_from_uri(uri) else {
            return Err(vec![Wrong::parameter("", "the query is no list of name=value")]);
        };
        let (mut given, mut wrong) = (BTreeMap::new(), Vec::new());
        for (name, value) in pairs {
            let Some(param) = params.iter().find(|param| param.name == name) else {
                let known: Vec<&str> = params.iter().map(|param| param.name).collect();
                let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
                let name: String = name.chars().take(TEXT_MAX).collect();
                wrong.push(Wrong::parameter(&name, format!("no such parameter; there are: {known}")));
                continue;
            };
            if let Err(detail) = param.takes.check(&value) {
                wrong.push(Wrong::parameter(param.name, detail));
            }
            if given.insert(param.name, value).is_some() {
                wrong.push(Wrong::parameter(param.name, "it was given twice"));
            }
        }
        for param in params.iter().filter(|param| param.must && !given.contains_key(param.name)) {
            wrong.push(Wrong::parameter(param.name, "it must be given"));
        }
        if wrong.is_empty() { Ok(Self(given)) } else { Err(wrong) }
    }

    pub(super) fn text(&self, param: Param) -> Option<&str> {
        self.0.get(param.name).map(String::as_str)
    }

    pub(super) fn when(&self, param: Param) -> Option<When> {
        self.text(param).and_then(when)
    }

    pub(super) fn flag(&self, param: Param) -> bool {
        self.text(param) == Some("true")
    }

    pub(super) fn limit(&self) -> usize {
        self.text(PAGE_SIZE).and_then(|text| text.parse().ok()).unwrap_or(LIMIT)
    }

    /// The words of a list; empty where it was not given.
    pub(super) fn words(&self, param: Param) -> impl Iterator<Item = &str> {
        self.text(param).into_iter().flat_map(|text| text.split(','))
    }
}

impl Takes {
    fn check(self, text: &str) -> Result<(), String> {
        let longest = match self {
            Self::Names => text.split(',').map(|name| name.chars().count()).max().unwrap_or_default(),
            Self::Text => text.chars().count(),
            Self::When | Self::Limit | Self::Flag | Self::Word(_) | Self::Words(_) => 0,
        };
        if longest > TEXT_MAX {
            return Err(format!("it is longer than {TEXT_MAX} characters"));
        }
        match self {
            Self::Text if text.is_empty() => Err("it is empty".to_owned()),
            Self::Names if text.split(',').any(str::is_empty) => Err("a name is empty".to_owned()),
            Self::Text | Self::Names => Ok(()),
            Self::When if when(text).is_some() => Ok(()),
            Self::When => {
                Err("a day such as 2026-11-25, or an instant such as 2026-11-25T14:30:00+01:00".to_owned())
            }
            Self::Limit if text.parse().is_ok_and(|limit| (1..=LIMIT_MAX).contains(&limit)) => Ok(()),
            Self::Limit => Err(format!("a whole number from 1 to {LIMIT_MAX}")),
            Self::Flag if matches!(text, "true" | "false") => Ok(()),
            Self::Flag => Err("true or false".to_owned()),
            Self::Word(known) if known().contains(&text) => Ok(()),
            Self::Word(known) => Err(format!("one of {}", known().join(", "))),
            Self::Words(known) if text.split(',').all(|word| known().contains(&word)) => Ok(()),
            Self::Words(known) => Err(format!("some of {}, with commas between", known().join(", "))),
        }
    }
}

/// An instant also reads as a date; its day must not stand in for it.
fn when(text: &str) -> Option<When> {
    if let Ok(instant) = text.parse() {
        return Some(When::Instant(instant));
    }
    let date = || if text.len() == "2026-11-25".len() { text.parse().ok() } else { None };
    date().map(When::Day)
}
