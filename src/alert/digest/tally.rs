//! Adds up the records of a day or a week.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;

use super::checks::Checks;
use super::{Checkpoint, Coldest, DayDigest, Digest, MachineDigest, Span};
use crate::core::alert::{Alert, Condition};
use crate::core::cycle::counts::Counts;
use crate::core::cycle::plate::Profile;
use crate::core::record::{Body, Cycle, Gap, Record};
use crate::core::time::Timestamp;

/// Adds up records. Cycles count by the start of their final rinse, everything else by the
/// instant at which it was recorded; what lies outside the span is passed over.
///
/// It wants every record from the start of the span to the newest one: a cycle may be recorded
/// later than it was, and a gap is known by the record of its end.
#[derive(Debug)]
pub struct Tally {
    span: Span,
    from: Timestamp,
    to: Timestamp,
    zone: TimeZone,
    machines: BTreeMap<String, Machine>,
    days: BTreeMap<jiff::civil::Date, Counts>,
    /// Stretches without the service itself.
    down: Vec<(Timestamp, Timestamp)>,
    raised: u64,
    closed: u64,
    checks: Checks,
    unreadable: u64,
    /// What checks are judged by.
    profiles: Vec<Profile>,
}

#[derive(Debug, Default)]
struct Machine {
    counts: Counts,
    coldest: Option<Coldest>,
    /// End of each gap, by probe and start; `None` while it lasts.
    gaps: BTreeMap<(String, Timestamp), Option<Timestamp>>,
}

impl Tally {
    /// Begins with nothing counted. `machines` are those of the configuration, so that one that
    /// washed nothing is in the digest too.
    #[must_use]
    pub fn new(
        span: Span,
        from: Timestamp,
        to: Timestamp,
        zone: TimeZone,
        machines: impl IntoIterator<Item = String>,
    ) -> Self {
        let machines = machines.into_iter().map(|name| (name, Machine::default())).collect();
        let days = BTreeMap::new();
        let (down, checks, profiles) = (Vec::new(), Checks::default(), Vec::new());
        let (raised, closed, unreadable) = (0, 0, 0);
        Self { span, from, to, zone, machines, days, down, raised, closed, checks, unreadable, profiles }
    }

    /// Judges checks by the products of these machines; without one its concentrations are not judged.
    #[must_use]
    pub fn judging(self, profiles: Vec<Profile>) -> Self {
        Self { profiles, ..self }
    }

    /// Takes one record with its index, in order of the ledger.
    pub fn take(&mut self, index: u64, record: &Record) {
        let inside = self.from <= record.recorded && record.recorded < self.to;
        let machine = record.machine.as_deref().unwrap_or_default();
        match &record.body {
            Body::Cycle(cycle) => self.cycle(machine, cycle),
            Body::Gap(gap) => self.gap(machine, gap),
            Body::ServiceStart(start) => {
                self.down.extend(start.last_record.map(|last| (last, record.recorded)));
            }
            Body::AlertRaised(_) => self.raised += u64::from(inside),
            Body::AlertClosed(_) => self.closed += u64::from(inside),
            Body::Check(check) => self.checks.check(index, record.machine.as_ref(), check, inside),
            Body::Amendment(amendment) => self.checks.amendment(record.machine.as_ref(), amendment, inside),
            Body::ServiceStop(_)
            | Body::ClockStep(_)
            | Body::ConfigurationChange(_)
            | Body::MachineFailure(_)
            | Body::AlertChanged(_)
            | Body::AlertAcknowledged(_)
            | Body::AlertCleared(_)
            | Body::CorrectiveAction(_)
            | Body::Notification(_)
            | Body::Maintenance(_)
            | Body::Note(_)
            | Body::SigningKey(_)
            | Body::LawfulHold(_)
            | Body::Pruned(_)
            | Body::Import(_)
            | Body::Restored(_)
            | Body::Calibration(_)
            | Body::Response(_)
            | Body::WiringProof(_)
            | Body::SignOff(_)
            | Body::Access(_) => {}
        }
    }

