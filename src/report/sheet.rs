//! Rows of any kind in all three forms: a table for people, JSON lines and CSV for programs.
//!
//! The columns say what a value is, and each form follows from that: the key in JSON ends
//! in the unit (`rinse_min_c`), the header of CSV carries it (`rinse_min (degC)`), the
//! table shows temperatures on the reader's scale and instants in the site's zone. JSON
//! and CSV are always in °C and UTC.

use std::io::{self, Write};

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::csv;
use super::local;
use super::table::wrapped;
use crate::core::reader::Scale;
use crate::core::time::Timestamp;

/// Columns of a sentence in a table.
const SENTENCE_WIDTH: usize = 88;

/// What the values of a column are.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unit {
    /// A word or a sentence.
    Text,
    /// A whole number.
    Count,
    /// An instant.
    Instant,
    /// A day of the site.
    Day,
    /// A temperature, °C.
    Celsius,
    /// A difference of temperatures, °C.
    Difference,
    /// A time, s.
    Seconds,
    /// A short time, s, told to a tenth.
    Tenths,
    /// A share, 0 to 1.
    Share,
    /// Yes or no.
    Flag,
}

/// One column.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// Name for programs, without the unit.
    pub key: &'static str,
    /// What its values are.
    pub unit: Unit,
    /// Where it stands in a table.
    pub place: Place,
}

/// Where a column stands in a table.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Place {
    /// Under this heading, so wide.
    Under(&'static str, usize),
    /// As a sentence below its row.
    Below,
    /// Only programs get it.
    Nowhere,
}

impl Column {
    /// A column with a heading of the table.
    #[must_use]
    pub const fn under(key: &'static str, unit: Unit, head: &'static str, width: usize) -> Self {
        Self { key, unit, place: Place::Under(head, width) }
    }

    /// A sentence below its row.
    #[must_use]
    pub const fn below(key: &'static str) -> Self {
        Self { key, unit: Unit::Text, place: Place::Below }
    }

    /// A value for programs only.
    #[must_use]
    pub const fn nowhere(key: &'static str, unit: Unit) -> Self {
        Self { key, unit, place: Place::Nowhere }
    }
}

/// One value; the units are those of [`Unit`].
#[derive(Clone, PartialEq, Debug)]
pub enum Cell {
    /// Nothing is known.
    Empty,
    /// A word or a sentence.
    Text(String),
    /// A whole number.
    Count(u64),
    /// An instant.
    Instant(Timestamp),
    /// A day.
    Day(Date),
    /// A temperature, a difference of two, a time or a share.
    Number(f64),
    /// Yes or no.
    Flag(bool),
}

impl Cell {
    /// A text.
    #[must_use]
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text(text.into())
    }
}

impl<T: Into<Self>> From<Option<T>> for Cell {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Empty, Into::into)
    }
}

impl From<f64> for Cell {
    fn from(number: f64) -> Self {
        Self::Number(number)
    }
}

impl From<u64> for Cell {
    fn from(count: u64) -> Self {
        Self::Count(count)
    }
}

impl From<Timestamp> for Cell {
    fn from(at: Timestamp) -> Self {
        Self::Instant(at)
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}

/// In which form.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Form {
    /// For people.
    Table,
    /// One object a line.
    Json,
    /// RFC 4180.
    Csv,
}

/// Writes rows one by one.
#[derive(Debug)]
pub struct Sheet {
    /// The columns; each row has a value for each of them.
    pub columns: &'static [Column],
    /// The form.
    pub form: Form,
    /// Zone of the table's times.
    pub zone: TimeZone,
    /// Scale of the table's temperatures.
    pub scale: Scale,
}

impl Sheet {
    /// Writes what stands above the rows; `whose` says of which clock the table's times are.
    ///
    /// # Errors
    /// The writer's.
    pub fn start(&self, out: &mut dyn Write, whose: &str) -> io::Result<()> {
        match self.form {
            Form::Json => Ok(()),
            Form::Csv => csv::write_line(out, self.columns.iter().map(header)),
            Form::Table => {
                writeln!(out, "Times are those of {whose}.")?;
                let heads: Vec<String> = self
                    .columns
                    .iter()
                    .filter_map(|column| {
                        let Place::Under(head, width) = column.place else { return None };
                        let degrees = matches!(column.unit, Unit::Celsius | Unit::Difference);
                        let unit = if degrees { self.scale.symbol() } else { "" };
                        Some(aligned([head, unit].join(" ").trim_end(), column.unit, width))
                    })
                    .collect();
                writeln!(out, "{}", heads.join("  ").trim_end())
            }
        }
    }

