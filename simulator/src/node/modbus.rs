//! Modbus RTU units on one line: converters that put the probes of the machines into registers.
//!
//! A pseudo-terminal carries the line, one unit a machine, from address 1 on. Functions 3 and 4
//! read the same registers (MODBUS Application Protocol V1.1b3 §6.3, §6.4); everything else is
//! refused, so that a master that writes is found out. Where a rate is given the line is as slow as
//! a real one: 11 bits a byte, and 3.5 bytes of silence before an answer (MODBUS over Serial Line
//! V1.02 §2.5.1); without one, answers come at once.
//!
//! | register | layout `tenths` | layout `float-swapped` |
//! |---|---|---|
//! | 0 | wash, 0.1 °C, signed | wash, °C, IEEE 754, low word |
//! | 1 | rinse | high word |
//! | 2, 3 | 0 | rinse, as wash |
//! | 16 | 1 while the machine runs | the same |
//!
//! A broken probe is `0x7FFF` or a NaN. The other registers up to 31 hold 0; beyond there are none.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::io::Errno;

use super::serial::{PseudoTerminal, SerialError};
use super::{Emission, Pace, Record, RecordValue, Stop};
use crate::truth::TruthEntry;
use crate::world::World;

/// Registers of a unit.
const REGISTERS: u16 = 32;
/// Register of the run signal.
const RUNNING: u16 = 16;
/// Most registers of one request (V1.1b3 §6.3).
const COUNT_MAX: u16 = 125;
/// Bytes of a request that reads.
const REQUEST_BYTES: usize = 8;
/// Bits of a byte on the line.
const BITS_PER_BYTE: u32 = 11;
/// A silence this long ends whatever was begun; a pseudo-terminal hands a request over at once.
const FRAME_GAP: Duration = Duration::from_millis(20);
/// Longest wait between two looks at the stop flag.
const SLICE: Timespec = Timespec { tv_sec: 0, tv_nsec: 10_000_000 };

/// How a unit lays its values out.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Layout {
    /// Tenths of a degree in one register each.
    Tenths,
    /// IEEE 754 in two registers each, the low word first.
    FloatSwapped,
}

impl Layout {
    /// Its word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Tenths => "tenths",
            Self::FloatSwapped => "float-swapped",
        }
    }
}

/// What goes wrong with a unit.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum UnitFault {
    /// It answers nothing.
    Dead,
    /// It answers every request with this exception.
    Exception(u8),
    /// It answers after this time.
    Slow(Duration),
    /// One answer comes after this time, the others at once.
    Late(Duration),
    /// Wild bytes come before each answer.
    Noise,
    /// A byte of each answer is another one.
    Garbled,
}

impl FromStr for UnitFault {
    type Err = UnknownFault;

    fn from_str(text: &str) -> Result<Self, UnknownFault> {
        let (word, value) = text.split_once(':').unwrap_or((text, ""));
        let millis = || value.parse().map(Duration::from_millis).map_err(|_| UnknownFault);
        match word {
            "dead" => Ok(Self::Dead),
            "exception" => value.parse().map(Self::Exception).map_err(|_| UnknownFault),
            "slow" => millis().map(Self::Slow),
            "late" => millis().map(Self::Late),
            "noise" => Ok(Self::Noise),
            "garbled" => Ok(Self::Garbled),
            _ => Err(UnknownFault),
        }
    }
}

/// The text names no fault of a unit.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("write dead, exception:CODE, slow:MILLISECONDS, late:MILLISECONDS, noise or garbled")]
pub struct UnknownFault;

/// A unit: its registers, and what is wrong with it.
#[derive(Clone, Debug)]
pub struct Unit {
    layout: Layout,
    words: Vec<u16>,
    fault: Option<UnitFault>,
    /// Requests that it was sent.
    asked: u64,
}

impl Unit {
    /// A unit whose registers hold 0.
    #[must_use]
    pub fn new(layout: Layout) -> Self {
        Self { layout, words: vec![0; usize::from(REGISTERS)], fault: None, asked: 0 }
    }

