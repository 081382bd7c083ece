//! The ruler of a card: what was measured beside its limit, drawn, and what lies beyond it in words.

use std::fmt::Write as _;

use crate::core::reader::{Language, Reader};
use crate::web::now::LastRack;

/// Width of the drawing; it is stretched to that of its card.
const WIDTH: f64 = 320.0;
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

    /// An arrow that leads out of the ruler.
    const fn arrow(self) -> &'static str {
        match self {
            Self::Cold => "M0 20L14 8V16H30V24H14V32z",
            Self::Hot => "M320 20L306 8V16H290V24H306V32z",
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
/// arrow leads out of it, and [`off_scale`] says so in words.
pub(super) fn ruler(rack: &LastRack, reader: &Reader) -> Option<String> {
    let settled = rack.settled_c?;
    let (from, to) = (rack.limit_c - SHOWN_K.0, rack.limit_c + SHOWN_K.1);
    let x = |celsius: f64| ((celsius.clamp(from, to) - from) / (to - from)) * WIDTH;
    let (limit, value) = (x(rack.limit_c), x(settled));
    let (low, high) = (x(settled - rack.uncertainty_c), x(settled + rack.uncertainty_c));
    // A band that goes on beyond the ruler has no end on it.
    let cap = |end: f64| {
        if (from..=to).contains(&end) { format!("M{:.1} 14V26", x(end)) } else { String::new() }
    };
    let mark = match Beyond::of(rack) {
        Some(beyond) => format!("<path class=\"value beyond\" d=\"{}\"/>", beyond.arrow()),
        None => format!(
            "<path class=\"band\" d=\"M{low:.1} 20H{high:.1}{}{}\"/>\
             <path class=\"value\" d=\"M{value:.1} 20L{:.1} 4H{:.1}z\"/>",
            cap(settled - rack.uncertainty_c),
            cap(settled + rack.uncertainty_c),
            value - 8.0,
            value + 8.0,
        ),
    };
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _fits = write!(
        out,
        "<svg class=\"ruler\" viewBox=\"0 0 {WIDTH} 46\" preserveAspectRatio=\"none\" aria-hidden=\"true\">\
         <rect class=\"below\" x=\"0\" y=\"14\" width=\"{limit:.1}\" height=\"12\"/>\
         <rect class=\"above\" x=\"{limit:.1}\" y=\"14\" width=\"{:.1}\" height=\"12\"/>\
         <path class=\"limit\" d=\"M{limit:.1} 8V32\"/>\
         {mark}\
         <text x=\"0\" y=\"44\">{:.0}</text><text x=\"{limit:.1}\" y=\"44\" text-anchor=\"middle\">{}</text>\
         <text x=\"{WIDTH}\" y=\"44\" text-anchor=\"end\">{:.0}</text></svg>",
        WIDTH - limit,
        reader.scale.temperature(from),
        reader.temperature(rack.limit_c),
        reader.scale.temperature(to),
    );
    Some(out)
}
