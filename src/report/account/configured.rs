//! What the configurations of a span say: its machines, their hours, the calibrations in force.

use std::collections::BTreeSet;

use super::CalibrationAccount;
use super::build::Question;
use crate::config::recorded::{Recorded, RecordedProbe};
use crate::core::alert::hours::Stretch;
use crate::core::drift::Rules;
use crate::core::monitored::operating;
use crate::core::time::Timestamp;
use crate::core::{alert, cycle::plate::Profile};

/// The configurations on record, in order.
#[derive(Debug, Default)]
pub(super) struct Configured {
    /// Those that began before the end of the span, each with the instant from which it was in force.
    in_force: Vec<(Timestamp, Recorded)>,
    /// The newest one of all.
    newest: Option<Recorded>,
    calibrations: Vec<(String, CalibrationAccount)>,
}

impl Configured {
    /// Takes the next configuration on record; gives it back where it can be read.
    pub(super) fn take(&mut self, at: Timestamp, toml: &str, to: Timestamp) -> Option<&Recorded> {
        let read = Recorded::read(toml)?;
        for (_, known) in self.calibrations.iter_mut().filter(|(_, known)| known.until.is_none()) {
            if !read.probes.iter().any(|probe| same(known, probe)) {
                known.until = Some(at);
            }
        }
        for probe in &read.probes {
            if !self.calibrations.iter().any(|(_, known)| known.until.is_none() && same(known, probe)) {
                self.calibrations.push((probe.machine.clone(), calibration(probe, at)));
            }
        }
        if at < to {
            self.in_force.push((at, read.clone()));
        }
        Some(self.newest.insert(read))
    }

    /// The newest of those that were taken.
    pub(super) const fn latest(&self) -> Option<&Recorded> {
        self.newest.as_ref()
    }

    /// The rules of the charts.
    pub(super) fn drift_rules(&self) -> Rules {
        let rules = self.in_force.last().map(|(_, read)| &read.settings.rules);
        rules.map_or_else(|| Rules::of(&alert::Rules::default()), Rules::of)
    }

    /// Each configuration that was in force in the span, with the part of it.
    fn parts<'c>(&'c self, question: &Question) -> impl Iterator<Item = (Stretch, &'c Recorded)> {
        let span = question.past();
        let ends = self.in_force.iter().skip(1).map(|(at, _)| *at).chain([Timestamp::MAX]);
        self.in_force.iter().zip(ends).filter_map(move |((at, read), end)| {
            let part = Stretch { from: span.from.max(*at), to: span.to.min(end) };
            (part.from < part.to).then_some((part, read))
        })
    }

    /// Names of the machines that were there in the span.
    pub(super) fn machines(&self, question: &Question) -> BTreeSet<String> {
        let machines = self.parts(question).flat_map(|(_, read)| &read.machines);
        machines.map(|machine: &Profile| machine.name.clone()).collect()
    }

    /// When this machine should have been watched. Without a configuration on record that is
    /// since `began`, the first record.
    pub(super) fn operating(&self, name: &str, question: &Question, began: Timestamp) -> Vec<Stretch> {
        if self.in_force.is_empty() {
            let span = question.past();
            let all = Stretch { from: span.from.max(began), to: span.to };
            return if all.from < all.to { vec![all] } else { Vec::new() };
        }
        let parts = self.parts(question).filter(|(_, read)| read.machine(name).is_some());
        parts.flat_map(|(part, read)| operating(&read.settings, part)).collect()
    }

    /// The calibrations that were in force at some time of the span.
    pub(super) fn calibrations(self, question: &Question) -> Vec<CalibrationAccount> {
        let inside = |known: &CalibrationAccount| {
            known.since < question.to && known.until.is_none_or(|until| until > question.from)
        };
        let wanted =
            |(machine, known): &(String, CalibrationAccount)| question.wants(Some(machine)) && inside(known);
        self.calibrations.into_iter().filter(wanted).map(|(_, known)| known).collect()
    }
}

fn calibration(probe: &RecordedProbe, since: Timestamp) -> CalibrationAccount {
    CalibrationAccount {
        probe: probe.channel.clone(),
        since,
        until: None,
        made: probe.calibrated_on,
        points: probe.points.iter().map(|point| (point.reference.0, point.indicated.0)).collect(),
        offset_c: probe.offset_c,
        uncertainty_c: Some(probe.uncertainty_c),
        tau_s: probe.tau_s,
    }
}

fn same(known: &CalibrationAccount, probe: &RecordedProbe) -> bool {
    CalibrationAccount { until: None, ..known.clone() } == calibration(probe, known.since)
}
