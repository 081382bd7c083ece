//! Calibrations and response tests on record, and which of them is in force beside what is configured.
//!
//! A calibration on record corrects from then on what the probe shows. It is in force until the next one of
//! the same probe, until it is withdrawn, or until the configuration names a later day in
//! `calibrated-on`, which counts from its midnight at the site. A configured correction without a
//! day, and a configured time constant, which has none, give way to what is on record.
//!
//! **A record that cannot be read** counts no more, and of which probe it was is not known. Whoever
//! made it may have found the calibration before it wrong; so from its time on that one goes on
//! correcting, since a reading without it would be further off, but is claimed by nothing: what
//! remains uncertain is as configured, until the probe is calibrated again. The same holds of a response test: a
//! time constant that may have been replaced by a longer one is claimed by nothing, and the probe is judged as
//! one of which none is known, until its response is measured again.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::calibration::Calibration;
use super::channel::Probe;
use super::record::{AmendmentChange, Body, CalibrationDone, Record, ResponseDone};
use super::time::Timestamp;
use super::uncertainty::Sensor;

/// One record of a probe.
#[derive(Clone, PartialEq, Debug)]
pub struct Filed<Done> {
    /// Index of the record.
    pub index: u64,
    /// Since when it counts: when it was recorded.
    pub since: Timestamp,
    /// Since when it counts no more, because somebody withdrew it.
    pub withdrawn: Option<Timestamp>,
    /// What was done.
    pub done: Done,
}

/// A record that should have been taken and cannot be read.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Missed {
    /// Index of the record.
    pub index: u64,
    /// When it was recorded, or the latest instant before that is known of.
    pub since: Timestamp,
    /// What it was.
    pub kind: MissedKind,
}

/// What a record that cannot be read was.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MissedKind {
    /// A calibration, of whatever probe.
    Calibration,
    /// A response test, of whatever probe.
    Response,
    /// An amendment of the record with this index, where that is known; it may have withdrawn it.
    Amendment(Option<u64>),
}

/// All that is on record, by probe.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct OnFile {
    calibrations: BTreeMap<String, Vec<Filed<CalibrationDone>>>,
    responses: BTreeMap<String, Vec<Filed<ResponseDone>>>,
    missed: Vec<Missed>,
    next: u64,
}

/// What is in force for one probe at one moment.
#[derive(Clone, PartialEq, Debug)]
pub struct InForce<'f> {
    /// The calibration on record; `None` where the configuration's counts, if it has one.
    pub calibration: Option<&'f Filed<CalibrationDone>>,
    /// A calibration on record that corrects and is claimed by nothing, since one that cannot be read may have
    /// taken its place; there is none in `calibration` then.
    pub doubted: Option<&'f Filed<CalibrationDone>>,
    /// The response test on record; `None` where the configuration's time constant counts.
    pub response: Option<&'f Filed<ResponseDone>>,
    /// A response test on record that is claimed by nothing, as in `doubted`; there is none in `response` then.
    pub doubted_response: Option<&'f Filed<ResponseDone>>,
}

impl OnFile {
    /// Kinds of records that are taken.
    pub const KINDS: [&'static str; 3] = ["amendment", "calibration", "response"];

    /// Takes the next record, of whatever kind; one that was taken before is passed over.
    pub fn take(&mut self, index: u64, record: &Record) {
        if index < self.next {
            return;
        }
        self.next = index + 1;
        let since = record.recorded;
        if let Body::Calibration(done) = &record.body {
            let filed = Filed { index, since, withdrawn: None, done: (**done).clone() };
            self.calibrations.entry(done.probe.clone()).or_default().push(filed);
        } else if let Body::Response(done) = &record.body {
            let filed = Filed { index, since, withdrawn: None, done: (**done).clone() };
            self.responses.entry(done.probe.clone()).or_default().push(filed);
        } else if let Body::Amendment(amendment) = &record.body
            && amendment.change == AmendmentChange::Withdrawn
        {
            withdraw(&mut self.calibrations, amendment.of, since);
            withdraw(&mut self.responses, amendment.of, since);
        }
    }

    /// Takes a record that cannot be read; one that was taken before is passed over. `at` is when it was
    /// recorded, where that is known.
    pub fn miss(&mut self, index: u64, at: Option<Timestamp>, kind: MissedKind) {
        if index < self.next {
            return;
        }
        self.next = index + 1;
        let since = at.or_else(|| self.changes().last().copied()).unwrap_or(Timestamp::MIN);
        self.missed.push(Missed { index, since, kind });
    }

    /// Whether every record of them could be read.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.missed.is_empty()
    }

