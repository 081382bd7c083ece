//! Puts the machine of a dialog under work while the dialog lives.
//!
//! It is done through the service alone: without one nobody judges racks meanwhile. What is on record of it,
//! and how long it holds, is decided in `core::alert::dialog`, by the service's clock: it says when it heard of the
//! dialog, and how soon it wants to hear again.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use crate::app::door::client::{self, CallError};
use crate::app::live::{Live, Through};
use crate::app::order::{Done, Order};
use crate::app::people::unanswered;
use crate::app::{Failure, run::bug};
use crate::config::load::Loaded;
use crate::core::alert::DialogStands;
use crate::core::alert::dialog::SAID_EVERY;
use crate::core::reader::Language;
use crate::core::technician::{words, work};
use crate::core::time::Timestamp;
use crate::report::local::minute_and_zone;
use crate::runtime::clock::Clock;

/// Shortest time between two words to the service (own choice: a demo at a thousand times the real speed wants one
/// each 60 ms).
const SAID_AFTER_MIN: Duration = Duration::from_millis(20);

/// A machine under work. Where this is dropped without its end the machine is so a little longer, see
/// `core::alert::dialog`.
pub(in crate::app) struct AtWork {
    dialog: Dialog,
    /// Dropped to end the thread.
    stop: Option<SyncSender<()>>,
    saying: Option<JoinHandle<()>>,
    /// When the service heard of its beginning.
    since: Timestamp,
    /// Somebody said meanwhile that the work is over.
    called_off: Arc<AtomicBool>,
    zone: jiff::tz::TimeZone,
}

#[derive(Clone)]
struct Dialog {
    socket: PathBuf,
    machine: String,
    by: String,
    why: String,
}

impl Dialog {
    fn say(&self, stands: DialogStands) -> Result<Done, CallError> {
        let Self { socket, machine, by, why } = self.clone();
        client::post(&socket, "/orders", &Order::Dialog { machine, stands, by, why })
    }
}

impl AtWork {
    /// Begins, where readings come through the service.
    ///
    /// # Errors
    /// Where the service refuses: what the probe shows from then on would be taken for racks.
    pub(in crate::app) fn begin(
        live: &Live,
        loaded: &Loaded,
        machine: &str,
        (by, why): (&str, String),
    ) -> Result<Option<Self>, Failure> {
        match live.through() {
            Through::Service { .. } => {}
            Through::OwnSources => return Ok(None),
        }
        let socket: &Path = &loaded.configuration.socket;
        let (machine, by) = (machine.to_owned(), by.to_owned());
        let dialog = Dialog { socket: socket.to_owned(), machine, by, why };
        let begun = dialog.say(DialogStands::Begins).map_err(|error| unanswered(error, socket))?;
        let (since, mut after) = heard(&begun);
        let (stop, stopped) = sync_channel::<()>(0);
        let own = dialog.clone();
        let called_off = Arc::new(AtomicBool::new(false));
        let seen = Arc::clone(&called_off);
        let going_on = move || {
            while stopped.recv_timeout(after) == Err(RecvTimeoutError::Timeout) {
                match own.say(DialogStands::GoesOn(since)) {
                    Ok(done) => {
                        (_, after) = heard(&done);
                        if done.worked_on_until.is_none() && !seen.swap(true, Ordering::Relaxed) {
                            let machine = &own.machine;
                            tracing::warn!(
                                machine,
                                "somebody said that the work is over: racks are judged again"
                            );
                        }
                    }
                    Err(error) => {
                        tracing::warn!(%error, "the service was not told that the work goes on");
                    }
                }
            }
        };
        let saying = std::thread::Builder::new().name("at-work".to_owned()).spawn(going_on);
        let saying = saying.map_err(|error| bug("cannot start a thread", &error))?;
        let zone = loaded.configuration.alerts.zone.clone();
        Ok(Some(Self { dialog, stop: Some(stop), saying: Some(saying), since, called_off, zone }))
    }

    /// That the machine is under work.
    pub(in crate::app) fn told(&self, language: Language) -> String {
        words::at_work(language, &self.dialog.machine)
    }

    /// Ends it, and gives what is to be told: until when racks are marked, and that somebody said meanwhile that
    /// the work is over.
    pub(in crate::app) fn end(mut self, language: Language) -> Option<String> {
        let ended = self.leave();
        let machine = &self.dialog.machine;
        match ended?.map(|done| done.worked_on_until) {
            Ok(until) => {
                let until = until.map(|until| minute_and_zone(until.full_minute(), &self.zone));
                let until = until.map(|until| words::at_work_until(language, machine, &until));
                let is_called_off = until.is_none() || self.called_off.load(Ordering::Relaxed);
                let called_off = is_called_off.then(|| work::called_off(language, machine));
                Some(called_off.into_iter().chain(until).collect::<Vec<_>>().join(" "))
            }
            Err(error) => {
                tracing::warn!(%error, "the service was not told that the work has ended");
                None
            }
        }
    }

    /// Says that the dialog has ended, once.
    fn leave(&mut self) -> Option<Result<Done, CallError>> {
        drop(self.stop.take()?);
        // What it told the service must not come behind the end.
        if let Some(saying) = self.saying.take() {
            drop(saying.join());
        }
        Some(self.dialog.say(DialogStands::Ended(self.since)))
    }
}

/// When the service heard of a dialog, by its clock, and how soon it wants to hear again; by the clock of the
/// computer where it does not say so.
fn heard(done: &Done) -> (Timestamp, Duration) {
    let at = done.heard.unwrap_or_else(|| Clock::system().now());
    let after = done.again_s.and_then(|again_s| Duration::try_from_secs_f64(again_s).ok());
    (at, after.unwrap_or(SAID_EVERY).clamp(SAID_AFTER_MIN, SAID_EVERY))
}

impl Drop for AtWork {
    fn drop(&mut self) {
        // The service forgets it by itself.
        drop(self.leave());
    }
}
