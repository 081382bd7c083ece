//! Words of the pages of alerts, English and Spanish side by side.

use crate::core::alert::words::who;
use crate::core::alert::{Alert, Condition, Foreseen, Occasion};
use crate::core::reader::{Language, Reader, filled};
use crate::core::record::Amendment;
use crate::core::time::Timestamp;
use crate::web::frame::said;

/// Words of the pages.
#[derive(Debug)]
pub(super) struct Words {
    pub(super) title: &'static str,
    pub(super) alert: &'static str,
    pub(super) open: &'static str,
    pub(super) none_open: &'static str,
    pub(super) closed: &'static str,
    pub(super) none_closed: &'static str,
    pub(super) older: &'static str,
    pub(super) newest: &'static str,
    pub(super) since: &'static str,
    pub(super) racks: &'static str,
    pub(super) unreadable: &'static str,
    pub(super) uncovered: &'static str,
    pub(super) facts: &'static str,
    pub(super) story: &'static str,
    pub(super) by_hand: &'static str,
    pub(super) all: &'static str,
    pub(super) record: &'static str,
    pub(super) as_of: &'static str,
    pub(super) because_of: &'static str,
    pub(super) enter: &'static str,
    pub(super) its_entry: &'static str,
}

static ENGLISH: Words = Words {
    title: "Alerts",
    alert: "Alert",
    open: "Open",
    none_open: "No alert is open.",
    closed: "Closed",
    none_closed: "None is on record.",
    older: "Older ones",
    newest: "The newest",
    since: "Since",
    racks: "Racks it is about",
    unreadable: "its record cannot be read",
    uncovered: "no corrective action covers it yet",
    facts: "Facts",
    story: "What happened, in order",
    by_hand: "Washing by hand",
    all: "All alerts",
    record: "record",
    as_of: "As it was at {at}. Press «Alerts» for what came since.",
    because_of: "because of record",
    enter: "Enter",
    its_entry: "Its entry",
};

static SPANISH: Words = Words {
    title: "Alertas",
    alert: "Alerta",
    open: "Abiertas",
    none_open: "Ninguna alerta está abierta.",
    closed: "Cerradas",
    none_closed: "Ninguna consta en el registro.",
    older: "Anteriores",
    newest: "Las más recientes",
    since: "Desde",
    racks: "Canastas afectadas",
    unreadable: "su asiento no se puede leer",
    uncovered: "ninguna acción correctiva la abarca aún",
    facts: "Datos",
    story: "Qué ocurrió, en orden",
    by_hand: "Lavado a mano",
    all: "Todas las alertas",
    record: "asiento",
    as_of: "Como estaba a {at}. Pulse «Alertas» para ver lo posterior.",
    because_of: "por el asiento",
    enter: "Anotar",
    its_entry: "Su anotación",
};

/// Words of the pages in one language.
pub(super) const fn words(language: Language) -> &'static Words {
    match language {
        Language::English => &ENGLISH,
        Language::Spanish => &SPANISH,
    }
}

/// How many racks.
pub(in crate::web) fn racks(count: u64, language: Language) -> String {
    match (count, language) {
        (0, Language::English) => "no rack affected".to_owned(),
        (0, Language::Spanish) => "ninguna canasta afectada".to_owned(),
        (1, Language::English) => "1 rack affected".to_owned(),
        (1, Language::Spanish) => "1 canasta afectada".to_owned(),
        (_, Language::English) => format!("{count} racks affected"),
        (_, Language::Spanish) => format!("{count} canastas afectadas"),
    }
}

/// How many racks an alert is about; an early warning judges none.
pub(super) fn affected(alert: &Alert, language: Language) -> String {
    if alert.condition != Condition::Drifting {
        return racks(alert.racks.count, language);
    }
    said(language, "an early warning: it judges no rack", "un aviso temprano: no juzga ninguna canasta")
        .to_owned()
}