    /// The records that cannot be read and may still matter to one of these probes, in order of the index.
    pub fn doubts<'p>(&self, probes: impl Iterator<Item = &'p str> + Clone) -> Vec<u64> {
        let matters = |missed: &&Missed| {
            probes.clone().any(|probe| {
                let calibration = newest(&self.calibrations, probe, Timestamp::MAX).map(|filed| filed.index);
                let response = newest(&self.responses, probe, Timestamp::MAX).map(|filed| filed.index);
                match missed.kind {
                    MissedKind::Calibration => calibration.is_none_or(|index| index < missed.index),
                    MissedKind::Response => response.is_none_or(|index| index < missed.index),
                    MissedKind::Amendment(Some(of)) => calibration == Some(of) || response == Some(of),
                    MissedKind::Amendment(None) => {
                        [calibration, response].into_iter().flatten().any(|index| index < missed.index)
                    }
                }
            })
        };
        self.missed.iter().filter(matters).map(|missed| missed.index).collect()
    }

    /// The first record that was not taken.
    #[must_use]
    pub const fn next(&self) -> u64 {
        self.next
    }

    /// No record before this one is still to be taken.
    pub fn read_until(&mut self, next: u64) {
        self.next = self.next.max(next);
    }

    /// What is in force for a probe at `at`, where [`Timestamp::MAX`] asks for the newest, whatever a clock that
    /// was set back may show; `configured` is the midnight of the day that the configuration
    /// gives for its calibration.
    #[must_use]
    pub fn in_force(&self, probe: &str, configured: Option<Timestamp>, at: Timestamp) -> InForce<'_> {
        let calibration = newest(&self.calibrations, probe, at);
        let calibration = calibration.filter(|filed| configured.is_none_or(|day| day <= filed.since));
        let is_doubted = calibration
            .is_some_and(|filed| self.is_doubted(MissedKind::Calibration, filed.index, configured, at));
        let (doubted, calibration) = if is_doubted { (calibration, None) } else { (None, calibration) };
        let response = newest(&self.responses, probe, at);
        let is_doubted =
            response.is_some_and(|filed| self.is_doubted(MissedKind::Response, filed.index, None, at));
        let (doubted_response, response) = if is_doubted { (response, None) } else { (None, response) };
        InForce { calibration, doubted, response, doubted_response }
    }

    /// The records that cannot be read, in order of the index.
    #[must_use]
    pub fn missed(&self) -> &[Missed] {
        &self.missed
    }

    /// Whether a record that cannot be read may have taken the place of this one of that kind by `at`.
    fn is_doubted(&self, kind: MissedKind, of: u64, configured: Option<Timestamp>, at: Timestamp) -> bool {
        let counts = |missed: &Missed| missed.since <= at && configured.is_none_or(|day| day <= missed.since);
        self.missed.iter().filter(|missed| counts(missed)).any(|missed| match missed.kind {
            MissedKind::Calibration | MissedKind::Response => missed.kind == kind && missed.index > of,
            MissedKind::Amendment(None) => missed.index > of,
            MissedKind::Amendment(Some(amended)) => amended == of,
        })
    }

    /// The correction of a probe for what was measured at `at`; `own` is the one that is configured. As
    /// [`InForce::laid_over`], for many readings.
    #[must_use]
    pub fn correction(
        &self,
        probe: &str,
        own: Calibration,
        configured: Option<Timestamp>,
        at: Timestamp,
    ) -> Calibration {
        let filed = newest(&self.calibrations, probe, at);
        let filed = filed.filter(|filed| configured.is_none_or(|day| day <= filed.since));
        filed.map_or(own, |filed| filed.done.left.into())
    }

    /// Every instant at which something else came in force for some probe, by what is on record.
    #[must_use]
    pub fn changes(&self) -> BTreeSet<Timestamp> {
        let calibrations = self.calibrations.values().flatten().map(|filed| (filed.since, filed.withdrawn));
        let responses = self.responses.values().flatten().map(|filed| (filed.since, filed.withdrawn));
        let missed = self.missed.iter().map(|missed| (missed.since, None));
        calibrations
            .chain(responses)
            .chain(missed)
            .flat_map(|(since, withdrawn)| [since].into_iter().chain(withdrawn))
            .collect()
    }

    /// Every probe that something is on record of, in order of the alphabet.
    #[must_use]
    pub fn probes(&self) -> BTreeSet<&str> {
        self.calibrations.keys().chain(self.responses.keys()).map(String::as_str).collect()
    }

    /// Every response test of a probe, the oldest first.
    #[must_use]
    pub fn responses(&self, probe: &str) -> &[Filed<ResponseDone>] {
        self.responses.get(probe).map_or(&[], Vec::as_slice)
    }

    /// Every calibration of a probe, the oldest first.
    #[must_use]
    pub fn calibrations(&self, probe: &str) -> &[Filed<CalibrationDone>] {
        self.calibrations.get(probe).map_or(&[], Vec::as_slice)
    }
}

