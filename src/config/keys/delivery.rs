//! Keys of `[mail]`, `[[webhook]]`, `[publish]` and `[heartbeat]`.

use super::source::{CLIENT_CERT_FILE, CLIENT_KEY_FILE, PASSWORD_FILE, TLS, USER, VERSION_WORDS};
use super::{Default, Form, Key, days, millis, secs, words};
use crate::config::delivery::{BeatMethod, MailSecurity};

/// Words for the protection of the way to a mail server.
pub const SECURITIES: [(&str, MailSecurity); 3] =
    [("starttls", MailSecurity::StartTls), ("tls", MailSecurity::Tls), ("none", MailSecurity::None)];
static SECURITY_WORDS: [&str; 3] = words(&SECURITIES);

/// Words for methods of a heartbeat.
pub const METHODS: [(&str, BeatMethod); 2] = [("get", BeatMethod::Get), ("post", BeatMethod::Post)];
static METHOD_WORDS: [&str; 2] = words(&METHODS);

const CA_FILE: Key = Key {
    name: "ca-file",
    form: Form::Path,
    default: Default::Absent("the roots of the system"),
    example: "\"/etc/rinseward/ca.pem\"",
    meaning: "PEM file with the certificates of a private CA, which then alone is trusted.",
};

const fn per_minute(default: &'static str) -> Key {
    Key {
        name: "messages-per-minute",
        form: Form::Integer { min: 1, max: 60_000 },
        default: Default::Value(default),
        example: default,
        meaning: "Most messages a minute; as many may leave at once after a rest, the others wait. Own choice: above what one kitchen has to tell, below what a receiver takes for abuse.",
    }
}

const fn give_up_after(default: &'static str, example: &'static str, meaning: &'static str) -> Key {
    Key {
        name: "give-up-after",
        form: Form::Duration { min: secs(60), max: days(30) },
        default: Default::Value(default),
        example,
        meaning,
    }
}

const GIVE_UP_EVENT: Key = give_up_after(
    "3d",
    "\"3d\"",
    "Age at which an event that was not taken is given up; that itself raises an alert over the other channels. Own choice: programs want every event, also after a weekend.",
);

const ATTEMPTS_MAX: Key = Key {
    name: "attempts-max",
    form: Form::Integer { min: 1, max: 10_000 },
    default: Default::Value("500"),
    example: "500",
    meaning: "Tries after which a message is given up. They come after 5 s, then twice as late each time, up to 15 min (own choice), so that the age decides first unless this is lowered.",
};

/// Keys of `[mail]`.
pub static MAIL: [Key; 13] = [
    Key {
        name: "host",
        form: Form::Text,
        default: Default::Required,
        example: "\"mail.example\"",
        meaning: "Host name or address of the mail server.",
    },
    Key {
        name: "security",
        form: Form::Choice(&SECURITY_WORDS),
        default: Default::Value("starttls"),
        example: "\"starttls\"",
        meaning: "How the way there is protected: starttls begins plain and goes on only encrypted (RFC 3207), tls is encrypted from the first byte (RFC 8314), none is for a server on this computer.",
    },
    Key {
        name: "port",
        form: Form::Integer { min: 1, max: 65_535 },
        default: Default::Follows("587 with starttls, 465 with tls, 25 with none (registered with IANA)"),
        example: "587",
        meaning: "Port of the mail server.",
    },
    Key {
        name: "user",
        form: Form::Text,
        default: Default::Absent("no login"),
        example: "\"kitchen@example.org\"",
        meaning: "User name at the mail server; password-file belongs to it. AUTH PLAIN or LOGIN, as the server offers.",
    },
    Key {
        name: "password-file",
        form: Form::Secret,
        default: Default::Absent("no login"),
        example: "\"/etc/rinseward/mail-password\"",
        meaning: "File that holds the password on one line.",
    },
    CA_FILE,
    Key {
        name: "from",
        form: Form::Text,
        default: Default::Required,
        example: "\"Dish machines <kitchen@example.org>\"",
        meaning: "Sender of the messages; the server must let this user send under this address.",
    },
    Key {
        name: "reply-to",
        form: Form::Text,
        default: Default::Absent("the sender"),
        example: "\"maintenance@example.org\"",
        meaning: "Where answers to a message go.",
    },
    Key {
        name: "hello-name",
        form: Form::Text,
        default: Default::Follows("the name of this computer"),
        example: "\"gateway.example.org\"",
        meaning: "What the gateway calls itself in EHLO; some servers want a name that can be looked up.",
    },
    Key {
        name: "timeout",
        form: Form::Duration { min: secs(1), max: secs(600) },
        default: Default::Value("30s"),
        example: "\"30s\"",
        meaning: "Longest wait for the connection and for each answer. Own choice: RFC 5321 §4.5.3.2 asks for minutes, which serve a relay and not somebody at a dish machine; the message is tried again.",
    },
    per_minute("60"),
    give_up_after(
        "4h",
        "\"4h\"",
        "Age at which a message that was not taken is given up; that itself raises an alert over the other channels. Own choice: a shift. Somebody else must hear of it while the racks can still be found, and an alert that stays open is told again.",
    ),
    ATTEMPTS_MAX,
];

