//! What is on record of a machine and its probes, gathered to be signed.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;
use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::app::alerts::past::Raised;
use crate::app::alerts::story;
use crate::app::amended::Amended;
use crate::app::proofs::proofs;
use crate::app::work::then;
use crate::app::{Failure, history, in_force, ledger};
use crate::config::load::Loaded;
use crate::config::recorded::{Recorded, wiring};
use crate::config::resolve::Configuration;
use crate::core::alert::{Alert, AlertNumber, Condition};
use crate::core::calibration::Calibration;
use crate::core::channel::{Channel, Place, Role, Signal};
use crate::core::cycle::plate::Profile;
use crate::core::effect::Trace;
use crate::core::on_file::OnFile;
use crate::core::record::{
    Body, CalibrationDone, Correction, Cycle, Record, ResponseDone, SignedChemistry, SignedOff, SignedPlate,
    SignedProbe, SignedSolution, TestCycle, WiringProofDone,
};
use crate::core::signoff::{OpenPoint, Seen, open_points};
use crate::core::time::Timestamp;
use crate::core::wiring::proofs::Proofs;
use crate::diagnostic::Diagnostic;
use crate::ledger::{CycleFilter, LedgerError, ReadOn, Reader};

/// What somebody wants to sign.
pub(in crate::app) struct Asked<'a> {
    /// Name of the machine.
    pub(in crate::app) machine: &'a str,
    /// The test cycle, where one is named.
    pub(in crate::app) cycle: Option<u64>,
    /// Who signs.
    pub(in crate::app) by: &'a str,
    /// What is to be known beside it.
    pub(in crate::app) note: Option<&'a str>,
    /// When.
    pub(in crate::app) now: Timestamp,
    /// The calibrations and response tests on record, and what was withdrawn, where they were read already.
    pub(in crate::app) known: Option<(Arc<OnFile>, Arc<Amended>)>,
}

/// What was gathered.
pub(in crate::app) struct Gathered {
    /// What is signed.
    pub(in crate::app) signed: SignedOff,
    /// Open alerts whose cause is over: each waits for its corrective action alone.
    pub(in crate::app) recovered: BTreeSet<AlertNumber>,
    /// Whether the machine is marked as worked on now.
    pub(in crate::app) is_worked_on: bool,
}

/// What a technician put on record.
#[derive(Default)]
struct OnRecord {
    /// Calibrations and response tests.
    probes: Arc<OnFile>,
    /// The proofs of the machine's wiring.
    proofs: Proofs,
    /// How the machine was wired by each configuration on record.
    wirings: Vec<(u64, Timestamp, Vec<String>)>,
}

impl OnRecord {
    /// A configuration or a proof that is damaged ends it: an older one must not stand in for it. What a damaged
    /// calibration or response test may have replaced is in doubt.
    fn read(
        reader: &Reader,
        machine: &str,
        known: Option<(Arc<OnFile>, Arc<Amended>)>,
    ) -> Result<Self, LedgerError> {
        let (probes, amended) = match known {
            Some(known) => known,
            None => (Arc::new(in_force::on_file(reader)?), Arc::new(Amended::whole(reader)?)),
        };
        let mut file = Self { probes, proofs: proofs(reader, machine, None, &amended)?, ..Self::default() };
        reader.records_of(&["configuration-change"], 0, |index, _, record| {
            if let Body::ConfigurationChange(change) = record.body {
                file.wirings.push((index, record.recorded, wiring(&change.toml, machine)));
            }
            ControlFlow::Continue(())
        })?;
        Ok(file)
    }

    /// Whether the wiring was configured anew after the proof at this record, and when where that is on
    /// record; `now` is the wiring of the files.
    fn rewired(&self, proved: u64, now: &[String]) -> Option<Option<Timestamp>> {
        let before = self.wirings.iter().rev().find(|(index, _, _)| *index < proved);
        let mut after = self.wirings.iter().filter(|(index, _, _)| *index > proved);
        // Without one before it the proof was made with what came into force next.
        let base = match before {
            Some((_, _, base)) => base,
            None => match after.next() {
                Some((_, _, base)) => base,
                None => return None,
            },
        };
        match after.find(|(_, _, wired)| wired != base) {
            Some((_, at, _)) => Some(Some(*at)),
            None => (now != base.as_slice()).then_some(None),
        }
    }
}

