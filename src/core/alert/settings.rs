//! What the site wants to be told of, and when.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::condition::Condition;
use super::contact::Contact;
use super::hours::Hours;
use crate::core::channel::Place;
use crate::core::cycle::plate::Sanitizing;
use crate::core::on_file::OnFile;
use crate::core::record::CheckKind;
use crate::core::sanitizer;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;

/// Everything the desk needs from the configuration.
#[derive(Clone, PartialEq, Debug)]
pub struct Settings {
    /// Zone of every local time.
    pub zone: TimeZone,
    /// The machines by name.
    pub machines: BTreeMap<String, MachineSettings>,
    /// The contacts in order of the configuration.
    pub contacts: Vec<Contact>,
    /// Shifts: a sanitizer check is due at each start, a supply check at the first of the day.
    pub shifts: Vec<Period>,
    /// Meal periods: drain-and-clean is due at each end.
    pub meal_periods: Vec<Period>,
    /// When ware is washed: at each start the tanks must be up to temperature. `None` asks for no tank.
    pub open: Option<Hours>,
    /// Thresholds and times.
    pub rules: Rules,
}

/// A shift or a meal period.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Period {
    /// Its name.
    pub name: String,
    /// When it is.
    pub hours: Hours,
}

/// One machine, as far as alerts must know it.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct MachineSettings {
    /// Its chemical and what may be of it, so that a check of it is needed; `None` where hot water sanitizes.
    pub sanitizer: Option<(Sanitizing, sanitizer::Rules)>,
    /// Lowest permitted wash; `None` where no probe sits in the wash tank.
    pub tank_min: Option<Celsius>,
    /// Channel name of the final-rinse probe.
    pub rinse_probe: Option<String>,
    /// Channel name of the wash-tank probe.
    pub wash_probe: Option<String>,
    /// Last day on which the calibration of each probe holds, by channel name; those without a date are absent.
    pub calibrated_until: BTreeMap<String, Date>,
    /// Every temperature probe by channel name, with the midnight of the day on which the
    /// configuration says that it was calibrated.
    pub calibrated_on: BTreeMap<String, Option<Timestamp>>,
}

impl MachineSettings {
    /// The place of a probe, where it is the one that cycles are judged by.
    #[must_use]
    pub fn place_of(&self, probe: &str) -> Option<Place> {
        if self.rinse_probe.as_deref() == Some(probe) {
            Some(Place::FinalRinse)
        } else if self.wash_probe.as_deref() == Some(probe) {
            Some(Place::WashTank)
        } else {
            None
        }
    }
}

impl Settings {
    /// These settings with the newest calibrations on record laid over those of the configuration.
    #[must_use]
    pub fn with_on_file(&self, file: &OnFile) -> Self {
        let mut settings = self.clone();
        for machine in settings.machines.values_mut() {
            for (probe, on) in &machine.calibrated_on {
                let Some(filed) = file.in_force(probe, *on, Timestamp::MAX).calibration else { continue };
                match filed.done.until.as_deref().and_then(|day| day.parse().ok()) {
                    Some(day) => machine.calibrated_until.insert(probe.clone(), day),
                    None => machine.calibrated_until.remove(probe),
                };
            }
        }
        settings
    }
}

/// Thresholds and times, each with its default and reason in the table of [`super`].
#[derive(Clone, PartialEq, Debug)]
pub struct Rules {
    /// Conditions that raise nothing.
    pub off: BTreeSet<Condition>,
    /// Checks that are asked for.
    pub checks: BTreeSet<CheckKind>,
    /// Good cycles in a row after which cold, brief, wash low, rinse hot and narrow clear.
    pub good_cycles: u32,
    /// Bad cycles in a row that make a pattern [`super::Pattern::Repeated`].
    pub repeated: u32,
    /// Time since the last rinse after which the next cycle is the first after idle.
    pub idle: Duration,
    /// Narrow passes in a row that raise.
    pub narrow: u32,
    /// Unproven cycles in a row that raise.
    pub unproven: u32,
    /// Cycles from which the charts learn what is usual.
    pub drift_baseline: u32,
    /// Smallest shift that is called drifting, K.
    pub drift_min_k: f64,
    /// Time a tank has after opening.
    pub tank_grace: Duration,
    /// Time a check has after it is due.
    pub check_grace: Duration,
    /// Free share of the disk below which it is filling.
    pub disk_free_min: f64,
    /// How long the clock may be unsynchronised.
    pub clock_grace: Duration,
    /// How old the oldest waiting reading of the series may get.
    pub series_behind_max: Duration,
    /// Time a step has to acknowledge before the next is told.
    pub escalate_after: Duration,
    /// Time from the last step until the steps start over.
    pub start_over_after: Duration,
    /// How often the steps are gone through.
    pub rounds: u8,
    /// Least time between two messages that only tell more of the same.
    pub summary_every: Duration,
    /// How long a condition must stay away before its alert closes; within it, it comes back as the same alert.
    pub settle: Duration,
    /// Time after recovery from which a missing corrective action is asked for, and between two such messages.
    pub action_reminder: Duration,
    /// Longest maintenance window.
    pub maintenance_max: Duration,
}

const fn minutes(minutes: u64) -> Duration {
    Duration::from_secs(minutes * 60)
}

impl Default for Rules {
    fn default() -> Self {
        Self {
            off: BTreeSet::new(),
            checks: BTreeSet::from(CheckKind::ROUTINE),
            good_cycles: 3,
            repeated: 2,
            idle: minutes(20),
            narrow: 5,
            unproven: 3,
            drift_baseline: 50,
            drift_min_k: 0.5,
            tank_grace: minutes(15),
            check_grace: minutes(30),
            disk_free_min: 0.1,
            clock_grace: minutes(60),
            series_behind_max: minutes(60),
            escalate_after: minutes(10),
            start_over_after: minutes(30),
            rounds: 3,
            summary_every: minutes(60),
            settle: minutes(30),
            action_reminder: minutes(4 * 60),
            maintenance_max: minutes(24 * 60),
        }
    }
}
