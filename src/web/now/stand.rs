//! How a machine stands: whether it needs somebody, and why, in one line.
//!
//! What its last rack was is one thing; how the machine stands is another. A good rack after a cold one closes no
//! alert, and a good rack of an hour ago says nothing where no reading comes any more.

use std::collections::BTreeSet;

use super::{Data, Glance, GlanceAlert, LastRack};
use crate::core::alert::{Condition, Severity};
use crate::core::counted::Noun;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::in_capitals;
use crate::core::reader::{Language, Reader, filled};
use crate::core::time::Timestamp;
use crate::web::frame::said;

/// How a machine stands, the worst first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Level {
    /// Somebody must do something.
    Bad,
    /// Nothing is wrong for certain, and nothing is shown to be good.
    Doubt,
    /// No rack is on record.
    Nothing,
    /// The last rack passed, its data are of now, and no alert is open.
    Good,
}

impl Level {
    /// The sign before the words.
    pub(super) const fn sign(self) -> &'static str {
        match self {
            Self::Bad => "✗",
            Self::Doubt => "◐",
            Self::Nothing => "–",
            Self::Good => "✓",
        }
    }

    /// The end of the class of whatever shows it.
    pub(super) const fn class(self) -> &'static str {
        match self {
            Self::Bad => "bad",
            Self::Doubt => "doubt",
            Self::Nothing => "nothing",
            Self::Good => "good",
        }
    }
}

/// How a machine stands, and why.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Stand {
    pub(super) level: Level,
    pub(super) said: String,
    /// What follows, and a phone has no room for: when the racks were washed, which the list of alerts says too.
    pub(super) when: String,
    /// Whether it is told of alerts, and not of the last rack or the data.
    pub(super) of_alerts: bool,
}

impl Stand {
    /// All of it.
    pub(super) fn whole(&self) -> String {
        format!("{}{}", self.said, self.when)
    }

    pub(super) fn of(glance: &Glance, reader: &Reader, now: Timestamp) -> Self {
        let language = reader.language;
        let judged = glance.last.as_ref().map(|rack| (rack.verdict, last(rack, language)));
        let plain =
            |level, said: &str| Self { level, said: said.to_owned(), when: String::new(), of_alerts: false };
        if glance.alerts.iter().any(|alert| !alert.is_over()) {
            let (said, when) = alarm(&glance.alerts, reader, now);
            Self { level: Level::Bad, said, when, of_alerts: true }
        } else if let Some(old) = old(glance.data, language) {
            plain(Level::Bad, old)
        } else if let Some((Verdict::Cold | Verdict::Brief | Verdict::Weak, last)) = &judged {
            plain(Level::Bad, last)
        } else if !glance.alerts.is_empty() {
            let over = said(language, "Alert recovered, not closed yet", "Alerta recuperada, aún sin cerrar");
            Self { of_alerts: true, ..plain(Level::Doubt, over) }
        } else {
            match (&glance.last, judged) {
                (Some(LastRack { verdict: Verdict::Pass, in_doubt: false, .. }), _) => {
                    plain(Level::Good, said(language, "Fine: no alert open", "Bien: ninguna alerta abierta"))
                }
                (_, Some((_, last))) => plain(Level::Doubt, &last),
                (_, None) => plain(Level::Nothing, said(language, "No rack yet", "Aún sin canastas")),
            }
        }
    }
}

const fn old(data: Data, language: Language) -> Option<&'static str> {
    match data {
        Data::Live => None,
        Data::Old(_) => {
            Some(said(language, "Old data: not known how it stands", "Datos antiguos: no se sabe cómo está"))
        }
        Data::None => {
            Some(said(language, "No data: not known how it stands", "Sin datos: no se sabe cómo está"))
        }
    }
}

fn last(rack: &LastRack, language: Language) -> String {
    format!(
        "{}: {}",
        said(language, "Last rack", "Última canasta"),
        in_capitals(rack.verdict, rack.in_doubt, language)
    )
}

