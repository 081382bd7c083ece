//! `enter`: what people put on record, and which checks are due.
//!
//! A failed check is a true entry, so that the command ends well; what it came to and what to
//! do is said at once.

use std::io::Write;
use std::ops::ControlFlow;

use jiff::tz::TimeZone;

use super::alerts::clerk::BOOKMARK;
use super::door::time;
use super::logbook::{Change, Correction, Entry, Judged};
use super::order::{Done, Order};
use super::{Failure, Streams, configuration, in_force, ledger, people};
use crate::cli::{
    AmendmentArgs, AnswerArgs, DueArgs, EnterCommand, EntryArgs, Moment, NoteArgs, ThermometerArgs,
};
use crate::config::load::Loaded;
use crate::core::alert::supplies::Shortage;
use crate::core::alert::{Desk, DueCheck, Effects, Event, Settings};
use crate::core::food_code::Rounding;
use crate::core::logbook::words::{self, Entered};
use crate::core::logbook::{Device, Lacking};
use crate::core::reader::{self, Language};
use crate::core::record::{Check, CheckKind, Note};
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{LedgerError, Reader};
use crate::report::local;

/// Does what `enter` asks.
pub(super) fn enter(command: &EnterCommand, streams: &mut Streams<'_>) -> Result<(), Failure> {
    match command {
        EnterCommand::Sanitizer(strip) => put(&strip.machine, &strip.entry, streams, |at, by| {
            let (mg_per_l, ph, method) = (strip.mg_per_l, strip.ph, strip.method.clone());
            let solution_c = strip.solution.map(|solution| solution.0);
            Check::Sanitizer { at, mg_per_l, ph, solution_c, method, by }
        }),
        EnterCommand::Supply(supply) => put(&supply.machine, &supply.entry, streams, |at, by| {
            let (enough, short) = (supply.short.is_none(), supply.short.clone().unwrap_or_default());
            Check::Supply { at, enough, short, note: supply.note.clone(), by }
        }),
        EnterCommand::DrainAndClean(drain) => put(&drain.machine, &drain.entry, streams, |at, by| {
            Check::DrainAndClean { at, note: drain.note.clone(), by }
        }),
        EnterCommand::Thermometer(thermometer) => {
            put(&thermometer.machine, &thermometer.entry, streams, |at, by| compared(thermometer, at, by))
        }
        EnterCommand::Note(note) => self::note(note, streams),
        EnterCommand::Amendment(amendment) => amend(amendment, streams),
        EnterCommand::Due(arguments) => due(arguments, streams),
    }
}

fn compared(thermometer: &ThermometerArgs, at: Timestamp, by: String) -> Check {
    let device = if thermometer.food { Device::Food } else { Device::Water };
    Check::Thermometer {
        at,
        what: thermometer.what.clone(),
        shown_c: thermometer.shown.0,
        reference_c: thermometer.should.0,
        tolerance_c: thermometer.tolerance.unwrap_or_else(|| device.tolerance_c(Rounding::Stricter)),
        reference: thermometer.reference.clone(),
        by,
    }
}

/// `all` is the whole site.
fn machine_of(name: &str) -> Option<String> {
    (name != "all").then(|| name.to_owned())
}

/// Puts on record the check that `made` makes of its time and of who made it.
fn put(
    machine: &str,
    entry: &EntryArgs,
    streams: &mut Streams<'_>,
    made: impl FnOnce(Timestamp, String) -> Check,
) -> Result<(), Failure> {
    let loaded = configuration::load(&entry.config.files)?;
    let now = time::clock(&loaded.configuration.socket).now();
    let at = when(entry.at, &loaded, now)?.unwrap_or(now);
    let check = made(at, entry.by.clone());
    let entered = Entered::Check { kind: check.kind(), machine: machine.to_owned() };
    let own = loaded.configuration.machines.iter().find(|one| one.name == machine);
    let sanitizing = own.map(|one| one.sanitizing);
    let machine = machine_of(machine);
    let order = Order::Entry { entry: Entry::Check { machine, check: check.clone(), late: entry.late } };
    let done = people::done(&loaded, order)?;
    let alerted = is_told(&loaded, &done, done.record);
    let lacking = Lacking { alerted, ..Lacking::of(&check, sanitizing) };
    answer(&done, &entered, lacking, entry.answer, streams)
}

/// The instant that was given with `--at`, by the clock of the site.
fn when(at: Option<Moment>, loaded: &Loaded, now: Timestamp) -> Result<Option<Timestamp>, Failure> {
    let at = at.map(|at| at.in_zone(&loaded.configuration.alerts.zone, now));
    at.transpose().map_err(Failure::unclear("--at"))
}

