//! What of imported readings is judged, and how.
//!
//! Readings newer than what their machine has been judged up to go through the machine as
//! it is, as if a node had sent them late. Older ones are stored; where the record holds no
//! reading at all over a stretch, a machine without a past is shown everything around it,
//! what is on record and what is new, in order of time, and its cycles with their rinse in
//! such a stretch go on record. Cycles that overlap one on record do not: no rack twice. Probes are
//! corrected by the calibration that was in force when they measured.

use std::ops::ControlFlow;
use std::time::Duration;

use crate::config::resolve::Configuration;
use crate::core::effect::{Effect, Effects};
use crate::core::id::MachineId;
use crate::core::machine::Work;
use crate::core::on_file::OnFile;
use crate::core::reading::Sample;
use crate::core::record::{AmendmentChange, Body, Check, Cycle, Record};
use crate::core::site::{Entered, Event, Site};
use crate::core::time::Timestamp;
use crate::ledger::{CycleFilter, LedgerError, NewRecord, Reader};

/// A machine was not watched where its record has no reading for so long (own choice: longer
/// than the silence after which a probe counts as gone).
const GAP_MIN: Duration = Duration::from_secs(15);
/// So much of the record before and after is shown with the new readings, so that a cycle at the
/// seam is seen as a whole (own choice: the longest data-plate cycle and an idle line before it).
const CONTEXT: Duration = Duration::from_secs(15 * 60);
/// Checks so much older than the readings can still count for them (own choice, above any shift).
const CHECKS_BEFORE: Duration = Duration::from_secs(48 * 3600);

/// A span without a reading on record, its ends left out.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Stretch {
    pub(super) from: Timestamp,
    pub(super) to: Timestamp,
}

impl Stretch {
    fn holds(self, at: Timestamp) -> bool {
        self.from < at && at < self.to
    }
}

/// The stretches that nothing on record is of and something new is, in order of time. `watched` and
/// `new` are in order; what is before `from` or after `to` does not count.
pub(super) fn unwatched(
    watched: &[Timestamp],
    new: &[Timestamp],
    from: Timestamp,
    to: Timestamp,
) -> Vec<Stretch> {
    let inside = watched.iter().copied().filter(|at| from < *at && *at < to);
    let ends: Vec<Timestamp> = std::iter::once(from).chain(inside).chain([to]).collect();
    let gap = |pair: &[Timestamp]| Stretch { from: pair[0], to: pair[1] };
    ends.windows(2)
        .map(gap)
        .filter(|stretch| stretch.to.since(stretch.from) >= GAP_MIN)
        .filter(|stretch| {
            let first = new.partition_point(|at| *at <= stretch.from);
            new.get(first).is_some_and(|at| stretch.holds(*at))
        })
        .collect()
}

/// What judging the past came to.
#[derive(Debug, Default)]
pub(super) struct Judged {
    /// Cycles that go on record.
    pub(super) records: Vec<NewRecord>,
    /// Cycles that overlap one on record.
    pub(super) known: u64,
}

/// One machine, its record, and what is new of it.
pub(super) struct Past<'a> {
    pub(super) configuration: &'a Configuration,
    pub(super) reader: &'a Reader,
    /// The calibrations and response tests on record.
    pub(super) file: &'a OnFile,
    pub(super) machine: MachineId,
    /// When somebody worked on it.
    pub(super) work: &'a [Work],
    /// New readings in order of time, none newer than `released`.
    pub(super) samples: &'a [Sample],
    /// Up to when the machine was judged.
    pub(super) released: Timestamp,
    /// Readings older than this were pruned: whether anybody watched cannot be told.
    pub(super) pruned: Timestamp,
    pub(super) now: Timestamp,
}

