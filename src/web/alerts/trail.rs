//! The story of an alert, record by record, in the words of the reader.

mod made;

use crate::core::alert::entered::{EnteredChecks, made as made_by};
use crate::core::alert::quantity::{against, of_change, quantity};
use crate::core::alert::words::{digest, who};
use crate::core::alert::{Alert, Condition, Earlier, Occasion, Rack};
use crate::core::counted::Noun;
use crate::core::logbook::Missed;
use crate::core::logbook::words::{found_short, short_of_look};
use crate::core::reader::{Language, Reader, filled};
use crate::core::record::{
    AlertChanged, AlertRaised, Body, Change, CheckKind, Clearing, MissedDue, Notification, Outcome, Record,
};
use crate::core::time::Timestamp;
use crate::web::logbook::words::{amended, heading, of_check_missing};

/// Something that happened.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Happened {
    /// Index of its record.
    pub(super) record: u64,
    /// Index of the record that brought it about, a rack or an entry, and its address.
    pub(super) cause: Option<(u64, String)>,
    /// Address of the entry that this is, where it is one.
    pub(super) entry: Option<String>,
    /// The day, where it is another than that of the one before.
    pub(super) day: Option<String>,
    /// Time of day with the zone.
    pub(super) clock: String,
    /// What happened.
    pub(super) what: String,
    /// What people wrote, or what the other side said.
    pub(super) words: Vec<(&'static str, String)>,
    /// Whether somebody could not be told, or nobody answered.
    pub(super) failed: bool,
    /// How many records are left out before it, in words.
    pub(super) left_out: Option<String>,
}

/// English and Spanish.
type Pair = (&'static str, &'static str);

pub(super) const fn say(language: Language, pair: Pair) -> &'static str {
    match language {
        Language::English => pair.0,
        Language::Spanish => pair.1,
    }
}

/// Records of a story that are shown, of its begin and of its end; those between are left to the history (own choice:
/// nobody reads more on a phone, and an alert can stand open for years).
const BEGIN_SHOWN: usize = 20;
const END_SHOWN: usize = 100;

/// Puts the records of an alert into words, those between of a story that is very long left out.
pub(super) fn told(
    (records, entered): (&[(u64, Record)], &EnteredChecks),
    racks: &[Rack],
    reader: &Reader,
) -> Vec<Happened> {
    let made_by = made_by(records);
    let between = records.len().saturating_sub(BEGIN_SHOWN + END_SHOWN);
    let (begin, rest) = records.split_at(if between > 0 { BEGIN_SHOWN } else { 0 });
    let (mut last, mut all) = (String::new(), Vec::new());
    for (index, record) in begin.iter().chain(rest.iter().skip(between)) {
        let told = if let Body::Amendment(amendment) = &record.body {
            let pair = ("The record it rests on, {of}. {what}", "El asiento en que se basa, {of}. {what}");
            let (of, what) = (amendment.of.to_string(), amended(amendment, reader));
            let what = filled(say(reader.language, pair), &[("of", &of), ("what", &what)]);
            Some((what, Vec::new(), false))
        } else if let Body::Check(check) = &record.body {
            let pair = (
                "Entered while it was open, and FAILED: {what}",
                "Anotado con ella abierta, y NO CUMPLIÓ: {what}",
            );
            let missed = entered.of(*index).map(|(_, judgement)| Missed::of(judgement));
            let what = of_check_missing(check, missed.unwrap_or_default(), reader);
            let what = format!("{what} ({})", check.by());
            Some((filled(say(reader.language, pair), &[("what", &what)]), Vec::new(), true))
        } else if let Body::AlertChanged(changed) = &record.body
            && let Some(kinds) = made_by.get(index).filter(|kinds| !kinds.is_empty())
        {
            Some(made::eased(changed, kinds, entered, reader))
        } else {
            of_at(&record.body, Some(record.recorded), reader)
        };
        let Some((what, words, failed)) = told else { continue };
        let day = reader.day(record.recorded);
        let shown = (day != last).then(|| day.clone());
        last = day;
        let clock = reader.clock_and_zone(record.recorded);
        let cause = record.body.of_alert().and_then(|told| told.cause()).map(|cause| {
            let of = if racks.iter().any(|rack| rack.index == cause) { "cycles" } else { "history/records" };
            (cause, format!("{of}/{cause}"))
        });
        let entry = matches!(record.body, Body::Check(_)).then(|| format!("logbook/entries/{index}"));
        all.push(Happened {
            record: *index,
            cause,
            entry,
            day: shown,
            clock,
            what,
            words,
            failed,
            left_out: None,
        });
    }
    if let Some((end, _)) = begin.last()
        && let Some(next) = all.iter_mut().find(|one| one.record > *end)
    {
        next.left_out = Some(left_out(between, reader.language));
    }
    all
}