impl InForce<'_> {
    /// The probe as it is configured, with what is on record laid over.
    #[must_use]
    pub fn laid_over(&self, configured: &Probe) -> Probe {
        let mut probe = configured.clone();
        if let Some(Filed { done, .. }) = self.calibration {
            lay_over(done, &mut probe);
        }
        if let Some(Filed { done, .. }) = self.doubted {
            probe.calibration = done.left.into();
        }
        if let Some(Filed { done, .. }) = self.response {
            probe.tau = Duration::try_from_secs_f64(done.tau_s).ok().or(probe.tau);
        }
        if self.doubted_response.is_some() {
            probe.tau = None;
        }
        probe
    }

    /// Whether anything on record is in force.
    #[must_use]
    pub const fn is_on_record(&self) -> bool {
        self.calibration.is_some()
            || self.doubted.is_some()
            || self.response.is_some()
            || self.doubted_response.is_some()
    }
}

/// Lays a calibration over a probe: its correction, and what that leaves uncertain.
pub fn lay_over(done: &CalibrationDone, probe: &mut Probe) {
    probe.calibration = done.left.into();
    probe.budget.sensor = Sensor::Calibrated { expanded_c: done.expanded_c };
}

fn newest<'f, Done>(
    filed: &'f BTreeMap<String, Vec<Filed<Done>>>,
    probe: &str,
    at: Timestamp,
) -> Option<&'f Filed<Done>> {
    let counts =
        |filed: &&Filed<Done>| filed.since <= at && filed.withdrawn.is_none_or(|withdrawn| withdrawn > at);
    filed.get(probe)?.iter().rev().find(counts)
}

