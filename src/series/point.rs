//! One point, and its line of line protocol.
//!
//! The line is written by [`influxdb2::models::DataPoint`]. That crate writes
//! whatever it is given: a line end in a tag, a NaN, a tag that ends in a
//! backslash all become lines that a server misreads or throws away. What the
//! open description of line protocol cannot hold is therefore refused here,
//! before it is built. Backslashes of text fields are doubled here, which the
//! description asks for and the crate leaves to its caller.

use std::borrow::Cow;

use influxdb2::models::data_point::DataPointBuilder;
use influxdb2::models::{DataPoint, WriteDataPoint};

use crate::core::time::Timestamp;

/// Longest measurement, tag or field name and longest tag value, in bytes. Servers take the whole
/// key of a series up to 65,535 bytes (InfluxDB 2 reference); this leaves room for all parts.
pub const NAME_BYTES_MAX: usize = 4_096;
/// Longest text field, in bytes (InfluxDB 2 reference: 64 KB for a string field).
pub const TEXT_BYTES_MAX: usize = 65_535;

/// A name or a tag value.
pub type Word = Cow<'static, str>;

/// Value of a field.
#[derive(Clone, PartialEq, Debug)]
pub enum Field {
    /// A number. One that is not finite is left out: line protocol cannot hold it.
    Float(f64),
    /// A whole number.
    Integer(i64),
    /// A flag.
    Flag(bool),
    /// Text. Some servers that take this API drop it; nothing depends on it alone.
    Text(String),
}

/// One point of a series.
#[derive(Clone, PartialEq, Debug)]
pub struct Point {
    measurement: Word,
    tags: Vec<(Word, Word)>,
    fields: Vec<(Word, Field)>,
    at_ns: i64,
}

/// Which part of a point cannot be written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Part {
    /// The name of the measurement.
    Measurement,
    /// The name of a tag.
    TagName,
    /// The value of a tag.
    TagValue,
    /// The name of a field.
    FieldName,
    /// A text field.
    Text,
}

impl std::fmt::Display for Part {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Measurement => "the measurement",
            Self::TagName => "the name of a tag",
            Self::TagValue => "the tag",
            Self::FieldName => "the name of a field",
            Self::Text => "the text field",
        })
    }
}

/// Why a point has no line.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Unwritable {
    /// No field is left: none was given, or no number was finite.
    #[error("a point of «{measurement}» has no value that can be written")]
    NoField {
        /// The measurement.
        measurement: String,
    },
    /// Nothing where line protocol needs something.
    #[error("{part} «{name}» is empty")]
    Empty {
        /// Which part.
        part: Part,
        /// Its name.
        name: String,
    },
    /// A line end or another control character.
    #[error("{part} «{name}» holds a line end or another control character")]
    Control {
        /// Which part.
        part: Part,
        /// Its name.
        name: String,
    },
    /// A backslash at the end, or before a character that is escaped by one: readers differ on it.
    #[error("{part} «{name}» holds a backslash where servers disagree what it means")]
    Backslash {
        /// Which part.
        part: Part,
        /// Its name.
        name: String,
    },
    /// A `#` at the start of the line makes it a comment.
    #[error("{part} «{name}» begins with #, which makes its line a comment")]
    Comment {
        /// Which part.
        part: Part,
        /// Its name.
        name: String,
    },
    /// Longer than a server takes.
    #[error("{part} «{name}» has {bytes} bytes, more than {bytes_max}")]
    Long {
        /// Which part.
        part: Part,
        /// Its name.
        name: String,
        /// Its length.
        bytes: usize,
        /// What is allowed.
        bytes_max: usize,
    },
    /// The same name twice among the tags and fields.
    #[error("«{name}» is there twice")]
    Twice {
        /// The name.
        name: String,
    },
    /// A time that 64 bits of nanoseconds cannot hold: the years 1678 to 2262 (InfluxDB 2 reference).
    #[error("its time lies outside the years 1678 to 2262")]
    Time,
    /// The crate that writes lines refused it.
    #[error("the line cannot be built: {0}")]
    Build(String),
}

/// Earliest and latest time a server takes, in nanoseconds (InfluxDB 2 reference, «timestamp»).
const NANOS_MIN: i64 = i64::MIN + 2;
const NANOS_MAX: i64 = i64::MAX - 1;

impl Point {
    /// Starts a point. A time that nanoseconds cannot hold is refused when it is written.
    #[must_use]
    pub fn new(measurement: impl Into<Word>, at: Timestamp) -> Self {
        Self::at_nanos(measurement, at.micros().saturating_mul(1_000))
    }

