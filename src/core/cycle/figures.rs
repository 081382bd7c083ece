//! What stands beside the verdict of a rack: its settled minimum against the limit, and a sanitizer outside its range.
//!
//! Pages tell it in one form, so that a weak rack is never told by its temperature alone, which may be fine.

use super::minimum::{Unjudged, against};
use super::plate::Sanitizing;
use super::strength::OffRange;
use crate::core::reader::{Language, Reader, filled};
use crate::core::record::Cycle;
use crate::core::sanitizer::bound::Bound;
use crate::core::sanitizer::{CHLORINE_MIN_MG_PER_L, shown};
use crate::core::time::Timestamp;

/// The figures of a rack.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Figures {
    /// Settled minimum that was judged, °C.
    pub settled_c: Option<f64>,
    /// One that was not.
    pub unjudged: Option<Unjudged>,
    /// The limit it was judged by, °C.
    pub limit_c: f64,
    /// The strength of the sanitizer, where it was outside its range.
    pub off_range: Option<OffRange>,
}

impl Figures {
    /// As the record of a rack says.
    #[must_use]
    pub fn of(cycle: &Cycle) -> Self {
        Self {
            settled_c: cycle.rinse_min_c,
            unjudged: Unjudged::of(cycle),
            limit_c: cycle.limit_c,
            off_range: OffRange::of(cycle),
        }
    }

    /// The sanitizer first where it is outside its range, then the minimum against its limit; «–» where none is on record.
    #[must_use]
    pub fn told(&self, reader: &Reader) -> String {
        let off_range =
            self.off_range.map(|off| format!("{}; ", off.told(reader.language))).unwrap_or_default();
        format!("{off_range}{}", self.rinse(reader))
    }

    /// The minimum against its limit alone.
    #[must_use]
    pub fn rinse(&self, reader: &Reader) -> String {
        let (settled, limit, beside) = against(self.settled_c, self.unjudged, self.limit_c, reader);
        let symbol = reader.scale.symbol();
        let unit = match self.settled_c.or(self.unjudged.map(|unjudged| unjudged.celsius)) {
            Some(_) => format!(" {symbol}"),
            None => String::new(),
        };
        let beside = beside.map(|word| format!(", {word}")).unwrap_or_default();
        let bound = match reader.language {
            Language::English => "limit",
            Language::Spanish => "límite",
        };
        format!("{settled}{unit}{beside} ({bound} {limit} {symbol})")
    }
}

/// What a rack passed by that is in doubt, and what the test found by which it is.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Overtaken {
    passed_by: f64,
    washed: Timestamp,
    at: Timestamp,
    mg_per_l: f64,
    ph: Option<f64>,
    bound: Option<Bound>,
}

impl Overtaken {
    /// A rack, and the test that found wrong what it was judged by, with the limit that this crossed where that is on
    /// record: a later one, or the same as it was corrected; `None` where the rack names no concentration.
    #[must_use]
    pub fn new(
        cycle: &Cycle,
        at: Timestamp,
        (mg_per_l, ph): (f64, Option<f64>),
        bound: Option<Bound>,
    ) -> Option<Self> {
        // Earlier records hold no limit; that of weak chlorine is the same everywhere.
        let everywhere = (cycle.sanitizing == Sanitizing::Chlorine && mg_per_l < CHLORINE_MIN_MG_PER_L)
            .then_some(Bound::AtLeast(CHLORINE_MIN_MG_PER_L));
        Some(Self {
            passed_by: cycle.concentration_mg_per_l?,
            washed: cycle.rinse_started,
            at,
            mg_per_l,
            ph,
            bound: bound.or(everywhere),
        })
    }

    /// «judged by 100 mg/L; next test 10 mg/L at 13:37 UTC, at least 25 mg/L».
    #[must_use]
    pub fn told(&self, reader: &Reader) -> String {
        // A test that was made before the rack is the one it was judged by.
        let phrase = match (self.at > self.washed, reader.language) {
            (true, Language::English) => "judged by {passed} mg/L; next test {test} at {at}{bound}",
            (true, Language::Spanish) => "juzgada por {passed} mg/L; prueba siguiente {test}, {at}{bound}",
            (false, Language::English) => "judged by {passed} mg/L, since corrected to {test}{bound}",
            (false, Language::Spanish) => "juzgada por {passed} mg/L, corregidos después a {test}{bound}",
        };
        let bound = self.bound.map(|bound| format!(", {}", bound.told(reader.language)));
        // Where the strength crossed no limit, it is the pH that did.
        let ph = self
            .ph
            .filter(|_| self.bound.is_none_or(|bound| bound.ph().is_some()))
            .map(|ph| format!(", pH {ph}"));
        let test = format!("{} mg/L{}", shown(self.mg_per_l), ph.unwrap_or_default());
        let values = [
            ("passed", shown(self.passed_by)),
            ("test", test),
            ("at", reader.near(self.at, self.washed)),
            ("bound", bound.unwrap_or_default()),
        ];
        filled(phrase, &values.each_ref().map(|(name, value)| (*name, value.as_str())))
    }
}
