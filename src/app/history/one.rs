//! One record with all that concerns it, and what was in force at a moment.

use std::fmt::Write as _;

use serde_json::json;

use super::cycles::line;
use super::events::{counts, judged};
use super::of_alerts::{COLUMNS, OfAlerts};
use super::{Ground, cycles};

use crate::app::work::then;
use crate::app::{Failure, Streams};
use crate::cli::HistoryArgs;
use crate::config::recorded::Recorded;
use crate::core::alert::doubts::Doubts;
use crate::core::late::{late_by, stands_at};
use crate::core::merkle::leaf_hash;
use crate::core::on_file::{self, Filed};
use crate::core::reader::{Language, Reader, Scale};
use crate::core::record::{Body, Record, SignedChemistry};
use crate::core::signoff::chemistry::measures;
use crate::core::technician::words::gain_and_offset;
use crate::core::technician::work::who;
use crate::core::wall_clock::midnight;
use crate::diagnostic::Diagnostic;
use crate::ledger::{InForce, LedgerError, Subject};
use crate::report::sheet::{Cell, Column, Form, Unit, duration};
use crate::report::{local, said};

/// Sections of a configuration that limits, probes and calibrations stand in.
const SECTIONS: [&str; 2] = ["[[machine]]", "[[probe]]"];

/// Columns of one record.
static ONE: [Column; 17] = [
    Column::nowhere("index", Unit::Count),
    Column::nowhere("kind", Unit::Text),
    Column::nowhere("machine", Unit::Text),
    Column::nowhere("at", Unit::Instant),
    Column::nowhere("recorded", Unit::Instant),
    Column::nowhere("late_by", Unit::Seconds),
    Column::nowhere("said", Unit::Text),
    Column::nowhere("bytes", Unit::Text),
    Column::nowhere("leaf_sha256", Unit::Text),
    Column::nowhere("records_in_ledger", Unit::Count),
    Column::nowhere("spoken_of_by", Unit::Text),
    Column::nowhere("trace_readings", Unit::Count),
    COLUMNS[0],
    COLUMNS[1],
    COLUMNS[2],
    COLUMNS[3],
    COLUMNS[4],
];

/// Columns of what was in force.
static IN_FORCE: [Column; 5] = [
    Column::nowhere("what", Unit::Text),
    Column::nowhere("machine", Unit::Text),
    Column::nowhere("index", Unit::Count),
    Column::nowhere("since", Unit::Instant),
    Column::nowhere("value", Unit::Text),
];

/// What is told of one record.
struct Told {
    record: Record,
    /// In a sentence.
    said: String,
    /// What counts of a check that was corrected.
    counts: Option<String>,
    bytes: String,
    leaf: String,
    size: u64,
    /// Records that speak of it, each in a sentence.
    about: Vec<(u64, String)>,
    alerts: OfAlerts,
    trace: Option<Result<(usize, usize), LedgerError>>,
}

pub(super) fn record(
    ground: &mut Ground,
    index: u64,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let size = ground.reader.size().map_err(|error| ground.failed(&error))?;
    if index >= size {
        let summary = format!("the ledger has no record {index}");
        let advice = if size == 0 {
            "it holds no record so far".to_owned()
        } else {
            format!("its records are numbered from 0 to {}", size - 1)
        };
        return Err(Diagnostic::error("usage", summary).advice(advice).into());
    }
    let stored = ground.reader.record(index).and_then(|found| found);
    let (bytes, record) = stored.map_err(|error| ground.failed(&error))?;
    let is_rack = matches!(record.body, Body::Cycle(_));
    let known = is_rack.then(|| ground.doubts()).transpose()?;
    let told = gather(ground, (index, size), (&bytes, record), known.as_deref());
    let told = told.map_err(|error| ground.failed(&error))?;
    let sheet = ground.sheet(&ONE, arguments);
    if sheet.form != Form::Table {
        sheet.start(streams.out, "").map_err(Failure::output)?;
        return sheet.row(streams.out, &in_cells(index, &told)).map_err(Failure::output);
    }
    in_words(ground, (index, &told), arguments.scale, streams)?;
    let row = known.map(|known| cycles::row(ground.reader, index, &told.record, &known)).transpose();
    if let Some(row) = row.map_err(|error| ground.failed(&error))?.flatten() {
        line(streams, "")?;
        let style = super::Style { zone: ground.zone.clone(), scale: arguments.scale, ..super::style() };
        let mut printer = super::Printer::styled(arguments.form, style);
        printer.row(streams, &row).and_then(|()| printer.finish(streams)).map_err(Failure::output)?;
    }
    Ok(())
}

