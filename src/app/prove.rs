//! `prove`: one probe after the other is warmed, and what answers is put on record.

use std::collections::BTreeMap;
use std::io::{BufRead, IsTerminal};
use std::time::Duration;

use serde::Serialize;
use tokio_util::sync::CancellationToken;

use super::live::{Live, LiveEvent, Through, Wanted};
use super::logbook::Entry;
use super::order::Order;
use super::{Failure, Streams, configuration, ledger, people};
use crate::cli::ProveArgs;
use crate::config::load::Loaded;
use crate::core::channel::{Channel, Place, Role};
use crate::core::reading::Fault;
use crate::core::record::{ProvenProbe, WiringProofDone};
use crate::core::units::Celsius;
use crate::core::wiring::{Course, Finding, Found, Warmth, judge};
use crate::diagnostic::Diagnostic;
use crate::ledger::LedgerError;
use crate::report::cautions;
use crate::report::table::{WIDTH, wrapped};
use crate::runtime::clock::Clock;

/// A stretch at rest lasts at least so long and holds at least so many readings of the probe.
const REST: (Duration, usize) = (Duration::from_secs(2), 8);
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
    let courses = courses.map(|channel| (channel.name.to_string(), course(channel))).collect();
    let mut proving = Proving { live, clock: Clock::system(), stop, courses, arguments, asks };
    proving.say(streams, &[cautions::SCALD, cautions::ISOLATION, cautions::PLUMBING])?;
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
    tell(&Answer { machine: &arguments.machine, record, done: &done }, arguments.json, streams)
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

fn course(channel: &Channel) -> Course {
    Course { name: channel.name.to_string(), rest: Vec::new(), warmed: Vec::new() }
}

/// The command at work.
struct Proving<'a> {
    live: Live,
    clock: Clock,
    stop: CancellationToken,
    /// Every temperature probe of the site, by name.
    courses: BTreeMap<String, Course>,
    arguments: &'a ProveArgs,
    /// Whether somebody presses Enter before each probe.
    asks: bool,
}

impl Proving<'_> {
    /// Has one probe warmed, and says what was found.
    fn probe(
        &mut self,
        channel: &Channel,
        (place, all): (usize, usize),
        streams: &mut Streams<'_>,
    ) -> Result<ProvenProbe, Failure> {
        let name = channel.name.as_str();
        let sits = match &channel.role {
            Role::Probe(probe) => sits(probe.place),
            Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => "",
        };
        self.say(
            streams,
            &[&format!("{place} of {all}: {name}{sits}. Let its tip hang free; touch nothing yet.")],
        )?;
        if self.asks {
            self.say(streams, &["Press Enter when it does."])?;
            self.enter()?;
        }
        self.rest(name)?;
        let with = if self.arguments.water.is_some() { "a cup of the warm water" } else { "a dry hand" };
        self.say(
            streams,
            &[&format!("NOW warm the tip of {name}: hold it in {with} until something is found.")],
        )?;
        let Found { finding, seen, instead } = self.warmed(name)?;
        let (good, finding) = (finding == Finding::Answers, finding.as_str());
        let mark = if good { '✓' } else { '✗' };
        self.say(streams, &[&format!("{mark} {name} {finding}: {seen}.")])?;
        Ok(ProvenProbe { probe: name.to_owned(), good, finding: finding.to_owned(), seen, instead })
    }

    /// Says something to whoever stands at the machine.
    fn say(&self, streams: &mut Streams<'_>, sentences: &[&str]) -> Result<(), Failure> {
        let out = if self.arguments.json { &mut *streams.err } else { &mut *streams.out };
        let lines = sentences.iter().flat_map(|sentence| wrapped(sentence, WIDTH));
        let said = lines.into_iter().try_for_each(|line| writeln!(out, "{line}"));
        said.and_then(|()| out.flush()).map_err(Failure::cut_short)
    }

    fn enter(&self) -> Result<(), Failure> {
        let mut line = String::new();
        let read = std::io::stdin().lock().read_line(&mut line).map_err(Failure::output)?;
        if read == 0 || self.stop.is_cancelled() { Err(broken_off()) } else { Ok(()) }
    }

    /// Gathers what every probe shows at rest.
    fn rest(&mut self, name: &str) -> Result<(), Failure> {
        // What came while a person was waited for is no rest.
        while let Some(event) = self.live.next(Duration::ZERO) {
            self.unless_ended(&event)?;
        }
        for course in self.courses.values_mut() {
            course.rest.clear();
            course.warmed.clear();
        }
        let begun = self.clock.elapsed();
        loop {
            let passed = self.clock.elapsed().saturating_sub(begun);
            let readings = self.courses.get(name).map_or(0, |course| course.rest.len());
            if passed >= REST.0 && readings >= REST.1 || passed >= self.limit() {
                return Ok(());
            }
            self.take(|course| &mut course.rest)?;
        }
    }

    /// Gathers until what is found has stood for a while, or the time is over.
    fn warmed(&mut self, name: &str) -> Result<Found, Failure> {
        let warmth = self.arguments.water.map_or(Warmth::Hand, |water| Warmth::Water(Some(water)));
        let begun = self.clock.elapsed();
        let (mut looked, mut since) = (begun, begun);
        let mut last = None;
        loop {
            self.take(|course| &mut course.warmed)?;
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
            let stands = found.finding != Finding::Dead && now.saturating_sub(since) >= STANDS;
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
        stretch: impl Fn(&mut Course) -> &mut Vec<Result<Celsius, Fault>>,
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
            stretch(course).push(value);
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

const fn sits(place: Place) -> &'static str {
    match place {
        Place::WashTank => ", in the wash tank",
        Place::FinalRinse => ", in the final-rinse line",
        Place::Ware => ", at a ware",
        Place::Other => "",
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
fn tell(answer: &Answer<'_>, json: bool, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let record = answer.record.map_or_else(String::new, |record| format!(" [record {record}]"));
    let written = if json {
        serde_json::to_writer(&mut *streams.out, answer)
            .map_err(std::io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else if answer.done.good {
        writeln!(streams.out, "The wiring of {} is proved and on record{record}.", answer.machine)
    } else {
        writeln!(streams.out, "What was found is on record{record}.")
    };
    Failure::decided(conclude(answer), written)
}

fn conclude(answer: &Answer<'_>) -> Result<(), Failure> {
    if answer.done.good {
        return Ok(());
    }
    let wrong: Vec<&str> =
        answer.done.probes.iter().filter(|probe| !probe.good).map(|probe| probe.probe.as_str()).collect();
    Err(Diagnostic::error(
        "wiring-not-good",
        format!("the wiring of {} is not as configured", answer.machine),
    )
    .place(wrong.join(", "))
    .advice("put right what is said above, and prove it again")
    .into())
}
