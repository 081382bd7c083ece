//! From readings, as the ledger holds them, to points.
//!
//! A channel that is not configured any more is written as it was delivered,
//! with the place `unknown`: what its number meant is not known here.

use std::collections::BTreeMap;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::batch::Batch;
use super::measurements::{READING, fault_code};
use super::point::{Key, Point, Unwritable};
use crate::config::resolve::Configuration;
use crate::config::series::Readings;
use crate::core::calibration::Calibration;
use crate::core::channel::{Channel, Place, Probe, Role, Signal};
use crate::core::intake::{Junction, Terminals, converted};
use crate::core::on_file::OnFile;
use crate::core::reading::{Fault, Value};
use crate::core::time::Timestamp;

/// One reading of a channel.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reading {
    /// When it was measured.
    pub at: Timestamp,
    /// What was measured, as delivered.
    pub value: Value,
}

/// Readings of one channel, in the order in which the ledger gives them.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Stretch {
    /// Name of the channel.
    pub channel: String,
    /// Its readings.
    pub readings: Vec<Reading>,
}

/// Readings of a cold junction that are needed beside a part to turn its thermocouples into °C.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct JunctionSpan {
    /// Name of the channel.
    pub channel: String,
    /// From here, this instant included.
    pub from: Timestamp,
    /// To here, this instant included.
    pub to: Timestamp,
}

/// A point that cannot be written: it goes to those set aside.
#[derive(Clone, PartialEq, Debug)]
pub struct Aside {
    /// Name of the channel, or the kind of the record.
    pub of: String,
    /// When it was measured or recorded.
    pub at: Timestamp,
    /// What, as it was delivered.
    pub what: String,
    /// Why.
    pub reason: Unwritable,
}

/// What is remembered between parts so that the rule of thinning holds across them: the last
/// interval of each channel of which a reading was sent. To be stored with the reader's place.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Thinning(BTreeMap<String, i64>);

/// Makes points of readings.
#[derive(Debug)]
pub struct ReadingPoints {
    site: String,
    channels: BTreeMap<String, Channel>,
    names: Vec<String>,
    /// When the configuration says that a probe was calibrated.
    calibrated_on: BTreeMap<String, Timestamp>,
    readings: Readings,
}

impl ReadingPoints {
    /// By this configuration.
    #[must_use]
    pub fn new(configuration: &Configuration, readings: Readings) -> Self {
        let channels = &configuration.channels;
        Self {
            site: configuration.site.clone(),
            channels: channels.iter().map(|channel| (channel.name.to_string(), channel.clone())).collect(),
            names: channels.iter().map(|channel| channel.name.to_string()).collect(),
            calibrated_on: channels
                .iter()
                .filter_map(|channel| {
                    Some((channel.name.to_string(), configuration.calibrated_on(&channel.name)?))
                })
                .collect(),
            readings,
        }
    }

    /// Which readings of cold junctions the part lacks. A reading of a thermocouple that still has
    /// no junction when it is written goes out as delivered, without its temperature.
    #[must_use]
    pub fn junctions_wanted(&self, part: &[Stretch]) -> Vec<JunctionSpan> {
        let junctions = self.junctions(part, &[]);
        let mut wanted = Vec::new();
        for stretch in part {
            let Some((probe, junction)) = self.thermocouple(&stretch.channel) else { continue };
            let known = junctions.get(junction).map(Vec::as_slice).unwrap_or_default();
            let covered = |at: Timestamp| {
                newest(known, at).is_some_and(|junction| at.since(junction.at) <= probe.silent_after)
            };
            let numbers = stretch.readings.iter().filter(|reading| matches!(reading.value, Value::Number(_)));
            let lacking = numbers.filter(|reading| !covered(reading.at));
            let times: Vec<Timestamp> = lacking.map(|reading| reading.at).collect();
            if let (Some(first), Some(last)) = (times.iter().min(), times.iter().max()) {
                let from = first.minus(probe.silent_after);
                wanted.push(JunctionSpan { channel: junction.to_owned(), from, to: *last });
            }
        }
        wanted.sort();
        wanted.dedup();
        wanted
    }

    /// Adds the points of `part` to `batch`, thinned by the rule of the configuration. `beside`
    /// holds readings of cold junctions that are not written, `file` the calibrations on record, of which each
    /// reading gets the one in force when it was measured. What cannot be written comes back.
    pub fn write(
        &self,
        part: &[Stretch],
        beside: &[Stretch],
        file: &OnFile,
        thinning: &mut Thinning,
        batch: &mut Batch,
    ) -> Vec<Aside> {
        let junctions = self.junctions(part, beside);
        let mut aside = Vec::new();
        for stretch in part {
            let channel = self.channels.get(&stretch.channel);
            let own = self.thermocouple(&stretch.channel).and_then(|(_, name)| junctions.get(name));
            let mut terminals = Terminals::default();
            let key = self.key(&stretch.channel, channel);
            for reading in &stretch.readings {
                if !thinning.keeps(self.readings, &stretch.channel, reading) {
                    continue;
                }
                let junction = own.and_then(|own| newest(own, reading.at));
                let point = Point::new(READING, reading.at);
                let calibration = self.calibration(channel, file, reading.at);
                let point = with_value(point, channel, calibration, reading, junction, &mut terminals);
                let written =
                    key.as_ref().map_err(Unwritable::clone).and_then(|key| batch.push_below(key, &point));
                if let Err(reason) = written {
                    let what = format!("{:?}", reading.value);
                    aside.push(Aside { of: stretch.channel.clone(), at: reading.at, what, reason });
                }
            }
        }
        aside
    }