fn note(arguments: &NoteArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let (text, machine) = match arguments.words.as_slice() {
        [machine, text] => (text.clone(), machine_of(machine)),
        words => (words.concat(), None),
    };
    let loaded = configuration::load(&arguments.entry.config.files)?;
    let now = time::clock(&loaded.configuration.socket).now();
    let at = when(arguments.entry.at, &loaded, now)?;
    let note = Note { at, text, by: arguments.entry.by.clone() };
    let entry = Entry::Note { machine, note, late: arguments.entry.late };
    let done = people::done(&loaded, Order::Entry { entry })?;
    let how = arguments.entry.answer;
    answer(&done, &Entered::Note, Lacking::default(), how, streams)?;
    match done.late_s {
        Some(late_s) if !how.json => {
            writeln!(streams.out, "  {}", words::late(late_s, how.language)).map_err(Failure::output)
        }
        Some(_) | None => Ok(()),
    }
}

fn amend(arguments: &AmendmentArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let now = time::clock(&loaded.configuration.socket).now();
    let right = &arguments.right;
    let correction = Correction {
        at: when(right.at, &loaded, now)?,
        mg_per_l: right.mg_per_l,
        ph: right.ph,
        solution_c: right.solution.map(|solution| solution.0),
        method: right.method.clone(),
        enough: right.enough,
        short: right.short.clone(),
        note: right.note.clone(),
        shown_c: right.shown.map(|shown| shown.0),
        reference_c: right.should.map(|should| should.0),
    };
    let of = arguments.record;
    let (change, entered) = if arguments.withdraw {
        (Change::Withdraw, Entered::Withdrawn { of })
    } else if correction == Correction::default() {
        (Change::Comment, Entered::Comment { of })
    } else {
        (Change::Correct(Box::new(correction)), Entered::Corrected { of })
    };
    let (reason, by) = (arguments.reason.clone(), arguments.by.clone());
    let done = people::done(&loaded, Order::Entry { entry: Entry::Amendment { of, reason, by, change } })?;
    let alerted = is_told(&loaded, &done, Some(of));
    let lacking = Lacking { alerted, ..Lacking::default() };
    answer(&done, &entered, lacking, arguments.answer, streams)
}

/// Whether somebody is told of what a look on record found short. Nobody is while no service runs, and
/// a ledger that cannot be read just then promises nothing.
fn is_told(loaded: &Loaded, done: &Done, look: Option<u64>) -> bool {
    let short = |judged: &Judged| judged.check == CheckKind::Supply && judged.judgement.good == Some(false);
    let is_short = done.judged.as_ref().is_some_and(short);
    let Some(look) = look.filter(|_| is_short && !done.alone) else { return false };
    let now = time::clock(&loaded.configuration.socket).now();
    let told = Reader::open(&loaded.configuration.ledger.path).and_then(|reader| {
        let settings = loaded.configuration.alerts.with_on_file(&in_force::on_file(&reader)?);
        tells_of_look(&reader, &settings, look, now)
    });
    told.inspect_err(|error| tracing::warn!(%error, "who is told of it cannot be read")).unwrap_or(false)
}

/// Says that it is on record, and what a check came to.
fn answer(
    done: &Done,
    entered: &Entered,
    lacking: Lacking<'_>,
    how: AnswerArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let out = &mut *streams.out;
    let written = if how.json {
        serde_json::to_writer(&mut *out, done).map_err(std::io::Error::from).and_then(|()| writeln!(out))
    } else {
        writeln!(out, "{}", words::on_record(entered, done.record, how.language)).and_then(|()| {
            match &done.judged {
                Some(judged) => judgement(out, (judged, done.late_s), lacking, how),
                None => Ok(()),
            }
        })
    };
    written.map_err(Failure::output)
}

fn judgement(
    out: &mut dyn Write,
    (judged, late_s): (&Judged, Option<f64>),
    lacking: Lacking<'_>,
    how: AnswerArgs,
) -> std::io::Result<()> {
    let zone = jiff::tz::TimeZone::system();
    let reader = reader::Reader { language: how.language, scale: how.scale, zone };
    let told = words::tell(&judged.judgement, judged.check, lacking, &reader);
    let mark = match judged.judgement.good {
        Some(true) => "✓",
        Some(false) => "✗",
        None => "·",
    };
    writeln!(out, "{mark} {}", told.verdict)?;
    told.why.iter().try_for_each(|why| writeln!(out, "  {why}"))?;
    if let Some(late_s) = late_s {
        writeln!(out, "  {}", words::late(late_s, reader.language))?;
    }
    for (place, step) in told.steps.iter().enumerate() {
        writeln!(out, "  {}. {step}", place + 1)?;
    }
    told.cautions.iter().try_for_each(|caution| writeln!(out, "  ! {caution}"))
}

