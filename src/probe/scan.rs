//! Looking at a port or at an address that nothing is known of yet.
//!
//! A port is opened for this program alone. Lines of text are only listened to. Units are asked for
//! registers, one request after the other; nothing is ever written to a register. A unit that is
//! silent is asked twice, since one request may be lost; what comes late is thrown away by
//! [`super::modbus::link`] before the next request.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::time::Duration;

use tokio::io::AsyncReadExt;
use tokio::time::{Instant, sleep, timeout_at};
use tokio_serial::ErrorKind;

use super::modbus::link::{Ask, AskError, Link};
use super::serial;
use crate::config::modbus::ModbusLink;
use crate::config::source::Parity;
use crate::wire::registers::Function;

/// Registers that are asked for together (own choice: small converters refuse more).
const BLOCK: u16 = 16;
/// How often a request is made whose answer could not be read.
const TRIES: usize = 3;
/// A unit that answered late is asked again, and given so many times the time (own choice).
const LATE_TIMES: u32 = 8;

/// A port and how to open it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PortSettings {
    /// Device.
    pub device: PathBuf,
    /// Baud rate.
    pub baud: u32,
    /// Parity.
    pub parity: Parity,
    /// Stop bits, 1 or 2.
    pub stop_bits: u8,
}

/// Why nothing could be looked at.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum ScanError {
    /// Another program has the port.
    #[error("{cause}")]
    Held {
        /// In words.
        cause: String,
    },
    /// It cannot be opened, or was lost.
    #[error("{cause}")]
    Link {
        /// In words.
        cause: String,
    },
}

fn opened(port: &PortSettings) -> Result<tokio_serial::SerialStream, ScanError> {
    serial::open(&port.device, port.baud, port.parity, port.stop_bits).map_err(|error| {
        let cause = serial::open_cause(&port.device, &error);
        match error.kind() {
            ErrorKind::NoDevice => ScanError::Held { cause },
            ErrorKind::InvalidInput | ErrorKind::Unknown | ErrorKind::Io(_) => ScanError::Link { cause },
        }
    })
}

/// Hands over what comes in that time, with the time since the port was opened.
///
/// # Errors
/// [`ScanError`] where the port cannot be opened or fails.
pub async fn listen(
    port: &PortSettings,
    time: Duration,
    mut each: impl FnMut(Duration, &[u8]),
) -> Result<(), ScanError> {
    let mut stream = opened(port)?;
    let began = Instant::now();
    let mut buffer = [0; 4_096];
    loop {
        match timeout_at(began + time, stream.read(&mut buffer)).await {
            Err(_) => return Ok(()),
            Ok(Ok(0)) => {
                return Err(ScanError::Link { cause: "the port has gone; is it unplugged?".to_owned() });
            }
            Ok(Ok(count)) => each(began.elapsed(), &buffer[..count]),
            Ok(Err(error)) => {
                return Err(ScanError::Link { cause: format!("the port failed: {error}; is it unplugged?") });
            }
        }
    }
}

/// What is to be asked.
#[derive(Clone, Debug)]
pub struct Walk {
    /// The line or the address.
    pub link: ModbusLink,
    /// Addresses of units.
    pub units: RangeInclusive<u8>,
    /// Functions, in this order.
    pub functions: Vec<Function>,
    /// Registers, counted from 0.
    pub registers: RangeInclusive<u16>,
    /// How long a unit may think.
    pub time_out: Duration,
}

/// A unit that gave a sign of life.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct UnitSeen {
    /// Its address.
    pub address: u8,
    /// What each function gave; silent ones are left out.
    pub functions: Vec<FunctionSeen>,
    /// It answered after the time that it was given at first; it was asked again, and given this.
    pub late: Option<Duration>,
}

/// What one function of a unit gave.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct FunctionSeen {
    /// Which.
    pub function: Function,
    /// How it answered.
    pub answer: Answer,
    /// Words by register.
    pub words: BTreeMap<u16, u16>,
    /// Most registers that it gave at once, where it refused more as too many.
    pub together_max: Option<u16>,
}

/// How a unit answers.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Answer {
    /// With values.
    Values,
    /// With this exception.
    Exception(u8),
    /// With something that cannot be read.
    Garbled,
}

