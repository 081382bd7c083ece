//! A question as it stands in an address, and the addresses of the questions beside it.
//!
//! | part | says | with |
//! |---|---|---|
//! | `show` | what is looked at; racks where it is not given | |
//! | `machine` | one machine | |
//! | `from`, `to` | first and last day | |
//! | `verdict` | one verdict, or that they passed and are in doubt | racks |
//! | `alert` | one alert | racks, records |
//! | `kind` | one kind | records |
//! | `older`, `newer` | goes on from this record, of a gap of a probe with `/` and that probe behind it | lists |
//! | `until` | goes on from this day | days, missed checks |
//!
//! Whatever else stands there is refused, see [`query`].

use axum::http::Uri;
use jiff::ToSpan;
use jiff::civil::Date;

use super::{Page, Question, View};
use crate::core::address::escaped;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::IN_DOUBT;
use crate::core::reader::Language;
use crate::core::record::Body;
use crate::web::frame::said;
use crate::web::query::{self, Expected, Given};

/// Every part of a question.
const PARTS: [&str; 10] =
    ["show", "machine", "from", "to", "verdict", "alert", "kind", "until", "older", "newer"];

/// What was asked.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Asked {
    /// As far as it was understood: the whole question where nothing is refused.
    pub(super) question: Question,
    /// As it was given, with what is refused of it.
    pub(super) given: Given,
}

impl Asked {
    /// Reads an address. `machines` are those that are known; a page of days ends no later than `today`.
    pub(super) fn read(uri: &Uri, machines: &[String], today: Date) -> Self {
        let mut given = Given::read(uri, &PARTS);
        let view = given.take("show", |text| one_of(View::ALL, View::as_str, text));
        let machine = given.take("machine", |text| {
            let known = machines.iter().find(|known| *known == text);
            known.cloned().ok_or_else(|| Expected::OneOf(machines.to_vec()))
        });
        let (from, to) = (given.take("from", query::day), given.take("to", query::day));
        if let Some(from) = from.filter(|from| to.is_some_and(|to| to < *from)) {
            given.refuse("to", Expected::DayFrom(from));
        }
        let verdict = given.take("verdict", |text| {
            let verdicts = Verdict::ALL.into_iter().map(Some).chain([None]);
            one_of(verdicts, |verdict| verdict.map_or(IN_DOUBT, Verdict::as_str), text)
        });
        let (in_doubt, verdict) = (verdict == Some(None), verdict.flatten());
        let alert = given.take("alert", query::record);
        let kind = given.take("kind", |text| one_of(Body::EVENTS, |kind| kind, text));
        let last = to.map_or(today, |to| to.min(today));
        let until = given.take("until", |text| match query::day(text)? {
            until if until > last => Err(Expected::DayUntil(last)),
            until => from.filter(|from| until < *from).map_or(Ok(until), |from| Err(Expected::DayFrom(from))),
        });
        let of_gaps = view == Some(View::Gaps);
        let neighbour = |text: &str| neighbour(text, of_gaps);
        let (older, newer) = (given.take("older", neighbour), given.take("newer", neighbour));
        if given.has("older") && given.has("newer") {
            given.refuse("newer", Expected::Without("older"));
        }
        // What is looked at is not known where that part is wrong itself.
        if view.is_some() || !given.has("show") {
            fitting(view.unwrap_or(View::Racks), &mut given);
        }
        let (page, probe) = match (older, newer) {
            (Some((record, probe)), _) => (Page::Older(record), probe),
            (None, Some((record, probe))) => (Page::Newer(record), probe),
            (None, None) => (Page::Newest, None),
        };
        let view = view.unwrap_or(View::Racks);
        let question =
            Question { view, machine, from, to, verdict, in_doubt, alert, kind, until, page, probe };
        Self { question, given }
    }

    /// Puts down that no list of this kind holds the record that the page was to go on from.
    pub(super) fn astray(&mut self) {
        let name = if self.given.has("older") { "older" } else { "newer" };
        self.given.refuse(name, Expected::Listed);
    }
}

/// The record that a page goes on from, and the probe of the gap that is meant where it tells of gaps.
fn neighbour(text: &str, of_gaps: bool) -> Result<(u64, Option<String>), Expected> {
    let (record, probe) = match text.split_once('/') {
        Some((record, probe)) if of_gaps => (record, Some(probe.to_owned())),
        Some(_) | None => (text, None),
    };
    Ok((query::record(record)?, probe))
}

/// The part of an address by which a page goes on from a gap.
pub(super) fn from_gap(record: u64, probe: Option<&str>) -> String {
    probe.map_or_else(|| record.to_string(), |probe| escaped(&format!("{record}/{probe}")))
}

