//! The simulated kitchen behind the demo: machines on pseudo-terminals, and a
//! configuration by which an ordinary gateway listens to them.

use std::fmt::Write as _;
use std::io::{self, Write as _};
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::time::Duration;

use rinseward_simulator::catalog::{MachineFacts, MachineKind, RinseFrom, Sanitizing};
use rinseward_simulator::scenario::Scenario;
use serialport::{SerialPort, TTYPort};
use tokio_util::sync::CancellationToken;

use super::days::Days;
use super::inbox::Inbox;
use crate::config::raw::quoted;
use crate::config::text::of_temperature;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::runtime::clock::Clock;

/// Longest sleep of the player, so that it hears when it is to stop.
const SLEEP_MAX: Duration = Duration::from_millis(50);
/// Length of silence after which a probe counts as silent. A computer that pauses
/// for a second must not make a fault of it at sixty times the real speed.
const SILENT_AFTER: &str = "3min";
/// Port of the pages, as the README names it.
const PORT: u16 = 8480;
/// Whom the messages of the demo reach, in the order of the steps: name, what they are, whether a digest is sent.
const CONTACTS: [(&str, &str, &str); 2] =
    [("duty", "SIMULATED manager on shift", "off"), ("office", "SIMULATED kitchen manager", "daily")];
/// What is asked of people, so that each sees their work within two minutes: shifts that begin while it is on, a meal
/// whose end is near, time to answer that lets the second contact be called while somebody looks. The
/// clock of the demo is none that a time server could set.
const PLAN: &str = r#"
[[shift]]
name = "day"
hours = ["mon-sun 12:15-20:15"]

[[shift]]
name = "late"
hours = ["mon-sun 20:15-04:15"]

[[meal-period]]
name = "lunch"
hours = ["mon-sun 11:00-12:45"]

[[meal-period]]
name = "dinner"
hours = ["mon-sun 18:00-20:30"]

[alert]
escalate-after = "20min"
off = ["clock-unsynchronised"]
"#;

/// Machines in motion and their lines.
pub(super) struct Kitchen {
    days: Days,
    links: Vec<Link>,
}

/// A pseudo-terminal: the node's end, and the gateway's end, held open so that the
/// line does not look unplugged before the gateway listens.
struct Link {
    node: TTYPort,
    gateway: TTYPort,
}

impl Kitchen {
    /// Sets the machines of a scenario up on a day, see [`Days::new`].
    ///
    /// # Errors
    /// The system's, where it gives no pseudo-terminal.
    pub(super) fn open(scenario: Scenario, seed: u64, day: (Timestamp, u32)) -> io::Result<Self> {
        let days = Days::new(scenario.plan(), seed, day);
        let link = |_: &MachineFacts| -> io::Result<Link> {
            let (node, gateway) = TTYPort::pair()?;
            Ok(Link { node, gateway })
        };
        let links = days.facts().map(link).collect::<io::Result<_>>()?;
        Ok(Self { days, links })
    }

    /// When the scenario begins.
    pub(super) fn start(&self) -> Timestamp {
        self.days.start()
    }

    /// The configuration of a gateway in this kitchen, its ledger at `ledger`, its people reached by `inbox`, its pages
    /// served at `pages`.
    pub(super) fn configuration(&self, ledger: &Path, inbox: &Inbox, pages: SocketAddr) -> String {
        let mut text = String::from(
            "# Written by `rinseward demo`: simulated machines on pseudo-terminals, which end with the demo.\n",
        );
        // Writing to a String cannot fail; the results are folded into one.
        let mut written = write!(
            text,
            "\n[site]\nname = \"SIMULATED demo kitchen\"\ncall = \"the SIMULATED service company, 555-0100\"\n\n[ledger]\npath = {}\ncommit-interval = \"50ms\"\n\n[web]\nenabled = true\nlisten = \"{pages}\"\npublic-url = \"http://{pages}\"\n",
            quoted(&ledger.display().to_string())
        );
        written = written.and(write_people(&mut text, inbox));
        for (facts, link) in self.days.facts().zip(&self.links) {
            written = written.and(write_machine(&mut text, facts));
            let device = link.gateway.name().unwrap_or_default();
            written = written.and(write!(
                text,
                "\n[[source]]\nname = \"{}-node\"\nkind = \"serial\"\ndevice = {}\n",
                facts.name,
                quoted(&device)
            ));
        }
        debug_assert!(written.is_ok());
        text
    }

