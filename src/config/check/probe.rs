//! `[[probe]]`: what a channel is for and how its number becomes °C.

use super::accuracy::read_accuracy;
use crate::config::keys::{PLACES, ROLES, RoleWord, SIGNALS, SignalWord, THERMOCOUPLES};
use crate::config::problem::{Fault, Findings, Problem};
use crate::config::raw::{Place as FilePlace, quoted};
use crate::config::reader::Reader;
use crate::config::suggest::nearest;
use crate::core::calibration::{Calibration, Point};
use crate::core::channel::{Channel, Place, Probe, Role, Signal};
use crate::core::id::ChannelId;

/// Names that a probe may refer to.
pub(super) struct Site<'a> {
    /// Machines, by number.
    pub(super) machines: Vec<&'a str>,
    /// Channels, by number.
    pub(super) names: &'a [String],
}

/// Names that need no more, and what each stands for.
const CONVENTIONAL: [(&str, RoleWord, Place); 7] = [
    ("wash", RoleWord::Temperature, Place::WashTank),
    ("rinse", RoleWord::Temperature, Place::FinalRinse),
    ("ware", RoleWord::Temperature, Place::Ware),
    ("running", RoleWord::Running, Place::Other),
    ("sanitizer", RoleWord::Concentration, Place::Other),
    ("ph", RoleWord::Ph, Place::Other),
    ("cold-junction", RoleWord::ColdJunction, Place::Other),
];

/// What a conventional name stands for.
fn conventional(probe: &str) -> Option<(RoleWord, Place)> {
    CONVENTIONAL.into_iter().find(|(name, _, _)| *name == probe).map(|(_, role, place)| (role, place))
}

/// The conventional name that a name without a place was probably meant to be.
fn probably_meant(name: &str) -> Option<&'static str> {
    nearest(own_name(name), CONVENTIONAL.map(|(name, _, _)| name))
}

/// The part of a name behind the machine's.
fn own_name(name: &str) -> &str {
    name.rsplit('/').next().unwrap_or(name)
}

/// Reads what a channel is for; `None` where something is wrong with it.
pub(super) fn read_probe(
    reader: &mut Reader<'_>,
    name: &str,
    site: &Site<'_>,
    findings: &mut Findings,
) -> Option<Role> {
    let convention = conventional(own_name(name));
    let role = match reader.choice("role", &ROLES, findings) {
        Some(role) => role,
        None if reader.has("role") => return None,
        None => convention.map_or(RoleWord::Temperature, |(role, _)| role),
    };
    match role {
        RoleWord::Temperature => {
            let usual = convention.filter(|(role, _)| *role == RoleWord::Temperature).map(|(_, place)| place);
            read_temperature(reader, name, usual, site, findings).map(Role::Probe)
        }
        RoleWord::ColdJunction => {
            let signal = read_signal(reader, site, findings)?;
            if matches!(signal, Signal::Thermocouple { .. }) {
                reader.refuse(
                    "signal",
                    "a signal other than a thermocouple: this is its cold junction",
                    findings,
                );
            }
            only(reader, &["role", "signal"], "a cold junction", findings);
            Some(Role::ColdJunction { signal })
        }
        RoleWord::Running => only(reader, &["role"], "a run signal", findings).then_some(Role::Running),
        RoleWord::Concentration => {
            only(reader, &["role"], "a concentration", findings).then_some(Role::Concentration)
        }
        RoleWord::Ph => only(reader, &["role"], "a pH", findings).then_some(Role::Ph),
    }
}

/// Refuses keys of temperature probes at a channel that is none.
fn only(reader: &Reader<'_>, kept: &[&str], what: &str, findings: &mut Findings) -> bool {
    let mut good = true;
    for key in crate::config::keys::PROBE.iter().map(|key| key.name) {
        if key != "name" && !kept.contains(&key) && reader.has(key) {
            reader.refuse(key, format!("nothing: {what} has no {key}"), findings);
            good = false;
        }
    }
    good
}

fn read_temperature(
    reader: &mut Reader<'_>,
    name: &str,
    usual: Option<Place>,
    site: &Site<'_>,
    findings: &mut Findings,
) -> Option<Probe> {
    let place = match reader.choice("place", &PLACES, findings) {
        Some(place) => Some(place),
        None if reader.has("place") => None,
        None if usual.is_none() => {
            reader.require_unless("place", probably_meant(name), findings);
            None
        }
        None => usual,
    };
    let signal = read_signal(reader, site, findings);
    let tau = reader.duration("tau", findings);
    let silent_after = reader.duration("silent-after", findings);
    let stuck_after = reader.duration_or_off("stuck-after", findings);
    let calibration = read_calibration(reader, findings);
    let budget = read_accuracy(reader, findings);
    Some(Probe {
        place: place?,
        signal: signal?,
        calibration: calibration?,
        budget: budget?,
        tau,
        silent_after: silent_after?,
        stuck_after: stuck_after?,
    })
}

