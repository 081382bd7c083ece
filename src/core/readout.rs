//! What each channel shows, value by value as it is delivered.
//!
//! For whoever looks on while readings come in. Nothing is judged, put in order of time or
//! recorded here, and no state of a machine is touched; the conversion, the correction and the
//! signs of a stuck probe are those by which machines are judged. A value that comes behind
//! others of its machine is converted with the cold junction that was read last.

use std::time::Duration;

use super::channel::{Channel, Probe, Role, Signal};
use super::id::ChannelId;
use super::intake::{Junction, Stillness, Terminals, converted};
use super::reading::{Fault, Sample};
use super::units::Celsius;

/// A delivered value as a temperature.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Shown {
    /// After conversion, before any calibration. `None` for a fault, and for what is no temperature.
    pub measured: Option<Celsius>,
    /// After the correction in force; the same for a cold junction, which has none.
    pub corrected: Option<Celsius>,
    /// Why there is no usable temperature. A stuck probe shows its digits beside it.
    pub fault: Option<Fault>,
}

/// What is known of each channel; the place is its number.
#[derive(Clone, Debug)]
pub struct Readout {
    channels: Vec<(Channel, Memory)>,
}

/// What one channel showed before.
#[derive(Clone, Debug, Default)]
struct Memory {
    junction: Option<Junction>,
    terminals: Terminals,
    stillness: Stillness,
}

impl Readout {
    /// A readout that has seen nothing. The place of a channel is its number.
    #[must_use]
    pub fn new(channels: &[Channel]) -> Self {
        Self { channels: channels.iter().map(|channel| (channel.clone(), Memory::default())).collect() }
    }

    /// The channel of this number.
    #[must_use]
    pub fn channel(&self, id: ChannelId) -> Option<&Channel> {
        self.channels.get(usize::from(id.0)).map(|(channel, _)| channel)
    }

    /// Every channel, in order of the numbers.
    pub fn channels(&self) -> impl Iterator<Item = &Channel> {
        self.channels.iter().map(|(channel, _)| channel)
    }

    /// Goes on with another probe at a channel: its correction or its time constant has changed.
    pub fn put_in_force(&mut self, id: ChannelId, probe: Probe) {
        if let Some((channel, _)) = self.channels.get_mut(usize::from(id.0)) {
            channel.role = Role::Probe(probe);
        }
    }

    /// Takes a value as it is delivered, and says what it shows. A channel that is not
    /// configured shows nothing.
    pub fn take(&mut self, sample: Sample) -> Shown {
        let number = usize::from(sample.channel.0);
        let role = self.channels.get(number).map(|(channel, _)| &channel.role);
        let junction = match role {
            Some(Role::Probe(probe)) => self.junction_of(probe.signal),
            Some(Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph) | None => None,
        };
        let Some((channel, memory)) = self.channels.get_mut(number) else { return Shown::default() };
        match &channel.role {
            Role::Probe(probe) => memory.probe(probe, sample, junction),
            Role::ColdJunction { signal } => memory.junction(*signal, sample),
            Role::Running | Role::Concentration | Role::Ph => Shown::default(),
        }
    }

    fn junction_of(&self, signal: Signal) -> Option<Junction> {
        match signal {
            Signal::Thermocouple { cold_junction, .. } => {
                self.channels.get(usize::from(cold_junction.0)).and_then(|(_, memory)| memory.junction)
            }
            Signal::Celsius | Signal::Fahrenheit | Signal::Kelvin | Signal::Pt100 => None,
        }
    }
}

impl Memory {
    fn probe(&mut self, probe: &Probe, sample: Sample, junction: Option<Junction>) -> Shown {
        let Sample { at, value, .. } = sample;
        match converted(probe.signal, at, value, junction, &mut self.terminals, probe.silent_after) {
            Ok(celsius) => {
                let corrected = probe.calibration.apply(celsius);
                let stuck = self.stillness.is_stuck(probe, at, corrected);
                let fault = stuck.then_some(Fault::Stuck);
                Shown { measured: Some(celsius), corrected: Some(corrected), fault }
            }
            Err(fault) => Shown { fault: Some(fault), ..Shown::default() },
        }
    }

