//! A kitchen at work: two simulated machines and the gateway that listens to them, as of this hour.
//!
//! What the machines measured is handed over faster than it was measured, with its own times, so that a morning
//! takes seconds; it ends about now, as the pages expect of a kitchen that is open.

use std::thread;
use std::time::{Duration, Instant};

use rinseward::core::time::Timestamp;
use rinseward::web::link::{Link, LinkKey};
use rinseward_simulator::catalog::{self, MachineFacts};
use rinseward_simulator::day::Meal;
use rinseward_simulator::fault::{Fault, FaultKind};
use rinseward_simulator::scenario::{MachinePlan, Plan};
use rinseward_simulator::time::MIDNIGHT_MICROS;
use rinseward_simulator::truth::{Expected, TruthEntry};
use rinseward_simulator::world::World;

use super::gateway::{Gateway, Site};

/// From the first cold rack until now, µs: what is measured by hand after it lies in the past too.
const SINCE_MICROS: i64 = 120_000_000;
/// Longest wait for anything.
const WAIT_MAX: Duration = Duration::from_secs(60);
/// After the end of a rinse by which its rack is surely judged, µs.
const JUDGED_MICROS: i64 = 25_000_000;

/// The kitchen.
pub(crate) struct Kitchen {
    pub(crate) site: Site,
    pub(crate) gateway: Gateway,
    /// What is measured, in order, each with its time, µs.
    lines: Vec<(i64, String)>,
    fed: usize,
    /// When the first cold rack is about to be judged, and when it is, µs.
    first_cold: (i64, i64),
}

impl Kitchen {
    /// Its gateway runs, nothing is measured yet. The booster of `dm1` trips `good_h` after the start; the first cold
    /// rack was judged two minutes ago.
    pub(crate) fn open(good_h: f64) -> Self {
        Self::at(good_h, false)
    }

    /// The same; but it is now when the booster has been reset and racks are good again.
    pub(crate) fn recovered(good_h: f64) -> Self {
        Self::at(good_h, true)
    }

    fn at(good_h: f64, recovered: bool) -> Self {
        let plan = plan(good_h);
        let mut rehearsal = World::of(&plan, 1, MIDNIGHT_MICROS);
        let begun = rehearsal.start_micros();
        let end = rehearsal.by_ref().map(|emission| emission.at_micros).max().unwrap_or(begun) - begun;
        let cold = rehearsal.take_truth().into_iter().find_map(|entry| {
            let TruthEntry::Cycle(rack) = entry else { return None };
            let wanted = rack.machine == "dm1" && rack.expected == Expected::Cold;
            wanted.then(|| micros(&rack.rinse_ended) - begun)
        });
        let cold = cold.expect("the booster trips");
        let now = jiff::Timestamp::now().as_microsecond();
        let start = now - if recovered { end } else { cold + JUDGED_MICROS + SINCE_MICROS };
        let world = World::starting_at(&plan, 1, start);
        let facts: Vec<MachineFacts> = world.facts().cloned().collect();
        // Strips are read by people here, who say what they saw on the page.
        let probes = world.filter(|emission| emission.records.iter().all(|record| record.name.len() > 2));
        let probes =
            probes.filter(|emission| emission.records.iter().all(|record| record.name != "sanitizer"));
        let lines = probes.map(|emission| (emission.time_micros, emission.line())).collect();
        let site = Site::configured(|port| configuration(port, &facts));
        let gateway = Gateway::start(&site);
        Self {
            site,
            gateway,
            lines,
            fed: 0,
            first_cold: (start + cold - JUDGED_MICROS, start + cold + JUDGED_MICROS),
        }
    }

    /// Nothing is measured but what is told to be.
    pub(crate) fn idle() -> Self {
        let facts = [catalog::dual_temperature("dm1").facts, catalog::chlorine("bar").facts];
        let site = Site::configured(|port| configuration(port, &facts));
        let gateway = Gateway::start(&site);
        let begun = jiff::Timestamp::now().as_microsecond() - 900_000_000;
        Self { site, gateway, lines: Vec::new(), fed: 0, first_cold: (begun, begun) }
    }

    /// A probe shows this for the next minute of the machine's time, which is handed over at once.
    pub(crate) fn shows(&mut self, probe: &str, celsius: f64) {
        let begun = self.first_cold.1;
        self.first_cold.1 += 61_000_000;
        let lines = (0..240_i32).map(|quarter| {
            let seconds = begun as f64 / 1e6 + f64::from(quarter) * 0.25;
            let value = celsius + 0.02 * (f64::from(quarter) * 0.7).sin();
            format!("[{{\"n\":\"{probe}\",\"t\":{seconds:.2},\"u\":\"Cel\",\"v\":{value:.2}}}]")
        });
        let lines: Vec<String> = lines.collect();
        self.gateway.feed(lines.iter().map(String::as_str));
    }

    /// Hands over what is measured before the first cold rack.
    pub(crate) fn until_before_cold(&mut self) {
        self.measure(self.first_cold.0);
    }

