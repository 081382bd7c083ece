//! What ends a command: messages in the one form, and an exit code.

use std::fmt;
use std::io;

use crate::core::wall_clock::Unclear;
use crate::diagnostic::{Diagnostic, Severity};

/// Why a command could not do what was asked.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Failure {
    diagnostics: Vec<Diagnostic>,
    closed: bool,
}

impl Failure {
    /// The answer could not be written.
    #[must_use]
    pub fn output(error: io::Error) -> Self {
        let closed = error.kind() == io::ErrorKind::BrokenPipe;
        let diagnostic = Diagnostic::error("output", "the answer cannot be written").because(&error);
        Self { diagnostics: vec![diagnostic], closed }
    }

    /// What a person is to be told on the way could not be written: what was asked for is not done, whether
    /// its reader has gone or its disk is full.
    #[must_use]
    pub fn cut_short(error: io::Error) -> Self {
        Self { closed: false, ..Self::output(error) }
    }

    /// Ends a command whose answer was decided before it was written: what became of the writing
    /// takes back no answer that is «not good».
    ///
    /// # Errors
    /// The decided one, else that of the writing.
    pub fn decided(answer: Result<(), Self>, written: io::Result<()>) -> Result<(), Self> {
        answer.and_then(|()| written.map_err(Self::output))
    }

    /// Passes every failure but the one that the reader of the answer has gone.
    ///
    /// # Errors
    /// The failure itself.
    pub fn unless_closed(self) -> Result<(), Self> {
        if self.closed { Ok(()) } else { Err(self) }
    }

    /// The code to exit with: that of the first error.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        let first = self.diagnostics.iter().find(|diagnostic| diagnostic.severity() == Severity::Error);
        first.map_or(70, Diagnostic::exit_code)
    }
}

impl Failure {
    /// The time that was typed for an option, such as `--at`, is no instant.
    pub fn unclear(option: &str) -> impl Fn(Unclear) -> Self + Copy {
        move |unclear| {
            let advice = match unclear {
                Unclear::Skipped { .. } => "give a time that the clock of the site did show",
                Unclear::Twice { .. } => "give the time with its offset, such as 2026-11-01T01:30:00-04:00",
                Unclear::Beyond => "look at the year",
            };
            Diagnostic::error("usage", format!("{option}: {unclear}")).advice(advice).into()
        }
    }
}

impl From<Diagnostic> for Failure {
    fn from(diagnostic: Diagnostic) -> Self {
        Self { diagnostics: vec![diagnostic], closed: false }
    }
}

impl From<Vec<Diagnostic>> for Failure {
    fn from(diagnostics: Vec<Diagnostic>) -> Self {
        Self { diagnostics, closed: false }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, diagnostic) in self.diagnostics.iter().enumerate() {
            let between = if place == 0 { "" } else { "\n" };
            writeln!(f, "{between}{diagnostic}")?;
        }
        Ok(())
    }
}
