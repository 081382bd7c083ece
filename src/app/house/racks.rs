//! One rack: its record with all that concerns it, and the proof that its record stands.

mod acted;
mod counted;
mod doubted;
mod strip;

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::{Arc, Mutex, PoisonError};

pub(in crate::app) use self::acted::{Actions, actions};
pub(in crate::app) use self::counted::leads;
use super::House;
use super::machines::plots;
use crate::app::alerts::doubts::overtaken;
use crate::app::export::seal;
use crate::app::work::then;
use crate::config::recorded::Recorded;
use crate::core::alert::did::Deeds;
use crate::core::alert::doubts::Doubts;
use crate::core::channel::Place;
use crate::core::cycle::verdict::Verdict;
use crate::core::effect::Trace;
use crate::core::evidence::inclusion::{self, Inclusion};
use crate::core::merkle::{Hash, inclusion_proof, leaf_hash, verify_inclusion};
use crate::core::on_file::OnFile;
use crate::core::reader::Reader;
use crate::core::record::{Amendment, Body, Cycle, Record};
use crate::core::wall_clock::midnight;
use crate::ledger::{self, CycleFilter, LedgerError, Order, WholeChunks};
use crate::report::plot::cycle;
use crate::report::rack;
use crate::web::cycle::{Acted, InDoubt, ProbeThen, Rack, RackFound, Racks, Sealing, Strip, TraceFound};
use crate::web::frame::Refusal;

/// Most rows of the table behind a trace (own choice: five minutes, the longest rinse of a conveyor).
const ROWS_MAX: usize = 300;

/// What is read of one rack.
pub(super) struct Read {
    pub(super) record: Record,
    pub(super) trace: Result<Option<Trace>, LedgerError>,
    pub(super) probes: Option<Vec<ProbeThen>>,
    pub(super) amendments: Vec<(u64, Option<Amendment>)>,
    pub(super) strip: Option<Strip>,
    pub(super) work: then::Found,
    pub(super) did: Deeds,
    pub(super) doubts: Vec<InDoubt>,
    pub(super) actions: Vec<Acted>,
    pub(super) before: Option<u64>,
    pub(super) after: Option<u64>,
    pub(super) sealing: Sealing,
}

/// What stands at the place of a record.
pub(super) enum Stands {
    /// Nothing, or no rack.
    NoRack,
    Damaged(Sealing),
    Rack(Box<Read>),
}

/// Reads one; `file` holds the calibrations and response tests on record, `doubts` what put racks in doubt.
pub(super) fn read(
    ledger: &ledger::Reader,
    index: u64,
    file: Arc<OnFile>,
    doubts: &Doubts,
) -> Result<Stands, LedgerError> {
    if index >= ledger.size()? {
        return Ok(Stands::NoRack);
    }
    let checkpoint = ledger.newest_checkpoint()?.map(|stored| (stored.size, stored.at));
    let leaf = ledger.leaf(index)?.map(|leaf| Hash(leaf).to_string());
    let sealing = Sealing { record: index, leaf, checkpoint };
    let record = match ledger.record(index)? {
        Ok((_, record)) => record,
        Err(_) => return Ok(Stands::Damaged(sealing)),
    };
    let Body::Cycle(cycle) = &record.body else { return Ok(Stands::NoRack) };
    let beside = |order| {
        let filter = CycleFilter {
            machine: record.machine.clone(),
            limit: Some(1),
            after_index: Some(index),
            ..CycleFilter::default()
        };
        let mut beside = None;
        ledger.cycles_found(order, &filter, |index, _| {
            beside = Some(index);
            ControlFlow::Break(())
        })?;
        Ok::<Option<u64>, LedgerError>(beside)
    };
    let leads = leads(ledger, index, &record, doubts)?;
    let machine = record.machine.as_deref().unwrap_or_default();
    let overtaken = overtaken(ledger, doubts, (machine, index), cycle)?;
    let (before, after) = (beside(Order::NewestFirst)?, beside(Order::OldestFirst)?);
    Ok(Stands::Rack(Box::new(Read {
        trace: ledger.trace(index),
        probes: probes(ledger, record.machine.as_deref().unwrap_or_default(), cycle, file)?,
        amendments: ledger.amendments(index)?,
        strip: strip::strip(ledger, index, record.machine.as_deref(), cycle)?,
        work: work(ledger, machine, cycle)?,
        actions: actions(ledger, doubts, &leads.alerts, (index, cycle))?.written,
        doubts: doubted::in_doubt(ledger, index, cycle, &leads.doubts, overtaken)?,
        did: leads.did,
        before,
        after,
        sealing,
        record,
    })))
}

