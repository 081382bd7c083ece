//! MQTT below its two users, the source of readings and the publisher of alerts:
//! packets of both versions and their bytes.

pub mod frames;
pub mod packets;
mod v311;
mod v5;

use crate::config::source::{MqttLogin, MqttTls, MqttVersion};
use crate::transport::dial::Tls;
use crate::transport::secret::{PrepareError, first_line};
use packets::Protocol;

/// What a broker that says nothing in time comes to, in the words of whoever reads and of whoever publishes.
pub const SILENT: &str = "the broker does not answer";
/// The same for one that goes without a word.
pub const CLOSED: &str =
    "the broker closed the connection and did not say why; does another client use the same identifier?";
/// The same for bytes that are no packet.
pub const NOT_UNDERSTOOD: &str = "the broker sent something that is not understood";

/// The packets of a version.
#[must_use]
pub fn protocol(version: MqttVersion) -> Box<dyn Protocol> {
    match version {
        MqttVersion::V5 => Box::new(v5::V5),
        MqttVersion::V311 => Box::new(v311::V311),
    }
}

/// What TLS to this host needs; `None` for plain TCP.
///
/// # Errors
/// [`PrepareError`] names the file.
pub fn tls(host: &str, tls: Option<&MqttTls>) -> Result<Option<Tls>, PrepareError> {
    tls.map(|tls| Tls::prepare(host, tls.ca_file.as_deref(), tls.client.as_ref())).transpose()
}

/// User and password; without `Debug`, so that no log can hold them.
pub struct Login {
    /// User name.
    pub user: String,
    /// Password.
    pub password: String,
}

impl Login {
    /// Reads the password from its file.
    ///
    /// # Errors
    /// Those of [`first_line`].
    pub fn read(login: &MqttLogin) -> Result<Self, PrepareError> {
        Ok(Self { user: login.user.clone(), password: first_line(&login.password_file)? })
    }
}
