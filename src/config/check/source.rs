//! `[[source]]`: how readings arrive, and which.

use std::path::PathBuf;

use super::Channels;
use super::modbus::{read_rtu, read_tcp};
use super::secret::read_secret;
use crate::config::keys::{
    FORMATS, MODBUS, MODBUS_RTU, MODBUS_TCP, MQTT, PARITIES, PAYLOADS, PayloadWord, REPLAY, SERIAL,
    SOURCE_KINDS, SourceWord, VERSIONS,
};
use crate::config::note::Whence;
use crate::config::problem::{Fault, Findings};
use crate::config::raw::{Node, Place};
use crate::config::reader::Reader;
use crate::config::source::{
    MqttLogin, MqttSource, MqttTls, Payload, ReplaySource, SerialSource, Source, SourceKind, Subscription,
};
use crate::config::suggest::nearest;
use crate::core::channel::{Channel, Role, Signal};
use crate::core::id::{ChannelId, check_part};
use crate::wire::directory::{Directory, WireUnit};

/// Reads a source; `None` where something is wrong with it. `taken` holds the
/// ports and client identifiers of the sources before.
pub(super) fn read_source(
    reader: &mut Reader<'_>,
    node: &Node,
    channels: &Channels,
    taken: &mut Vec<(String, Option<Place>)>,
    findings: &mut Findings,
) -> Option<Source> {
    let name = node.value.as_table().and_then(|table| table.get("name"));
    let name = name.and_then(|name| name.value.as_text())?.to_owned();
    if let Err(error) = check_part(&name) {
        reader.refuse("name", error.to_string(), findings);
    }
    let directory = read_directory(reader, channels, findings);
    let Some(word) = reader.choice("kind", &SOURCE_KINDS, findings) else {
        // Without a kind nobody can tell which of these keys are legal.
        for keys in [&SERIAL[..], &MODBUS_RTU[..], &MODBUS_TCP[..], &MODBUS[..], &MQTT[..], &REPLAY[..]] {
            reader.allow(keys);
        }
        return None;
    };
    let kind = match word {
        SourceWord::Serial => {
            reader.allow(&SERIAL);
            SourceKind::Serial(read_serial(reader, taken, findings)?)
        }
        SourceWord::ModbusRtu => {
            reader.allow(&MODBUS_RTU);
            reader.allow(&MODBUS);
            return read_rtu(reader, name, Heard { channels, directory: &directory }, taken, findings);
        }
        SourceWord::ModbusTcp => {
            reader.allow(&MODBUS_TCP);
            reader.allow(&MODBUS);
            return read_tcp(reader, name, Heard { channels, directory: &directory }, taken, findings);
        }
        SourceWord::Mqtt => {
            reader.allow(&MQTT);
            SourceKind::Mqtt(read_mqtt(
                reader,
                &name,
                Heard { channels, directory: &directory },
                taken,
                findings,
            )?)
        }
        SourceWord::Replay => {
            reader.allow(&REPLAY);
            SourceKind::Replay(ReplaySource { path: reader.path("path", findings) })
        }
    };
    Some(Source { name, directory, kind })
}

/// The unit in which a channel's numbers must come.
pub(in crate::config) fn unit_of(role: &Role) -> WireUnit {
    let of_signal = |signal: Signal| match signal {
        Signal::Celsius => WireUnit::Celsius,
        Signal::Fahrenheit => WireUnit::Fahrenheit,
        Signal::Kelvin => WireUnit::Kelvin,
        Signal::Thermocouple { .. } => WireUnit::Volt,
        Signal::Pt100 => WireUnit::Ohm,
    };
    match role {
        Role::Probe(probe) => of_signal(probe.signal),
        Role::ColdJunction { signal } => of_signal(*signal),
        Role::Running => WireUnit::Flag,
        Role::Concentration => WireUnit::MilligramPerLitre,
        Role::Ph => WireUnit::Ph,
    }
}

/// A directory of the channels that `wanted` says yes to.
pub(in crate::config) fn directory_of(channels: &[Channel], wanted: impl Fn(&Channel) -> bool) -> Directory {
    let mut directory = Directory::default();
    for channel in channels.iter().filter(|channel| wanted(channel)) {
        directory.insert(channel.name.to_string(), channel.id, unit_of(&channel.role));
    }
    directory
}

fn read_directory(reader: &mut Reader<'_>, channels: &Channels, findings: &mut Findings) -> Directory {
    let Some(names) = reader.names("probes", findings) else { return directory_of(&channels.read, |_| true) };
    for name in &names {
        check_channel(reader, "probes", name, channels, findings);
    }
    directory_of(&channels.read, |channel| names.iter().any(|name| name == channel.name.as_str()))
}

