//! A question as it stands in an address, and the addresses of the questions beside it.

use jiff::ToSpan;
use jiff::civil::Date;
use serde::Deserialize;

use super::{Page, Question, View};
use crate::core::address::escaped;
use crate::core::cycle::verdict::Verdict;
use crate::core::reader::Language;
use crate::core::record::Body;
use crate::web::frame::said;

/// A question as it stands in an address. What makes no sense is as if it had not been asked; the form
/// shows what was.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Asked {
    pub(super) show: String,
    pub(super) machine: String,
    pub(super) from: String,
    pub(super) to: String,
    pub(super) verdict: String,
    pub(super) kind: String,
    pub(super) until: String,
    pub(super) older: String,
    pub(super) newer: String,
}

impl Asked {
    pub(super) fn question(&self) -> Question {
        let page = match (self.older.parse(), self.newer.parse()) {
            (Ok(record), _) => Page::Older(record),
            (_, Ok(record)) => Page::Newer(record),
            _ => Page::Newest,
        };
        Question {
            view: View::ALL.into_iter().find(|view| view.as_str() == self.show).unwrap_or(View::Racks),
            machine: Some(self.machine.clone()).filter(|machine| !machine.is_empty()),
            from: self.from.parse().ok(),
            to: self.to.parse().ok(),
            verdict: Verdict::ALL.into_iter().find(|verdict| verdict.as_str() == self.verdict),
            kind: Body::EVENTS.into_iter().find(|kind| *kind == self.kind),
            until: self.until.parse().ok(),
            page,
        }
    }
}

/// The address of a question, without its page; the names of machines are the only free text in it.
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
    if let Some(verdict) = question.verdict {
        address.push_str(&format!("&verdict={}", verdict.as_str()));
    }
    if let Some(kind) = question.kind {
        address.push_str(&format!("&kind={kind}"));
    }
    address
}

/// A span that is asked for often.
pub(super) struct Quick {
    pub(super) word: &'static str,
    pub(super) address: String,
    pub(super) chosen: bool,
}

/// The spans that are asked for often, with all else of the question as it is.
pub(super) fn quick(question: &Question, today: Date, language: Language) -> Vec<Quick> {
    let back = |days: i64| today.checked_sub(days.days()).unwrap_or(today);
    let month = today.first_of_month();
    let before = month.checked_sub(1.day()).unwrap_or(month);
    let year = today.first_of_year();
    let spans = [
        (said(language, "Today", "Hoy"), Some(today), Some(today)),
        (said(language, "Yesterday", "Ayer"), Some(back(1)), Some(back(1))),
        (said(language, "7 days", "7 días"), Some(back(6)), Some(today)),
        (said(language, "This month", "Este mes"), Some(month), Some(today)),
        (said(language, "Last month", "Mes pasado"), Some(before.first_of_month()), Some(before)),
        (said(language, "This year", "Este año"), Some(year), Some(today)),
        (said(language, "All", "Todo"), None, None),
    ];
    let quick = |(word, from, to)| {
        let chosen = (question.from, question.to) == (from, to);
        let asked = Question { from, to, until: None, page: Page::Newest, ..question.clone() };
        Quick { word, address: address(&asked), chosen }
    };
    spans.into_iter().map(quick).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own rule: what makes no sense in an address was not asked, and stands nowhere in the page.
    #[test]
    fn a_question_without_sense_is_the_plain_one() {
        let asked = Asked { show: "x".to_owned(), from: "2026-13-40".to_owned(), ..Asked::default() };
        let plain = Asked::default().question();
        assert_eq!(asked.question(), plain);
        assert_eq!((plain.view, plain.page), (View::Racks, Page::Newest));
        let both = Asked { older: "5".to_owned(), newer: "7".to_owned(), ..Asked::default() };
        assert_eq!(both.question().page, Page::Older(5));
    }

    // Days of 2026 as the calendar has them; the addresses are our own.
    #[test]
    fn quick_spans_keep_the_rest_of_the_question() {
        let asked = Asked {
            machine: "a&b é".to_owned(),
            verdict: "cold".to_owned(),
            older: "9".to_owned(),
            ..Asked::default()
        };
        let found = quick(&asked.question(), jiff::civil::date(2026, 3, 1), Language::English);
        let of = |word: &str| {
            found.iter().find(|quick| quick.word == word).map(|quick| quick.address.clone()).expect("a span")
        };
        let head = "history?show=racks&machine=a%26b%20%C3%A9";
        assert_eq!(of("7 days"), format!("{head}&from=2026-02-23&to=2026-03-01&verdict=cold"));
        assert_eq!(of("Last month"), format!("{head}&from=2026-02-01&to=2026-02-28&verdict=cold"));
        assert_eq!(of("All"), format!("{head}&verdict=cold"));
        assert_eq!(found.iter().filter(|quick| quick.chosen).count(), 1);
    }
}
