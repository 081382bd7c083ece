//! The configuration that is proposed for what was seen, ready to paste. Pure.
//!
//! It loads as it stands. Whatever the wire cannot tell stands behind `DECIDE`: the kind of machine
//! and its times, and which probe sits where. A probe that nothing is known of is proposed in
//! `other`, where it is recorded and never judged; but a machine has to have one in its final rinse,
//! and the first is put there for a person to say which it is.

use std::fmt::Write as _;
use std::path::Path;
use std::time::Duration;

use super::heard::{Heard, HeardChannel};
use super::shapes::Row;
use crate::config::keys::PARITIES;
use crate::config::modbus::ModbusLink;
use crate::config::raw::quoted;
use crate::config::source::{LineFormat, Parity};
use crate::config::text;
use crate::probe::scan::PortSettings;
use crate::wire::directory::WireUnit;
use crate::wire::registers::Function;
use crate::wire::senml::is_legal_name;

/// Names whose place is known.
const PLACED: [&str; 3] = ["wash", "rinse", "ware"];
/// The registers of one function of a unit that are proposed.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub(super) unit: u8,
    pub(super) function: Function,
    pub(super) together_max: Option<u16>,
    /// How long the unit must be given, where it answered later than is usual.
    pub(super) late: Option<Duration>,
    pub(super) rows: Vec<Row>,
}

fn quoted_path(path: &Path) -> String {
    quoted(&path.to_string_lossy())
}

fn parity_word(parity: Parity) -> &'static str {
    PARITIES.iter().find(|(_, known)| *known == parity).map_or("none", |(word, _)| word)
}

/// `[[machine]]` with its probes and what has to be said of each.
#[derive(Default)]
struct Machine {
    probes: Vec<String>,
    stubs: String,
    rinse: bool,
}

impl Machine {
    /// Adds a probe of temperature; `keys` are those of its signal.
    fn temperature(&mut self, machine: &str, probe: &str, keys: &str, what: &str) {
        self.probes.push(probe.to_owned());
        let placed = PLACED.contains(&probe);
        self.rinse |= probe == "rinse";
        if placed && keys.is_empty() {
            return;
        }
        let name = quoted(&format!("{machine}/{probe}"));
        let _infallible = write!(self.stubs, "\n[[probe]]\nname = {name}{what}\n");
        if !placed {
            self.stubs.push_str("place = \"other\"          # DECIDE: wash-tank, final-rinse, ware, other\n");
        }
        self.stubs.push_str(keys);
    }

    /// The tables; a machine without a probe in its final rinse gets the first that has no place.
    fn text(mut self, name: &str) -> String {
        let mut doubt = "";
        if !self.rinse {
            let other = "place = \"other\"          # DECIDE: wash-tank, final-rinse, ware, other\n";
            let rinse =
                "place = \"final-rinse\"    # DECIDE: is it this one? wash-tank, final-rinse, ware, other\n";
            if self.stubs.contains(other) {
                self.stubs = self.stubs.replacen(other, rinse, 1);
            } else {
                self.probes.push("rinse".to_owned());
                doubt =
                    "# DECIDE: no probe of the final rinse was seen; without one no cycle can be judged.\n";
            }
        }
        let probes: Vec<String> = self.probes.iter().map(|probe| quoted(probe)).collect();
        format!(
            "[[machine]]\nname = {}\n\
             kind = \"stationary-rack-dual-temperature\"    # DECIDE: from the data plate\n\
             wash-time = \"45s\"        # DECIDE: from the data plate\n\
             rinse-time = \"10s\"       # DECIDE: from the data plate\n\
             # rinse-min = \"180 °F\"   # DECIDE: from the data plate; left out, that of the Food Code counts\n\
             # wash-min = \"150 °F\"    # DECIDE: likewise\n\
             {doubt}probes = [{}]\n{}",
            quoted(name),
            probes.join(", "),
            self.stubs,
        )
    }
}

/// What is proposed for lines of text; nothing where no name in them can be used.
pub(super) fn for_text(port: &PortSettings, heard: &Heard, machine: &str) -> Option<String> {
    let mut machines: Vec<(String, Machine)> = Vec::new();
    let mut left_out = String::new();
    for (name, channel) in &heard.channels {
        let whole = name
            .split_once('/')
            .filter(|(_, probe)| is_legal_name(probe) && !probe.contains('/') && !name.contains(':'));
        let Some((of, probe)) = whole else {
            let _infallible = writeln!(
                left_out,
                "# «{name}» cannot be used: a name on the wire is <machine>/<probe>. Let the node print «{machine}/{}».",
                name.replace(['/', ':'], "-"),
            );
            continue;
        };
        let place = machines.iter().position(|(known, _)| known == of).unwrap_or_else(|| {
            machines.push((of.to_owned(), Machine::default()));
            machines.len() - 1
        });
        if let Some(why) = add(&mut machines[place].1, of, probe, *channel, heard) {
            let _infallible = writeln!(left_out, "# «{name}» is left out: {why}.");
        }
    }
    machines.retain(|(_, machine)| !machine.probes.is_empty());
    if machines.is_empty() {
        return None;
    }
    let mut text = head(&format!("heard on {} at {} baud", port.device.display(), port.baud));
    text.push_str(&left_out);
    for (name, machine) in machines {
        let _infallible = writeln!(text, "{}", machine.text(&name));
    }
    let _infallible = write!(
        text,
        "[[source]]\nname = \"port1\"\nkind = \"serial\"\ndevice = {}\nbaud = {}\n",
        quoted_path(&port.device),
        port.baud,
    );
    if port.parity != Parity::None {
        let _infallible = writeln!(text, "parity = \"{}\"", parity_word(port.parity));
    }
    if port.stop_bits != 1 {
        let _infallible = writeln!(text, "stop-bits = {}", port.stop_bits);
    }
    if heard.format() == LineFormat::Plain {
        text.push_str("format = \"plain\"\n");
    }
    Some(text)
}

