//! `calibrate` and `respond`: what a technician does at one probe, step by step, by live readings.
//!
//! Both only ask for a record; what counts of it is worked out where it is entered. A session
//! that is refused, or that nobody confirms, changes nothing.

mod calibrate;
mod respond;
mod words;

use std::io::{BufRead, IsTerminal, Write};
use std::time::Duration;

pub(super) use self::calibrate::calibrate;
pub(super) use self::respond::respond;
use super::live::{Live, LiveEvent, LiveReading, Through, Wanted};
use super::order::{Done, Order};
use super::{Failure, Streams, configuration, in_force, ledger, people};
use crate::cli::TechnicianArgs;
use crate::config::load::Loaded;
use crate::core::channel::{Channel, Probe, Role};
use crate::core::reader::Language;
use crate::diagnostic::Diagnostic;
use crate::ledger::LedgerError;
use crate::runtime::clock::Clock;

/// Longest wait for the next event, so that a step that lasts too long is ended in time.
const WAIT_MAX: Duration = Duration::from_millis(500);
/// How often a step that goes on tells how it stands.
const TOLD_EVERY: Duration = Duration::from_secs(5);

/// One session at one probe.
struct Session<'s, 'a> {
    arguments: &'a TechnicianArgs,
    loaded: Loaded,
    channel: Channel,
    /// The probe as it is in force.
    probe: Probe,
    live: Live,
    clock: Clock,
    /// Whether a person can answer.
    asked: bool,
    streams: &'a mut Streams<'s>,
}

impl<'s, 'a> Session<'s, 'a> {
    /// Begins to listen to the probe.
    fn begin(arguments: &'a TechnicianArgs, streams: &'a mut Streams<'s>) -> Result<Self, Failure> {
        let asked = !arguments.yes && std::io::stdin().is_terminal();
        if !asked && !arguments.yes {
            let diagnostic =
                Diagnostic::error("usage", "nobody is at a terminal who could confirm the record");
            return Err(diagnostic.advice("add --yes, so that it is recorded without asking").into());
        }
        let loaded = configuration::load(&arguments.config.files)?;
        let name = &arguments.probe;
        let channels = in_force::channels(&loaded.configuration);
        let probe = channels.iter().find_map(|channel| match &channel.role {
            Role::Probe(probe) if channel.name.as_str() == *name => Some((channel.clone(), probe.clone())),
            Role::Probe(_) | Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => {
                None
            }
        });
        let Some((channel, probe)) = probe else {
            let known = channels.iter().filter(|channel| matches!(channel.role, Role::Probe(_)));
            let known: Vec<&str> = known.map(|channel| channel.name.as_str()).collect();
            return Err(Diagnostic::error("usage", format!("no temperature probe is called «{name}»"))
                .advice(format!("give one of {}", known.join(", ")))
                .into());
        };
        let path = &loaded.configuration.ledger.path;
        if !path.exists() {
            return Err(ledger::diagnose(&LedgerError::Missing { path: path.clone() }, path).into());
        }
        let wanted = Wanted { channels: vec![name.clone()], ..Wanted::default() };
        let live = Live::open(&loaded, &wanted)?;
        if let Through::Service { same_configuration: false } = live.through() {
            let summary = "the service runs with another configuration than the one given";
            let advice =
                "restart the service to put the files in force, or give --config the ones it runs with";
            return Err(Diagnostic::error("usage", summary).advice(advice).into());
        }
        let clock = Clock::system();
        Ok(Self { arguments, loaded, channel, probe, live, clock, asked, streams })
    }

    const fn language(&self) -> Language {
        self.arguments.answer.language
    }

    /// Tells the person at the machine something: beside the answer, where that is for a program.
    fn tell(&mut self, text: &str) -> Result<(), Failure> {
        let to: &mut dyn Write = if self.arguments.answer.json { self.streams.err } else { self.streams.out };
        writeln!(to, "{text}").and_then(|()| to.flush()).map_err(Failure::cut_short)
    }

    /// Tells what is on record by now: nothing is left to do where nobody reads it.
    fn tell_recorded(&mut self, text: &str) -> Result<(), Failure> {
        writeln!(self.streams.out, "{text}").map_err(Failure::output)
    }

    /// Waits for a person to press Enter, where there is one; what was measured meanwhile counts no more.
    fn wait_for_person(&mut self, prompt: &str) -> Result<(), Failure> {
        if !self.asked {
            return Ok(());
        }
        self.tell(prompt)?;
        self.answer()?;
        while let Some(event) = self.live.next(Duration::ZERO) {
            if let LiveEvent::Ended { cause } = event {
                return Err(ended(cause));
            }
        }
        Ok(())
    }

    fn answer(&mut self) -> Result<String, Failure> {
        let mut line = String::new();
        let read = std::io::stdin().lock().read_line(&mut line);
        let read =
            read.map_err(|error| Diagnostic::error("usage", "the answer cannot be read").because(&error))?;
        if read == 0 {
            let ended = Diagnostic::error("usage", "the terminal was closed before an answer came");
            return Err(ended.advice("begin again; nothing was recorded").into());
        }
        Ok(line.trim().to_lowercase())
    }

    /// Whether the record is wanted.
    fn is_confirmed(&mut self) -> Result<bool, Failure> {
        if !self.asked {
            return Ok(true);
        }
        self.tell(words::confirm(self.language()))?;
        let answer = self.answer()?;
        Ok(words::is_yes(&answer))
    }

    /// Gives each reading of the probe to `take` until it has an answer, for as long as a step may last:
    /// `None` where that is over. `told` says how the step stands.
    fn follow<Answer>(
        &mut self,
        mut take: impl FnMut(&LiveReading) -> Option<Answer>,
        mut told: impl FnMut() -> Option<String>,
    ) -> Result<Option<Answer>, Failure> {
        let limit = Duration::from_secs(self.arguments.seconds_max);
        let begun = self.clock.elapsed();
        let mut told_at = begun;
        loop {
            let now = self.clock.elapsed();
            if now.saturating_sub(begun) >= limit {
                return Ok(None);
            }
            if now.saturating_sub(told_at) >= TOLD_EVERY {
                told_at = now;
                if let Some(line) = told() {
                    self.tell(&line)?;
                }
            }
            match self.live.next(WAIT_MAX) {
                Some(LiveEvent::Reading(reading)) => {
                    if let Some(answer) = take(&reading) {
                        return Ok(Some(answer));
                    }
                }
                Some(LiveEvent::Ended { cause }) => return Err(ended(cause)),
                Some(LiveEvent::Source(source)) if !source.up => {
                    let cause = source.cause.unwrap_or_default();
                    self.tell(&format!("{}: {cause}", source.source))?;
                }
                Some(
                    LiveEvent::Begun(_)
                    | LiveEvent::Source(_)
                    | LiveEvent::Refused { .. }
                    | LiveEvent::Lost { .. },
                )
                | None => {}
            }
        }
    }

    /// Puts it on record, through the service or on the ledger itself.
    fn put(&mut self, order: Order) -> Result<Done, Failure> {
        let done = people::done(&self.loaded, order)?;
        if self.arguments.answer.json {
            let out = &mut *self.streams.out;
            serde_json::to_writer(&mut *out, &done)
                .map_err(std::io::Error::from)
                .and_then(|()| writeln!(out))
                .map_err(Failure::output)?;
        }
        Ok(done)
    }
}

fn ended(cause: String) -> Failure {
    Diagnostic::error("source-lost", "no more readings come")
        .cause(cause)
        .advice("begin again once the source is back; nothing was recorded")
        .into()
}
