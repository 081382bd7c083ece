//! From the merged tree to a configuration that makes sense.
//!
//! Every section is read to its end, whatever is wrong with the one before, so
//! that all problems are found in one run. Only a tree without any becomes a
//! [`Configuration`].

mod accuracy;
mod alert;
mod delivery;
mod machine;
mod modbus;
mod probe;
mod secret;
mod series;
mod service;
#[cfg(test)]
pub(crate) use service::OWN_PATHS;
mod source;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::keys::{LEDGER, MACHINE, PROBE, SERVICE, SITE, SOURCE, WEB};
use super::layers::Merged;
use super::note::{Note, Section, Whence};
use super::problem::{Fault, Findings, Problem};
use super::raw::{Node, Place, Value, quoted};
use super::reader::Reader;
use super::resolve::{Configuration, LedgerOptions};
use super::source::Source;
use super::suggest::nearest;
use crate::core::channel::{Channel, Role};
use crate::core::cycle::plate::Profile;
use crate::core::id::{ChannelId, ChannelName, MachineId, check_part};
use machine::read_machine;
use probe::{Site, check_cold_junctions, one_probe_each, read_probe};
use series::read_series;
use service::{read_service, read_web};
use source::read_source;

/// Most machines, probes or sources of one site (own choice: a central kitchen has some 200 machines and 1,000 probes).
pub const ENTRIES_MAX: usize = 10_000;

/// Makes a configuration and its canonical text, or adds to the problems.
pub(super) fn check(merged: &Merged, findings: &mut Findings) -> Option<(Configuration, Canonical)> {
    let mut out = Canonical::default();
    let whole = merged.table.values().find_map(|node| node.place.clone());

    let mut reader = Reader::new(&SITE, merged.table.get("site"), "[site]".to_owned(), whole.clone());
    let site = reader.text("name", findings);
    let zone = reader.zone("time-zone", findings).unwrap_or_else(|| own_zone(&mut reader));
    let call = reader.text("call", findings);
    let open = reader.hours("open", findings);
    if merged.table.contains_key("series") {
        series::check_site(&reader, site.as_deref(), findings);
    }
    let ahead_max = reader.duration("ahead-max", findings);
    out.section("[site]", reader.finish(findings));

    let (path, ledger) = read_ledger(merged.table.get("ledger"), whole.clone(), &mut out, findings);

    let mut reader =
        Reader::new(&SERVICE, merged.table.get("service"), "[service]".to_owned(), whole.clone());
    let socket = read_service(&mut reader, path.as_deref(), findings);
    out.section("[service]", reader.finish(findings));

    let mut reader = Reader::new(&WEB, merged.table.get("web"), "[web]".to_owned(), whole.clone());
    let web = read_web(&mut reader, findings);
    out.section("[web]", reader.finish(findings));

    let machines = machines(merged, &mut out, findings);
    let channels = channels(merged, &machines, &mut out, findings);
    let sources = sources(merged, &channels, &mut out, findings);
    let delivery = delivery::read(merged, site.as_deref().unwrap_or_default(), &mut out, findings);
    let alerts = alert::read(merged, alert::Site { zone, open }, &delivery, &mut out, findings);
    warn_of_unheard_probes(&channels.read, &sources, findings);
    let series = read_series(merged.table.get("series"), findings).and_then(|(series, notes)| {
        out.section("[series]", notes);
        series
    });
    if machines.is_empty() && findings.problems.is_empty() {
        let fault = Fault::Missing { wanted: "at least one [[machine]] with its name and kind".to_owned() };
        findings.problems.push(Problem { place: whole, key: "[[machine]]".to_owned(), seen: None, fault });
    }
    if !findings.problems.is_empty() {
        return None;
    }
    let machines: Vec<Profile> = machines.into_iter().filter_map(|machine| machine.profile).collect();
    let (mut alerts, digest) = alerts?;
    let zone = alerts.zone.clone();
    alerts.machines = alert::machines(&machines, &channels.read, &channels.calibrated, &zone);
    let calibration_holds =
        channels.calibrated.into_iter().map(|(name, calibrated)| (name, calibrated.holds)).collect();
    let (channels, ahead_max) = (channels.read, ahead_max?);
    let configuration = Configuration {
        site: site?,
        machines,
        channels,
        calibration_holds,
        sources,
        ledger: ledger?,
        series,
        call,
        alerts,
        digest,
        delivery,
        ahead_max,
        socket: socket?,
        web,
    };
    Some((configuration, out))
}

/// The path of the ledger, which others follow from, and all that is said of it.
fn read_ledger(
    node: Option<&Node>,
    whole: Option<Place>,
    out: &mut Canonical,
    findings: &mut Findings,
) -> (Option<PathBuf>, Option<LedgerOptions>) {
    let mut reader = Reader::new(&LEDGER, node, "[ledger]".to_owned(), whole);
    let path = reader.path("path", findings);
    let commit_interval = reader.duration("commit-interval", findings);
    let block_retention = reader.duration("block-retention", findings);
    out.section("[ledger]", reader.finish(findings));
    let options = path.clone().zip(commit_interval).zip(block_retention);
    let options = options.map(|((path, commit_interval), block_retention)| LedgerOptions {
        path,
        commit_interval,
        block_retention,
    });
    (path, options)
}

