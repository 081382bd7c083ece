//! What no water shows: the conditions of the calendar and the machine room, each raised and each
//! nearly raised. Times and thresholds are the desk's own defaults, see `Rules`.

use std::collections::BTreeSet;
use std::time::Duration;

use jiff::tz::TimeZone;
use rinseward::core::alert::{
    Condition, Event, Health, Hours, MachineSettings, Occasion, Period, Route, Rules, Settings,
};
use rinseward::core::record::{Body, Check, Notification, Outcome, Record};
use rinseward::core::time::Timestamp;
use rinseward_simulator::scenario::{NOT_FROM_WATER, Scenario};
use rinseward_simulator::world::World;

use crate::gateway::{Gateway, Response};
use crate::office::{Office, settings};

const MINUTE: Duration = Duration::from_secs(60);

/// Something that is done to an office at noon, and what must be raised after it.
type Row = (&'static str, fn(&mut Office), Option<Condition>);

const ROWS: [Row; 18] = [
    ("8 % of the disk is free", |office| office.healthy(free(0.08)), Some(Condition::DiskFilling)),
    ("12 % of the disk is free", |office| office.healthy(free(0.12)), None),
    ("the clock is not set for 61 min", |office| office.unset(61), Some(Condition::ClockUnsynchronised)),
    ("the clock is not set for 59 min", |office| office.unset(59), None),
    ("61 min of readings wait", |office| office.healthy(behind(61)), Some(Condition::SeriesBacklog)),
    ("59 min of readings wait", |office| office.healthy(behind(59)), None),
    ("nothing is known", |office| office.healthy(Health::default()), None),
    ("a message is given up", |office| office.letter(Outcome::GivenUp), Some(Condition::Undelivered)),
    ("a message is delivered", |office| office.letter(Outcome::Delivered), None),
    ("the calibration ran out yesterday", |_| {}, Some(Condition::CalibrationOverdue)),
    ("the calibration runs out today", |_| {}, None),
    ("the probe is 1.2 °C off in ice", |office| office.compared(1.2), Some(Condition::ThermometerOff)),
    ("the probe is 1.0 °C off in ice", |office| office.compared(1.0), None),
    ("supplies are short", |office| office.looked(false), Some(Condition::SuppliesShort)),
    ("supplies are there", |office| office.looked(true), None),
    (
        "a calibration cannot be read",
        |office| office.handle(Event::Damaged(&[4])),
        Some(Condition::RecordDamaged),
    ),
    ("every calibration can be read", |office| office.handle(Event::Damaged(&[])), None),
    ("nothing happens in a day", |office| office.pass(24 * 60), None),
];

#[test]
fn each_is_raised_and_nearly_raised() {
    for (what, act, expected) in ROWS {
        let mut settings = quiet();
        let until = match what {
            "the calibration ran out yesterday" => Some("2026-03-01"),
            "the calibration runs out today" => Some("2026-03-02"),
            _ => None,
        };
        if let (Some(until), Some(machine)) = (until, settings.machines.get_mut("dm1")) {
            let day = until.parse().expect("a date");
            machine.calibrated_until.insert("dm1/rinse".to_owned(), day);
        }
        let mut office = Office::new(settings, noon());
        act(&mut office);
        office.pass(1);
        let raised: Vec<Condition> = office.raised.values().map(|raised| raised.condition).collect();
        assert_eq!(raised, expected.into_iter().collect::<Vec<_>>(), "{what}");
    }
}

/// A shift asks for the supply check of a machine that is used, once its grace of 30 min is over.
#[test]
fn a_check_is_overdue_after_its_grace() {
    // The service of this scenario runs from 12:00 to 12:42.
    for (shift, expected) in [("mon-sun 12:05-20:00", true), ("mon-sun 12:15-20:00", false)] {
        let scenario = Scenario::SanitizerThin;
        let world = World::new(scenario, 1);
        let mut gateway = Gateway::of(&world, Response::OnFile);
        let mut settings = settings(world.facts(), None);
        let hours = Hours::parse([shift]).expect("hours");
        settings.shifts = vec![Period { name: "lunch".to_owned(), hours }];
        let mut office = Office::new(settings, Timestamp::from_micros(world.start_micros()));
        let mut heard = 0;
        for emission in world {
            gateway.take(&emission);
            gateway.records[heard..].iter().for_each(|record| office.commit(record));
            heard = gateway.records.len();
            office.see(&emission);
        }
        let raised: Vec<Condition> = office.raised.values().map(|raised| raised.condition).collect();
        assert_eq!(raised, if expected { vec![Condition::CheckOverdue] } else { vec![] }, "{shift}");
    }
}

/// The simulator's list of these conditions and the rows above are the same.
#[test]
fn every_condition_without_a_scenario_has_a_test() {
    let listed: BTreeSet<&str> = NOT_FROM_WATER.iter().map(|(condition, _)| condition.as_str()).collect();
    let rows = ROWS.iter().filter_map(|(_, _, condition)| *condition);
    let tested: BTreeSet<&str> = rows.chain([Condition::CheckOverdue]).map(|one| one.as_str()).collect();
    assert_eq!(listed, tested);
}

fn noon() -> Timestamp {
    "2026-03-02T12:00:00Z".parse().expect("an instant")
}

/// One machine, two contacts, nothing due.
fn quiet() -> Settings {
    let machines = [("dm1".to_owned(), MachineSettings::default())];
    let none = settings(std::iter::empty(), None);
    Settings { zone: TimeZone::UTC, machines: machines.into(), rules: Rules::default(), ..none }
}

fn free(share: f64) -> Health {
    Health { disk_free: Some(share), ..Health::default() }
}

fn behind(minutes: u32) -> Health {
    Health { series_behind: Some(MINUTE * minutes), ..Health::default() }
}

impl Office {
    fn healthy(&mut self, health: Health) {
        self.handle(Event::Health(health));
    }

    fn pass(&mut self, minutes: u32) {
        self.until(self.start.plus(MINUTE * minutes));
    }

    /// The clock is unsynchronised for some minutes, and then set.
    fn unset(&mut self, minutes: u32) {
        let bad = Health { clock_synchronised: Some(false), ..Health::default() };
        let good = Health { clock_synchronised: Some(true), ..Health::default() };
        self.healthy(bad);
        self.pass(minutes);
        self.healthy(good);
    }

    /// The probe of the final rinse shows this in ice and water.
    fn compared(&mut self, shown_c: f64) {
        let check = Check::Thermometer {
            at: noon(),
            what: "dm1/rinse".to_owned(),
            shown_c,
            reference_c: 0.0,
            tolerance_c: 1.0,
            reference: "ice bath".to_owned(),
            by: "ana".to_owned(),
        };
        self.commit(&Record::new(noon(), Some("dm1".to_owned()), Body::Check(check)));
    }

    /// Somebody looks at the supplies.
    fn looked(&mut self, enough: bool) {
        let check = Check::Supply { at: noon(), enough, short: Vec::new(), note: None, by: "ana".to_owned() };
        self.commit(&Record::new(noon(), Some("dm1".to_owned()), Body::Check(check)));
    }

    fn letter(&mut self, outcome: Outcome) {
        let body = Notification {
            key: "1-1-ana".to_owned(),
            alert: None,
            occasion: Some(Occasion::Raised),
            contact: "ana".to_owned(),
            route: Route::Email("ana@example.org".to_owned()),
            outcome,
            attempts: 8,
            error: None,
            why: None,
        };
        let record = Record::new(noon(), None, Body::Notification(Box::new(body)));
        self.commit(&record);
    }
}
