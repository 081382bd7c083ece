//! What files and environment say, before anybody asks whether it makes sense.

use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

/// Where a value was set.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Place {
    /// A line of a file.
    Line {
        /// The file, as it was named on the command line.
        file: PathBuf,
        /// The line, from 1.
        line: usize,
    },
    /// A file as a whole.
    File(PathBuf),
    /// An environment variable.
    Variable(String),
}

impl Place {
    /// The directory against which a relative path of this place counts: that
    /// of the file, so that a file means the same wherever the program starts;
    /// the working directory for a variable. In full, since what is configured is compared as text:
    /// the service and a command that was started elsewhere must say the same. Empty for a text of no
    /// file, such as one on record.
    fn directory(&self) -> PathBuf {
        let directory = match self {
            Self::Line { file, .. } | Self::File(file) => file.parent(),
            Self::Variable(_) => Some(Path::new("")),
        };
        let in_full = |directory: &Path| {
            let named = if directory.as_os_str().is_empty() { Path::new(".") } else { directory };
            let found = std::fs::canonicalize(named).or_else(|_| std::path::absolute(named));
            found.unwrap_or_else(|_| directory.to_owned())
        };
        directory.map(in_full).unwrap_or_default()
    }

    /// A path that is written at this place, complete with the directory that it counts from.
    #[must_use]
    pub fn complete(&self, path: &str) -> PathBuf {
        if Path::new(path).is_absolute() {
            return PathBuf::from(path);
        }
        // Without the `.` that a path may begin with.
        self.directory().join(path).components().collect()
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line { file, line } => write!(f, "{}:{line}", file.display()),
            Self::File(file) => write!(f, "{}", file.display()),
            Self::Variable(variable) => write!(f, "environment variable {variable}"),
        }
    }
}

/// A table of values by key.
pub type Table = BTreeMap<String, Node>;

/// A value and where it was set.
#[derive(Clone, PartialEq, Debug)]
pub struct Node {
    /// The value.
    pub value: Value,
    /// Its place; `None` for a table that several layers made together.
    pub place: Option<Place>,
}

/// A value as written. Dates of TOML count as text: no key wants one.
#[derive(Clone, PartialEq, Debug)]
pub enum Value {
    /// Text.
    Text(String),
    /// A whole number.
    Integer(i64),
    /// A number with a fraction, infinite or NaN.
    Float(f64),
    /// `true` or `false`.
    Flag(bool),
    /// A list.
    List(Vec<Node>),
    /// A table.
    Table(Table),
}

impl Value {
    /// The text, where it is one.
    #[must_use]
    pub fn as_text(&self) -> Option<&str> {
        if let Self::Text(text) = self { Some(text) } else { None }
    }

    /// The table, where it is one.
    #[must_use]
    pub fn as_table(&self) -> Option<&Table> {
        if let Self::Table(table) = self { Some(table) } else { None }
    }
}

impl fmt::Display for Value {
    /// Prints the value as TOML would, tables and lists in short.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Text(text) => f.write_str(&quoted(text)),
            Self::Integer(number) => write!(f, "{number}"),
            Self::Float(number) => write!(f, "{number:?}"),
            Self::Flag(flag) => write!(f, "{flag}"),
            Self::List(nodes) => {
                f.write_str("[")?;
                for (index, node) in nodes.iter().enumerate() {
                    if index > 0 {
                        f.write_str(", ")?;
                    }
                    node.value.fmt(f)?;
                }
                f.write_str("]")
            }
            Self::Table(_) => f.write_str("{…}"),
        }
    }
}

/// The text as a basic string of TOML 1.0, quotes included.
#[must_use]
pub fn quoted(text: &str) -> String {
    let mut quoted = String::with_capacity(text.len() + 2);
    quoted.push('"');
    for character in text.chars() {
        match character {
            '"' | '\\' => quoted.extend(['\\', character]),
            control if control.is_control() => quoted.push_str(&format!("\\u{:04X}", u32::from(control))),
            other => quoted.push(other),
        }
    }
    quoted.push('"');
    quoted
}