    /// Plays the scenario again and again, at the pace of `clock`, until `stop` is cancelled.
    pub(super) fn play(mut self, clock: &Clock, stop: &CancellationToken) {
        let mut line = String::new();
        for emission in self.days.by_ref() {
            let due = Timestamp::from_micros(emission.at_micros);
            loop {
                if stop.is_cancelled() {
                    return;
                }
                let wait = clock.wait_until(due);
                if wait.is_zero() {
                    break;
                }
                std::thread::sleep(wait.min(SLEEP_MAX));
            }
            line.clear();
            emission.write_line(&mut line);
            line.push('\n');
            if let Some(link) = self.links.get_mut(emission.machine)
                && let Err(error) = link.node.write_all(line.as_bytes())
            {
                tracing::debug!(%error, "a simulated node lost a line");
            }
        }
    }
}

/// Where the pages of the demo are served: at the port that its directory names from before, so that a bookmark leads
/// there; else at the usual one, or at a free one where other programs have those. It is held from here on: another
/// demo that starts at the same moment finds it taken.
///
/// # Errors
/// The system's, where it has no free port.
pub(super) fn pages(before: Option<u16>) -> io::Result<TcpListener> {
    let at = |port| TcpListener::bind((Ipv4Addr::LOCALHOST, port));
    let known = before.into_iter().chain([PORT]).find_map(|port| at(port).ok());
    known.map_or_else(|| at(0), Ok)
}

/// The port at which the pages were that a configuration was written for by [`Kitchen::configuration`].
pub(super) fn port_of(configuration: &str) -> Option<u16> {
    let listens = configuration.lines().find_map(|line| line.strip_prefix("listen = \""))?;
    let address: SocketAddr = listens.strip_suffix('"')?.parse().ok()?;
    Some(address.port())
}

fn write_people(text: &mut String, inbox: &Inbox) -> std::fmt::Result {
    text.push_str(PLAN);
    for (step, (name, role, digest)) in (1..).zip(CONTACTS) {
        let url = quoted(&inbox.url(name));
        write!(text, "\n[[webhook]]\nname = \"demo-{name}\"\nurl = {url}\n")?;
        write!(text, "\n[[contact]]\nname = \"{name}\"\nrole = \"{role}\"\nstep = {step}\n")?;
        writeln!(text, "routes = [\"webhook:demo-{name}\"]\nunits = \"celsius\"\ndigest = \"{digest}\"")?;
    }
    Ok(())
}

fn write_machine(text: &mut String, facts: &MachineFacts) -> std::fmt::Result {
    let name = &facts.name;
    write!(text, "\n[[machine]]\nname = \"{name}\"\nkind = \"{}\"\n", kind_word(facts.kind))?;
    writeln!(text, "sanitizing = \"{}\"", sanitizing_word(facts.sanitizing))?;
    match facts.rinse_from {
        RinseFrom::FreshLine => {}
        RinseFrom::Sump => writeln!(text, "rinse-from = \"sump\"")?,
    }
    writeln!(text, "wash-time = \"{}s\"", facts.wash_s)?;
    writeln!(text, "pause-time = \"{}s\"", facts.pause_s)?;
    writeln!(text, "rinse-time = \"{}s\"", facts.rinse_s)?;
    writeln!(text, "rinse-min = \"{}\"", of_temperature(Celsius(facts.rinse_min_c)))?;
    writeln!(text, "wash-min = \"{}\"", of_temperature(Celsius(facts.wash_min_c)))?;
    writeln!(text, "dwell-min = \"{}s\"", facts.dwell_min_s)?;
    match facts.sanitizing {
        Sanitizing::HotWater => {
            writeln!(text, "rinse-max = \"{}\"", of_temperature(Celsius(facts.rinse_max_c)))?
        }
        Sanitizing::Chlorine | Sanitizing::Iodine | Sanitizing::Quat => {
            writeln!(text, "probes = [\"sanitizer\", \"ph\"]")?;
        }
    }
    if facts.has_run_signal {
        write!(text, "\n[[probe]]\nname = \"{name}/running\"\n")?;
    }
    for (probe, tau_s) in [("wash", facts.wash_tau_s), ("rinse", facts.rinse_tau_s)] {
        write!(
            text,
            "\n[[probe]]\nname = \"{name}/{probe}\"\ntau = \"{tau_s}s\"\nsilent-after = \"{SILENT_AFTER}\"\n"
        )?;
    }
    Ok(())
}

