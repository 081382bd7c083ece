//! How a sanitizer was measured: the methods that are known, and what the colours of a strip can say.

use super::Impossible;
use crate::core::cycle::plate::Sanitizing;
use crate::core::record::{Check, TEST_STRIP};
use crate::core::sanitizer;

/// Two concentrations closer than this are one, mg/L: no colour lies so near another.
const SAME_MG_PER_L: f64 = 1e-6;

/// A way to measure a sanitizer that is known. A kit of its own scale has a name of its own.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Method {
    /// A test strip, read by its colours.
    Strip,
    /// Drops counted until the colour turns.
    Titration,
    /// A meter.
    Meter,
}

/// The words that stand for a known method in the record, as the form and the command write them.
const NAMES: [(&str, Method); 4] = [
    (TEST_STRIP, Method::Strip),
    ("strip", Method::Strip),
    ("titration", Method::Titration),
    ("meter", Method::Meter),
];

/// The method that is meant, whatever its capitals and the blanks around it; `None` where it is none of those known.
#[must_use]
pub fn known_method(on_record: &str) -> Option<Method> {
    let found = NAMES.iter().find(|(name, _)| on_record.trim().eq_ignore_ascii_case(name));
    found.map(|(_, method)| *method)
}

/// Whether a colour of the test strip of a machine that sanitizes so stands for this concentration, mg/L.
///
/// # Errors
/// [`Impossible::NoColour`], with those that there are.
pub fn colour(mg_per_l: f64, sanitizing: Sanitizing) -> Result<(), Impossible> {
    let colours = sanitizer::strip_colours(sanitizing);
    let known = colours.iter().any(|colour| (colour - mg_per_l).abs() < SAME_MG_PER_L);
    if known { Ok(()) } else { Err(Impossible::NoColour { mg_per_l, colours }) }
}

/// Whether a check that counted as `was` may count as `check`, by what its strip can show. What was entered as read
/// from a strip before its colours were asked for stays as it is where only something else is corrected.
///
/// # Errors
/// [`Impossible::NoColour`].
pub fn still_a_colour(was: Option<&Check>, check: &Check, sanitizing: Sanitizing) -> Result<(), Impossible> {
    match (read_from_strip(check), was.and_then(read_from_strip)) {
        (None, _) => Ok(()),
        (Some(mg_per_l), Some(before)) if mg_per_l.total_cmp(&before).is_eq() => Ok(()),
        (Some(mg_per_l), _) => colour(mg_per_l, sanitizing),
    }
}

/// The concentration that is said to be read from a strip, mg/L.
fn read_from_strip(check: &Check) -> Option<f64> {
    match check {
        Check::Sanitizer { mg_per_l, method, .. } => {
            let method = method.as_deref().and_then(known_method);
            (method == Some(Method::Strip)).then_some(*mg_per_l)
        }
        Check::Supply { .. } | Check::DrainAndClean { .. } | Check::Thermometer { .. } => None,
    }
}