fn gather(
    ground: &Ground,
    (index, size): (u64, u64),
    (bytes, record): (&[u8], Record),
    known: Option<&Doubts>,
) -> Result<Told, LedgerError> {
    let sites = ground.kept.sites.fresh(ground.reader)?;
    let mut about = Vec::new();
    for other in ground.reader.about(Subject::Record(index))? {
        let text = match ground.reader.record(other)? {
            Ok((_, Record { body: Body::Amendment(amendment), .. })) => {
                said::amended(other, Some(&amendment))
            }
            Ok((_, record)) => {
                let said = judged(ground.reader, &sites, other, &record)?;
                format!("Record {other}: {}: {said}", record.body.kind())
            }
            Err(_) => said::amended(other, None),
        };
        about.push((other, text));
    }
    let counted = |trace: crate::core::effect::Trace| (trace.rinse.len(), trace.wash.len());
    let trace = match (&record.body, ground.reader.trace(index)) {
        (_, Ok(None)) => None,
        (_, Ok(Some(trace))) => Some(Ok(counted(trace))),
        (_, Err(error)) => Some(Err(error)),
    };
    let alerts = OfAlerts::read(ground.reader, &sites, (index, &record), known)?;
    let leaf = leaf_hash(bytes).to_string();
    let said = judged(ground.reader, &sites, index, &record)?;
    let bytes = String::from_utf8_lossy(bytes).into_owned();
    let counts = counts(ground.reader, &sites, index, &record)?;
    Ok(Told { record, said, counts, bytes, leaf, size, about, alerts, trace })
}

fn in_cells(index: u64, told: &Told) -> Vec<Cell> {
    let record = &told.record;
    let about: Vec<String> = told.about.iter().map(|(index, _)| index.to_string()).collect();
    let readings = told.trace.as_ref().and_then(|trace| trace.as_ref().ok());
    let cells = vec![
        index.into(),
        Cell::text(record.body.kind()),
        record.machine.clone().into(),
        stands_at(record).into(),
        record.recorded.into(),
        late_by(record).map(|late| late.as_secs_f64()).into(),
        Cell::Text(told.said.clone()),
        Cell::text(told.bytes.clone()),
        Cell::text(told.leaf.clone()),
        told.size.into(),
        Cell::Text(about.join(" ")),
        readings.map(|(rinse, wash)| (rinse + wash) as u64).into(),
    ];
    cells.into_iter().chain(told.alerts.in_cells()).collect()
}

fn in_words(
    ground: &Ground,
    (index, told): (u64, &Told),
    scale: Scale,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let record = &told.record;
    let at = |instant| local::second(instant, &ground.zone);
    let machine = record.machine.as_deref().unwrap_or("the site");
    line(
        streams,
        &format!("Record {index}: {}, {machine}. Times are those of {}.", record.body.kind(), ground.whose()),
    )?;
    line(streams, &format!("  says      {}", told.said))?;
    if let Some(counts) = &told.counts {
        line(streams, &format!("  counts    {counts}"))?;
    }
    line(streams, &format!("  at        {}", at(stands_at(record))))?;
    let late = late_by(record)
        .map_or_else(String::new, |late| format!(" (late: by {})", duration(late.as_secs_f64())));
    line(streams, &format!("  recorded  {}{late}", at(record.recorded)))?;
    line(streams, &format!("  place     leaf {index} of a tree of {} (RFC 6962)", told.size))?;
    line(streams, &format!("  leaf      {}", told.leaf))?;
    match &told.trace {
        Some(Ok((rinse, wash))) => {
            line(streams, &format!("  trace     {rinse} readings of the final rinse, {wash} of the wash"))?;
        }
        Some(Err(error)) => line(streams, &format!("  trace     {error}"))?,
        None => {}
    }
    for (_, text) in &told.about {
        line(streams, &format!("  about it  {text}"))?;
    }
    let reader = Reader { language: Language::English, scale, zone: ground.zone.clone() };
    for text in told.alerts.in_words(&reader) {
        line(streams, &text)?;
    }
    line(streams, &format!("  bytes     {}", told.bytes.replace(char::is_control, " ")))
}

