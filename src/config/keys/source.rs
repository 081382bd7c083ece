//! Keys of `[[source]]`.

use super::{Default, Form, Key, days, millis, secs, words};
use crate::config::source::{LineFormat, MqttVersion, Parity};

/// Kind of a source, as named in a file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SourceWord {
    /// A serial port.
    Serial,
    /// A broker.
    Mqtt,
    /// Units on a serial line.
    ModbusRtu,
    /// Units behind a TCP address.
    ModbusTcp,
    /// A file.
    Replay,
}

/// How a payload is read, as named in a file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum PayloadWord {
    /// A SenML pack.
    Senml,
    /// A number alone.
    Bare,
    /// A value inside JSON.
    Pointer,
}

/// Words for kinds of sources.
pub const SOURCE_KINDS: [(&str, SourceWord); 5] = [
    ("serial", SourceWord::Serial),
    ("modbus-rtu", SourceWord::ModbusRtu),
    ("modbus-tcp", SourceWord::ModbusTcp),
    ("mqtt", SourceWord::Mqtt),
    ("replay", SourceWord::Replay),
];
static SOURCE_WORDS: [&str; 5] = words(&SOURCE_KINDS);

/// Words for parity.
pub const PARITIES: [(&str, Parity); 3] =
    [("none", Parity::None), ("even", Parity::Even), ("odd", Parity::Odd)];
pub(super) static PARITY_WORDS: [&str; 3] = words(&PARITIES);

/// Words for formats of a line.
pub const FORMATS: [(&str, LineFormat); 2] = [("senml", LineFormat::Senml), ("plain", LineFormat::Plain)];
static FORMAT_WORDS: [&str; 2] = words(&FORMATS);

/// Words for versions of MQTT.
pub const VERSIONS: [(&str, MqttVersion); 2] = [("5", MqttVersion::V5), ("3.1.1", MqttVersion::V311)];
pub(super) static VERSION_WORDS: [&str; 2] = words(&VERSIONS);

/// Words for payloads.
pub const PAYLOADS: [(&str, PayloadWord); 3] =
    [("senml", PayloadWord::Senml), ("bare", PayloadWord::Bare), ("pointer", PayloadWord::Pointer)];
static PAYLOAD_WORDS: [&str; 3] = words(&PAYLOADS);

/// User name at a broker; of sources and of `[publish]` alike.
pub(super) const USER: Key = Key {
    name: "user",
    form: Form::Text,
    default: Default::Absent("no user"),
    example: "\"rinseward\"",
    meaning: "User name at the broker; password-file belongs to it.",
};

/// Its password; of sources and of `[publish]` alike.
pub(super) const PASSWORD_FILE: Key = Key {
    name: "password-file",
    form: Form::Secret,
    default: Default::Absent("no user"),
    example: "\"/etc/rinseward/mqtt-password\"",
    meaning: "File that holds the password on one line.",
};

/// Encryption of the way to a broker; of sources and of `[publish]` alike.
pub(super) const TLS: Key = Key {
    name: "tls",
    form: Form::Flag,
    default: Default::Follows("true where one of the three files below is given, else false"),
    example: "true",
    meaning: "Whether the link is encrypted and the broker's certificate checked.",
};

/// What the client shows to a broker; of sources and of `[publish]` alike.
pub(super) const CLIENT_CERT_FILE: Key = Key {
    name: "client-cert-file",
    form: Form::Path,
    default: Default::Absent("no client certificate"),
    example: "\"/etc/rinseward/client.pem\"",
    meaning: "PEM file with the client's certificate chain; client-key-file belongs to it.",
};

/// The key to that; of sources and of `[publish]` alike.
pub(super) const CLIENT_KEY_FILE: Key = Key {
    name: "client-key-file",
    form: Form::Secret,
    default: Default::Absent("no client certificate"),
    example: "\"/etc/rinseward/client.key\"",
    meaning: "PEM file with the client's private key.",
};

/// Keys of every `[[source]]`.
pub static SOURCE: [Key; 3] = [
    Key {
        name: "name",
        form: Form::Text,
        default: Default::Required,
        example: "\"port1\"",
        meaning: "Name of the source for logs and pages, by the rules of a machine's name.",
    },
    Key {
        name: "kind",
        form: Form::Choice(&SOURCE_WORDS),
        default: Default::Required,
        example: "\"serial\"",
        meaning: "How readings arrive: lines from a serial port, registers of Modbus units on a serial line or over TCP, messages from an MQTT broker, or SenML packs from a file.",
    },
    Key {
        name: "probes",
        form: Form::Names,
        default: Default::Absent("it may deliver every probe"),
        example: "[\"dm1/wash\", \"dm1/rinse\"]",
        meaning: "The probes it may deliver; a reading of any other name is refused and counted.",
    },
];