const fn kind_word(kind: MachineKind) -> &'static str {
    match kind {
        MachineKind::StationaryRackSingleTemperature => "stationary-rack-single-temperature",
        MachineKind::StationaryRackDualTemperature => "stationary-rack-dual-temperature",
        MachineKind::SingleTankConveyor => "single-tank-conveyor",
        MachineKind::MultitankConveyor => "multitank-conveyor",
    }
}

const fn sanitizing_word(sanitizing: Sanitizing) -> &'static str {
    match sanitizing {
        Sanitizing::HotWater => "hot-water",
        Sanitizing::Chlorine => "chlorine",
        Sanitizing::Iodine => "iodine",
        Sanitizing::Quat => "quat",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::resolve::Configuration;

    // Own promise: a second demo, or another program at that port, keeps nobody from the pages of this one; not even
    // where both start at one moment, when neither serves a page yet.
    #[test]
    fn the_pages_find_a_port_where_theirs_is_taken() {
        let _taken = TcpListener::bind((Ipv4Addr::LOCALHOST, PORT));
        let demos = [(); 2].map(|()| pages(None).expect("a free port"));
        let [one, other] = demos.each_ref().map(|pages| pages.local_addr().expect("its address"));
        assert!(one.ip().is_loopback() && ![0, PORT].contains(&one.port()), "{one}");
        assert_ne!(one, other);
    }

    // Own promise: a demo that is started again is where its bookmark leads, unless another program took that port.
    #[test]
    fn the_pages_keep_the_port_they_had() {
        let first = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a free port");
        let had = first.local_addr().expect("its address").port();
        let written =
            format!("[ledger]\npath = \"x\"\n\n[web]\nenabled = true\nlisten = \"127.0.0.1:{had}\"\n");
        assert_eq!((port_of(&written), port_of("[web]\n")), (Some(had), None));
        let port = |before| {
            let pages = pages(before).expect("a free port");
            pages.local_addr().expect("its address").port()
        };
        assert_ne!(port(Some(had)), had, "it is taken");
        drop(first);
        assert_eq!(port(Some(had)), had);
    }

    // Every scenario must give a kitchen that a gateway can be configured for.
    #[test]
    fn every_scenario_has_a_sound_configuration() {
        let directory = tempfile::tempdir().expect("a temporary directory");
        for scenario in Scenario::ALL {
            let kitchen =
                Kitchen::open(*scenario, 1, (Timestamp::from_micros(0), 0)).expect("a pseudo-terminal");
            let path = directory.path().join("gateway.toml");
            let inbox = Inbox::open(directory.path()).expect("a free port");
            let pages = SocketAddr::from((Ipv4Addr::LOCALHOST, PORT));
            let text = kitchen.configuration(&directory.path().join("say \"so\".sqlite"), &inbox, pages);
            std::fs::write(&path, &text).expect("a temporary file");
            let loaded = Configuration::load(&[path], []);
            let loaded = loaded.unwrap_or_else(|problems| panic!("{scenario}: {problems:?}\n{text}"));
            assert_eq!(loaded.configuration.machines.len(), kitchen.links.len(), "{scenario}");
            assert_eq!(loaded.configuration.sources.len(), kitchen.links.len(), "{scenario}");
            assert!(loaded.warnings.is_empty(), "{scenario}: {:?}", loaded.warnings);
        }
    }
}
