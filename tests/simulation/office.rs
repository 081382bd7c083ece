//! The alert desk behind the core, on a simulated clock: what is committed is told to it, what it
//! asks for is done.

use std::collections::BTreeMap;
use std::time::Duration;

use jiff::civil::Time;
use jiff::tz::TimeZone;
use rinseward::core::alert::{
    Condition, Contact, Desk, Effects, Event, Hours, MachineSettings, Notice, Pattern, Route, Rules, Settings,
};
use rinseward::core::reader::{Language, Scale};
use rinseward::core::record::{Body, Record};
use rinseward::core::sanitizer;
use rinseward::core::time::Timestamp;
use rinseward::core::units::Celsius;
use rinseward_simulator::catalog::MachineFacts;
use rinseward_simulator::node::{Emission, RecordValue};
use rinseward_simulator::scenario::Plan;
use rinseward_simulator::world::World;

use crate::gateway::sanitizing;

/// An alert that was raised.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Raised {
    pub(crate) machine: String,
    pub(crate) condition: Condition,
    pub(crate) at: Timestamp,
    pub(crate) racks: u64,
    pub(crate) patterns: Vec<Pattern>,
    pub(crate) closed: bool,
}

/// The desk, and what came of it.
pub(crate) struct Office {
    desk: Desk,
    settings: Settings,
    now: Timestamp,
    next_index: u64,
    tanks: BTreeMap<String, (Timestamp, Celsius)>,
    pub(crate) start: Timestamp,
    /// Every alert by its number.
    pub(crate) raised: BTreeMap<u64, Raised>,
    /// Every message, in order.
    pub(crate) notices: Vec<Notice>,
    /// When each was made.
    pub(crate) told_at: Vec<Timestamp>,
}

impl Office {
    /// For the machines of a world, two contacts, always on duty, and the opening of the plan.
    pub(crate) fn of(world: &World, plan: &Plan) -> Self {
        Self::new(settings(world.facts(), plan.opens_s), Timestamp::from_micros(world.start_micros()))
    }

    /// With these settings, from this instant on.
    pub(crate) fn new(settings: Settings, start: Timestamp) -> Self {
        let mut office = Self {
            desk: Desk::new(settings.clone()),
            settings,
            now: start,
            next_index: 0,
            tanks: BTreeMap::new(),
            start,
            raised: BTreeMap::new(),
            notices: Vec::new(),
            told_at: Vec::new(),
        };
        office.handle(Event::Tick);
        office
    }

    /// Somebody works on the machines for so many hours from the start.
    pub(crate) fn maintain(&mut self, hours: f64) {
        let until = self.start.plus(Duration::from_secs_f64(hours * 3_600.0));
        self.handle(Event::Maintenance { machine: None, until, by: "ana" });
    }

    /// A record was committed.
    pub(crate) fn commit(&mut self, record: &Record) {
        self.until(record.recorded);
        self.desk = Desk::restore(self.settings.clone(), &self.desk.state()).expect("its own state");
        self.tell(record);
    }

    /// A pack left its node: the clock goes on, and the tank may be asked for.
    pub(crate) fn see(&mut self, emission: &Emission) {
        self.until(Timestamp::from_micros(emission.at_micros));
        let machine = emission.base_name.trim_end_matches('/');
        for record in &emission.records {
            if let ("wash", RecordValue::Number(celsius)) = (record.name, &record.value) {
                let at = Timestamp::from_micros(emission.time_micros);
                self.tanks.insert(machine.to_owned(), (at, Celsius(*celsius)));
            }
        }
    }

    /// Lets time pass, with a tick at each deadline.
    pub(crate) fn until(&mut self, to: Timestamp) {
        while let Some(due) = self.desk.deadline().filter(|due| *due <= to) {
            self.now = self.now.max(due);
            self.handle(Event::Tick);
            let next = self.desk.deadline();
            assert!(next.is_none_or(|next| next > self.now), "due twice at {}", self.now);
        }
        self.now = self.now.max(to);
    }

    /// Tells the desk something now, and does what it asks for.
    pub(crate) fn handle(&mut self, event: Event<'_>) {
        let mut effects = Effects::default();
        self.desk.handle(self.now, event, &mut effects).expect("nothing here is refused");
        self.check_open();
        self.told_at.extend(effects.notices.iter().map(|_| self.now));
        self.notices.extend(effects.notices);
        for record in &effects.records {
            self.note(record);
            self.tell(record);
        }
        for machine in effects.ask_tank {
            let known = self.tanks.get(&machine).copied();
            let at = known.map_or(self.now, |(at, _)| at);
            let celsius = known.map(|(_, celsius)| celsius);
            self.handle(Event::Tank { machine: &machine, at, celsius });
        }
    }