fn read_signal(reader: &mut Reader<'_>, site: &Site<'_>, findings: &mut Findings) -> Option<Signal> {
    let word = reader.choice("signal", &SIGNALS, findings);
    let kind = reader.choice("thermocouple", &THERMOCOUPLES, findings);
    let junction = reader.text("cold-junction", findings);
    if word != Some(SignalWord::Thermocouple) {
        let idle = ["thermocouple", "cold-junction"].into_iter().filter(|key| reader.has(key));
        for key in idle.filter(|key| *key == "cold-junction" || word == Some(SignalWord::Pt100)) {
            reader.refuse(key, "signal = \"thermocouple\" beside it, or no such key", findings);
        }
    }
    match word? {
        SignalWord::Celsius => Some(Signal::Celsius),
        SignalWord::Fahrenheit => Some(Signal::Fahrenheit),
        SignalWord::Kelvin => Some(Signal::Kelvin),
        SignalWord::Pt100 => Some(Signal::Pt100),
        SignalWord::Thermocouple => {
            for key in ["thermocouple", "cold-junction"] {
                if !reader.has(key) {
                    reader.require(key, findings);
                }
            }
            let junction = junction?;
            let Some(index) = site.names.iter().position(|name| *name == junction) else {
                let wanted = "a [[probe]] with role = \"cold-junction\"".to_owned();
                let nearest = nearest(&junction, site.names.iter().map(String::as_str)).map(str::to_owned);
                let fault = Fault::UnknownName { wanted, nearest };
                findings.problems.push(reader.problem("cold-junction", fault));
                return None;
            };
            Some(Signal::Thermocouple { kind: kind?, cold_junction: ChannelId(u16::try_from(index).ok()?) })
        }
    }
}

fn read_calibration(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<Calibration> {
    let Some(mut inner) = reader.table("calibration", findings) else {
        return (!reader.has("calibration")).then_some(Calibration::None);
    };
    let offset = inner.difference("offset", findings);
    let points = ["low-reads", "low-is", "high-reads", "high-is"];
    let given = points.iter().filter(|key| inner.has(key)).count();
    let calibration = if given == 0 {
        if !inner.has("offset") {
            inner.require("offset", findings);
        }
        offset.map(Calibration::Offset)
    } else if inner.has("offset") {
        inner.refuse("offset", "either an offset, or two points", findings);
        None
    } else {
        for key in points.iter().filter(|key| !inner.has(key)) {
            inner.require(key, findings);
        }
        let [low_reads, low_is, high_reads, high_is] = points.map(|key| inner.temperature(key, findings));
        match (low_reads, low_is, high_reads, high_is) {
            (Some(low_reads), Some(low_is), Some(high_reads), Some(high_is)) => {
                let low = Point { reference: low_is, indicated: low_reads };
                let high = Point { reference: high_is, indicated: high_reads };
                match Calibration::two_point(low, high) {
                    Ok(calibration) => Some(calibration),
                    Err(error) => {
                        inner.refuse("high-reads", format!("two points of a sound probe: {error}"), findings);
                        None
                    }
                }
            }
            _ => None,
        }
    };
    reader.absorb("calibration", inner.finish(findings));
    calibration
}

/// Which channels a machine may have once only.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Single {
    Rinse,
    Wash,
    Running,
    Concentration,
    Ph,
}

fn single(role: &Role) -> Option<Single> {
    match role {
        Role::Probe(probe) => match probe.place {
            Place::FinalRinse => Some(Single::Rinse),
            Place::WashTank => Some(Single::Wash),
            Place::Ware | Place::Other => None,
        },
        Role::ColdJunction { .. } => None,
        Role::Running => Some(Single::Running),
        Role::Concentration => Some(Single::Concentration),
        Role::Ph => Some(Single::Ph),
    }
}

/// Checks that what thermocouples name as their cold junction is one.
pub(super) fn check_cold_junctions(
    channels: &[Channel],
    places: &[(String, Option<FilePlace>)],
    findings: &mut Findings,
) {
    for channel in channels {
        let Role::Probe(Probe { signal: Signal::Thermocouple { cold_junction, .. }, .. }) = channel.role
        else {
            continue;
        };
        // A channel that could not be read has had its own problem.
        let Some(named) = channels.iter().find(|other| other.id == cold_junction) else { continue };
        if !matches!(named.role, Role::ColdJunction { .. }) {
            findings.problems.push(Problem {
                place: place_of(channel, places),
                key: format!("[[probe]] {}, cold-junction", channel.name),
                seen: Some(quoted(named.name.as_str())),
                fault: Fault::value("a [[probe]] with role = \"cold-junction\"".to_owned()),
            });
        }
    }
}

fn place_of(channel: &Channel, places: &[(String, Option<FilePlace>)]) -> Option<FilePlace> {
    places.iter().find(|(name, _)| name == channel.name.as_str()).and_then(|(_, place)| place.clone())
}

/// Checks that a machine has a probe for its final rinse, and nothing twice that is judged.
pub(super) fn one_probe_each(
    machine: &str,
    place: Option<FilePlace>,
    from_sump: bool,
    own: &[&Channel],
    places: &[(String, Option<FilePlace>)],
    findings: &mut Findings,
) {
    let rinses = |channel: &&&Channel| match single(&channel.role) {
        Some(Single::Rinse) => true,
        Some(Single::Wash) => from_sump,
        Some(Single::Running | Single::Concentration | Single::Ph) | None => false,
    };
    if own.iter().find(rinses).is_none() {
        let fault = Fault::NoRinseProbe { machine: machine.to_owned() };
        let key = format!("[[machine]] {machine}");
        findings.problems.push(Problem { place, key, seen: None, fault });
    }
    for (index, channel) in own.iter().enumerate() {
        let Some(kind) = single(&channel.role) else { continue };
        if let Some(first) = own[..index].iter().find(|first| single(&first.role) == Some(kind)) {
            let fault = Fault::Twice { first: place_of(first, places) };
            let key = format!("[[probe]] {}, what «{}» is already", channel.name, first.name);
            findings.problems.push(Problem { place: place_of(channel, places), key, seen: None, fault });
        }
    }
}
