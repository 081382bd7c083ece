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
use crate::runtime::clock::Clock;
use crate::runtime::driver::Published;

/// Time between two pictures.
const PICTURE_EVERY: Duration = Duration::from_millis(100);
/// Time between two looks at what lies in a store: no picture waits for it more often (own choice).
const LOOK_EVERY: Duration = Duration::from_secs(1);

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
    let (clock, mut login) = (Clock::system(), Seldom::default());
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
            scene.open = open.lines(scene.now, &setting.zone);
        }
        if let Some(words) = words {
            setting.login = Some(login.get(clock.elapsed(), || words.lines()).to_owned());
        }
        terminal.draw(|frame| screen::draw(frame, scene, &setting))?;
        if terminal::asked_to_quit(PICTURE_EVERY)? {
            stop.cancel();
        }
        Ok(if stop.is_cancelled() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) })
    })
}

/// A text that is asked for at most each [`LOOK_EVERY`].
#[derive(Default)]
struct Seldom {
    /// When it was asked for, by a clock that never steps, and what it was.
    last: Option<(Duration, String)>,
}

impl Seldom {
    fn get(&mut self, now: Duration, ask: impl FnOnce() -> String) -> &str {
        let fresh = self.last.take().filter(|(at, _)| now.saturating_sub(*at) < LOOK_EVERY);
        &self.last.insert(fresh.unwrap_or_else(|| (now, ask()))).1
    }
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
            () = watched.stop.cancelled() => return Ok(()),
            // A rack comes before what is said of it.
            published = watched.published.recv() => published,
            Some(message) = watched.messages.recv() => {
                for line in table::wrapped(&message, table::WIDTH - 2) {
                    writeln!(streams.out, "» {line}").map_err(Failure::output)?;
                }
                streams.out.flush().map_err(Failure::output)?;
                continue;
            }
        };
        match published {
            Ok(published) => {
                for row in watched.scene.take(&published) {
                    table.write_row(streams.out, &row).map_err(Failure::output)?;
                    streams.out.flush().map_err(Failure::output)?;
                }
                // Each look reads every open alert: whoever is behind looks once for all that waits.
                if watched.published.is_empty() {
                    watched.open.look();
                }
                for line in watched.open.news(watched.scene.now, zone) {
                    writeln!(streams.out, "! {line}").map_err(Failure::output)?;
                    streams.out.flush().map_err(Failure::output)?;
                }
            }
            Err(RecvError::Lagged(_)) => {}
            Err(RecvError::Closed) => return Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: ten pictures a second ask the store once, and what has changed there is shown a second later.
    #[test]
    fn pictures_ask_the_store_once_a_second() {
        let (mut seldom, mut asked) = (Seldom::default(), 0);
        for picture in 0..30_u32 {
            let now = PICTURE_EVERY * picture;
            let shown = seldom.get(now, || {
                asked += 1;
                now.as_secs().to_string()
            });
            assert_eq!(shown, now.as_secs().to_string(), "picture {picture}");
        }
        assert_eq!(asked, 3);
    }
}
