//! Checks, alerts and every other record, a line each.

use std::ops::ControlFlow;

use super::Ground;
use super::cycles::{in_pages, line, page};
use crate::app::alerts::story;
use crate::app::sites::Sites;
use crate::app::{Failure, Streams};
use crate::cli::HistoryArgs;
use crate::core::alert::words::in_table;
use crate::core::late::{late_by, stands_at};
use crate::core::logbook::{Missed, counting};
use crate::core::reader::Language;
use crate::core::record::{Amendment, Body, Check, Record};
use crate::ledger::{Found, LedgerError, Reader, RecordFilter, Subject};
use crate::report::alerts::{self as told, standing};
use crate::report::said::{self, Since};
use crate::report::sheet::{Cell, Column, Form, Sheet, Unit};

/// Columns of `--show checks`.
pub(super) static CHECKS: [Column; 17] = [
    Column::under("index", Unit::Count, "record", 7),
    Column::under("machine", Unit::Text, "machine", 12),
    Column::under("at", Unit::Instant, "made at", 19),
    Column::under("check", Unit::Text, "check", 15),
    Column::under("by", Unit::Text, "by", 24),
    Column::nowhere("recorded", Unit::Instant),
    Column::under("late", Unit::Flag, "late", 4),
    Column::nowhere("mg_per_l", Unit::Count),
    Column::nowhere("ph", Unit::Count),
    Column::nowhere("solution", Unit::Celsius),
    Column::nowhere("shown", Unit::Celsius),
    Column::nowhere("reference", Unit::Celsius),
    Column::nowhere("tolerance", Unit::Celsius),
    Column::below("said"),
    Column::nowhere("amendments", Unit::Text),
    Column::below("amended"),
    Column::under("good", Unit::Flag, "good", 4),
];

/// Columns of `--show alerts`.
pub(super) static ALERTS: [Column; 13] = [
    Column::under("number", Unit::Count, "alert", 6),
    Column::under("machine", Unit::Text, "machine", 12),
    Column::under("condition", Unit::Text, "condition", 20),
    Column::under("since", Unit::Instant, "since", 19),
    Column::nowhere("raised", Unit::Instant),
    Column::under("racks", Unit::Count, "racks", 5),
    Column::nowhere("acknowledged", Unit::Instant),
    Column::nowhere("acknowledged_by", Unit::Text),
    Column::nowhere("cleared", Unit::Instant),
    Column::under("closed", Unit::Instant, "closed", 19),
    Column::below("state"),
    Column::below("corrective_action"),
    Column::nowhere("index", Unit::Count),
];

/// Columns of `--show records`.
pub(super) static RECORDS: [Column; 8] = [
    Column::under("index", Unit::Count, "record", 7),
    Column::under("kind", Unit::Text, "kind", 20),
    Column::under("machine", Unit::Text, "machine", 12),
    Column::under("at", Unit::Instant, "at", 19),
    Column::under("recorded", Unit::Instant, "recorded", 19),
    Column::under("late", Unit::Flag, "late", 4),
    Column::below("said"),
    Column::below("amended"),
];

impl Ground<'_> {
    /// Prints the records that fit, page by page; those that cannot be read are kept for the end.
    fn list(
        &mut self,
        sheet: &Sheet,
        arguments: &HistoryArgs,
        kinds: &[&str],
        streams: &mut Streams<'_>,
        row: impl Fn(&Self, u64, &Record) -> Result<Option<Vec<Cell>>, LedgerError>,
    ) -> Result<u64, Failure> {
        sheet.start(streams.out, &self.whose()).map_err(Failure::output)?;
        let (mut damaged, mut written, mut failure, mut count) = (Vec::new(), Ok(()), None, 0_u64);
        let mut print = |index: u64, found: Found| {
            match found.map(|(_, record)| row(self, index, &record)) {
                Err(error) => damaged.push((index, error)),
                Ok(Err(error)) => failure = Some(error),
                Ok(Ok(None)) => {}
                Ok(Ok(Some(cells))) => {
                    count += 1;
                    written = sheet.row(streams.out, &cells);
                }
            }
            if written.is_ok() && failure.is_none() {
                ControlFlow::Continue(())
            } else {
                ControlFlow::Break(())
            }
        };
        let read = match arguments.alert {
            Some(alert) => self.about_alert(alert, arguments, kinds, &mut print),
            None => {
                let filter = self.filter(arguments, kinds);
                in_pages(arguments, &mut print, |order, each| self.reader.events(order, &filter, each))
            }
        };
        written.map_err(Failure::output)?;
        read.and(failure.map_or(Ok(()), Err)).map_err(|error| self.failed(&error))?;
        self.damaged.extend(damaged);
        if count == 0 && sheet.form == Form::Table {
            line(streams, "Nothing on record for this choice.")?;
        }
        Ok(count)
    }

    fn filter(&self, arguments: &HistoryArgs, kinds: &[&str]) -> RecordFilter {
        RecordFilter {
            kinds: kinds.iter().map(|kind| (*kind).to_owned()).collect(),
            machine: arguments.machine.clone(),
            of_site: false,
            check: arguments.check,
            from: self.from,
            to: self.to,
            limit: arguments.limit,
            after_index: arguments.after,
        }
    }

    /// The records that speak of an alert.
    fn about_alert(
        &self,
        alert: u64,
        arguments: &HistoryArgs,
        kinds: &[&str],
        each: &mut dyn FnMut(u64, Found) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let mut rows: Vec<(u64, Found)> = Vec::new();
        for index in self.reader.about(Subject::Alert(alert))? {
            let found = self.reader.record(index)?;
            let fits = |record: &Record| {
                let at = stands_at(record);
                (kinds.is_empty() || kinds.contains(&record.body.kind()))
                    && (arguments.machine.is_none() || record.machine == arguments.machine)
                    && self.from.is_none_or(|from| at >= from)
                    && self.to.is_none_or(|to| at < to)
            };
            if found.as_ref().map_or(true, |(_, record)| fits(record)) {
                rows.push((index, found));
            }
        }
        page(rows, arguments, each);
        Ok(())
    }
}