    /// Writes one row.
    ///
    /// # Errors
    /// The writer's.
    pub fn row(&self, out: &mut dyn Write, cells: &[Cell]) -> io::Result<()> {
        let pairs = || self.columns.iter().zip(cells);
        match self.form {
            Form::Csv => csv::write_line(out, pairs().map(|(column, cell)| in_csv(column.unit, cell))),
            Form::Json => {
                for (place, (column, cell)) in pairs().enumerate() {
                    let before = if place == 0 { "{" } else { "," };
                    write!(out, "{before}\"{}\":{}", key(column), in_json(cell))?;
                }
                out.write_all(b"}\n")
            }
            Form::Table => {
                let shown: Vec<String> = pairs()
                    .filter_map(|(column, cell)| {
                        let Place::Under(_, width) = column.place else { return None };
                        Some(aligned(&self.in_table(column.unit, cell), column.unit, width))
                    })
                    .collect();
                writeln!(out, "{}", shown.join("  ").trim_end())?;
                let below =
                    pairs().filter(|(column, cell)| column.place == Place::Below && **cell != Cell::Empty);
                for text in below.map(|(column, cell)| self.in_table(column.unit, cell)) {
                    for (place, line) in wrapped(&text, SENTENCE_WIDTH).into_iter().enumerate() {
                        writeln!(out, "{:>9} {line}", if place == 0 { "└" } else { "" })?;
                    }
                }
                Ok(())
            }
        }
    }

    fn in_table(&self, unit: Unit, cell: &Cell) -> String {
        match cell {
            Cell::Empty => "-".to_owned(),
            // What people wrote must not fake a line of ours, or drive a terminal.
            Cell::Text(text) => text.replace(char::is_control, " "),
            Cell::Count(count) => count.to_string(),
            Cell::Instant(at) => local::second(*at, &self.zone),
            Cell::Day(day) => day.to_string(),
            Cell::Flag(flag) => if *flag { "yes" } else { "no" }.to_owned(),
            Cell::Number(number) => match unit {
                Unit::Celsius => format!("{:.1}", self.scale.temperature(*number)),
                Unit::Difference => format!("{:+.2}", self.scale.difference(*number)),
                // A share that is not whole must not look so.
                Unit::Share if *number < 1.0 && *number > 0.9999 => "< 100.00 %".to_owned(),
                Unit::Share => format!("{:.2} %", number * 100.0),
                Unit::Seconds => duration(*number),
                Unit::Tenths => format!("{number:.1} s"),
                Unit::Text | Unit::Count | Unit::Instant | Unit::Day | Unit::Flag => number.to_string(),
            },
        }
    }
}

fn aligned(text: &str, unit: Unit, width: usize) -> String {
    match unit {
        Unit::Text | Unit::Instant | Unit::Day | Unit::Flag => {
            let cut: String = if text.chars().count() > width {
                text.chars().take(width.saturating_sub(1)).chain(['…']).collect()
            } else {
                text.to_owned()
            };
            format!("{cut:<width$}")
        }
        Unit::Count | Unit::Celsius | Unit::Difference | Unit::Seconds | Unit::Tenths | Unit::Share => {
            format!("{text:>width$}")
        }
    }
}

/// A time in hours, minutes and seconds, without the parts that are zero at its front.
#[must_use]
pub fn duration(seconds: f64) -> String {
    let whole = std::time::Duration::try_from_secs_f64(seconds.round()).map_or(0, |span| span.as_secs());
    let (hours, minutes, seconds) = (whole / 3_600, whole / 60 % 60, whole % 60);
    match (hours, minutes) {
        (0, 0) => format!("{seconds} s"),
        (0, _) => format!("{minutes} min {seconds:02} s"),
        _ => format!("{hours} h {minutes:02} min"),
    }
}

/// Name of a column for programs, with its unit: the key in JSON.
#[must_use]
pub fn key(column: &Column) -> String {
    let ending = match column.unit {
        Unit::Celsius | Unit::Difference => "_c",
        Unit::Seconds | Unit::Tenths => "_s",
        Unit::Text | Unit::Count | Unit::Instant | Unit::Day | Unit::Share | Unit::Flag => "",
    };
    format!("{}{ending}", column.key)
}

