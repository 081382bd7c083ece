//! The terminal: taken as a whole for a view and given back as it was, and how wide its lines are.

use std::io::{self, IsTerminal};
use std::ops::ControlFlow;
use std::os::fd::AsFd;
use std::time::Duration;

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use rustix::termios::tcgetwinsize;

use super::Failure;
use crate::report::table::wrapped;

/// Narrowest lines that texts are broken to (own choice: a longer word stays whole).
const COLUMNS_MIN: usize = 20;
/// What stands before a sentence whose further lines are set in: marks, and the heads of a diagnostic.
const LEADS: [&str; 7] = ["! ", "✓ ", "✗ ", "- ", "where: ", "cause: ", "do:    "];

/// Whether somebody sits at a terminal that can be drawn on.
pub(super) fn is_there() -> bool {
    io::stdout().is_terminal() && io::stdin().is_terminal()
}

/// Takes the screen and draws until `draw` breaks or fails; gives it back in any case.
///
/// # Errors
/// The terminal's.
pub(super) fn on_screen(
    mut draw: impl FnMut(&mut DefaultTerminal) -> io::Result<ControlFlow<()>>,
) -> Result<(), Failure> {
    let shown = ratatui::try_init().and_then(|mut terminal| {
        loop {
            if draw(&mut terminal)?.is_break() {
                return Ok(());
            }
        }
    });
    let restored = ratatui::try_restore();
    shown.and(restored).map_err(Failure::output)
}

/// Waits this long for a key, and tells whether it was one that quits.
///
/// # Errors
/// The terminal's.
pub(super) fn asked_to_quit(within: Duration) -> io::Result<bool> {
    if !event::poll(within)? {
        return Ok(false);
    }
    Ok(matches!(event::read()?, Event::Key(key) if quits(key)))
}

fn quits(key: KeyEvent) -> bool {
    if key.kind == KeyEventKind::Release {
        return false;
    }
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    matches!(key.code, KeyCode::Char('q' | 'Q') | KeyCode::Esc)
        || control && matches!(key.code, KeyCode::Char('c' | 'd'))
}

/// Columns of the terminal that this leads to; `None` where it leads to none.
pub(super) fn columns(of: impl AsFd + IsTerminal) -> Option<usize> {
    if !of.is_terminal() {
        return None;
    }
    let columns = tcgetwinsize(of).ok()?.ws_col;
    (columns > 0).then(|| usize::from(columns).max(COLUMNS_MIN))
}

/// The text with each line broken between words, further lines set in below the first; as it is where
/// there is no terminal, so that programs find each sentence on one line.
pub(super) fn fitted(text: &str, columns: Option<usize>) -> String {
    let Some(columns) = columns else { return text.to_owned() };
    let mut fitted = String::with_capacity(text.len() + text.len() / 40);
    for line in text.split_inclusive('\n') {
        let (line, end) = line.strip_suffix('\n').map_or((line, ""), |line| (line, "\n"));
        fit(line, columns, &mut fitted);
        fitted.push_str(end);
    }
    fitted
}

/// A text for standard error, fitted to the terminal that it leads to.
#[must_use]
pub fn fitted_to_errors(text: &str) -> String {
    fitted(text, columns(io::stderr()))
}

/// Holds a number together with its unit while lines are broken.
const TOGETHER: char = '\u{1f}';

fn fit(line: &str, columns: usize, fitted: &mut String) {
    if line.chars().count() <= columns {
        fitted.push_str(line);
        return;
    }
    let rest = line.trim_start();
    let blank = line.len() - rest.len();
    let lead = LEADS.iter().find(|lead| rest.starts_with(**lead)).map_or("", |lead| lead);
    let inset = blank + lead.chars().count();
    let held = rest[lead.len()..].replace(" °", &format!("{TOGETHER}°"));
    let lines = wrapped(&held, columns.saturating_sub(inset).max(COLUMNS_MIN));
    for (place, part) in lines.iter().enumerate() {
        if place == 0 {
            fitted.push_str(&line[..blank + lead.len()]);
        } else {
            fitted.push('\n');
            fitted.extend(std::iter::repeat_n(' ', inset));
        }
        fitted.push_str(&part.replace(TOGETHER, " "));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_the_terminal_and_no_word_is_cut() {
        let text = "error[usage]: the probe «dm1/rinse» shows 82.0 °C where 0.0 °C were to be seen\n  cause: the \
                    temperature of the bath is not that of ice and water\n  do:    stir it\n! Lock it out: switched off";
        for columns in [20, 24, 31, 80, 100, 400] {
            let fitted = fitted(text, Some(columns));
            let wide = fitted.lines().map(|line| line.chars().count()).max().expect("lines");
            assert!(wide <= columns.max(29), "{columns}: {fitted}");
            let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert_eq!(words(&fitted), words(text), "{columns}");
            assert!(fitted.lines().all(|line| !line.trim_start().starts_with('°')), "{fitted}");
        }
        let narrow = fitted("  cause: the temperature of the bath", Some(30));
        assert_eq!(narrow, "  cause: the temperature of\n         the bath");
        assert_eq!(fitted(text, None), text);
    }
}