pub(super) fn check_channel(
    reader: &Reader<'_>,
    key: &str,
    name: &str,
    channels: &Channels,
    findings: &mut Findings,
) {
    if channels.names.iter().all(|known| known != name) {
        let nearest = nearest(name, channels.names.iter().map(String::as_str)).map(str::to_owned);
        let fault = Fault::UnknownName { wanted: format!("a [[probe]] named «{name}»"), nearest };
        findings.problems.push(reader.problem(key, fault));
    }
}

fn read_serial(
    reader: &mut Reader<'_>,
    taken: &mut Vec<(String, Option<Place>)>,
    findings: &mut Findings,
) -> Option<SerialSource> {
    let device = read_device(reader, taken, findings);
    let baud = reader.integer("baud", findings);
    let parity = reader.choice("parity", &PARITIES, findings);
    let stop_bits = reader.integer("stop-bits", findings);
    let format = reader.choice("format", &FORMATS, findings);
    let line_bytes_max = reader.integer("line-bytes-max", findings);
    let reopen_after_max = reader.duration("reopen-after-max", findings);
    Some(SerialSource {
        device: device?,
        baud: baud?,
        parity: parity?,
        stop_bits: stop_bits?,
        format: format?,
        line_bytes_max: line_bytes_max?,
        reopen_after_max: reopen_after_max?,
    })
}

/// The port of a source, which no other may have.
pub(super) fn read_device(
    reader: &mut Reader<'_>,
    taken: &mut Vec<(String, Option<Place>)>,
    findings: &mut Findings,
) -> Option<PathBuf> {
    let device = reader.path("device", findings)?;
    // Two names of one port are told apart only where the port is plugged in.
    let port = std::fs::canonicalize(&device).unwrap_or_else(|_| device.clone());
    take_once(reader, "device", port.display().to_string(), taken, findings);
    Some(device)
}

/// What a source may name in its subscriptions or registers.
#[derive(Clone, Copy)]
pub(super) struct Heard<'a> {
    /// Every channel.
    pub(super) channels: &'a Channels,
    /// Those of this source.
    pub(super) directory: &'a Directory,
}

impl Heard<'_> {
    /// Checks that a channel is there and belongs to this source; gives its number and unit.
    pub(super) fn find(
        self,
        reader: &Reader<'_>,
        name: &str,
        findings: &mut Findings,
    ) -> Option<(ChannelId, WireUnit)> {
        check_channel(reader, "probe", name, self.channels, findings);
        let read = self.channels.read.iter().any(|read| read.name.as_str() == name);
        let found = self.directory.find(name);
        if read && found.is_none() {
            reader.refuse("probe", "one of the probes of this source, or this one among them", findings);
        }
        found
    }
}

/// Refuses what another source has already.
pub(super) fn take_once(
    reader: &Reader<'_>,
    key: &str,
    what: String,
    taken: &mut Vec<(String, Option<Place>)>,
    findings: &mut Findings,
) {
    if let Some((_, first)) = taken.iter().find(|(other, _)| *other == what) {
        findings.problems.push(reader.problem(key, Fault::Twice { first: first.clone() }));
    }
    taken.push((what, reader.place(key)));
}

/// Warns of a password that travels readable through a network.
pub(super) fn warn_of_open_password(reader: &Reader<'_>, host: &str, findings: &mut Findings) {
    if !["localhost", "127.0.0.1", "::1"].contains(&host) {
        let why = "without TLS everybody on the network can read the password".to_owned();
        let advice = "set tls = true, or let the broker run on this computer".to_owned();
        findings.warnings.push(reader.problem("user", Fault::Doubtful { why, advice }));
    }
}

fn read_mqtt(
    reader: &mut Reader<'_>,
    name: &str,
    heard: Heard<'_>,
    taken: &mut Vec<(String, Option<Place>)>,
    findings: &mut Findings,
) -> Option<MqttSource> {
    let host = reader.text("host", findings);
    let version = reader.choice("version", &VERSIONS, findings);
    let given_id = reader.text("client-id", findings);
    let session_expiry = reader.duration("session-expiry", findings);
    let keep_alive = reader.duration("keep-alive", findings);
    let login = read_login(reader, findings);
    let tls = read_tls(reader, findings);
    let given_port = reader.integer("port", findings);
    let packet_bytes_max = reader.integer("packet-bytes-max", findings);
    let unacked_max = reader.integer("unacked-max", findings);
    let subscriptions = read_subscriptions(reader, heard, findings);
    let client_id = given_id.unwrap_or_else(|| {
        let id = format!("rinseward-{name}");
        reader.note_derived("client-id", &id, Whence::Source);
        id
    });
    let port = given_port.unwrap_or_else(|| {
        let port = if tls.is_some() { 8883 } else { 1883 };
        reader.note_derived("port", &port.to_string(), Whence::Iana);
        port
    });
    let host = host?;
    take_once(reader, "client-id", format!("{client_id}@{host}:{port}"), taken, findings);
    if login.is_some() && tls.is_none() {
        warn_of_open_password(reader, &host, findings);
    }
    Some(MqttSource {
        host,
        port,
        version: version?,
        client_id,
        session_expiry: session_expiry?,
        keep_alive: keep_alive?,
        login,
        tls,
        subscriptions,
        packet_bytes_max: packet_bytes_max?,
        unacked_max: unacked_max?,
    })
}

