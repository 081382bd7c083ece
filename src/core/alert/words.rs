//! The words for what an alert is about, in both languages: one list for terminal, paper and message.

use std::borrow::Cow;

use jiff::civil::Date;

use super::condition::Condition;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::verdict;
use crate::core::reader::{Language, Reader, filled, said};
use crate::core::record::Notification;

/// What stands on record between the name of somebody and that of the contact by whose link they acted.
const LINK_OF: &str = " (link of ";

/// Somebody who acted by the link of a contact, under a name of their own: as it stands on record.
#[must_use]
pub fn by_link_of(by: &str, contact: &str) -> String {
    format!("{by}{LINK_OF}{contact})")
}

/// Whoever acted as they stand on record, in the words of the reader.
#[must_use]
pub fn who(by: &str, language: Language) -> Cow<'_, str> {
    let link = by.strip_suffix(')').and_then(|by| by.rsplit_once(LINK_OF));
    match (language, link) {
        (Language::English, _) | (Language::Spanish, None) => Cow::Borrowed(by),
        (Language::Spanish, Some((name, contact))) => Cow::Owned(format!("{name} (enlace de {contact})")),
    }
}

/// Alerts by their numbers, as they stand in a sentence: «alert 7», «alerts 7, 9».
#[must_use]
pub fn numbered(alerts: &[u64], language: Language) -> String {
    let word = match (alerts.len(), language) {
        (1, Language::English) => "alert",
        (1, Language::Spanish) => "la alerta",
        (_, Language::English) => "alerts",
        (_, Language::Spanish) => "las alertas",
    };
    format!("{word} {}", alerts.iter().map(u64::to_string).collect::<Vec<_>>().join(", "))
}

/// Which summary a message was that told of no alert: of which days, where its key says so.
#[must_use]
pub fn digest(notification: &Notification, reader: &Reader) -> String {
    let (pair, first) = match notification.digest() {
        Some((false, day)) => (("summary of {first}", "resumen del {first}"), day),
        Some((true, first)) => {
            (("summary of the week from {first}", "resumen de la semana desde el {first}"), first)
        }
        None => (("summary", "resumen"), ""),
    };
    let first = first.parse::<Date>().map_or_else(|_| first.to_owned(), |day| reader.date(day));
    filled(said(reader.language, pair.0, pair.1), &[("first", &first)])
}

/// A condition as it stands in a table: the word of its racks, where it has theirs, else its own on record.
#[must_use]
pub const fn in_table(condition: Condition, language: Language) -> &'static str {
    if matches!(condition, Condition::Weak) { verdict(Verdict::Weak, language) } else { condition.as_str() }
}

/// What is wrong, as it stands in a sentence.
#[must_use]
pub const fn condition(condition: Condition, language: Language) -> &'static str {
    let (english, spanish) = match condition {
        Condition::Cold => ("final rinse too cold", "enjuague final demasiado frío"),
        Condition::Brief => ("final rinse too short", "enjuague final demasiado corto"),
        Condition::Weak => ("sanitizer outside its range", "desinfectante fuera de su rango"),
        Condition::Unproven => ("racks without proof", "canastas sin comprobación"),
        Condition::WashLow => ("wash too cold", "lavado demasiado frío"),
        Condition::RinseHot => ("final rinse too hot", "enjuague final demasiado caliente"),
        Condition::Narrow => ("final rinse barely at its limit", "enjuague final apenas en su límite"),
        Condition::Drifting => ("final rinse drifting", "el enjuague final se está desviando"),
        Condition::TankCold => ("wash tank not up to temperature", "tanque de lavado aún frío"),
        Condition::ProbeFault => ("probe at fault", "sonda averiada"),
        Condition::ProbeSilent => ("probe silent", "sonda sin señal"),
        Condition::CheckOverdue => ("check overdue", "control atrasado"),
        Condition::CalibrationOverdue => ("calibration overdue", "calibración vencida"),
        Condition::ThermometerOff => ("thermometer off", "termómetro desajustado"),
        Condition::SuppliesShort => ("supplies short", "faltan suministros"),
        Condition::RecordDamaged => ("record of a calibration damaged", "asiento de una calibración dañado"),
        Condition::DiskFilling => ("disk filling up", "disco casi lleno"),
        Condition::ClockUnsynchronised => ("clock not synchronised", "reloj sin sincronizar"),
        Condition::SeriesBacklog => ("time series not written", "serie temporal sin escribir"),
        Condition::Undelivered => ("message not delivered", "mensaje sin entregar"),
    };
    match language {
        Language::English => english,
        Language::Spanish => spanish,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: the name of whoever acted by a link is read in the words of the reader; any other is as it was given.
    #[test]
    fn whoever_acted_by_a_link_is_told_in_the_words_of_the_reader() {
        let by = by_link_of("Max Weber", "duty");
        assert_eq!(who(&by, Language::English), "Max Weber (link of duty)");
        assert_eq!(who(&by, Language::Spanish), "Max Weber (enlace de duty)");
        for name in ["Max Weber", "Max (night)", "Max (link of"] {
            assert_eq!(who(name, Language::Spanish), name);
        }
    }
}
