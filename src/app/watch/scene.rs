//! What is known of each probe while it is watched, in the words in which it is shown.

use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;

use super::strip::{STRIP_S, strip};
use super::words;
use crate::app::live::{LiveEvent, LiveReading, SourceSeen, UnitSeen};
use crate::core::channel::{Channel, Role};
use crate::core::counted::Noun;
use crate::core::presence::{Recency, is_silent};
use crate::core::reader::{Language, Scale};
use crate::core::reading::Value;
use crate::core::technician::gauge::Trend;
use crate::core::technician::told;
use crate::core::time::Timestamp;
use crate::probe::UnitState;

/// Readings kept for the strip: a minute at 100 Hz.
const TRACE_MAX: usize = 6_000;
/// A probe's clock that has stepped back by more than this begins its trace anew, s.
const STEP_BACK_S: f64 = 5.0;
/// What the rate of arrival is taken from, s, where two arrivals lie in it.
const RATE_S: f64 = 20.0;
/// Arrivals kept for that.
const ARRIVALS_MAX: usize = 512;
/// A source's clock counts as wrong from here on, s (own choice; what is from the future by more
/// than the configuration allows is not recorded).
const CLOCK_OFF_S: f64 = 30.0;
/// Refused names that are kept.
const REFUSED_MAX: usize = 8;

/// What stands for a value that is not there.
pub(super) const NO_VALUE: &str = "–";

/// Everything that is watched. Times of the listener are those of a clock that never steps.
#[derive(Debug)]
pub(super) struct Scene {
    probes: Vec<ProbeSeen>,
    language: Language,
    sources: BTreeMap<String, SourceSeen>,
    /// Source, what, why, how often; the newest last.
    refused: VecDeque<(String, String, String, u64)>,
    lost: u64,
    /// Whether the service runs with another configuration than the one given.
    pub(super) other_configuration: bool,
    /// Why nothing else comes.
    pub(super) ended: Option<String>,
}

#[derive(Debug)]
struct ProbeSeen {
    name: String,
    role: Role,
    language: Language,
    /// How the unit on its line answers, where it is one of several.
    unit: Option<UnitSeen>,
    /// When it had a value last, by the listener's clock.
    valued: Option<Duration>,
    last: Option<LiveReading>,
    /// When it was heard last, by the listener's clock.
    heard: Duration,
    /// By the source's time.
    trace: VecDeque<(Timestamp, f64)>,
    /// How many readings arrived when.
    arrivals: VecDeque<(Timestamp, u32)>,
    /// Heard since the last row in lines.
    news: bool,
    /// Whether its row of before told of its now.
    counted: bool,
}

/// One probe as it is shown.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Row {
    /// Its name.
    pub(super) name: String,
    /// Its value with the unit.
    pub(super) value: String,
    /// Arrow and word; empty where it cannot be said.
    pub(super) trend: &'static str,
    /// The last minute.
    pub(super) strip: String,
    /// Readings a second.
    pub(super) rate: String,
    /// Age of its value, or, where that is of now, the time since it was heard.
    pub(super) age: String,
    /// That age in words, where the value is too old to be shown without it.
    pub(super) aged: Option<String>,
    /// What is wrong, and where to look.
    pub(super) trouble: Option<String>,
}

impl Scene {
    /// Nothing was heard of these channels yet; `now` is the listener's clock.
    pub(super) fn new(channels: &[Channel], language: Language, now: Duration) -> Self {
        let probes = channels
            .iter()
            .map(|channel| ProbeSeen {
                name: channel.name.to_string(),
                role: channel.role.clone(),
                language,
                unit: None,
                valued: None,
                last: None,
                heard: now,
                trace: VecDeque::new(),
                arrivals: VecDeque::new(),
                news: false,
                counted: true,
            })
            .collect();
        Self {
            probes,
            language,
            sources: BTreeMap::new(),
            refused: VecDeque::new(),
            lost: 0,
            other_configuration: false,
            ended: None,
        }
    }

