//! The source against the simulator's units: everything that a line can do wrong.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use rinseward::core::reading::{Fault, Value};
use rinseward::probe::SourceState;
use rinseward::wire::registers::RegisterType;
use rinseward_simulator::node::modbus::{Layout, Line, Unit, UnitFault, Units};
use tempfile::TempDir;

use super::listener::{Listener, line, ms, register, unit, word};

const SILENT: Value = Value::Fault(Fault::Silent);
const REPORTED: Value = Value::Fault(Fault::Reported);

/// A line with three units behind a stable name, as below `/dev/serial/by-id`.
struct Bus {
    directory: TempDir,
    units: Units,
    line: Option<Line>,
}

impl Bus {
    fn plugged() -> Self {
        let units = Units::default();
        (1..=3).for_each(|address| units.insert(address, Unit::new(Layout::Tenths)));
        let mut bus = Self { directory: TempDir::new().expect("a directory"), units, line: None };
        bus.plug();
        bus
    }

    fn link(&self) -> PathBuf {
        self.directory.path().join("converter")
    }

    fn plug(&mut self) {
        let line = Line::open(self.units.clone(), Some(&self.link()), None);
        self.line = Some(line.expect("a pseudo-terminal"));
    }

    /// The name goes with the line.
    fn unplug(&mut self) {
        self.line = None;
        assert!(!Path::exists(&self.link()));
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn reads_registers_of_every_kind_in_one_delivery_a_round() {
    let bus = Bus::plugged();
    for (address, value) in [(0, 822), (1, 0x7FFF), (2, 0x6666), (3, 0x42A4), (4, 0xFFFE), (16, 1)] {
        bus.units.put(1, address, value);
    }
    let registers = vec![
        register(0, 4, 0, RegisterType::I16, 0.1),
        register(1, 4, 1, RegisterType::I16, 0.1),
        register(2, 3, 2, RegisterType::F32, 1.0),
        register(3, 4, 4, RegisterType::I16, 0.1),
        register(4, 4, 3, RegisterType::U32, 1.0),
    ];
    let mut listener = Listener::start(line(&bus.link(), vec![unit(1, registers)]));
    assert_eq!(listener.state().await, SourceState::Up);
    let values = listener.with(0).await;
    let expected = [
        Value::Number(82.2),
        Value::Fault(Fault::OpenCircuit),
        // IEEE 754: 42A46666 is 82.2 in single precision (computed with another program).
        Value::Number(f64::from(82.2_f32)),
        Value::Number(-0.2),
        Value::Number(f64::from(0x42A4_FFFE_u32)),
    ];
    assert_eq!(values.into_values().collect::<Vec<_>>(), expected);
    // Function 3 once, function 4 twice: register 2 is nobody's with that function.
    let asked = bus.units.asked(1);
    assert!(asked.is_multiple_of(3) || asked > 3, "three requests a round: {asked}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_dead_unit_gives_faults_is_asked_ever_more_seldom_and_comes_back() {
    let bus = Bus::plugged();
    bus.units.put(1, 0, 71);
    bus.units.set_fault(3, Some(UnitFault::Dead));
    let units =
        vec![unit(1, vec![word(0, 0)]), unit(2, vec![word(1, 0)]), unit(3, vec![word(2, 0), word(3, 8)])];
    let mut listener = Listener::start(line(&bus.link(), units));
    assert_eq!(listener.with(2).await[&3], SILENT, "also the block that was not asked for");
    let before = bus.units.asked(3);
    let alive = bus.units.asked(1);
    for _ in 0..40 {
        assert_eq!(listener.with(0).await[&0], Value::Number(71.0), "the others go on");
    }
    // Forty rounds are 8 s: the waits are 0.3, 0.6, 1.2 and 2 s (own choice, `Backoff`).
    let (dead, alive) = (bus.units.asked(3) - before, bus.units.asked(1) - alive);
    assert!(alive >= 40 && dead * 4 <= alive, "{dead} requests beside {alive}");
    bus.units.put(3, 0, 72);
    bus.units.set_fault(3, None);
    listener.until(2, |value| value == Value::Number(72.0)).await;
    // And dies again: a fault at the next round, never the value it had.
    bus.units.set_fault(3, Some(UnitFault::Dead));
    listener.until(2, |value| value == SILENT).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_refused_is_a_fault_and_the_rest_is_read() {
    let bus = Bus::plugged();
    bus.units.put(1, 0, 71);
    // The simulated units have registers 0 to 31.
    let mut listener = Listener::start(line(&bus.link(), vec![unit(1, vec![word(0, 0), word(1, 40)])]));
    for _ in 0..3 {
        let values = listener.with(0).await;
        assert_eq!((values[&0], values[&1]), (Value::Number(71.0), REPORTED));
    }
    bus.units.set_fault(1, Some(UnitFault::Exception(4)));
    listener.until(0, |value| value == REPORTED).await;
    // What a gateway says of a unit that it does not reach (V1.1b3 §7, code 11).
    bus.units.set_fault(1, Some(UnitFault::Exception(11)));
    listener.until(0, |value| value == SILENT).await;
    bus.units.set_fault(1, None);
    listener.until(0, |value| value == Value::Number(71.0)).await;
}

// An answer after its time-out looks like the answer to the next request: same unit, same
// function, same length. It must not become the value of another register.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_late_answer_never_passes_for_another() {
    let bus = Bus::plugged();
    let registers = [0_u16, 4, 8, 12];
    for register in registers {
        bus.units.put(1, register, 100 + register);
        bus.units.put(2, register, 200 + register);
    }
    let words = |base: u16| registers.map(|register| word(base + register, register)).to_vec();
    let mut listener = Listener::start(line(&bus.link(), vec![unit(1, words(100)), unit(2, words(200))]));
    let mut silent = 0;
    for delay in [151, 200, 300, 430] {
        listener.until(100, |value| value == Value::Number(100.0)).await;
        bus.units.set_fault(1, Some(UnitFault::Late(ms(delay))));
        for _ in 0..6 {
            for (channel, value) in
                listener.delivery().await.samples.iter().map(|one| (one.channel.0, one.value))
            {
                let right = value == Value::Number(f64::from(channel));
                assert!(right || value == SILENT, "register {channel} after {delay} ms: {value:?}");
                silent += usize::from(!right);
            }
        }
    }
    assert!(silent >= 4, "the answers were late: {silent}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn noise_and_bad_checks_never_become_values() {
    for fault in [UnitFault::Noise, UnitFault::Garbled] {
        let bus = Bus::plugged();
        (0..8).for_each(|register| bus.units.put(1, register, 100 + register));
        bus.units.put(2, 0, 50);
        let words = (0..8).map(|register| word(100 + register, register)).collect();
        let mut listener =
            Listener::start(line(&bus.link(), vec![unit(1, words), unit(2, vec![word(0, 0)])]));
        listener.until(100, |value| value == Value::Number(100.0)).await;
        bus.units.set_fault(1, Some(fault));
        let mut seen = BTreeSet::new();
        for _ in 0..20 {
            for (channel, value) in
                listener.delivery().await.samples.iter().map(|one| (one.channel.0, one.value))
            {
                let right = if channel == 0 { 50.0 } else { f64::from(channel) };
                assert!(value == Value::Number(right) || value == SILENT, "{fault:?}: {channel} {value:?}");
                seen.insert((channel, value == SILENT));
            }
        }
        assert!(seen.contains(&(0, false)), "{fault:?}: the other unit is read");
        assert!(fault == UnitFault::Noise || seen.contains(&(100, true)), "a bad check is no answer");
        bus.units.set_fault(1, None);
        listener.until(100, |value| value == Value::Number(100.0)).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_slow_unit_is_read_as_long_as_it_keeps_its_time_out() {
    let bus = Bus::plugged();
    bus.units.put(1, 0, 71);
    bus.units.set_fault(1, Some(UnitFault::Slow(ms(400))));
    let mut slow = unit(1, vec![word(0, 0)]);
    slow.time_out = ms(5_000);
    let mut listener = Listener::start(line(&bus.link(), vec![slow]));
    for _ in 0..3 {
        assert_eq!(listener.with(0).await[&0], Value::Number(71.0));
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn goes_on_after_the_converter_was_unplugged() {
    let mut bus = Bus::plugged();
    bus.units.put(1, 0, 71);
    bus.units.put(2, 0, 72);
    let units = vec![unit(1, vec![word(0, 0)]), unit(2, vec![word(1, 0)])];
    let mut listener = Listener::start(line(&bus.link(), units));
    assert_eq!(listener.state().await, SourceState::Up);
    for round in 0..3 {
        listener.until(0, |value| value == Value::Number(71.0)).await;
        listener.until(1, |value| value == Value::Number(72.0)).await;
        bus.unplug();
        let SourceState::Down { cause } = listener.state().await else { panic!("it is unplugged") };
        assert!(cause.contains("unplugged") || cause.contains("plugged in"), "{round}: {cause}");
        let values = listener.with(0).await;
        assert_eq!((values[&0], values[&1]), (SILENT, SILENT), "faults in the name of every channel");
        bus.plug();
        while listener.state().await != SourceState::Up {}
    }
    listener.until(1, |value| value == Value::Number(72.0)).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_line_in_use_is_waited_for() {
    let bus = Bus::plugged();
    let mut first = Listener::start(line(&bus.link(), vec![unit(1, vec![word(0, 0)])]));
    assert_eq!(first.state().await, SourceState::Up);
    let mut second = Listener::start(line(&bus.link(), vec![unit(1, vec![word(0, 0)])]));
    let SourceState::Down { cause } = second.state().await else { panic!("the port is taken") };
    assert!(cause.contains("another program uses it"), "{cause}");
    drop(first);
    while second.state().await != SourceState::Up {}
}
