//! The gateway's core behind a simulated world: configured from the facts a
//! technician would read off the data plate, fed with what the nodes send.

use std::collections::BTreeMap;
use std::time::Duration;

use rinseward::core::calibration::Calibration;
use rinseward::core::channel::{Channel, Place, Probe, Role, Signal};
use rinseward::core::cycle::plate::{
    Limit, LimitSource, MachineKind, PlateTimes, Profile, RinseFrom, Sanitizing,
};
use rinseward::core::effect::{Effect, Effects};
use rinseward::core::id::{ChannelId, ChannelName, MachineId};
use rinseward::core::reading::{Fault, Sample, Value};
use rinseward::core::record::{Body, Record};
use rinseward::core::sanitizer::Rules;
use rinseward::core::site::{Event, Site};
use rinseward::core::time::Timestamp;
use rinseward::core::uncertainty::{Budget, Sensor};
use rinseward::core::units::Celsius;
use rinseward_simulator::catalog::{self, MachineFacts};
use rinseward_simulator::checker::CycleRow;
use rinseward_simulator::node::{Emission, RecordValue};
use rinseward_simulator::world::World;

/// Whether the gateway knows the probes' time constants.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Response {
    /// From a response test.
    OnFile,
    /// Never measured.
    Unknown,
}

/// The core, and what it put on record.
pub(crate) struct Gateway {
    site: Site,
    machines: u16,
    channels: BTreeMap<String, ChannelId>,
    effects: Effects,
    now: Timestamp,
    /// Everything put on record, in order.
    pub(crate) records: Vec<Record>,
}

impl Gateway {
    /// Configured for the machines of a world.
    pub(crate) fn of(world: &World, response: Response) -> Self {
        let facts: Vec<&MachineFacts> = world.facts().collect();
        let profiles: Vec<Profile> = facts.iter().map(|facts| profile(facts)).collect();
        let mut channels = Vec::new();
        for (machine, facts) in facts.iter().enumerate() {
            let machine = MachineId(u16::try_from(machine).expect("a few machines"));
            for (name, role) in roles(facts, response) {
                let id = ChannelId(u16::try_from(channels.len()).expect("a few channels"));
                let name = ChannelName::try_from(format!("{}/{name}", facts.name)).expect("a legal name");
                channels.push(Channel { id, name, machine, role });
            }
        }
        let names = channels.iter().map(|channel| (channel.name.to_string(), channel.id)).collect();
        Self {
            site: Site::new(&profiles, &channels),
            machines: u16::try_from(profiles.len()).expect("a few machines"),
            channels: names,
            effects: Vec::new(),
            now: Timestamp::from_micros(world.start_micros()),
            records: Vec::new(),
        }
    }

    /// Takes a pack that leaves its node at the time it says.
    pub(crate) fn take(&mut self, emission: &Emission) {
        self.advance(Timestamp::from_micros(emission.at_micros));
        for record in &emission.records {
            let Some(channel) = self.channels.get(&format!("{}{}", emission.base_name, record.name)) else {
                continue;
            };
            let value = match record.value {
                RecordValue::Number(number) => Value::Number(number),
                RecordValue::Boolean(flag) => Value::Flag(flag),
                RecordValue::Text(text) => Value::Fault(text.parse().unwrap_or(Fault::Reported)),
            };
            let at = Timestamp::from_micros(emission.time_micros);
            let sample = Sample { channel: *channel, at, value };
            self.handle(Event::Sample(sample));
        }
    }

    /// Ends the input.
    pub(crate) fn finish(&mut self) {
        for machine in 0..self.machines {
            self.handle(Event::End(MachineId(machine)));
        }
    }

    /// The cycles on record, as the checker reads them.
    pub(crate) fn rows(&self) -> Vec<CycleRow> {
        self.records
            .iter()
            .filter_map(|record| match &record.body {
                Body::Cycle(cycle) => Some(CycleRow {
                    machine: record.machine.clone().expect("a cycle belongs to a machine"),
                    started: cycle.started.to_string(),
                    rinse_started: Some(cycle.rinse_started.to_string()),
                    rinse_ended: Some(cycle.rinse_ended.to_string()),
                    verdict: cycle.verdict.to_string(),
                    rinse_min_c: cycle.rinse_min_c,
                    rinse_min_corrected_c: cycle.rinse_min_corrected_c,
                    basis: None,
                    limit_c: Some(cycle.limit_c),
                    dwell_s: Some(cycle.dwell_s),
                }),
                Body::Gap(_)
                | Body::Check(_)
                | Body::ServiceStart(_)
                | Body::ServiceStop(_)
                | Body::ClockStep(_)
                | Body::ConfigurationChange(_)
                | Body::MachineFailure(_)
                | Body::AlertRaised(_)
                | Body::AlertChanged(_)
                | Body::AlertAcknowledged(_)
                | Body::AlertCleared(_)
                | Body::AlertClosed(_)
                | Body::CorrectiveAction(_)
                | Body::Notification(_)
                | Body::Maintenance(_)
                | Body::Note(_)
                | Body::Amendment(_)
                | Body::SigningKey(_)
                | Body::LawfulHold(_)
                | Body::Pruned(_)
                | Body::Import(_)
                | Body::Restored(_)
                | Body::Calibration(_)
                | Body::Response(_)
                | Body::WiringProof(_)
                | Body::SignOff(_)
                | Body::Access(_) => None,
            })
            .collect()
    }

