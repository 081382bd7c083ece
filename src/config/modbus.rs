//! Modbus sources as configured: the line or the address, its units, and their registers.

use std::path::PathBuf;
use std::time::Duration;

use super::source::Parity;
use crate::core::id::ChannelId;
use crate::wire::directory::WireUnit;
use crate::wire::registers::{Function, RegisterShape};

/// Units that are asked for their registers, one after the other.
#[derive(Clone, Debug)]
pub struct ModbusSource {
    /// How they are reached.
    pub link: ModbusLink,
    /// The units.
    pub units: Vec<ModbusUnit>,
    /// Longest wait before a unit that does not answer is asked again.
    pub retry_after_max: Duration,
    /// Longest wait between two tries to open the port or the connection.
    pub reopen_after_max: Duration,
}

/// How units are reached.
#[derive(Clone, Debug)]
pub enum ModbusLink {
    /// Modbus RTU on a serial line.
    Rtu(ModbusLine),
    /// Modbus TCP.
    Tcp {
        /// Host name or address.
        host: String,
        /// Port.
        port: u16,
    },
}

/// A serial line that several units share.
#[derive(Clone, Debug)]
pub struct ModbusLine {
    /// Device, best a stable name below `/dev/serial/by-id`.
    pub device: PathBuf,
    /// Baud rate.
    pub baud: u32,
    /// Parity.
    pub parity: Parity,
    /// Stop bits, 1 or 2.
    pub stop_bits: u8,
    /// Silence on the line before each request.
    pub turnaround: Duration,
}

/// Above this rate the silences are fixed (MODBUS over Serial Line V1.02 §2.5.1.1).
const BAUD_FIXED_SILENCE: u32 = 19_200;
/// Silence between two frames above that rate (the same place).
const SILENCE_FIXED: Duration = Duration::from_micros(1_750);

impl ModbusLine {
    /// How long so many bytes take on the line: each with a start bit, 8 bits of data, and what is
    /// configured of parity and stop bits.
    #[must_use]
    pub fn time_of(&self, bytes: usize) -> Duration {
        line_time(bytes, self.baud, self.parity, self.stop_bits)
    }
}

/// Bytes of a request for registers: address, function, first register, count, CRC
/// (MODBUS over Serial Line V1.02 §2.5.1, Application Protocol V1.1b3 §6.3).
pub const REQUEST_BYTES: usize = 8;

/// Bytes of its answer: address, function, count of bytes, the registers, CRC.
#[must_use]
pub fn answer_bytes(registers: u16) -> usize {
    5 + 2 * usize::from(registers)
}

/// How long so many bytes take on a line.
#[must_use]
pub fn line_time(bytes: usize, baud: u32, parity: Parity, stop_bits: u8) -> Duration {
    let parity_bits = match parity {
        Parity::None => 0,
        Parity::Even | Parity::Odd => 1,
    };
    let bits_each = 9 + parity_bits + u32::from(stop_bits);
    let bits = u32::try_from(bytes).unwrap_or(u32::MAX).saturating_mul(bits_each);
    Duration::from_secs(1) * bits / baud.max(1)
}

/// Silence between two frames: 3.5 characters, or 1.75 ms above 19,200 baud.
#[must_use]
pub fn frame_silence(baud: u32, parity: Parity, stop_bits: u8) -> Duration {
    if baud > BAUD_FIXED_SILENCE { SILENCE_FIXED } else { line_time(7, baud, parity, stop_bits) / 2 }
}

/// One unit.
#[derive(Clone, Debug)]
pub struct ModbusUnit {
    /// Its address.
    pub address: u8,
    /// How often it is read.
    pub poll: Duration,
    /// How long it may think before it answers.
    pub time_out: Duration,
    /// Most registers that one request asks for.
    pub block_max: u16,
    /// How many registers that nobody wants may be read between two that are.
    pub gap_max: u16,
    /// What is read.
    pub registers: Vec<ModbusRegister>,
}

/// One value of a unit.
#[derive(Clone, Debug)]
pub struct ModbusRegister {
    /// Whose value it is.
    pub channel: ChannelId,
    /// Unit of that channel.
    pub unit: WireUnit,
    /// Which function reads it.
    pub function: Function,
    /// Its first register, counted from 0.
    pub address: u16,
    /// From registers to the value.
    pub shape: RegisterShape,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_character_has_eleven_bits_with_parity() {
        for (bytes, baud, parity, stop_bits, micros) in [
            // MODBUS over Serial Line V1.02 §2.5.1: 11 bits each; 3.5 of them at 9,600 baud are 4.01 ms.
            (1, 9_600, Parity::Even, 1, 1_145),
            (1, 9_600, Parity::None, 2, 1_145),
            (REQUEST_BYTES, 9_600, Parity::None, 1, 8_333),
            (answer_bytes(8), 115_200, Parity::Even, 1, 2_005),
        ] {
            let time = line_time(bytes, baud, parity, stop_bits);
            assert_eq!(time.as_micros(), micros, "{bytes} bytes at {baud}");
        }
        assert_eq!(frame_silence(9_600, Parity::Even, 1).as_micros(), 4_010);
        assert_eq!(
            frame_silence(19_201, Parity::Even, 1).as_micros(),
            1_750,
            "fixed above 19,200 (the same)"
        );
    }
}
