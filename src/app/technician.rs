//! `calibrate` and `respond`: what a technician does at one probe, step by step, by live readings.
//!
//! Both only ask for a record; what counts of it is worked out where it is entered. A session
//! that is refused, or that nobody confirms, changes nothing. SIGINT and SIGTERM end one in order, so that
//! the machine is under work no longer than it has to be.

mod at_work;
mod calibrate;
mod respond;
mod silence;

use std::io::{IsTerminal, Write};
use std::time::Duration;

use serde_json::json;
use tokio_util::sync::CancellationToken;

pub(super) use self::at_work::AtWork;
pub(super) use self::calibrate::{calibrate, holds_until};
pub(super) use self::respond::respond;
pub(super) use self::silence::{Excuse, Silence};
use super::live::{Live, LiveEvent, LiveReading, UnitSeen, Wanted};
use super::order::{Done, Order};
use super::{Failure, Streams, ask, configuration, in_force, ledger, people, terminal};
use crate::cli::TechnicianArgs;
use crate::config::load::Loaded;
use crate::core::channel::{Channel, Probe, Role};
use crate::core::reader::Language;
use crate::core::technician::{refusals, words};
use crate::diagnostic::Diagnostic;
use crate::ledger::LedgerError;
use crate::runtime::clock::Clock;

/// Longest wait for the first reading of a probe while a source is down (own choice: a port that is plugged in
/// meanwhile is found within it).
const SILENT_MAX: Duration = Duration::from_secs(10);
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
    /// The machine is under work; `None` where no service runs.
    at_work: Option<AtWork>,
    /// That of the service, where readings come through it.
    clock: Clock,
    /// Cancelled by SIGINT and SIGTERM.
    stop: CancellationToken,
    silence: Silence,
    /// The slug of what is refused.
    slug: &'static str,
    /// Whether a person can answer.
    asked: bool,
    /// Columns of the terminal that is told; `None` where there is none.
    columns: Option<usize>,
    streams: &'a mut Streams<'s>,
}

