//! Early warnings of each machine: what is usual, drift, cold first racks, recovery in the rush.
//!
//! They are those of the account that exports and reports show, made by the same builder; see
//! [`crate::core::drift`] for what they mean.

use super::Ground;
use super::cycles::line;
use super::days::{dates, nothing, stretch};
use crate::app::export::gather;
use crate::app::{Failure, Streams};
use crate::cli::HistoryArgs;
use crate::core::alert::hours::Stretch;
use crate::core::drift::Learning;
use crate::core::reader::Scale;
use crate::report::account::build::{Builder, Question};
use crate::report::account::{Chart, DriftAccount, DriftSignal, MachineAccount, RecordRange};
use crate::report::local;
use crate::report::sheet::{Cell, Column, Form, Unit};

/// Columns of `--show drift`.
static DRIFT: [Column; 14] = [
    Column::under("machine", Unit::Text, "machine", 12),
    Column::under("what", Unit::Text, "what", 16),
    Column::under("day", Unit::Day, "day", 10),
    Column::under("at", Unit::Instant, "at", 19),
    Column::under("level", Unit::Celsius, "level", 8),
    Column::under("shift", Unit::Difference, "shift", 8),
    Column::under("racks", Unit::Count, "racks", 5),
    Column::under("recovery", Unit::Tenths, "recovery", 9),
    Column::nowhere("sigma", Unit::Difference),
    Column::nowhere("chart", Unit::Text),
    Column::nowhere("since", Unit::Instant),
    Column::nowhere("recovery_first", Unit::Tenths),
    Column::nowhere("recovery_last", Unit::Tenths),
    Column::below("said"),
];

/// What one row says; what it leaves out is empty.
#[derive(Default)]
struct Row {
    what: &'static str,
    day: Option<jiff::civil::Date>,
    level_c: Option<f64>,
    sigma_c: Option<f64>,
    signal: Option<DriftSignal>,
    racks: Option<u64>,
    recovery_s: Option<f64>,
    recovery_first_s: Option<f64>,
    recovery_last_s: Option<f64>,
    said: Option<String>,
}

pub(super) fn show(
    ground: &mut Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let found = accounts(ground, arguments.machine.as_deref())?;
    let Some((_, machines)) = found else { return nothing(ground, arguments, streams) };
    let sheet = ground.sheet(&DRIFT, arguments);
    if sheet.form == Form::Table {
        line(streams, "Early warnings, no verdicts: each rack was judged against its limit, and stays so.")?;
    }
    sheet.start(streams.out, &ground.whose()).map_err(Failure::output)?;
    for machine in &machines {
        for row in rows(machine, ground, arguments.scale) {
            sheet.row(streams.out, &row.cells(&machine.machine)).map_err(Failure::output)?;
        }
    }
    if sheet.form == Form::Table {
        line(
            streams,
            "\nlevel: what counted as usual at the end of the span; shift: from it, colder is below zero.",
        )?;
        line(
            streams,
            "recovery: median time from the start of a rinse to its limit, where rack follows rack.",
        )?;
    }
    Ok(())
}

/// The machines of the account of the span, and the span; `None` where nothing is on record of it.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn accounts(
    ground: &mut Ground,
    machine: Option<&str>,
) -> Result<Option<(Stretch, Vec<MachineAccount>)>, Failure> {
    let Some(span) = dates(ground)?.and_then(|days| stretch(ground, days)) else { return Ok(None) };
    let question = Question {
        program: env!("CARGO_PKG_VERSION").to_owned(),
        made: ground.now,
        site: String::new(),
        zone_name: local::zone_name(&ground.zone, ground.now),
        zone: ground.zone.clone(),
        from: span.from,
        to: span.to,
        only: machine.map(str::to_owned).into_iter().collect(),
        ends: None,
    };
    Ok(Some((span, machines(ground, question)?)))
}