/// Work on the machine that ran while an unproven rack was washed: by the rule that marks racks, so that it is told also
/// where that is not why it is unproven.
fn work(ledger: &ledger::Reader, machine: &str, cycle: &Cycle) -> Result<then::Found, LedgerError> {
    if cycle.verdict != Verdict::Unproven {
        return Ok(then::Found::default());
    }
    then::ran(ledger, machine, (cycle.started, cycle.rinse_ended))
}

/// The probes by which a rack was judged, as they were in force; `None` where the record that would say it is
/// damaged or not there.
fn probes(
    ledger: &ledger::Reader,
    machine: &str,
    cycle: &Cycle,
    file: Arc<OnFile>,
) -> Result<Option<Vec<ProbeThen>>, LedgerError> {
    if !file.is_whole() {
        return Ok(None);
    }
    let force = match ledger.in_force_by(cycle.received, file) {
        Ok(force) => force,
        Err(LedgerError::Damaged(_) | LedgerError::Record { .. }) => return Ok(None),
        Err(error) => return Err(error),
    };
    let Some((_, Record { body: Body::ConfigurationChange(change), .. })) = &force.configuration else {
        return Ok(None);
    };
    let Some(configured) = Recorded::read(&change.toml) else { return Ok(None) };
    let zone = &configured.settings.zone;
    let judged = configured.probes.iter().filter(|probe| {
        probe.machine == machine && matches!(probe.place, Place::FinalRinse | Place::WashTank)
    });
    let told = judged.map(|known| {
        let on = known.calibrated_on.and_then(|on| midnight(zone, on));
        let in_force = force.file.in_force(&known.channel, on, cycle.rinse_ended);
        let probe = in_force.laid_over(&known.probe);
        let filed = in_force.calibration.map(|filed| (filed.index, filed.since, filed.done.by.clone()));
        ProbeThen {
            channel: known.channel.clone(),
            place: known.place,
            uncertainty_c: probe.budget.combined(known.near).expanded,
            tau_s: probe.tau.map(|tau| tau.as_secs_f64()),
            configured_on: known.calibrated_on.filter(|_| filed.is_none()).map(|on| on.to_string()),
            calibration: filed,
        }
    });
    Ok(Some(told.collect()))
}

/// The lowest reading of each second.
fn seconds(cycle: &Cycle, trace: &Trace) -> Vec<(i64, Option<f64>, Option<f64>)> {
    let mut rows: BTreeMap<i64, (Option<f64>, Option<f64>)> = BTreeMap::new();
    let second =
        |at: crate::core::time::Timestamp| (at.micros() - cycle.started.micros()).div_euclid(1_000_000);
    let lower = |one: Option<f64>, other: f64| Some(one.map_or(other, |one| one.min(other)));
    for reading in &trace.rinse {
        let row = rows.entry(second(reading.at)).or_default();
        row.0 = lower(row.0, reading.celsius.0);
    }
    for reading in &trace.wash {
        let row = rows.entry(second(reading.at)).or_default();
        row.1 = lower(row.1, reading.celsius.0);
    }
    // The end is kept: the rinse stands there.
    let skipped = rows.len().saturating_sub(ROWS_MAX);
    rows.into_iter().skip(skipped).map(|(at, (rinse, wash))| (at, rinse, wash)).collect()
}

