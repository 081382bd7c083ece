//! `prove`: one probe after the other is warmed, and what answers is put on record.
//!
//! Each is warmed only once it is at rest, and what is found of it leaves the proofs of the other
//! probes on file as they are.

mod words;

use std::collections::BTreeMap;
use std::io::IsTerminal;
use std::ops::ControlFlow;
use std::path::Path;
use std::time::Duration;

use serde::Serialize;
use tokio_util::sync::CancellationToken;

use super::live::{Live, LiveEvent, Through, Wanted};
use super::logbook::Entry;
use super::order::Order;
use super::{Failure, Streams, ask, configuration, ledger, people, terminal};
use crate::cli::ProveArgs;
use crate::config::load::Loaded;
use crate::core::cautions;
use crate::core::channel::{Channel, Role};
use crate::core::reader::{Language, Scale};
use crate::core::reading::Fault;
use crate::core::record::{Body, ProvenProbe, WiringProofDone};
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::core::wiring::proofs::Proofs;
use crate::core::wiring::{Course, Finding, Found, Standing, Warmth, judge, not_at_rest};
use crate::diagnostic::Diagnostic;
use crate::ledger::{LedgerError, Reader};
use crate::runtime::clock::Clock;

/// How often somebody who waits is told who is not at rest yet.
const TOLD_EVERY: Duration = Duration::from_secs(5);
/// What was found must stand so long: a second probe in the same hand may answer later.
const STANDS: Duration = Duration::from_secs(5);
/// Longest wait for the next event.
const WAIT_MAX: Duration = Duration::from_millis(200);
/// Time between two looks at what was gathered: each goes through all of it, and meanwhile readings wait.
const LOOKED_EVERY: Duration = Duration::from_millis(250);

/// The answer as JSON.
#[derive(Serialize)]
struct Answer<'a> {
    machine: &'a str,
    /// Index of the record.
    record: Option<u64>,
    #[serde(flatten)]
    done: &'a WiringProofDone,
    /// What is on file of the machine by then.
    on_file: &'a OnFile,
}

/// What is on file of the wiring of every probe of a machine, names in the order of the configuration.
#[derive(Debug, Default, Serialize)]
struct OnFile {
    /// Proved in this run.
    proved: Vec<String>,
    /// Proved before, with the record.
    before: Vec<(String, u64)>,
    /// The newest proof is not good.
    not_good: Vec<String>,
    /// None is on record.
    not_proved: Vec<String>,
}

impl OnFile {
    /// Of these probes after this run; `proofs` are those before it.
    fn of(probes: &[String], mut proofs: Proofs, done: &WiringProofDone) -> Self {
        let this = u64::MAX;
        proofs.take(this, done.at, done);
        let mut file = Self::default();
        for name in probes {
            match proofs.of(name) {
                Some(proven) if !proven.found.good => file.not_good.push(name.clone()),
                Some(proven) if proven.record == this => file.proved.push(name.clone()),
                Some(proven) => file.before.push((name.clone(), proven.record)),
                None => file.not_proved.push(name.clone()),
            }
        }
        file
    }
}

