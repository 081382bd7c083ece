//! The whole terminal, taken for a view and given back as it was.

use std::io::{self, IsTerminal};
use std::ops::ControlFlow;
use std::time::Duration;

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::Failure;

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