fn due(arguments: &DueArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let now = time::clock(&loaded.configuration.socket).now();
    let configured = &loaded.configuration.machines;
    if let Some(wanted) = &arguments.machine
        && configured.iter().all(|machine| machine.name != *wanted)
    {
        let diagnostic = Diagnostic::error("entry-refused", format!("no machine is called «{wanted}»"));
        return Err(diagnostic.advice("give the name that it has in the configuration").into());
    }
    let checks = due_checks(&loaded, now)?;
    let checks: Vec<&DueCheck> = checks
        .iter()
        .filter(|due| arguments.machine.as_ref().is_none_or(|wanted| due.machine == *wanted))
        .collect();
    let out = &mut *streams.out;
    let written = if arguments.json {
        checks.iter().try_for_each(|due| {
            serde_json::to_writer(&mut *out, due).map_err(std::io::Error::from)?;
            writeln!(out)
        })
    } else if checks.is_empty() {
        let rules = &loaded.configuration.alerts;
        if rules.shifts.is_empty() && rules.meal_periods.is_empty() {
            writeln!(out, "{}", words::none_due(true, arguments.language))
        } else {
            writeln!(out, "{}", words::none_due(false, arguments.language))
        }
    } else {
        let zone = &loaded.configuration.alerts.zone;
        checks.iter().try_for_each(|due| writeln!(out, "{}", line(due, now, zone, arguments.language)))
    };
    written.map_err(Failure::output)
}

fn line(due: &DueCheck, now: Timestamp, zone: &TimeZone, language: Language) -> String {
    let since = local::minute_and_zone(due.since, zone);
    let when = if due.overdue {
        words::Due::Overdue
    } else if due.since > now {
        words::Due::By
    } else {
        words::Due::Since
    };
    let when = words::due(when, language);
    let (what, record) = match &due.again {
        None => (words::to_do(due.check, language).to_owned(), String::new()),
        Some(again) => (
            words::to_do_again(due.check, again.what.as_deref(), language),
            format!(" [{}]", words::failed_before(again.record, language)),
        ),
    };
    format!("{:<12}  {what:<24}  {when} {since}{record}", due.machine)
}

/// The checks that are due, see [`due_by`].
///
/// # Errors
/// The ledger's.
pub(super) fn due_checks(loaded: &Loaded, now: Timestamp) -> Result<Vec<DueCheck>, Failure> {
    let path = &loaded.configuration.ledger.path;
    let due = Reader::open(path).and_then(|reader| {
        let settings = loaded.configuration.alerts.with_on_file(&in_force::on_file(&reader)?);
        due_by(&reader, &settings, now)
    });
    due.map_err(|error| Failure::from(ledger::diagnose(&error, path)))
}

/// The checks that are due, as the desk of the alerts sees it: from what it has kept and the
/// records after that, beside the service or without one. `settings` have the calibrations on record
/// laid over them.
///
/// # Errors
/// The ledger's.
pub(super) fn due_by(
    reader: &Reader,
    settings: &Settings,
    now: Timestamp,
) -> Result<Vec<DueCheck>, LedgerError> {
    Ok(desk_by(reader, settings, now)?.due_checks(now))
}

/// What is to be done: the checks that are due, see [`due_by`], and what is short until it is put right.
///
/// # Errors
/// The ledger's.
pub(super) fn to_do_by(
    reader: &Reader,
    settings: &Settings,
    now: Timestamp,
) -> Result<(Vec<DueCheck>, Vec<Shortage>), LedgerError> {
    let desk = desk_by(reader, settings, now)?;
    Ok((desk.due_checks(now), desk.shortages()))
}

/// Whether somebody is told of what a look at the supplies found short, `look` being the index of its record: as
/// the desk sees it, see [`due_by`] and [`Desk::tells_of_look`].
///
/// # Errors
/// The ledger's.
pub(super) fn tells_of_look(
    reader: &Reader,
    settings: &Settings,
    look: u64,
    now: Timestamp,
) -> Result<bool, LedgerError> {
    Ok(desk_by(reader, settings, now)?.tells_of_look(look))
}

/// The desk as it stands by what it has kept and the records after that.
fn desk_by(reader: &Reader, settings: &Settings, now: Timestamp) -> Result<Desk, LedgerError> {
    let stored = reader.bookmark(BOOKMARK)?;
    let restored = stored.and_then(|state| Desk::restore(settings.clone(), &state).ok());
    let mut desk = match restored {
        Some(desk) => desk,
        None => Desk::begin_at(settings.clone(), reader.size()?),
    };
    // Only what it knows is asked for; what it would do is done by the service.
    let mut nobody = Effects::default();
    reader.records(desk.next_record(), |index, _, record| {
        if desk.handle(record.recorded, Event::Record { index, record: &record }, &mut nobody).is_err() {
            desk.pass_over(index);
        }
        ControlFlow::Continue(())
    })?;
    if desk.handle(now, Event::Tick, &mut nobody).is_err() {
        tracing::debug!("time alone is never refused");
    }
    Ok(desk)
}