impl Asked<'_> {
    /// Gathers everything and finds the open points.
    ///
    /// # Errors
    /// A machine or a cycle that is none, and the ledger's.
    pub(in crate::app) fn gather(&self, loaded: &Loaded, reader: &Reader) -> Result<Gathered, Failure> {
        self.gathered(loaded, reader, true)
    }

    /// Gathers how the machine is fitted, as if no test cycle and no alert were on record.
    ///
    /// # Errors
    /// As [`Asked::gather`].
    pub(in crate::app) fn fitted(&self, loaded: &Loaded, reader: &Reader) -> Result<SignedOff, Failure> {
        self.gathered(loaded, reader, false).map(|gathered| gathered.signed)
    }

    fn gathered(&self, loaded: &Loaded, reader: &Reader, whole: bool) -> Result<Gathered, Failure> {
        let configuration = &loaded.configuration;
        let path = &configuration.ledger.path;
        let failed = |error: LedgerError| Failure::from(ledger::diagnose(&error, path));
        let found = configuration.machines.iter().enumerate().find(|(_, known)| known.name == self.machine);
        let Some((number, profile)) = found else {
            let known: Vec<String> = configuration.machines.iter().map(|known| known.name.clone()).collect();
            return Err(history::unknown_machine(self.machine, &known).into());
        };
        let file = OnRecord::read(reader, self.machine, self.known.clone()).map_err(failed)?;
        let own = configuration.channels.iter().filter(|channel| usize::from(channel.machine.0) == number);
        let recorded = Recorded::read(loaded.to_toml());
        let (probes, since): (Vec<SignedProbe>, Vec<Option<Timestamp>>) = own
            .clone()
            .filter_map(|channel| probe(channel, profile, &file, (loaded, recorded.as_ref())))
            .unzip();
        let doubted: Vec<OpenPoint> =
            own.flat_map(|channel| doubted(channel, configuration, &file.probes)).collect();
        // When the newest of what the probes stand on came on record.
        let proved_at = since.into_iter().flatten().max();
        let proofs = || probes.iter().filter_map(|probe| probe.proof);
        let (oldest_proof, newest_proof) = (proofs().min(), proofs().max());
        let cycle = if whole { self.tested(reader, proved_at, path)? } else { None };
        let open = if whole { self.open_alerts(reader, path)? } else { Vec::new() };
        let alerts: Vec<(AlertNumber, Condition)> =
            open.iter().map(|alert| (alert.number, alert.condition)).collect();
        let recovered =
            open.iter().filter(|alert| alert.cleared.is_some()).map(|alert| alert.number).collect();
        let mut signed = SignedOff {
            at: self.now,
            site: configuration.site.clone(),
            plate: plate(
                profile,
                configuration.channels.iter().filter(|channel| usize::from(channel.machine.0) == number),
            ),
            probes,
            wiring_proof: newest_proof,
            test_cycle: cycle.as_ref().map(|(record, cycle)| TestCycle {
                record: *record,
                verdict: cycle.verdict,
                rinse_min_c: cycle.rinse_min_c,
                basis: cycle.basis,
            }),
            open_points: Vec::new(),
            note: self.note.map(str::to_owned),
            by: self.by.to_owned(),
        };
        signed.open_points = open_points(&Seen {
            today: day(self.now, &configuration.alerts.zone),
            plate: &signed.plate,
            probes: &signed.probes,
            doubted: &doubted,
            proofs: &file.proofs,
            rewired: oldest_proof
                .and_then(|proved| file.rewired(proved, &wiring(loaded.to_toml(), self.machine))),
            proved_at,
            cycle: cycle.as_ref().map(|(record, cycle)| (*record, &**cycle)),
            alerts: &alerts,
        });
        let works = then::ran(reader, self.machine, (self.now, self.now)).map_err(failed)?.work;
        let is_worked_on = works.iter().any(|work| work.until > self.now);
        Ok(Gathered { signed, recovered, is_worked_on })
    }

    /// The cycle that is named, else the newest one since `proved_at`.
    fn tested(
        &self,
        reader: &Reader,
        proved_at: Option<Timestamp>,
        path: &std::path::Path,
    ) -> Result<Option<(u64, Box<Cycle>)>, Failure> {
        let failed = |error: LedgerError| Failure::from(ledger::diagnose(&error, path));
        if let Some(index) = self.cycle {
            let there = index < reader.size().map_err(failed)?;
            let record = if there {
                Some(reader.record(index).and_then(|found| found).map_err(failed)?.1)
            } else {
                None
            };
            if let Some(Record { machine: Some(machine), body: Body::Cycle(cycle), .. }) = record
                && machine == self.machine
            {
                return Ok(Some((index, cycle)));
            }
            let summary = format!("record {index} is no cycle of «{}»", self.machine);
            let advice =
                "rinseward history --machine NAME has its cycles, each with the number of its record";
            return Err(Diagnostic::error("usage", summary).advice(advice).into());
        }
        let machine = Some(self.machine.to_owned());
        let filter = CycleFilter { machine, from: proved_at, limit: Some(1), ..CycleFilter::default() };
        let mut newest = None;
        let read = reader.cycles_newest_first(&filter, |index, _, record| {
            if let Body::Cycle(cycle) = record.body {
                newest = Some((index, cycle));
            }
            ControlFlow::Break(())
        });
        read.map_err(failed)?;
        Ok(newest.filter(|(_, cycle)| proved_at.is_none_or(|proved_at| cycle.started >= proved_at)))
    }

    /// Alerts of the machine that are open.
    fn open_alerts(&self, reader: &Reader, path: &std::path::Path) -> Result<Vec<Alert>, Failure> {
        let failed = |error: LedgerError| Failure::from(ledger::diagnose(&error, path));
        let (stories, damaged) = story::open_of(reader, self.machine).map_err(failed)?;
        // What cannot be read may say what the technician is to know.
        history::tell_damaged(&damaged, path)?;
        let mut raised = Raised::of(reader);
        let filled =
            stories.into_values().map(|mut told| story::fill(&mut raised, &mut told).map(|()| told.alert));
        filled.collect::<Result<_, _>>().map_err(failed)
    }
}

