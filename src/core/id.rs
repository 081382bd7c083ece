//! Names people give, and the small numbers the program counts with.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Longest name of a machine or a probe, in bytes (own choice: it must fit a line of the terminal view).
pub const NAME_BYTES_MAX: usize = 64;

/// Place of a machine in the configuration, from 0.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MachineId(pub u16);

/// Place of a channel (a probe, its cold junction, or a run signal) in the configuration, from 0.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(transparent)]
pub struct ChannelId(pub u16);

/// Place of a source (a serial port, a broker, a file) in the configuration, from 0.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SourceId(pub u16);

/// Name of a channel, `<machine>/<probe>`, of the characters that a SenML name
/// may hold (RFC 8428 §4.5.1).
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct ChannelName {
    whole: String,
    slash: usize,
}

/// Why a name was refused.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum NameError {
    /// Nothing before or after the slash, or no slash at all.
    #[error("a channel is named <machine>/<probe>")]
    Shape,
    /// Longer than [`NAME_BYTES_MAX`].
    #[error("longer than {NAME_BYTES_MAX} bytes")]
    Length,
    /// A character that a SenML name cannot hold, or a first one that is no letter or digit.
    #[error("only A-Z a-z 0-9 - : . _ and a first letter or digit are allowed (RFC 8428 §4.5.1)")]
    Character,
}

impl ChannelName {
    /// The part before the last slash.
    #[must_use]
    pub fn machine(&self) -> &str {
        &self.whole[..self.slash]
    }

    /// The part after the last slash.
    #[must_use]
    pub fn probe(&self) -> &str {
        &self.whole[self.slash + 1..]
    }

    /// The whole name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.whole
    }
}

/// Checks one part of a name: a machine, or a probe.
///
/// # Errors
/// [`NameError`] says what is wrong with it.
pub fn check_part(part: &str) -> Result<(), NameError> {
    if part.is_empty() {
        return Err(NameError::Shape);
    }
    if part.len() > NAME_BYTES_MAX {
        return Err(NameError::Length);
    }
    let legal = |byte: u8| byte.is_ascii_alphanumeric() || b"-:._".contains(&byte);
    if !part.as_bytes()[0].is_ascii_alphanumeric() || !part.bytes().all(legal) {
        return Err(NameError::Character);
    }
    Ok(())
}

impl TryFrom<String> for ChannelName {
    type Error = NameError;

    fn try_from(whole: String) -> Result<Self, NameError> {
        let slash = whole.rfind('/').ok_or(NameError::Shape)?;
        for part in whole.split('/') {
            check_part(part)?;
        }
        Ok(Self { whole, slash })
    }
}

impl From<ChannelName> for String {
    fn from(name: ChannelName) -> Self {
        name.whole
    }
}

impl fmt::Display for ChannelName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.whole)
    }
}

impl fmt::Debug for ChannelName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.whole)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The legal characters of RFC 8428 §4.5.1.
    #[test]
    fn names_are_senml_names() {
        for (text, expected) in [
            ("dm1/rinse", Ok(("dm1", "rinse"))),
            ("north/dm1/rinse-cj", Ok(("north/dm1", "rinse-cj"))),
            ("rinse", Err(NameError::Shape)),
            ("/rinse", Err(NameError::Shape)),
            ("dm1/", Err(NameError::Shape)),
            ("dm1/-rinse", Err(NameError::Character)),
            ("dm 1/rinse", Err(NameError::Character)),
            ("dm1/spülen", Err(NameError::Character)),
        ] {
            let name = ChannelName::try_from(text.to_owned());
            let parts = name.as_ref().map(|name| (name.machine(), name.probe())).map_err(|error| *error);
            assert_eq!(parts, expected, "{text}");
        }
    }
}