    /// Takes what happened at `now` by the listener's clock.
    pub(super) fn take(&mut self, event: LiveEvent, now: Duration) {
        match event {
            LiveEvent::Reading(reading) => {
                if let Some(probe) = self.probes.iter_mut().find(|probe| probe.name == reading.channel) {
                    probe.take(reading, now);
                }
            }
            LiveEvent::Unit(seen) => {
                for probe in self.probes.iter_mut().filter(|probe| seen.channels.contains(&probe.name)) {
                    probe.unit = Some(seen.clone());
                    probe.news = true;
                }
            }
            LiveEvent::Source(seen) => {
                // What its units answered is over; they say so anew once it is back.
                if !seen.up {
                    let of = |unit: &UnitSeen| unit.source == seen.source;
                    self.probes
                        .iter_mut()
                        .for_each(|probe| probe.unit = probe.unit.take().filter(|unit| !of(unit)));
                }
                self.sources.insert(seen.source.clone(), seen);
            }
            LiveEvent::Refused { source, what, why } => self.refuse(source, what, why),
            LiveEvent::Lost { events } => self.lost += events,
            LiveEvent::Ended { cause } => self.ended = Some(cause),
            LiveEvent::Begun(_) => {}
        }
    }

    fn refuse(&mut self, source: String, what: String, why: String) {
        // A line is refused with its value: one entry for each name.
        let what = what.split_whitespace().next().unwrap_or_default().to_owned();
        let same = |entry: &&mut (String, String, String, u64)| entry.1 == what && entry.2 == why;
        if let Some(known) = self.refused.iter_mut().find(same) {
            known.3 += 1;
            return;
        }
        if self.refused.len() >= REFUSED_MAX {
            self.refused.pop_front();
        }
        self.refused.push_back((source, what, why, 1));
    }

    /// Every probe at `now`, with a strip of this width.
    pub(super) fn rows(&self, now: Duration, scale: Scale, strip_width: usize) -> Vec<Row> {
        self.probes.iter().map(|probe| probe.row(now, scale, strip_width)).collect()
    }

    /// The probes that were heard, or whose value has become old, since this was asked last.
    pub(super) fn news(&mut self, now: Duration, scale: Scale, strip_width: usize) -> Vec<Row> {
        let mut rows = Vec::new();
        for probe in &mut self.probes {
            let counts = probe.counts(now);
            if std::mem::take(&mut probe.news) || counts != probe.counted {
                rows.push(probe.row(now, scale, strip_width));
            }
            probe.counted = counts;
        }
        rows
    }

    /// What is to be known beside the probes, the most urgent first.
    pub(super) fn notes(&self) -> Vec<String> {
        let english = self.language == Language::English;
        let mut notes = Vec::new();
        notes.extend(self.ended.iter().map(|cause| {
            let begin = words::say(self.language, "no more readings come", "no llegan más lecturas");
            format!("{begin}: {cause}")
        }));
        if self.other_configuration {
            let (english, spanish) = (
                "the service runs with ANOTHER configuration: restart it",
                "el servicio usa OTRA configuración: reinícielo",
            );
            notes.push(words::say(self.language, english, spanish).to_owned());
        }
        for SourceSeen { source, cause, .. } in self.sources.values().filter(|seen| !seen.up) {
            let unsaid = words::say(self.language, "it does not say why", "no dice por qué");
            let cause = cause.as_deref().unwrap_or(unsaid);
            notes.push(if english {
                format!("source «{source}» is down: {cause}")
            } else {
                format!("la fuente «{source}» está caída: {cause}")
            });
        }
        for unit in self.probes.iter().filter_map(|probe| probe.unit.as_ref()) {
            let note = words::unit_note(self.language, &unit.source, unit.unit, unit.state);
            notes.extend(note.filter(|note| !notes.contains(note)));
        }
        for probe in &self.probes {
            notes.extend(probe.clock_note());
        }
        for (source, what, why, count) in self.refused.iter().rev() {
            notes.push(if english {
                format!("{count} × «{what}» from «{source}» is not taken: {why}")
            } else {
                format!("{count} × «{what}» de «{source}» no se acepta: {why}")
            });
        }
        if self.lost > 0 {
            let lost = Noun::Readings.of(self.lost, self.language);
            notes.push(if english {
                format!("not shown: {lost}; this terminal is too slow")
            } else {
                format!("sin mostrar: {lost}; este terminal es demasiado lento")
            });
        }
        notes
    }
}

