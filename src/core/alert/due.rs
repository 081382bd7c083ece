//! Which checks are due: the plan of shifts and meal periods, and what of it is to be done now.
//!
//! | check | due | counts where made |
//! |---|---|---|
//! | sanitizer | at the start of each shift | from `CHECK_LEAD` before it |
//! | supply | at the start of the first shift of a day | from midnight |
//! | drain and clean | at the end of each meal period | from `DRAIN_LEAD` before it |
//!
//! A test of the sanitizer that failed and a comparison that found a thermometer off are to be made again, until a
//! good one is on record (or, of a probe, a calibration): whatever the plan asks. They are due since they failed.
//!
//! Shifts and meal periods are told by the clock on the wall ([`super::hours`]), so that on the
//! nights of the change each happens once; a meal that lies inside the hour which is skipped in
//! spring does not happen, and nothing is due for it.

use std::time::Duration;

use jiff::civil::Date;
use serde::Serialize;

use super::desk::Desk;
use super::hours::Stretch;
use super::settings::{Period, Settings};
use super::state::{Compared, Due, Memory};
use crate::core::record::CheckKind;
use crate::core::time::Timestamp;
use crate::core::wall_clock::{local_date, midnight};

/// How long before a shift its sanitizer check may be made (own choice: while the machine is filled and heated).
pub(super) const CHECK_LEAD: Duration = Duration::from_secs(3_600);
/// How long before the end of a meal draining counts for it (own choice).
const DRAIN_LEAD: Duration = Duration::from_secs(1_800);

/// A check that the plan asks for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Planned {
    pub(super) kind: CheckKind,
    pub(super) due: Due,
    /// End of the shift or meal period that asks for it.
    pub(super) until: Timestamp,
}

/// What the site asks for from two days before `now` to two days after it, in order of time for
/// each kind.
pub(super) fn planned(settings: &Settings, now: Timestamp) -> Vec<Planned> {
    let mut all = Vec::new();
    let mut days: Vec<Date> = Vec::new();
    for shift in stretches(settings, &settings.shifts, now) {
        let (at, until) = (shift.from, shift.to);
        let due = Due { at, counts_from: at.minus(CHECK_LEAD) };
        all.push(Planned { kind: CheckKind::Sanitizer, due, until });
        let Some(day) = local_date(&settings.zone, at).filter(|day| !days.contains(day)) else { continue };
        days.push(day);
        let Some(counts_from) = midnight(&settings.zone, day) else { continue };
        all.push(Planned { kind: CheckKind::Supply, due: Due { at, counts_from }, until });
    }
    for meal in stretches(settings, &settings.meal_periods, now) {
        let due = Due { at: meal.to, counts_from: meal.to.minus(DRAIN_LEAD).max(meal.from) };
        all.push(Planned { kind: CheckKind::DrainAndClean, due, until: meal.to });
    }
    all.retain(|planned| settings.rules.checks.contains(&planned.kind));
    all
}

fn stretches(settings: &Settings, periods: &[Period], now: Timestamp) -> Vec<Stretch> {
    let of = |period: &Period| period.hours.around(&settings.zone, now, 2, 2);
    let mut stretches: Vec<Stretch> = periods.iter().flat_map(of).collect();
    stretches.sort_unstable();
    stretches
}

impl Memory {
    /// Whether the machine was used so that this check was needed.
    pub(super) fn was_used(&self, kind: CheckKind, due: Due) -> bool {
        match kind {
            CheckKind::Sanitizer | CheckKind::Supply | CheckKind::Thermometer => {
                self.last_rinse.is_some_and(|rinse| rinse >= due.counts_from)
            }
            CheckKind::DrainAndClean => self.dirty_since.is_some_and(|since| since < due.at),
        }
    }

    /// Whether the check was made.
    pub(super) fn was_checked(&self, kind: CheckKind, due: Due) -> bool {
        self.checked.get(&kind).is_some_and(|made| *made >= due.counts_from)
    }
}

/// A check that is to be made now.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct DueCheck {
    /// At which machine.
    pub machine: String,
    /// Which.
    pub check: CheckKind,
    /// When it was due; it may still lie ahead where the check counts already.
    pub since: Timestamp,
    /// Whether its grace is over, so that it is a finding on record.
    pub overdue: bool,
    /// What failed and is to be made again; absent where the plan alone asks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub again: Option<Again>,
}

