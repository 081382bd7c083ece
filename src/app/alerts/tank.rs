//! The temperature of a wash tank, read from the ledger where the desk asks for it.

use std::collections::BTreeMap;
use std::time::Duration;

use crate::config::resolve::Configuration;
use crate::core::channel::{Channel, Place, Probe, Role, Signal};
use crate::core::intake::{Junction, Terminals, converted};
use crate::core::on_file::OnFile;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::ledger::{Known, LedgerError, Reader, Reading};

/// A reading older than this says nothing of the tank just now.
const FRESH: Duration = Duration::from_secs(120);

/// The probes in wash tanks, by machine.
#[derive(Debug)]
pub(super) struct Tanks {
    channels: Vec<Channel>,
    /// When the configuration says that a probe was calibrated.
    calibrated_on: BTreeMap<String, Timestamp>,
    probe_of: BTreeMap<String, usize>,
    /// What is on record of the probes, as far as it was read at the last look.
    file: Known<OnFile>,
}

impl Tanks {
    pub(super) fn new(configuration: &Configuration) -> Self {
        let channels = &configuration.channels;
        let in_tank = |channel: &Channel| match &channel.role {
            Role::Probe(probe) => probe.place == Place::WashTank,
            Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => false,
        };
        let probes = channels.iter().enumerate().filter(|(_, channel)| in_tank(channel));
        let probe_of = probes.map(|(at, channel)| (channel.name.machine().to_owned(), at)).collect();
        let on =
            |channel: &Channel| Some((channel.name.to_string(), configuration.calibrated_on(&channel.name)?));
        let calibrated_on = channels.iter().filter_map(on).collect();
        Self { channels: channels.clone(), calibrated_on, probe_of, file: Known::default() }
    }

    /// The latest usable reading of a machine's tank and its time; `None` where there is no fresh one.
    ///
    /// # Errors
    /// The ledger's.
    pub(super) fn read(
        &self,
        machine: &str,
        reader: &Reader,
        now: Timestamp,
    ) -> Result<Option<(Timestamp, Celsius)>, LedgerError> {
        let Some(channel) = self.probe_of.get(machine).map(|at| &self.channels[*at]) else { return Ok(None) };
        let Role::Probe(probe) = &channel.role else { return Ok(None) };
        let Some(reading) = latest(reader, channel, now)? else { return Ok(None) };
        let junction = match probe.signal {
            Signal::Thermocouple { cold_junction, .. } => {
                self.junction(usize::from(cold_junction.0), reader, reading.at)?
            }
            Signal::Celsius | Signal::Fahrenheit | Signal::Kelvin | Signal::Pt100 => None,
        };
        let name = channel.name.as_str();
        let on = self.calibrated_on.get(name).copied();
        let calibration = self.file.fresh(reader)?.correction(name, probe.calibration, on, Timestamp::MAX);
        Ok(measured(probe, &reading, junction).map(|celsius| (reading.at, calibration.apply(celsius))))
    }

    fn junction(
        &self,
        at: usize,
        reader: &Reader,
        measured: Timestamp,
    ) -> Result<Option<Junction>, LedgerError> {
        let Some(channel) = self.channels.get(at) else { return Ok(None) };
        let Role::ColdJunction { signal } = channel.role else { return Ok(None) };
        let Some(reading) = latest(reader, channel, measured)? else { return Ok(None) };
        let celsius = converted(signal, reading.at, reading.value, None, &mut Terminals::default(), FRESH);
        Ok(celsius.ok().map(|celsius| Junction { at: reading.at, celsius }))
    }
}

fn latest(reader: &Reader, channel: &Channel, now: Timestamp) -> Result<Option<Reading>, LedgerError> {
    let until = now.just_after();
    Ok(reader.readings(channel.name.as_str(), now.minus(FRESH), until)?.last().copied())
}

fn measured(probe: &Probe, reading: &Reading, junction: Option<Junction>) -> Option<Celsius> {
    let terminals = &mut Terminals::default();
    converted(probe.signal, reading.at, reading.value, junction, terminals, FRESH).ok()
}
