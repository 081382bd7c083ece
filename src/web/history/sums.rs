//! The span summed up, and early warnings, in words.

use super::asked::address;
use super::lines::{Count, counts, doubted, share, watched};
use super::story::{lasting, put};
use super::words::check_word;
use super::{
    AlertsSummed, DoubtingSummed, Drift, OpenHours, Question, Recovery, Shift, Stood, Sum, Summed, Tally,
    View,
};
use crate::core::alert::words::condition;
use crate::core::counted::Noun;
use crate::core::drift::Learning;
use crate::core::reader::{Language, Reader};
use crate::web::frame::said;

/// The span in words.
pub(super) struct SummedTold {
    pub(super) span: String,
    pub(super) machines: Vec<SumTold>,
    pub(super) gaps: String,
    pub(super) gaps_to: String,
    pub(super) checks: Vec<TallyTold>,
    pub(super) checks_to: String,
    pub(super) missed: String,
    pub(super) missed_to: String,
    pub(super) alerts: String,
    pub(super) alerts_to: String,
    /// How many stood open before; absent where none did.
    pub(super) before: Option<String>,
    /// Those of them that are named, each with its number.
    pub(super) stood: Vec<(u64, String)>,
    /// Alerts that put racks in doubt which had passed, each in words.
    pub(super) doubting: Vec<(u64, String)>,
    pub(super) drift_to: String,
    pub(super) hours: &'static str,
}

/// One machine in words.
pub(super) struct SumTold {
    pub(super) machine: String,
    pub(super) racks: u64,
    pub(super) days: u64,
    /// Racks by verdict, each with the address of their list.
    pub(super) counts: Vec<(Count, String)>,
    /// Racks in doubt, with the address of their list.
    pub(super) doubted: Option<(String, String)>,
    pub(super) passed: String,
    pub(super) lowest: String,
    pub(super) watched: String,
    /// What is to be known beside it.
    pub(super) beside: String,
}

/// Checks of one kind in words.
pub(super) struct TallyTold {
    pub(super) kind: &'static str,
    pub(super) tally: Tally,
    pub(super) failed: &'static str,
    pub(super) done: &'static str,
}

impl TallyTold {
    fn of(tally: &Tally, language: Language) -> Self {
        Self {
            kind: check_word(tally.kind, language),
            tally: *tally,
            failed: match tally.bad {
                1 => said(language, "FAILED", "NO CUMPLE"),
                _ => said(language, "FAILED", "NO CUMPLEN"),
            },
            done: match tally.done {
                1 => said(language, "done (not judged)", "hecho (no se juzga)"),
                _ => said(language, "done (not judged)", "hechos (no se juzgan)"),
            },
        }
    }
}

impl SumTold {
    fn of(sum: &Sum, question: &Question, reader: &Reader) -> Self {
        let language = reader.language;
        let racks = asked(question, View::Racks, Some(&sum.machine));
        let of_verdict = |count: Count| {
            let to = address(&Question { verdict: Some(count.verdict), ..racks.clone() });
            (count, to)
        };
        let in_doubt = || address(&Question { in_doubt: true, ..racks.clone() });
        Self {
            machine: sum.machine.clone(),
            racks: sum.numbers.cycles(),
            days: sum.days,
            counts: counts(&sum.numbers, language).into_iter().map(of_verdict).collect(),
            doubted: doubted(sum.doubted, language).map(|told| (told, in_doubt())),
            passed: share(sum.numbers.pass_rate()),
            lowest: sum.numbers.rinse_min_c.map_or("–".to_owned(), |celsius| reader.temperature(celsius)),
            watched: watched(&sum.watched, reader),
            beside: beside((sum.worked_on, sum.numbers.late, sum.numbers.damaged), language),
        }
    }
}

/// The list of a view in the span that is asked for, of one machine or as asked.
fn asked(question: &Question, view: View, machine: Option<&String>) -> Question {
    Question {
        machine: machine.cloned().or_else(|| question.machine.clone()),
        from: question.from,
        to: question.to,
        ..Question::all(view)
    }
}