/// A check that failed, with no good one after it.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Again {
    /// Index of its record.
    pub record: u64,
    /// When it was made.
    pub at: Timestamp,
    /// Which thermometer was off; absent of the sanitizer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub what: Option<String>,
}

impl Desk {
    /// The checks that are due or overdue at `now`, by machine, those that failed among them.
    ///
    /// A machine that stands still needs none, but before the first rack of a shift it does; what failed is to be
    /// made again however it stands.
    #[must_use]
    pub fn due_checks(&self, now: Timestamp) -> Vec<DueCheck> {
        let nothing = Memory::default();
        let planned = planned(&self.settings, now);
        // What failed is due from then on, with the grace of every check.
        let grace = self.settings.rules.check_grace;
        let failed = |again: &Again| (again.at, now >= again.at.plus(grace));
        let mut due = Vec::new();
        for (machine, own) in &self.settings.machines {
            let memory = self.state.machines.get(machine).unwrap_or(&nothing);
            let entry = |check, (since, overdue), again| DueCheck {
                machine: machine.clone(),
                check,
                since,
                overdue,
                again,
            };
            for check in CheckKind::ALL {
                if check == CheckKind::Sanitizer && own.sanitizer.is_none() {
                    continue;
                }
                let asked = memory.asked(check, &planned, now);
                match memory.to_test_again().filter(|_| check == CheckKind::Sanitizer) {
                    Some(again) => due.push(entry(check, earlier(asked, failed(&again)), Some(again))),
                    None => due.extend(asked.map(|asked| entry(check, asked, None))),
                }
            }
            let again = memory.to_compare_again().into_iter();
            due.extend(again.map(|again| entry(CheckKind::Thermometer, failed(&again), Some(again))));
        }
        due
    }
}

/// Since when a check is due that failed, and that the plan may ask for as well; a shift that begins puts nothing off.
fn earlier(asked: Option<(Timestamp, bool)>, failed: (Timestamp, bool)) -> (Timestamp, bool) {
    asked.map_or(failed, |asked| (asked.0.min(failed.0), asked.1 || failed.1))
}

impl Memory {
    /// Since when the plan asks for this check, and whether it is overdue; `None` where it does not.
    fn asked(&self, check: CheckKind, planned: &[Planned], now: Timestamp) -> Option<(Timestamp, bool)> {
        if let Some(counts_from) = self.missing.get(&check) {
            return Some((*self.overdue.get(&check).unwrap_or(counts_from), true));
        }
        let begun = |planned: &&Planned| planned.kind == check && planned.due.counts_from <= now;
        let latest = planned.iter().rev().find(begun)?;
        let used = self.was_used(check, latest.due);
        let wanted = match check {
            CheckKind::Sanitizer | CheckKind::Supply | CheckKind::Thermometer => used || now < latest.until,
            CheckKind::DrainAndClean => used,
        };
        (wanted && !self.was_checked(check, latest.due)).then_some((latest.due.at, false))
    }

    /// The test of the sanitizer that failed, where it is the latest that counts.
    fn to_test_again(&self) -> Option<Again> {
        let latest = self.latest_test().filter(|latest| !latest.good)?;
        Some(Again { record: latest.index, at: latest.at, what: None })
    }

    /// The latest comparison of each thermometer that it found off, the oldest first.
    fn to_compare_again(&self) -> Vec<Again> {
        let mut latest: Vec<&Compared> = Vec::new();
        for one in self.compared.iter().filter(|one| !one.withdrawn) {
            match latest.iter_mut().find(|known| known.what == one.what) {
                Some(known) if (known.at, known.index) > (one.at, one.index) => {}
                Some(known) => *known = one,
                None => latest.push(one),
            }
        }
        latest.retain(|one| !one.good);
        latest.sort_by_key(|one| (one.at, one.index));
        let again = |one: &Compared| Again { record: one.index, at: one.at, what: Some(one.what.clone()) };
        latest.into_iter().map(again).collect()
    }
}