/// Adds a channel that was heard; says why where it is left out.
fn add(
    machine: &mut Machine,
    of: &str,
    probe: &str,
    channel: HeardChannel,
    heard: &Heard,
) -> Option<&'static str> {
    let junction = format!("{of}/cold-junction");
    let junction = heard.channels.contains_key(&junction).then_some(junction);
    match channel.unit {
        WireUnit::Celsius if probe == "cold-junction" => machine.probes.push(probe.to_owned()),
        WireUnit::Celsius => machine.temperature(of, probe, "", ""),
        WireUnit::Fahrenheit => machine.temperature(of, probe, "signal = \"fahrenheit\"\n", ""),
        WireUnit::Kelvin => machine.temperature(of, probe, "signal = \"kelvin\"\n", ""),
        WireUnit::Ohm => machine.temperature(of, probe, "signal = \"pt100\"\n", ""),
        WireUnit::Volt => {
            let Some(junction) = junction else {
                return Some("a thermocouple's voltage is of no use without a channel cold-junction");
            };
            let junction = quoted(&junction);
            let keys = format!(
                "signal = \"thermocouple\"\nthermocouple = \"K\"       # DECIDE: the type of its wire\ncold-junction = {junction}\n"
            );
            machine.temperature(of, probe, &keys, "");
        }
        // A machine has one of each.
        WireUnit::Flag if probe == "running" => machine.probes.push(probe.to_owned()),
        WireUnit::MilligramPerLitre if probe == "sanitizer" => machine.probes.push(probe.to_owned()),
        WireUnit::Ph if probe == "ph" => machine.probes.push(probe.to_owned()),
        WireUnit::Flag | WireUnit::MilligramPerLitre | WireUnit::Ph => {
            return Some("a run signal is called running, a concentration sanitizer, a pH ph");
        }
    }
    None
}

/// What is proposed for units; nothing where no register is plausible.
pub(super) fn for_units(link: &ModbusLink, found: &[Found], name: &str) -> Option<String> {
    let proposed = |found: &Found| found.rows.iter().any(|row| row.proposed.is_some());
    if !found.iter().any(proposed) {
        return None;
    }
    let (place, source) = match link {
        ModbusLink::Rtu(line) => {
            let device = quoted_path(&line.device);
            (
                format!("found on {} at {} baud", line.device.display(), line.baud),
                format!(
                    "[[source]]\nname = \"bus1\"\nkind = \"modbus-rtu\"\ndevice = {device}\nbaud = {}\nparity = \"{}\"\nstop-bits = {}\n",
                    line.baud,
                    parity_word(line.parity),
                    line.stop_bits,
                ),
            )
        }
        ModbusLink::Tcp { host, port } => (
            format!("found at {host}:{port}"),
            format!(
                "[[source]]\nname = \"bus1\"\nkind = \"modbus-tcp\"\nhost = {}\nport = {port}\n",
                quoted(host)
            ),
        ),
    };
    let mut machine = Machine::default();
    let mut units = String::new();
    // Over TCP a silent unit costs a new connection beside its time-out, which fits twice into this.
    let shared = found.iter().any(|one| proposed(one) && one.unit != found[0].unit);
    let poll = if matches!(link, ModbusLink::Tcp { .. }) && shared { "poll = \"500ms\"\n" } else { "" };
    let mut last = None;
    for one in found.iter().filter(|one| proposed(one)) {
        if last.replace(one.unit) != Some(one.unit) {
            units.push_str(&unit_head(one, found, poll));
        }
        for row in &one.rows {
            let Some(preset) = row.proposed else { continue };
            let code = one.function.code();
            let probe = format!("u{}-f{code}-r{}", one.unit, row.register);
            let value = row.celsius.get(preset).copied().unwrap_or_default();
            machine.temperature(name, &probe, "", &format!("    # gave {value:.2} °C"));
            let _infallible = write!(
                units,
                "\n[[source.unit.register]]\nprobe = {}\nfunction = {code}\naddress = {}\npreset = \"{preset}\"\n",
                quoted(&format!("{name}/{probe}")),
                row.register,
            );
        }
    }
    let text = format!(
        "{}# A unit's manual says what it sends for a broken probe: fault-values = [\"0x7fff open-circuit\"].\n\
         {}\n{source}{units}",
        head(&place),
        machine.text(name),
    );
    Some(text)
}

/// What is configured of a unit itself, without its registers.
fn unit_head(one: &Found, found: &[Found], poll: &str) -> String {
    let mut head = format!("\n[[source.unit]]\naddress = {}\n{poll}", one.unit);
    if let Some(late) = one.late {
        let time_out = text::of_duration(late);
        let _infallible = writeln!(
            head,
            "time-out = \"{time_out}\"    # it is slow; lower this as far as its answers still keep it"
        );
    }
    // A unit has one such key for both functions.
    let together = found.iter().filter(|other| other.unit == one.unit).filter_map(|one| one.together_max);
    if let Some(most) = together.min() {
        let _infallible = writeln!(head, "block-max = {}", most.max(2));
    }
    head
}

fn head(place: &str) -> String {
    // A path may hold anything; a comment ends with its line.
    let place: String = place.chars().map(|one| if one.is_control() { ' ' } else { one }).collect();
    format!(
        "# Proposed by rinseward scan from what it {place}.\n\
         # Lines with DECIDE need a person; rinseward prove shows which probe is which.\n"
    )
}
