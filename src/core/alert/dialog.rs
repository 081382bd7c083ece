//! A dialog at a probe, which puts its machine under work by itself.
//!
//! What a probe shows in ice, in a pot or in a hand is no rack, so its machine has a maintenance window as long
//! as the dialog lives. A dialog that was killed cannot end it. So the window is short, and whoever leads the
//! dialog says every [`SAID_EVERY`] that it goes on; it is prolonged only where little of it is left, for as
//! long as the dialog has lasted by then. Its records are few: ten in the first hour. A killed dialog
//! marks racks for about as long again as it has lasted, `LEAST` after it was killed at least, `MOST` at most.
//!
//! Whoever says by hand that the work is over is believed: a dialog that began before marks the machine no more,
//! and learns so from the answer, which names no time.

use std::time::Duration;

use super::event::{DialogStands, Refusal};
use super::people::entered;
use super::raise::Turn;
use super::state::Window;
use crate::core::record::{Body, DialogWork, Maintenance};
use crate::core::time::Timestamp;

/// How often whoever leads a dialog says that it goes on (own choice).
pub const SAID_EVERY: Duration = Duration::from_secs(60);
/// What is left of the window after the end of the dialog, however it ends: the probe is put back, and the line
/// cools (own choice: two racks).
pub const LEAST: Duration = Duration::from_secs(180);
/// Longest window (own choice: that of one step of a dialog, see [`crate::core::technician::STEP_MAX`]).
const MOST: Duration = Duration::from_secs(900);
/// A window that lasts so much longer is not prolonged: who kills the dialog just before its next word leaves
/// [`LEAST`] of it. So long is the first one.
const ENOUGH: Duration = LEAST.saturating_add(SAID_EVERY);
/// One that is prolonged lasts at least so much longer: the next word makes no record.
const PROLONGED_MIN: Duration = ENOUGH.saturating_add(SAID_EVERY);

impl Turn<'_> {
    /// A dialog begins, goes on or ends. Its beginning is always on record; nobody's window gets shorter by it
    /// that was asked for by hand.
    pub(super) fn dialog(
        &mut self,
        machine: &str,
        stands: DialogStands,
        by: &str,
        why: &str,
    ) -> Result<(), Refusal> {
        let (by, why) = (entered("the name of the person", by)?, entered("what is done", why)?);
        if !self.settings.machines.contains_key(machine) {
            return Err(Refusal::UnknownMachine { machine: machine.to_owned() });
        }
        let now = self.now;
        let is_called_off = |since: Timestamp| {
            self.state.called_off.get(machine).is_some_and(|called_off| since <= *called_off)
        };
        match stands {
            DialogStands::GoesOn(since) | DialogStands::Ended(since) if is_called_off(since) => return Ok(()),
            DialogStands::Begins | DialogStands::GoesOn(_) | DialogStands::Ended(_) => {}
        }
        let longest = self.settings.rules.maintenance_max;
        let open = self.state.windows.iter().position(|window| window.machine.as_deref() == Some(machine));
        let window = open.and_then(|place| self.state.windows.get(place));
        let until = window.map_or(now, |window| window.until);
        let by_hand = window.is_some_and(|window| !window.by_dialog);
        // What was asked for by hand stays, also where a dialog has made it longer.
        let asked = if by_hand { Some(until) } else { window.and_then(|window| window.by_hand) };
        let least = now.plus(LEAST.min(longest));
        let target = match stands {
            DialogStands::Begins => now.plus(ENOUGH.min(longest)).max(until),
            DialogStands::GoesOn(_) if until >= now.plus(ENOUGH) => return Ok(()),
            DialogStands::GoesOn(since) => {
                now.plus(now.since(since).clamp(PROLONGED_MIN, MOST).min(longest)).max(until)
            }
            DialogStands::Ended(_) if by_hand && until >= least => return Ok(()),
            DialogStands::Ended(_) => asked.map_or(least, |asked| asked.max(least)),
        };
        let by_dialog = !by_hand || target > until;
        let begun = window.map(|window| window.begun);
        match open.and_then(|place| self.state.windows.get_mut(place)) {
            Some(window) => {
                (window.until, window.by_dialog, window.by_hand) = (target, by_dialog, asked);
                window.note(&by, Some(&why));
            }
            None => {
                let machine = Some(machine.to_owned());
                let mut window = Window::new(machine, target, now);
                window.by_dialog = by_dialog;
                window.note(&by, Some(&why));
                self.state.windows.push(window);
            }
        }
        let dialog = match stands {
            DialogStands::Begins => None,
            // The first word that was heard begins it.
            DialogStands::GoesOn(_) | DialogStands::Ended(_) if begun.is_none() => None,
            DialogStands::GoesOn(_) => Some(DialogWork::GoesOn),
            DialogStands::Ended(_) => Some(DialogWork::Over),
        };
        self.record(
            machine,
            Body::Maintenance(Maintenance {
                until: target,
                by: Some(by),
                why: Some(why),
                ended: false,
                begun: begun.flatten(),
                dialog,
                worked: Vec::new(),
            }),
        );
        Ok(())
    }
}