    /// Starts a point at nanoseconds since the epoch.
    #[must_use]
    pub fn at_nanos(measurement: impl Into<Word>, at_ns: i64) -> Self {
        Self { measurement: measurement.into(), tags: Vec::new(), fields: Vec::new(), at_ns }
    }

    /// Adds a tag.
    #[must_use]
    pub fn tag(mut self, name: impl Into<Word>, value: impl Into<Word>) -> Self {
        self.tags.push((name.into(), value.into()));
        self
    }

    /// Adds a number; one that is not finite is left out.
    #[must_use]
    pub fn float(self, name: impl Into<Word>, value: impl Into<Option<f64>>) -> Self {
        match value.into() {
            Some(value) => self.field(name, Field::Float(value)),
            None => self,
        }
    }

    /// Adds a whole number.
    #[must_use]
    pub fn integer(self, name: impl Into<Word>, value: i64) -> Self {
        self.field(name, Field::Integer(value))
    }

    /// Adds a count; one beyond 63 bits is written as the largest.
    #[must_use]
    pub fn count(self, name: impl Into<Word>, value: u64) -> Self {
        self.integer(name, i64::try_from(value).unwrap_or(i64::MAX))
    }

    /// Adds a flag.
    #[must_use]
    pub fn flag(self, name: impl Into<Word>, value: bool) -> Self {
        self.field(name, Field::Flag(value))
    }

    /// Adds text.
    #[must_use]
    pub fn text(self, name: impl Into<Word>, value: impl Into<String>) -> Self {
        self.field(name, Field::Text(value.into()))
    }

    /// Adds a field.
    #[must_use]
    pub fn field(mut self, name: impl Into<Word>, value: Field) -> Self {
        self.fields.push((name.into(), value));
        self
    }

    /// Name of the measurement.
    #[must_use]
    pub fn measurement(&self) -> &str {
        &self.measurement
    }

    /// Tags in the order in which they were added.
    pub fn tags(&self) -> impl Iterator<Item = (&str, &str)> {
        self.tags.iter().map(|(name, value)| (&**name, &**value))
    }

    /// Fields in the order in which they were added.
    pub fn fields(&self) -> impl Iterator<Item = (&str, &Field)> {
        self.fields.iter().map(|(name, value)| (&**name, value))
    }

    /// Nanoseconds since the epoch.
    #[must_use]
    pub const fn nanos(&self) -> i64 {
        self.at_ns
    }

    /// Appends the line, its end included, to `out`.
    ///
    /// # Errors
    /// [`Unwritable`]; `out` is then as it was.
    pub fn write_to(&self, out: &mut Vec<u8>) -> Result<(), Unwritable> {
        self.check()?;
        self.write_values(DataPoint::builder(&*self.measurement), &self.tags, out)
    }

    /// Appends the line of a point whose measurement and tags are written already; its own are not
    /// looked at. Many points of one series are written several times faster so.
    ///
    /// # Errors
    /// [`Unwritable`]; `out` is then as it was.
    pub fn write_below(&self, key: &Key, out: &mut Vec<u8>) -> Result<(), Unwritable> {
        self.check_values()?;
        let before = out.len();
        out.extend_from_slice(&key.0);
        self.write_values(DataPoint::builder(""), &[], out).inspect_err(|_| out.truncate(before))
    }

    fn write_values(
        &self,
        mut builder: DataPointBuilder,
        tags: &[(Word, Word)],
        out: &mut Vec<u8>,
    ) -> Result<(), Unwritable> {
        for (name, value) in tags {
            builder = builder.tag(&**name, &**value);
        }
        for (name, value) in &self.fields {
            builder = match value {
                Field::Float(value) if value.is_finite() => builder.field(&**name, *value),
                Field::Float(_) => builder,
                Field::Integer(value) => builder.field(&**name, *value),
                Field::Flag(value) => builder.field(&**name, *value),
                Field::Text(value) => builder.field(&**name, value.replace('\\', r"\\")),
            };
        }
        let built = builder.timestamp(self.at_ns).build();
        let point = built.map_err(|error| Unwritable::Build(error.to_string()))?;
        let before = out.len();
        point.write_data_point_to(&mut *out).map_err(|error| {
            out.truncate(before);
            Unwritable::Build(error.to_string())
        })
    }

    /// Whether line protocol can hold this point.
    fn check(&self) -> Result<(), Unwritable> {
        self.check_key()?;
        let tag = |name: &Word| self.tags.iter().any(|(tag, _)| tag == name);
        if let Some((name, _)) = self.fields.iter().find(|(name, _)| tag(name)) {
            return Err(Unwritable::Twice { name: name.to_string() });
        }
        self.check_values()
    }