/// What is in force of a temperature probe, and since when it stands on record; `None` for any other channel.
fn probe(
    channel: &Channel,
    profile: &Profile,
    file: &OnRecord,
    (loaded, recorded): (&Loaded, Option<&Recorded>),
) -> Option<(SignedProbe, Option<Timestamp>)> {
    let Role::Probe(probe) = &channel.role else { return None };
    let name = channel.name.as_str();
    let settings = &loaded.configuration.alerts;
    let calibrated_on = recorded
        .and_then(|recorded| recorded.probes.iter().find(|known| known.channel == name))
        .and_then(|known| known.calibrated_on);
    let configured_at = loaded.configuration.calibrated_on(&channel.name);
    let in_force = file.probes.in_force(name, configured_at, Timestamp::MAX);
    let standing = in_force.laid_over(probe);
    let near = match probe.place {
        Place::WashTank => profile.wash_min.at,
        Place::FinalRinse | Place::Ware | Place::Other => profile.rinse_min.at,
    };
    let configured_until = || {
        let until = settings.machines.get(&profile.name)?.calibrated_until.get(name)?;
        Some(until.to_string())
    };
    let configured = (probe.calibration != Calibration::None).then(|| Correction::from(probe.calibration));
    let (until, correction, calibrated_on) = match in_force.calibration {
        Some(filed) => (filed.done.until.clone(), Some(filed.done.left), None),
        None if in_force.doubted.is_some() => (None, in_force.doubted.map(|filed| filed.done.left), None),
        None => (configured_until(), configured, calibrated_on.map(|on| on.to_string())),
    };
    let calibrated = in_force.calibration.map(|filed| filed.since);
    let proven = file.proofs.of(name);
    let since = calibrated.into_iter().chain(in_force.response.map(|filed| filed.since));
    let since = since.chain(proven.map(|proven| proven.since)).max();
    let signed = SignedProbe {
        probe: name.to_owned(),
        place: probe.place,
        signal: signal(probe.signal),
        calibration: in_force.calibration.map(|filed| filed.index),
        correction,
        calibrated_on,
        until,
        response: in_force.response.map(|filed| filed.index),
        proof: proven.map(|proven| proven.record),
        tau_s: standing.tau.map(|tau| tau.as_secs_f64()),
        expanded_c: standing.budget.combined(near).expanded,
        near_c: near.0,
    };
    Some((signed, since))
}