    fn tell(&mut self, record: &Record) {
        let index = self.next_index;
        self.next_index += 1;
        self.handle(Event::Record { index, record });
    }

    /// Keeps the story of each alert.
    fn note(&mut self, record: &Record) {
        let machine = record.machine.clone().unwrap_or_default();
        match &record.body {
            Body::AlertRaised(raised) => {
                let open = |other: &&Raised| {
                    !other.closed && other.machine == machine && other.condition == raised.condition
                };
                let twice = self.raised.values().find(open);
                assert!(twice.is_none(), "raised while one is open: {twice:?}");
                let condition = raised.condition;
                let patterns = raised.pattern.into_iter().collect();
                let raised_now =
                    Raised { machine, condition, at: record.recorded, racks: 0, patterns, closed: false };
                let before = self.raised.insert(raised.alert.0, raised_now);
                assert!(before.is_none(), "a number is used twice: {before:?}");
            }
            Body::AlertChanged(changed) => {
                let story = self.raised.get_mut(&changed.alert.0).expect("raised before it changes");
                story.patterns.extend(changed.pattern);
            }
            Body::AlertClosed(closed) => {
                self.raised.get_mut(&closed.alert.0).expect("raised before it closes").closed = true;
            }
            Body::Cycle(_)
            | Body::Gap(_)
            | Body::Check(_)
            | Body::ServiceStart(_)
            | Body::ServiceStop(_)
            | Body::ClockStep(_)
            | Body::ConfigurationChange(_)
            | Body::MachineFailure(_)
            | Body::AlertAcknowledged(_)
            | Body::AlertCleared(_)
            | Body::CorrectiveAction(_)
            | Body::Notification(_)
            | Body::Maintenance(_)
            | Body::Note(_)
            | Body::Amendment(_)
            | Body::SigningKey(_)
            | Body::LawfulHold(_)
            | Body::Pruned(_)
            | Body::Import(_)
            | Body::Restored(_)
            | Body::Calibration(_)
            | Body::Response(_)
            | Body::WiringProof(_)
            | Body::SignOff(_)
            | Body::Access(_) => {}
        }
    }

    /// One open alert for each machine and condition; counts what they hold.
    fn check_open(&mut self) {
        let mut open: Vec<(Option<&str>, Condition)> = Vec::new();
        for alert in self.desk.alerts() {
            let subject = (alert.machine.as_deref(), alert.condition);
            assert!(!open.contains(&subject), "two alerts are open: {subject:?}");
            open.push(subject);
            if let Some(story) = self.raised.get_mut(&alert.number.0) {
                story.racks = alert.racks.count;
            }
        }
    }
}

/// Settings for these machines; the tanks must be up to temperature `opens_s` after midnight.
pub(crate) fn settings<'a>(facts: impl Iterator<Item = &'a MachineFacts>, opens_s: Option<f64>) -> Settings {
    let machine = |facts: &MachineFacts| MachineSettings {
        sanitizer: facts
            .sanitizer
            .as_ref()
            .map(|_| (sanitizing(facts.sanitizing), sanitizer::Rules::default())),
        tank_min: Some(Celsius(facts.wash_min_c)),
        rinse_probe: Some(format!("{}/rinse", facts.name)),
        wash_probe: Some(format!("{}/wash", facts.name)),
        calibrated_until: BTreeMap::new(),
        calibrated_on: BTreeMap::new(),
    };
    let contact = |name: &str, step| Contact {
        name: name.to_owned(),
        role: None,
        step,
        last_resort: false,
        routes: vec![Route::Email(format!("{name}@example.org"))],
        hours: None,
        language: Language::English,
        units: Scale::Fahrenheit,
    };
    let opens = opens_s.map(|seconds| {
        let minutes = Duration::from_secs_f64(seconds).as_secs() / 60;
        let from = Time::midnight() + jiff::Span::new().minutes(i64::try_from(minutes).expect("a day"));
        let span = format!("mon-sun {:02}:{:02}-23:00", from.hour(), from.minute());
        Hours::parse([span.as_str()]).expect("hours of a day")
    });
    Settings {
        zone: TimeZone::UTC,
        machines: facts.map(|facts| (facts.name.clone(), machine(facts))).collect(),
        contacts: vec![contact("ana", 1), contact("ben", 2)],
        shifts: Vec::new(),
        meal_periods: Vec::new(),
        open: opens,
        rules: Rules::default(),
    }
}
