//! What would be signed of a machine, and the sheet of what was.

use std::ops::ControlFlow;
use std::sync::Arc;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

use super::House;
use super::probes::entered;
use crate::app::Failure;
use crate::app::logbook::Entry;
use crate::app::sign_off::{self, Asked};
use crate::core::cycle::figures::Figures;
use crate::core::record::{Body, Cycle, Record, SignedOff};
use crate::core::signoff::OpenPoint;
use crate::core::signoff::lapse::lapses;
use crate::ledger::{CycleFilter, LedgerError, Order, Reader};
use crate::report::signoff;
use crate::web::attempt::{NotDone, Said};
use crate::web::frame::{self, Refusal};
use crate::web::person::Person;
use crate::web::probes::Made;
use crate::web::sign_off::{Commissioning, Mend, Open, RACKS_MAX, Shown, Stood, TestRack};

/// What would be signed just now.
struct Unsigned {
    signed: SignedOff,
    /// The record of the newest sign-off.
    newest: Option<u64>,
    /// The rack that is signed as the test.
    tested: Option<TestRack>,
    /// Others of the last racks, the newest first.
    others: Vec<TestRack>,
}

impl House {
    /// What would be signed by this person just now, with this rack as the test, else with the newest.
    async fn unsigned(
        &self,
        machine: String,
        note: Option<String>,
        rack: Option<u64>,
        person: &Person,
    ) -> Result<Unsigned, Refusal> {
        if !self.loaded.configuration.machines.iter().any(|known| known.name == machine) {
            return Err(Refusal::Unknown);
        }
        let (loaded, by, now) = (Arc::clone(&self.loaded), person.name.clone(), self.clock.now());
        let (standing, amended) = (self.standing.file.clone(), self.amended.clone());
        let gathered = self.readers.ask(move |ledger| {
            if let Some(rack) = rack
                && test_rack(ledger, &machine, rack)?.is_none()
            {
                return Ok(None);
            }
            let newest = newest(ledger, &machine)?;
            let known = Some((standing.fresh(ledger)?, amended.fresh(ledger)?));
            let asked =
                Asked { machine: &machine, cycle: rack, by: by.trim(), note: note.as_deref(), now, known };
            let signed = match asked.gather(&loaded, ledger) {
                Ok(gathered) => gathered.signed,
                Err(failure) => return Ok(Some(Err(failure))),
            };
            let record = signed.test_cycle.map(|tested| tested.record);
            let tested = record.map(|record| test_rack(ledger, &machine, record)).transpose()?.flatten();
            let others = last_racks(ledger, &machine, record)?;
            Ok(Some(Ok(Unsigned { signed, newest, tested, others })))
        });
        gathered.await?.ok_or(Refusal::Unknown)?.map_err(|failure| not_now(&failure))
    }

    pub(super) async fn commission(
        &self,
        machine: String,
        rack: Option<u64>,
        person: &Person,
    ) -> Result<Commissioning, Refusal> {
        let unsigned = self.unsigned(machine, None, rack, person).await?;
        let Unsigned { signed, newest, tested, others } = unsigned;
        let open = signed
            .open_points
            .iter()
            .map(|point| Open { text: signoff::point(point, &person.reader), mend: mend(point) });
        let (open, mark) = (open.collect(), mark(&signed));
        let (plate, probes) = (signed.plate, signed.probes);
        Ok(Commissioning { open, plate, probes, tested, others, newest, mark })
    }

    /// The newest sign-off of a machine, and whether the machine is still as it was signed.
    pub(super) async fn stood(&self, machine: String, person: &Person) -> Result<Option<Stood>, Refusal> {
        let (loaded, now, reader) = (Arc::clone(&self.loaded), self.clock.now(), person.reader.clone());
        let (standing, amended) = (self.standing.file.clone(), self.amended.clone());
        let stood = self.readers.ask(move |ledger| {
            let Some(record) = newest(ledger, &machine)? else { return Ok(Ok(None)) };
            let Some(signed) = of_record(ledger, record, &machine)? else { return Ok(Ok(None)) };
            let amended = amended.fresh(ledger)?;
            let known = Some((standing.fresh(ledger)?, Arc::clone(&amended)));
            let asked = Asked { machine: &machine, cycle: None, by: "", note: None, now, known };
            let fitted = match asked.fitted(&loaded, ledger) {
                Ok(fitted) => fitted,
                Err(failure) => return Ok(Err(failure)),
            };
            let lapsed = lapses(&signed, &fitted).iter().map(|one| signoff::lapse(one, &reader)).collect();
            let withdrawn = amended.is_withdrawn(record);
            let SignedOff { at, by, open_points, .. } = signed;
            Ok(Ok(Some(Stood { record, at, by, accepted: open_points.len(), withdrawn, lapsed })))
        });
        stood.await?.map_err(|failure| not_now(&failure))
    }