impl ProbeSeen {
    fn take(&mut self, reading: LiveReading, now: Duration) {
        if let Some(celsius) = reading.corrected {
            let stepped = |(last, _): &(Timestamp, f64)| last.seconds_since(reading.at) > STEP_BACK_S;
            if self.trace.back().is_some_and(stepped) {
                self.trace.clear();
            }
            self.trace.push_back((reading.at, celsius.0));
            let old = |(at, _): &(Timestamp, f64)| reading.at.seconds_since(*at) > STRIP_S;
            while self.trace.len() > TRACE_MAX || self.trace.front().is_some_and(old) {
                self.trace.pop_front();
            }
        }
        match self.arrivals.back_mut() {
            Some((arrived, count)) if *arrived == reading.arrived => *count += 1,
            Some(_) | None => self.arrivals.push_back((reading.arrived, 1)),
        }
        let old = |(at, _): &(Timestamp, u32)| reading.arrived.seconds_since(*at) > RATE_S;
        while self.arrivals.len() > ARRIVALS_MAX
            || self.arrivals.len() > 2 && self.arrivals.front().is_some_and(old)
        {
            self.arrivals.pop_front();
        }
        if reading.fault.is_none() {
            self.valued = Some(now);
        }
        self.last = Some(reading);
        self.heard = now;
        self.news = true;
    }

    fn row(&self, now: Duration, scale: Scale, strip_width: usize) -> Row {
        let age = now.saturating_sub(self.heard);
        let Some(last) = &self.last else {
            return self.unheard(age, now);
        };
        let (in_gateway_time, recency) = (last.arrived.plus(age), self.recency(now));
        // The source's clock may be off: what arrived last was measured just then.
        let shift_s = last.arrived.seconds_since(last.at);
        let by_gateway = self.trace.iter().map(|(at, celsius)| (moved(*at, shift_s), *celsius));
        let trend = match last.corrected {
            Some(_) => {
                Trend::of(self.trace.iter().copied()).map_or("", |trend| told::trend(self.language, trend))
            }
            None => "",
        };
        Row {
            name: self.name.clone(),
            value: self.value(last, scale),
            trend,
            strip: strip(by_gateway, in_gateway_time, strip_width),
            rate: self.rate(),
            age: span(recency.and_then(told_age).unwrap_or(age)),
            aged: recency.and_then(|recency| told::aged(self.language, recency)),
            trouble: self.trouble(last, now),
        }
    }

    /// Checks and run signals come when there is something to say.
    fn unheard(&self, age: Duration, now: Duration) -> Row {
        let (trend, trouble) = match (self.unit_trouble(now), &self.role) {
            (Some(told), _) => ("", Some(told)),
            (None, Role::Probe(_) | Role::ColdJunction { .. }) => {
                let nothing = words::say(self.language, "nothing heard for", "sin noticias desde hace");
                ("", Some(format!("{nothing} {}", span(age))))
            }
            (None, Role::Running | Role::Concentration | Role::Ph) => {
                (words::say(self.language, "none yet", "aún nada"), None)
            }
        };
        let nothing = String::new;
        let (name, value) = (self.name.clone(), NO_VALUE.to_owned());
        Row { name, value, trend, strip: nothing(), rate: nothing(), age: nothing(), aged: None, trouble }
    }