pub(super) fn in_force(
    ground: &mut Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let at = arguments.at.map_or(Ok(ground.now), |at| at.in_zone(&ground.zone, ground.now));
    let at = at.map_err(Failure::unclear("--at"))?;
    let force = ground.reader.in_force(at).map_err(|error| ground.failed(&error))?;
    let found = then::in_force(ground.reader, &force).map_err(|error| ground.failed(&error))?;
    let sheet = ground.sheet(&IN_FORCE, arguments);
    if sheet.form == Form::Table {
        return line(streams, force_in_words(ground, &force, &found, arguments).trim_end());
    }
    sheet.start(streams.out, "").map_err(Failure::output)?;
    for (what, found) in
        [("configuration", &force.configuration), ("signing-key", &force.key), ("service", &force.service)]
    {
        let Some((index, record)) = found else { continue };
        let value = if let Body::ConfigurationChange(change) = &record.body {
            change.toml.clone()
        } else if let Body::SigningKey(change) = &record.body {
            change.key.clone()
        } else {
            record.body.kind().to_owned()
        };
        let row = [Cell::text(what), Cell::Empty, (*index).into(), record.recorded.into(), Cell::Text(value)];
        sheet.row(streams.out, &row).map_err(Failure::output)?;
    }
    for (machine, probe, filed) in on_record(&force) {
        if let Some(filed) = filed.calibration {
            let value = json!({ "probe": probe, "calibration": &filed.done });
            sheet
                .row(streams.out, &row_of("calibration", &machine, filed, &value))
                .map_err(Failure::output)?;
        }
        if let Some(filed) = filed.response {
            let value = json!({ "probe": probe, "response": &filed.done });
            sheet.row(streams.out, &row_of("response", &machine, filed, &value)).map_err(Failure::output)?;
        }
    }
    for limits in &force.limits {
        let cycle = &limits.cycle;
        let value = json!({
            "limit_c": cycle.limit_c, "limit_source": cycle.limit_source, "wash_limit_c": cycle.wash_limit_c,
            "dwell_required_s": cycle.dwell_required_s, "uncertainty_c": cycle.uncertainty_c,
        });
        let row = [
            Cell::text("limits"),
            Cell::text(limits.machine.clone()),
            limits.index.into(),
            cycle.rinse_started.into(),
            Cell::Text(value.to_string()),
        ];
        sheet.row(streams.out, &row).map_err(Failure::output)?;
    }
    for row in rows_of_work(&found) {
        sheet.row(streams.out, &row).map_err(Failure::output)?;
    }
    Ok(())
}

/// Work on machines, each with who worked there, and the records of it that are damaged.
fn rows_of_work(found: &then::Found) -> impl Iterator<Item = [Cell; 5]> {
    let work = found.work.iter().map(|work| {
        let value = json!({ "until": work.until, "ended": work.is_over, "worked": &work.worked });
        [
            Cell::text("maintenance"),
            work.machine.clone().into(),
            work.record.into(),
            work.since.into(),
            Cell::Text(value.to_string()),
        ]
    });
    let damaged = found.damaged.iter().map(|record| {
        [Cell::text("maintenance-damaged"), Cell::Empty, (*record).into(), Cell::Empty, Cell::Empty]
    });
    work.chain(damaged)
}

fn row_of<Done>(what: &str, machine: &str, filed: &Filed<Done>, value: &serde_json::Value) -> [Cell; 5] {
    let machine = Cell::text(machine.to_owned());
    [Cell::text(what), machine, filed.index.into(), filed.since.into(), Cell::Text(value.to_string())]
}

/// Each probe, after its machine, with what is on record of it, where something on record was in force. A
/// configuration that cannot be read gives way to what is on record.
pub(in crate::app) fn on_record(force: &InForce) -> Vec<(String, String, on_file::InForce<'_>)> {
    let toml = force.configuration.as_ref().and_then(|(_, record)| {
        if let Body::ConfigurationChange(change) = &record.body { Recorded::read(&change.toml) } else { None }
    });
    let configured = |probe: &str| {
        let read = toml.as_ref()?;
        let on = read.probes.iter().find(|known| known.channel == probe)?.calibrated_on?;
        midnight(&read.settings.zone, on)
    };
    let known = |probe: &str| toml.as_ref().is_none_or(|read| read.probes.iter().any(|p| p.channel == probe));
    let probes = force.file.probes().into_iter().filter(|probe| known(probe));
    probes
        .map(|probe| {
            let machine = probe.split('/').next().unwrap_or_default().to_owned();
            (machine, probe.to_owned(), force.file.in_force(probe, configured(probe), force.at))
        })
        .filter(|(_, _, in_force)| in_force.is_on_record())
        .collect()
}

/// What the sanitizer of each machine is judged by, and the channels that measure it, as configured.
fn chemistry_in_words(ground: &Ground, force: &InForce, scale: Scale) -> Vec<String> {
    let Some((index, Record { body: Body::ConfigurationChange(change), .. })) = &force.configuration else {
        return Vec::new();
    };
    let Some(read) = Recorded::read(&change.toml) else { return Vec::new() };
    let reader = Reader { language: Language::English, scale, zone: ground.zone.clone() };
    let each = read.machines.iter().filter_map(|machine| {
        let own = format!("{}/", machine.name);
        let channels = read.solutions.iter().filter(|(channel, _)| channel.starts_with(&own));
        let channels: Vec<String> = channels
            .map(|(channel, solution)| format!("{channel} ({})", measures(*solution, Language::English)))
            .collect();
        let limits = SignedChemistry::of(machine, Vec::new())?.limits(&reader);
        let limits = limits.into_iter().map(|(name, told)| format!("{name}: {told}"));
        let told = limits.chain(channels).collect::<Vec<_>>().join(" · ");
        Some(format!("  sanitizer      {}: {told} [record {index}]", machine.name))
    });
    each.collect()
}