    /// Puts a value of a probe into its registers.
    pub fn take(&mut self, record: &Record) {
        let place = match record.name {
            "wash" => 0,
            "rinse" => 1,
            "running" => {
                let on = record.value == RecordValue::Boolean(true);
                self.put(RUNNING, u16::from(on));
                return;
            }
            _ => return,
        };
        match (self.layout, &record.value) {
            (Layout::Tenths, RecordValue::Number(value_c)) => self.put(place, tenths(*value_c)),
            (Layout::Tenths, RecordValue::Text(_)) => self.put(place, 0x7FFF),
            (Layout::FloatSwapped, RecordValue::Number(value_c)) => {
                self.put_float(2 * place, single(*value_c))
            }
            (Layout::FloatSwapped, RecordValue::Text(_)) => self.put_float(2 * place, f32::NAN),
            (_, RecordValue::Boolean(_)) => {}
        }
    }

    fn put(&mut self, register: u16, word: u16) {
        if let Some(place) = self.words.get_mut(usize::from(register)) {
            *place = word;
        }
    }

    fn put_float(&mut self, register: u16, value: f32) {
        let [a, b, c, d] = value.to_bits().to_be_bytes();
        self.put(register, u16::from_be_bytes([c, d]));
        self.put(register + 1, u16::from_be_bytes([a, b]));
    }

    /// The answer to a request without its CRC: address, function, data.
    fn answer(&self, request: &[u8; REQUEST_BYTES]) -> Vec<u8> {
        let [address, function, first_high, first_low, count_high, count_low, _, _] = *request;
        let refuse = |code: u8| vec![address, function | 0x80, code];
        if let Some(UnitFault::Exception(code)) = self.fault {
            return refuse(code);
        }
        let first = u16::from_be_bytes([first_high, first_low]);
        let count = u16::from_be_bytes([count_high, count_low]);
        if !matches!(function, 3 | 4) {
            return refuse(1);
        }
        if !(1..=COUNT_MAX).contains(&count) {
            return refuse(3);
        }
        let words = self.words.get(usize::from(first)..usize::from(first) + usize::from(count));
        let Some(words) = words else { return refuse(2) };
        let bytes: Vec<u8> = words.iter().flat_map(|word| word.to_be_bytes()).collect();
        let mut answer = vec![address, function, u8::try_from(bytes.len()).unwrap_or(u8::MAX)];
        answer.extend(bytes);
        answer
    }
}

#[expect(clippy::cast_possible_truncation, reason = "held inside the range of the register")]
fn tenths(value_c: f64) -> u16 {
    let value = (value_c * 10.0).round().clamp(f64::from(i16::MIN), f64::from(i16::MAX)) as i16;
    u16::from_be_bytes(value.to_be_bytes())
}

#[expect(clippy::cast_possible_truncation, reason = "the unit sends single precision")]
const fn single(value_c: f64) -> f32 {
    value_c as f32
}

/// CRC-16 of MODBUS over Serial Line V1.02 §6.2.2: polynomial 0xA001 from the low bit on, begun with
/// 0xFFFF. On the line its low byte goes first.
#[must_use]
pub fn crc(bytes: &[u8]) -> u16 {
    let mut crc = 0xFFFF_u16;
    for byte in bytes {
        crc ^= u16::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { crc >> 1 ^ 0xA001 } else { crc >> 1 };
        }
    }
    crc
}

/// The units of a line, shared by whoever fills them and whoever answers for them.
#[derive(Clone, Debug, Default)]
pub struct Units(Arc<Mutex<BTreeMap<u8, Unit>>>);

impl Units {
    /// One unit for each machine of a world, from address 1 on, the layouts in turn.
    #[must_use]
    pub fn of(world: &World) -> Self {
        let layouts = [Layout::Tenths, Layout::FloatSwapped];
        let units = (1..=247).zip(layouts.into_iter().cycle()).take(world.facts().count());
        let units = units.map(|(address, layout)| (address, Unit::new(layout))).collect();
        Self(Arc::new(Mutex::new(units)))
    }

    /// Adds a unit, or puts another in its place.
    pub fn insert(&self, address: u8, unit: Unit) {
        self.with(|units| units.insert(address, unit));
    }

    /// Address and layout of each.
    #[must_use]
    pub fn list(&self) -> Vec<(u8, Layout)> {
        self.with(|units| units.iter().map(|(address, unit)| (*address, unit.layout)).collect())
    }

