//! One line of Modbus units: polls per second beside what the line itself can carry, and the
//! processor time of many units at rest.
//!
//! `cargo bench --bench modbus` opens the simulator's units on a pseudo-terminal that hands bytes
//! over as slowly as a line of that rate, and lets the gateway's source ask as fast as it can for
//! [`SECONDS`], three times for each count of units. The limit of a line is (MODBUS over Serial
//! Line V1.02 §2.5.1.1 and §2.5.1, a byte being 11 bits with parity; frames of Application
//! Protocol V1.1b3 §6.4):
//!
//! ```text
//! request = 8 bytes, answer = 5 + 2 × registers bytes
//! polls/s = 1 / ((request + answer) × 11 / baud + 2 × silence)
//! silence = 3.5 × 11 / baud, but above 19,200 baud 1.750 ms whatever the rate
//! ```
//!
//! The share is of the limit with the fixed silence, which the source keeps; the limit with
//! silences of 3.5 bytes stands beside it. The processor time is that of the thread that the source
//! runs in (`CLOCK_THREAD_CPUTIME_ID` of clock_gettime(2)), so that the simulator's does not count.

#![expect(clippy::disallowed_methods, reason = "a bench spawns and measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::path::Path;
use std::time::{Duration, Instant};

use rinseward::config::modbus::{
    ModbusLine, ModbusLink, ModbusRegister, ModbusSource, ModbusUnit, REQUEST_BYTES, answer_bytes,
    frame_silence, line_time,
};
use rinseward::config::source::Parity;
use rinseward::core::id::{ChannelId, SourceId};
use rinseward::core::reading::Value;
use rinseward::core::time::Timestamp;
use rinseward::probe::FromSource;
use rinseward::probe::modbus::ModbusProbe;
use rinseward::wire::directory::WireUnit;
use rinseward::wire::registers::{Function, RegisterShape, RegisterType, WordOrder};
use rinseward_simulator::node::modbus::{Layout, Line, Unit, Units};
use rustix::time::{ClockId, clock_gettime};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// Registers of each poll: a converter with eight inputs.
const REGISTERS: u16 = 8;
/// Asked as fast as can be for this long.
const SECONDS: u64 = 10;
/// How often that is done for each count of units.
const RUNS: usize = 3;
/// Processor time is taken over this long.
const REST_SECONDS: u64 = 20;

fn main() {
    for units in [1, 8] {
        let mut runs: Vec<f64> = (0..RUNS)
            .map(|_| {
                let taken = ask(115_200, units, Duration::from_millis(1), Duration::from_secs(SECONDS));
                taken.polls / taken.seconds
            })
            .collect();
        runs.sort_by(f64::total_cmp);
        let (median, least, most) = (runs[RUNS / 2], runs[0], runs[RUNS - 1]);
        let (fixed, short) = limits(115_200);
        println!(
            "115,200 baud, {units} units, {REGISTERS} registers each: {median:.1} polls/s ({least:.1} to {most:.1} over \
             {RUNS} runs of {SECONDS} s); the line's limit {fixed:.1}, ratio {:.2}; with silences of 3.5 bytes {short:.1}",
            median / fixed,
        );
    }
    let taken = ask(19_200, 32, Duration::from_secs(1), Duration::from_secs(REST_SECONDS));
    println!(
        "19,200 baud, 32 units once a second, {REST_SECONDS} s: {:.0} polls, {:.1} ms of processor time, {:.3} % of one \
         core, {:.0} µs a poll",
        taken.polls,
        taken.processor_s * 1e3,
        100.0 * taken.processor_s / taken.seconds,
        1e6 * taken.processor_s / taken.polls,
    );
}

/// Polls per second that a line can carry: with the fixed silence, and with 3.5 bytes of it.
fn limits(baud: u32) -> (f64, f64) {
    let frames = line_time(REQUEST_BYTES + answer_bytes(REGISTERS), baud, Parity::Even, 1);
    let fixed = frames + 2 * frame_silence(baud, Parity::Even, 1);
    let short = frames + line_time(7, baud, Parity::Even, 1);
    (1.0 / fixed.as_secs_f64(), 1.0 / short.as_secs_f64())
}

/// What a stretch of asking brought.
struct Taken {
    polls: f64,
    seconds: f64,
    processor_s: f64,
}

/// Asks so many units for `time`, after one round of each.
fn ask(baud: u32, count: u8, poll: Duration, time: Duration) -> Taken {
    let units = Units::default();
    for address in 1..=count {
        units.insert(address, Unit::new(Layout::Tenths));
        (0..REGISTERS).for_each(|register| units.put(address, register, 700 + register));
    }
    let line = Line::open(units, None, Some(baud)).expect("a pseudo-terminal");
    let settings = source(line.path(), baud, count, poll);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let (to, mut from) = mpsc::channel(64);
        let stop = CancellationToken::new();
        let now = || Timestamp::from_micros(jiff::Timestamp::now().as_microsecond());
        let probe = ModbusProbe { source: SourceId(0), name: "bus".to_owned(), settings, now };
        let asking = tokio::spawn(probe.run(to, stop.clone()));
        for _ in 0..count {
            answered(&mut from).await;
        }
        let (began, processor_s) = (Instant::now(), thread_s());
        let mut polls = 0_u32;
        while began.elapsed() < time {
            answered(&mut from).await;
            polls += 1;
        }
        let (seconds, processor_s) = (began.elapsed().as_secs_f64(), thread_s() - processor_s);
        stop.cancel();
        asking.await.expect("the source ends in order");
        Taken { polls: f64::from(polls), seconds, processor_s }
    })
}

/// Waits for the next delivery; each must hold all values of its unit.
async fn answered(from: &mut mpsc::Receiver<FromSource>) {
    loop {
        if let FromSource::Delivery(delivery) = from.recv().await.expect("the source runs") {
            let numbers = delivery.samples.iter().filter(|sample| matches!(sample.value, Value::Number(_)));
            assert_eq!(
                numbers.count(),
                usize::from(REGISTERS),
                "a unit did not answer: the computer is too busy"
            );
            return;
        }
    }
}

/// Processor time of this thread so far, s.
fn thread_s() -> f64 {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    Duration::new(time.tv_sec.unsigned_abs(), u32::try_from(time.tv_nsec).unwrap_or_default()).as_secs_f64()
}

fn source(device: &Path, baud: u32, count: u8, poll: Duration) -> ModbusSource {
    let line = ModbusLine {
        device: device.to_owned(),
        baud,
        parity: Parity::Even,
        stop_bits: 1,
        turnaround: frame_silence(baud, Parity::Even, 1),
    };
    let units = (1..=count).map(|address| ModbusUnit {
        address,
        poll,
        time_out: Duration::from_secs(1),
        block_max: 125,
        gap_max: 0,
        registers: (0..REGISTERS)
            .map(|register| value(u16::from(address) * REGISTERS + register, register))
            .collect(),
    });
    ModbusSource {
        link: ModbusLink::Rtu(line),
        units: units.collect(),
        retry_after_max: Duration::from_secs(5),
        reopen_after_max: Duration::from_secs(1),
    }
}

fn value(channel: u16, address: u16) -> ModbusRegister {
    let (kind, order) = (RegisterType::I16, WordOrder::HighFirst);
    ModbusRegister {
        channel: ChannelId(channel),
        unit: WireUnit::Celsius,
        function: Function::Input,
        address,
        shape: RegisterShape { kind, order, scale: 0.1, offset: 0.0, faults: Vec::new() },
    }
}