impl Past<'_> {
    /// Judges what nobody watched.
    ///
    /// # Errors
    /// The ledger's.
    pub(super) fn judge(&self) -> Result<Judged, LedgerError> {
        let (Some(first), Some(last)) = (self.samples.first(), self.samples.last()) else {
            return Ok(Judged::default());
        };
        let (from, to) = (first.at.minus(CONTEXT), last.at.plus(CONTEXT));
        let kept = self.on_record(from, to)?;
        let times = |samples: &[Sample]| samples.iter().map(|sample| sample.at).collect::<Vec<_>>();
        let stretches = unwatched(&times(&kept), &times(self.samples), self.pruned, self.released);
        if stretches.is_empty() {
            return Ok(Judged::default());
        }
        let mut all = kept;
        all.extend(self.samples);
        all.sort_by_key(|sample| sample.at);
        let known = self.cycles(from, to)?;
        let mut judged = Judged::default();
        for record in self.run(&all, &self.checks(from, to)?) {
            let Body::Cycle(cycle) = &record.record.body else { continue };
            if !stretches.iter().any(|s| s.holds(cycle.rinse_started) || s.holds(cycle.rinse_ended)) {
                continue;
            }
            if known.iter().any(|known| overlap(known, cycle)) {
                judged.known += 1;
            } else {
                judged.records.push(record);
            }
        }
        Ok(judged)
    }

    fn name(&self) -> &str {
        &self.configuration.machines[usize::from(self.machine.0)].name
    }

    /// The machine's readings on record, in order of time.
    fn on_record(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Sample>, LedgerError> {
        let mut samples = Vec::new();
        for channel in self.configuration.channels.iter().filter(|channel| channel.machine == self.machine) {
            let readings = self.reader.readings(&channel.name.to_string(), from, to)?;
            let own = readings.iter().map(|reading| Sample {
                channel: channel.id,
                at: reading.at,
                value: reading.value,
            });
            samples.extend(own);
        }
        samples.sort_by_key(|sample| sample.at);
        Ok(samples)
    }

    fn cycles(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Cycle>, LedgerError> {
        let filter = CycleFilter {
            machine: Some(self.name().to_owned()),
            from: Some(from),
            to: Some(to),
            ..CycleFilter::default()
        };
        let mut cycles = Vec::new();
        self.reader.cycles(&filter, |_, _, record| {
            if let Body::Cycle(cycle) = record.body {
                cycles.push(*cycle);
            }
            ControlFlow::Continue(())
        })?;
        Ok(cycles)
    }

    /// The concentrations on file, as people and amendments have them, in order of time.
    fn checks(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Check>, LedgerError> {
        let mut checks: Vec<(u64, Option<Check>)> = Vec::new();
        self.reader.records_of(&["check", "amendment"], 0, |index, _, record| {
            if let Body::Amendment(amendment) = record.body {
                amend(&mut checks, amendment.of, amendment.change);
            } else if let Body::Check(check) = record.body
                && record.machine.as_deref() == Some(self.name())
            {
                checks.push((index, Some(check)));
            }
            ControlFlow::Continue(())
        })?;
        let mut checks: Vec<Check> = checks.into_iter().filter_map(|(_, check)| check).collect();
        let from = from.minus(CHECKS_BEFORE);
        checks.retain(|check| {
            matches!(check, Check::Sanitizer { .. }) && from <= check.at() && check.at() < to
        });
        checks.sort_by_key(Check::at);
        Ok(checks)
    }

    /// What a machine without a past makes of this.
    fn run(&self, samples: &[Sample], checks: &[Check]) -> Vec<NewRecord> {
        let mut site = Site::new(&self.configuration.machines, &self.configuration.channels);
        site.follow(self.configuration.course(self.file));
        let mut effects = Effects::new();
        let mut found = Vec::new();
        site.enter(self.now, self.machine, Entered::Work(self.work.to_vec()), &mut effects);
        let mut checks = checks.iter().peekable();
        for sample in samples {
            while let Some(check) = checks.next_if(|check| check.at() <= sample.at) {
                site.enter(self.now, self.machine, Entered::Check(check.clone()), &mut effects);
            }
            site.handle(self.now, Event::Sample(*sample), &mut effects);
            take(&mut effects, &mut found);
        }
        site.handle(self.now, Event::End(self.machine), &mut effects);
        take(&mut effects, &mut found);
        found
    }
}

/// What counts after an amendment: the newest one of a check, also where two came at one instant.
fn amend(checks: &mut [(u64, Option<Check>)], of: u64, change: AmendmentChange) {
    let Some((_, check)) = checks.iter_mut().find(|(index, _)| *index == of) else { return };
    match change {
        AmendmentChange::Comment => {}
        AmendmentChange::Withdrawn => *check = None,
        AmendmentChange::Corrected(corrected) => *check = Some(corrected),
    }
}

/// Whether two cycles share a part of their final rinse.
fn overlap(known: &Cycle, new: &Cycle) -> bool {
    known.rinse_started <= new.rinse_ended && new.rinse_started <= known.rinse_ended
}

/// Keeps cycles and failures of the judging; the rest is on record as it was at its time.
fn take(effects: &mut Effects, found: &mut Vec<NewRecord>) {
    for effect in effects.drain(..) {
        if let Effect::Record { record, trace } = effect {
            if let Body::MachineFailure(failure) = &record.body {
                tracing::error!(cause = %failure.cause, "a mistake in rinseward ended the judging; please report it");
            }
            if is_cycle(&record) {
                found.push(NewRecord { record: *record, trace: trace.map(|trace| *trace) });
            }
        }
    }
}

fn is_cycle(record: &Record) -> bool {
    matches!(record.body, Body::Cycle(_))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own rule: the newest amendment counts. Two may be on record of one instant, each made from what
    // was on record before the other.
    #[test]
    fn the_newest_amendment_counts() {
        let supply = |enough| Check::Supply {
            at: Timestamp::from_micros(0),
            enough,
            short: Vec::new(),
            note: None,
            by: "ana".to_owned(),
        };
        let corrected = || AmendmentChange::Corrected(supply(false));
        for (changes, expected) in [
            (vec![AmendmentChange::Comment], Some(supply(true))),
            (vec![corrected()], Some(supply(false))),
            (vec![corrected(), AmendmentChange::Withdrawn], None),
            (vec![AmendmentChange::Withdrawn, corrected()], Some(supply(false))),
            (vec![AmendmentChange::Withdrawn, AmendmentChange::Comment], None),
        ] {
            let mut checks = vec![(7, Some(supply(true)))];
            changes.iter().for_each(|change| amend(&mut checks, 7, change.clone()));
            amend(&mut checks, 8, AmendmentChange::Withdrawn);
            assert_eq!(checks, [(7, expected)], "{changes:?}");
        }
    }

    // Own rule: a stretch is what lies between two readings on record at least 15 s apart, where
    // something new is of it.
    #[test]
    fn stretches_are_where_nobody_watched() {
        let at = |seconds: i64| Timestamp::from_micros(seconds * 1_000_000);
        let every = |seconds: &[i64]| seconds.iter().map(|s| at(*s)).collect::<Vec<_>>();
        // (on record, new, stretches), watched from 0 to 1000
        type Row<'a> = (&'a [i64], &'a [i64], &'a [(i64, i64)]);
        let rows: [Row<'_>; 8] = [
            (&[], &[], &[]),
            (&[], &[500], &[(0, 1000)]),
            (&[100, 200], &[150], &[(100, 200)]),
            (&[100, 114], &[107], &[]),
            (&[100, 115], &[107], &[(100, 115)]),
            (&[100, 200], &[100, 200], &[]),
            (&[100, 200], &[50, 150, 900], &[(0, 100), (100, 200), (200, 1000)]),
            (&[100, 2000], &[-5, 1500], &[]),
        ];
        for (watched, new, expected) in rows {
            let found = unwatched(&every(watched), &every(new), at(0), at(1000));
            let expected: Vec<Stretch> =
                expected.iter().map(|(from, to)| Stretch { from: at(*from), to: at(*to) }).collect();
            assert_eq!(found, expected, "{watched:?}, {new:?}");
        }
    }
}