    /// A record is there that cannot be read.
    pub const fn take_unreadable(&mut self) {
        self.unreadable += 1;
    }

    fn cycle(&mut self, machine: &str, cycle: &Cycle) {
        let at = cycle.rinse_started;
        if at < self.from || at >= self.to {
            return;
        }
        let tally = self.machines.entry(machine.to_owned()).or_default();
        tally.counts.take(cycle);
        if let Some(celsius) = cycle.rinse_min_c
            && tally.coldest.is_none_or(|coldest| celsius < coldest.celsius)
        {
            tally.coldest = Some(Coldest { celsius, limit_c: cycle.limit_c, at });
        }
        if self.span == Span::Week
            && let Ok(instant) = jiff::Timestamp::from_microsecond(at.micros())
        {
            self.days.entry(self.zone.to_datetime(instant).date()).or_default().take(cycle);
        }
    }

    fn gap(&mut self, machine: &str, gap: &Gap) {
        let gaps = &mut self.machines.entry(machine.to_owned()).or_default().gaps;
        let key = (gap.probe.clone(), gap.from);
        if gap.filled {
            gaps.remove(&key);
        } else {
            gaps.insert(key, gap.to);
        }
    }

    /// The digest. `open` are the alerts that are open now; a probe that has been at fault since
    /// before the first record counts through its alert.
    #[must_use]
    pub fn finish(mut self, open: Vec<Alert>, checkpoint: Option<Checkpoint>) -> Digest {
        let probes = [Condition::ProbeFault, Condition::ProbeSilent];
        for alert in open.iter().filter(|alert| probes.contains(&alert.condition) && alert.cleared.is_none())
        {
            if let Some(tally) = alert.machine.as_ref().and_then(|name| self.machines.get_mut(name)) {
                for probe in &alert.about {
                    tally.gaps.entry((probe.clone(), alert.since)).or_insert(None);
                }
            }
        }
        let (from, to) = (self.from, self.to);
        let length = to.seconds_since(from).max(1.0);
        let inside = |(start, end): (Timestamp, Timestamp)| {
            let (start, end) = (start.max(from), end.min(to));
            (start < end).then_some((start, end))
        };
        let down: Vec<(Timestamp, Timestamp)> = self.down.into_iter().filter_map(inside).collect();
        let machine = |(name, tally): (String, Machine)| {
            let gaps =
                tally.gaps.into_iter().filter_map(|((_, start), end)| inside((start, end.unwrap_or(to))));
            let all = union(gaps.chain(down.iter().copied()).collect());
            let gap_s: f64 = all.iter().map(|(start, end)| end.seconds_since(*start)).sum();
            MachineDigest {
                machine: name,
                counts: tally.counts,
                coldest: tally.coldest,
                gaps: all.len() as u64,
                gap_s,
                monitored: (1.0 - gap_s / length).clamp(0.0, 1.0),
            }
        };
        Digest {
            span: self.span,
            from,
            to,
            machines: self.machines.into_iter().map(machine).collect(),
            days: self
                .days
                .into_iter()
                .map(|(date, counts)| DayDigest { date: date.to_string(), counts })
                .collect(),
            raised: self.raised,
            closed: self.closed,
            open,
            failed_checks: self.checks.failed(&self.profiles),
            unreadable: self.unreadable,
            checkpoint,
        }
    }
}

/// Stretches joined where they overlap or touch.
fn union(mut stretches: Vec<(Timestamp, Timestamp)>) -> Vec<(Timestamp, Timestamp)> {
    stretches.sort_unstable();
    let mut joined: Vec<(Timestamp, Timestamp)> = Vec::new();
    for (start, end) in stretches {
        match joined.last_mut() {
            Some(last) if start <= last.1 => last.1 = last.1.max(end),
            Some(_) | None => joined.push((start, end)),
        }
    }
    joined
}