/// The zone of this computer, which is put on record with its name.
fn own_zone(reader: &mut Reader<'_>) -> TimeZone {
    let zone = TimeZone::try_system().unwrap_or(TimeZone::UTC);
    if !reader.has("time-zone") {
        reader.note_derived("time-zone", zone.iana_name().unwrap_or("unnamed"), Whence::ThisComputer);
    }
    zone
}

/// What is said of the calibration of a probe: its day, and how long one holds.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Calibrated {
    on: Option<Date>,
    holds: Duration,
}

impl Calibrated {
    fn read(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<Self> {
        let on = reader.date("calibrated-on", findings);
        Some(Self { on, holds: reader.duration("calibration-due", findings)? })
    }

    /// The last day on which it holds.
    fn until(self) -> Option<Date> {
        self.on?.checked_add(self.holds).ok()
    }
}

/// A probe that no source may deliver will be silent for ever. Without any
/// source the readings come from the command line.
fn warn_of_unheard_probes(channels: &[Channel], sources: &[Source], findings: &mut Findings) {
    if sources.is_empty() || !findings.problems.is_empty() {
        return;
    }
    for channel in channels {
        if sources.iter().all(|source| source.directory.find(channel.name.as_str()).is_none()) {
            let why = format!("no source delivers «{}»", channel.name);
            let advice = "name it in the key probes of the source that it is wired to".to_owned();
            let fault = Fault::Doubtful { why, advice };
            let key = format!("[[probe]] {}", channel.name);
            findings.warnings.push(Problem { place: None, key, seen: None, fault });
        }
    }
}

/// The directory of every channel.
pub(super) fn all_channels(channels: &[Channel]) -> crate::wire::directory::Directory {
    source::directory_of(channels, |_| true)
}

/// A machine as read; its profile is `None` where something was wrong with it.
struct Machine {
    name: String,
    place: Option<Place>,
    profile: Option<Profile>,
    /// Probes in short form.
    probes: Vec<String>,
    /// Whether its rinse probe may be the one in the tank.
    from_sump: bool,
}

fn machines(merged: &Merged, out: &mut Canonical, findings: &mut Findings) -> Vec<Machine> {
    let mut machines = Vec::new();
    for (name, _, mut reader) in entries("machine", &MACHINE, merged, findings) {
        if let Err(error) = check_part(name) {
            reader.refuse("name", error.to_string(), findings);
        }
        let probes = reader.names("probes", findings).unwrap_or_default();
        if let Some(twice) = probes.iter().enumerate().find(|(n, probe)| probes[..*n].contains(probe)) {
            reader.refuse("probes", format!("each name once; «{}» is there twice", twice.1), findings);
        }
        let profile = read_machine(&mut reader, name, findings);
        let from_sump = reader.has("rinse-from")
            && profile
                .as_ref()
                .is_none_or(|profile| profile.rinse_from == crate::core::cycle::plate::RinseFrom::Sump);
        machines.push(Machine { name: name.to_owned(), place: reader.place(""), profile, probes, from_sump });
        out.section("[[machine]]", reader.finish(findings));
    }
    machines
}

fn sources(
    merged: &Merged,
    channels: &Channels,
    out: &mut Canonical,
    findings: &mut Findings,
) -> Vec<Source> {
    let (mut sources, mut taken) = (Vec::new(), Vec::new());
    for (_, node, mut reader) in entries("source", &SOURCE, merged, findings) {
        sources.extend(read_source(&mut reader, node, channels, &mut taken, findings));
        out.section("[[source]]", reader.finish(findings));
    }
    sources
}

/// The channels that could be read, and the names of all that are written.
pub(super) struct Channels {
    pub(super) read: Vec<Channel>,
    pub(super) names: Vec<String>,
    /// What is said of the calibration of each temperature probe.
    calibrated: BTreeMap<String, Calibrated>,
}

fn channels(merged: &Merged, machines: &[Machine], out: &mut Canonical, findings: &mut Findings) -> Channels {
    let listed = entries("probe", &PROBE, merged, findings);
    let listed_names: Vec<&str> = listed.iter().map(|(name, _, _)| *name).collect();
    let short: Vec<(String, Option<Place>)> = machines
        .iter()
        .flat_map(|machine| machine.probes.iter().map(move |probe| (machine, probe)))
        .map(|(machine, probe)| (format!("{}/{probe}", machine.name), machine.place.clone()))
        .filter(|(name, _)| !listed_names.contains(&name.as_str()))
        .collect();
    let short_readers = short.iter().map(|(name, place)| {
        (name.as_str(), None, Reader::new(&PROBE, None, format!("[[probe]] {name}"), place.clone()))
    });
    let mut all: Vec<(&str, Option<&Node>, Reader<'_>)> =
        listed.into_iter().map(|(name, node, reader)| (name, Some(node), reader)).collect();
    all.extend(short_readers);

    let names: Vec<String> = all.iter().map(|(name, _, _)| (*name).to_owned()).collect();
    let site =
        Site { machines: machines.iter().map(|machine| machine.name.as_str()).collect(), names: &names };
    let mut channels = Vec::new();
    let (mut readers, mut calibrated) = (Vec::new(), BTreeMap::new());
    for (index, (text, node, mut reader)) in all.into_iter().enumerate() {
        if node.is_none() {
            reader.note_name(text);
        }
        let machine = place_of_name(text, node.is_some(), &site, &reader, findings);
        let role = read_probe(&mut reader, text, &site, findings);
        if matches!(role, Some(Role::Probe(_)))
            && let Some(said) = Calibrated::read(&mut reader, findings)
        {
            calibrated.insert(text.to_owned(), said);
        }
        if let (Some((name, machine)), Some(role), Ok(number)) = (machine, role, u16::try_from(index)) {
            channels.push(Channel { id: ChannelId(number), name, machine, role });
        }
        let place = reader.place("");
        out.section("[[probe]]", reader.finish(findings));
        readers.push((text.to_owned(), place));
    }
    check_cold_junctions(&channels, &readers, findings);
    for (number, machine) in machines.iter().enumerate() {
        let id = MachineId(u16::try_from(number).unwrap_or(u16::MAX));
        let own: Vec<&Channel> = channels.iter().filter(|channel| channel.machine == id).collect();
        // A probe that could not be read has had its own problem; nothing is said of what it may be.
        let prefix = format!("{}/", machine.name);
        if names.iter().filter(|name| name.starts_with(&prefix)).count() > own.len() {
            continue;
        }
        one_probe_each(&machine.name, machine.place.clone(), machine.from_sump, &own, &readers, findings);
    }
    Channels { read: channels, names, calibrated }
}

/// The parsed name of a probe and the machine that it names.
fn place_of_name(
    text: &str,
    listed: bool,
    site: &Site<'_>,
    reader: &Reader<'_>,
    findings: &mut Findings,
) -> Option<(ChannelName, MachineId)> {
    let name = match ChannelName::try_from(text.to_owned()) {
        Ok(name) => name,
        Err(error) => {
            let mut problem = reader.problem("name", Fault::value(error.to_string()));
            problem.seen = Some(quoted(text));
            findings.problems.push(problem);
            return None;
        }
    };
    let found = site.machines.iter().position(|machine| *machine == name.machine());
    let Some(index) = found else {
        let wanted = "a [[machine]], before the slash".to_owned();
        let nearest = nearest(name.machine(), site.machines.iter().copied()).map(str::to_owned);
        let key = if listed { "name" } else { "" };
        findings.problems.push(reader.problem(key, Fault::UnknownName { wanted, nearest }));
        return None;
    };
    Some((name, MachineId(u16::try_from(index).ok()?)))
}

/// The entries of a named list in order of appearance, each with its reader.
fn entries<'a>(
    list: &'static str,
    keys: &'static [super::keys::Key],
    merged: &'a Merged,
    findings: &mut Findings,
) -> Vec<(&'a str, &'a Node, Reader<'a>)> {
    let order = merged.order.get(list).map(Vec::as_slice).unwrap_or_default();
    if order.len() > ENTRIES_MAX {
        let fault = Fault::value(format!("at most {ENTRIES_MAX} entries"));
        let place = order.get(ENTRIES_MAX).map(|(_, place)| place.clone());
        findings.problems.push(Problem { place, key: format!("[[{list}]]"), seen: None, fault });
        return Vec::new();
    }
    let Some(Value::Table(table)) = merged.table.get(list).map(|node| &node.value) else {
        return Vec::new();
    };
    let reader = |name: &str, place: &Place, node| {
        let mut reader = Reader::new(keys, Some(node), format!("[[{list}]] {name}"), Some(place.clone()));
        reader.note_name(name);
        reader
    };
    let entry = |(name, place): &'a (String, Place)| {
        table.get(name).map(|node| (name.as_str(), node, reader(name, place, node)))
    };
    order.iter().filter_map(entry).collect()
}

/// The canonical text: sections in a fixed order, every key in force, secrets only by path.
#[derive(Default)]
pub(super) struct Canonical {
    pub(super) text: String,
    /// The same section by section, with where each value comes from.
    pub(super) sections: Vec<Section>,
}

impl Canonical {
    fn section(&mut self, header: &str, notes: Vec<Note>) {
        if !self.text.is_empty() {
            self.text.push('\n');
        }
        self.text.push_str(header);
        self.text.push('\n');
        for note in &notes {
            self.text.push_str(&note.line);
            self.text.push('\n');
        }
        self.sections.push(Section { header: header.to_owned(), notes });
    }
}