pub(super) fn told(summed: &Summed, question: &Question, reader: &Reader) -> SummedTold {
    let language = reader.language;
    let ask = |view| address(&asked(question, view, None));
    let gap_words = (
        "{n}, together {open} of open time; {filled} filled by readings that came late",
        "{n}, en total {open} de horas de apertura; {filled} con lecturas tardías",
    );
    let alert_words = match summed.alerts.raised {
        1 if summed.alerts.open == 1 => {
            ("{n} raised in the span, not closed", "{n} surgida en el período, sin cerrar")
        }
        1 => ("{n} raised in the span, closed", "{n} surgida en el período, cerrada"),
        _ => (
            "{n} raised in the span, {open} of them not closed",
            "{n} surgidas en el período, {open} de ellas sin cerrar",
        ),
    };
    SummedTold {
        span: format!("{} – {}", reader.moment(summed.span.from), reader.moment(summed.span.to)),
        machines: summed.machines.iter().map(|sum| SumTold::of(sum, question, reader)).collect(),
        gaps: put(
            language,
            gap_words,
            &[
                ("n", &Noun::Gaps.of(summed.gaps.count, language)),
                ("open", &lasting(summed.gaps.open_s)),
                ("filled", &summed.gaps.filled.to_string()),
            ],
        ),
        gaps_to: ask(View::Gaps),
        checks: summed.checks.iter().map(|tally| TallyTold::of(tally, language)).collect(),
        checks_to: ask(View::Checks),
        alerts: put(
            language,
            alert_words,
            &[("n", &summed.alerts.raised.to_string()), ("open", &summed.alerts.open.to_string())],
        ),
        alerts_to: ask(View::Alerts),
        before: (summed.alerts.before > 0).then(|| before(&summed.alerts, language)),
        doubting: summed.alerts.doubting.iter().map(|own| (own.alert, doubting(*own, language))).collect(),
        stood: summed.alerts.stood.iter().map(|one| (one.alert, stood(one, reader))).collect(),
        missed: summed.missed.told(language),
        missed_to: ask(View::Missed),
        drift_to: ask(View::Drift),
        hours: hours(summed.hours, language),
    }
}

/// How many alerts stood open when the span began.
fn before(alerts: &AlertsSummed, language: Language) -> String {
    let pair = (
        "Open since before: {n}. None of them is counted above.",
        "Abiertas desde antes: {n}. Ninguna se cuenta arriba.",
    );
    let mut text = put(language, pair, &[("n", &alerts.before.to_string())]);
    let named = alerts.stood.len() as u64;
    if named < alerts.before {
        let pair = (" The oldest {n} of them:", " Las {n} más antiguas:");
        text.push_str(&put(language, pair, &[("n", &named.to_string())]));
    }
    text
}

/// That racks which are counted as passed are in doubt by an alert.
fn doubting(own: DoubtingSummed, language: Language) -> String {
    let DoubtingSummed { alert, inside, all } = own;
    let pair = match inside {
        Some(inside) if inside == all => (
            "Racks counted as passed that are in doubt by alert {alert}: {n}.",
            "Canastas contadas como correctas que están en duda por la alerta {alert}: {n}.",
        ),
        Some(_) => (
            "Racks counted as passed that are in doubt by alert {alert}: {inside} of its {n}; the others are outside the span, or cannot be read.",
            "Canastas contadas como correctas que están en duda por la alerta {alert}: {inside} de sus {n}; las demás quedan fuera del período o no se pueden leer.",
        ),
        None => (
            "Racks that had passed and are in doubt by alert {alert}, those of other days with them: {n}.",
            "Canastas que habían pasado y están en duda por la alerta {alert}, también las de otros días: {n}.",
        ),
    };
    let (inside, all) = (inside.unwrap_or_default().to_string(), all.to_string());
    put(language, pair, &[("alert", &alert.to_string()), ("inside", &inside), ("n", &all)])
}