fn header(column: &Column) -> String {
    let unit = match column.unit {
        Unit::Celsius | Unit::Difference => " (degC)",
        Unit::Seconds | Unit::Tenths => " (s)",
        Unit::Share => " (0 to 1)",
        Unit::Instant => " (RFC 3339 UTC)",
        Unit::Text | Unit::Count | Unit::Day | Unit::Flag => "",
    };
    format!("{}{unit}", column.key)
}

fn in_csv(unit: Unit, cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => csv::text(text),
        Cell::Count(count) => count.to_string(),
        Cell::Instant(at) => at.to_string(),
        Cell::Day(day) => day.to_string(),
        // Three digits would make a share whole that is not.
        Cell::Number(number) if unit == Unit::Share => number.to_string(),
        Cell::Number(number) => csv::number(*number),
        Cell::Flag(flag) => flag.to_string(),
    }
}

fn in_json(cell: &Cell) -> serde_json::Value {
    match cell {
        Cell::Empty => serde_json::Value::Null,
        Cell::Text(text) => text.as_str().into(),
        Cell::Count(count) => (*count).into(),
        Cell::Instant(at) => at.to_string().into(),
        Cell::Day(day) => day.to_string().into(),
        Cell::Number(number) => (*number).into(),
        Cell::Flag(flag) => (*flag).into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: [Column; 5] = [
        Column::under("index", Unit::Count, "record", 7),
        Column::under("at", Unit::Instant, "at", 19),
        Column::under("lowest", Unit::Celsius, "lowest", 9),
        Column::under("watched", Unit::Share, "watched", 10),
        Column::below("note"),
    ];

    fn printed(form: Form, scale: Scale) -> String {
        let zone = TimeZone::get("Europe/Berlin").expect("the zone data base is built in");
        let sheet = Sheet { columns: &COLUMNS, form, zone, scale };
        let at: Timestamp = "2026-07-01T18:30:05Z".parse().expect("a time");
        let mut out = Vec::new();
        sheet.start(&mut out, "Europe/Berlin").expect("a vector takes everything");
        let note = Cell::text("=1+1\n\u{1b}[31mred");
        sheet
            .row(&mut out, &[7_u64.into(), at.into(), 82.0.into(), 0.99999.into(), note])
            .expect("a vector takes everything");
        sheet
            .row(&mut out, &[8_u64.into(), at.into(), Cell::Empty, 1.0.into(), Cell::Empty])
            .expect("a vector takes everything");
        String::from_utf8(out).expect("text")
    }

    // 82 °C are 179.6 °F by definition of the scales; Berlin is at UTC+02:00 in July.
    #[test]
    fn one_row_in_every_form() {
        assert_eq!(
            printed(Form::Table, Scale::Fahrenheit),
            "Times are those of Europe/Berlin.\n \
             record  at                   lowest °F     watched\n      \
             7  2026-07-01 20:30:05      179.6  < 100.00 %\n        \
             └ =1+1 [31mred\n      \
             8  2026-07-01 20:30:05          -    100.00 %\n"
        );
        assert_eq!(
            printed(Form::Csv, Scale::Fahrenheit),
            "index,at (RFC 3339 UTC),lowest (degC),watched (0 to 1),note\r\n\
             7,2026-07-01T18:30:05Z,82,0.99999,\"'=1+1\n\u{1b}[31mred\"\r\n8,2026-07-01T18:30:05Z,,1,\r\n"
        );
        let json = printed(Form::Json, Scale::Fahrenheit);
        let first: serde_json::Value =
            serde_json::from_str(json.lines().next().expect("a line")).expect("an object");
        assert_eq!((&first["lowest_c"], &first["at"]), (&82.0.into(), &"2026-07-01T18:30:05Z".into()));
    }

    // Worked by hand.
    #[test]
    fn times_are_told_in_their_size() {
        for (seconds, text) in
            [(0.4, "0 s"), (61.0, "1 min 01 s"), (3_599.6, "1 h 00 min"), (90_061.0, "25 h 01 min")]
        {
            assert_eq!(duration(seconds), text);
        }
    }
}