/// The machines of the account of a span; what is damaged is kept for the end.
fn machines(ground: &mut Ground, question: Question) -> Result<Vec<MachineAccount>, Failure> {
    let (reader, path) = (ground.reader, &ground.path);
    let size = reader.size().map_err(|error| ground.failed(&error))?;
    let (inside, first) = (question.clone(), question.cycles_from());
    let mut builder = Builder::new(question);
    let mut damaged = Vec::new();
    // None of the traces is shown.
    let mut trace = |_| None;
    let read = gather::others(reader, size, &mut damaged, &mut |index, _, record| {
        builder.take(index, record, &mut trace);
        Ok(())
    });
    let read = read.and_then(|()| {
        gather::cycles(reader, &inside, first, size, &mut damaged, &mut |index, _, record| {
            builder.take(index, record, &mut trace);
            Ok(())
        })
    });
    read.map_err(|stopped| stopped.told(path))?;
    for index in damaged {
        if let Err(error) = ground.reader.record(index).map_err(|error| ground.failed(&error))? {
            ground.damaged.push((index, error));
        }
    }
    Ok(builder.finish(RecordRange { from: 0, to: size }, None, None).machines)
}

fn rows(machine: &MachineAccount, ground: &Ground, scale: Scale) -> Vec<Row> {
    let DriftAccount {
        usual_c,
        sigma_c,
        learning,
        signals,
        cold_first_racks,
        recovery_first_s,
        recovery_last_s,
    } = &machine.drift;
    let usual = match sigma_c {
        Some(sigma_c) => {
            let (sigma, unit) = (scale.difference(*sigma_c), scale.symbol());
            format!("Usual by its good racks in the middle of work; standard deviation {sigma:.2} {unit}.")
        }
        None => {
            let learnt = learning.map(|Learning { racks, of, .. }| {
                format!(": {racks} of {of} good racks in the middle of work so far")
            });
            let since = learning.and_then(|learning| learning.since);
            let since = since.map(|since| local::minute(since, &ground.zone));
            let begins = since.map_or_else(
                || "Still learning".to_owned(),
                |since| format!("Learning anew since work on the machine ended, {since}"),
            );
            let signals =
                if signals.is_empty() { "" } else { "; the signals are against what was usual before" };
            format!("{begins}{}{signals}.", learnt.unwrap_or_default())
        }
    };
    let mut rows = vec![Row {
        what: "usual-level",
        level_c: *usual_c,
        sigma_c: *sigma_c,
        said: Some(usual),
        ..Row::default()
    }];
    rows.extend(signals.iter().map(|signal| Row {
        what: "signal",
        signal: Some(*signal),
        said: Some(told(signal, ground)),
        ..Row::default()
    }));
    let cold = (*cold_first_racks > 0).then(|| {
        "Cold as the first after a pause: the line had cooled, which is no sign of a decline.".to_owned()
    });
    let racks = Some(*cold_first_racks);
    rows.push(Row { what: "cold-first-racks", racks, said: cold, ..Row::default() });
    let recovered = machine.days.iter().filter(|day| day.recovery_s.is_some());
    rows.extend(recovered.map(|day| Row {
        what: "recovery",
        day: Some(day.day),
        recovery_s: day.recovery_s,
        ..Row::default()
    }));
    if let (Some(first), Some(last)) = (recovery_first_s, recovery_last_s) {
        rows.push(Row {
            what: "recovery-trend",
            recovery_first_s: *recovery_first_s,
            recovery_last_s: *recovery_last_s,
            said: Some(format!(
                "Median of {first:.1} s in the first quarter of the span, of {last:.1} s in its last."
            )),
            ..Row::default()
        });
    }
    rows
}

fn told(signal: &DriftSignal, ground: &Ground) -> String {
    let left = match signal.chart {
        Chart::Ewma => "The moving average (EWMA) left its limits",
        Chart::Cusum => "The cumulative sum (CUSUM) left its limits",
    };
    let since =
        signal.since.map(|since| format!("; the shift began at {}", local::minute(since, &ground.zone)));
    format!("{left}{}.", since.unwrap_or_default())
}

impl Row {
    fn cells(self, machine: &str) -> Vec<Cell> {
        let chart = self.signal.map(|signal| match signal.chart {
            Chart::Ewma => "ewma".to_owned(),
            Chart::Cusum => "cusum".to_owned(),
        });
        vec![
            Cell::text(machine),
            Cell::text(self.what),
            self.day.map_or(Cell::Empty, Cell::Day),
            self.signal.map(|signal| signal.at).into(),
            self.level_c.into(),
            self.signal.map(|signal| signal.shift_c).into(),
            self.racks.into(),
            self.recovery_s.into(),
            self.sigma_c.into(),
            chart.into(),
            self.signal.and_then(|signal| signal.since).into(),
            self.recovery_first_s.into(),
            self.recovery_last_s.into(),
            self.said.into(),
        ]
    }
}