/// Keys of every `[[webhook]]`.
pub static WEBHOOK: [Key; 9] = [
    Key {
        name: "name",
        form: Form::Text,
        default: Default::Required,
        example: "\"facility\"",
        meaning: "Name of the receiver for contacts, logs and pages, by the rules of a machine's name.",
    },
    Key {
        name: "url",
        form: Form::Text,
        default: Default::Required,
        example: "\"https://hooks.example.org/rinseward\"",
        meaning: "Where events are sent, by POST, as CloudEvents 1.0 in structured JSON.",
    },
    Key {
        name: "secret-files",
        form: Form::Secrets,
        default: Default::Absent("not signed"),
        example: "[\"/etc/rinseward/webhook-secret\"]",
        meaning: "Files with a signing secret on one line each, whsec_ and base64; every one signs (Standard Webhooks), so that a new one can be rolled out before the old one goes.",
    },
    Key {
        name: "allow-http",
        form: Form::Flag,
        default: Default::Value("false"),
        example: "false",
        meaning: "Whether a url without encryption is taken although it leaves this computer. Its content can then be read and, without a signature, forged by anybody on the way.",
    },
    CA_FILE,
    Key {
        name: "timeout",
        form: Form::Duration { min: millis(100), max: secs(300) },
        default: Default::Value("15s"),
        example: "\"15s\"",
        meaning: "Longest wait for the whole answer; Standard Webhooks advises 15 to 30 s.",
    },
    per_minute("300"),
    GIVE_UP_EVENT,
    ATTEMPTS_MAX,
];

/// Keys of `[publish]`.
pub static PUBLISH: [Key; 14] = [
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
        meaning: "Version of the protocol. With 3.1.1 a broker cannot say that its access list forbids a topic: it acknowledges and drops.",
    },
    Key {
        name: "client-id",
        form: Form::Text,
        default: Default::Follows("rinseward-publish-<name of the site>"),
        example: "\"rinseward-publish-north\"",
        meaning: "Client identifier, which no other client of the broker may have.",
    },
    Key {
        name: "prefix",
        form: Form::Text,
        default: Default::Follows("rinseward/<name of the site>"),
        example: "\"rinseward/north\"",
        meaning: "What the topics begin with: <prefix>/<machine>/alert, <prefix>/<machine>/state (retained), <prefix>/gateway (retained: online, stopped, or offline as the last will).",
    },
    Key {
        name: "keep-alive",
        form: Form::Duration { min: secs(5), max: secs(65_535) },
        default: Default::Value("30s"),
        example: "\"30s\"",
        meaning: "Keep-alive; after one and a half of it without a sign the broker publishes the last will.",
    },
    USER,
    PASSWORD_FILE,
    TLS,
    CA_FILE,
    CLIENT_CERT_FILE,
    CLIENT_KEY_FILE,
    per_minute("6000"),
    GIVE_UP_EVENT,
];

/// Keys of `[heartbeat]`.
pub static HEARTBEAT: [Key; 5] = [
    Key {
        name: "url",
        form: Form::Text,
        default: Default::Required,
        example: "\"https://watch.example.org/beat/north-kitchen\"",
        meaning: "Address that an outside watcher gave for this gateway. It is asked for only after a commit of the ledger has succeeded, so that silence means: look at the gateway.",
    },
    Key {
        name: "method",
        form: Form::Choice(&METHOD_WORDS),
        default: Default::Value("get"),
        example: "\"get\"",
        meaning: "How it is asked for.",
    },
    Key {
        name: "every",
        form: Form::Duration { min: secs(10), max: days(1) },
        default: Default::Value("1min"),
        example: "\"1min\"",
        meaning: "How often. Let the watcher complain after three times as long.",
    },
    CA_FILE,
    Key {
        name: "allow-http",
        form: Form::Flag,
        default: Default::Value("false"),
        example: "false",
        meaning: "Whether a url without encryption is taken although it leaves this computer.",
    },
];
