//! What is told of handing a message over, in a trial and where one was given up: English and Spanish.
//!
//! What we say ourselves is kept as a fact, and put into words when somebody reads it. What the
//! other side says, or the system, stays in its own words, quoted where it stands beside ours.

mod facts;

use std::fmt;

use serde::{Deserialize, Serialize};

pub use self::facts::Fact;
use crate::core::counted::Noun;
use crate::core::reader::{Language, filled, said};

/// English and Spanish.
type Pair = (&'static str, &'static str);

/// The step in which settings, secrets and certificates are read.
pub const SETTINGS: &str = "settings";
/// The step of a signature.
pub const SIGNATURE: &str = "signature";
/// The step of a connection.
pub const CONNECTION: &str = "connection";
/// The step of encryption.
pub const ENCRYPTION: &str = "encryption";
/// The step of a login.
pub const LOGIN: &str = "login";
/// The step in which a name is looked up.
pub const NAME: &str = "name";
/// The step in which the sender is given.
pub const SENDER: &str = "sender";
/// The step in which the recipient is given.
pub const RECIPIENT: &str = "recipient";
/// The step of the message itself.
pub const MESSAGE: &str = "message";
/// The step of a sign of life.
pub const HEARTBEAT: &str = "heartbeat";

const STEPS: [Pair; 10] = [
    (SETTINGS, "configuración"),
    (SIGNATURE, "firma"),
    (CONNECTION, "conexión"),
    (ENCRYPTION, "cifrado"),
    (LOGIN, "inicio de sesión"),
    (NAME, "nombre"),
    (SENDER, "remitente"),
    (RECIPIENT, "destinatario"),
    (MESSAGE, "mensaje"),
    (HEARTBEAT, "señal de vida"),
];

/// What came of a step, or why a message was not handed over.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Told {
    /// What we say of it.
    #[serde(flatten)]
    pub fact: Fact,
    /// The host that it is about, where the fact does not name one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub host: Option<String>,
    /// What the other side or the system said, in its own words.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub said: Option<String>,
    /// How it was given up, where it was tried often.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub given_up: Option<GivenUp>,
}

/// How a message was given up.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GivenUp {
    /// It was refused in the same way as often as this.
    Refused {
        /// Tries.
        tries: u32,
    },
    /// It was not taken for long enough.
    NotTaken {
        /// Tries.
        tries: u32,
        /// From the first try to the last, in minutes.
        minutes: u32,
    },
}

impl Told {
    /// What the other side said and nothing else, or a text of before facts were kept.
    #[must_use]
    pub fn words(said: impl Into<String>) -> Self {
        Self { said: Some(said.into()), ..Self::from(Fact::Words {}) }
    }

    /// The same with the host that it is about.
    #[must_use]
    pub fn at(self, host: impl Into<String>) -> Self {
        Self { host: Some(host.into()), ..self }
    }

    /// The same with what the other side said; nothing is not quoted.
    #[must_use]
    pub fn because(self, said: impl Into<String>) -> Self {
        Self { said: Some(said.into()).filter(|said| !said.is_empty()), ..self }
    }

    /// The same as the reason why a message was given up.
    #[must_use]
    pub fn given_up(self, given_up: GivenUp) -> Self {
        Self { given_up: Some(given_up), ..self }
    }

    /// It in the words of the reader, on one line.
    #[must_use]
    pub fn tell(&self, language: Language) -> String {
        let said_too = self.said.as_deref().unwrap_or_default();
        let own = match (&self.fact, said_too) {
            (fact, "") => fact.tell(language),
            (Fact::Words {}, said) => said.to_owned(),
            (fact, said) => format!("{}: «{said}»", fact.tell(language)),
        };
        let own = self.host.as_ref().map_or_else(|| own.clone(), |host| format!("{host}: {own}"));
        let (pair, tries, minutes) = match self.given_up {
            None => return own,
            Some(GivenUp::Refused { tries }) => {
                let tries = Noun::Times.of(tries.into(), language);
                (("refused {tries}: {own}", "rechazado {tries}: {own}"), tries, 0)
            }
            Some(GivenUp::NotTaken { tries, minutes }) => {
                let english = "not taken in {tries} over {hours} h: {own}";
                let spanish = "no aceptado en {tries} durante {hours} h: {own}";
                ((english, spanish), Noun::Tries.of(tries.into(), language), minutes)
            }
        };
        let hours = format!("{:.1}", f64::from(minutes) / 60.0);
        let values = [("tries", tries.as_str()), ("hours", &hours), ("own", &own)];
        filled(said(language, pair.0, pair.1), &values)
    }

    /// What to do about it, where it is ours to know.
    #[must_use]
    pub fn advice(&self, language: Language) -> Option<String> {
        self.fact.advice(language)
    }
}

impl From<Fact> for Told {
    fn from(fact: Fact) -> Self {
        Self { fact, host: None, said: None, given_up: None }
    }
}

/// Words of somebody else.
impl From<&str> for Told {
    fn from(said: &str) -> Self {
        Self::words(said)
    }
}

/// In English, for the log, the terminal and programs.
impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.tell(Language::English))
    }
}

/// The word for a step; one that is not known stays as it is.
#[must_use]
pub fn step(step: &str, language: Language) -> &str {
    let known = STEPS.iter().find(|(english, _)| *english == step);
    known.map_or(step, |(english, spanish)| said(language, english, spanish))
}

#[cfg(test)]
mod tests;