/// Proves the wiring of a machine and puts on record what was found.
pub(super) fn prove(arguments: &ProveArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let asks = !arguments.yes;
    if asks && !std::io::stdin().is_terminal() {
        let diagnostic = Diagnostic::error("usage", "nobody is at a terminal who could be asked");
        return Err(diagnostic.advice("add --yes: then each probe is waited for in its turn").into());
    }
    let loaded = configuration::load(&arguments.config.files)?;
    let probes = ordered(&loaded, arguments)?;
    let live = Live::open(&loaded, &Wanted::default())?;
    if live.through() == (Through::Service { same_configuration: false }) {
        let advice = "restart the service to put the files in force, or give --config the ones it runs with";
        let summary = "the service runs with another configuration than the one given";
        return Err(Diagnostic::error("usage", summary).advice(advice).into());
    }
    let path = &loaded.configuration.ledger.path;
    if live.through() == Through::OwnSources && !path.exists() {
        return Err(ledger::diagnose(&LedgerError::Missing { path: path.clone() }, path).into());
    }
    let stop = live.stop_on_signals()?;
    let courses = live.channels().iter().filter(|channel| matches!(channel.role, Role::Probe(_)));
    let courses = courses.map(|channel| (channel.name.to_string(), Course::new(channel.name.as_str())));
    let courses = courses.collect();
    let columns = if arguments.json {
        terminal::columns(std::io::stderr())
    } else {
        terminal::columns(std::io::stdout())
    };
    let clock = Clock::system();
    let together = probes.iter().map(|channel| channel.name.to_string()).collect();
    let mut proving = Proving { live, clock, stop, courses, together, arguments, asks, columns };
    proving.say(streams, &cautions::before_work(arguments.language))?;
    let mut found = Vec::new();
    for (place, channel) in probes.iter().enumerate() {
        found.push(proving.probe(channel, (place + 1, probes.len()), streams)?);
    }
    let good = found.iter().all(|probe| probe.good);
    let (at, by) = (proving.clock.now(), arguments.by.clone());
    drop(proving);
    let done = WiringProofDone { at, probes: found, good, by };
    let entry = Entry::WiringProof { machine: arguments.machine.clone(), done: Box::new(done.clone()) };
    let record = people::done(&loaded, Order::Entry { entry })?.record;
    let before = proofs(path, &arguments.machine, record).map_err(|error| ledger::diagnose(&error, path))?;
    let on_file = OnFile::of(&all_of(&loaded, &arguments.machine), before, &done);
    let answer = Answer { machine: &arguments.machine, record, done: &done, on_file: &on_file };
    tell(&answer, arguments, columns, streams)
}

/// The proofs of a machine's wiring that are on record before this one.
fn proofs(path: &Path, machine: &str, before: Option<u64>) -> Result<Proofs, LedgerError> {
    let mut proofs = Proofs::default();
    Reader::open(path)?.records_of(&["wiring-proof"], 0, |index, _, record| {
        if let Body::WiringProof(done) = record.body
            && record.machine.as_deref() == Some(machine)
            && before.is_none_or(|before| index < before)
        {
            proofs.take(index, record.recorded, &done);
        }
        ControlFlow::Continue(())
    })?;
    Ok(proofs)
}

/// Names of the temperature probes of a machine.
fn all_of(loaded: &Loaded, machine: &str) -> Vec<String> {
    let own = loaded
        .configuration
        .channels
        .iter()
        .filter(|channel| channel.name.machine() == machine && matches!(channel.role, Role::Probe(_)));
    own.map(|channel| channel.name.to_string()).collect()
}

/// The probes of the machine that are to be warmed, in order.
fn ordered(loaded: &Loaded, arguments: &ProveArgs) -> Result<Vec<Channel>, Failure> {
    let machine = &arguments.machine;
    let is_probe =
        |channel: &&Channel| channel.name.machine() == machine && matches!(channel.role, Role::Probe(_));
    let own: Vec<Channel> = loaded.configuration.channels.iter().filter(is_probe).cloned().collect();
    let refused = |summary: String| {
        let names: Vec<&str> = own.iter().map(|channel| channel.name.probe()).collect();
        let advice = if names.is_empty() {
            "give the name of a machine that has temperature probes".to_owned()
        } else {
            format!("its probes are {}", names.join(", "))
        };
        Failure::from(Diagnostic::error("usage", summary).advice(advice))
    };
    if own.is_empty() {
        return Err(refused(format!("no temperature probe of a machine «{machine}» is configured")));
    }
    if arguments.order.is_empty() {
        return Ok(own);
    }
    let named = arguments.order.iter().map(|name| {
        let found = own.iter().find(|channel| channel.name.probe() == name || channel.name.as_str() == name);
        found.cloned().ok_or_else(|| refused(format!("{machine} has no temperature probe «{name}»")))
    });
    named.collect()
}

/// The command at work.
struct Proving<'a> {
    live: Live,
    clock: Clock,
    stop: CancellationToken,
    /// Every temperature probe of the site, by name.
    courses: BTreeMap<String, Course>,
    /// The probes that are proved in this run: all are at rest before the first is warmed.
    together: Vec<String>,
    arguments: &'a ProveArgs,
    /// Whether somebody presses Enter before each probe.
    asks: bool,
    /// Columns of the terminal that is told; `None` where there is none.
    columns: Option<usize>,
}

