//! What the service manager is told: that the gateway is ready, is alive, is stopping.
//!
//! By sd_notify(3), over the socket that systemd names in the environment; without one
//! nothing is told. A sign of life is sent only after the driver answered, so that a
//! gateway that hangs is started anew.

use sd_notify::NotifyState;
use tokio::time::{MissedTickBehavior, interval};

use crate::runtime::driver::Pulse;

/// Tells that records are kept from here on.
pub(super) fn ready() {
    tell(&[NotifyState::Ready]);
}

/// Tells that the last commit is under way.
pub(super) fn stopping() {
    tell(&[NotifyState::Stopping]);
}

/// Gives signs of life, twice in the time that the service manager grants, for as long as
/// the driver turns. Returns at once where none are asked for.
pub(super) async fn keep_alive(pulse: Pulse) {
    let Some(every) = sd_notify::watchdog_enabled().map(|granted| granted / 2) else { return };
    let mut ticks = interval(every);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut was_silent = false;
    loop {
        ticks.tick().await;
        let beats = pulse.beats_within(every).await;
        if beats {
            tell(&[NotifyState::Watchdog]);
        } else if !was_silent {
            tracing::error!("the driver does not answer; the service manager starts the gateway anew");
        }
        was_silent = !beats;
    }
}

fn tell(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::warn!(%error, "the service manager could not be told");
    }
}
