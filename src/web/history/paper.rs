//! Which part of a list a page holds, in words: paper has no way to the pages before and after it.

use jiff::ToSpan;
use jiff::civil::Date;

use super::{DAYS_MAX, Found, HistoryLine, Question};
use crate::core::reader::{Language, Reader, filled, said};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;

/// What stands before and after what a page holds, as far as it was asked for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Beside {
    before: bool,
    after: bool,
}

/// The span that a page holds where more was asked for; `None` where it holds all of it, or nothing.
pub(super) fn part_of(
    found: &Found,
    question: &Question,
    begins: Option<Date>,
    today: Date,
    reader: &Reader,
) -> Option<String> {
    let moments = |mut all: Vec<Timestamp>| {
        all.sort_unstable();
        Some((reader.moment(*all.first()?), reader.moment(*all.last()?)))
    };
    let ((from, to), beside) = match found {
        Found::Lines(page) => (
            moments(page.lines.iter().filter_map(at).collect())?,
            Beside { before: page.older.is_some(), after: page.newer.is_some() },
        ),
        Found::Gaps(page) => (
            moments(page.lines.iter().map(|gap| gap.blank.from).collect())?,
            Beside { before: page.older.is_some(), after: page.newer.is_some() },
        ),
        Found::Days { before, .. } | Found::Missed { before, .. } => {
            let last = question.to.map_or(today, |to| to.min(today));
            let to = question.until.map_or(last, |until| until.min(last));
            let most = to.checked_sub((DAYS_MAX - 1).days()).unwrap_or(to);
            let first = question.from.or(begins).map_or(most, |from| from.max(most));
            let from = before.and_then(|before| before.tomorrow().ok()).unwrap_or(first);
            ((reader.date(from), reader.date(to)), Beside { before: before.is_some(), after: to < last })
        }
        Found::Drift { span, .. } => {
            let span = (*span)?;
            let first = local_date(&reader.zone, span.from)?;
            let asked = question.from.into_iter().chain(begins).max()?;
            let told = (reader.moment(span.from), reader.moment(span.to));
            (told, Beside { before: asked < first, after: false })
        }
        Found::Summary(_) => return None,
    };
    let phrase = phrase(beside, reader.language)?;
    let both = said(reader.language, "{from} to {to}", "{from} a {to}");
    let span = if from == to { from } else { filled(both, &[("from", &from), ("to", &to)]) };
    Some(filled(phrase, &[("span", &span)]))
}

/// When a line was; a damaged one does not say.
fn at(line: &HistoryLine) -> Option<Timestamp> {
    match line {
        HistoryLine::Rack { rack, .. } => Some(rack.at),
        HistoryLine::Record { record, .. } => Some(record.recorded),
        HistoryLine::Damaged(_) => None,
    }
}

const fn phrase(beside: Beside, language: Language) -> Option<&'static str> {
    let (english, spanish) = match (beside.before, beside.after) {
        (false, false) => return None,
        (true, false) => (
            "only {span}: what came before is not on this paper",
            "solo {span}: lo anterior no está en este papel",
        ),
        (false, true) => (
            "only {span}: what came after is not on this paper",
            "solo {span}: lo posterior no está en este papel",
        ),
        (true, true) => (
            "only {span}: what came before and after is not on this paper",
            "solo {span}: lo anterior y lo posterior no está en este papel",
        ),
    };
    Some(said(language, english, spanish))
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use jiff::tz::TimeZone;

    use super::*;
    use crate::core::reader::Scale;
    use crate::web::history::View;

    // Own promise: paper never claims more than it holds.
    #[test]
    fn paper_names_the_days_that_it_holds() {
        let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
        let all = Question::all(View::Days);
        let (begins, today) = (Some(date(2024, 1, 1)), date(2026, 3, 1));
        let told = |question: &Question, before: Option<Date>| {
            let found = Found::Missed { lines: Vec::new(), before };
            part_of(&found, question, begins, today, &reader).unwrap_or_default()
        };
        assert_eq!(
            told(&all, Some(date(2025, 12, 29))),
            "only Tue 30 Dec 2025 to Sun 1 Mar 2026: what came before is not on this paper"
        );
        let older = Question { until: Some(date(2025, 12, 29)), ..all.clone() };
        assert_eq!(
            told(&older, Some(date(2025, 10, 28))),
            "only Wed 29 Oct 2025 to Mon 29 Dec 2025: what came before and after is not on this paper"
        );
        let oldest = Question { until: Some(date(2024, 1, 5)), ..all.clone() };
        assert_eq!(
            told(&oldest, None),
            "only Mon 1 Jan 2024 to Fri 5 Jan 2024: what came after is not on this paper"
        );
        let week = Question { from: Some(date(2026, 2, 20)), to: Some(date(2026, 2, 26)), ..all };
        assert_eq!(told(&week, None), "");
    }
}