    /// Gives a unit a fault, or takes it away; false where there is no such unit.
    pub fn set_fault(&self, address: u8, fault: Option<UnitFault>) -> bool {
        self.with(|units| units.get_mut(&address).map(|unit| unit.fault = fault).is_some())
    }

    /// Puts a word into a register of a unit.
    pub fn put(&self, address: u8, register: u16, word: u16) {
        self.with(|units| {
            if let Some(unit) = units.get_mut(&address) {
                unit.put(register, word);
            }
        });
    }

    /// The word in a register of a unit; `None` where there is no such register.
    #[must_use]
    pub fn word(&self, address: u8, register: u16) -> Option<u16> {
        self.with(|units| units.get(&address)?.words.get(usize::from(register)).copied())
    }

    /// How many requests a unit was sent.
    #[must_use]
    pub fn asked(&self, address: u8) -> u64 {
        self.with(|units| units.get(&address).map_or(0, |unit| unit.asked))
    }

    /// Puts what leaves a machine's node into its registers.
    pub fn take(&self, emission: &Emission) {
        let address = u8::try_from(emission.machine + 1).unwrap_or(u8::MAX);
        self.with(|units| {
            if let Some(unit) = units.get_mut(&address) {
                emission.records.iter().for_each(|record| unit.take(record));
            }
        });
    }

