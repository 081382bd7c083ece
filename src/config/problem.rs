//! What is wrong with a configuration, and where.

use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;

use super::raw::Place;
use super::text::QuantityError;

/// One thing that is wrong, or doubtful.
#[derive(Clone, Debug)]
pub struct Problem {
    /// Where; `None` where nothing was written at all.
    pub place: Option<Place>,
    /// The key with its section, such as `[[machine]] dm1, rinse-min`.
    pub key: String,
    /// The value as written; `None` where there is none, and for secrets.
    pub seen: Option<String>,
    /// What is wrong.
    pub fault: Fault,
}

/// What is wrong.
#[derive(Clone, Debug, thiserror::Error)]
pub enum Fault {
    /// The file cannot be read.
    #[error("cannot read the file")]
    File(#[source] Arc<std::io::Error>),
    /// The file is not TOML.
    #[error("not TOML: {message}")]
    Syntax {
        /// The parser's words.
        message: String,
    },
    /// A section or a key stands twice in one file.
    #[error("stands twice in this file: {line}")]
    Repeated {
        /// The line on which it stands again.
        line: String,
    },
    /// A key that does not exist here.
    #[error("no such key here")]
    UnknownKey {
        /// The legal key that was probably meant.
        nearest: Option<&'static str>,
        /// Every key that is legal here.
        legal: String,
    },
    /// A key that must be given is missing.
    #[error("missing")]
    Missing {
        /// What to write.
        wanted: String,
    },
    /// A value of the wrong type, out of range, or in conflict with another.
    #[error("does not fit")]
    Value {
        /// What would fit.
        wanted: String,
        /// Why the text is no quantity.
        #[source]
        why: Option<QuantityError>,
    },
    /// A name or a device that is taken.
    #[error("used twice")]
    Twice {
        /// Where it was used first.
        first: Option<Place>,
    },
    /// A name of something that is not configured.
    #[error("nothing of that name is configured")]
    UnknownName {
        /// What should bear the name.
        wanted: String,
        /// The name that was probably meant.
        nearest: Option<String>,
    },
    /// A machine without the probe that its verdict stands on.
    #[error("no probe measures the final rinse")]
    NoRinseProbe {
        /// Name of the machine.
        machine: String,
    },
    /// A file with a secret that everybody may read.
    #[error("everybody on this computer may read the secret (mode {mode:03o})")]
    SecretReadable {
        /// The file.
        path: PathBuf,
        /// Its permission bits.
        mode: u32,
    },
    /// A file with a secret that cannot be looked at from here.
    #[error("the secret cannot be looked at from here")]
    SecretUnseen {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: Arc<std::io::Error>,
    },
    /// Legal, but probably not meant.
    #[error("{why}")]
    Doubtful {
        /// Why.
        why: String,
        /// What to do where it was not meant.
        advice: String,
    },
}

impl Fault {
    /// A value that does not fit, and what would.
    #[must_use]
    pub fn value(wanted: impl Into<String>) -> Self {
        Self::Value { wanted: wanted.into(), why: None }
    }
}

impl Problem {
    /// Its stable short name, the one between the brackets of a diagnostic.
    #[must_use]
    pub const fn slug(&self) -> &'static str {
        match self.fault {
            Fault::File(_) => "config-file",
            Fault::Syntax { .. } => "config-syntax",
            Fault::UnknownKey { .. } => "config-key",
            Fault::Missing { .. } => "config-missing",
            Fault::Value { .. } => "config-value",
            Fault::Twice { .. } | Fault::Repeated { .. } => "config-twice",
            Fault::UnknownName { .. } => "config-name",
            Fault::NoRinseProbe { .. } => "config-machine",
            Fault::SecretReadable { .. } | Fault::SecretUnseen { .. } => "config-secret",
            Fault::Doubtful { .. } => "config-doubt",
        }
    }
}

impl fmt::Display for Problem {
    /// One line: place, key, value seen, fault. The long form is the
    /// [`Diagnostic`](crate::diagnostic::Diagnostic) made of it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(place) = &self.place {
            write!(f, "{place}: ")?;
        }
        f.write_str(&self.key)?;
        if let Some(seen) = &self.seen {
            write!(f, " = {seen}")?;
        }
        write!(f, ": {}", self.fault)
    }
}

impl std::error::Error for Problem {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.fault.source()
    }
}

/// What was found while reading: problems forbid the start, warnings do not.
#[derive(Debug, Default)]
pub struct Findings {
    /// What must be put right.
    pub problems: Vec<Problem>,
    /// What should be looked at.
    pub warnings: Vec<Problem>,
}

#[cfg(test)]
mod tests {
    use super::*;

    // The form is that of the project's own style, no outside source.
    #[test]
    fn a_problem_names_its_place_first() {
        let problem = Problem {
            place: Some(Place::Line { file: "gateway.toml".into(), line: 7 }),
            key: "[site], name".to_owned(),
            seen: Some("7".to_owned()),
            fault: Fault::value("text"),
        };
        assert_eq!(problem.to_string(), "gateway.toml:7: [site], name = 7: does not fit");
        assert_eq!(problem.slug(), "config-value");
    }
}
