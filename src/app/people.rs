//! What people do by command: `alerts`, `maintenance`.
//!
//! Reading commands read the ledger itself, beside the service or without one. What
//! is put on record goes through the service where one runs, and else into the
//! ledger by the same function, [`counter::perform`].

use std::path::PathBuf;

use jiff::tz::TimeZone;

use super::alerts::entered::with_tests;
use super::alerts::past::Raised;
use super::alerts::{counter, story, trial};
use super::door::client::{self, CallError};
use super::door::time;
use super::export::gather;
use super::house::alert_book::with_amendments;
use super::order::{Done, Order, TestOrder, Trial};
use super::sites::Sites;
use super::{Failure, Streams, configuration, history, ledger};
use crate::cli::{
    AcknowledgeArgs, ActArgs, AlertsCommand, AlertsListArgs, AlertsShowArgs, ConfigArgs, LedgerArgs,
    MaintenanceArgs, TestArgs,
};
use crate::config::load::Loaded;
use crate::core::address::escaped;
use crate::core::alert::AlertNumber;
use crate::core::reader::{Language, Scale};
use crate::diagnostic::Diagnostic;
use crate::ledger::{ReadOn, Reader};
use crate::report::alerts as printed;
use crate::report::local::minute_and_zone;

/// `alerts …`.
pub(super) fn alerts(command: &AlertsCommand, streams: &mut Streams<'_>) -> Result<(), Failure> {
    match command {
        AlertsCommand::List(arguments) => list(arguments, streams),
        AlertsCommand::Show(arguments) => show(arguments, streams),
        AlertsCommand::Acknowledge(arguments) => acknowledge(arguments, streams),
        AlertsCommand::Act(arguments) => act(arguments, streams),
        AlertsCommand::Test(arguments) => test(arguments, streams),
    }
}

fn list(arguments: &AlertsListArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let (path, zone) = ledger_and_zone(&arguments.from)?;
    let failed = |error| Failure::from(ledger::diagnose(&error, &path));
    let ledger = Reader::open(&path).map_err(failed)?;
    let (stories, damaged) = story::all(&ledger).map_err(failed)?;
    let mut stories: Vec<_> =
        stories.into_values().filter(|story| !arguments.open || story.closed.is_none()).collect();
    let first = stories.len().saturating_sub(arguments.limit.unwrap_or(usize::MAX));
    stories.drain(..first);
    let mut raised = Raised::of(&ledger);
    stories.iter_mut().try_for_each(|told| story::fill(&mut raised, told)).map_err(failed)?;
    let written = if arguments.json {
        stories.iter().try_for_each(|story| printed::json(streams.out, &story.alert, story.closed))
    } else {
        let rows = stories.iter().map(|story| (&story.alert, story.closed));
        printed::table(streams.out, rows, &reader(arguments.scale, zone))
    };
    written.map_err(Failure::output)?;
    history::tell_damaged(&damaged, &path)
}

fn show(arguments: &AlertsShowArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let (path, zone) = ledger_and_zone(&arguments.from)?;
    let failed = |error| Failure::from(ledger::diagnose(&error, &path));
    let number = AlertNumber(arguments.alert);
    let ledger = Reader::open(&path).map_err(failed)?;
    let (records, damaged) = story::records(&ledger, number).map_err(failed)?;
    let Some(told) = story::told(&ledger, &records).map_err(failed)? else {
        // The record that raised it may be among those that cannot be read.
        history::tell_damaged(&damaged, &path)?;
        return Err(Diagnostic::error("alert-refused", format!("no alert has the number {number}"))
            .place(path.display().to_string())
            .advice("rinseward alerts list has those that are on record")
            .into());
    };
    let written = if arguments.json {
        records.iter().try_for_each(|(index, record)| printed::record_json(streams.out, *index, record))
    } else {
        let sites = Sites::whole(&ledger).map_err(failed)?;
        let told_with = with_tests(&ledger, &sites, (&told.alert, told.closed), records);
        let (records, entered) = told_with.map_err(failed)?;
        let records = with_amendments(&ledger, records).map_err(failed)?;
        let reader = reader(arguments.scale, zone);
        printed::story(streams.out, &told.alert, told.closed, (&records, &entered), &reader)
    };
    written.map_err(Failure::output)?;
    history::tell_damaged(&damaged, &path)
}

/// Somebody at this terminal.
fn reader(scale: Scale, zone: TimeZone) -> crate::core::reader::Reader {
    crate::core::reader::Reader { language: Language::English, scale, zone }
}

fn acknowledge(arguments: &AcknowledgeArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let (alert, by, note) = (AlertNumber(arguments.alert), arguments.by.clone(), arguments.note.clone());
    let order = Order::Acknowledge { alert, by, via: "command".to_owned(), note };
    let said = format!("Alert {alert} is taken care of by {}.", arguments.by);
    give(&arguments.config, order, arguments.json, &said, streams)
}

fn act(arguments: &ActArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let alert = AlertNumber(arguments.alert);
    let (by, racks, done) = (arguments.by.clone(), arguments.racks.clone(), arguments.done.clone());
    let said = format!("The corrective action for alert {alert} is on record.");
    let order = Order::Act { alert, by, racks, done, covers: arguments.covers };
    give(&arguments.config, order, arguments.json, &said, streams)
}