    fn junction(&mut self, signal: Signal, sample: Sample) -> Shown {
        let Sample { at, value, .. } = sample;
        match converted(signal, at, value, None, &mut Terminals::default(), Duration::ZERO) {
            Ok(celsius) => {
                self.junction = Some(Junction { at, celsius });
                Shown { measured: Some(celsius), corrected: Some(celsius), fault: None }
            }
            Err(fault) => {
                self.junction = None;
                Shown { fault: Some(fault), ..Shown::default() }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::calibration::Calibration;
    use crate::core::channel::Place;
    use crate::core::cycle::fixture::{at, probe};
    use crate::core::id::MachineId;
    use crate::core::reading::Value;
    use crate::core::thermocouple::ThermocoupleType;

    fn channel(id: u16, name: &str, role: Role) -> Channel {
        let name = name.to_owned().try_into().expect("a legal name");
        Channel { id: ChannelId(id), name, machine: MachineId(0), role }
    }

    // 4.096 mV is type K at 100 °C against 0 °C, 4.096 − 1.000 = 3.096 mV against 25 °C
    // (NIST ITS-90 table: 1.000 mV at 25 °C); the rest is arithmetic.
    #[test]
    fn a_value_is_shown_as_the_core_reads_it_before_and_after_its_correction() {
        let kind = ThermocoupleType::K;
        let mut rinse = probe(Place::FinalRinse, None);
        rinse.signal = Signal::Thermocouple { kind, cold_junction: ChannelId(1) };
        rinse.calibration = Calibration::Offset(-0.5);
        let mut readout = Readout::new(&[
            channel(0, "dm1/rinse", Role::Probe(rinse)),
            channel(1, "dm1/cold", Role::ColdJunction { signal: Signal::Celsius }),
            channel(2, "dm1/running", Role::Running),
        ]);
        for (name, number, t, value, measured, corrected, fault) in [
            ("no junction yet", 0, 0.0, Value::Number(0.003_096), None, None, Some(Fault::NoColdJunction)),
            ("the junction", 1, 1.0, Value::Number(25.0), Some(25.0), Some(25.0), None),
            ("against it", 0, 1.5, Value::Number(0.003_096), Some(100.0), Some(99.5), None),
            ("a fault", 0, 2.0, Value::Fault(Fault::OpenCircuit), None, None, Some(Fault::OpenCircuit)),
            ("no temperature", 2, 2.0, Value::Flag(true), None, None, None),
            ("the junction fails", 1, 3.0, Value::Fault(Fault::Short), None, None, Some(Fault::Short)),
            ("without it", 0, 3.5, Value::Number(0.003_096), None, None, Some(Fault::NoColdJunction)),
            ("nobody's", 7, 4.0, Value::Number(1.0), None, None, None),
        ] {
            let shown = readout.take(Sample { channel: ChannelId(number), at: at(t), value });
            for (found, expected) in [(shown.measured, measured), (shown.corrected, corrected)] {
                match (found, expected) {
                    (Some(found), Some(expected)) => {
                        let expected: f64 = expected;
                        assert!((found.0 - expected).abs() < 0.02, "{name}: {found}");
                    }
                    (found, expected) => assert_eq!(found.map(|c| c.0), expected, "{name}"),
                }
            }
            assert_eq!(shown.fault, fault, "{name}");
        }
    }

    // The time is the probe's configuration.
    #[test]
    fn a_stuck_probe_shows_its_digits_and_that_they_stand_still() {
        let probe = probe(Place::FinalRinse, None);
        let limit_s = probe.stuck_after.expect("the fixture looks for it").as_secs_f64();
        let mut readout = Readout::new(&[channel(0, "dm1/rinse", Role::Probe(probe))]);
        let mut last = Shown::default();
        let mut t = 0.0;
        while t <= limit_s {
            last = readout.take(Sample { channel: ChannelId(0), at: at(t), value: Value::Number(81.9) });
            t += 5.0;
        }
        assert_eq!((last.measured, last.fault), (Some(Celsius(81.9)), Some(Fault::Stuck)));
    }
}
