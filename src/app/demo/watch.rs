//! Watching the demo: the full view on a terminal, or plain lines.

use std::ops::ControlFlow;
use std::sync::Arc;
use std::time::Duration;

use jiff::tz::TimeZone;
use tokio::sync::broadcast::error::{RecvError, TryRecvError};
use tokio::sync::{broadcast, mpsc};
use tokio_util::sync::CancellationToken;

use super::open::OpenAlerts;
use super::scene::Scene;
use super::screen::{self, Setting};
use crate::app::access::FirstWords;
use crate::app::{Failure, Streams, terminal};
use crate::report::table::{self, Table};
use crate::runtime::driver::Published;

/// Time between two pictures.
const PICTURE_EVERY: Duration = Duration::from_millis(100);

/// What is watched, and until when.
pub(super) struct Watched<'w> {
    pub(super) scene: &'w mut Scene,
    pub(super) published: &'w mut broadcast::Receiver<Arc<Published>>,
    pub(super) open: &'w mut OpenAlerts,
    pub(super) messages: &'w mut mpsc::Receiver<String>,
    pub(super) stop: &'w CancellationToken,
}

/// Draws until `q`, Ctrl-C, or the end of the demo.
///
/// # Errors
/// The terminal's.
pub(super) fn on_screen(
    watched: Watched<'_>,
    mut setting: Setting,
    words: Option<&FirstWords>,
) -> Result<(), Failure> {
    let Watched { scene, published, open, messages, stop } = watched;
    terminal::on_screen(|terminal| {
        let mut news = false;
        loop {
            match published.try_recv() {
                Ok(published) => {
                    drop(scene.take(&published));
                    news = true;
                }
                Err(TryRecvError::Lagged(_)) => {}
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Closed) => return Ok(ControlFlow::Break(())),
            }
        }
        while let Ok(message) = messages.try_recv() {
            scene.notice = Some(message);
        }
        if news {
            open.look();
            scene.open = open.lines(&setting.zone);
        }
        setting.login = words.map(FirstWords::line);
        terminal.draw(|frame| screen::draw(frame, scene, &setting))?;
        if terminal::asked_to_quit(PICTURE_EVERY)? {
            stop.cancel();
        }
        Ok(if stop.is_cancelled() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) })
    })
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
            Some(message) = watched.messages.recv() => {
                for line in table::wrapped(&message, table::WIDTH - 2) {
                    writeln!(streams.out, "» {line}").map_err(Failure::output)?;
                }
                streams.out.flush().map_err(Failure::output)?;
                continue;
            }
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