/// Keys of a serial source.
pub static SERIAL: [Key; 7] = [
    Key {
        name: "device",
        form: Form::Path,
        default: Default::Required,
        example: "\"/dev/serial/by-id/usb-node-1\"",
        meaning: "The port, best by a name below /dev/serial/by-id: it stays the same whatever is plugged in first.",
    },
    Key {
        name: "baud",
        form: Form::Integer { min: 50, max: 4_000_000 },
        default: Default::Value("115200"),
        example: "9600",
        meaning: "Speed in bits a second, as the sender is set.",
    },
    Key {
        name: "parity",
        form: Form::Choice(&PARITY_WORDS),
        default: Default::Value("none"),
        example: "\"none\"",
        meaning: "Parity bit.",
    },
    Key {
        name: "stop-bits",
        form: Form::Integer { min: 1, max: 2 },
        default: Default::Value("1"),
        example: "1",
        meaning: "Stop bits.",
    },
    Key {
        name: "format",
        form: Form::Choice(&FORMAT_WORDS),
        default: Default::Value("senml"),
        example: "\"senml\"",
        meaning: "What a line is: a SenML pack as JSON (RFC 8428), or `name value` in the unit of the probe's signal.",
    },
    Key {
        name: "line-bytes-max",
        form: Form::Integer { min: 16, max: 1_048_576 },
        default: Default::Value("4096"),
        example: "4096",
        meaning: "Longest line in bytes; a longer one is dropped up to its end and counted.",
    },
    Key {
        name: "reopen-after-max",
        form: Form::Duration { min: millis(100), max: secs(3_600) },
        default: Default::Value("10s"),
        example: "\"10s\"",
        meaning: "Longest wait between two tries to open the port.",
    },
];

/// Keys of an MQTT source.
pub static MQTT: [Key; 15] = [
    Key {
        name: "host",
        form: Form::Text,
        default: Default::Required,
        example: "\"broker.example\"",
        meaning: "Host name or address of the broker.",
    },
    Key {
        name: "port",
        form: Form::Integer { min: 1, max: 65_535 },
        default: Default::Follows("8883 with TLS, 1883 without (registered with IANA)"),
        example: "8883",
        meaning: "Port of the broker.",
    },
    Key {
        name: "version",
        form: Form::Choice(&VERSION_WORDS),
        default: Default::Value("5"),
        example: "\"5\"",
        meaning: "Version of the protocol.",
    },
    Key {
        name: "client-id",
        form: Form::Text,
        default: Default::Follows("rinseward-<name of the source>"),
        example: "\"rinseward-north\"",
        meaning: "Client identifier. The broker keeps the session under it, so no two gateways may share one.",
    },
    Key {
        name: "session-expiry",
        form: Form::Duration { min: secs(60), max: days(400) },
        default: Default::Value("7d"),
        example: "\"7d\"",
        meaning: "How long the broker keeps what arrives while the gateway is away (MQTT 5; with 3.1.1 the broker decides).",
    },
    Key {
        name: "keep-alive",
        form: Form::Duration { min: secs(5), max: secs(65_535) },
        default: Default::Value("30s"),
        example: "\"30s\"",
        meaning: "Keep-alive; a dead link is noticed within twice this time.",
    },
    USER,
    PASSWORD_FILE,
    TLS,
    Key {
        name: "ca-file",
        form: Form::Path,
        default: Default::Absent("the roots of the system"),
        example: "\"/etc/rinseward/ca.pem\"",
        meaning: "PEM file with the certificates of a private CA.",
    },
    CLIENT_CERT_FILE,
    CLIENT_KEY_FILE,
    Key {
        name: "packet-bytes-max",
        form: Form::Integer { min: 256, max: 16_777_216 },
        default: Default::Value("262144"),
        example: "262144",
        meaning: "Largest packet in bytes that is taken. Give the broker the same limit (Mosquitto: message_size_limit), else one larger message blocks the rest.",
    },
    Key {
        name: "unacked-max",
        form: Form::Integer { min: 16, max: 1_000_000 },
        default: Default::Value("20000"),
        example: "20000",
        meaning: "Most messages held between arrival and commit; beyond it the link is dropped and resumed, which loses nothing.",
    },
    Key {
        name: "subscription",
        form: Form::Tables(&SUBSCRIPTION),
        default: Default::Required,
        example: "",
        meaning: "What to subscribe to, at QoS 1; at least one.",
    },
];

/// Keys of `[[source.subscription]]`.
pub static SUBSCRIPTION: [Key; 5] = [
    Key {
        name: "filter",
        form: Form::Text,
        default: Default::Required,
        example: "\"kitchen/+/senml\"",
        meaning: "Topic filter; + stands for one level, # at the end for all below (MQTT 5.0 §4.7).",
    },
    Key {
        name: "payload",
        form: Form::Choice(&PAYLOAD_WORDS),
        default: Default::Value("senml"),
        example: "\"senml\"",
        meaning: "What a message holds: a SenML pack, a bare number or true/false, or JSON with the value somewhere inside.",
    },
    Key {
        name: "probe",
        form: Form::Text,
        default: Default::Follows("needed for bare and pointer"),
        example: "\"dm1/rinse\"",
        meaning: "The probe whose value it is.",
    },
    Key {
        name: "value",
        form: Form::Text,
        default: Default::Follows("needed for pointer"),
        example: "\"/temperature\"",
        meaning: "JSON pointer (RFC 6901) to the value.",
    },
    Key {
        name: "time",
        form: Form::Text,
        default: Default::Absent("the time of arrival"),
        example: "\"/time\"",
        meaning: "JSON pointer to the time, in Unix seconds or RFC 3339.",
    },
];

/// Keys of a replay source.
pub static REPLAY: [Key; 1] = [Key {
    name: "path",
    form: Form::Path,
    default: Default::Absent("standard input"),
    example: "\"day.senml\"",
    meaning: "File with SenML packs, one a line.",
}];