/// What somebody may write as done about it.
pub(super) const fn done_example(condition: Condition, language: Language) -> &'static str {
    match condition {
        Condition::Weak => said(
            language,
            "New drum connected, line primed; strip reads 100 ppm",
            "Bidón nuevo conectado, tubo cebado; la tira marca 100 ppm",
        ),
        Condition::Brief => said(
            language,
            "Door kept shut; the next rack ran to its end",
            "Puerta sin abrir; la canasta siguiente llegó al final del ciclo",
        ),
        Condition::WashLow => said(
            language,
            "Tank filled, heater on; the wash reached its temperature",
            "Tanque lleno, calentador encendido; el lavado alcanzó su temperatura",
        ),
        Condition::ThermometerOff => said(
            language,
            "Probe replaced; it agrees with the reference in ice water",
            "Sonda cambiada; coincide con la referencia en agua con hielo",
        ),
        Condition::Unproven | Condition::ProbeFault | Condition::ProbeSilent | Condition::CheckOverdue => {
            said(
                language,
                "Checked by hand; the cause is found and mended",
                "Comprobado a mano; la causa está encontrada y corregida",
            )
        }
        Condition::Cold
        | Condition::RinseHot
        | Condition::Narrow
        | Condition::Drifting
        | Condition::TankCold
        | Condition::CalibrationOverdue
        | Condition::SuppliesShort
        | Condition::RecordDamaged
        | Condition::DiskFilling
        | Condition::ClockUnsynchronised
        | Condition::SeriesBacklog
        | Condition::Undelivered => said(
            language,
            "Heater reset; an empty rack reached the limit",
            "Calentador rearmado; una canasta vacía alcanzó el límite",
        ),
    }
}

/// That an alert is about several days of the reader, with the first and the last; `None` where it is of one.
pub(super) fn days(alert: &Alert, reader: &Reader) -> Option<String> {
    let (first, last) = alert.span();
    let since = alert.begun();
    if [last, since].iter().all(|at| reader.day(*at) == reader.day(first)) {
        return None;
    }
    let phrase = if since <= last {
        said(
            reader.language,
            "It is about several days: it begins on {first}, and its last rack is of {last}.",
            "Abarca varios días: empieza el {first}, y su última canasta es del {last}.",
        )
    } else {
        // Racks of before keep it open, and it came back.
        said(
            reader.language,
            "It is about several days: its first rack is of {first}, its last of {last}, and it came back on {since}.",
            "Abarca varios días: su primera canasta es del {first}, la última del {last}, y volvió el {since}.",
        )
    };
    let [first, last, since] = [first, last, since].map(|at| reader.moment(at));
    Some(filled(phrase, &[("first", &first), ("last", &last), ("since", &since)]))
}

/// Since when it is open as a whole, where what is still missing is so since another time.
pub(super) fn open_since(alert: &Alert, reader: &Reader) -> Option<String> {
    let phrase = said(reader.language, "open since {since}", "abierta desde el {since}");
    alert.open_since().map(|at| filled(phrase, &[("since", &reader.moment(at))]))
}

/// That the list of racks is not all of them.
pub(super) fn more_racks(count: u64, language: Language) -> String {
    match language {
        Language::English => format!("And {count} more: the history has every one."),
        Language::Spanish => format!("Y {count} más: el historial las tiene todas."),
    }
}

/// What is said to whoever wrote a note with which they came too late to take an alert on.
pub(super) fn taken_before(standing: Option<(String, String)>, language: Language) -> String {
    match (standing, language) {
        (Some((by, at)), Language::English) => format!(
            "{by} takes care of it since {at}. Your note is not on record; write it into the logbook as a note."
        ),
        (Some((by, at)), Language::Spanish) => {
            format!("{by} se encarga desde {at}. La nota de usted no consta; anótela en el diario.")
        }
        (None, Language::English) => {
            "The alert closed meanwhile. Your note is not on record; write it into the logbook as a note."
                .to_owned()
        }
        (None, Language::Spanish) => {
            "La alerta se cerró mientras tanto. La nota de usted no consta; anótela en el diario.".to_owned()
        }
    }
}

