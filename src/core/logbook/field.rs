//! The values of an entry: as the record names them, and in the words of a refusal.

use std::fmt;

/// A value of an entry, which a refusal is about.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Field {
    /// When it was made.
    At,
    /// Of which machine; it stands beside the check.
    Machine,
    /// A concentration.
    MgPerL,
    /// A pH.
    Ph,
    /// Temperature of a solution.
    SolutionC,
    /// How a concentration was measured.
    Method,
    /// Who says so.
    By,
    /// What is added to it.
    Note,
    /// What is short.
    Short,
    /// Which thermometer was compared.
    What,
    /// What it showed.
    ShownC,
    /// What the reference showed.
    ReferenceC,
    /// How far it may be off.
    ToleranceC,
    /// With what it was compared.
    Reference,
    /// Why a record is amended.
    Reason,
}

impl Field {
    /// Every one of them.
    pub const ALL: [Self; 15] = [
        Self::At,
        Self::Machine,
        Self::MgPerL,
        Self::Ph,
        Self::SolutionC,
        Self::Method,
        Self::By,
        Self::Note,
        Self::Short,
        Self::What,
        Self::ShownC,
        Self::ReferenceC,
        Self::ToleranceC,
        Self::Reference,
        Self::Reason,
    ];

    /// Its name on record.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::At => "at",
            Self::Machine => "machine",
            Self::MgPerL => "mg_per_l",
            Self::Ph => "ph",
            Self::SolutionC => "solution_c",
            Self::Method => "method",
            Self::By => "by",
            Self::Note => "note",
            Self::Short => "short",
            Self::What => "what",
            Self::ShownC => "shown_c",
            Self::ReferenceC => "reference_c",
            Self::ToleranceC => "tolerance_c",
            Self::Reference => "reference",
            Self::Reason => "reason",
        }
    }
}

impl fmt::Display for Field {
    /// As a refusal begins: before a number with its unit, before a text without any.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::At => "the time",
            Self::Machine => "the machine",
            Self::MgPerL => "a concentration in mg/L of",
            Self::Ph => "a pH of",
            Self::SolutionC => "a solution in °C of",
            Self::Method => "the method",
            Self::By => "the name",
            Self::Note => "the note",
            Self::Short => "what is short",
            Self::What => "the thermometer",
            Self::ShownC => "what it showed in °C,",
            Self::ReferenceC => "the reference in °C,",
            Self::ToleranceC => "a tolerance in °C of",
            Self::Reference => "the reference",
            Self::Reason => "the reason",
        })
    }
}
