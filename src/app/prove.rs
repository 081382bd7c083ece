//! `prove`: one probe after the other is warmed, and what answers is put on record.
//!
//! Each is warmed only once it is at rest, and what is found of it leaves the proofs of the other
//! probes on file as they are.

mod words;

use std::io::IsTerminal;
use std::time::Duration;

use serde::Serialize;
use tokio_util::sync::CancellationToken;

use super::amended::Amended;
use super::live::{Live, LiveEvent, LiveReading, Through, Wanted};
use super::logbook::Entry;
use super::order::Order;
use super::proofs::proofs;
use super::technician::{AtWork, Silence};
use super::{Failure, Streams, ask, configuration, ledger, people, terminal};
use crate::cli::ProveArgs;
use crate::config::load::Loaded;
use crate::core::cautions;
use crate::core::channel::{Place, Role};
use crate::core::id::ChannelName;
use crate::core::reader::Language;
use crate::core::record::WiringProofDone;
use crate::core::technician::Value;
use crate::core::technician::proving::{LOOKED_EVERY, Proving, StepSeen};
use crate::core::technician::words::{self as technician_words, degrees};
use crate::core::wiring::proofs::Proofs;
use crate::core::wiring::{self, Finding, Found, Warmth};
use crate::diagnostic::Diagnostic;
use crate::ledger::{LedgerError, ReadOn, Reader};
use crate::runtime::clock::Clock;

/// How often somebody who waits is told who is not at rest yet.
const TOLD_EVERY: Duration = Duration::from_secs(5);
/// Longest wait for the next event.
const WAIT_MAX: Duration = Duration::from_millis(200);
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
    let warmth = warmth(arguments)?;
    let asks = !arguments.yes;
    if asks && !std::io::stdin().is_terminal() {
        let diagnostic = Diagnostic::error("usage", "nobody is at a terminal who could be asked");
        return Err(diagnostic.advice("add --yes: then each probe is waited for in its turn").into());
    }
    let loaded = configuration::load(&arguments.config.files)?;
    let probes = ordered(&loaded, arguments)?;
    let live = Live::open(&loaded, &Wanted::default())?;
    if live.is_configured_otherwise() {
        let advice = "restart the service to put the files in force, or give --config the ones it runs with";
        let summary = "the service runs with another configuration than the one given";
        return Err(Diagnostic::error("usage", summary).advice(advice).into());
    }
    let path = &loaded.configuration.ledger.path;
    if live.through() == Through::OwnSources && !path.exists() {
        return Err(ledger::diagnose(&LedgerError::Missing { path: path.clone() }, path).into());
    }
    let why = format!("proof of the wiring of {}", arguments.machine);
    let at_work = AtWork::begin(&live, &loaded, &arguments.machine, (&arguments.by, why))?;
    let columns = if arguments.json {
        terminal::columns(std::io::stderr())
    } else {
        terminal::columns(std::io::stdout())
    };
    let outcome = proved(&loaded, live, (probes, warmth), at_work.as_ref(), (arguments, columns), streams);
    let Some(told) = at_work.and_then(|at_work| at_work.end(arguments.language)) else { return outcome };
    let to = if arguments.json { &mut *streams.err } else { &mut *streams.out };
    Failure::decided(outcome, writeln!(to, "{}", terminal::fitted(&told, columns)))
}

