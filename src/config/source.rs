//! The sources as configured: what an edge needs to open one.

use std::path::PathBuf;
use std::time::Duration;

use super::modbus::ModbusSource;
use crate::wire::directory::Directory;

/// One source of readings.
#[derive(Clone, Debug)]
pub struct Source {
    /// Name for logs and pages, unique.
    pub name: String,
    /// Channels it may deliver, by name on the wire.
    pub directory: Directory,
    /// How to open it.
    pub kind: SourceKind,
}

/// How to open a source.
#[derive(Clone, Debug)]
pub enum SourceKind {
    /// Lines of text from a serial port.
    Serial(SerialSource),
    /// Registers of Modbus units, on a serial line or over TCP.
    Modbus(ModbusSource),
    /// Messages from an MQTT broker.
    Mqtt(MqttSource),
    /// SenML packs, one a line, from a file or standard input.
    Replay(ReplaySource),
}

/// How a text line is read.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum LineFormat {
    /// A SenML pack (RFC 8428) as JSON.
    Senml,
    /// `name value`, the unit as configured for the channel.
    Plain,
}

/// Parity of a serial line.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Parity {
    /// No parity bit.
    None,
    /// Even parity.
    Even,
    /// Odd parity.
    Odd,
}

/// A serial port that prints lines.
#[derive(Clone, Debug)]
pub struct SerialSource {
    /// Device, best a stable name below `/dev/serial/by-id`.
    pub device: PathBuf,
    /// Baud rate.
    pub baud: u32,
    /// Parity.
    pub parity: Parity,
    /// Stop bits, 1 or 2.
    pub stop_bits: u8,
    /// How a line is read.
    pub format: LineFormat,
    /// Longest line in bytes; a longer one is dropped up to its end and counted.
    pub line_bytes_max: usize,
    /// Longest wait between two tries to open the port.
    pub reopen_after_max: Duration,
}

/// Version of the MQTT protocol.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum MqttVersion {
    /// MQTT 5.0.
    V5,
    /// MQTT 3.1.1.
    V311,
}

/// How the payload of a topic is read.
#[derive(Clone, Debug)]
pub enum Payload {
    /// A SenML pack; names as on the wire.
    Senml,
    /// A bare number or `true`/`false`; the channel is the one named here.
    Bare {
        /// Name of the channel, `<machine>/<probe>`.
        channel: String,
    },
    /// A value inside any JSON document; the channel is the one named here.
    Pointer {
        /// Name of the channel, `<machine>/<probe>`.
        channel: String,
        /// JSON pointer (RFC 6901) to the value.
        value: String,
        /// JSON pointer to the time in Unix seconds or RFC 3339; arrival where `None`.
        time: Option<String>,
    },
}

/// One subscription.
#[derive(Clone, Debug)]
pub struct Subscription {
    /// Topic filter (MQTT 5.0 §4.7), wildcards allowed.
    pub filter: String,
    /// How payloads are read.
    pub payload: Payload,
}

/// A user of the broker.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct MqttLogin {
    /// User name.
    pub user: String,
    /// File that holds the password, one line.
    pub password_file: PathBuf,
}

/// TLS towards the broker.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct MqttTls {
    /// PEM file with the certificates of the private CA; the system's roots where `None`.
    pub ca_file: Option<PathBuf>,
    /// PEM files with the client's certificate chain and private key.
    pub client: Option<(PathBuf, PathBuf)>,
}

/// An MQTT broker to subscribe at.
#[derive(Clone, Debug)]
pub struct MqttSource {
    /// Host name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Protocol version.
    pub version: MqttVersion,
    /// Client identifier; the session is kept under it.
    pub client_id: String,
    /// How long the broker keeps the session of an absent gateway; zero: no session at all.
    pub session_expiry: Duration,
    /// Keep-alive.
    pub keep_alive: Duration,
    /// User and password.
    pub login: Option<MqttLogin>,
    /// TLS; plain TCP where `None`.
    pub tls: Option<MqttTls>,
    /// What to subscribe to: at QoS 1, or at QoS 0 where the payload has no time of its own.
    pub subscriptions: Vec<Subscription>,
    /// Largest packet in bytes that is taken.
    pub packet_bytes_max: u32,
    /// Most messages held between arrival and commit; beyond it the link is dropped and resumed.
    pub unacked_max: usize,
}

/// SenML packs from a file or standard input.
#[derive(Clone, Debug)]
pub struct ReplaySource {
    /// The file; standard input where `None`.
    pub path: Option<PathBuf>,
}