    pub(super) async fn signed(
        &self,
        machine: String,
        note: Option<String>,
        shown: Shown,
        person: &Person,
    ) -> Result<u64, NotDone> {
        let signed = match self.unsigned(machine.clone(), note, shown.rack, person).await {
            Ok(unsigned) => unsigned.signed,
            Err(Refusal::Unknown) => return Err(NotDone::Unknown),
            Err(Refusal::Damaged(record)) => {
                let what = record.map_or_else(String::new, |record| format!(": record {record}"));
                return Err(NotDone::Refused(Said {
                    summary: format!("what is to be signed needs what is DAMAGED on record{what}"),
                    advice: Some("have the record checked: «Whether the record is whole»".to_owned()),
                }));
            }
            Err(Refusal::NotNow) => {
                let summary = "the record cannot be read just now".to_owned();
                return Err(NotDone::Refused(Said {
                    summary,
                    advice: Some("try again in a minute".to_owned()),
                }));
            }
        };
        // Nobody signs what was not shown.
        if signed.open_points.len() != shown.open || mark(&signed) != shown.mark {
            return Err(NotDone::NotSoFar);
        }
        let entry = Entry::SignOff { machine, signed: Box::new(signed) };
        entered(&self.reception, entry).await.map_err(NotDone::Refused)
    }

    /// Whether this record is one of these of the machine and was not withdrawn. One that cannot be read is
    /// claimed by nothing.
    pub(super) async fn was_made(&self, machine: String, made: Made, record: u64) -> bool {
        let amended = self.amended.clone();
        let asked = move |ledger: &Reader| {
            if record >= ledger.size()? {
                return Ok(false);
            }
            // One that is damaged is told by the history.
            let Ok((_, found)) = ledger.record(record)? else { return Ok(false) };
            let is_made = match made {
                Made::Proof => matches!(found.body, Body::WiringProof(_)),
                Made::SignOff => matches!(found.body, Body::SignOff(_)),
            };
            let is_its = is_made && found.machine.as_deref() == Some(machine.as_str());
            Ok(is_its && !amended.fresh(ledger)?.is_withdrawn(record))
        };
        self.readers.ask(asked).await.unwrap_or(false)
    }

    /// The sheet of the sign-off at `record`; without one of the newest. Record 0, which is never one, and a
    /// machine that was never signed off, give what would be signed.
    pub(super) async fn paper(
        &self,
        machine: String,
        record: Option<u64>,
        rack: Option<u64>,
        person: &Person,
    ) -> Result<String, Refusal> {
        let unsigned = self.unsigned(machine.clone(), None, rack, person).await?;
        let Unsigned { signed: draft, newest, .. } = unsigned;
        let index = record.or(newest).filter(|index| *index > 0);
        let (eye, simulated) = (person.reader.clone(), self.simulated);
        let sheet = self.readers.ask(move |ledger| {
            let signed = match index {
                Some(index) => match of_record(ledger, index, &machine)? {
                    Some(signed) => signed,
                    None => return Ok(None),
                },
                None => draft,
            };
            let mut paper = sign_off::sheet(ledger, &machine, &signed, index, &eye)?;
            paper.simulated = simulated.then(|| frame::simulated(eye.language));
            Ok(Some(signoff::html::page(&paper, &format!("../{machine}"))))
        });
        sheet.await?.ok_or(Refusal::Unknown)
    }
}

