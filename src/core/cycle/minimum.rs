//! A settled minimum that is on record and that no verdict stands on: what it was, and the words for why not.
//!
//! Whoever shows a rack shows it beside those words, so that pages, paper and pictures say the same of one record.

use super::verdict::Reason;
use crate::core::reader::{Language, Reader};
use crate::core::record::Cycle;

/// Why a settled minimum was not judged.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Because {
    WorkedOn,
    AtFault,
    InDoubt,
}

/// A settled minimum that was not judged.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Unjudged {
    /// What was shown, °C: corrected for the probe's delay where that is on file.
    pub celsius: f64,
    because: Because,
}

impl Unjudged {
    /// That of a rack; absent where its minimum was judged, and where none is on record.
    #[must_use]
    pub fn of(cycle: &Cycle) -> Option<Self> {
        if cycle.rinse_min_c.is_some() {
            return None;
        }
        let celsius = cycle.rinse_min_corrected_c.or(cycle.rinse_min_raw_c)?;
        let at_fault = |reason: &Reason| matches!(reason, Reason::RinseProbe { .. });
        let because = if cycle.is_worked_on() {
            Because::WorkedOn
        } else if cycle.reasons.iter().any(at_fault) {
            Because::AtFault
        } else {
            Because::InDoubt
        };
        Some(Self { celsius, because })
    }

    /// That it was not judged, and why.
    #[must_use]
    pub const fn word(self, language: Language) -> &'static str {
        match (self.because, language) {
            (Because::WorkedOn, Language::English) => "not judged (worked on)",
            (Because::WorkedOn, Language::Spanish) => "no evaluado (en trabajos)",
            (Because::AtFault, Language::English) => "not judged (probe at fault)",
            (Because::AtFault, Language::Spanish) => "no evaluado (sonda con fallo)",
            (Because::InDoubt, Language::English) => "not judged (in doubt)",
            (Because::InDoubt, Language::Spanish) => "no evaluado (en duda)",
        }
    }
}

/// A settled minimum against its limit, without their unit: judged, or not judged with the word for it, or «–».
#[must_use]
pub fn against(
    settled_c: Option<f64>,
    unjudged: Option<Unjudged>,
    limit_c: f64,
    reader: &Reader,
) -> (String, String, Option<&'static str>) {
    let beside = unjudged.filter(|_| settled_c.is_none());
    let (settled, limit) = match settled_c.or(beside.map(|unjudged| unjudged.celsius)) {
        Some(settled_c) => reader.pair(settled_c, limit_c),
        None => ("–".to_owned(), format!("{:.1}", reader.scale.temperature(limit_c))),
    };
    (settled, limit, beside.map(|unjudged| unjudged.word(reader.language)))
}
