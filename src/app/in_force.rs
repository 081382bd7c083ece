//! What is in force for each probe: the configuration, and the calibrations and response tests on record laid over it.

use super::ledger;
use crate::config::resolve::Configuration;
use crate::core::channel::{Channel, Role};
use crate::core::on_file::{InForce, OnFile};
use crate::core::record::Correction;
use crate::core::technician::words::gain_and_offset;
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, ReadOn, Reader};

/// The calibrations and response tests on record. One that is damaged counts no more, see
/// [`crate::core::on_file`], and is told of: recording must go on. The desk raises `record-damaged` for it.
///
/// # Errors
/// The ledger's.
pub(super) fn on_file(reader: &Reader) -> Result<OnFile, LedgerError> {
    OnFile::whole(reader)
}

impl ReadOn for OnFile {
    fn next(&self) -> u64 {
        Self::next(self)
    }

    fn read_on(&mut self, ledger: &Reader, size: u64) -> Result<(), LedgerError> {
        for index in ledger.read_on_file(self)? {
            tracing::error!(
                index,
                "a record of a calibration, of a response test or of a withdrawal is damaged and counts no more"
            );
        }
        self.read_until(size);
        Ok(())
    }
}

/// The channels with what is on record laid over them, for a command that records nothing: without a
/// ledger, or with one that it may not read, they are those that are configured.
pub(super) fn channels(configuration: &Configuration) -> Vec<Channel> {
    let path = &configuration.ledger.path;
    match Reader::open(path).and_then(|reader| on_file(&reader)) {
        Ok(file) => configuration.channels_in_force(&file, Timestamp::MAX),
        Err(error) => {
            if path.exists() {
                tracing::warn!(%error, "what is on record of calibrations cannot be read; values are shown without it");
            }
            configuration.channels.clone()
        }
    }
}

/// Each temperature probe with what is on record of it, where something on record is in force.
pub(super) fn of_probes<'f>(
    configuration: &'f Configuration,
    file: &'f OnFile,
) -> impl Iterator<Item = (&'f str, InForce<'f>)> {
    let probes = configuration.channels.iter().filter(|channel| matches!(channel.role, Role::Probe(_)));
    probes
        .map(move |channel| {
            let on = configuration.calibrated_on(&channel.name);
            (channel.name.as_str(), file.in_force(channel.name.as_str(), on, Timestamp::MAX))
        })
        .filter(|(_, in_force)| in_force.is_on_record())
}

/// One line for each probe that something on record is in force for.
pub(super) fn lines(configuration: &Configuration, file: &OnFile) -> Vec<String> {
    let line = |(probe, in_force): (&str, InForce<'_>)| {
        let mut parts = Vec::new();
        if let Some(filed) = in_force.calibration {
            let (done, index) = (&filed.done, filed.index);
            let until = done.until.as_ref().map_or_else(String::new, |day| format!(", holds until {day}"));
            let on = local_day(configuration, filed.since);
            parts.push(format!(
                "calibration of record {index} ({on}{until}): {}, ±{:.2} °C",
                gain_and_offset(done.left.gain, done.left.offset_c),
                done.expanded_c
            ));
        }
        if let Some(filed) = in_force.doubted {
            let Correction { gain, offset_c } = filed.done.left;
            parts.push(format!(
                "calibration of record {} goes on correcting ({}) but counts for nothing: a record that may have taken its place is damaged",
                filed.index,
                gain_and_offset(gain, offset_c)
            ));
        }
        if let Some(filed) = in_force.response {
            let (done, index) = (&filed.done, filed.index);
            parts.push(format!(
                "time constant of record {index}: {:.2} ±{:.2} s",
                done.tau_s, done.expanded_s
            ));
        }
        if let Some(filed) = in_force.doubted_response {
            parts.push(format!(
                "time constant of record {} ({:.2} s) counts for nothing: a record that may have taken its place is damaged",
                filed.index, filed.done.tau_s
            ));
        }
        format!("{probe}: {}", parts.join("; "))
    };
    of_probes(configuration, file).map(line).collect()
}

fn local_day(configuration: &Configuration, at: Timestamp) -> String {
    let day = crate::core::wall_clock::local_date(&configuration.alerts.zone, at);
    day.map_or_else(|| at.to_string(), |day| day.to_string())
}

/// Tells the log at the start what on record is in force, and gives it.
///
/// # Errors
/// The ledger's.
pub(super) fn tell(configuration: &Configuration, reader: &Reader) -> Result<OnFile, LedgerError> {
    let file = on_file(reader)?;
    for line in lines(configuration, &file) {
        tracing::info!(probe = line, "what is on record is in force before the configuration");
    }
    Ok(file)
}

/// What on record is in force, for `check-config`: nothing where there is no ledger yet.
pub(super) fn told(configuration: &Configuration) -> Vec<String> {
    let path = &configuration.ledger.path;
    if !path.exists() {
        return Vec::new();
    }
    match Reader::open(path).and_then(|reader| on_file(&reader)) {
        Ok(file) => lines(configuration, &file),
        Err(error) => vec![format!(
            "what is on record of calibrations could not be looked at: {}",
            ledger::diagnose(&error, path)
        )],
    }
}