    fn value(&self, last: &LiveReading, scale: Scale) -> String {
        match (last.corrected, last.delivered, &self.role) {
            (Some(celsius), _, _) => format!("{:.1} {}", scale.temperature(celsius.0), scale.symbol()),
            (None, Value::Flag(true), _) => "ON".to_owned(),
            (None, Value::Flag(false), _) => "OFF".to_owned(),
            (None, Value::Number(number), Role::Concentration) => format!("{number} mg/L"),
            (None, Value::Number(number), Role::Ph) => format!("pH {number}"),
            (None, Value::Number(_) | Value::Fault(_), _) => NO_VALUE.to_owned(),
        }
    }

    /// What its unit does in place of answering, and since when it does.
    fn unit_trouble(&self, now: Duration) -> Option<String> {
        let seen = self.unit.as_ref()?;
        let told = words::unit(self.language, seen.unit, seen.state)?;
        let last = match seen.state {
            UnitState::Silent | UnitState::Late => {
                words::last(self.language, self.valued.map(|valued| span(now.saturating_sub(valued))))
            }
            UnitState::Answers | UnitState::Garbled | UnitState::Refuses { .. } => String::new(),
        };
        Some(format!("{told}{last}"))
    }

    /// How far its newest value tells of `now`; `None` where it has none, and of what is no probe.
    fn recency(&self, now: Duration) -> Option<Recency> {
        let (last, silent_after) = (self.last.as_ref()?, self.silent_after()?);
        let in_gateway_time = last.arrived.plus(now.saturating_sub(self.heard));
        Some(Recency::of(in_gateway_time, last.at, last.arrived, silent_after))
    }

    const fn silent_after(&self) -> Option<Duration> {
        match &self.role {
            Role::Probe(probe) => Some(probe.silent_after),
            Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
        }
    }

    /// Whether what it shows is so at `now`; one that was never heard is waited for as long as it may be silent.
    fn counts(&self, now: Duration) -> bool {
        let waited = || self.silent_after().map(|most| is_silent(now.saturating_sub(self.heard), most));
        self.recency(now).map_or_else(|| waited() != Some(true), Recency::counts)
    }

    fn trouble(&self, last: &LiveReading, now: Duration) -> Option<String> {
        if let Some(told) = self.unit_trouble(now) {
            return Some(told);
        }
        let valued = last.corrected.is_some();
        let old = self
            .recency(now)
            .and_then(|recency| told::old(self.language, recency, valued))
            .map(|old| old.to_string());
        old.or_else(|| last.fault.map(|fault| told::fault(self.language, fault).to_owned()))
    }

    fn rate(&self) -> String {
        let (Some((first, _)), Some((last, _))) = (self.arrivals.front(), self.arrivals.back()) else {
            return String::new();
        };
        let readings: u32 = self.arrivals.iter().skip(1).map(|(_, count)| count).sum();
        let span_s = last.seconds_since(*first);
        if readings == 0 || span_s <= 0.0 {
            return String::new();
        }
        let per_s = f64::from(readings) / span_s;
        if per_s >= 0.5 { format!("{per_s:.1}/s") } else { format!("1 in {:.0} s", 1.0 / per_s) }
    }

    fn clock_note(&self) -> Option<String> {
        let last = self.last.as_ref()?;
        let ahead_s = last.at.seconds_since(last.arrived);
        if ahead_s.abs() < CLOCK_OFF_S {
            return None;
        }
        let off = span(Duration::from_secs_f64(ahead_s.abs()));
        let name = &self.name;
        Some(match (self.language, ahead_s > 0.0) {
            (Language::English, true) => {
                format!("{name}: its clock is {off} ahead; what is stamped too far ahead is not recorded")
            }
            (Language::English, false) => {
                format!("{name}: its clock is {off} behind, or it sends what it kept")
            }
            (Language::Spanish, true) => {
                format!("{name}: su reloj adelanta {off}; lo fechado demasiado adelante no se registra")
            }
            (Language::Spanish, false) => {
                format!("{name}: su reloj atrasa {off}, o envía lo que guardó")
            }
        })
    }
}