    fn advance(&mut self, to: Timestamp) {
        while let Some((deadline, machine)) = self.site.deadline() {
            if deadline > to {
                break;
            }
            self.now = deadline;
            self.handle(Event::Tick(machine));
        }
        self.now = to;
    }

    fn handle(&mut self, event: Event) {
        self.site.handle(self.now, event, &mut self.effects);
        for effect in self.effects.drain(..) {
            match effect {
                Effect::Record { record, .. } => self.records.push(*record),
                Effect::Snapshot { .. } => {}
            }
        }
    }
}

fn roles(facts: &MachineFacts, response: Response) -> Vec<(&'static str, Role)> {
    let probe = |place, tau_s: f64| {
        Role::Probe(Probe {
            place,
            signal: Signal::Celsius,
            calibration: Calibration::None,
            // The simulated probes have no offset; what is left is their digits and noise.
            budget: Budget {
                sensor: Sensor::Within { half_width_c: facts.probe_within_c },
                cold_junction_c: 0.0,
                converter_c: 0.0,
                resolution_c: facts.quantum_c,
                installation_c: 0.0,
                repeatability_c: 0.05,
                drift_c: 0.0,
            },
            tau: (response == Response::OnFile).then(|| Duration::from_secs_f64(tau_s)),
            silent_after: Duration::from_secs(10),
            stuck_after: Some(Duration::from_secs(600)),
        })
    };
    let mut roles = vec![
        ("wash", probe(Place::WashTank, facts.wash_tau_s)),
        ("rinse", probe(Place::FinalRinse, facts.rinse_tau_s)),
    ];
    if facts.has_run_signal {
        roles.push(("running", Role::Running));
    }
    if facts.sanitizer.is_some() {
        roles.push(("sanitizer", Role::Concentration));
        roles.push(("ph", Role::Ph));
    }
    roles
}

fn profile(facts: &MachineFacts) -> Profile {
    let limit = |celsius| Limit { at: Celsius(celsius), source: LimitSource::DataPlate };
    let seconds = Duration::from_secs_f64;
    Profile {
        name: facts.name.clone(),
        kind: match facts.kind {
            catalog::MachineKind::StationaryRackSingleTemperature => {
                MachineKind::StationaryRackSingleTemperature
            }
            catalog::MachineKind::StationaryRackDualTemperature => MachineKind::StationaryRackDualTemperature,
            catalog::MachineKind::SingleTankConveyor => MachineKind::SingleTankConveyor,
            catalog::MachineKind::MultitankConveyor => MachineKind::MultitankConveyor,
        },
        sanitizing: sanitizing(facts.sanitizing),
        rinse_from: match facts.rinse_from {
            catalog::RinseFrom::FreshLine => RinseFrom::FreshLine,
            catalog::RinseFrom::Sump => RinseFrom::Sump,
        },
        times: PlateTimes {
            wash: seconds(facts.wash_s),
            pause: seconds(facts.pause_s),
            rinse: seconds(facts.rinse_s),
        },
        rinse_min: limit(facts.rinse_min_c),
        rinse_max: Some(limit(facts.rinse_max_c)),
        wash_min: limit(facts.wash_min_c),
        dwell_min: seconds(facts.dwell_min_s),
        disorder_window: Duration::from_secs(5),
        sanitizer: Rules::default(),
        check_valid_for: Duration::from_secs(8 * 3600),
    }
}

/// How a machine of the catalogue sanitizes.
pub(crate) const fn sanitizing(of: catalog::Sanitizing) -> Sanitizing {
    match of {
        catalog::Sanitizing::HotWater => Sanitizing::HotWater,
        catalog::Sanitizing::Chlorine => Sanitizing::Chlorine,
        catalog::Sanitizing::Iodine => Sanitizing::Iodine,
        catalog::Sanitizing::Quat => Sanitizing::Quat,
    }
}