/// Indices of the amendments of a record, and what they say.
fn amended(amendments: &[(u64, Option<Amendment>)]) -> (Cell, Cell) {
    if amendments.is_empty() {
        return (Cell::Empty, Cell::Empty);
    }
    let join = |parts: Vec<String>| Cell::Text(parts.join(" "));
    let indices = amendments.iter().map(|(index, _)| index.to_string()).collect();
    let said = amendments.iter().map(|(index, amendment)| said::amended(*index, amendment.as_ref()));
    (join(indices), join(said.collect()))
}

pub(super) fn checks(
    ground: &mut Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let sheet = ground.sheet(&CHECKS, arguments);
    let sites = ground.kept.sites.fresh(ground.reader).map_err(|error| ground.failed(&error))?;
    let row = |ground: &Ground, index, record: &Record| check_row(ground, &sites, index, record);
    ground.list(&sheet, arguments, &["check"], streams, row).map(drop)
}

fn check_row(
    ground: &Ground,
    sites: &Sites,
    index: u64,
    record: &Record,
) -> Result<Option<Vec<Cell>>, LedgerError> {
    let Body::Check(check) = &record.body else { return Ok(None) };
    let (amendments, amended) = amended(&ground.reader.amendments(index)?);
    let (mut mg_per_l, mut acidity, mut solution_c) = (None, None, None);
    let (mut shown, mut reference, mut tolerance) = (None, None, None);
    let judgement = sites.judged(check, record.machine.as_deref(), index);
    match check {
        Check::Sanitizer { mg_per_l: found, ph, solution_c: celsius, .. } => {
            (mg_per_l, acidity, solution_c) = (Some(*found), *ph, *celsius);
        }
        Check::Thermometer { shown_c, reference_c, tolerance_c, .. } => {
            (shown, reference, tolerance) = (Some(*shown_c), Some(*reference_c), Some(*tolerance_c));
        }
        Check::Supply { .. } | Check::DrainAndClean { .. } => {}
    }
    Ok(Some(vec![
        index.into(),
        record.machine.clone().into(),
        check.at().into(),
        Cell::text(check.kind().as_str()),
        Cell::text(check.by()),
        record.recorded.into(),
        Cell::Flag(late_by(record).is_some()),
        mg_per_l.into(),
        acidity.into(),
        solution_c.into(),
        shown.into(),
        reference.into(),
        tolerance.into(),
        Cell::Text(said::found(check, &Missed::of(&judgement))),
        amendments,
        amended,
        judgement.good.map_or(Cell::Empty, Cell::Flag),
    ]))
}

pub(super) fn alerts(
    ground: &mut Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let sheet = ground.sheet(&ALERTS, arguments);
    let row = |ground: &Ground, index, record: &Record| alert_row(ground, sheet.form, index, record);
    ground.list(&sheet, arguments, &["alert-raised"], streams, row).map(drop)
}

