//! What belongs to a span of time beside the records made in it.
//!
//! Made at another time, and of the span all the same:
//! - a cycle whose final rinse began in it, recorded late or from a file taken over afterwards;
//! - a gap that overlaps it; a check, a note or the start of an alert that names an instant in it,
//!   and the correction of a check by which it lies in it;
//!   the taking over of a file with readings of it.
//!
//! Of what was made before: the configuration in force when it began, the last concentration
//! entered for each machine, alerts, gaps and maintenance that were open then, and what is amended
//! by a record that is in the file. Of what was made afterwards: the newest configuration, which
//! names the site; what became of an alert that is in the
//! file, was raised or changed by a record that is or puts a rack of it in doubt, and amendments of its records.
//! And each change of the signing key, whenever it was.

use std::collections::{BTreeMap, BTreeSet};

use crate::core::alert::{AlertNumber, Earlier};
use crate::core::record::{AmendmentChange, Body, Check, MissedDue, Record};
use crate::core::time::Timestamp;

/// A span: from an instant on, and before another one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Span {
    /// First instant.
    pub from: Timestamp,
    /// First instant after it.
    pub to: Timestamp,
}

impl Span {
    /// Whether an instant lies in it.
    #[must_use]
    pub fn has(&self, at: Timestamp) -> bool {
        self.from <= at && at < self.to
    }

    fn overlaps(&self, from: Timestamp, to: Option<Timestamp>) -> bool {
        from < self.to && to.is_none_or(|to| self.from <= to)
    }

    /// Whether a record speaks of an instant in the span, whenever it was made.
    #[must_use]
    pub fn is_spoken_of_by(&self, record: &Record) -> bool {
        match &record.body {
            Body::Cycle(cycle) => self.has(cycle.rinse_started),
            Body::Gap(gap) => self.overlaps(gap.from, gap.to) && gap.to.is_some(),
            Body::Check(check) => self.has(check.at()),
            Body::Note(note) => note.at.is_some_and(|at| self.has(at)),
            Body::Calibration(done) => self.has(done.at),
            Body::Response(done) => self.has(done.at),
            Body::WiringProof(done) => self.has(done.at),
            Body::SignOff(signed) => self.has(signed.at),
            Body::AlertRaised(alert) => self.has(alert.since),
            Body::Amendment(amendment) => match &amendment.change {
                AmendmentChange::Corrected(check) => self.has(check.at()),
                AmendmentChange::Comment | AmendmentChange::Withdrawn => false,
            },
            Body::Import(import) => import.from.is_some_and(|from| self.overlaps(from, import.to)),
            Body::ServiceStart(_)
            | Body::ServiceStop(_)
            | Body::ClockStep(_)
            | Body::ConfigurationChange(_)
            | Body::MachineFailure(_)
            | Body::AlertChanged(_)
            | Body::AlertAcknowledged(_)
            | Body::AlertCleared(_)
            | Body::AlertClosed(_)
            | Body::CorrectiveAction(_)
            | Body::Notification(_)
            | Body::Maintenance(_)
            | Body::SigningKey(_)
            | Body::LawfulHold(_)
            | Body::Pruned(_)
            | Body::Restored(_) => false,
            Body::Access(access) => access.at.is_some_and(|at| self.has(at)),
        }
    }
}

/// Looks for what belongs to a span beside a stretch of records: takes every record but cycles in
/// order of index, whether inside the stretch or not.
///
/// Memory: the open alerts of the site, the alerts of the span, and what is found.
#[derive(Debug)]
pub struct Companions {
    span: Span,
    first: u64,
    end: u64,
    /// Indices outside the stretch, found or told of.
    found: BTreeSet<u64>,
    /// Alerts that are in the file.
    alerts: BTreeSet<AlertNumber>,
    /// Before the stretch: records of each alert that is not closed yet.
    open: BTreeMap<AlertNumber, Vec<u64>>,
    /// After the stretch: records of each open alert that may still turn out to be about racks of it.
    later: BTreeMap<AlertNumber, Vec<u64>>,
    /// After the stretch: the newest configuration.
    configured: Option<u64>,
    /// Before the stretch: the newest record of each of these.
    newest: BTreeMap<(&'static str, String), u64>,
}

impl Companions {
    /// Looks beside the records from `first` up to `end`; `apart` are cycles of the span outside of it.
    #[must_use]
    pub fn new(span: Span, first: u64, end: u64, apart: impl IntoIterator<Item = u64>) -> Self {
        Self {
            span,
            first,
            end,
            found: apart.into_iter().collect(),
            alerts: BTreeSet::new(),
            open: BTreeMap::new(),
            later: BTreeMap::new(),
            configured: None,
            newest: BTreeMap::new(),
        }
    }

    /// Takes the next record.
    pub fn take(&mut self, index: u64, record: &Record) {
        if index < self.first {
            self.before(index, record);
            return;
        }
        self.begin();
        let inside = index < self.end;
        if !inside && matches!(record.body, Body::ConfigurationChange(_)) {
            self.configured = Some(index);
        }
        let wanted = inside || self.belongs(record);
        if !wanted {
            self.later(index, record);
            return;
        }
        if !inside {
            self.found.insert(index);
        }
        if let Some(alert) = record.body.alert() {
            self.alerts.insert(alert);
            self.found.extend(self.later.remove(&alert).unwrap_or_default());
        }
        if let Body::Amendment(amendment) = &record.body
            && !self.is_in(amendment.of)
            && amendment.of < index
        {
            self.found.insert(amendment.of);
        }
    }

    /// Indices of what belongs to the span outside the stretch, in order.
    #[must_use]
    pub fn finish(mut self) -> BTreeSet<u64> {
        self.begin();
        self.found.extend(self.configured);
        self.found
    }

