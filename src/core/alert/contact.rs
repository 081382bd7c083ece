//! Who is told: people, how they are reached, and when.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::hours::Hours;
use crate::core::reader::{Language, Scale};

/// A way to a contact, written `email:ana@example.org`, `text:15551234567@example.net`,
/// `webhook:NAME` or `mqtt`.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Route {
    /// Full e-mail to this address.
    Email(String),
    /// The short form, by e-mail to a text gateway.
    Text(String),
    /// The `[[webhook]]` of this name.
    Webhook(String),
    /// The broker of `[publish]`.
    Mqtt,
}

/// The text names no route.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("a route is \"email:ADDRESS\", \"text:ADDRESS\", \"webhook:NAME\" or \"mqtt\"")]
pub struct UnknownRoute;

/// Longest address (RFC 5321 §4.5.3.1.3 permits a path of 256 with its two brackets).
const ADDRESS_BYTES_MAX: usize = 254;

impl FromStr for Route {
    type Err = UnknownRoute;

    fn from_str(text: &str) -> Result<Self, UnknownRoute> {
        if text == "mqtt" {
            return Ok(Self::Mqtt);
        }
        let (kind, rest) = text.split_once(':').ok_or(UnknownRoute)?;
        let address = || {
            let (local, domain) = rest.rsplit_once('@').ok_or(UnknownRoute)?;
            let legal = |c: char| !c.is_control() && !c.is_whitespace() && !"<>\",;".contains(c);
            let fits = !local.is_empty() && !domain.is_empty() && rest.len() <= ADDRESS_BYTES_MAX;
            if fits && rest.chars().all(legal) { Ok(rest.to_owned()) } else { Err(UnknownRoute) }
        };
        match kind {
            "email" => Ok(Self::Email(address()?)),
            "text" => Ok(Self::Text(address()?)),
            "webhook" if crate::core::id::check_part(rest).is_ok() => Ok(Self::Webhook(rest.to_owned())),
            _ => Err(UnknownRoute),
        }
    }
}

impl Route {
    /// The channel that carries it, which has one outbox: `email`, `webhook:NAME` or `mqtt`.
    #[must_use]
    pub fn channel(&self) -> String {
        match self {
            Self::Email(_) | Self::Text(_) => "email".to_owned(),
            Self::Webhook(_) | Self::Mqtt => self.to_string(),
        }
    }
}

impl fmt::Display for Route {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Email(address) => write!(f, "email:{address}"),
            Self::Text(address) => write!(f, "text:{address}"),
            Self::Webhook(name) => write!(f, "webhook:{name}"),
            Self::Mqtt => f.write_str("mqtt"),
        }
    }
}

impl TryFrom<String> for Route {
    type Error = UnknownRoute;

    fn try_from(text: String) -> Result<Self, UnknownRoute> {
        text.parse()
    }
}

impl From<Route> for String {
    fn from(route: Route) -> Self {
        route.to_string()
    }
}

/// A person, or a desk with several.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Contact {
    /// Name, unique in the configuration.
    pub name: String,
    /// What they are there, for messages: «kitchen manager».
    pub role: Option<String>,
    /// When they are told, from 1: contacts of one step are told together.
    pub step: u8,
    /// Whether they are told, at any hour, where nobody else is on duty.
    pub last_resort: bool,
    /// By which routes, all of them at once.
    pub routes: Vec<Route>,
    /// When they are on duty; `None` is always.
    pub hours: Option<Hours>,
    /// Language of their messages.
    pub language: Language,
    /// Scale of the temperatures in their messages.
    pub units: Scale,
}
