//! Adds up the records of a day or a week.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;

use super::checks::Checks;
use super::{Checkpoint, Coldest, DayDigest, Digest, MachineDigest, Span};
use crate::core::alert::Alert;
use crate::core::alert::doubts::Doubts;
use crate::core::cycle::counts::Counts;
use crate::core::cycle::plate::Profile;
use crate::core::monitored::Monitored;
use crate::core::record::{Body, Cycle, Record};
use crate::core::time::Timestamp;

/// Adds up records. Cycles count by the start of their final rinse, everything else by the
/// instant at which it was recorded; what lies outside the span is passed over.
///
/// It wants every record from the start of the span to the newest one: a cycle may be recorded
/// later than it was.
#[derive(Debug)]
pub struct Tally {
    span: Span,
    from: Timestamp,
    to: Timestamp,
    zone: TimeZone,
    machines: BTreeMap<String, Machine>,
    days: BTreeMap<jiff::civil::Date, OfDay>,
    raised: u64,
    closed: u64,
    checks: Checks,
    unreadable: u64,
    /// What checks are judged by.
    profiles: Vec<Profile>,
    /// What puts racks in doubt that passed.
    doubts: Doubts,
}

#[derive(Debug, Default)]
struct Machine {
    counts: Counts,
    coldest: Option<Coldest>,
    in_doubt: u64,
}

#[derive(Debug, Default)]
struct OfDay {
    counts: Counts,
    in_doubt: u64,
}

/// What a digest tells beside the records of its span.
#[derive(Clone, Debug, Default)]
pub struct Standing {
    /// The alerts that are open now.
    pub open: Vec<Alert>,
    /// How many checks were due in the span and not made in time.
    pub missed_checks: u64,
    /// The newest checkpoint.
    pub checkpoint: Option<Checkpoint>,
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
        let (checks, profiles, doubts) = (Checks::default(), Vec::new(), Doubts::default());
        let (raised, closed, unreadable) = (0, 0, 0);
        Self { span, from, to, zone, machines, days, raised, closed, checks, unreadable, profiles, doubts }
    }

    /// Judges checks by the products of these machines; without one its concentrations are not judged.
    #[must_use]
    pub fn judging(self, profiles: Vec<Profile>) -> Self {
        Self { profiles, ..self }
    }

    /// Counts those in doubt among the racks that passed, by what is known of the alerts; without it none is.
    #[must_use]
    pub fn doubting(self, doubts: Doubts) -> Self {
        Self { doubts, ..self }
    }

    /// Takes one record with its index, in order of the ledger. Gives of a cycle of the span whether it passed and is in
    /// doubt since, of anything else nothing.
    pub fn take(&mut self, index: u64, record: &Record) -> Option<bool> {
        let inside = self.from <= record.recorded && record.recorded < self.to;
        let machine = record.machine.as_deref().unwrap_or_default();
        match &record.body {
            Body::Cycle(cycle) => return self.cycle(machine, index, cycle),
            Body::AlertRaised(_) => self.raised += u64::from(inside),
            Body::AlertClosed(_) => self.closed += u64::from(inside),
            Body::Check(check) => self.checks.check(index, record.machine.as_ref(), check, inside),
            Body::Amendment(amendment) => self.checks.amendment(record.machine.as_ref(), amendment, inside),
            Body::Gap(_)
            | Body::ServiceStart(_)
            | Body::ServiceStop(_)
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
        None
    }

    /// A record is there that cannot be read.
    pub const fn take_unreadable(&mut self) {
        self.unreadable += 1;
    }

    fn cycle(&mut self, machine: &str, index: u64, cycle: &Cycle) -> Option<bool> {
        let at = cycle.rinse_started;
        if at < self.from || at >= self.to {
            return None;
        }
        let is_in_doubt = !self.doubts.by(machine, index, cycle).is_empty();
        let in_doubt = u64::from(is_in_doubt);
        let tally = self.machines.entry(machine.to_owned()).or_default();
        tally.counts.take(cycle);
        tally.in_doubt += in_doubt;
        if let Some(celsius) = cycle.rinse_min_c
            && tally.coldest.is_none_or(|coldest| celsius < coldest.celsius)
        {
            tally.coldest = Some(Coldest { celsius, limit_c: cycle.limit_c, at });
        }
        if self.span == Span::Week
            && let Ok(instant) = jiff::Timestamp::from_microsecond(at.micros())
        {
            let day = self.days.entry(self.zone.to_datetime(instant).date()).or_default();
            day.counts.take(cycle);
            day.in_doubt += in_doubt;
        }
        Some(is_in_doubt)
    }

    /// The digest; `watched` says how much of the span each machine was watched.
    #[must_use]
    pub fn finish(self, standing: Standing, watched: impl Fn(&str) -> Monitored) -> Digest {
        let Standing { open, missed_checks, checkpoint } = standing;
        let (from, to) = (self.from, self.to);
        let machine = |(name, tally): (String, Machine)| {
            let watched = watched(&name);
            MachineDigest {
                machine: name,
                counts: tally.counts,
                in_doubt: tally.in_doubt,
                coldest: tally.coldest,
                gaps: watched.gaps,
                gap_s: watched.operating_s - watched.monitored_s,
                monitored: watched.share(),
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
                .map(|(date, OfDay { counts, in_doubt })| DayDigest {
                    date: date.to_string(),
                    counts,
                    in_doubt,
                })
                .collect(),
            raised: self.raised,
            closed: self.closed,
            open,
            missed_checks,
            failed_checks: self.checks.failed(&self.profiles),
            unreadable: self.unreadable,
            checkpoint,
        }
    }
}