fn withdraw<Done>(filed: &mut BTreeMap<String, Vec<Filed<Done>>>, of: u64, at: Timestamp) {
    let all = filed.values_mut().flatten();
    for one in all.filter(|one| one.index == of) {
        one.withdrawn.get_or_insert(at);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::channel::Place;
    use crate::core::cycle::fixture::{at, probe};
    use crate::core::record::{Amendment, Correction};

    fn calibrated(second: f64, offset_c: f64) -> Record {
        let correction = |offset_c| Correction { gain: 1.0, offset_c };
        let done = CalibrationDone {
            probe: "dm1/rinse".to_owned(),
            at: at(second),
            points: Vec::new(),
            found: correction(0.0),
            left: correction(offset_c),
            expanded_c: 0.3,
            until: None,
            note: None,
            by: "Eli".to_owned(),
        };
        Record::new(at(second), Some("dm1".to_owned()), Body::Calibration(Box::new(done)))
    }

    fn answered(second: f64, tau_s: f64) -> Record {
        let done = ResponseDone {
            probe: "dm1/rinse".to_owned(),
            at: at(second),
            tau_s,
            expanded_s: 0.2,
            residual_c: 0.1,
            from_c: 20.0,
            to_c: 80.0,
            readings: 100,
            fast_enough: Some(true),
            by: "Eli".to_owned(),
        };
        Record::new(at(second), Some("dm1".to_owned()), Body::Response(Box::new(done)))
    }

    fn withdrawn(second: f64, of: u64) -> Record {
        let (reason, by) = ("the ice was gone".to_owned(), "Eli".to_owned());
        let amendment = Amendment { of, reason, by, change: AmendmentChange::Withdrawn };
        Record::new(at(second), Some("dm1".to_owned()), Body::Amendment(Box::new(amendment)))
    }

    // Own rule: the later one counts, a withdrawn one never, and the configuration's from its day on.
    #[test]
    fn the_later_one_is_in_force() {
        let mut file = OnFile::default();
        let records =
            [calibrated(100.0, 0.5), answered(150.0, 1.2), calibrated(200.0, 0.8), withdrawn(300.0, 2)];
        for (index, record) in (0..).zip(&records) {
            file.take(index, record);
            file.take(index, record);
        }
        assert_eq!((file.next(), file.calibrations("dm1/rinse").len()), (4, 2), "each is taken once");
        let configured =
            Probe { calibration: Calibration::Offset(-0.1), ..probe(Place::FinalRinse, Some(3.0)) };
        let in_force = |second: f64, day: Option<f64>| {
            let probe = file.in_force("dm1/rinse", day.map(at), at(second)).laid_over(&configured);
            (probe.calibration, probe.tau.map(|tau| tau.as_secs_f64()), probe.budget.sensor)
        };
        let (mine, calibrated) = (configured.budget.sensor, Sensor::Calibrated { expanded_c: 0.3 });
        for (second, day, offset_c, tau_s, sensor) in [
            (99.0, None, -0.1, 3.0, mine),
            (100.0, None, 0.5, 3.0, calibrated),
            (199.0, None, 0.5, 1.2, calibrated),
            (200.0, None, 0.8, 1.2, calibrated),
            (300.0, None, 0.5, 1.2, calibrated),
            (250.0, Some(200.0), 0.8, 1.2, calibrated),
            (250.0, Some(201.0), -0.1, 1.2, mine),
            (350.0, Some(50.0), 0.5, 1.2, calibrated),
            (350.0, Some(150.0), -0.1, 1.2, mine),
        ] {
            let expected = (Calibration::Offset(offset_c), Some(tau_s), sensor);
            assert_eq!(in_force(second, day), expected, "{second} s, configured at {day:?}");
            let correction = file.correction("dm1/rinse", configured.calibration, day.map(at), at(second));
            assert_eq!(correction, expected.0, "{second} s, configured at {day:?}");
        }
        assert!(!file.in_force("dm1/wash", None, at(400.0)).is_on_record());
        assert!(file.changes().into_iter().eq([100.0, 150.0, 200.0, 300.0].map(at)), "{:?}", file.changes());
    }

    // Own rule: what may have been replaced by a record that cannot be read goes on correcting and is
    // claimed by nothing, until the probe is calibrated again.
    #[test]
    fn what_cannot_be_read_leaves_nothing_to_claim() {
        use MissedKind::{Amendment, Calibration, Response};
        let configured = probe(Place::FinalRinse, Some(3.0));
        let (mine, sure) = (configured.budget.sensor, Sensor::Calibrated { expanded_c: 0.3 });
        for (what, kind, doubts, sensor, tau_s) in [
            ("a calibration", Calibration, true, mine, Some(1.5)),
            ("a response test", Response, true, sure, None),
            ("an amendment of the calibration", Amendment(Some(0)), true, mine, Some(1.5)),
            ("an amendment of the response test", Amendment(Some(1)), true, sure, None),
            ("an amendment of another record", Amendment(Some(7)), false, sure, Some(1.5)),
            ("an amendment of nobody knows what", Amendment(None), true, mine, None),
        ] {
            let mut file = OnFile::default();
            file.take(0, &calibrated(100.0, 0.5));
            file.take(1, &answered(100.0, 1.5));
            file.miss(10, Some(at(200.0)), kind);
            file.miss(10, Some(at(200.0)), kind);
            let seen = |file: &OnFile, second: f64| {
                let probe = file.in_force("dm1/rinse", None, at(second)).laid_over(&configured);
                (probe.calibration, probe.budget.sensor, probe.tau.map(|tau| tau.as_secs_f64()))
            };
            let offset = super::Calibration::Offset;
            assert_eq!(seen(&file, 199.0), (offset(0.5), sure, Some(1.5)), "before {what}");
            assert_eq!(seen(&file, 200.0), (offset(0.5), sensor, tau_s), "{what}");
            let probes = ["dm1/rinse"].into_iter();
            assert_eq!(file.doubts(probes.clone()), if doubts { vec![10] } else { vec![] }, "{what}");
            file.take(11, &calibrated(300.0, 0.8));
            file.take(12, &answered(300.0, 1.2));
            assert_eq!(seen(&file, 300.0), (offset(0.8), sure, Some(1.2)), "calibrated after {what}");
            assert!(file.doubts(probes).is_empty(), "calibrated after {what}");
            assert_eq!(file.next(), 13);
            assert_eq!(file.missed().len(), 1, "it is missed once");
        }
        // Without a time of its own it counts from the latest instant before it.
        let mut file = OnFile::default();
        file.take(0, &calibrated(100.0, 0.5));
        file.miss(10, None, Calibration);
        assert!(file.in_force("dm1/rinse", None, at(100.0)).doubted.is_some());
        assert!(file.in_force("dm1/rinse", Some(at(150.0)), at(200.0)).doubted.is_none(), "configured later");
    }
}