fn proved(
    loaded: &Loaded,
    live: Live,
    (order, warmth): (Vec<(String, Place)>, Warmth),
    at_work: Option<&AtWork>,
    (arguments, columns): (&ProveArgs, Option<usize>),
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let stop = live.stop_on_signals()?;
    let site = live.channels().iter().filter(|channel| matches!(channel.role, Role::Probe(_)));
    let site: Vec<String> = site.map(|channel| channel.name.to_string()).collect();
    let turns_of = order.len();
    let work = Proving::new(order, site, warmth).lasting(Duration::from_secs(arguments.seconds_each));
    let asks = !arguments.yes;
    let clock = live.clock(loaded);
    let mut turns = Turns { live, clock, stop, work, silence: Silence::default(), arguments, asks, columns };
    if turns.live.is_simulated() {
        turns.say(streams, &[&format!("! {}", technician_words::simulated(arguments.language))])?;
    }
    if let Some(at_work) = at_work {
        turns.say(streams, &[&at_work.told(arguments.language)])?;
    }
    turns.say(streams, &cautions::before_work(arguments.language))?;
    for place in 0..turns_of {
        turns.probe(place, streams)?;
    }
    let Turns { live, clock, work, .. } = turns;
    // What is put on record needs no more readings.
    drop(live);
    let probes = work.result().unwrap_or_default();
    let good = probes.iter().all(|probe| probe.good);
    let done = WiringProofDone { at: clock.now(), probes, good, by: arguments.by.clone() };
    let entry = Entry::WiringProof { machine: arguments.machine.clone(), done: Box::new(done.clone()) };
    let record = people::done(loaded, Order::Entry { entry })?.record;
    let path = &loaded.configuration.ledger.path;
    let before = Reader::open(path)
        .and_then(|reader| proofs(&reader, &arguments.machine, record, &Amended::whole(&reader)?));
    let before = before.map_err(|error| ledger::diagnose(&error, path))?;
    let on_file = OnFile::of(&all_of(loaded, &arguments.machine), before, &done);
    let answer = Answer { machine: &arguments.machine, record, done: &done, on_file: &on_file };
    tell(&answer, arguments, columns, streams)
}

/// With what the probes are warmed. Nobody is told to hold a hand in water that scalds.
fn warmth(arguments: &ProveArgs) -> Result<Warmth, Failure> {
    let Some(water) = arguments.water else { return Ok(Warmth::Hand) };
    Warmth::of_water(water).ok_or_else(|| {
        let shown = degrees(arguments.scale, water.0);
        Diagnostic::error("usage", format!("water of {shown} is not for a proof by hand"))
            .place("--water")
            .cause(wiring::water_for_hands(Language::English))
            .advice("let it cool or warm it, and measure it anew; or leave --water out and use a dry hand")
            .into()
    })
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

/// The probes of the machine that are to be warmed, in order, each with where it sits.
fn ordered(loaded: &Loaded, arguments: &ProveArgs) -> Result<Vec<(String, Place)>, Failure> {
    let machine = &arguments.machine;
    let own = loaded.configuration.channels.iter().filter(|channel| channel.name.machine() == machine);
    let own: Vec<(&ChannelName, Place)> = own
        .filter_map(|channel| match &channel.role {
            Role::Probe(probe) => Some((&channel.name, probe.place)),
            Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
        })
        .collect();
    let refused = |summary: String| {
        let names: Vec<&str> = own.iter().map(|(name, _)| name.probe()).collect();
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
        return Ok(own.into_iter().map(|(name, place)| (name.to_string(), place)).collect());
    }
    let named = arguments.order.iter().map(|asked| {
        let found = own.iter().find(|(name, _)| name.probe() == asked || name.as_str() == asked);
        found
            .map(|(name, place)| (name.to_string(), *place))
            .ok_or_else(|| refused(format!("{machine} has no temperature probe «{asked}»")))
    });
    named.collect()
}

/// The command at work.
struct Turns<'a> {
    live: Live,
    clock: Clock,
    stop: CancellationToken,
    work: Proving,
    silence: Silence,
    arguments: &'a ProveArgs,
    /// Whether somebody presses Enter before each probe.
    asks: bool,
    /// Columns of the terminal that is told; `None` where there is none.
    columns: Option<usize>,
}

