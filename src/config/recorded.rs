//! A configuration as a record keeps it: how racks were judged and machines watched.
//!
//! Sections about messages, series and pages are left out before anything is read: they name
//! secrets and servers of the gateway, which whoever reads a ledger elsewhere does not have.

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::check::check;
use super::layers::{Merged, merge_text};
use super::problem::Findings;
use super::raw::{Node, Value};
use super::resolve::Configuration;
use super::text;
use crate::core::alert::Settings;
use crate::core::calibration::{Calibration, Point};
use crate::core::channel::{Place, Probe, Role};
use crate::core::cycle::plate::Profile;
use crate::core::units::Celsius;

/// Sections that are read.
const SECTIONS: [&str; 6] = ["site", "machine", "probe", "alert", "shift", "meal-period"];
/// How the zone of the gateway stands in the text where the configuration named none.
const OWN_ZONE: &str = "# time-zone = ";

/// What a recorded configuration says.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// Name of the site.
    pub site: String,
    /// Zone of every local time, by its name.
    pub zone: String,
    /// Hours, shifts, meal periods, checks and thresholds; without contacts.
    pub settings: Settings,
    /// The machines.
    pub machines: Vec<Profile>,
    /// Every channel by its name, also those that are no temperature probe.
    pub channels: Vec<String>,
    /// The temperature probes.
    pub probes: Vec<RecordedProbe>,
}

/// What a recorded configuration says of one temperature probe.
#[derive(Clone, PartialEq, Debug)]
pub struct RecordedProbe {
    /// Its channel.
    pub channel: String,
    /// Its machine.
    pub machine: String,
    /// Where it sits.
    pub place: Place,
    /// Day of its last calibration, where it is on file.
    pub calibrated_on: Option<Date>,
    /// What it was compared with, where two points are on file.
    pub points: Vec<Point>,
    /// What is added to it, °C, where the calibration is entered so.
    pub offset_c: Option<f64>,
    /// The probe as it is configured.
    pub probe: Probe,
    /// The limit it is judged by.
    pub near: Celsius,
}

impl RecordedProbe {
    /// Expanded uncertainty (k = 2) of a reading near the limit it is judged by, °C.
    #[must_use]
    pub fn uncertainty_c(&self) -> f64 {
        self.probe.budget.combined(self.near).expanded
    }
}

impl Recorded {
    /// Reads the text of a record; `None` where this version of the program makes no sense of it.
    #[must_use]
    pub fn read(toml: &str) -> Option<Self> {
        let mut findings = Findings::default();
        let merged = merge_text(toml, &SECTIONS, &mut findings);
        let (configuration, _) = check(&merged, &mut findings)?;
        let named = merged.table.get("site").and_then(|site| entry(site, "time-zone")?.value.as_text());
        let own = || toml.lines().find_map(|line| line.strip_prefix(OWN_ZONE)?.split('"').nth(1));
        let zone = named.or_else(own)?.to_owned();
        let probes = probes(&merged, &configuration);
        let channels = configuration.channels.iter().map(|channel| channel.name.to_string()).collect();
        let Configuration { site, machines, alerts: settings, .. } = configuration;
        let settings = Settings { zone: TimeZone::get(&zone).ok()?, ..settings };
        Some(Self { site, zone, settings, machines, channels, probes })
    }

    /// The machine of this name.
    #[must_use]
    pub fn machine(&self, name: &str) -> Option<&Profile> {
        self.machines.iter().find(|machine| machine.name == name)
    }
}

fn entry<'n>(node: &'n Node, key: &str) -> Option<&'n Node> {
    node.value.as_table()?.get(key)
}

fn probes(merged: &Merged, configuration: &Configuration) -> Vec<RecordedProbe> {
    let mut probes = Vec::new();
    for channel in &configuration.channels {
        let Role::Probe(probe) = &channel.role else { continue };
        let Some(machine) = configuration.machines.get(usize::from(channel.machine.0)) else { continue };
        let name = channel.name.as_str();
        let written = merged.table.get("probe").and_then(|probes| entry(probes, name));
        let temperature = |key| {
            let calibration = entry(written?, "calibration")?;
            text::temperature(entry(calibration, key)?.value.as_text()?).ok()
        };
        let point = |is, reads| Some(Point { reference: temperature(is)?, indicated: temperature(reads)? });
        let points = [point("low-is", "low-reads"), point("high-is", "high-reads")];
        let date = |node: &Node| if let Value::Text(day) = &node.value { day.parse().ok() } else { None };
        let Some(near) = configuration.limit(channel.machine, probe.place) else { continue };
        probes.push(RecordedProbe {
            channel: name.to_owned(),
            machine: machine.name.clone(),
            place: probe.place,
            calibrated_on: written.and_then(|probe| entry(probe, "calibrated-on")).and_then(date),
            points: points.into_iter().flatten().collect(),
            offset_c: match probe.calibration {
                Calibration::Offset(offset_c) => Some(offset_c),
                Calibration::None | Calibration::TwoPoint { .. } => None,
            },
            probe: probe.clone(),
            near,
        });
    }
    probes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::layers::environment;

    // What is recorded is the canonical text of a configuration: each shipped one reads back.
    #[test]
    fn every_shipped_configuration_reads_back_from_its_record() {
        for name in ["gateway", "conveyor", "chlorine", "dump-and-refill", "modbus", "series"] {
            let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("config/{name}.toml"));
            let loaded = Configuration::load(&[path], environment()).expect("a shipped configuration");
            let read = Recorded::read(loaded.to_toml()).expect("its canonical text");
            assert_eq!(read.site, loaded.configuration.site);
            assert_eq!(read.machines, loaded.configuration.machines);
            assert_eq!(read.settings.open, loaded.configuration.alerts.open);
            assert_eq!(read.settings.rules, loaded.configuration.alerts.rules);
        }
    }
}