impl Proving<'_> {
    /// Has one probe warmed, and says what was found.
    fn probe(
        &mut self,
        channel: &Channel,
        (place, all): (usize, usize),
        streams: &mut Streams<'_>,
    ) -> Result<ProvenProbe, Failure> {
        let (name, language) = (channel.name.as_str(), self.arguments.language);
        let at = match &channel.role {
            Role::Probe(probe) => Some(probe.place),
            Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
        };
        self.say(streams, &[&words::turn(language, (place, all), name, at)])?;
        if self.asks {
            self.enter(words::press_enter(language), streams)?;
        }
        let found = match self.rest(name, place == 1, streams)? {
            Some(found) => found,
            None => {
                self.say(streams, &[&words::warm(language, name, self.arguments.water.is_some())])?;
                self.warmed(name)?
            }
        };
        let (good, finding) = (found.finding == Finding::Answers, found.finding.as_str());
        let seen = found.seen(name, language, self.arguments.scale);
        self.say(streams, &[&words::found(language, name, good, finding, &seen)])?;
        // On record it stands in English and °C, as everything there.
        let seen = found.seen(name, Language::English, Scale::Celsius);
        let (finding, instead) = (finding.to_owned(), found.instead);
        Ok(ProvenProbe { probe: name.to_owned(), good, finding, seen, instead })
    }

    /// Says something to whoever stands at the machine.
    fn say(&self, streams: &mut Streams<'_>, sentences: &[&str]) -> Result<(), Failure> {
        let out = if self.arguments.json { &mut *streams.err } else { &mut *streams.out };
        let lines = sentences.iter().map(|sentence| terminal::fitted(sentence, self.columns));
        let said = lines.into_iter().try_for_each(|line| writeln!(out, "{line}"));
        said.and_then(|()| out.flush()).map_err(Failure::cut_short)
    }

    fn enter(&self, prompt: &str, streams: &mut Streams<'_>) -> Result<(), Failure> {
        let answer = ask::line(|| self.say(streams, &[prompt]))?;
        if answer.is_none() || self.stop.is_cancelled() { Err(broken_off()) } else { Ok(()) }
    }

    /// Gathers what every probe shows until this one is at rest; before the first, until all of the run
    /// are. What was found where it does not come to rest in time.
    fn rest(&mut self, name: &str, first: bool, streams: &mut Streams<'_>) -> Result<Option<Found>, Failure> {
        // What came while a person was waited for is no rest.
        while let Some(event) = self.live.next(Duration::ZERO) {
            self.unless_ended(&event)?;
        }
        self.courses.values_mut().for_each(Course::begin_anew);
        let (language, scale) = (self.arguments.language, self.arguments.scale);
        self.say(streams, &[words::waiting(language)])?;
        let begun = self.clock.elapsed();
        let (mut looked, mut told) = (begun, begun);
        loop {
            self.take(Course::rests)?;
            let now = self.clock.elapsed();
            let over = now.saturating_sub(begun) >= self.limit();
            if !over && now.saturating_sub(looked) < LOOKED_EVERY {
                continue;
            }
            looked = now;
            let own = self.standing(name);
            let together = self.together.iter().filter(|other| first && *other != name);
            let moving = together.map(|other| (other.as_str(), self.standing(other)));
            let mut moving =
                [(name, own)].into_iter().chain(moving).filter_map(|(name, standing)| match standing {
                    Standing::Moving { c_per_min } => Some((name, c_per_min)),
                    Standing::TooFew | Standing::AtRest => None,
                });
            let moves = moving.next();
            match (own, moves) {
                (Standing::AtRest, None) => return Ok(None),
                (Standing::Moving { c_per_min }, _) if over => return Ok(Some(not_at_rest(c_per_min))),
                (Standing::TooFew | Standing::AtRest, _) if over => return Ok(None),
                (_, Some((mover, c_per_min))) if now.saturating_sub(told) >= TOLD_EVERY => {
                    told = now;
                    let line = words::still_moves(language, scale, mover, c_per_min);
                    self.say(streams, &[&line])?;
                }
                (Standing::TooFew | Standing::AtRest | Standing::Moving { .. }, _) => {}
            }
        }
    }

    fn standing(&self, name: &str) -> Standing {
        self.courses.get(name).map_or(Standing::TooFew, Course::standing)
    }

    /// Gathers until what is found has stood for a while, or the time is over.
    fn warmed(&mut self, name: &str) -> Result<Found, Failure> {
        let warmth = self.arguments.water.map_or(Warmth::Hand, |water| Warmth::Water(Some(water)));
        let begun = self.clock.elapsed();
        let (mut looked, mut since) = (begun, begun);
        let mut last = None;
        loop {
            self.take(Course::warms)?;
            let now = self.clock.elapsed();
            let over = now.saturating_sub(begun) >= self.limit();
            if !over && now.saturating_sub(looked) < LOOKED_EVERY {
                continue;
            }
            looked = now;
            let found = judge(name, warmth, self.courses.values());
            if last != Some(found.finding) {
                last = Some(found.finding);
                since = now;
            }
            // What may still come is waited for.
            let open = matches!(found.finding, Finding::Dead | Finding::NotAtRest);
            let stands = !open && now.saturating_sub(since) >= STANDS;
            if stands || over {
                return Ok(found);
            }
        }
    }

    fn limit(&self) -> Duration {
        Duration::from_secs(self.arguments.seconds_each)
    }

    /// Takes what comes next to its probe.
    fn take(
        &mut self,
        stretch: impl Fn(&mut Course, Timestamp, Result<Celsius, Fault>),
    ) -> Result<(), Failure> {
        if self.stop.is_cancelled() {
            return Err(broken_off());
        }
        let Some(event) = self.live.next(WAIT_MAX) else { return Ok(()) };
        self.unless_ended(&event)?;
        if let LiveEvent::Lost { events } = event {
            return Err(too_slow(events));
        }
        if let LiveEvent::Reading(reading) = event
            && let Some(course) = self.courses.get_mut(&reading.channel)
        {
            let value = match (reading.fault, reading.measured) {
                (Some(fault), _) => Err(fault),
                (None, Some(celsius)) => Ok(celsius),
                (None, None) => return Ok(()),
            };
            stretch(course, reading.at, value);
        }
        Ok(())
    }

    fn unless_ended(&self, event: &LiveEvent) -> Result<(), Failure> {
        let LiveEvent::Ended { cause } = event else { return Ok(()) };
        Err(Diagnostic::error("source-lost", "no more readings come; nothing was put on record")
            .cause(cause.clone())
            .advice("start the service again, and the proof anew")
            .into())
    }
}

