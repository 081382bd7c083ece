//! Questions to whoever sits at the terminal: only what is typed after a question answers it.
//!
//! A key that was pressed before a question could be read is thrown away, so that an Enter too many
//! skips no step and answers nothing. What comes through a pipe is left as it is. An answer that is
//! none is asked for again, with what is expected.

use std::io::{self, BufRead, IsTerminal};

use rustix::termios::{QueueSelector, tcflush};

use super::Failure;
use crate::diagnostic::Diagnostic;

/// Longest answer that is taken, bytes: what a terminal holds of one line (Linux, N_TTY, 4,096).
const ANSWER_BYTES_MAX: u64 = 4_096;

/// Shows a question and waits for the line that answers it; `None` where the terminal was closed.
///
/// # Errors
/// That of `show`, and the terminal's.
pub(super) fn line(show: impl FnOnce() -> Result<(), Failure>) -> Result<Option<String>, Failure> {
    let input = io::stdin();
    if input.is_terminal() {
        tcflush(&input, QueueSelector::IFlush).map_err(|error| unread(&error.into()))?;
    }
    show()?;
    let mut line = String::new();
    let read = io::Read::take(input.lock(), ANSWER_BYTES_MAX).read_line(&mut line);
    let read = read.map_err(|error| unread(&error))?;
    Ok((read > 0).then(|| line.trim().to_owned()))
}

/// Shows a question until it is answered by yes or no; `None` where the terminal was closed. Where what was
/// typed is neither, `expected` is shown in its place.
///
/// # Errors
/// That of `show`, and the terminal's.
pub(super) fn decision(
    question: &str,
    expected: &str,
    mut show: impl FnMut(&str) -> Result<(), Failure>,
) -> Result<Option<bool>, Failure> {
    let mut asked = question;
    loop {
        let Some(answer) = line(|| show(asked))? else { return Ok(None) };
        match is_yes_or_no(&answer) {
            Some(yes) => return Ok(Some(yes)),
            None => asked = expected,
        }
    }
}

fn unread(error: &io::Error) -> Failure {
    Diagnostic::error("usage", "the answer cannot be read").because(error).into()
}

/// What an answer means, in either language; `None` where it is neither yes nor no.
fn is_yes_or_no(answer: &str) -> Option<bool> {
    match answer.to_lowercase().as_str() {
        "y" | "yes" | "s" | "si" | "sí" => Some(true),
        "n" | "no" => Some(false),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own choice of words, those of both languages.
    #[test]
    fn only_a_yes_or_a_no_decides() {
        for (answer, expected) in [
            ("y", Some(true)),
            ("YES", Some(true)),
            ("s", Some(true)),
            ("SÍ", Some(true)),
            ("n", Some(false)),
            ("No", Some(false)),
            ("", None),
            ("yy", None),
            ("maybe", None),
        ] {
            assert_eq!(is_yes_or_no(answer), expected, "{answer}");
        }
    }
}