/// An alert that stood open when the span began.
fn stood(one: &Stood, reader: &Reader) -> String {
    let language = reader.language;
    let until = match one.closed {
        Some(closed) => put(language, ("closed {at}", "cerrada {at}"), &[("at", &reader.moment(closed))]),
        None => said(language, "still open", "sigue abierta").to_owned(),
    };
    let machine = one.machine.as_deref().unwrap_or(said(language, "the whole site", "toda la cocina"));
    let pair = (
        "Alert {n} · {machine} · {what} · raised {at}, {until}",
        "Alerta {n} · {machine} · {what} · surgida {at}, {until}",
    );
    let (number, at) = (one.alert.to_string(), reader.moment(one.raised));
    let what = condition(one.condition, language);
    let values =
        [("n", number.as_str()), ("machine", machine), ("what", what), ("at", &at), ("until", &until)];
    put(language, pair, &values)
}

fn beside((worked_on, late, damaged): (u64, u64, u64), language: Language) -> String {
    let mut beside = Vec::new();
    if worked_on > 0 {
        let pair = (
            "{n} unproven while somebody worked on it",
            "{n} sin comprobar mientras alguien trabajaba en ella",
        );
        beside.push(put(language, pair, &[("n", &worked_on.to_string())]));
    }
    if late > 0 {
        let pair = match late {
            1 => ("{n} recorded late", "{n} registrada tarde"),
            _ => ("{n} recorded late", "{n} registradas tarde"),
        };
        beside.push(put(language, pair, &[("n", &late.to_string())]));
    }
    if damaged > 0 {
        let pair = ("DAMAGED: {n}, in none of these numbers", "DAÑADAS: {n}, en ninguna de estas cifras");
        beside.push(put(language, pair, &[("n", &damaged.to_string())]));
    }
    beside.join("; ")
}

/// What the share of watched time is one of.
const fn hours(hours: OpenHours, language: Language) -> &'static str {
    match hours {
        OpenHours::Opening => said(
            language,
            "Monitored: share of the opening hours in which no probe was missing, since the first record.",
            "Vigilado: parte de las horas de apertura sin que faltara ninguna sonda, desde el primer asiento.",
        ),
        OpenHours::Shifts => said(
            language,
            "Monitored: share of the shifts in which no probe was missing, since the first record.",
            "Vigilado: parte de los turnos sin que faltara ninguna sonda, desde el primer asiento.",
        ),
        OpenHours::Every => said(
            language,
            "Monitored: share of every hour in which no probe was missing, since the first record; the configuration names neither opening hours nor shifts.",
            "Vigilado: parte de todas las horas sin que faltara ninguna sonda, desde el primer asiento; la configuración no nombra horas de apertura ni turnos.",
        ),
    }
}

/// Early warnings of a machine in words.
pub(super) struct DriftTold {
    pub(super) machine: String,
    pub(super) lines: Vec<String>,
    /// Whether it left its usual place.
    pub(super) left: bool,
}

pub(super) fn drift_told(drift: &Drift, reader: &Reader) -> DriftTold {
    let language = reader.language;
    let mut lines = vec![match drift.usual {
        Some(usual) => {
            let spread = format!("{:.2} {}", reader.scale.difference(usual.sigma), reader.scale.symbol());
            let pair = (
                "Usual settled minimum at the end of the span: {level}, standard deviation {spread}.",
                "Mínimo estable habitual al final del período: {level}, desviación típica {spread}.",
            );
            put(language, pair, &[("level", &reader.temperature(usual.mean)), ("spread", &spread)])
        }
        None => learning(drift, reader),
    }];
    // Both charts may see one shift at one rack: it is told once, with when it began.
    let is_again = |shift: &&Shift| {
        shift.since.is_none()
            && drift.shifts.iter().any(|other| other.at == shift.at && other.since.is_some())
    };
    lines.extend(drift.shifts.iter().filter(|shift| !is_again(shift)).map(|shift| shifted(shift, reader)));
    if drift.usual.is_some() && drift.shifts.is_empty() {
        let none = ("No shift was seen.", "No se vio ningún desplazamiento.");
        lines.push(put(language, none, &[]));
    }
    if drift.cold_first > 0 {
        let pair = (
            "Cold racks that were the first after a pause: {n}. The line had cooled; that is no sign of a decline.",
            "Canastas frías que fueron las primeras tras una pausa: {n}. El tubo se había enfriado; no indica deterioro.",
        );
        lines.push(put(language, pair, &[("n", &drift.cold_first.to_string())]));
    }
    if let Some(Recovery { first_s, last_s }) = drift.recovery {
        let pair = (
            "Median time to the limit where rack follows rack: {first} s at the beginning of the span, {last} s at its end.",
            "Mediana del tiempo hasta el límite con canastas seguidas: {first} s al comienzo del período, {last} s al final.",
        );
        let (first, last) = (format!("{first_s:.1}"), format!("{last_s:.1}"));
        lines.push(put(language, pair, &[("first", &first), ("last", &last)]));
    }
    DriftTold { machine: drift.machine.clone(), lines, left: !drift.shifts.is_empty() }
}

