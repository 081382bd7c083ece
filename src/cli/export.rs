//! The command line of `export`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use jiff::civil::Date;

use super::people::{LedgerArgs, scale};
use crate::core::reader::{Language, Scale};
use crate::core::time::Timestamp;
use crate::report::pdf::Paper;

/// Arguments of `export`.
#[derive(Args, Debug)]
#[command(after_help = "\
A day is one of the site's own time zone, as its configuration on record names it. An export is written beside its \
name and moved there when it is whole: there is never half a file.")]
pub struct ExportArgs {
    /// Where to read.
    #[command(flatten)]
    pub ledger: LedgerArgs,
    /// Form of the export.
    #[arg(long, value_enum, value_name = "FORM")]
    pub form: ExportForm,
    /// Which days.
    #[command(flatten)]
    pub span: SpanArgs,
    /// Of this machine only, by its name; may be given more than once.
    #[arg(long = "machine", value_name = "NAME")]
    pub machines: Vec<String>,
    /// File to write; `-` is standard output. For CSV a name that does not end in .csv is a directory for all tables.
    #[arg(long, value_name = "PATH")]
    pub out: PathBuf,
    /// Of a PDF: its paper, letter or a4; a4 where not given.
    #[arg(long, value_name = "PAPER")]
    pub paper: Option<Paper>,
    /// Of a PDF: scale of its temperatures, c or f; c where not given. All other forms are in °C.
    #[arg(long, value_name = "SCALE", value_parser = scale)]
    pub scale: Option<Scale>,
    /// Of a PDF: its language, en or es; en where not given.
    #[arg(long, value_name = "LANGUAGE")]
    pub language: Option<Language>,
    /// In evidence, also that in a PDF: the readings of every cycle, not only of those that did not plainly pass.
    #[arg(long)]
    pub all_traces: bool,
    /// Write over what is there.
    #[arg(long)]
    pub force: bool,
}

/// Form of an export.
#[derive(ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
pub enum ExportForm {
    /// Tables by RFC 4180: the cycles in a file, or all tables in a directory.
    Csv,
    /// The account of the span as one JSON object.
    Json,
    /// Every record of the span, one JSON object a line.
    Jsonl,
    /// The account of the span on paper, with the cycles, the account and the evidence attached.
    Pdf,
    /// The records of the span with what proves them, for `verify` on another machine.
    Evidence,
}

/// Which days are asked for.
#[derive(Args, Debug, Clone)]
#[group(required = true, multiple = true)]
pub struct SpanArgs {
    /// From this day on, or from this instant (RFC 3339).
    #[arg(long, value_parser = moment, value_name = "DAY")]
    pub from: Option<SpanEnd>,
    /// Up to the end of this day, or before this instant; up to now where not given.
    #[arg(long, value_parser = moment, value_name = "DAY", requires = "from")]
    pub to: Option<SpanEnd>,
    /// One day.
    #[arg(long, value_parser = day, value_name = "YYYY-MM-DD", conflicts_with_all = ["from", "to", "month", "year"])]
    pub day: Option<Date>,
    /// One month.
    #[arg(long, value_parser = month, value_name = "YYYY-MM", conflicts_with_all = ["from", "to", "year"])]
    pub month: Option<Date>,
    /// One year.
    #[arg(long, value_parser = year, value_name = "YYYY", conflicts_with_all = ["from", "to"])]
    pub year: Option<Date>,
}

/// A day of the site, or an instant.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SpanEnd {
    /// A local date.
    Day(Date),
    /// An instant.
    Instant(Timestamp),
}

#[derive(Debug, thiserror::Error)]
#[error("a day such as 2026-11-25, or an instant such as 2026-11-25T14:30:00+01:00")]
struct MomentError;

#[derive(Debug, thiserror::Error)]
#[error("a day such as 2026-11-25, with a month from 01 to 12 and a day that it has")]
struct DayError;

#[derive(Debug, thiserror::Error)]
#[error("a month such as 2026-11")]
struct MonthError;

#[derive(Debug, thiserror::Error)]
#[error("a year such as 2026")]
struct YearError;

fn moment(text: &str) -> Result<SpanEnd, MomentError> {
    // An instant also reads as a date; its day must not stand in for it.
    if let Ok(instant) = text.parse() {
        return Ok(SpanEnd::Instant(instant));
    }
    let date = |text: &str| if text.len() == 10 { text.parse().ok() } else { None };
    date(text).map(SpanEnd::Day).ok_or(MomentError)
}

fn day(text: &str) -> Result<Date, DayError> {
    // An instant also reads as a date; its day must not stand in for it.
    if text.len() == 10 { text.parse().map_err(|_| DayError) } else { Err(DayError) }
}

fn month(text: &str) -> Result<Date, MonthError> {
    if text.len() == 7 { format!("{text}-01").parse().map_err(|_| MonthError) } else { Err(MonthError) }
}

fn year(text: &str) -> Result<Date, YearError> {
    if text.len() == 4 { format!("{text}-01-01").parse().map_err(|_| YearError) } else { Err(YearError) }
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 3339 §5.6 for the instants; the other forms are the project's own.
    #[test]
    fn reads_days_months_years_and_instants() {
        let date = |text: &str| text.parse::<Date>().expect("a date");
        assert_eq!(moment("2026-11-25").ok(), Some(SpanEnd::Day(date("2026-11-25"))));
        let instant = "2026-11-25T13:30:00Z".parse().expect("an instant");
        assert_eq!(moment("2026-11-25T14:30:00+01:00").ok(), Some(SpanEnd::Instant(instant)));
        assert_eq!(month("2026-11").ok(), Some(date("2026-11-01")));
        assert_eq!(year("2026").ok(), Some(date("2026-01-01")));
        for text in ["2026-11-25T14:30", "2026-13-01", "yesterday", "2026-11", ""] {
            assert!(moment(text).is_err(), "{text}");
        }
        assert_eq!(day("2026-11-25").ok(), Some(date("2026-11-25")));
        for text in ["2026-13-26", "2026-02-30", "2026-11-25T14:30:00Z", "26-11-25", "today"] {
            let told = day(text).expect_err("no day").to_string();
            assert!(told.starts_with("a day such as 2026-11-25"), "{told}");
        }
        assert!(month("2026-13").is_err() && month("2026-11-25").is_err() && year("26").is_err());
    }
}
