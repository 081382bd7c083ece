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
use crate::core::channel::{Channel, Place, Probe, Role, Solution};
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
    /// The channels of sanitizing solutions.
    pub solutions: Vec<(String, Solution)>,
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
        let solution = |channel: &Channel| Some((channel.name.to_string(), channel.role.solution()?));
        let solutions = configuration.channels.iter().filter_map(solution).collect();
        let Configuration { site, machines, alerts: settings, .. } = configuration;
        let settings = Settings { zone: TimeZone::get(&zone).ok()?, ..settings };
        Some(Self { site, zone, settings, machines, channels, probes, solutions })
    }

    /// The machine of this name.
    #[must_use]
    pub fn machine(&self, name: &str) -> Option<&Profile> {
        self.machines.iter().find(|machine| machine.name == name)
    }
}

/// Keys of a probe that say what is wired to it and how.
const WIRED_PROBE: [&str; 5] = ["role", "place", "signal", "thermocouple", "cold-junction"];
/// Keys of a source that say nothing of which wire a value comes from.
const TUNING: [&str; 14] = [
    "line-bytes-max",
    "reopen-after-max",
    "version",
    "client-id",
    "session-expiry",
    "keep-alive",
    "packet-bytes-max",
    "unacked-max",
    "user",
    "password-file",
    "tls",
    "ca-file",
    "client-cert-file",
    "client-key-file",
];

/// How the probes of a machine are wired by the text of a recorded configuration: their places and
/// signals, the cold junctions, and the sources that deliver them. Two texts of equal wiring give equal
/// ones, whatever else differs: corrections, limits, names of files.
#[must_use]
pub fn wiring(toml: &str, machine: &str) -> Vec<String> {
    let merged = merge_text(toml, &["probe", "source"], &mut Findings::default());
    let own = |name: &str| name.split_once('/').is_some_and(|(of, _)| of == machine);
    let named =
        |list: &str| merged.table.get(list).and_then(|node| node.value.as_table()).into_iter().flatten();
    let mut wired = Vec::new();
    for (name, node) in named("probe").filter(|(name, _)| own(name)) {
        let keys = node.value.as_table().into_iter().flatten();
        let keys = keys.filter(|(key, _)| WIRED_PROBE.contains(&key.as_str()));
        wired.push(format!("probe {name} {}", keys.map(|(key, node)| line(key, node)).collect::<String>()));
    }
    for (name, node) in named("source") {
        let probes = entry(node, "probes").map(|probes| &probes.value);
        let delivers = match probes {
            // It may deliver any.
            None => true,
            Some(Value::List(names)) => names.iter().filter_map(|name| name.value.as_text()).any(own),
            Some(Value::Text(_) | Value::Integer(_) | Value::Float(_) | Value::Flag(_) | Value::Table(_)) => {
                false
            }
        };
        if delivers {
            let keys = node.value.as_table().into_iter().flatten();
            let keys = keys.filter(|(key, _)| !TUNING.contains(&key.as_str()));
            wired.push(format!(
                "source {name} {}",
                keys.map(|(key, node)| line(key, node)).collect::<String>()
            ));
        }
    }
    wired
}

/// A key and its value in full, tables and lists included.
fn line(key: &str, node: &Node) -> String {
    format!("{key}={};", whole(&node.value))
}

fn whole(value: &Value) -> String {
    match value {
        Value::Table(table) => table.iter().map(|(key, node)| line(key, node)).collect(),
        Value::List(nodes) => nodes.iter().map(|node| format!("[{}]", whole(&node.value))).collect(),
        Value::Text(_) | Value::Integer(_) | Value::Float(_) | Value::Flag(_) => value.to_string(),
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

    // Which keys count is this project's own choice.
    #[test]
    fn only_what_touches_the_wires_of_the_machine_is_another_wiring() {
        let text = "[[machine]]\nname = \"dm1\"\nrinse-time = \"10s\"\n\
                    [[probe]]\nname = \"dm1/rinse\"\nsignal = \"celsius\"\ntau = \"1s\"\n\
                    [[probe]]\nname = \"dm2/rinse\"\nsignal = \"celsius\"\n\
                    [[source]]\nname = \"port1\"\nkind = \"serial\"\ndevice = \"/dev/a\"\nline-bytes-max = 99\n\
                    probes = [\"dm1/rinse\"]\n\
                    [[source]]\nname = \"port2\"\nkind = \"serial\"\ndevice = \"/dev/b\"\nprobes = [\"dm2/rinse\"]\n";
        let before = wiring(text, "dm1");
        assert_eq!(before.len(), 2, "{before:?}");
        for (old, new, same) in [
            ("rinse-time = \"10s\"", "rinse-time = \"12s\"", true),
            ("tau = \"1s\"", "tau = \"2s\"", true),
            ("line-bytes-max = 99", "line-bytes-max = 98", true),
            ("/dev/b", "/dev/c", true),
            ("/dev/a", "/dev/c", false),
            (
                "name = \"dm1/rinse\"\nsignal = \"celsius\"",
                "name = \"dm1/rinse\"\nsignal = \"kelvin\"",
                false,
            ),
            ("probes = [\"dm1/rinse\"]", "probes = [\"dm1/other\"]", false),
        ] {
            assert!(text.contains(old), "{old}");
            assert_eq!(wiring(&text.replace(old, new), "dm1") == before, same, "{old}");
        }
    }

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