/// What is not known yet: since when it is learnt, and how far.
fn learning(drift: &Drift, reader: &Reader) -> String {
    let language = reader.language;
    let since = drift.learning.and_then(|learning| learning.since);
    let begins = match since {
        Some(since) => {
            let pair = (
                "Learning anew since work on the machine ended, {at}",
                "Aprende de nuevo desde que terminó el trabajo en la máquina, {at}",
            );
            put(language, pair, &[("at", &reader.moment(since))])
        }
        None => said(language, "Still learning", "Todavía aprende").to_owned(),
    };
    let learnt = drift.learning.map(|Learning { racks, of, .. }| {
        let pair = (
            ": {racks} of {of} good racks in the middle of work so far",
            ": {racks} de {of} canastas buenas en pleno trabajo hasta ahora",
        );
        put(language, pair, &[("racks", &racks.to_string()), ("of", &of.to_string())])
    });
    let before = said(
        language,
        " What is told below is against what was usual before.",
        " Lo que sigue se compara con lo habitual de antes.",
    );
    let before = if drift.shifts.is_empty() { "" } else { before };
    format!("{begins}{}.{before}", learnt.unwrap_or_default())
}

fn shifted(shift: &Shift, reader: &Reader) -> String {
    let by = reader.difference(shift.by_c);
    let pair = if shift.by_c < 0.0 {
        ("{at}: {by} COLDER than usual{since}.", "{at}: {by} MÁS FRÍO que lo habitual{since}.")
    } else {
        ("{at}: {by} warmer than usual{since}.", "{at}: {by} más caliente que lo habitual{since}.")
    };
    let since = shift.since.map(|since| {
        put(reader.language, ("; it began {at}", "; empezó {at}"), &[("at", &reader.moment(since))])
    });
    let since = since.unwrap_or_default();
    put(reader.language, pair, &[("at", &reader.moment(shift.at)), ("by", &by), ("since", &since)])
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::core::reader::Scale;
    use crate::core::time::Timestamp;

    // Own promise: one is counted as one.
    #[test]
    fn one_rack_beside_is_counted_as_one() {
        assert_eq!(beside((0, 1, 0), Language::Spanish), "1 registrada tarde");
        assert_eq!(beside((0, 2, 0), Language::Spanish), "2 registradas tarde");
        assert_eq!(
            beside((1, 1, 0), Language::English),
            "1 unproven while somebody worked on it; 1 recorded late"
        );
    }

    // Own promise: a machine that left its usual place is not said to have none so far: it learns anew since somebody
    // worked on it.
    #[test]
    fn what_is_learnt_anew_is_not_learnt_for_the_first_time() {
        let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
        let shift = Shift { at: Timestamp::from_micros(0), by_c: -0.6, since: None };
        let anew = "Learning anew since work on the machine ended, Thu 1 Jan 1970, 00:00 UTC: 12 of 50 good racks in the middle of work so far.";
        let since = Some(Timestamp::from_micros(0));
        for (since, shifts, said) in [
            (since, vec![shift], format!("{anew} What is told below is against what was usual before.")),
            (since, Vec::new(), anew.to_owned()),
            (
                None,
                Vec::new(),
                "Still learning: 12 of 50 good racks in the middle of work so far.".to_owned(),
            ),
        ] {
            let machine = "dm1".to_owned();
            let learning = Some(Learning { since, racks: 12, of: 50 });
            let drift = Drift { machine, usual: None, learning, shifts, cold_first: 0, recovery: None };
            let told = drift_told(&drift, &reader);
            assert_eq!(told.lines[0], said);
        }
    }
}