/// What of a probe counts for nothing, since a record that cannot be read may have taken its place.
fn doubted(channel: &Channel, configuration: &Configuration, file: &OnFile) -> Vec<OpenPoint> {
    let name = channel.name.as_str();
    let in_force = file.in_force(name, configuration.calibrated_on(&channel.name), Timestamp::MAX);
    let probe = || name.to_owned();
    let calibration =
        in_force.doubted.map(|filed| OpenPoint::CalibrationDoubted { probe: probe(), record: filed.index });
    let response = in_force
        .doubted_response
        .map(|filed| OpenPoint::ResponseDoubted { probe: probe(), record: filed.index });
    calibration.into_iter().chain(response).collect()
}

fn plate<'a>(profile: &Profile, channels: impl Iterator<Item = &'a Channel>) -> SignedPlate {
    let solutions = channels.filter_map(|channel| {
        let solution = channel.role.solution()?;
        Some(SignedSolution { channel: channel.name.as_str().to_owned(), solution })
    });
    SignedPlate {
        chemistry: SignedChemistry::of(profile, solutions.collect()).map(Box::new),
        kind: profile.kind,
        sanitizing: profile.sanitizing,
        rinse_limit_c: profile.rinse_min.at.0,
        rinse_limit_source: profile.rinse_min.source,
        rinse_max_c: profile.rinse_max.map(|max| max.at.0),
        wash_limit_c: profile.wash_min.at.0,
        wash_limit_source: profile.wash_min.source,
        wash_s: profile.times.wash.as_secs_f64(),
        pause_s: profile.times.pause.as_secs_f64(),
        rinse_s: profile.times.rinse.as_secs_f64(),
        dwell_s: profile.dwell_min.as_secs_f64(),
    }
}

fn signal(signal: Signal) -> String {
    match signal {
        Signal::Celsius => "celsius".to_owned(),
        Signal::Fahrenheit => "fahrenheit".to_owned(),
        Signal::Kelvin => "kelvin".to_owned(),
        Signal::Thermocouple { kind, .. } => format!("thermocouple {}", kind.as_str()),
        Signal::Pt100 => "pt100".to_owned(),
    }
}

/// The day of an instant at the site.
fn day(at: Timestamp, zone: &TimeZone) -> Date {
    // Every `Timestamp` lies within what jiff can hold.
    jiff::Timestamp::from_microsecond(at.micros()).unwrap_or_default().to_zoned_datetime(zone.clone()).date()
}

/// What a sign-off names, read from the ledger; what cannot be read any more is left out and told so on the sheet.
#[derive(Debug, Default)]
pub(super) struct Evidence {
    pub(super) calibrations: BTreeMap<u64, CalibrationDone>,
    pub(super) responses: BTreeMap<u64, ResponseDone>,
    pub(super) proofs: BTreeMap<u64, WiringProofDone>,
    pub(super) cycle: Option<Box<Cycle>>,
    pub(super) trace: Option<Trace>,
}

impl Evidence {
    /// Reads it.
    ///
    /// # Errors
    /// The database's.
    pub(super) fn read(reader: &Reader, signed: &SignedOff) -> Result<Self, LedgerError> {
        let body = |index: Option<u64>| -> Result<Option<Body>, LedgerError> {
            let Some(index) = index else { return Ok(None) };
            Ok(reader.record(index)?.ok().map(|(_, record)| record.body))
        };
        let mut evidence = Self::default();
        for probe in &signed.probes {
            if let (Some(index), Some(Body::Calibration(done))) =
                (probe.calibration, body(probe.calibration)?)
            {
                evidence.calibrations.insert(index, *done);
            }
            if let (Some(index), Some(Body::Response(done))) = (probe.response, body(probe.response)?) {
                evidence.responses.insert(index, *done);
            }
        }
        // The sheet of an earlier version names one proof for all probes.
        for index in signed.probes.iter().filter_map(|probe| probe.proof).chain(signed.wiring_proof) {
            if let Some(Body::WiringProof(done)) = body(Some(index))? {
                evidence.proofs.insert(index, *done);
            }
        }
        let tested = signed.test_cycle.map(|tested| tested.record);
        if let Some(Body::Cycle(cycle)) = body(tested)? {
            evidence.cycle = Some(cycle);
        }
        // A trace that cannot be read is told of as one that is not kept.
        evidence.trace = match tested {
            Some(index) => reader.trace(index).ok().flatten(),
            None => None,
        };
        Ok(evidence)
    }
}
