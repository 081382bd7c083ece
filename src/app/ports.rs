//! `ports`: the serial ports of this computer, who has them, and who may open them.

mod words;

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::{Failure, Streams, configuration};
use crate::cli::PortsArgs;
use crate::config::modbus::ModbusLink;
use crate::config::resolve::Configuration;
use crate::config::source::{Source, SourceKind};
use crate::core::reader::Language;
use crate::diagnostic::Diagnostic;
use crate::probe::ports::{self, Holder, NoPort, Port, PortsError, Usb, Users};

/// The configuration of the packages.
const USUAL: &str = "/etc/rinseward/gateway.toml";

/// The whole answer.
#[derive(Debug, Serialize)]
struct Answer {
    /// Who asks.
    user: String,
    /// Whether the service's user is there.
    service_user: bool,
    all_processes_seen: bool,
    ports: Vec<Told>,
    /// Paths that were asked for and are no ports.
    no_ports: Vec<NoPort>,
    /// Sources whose device is not there.
    missing: Vec<Missing>,
}

/// A port with what follows from it.
#[derive(Debug, Serialize)]
struct Told {
    #[serde(flatten)]
    port: Port,
    /// Sources that are configured to use it.
    used_by: Vec<String>,
    /// What to write in the configuration: the best of its names, or the device.
    write: PathBuf,
    /// What to do before it can be used.
    #[serde(rename = "do")]
    advice: Vec<String>,
}

/// A source without its device.
#[derive(Debug, Serialize)]
pub(super) struct Missing {
    /// Name of the source.
    pub(super) source: String,
    /// What it wants to open.
    pub(super) device: PathBuf,
}

/// The sources whose device is not there.
pub(super) fn missing_devices(configuration: &Configuration) -> Vec<Missing> {
    missing(&serial(configuration))
}