    fn with<T>(&self, work: impl FnOnce(&mut BTreeMap<u8, Unit>) -> T) -> T {
        // Registers whose last writer fell over are as good as before.
        work(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// A line that is served by a thread of its own until it is dropped, which is as if its cable were
/// pulled out.
#[derive(Debug)]
pub struct Line {
    stop: Stop,
    path: PathBuf,
    thread: Option<JoinHandle<()>>,
}

impl Line {
    /// Opens a pseudo-terminal, with a link to it where one is given, and serves the units on it, as
    /// slowly as a line of `baud`.
    ///
    /// # Errors
    /// When the system gives no pseudo-terminal or no thread.
    pub fn open(units: Units, link: Option<&Path>, baud: Option<u32>) -> Result<Self, SerialError> {
        let mut port = PseudoTerminal::open()?;
        if let Some(link) = link {
            port.link(link)?;
        }
        let (stop, path) = (Stop::default(), port.path().to_owned());
        let asked = stop.clone();
        let byte = baud.map(|baud| Duration::from_secs(1) * BITS_PER_BYTE / baud.max(1));
        let thread = thread::Builder::new()
            .name("modbus".to_owned())
            .spawn(move || Server { units, port, byte, stop: asked }.serve())
            .map_err(|source| SerialError::Open { source })?;
        Ok(Self { stop, path, thread: Some(thread) })
    }

    /// Path that the master opens.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        self.stop.stop();
        // The port is gone when its thread is; one that fell over has let go of it.
        let _gone = self.thread.take().map(JoinHandle::join);
    }
}

struct Server {
    units: Units,
    port: PseudoTerminal,
    /// How long a byte takes on the line; `None` takes no time.
    byte: Option<Duration>,
    stop: Stop,
}

impl Server {
    fn serve(&self) {
        let (mut begun, mut last) = (Vec::new(), Instant::now());
        let mut buffer = [0; 256];
        while !self.stop.is_stopped() {
            let mut ready = [PollFd::new(self.port.master(), PollFlags::IN)];
            if !matches!(poll(&mut ready, Some(&SLICE)), Ok(1..)) {
                continue;
            }
            match rustix::io::read(self.port.master(), &mut buffer) {
                Ok(count) => {
                    if last.elapsed() > FRAME_GAP {
                        begun.clear();
                    }
                    last = Instant::now();
                    begun.extend_from_slice(&buffer[..count]);
                    self.take(&mut begun, last);
                }
                Err(Errno::AGAIN | Errno::INTR) => {}
                // Nobody has the port open; it can be opened again.
                Err(_) => thread::sleep(Duration::from_millis(5)),
            }
        }
    }

    /// Answers every whole request; a byte that begins none is dropped.
    fn take(&self, begun: &mut Vec<u8>, came: Instant) {
        while let Some((request, rest)) = begun.split_first_chunk::<REQUEST_BYTES>() {
            let (body, check) = request.split_at(REQUEST_BYTES - 2);
            if crc(body).to_le_bytes() == check {
                let (request, rest) = (*request, rest.to_vec());
                *begun = rest;
                self.answer(&request, came);
            } else {
                let _noise = begun.remove(0);
            }
        }
    }

    fn answer(&self, request: &[u8; REQUEST_BYTES], came: Instant) {
        let [address, ..] = *request;
        let answered = self.units.with(|units| {
            let unit = units.get_mut(&address)?;
            unit.asked += 1;
            let fault = unit.fault;
            if let Some(UnitFault::Late(_)) = fault {
                unit.fault = None;
            }
            Some((unit.answer(request), fault))
        });
        let Some((mut answer, fault)) = answered else { return };
        let check = crc(&answer).to_le_bytes();
        answer.extend(check);
        let mut delay = Duration::ZERO;
        match fault {
            Some(UnitFault::Dead) => return,
            Some(UnitFault::Slow(by) | UnitFault::Late(by)) => delay = by,
            // No address that is used, no function, and never a whole frame.
            Some(UnitFault::Noise) => {
                let _none = answer.splice(..0, [0xFF, 0x00, 0xFE]).count();
            }
            Some(UnitFault::Garbled) => {
                if let Some(byte) = answer.get_mut(3) {
                    *byte ^= 0x55;
                }
            }
            Some(UnitFault::Exception(_)) | None => {}
        }
        // What the request takes on the line, and the silence that ends it.
        let silence = self.byte.map_or(Duration::ZERO, |byte| {
            byte * 8 + (byte * 7 / 2).max(Duration::from_micros(if byte < FAST_BYTE { 1_750 } else { 0 }))
        });
        self.write(&answer, came + silence + delay);
    }

    /// Writes the bytes from `start` on, each when its last bit would be through.
    fn write(&self, bytes: &[u8], start: Instant) {
        let byte = self.byte.unwrap_or_default();
        let due = |count: usize| start + byte * u32::try_from(count).unwrap_or(u32::MAX);
        let mut written = 0;
        while written < bytes.len() && !self.stop.is_stopped() {
            let wait = due(written + 1).saturating_duration_since(Instant::now());
            if !wait.is_zero() {
                thread::sleep(wait.min(Duration::from_millis(20)));
                continue;
            }
            let ready = (written + 1..=bytes.len()).take_while(|count| due(*count) <= Instant::now()).last();
            let part = &bytes[written..ready.unwrap_or(written + 1)];
            match rustix::io::write(self.port.master(), part) {
                Ok(count) => written += count,
                Err(Errno::AGAIN | Errno::INTR) => thread::sleep(Duration::from_millis(1)),
                Err(_) => return,
            }
        }
    }
}

/// Above 19,200 baud the silence is fixed: a byte is shorter than this.
const FAST_BYTE: Duration = Duration::from_micros(572);

/// Plays a world into the registers at `speed` simulated seconds a second, in the calling thread,
/// until its end or a stop. `on_truth` gets each truth entry.
pub fn play(world: &mut World, units: &Units, speed: f64, stop: &Stop, mut on_truth: impl FnMut(TruthEntry)) {
    let pace = Pace::new(world.start_micros(), speed, stop.clone());
    while let Some(emission) = world.next() {
        world.take_truth().into_iter().for_each(&mut on_truth);
        if !pace.wait_until(emission.at_micros) {
            return;
        }
        units.take(&emission);
    }
    world.take_truth().into_iter().for_each(&mut on_truth);
}

/// A world playing into the registers of its units in a thread of its own.
#[derive(Debug)]
pub struct Player {
    stop: Stop,
    thread: Option<JoinHandle<()>>,
}

impl Player {
    /// Starts to play at `speed`. The truth is handed to `on_truth` in that thread.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start(
        mut world: World,
        units: Units,
        speed: f64,
        on_truth: impl FnMut(TruthEntry) + Send + 'static,
    ) -> io::Result<Self> {
        let stop = Stop::default();
        let asked = stop.clone();
        let thread = thread::Builder::new()
            .name("simulator".to_owned())
            .spawn(move || play(&mut world, &units, speed, &asked, on_truth))?;
        Ok(Self { stop, thread: Some(thread) })
    }

    /// Whether the world has come to its end.
    #[must_use]
    pub fn is_finished(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        self.stop.stop();
    }
}

#[cfg(test)]
mod tests;