fn broken_off() -> Failure {
    let summary = "the proof was broken off; nothing was put on record";
    Diagnostic::error("wiring-not-good", summary)
        .advice("begin it anew when the probes can be reached")
        .into()
}

/// «No other rose» is not proved by what was not looked at.
fn too_slow(events: u64) -> Failure {
    let summary = format!("{events} readings came too fast to be looked at; nothing was put on record");
    Diagnostic::error("wiring-not-good", summary)
        .advice("begin it anew, on a computer that has less to do")
        .into()
}

/// Tells what it came to; what is not as configured is no good end.
fn tell(
    answer: &Answer<'_>,
    arguments: &ProveArgs,
    columns: Option<usize>,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let written = if arguments.json {
        serde_json::to_writer(&mut *streams.out, answer)
            .map_err(std::io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else {
        let lines = words::result(arguments.language, answer.machine, answer.record, answer.on_file);
        lines.iter().try_for_each(|line| writeln!(streams.out, "{}", terminal::fitted(line, columns)))
    };
    Failure::decided(conclude(answer), written)
}

fn conclude(answer: &Answer<'_>) -> Result<(), Failure> {
    if answer.done.good {
        return Ok(());
    }
    let bad = answer.done.probes.iter().filter(|probe| !probe.good);
    let wrong: Vec<String> = bad.map(|probe| format!("{} ({})", probe.probe, probe.finding)).collect();
    let summary = format!("the wiring of {} is not proved as it is configured", answer.machine);
    Err(Diagnostic::error("wiring-not-good", summary)
        .place(wrong.join(", "))
        .advice("put right what is said above, and prove it again")
        .into())
}
