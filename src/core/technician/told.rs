//! What a probe shows, in words: which way it moves, and where to look for a fault.

use super::gauge::Trend;
use crate::core::reader::{Language, said as say};
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
