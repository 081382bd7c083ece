//! The ruler of a card: what was measured beside its limit, drawn, and what lies beyond it in words.

use std::fmt::Write as _;

use crate::core::reader::{Language, Reader};
use crate::web::now::LastRack;

/// How far the ruler shows below and above the limit, K (own choice: half a kelvin is still to be seen on a phone;
/// what lies further off is told by an arrow and in words).
const SHOWN_K: (f64, f64) = (12.0, 12.0);

/// Which end of the ruler a value lies beyond.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Beyond {
    Cold,
    Hot,
}

impl Beyond {
    fn of(rack: &LastRack) -> Option<Self> {
        let settled = rack.settled_c?;
        if settled < rack.limit_c - SHOWN_K.0 {
            Some(Self::Cold)
        } else if settled > rack.limit_c + SHOWN_K.1 {
            Some(Self::Hot)
        } else {
            None
        }
    }

    /// Where the arrow that leads out of the ruler has its tip, and its form from there.
    const fn arrow(self) -> (&'static str, &'static str) {
        match self {
            Self::Cold => ("0", "M0 12L14 0V8H30V16H14V24z"),
            Self::Hot => ("100%", "M0 12L-14 0V8H-30V16H-14V24z"),
        }
    }
}

/// Says that the value lies beyond the ruler, and where the ruler ends.
pub(super) fn off_scale(rack: &LastRack, reader: &Reader) -> Option<String> {
    let beyond = Beyond::of(rack)?;
    let (sign, end, english, spanish) = match beyond {
        Beyond::Cold => (
            "◀",
            rack.limit_c - SHOWN_K.0,
            "below the ruler, which begins at",
            "bajo la regla, que empieza en",
        ),
        Beyond::Hot => {
            ("▶", rack.limit_c + SHOWN_K.1, "above the ruler, which ends at", "sobre la regla, que acaba en")
        }
    };
    let (shown, _) = reader.pair(rack.settled_c?, rack.limit_c);
    let symbol = reader.scale.symbol();
    let words = match reader.language {
        Language::English => english,
        Language::Spanish => spanish,
    };
    Some(format!("{sign} {shown} {symbol}: {words} {:.0} {symbol}", reader.scale.temperature(end)))
}

/// A ruler with the limit, and what was measured on it with its uncertainty; where that lies beyond an end, an
/// arrow leads out of it, and [`off_scale`] says so in words. It is as wide as its card: places along it are parts of the
/// whole, and nothing is stretched.
pub(super) fn ruler(rack: &LastRack, reader: &Reader) -> Option<String> {
    let settled = rack.settled_c?;
    let (from, to) = (rack.limit_c - SHOWN_K.0, rack.limit_c + SHOWN_K.1);
    let x = |celsius: f64| ((celsius.clamp(from, to) - from) / (to - from)) * 100.0;
    let (limit, value) = (x(rack.limit_c), x(settled));
    let (low, high) = (settled - rack.uncertainty_c, settled + rack.uncertainty_c);
    let upright = |class: &str, x: f64, (top, bottom): (f64, f64)| {
        format!("<line class=\"{class}\" x1=\"{x:.2}%\" y1=\"{top}em\" x2=\"{x:.2}%\" y2=\"{bottom}em\"/>")
    };
    // A band that goes on beyond the ruler has no end on it.
    let cap = |end: f64| {
        if (from..=to).contains(&end) { upright("band", x(end), (0.875, 1.625)) } else { String::new() }
    };
    let mark = match Beyond::of(rack) {
        Some(beyond) => {
            let (tip, form) = beyond.arrow();
            format!(
                "<svg class=\"value beyond\" x=\"{tip}\" y=\".5em\" width=\"1.875em\" height=\"1.5em\" \
                 viewBox=\"0 0 30 24\"><path d=\"{form}\"/></svg>"
            )
        }
        None => format!(
            "<line class=\"band\" x1=\"{:.2}%\" y1=\"1.25em\" x2=\"{:.2}%\" y2=\"1.25em\"/>{}{}\
             <svg class=\"value\" x=\"{value:.2}%\" y=\".25em\" width=\"1em\" height=\"1em\" \
             viewBox=\"0 0 16 16\"><path d=\"M0 16L-8 0H8z\"/></svg>",
            x(low),
            x(high),
            cap(low),
            cap(high),
        ),
    };
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _fits = write!(
        out,
        "<svg class=\"ruler\" aria-hidden=\"true\">\
         <rect class=\"below\" x=\"0\" y=\".875em\" width=\"{limit:.2}%\" height=\".75em\"/>\
         <rect class=\"above\" x=\"{limit:.2}%\" y=\".875em\" width=\"{:.2}%\" height=\".75em\"/>\
         {}{mark}\
         <text x=\"0\" y=\"3.65em\">{:.0}</text>\
         <text x=\"{limit:.2}%\" y=\"3.65em\" text-anchor=\"middle\">{}</text>\
         <text x=\"100%\" y=\"3.65em\" text-anchor=\"end\">{:.0}</text></svg>",
        100.0 - limit,
        upright("limit", limit, (0.5, 2.0)),
        reader.scale.temperature(from),
        reader.temperature(rack.limit_c),
        reader.scale.temperature(to),
    );
    Some(out)
}