/// That what happened later is folded.
pub(super) fn folded(count: usize, language: Language) -> String {
    match language {
        Language::English => format!("What happened later ({count})"),
        Language::Spanish => format!("Qué ocurrió después ({count})"),
    }
}

/// That others write the corrective action, for whoever may not.
pub(super) fn tell_them(roles: &str, language: Language) -> String {
    let phrase = said(
        language,
        "Tell somebody who may write the corrective action ({roles}) what happened to the racks: only that closes the alert.",
        "Diga a quien pueda escribir la acción correctiva ({roles}) qué pasó con las canastas: solo eso cierra la alerta.",
    );
    filled(phrase, &[("roles", roles)])
}

/// Who is told next if nobody does anything, and when.
pub(super) fn foreseen(next: &Foreseen, reader: &Reader, now: Timestamp) -> String {
    let (at, names, pair) = match next {
        Foreseen::Told { at, contacts, occasion } => (at, contacts.join(", "), told_next(*occasion)),
        Foreseen::NobodyElse { at } => (
            at,
            String::new(),
            (
                "If nobody takes care by {by}, the calling ends: there is nobody further to tell.",
                "Si nadie se encarga antes {of}, se deja de avisar: no queda nadie más a quien avisar.",
            ),
        ),
        Foreseen::AskedNoMore { at } => (
            at,
            String::new(),
            (
                "If the corrective action is not written by {by}, nobody is asked for it again.",
                "Si la acción correctiva no se escribe antes {of}, no se vuelve a pedir.",
            ),
        ),
        Foreseen::NotBefore { at } => {
            (at, String::new(), ("Nobody is told before {by}.", "No se avisa a nadie antes {of}."))
        }
    };
    let text = if reader.language == Language::English { pair.0 } else { pair.1 };
    let at = reader.near(*at, now);
    let by = reader.with_article(at.clone());
    // «de» and «el» are one word.
    let of = by.strip_prefix("el ").map_or_else(|| format!("de {by}"), |day| format!("del {day}"));
    filled(text, &[("at", &at), ("by", &by), ("of", &of), ("names", &names)])
}

/// That nobody is told next.
pub(super) const fn nobody_else(language: Language) -> &'static str {
    said(
        language,
        "Nobody further is told now. The next message goes out when somebody takes care, or when it recovers.",
        "Ahora no se avisa a nadie más. El próximo mensaje sale cuando alguien se encargue o cuando se recupere.",
    )
}

const fn told_next(occasion: Occasion) -> (&'static str, &'static str) {
    match occasion {
        Occasion::ActionMissing => (
            "Told next if the corrective action is not written: {names} ({at})",
            "Si no se escribe la acción correctiva, se avisa después a: {names} ({at})",
        ),
        Occasion::AfterMaintenance => (
            "Told next, after the work on the machine: {names} ({at})",
            "Tras el trabajo en la máquina se avisa a: {names} ({at})",
        ),
        Occasion::Raised
        | Occasion::Grew
        | Occasion::Returned
        | Occasion::Summary
        | Occasion::Escalated
        | Occasion::Cleared
        | Occasion::Closed
        | Occasion::Test => (
            "Told next if nobody takes care: {names} ({at})",
            "Si nadie se encarga, se avisa después a: {names} ({at})",
        ),
    }
}

/// That somebody, at some time, wrote the corrective action before.
pub(super) fn late(standing: Option<(String, String)>, language: Language) -> String {
    match (standing, language) {
        (Some((by, at)), Language::English) => format!(
            "{by} wrote the corrective action just before you ({at}): read it below. Yours is not on record; what you did beside it goes into the logbook as a note."
        ),
        (Some((by, at)), Language::Spanish) => format!(
            "{by} escribió la acción correctiva justo antes que usted ({at}): léala abajo. La suya no consta; lo que usted hizo además va al diario como nota."
        ),
        (None, Language::English) => {
            "The alert closed meanwhile. Yours is not on record; what you did goes into the logbook as a note.".to_owned()
        }
        (None, Language::Spanish) => {
            "La alerta se cerró mientras tanto. La suya no consta; lo que usted hizo va al diario como nota.".to_owned()
        }
    }
}