/// `maintenance`.
pub(super) fn maintenance(arguments: &MaintenanceArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let now = time::clock(&loaded.configuration.socket).now();
    let zone = &loaded.configuration.alerts.zone;
    let until = match (arguments.until, arguments.span) {
        (Some(until), _) => until.in_zone(zone, now).map_err(Failure::unclear("--until"))?,
        (None, Some(span)) => now.plus(span),
        (None, None) => now,
    };
    let machine = (arguments.machine != "all").then(|| arguments.machine.clone());
    let what = machine.as_deref().unwrap_or("every machine");
    let said = if arguments.end {
        format!(
            "The work on {what} has ended: racks are judged again from now on, and messages about it are sent again."
        )
    } else {
        format!(
            "Somebody works on {what} until {}: racks made until then are on record as unproven, since what the \
             probes show need not be the water of the machine, and messages about it are held.",
            minute_and_zone(until.full_minute(), zone)
        )
    };
    let order = Order::Maintenance { machine, until, by: arguments.by.clone() };
    give_to(&loaded, order, arguments.json, &said, streams)
}

fn test(arguments: &TestArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let socket = &loaded.configuration.socket;
    let route = format!("/tests/{}", escaped(&arguments.contact));
    let trial: Trial = match client::post(socket, &route, &TestOrder { configuration: loaded.sha256() }) {
        Ok(trial) => trial,
        Err(CallError::NotRunning) => trial::alone(&loaded, &arguments.contact)?,
        Err(error) => return Err(unanswered(error, socket)),
    };
    let written = if arguments.json {
        serde_json::to_writer(&mut *streams.out, &trial)
            .map_err(std::io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else {
        trial.steps.iter().try_for_each(|step| {
            let mark = if step.good { "✓" } else { "✗" };
            writeln!(streams.out, "{mark} {:<32} {:<14} {}", step.route, step.what, step.said)
        })
    };
    let answer = if trial.steps.iter().all(|step| step.good) {
        Ok(())
    } else {
        let summary = format!("the test to «{}» did not get through every channel", arguments.contact);
        Err(Diagnostic::error("alert-test", summary).advice("the lines marked ✗ say what to mend").into())
    };
    Failure::decided(answer, written)
}

/// Gives an order to the service, or does it on the ledger where no service runs.
pub(super) fn give(
    config: &ConfigArgs,
    order: Order,
    json: bool,
    said: &str,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let loaded = configuration::load(&config.files)?;
    give_to(&loaded, order, json, said, streams)
}

fn give_to(
    loaded: &Loaded,
    order: Order,
    json: bool,
    said: &str,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let done = done(loaded, order)?;
    let written = if json {
        serde_json::to_writer(&mut *streams.out, &done)
            .map_err(std::io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else {
        let covers = done.covers.map(|covers| printed::covered(covers, done.alert.as_ref()));
        writeln!(streams.out, "{said}{}", covers.unwrap_or_default()).and_then(|()| match &done.alert {
            Some(alert) => writeln!(streams.out, "{}", printed::standing(alert)),
            None => Ok(()),
        })
    };
    written.map_err(Failure::output)
}

/// What an order came to, by the service or on the ledger where no service runs.
pub(super) fn done(loaded: &Loaded, order: Order) -> Result<Done, Failure> {
    let socket = &loaded.configuration.socket;
    match client::post(socket, "/orders", &order) {
        Ok(done) => Ok(done),
        Err(CallError::NotRunning) => counter::perform_alone(loaded, order),
        Err(error) => Err(unanswered(error, socket)),
    }
}

pub(super) fn unanswered(error: CallError, socket: &std::path::Path) -> Failure {
    let diagnostic =
        Diagnostic::error("service-socket", error.to_string()).place(socket.display().to_string());
    match error {
        CallError::Refused(problem) => problem.into(),
        CallError::Forbidden => diagnostic
            .advice("run it as the service user or as a member of its group, such as by sudo -u rinseward")
            .into(),
        CallError::Answer(source) => {
            diagnostic.because(&source).advice("see the log of the service; is it the same version?").into()
        }
        CallError::NotRunning => diagnostic.advice("start it with rinseward run").into(),
    }
}

/// Where the ledger is.
pub(super) fn ledger_path(arguments: &LedgerArgs) -> Result<PathBuf, Failure> {
    match &arguments.ledger {
        Some(path) => Ok(path.clone()),
        None => Ok(configuration::load(&arguments.files)?.configuration.ledger.path),
    }
}

/// Where the ledger is, and the zone of its times: the site's, by the configuration that is read
/// or else by the one on record; that of this computer where neither is to be had.
pub(super) fn ledger_and_zone(arguments: &LedgerArgs) -> Result<(PathBuf, TimeZone), Failure> {
    let Some(path) = &arguments.ledger else {
        let configuration = configuration::load(&arguments.files)?.configuration;
        return Ok((configuration.ledger.path, configuration.alerts.zone));
    };
    // What is wrong with the ledger is told when it is read for what was asked.
    let recorded = Reader::open(path).and_then(|reader| gather::recorded(&reader));
    let zone = recorded.ok().flatten().map(|recorded| recorded.settings.zone);
    Ok((path.clone(), zone.unwrap_or_else(TimeZone::system)))
}
