//! What stands beside the verdict of a rack: its settled minimum against the limit, and a sanitizer outside its range.
//!
//! Pages tell it in one form, so that a weak rack is never told by its temperature alone, which may be fine.

use super::minimum::{Unjudged, against};
use super::strength::OffRange;
use crate::core::reader::{Language, Reader};
use crate::core::record::Cycle;

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
        let (settled, limit, beside) = against(self.settled_c, self.unjudged, self.limit_c, reader);
        let symbol = reader.scale.symbol();
        let unit = match self.settled_c.or(self.unjudged.map(|unjudged| unjudged.celsius)) {
            Some(_) => format!(" {symbol}"),
            None => String::new(),
        };
        let beside = beside.map(|word| format!(", {word}")).unwrap_or_default();
        let off_range =
            self.off_range.map(|off| format!("{}; ", off.told(reader.language))).unwrap_or_default();
        let bound = match reader.language {
            Language::English => "limit",
            Language::Spanish => "límite",
        };
        format!("{off_range}{settled}{unit}{beside} ({bound} {limit} {symbol})")
    }
}