    fn check_key(&self) -> Result<(), Unwritable> {
        check_word(Part::Measurement, &self.measurement, &self.measurement)?;
        if self.measurement.starts_with('#') {
            return Err(Unwritable::Comment { part: Part::Measurement, name: self.measurement.to_string() });
        }
        for (place, (name, value)) in self.tags.iter().enumerate() {
            check_word(Part::TagName, name, name)?;
            check_word(Part::TagValue, name, value)?;
            if self.tags[..place].iter().any(|(other, _)| other == name) {
                return Err(Unwritable::Twice { name: name.to_string() });
            }
        }
        Ok(())
    }

    fn check_values(&self) -> Result<(), Unwritable> {
        if !(NANOS_MIN..=NANOS_MAX).contains(&self.at_ns) {
            return Err(Unwritable::Time);
        }
        let mut any = false;
        for (place, (name, value)) in self.fields.iter().enumerate() {
            check_word(Part::FieldName, name, name)?;
            if self.fields[..place].iter().any(|(other, _)| other == name) {
                return Err(Unwritable::Twice { name: name.to_string() });
            }
            any |= match value {
                Field::Float(value) => value.is_finite(),
                Field::Integer(_) | Field::Flag(_) => true,
                Field::Text(text) => {
                    check_text(name, text)?;
                    true
                }
            };
        }
        if any { Ok(()) } else { Err(Unwritable::NoField { measurement: self.measurement.to_string() }) }
    }
}

/// Measurement and tags of a point, written: the start of every line of its series.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Key(Vec<u8>);

impl Key {
    /// The key of this point; its fields and its time are not looked at.
    ///
    /// # Errors
    /// [`Unwritable`], as for a point with these tags.
    pub fn of(point: &Point) -> Result<Self, Unwritable> {
        point.check_key()?;
        // The crate writes whole lines only: one with a field of known length, which is taken off.
        let bare =
            Point { fields: vec![(Word::Borrowed("k"), Field::Flag(true))], at_ns: 0, ..point.clone() };
        let mut line = Vec::new();
        bare.write_values(DataPoint::builder(&*bare.measurement), &bare.tags, &mut line)?;
        line.truncate(line.len() - b" k=t 0\n".len());
        Ok(Self(line))
    }
}

/// Checks a name or a tag value: what stands in a line without quotes.
fn check_word(part: Part, name: &str, word: &str) -> Result<(), Unwritable> {
    let name = || name.to_owned();
    if word.is_empty() {
        return Err(Unwritable::Empty { part, name: name() });
    }
    if word.len() > NAME_BYTES_MAX {
        return Err(Unwritable::Long {
            part,
            name: shortened(word),
            bytes: word.len(),
            bytes_max: NAME_BYTES_MAX,
        });
    }
    if word.chars().any(char::is_control) {
        return Err(Unwritable::Control { part, name: name() });
    }
    // `\` stands for itself unless what follows is escaped by it, and then readers differ.
    let mut rest = word;
    while let Some(start) = rest.find('\\') {
        rest = &rest[start + 1..];
        if rest.is_empty() || rest.starts_with([',', '=', ' ', '"', '\\']) {
            return Err(Unwritable::Backslash { part, name: name() });
        }
    }
    Ok(())
}

/// Checks a text field, which stands in quotes.
fn check_text(name: &str, text: &str) -> Result<(), Unwritable> {
    let name = || name.to_owned();
    if text.len() > TEXT_BYTES_MAX {
        return Err(Unwritable::Long {
            part: Part::Text,
            name: name(),
            bytes: text.len(),
            bytes_max: TEXT_BYTES_MAX,
        });
    }
    if text.chars().any(char::is_control) {
        return Err(Unwritable::Control { part: Part::Text, name: name() });
    }
    Ok(())
}

/// The start of a name that is too long to be told whole.
fn shortened(word: &str) -> String {
    format!("{}…", word.chars().take(40).collect::<String>())
}

/// Whether a tag can hold this value.
///
/// # Errors
/// [`Unwritable`] says why not.
pub fn check_tag(name: &'static str, value: &str) -> Result<(), Unwritable> {
    check_word(Part::TagValue, name, value)
}

/// Text on one line and not longer than `bytes_max`, for a text field: control characters become
/// spaces, and what is cut off is marked by `…`.
#[must_use]
pub fn one_line(text: &str, bytes_max: usize) -> String {
    let mut line = String::with_capacity(text.len().min(bytes_max));
    for character in text.chars().map(|c| if c.is_control() { ' ' } else { c }) {
        if line.len() + character.len_utf8() + '…'.len_utf8() > bytes_max {
            line.push('…');
            break;
        }
        line.push(character);
    }
    line
}

#[cfg(test)]
mod tests;
