//! Gaps: what is missing of a span.

use super::Ground;
use super::cycles::line;
use super::watched::Watch;
use crate::app::{Failure, Streams};
use crate::cli::HistoryArgs;
use crate::core::alert::Settings;
use crate::core::alert::hours::Stretch;
use crate::core::counted::Noun;
use crate::core::monitored::{self, Blank, monitored};
use crate::core::reader::Language;
use crate::core::time::Timestamp;
use crate::report::said;
use crate::report::sheet::{Cell, Column, Form, Unit};

/// Columns of `--show gaps`.
pub(super) static GAPS: [Column; 10] = [
    Column::under("index", Unit::Count, "record", 7),
    Column::under("machine", Unit::Text, "machine", 12),
    Column::under("probe", Unit::Text, "probe", 18),
    Column::under("from", Unit::Instant, "from", 19),
    Column::under("to", Unit::Instant, "to", 19),
    Column::under("lasted", Unit::Seconds, "lasted", 12),
    Column::nowhere("in_operation", Unit::Seconds),
    Column::nowhere("fault", Unit::Text),
    Column::nowhere("filled", Unit::Flag),
    Column::below("said"),
];

/// The gaps that touch the span, the oldest first, each with its length in open time, s.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn blanks(
    ground: &mut Ground,
    machine: Option<&str>,
) -> Result<Vec<(Blank, f64)>, Failure> {
    let from = ground.from.unwrap_or(Timestamp::MIN);
    // Of a time to come nothing can be missing yet.
    let span = Stretch { from, to: ground.to.unwrap_or(Timestamp::MAX).min(ground.now).max(from) };
    let mut blanks = Watch::new(ground, span)?.blanks;
    blanks
        .retain(|blank| machine.is_none() || blank.machine.is_none() || blank.machine.as_deref() == machine);
    let in_operation_s = |blank: &Blank| {
        let whole = whole(blank, span);
        match &ground.settings {
            Some(settings) => monitored(whole, &monitored::operating(settings, whole), []).operating_s,
            None => whole.to.seconds_since(whole.from),
        }
    };
    Ok(blanks.into_iter().map(|blank| (blank.clone(), in_operation_s(&blank))).collect())
}

/// How long anything was missing in a span in open time, s: what was missing at once counts once.
pub(in crate::app) fn missing_s(blanks: &[(Blank, f64)], span: Stretch, settings: &Settings) -> f64 {
    let inside = |(blank, _): &(Blank, f64)| {
        let Stretch { from, to } = whole(blank, span);
        Stretch { from: from.max(span.from), to: to.min(span.to) }
    };
    let mut parts: Vec<Stretch> = blanks.iter().map(inside).filter(|part| part.from < part.to).collect();
    parts.sort_by_key(|part| part.from);
    let mut merged: Vec<Stretch> = Vec::new();
    for part in parts {
        match merged.last_mut() {
            Some(last) if part.from <= last.to => last.to = last.to.max(part.to),
            Some(_) | None => merged.push(part),
        }
    }
    let open_s = |part: Stretch| monitored(part, &monitored::operating(settings, part), []).operating_s;
    merged.into_iter().map(open_s).sum()
}

/// The gap as long as it is known.
fn whole(blank: &Blank, span: Stretch) -> Stretch {
    Stretch { from: blank.from, to: blank.to.unwrap_or(span.to).max(blank.from) }
}

pub(super) fn show(
    ground: &mut Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let mut blanks = blanks(ground, arguments.machine.as_deref())?;
    let first = blanks.len().saturating_sub(arguments.limit.unwrap_or(usize::MAX));
    blanks.drain(..first);
    if arguments.newest_first {
        blanks.reverse();
    }
    let sheet = ground.sheet(&GAPS, arguments);
    sheet.start(streams.out, &ground.whose()).map_err(Failure::output)?;
    for (blank, in_operation_s) in &blanks {
        let row = gap_row(ground, blank, *in_operation_s);
        sheet.row(streams.out, &row).map_err(Failure::output)?;
    }
    if sheet.form == Form::Table {
        let (count, filled) = (blanks.len(), blanks.iter().filter(|(blank, _)| blank.filled).count());
        let count = Noun::Gaps.of(count as u64, Language::English);
        line(streams, &format!("\n{count}, {filled} of them filled by readings that came late."))?;
    }
    Ok(())
}

fn gap_row(ground: &Ground, blank: &Blank, in_operation_s: f64) -> Vec<Cell> {
    let to = ground.to.unwrap_or(Timestamp::MAX).min(ground.now);
    let whole = whole(blank, Stretch { from: blank.from, to });
    let mut said = match blank.fault {
        Some(fault) => format!("The probe {}", said::fault(fault)),
        None => "The service was down".to_owned(),
    };
    said.push_str(if blank.to.is_none() { "; it lasts" } else { "" });
    said.push_str(if blank.filled { "; its readings came after all, late." } else { "." });
    let fault = blank.fault.and_then(|fault| serde_json::to_value(fault).ok());
    vec![
        blank.index.into(),
        blank.machine.clone().into(),
        blank.probe.clone().into(),
        blank.from.into(),
        blank.to.into(),
        whole.to.seconds_since(whole.from).into(),
        in_operation_s.into(),
        fault.and_then(|fault| fault.as_str().map(str::to_owned)).into(),
        Cell::Flag(blank.filled),
        Cell::Text(said),
    ]
}
