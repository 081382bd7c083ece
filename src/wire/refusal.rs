//! Input that could not be used, and why.

/// A piece of input that could not be used, for the counters and the log.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Refusal {
    /// What was refused: a name or the first bytes, made printable, at most 80 characters.
    pub what: String,
    /// Why.
    pub why: RefusedBecause,
}

/// Most characters of the input that a refusal repeats.
const WHAT_CHARACTERS_MAX: usize = 80;

impl Refusal {
    /// Refuses `what`, repeating its beginning with everything that a terminal
    /// could take for a command replaced by `\u{fffd}`.
    #[must_use]
    pub fn new(what: &[u8], why: RefusedBecause) -> Self {
        // A UTF-8 character has at most 4 bytes.
        let head = &what[..what.len().min(4 * WHAT_CHARACTERS_MAX)];
        let printable = |character: char| match character {
            ' ' => ' ',
            other if other.is_control() || other.is_whitespace() || is_invisible(other) => '\u{fffd}',
            other => other,
        };
        let what = String::from_utf8_lossy(head).chars().take(WHAT_CHARACTERS_MAX).map(printable).collect();
        Self { what, why }
    }
}

/// Zero-width and direction-changing characters (Unicode UAX #9 §2, general category Cf).
fn is_invisible(character: char) -> bool {
    matches!(character, '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}')
}

/// Why a piece of input could not be used.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, thiserror::Error)]
pub enum RefusedBecause {
    /// Not UTF-8.
    #[error("not UTF-8 text")]
    NotText,
    /// Not JSON, or no SenML pack.
    #[error("not a SenML pack (RFC 8428)")]
    NotSenml,
    /// A SenML version of a later standard, or an unknown label that must be understood.
    #[error("SenML that asks for more than RFC 8428 version 10")]
    UnknownVersion,
    /// Not JSON.
    #[error("not JSON")]
    NotJson,
    /// The JSON pointer of the configuration leads to nothing in this document.
    #[error("nothing at the configured JSON pointer")]
    NothingThere,
    /// Not `name value`.
    #[error("not «name value»")]
    NotPlain,
    /// A name with illegal characters or none.
    #[error("illegal name")]
    Name,
    /// No probe of that name is configured for this source.
    #[error("no probe of that name is configured")]
    UnknownName,
    /// The message says another unit than the configuration.
    #[error("unit differs from the configured signal")]
    Unit,
    /// No number, or not a finite one, where one is needed; a flag where none is; and so on.
    #[error("value of the wrong type")]
    ValueType,
    /// A decimal comma in a number.
    #[error("decimal comma; a decimal point is needed")]
    DecimalComma,
    /// A time that no calendar holds.
    #[error("time out of range")]
    Time,
    /// Longer than the limit of this source.
    #[error("longer than the limit")]
    TooLong,
    /// Stamped further ahead of the gateway's clock than is allowed.
    #[error("stamped in the future")]
    Future,
    /// Retained or repeated by a broker, and without a time of its own.
    #[error("of unknown age: retained or repeated by the broker, without a time of its own")]
    UnknownAge,
}
