//! The wash tank: what it was during the last minutes, and whether it is filled.
//!
//! Water runs through the rinse line for other reasons than a rinse: the first
//! fill in the morning, refilling, a hose on the line while the machine is
//! cleaned. All of these happen with the tank empty or not yet hot, so the tank
//! tells them from a cycle.

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::core::effect::TraceReading;
use crate::core::reading::Fault;
use crate::core::time::Timestamp;

/// A tank this far below its wash limit is not in operation, °C (own choice: a
/// heater that failed an hour ago still washes; an empty tank is colder).
const OPERATING_BELOW_LIMIT_C: f64 = 20.0;
/// A fall of this much within [`DRAIN_SPAN_S`] is a drain, °C: cold ware takes
/// less out of a full tank (common practice, no source).
const DRAIN_FALL_C: f64 = 6.0;
/// See [`DRAIN_FALL_C`], s.
const DRAIN_SPAN_S: f64 = 45.0;
/// A tank that was drained is filled again once it is within this of its limit, °C.
const REFILLED_BELOW_LIMIT_C: f64 = 8.0;
/// And has not been falling by more than this for [`DRAIN_SPAN_S`], °C.
const REFILLED_FALL_C: f64 = 2.0;

/// The wash tank of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Tank {
    recent: VecDeque<TraceReading>,
    fault: Option<Fault>,
    drained: bool,
    /// Highest recent reading, kept in step so that a fall is seen without a search.
    peaks: VecDeque<TraceReading>,
}

/// What a window of the wash showed.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Wash {
    /// Readings of the window, in time order.
    pub readings: Vec<TraceReading>,
    /// A fault that stood at the end of the window.
    pub fault: Option<Fault>,
}

impl Tank {
    /// Knows nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { recent: VecDeque::new(), fault: None, drained: false, peaks: VecDeque::new() }
    }

    /// Takes a usable reading and keeps the last `keep` of them.
    pub fn push(&mut self, reading: TraceReading, wash_min: f64, keep: Duration) {
        self.fault = None;
        self.recent.push_back(reading);
        let oldest = reading.at.minus(keep);
        while self.recent.front().is_some_and(|first| first.at < oldest) {
            self.recent.pop_front();
        }
        let fall = self.follow_peak(reading);
        if fall > DRAIN_FALL_C {
            self.drained = true;
        } else if self.drained
            && fall < REFILLED_FALL_C
            && reading.celsius.0 > wash_min - REFILLED_BELOW_LIMIT_C
        {
            self.drained = false;
        }
    }

    /// Takes a fault in place of a reading.
    pub const fn push_fault(&mut self, fault: Fault) {
        self.fault = Some(fault);
    }

    /// Whether the machine can be washing. Without a reading the doubt is in favour of a cycle.
    #[must_use]
    pub fn in_operation(&self, wash_min: f64) -> bool {
        if self.fault.is_some() {
            return true;
        }
        let hot = |last: &TraceReading| last.celsius.0 > wash_min - OPERATING_BELOW_LIMIT_C;
        !self.drained && self.recent.back().is_none_or(hot)
    }

    /// The readings from `from` to `to`.
    #[must_use]
    pub fn between(&self, from: Timestamp, to: Timestamp) -> Wash {
        let readings = self.recent.iter().filter(|r| r.at >= from && r.at <= to).copied().collect();
        Wash { readings, fault: self.fault }
    }

    /// How far the tank has fallen within the drain span, °C.
    fn follow_peak(&mut self, reading: TraceReading) -> f64 {
        while self.peaks.back().is_some_and(|last| last.celsius.0 <= reading.celsius.0) {
            self.peaks.pop_back();
        }
        self.peaks.push_back(reading);
        while self.peaks.front().is_some_and(|first| reading.at.seconds_since(first.at) > DRAIN_SPAN_S) {
            self.peaks.pop_front();
        }
        self.peaks.front().map_or(0.0, |first| first.celsius.0 - reading.celsius.0)
    }
}

impl Default for Tank {
    fn default() -> Self {
        Self::new()
    }
}