/// The rack at a record; `None` where that is no rack of this machine.
fn test_rack(ledger: &Reader, machine: &str, index: u64) -> Result<Option<TestRack>, LedgerError> {
    if index >= ledger.size()? {
        return Ok(None);
    }
    let (_, Record { machine: own, body, .. }) = ledger.record(index)??;
    let Body::Cycle(cycle) = body else { return Ok(None) };
    Ok((own.as_deref() == Some(machine)).then(|| told(index, &cycle)))
}

/// The last racks of a machine but this one, the newest first, at most [`RACKS_MAX`]. What is damaged is left out.
fn last_racks(ledger: &Reader, machine: &str, but: Option<u64>) -> Result<Vec<TestRack>, LedgerError> {
    let machine = Some(machine.to_owned());
    let filter = CycleFilter { machine, limit: Some(RACKS_MAX + 1), ..CycleFilter::default() };
    let mut racks = Vec::new();
    ledger.cycles_found(Order::NewestFirst, &filter, |index, found| {
        if let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found
            && Some(index) != but
        {
            racks.push(told(index, &cycle));
        }
        ControlFlow::Continue(())
    })?;
    racks.truncate(RACKS_MAX);
    Ok(racks)
}

fn told(record: u64, cycle: &Cycle) -> TestRack {
    TestRack { record, at: cycle.rinse_started, verdict: cycle.verdict, figures: Figures::of(cycle) }
}

/// A hash (SHA-256, base64url) of what is shown to whoever signs: limits and times, probes, the test rack, open points. A
/// rack that is washed meanwhile changes it only where none was shown: whoever signs sends the one that was.
fn mark(signed: &SignedOff) -> String {
    let mut points = signed.open_points.clone();
    for point in &mut points {
        if let OpenPoint::TestCycleOutdated { record }
        | OpenPoint::TestCycleNotGood { record, .. }
        | OpenPoint::TestCycleFinding { record, .. } = point
        {
            *record = 0;
        }
    }
    let rack = signed.test_cycle.map(|tested| tested.record);
    let shown = serde_json::to_vec(&(&signed.plate, &signed.probes, rack, &points));
    URL_SAFE_NO_PAD.encode(Sha256::digest(shown.expect("what goes on record has a form in JSON")))
}

/// The sign-off of this machine at a record.
fn of_record(ledger: &Reader, index: u64, machine: &str) -> Result<Option<SignedOff>, LedgerError> {
    if index >= ledger.size()? {
        return Ok(None);
    }
    let (_, record) = ledger.record(index)??;
    Ok(match (record.machine, record.body) {
        (Some(own), Body::SignOff(signed)) if own == machine => Some(*signed),
        (_, _) => None,
    })
}

/// The record of the newest sign-off of a machine.
fn newest(ledger: &Reader, machine: &str) -> Result<Option<u64>, LedgerError> {
    let mut newest = None;
    ledger.records_found(&["sign-off"], 0, |index, found| {
        // One that is damaged is told by the history.
        if found.is_ok_and(|(_, record)| record.machine.as_deref() == Some(machine)) {
            newest = Some(index);
        }
        ControlFlow::Continue(())
    })?;
    Ok(newest)
}

fn not_now(failure: &Failure) -> Refusal {
    tracing::warn!("what is to be signed cannot be gathered\n{failure}");
    Refusal::NotNow
}

