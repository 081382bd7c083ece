//! The words of the plots in both languages.

use crate::core::reader::Language;

/// A word or phrase of a plot.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Word {
    Wash,
    Rinse,
    RinseWindow,
    WashTank,
    Limit,
    SettledMinimum,
    Corrected,
    Uncertainty,
    NoData,
    SecondsFromStart,
    TimeOfDay,
    Day,
    MinutesBefore,
    LastMinutes,
    Against,
    Cycles,
    NoCycles,
    Lowest,
    At,
    NoMinimum,
    NotDrawn,
}

#[cfg(test)]
pub(super) const WORDS: [Word; 21] = [
    Word::Wash,
    Word::Rinse,
    Word::RinseWindow,
    Word::WashTank,
    Word::Limit,
    Word::SettledMinimum,
    Word::Corrected,
    Word::Uncertainty,
    Word::NoData,
    Word::SecondsFromStart,
    Word::TimeOfDay,
    Word::Day,
    Word::MinutesBefore,
    Word::LastMinutes,
    Word::Against,
    Word::Cycles,
    Word::NoCycles,
    Word::Lowest,
    Word::At,
    Word::NoMinimum,
    Word::NotDrawn,
];

impl Word {
    pub(super) const fn say(self, language: Language) -> &'static str {
        let (english, spanish) = match self {
            Self::Wash => ("wash", "lavado"),
            Self::Rinse => ("final rinse", "enjuague final"),
            Self::RinseWindow => ("window of the final rinse", "ventana del enjuague final"),
            Self::WashTank => ("wash tank", "tanque de lavado"),
            Self::Limit => ("limit", "límite"),
            Self::SettledMinimum => ("settled minimum", "mínimo estable"),
            Self::Corrected => ("corrected for the probe's delay", "corregido por el retardo de la sonda"),
            Self::Uncertainty => ("limit ± uncertainty", "límite ± incertidumbre"),
            Self::NoData => ("no data", "sin datos"),
            Self::SecondsFromStart => ("seconds since the wash began", "segundos desde el inicio del lavado"),
            Self::TimeOfDay => ("time of day", "hora del día"),
            Self::Day => ("day", "día"),
            Self::MinutesBefore => ("minutes before {time}", "minutos antes de {time}"),
            Self::LastMinutes => ("the last ten minutes", "los últimos diez minutos"),
            Self::Against => ("against", "frente a"),
            Self::Cycles => ("racks", "canastas"),
            Self::NoCycles => ("no rack", "ninguna canasta"),
            Self::Lowest => ("lowest", "mínimo"),
            Self::At => ("at", "a las"),
            Self::NoMinimum => ("no minimum", "sin mínimo"),
            Self::NotDrawn => ("not drawn", "sin dibujar"),
        };
        match language {
            Language::English => english,
            Language::Spanish => spanish,
        }
    }
}