    /// The correction of a reading; none where the channel is no temperature probe.
    fn calibration(&self, channel: Option<&Channel>, file: &OnFile, at: Timestamp) -> Calibration {
        match channel.map(|channel| (&channel.role, channel.name.as_str())) {
            Some((Role::Probe(probe), name)) => {
                let on = self.calibrated_on.get(name).copied();
                file.correction(name, probe.calibration, on, at)
            }
            Some((Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph, _)) | None => {
                Calibration::None
            }
        }
    }

    /// Measurement and tags of every point of a channel.
    fn key(&self, name: &str, channel: Option<&Channel>) -> Result<Key, Unwritable> {
        let (machine, probe) = name.rsplit_once('/').unwrap_or(("unknown", name));
        let point = Point::at_nanos(READING, 0)
            .tag("site", self.site.clone())
            .tag("machine", machine.to_owned())
            .tag("probe", probe.to_owned())
            .tag("place", place(channel));
        Key::of(&point)
    }

    /// The probe of this name and the name of its cold junction, where it is a thermocouple.
    fn thermocouple(&self, name: &str) -> Option<(&Probe, &str)> {
        let Role::Probe(probe) = &self.channels.get(name)?.role else { return None };
        let Signal::Thermocouple { cold_junction, .. } = probe.signal else { return None };
        Some((probe, self.names.get(usize::from(cold_junction.0))?))
    }

    /// The temperatures of all cold junctions in a part and beside it, by name, each in order of time.
    fn junctions(&self, part: &[Stretch], beside: &[Stretch]) -> BTreeMap<&str, Vec<Junction>> {
        let mut junctions: BTreeMap<&str, Vec<Junction>> = BTreeMap::new();
        for stretch in part.iter().chain(beside) {
            let Some((name, channel)) = self.channels.get_key_value(&stretch.channel) else { continue };
            let Role::ColdJunction { signal } = channel.role else { continue };
            let known = junctions.entry(name).or_default();
            known.extend(stretch.readings.iter().filter_map(|reading| {
                let celsius = plain(signal, reading).ok()?;
                Some(Junction { at: reading.at, celsius })
            }));
        }
        for known in junctions.values_mut() {
            known.sort_by_key(|junction| junction.at);
        }
        junctions
    }
}

impl Thinning {
    /// Whether the reading is sent: the first number of its channel in its interval, and whatever is
    /// no number. Time that runs back counts as another interval.
    fn keeps(&mut self, readings: Readings, channel: &str, reading: &Reading) -> bool {
        let (Readings::Every(every), Value::Number(_)) = (readings, reading.value) else { return true };
        let every = i64::try_from(every.as_micros()).unwrap_or(i64::MAX).max(1);
        let interval = reading.at.micros().div_euclid(every);
        match self.0.get_mut(channel) {
            Some(last) if *last == interval => false,
            Some(last) => {
                *last = interval;
                true
            }
            None => {
                self.0.insert(channel.to_owned(), interval);
                true
            }
        }
    }
}

/// The newest junction at or before `at`.
fn newest(known: &[Junction], at: Timestamp) -> Option<Junction> {
    let after = known.partition_point(|junction| junction.at <= at);
    after.checked_sub(1).map(|index| known[index])
}

/// A temperature that needs no junction.
fn plain(signal: Signal, reading: &Reading) -> Result<crate::core::units::Celsius, Fault> {
    converted(signal, reading.at, reading.value, None, &mut Terminals::default(), Duration::ZERO)
}

fn place(channel: Option<&Channel>) -> &'static str {
    match channel.map(|channel| &channel.role) {
        Some(Role::Probe(probe)) => match probe.place {
            Place::WashTank => "wash-tank",
            Place::FinalRinse => "final-rinse",
            Place::Ware => "ware",
            Place::Other => "other",
        },
        Some(Role::ColdJunction { .. }) => "cold-junction",
        Some(Role::Running) => "run-signal",
        Some(Role::Concentration) => "concentration",
        Some(Role::Ph) => "ph",
        None => "unknown",
    }
}

/// Adds what the reading says.
fn with_value(
    point: Point,
    channel: Option<&Channel>,
    calibration: Calibration,
    reading: &Reading,
    junction: Option<Junction>,
    terminals: &mut Terminals,
) -> Point {
    let number = match reading.value {
        Value::Number(number) => number,
        Value::Flag(flag) => return point.flag("flag", flag),
        Value::Fault(fault) => return with_fault(point, fault),
    };
    match channel.map(|channel| &channel.role) {
        Some(Role::Probe(probe)) => {
            let is_celsius = probe.signal == Signal::Celsius && calibration == Calibration::None;
            let point = if is_celsius { point } else { point.float("raw", number) };
            let temperature =
                converted(probe.signal, reading.at, reading.value, junction, terminals, probe.silent_after);
            match temperature {
                Ok(celsius) => point.float("celsius", calibration.apply(celsius).0),
                // Which junction belongs to it may be learned later: no fault of the probe.
                Err(Fault::NoColdJunction) => point,
                Err(fault) => with_fault(if is_celsius { point.float("raw", number) } else { point }, fault),
            }
        }
        Some(Role::ColdJunction { signal }) => {
            let point = if *signal == Signal::Celsius { point } else { point.float("raw", number) };
            match plain(*signal, reading) {
                Ok(celsius) => point.float("celsius", celsius.0),
                Err(fault) => with_fault(point, fault),
            }
        }
        Some(Role::Concentration) => point.float("mg_per_l", number),
        Some(Role::Ph) => point.float("ph", number),
        Some(Role::Running) | None => point.float("raw", number),
    }
}

/// Adds a fault by number and by word.
pub(super) fn with_fault(point: Point, fault: Fault) -> Point {
    point.integer("fault", fault_code(fault)).text("fault_name", fault.as_str())
}

#[cfg(test)]
mod tests;