/// What the first of the alerts asks for, the most pressing; and what follows, when the racks were washed.
fn alarm(alerts: &[GlanceAlert], reader: &Reader, now: Timestamp) -> (String, String) {
    let language = reader.language;
    let open = match (alerts.len(), language) {
        (1, Language::English) => "Alert open".to_owned(),
        (1, Language::Spanish) => "Alerta abierta".to_owned(),
        (count, Language::English) => format!("{count} alerts open"),
        (count, Language::Spanish) => format!("{count} alertas abiertas"),
    };
    // Of every alert, whether the water is right again or not: nobody has said yet what became of them.
    let racks = |alert: &GlanceAlert| {
        let kind = alert.condition;
        let is_unsafe = kind.severity() == Severity::Critical || kind == Condition::ThermometerOff;
        alert.uncovered.filter(|_| is_unsafe).unwrap_or(0)
    };
    let held = distinct(alerts.iter().map(|alert| (racks(alert), alert.named.as_slice())));
    let spans: Option<Vec<_>> =
        alerts.iter().filter(|alert| racks(alert) > 0).map(|alert| alert.washed).collect();
    let whole = spans.and_then(|spans| {
        Some((spans.iter().map(|span| span.0).min()?, spans.iter().map(|span| span.1).max()?))
    });
    let when = whole.map_or(String::new(), |span| format!(", {}", washed(span, reader, now)));
    let what = match alerts.first() {
        Some(_) if held > 0 && alerts.iter().any(|alert| alert.lasts && racks(alert) > 0) => {
            to_wash(held, language)
        }
        Some(_) if held > 0 => {
            let phrase = said(language, "{actions} for {racks}", "{actions} de {racks}");
            let (actions, racks) = (missing(alerts, language), Noun::Racks.of(held, language));
            filled(phrase, &[("actions", &actions), ("racks", &racks)])
        }
        Some(alert) if !alert.lasts => missing(alerts, language),
        Some(alert) => alert.title.clone(),
        None => String::new(),
    };
    (format!("{open}: {what}"), when)
}

/// From when to when racks were washed.
pub(super) fn washed((first, last): (Timestamp, Timestamp), reader: &Reader, now: Timestamp) -> String {
    let is_today = reader.day(first) == reader.day(now) && reader.day(last) == reader.day(now);
    let (from, to) = if is_today {
        (reader.clock(first), reader.clock_and_zone(last))
    } else {
        (reader.moment(first), reader.moment(last))
    };
    if reader.moment(first) == reader.moment(last) {
        // Mostly of one rack, at times of two: a noun fits both.
        return filled(said(reader.language, "washed {to}", "lavado: {to}"), &[("to", &to)]);
    }
    let phrase = said(reader.language, "washed {from} to {to}", "lavadas de {from} a {to}");
    filled(phrase, &[("from", &from), ("to", &to)])
}

/// How many racks several alerts hold, each of which the latest so many of those it names: one that is cold and
/// was washed without sanitizer is one. Those that are not named may be counted by two.
fn distinct<'a>(alerts: impl Iterator<Item = (u64, &'a [u64])>) -> u64 {
    let (mut named, mut more) = (BTreeSet::<u64>::new(), 0);
    for (count, own) in alerts {
        let latest = usize::try_from(count).unwrap_or(usize::MAX).min(own.len());
        named.extend(own.iter().rev().take(latest));
        more += count.saturating_sub(latest as u64);
    }
    named.len() as u64 + more
}

/// That a corrective action is missing, of how many of the alerts.
fn missing(alerts: &[GlanceAlert], language: Language) -> String {
    let count = alerts.iter().filter(|alert| alert.uncovered.is_some()).count();
    match (count, language) {
        (0 | 1, Language::English) => "corrective action missing".to_owned(),
        (0 | 1, Language::Spanish) => "falta la acción correctiva".to_owned(),
        (_, Language::English) => format!("{count} corrective actions missing"),
        (_, Language::Spanish) => format!("faltan {count} acciones correctivas"),
    }
}

fn to_wash(racks: u64, language: Language) -> String {
    let phrase = said(language, "{racks} to wash again", "hay que volver a lavar {racks}");
    filled(phrase, &[("racks", &Noun::Racks.of(racks, language))])
}

#[cfg(test)]
mod tests {
    use super::distinct;

    // Own rule: ware that two alerts hold is washed again once.
    #[test]
    fn a_rack_that_two_alerts_hold_is_one() {
        type Row<'a> = (&'a [(u64, &'a [u64])], u64);
        let rows: [Row<'_>; 6] = [
            (&[], 0),
            (&[(2, &[7, 9])], 2),
            (&[(2, &[7, 9]), (3, &[8, 9, 11])], 4),
            // An action covers the first.
            (&[(1, &[7, 9]), (3, &[7, 8, 9])], 3),
            // Not all are named.
            (&[(50, &[1, 2, 60]), (1, &[60])], 50),
            (&[(0, &[7]), (1, &[])], 1),
        ];
        for (alerts, held) in rows {
            assert_eq!(distinct(alerts.iter().copied()), held, "{alerts:?}");
        }
    }
}
