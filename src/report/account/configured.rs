//! What the configurations of a span say: its machines, their hours; and the calibrations in force.

use std::collections::BTreeSet;

use jiff::tz::TimeZone;

use super::build::Question;
use super::{CalibrationAccount, LimitInForce};
use crate::config::recorded::{Recorded, RecordedProbe};
use crate::core::alert::hours::Stretch;
use crate::core::calibration::Calibration;
use crate::core::drift::Rules;
use crate::core::monitored::operating;
use crate::core::on_file::{Missed, OnFile};
use crate::core::record::Record;
use crate::core::time::Timestamp;
use crate::core::wall_clock::{local_date, midnight};
use crate::core::{alert, cycle::plate::Profile};

/// The configurations on record, in order.
#[derive(Debug, Default)]
pub(super) struct Configured {
    /// Those that began before the end of the span, each with the instant from which it was in force.
    in_force: Vec<(Timestamp, Recorded)>,
    /// The newest one of all.
    newest: Option<Recorded>,
    file: OnFile,
    /// Records that cannot be read, in order of the index; those before `missed_next` were heeded.
    missed: Vec<Missed>,
    missed_next: usize,
    calibrations: Vec<(String, CalibrationAccount)>,
}

impl Configured {
    /// Takes the next configuration on record; gives it back where it can be read.
    pub(super) fn take(&mut self, at: Timestamp, toml: &str, to: Timestamp) -> Option<&Recorded> {
        let read = Recorded::read(toml)?;
        if at < to {
            self.in_force.push((at, read.clone()));
        }
        self.newest = Some(read);
        self.follow(at);
        self.newest.as_ref()
    }

    /// Says which calibrations, response tests and amendments cannot be read, in order of the index, before any
    /// record is taken.
    pub(super) fn missing(&mut self, missed: Vec<Missed>) {
        self.missed = missed;
    }

    /// Those.
    pub(super) fn missed(&self) -> &[Missed] {
        &self.missed
    }

    /// Heeds those before this record.
    pub(super) fn heed(&mut self, index: u64) {
        while let Some(&Missed { index: missed, since, kind }) = self.missed.get(self.missed_next)
            && missed < index
        {
            self.missed_next += 1;
            self.file.miss(missed, Some(since), kind);
            self.follow(since);
        }
    }

    /// Takes a calibration, a response test or an amendment.
    pub(super) fn file(&mut self, index: u64, record: &Record) {
        self.file.take(index, record);
        self.follow(record.recorded);
    }

    /// Ends what is not in force any more at `at`, and begins what is.
    fn follow(&mut self, at: Timestamp) {
        let Some(read) = &self.newest else { return };
        let now: Vec<(String, CalibrationAccount)> = read
            .probes
            .iter()
            .map(|probe| (probe.machine.clone(), calibration(probe, &self.file, &read.settings.zone, at)))
            .collect();
        for (_, known) in self.calibrations.iter_mut().filter(|(_, known)| known.until.is_none()) {
            if !now.iter().any(|(_, now)| same(known, now)) {
                known.until = Some(at);
            }
        }
        for (machine, now) in now {
            if !self.calibrations.iter().any(|(_, known)| known.until.is_none() && same(known, &now)) {
                self.calibrations.push((machine, now));
            }
        }
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

    /// Each configuration that was in force in the span so far, with the part of it.
    fn parts<'c>(&'c self, question: &Question) -> impl Iterator<Item = (Stretch, &'c Recorded)> {
        self.parts_of(question.past())
    }

    fn parts_of(&self, span: Stretch) -> impl Iterator<Item = (Stretch, &Recorded)> {
        let ends = self.in_force.iter().skip(1).map(|(at, _)| *at).chain([Timestamp::MAX]);
        self.in_force.iter().zip(ends).filter_map(move |((at, read), end)| {
            let part = Stretch { from: span.from.max(*at), to: span.to.min(end) };
            (part.from < part.to).then_some((part, read))
        })
    }

    /// Names of the machines that are there in the span, be it over or not.
    pub(super) fn machines(&self, question: &Question) -> BTreeSet<String> {
        let whole = Stretch { from: question.from, to: question.to };
        let machines = self.parts_of(whole).flat_map(|(_, read)| &read.machines);
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

    /// The limits of a machine with the permitted concentrations beside them; where those alone changed, the
    /// limits once more, from then on.
    pub(super) fn with_concentrations(&self, name: &str, limits: Vec<LimitInForce>) -> Vec<LimitInForce> {
        let permitted = |read: &Recorded| {
            let machine = read.machine(name)?;
            let range = machine.sanitizer.permitted(machine.sanitizing)?;
            Some([*range.start(), *range.end()])
        };
        let ends: Vec<Timestamp> =
            limits.iter().skip(1).map(|limit| limit.since).chain([Timestamp::MAX]).collect();
        let mut all: Vec<LimitInForce> = Vec::new();
        for (limit, end) in limits.into_iter().zip(ends) {
            let began = self.in_force.iter().rev().find(|(at, _)| *at <= limit.since);
            let mut now = began.and_then(|(_, read)| permitted(read));
            all.push(LimitInForce { concentration_mg_per_l: now, ..limit.clone() });
            for (at, read) in self.in_force.iter().filter(|(at, _)| limit.since < *at && *at < end) {
                if permitted(read) != now {
                    now = permitted(read);
                    all.push(LimitInForce { since: *at, concentration_mg_per_l: now, ..limit.clone() });
                }
            }
        }
        all
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

/// What is in force for a probe at `at`: what is configured, or what is on record.
fn calibration(probe: &RecordedProbe, file: &OnFile, zone: &TimeZone, at: Timestamp) -> CalibrationAccount {
    let on = probe.calibrated_on.and_then(|on| midnight(zone, on));
    let in_force = file.in_force(&probe.channel, on, at);
    let laid_over = RecordedProbe { probe: in_force.laid_over(&probe.probe), ..probe.clone() };
    let configured = CalibrationAccount {
        probe: probe.channel.clone(),
        since: at,
        until: None,
        made: probe.calibrated_on,
        points: probe.points.iter().map(|point| (point.reference.0, point.indicated.0)).collect(),
        offset_c: probe.offset_c,
        uncertainty_c: Some(laid_over.uncertainty_c()),
        tau_s: laid_over.probe.tau.map(|tau| tau.as_secs_f64()),
        record: None,
        doubted: in_force.doubted.is_some(),
        response_doubted: in_force.doubted_response.is_some(),
    };
    let Some(filed) = in_force.calibration.or(in_force.doubted) else { return configured };
    let points = filed.done.points.iter().map(|point| (point.reference_c, point.indicated_c));
    CalibrationAccount {
        made: local_date(zone, filed.done.at),
        points: points.collect(),
        offset_c: match laid_over.probe.calibration {
            Calibration::Offset(offset_c) => Some(offset_c),
            Calibration::None | Calibration::TwoPoint { .. } => None,
        },
        record: Some(filed.index),
        ..configured
    }
}

fn same(known: &CalibrationAccount, now: &CalibrationAccount) -> bool {
    CalibrationAccount { until: None, since: now.since, ..known.clone() } == *now
}