/// The age that a value is shown with.
const fn told_age(recency: Recency) -> Option<Duration> {
    match recency {
        Recency::Now => None,
        Recency::Aged(age) | Recency::Late(age) | Recency::Silent(age) => Some(age),
    }
}

fn moved(at: Timestamp, by_s: f64) -> Timestamp {
    let by = Duration::from_secs_f64(by_s.abs());
    if by_s < 0.0 { at.minus(by) } else { at.plus(by) }
}

/// A time in one short form: `0.4 s`, `12 s`, `3 min`, `2 h`.
pub(super) fn span(span: Duration) -> String {
    match span.as_secs() {
        0..=9 => format!("{:.1} s", span.as_secs_f64()),
        seconds @ 10..=119 => format!("{seconds} s"),
        seconds @ 120..=7_199 => format!("{} min", seconds / 60),
        seconds => format!("{} h", seconds / 3_600),
    }
}

#[cfg(test)]
mod tests {
    use super::super::screen;
    use super::*;
    use crate::config::resolve::Configuration;
    use crate::core::readout::Shown;
    use crate::core::units::Celsius;

    const NOW: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);
    /// What the listener's clock shows then.
    const SHOWS: Duration = Duration::from_secs(1_000);

    // Own promise, as on the pages (`core::presence::Recency`): a value stands with its age from ten seconds on, and
    // as old from the time on that its probe may be silent, 30 s where nothing else is configured (reference.toml).
    #[test]
    fn a_value_is_as_old_as_the_pages_say() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("gateway.toml");
        let text = "[ledger]\npath = \"ledger.sqlite\"\n[[machine]]\nname = \"dm1\"\n\
                    kind = \"stationary-rack-single-temperature\"\nsanitizing = \"hot-water\"\nprobes = [\"wash\", \"rinse\"]\n";
        std::fs::write(&path, text).expect("a temporary file");
        let channels =
            Configuration::load(&[path], []).expect("a sound configuration").configuration.channels;
        let silent = "SILENT: this was its last value, 60 s ago";
        for (measured_s, heard_s, age, aged, trouble) in [
            (1, 1, "1.0 s", None, None),
            (9, 1, "1.0 s", None, None),
            (20, 1, "20 s", Some("measured 20 s ago"), None),
            (20, 20, "20 s", Some("measured 20 s ago"), None),
            (60, 1, "60 s", None, Some("OLD, and sent late: measured 60 s ago")),
            (60, 60, "60 s", None, Some(silent)),
            // The clock of its source is ahead.
            (0, 60, "60 s", None, Some(silent)),
        ] {
            let s = Duration::from_secs;
            let mut scene = Scene::new(&channels, Language::English, Duration::ZERO);
            let celsius = Some(Celsius(66.4));
            let shown = Shown { measured: celsius, corrected: celsius, fault: None };
            let (at, arrived) = (NOW.minus(s(measured_s)), NOW.minus(s(heard_s)));
            let reading = LiveReading::new(&channels[0], at, arrived, Value::Number(66.4), shown);
            scene.take(LiveEvent::Reading(reading), SHOWS.saturating_sub(s(heard_s)));
            let case = format!("measured {measured_s} s ago, heard {heard_s} s ago");
            let row = scene.rows(SHOWS, Scale::Celsius, 8).remove(0);
            assert_eq!((row.age.as_str(), row.aged.as_deref()), (age, aged), "{case}");
            assert_eq!(row.trouble.as_deref(), trouble, "{case}");
            let narrow = screen::line(&row, 70);
            assert!(narrow.contains(aged.or(trouble).unwrap_or("66.4 °C")), "{case}: {narrow}");
            scene.news(SHOWS, Scale::Celsius, 8);
            let later = scene.news(SHOWS.saturating_add(s(40)), Scale::Celsius, 8);
            assert_eq!(later.is_empty(), trouble.is_some(), "what becomes old is told once: {case}");
        }
    }
}