pub(super) fn read_login(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<MqttLogin> {
    let user = reader.text("user", findings);
    let password_file = read_secret(reader, "password-file", findings);
    require_both(reader, ["user", "password-file"], findings);
    Some(MqttLogin { user: user?, password_file: password_file? })
}

pub(super) fn read_tls(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<MqttTls> {
    let flag = reader.flag("tls", findings);
    let ca_file = reader.path("ca-file", findings);
    let certificate = reader.path("client-cert-file", findings);
    let key = read_secret(reader, "client-key-file", findings);
    require_both(reader, ["client-cert-file", "client-key-file"], findings);
    let implied = ca_file.is_some() || certificate.is_some();
    if flag == Some(false) && implied {
        reader.refuse("tls", "true, or none of ca-file, client-cert-file, client-key-file", findings);
    }
    flag.unwrap_or(implied).then(|| MqttTls { ca_file, client: certificate.zip(key) })
}

pub(super) fn require_both(reader: &Reader<'_>, keys: [&'static str; 2], findings: &mut Findings) {
    let [one, other] = keys;
    match (reader.has(one), reader.has(other)) {
        (true, false) => reader.require(other, findings),
        (false, true) => reader.require(one, findings),
        (true, true) | (false, false) => {}
    }
}

fn read_subscriptions(
    reader: &mut Reader<'_>,
    heard: Heard<'_>,
    findings: &mut Findings,
) -> Vec<Subscription> {
    let mut subscriptions = Vec::new();
    let mut notes = Vec::new();
    let inner = reader.tables("subscription", findings);
    if inner.is_empty() && !reader.has("subscription") {
        reader.require("subscription", findings);
    } else if inner.is_empty() {
        reader.refuse("subscription", "at least one [[source.subscription]]", findings);
    }
    for mut inner in inner {
        let filter = inner.text("filter", findings);
        if let Some(filter) = &filter
            && !is_topic_filter(filter)
        {
            let wanted = "a topic filter: + alone in its level, # alone in the last (MQTT 5.0 §4.7.1)";
            inner.refuse("filter", wanted, findings);
        }
        let payload = read_payload(&mut inner, heard, findings);
        if let (Some(filter), Some(payload)) = (filter, payload) {
            subscriptions.push(Subscription { filter, payload });
        }
        notes.push(inner.finish(findings));
    }
    reader.note_tables("subscription", &notes);
    subscriptions
}

fn read_payload(reader: &mut Reader<'_>, heard: Heard<'_>, findings: &mut Findings) -> Option<Payload> {
    let word = reader.choice("payload", &PAYLOADS, findings)?;
    let channel = reader.text("probe", findings);
    let value = reader.text("value", findings);
    let time = reader.text("time", findings);
    let legal: &[&str] = match word {
        PayloadWord::Senml => &[],
        PayloadWord::Bare => &["probe"],
        PayloadWord::Pointer => &["probe", "value", "time"],
    };
    for key in ["probe", "value", "time"] {
        if reader.has(key) && !legal.contains(&key) {
            reader.refuse(key, "another payload beside it, or no such key", findings);
        }
    }
    for key in ["probe", "value"] {
        if legal.contains(&key) && !reader.has(key) {
            reader.require(key, findings);
        }
    }
    if let Some(channel) = &channel {
        heard.find(reader, channel, findings);
    }
    for (key, pointer) in [("value", &value), ("time", &time)] {
        if pointer.as_ref().is_some_and(|pointer| !is_json_pointer(pointer)) {
            reader.refuse(key, "a JSON pointer such as \"/a/0/b\" (RFC 6901)", findings);
        }
    }
    match word {
        PayloadWord::Senml => Some(Payload::Senml),
        PayloadWord::Bare => Some(Payload::Bare { channel: channel? }),
        PayloadWord::Pointer => Some(Payload::Pointer { channel: channel?, value: value?, time }),
    }
}

/// MQTT 5.0 §4.7.1 and §4.7.3.
fn is_topic_filter(filter: &str) -> bool {
    let mut levels = filter.split('/').peekable();
    while let Some(level) = levels.next() {
        let good = match level {
            "+" => true,
            "#" => levels.peek().is_none(),
            level => !level.contains(['+', '#', '\0']),
        };
        if !good {
            return false;
        }
    }
    filter.len() <= usize::from(u16::MAX)
}

/// RFC 6901 §3: each step after a slash, `~` only as `~0` or `~1`.
fn is_json_pointer(pointer: &str) -> bool {
    let escaped = |(at, _): (usize, &str)| matches!(pointer.as_bytes().get(at + 1), Some(b'0' | b'1'));
    pointer.starts_with('/') && pointer.match_indices('~').all(escaped)
}