    fn before(&mut self, index: u64, record: &Record) {
        if self.span.is_spoken_of_by(record) || self.span.has(record.recorded) {
            self.found.insert(index);
            if let Body::Amendment(amendment) = &record.body {
                self.found.insert(amendment.of);
            }
        }
        let machine = || record.machine.clone().unwrap_or_default();
        match &record.body {
            // Which calibration is in force follows from all of a probe, and from what withdrew them.
            Body::SigningKey(_) | Body::Calibration(_) | Body::Response(_) => {
                self.found.insert(index);
            }
            Body::Amendment(amendment) => {
                if self.found.contains(&amendment.of) {
                    self.found.insert(index);
                }
            }
            Body::ConfigurationChange(_) => {
                self.newest.insert(("configuration", String::new()), index);
            }
            Body::Check(Check::Sanitizer { .. }) => {
                self.newest.insert(("sanitizer", machine()), index);
            }
            Body::Maintenance(work) => self.lasting(("maintenance", machine()), index, work.ended),
            Body::Gap(gap) => self.lasting(("gap", gap.probe.clone()), index, gap.to.is_some()),
            Body::AlertClosed(closed) => {
                self.open.remove(&closed.alert);
            }
            Body::AlertRaised(_)
            | Body::AlertChanged(_)
            | Body::AlertAcknowledged(_)
            | Body::AlertCleared(_)
            | Body::CorrectiveAction(_)
            | Body::Notification(_) => {
                if let Some(alert) = record.body.alert() {
                    self.open.entry(alert).or_default().push(index);
                }
            }
            Body::Check(Check::Supply { .. } | Check::DrainAndClean { .. } | Check::Thermometer { .. })
            | Body::Cycle(_)
            | Body::ServiceStart(_)
            | Body::ServiceStop(_)
            | Body::ClockStep(_)
            | Body::MachineFailure(_)
            | Body::Note(_)
            | Body::LawfulHold(_)
            | Body::Pruned(_)
            | Body::Import(_)
            | Body::Restored(_)
            | Body::WiringProof(_)
            | Body::SignOff(_)
            | Body::Access(_) => {}
        }
    }

    /// What lasts is kept in mind until its end.
    fn lasting(&mut self, what: (&'static str, String), index: u64, ended: bool) {
        if ended {
            self.newest.remove(&what);
        } else {
            self.newest.insert(what, index);
        }
    }

    /// The stretch begins: what is open now belongs to it.
    fn begin(&mut self) {
        for (alert, records) in std::mem::take(&mut self.open) {
            self.alerts.insert(alert);
            self.found.extend(records);
        }
        self.found.extend(std::mem::take(&mut self.newest).into_values());
    }

    /// Keeps what is said of an alert that may be about racks of the span by a later record.
    fn later(&mut self, index: u64, record: &Record) {
        let Some(alert) = record.body.alert() else { return };
        if matches!(record.body, Body::AlertRaised(_)) {
            self.later.insert(alert, Vec::new());
        }
        if matches!(record.body, Body::AlertClosed(_)) {
            self.later.remove(&alert);
        } else if let Some(known) = self.later.get_mut(&alert) {
            known.push(index);
        }
    }

    /// Whether an alert puts racks in doubt that may be in the file.
    fn doubts(&self, earlier: Option<&Earlier>) -> bool {
        let racks = earlier.map(Earlier::all);
        let ends = racks.and_then(|racks| Some((racks.first()?.index, racks.last()?.index)));
        ends.is_some_and(|(first, last)| {
            first < self.end && last >= self.first || self.found.range(first..=last).next().is_some()
        })
    }

    /// Whether a check was missed that was due in the span.
    fn was_missed(&self, missed: Option<&MissedDue>) -> bool {
        missed.is_some_and(|missed| self.span.has(missed.due))
    }

    fn belongs(&self, record: &Record) -> bool {
        if self.span.is_spoken_of_by(record) || self.span.has(record.recorded) {
            return true;
        }
        let of_alert = record.body.alert().is_some_and(|alert| self.alerts.contains(&alert));
        let caused = match &record.body {
            Body::AlertRaised(alert) => {
                alert.cause.is_some_and(|cause| self.is_in(cause))
                    || self.doubts(alert.earlier.as_ref())
                    || self.was_missed(alert.missed.as_ref())
            }
            Body::AlertChanged(changed) => {
                changed.cause.is_some_and(|cause| self.is_in(cause))
                    || self.doubts(changed.earlier.as_ref())
                    || self.was_missed(changed.missed.as_ref())
            }
            Body::Amendment(amendment) => self.is_in(amendment.of),
            Body::SigningKey(_) => true,
            Body::Cycle(_)
            | Body::Gap(_)
            | Body::Check(_)
            | Body::ServiceStart(_)
            | Body::ServiceStop(_)
            | Body::ClockStep(_)
            | Body::ConfigurationChange(_)
            | Body::MachineFailure(_)
            | Body::AlertAcknowledged(_)
            | Body::AlertCleared(_)
            | Body::AlertClosed(_)
            | Body::CorrectiveAction(_)
            | Body::Notification(_)
            | Body::Maintenance(_)
            | Body::Note(_)
            | Body::LawfulHold(_)
            | Body::Pruned(_)
            | Body::Import(_)
            | Body::Restored(_)
            | Body::Calibration(_)
            | Body::Response(_)
            | Body::WiringProof(_)
            | Body::SignOff(_)
            | Body::Access(_) => false,
        };
        of_alert || caused
    }

    fn is_in(&self, index: u64) -> bool {
        (self.first..self.end).contains(&index) || self.found.contains(&index)
    }
}
