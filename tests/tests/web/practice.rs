//! A machine whose probes a person holds: the simulator's bench at the input of a gateway.
//!
//! What the probes show is handed over faster than it is measured, with its own times, so that it comes to lie ahead
//! of the gateway's clock; the configuration allows for that.

use std::time::{Duration, Instant};

use rinseward::core::record::Body;
use rinseward_simulator::bench::{Bench, Order, Spot};
use rinseward_simulator::catalog;
use rinseward_simulator::fault::Place;
use rinseward_simulator::node::Emission;
use rinseward_simulator::probe::ProbeSpec;

use super::gateway::{Gateway, Site};

/// Longest wait for anything.
const WAIT_MAX: Duration = Duration::from_secs(60);
/// Both probes show so much too high, °C.
const TOO_HIGH_C: f64 = 0.6;

/// The machine `dm1` at rest, its tips in the air of the room.
pub(crate) struct Practice {
    pub(crate) site: Site,
    pub(crate) gateway: Gateway,
    bench: Bench,
}

impl Practice {
    /// Its gateway runs, nothing is measured yet.
    pub(crate) fn open() -> Self {
        let site = Site::configured(configuration);
        let gateway = Gateway::start(&site);
        let off = ProbeSpec { offset_c: TOO_HIGH_C, ..ProbeSpec::default() };
        let bench = Bench::new(off, off, 1, jiff::Timestamp::now().as_microsecond());
        Self { site, gateway, bench }
    }

    /// So many seconds go by.
    pub(crate) fn pass(&mut self, seconds: f64) {
        let mut emissions = Vec::new();
        self.bench.advance(self.bench.now_s() + seconds, &mut emissions);
        let lines: Vec<String> = emissions.iter().map(Emission::line).collect();
        self.gateway.feed(lines.iter().map(String::as_str));
    }

    /// A tip is taken somewhere, and stays for so many seconds.
    pub(crate) fn hold(&mut self, place: Place, spot: Spot, seconds: f64) {
        self.bench.obey(Order::Hold(place, spot));
        self.pass(seconds);
    }

    /// Waits until it holds of what is on record.
    pub(crate) fn until(&self, holds: impl Fn(&[Body]) -> bool) {
        let limit = Instant::now() + WAIT_MAX;
        let bodies = || self.site.records().into_iter().map(|record| record.body).collect::<Vec<_>>();
        while !holds(&bodies()) {
            let told = || bodies().iter().map(|body| format!("{body:?}")).collect::<Vec<_>>().join("\n");
            assert!(Instant::now() < limit, "{}", told());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// A rack is washed, with both probes at their places.
    pub(crate) fn wash(&mut self) {
        self.bench.obey(Order::Hold(Place::Wash, Spot::Line));
        self.hold(Place::Rinse, Spot::Line, 120.0);
        self.bench.obey(Order::Rack { cold: false });
        self.pass(150.0);
    }
}

/// The limits and times of the data plate are those of the machine.
fn configuration(port: u16) -> String {
    let facts = catalog::dual_temperature("dm1").facts;
    format!(
        "[site]\nname = \"North kitchen\"\ntime-zone = \"America/New_York\"\nahead-max = \"2h\"\n\
         [ledger]\npath = \"ledger.sqlite\"\ncommit-interval = \"20ms\"\n\
         [[source]]\nname = \"pipe\"\nkind = \"replay\"\n\
         [alert]\nchecks = []\noff = [\"clock-unsynchronised\", \"disk-filling\"]\n\
         [web]\nenabled = true\nlisten = \"127.0.0.1:{port}\"\n\
         [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n\
         wash-time = \"{}s\"\npause-time = \"{}s\"\nrinse-time = \"{}s\"\nrinse-min = \"{} °C\"\n\
         wash-min = \"{} °C\"\ndisorder-window = \"1s\"\nprobes = [\"wash\", \"rinse\", \"running\"]\n\
         [[probe]]\nname = \"dm1/wash\"\nsilent-after = \"2h\"\n\
         [[probe]]\nname = \"dm1/rinse\"\nsilent-after = \"2h\"\n",
        facts.wash_s, facts.pause_s, facts.rinse_s, facts.rinse_min_c, facts.wash_min_c
    )
}