/// That the form does not say which racks its page showed.
pub(super) const fn unnumbered(language: Language) -> &'static str {
    match language {
        Language::English => {
            "This page was opened before the gateway was updated. Look at the racks it shows now, and send it again."
        }
        Language::Spanish => {
            "Esta página se abrió antes de actualizar el equipo. Mire las canastas que muestra ahora y envíela otra vez."
        }
    }
}

/// That something is missing from a list.
pub(super) fn damaged(count: usize, language: Language) -> String {
    match language {
        Language::English => {
            format!("Records of alerts that cannot be read: {count}. Run rinseward verify on the ledger.")
        }
        Language::Spanish => {
            format!(
                "Asientos de alertas que no se pueden leer: {count}. Ejecute rinseward verify sobre el registro."
            )
        }
    }
}

/// Who takes care of it.
pub(super) fn standing(alert: &Alert, closed: Option<Timestamp>, reader: &Reader) -> String {
    let (closed_word, taken, waiting, over) = match reader.language {
        Language::English => (
            "Closed",
            "Taken care of by",
            "Nobody takes care of it now.",
            "Nobody need take care of it any more.",
        ),
        Language::Spanish => {
            ("Cerrada", "Se encarga", "Nadie se encarga ahora.", "Ya no hace falta que nadie se encargue.")
        }
    };
    match (closed, &alert.acknowledged) {
        (Some(at), _) => format!("{closed_word} {}", reader.moment(at)),
        (None, Some(answered)) => {
            format!("{taken} {}, {}", who(&answered.by, reader.language), reader.moment(answered.at))
        }
        (None, None) => if alert.wants_somebody() { waiting } else { over }.to_owned(),
    }
}

/// What is still missing before an open alert closes.
pub(super) fn missing(alert: &Alert, closed: Option<Timestamp>, language: Language) -> Option<&'static str> {
    if closed.is_some() {
        return None;
    }
    let (english, spanish) = match (alert.cleared.is_some(), alert.action_missing()) {
        (true, true) if alert.action.is_some() => (
            "It has recovered. It closes once a corrective action covers its later racks too.",
            "Se ha recuperado. Se cierra cuando una acción correctiva abarque también las canastas posteriores.",
        ),
        (false, true) if alert.action.is_some() => (
            "It still lasts, and racks after the corrective action want another.",
            "Sigue, y las canastas posteriores a la acción correctiva necesitan otra.",
        ),
        (true, true) => (
            "It has recovered. It closes once the corrective action is written.",
            "Se ha recuperado. Se cierra cuando esté escrita la acción correctiva.",
        ),
        (true, false) if alert.lapsed => (
            "It is over, and was not seen good again. It closes by itself.",
            "Terminó, y no se vio bien otra vez. Se cierra sola.",
        ),
        (true, false) => (
            "It has recovered, and closes by itself once it stays so.",
            "Se ha recuperado, y se cierra sola si sigue así.",
        ),
        (false, true) => (
            "It still lasts, and the corrective action is not written.",
            "Sigue, y falta escribir la acción correctiva.",
        ),
        (false, false) => ("It still lasts.", "Sigue."),
    };
    Some(match language {
        Language::English => english,
        Language::Spanish => spanish,
    })
}

/// That an entry which an alert rests on counts no more as it was entered, and what was said of it.
pub(super) fn rests_on(record: u64, amendment: &Amendment, reader: &Reader) -> String {
    let phrase = said(
        reader.language,
        "The entry that it rests on (record {record}) counts no more as it was entered. {what}",
        "La anotación en que se apoya (asiento {record}) ya no vale como se anotó. {what}",
    );
    let what = crate::web::logbook::words::amended(amendment, reader);
    filled(phrase, &[("record", &record.to_string()), ("what", &what)])
}