fn force_in_words(ground: &Ground, force: &InForce, found: &then::Found, arguments: &HistoryArgs) -> String {
    let at = |instant| local::second(instant, &ground.zone);
    let mut text = format!("In force at {} ({}):\n", at(force.at), ground.whose());
    let mut tell = |line: String| {
        // Writing to a text does not fail.
        let _written = writeln!(text, "{line}");
    };
    match &force.service {
        Some((index, record)) => {
            tell(format!(
                "  service        {} [record {index}, {}]",
                said::said(&record.body),
                at(record.recorded)
            ));
        }
        None => tell("  service        nothing is on record".to_owned()),
    }
    match &force.key {
        Some((index, record)) => {
            tell(format!("  key            {} [record {index}]", said::said(&record.body)))
        }
        None => tell("  key            none is on record".to_owned()),
    }
    let scale = arguments.scale;
    for limits in &force.limits {
        let cycle = &limits.cycle;
        tell(format!(
            "  limits         {}: final rinse {:.1} {unit} for {:.1} s, wash {:.1} {unit}, ±{:.1} {unit} [cycle {}, {}]",
            limits.machine,
            scale.temperature(cycle.limit_c),
            cycle.dwell_required_s,
            scale.temperature(cycle.wash_limit_c),
            scale.difference(cycle.uncertainty_c),
            limits.index,
            at(cycle.rinse_started),
            unit = scale.symbol(),
        ));
    }
    chemistry_in_words(ground, force, scale).into_iter().for_each(&mut tell);
    work_in_words(ground, found).into_iter().for_each(&mut tell);
    for (_, probe, in_force) in on_record(force) {
        if let Some(Filed { index, since, done, .. }) = in_force.calibration {
            let correction = gain_and_offset(done.left.gain, done.left.offset_c);
            let until = done.until.as_ref().map_or_else(String::new, |day| format!(", until {day}"));
            let wide = done.expanded_c;
            tell(format!(
                "  calibration    {probe}: {correction}, ±{wide:.2} °C{until} [record {index}, {}]",
                at(*since)
            ));
        }
        if let Some(Filed { index, since, done, .. }) = in_force.response {
            let (tau_s, wide) = (done.tau_s, done.expanded_s);
            tell(format!(
                "  time constant  {probe}: {tau_s:.2} s ±{wide:.2} s [record {index}, {}]",
                at(*since)
            ));
        }
    }
    match &force.configuration {
        None => tell("  configuration  none is on record".to_owned()),
        Some((index, record)) => {
            tell(format!("  configuration  [record {index}, since {}]", at(record.recorded)));
            if let Body::ConfigurationChange(change) = &record.body {
                sections(&change.toml).for_each(|line| tell(format!("    {line}")));
                tell("  The whole of it: --json, or --record with its number.".to_owned());
            }
        }
    }
    text
}

/// Who worked on which machine, and the records of work that are damaged.
fn work_in_words(ground: &Ground, found: &then::Found) -> Vec<String> {
    let at = |instant| local::second(instant, &ground.zone);
    let mut lines = Vec::new();
    for work in &found.work {
        let machine = work.machine.as_deref().unwrap_or("the whole site");
        let who = Some(who(&work.worked, Language::English)).filter(|who| !who.is_empty());
        let no_end = if work.is_over { "" } else { ", no end on record" };
        lines.push(format!(
            "  work           {machine}: {}, until {}{no_end} [record {}, {}]",
            who.as_deref().unwrap_or("somebody"),
            at(work.until),
            work.record,
            at(work.since),
        ));
    }
    lines.extend(
        found
            .damaged
            .iter()
            .map(|record| format!("  work           DAMAGED, and may tell of more work [record {record}]")),
    );
    if lines.is_empty() {
        lines.push("  work           none on a machine is on record".to_owned());
    }
    lines
}

/// The lines of the sections about machines and probes.
fn sections(toml: &str) -> impl Iterator<Item = &str> {
    let mut inside = false;
    toml.lines().filter(move |line| {
        if line.starts_with('[') {
            inside = SECTIONS.contains(line)
                || (inside && line.starts_with("[machine.") || line.starts_with("[probe."));
        }
        inside
    })
}