fn left_out(between: usize, language: Language) -> String {
    let pair = (
        "… {count} more records between: those of the alert are in the history.",
        "… {count} asientos más entre medias: los de la alerta están en el historial.",
    );
    filled(say(language, pair), &[("count", &between.to_string())])
}

/// What happened, what people wrote about it, and whether somebody could not be told.
type Told = (String, Vec<(&'static str, String)>, bool);

/// Which check was made by a record that eased an alert of overdue ones, and that it failed where it did.
pub(in crate::web) fn eased(
    changed: &AlertChanged,
    kinds: &[CheckKind],
    entered: &EnteredChecks,
    reader: &Reader,
) -> String {
    made::eased(changed, kinds, entered, reader).0
}

/// One record in words; `None` where it is not about an alert.
pub(in crate::web) fn of(body: &Body, reader: &Reader) -> Option<Told> {
    of_at(body, None, reader)
}

/// The same of a record of this instant: what was another day then is told with its day.
fn of_at(body: &Body, recorded: Option<Timestamp>, reader: &Reader) -> Option<Told> {
    let language = reader.language;
    let told = if let Body::AlertRaised(raised) = body {
        (of_raised(raised, reader), Vec::new(), false)
    } else if let Body::AlertChanged(changed) = body {
        let failed = changed.released.is_some()
            || matches!(changed.change, Change::Escalated | Change::EscalationEnded | Change::NobodyToTell);
        (of_changed(changed, recorded, reader), Vec::new(), failed)
    } else if let Body::AlertAcknowledged(taken) = body {
        let pair = ("{by} takes care ({via})", "Se encarga {by} ({via})");
        let via = say(language, via(&taken.via));
        let what = filled(say(language, pair), &[("by", &who(&taken.by, language)), ("via", via)]);
        let note = taken.note.iter().map(|note| (say(language, ("Note", "Nota")), note.clone()));
        (what, note.collect(), false)
    } else if let Body::CorrectiveAction(action) = body {
        let pair = ("Corrective action by {by}", "Acción correctiva de {by}");
        let written = vec![
            (say(language, ("Racks", "Canastas")), action.racks.clone()),
            (say(language, ("Done", "Hecho")), action.done.clone()),
        ];
        // An alert of before any rack has an action for none.
        let covers = action.covers.filter(|racks| *racks > 0).map(|racks| {
            format!(" ({} {})", say(language, ("for", "para")), Noun::Racks.of(racks, language))
        });
        let what = filled(say(language, pair), &[("by", &who(&action.by, language))]);
        (format!("{what}{}", covers.unwrap_or_default()), written, false)
    } else if let Body::AlertCleared(cleared) = body {
        let pair = match cleared.clearing {
            Clearing::Recovered => ("Recovered", "Recuperada"),
            Clearing::Withdrawn => (
                "What raised it was withdrawn or corrected: no rack was in doubt",
                "Se retiró o corrigió lo que la causó: ninguna canasta estaba en duda",
            ),
            Clearing::Lapsed => (
                "Over, not seen good again: its hours ended, or somebody worked on the machine",
                "Terminó sin verse bien otra vez: pasaron sus horas, o se trabajó en la máquina",
            ),
            Clearing::Retired => {
                ("No longer asked for by the configuration", "La configuración ya no la pide")
            }
        };
        let racks = if cleared.clearing == Clearing::Recovered { cleared.racks } else { 0 };
        (with_racks(say(language, pair), racks, language), Vec::new(), false)
    } else if let Body::AlertClosed(closed) = body {
        (with_racks(say(language, ("Closed", "Cerrada")), closed.racks, language), Vec::new(), false)
    } else if let Body::Notification(notification) = body {
        of_notification(notification, reader)
    } else {
        return None;
    };
    Some(told)
}

/// What happened, with how many racks are affected, where any is.
fn with_racks(what: &str, racks: u64, language: Language) -> String {
    if racks == 0 { what.to_owned() } else { format!("{what}; {}", super::words::racks(racks, language)) }
}

/// How somebody took an alert on; other words of the record stay as they are.
fn via(via: &str) -> Pair {
    match via {
        "link" => ("by the link of a message", "por el enlace de un mensaje"),
        "page" => ("on this page", "en esta página"),
        "api" => ("by a program", "por un programa"),
        "action" => ("by writing the corrective action", "al escribir la acción correctiva"),
        _ => ("by command at the gateway", "por orden en el equipo"),
    }
}

fn of_raised(raised: &AlertRaised, reader: &Reader) -> String {
    let raised_word = say(reader.language, ("Raised", "Surge la alerta"));
    let what = match against(raised.condition, raised.measured, raised.limit, reader) {
        Some(measured) => {
            let is_drift = raised.condition == Condition::Drifting;
            let pair = ("smoothed mean of the racks", "media suavizada de las canastas");
            let mean = is_drift.then(|| format!(", {}", say(reader.language, pair)));
            format!("{raised_word}: {measured}{}", mean.unwrap_or_default())
        }
        None if raised.about.is_empty() => raised_word.to_owned(),
        None => {
            let word = |text: &String| subject(raised.condition, text, reader.language);
            let about: Vec<String> = raised.about.iter().map(word).collect();
            format!("{raised_word}: {}", about.join(", "))
        }
    };
    let earlier = raised.earlier.as_ref();
    let more = doubted(earlier, reader).into_iter().chain(beside(earlier, reader.language));
    [what].into_iter().chain(more).collect::<Vec<_>>().join("; ")
}

/// The worst that an alert measured before it recovered, against its limit; `None` while it lasts, where nothing was, and
/// of what was entered wrongly.
pub(super) fn worst(alert: &Alert, reader: &Reader) -> Option<String> {
    let worst = alert.worst.filter(|_| alert.cleared.is_some() && !alert.was_entered_wrongly());
    let word = say(reader.language, ("worst", "lo peor"));
    let told = format!("{word} {}", against(alert.condition, worst, alert.limit, reader)?);
    let other = alert
        .other_side
        .and_then(|(other, limit)| against(alert.condition, Some(other), Some(limit), reader));
    let Some(other) = other else { return Some(told) };
    Some(format!("{told}; {} {other}", say(reader.language, ("on the other side", "por el otro lado"))))
}

/// That racks which had passed are in doubt, and why those.
fn doubted(earlier: Option<&Earlier>, reader: &Reader) -> Option<String> {
    let Earlier { racks, by_probe, .. } = earlier.filter(|earlier| earlier.racks.count > 0)?;
    let (count, language) = (racks.count, reader.language);
    let which = match (by_probe.as_ref().map(|own| own.within_k), language) {
        (None, Language::English) => "washed since the last good test".to_owned(),
        (None, Language::Spanish) => "lavadas desde la última prueba correcta".to_owned(),
        (Some(None), Language::English) => "washed since it last agreed".to_owned(),
        (Some(None), Language::Spanish) => "lavadas desde que coincidió por última vez".to_owned(),
        (Some(Some(within)), Language::English) => format!(
            "washed since it last agreed and less than {} above their limit",
            reader.difference(within)
        ),
        (Some(Some(within)), Language::Spanish) => format!(
            "lavadas desde que coincidió por última vez y a menos de {} sobre su límite",
            reader.difference(within)
        ),
    };
    Some(match (count, language) {
        (1, Language::English) => format!("1 rack that had passed is in doubt ({which})"),
        (1, Language::Spanish) => format!("1 canasta que había pasado está en duda ({which})"),
        (_, Language::English) => format!("{count} racks that had passed are in doubt ({which})"),
        (_, Language::Spanish) => format!("{count} canastas que habían pasado están en duda ({which})"),
    })
}

/// That others are held with them, and why those.
fn beside(earlier: Option<&Earlier>, language: Language) -> Option<String> {
    let count = earlier.map(|earlier| earlier.beside.count).filter(|count| *count > 0)?;
    let pair = (
        "held with them, without a good verdict of their own: {racks}",
        "se apartan con ellas, sin buen resultado propio: {racks}",
    );
    Some(filled(say(language, pair), &[("racks", &Noun::Racks.of(count, language))]))
}

/// A check that is overdue by its heading; a probe, a route or a record as it is named.
pub(in crate::web) fn subject(condition: Condition, text: &str, language: Language) -> String {
    let check = CheckKind::named(text);
    match check.filter(|_| condition == Condition::CheckOverdue) {
        Some(kind) => heading(Some(kind), language).to_owned(),
        None if condition == Condition::SuppliesShort => short_of_look(text, language),
        None => text.to_owned(),
    }
}

/// The checks that are still missing, where it is about checks.
fn still(changed: &AlertChanged, language: Language) -> Option<String> {
    let named = changed.checks()?.into_iter().map(|kind| heading(Some(kind), language));
    Some(named.collect::<Vec<_>>().join(", "))
}

fn of_changed(changed: &AlertChanged, recorded: Option<Timestamp>, reader: &Reader) -> String {
    let pair = match changed.change {
        Change::Grew => ("It became worse", "Empeoró"),
        Change::MissedAgain => ("Missed once more", "Omitido una vez más"),
        Change::Eased if changed.amended.as_ref().is_some_and(|amended| amended.counts.is_some()) => (
            "What it stood on counts no more as it did: {by} corrected it to {counts} (entered first as {was})",
            "Lo que la sostenía ya no vale como valía: {by} lo corrigió a {counts} (anotado primero como {was})",
        ),
        Change::Eased if changed.amended.is_some() => (
            "What it stood on counts no more: {by} withdrew it (entered first as {was})",
            "Lo que la sostenía ya no vale: {by} lo retiró (anotado primero como {was})",
        ),
        Change::Eased if changed.worst.is_some() => (
            "An entry that it stands on was amended: what it measured is counted anew",
            "Se enmendó una anotación que la sostiene: lo que midió se cuenta de nuevo",
        ),
        Change::Eased if changed.checks().is_some() => (
            "One of the checks was made; still missing: {still}",
            "Se hizo uno de los controles; aún faltan: {still}",
        ),
        Change::Eased => {
            ("One thing that it is about is well again", "Una de las cosas de que trata vuelve a estar bien")
        }
        Change::Returned => ("It came back", "Volvió"),
        Change::Escalated => (
            "Nobody answered: whoever is next is told, after the last the first again",
            "Nadie respondió: se avisa a quien sigue, y tras el último otra vez al primero",
        ),
        Change::EscalationEnded => (
            "Nobody had answered by then: every contact had been told as often as configured",
            "Nadie había respondido hasta entonces: se había avisado a todos tantas veces como está configurado",
        ),
        Change::NobodyToTell => {
            ("No contact is on duty for it", "Ningún contacto está de servicio para ella")
        }
        Change::Held => (
            "Its messages are held: somebody works on the machine",
            "Sus mensajes se retienen: alguien trabaja en la máquina",
        ),
    };
    let what = match &changed.amended {
        Some(amended) => {
            let counts = amended.counts.map(|counts| quantity(counts, reader)).unwrap_or_default();
            let (was, by) = (quantity(amended.was, reader), who(&amended.by, reader.language));
            filled(say(reader.language, pair), &[("was", &was), ("by", &by), ("counts", &counts)])
        }
        None => {
            let still = still(changed, reader.language).unwrap_or_default();
            filled(say(reader.language, pair), &[("still", &still)])
        }
    };
    let measured = of_change(changed, reader);
    let racks = (changed.racks > 0).then(|| {
        format!("{}: {}", say(reader.language, ("racks affected", "canastas afectadas")), changed.racks)
    });
    // One without racks grew by the thing that it names last: one more check, one more probe.
    let added = changed.about.last().filter(|_| changed.change == Change::Grew && changed.racks == 0);
    let added = added.map(|text| {
        let word = found_short(&subject(Condition::CheckOverdue, text, reader.language), reader.language);
        format!("{}: {word}", say(reader.language, ("one more", "una cosa más")))
    });
    let earlier = doubted(changed.earlier.as_ref(), reader);
    let beside = beside(changed.earlier.as_ref(), reader.language);
    let missed = changed.missed.map(|missed| due_again(missed, changed.change, recorded, reader));
    let beside: Vec<String> =
        [racks, added, measured, earlier, beside, missed].into_iter().flatten().collect();
    let what = if beside.is_empty() { what } else { format!("{what} ({})", beside.join(", ")) };
    let Some(by) = &changed.released else { return what };
    let pair = (
        ". {by} takes care of it no longer: somebody must take it on anew",
        ". {by} ya no se encarga de ella: alguien tiene que hacerse cargo de nuevo",
    );
    what + &filled(say(reader.language, pair), &[("by", by)])
}

/// When the check was due that was missed; its name where nothing beside it says so.
pub(super) fn due_again(
    missed: MissedDue,
    change: Change,
    recorded: Option<Timestamp>,
    reader: &Reader,
) -> String {
    let pair = ("due {at}", "pendiente desde {at}");
    let at = reader.with_article(reader.near(missed.due, recorded.unwrap_or(missed.due)));
    let due = filled(say(reader.language, pair), &[("at", &at)]);
    if change == Change::Grew {
        return due;
    }
    let what = subject(Condition::CheckOverdue, missed.check.as_str(), reader.language);
    format!("{what}, {due}")
}

fn of_notification(notification: &Notification, reader: &Reader) -> Told {
    let language = reader.language;
    let Notification { contact, route, attempts, .. } = notification;
    let occasion = notification.occasion.map(|occasion| say(language, in_occasion(occasion)).to_owned());
    let occasion = occasion.unwrap_or_else(|| digest(notification, reader));
    let delivered = notification.outcome == Outcome::Delivered;
    let pair = if delivered {
        (
            "{contact} was told by {route}: {occasion} (try {n})",
            "Se avisó a {contact} por {route}: {occasion} (intento {n})",
        )
    } else {
        (
            "{contact} could NOT be told by {route}: {occasion} (given up at try {n})",
            "NO se pudo avisar a {contact} por {route}: {occasion} (se desistió en el intento {n})",
        )
    };
    let values = [
        ("contact", contact.as_str()),
        ("route", &route.to_string()),
        ("occasion", occasion.as_str()),
        ("n", &attempts.to_string()),
    ];
    let said = notification.failure();
    let said = said.iter().map(|why| (say(language, ("Answer", "Respuesta")), why.tell(language)));
    (filled(say(language, pair), &values), said.collect(), !delivered)
}

const fn in_occasion(occasion: Occasion) -> Pair {
    match occasion {
        Occasion::Raised => ("raised", "surgió"),
        Occasion::Grew => ("worse", "empeoró"),
        Occasion::Returned => ("back again", "otra vez"),
        Occasion::Summary => ("still open", "sigue abierta"),
        Occasion::Escalated => ("nobody has answered", "nadie ha respondido"),
        Occasion::Cleared => ("recovered", "recuperada"),
        Occasion::ActionMissing => ("corrective action missing", "falta la acción correctiva"),
        Occasion::Closed => ("closed", "cerrada"),
        Occasion::AfterMaintenance => ("open after maintenance", "abierta tras el mantenimiento"),
        Occasion::Test => ("test", "prueba"),
    }
}

#[cfg(test)]
mod tests;
