//! Watching the demo: the full view on a terminal, or plain lines.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use jiff::tz::TimeZone;
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use tokio::sync::broadcast;
use tokio::sync::broadcast::error::{RecvError, TryRecvError};
use tokio_util::sync::CancellationToken;

use super::open::OpenAlerts;
use super::scene::Scene;
use super::screen::{self, Setting};
use crate::app::{Failure, Streams};
use crate::report::table::Table;
use crate::runtime::driver::Published;

/// Time between two pictures.
const PICTURE_EVERY: Duration = Duration::from_millis(100);

/// What is watched, and until when.
pub(super) struct Watched<'w> {
    pub(super) scene: &'w mut Scene,
    pub(super) published: &'w mut broadcast::Receiver<Arc<Published>>,
    pub(super) open: &'w mut OpenAlerts,
    pub(super) stop: &'w CancellationToken,
}

/// Draws until `q`, Ctrl-C, or the end of the demo.
///
/// # Errors
/// The terminal's.
pub(super) fn on_screen(mut watched: Watched<'_>, setting: &Setting) -> Result<(), Failure> {
    let shown =
        ratatui::try_init().and_then(|mut terminal| draw_until_end(&mut terminal, &mut watched, setting));
    let restored = ratatui::try_restore();
    shown.and(restored).map_err(Failure::output)
}

fn draw_until_end(
    terminal: &mut DefaultTerminal,
    watched: &mut Watched<'_>,
    setting: &Setting,
) -> io::Result<()> {
    while !watched.stop.is_cancelled() {
        let mut news = false;
        loop {
            match watched.published.try_recv() {
                Ok(published) => {
                    drop(watched.scene.take(&published));
                    news = true;
                }
                Err(TryRecvError::Lagged(_)) => {}
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Closed) => return Ok(()),
            }
        }
        if news {
            watched.open.look();
            watched.scene.open = watched.open.lines(&setting.zone);
        }
        terminal.draw(|frame| screen::draw(frame, watched.scene, setting))?;
        if event::poll(PICTURE_EVERY)?
            && let Event::Key(key) = event::read()?
            && asks_to_quit(key)
        {
            watched.stop.cancel();
        }
    }
    Ok(())
}

fn asks_to_quit(key: KeyEvent) -> bool {
    if key.kind == KeyEventKind::Release {
        return false;
    }
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    matches!(key.code, KeyCode::Char('q' | 'Q') | KeyCode::Esc)
        || control && matches!(key.code, KeyCode::Char('c' | 'd'))
}

/// Writes a line for each rack until the end of the demo.
///
/// # Errors
/// The writer's.
pub(super) async fn in_lines(
    watched: Watched<'_>,
    table: &mut Table,
    zone: &TimeZone,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    loop {
        let published = tokio::select! {
            biased;
            published = watched.published.recv() => published,
            () = watched.stop.cancelled() => return Ok(()),
        };
        match published {
            Ok(published) => {
                for row in watched.scene.take(&published) {
                    table.write_row(streams.out, &row).map_err(Failure::output)?;
                    streams.out.flush().map_err(Failure::output)?;
                }
                watched.open.look();
                for line in watched.open.news(zone) {
                    writeln!(streams.out, "! {line}").map_err(Failure::output)?;
                    streams.out.flush().map_err(Failure::output)?;
                }
            }
            Err(RecvError::Lagged(_)) => {}
            Err(RecvError::Closed) => return Ok(()),
        }
    }
}