/// An alert as its records tell it; those of it that are damaged are named in its state.
fn alert_row(
    ground: &Ground,
    form: Form,
    index: u64,
    record: &Record,
) -> Result<Option<Vec<Cell>>, LedgerError> {
    let Body::AlertRaised(raised) = &record.body else { return Ok(None) };
    let (mut records, mut damaged) = (Vec::new(), Vec::new());
    for about in ground.reader.about(Subject::Alert(raised.alert.0))? {
        match ground.reader.record(about)? {
            Ok((_, record)) => records.push((about, record)),
            Err(_) => damaged.push(about.to_string()),
        }
    }
    let Some(story) = story::told(ground.reader, &records)? else { return Ok(None) };
    let alert = &story.alert;
    let mut state = if story.closed.is_some() { "closed".to_owned() } else { standing(alert) };
    if !damaged.is_empty() {
        state.push_str(&format!("; damaged, so perhaps more: record {}", damaged.join(", ")));
    }
    let taken = alert.acknowledged.as_ref();
    let action = alert.action.as_ref().map(told::action);
    Ok(Some(vec![
        alert.number.0.into(),
        alert.machine.clone().into(),
        Cell::text(match form {
            Form::Table => in_table(alert.condition, Language::English),
            Form::Csv | Form::Json => alert.condition.as_str(),
        }),
        alert.begun().into(),
        alert.raised.into(),
        alert.racks.count.into(),
        taken.map(|taken| taken.at).into(),
        taken.map(|taken| taken.by.clone()).into(),
        alert.cleared.into(),
        story.closed.into(),
        Cell::Text(state),
        action.into(),
        index.into(),
    ]))
}

pub(super) fn records(
    ground: &mut Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let sheet = ground.sheet(&RECORDS, arguments);
    let kinds: Vec<&str> = arguments.kinds.iter().map(String::as_str).collect();
    let sites = ground.kept.sites.fresh(ground.reader).map_err(|error| ground.failed(&error))?;
    let row = |ground: &Ground, index, record: &Record| record_row(ground, &sites, index, record);
    ground.list(&sheet, arguments, &kinds, streams, row).map(drop)
}

/// What a record says, a check as it was judged by the machine as configured then, and whether it was withdrawn or
/// corrected since.
pub(super) fn judged(
    ledger: &Reader,
    sites: &Sites,
    index: u64,
    record: &Record,
) -> Result<String, LedgerError> {
    let is_check = matches!(record.body, Body::Check(_));
    let amendments = if is_check { ledger.amendments(index)? } else { Vec::new() };
    Ok(judged_with(sites, index, record, &amendments))
}

/// The same, where what amends it was read already.
fn judged_with(
    sites: &Sites,
    index: u64,
    record: &Record,
    amendments: &[(u64, Option<Amendment>)],
) -> String {
    let Body::Check(check) = &record.body else { return said::said(&record.body) };
    let changes = amendments.iter().filter_map(|(at, amendment)| Some((*at, &amendment.as_ref()?.change)));
    let is_damaged = amendments.iter().any(|(_, amendment)| amendment.is_none());
    let since = match counting(check, changes) {
        None => Some(Since::Withdrawn),
        Some(_) if is_damaged => Some(Since::Damaged),
        Some((_, Some(_))) => Some(Since::Corrected),
        Some((_, None)) => None,
    };
    let judgement = sites.judged(check, record.machine.as_deref(), index);
    said::judged(&record.body, &judgement, since)
}

/// What counts of a check that was corrected, and by which record; `None` where it counts as it was entered, or not.
pub(super) fn counts(
    ledger: &Reader,
    sites: &Sites,
    index: u64,
    record: &Record,
) -> Result<Option<String>, LedgerError> {
    let Body::Check(check) = &record.body else { return Ok(None) };
    let amendments = ledger.amendments(index)?;
    let changes = amendments.iter().filter_map(|(at, amendment)| Some((*at, &amendment.as_ref()?.change)));
    let Some((check, Some(by))) = counting(check, changes) else { return Ok(None) };
    let judgement = sites.judged(check, record.machine.as_deref(), by);
    let said = said::judged(&Body::Check(check.clone()), &judgement, None);
    let good = if judgement.good == Some(true) { "good: " } else { "" };
    Ok(Some(format!("by record {by}: {good}{said}")))
}

fn record_row(
    ground: &Ground,
    sites: &Sites,
    index: u64,
    record: &Record,
) -> Result<Option<Vec<Cell>>, LedgerError> {
    let amendments = ground.reader.amendments(index)?;
    let said = judged_with(sites, index, record, &amendments);
    let (_, amended) = amended(&amendments);
    Ok(Some(vec![
        index.into(),
        Cell::text(record.body.kind()),
        record.machine.clone().into(),
        stands_at(record).into(),
        record.recorded.into(),
        Cell::Flag(late_by(record).is_some()),
        Cell::Text(said),
        amended,
    ]))
}