/// Lists them.
pub(super) fn ports(arguments: &PortsArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let usual = [PathBuf::from(USUAL)];
    let files = match arguments.files.as_slice() {
        [] if usual[0].exists() => &usual[..],
        files => files,
    };
    let loaded = if files.is_empty() { None } else { Some(configuration::load(files)?) };
    let users = Users::of_system();
    let found = ports::look(&arguments.also, &users).map_err(|error| unlisted(&error))?;
    let sources = loaded.as_ref().map(|loaded| serial(&loaded.configuration)).unwrap_or_default();
    let told = found.ports.into_iter().map(|port| {
        let used_by = used_by(&sources, &port.device);
        let write = port.names.first().unwrap_or(&port.device).clone();
        let advice = advice(&port, &used_by, &users, arguments.language);
        Told { port, used_by, write, advice }
    });
    let answer = Answer {
        user: users.me().name.clone(),
        service_user: users.has_service(),
        all_processes_seen: found.all_processes_seen,
        ports: told.collect(),
        no_ports: found.no_ports,
        missing: missing(&sources),
    };
    let written = if arguments.json {
        serde_json::to_writer(&mut *streams.out, &answer)
            .map_err(io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else {
        print(&answer, arguments.language, streams.out)
    };
    Failure::decided(unless_none(&answer.no_ports), written)
}

/// A path that was asked for and is no port is no good end.
fn unless_none(none: &[NoPort]) -> Result<(), Failure> {
    let [first, ..] = none else { return Ok(()) };
    let english = |none: &NoPort| words::no_port(Language::English, none);
    let more = none.iter().skip(1);
    let diagnostic = more.fold(Diagnostic::error("source-open", english(first)), |diagnostic, none| {
        diagnostic.cause(english(none))
    });
    Err(diagnostic.advice("the list on standard output has those that are there").into())
}

/// Name and device of each serial source.
fn serial(configuration: &Configuration) -> Vec<(String, PathBuf)> {
    let device = |source: &Source| match &source.kind {
        SourceKind::Serial(settings) => Some((source.name.clone(), settings.device.clone())),
        SourceKind::Modbus(settings) => match &settings.link {
            ModbusLink::Rtu(line) => Some((source.name.clone(), line.device.clone())),
            ModbusLink::Tcp { .. } => None,
        },
        SourceKind::Mqtt(_) | SourceKind::Replay(_) => None,
    };
    configuration.sources.iter().filter_map(device).collect()
}

fn used_by(sources: &[(String, PathBuf)], device: &Path) -> Vec<String> {
    let leads_there =
        |(_, path): &&(String, PathBuf)| std::fs::canonicalize(path).is_ok_and(|at| at == device);
    sources.iter().filter(leads_there).map(|(name, _)| name.clone()).collect()
}

fn missing(sources: &[(String, PathBuf)]) -> Vec<Missing> {
    let gone = sources.iter().filter(|(_, device)| !device.exists());
    gone.map(|(source, device)| Missing { source: source.clone(), device: device.clone() }).collect()
}

/// What to do before a port can be used; empty where nothing is in the way.
fn advice(port: &Port, used_by: &[String], users: &Users, language: Language) -> Vec<String> {
    let mut advice = Vec::new();
    let access = &port.access;
    let by_group = access.group == "dialout" && access.mode.as_bytes().get(3..5) == Some(b"rw");
    let me = &users.me().name;
    if !access.you {
        advice.push(words::you(language, by_group, me));
    }
    if access.service == Some(false) {
        advice.push(words::service(language));
    }
    let strangers = port.held_by.iter().filter(|holder| holder.command != env!("CARGO_PKG_NAME"));
    for Holder { pid, command, .. } in strangers {
        advice.push(words::end(language, command, *pid));
    }
    if port.kind == "usb" && port.names.is_empty() && used_by.is_empty() {
        advice.push(words::name(language));
    }
    advice
}

/// Where our rules for names lie.
const RULES: &str = "/usr/lib/udev/rules.d/60-rinseward.rules";

fn print(answer: &Answer, language: Language, out: &mut dyn Write) -> io::Result<()> {
    if answer.ports.is_empty() {
        writeln!(out, "{}", words::nothing(language))?;
    }
    for told in &answer.ports {
        print_port(told, answer, language, out)?;
    }
    for none in &answer.no_ports {
        writeln!(out, "! {}", words::no_port(language, none))?;
    }
    for Missing { source, device } in &answer.missing {
        writeln!(out, "{}", words::missing(language, source, device))?;
    }
    if !answer.all_processes_seen {
        writeln!(out, "{}", words::unseen(language))?;
    }
    if !answer.service_user {
        writeln!(out, "{}", words::no_service_user(language))?;
    }
    Ok(())
}

fn print_port(told: &Told, answer: &Answer, language: Language, out: &mut dyn Write) -> io::Result<()> {
    let Told { port, used_by, advice, .. } = told;
    writeln!(out, "{}  {}", port.device.display(), what(port, language))?;
    let mut names = port.names.iter().map(|name| name.display().to_string());
    let say = |english, spanish| words::say(language, english, spanish);
    let width = match language {
        Language::English => 9,
        Language::Spanish => 11,
    };
    let mut line = |head: &str, text: &str| writeln!(out, "    {head:<width$} {text}");
    let write = say("write", "escriba");
    match names.next() {
        Some(best) => line(write, &format!("device = \"{best}\""))?,
        None => {
            let changes = say("this name may change", "este nombre puede cambiar");
            line(write, &format!("device = \"{}\" ({changes})", port.device.display()))?;
        }
    }
    names.try_for_each(|name| line(say("or", "o"), &name))?;
    for source in used_by {
        line(say("used by", "lo usa"), &format!("{} «{source}»", say("source", "la fuente")))?;
    }
    for Holder { pid, command, user } in &port.held_by {
        line(say("open in", "abierto en"), &words::holder(language, command, *pid, user))?;
    }
    let (mode, owner, group) = (&port.access.mode, &port.access.owner, &port.access.group);
    let may = words::may_open(language, &answer.user, port.access.you, port.access.service);
    line(say("may open", "puede abrir"), &format!("{may}  [{mode} {owner} {group}]"))?;
    advice.iter().try_for_each(|step| line(say("do", "haga"), step))
}

/// What a port is, in words.
fn what(port: &Port, language: Language) -> String {
    let mut parts = vec![port.kind.to_owned()];
    if let Some(Usb { id, serial, manufacturer, product }) = &port.usb {
        parts.extend(manufacturer.iter().chain(product).cloned());
        parts.extend(
            serial.iter().map(|serial| format!("{} {serial}", words::say(language, "serial", "serie"))),
        );
        parts.push(id.clone());
    }
    parts.extend(
        port.driver
            .iter()
            .map(|driver| format!("{} {driver}", words::say(language, "driver", "controlador"))),
    );
    // What a converter says of itself may hold anything.
    parts.join(", ").chars().map(|one| if one.is_control() { ' ' } else { one }).collect()
}

fn unlisted(error: &PortsError) -> Failure {
    let advice = "see that /sys is there";
    Diagnostic::error("source-open", "the ports cannot be looked at").because(error).advice(advice).into()
}
