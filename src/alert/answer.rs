//! What a receiver says to one message, whichever channel carries it.

use std::time::Duration;

use crate::core::alert::trial::Told;

/// Longest text of an answer that is kept, in characters (own choice: it stands in the ledger and on a page).
const TEXT_MAX: usize = 300;

/// How a try to hand a message over ended.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Answer {
    /// The receiver has taken it.
    Taken,
    /// Not this time: no connection, a busy or failing server, something that a person can mend.
    Later {
        /// Why.
        error: Told,
        /// How long the receiver asks to be left alone.
        after: Option<Duration>,
    },
    /// Refused in a way that is hardly going to change; a few tries, then it is given up.
    Doubtful {
        /// Why.
        error: Told,
    },
    /// Refused for good: this message, or this recipient.
    Never {
        /// Why.
        error: Told,
    },
    /// The receiver wants no more messages at all.
    Closed {
        /// Why.
        error: Told,
    },
}

impl Answer {
    /// Not this time, without a wish of the receiver.
    #[must_use]
    pub fn later(error: impl Into<Told>) -> Self {
        Self::Later { error: error.into(), after: None }
    }

    /// Why it was not taken.
    #[must_use]
    pub fn error(&self) -> Option<&Told> {
        match self {
            Self::Taken => None,
            Self::Later { error, .. }
            | Self::Doubtful { error }
            | Self::Never { error }
            | Self::Closed { error } => Some(error),
        }
    }
}

/// One step of a trial, told as it happens.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Step {
    /// What was tried, in a word or two: `connection`, `login`.
    pub what: &'static str,
    /// What came of it.
    pub outcome: Result<Told, Told>,
}

/// Hears the steps of a trial.
pub type Tell<'a> = &'a mut (dyn FnMut(Step) + Send);

/// Text from outside on one short line.
#[must_use]
pub fn printable(text: &str) -> String {
    let words: Vec<&str> = text.split(|c: char| c.is_control() || c.is_whitespace()).collect();
    let line = words.into_iter().filter(|word| !word.is_empty()).collect::<Vec<&str>>().join(" ");
    match line.char_indices().nth(TEXT_MAX) {
        Some((end, _)) => format!("{}…", &line[..end]),
        None => line,
    }
}

/// An error and its causes on one line, each said once.
#[must_use]
pub fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        let said = cause.to_string();
        if !text.ends_with(&said) {
            text.push_str(": ");
            text.push_str(&said);
        }
        source = cause.source();
    }
    printable(&text)
}