impl Turns<'_> {
    /// Has the probe of this place warmed, and says what was found.
    fn probe(&mut self, place: usize, streams: &mut Streams<'_>) -> Result<(), Failure> {
        let language = self.arguments.language;
        let all = self.work.stands().probes;
        let Some((name, at, _)) = all.get(place) else { return Ok(()) };
        self.say(streams, &[&words::turn(language, (place + 1, all.len()), name, *at)])?;
        if self.asks {
            self.enter(words::press_enter(language), streams)?;
            // What was measured while a person was waited for is no rest.
            let silence = &mut self.silence;
            self.live.pass_over(&self.clock, |event| {
                silence.take(event);
                unless_ended(event)
            })?;
        }
        self.work.hangs(self.clock.elapsed());
        self.say(streams, &[words::waiting(language)])?;
        let found = self.found(place, name, streams)?;
        if let Some(excuse) = self.silence.excuse(name, &found) {
            return Err(excuse.diagnostic(name).into());
        }
        let (good, finding) = (found.finding == Finding::Answers, found.finding.as_str());
        let seen = found.seen(name, language, self.arguments.scale);
        self.say(streams, &[&words::found(language, name, good, finding, &seen)])
    }

    /// Waits until something is found of a probe, and says meanwhile what is to be done.
    fn found(&mut self, place: usize, name: &str, streams: &mut Streams<'_>) -> Result<Found, Failure> {
        let (language, scale) = (self.arguments.language, self.arguments.scale);
        let begun = self.clock.elapsed();
        let (mut looked, mut told, mut warming) = (begun, begun, false);
        loop {
            self.hear()?;
            let now = self.clock.elapsed();
            if now.saturating_sub(looked) < LOOKED_EVERY {
                continue;
            }
            looked = now;
            self.work.tick(now);
            let mut stands = self.work.stands();
            if let Some(found) = stands.probes.get_mut(place).and_then(|(_, _, found)| found.take()) {
                return Ok(found);
            }
            match stands.step {
                Some(StepSeen::Warming) if !warming => {
                    warming = true;
                    self.say(streams, &[&words::warm(language, name, self.arguments.water.is_some())])?;
                }
                Some(StepSeen::Resting(Some((mover, c_per_min))))
                    if now.saturating_sub(told) >= TOLD_EVERY =>
                {
                    told = now;
                    let said = technician_words::still_moves(language, scale, name, (&mover, c_per_min));
                    self.say(streams, &[&said])?;
                }
                Some(StepSeen::Hanging | StepSeen::Resting(_) | StepSeen::Warming) | None => {}
            }
        }
    }

    /// Says something to whoever stands at the machine.
    fn say(&self, streams: &mut Streams<'_>, sentences: &[&str]) -> Result<(), Failure> {
        let out = if self.arguments.json { &mut *streams.err } else { &mut *streams.out };
        let lines = sentences.iter().map(|sentence| terminal::fitted(sentence, self.columns));
        let said = lines.into_iter().try_for_each(|line| writeln!(out, "{line}"));
        said.and_then(|()| out.flush()).map_err(Failure::cut_short)
    }

    fn enter(&self, prompt: &str, streams: &mut Streams<'_>) -> Result<(), Failure> {
        let answer = ask::line(&self.stop, || self.say(streams, &[prompt]))?;
        if answer.is_none() || self.stop.is_cancelled() { Err(broken_off()) } else { Ok(()) }
    }

    /// Takes what comes next to its probe.
    fn hear(&mut self) -> Result<(), Failure> {
        if self.stop.is_cancelled() {
            return Err(broken_off());
        }
        let Some(event) = self.live.next(WAIT_MAX) else { return Ok(()) };
        self.silence.take(&event);
        unless_ended(&event)?;
        if let LiveEvent::Lost { events } = event {
            return Err(too_slow(events));
        }
        if let LiveEvent::Reading(reading) = event {
            let LiveReading { at, measured, fault, .. } = reading;
            self.work.hear(&reading.channel, Value { at, measured, fault });
        }
        Ok(())
    }
}

fn unless_ended(event: &LiveEvent) -> Result<(), Failure> {
    let LiveEvent::Ended { cause } = event else { return Ok(()) };
    Err(Diagnostic::error("source-lost", "no more readings come; nothing was put on record")
        .cause(cause.clone())
        .advice("start the service again, and the proof anew")
        .into())
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