impl Racks for House {
    async fn rack(&self, record: u64, reader: &Reader) -> Result<RackFound, Refusal> {
        let standing = self.standing.file.clone();
        let (doubts, sites) = (self.doubts.clone(), self.kept.sites.clone());
        let asked = move |ledger: &ledger::Reader| {
            let (file, doubts) = (standing.fresh(ledger)?, doubts.fresh(ledger)?);
            let stands = read(ledger, record, file, &doubts)?;
            let rules = match &stands {
                Stands::Rack(read) => sites.fresh(ledger)?.rules(read.record.machine.as_deref(), record),
                Stands::NoRack | Stands::Damaged(_) => None,
            };
            Ok((stands, rules))
        };
        let (stands, rules) = self.readers.ask(asked).await?;
        let read = match stands {
            Stands::NoRack => return Err(Refusal::Unknown),
            Stands::Damaged(sealing) => return Ok(RackFound::Damaged(sealing)),
            Stands::Rack(read) => *read,
        };
        let Record { recorded, machine, body: Body::Cycle(cycle), .. } = read.record else {
            return Err(Refusal::Unknown);
        };
        let machine = machine.unwrap_or_default();
        let told = rack::told(&cycle, reader);
        let trace = match &read.trace {
            Ok(Some(trace)) => TraceFound::Kept {
                plots: plots(&cycle::plot(&machine, &cycle, trace, reader)),
                seconds: seconds(&cycle, trace),
            },
            Ok(None) => TraceFound::Never,
            Err(_) => TraceFound::Damaged,
        };
        Ok(RackFound::Whole(Box::new(Rack {
            machine,
            cycle,
            recorded,
            reasons: told.reasons,
            findings: told.findings,
            kind: told.kind,
            method: told.method,
            limit_source: told.limit_source,
            trace,
            probes: read.probes,
            amendments: read.amendments,
            rules,
            strip: read.strip,
            work: read.work.work,
            work_damaged: read.work.damaged,
            doubts: read.doubts,
            did: read.did,
            actions: read.actions,
            before: read.before,
            after: read.after,
            sealing: read.sealing,
        })))
    }

    async fn proof(&self, record: u64) -> Result<String, Refusal> {
        let chunks = Arc::clone(&self.chunks);
        match self.readers.ask(move |ledger| prove(ledger, record, &chunks)).await? {
            Proof::Holds(proof) => Ok(proof),
            Proof::NotSealed => Err(Refusal::Unknown),
            Proof::Damaged => Err(Refusal::Damaged(Some(record))),
        }
    }
}

/// What is found where a proof is sought.
#[derive(Debug)]
pub(super) enum Proof {
    /// It, as JSON.
    Holds(String),
    /// The newest checkpoint does not count the record.
    NotSealed,
    /// The record, or one near it, is not as it was sealed.
    Damaged,
}

/// The proof that a record is in the ledger which the newest checkpoint seals.
pub(super) fn prove(
    ledger: &ledger::Reader,
    index: u64,
    kept: &Mutex<WholeChunks>,
) -> Result<Proof, LedgerError> {
    let Some(seal) = seal::newest(ledger)?.filter(|seal| index < seal.size) else {
        return Ok(Proof::NotSealed);
    };
    let Ok((bytes, _)) = ledger.record(index)? else { return Ok(Proof::Damaged) };
    let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
    let mut tree = ledger.tree_by(seal.size, &mut kept)?;
    if tree.head().root.to_string() != seal.root && !kept.are_of_leaves() {
        // What the ledger keeps beside its leaves is damaged; the leaves may be whole.
        *kept = WholeChunks::of_leaves();
        tree = ledger.tree_by(seal.size, &mut kept)?;
    }
    drop(kept);
    if tree.head().root.to_string() != seal.root {
        tracing::error!(slug = "ledger-damaged", "the ledger is not as its newest checkpoint sealed it");
        return Ok(Proof::Damaged);
    }
    let path = match inclusion_proof(&tree, index, seal.size) {
        Ok(path) => path,
        Err(crate::core::merkle::ProofError::Source(error)) => return Err(error),
        Err(crate::core::merkle::ProofError::OutsideTree { .. }) => return Ok(Proof::NotSealed),
    };
    if verify_inclusion(&leaf_hash(&bytes), index, &path, &tree.head()).is_err() {
        tracing::error!(
            slug = "ledger-damaged",
            record = index,
            "a record near this one is not as it was sealed"
        );
        return Ok(Proof::Damaged);
    }
    let path: Vec<String> = path.iter().map(Hash::to_string).collect();
    let proof = Inclusion {
        format: inclusion::FORMAT.to_owned(),
        record: index,
        leaf_sha256: leaf_hash(&bytes).to_string(),
        bytes: String::from_utf8_lossy(&bytes).into_owned(),
        tree_size: seal.size,
        root_sha256: seal.root,
        inclusion_path: path,
        checkpoint: seal.checkpoint,
        key: seal.key,
    };
    Ok(Proof::Holds(proof.to_json()))
}
