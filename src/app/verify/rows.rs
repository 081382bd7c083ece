//! The rows of a table, read one at a time and never more than a row's length of it.

use std::io::{self, BufRead, Read};
use std::ops::ControlFlow;

use serde_json::Value;
use serde_json::value::RawValue;
use sha2::{Digest, Sha256};

use super::source::{Line, Source, next_line};
use super::table::Form;
use crate::core::merkle::leaf_hash;
use crate::report::csv;

/// Longest row of a CSV, bytes (own choice: a hundred times one with long names).
const ROW_MAX: usize = 1 << 20;

/// The number of the record in JSON Lines.
pub(super) const JSON_INDEX: &str = "index";
/// The hash of the record as it stands in JSON Lines, byte for byte.
pub(super) const BYTES: &str = "record (its bytes)";

/// One row: its line, and each column with its cell.
pub(super) struct Row {
    pub(super) line: u64,
    pub(super) cells: Vec<(String, String)>,
}

impl Row {
    /// The record that it is of.
    pub(super) fn index(&self, form: Form) -> Option<u64> {
        self.cells.iter().find(|(column, _)| column == form.index())?.1.parse().ok()
    }

    /// Over all its cells with their columns.
    pub(super) fn hash(&self) -> [u8; 32] {
        let mut hash = Sha256::new();
        for (column, cell) in &self.cells {
            for part in [column, cell] {
                hash.update((part.len() as u64).to_be_bytes());
                hash.update(part);
            }
        }
        hash.finalize().into()
    }
}

/// Every value of a JSON document under the path to it.
pub(super) fn flatten(path: &str, value: &Value, cells: &mut Vec<(String, String)>) {
    match value {
        Value::Object(map) => {
            map.iter().for_each(|(key, value)| flatten(&format!("{path}/{key}"), value, cells))
        }
        Value::Array(list) => {
            list.iter().zip(0..).for_each(|(value, place)| flatten(&format!("{path}/{place}"), value, cells));
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {
            cells.push((path.to_owned(), value.to_string()));
        }
    }
}

/// One line of JSON Lines.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct JsonLine<'l> {
    index: u64,
    #[serde(borrow)]
    record: &'l RawValue,
    #[serde(default)]
    row: Option<Value>,
}

impl JsonLine<'_> {
    fn cells(&self) -> Option<Vec<(String, String)>> {
        let bytes = self.record.get();
        let mut cells = vec![(JSON_INDEX.to_owned(), self.index.to_string())];
        flatten("record", &serde_json::from_str(bytes).ok()?, &mut cells);
        cells.push((BYTES.to_owned(), leaf_hash(bytes.as_bytes()).to_string()));
        if let Some(row) = &self.row {
            flatten("row", row, &mut cells);
        }
        Some(cells)
    }
}

/// What a line is.
pub(super) enum Given {
    /// A row.
    Row(Row),
    /// None.
    NoRow,
    /// Longer than any row: there is nothing after it.
    TooLong,
}

/// Gives each row with its line, until it is told to end; answers how many columns there are,
/// 0 where they are not those of cycles.
pub(super) fn each_row(
    form: Form,
    source: &Source,
    mut each: impl FnMut(u64, Given) -> ControlFlow<()>,
) -> io::Result<usize> {
    match form {
        Form::Csv => csv_rows(form, source.open()?, each),
        Form::JsonLines => {
            let mut input = source.open()?;
            let mut buffer = Vec::new();
            for line in 1_u64.. {
                let given = match next_line(&mut *input, &mut buffer)? {
                    Line::End => break,
                    Line::TooLong => Given::NoRow,
                    Line::Whole => {
                        let read = serde_json::from_slice::<JsonLine<'_>>(&buffer);
                        let cells = read.ok().and_then(|line| line.cells());
                        cells.map_or(Given::NoRow, |cells| Given::Row(Row { line, cells }))
                    }
                };
                if each(line, given).is_break() {
                    break;
                }
            }
            Ok(usize::MAX)
        }
    }
}

/// One row at a time, cut out before it is read, so that a row without end fills no memory.
fn csv_rows(
    form: Form,
    mut input: Box<dyn BufRead>,
    mut each: impl FnMut(u64, Given) -> ControlFlow<()>,
) -> io::Result<usize> {
    let mut names: Vec<String> = Vec::new();
    let (mut next, mut bytes) = (1, Vec::new());
    loop {
        let line = next;
        match csv_row(&mut *input, &mut bytes, &mut next)? {
            Line::End => return Ok(names.len()),
            Line::TooLong => {
                // Told as a row where it is the header, too. Nothing comes after it, whatever is answered.
                return match each(line, Given::TooLong) {
                    ControlFlow::Break(()) | ControlFlow::Continue(()) => Ok(names.len().max(1)),
                };
            }
            Line::Whole => {}
        }
        let cells = csv_cells(&bytes);
        if names.is_empty() {
            let (found, known) = (cells.unwrap_or_default(), csv::cycle_header());
            let fits = found.len() <= known.len() && found.iter().zip(&known).all(|(a, b)| a == b);
            if !fits || !found.iter().any(|name| name == form.index()) {
                return Ok(0);
            }
            names = found;
            continue;
        }
        let row = cells
            .filter(|cells| cells.len() == names.len())
            .map(|cells| Row { line, cells: names.iter().cloned().zip(cells).collect() });
        if each(line, row.map_or(Given::NoRow, Given::Row)).is_break() {
            return Ok(names.len());
        }
    }
}

/// Reads the next row with its end into `bytes`: a line end within quotes belongs to its cell.
fn csv_row(input: &mut dyn BufRead, bytes: &mut Vec<u8>, next: &mut u64) -> io::Result<Line> {
    bytes.clear();
    let mut quotes = 0;
    loop {
        let begin = bytes.len();
        let room = (ROW_MAX + 1).saturating_sub(begin) as u64;
        if (&mut *input).take(room).read_until(b'\n', bytes)? == 0 {
            let line = if begin > ROW_MAX { Line::TooLong } else { Line::Whole };
            return Ok(if begin == 0 { Line::End } else { line });
        }
        quotes += bytes[begin..].iter().filter(|byte| **byte == b'"').count();
        if bytes.ends_with(b"\n") {
            *next += 1;
            if quotes % 2 == 0 {
                return Ok(Line::Whole);
            }
        }
    }
}

/// The cells of one row; `None` where it is none.
fn csv_cells(bytes: &[u8]) -> Option<Vec<String>> {
    let mut reader = ::csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .terminator(::csv::Terminator::Any(b'\n'))
        .from_reader(bytes);
    let mut record = ::csv::StringRecord::new();
    reader.read_record(&mut record).ok()?.then(|| without_cr(&record))
}

/// The cells of a line, without the CR before its end.
fn without_cr(record: &::csv::StringRecord) -> Vec<String> {
    let mut cells: Vec<String> = record.iter().map(str::to_owned).collect();
    if let Some(last) = cells.last_mut()
        && last.ends_with('\r')
    {
        last.pop();
    }
    cells
}