impl<'s, 'a> Session<'s, 'a> {
    /// Begins to listen to the probe, and puts its machine under work; `what` is done there, in English, and
    /// refused by this slug.
    fn begin(
        (what, slug): (&str, &'static str),
        arguments: &'a TechnicianArgs,
        streams: &'a mut Streams<'s>,
    ) -> Result<Self, Failure> {
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
        if live.is_configured_otherwise() {
            let summary = "the service runs with another configuration than the one given";
            let advice =
                "restart the service to put the files in force, or give --config the ones it runs with";
            return Err(Diagnostic::error("usage", summary).advice(advice).into());
        }
        let columns = columns(arguments);
        let (clock, stop) = (live.clock(&loaded), live.stop_on_signals()?);
        let why = format!("{what} of {name}");
        let at_work = AtWork::begin(&live, &loaded, channel.name.machine(), (&arguments.by, why))?;
        let mut session = Self {
            arguments,
            loaded,
            channel,
            probe,
            live,
            at_work,
            clock,
            stop,
            silence: Silence::default(),
            slug,
            asked,
            columns,
            streams,
        };
        if session.live.is_simulated() {
            session.tell(&format!("! {}", words::simulated(session.language())))?;
        }
        if let Some(at_work) = &session.at_work {
            let told = at_work.told(session.language());
            session.tell(&format!("! {told}"))?;
        }
        Ok(session)
    }

    /// Ends the work at the machine, however the session came out.
    fn leave(mut self, outcome: Result<(), Failure>) -> Result<(), Failure> {
        let language = self.language();
        let told = self.at_work.take().and_then(|at_work| at_work.end(language));
        let Some(told) = told else { return outcome };
        let to: &mut dyn Write = if self.arguments.answer.json { self.streams.err } else { self.streams.out };
        Failure::decided(outcome, writeln!(to, "{}", terminal::fitted(&told, self.columns)))
    }

    const fn language(&self) -> Language {
        self.arguments.answer.language
    }

    /// Tells the person at the machine something: beside the answer, where that is for a program.
    fn tell(&mut self, text: &str) -> Result<(), Failure> {
        let to: &mut dyn Write = if self.arguments.answer.json { self.streams.err } else { self.streams.out };
        let text = terminal::fitted(text, self.columns);
        writeln!(to, "{text}").and_then(|()| to.flush()).map_err(Failure::cut_short)
    }

    /// Tells what is on record by now: nothing is left to do where nobody reads it.
    fn tell_recorded(&mut self, text: &str) -> Result<(), Failure> {
        writeln!(self.streams.out, "{}", terminal::fitted(text, self.columns)).map_err(Failure::output)
    }

    /// Refuses what was asked for, see [`refuse`].
    fn refused(&mut self, refusal: &Refusal) -> Result<Failure, Failure> {
        refuse(self.arguments, self.streams, refusal)
    }

    /// Waits for a person to press Enter, where there is one; what was measured meanwhile counts no more, and
    /// neither does what was on its way then.
    fn wait_for_person(&mut self, prompt: &str) -> Result<(), Failure> {
        if !self.asked {
            return Ok(());
        }
        let answer = ask::line(&self.stop.clone(), || self.tell(prompt))?;
        self.unless_stopped()?;
        answer.ok_or_else(closed)?;
        let silence = &mut self.silence;
        self.live.pass_over(&self.clock, |event| {
            silence.take(event);
            if let LiveEvent::Ended { cause } = event { Err(ended(cause.clone())) } else { Ok(()) }
        })
    }

    /// Whether the record is wanted.
    fn is_confirmed(&mut self) -> Result<bool, Failure> {
        if !self.asked {
            return Ok(true);
        }
        let language = self.language();
        let (question, expected) = (words::confirm(language), words::yes_or_no(language));
        let answer = ask::decision(&self.stop.clone(), question, expected, |text| self.tell(text))?;
        self.unless_stopped()?;
        answer.ok_or_else(closed)
    }

    /// Nothing more is done once a signal came.
    fn unless_stopped(&self) -> Result<(), Failure> {
        if !self.stop.is_cancelled() {
            return Ok(());
        }
        let summary = format!("the work at {} was broken off; nothing was recorded", self.arguments.probe);
        Err(Diagnostic::error(self.slug, summary)
            .advice("begin it anew when the probe can be reached")
            .into())
    }

    /// Gives each reading of the probe to `take` until it has an answer, for as long as a step may last:
    /// `None` where that is over. `told` says how the step stands.
    fn follow<Answer>(
        &mut self,
        mut take: impl FnMut(Heard<'_>) -> Option<Answer>,
        mut told: impl FnMut() -> Option<String>,
    ) -> Result<Option<Answer>, Failure> {
        let limit = Duration::from_secs(self.arguments.seconds_max);
        let begun = self.clock.elapsed();
        let mut told_at = begun;
        loop {
            self.unless_stopped()?;
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
            let event = self.live.next(WAIT_MAX);
            if let Some(event) = &event {
                self.silence.take(event);
            }
            if now.saturating_sub(begun) >= SILENT_MAX {
                self.silence.unless_of_source(&self.arguments.probe)?;
            }
            match event {
                Some(LiveEvent::Reading(reading)) => {
                    if let Some(answer) = take(Heard::Reading(&reading)) {
                        return Ok(Some(answer));
                    }
                }
                Some(LiveEvent::Lost { events }) => {
                    if let Some(answer) = take(Heard::Lost(events)) {
                        return Ok(Some(answer));
                    }
                    let told = words::lost(self.language(), events);
                    self.tell(&told)?;
                }
                Some(LiveEvent::Ended { cause }) => return Err(ended(cause)),
                Some(LiveEvent::Source(source)) if !source.up => {
                    let cause = source.cause.unwrap_or_default();
                    self.tell(&format!("{}: {cause}", source.source))?;
                }
                Some(LiveEvent::Unit(unit)) => {
                    if let Some(told) = unit_told(self.language(), &unit) {
                        self.tell(&told)?;
                    }
                }
                Some(LiveEvent::Begun(_) | LiveEvent::Source(_) | LiveEvent::Refused { .. }) | None => {}
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

/// What a step hears of its probe.
enum Heard<'r> {
    /// A reading.
    Reading(&'r LiveReading),
    /// So many readings were lost on the way.
    Lost(u64),
}

/// Why nothing is put on record: what it is about, and in each language why and what to do.
struct Refusal {
    slug: &'static str,
    english: (String, &'static str),
    spanish: (String, &'static str),
}

impl Refusal {
    /// By what gives reason and advice in a language.
    fn new(slug: &'static str, words: impl Fn(Language) -> (String, &'static str)) -> Self {
        Self { slug, english: words(Language::English), spanish: words(Language::Spanish) }
    }

    const fn in_language(&self, language: Language) -> (&str, &'static str) {
        let (summary, advice) = match language {
            Language::English => &self.english,
            Language::Spanish => &self.spanish,
        };
        (summary.as_str(), advice)
    }
}

/// Width of the terminal in which people are told.
fn columns(arguments: &TechnicianArgs) -> Option<usize> {
    if arguments.answer.json {
        terminal::columns(std::io::stderr())
    } else {
        terminal::columns(std::io::stdout())
    }
}

/// Refuses what was asked for: in Spanish beside the message, which is English as every message is.
fn refuse(
    arguments: &TechnicianArgs,
    streams: &mut Streams<'_>,
    refusal: &Refusal,
) -> Result<Failure, Failure> {
    let json = arguments.answer.json;
    if arguments.answer.language == Language::Spanish {
        let (summary, advice) = refusal.in_language(Language::Spanish);
        let nothing = refusals::nothing_recorded(Language::Spanish);
        let told = terminal::fitted(&format!("✗ {summary}; {advice}; {nothing}."), columns(arguments));
        let to: &mut dyn Write = if json { streams.err } else { streams.out };
        writeln!(to, "{told}").and_then(|()| to.flush()).map_err(Failure::cut_short)?;
    }
    let (summary, advice) = refusal.in_language(Language::English);
    if json {
        let why = json!({ "slug": refusal.slug, "why": summary, "do": advice });
        writeln!(streams.out, "{}", json!({ "probe": &arguments.probe, "record": null, "refused": why }))
            .map_err(Failure::output)?;
    }
    let nothing = refusals::nothing_recorded(Language::English);
    Ok(Diagnostic::error(refusal.slug, summary).advice(advice).advice(nothing).into())
}

fn closed() -> Failure {
    Diagnostic::error("usage", "the terminal was closed before an answer came")
        .advice("begin again; nothing was recorded")
        .into()
}

/// That the unit of the probe does not answer; `None` where it does.
fn unit_told(language: Language, seen: &UnitSeen) -> Option<String> {
    super::watch::words::unit(language, seen.unit, seen.state).map(|told| format!("  {told}"))
}

fn ended(cause: String) -> Failure {
    Diagnostic::error("source-lost", "no more readings come")
        .cause(cause)
        .advice("begin again once the source is back; nothing was recorded")
        .into()
}
