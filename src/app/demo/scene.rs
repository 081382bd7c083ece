//! What the demo shows: fed with what was committed, drawn by [`super::screen`].

use std::collections::VecDeque;
use std::time::Duration;

use crate::core::channel::{Channel, Place, Role, Signal};
use crate::core::cycle::plate::{Profile, Sanitizing};
use crate::core::cycle::verdict::Verdict;
use crate::core::reading::{Fault, Sample, Value};
use crate::core::record::Body;
use crate::core::site::Event;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::report::row::CycleRow;
use crate::runtime::driver::Published;

/// Length of the traces shown, in event time.
pub(super) const TRACE_SPAN: Duration = Duration::from_secs(300);
/// Most readings of one trace; older ones go first.
const TRACE_READINGS_MAX: usize = 4_096;
/// Most cycles kept for the list.
const CYCLES_MAX: usize = 500;

/// Everything on the screen.
#[derive(Debug)]
pub(super) struct Scene {
    pub(super) machines: Vec<MachineScene>,
    /// Newest first.
    pub(super) cycles: VecDeque<CycleRow>,
    pub(super) counts: [u64; Verdict::ALL.len()],
    /// Latest instant seen.
    pub(super) now: Option<Timestamp>,
    /// What has just happened beside cycles, in plain words.
    pub(super) notice: Option<String>,
    /// Open alerts, one line each.
    pub(super) open: Vec<String>,
    channels: Vec<Channel>,
}

/// One machine.
#[derive(Debug)]
pub(super) struct MachineScene {
    pub(super) name: String,
    pub(super) sanitizing: Sanitizing,
    pub(super) rinse: ProbeScene,
    pub(super) wash: ProbeScene,
    /// Whether the run signal is on; `None` where there is none.
    pub(super) running: Option<bool>,
    pub(super) last: Option<CycleRow>,
}

/// One probe.
#[derive(Debug)]
pub(super) struct ProbeScene {
    pub(super) limit: Celsius,
    pub(super) trace: VecDeque<(Timestamp, f64)>,
    pub(super) fault: Option<Fault>,
}

impl Scene {
    /// An empty scene of these machines.
    pub(super) fn new(machines: &[Profile], channels: &[Channel]) -> Self {
        let probe = |limit| ProbeScene { limit, trace: VecDeque::new(), fault: None };
        let machines = machines
            .iter()
            .map(|profile| MachineScene {
                name: profile.name.clone(),
                sanitizing: profile.sanitizing,
                rinse: probe(profile.rinse_min.at),
                wash: probe(profile.wash_min.at),
                running: None,
                last: None,
            })
            .collect();
        Self {
            machines,
            cycles: VecDeque::new(),
            counts: [0; Verdict::ALL.len()],
            now: None,
            notice: None,
            open: Vec::new(),
            channels: channels.to_vec(),
        }
    }

    /// Takes what was committed; returns the cycles in it, oldest first.
    pub(super) fn take(&mut self, published: &Published) -> Vec<CycleRow> {
        for input in &published.inputs {
            if let Event::Sample(sample) = input.event {
                self.sample(sample);
            }
        }
        let mut rows = Vec::new();
        for (index, record) in &published.records {
            if let Body::Cycle(cycle) = &record.body {
                let row = CycleRow::new(record.machine.as_deref().unwrap_or("-"), cycle, Some(*index));
                self.cycle(&row);
                rows.push(row);
            } else if let Body::Gap(gap) = &record.body {
                self.notice = Some(match gap.to {
                    None => format!("{}: no usable readings ({})", gap.probe, gap.fault),
                    Some(_) => format!("{}: readings are back", gap.probe),
                });
            } else if let Body::MachineFailure(_) = &record.body {
                self.notice = Some("a machine's judging failed; see the log".to_owned());
            }
        }
        rows
    }

    fn sample(&mut self, sample: Sample) {
        self.now = self.now.max(Some(sample.at));
        let Some(channel) = self.channels.get(usize::from(sample.channel.0)) else {
            return;
        };
        let Some(machine) = self.machines.get_mut(usize::from(channel.machine.0)) else {
            return;
        };
        match (&channel.role, sample.value) {
            (Role::Running, Value::Flag(running)) => machine.running = Some(running),
            (Role::Probe(probe), value) => {
                let scene = match probe.place {
                    Place::FinalRinse => &mut machine.rinse,
                    Place::WashTank => &mut machine.wash,
                    Place::Ware | Place::Other => return,
                };
                scene.take(sample.at, value, probe.signal);
            }
            (Role::Running | Role::ColdJunction { .. } | Role::Concentration | Role::Ph, _) => {}
        }
    }

    fn cycle(&mut self, row: &CycleRow) {
        if let Some(place) = Verdict::ALL.iter().position(|verdict| *verdict == row.verdict) {
            self.counts[place] += 1;
        }
        if let Some(machine) = self.machines.iter_mut().find(|machine| machine.name == row.machine) {
            machine.last = Some(row.clone());
        }
        // Machines are judged at their own pace: the order is that of the rinses.
        let place = self.cycles.iter().position(|other| other.rinse_started <= row.rinse_started);
        self.cycles.insert(place.unwrap_or(self.cycles.len()), row.clone());
        self.cycles.truncate(CYCLES_MAX);
    }
}

impl ProbeScene {
    /// The latest temperature, where the probe has no fault.
    pub(super) fn celsius(&self) -> Option<f64> {
        if self.fault.is_some() { None } else { self.trace.back().map(|(_, celsius)| *celsius) }
    }

    fn take(&mut self, at: Timestamp, value: Value, signal: Signal) {
        let number = match value {
            Value::Number(number) => number,
            Value::Fault(fault) => {
                self.fault = Some(fault);
                return;
            }
            Value::Flag(_) => return,
        };
        let celsius = match signal {
            Signal::Celsius => number,
            Signal::Fahrenheit => Celsius::from_fahrenheit(number).0,
            Signal::Kelvin => Celsius::from_kelvin(number).0,
            // The demo's probes speak in temperatures.
            Signal::Thermocouple { .. } | Signal::Pt100 => return,
        };
        self.fault = None;
        self.trace.push_back((at, celsius));
        let oldest = at.minus(TRACE_SPAN);
        while self.trace.len() > TRACE_READINGS_MAX || self.trace.front().is_some_and(|(at, _)| *at < oldest)
        {
            self.trace.pop_front();
        }
    }
}