/// Asks every unit.
///
/// # Errors
/// [`ScanError`] where the line cannot be opened or fails.
pub async fn walk(walk: &Walk) -> Result<Vec<UnitSeen>, ScanError> {
    if let ModbusLink::Rtu(line) = &walk.link {
        let (device, baud) = (line.device.clone(), line.baud);
        // Opened once beforehand, since only that tells a port that is held from one that is missing.
        drop(opened(&PortSettings { device, baud, parity: line.parity, stop_bits: line.stop_bits })?);
    }
    let link = Link::open(&walk.link).await.map_err(|cause| ScanError::Link { cause })?.without_doubt();
    let mut asker = Asker { link, time_out: walk.time_out };
    let mut seen = BTreeMap::new();
    for address in walk.units.clone() {
        let functions = asker.unit(walk, address).await?;
        if !functions.is_empty() {
            seen.insert(address, UnitSeen { address, functions, late: None });
        }
    }
    let gone = |error: AskError| ScanError::Link { cause: error.to_string() };
    asker.link.listen(walk.time_out * LATE_TIMES).await.map_err(gone)?;
    asker.time_out = walk.time_out * LATE_TIMES;
    for address in asker.link.late() {
        let functions = asker.unit(walk, address).await?;
        seen.insert(address, UnitSeen { address, functions, late: Some(asker.time_out) });
    }
    Ok(seen.into_values().collect())
}

/// Exceptions by which a gateway says that nobody is behind that address.
const UNREACHED: [u8; 2] = [10, 11];

struct Asker {
    link: Link,
    time_out: Duration,
}

impl Asker {
    /// What each function of a unit gives.
    async fn unit(&mut self, walk: &Walk, address: u8) -> Result<Vec<FunctionSeen>, ScanError> {
        let mut functions = Vec::new();
        for function in &walk.functions {
            let first = Ask {
                unit: address,
                function: *function,
                first: *walk.registers.start(),
                count: 1,
                time_out: self.time_out,
            };
            let mut answer = self.ask(first).await;
            if walk.functions.len() == 1 && answer == Err(AskError::Silent) {
                answer = self.ask(first).await;
            }
            let (answer, words, together_max) = match answer {
                Ok(_) | Err(AskError::Exception { code: 2..=4 }) => {
                    let (words, together_max) = self.read(first, &walk.registers).await?;
                    let refused = match answer {
                        Err(AskError::Exception { code }) if words.is_empty() => Answer::Exception(code),
                        Ok(_) | Err(_) => Answer::Values,
                    };
                    (refused, words, together_max)
                }
                Err(AskError::Exception { code }) if UNREACHED.contains(&code) => continue,
                Err(AskError::Exception { code }) => (Answer::Exception(code), BTreeMap::new(), None),
                Err(AskError::Garbled) => (Answer::Garbled, BTreeMap::new(), None),
                Err(AskError::Silent) => continue,
                Err(AskError::Link { cause }) => return Err(ScanError::Link { cause }),
            };
            functions.push(FunctionSeen { function: *function, answer, words, together_max });
        }
        Ok(functions)
    }

    /// Asks again where the answer cannot be read: it may be the late one of the unit before.
    async fn ask(&mut self, ask: Ask) -> Result<Vec<u16>, AskError> {
        let mut answer = self.link.ask(ask).await;
        for _ in 1..TRIES {
            if answer != Err(AskError::Garbled) {
                break;
            }
            sleep(self.time_out * 2).await;
            answer = self.link.ask(ask).await;
        }
        answer
    }

    /// Reads the registers in blocks; one that is refused is halved down to its single registers.
    async fn read(
        &mut self,
        pattern: Ask,
        registers: &RangeInclusive<u16>,
    ) -> Result<(BTreeMap<u16, u16>, Option<u16>), ScanError> {
        let (start, end) = (u32::from(*registers.start()), u32::from(*registers.end()));
        let mut blocks: Vec<(u16, u16)> = (start..=end)
            .step_by(usize::from(BLOCK))
            .filter_map(|first| {
                let count = (end - first + 1).min(u32::from(BLOCK));
                Some((u16::try_from(first).ok()?, u16::try_from(count).ok()?))
            })
            .collect();
        blocks.reverse();
        let (mut words, mut given, mut too_many) = (BTreeMap::new(), 0, BTreeSet::new());
        while let Some((first, count)) = blocks.pop() {
            let mut answer = self.ask(Ask { first, count, ..pattern }).await;
            if answer == Err(AskError::Silent) {
                answer = self.ask(Ask { first, count, ..pattern }).await;
            }
            match answer {
                Ok(read) => {
                    given = given.max(count);
                    words.extend((first..=u16::MAX).zip(read));
                }
                Err(AskError::Exception { code }) if count > 1 => {
                    if code == 3 {
                        too_many.insert(count);
                    }
                    let half = count / 2;
                    blocks.extend([(first + half, count - half), (first, half)]);
                }
                Err(AskError::Exception { .. } | AskError::Garbled | AskError::Silent) => {}
                Err(AskError::Link { cause }) => return Err(ScanError::Link { cause }),
            }
        }
        let refused = too_many.first().is_some_and(|count| *count > given);
        Ok((words, refused.then_some(given).filter(|given| *given > 0)))
    }
}
