//! What was in force at a moment: limits, probes, solutions and work, each with its record.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

use crate::app::history::one::on_record;
use crate::app::house::compared;
use crate::app::house::solutions::OnFile;
use crate::app::work::then;
use crate::config::recorded::{Recorded, RecordedProbe};
use crate::core::record::{Body, Record, SignedChemistry};
use crate::core::time::Timestamp;
use crate::core::wall_clock::midnight;
use crate::ledger::{self, LedgerError};
use crate::web::history::moment::{AsConfigured, ChemistryInForce, Force, ProbeInForce, SolutionInForce};

pub(super) fn in_force(ledger: &ledger::Reader, at: Timestamp) -> Result<Force, LedgerError> {
    let force = ledger.in_force(at)?;
    let mut probes = configured(&force);
    for (_, channel, in_force) in on_record(&force) {
        let known = probes.iter().position(|probe| probe.channel == channel);
        let place = known.unwrap_or_else(|| {
            probes.push(ProbeInForce {
                channel,
                configured: None,
                calibration: None,
                response: None,
                compared: None,
            });
            probes.len() - 1
        });
        let probe = &mut probes[place];
        probe.calibration = in_force.calibration.map(|filed| (filed.index, filed.since, filed.done.clone()));
        probe.response = in_force.response.map(|filed| (filed.index, filed.since, filed.done.clone()));
    }
    let channels: Vec<String> = probes.iter().map(|probe| probe.channel.clone()).collect();
    let machine = |channel: &String| channel.split('/').next().unwrap_or_default().to_owned();
    for of in channels.iter().map(machine).collect::<BTreeSet<_>>() {
        let own = channels.iter().filter(|channel| machine(channel) == of).map(String::as_str);
        let mut compared = compared::newest(ledger, &of, &own.collect::<Vec<_>>(), at)?;
        let its = probes.iter_mut().filter(|probe| machine(&probe.channel) == of);
        its.for_each(|probe| probe.compared = compared.remove(&probe.channel));
    }
    let (solutions, chemistry) = (solutions(ledger, &force)?, chemistry(&force));
    let then::Found { work, damaged: work_damaged } = then::in_force(ledger, &force)?;
    let limits = force.limits.into_iter().map(|then| (then.machine, then.index, Box::new(then.cycle)));
    Ok(Force {
        at,
        service: force.service,
        key: force.key,
        limits: limits.collect(),
        chemistry,
        work,
        work_damaged,
        probes,
        solutions,
        configuration: force.configuration,
    })
}

/// The channels of sanitizing solutions as they were configured, each with the newest test that counted.
fn solutions(ledger: &ledger::Reader, force: &ledger::InForce) -> Result<Vec<SolutionInForce>, LedgerError> {
    let Some((record, Record { recorded, body: Body::ConfigurationChange(change), .. })) =
        &force.configuration
    else {
        return Ok(Vec::new());
    };
    let (mut solutions, mut on_file) = (Vec::new(), BTreeMap::new());
    for (channel, solution) in Recorded::read(&change.toml).map(|read| read.solutions).unwrap_or_default() {
        let machine = channel.split('/').next().unwrap_or_default();
        let own = match on_file.entry(machine.to_owned()) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(place) => place.insert(OnFile::newest(ledger, machine, force.at)?),
        };
        let tested = own.of(solution).cloned();
        solutions.push(SolutionInForce { channel, solution, configured: (*record, *recorded), tested });
    }
    Ok(solutions)
}

/// What the sanitizer of each machine was judged by, as configured.
fn chemistry(force: &ledger::InForce) -> Vec<ChemistryInForce> {
    let Some((record, Record { recorded, body: Body::ConfigurationChange(change), .. })) =
        &force.configuration
    else {
        return Vec::new();
    };
    let machines = Recorded::read(&change.toml).map(|read| read.machines).unwrap_or_default();
    let each = machines.iter().filter_map(|machine| {
        let (limits, configured) = (SignedChemistry::of(machine, Vec::new())?, (*record, *recorded));
        Some(ChemistryInForce { machine: machine.name.clone(), limits, configured })
    });
    each.collect()
}

/// The probes as they were configured, with the uncertainty of all that was in force.
fn configured(force: &ledger::InForce) -> Vec<ProbeInForce> {
    let Some((record, Record { recorded: since, body: Body::ConfigurationChange(change), .. })) =
        &force.configuration
    else {
        return Vec::new();
    };
    let Some(read) = Recorded::read(&change.toml) else { return Vec::new() };
    let probe = |known: &RecordedProbe| {
        let on = known.calibrated_on.and_then(|on| midnight(&read.settings.zone, on));
        let probe = force.file.in_force(&known.channel, on, force.at).laid_over(&known.probe);
        let configured = AsConfigured {
            record: *record,
            since: *since,
            place: known.place,
            calibrated_on: known.calibrated_on.map(|day| day.to_string()),
            uncertainty_c: probe.budget.combined(known.near).expanded,
        };
        ProbeInForce {
            channel: known.channel.clone(),
            configured: Some(configured),
            calibration: None,
            response: None,
            compared: None,
        }
    };
    read.probes.iter().map(probe).collect()
}
