//! Questions to whoever sits at the terminal: only what is typed after a question answers it.
//!
//! A key that was pressed before a question could be read is thrown away, so that an Enter too many
//! skips no step and answers nothing. What comes through a pipe is left as it is. An answer that is
//! none is asked for again, with what is expected. A question has an end where the command is to stop: a
//! signal does not reach who waits for a line.

use std::io::{self, BufRead, IsTerminal};
use std::sync::mpsc::{RecvTimeoutError, sync_channel};
use std::time::Duration;

use rustix::termios::{QueueSelector, tcflush};

use tokio_util::sync::CancellationToken;

use super::Failure;
use crate::app::run::bug;
use crate::diagnostic::Diagnostic;

/// Longest answer that is taken, bytes: what a terminal holds of one line (Linux, N_TTY, 4,096).
const ANSWER_BYTES_MAX: u64 = 4_096;

/// How often it is looked whether to stop (own choice: nobody notices it).
const LOOKED_EVERY: Duration = Duration::from_millis(200);

/// Shows a question and waits for the line that answers it; `None` where the terminal was closed, or where
/// `stop` comes first. The command then ends: what reads is left behind, and takes the next line.
///
/// # Errors
/// That of `show`, and the terminal's.
pub(super) fn line(
    stop: &CancellationToken,
    show: impl FnOnce() -> Result<(), Failure>,
) -> Result<Option<String>, Failure> {
    let input = io::stdin();
    if input.is_terminal() {
        tcflush(&input, QueueSelector::IFlush).map_err(|error| unread(&error.into()))?;
    }
    show()?;
    let (to, answered) = sync_channel(1);
    let read = move || {
        let mut line = String::new();
        let read = io::Read::take(input.lock(), ANSWER_BYTES_MAX).read_line(&mut line);
        // Nobody waits for it where the command is to stop.
        drop(to.send(read.map(|read| (read > 0).then(|| line.trim().to_owned()))));
    };
    let reading = std::thread::Builder::new().name("answer".to_owned()).spawn(read);
    drop(reading.map_err(|error| bug("cannot start a thread", &error))?);
    while !stop.is_cancelled() {
        match answered.recv_timeout(LOOKED_EVERY) {
            Ok(line) => return line.map_err(|error| unread(&error)),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
    }
    Ok(None)
}

/// Shows a question until it is answered by yes or no; `None` where the terminal was closed, or where `stop`
/// comes first. Where what was typed is neither, `expected` is shown in its place.
///
/// # Errors
/// That of `show`, and the terminal's.
pub(super) fn decision(
    stop: &CancellationToken,
    question: &str,
    expected: &str,
    mut show: impl FnMut(&str) -> Result<(), Failure>,
) -> Result<Option<bool>, Failure> {
    let mut asked = question;
    loop {
        let Some(answer) = line(stop, || show(asked))? else { return Ok(None) };
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
