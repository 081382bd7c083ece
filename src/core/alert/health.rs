//! How the gateway, its probes and its routes are doing.

use super::affected::condition_of;
use super::condition::Condition;
use super::event::Health;
use super::notice::Occasion;
use super::open::Quantity;
use super::raise::{Report, Turn};
use super::state::SITE;
use super::tell::working_routes;
use crate::core::record::{Clearing, Gap, Notification, Outcome};
use crate::core::time::Timestamp;

/// Share above the limit at which a full disk has room again (own choice, so that it does not flap).
const DISK_ROOM: f64 = 1.5;
/// Most routes that are remembered as failing; the oldest is forgotten (own choice).
const FAILING_MAX: usize = 256;

impl Turn<'_> {
    /// How the gateway is doing.
    pub(super) fn health(&mut self, health: Health) {
        let rules = &self.settings.rules;
        let (disk_min, behind_max) = (rules.disk_free_min, rules.series_behind_max);
        if let Some(free) = health.disk_free.filter(|free| free.is_finite()) {
            if free < disk_min {
                let (measured, limit) = (Quantity::Fraction(free), Quantity::Fraction(disk_min));
                self.site(Condition::DiskFilling, self.now, measured, limit);
            } else if free >= disk_min * DISK_ROOM {
                self.clear(SITE, Condition::DiskFilling, Clearing::Recovered);
            }
        }
        if let Some(behind) = health.series_behind {
            if behind > behind_max {
                let measured = Quantity::Seconds(behind.as_secs_f64());
                let limit = Quantity::Seconds(behind_max.as_secs_f64());
                self.site(Condition::SeriesBacklog, self.now.minus(behind), measured, limit);
            } else if behind <= behind_max / 2 {
                self.clear(SITE, Condition::SeriesBacklog, Clearing::Recovered);
            }
        }
        match health.clock_synchronised {
            Some(true) => {
                self.state.clock_bad_since = None;
                self.clear(SITE, Condition::ClockUnsynchronised, Clearing::Recovered);
            }
            Some(false) => {
                self.state.clock_bad_since.get_or_insert(self.now);
                self.clock();
            }
            None => {}
        }
    }

    /// Reports a clock that has been unsynchronised for too long.
    pub(super) fn clock(&mut self) {
        let grace = self.settings.rules.clock_grace;
        if let Some(since) = self.state.clock_bad_since.filter(|since| self.now >= since.plus(grace)) {
            let measured = Quantity::Seconds(self.now.since(since).as_secs_f64());
            let limit = Quantity::Seconds(grace.as_secs_f64());
            self.site(Condition::ClockUnsynchronised, since, measured, limit);
        }
    }

    fn site(&mut self, condition: Condition, since: Timestamp, measured: Quantity, limit: Quantity) {
        let (measured, limit) = (Some(measured), Some(limit));
        self.report(Report { measured, limit, ..Report::new(condition, SITE, since) });
    }

    /// Which records of calibrations cannot be read: those that are new raise, those that matter no more clear.
    pub(super) fn damaged(&mut self, records: &[u64]) {
        let found: Vec<String> = records.iter().map(u64::to_string).collect();
        let known: Vec<String> = match self.state.open(SITE, Condition::RecordDamaged) {
            Some(open) if open.alert.cleared.is_none() => open.alert.about.clone(),
            Some(_) | None => Vec::new(),
        };
        for record in found.iter().filter(|record| !known.contains(record)) {
            let about = Some(record.clone());
            self.report(Report { about, ..Report::new(Condition::RecordDamaged, SITE, self.now) });
        }
        for record in known.iter().filter(|record| !found.contains(record)) {
            self.resolve(SITE, Condition::RecordDamaged, record);
        }
    }

    /// A gap of a probe began, changed its cause, or ended.
    pub(super) fn gap(&mut self, machine: &str, gap: &Gap) {
        let this = condition_of(gap.fault);
        let other =
            if this == Condition::ProbeSilent { Condition::ProbeFault } else { Condition::ProbeSilent };
        self.resolve(machine, other, &gap.probe);
        if gap.to.is_some() {
            self.resolve(machine, this, &gap.probe);
            return;
        }
        let settings = self.settings.machines.get(machine);
        let place = settings.and_then(|machine| machine.place_of(&gap.probe));
        let about = Some(gap.probe.clone());
        self.report(Report { place, about, ..Report::new(this, machine, gap.from) });
    }

    /// A letter was delivered or given up.
    pub(super) fn letter(&mut self, letter: &Notification) {
        let route = letter.route.to_string();
        match letter.outcome {
            Outcome::Delivered => {
                self.state.failing.retain(|(failing, _)| *failing != letter.route);
                self.resolve(SITE, Condition::Undelivered, &route);
            }
            Outcome::GivenUp => {
                self.state.failing.retain(|(failing, _)| *failing != letter.route);
                if self.state.failing.len() >= FAILING_MAX {
                    self.state.failing.remove(0);
                }
                self.state.failing.push((letter.route.clone(), self.now));
                self.go_on_without(letter);
                let about_itself = letter.alert.and_then(|alert| self.state.subject_of(alert));
                let about_itself =
                    about_itself.is_some_and(|(_, condition)| condition == Condition::Undelivered);
                if !about_itself && letter.occasion != Some(Occasion::Test) {
                    let report = Report {
                        measured: Some(Quantity::Count(u64::from(letter.attempts))),
                        about: Some(route),
                        ..Report::new(Condition::Undelivered, SITE, self.now)
                    };
                    self.report(report);
                }
            }
        }
    }

    /// Where none of those who were told can be reached, the next step is told at once.
    fn go_on_without(&mut self, letter: &Notification) {
        let Some((machine, condition)) = letter.alert.and_then(|alert| self.state.subject_of(alert)) else {
            return;
        };
        let Some(open) = self.state.open(&machine, condition) else { return };
        let told = self.settings.contacts.iter().filter(|c| open.telling.told.contains(&c.name));
        let reached = told.into_iter().any(|c| !working_routes(self.state, c, self.now).is_empty());
        if !reached && open.alert.wants_somebody() && open.telling.next_step.is_some() {
            self.escalate(&machine, condition);
        }
    }

    /// The judging of a machine failed: nothing is proven until it goes on.
    pub(super) fn judging_failed(&mut self, machine: &str) {
        let about = Some("judging".to_owned());
        self.report(Report { about, ..Report::new(Condition::Unproven, machine, self.now) });
    }
}