/// The one that is named so.
fn one_of<T: Copy>(
    all: impl IntoIterator<Item = T>,
    name: impl Fn(T) -> &'static str,
    text: &str,
) -> Result<T, Expected> {
    let all: Vec<T> = all.into_iter().collect();
    let found = all.iter().copied().find(|one| name(*one) == text);
    found.ok_or_else(|| Expected::OneOf(all.into_iter().map(|one| name(one).to_owned()).collect()))
}

/// Refuses what says nothing to what is looked at: it would be passed over in silence.
fn fitting(view: View, given: &mut Given) {
    for (part, views) in [
        ("verdict", &[View::Racks] as &[View]),
        ("alert", &[View::Racks, View::Records]),
        ("kind", &[View::Records]),
        ("until", &[View::Days, View::Missed]),
        ("older", &View::LISTS),
        ("newer", &View::LISTS),
    ] {
        if given.has(part) && !views.contains(&view) {
            given.refuse(part, Expected::Beside("show", views.iter().map(|view| view.as_str()).collect()));
        }
    }
}

/// The address of a question, without its page and without what says nothing to what is looked at; the names of
/// machines are the only free text in it.
pub(super) fn address(question: &Question) -> String {
    let mut address = format!("history?show={}", question.view.as_str());
    if let Some(machine) = &question.machine {
        address.push_str("&machine=");
        address.push_str(&escaped(machine));
    }
    for (name, day) in [("from", question.from), ("to", question.to)] {
        if let Some(day) = day {
            address.push_str(&format!("&{name}={day}"));
        }
    }
    if question.view == View::Racks {
        let doubted = question.in_doubt.then_some(IN_DOUBT);
        if let Some(verdict) = question.verdict.map(Verdict::as_str).or(doubted) {
            address.push_str(&format!("&verdict={verdict}"));
        }
    }
    if let Some(alert) = question.alert.filter(|_| matches!(question.view, View::Racks | View::Records)) {
        address.push_str(&format!("&alert={alert}"));
    }
    if let Some(kind) = question.kind.filter(|_| question.view == View::Records) {
        address.push_str(&format!("&kind={kind}"));
    }
    address
}

/// A span that is asked for often.
pub(super) struct Quick {
    pub(super) word: &'static str,
    pub(super) address: String,
    pub(super) chosen: bool,
    /// Whether it is one of those that are asked for first.
    pub(super) first: bool,
}