    /// Hands over what is measured until the first cold rack is judged.
    pub(crate) fn until_cold(&mut self) {
        self.measure(self.first_cold.1);
    }

    /// Hands over all that is measured.
    pub(crate) fn until_end(&mut self) {
        self.measure(i64::MAX);
    }

    fn measure(&mut self, end: i64) {
        let more = self.lines[self.fed..].iter().take_while(|(at, _)| *at < end).count();
        let lines = &self.lines[self.fed..self.fed + more];
        self.gateway.feed(lines.iter().map(|(_, line)| line.as_str()));
        self.fed += more;
    }

    /// Waits until it holds of what is on record.
    pub(crate) fn until(&self, holds: impl Fn(&Self) -> bool) {
        let limit = Instant::now() + WAIT_MAX;
        while !holds(self) {
            let kinds = self.site.records().iter().map(|record| record.body.kind()).collect::<Vec<_>>();
            assert!(Instant::now() < limit, "{kinds:?}");
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// The link to an alert that a message to the contact holds, which expires so many µs from now.
    pub(crate) fn link(&self, alert: u64, left_micros: i64) -> String {
        let key =
            LinkKey::load_or_make(&self.site.path("ledger.sqlite.link-key")).expect("the gateway's key");
        let now = jiff::Timestamp::now().as_microsecond();
        let expires = Timestamp::from_micros((now + left_micros).div_euclid(1_000_000) * 1_000_000);
        format!("/alert/{}", key.token(&Link { alert, contact: "ana".to_owned(), expires }))
    }

    /// How many racks are on record.
    pub(crate) fn racks(&self) -> usize {
        self.site.records().iter().filter(|record| record.body.kind() == "cycle").count()
    }
}

fn micros(rfc3339: &str) -> i64 {
    rfc3339.parse::<jiff::Timestamp>().expect("RFC 3339").as_microsecond()
}

/// A hot-water and a chlorine machine in the middle of service; the hot one's booster is small, so that its trip
/// shows after two racks, and comes back some minutes later.
fn plan(good_h: f64) -> Plan {
    let mut hot = catalog::dual_temperature("dm1");
    if let Some(booster) = &mut hot.plant.booster {
        booster.water_kg = 8.0;
    }
    let hours = good_h + 0.3;
    let service = |quiet_s, rush_s| vec![Meal::hours(0.0, hours).every(quiet_s, rush_s).uncleaned()];
    let trip = Fault::hours(FaultKind::BoosterDead, good_h, good_h + 0.1);
    let machine = |spec, faults, meals| MachinePlan { spec, meals, faults, warm: true };
    let machines = vec![
        machine(hot, vec![trip], service(80.0, 70.0)),
        machine(catalog::chlorine("bar"), vec![], service(150.0, 120.0)),
    ];
    Plan { clock_s: 10.0 * 3_600.0, hours, machines, opens_s: None }
}

fn configuration(port: u16, facts: &[MachineFacts]) -> String {
    let mut text = format!(
        "[site]\nname = \"North kitchen\"\ntime-zone = \"America/New_York\"\ncall = \"Acme Service, +1 555 0100\"\n\
         [ledger]\npath = \"ledger.sqlite\"\ncommit-interval = \"20ms\"\n\
         [[source]]\nname = \"pipe\"\nkind = \"replay\"\n\
         [[contact]]\nname = \"ana\"\nrole = \"kitchen manager\"\nroutes = [\"webhook:office\"]\n\
         [[webhook]]\nname = \"office\"\nurl = \"http://127.0.0.1:9/\"\nsecret-files = [\"secret\"]\nallow-http = true\n\
         [alert]\noff = [\"clock-unsynchronised\", \"disk-filling\", \"undelivered\"]\n\
         [web]\nenabled = true\nlisten = \"127.0.0.1:{port}\"\npublic-url = \"http://127.0.0.1:{port}\"\n"
    );
    for machine in facts {
        let sanitizing = if machine.sanitizer.is_some() { "chlorine" } else { "hot-water" };
        text += &format!(
            "[[machine]]\nname = \"{}\"\nkind = \"stationary-rack-dual-temperature\"\nsanitizing = \"{sanitizing}\"\n\
             wash-time = \"{}s\"\npause-time = \"{}s\"\nrinse-time = \"{}s\"\nrinse-min = \"{} °C\"\n\
             wash-min = \"{} °C\"\ndisorder-window = \"1s\"\nprobes = [\"wash\", \"rinse\"]\n\
             [[probe]]\nname = \"{}/wash\"\nsilent-after = \"30min\"\n\
             [[probe]]\nname = \"{}/rinse\"\nsilent-after = \"30min\"\n",
            machine.name,
            machine.wash_s,
            machine.pause_s,
            machine.rinse_s,
            machine.rinse_min_c,
            machine.wash_min_c,
            machine.name,
            machine.name
        );
    }
    text
}
