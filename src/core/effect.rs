//! What the core asks for, in order.

use sha2::{Digest, Sha256};

use super::id::MachineId;
use super::merkle::Hash;
use super::record::Record;
use super::time::Timestamp;
use super::units::Celsius;

/// One reading of a cycle's trace. Snapshots hold hundreds of them, so each is written as a pair.
#[derive(Clone, Copy, PartialEq, Debug, serde::Serialize, serde::Deserialize)]
#[serde(from = "(i64, f64)", into = "(i64, f64)")]
pub struct TraceReading {
    /// When it was measured.
    pub at: Timestamp,
    /// Calibrated temperature.
    pub celsius: Celsius,
}

impl From<(i64, f64)> for TraceReading {
    fn from((micros, celsius): (i64, f64)) -> Self {
        Self { at: Timestamp::from_micros(micros), celsius: Celsius(celsius) }
    }
}

impl From<TraceReading> for (i64, f64) {
    fn from(reading: TraceReading) -> Self {
        (reading.at.micros(), reading.celsius.0)
    }
}

/// The readings a cycle was judged on, kept as long as its record.
#[derive(Clone, PartialEq, Debug, Default, serde::Serialize, serde::Deserialize)]
pub struct Trace {
    /// Final-rinse readings, in time order, spikes included.
    pub rinse: Vec<TraceReading>,
    /// Wash-tank readings, in time order.
    pub wash: Vec<TraceReading>,
}

impl Trace {
    /// The bytes that are hashed: for `rinse`, then `wash`, the count as 8 bytes,
    /// then per reading the microseconds (8 bytes) and the bits of the double
    /// (8 bytes), all big-endian.
    #[must_use]
    pub fn canonical_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(16 * (self.rinse.len() + self.wash.len() + 1));
        for readings in [&self.rinse, &self.wash] {
            bytes.extend_from_slice(&(readings.len() as u64).to_be_bytes());
            for reading in readings {
                bytes.extend_from_slice(&reading.at.micros().to_be_bytes());
                bytes.extend_from_slice(&reading.celsius.0.to_bits().to_be_bytes());
            }
        }
        bytes
    }

    /// SHA-256 of [`Trace::canonical_bytes`], as the record of its cycle has it.
    #[must_use]
    pub fn sha256(&self) -> Hash {
        Hash(Sha256::digest(self.canonical_bytes()).into())
    }
}

/// Something that must be done.
#[derive(Clone, PartialEq, Debug)]
pub enum Effect {
    /// Put this on record, in the transaction of the input that caused it.
    Record {
        /// The record.
        record: Box<Record>,
        /// The trace of a cycle.
        trace: Option<Box<Trace>>,
    },
    /// This state, and the inputs after this one, are all
    /// that is needed to bring it back.
    Snapshot {
        /// Whose state.
        machine: MachineId,
        /// The state, in a form that only the core reads.
        state: Vec<u8>,
    },
}

/// Effects in the order in which they must be done.
pub type Effects = Vec<Effect>;