/// The spans that are asked for often, with all else of the question as it is.
pub(super) fn quick(question: &Question, today: Date, language: Language) -> Vec<Quick> {
    let back = |days: i64| today.checked_sub(days.days()).unwrap_or(today);
    let month = today.first_of_month();
    let before = month.checked_sub(1.day()).unwrap_or(month);
    let year = today.first_of_year();
    // A week begins on Monday (ISO 8601).
    let week = back(i64::from(today.weekday().to_monday_zero_offset()));
    let spans = [
        (true, said(language, "Today", "Hoy"), Some(today), Some(today)),
        (true, said(language, "This week", "Esta semana"), Some(week), Some(today)),
        (true, said(language, "Last 30 days", "Últimos 30 días"), Some(back(29)), Some(today)),
        (true, said(language, "All", "Todo"), None, None),
        (false, said(language, "Yesterday", "Ayer"), Some(back(1)), Some(back(1))),
        (false, said(language, "Last 7 days", "Últimos 7 días"), Some(back(6)), Some(today)),
        (false, said(language, "This month", "Este mes"), Some(month), Some(today)),
        (false, said(language, "Last month", "Mes pasado"), Some(before.first_of_month()), Some(before)),
        (false, said(language, "This year", "Este año"), Some(year), Some(today)),
    ];
    let quick = |(first, word, from, to)| {
        let chosen = (question.from, question.to) == (from, to);
        let asked = Question { from, to, until: None, page: Page::Newest, probe: None, ..question.clone() };
        Quick { word, address: address(&asked), chosen, first }
    };
    spans.into_iter().map(quick).collect()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn read(query: &str) -> Asked {
        let machines = ["dm1".to_owned(), "a&b é".to_owned()];
        let uri = format!("/history?{query}").parse().expect("an address");
        Asked::read(&uri, &machines, date(2026, 3, 1))
    }

    // Own rule: what is not understood is refused with its name, and nothing is asked in its stead.
    #[test]
    fn what_is_not_understood_is_refused() {
        for (query, refused) in [
            ("", None),
            ("show=racks&machine=&from=&to=&verdict=", None),
            ("machine=dm1&verdict=cold&older=0", None),
            ("from=2026-02-28&to=2026-02-28", None),
            ("show=days&until=2026-03-01", None),
            ("show=gaps&newer=7", None),
            ("from=2999-01-01", None),
            ("show=bogus", Some("show")),
            ("show=Racks", Some("show")),
            ("verdict=bogus", Some("verdict")),
            ("show=days&verdict=cold", Some("verdict")),
            ("verdict=in-doubt&alert=12", None),
            ("show=records&alert=12&kind=notification", None),
            ("show=days&alert=12", Some("alert")),
            ("alert=x", Some("alert")),
            ("show=records&kind=cycle", Some("kind")),
            ("kind=check", Some("kind")),
            ("machine=dm9", Some("machine")),
            ("machine=DM1", Some("machine")),
            ("from=2026-13-40", Some("from")),
            ("from=26.11.2026", Some("from")),
            ("to=2026-02-30", Some("to")),
            ("to=2026-02-28T10:00", Some("to")),
            ("from=2026-02-28&to=2026-02-27", Some("to")),
            ("show=days&until=x", Some("until")),
            ("show=days&until=2026-03-02", Some("until")),
            ("show=days&to=2026-02-01&until=2026-02-02", Some("until")),
            ("show=days&from=2026-02-01&until=2026-01-31", Some("until")),
            ("until=2026-02-01", Some("until")),
            ("older=x", Some("older")),
            ("older=-1", Some("older")),
            ("older=99999999999999999999", Some("older")),
            ("show=summary&older=3", Some("older")),
            ("older=3&newer=5", Some("newer")),
            ("verdict=cold&verdict=pass", Some("verdict")),
            ("verdcit=cold", Some("The address gives «verdcit»")),
        ] {
            let asked = read(query);
            let said = asked.given.beside(&[], Language::English);
            let name = said.first().and_then(|said| said.split_once([':', ','])).map(|(name, _)| name);
            assert_eq!((name, said.len()), (refused, usize::from(refused.is_some())), "{query}: {said:?}");
        }
    }

    #[test]
    fn a_page_is_asked_for_by_its_neighbour() {
        assert_eq!(read("older=5").question.page, Page::Older(5));
        assert_eq!(read("newer=7").question.page, Page::Newer(7));
        assert_eq!(read("").question.page, Page::Newest);
    }

    // Own rule: a record that tells of several gaps is no place to go on from without the probe of one.
    #[test]
    fn a_page_of_gaps_is_asked_for_by_record_and_probe() {
        for probe in [Some("dm1/rinse"), Some("a&b é/rinse"), None] {
            let part = from_gap(7, probe);
            let question = read(&format!("show=gaps&newer={part}")).question;
            assert_eq!((question.page, question.probe.as_deref()), (Page::Newer(7), probe), "{part}");
        }
        for query in ["older=7/dm1/rinse", "show=checks&older=7/dm1/rinse", "show=gaps&older=x/dm1/rinse"] {
            let asked = read(query);
            assert!(asked.given.is_wrong("older") && asked.question.probe.is_none(), "{query}");
        }
    }

    // Days of 2026 as the calendar has them; the addresses are our own.
    #[test]
    fn quick_spans_keep_the_rest_of_the_question() {
        let asked = read("machine=a%26b%20%C3%A9&verdict=cold&older=9");
        let found = quick(&asked.question, date(2026, 3, 1), Language::English);
        let of = |word: &str| {
            found.iter().find(|quick| quick.word == word).map(|quick| quick.address.clone()).expect("a span")
        };
        let head = "history?show=racks&machine=a%26b%20%C3%A9";
        assert_eq!(of("Last 7 days"), format!("{head}&from=2026-02-23&to=2026-03-01&verdict=cold"));
        assert_eq!(of("Last 30 days"), format!("{head}&from=2026-01-31&to=2026-03-01&verdict=cold"));
        // A Sunday, the last day of its week (ISO 8601).
        assert_eq!(of("This week"), format!("{head}&from=2026-02-23&to=2026-03-01&verdict=cold"));
        assert_eq!(of("Last month"), format!("{head}&from=2026-02-01&to=2026-02-28&verdict=cold"));
        assert_eq!(of("All"), format!("{head}&verdict=cold"));
        assert_eq!(found.iter().filter(|quick| quick.chosen).count(), 1);
    }

    // Own rule: every address that a page leads to is one that it answers.
    #[test]
    fn an_address_of_ours_is_never_refused() {
        for query in ["verdict=cold&from=2026-02-01", "verdict=in-doubt", "alert=12", "alert=12&verdict=cold"]
        {
            let asked = read(query);
            for view in View::ALL {
                for kind in [None, Some("check")] {
                    let other = Question { view, kind, ..asked.question.clone() };
                    let again = read(address(&other).trim_start_matches("history?"));
                    assert!(!again.given.is_refused(), "{:?}", again.given);
                    if view == View::Racks {
                        let racks =
                            |question: &Question| (question.verdict, question.in_doubt, question.alert);
                        assert_eq!(racks(&again.question), racks(&asked.question), "{query}");
                    }
                }
            }
        }
    }
}