/// What mends an open point.
fn mend(point: &OpenPoint) -> Mend {
    match point {
        OpenPoint::RinseLimitOfFoodCode { .. } | OpenPoint::WashLimitOfFoodCode { .. } => Mend::Configuration,
        OpenPoint::NotCalibrated { probe }
        | OpenPoint::CalibrationDoubted { probe, .. }
        | OpenPoint::CalibrationOverdue { probe, .. }
        | OpenPoint::CalibrationDue { probe, .. }
        | OpenPoint::Uncertain { probe, .. } => Mend::Calibration(probe.clone()),
        OpenPoint::NoResponse { probe }
        | OpenPoint::ResponseDoubted { probe, .. }
        | OpenPoint::TooSlow { probe, .. } => Mend::Response(probe.clone()),
        OpenPoint::WiringNotProved
        | OpenPoint::WiringNotGood { .. }
        | OpenPoint::WiringLeftOut { .. }
        | OpenPoint::WiringOutdated { .. } => Mend::Proof,
        OpenPoint::NoTestCycle => Mend::Cycle(None),
        OpenPoint::TestCycleNotGood { record, worked_on: true, .. } => Mend::Work(*record),
        OpenPoint::TestCycleOutdated { record }
        | OpenPoint::TestCycleNotGood { record, .. }
        | OpenPoint::TestCycleFinding { record, .. } => Mend::Cycle(Some(*record)),
        OpenPoint::OpenAlert { alert, .. } => Mend::Alert(alert.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{CONFIGURATION, ledger as written, opening, plain, rack};
    use crate::core::cycle::verdict::Verdict;
    use crate::core::record::{Basis, TestCycle};
    use crate::core::time::Timestamp;
    use crate::report::signoff::samples::signed;

    fn tested(record: u64) -> TestCycle {
        TestCycle { record, verdict: Verdict::Pass, rinse_min_c: Some(84.0), basis: Basis::Raw }
    }

    // Own promise: the last racks of the machine are there to choose from, the newest first, and no other machine's.
    #[test]
    fn the_last_racks_are_offered() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        let washed = |minute| {
            let (machine, cycle) = rack(minute);
            plain(minute + 2, Some(machine), Body::Cycle(Box::new(cycle)))
        };
        let mut records = opening(CONFIGURATION);
        let first = records.len() as u64;
        records.extend((0..20).map(washed));
        written(&path, records).close().expect("it closes");
        let ledger = Reader::open(&path).expect("a ledger");
        let racks = last_racks(&ledger, "dm2", None).expect("read");
        let offered = |but| -> Vec<u64> {
            last_racks(&ledger, "dm2", but).expect("read").iter().map(|rack| rack.record).collect()
        };
        let own: Vec<u64> =
            (0..20).rev().filter(|minute| rack(*minute).0 == "dm2").map(|at| first + at).collect();
        assert_eq!(offered(None), own[..RACKS_MAX]);
        assert_eq!(
            offered(own.last().copied()),
            own[..RACKS_MAX],
            "one that is none of the last takes no place"
        );
        assert_eq!(offered(Some(own[0])), own[1..=RACKS_MAX], "beside the one that is chosen");
        let newest = own[0];
        assert_eq!(test_rack(&ledger, "dm2", newest).expect("read"), Some(racks[0].clone()));
        for (machine, record) in [("dm1", newest), ("dm2", 0), ("dm2", 9_999)] {
            assert_eq!(test_rack(&ledger, machine, record).expect("read"), None, "{machine} {record}");
        }
    }

    // Own promise: nobody signs what was not shown, be it as many points as were; who looks, when, and what is
    // typed beside it changes nothing.
    #[test]
    fn another_point_is_not_what_was_shown() {
        let shown = signed();
        let mut later = shown.clone();
        (later.at, later.by, later.note) = (Timestamp::MAX, "Ana".to_owned(), Some("ok".to_owned()));
        assert_eq!(mark(&later), mark(&shown));
        // A machine goes on washing while somebody reads.
        let outdated = |record| SignedOff {
            open_points: vec![OpenPoint::TestCycleOutdated { record }],
            ..shown.clone()
        };
        assert_eq!(mark(&outdated(41)), mark(&outdated(42)));
        assert_ne!(mark(&outdated(41)), mark(&shown));
        let changes: [fn(&mut SignedOff); 5] = [
            |signed| signed.test_cycle = Some(tested(48)),
            |signed| signed.open_points = vec![OpenPoint::NoTestCycle],
            |signed| signed.open_points.clear(),
            |signed| signed.plate.rinse_limit_c = 80.0,
            |signed| signed.probes[0].tau_s = Some(2.0),
        ];
        let of = |record| SignedOff { test_cycle: Some(tested(record)), ..shown.clone() };
        assert_ne!(mark(&of(41)), mark(&of(42)), "another rack is not the one that was shown");
        for (place, change) in changes.into_iter().enumerate() {
            let mut other = shown.clone();
            change(&mut other);
            assert_ne!(mark(&other), mark(&shown), "change {place}");
        }
    }
}
