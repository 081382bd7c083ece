//! How messages leave, as configured: what each channel needs to be opened.

use std::path::PathBuf;
use std::time::Duration;

use super::source::{MqttLogin, MqttTls, MqttVersion};

/// Every channel that is configured.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Delivery {
    /// E-mail.
    pub mail: Option<MailSettings>,
    /// Receivers of events over HTTP, in order of appearance.
    pub webhooks: Vec<WebhookSettings>,
    /// A broker at which events and states are published.
    pub publish: Option<PublishSettings>,
    /// Signs of life for an outside watcher.
    pub heartbeat: Option<HeartbeatSettings>,
}

/// How fast a channel sends, and when it gives a message up.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Pace {
    /// Most messages a minute; as many may leave at once after a rest.
    pub per_minute: u32,
    /// Age at which a message that nobody took is given up.
    pub give_up_after: Duration,
    /// Tries after which it is given up.
    pub attempts_max: u32,
}

/// How the way to a mail server is protected.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum MailSecurity {
    /// Plain, then TLS by STARTTLS (RFC 3207); without it nothing is sent.
    StartTls,
    /// TLS from the first byte (RFC 8314 §3.3).
    Tls,
    /// None: for a server on this computer only.
    None,
}

/// A user of the mail server.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct MailLogin {
    /// User name.
    pub user: String,
    /// File that holds the password, one line.
    pub password_file: PathBuf,
}

/// A mail server that takes messages.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct MailSettings {
    /// Host name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// How the way is protected.
    pub security: MailSecurity,
    /// User and password.
    pub login: Option<MailLogin>,
    /// PEM file with the certificates of a private CA; the system's roots where `None`.
    pub ca_file: Option<PathBuf>,
    /// Sender, with or without a name before the address.
    pub from: String,
    /// Where answers go; to the sender where `None`.
    pub reply_to: Option<String>,
    /// What the gateway calls itself towards the server; the name of this computer where `None`.
    pub hello_name: Option<String>,
    /// Longest wait for one answer of the server.
    pub timeout: Duration,
    /// Pace.
    pub pace: Pace,
}

/// A receiver of events over HTTP.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct WebhookSettings {
    /// Name, unique.
    pub name: String,
    /// Where events are sent.
    pub url: String,
    /// Files with signing secrets; every one of them signs.
    pub secret_files: Vec<PathBuf>,
    /// PEM file with the certificates of a private CA; the system's roots where `None`.
    pub ca_file: Option<PathBuf>,
    /// Longest wait for the whole answer.
    pub timeout: Duration,
    /// Pace.
    pub pace: Pace,
}

/// A broker at which events and states are published.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PublishSettings {
    /// Host name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Protocol version.
    pub version: MqttVersion,
    /// Client identifier.
    pub client_id: String,
    /// What all topics begin with, without a slash at its end.
    pub prefix: String,
    /// Keep-alive; a lost gateway's last will is published after one and a half of it.
    pub keep_alive: Duration,
    /// User and password.
    pub login: Option<MqttLogin>,
    /// TLS; plain TCP where `None`.
    pub tls: Option<MqttTls>,
    /// Pace.
    pub pace: Pace,
}

/// Method of a heartbeat.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum BeatMethod {
    /// GET.
    Get,
    /// POST with an empty body.
    Post,
}

/// Signs of life for an outside watcher.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct HeartbeatSettings {
    /// What is asked for.
    pub url: String,
    /// How.
    pub method: BeatMethod,
    /// How often.
    pub every: Duration,
    /// PEM file with the certificates of a private CA; the system's roots where `None`.
    pub ca_file: Option<PathBuf>,
}
