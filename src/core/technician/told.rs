//! What a probe shows, in words: which way it moves, how old it is, and where to look for a fault.

use std::fmt;
use std::time::Duration;

use super::gauge::Trend;
use crate::core::presence::Recency;
use crate::core::reader::{Language, filled, said as say};
use crate::core::reading::Fault;

/// Arrow and word.
#[must_use]
pub const fn trend(language: Language, trend: Trend) -> &'static str {
    match trend {
        Trend::Steady => say(language, "→ steady", "→ estable"),
        Trend::Rising => say(language, "↑ rising", "↑ sube"),
        Trend::RisingFast => say(language, "⇑ rising fast", "⇑ sube deprisa"),
        Trend::Falling => say(language, "↓ falling", "↓ baja"),
        Trend::FallingFast => say(language, "⇓ falling fast", "⇓ baja deprisa"),
    }
}

/// That the newest value of a probe tells nothing of now, and how old it is.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Old {
    /// What it is; this holds also when time has gone on.
    pub what: &'static str,
    /// How old it is, as that follows it.
    pub age: String,
}

impl fmt::Display for Old {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.what, self.age)
    }
}

/// Whether and how the newest value of a probe is old; `None` where it counts. `valued`: whether there is a value to
/// be seen beside it.
#[must_use]
pub fn old(language: Language, recency: Recency, valued: bool) -> Option<Old> {
    let (what, phrase, age) = match recency {
        Recency::Now | Recency::Aged(_) => return None,
        Recency::Late(age) => (
            say(language, "OLD, and sent late", "ANTIGUA, y enviada tarde"),
            say(language, ": measured {ago}", ": medida {ago}"),
            age,
        ),
        Recency::Silent(age) if valued => (
            say(language, "SILENT: this was its last value", "EN SILENCIO: este fue su último valor"),
            ", {ago}",
            age,
        ),
        Recency::Silent(age) => (
            say(language, "SILENT", "EN SILENCIO"),
            say(language, ": last heard {ago}", ": última noticia {ago}"),
            age,
        ),
    };
    Some(Old { what, age: filled(phrase, &[("ago", &ago(age, language))]) })
}

/// How old a value is that is shown with its age; `None` for every other.
#[must_use]
pub fn aged(language: Language, recency: Recency) -> Option<String> {
    match recency {
        Recency::Aged(age) => Some(format!("{} {}", say(language, "measured", "medida"), ago(age, language))),
        Recency::Now | Recency::Late(_) | Recency::Silent(_) => None,
    }
}

/// Until then the minutes are told with the hours: half an hour of two is a quarter of them (own choice).
const MINUTES_MAX_S: u64 = 6 * 3_600;

/// How long ago, in the coarsest unit that still helps.
#[must_use]
pub fn ago(time: Duration, language: Language) -> String {
    let seconds = time.as_secs();
    let (number, english, spanish) = match seconds {
        0..=89 => (seconds, "s", "s"),
        90..=5_399 => ((seconds + 30) / 60, "min", "min"),
        5_400..MINUTES_MAX_S => {
            let minutes = (seconds + 30) / 60;
            let (hours, minutes) = (minutes / 60, minutes % 60);
            let minutes = if minutes == 0 { String::new() } else { format!(" {minutes} min") };
            return match language {
                Language::English => format!("{hours} h{minutes} ago"),
                Language::Spanish => format!("hace {hours} h{minutes}"),
            };
        }
        MINUTES_MAX_S..=172_799 => ((seconds + 1_800) / 3_600, "h", "h"),
        _ => ((seconds + 43_200) / 86_400, "days", "días"),
    };
    match language {
        Language::English => format!("{number} {english} ago"),
        Language::Spanish => format!("hace {number} {spanish}"),
    }
}

/// A fault in words, with where to look.
#[must_use]
pub const fn fault(language: Language, fault: Fault) -> &'static str {
    match fault {
        Fault::OpenCircuit => say(
            language,
            "BROKEN WIRE: a lead is off, or its tip is burnt",
            "HILO ROTO: un cable suelto, o punta quemada",
        ),
        Fault::Short => say(
            language,
            "SHORT CIRCUIT: the leads touch before the tip",
            "CORTOCIRCUITO: los cables se tocan antes",
        ),
        Fault::Reversed => say(language, "LEADS EXCHANGED: swap + and −", "CABLES INVERTIDOS: cambie + y −"),
        Fault::OutOfRange => say(
            language,
            "OUT OF RANGE: wrong type set, or no water is so",
            "FUERA DE RANGO: tipo equivocado, o no es agua",
        ),
        Fault::Stuck => say(
            language,
            "STUCK: the same digits for too long",
            "INMÓVIL: las mismas cifras demasiado tiempo",
        ),
        Fault::Silent => say(language, "SILENT", "NO ENVÍA NADA"),
        Fault::NoColdJunction => say(
            language,
            "NO COLD JUNCTION: its terminals are not read",
            "SIN UNIÓN FRÍA: no se leen sus bornes",
        ),
        Fault::Reported => say(
            language,
            "FAULT told by the source, or no number",
            "FALLO dado por la fuente, o no es un número",
        ),
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    // Own promise: hours lose no half hour while that is much of them, alike in both languages.
    #[test]
    fn an_age_keeps_its_minutes_for_some_hours() {
        for (seconds, english, spanish) in [
            (89, "89 s ago", "hace 89 s"),
            (90, "2 min ago", "hace 2 min"),
            (86 * 60, "86 min ago", "hace 86 min"),
            (92 * 60, "1 h 32 min ago", "hace 1 h 32 min"),
            (2 * 3_600 - 20, "2 h ago", "hace 2 h"),
            (6 * 3_600 - 1, "6 h ago", "hace 6 h"),
            (6 * 3_600, "6 h ago", "hace 6 h"),
            (47 * 3_600, "47 h ago", "hace 47 h"),
            (50 * 3_600, "2 days ago", "hace 2 días"),
        ] {
            let age = Duration::from_secs(seconds);
            assert_eq!(ago(age, Language::English), english);
            assert_eq!(ago(age, Language::Spanish), spanish);
        }
    }
}
