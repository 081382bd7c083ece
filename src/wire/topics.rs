//! MQTT topic names and filters (MQTT 5.0 §4.7; the same in 3.1.1).

use std::fmt;
use std::str::FromStr;

/// Longest topic or filter in bytes (MQTT 5.0 §4.7.3, §1.5.4).
pub const TOPIC_BYTES_MAX: usize = 65_535;

/// A topic filter that was read and found well-formed.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct TopicFilter {
    whole: String,
    /// Where the filter proper begins, behind `$share/<name>/` (MQTT 5.0 §4.8.2).
    filter_from: usize,
}

/// Why a text is no topic filter, or no topic name.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum TopicError {
    /// Nothing in it.
    #[error("empty (MQTT 5.0 §4.7.3)")]
    Empty,
    /// Longer than [`TOPIC_BYTES_MAX`].
    #[error("longer than {TOPIC_BYTES_MAX} bytes (MQTT 5.0 §4.7.3)")]
    Length,
    /// A null character.
    #[error("null character (MQTT 5.0 §4.7.3)")]
    Null,
    /// A `#` that is not the whole last level, or any in a topic name.
    #[error("# stands alone in the last level of a filter (MQTT 5.0 §4.7.1.2)")]
    MultiLevel,
    /// A `+` that is not a whole level, or any in a topic name.
    #[error("+ stands alone in a level of a filter (MQTT 5.0 §4.7.1.3)")]
    SingleLevel,
    /// A shared subscription without a name or a filter.
    #[error("a shared subscription is $share/<name>/<filter> (MQTT 5.0 §4.8.2)")]
    Share,
}

impl FromStr for TopicFilter {
    type Err = TopicError;

    fn from_str(text: &str) -> Result<Self, TopicError> {
        check_text(text)?;
        let filter_from = match text.strip_prefix("$share/") {
            None => 0,
            Some(shared) => match shared.split_once('/') {
                Some((name, filter))
                    if !name.is_empty() && !name.contains(['#', '+']) && !filter.is_empty() =>
                {
                    text.len() - filter.len()
                }
                Some(_) | None => return Err(TopicError::Share),
            },
        };
        let mut levels = text[filter_from..].split('/').peekable();
        while let Some(level) = levels.next() {
            if level.contains('#') && (level != "#" || levels.peek().is_some()) {
                return Err(TopicError::MultiLevel);
            }
            if level.contains('+') && level != "+" {
                return Err(TopicError::SingleLevel);
            }
        }
        Ok(Self { whole: text.to_owned(), filter_from })
    }
}

/// Checks the name of a topic to publish to.
///
/// # Errors
/// [`TopicError`] says what is wrong with it.
pub fn check_topic_name(topic: &str) -> Result<(), TopicError> {
    check_text(topic)?;
    if topic.contains('#') {
        return Err(TopicError::MultiLevel);
    }
    if topic.contains('+') {
        return Err(TopicError::SingleLevel);
    }
    Ok(())
}

fn check_text(text: &str) -> Result<(), TopicError> {
    if text.is_empty() {
        return Err(TopicError::Empty);
    }
    if text.len() > TOPIC_BYTES_MAX {
        return Err(TopicError::Length);
    }
    if text.contains('\0') { Err(TopicError::Null) } else { Ok(()) }
}

impl TopicFilter {
    /// The filter as it was written, for the SUBSCRIBE packet.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.whole
    }

    /// Whether a message to `topic` belongs to this filter. A topic that begins
    /// with `$` belongs to no filter that begins with a wildcard (§4.7.2).
    #[must_use]
    pub fn matches(&self, topic: &str) -> bool {
        let filter = &self.whole[self.filter_from..];
        if topic.starts_with('$') && filter.starts_with(['#', '+']) {
            return false;
        }
        let mut topic_levels = topic.split('/');
        for level in filter.split('/') {
            if level == "#" {
                // Also the parent level itself (§4.7.1.2).
                return true;
            }
            match topic_levels.next() {
                Some(topic_level) if level == "+" || level == topic_level => {}
                Some(_) | None => return false,
            }
        }
        topic_levels.next().is_none()
    }
}

impl fmt::Display for TopicFilter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.whole)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The examples of MQTT 5.0 §4.7.1 to §4.7.3, from memory of its text.
    #[test]
    fn matches_the_examples_of_the_standard() {
        for (filter, topic, expected) in [
            ("sport/tennis/player1/#", "sport/tennis/player1", true),
            ("sport/tennis/player1/#", "sport/tennis/player1/ranking", true),
            ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true),
            ("sport/#", "sport", true),
            ("sport/#", "sports", false),
            ("#", "anything/at/all", true),
            ("sport/tennis/+", "sport/tennis/player1", true),
            ("sport/tennis/+", "sport/tennis/player1/ranking", false),
            ("sport/+", "sport", false),
            ("sport/+", "sport/", true),
            ("+/+", "/finance", true),
            ("/+", "/finance", true),
            ("+", "/finance", false),
            ("+/tennis/#", "sport/tennis", true),
            ("#", "$SYS/broker/load", false),
            ("+/monitor/Clients", "$SYS/monitor/Clients", false),
            ("$SYS/#", "$SYS/broker/load", true),
            ("$SYS/monitor/+", "$SYS/monitor/Clients", true),
            ("ACCOUNTS", "Accounts", false),
            ("/A", "A", false),
            ("$share/kitchen/dm1/#", "dm1/rinse", true),
            ("$share/kitchen/+/rinse", "$dm1/rinse", false),
        ] {
            let parsed: TopicFilter = filter.parse().expect("a topic filter");
            assert_eq!(parsed.matches(topic), expected, "{filter} {topic}");
        }
    }

    #[test]
    fn refuses_what_the_standard_refuses() {
        for (filter, error) in [
            ("", TopicError::Empty),
            ("a\0b", TopicError::Null),
            ("sport/tennis#", TopicError::MultiLevel),
            ("sport/tennis/#/ranking", TopicError::MultiLevel),
            ("sport+", TopicError::SingleLevel),
            ("$share/kitchen", TopicError::Share),
            ("$share//dm1", TopicError::Share),
            ("$share/kit+chen/dm1", TopicError::Share),
        ] {
            assert_eq!(filter.parse::<TopicFilter>(), Err(error), "{filter}");
        }
        let long = "a".repeat(TOPIC_BYTES_MAX);
        assert!(long.parse::<TopicFilter>().is_ok());
        assert_eq!(format!("{long}a").parse::<TopicFilter>(), Err(TopicError::Length));
        for (topic, outcome) in [
            ("dm1/rinse", Ok(())),
            ("/", Ok(())),
            ("dm1/+", Err(TopicError::SingleLevel)),
            ("dm1/#", Err(TopicError::MultiLevel)),
        ] {
            assert_eq!(check_topic_name(topic), outcome, "{topic}");
        }
    }
}
