//! The wash tank: what it was during the last minutes, and whether it is filled.
//!
//! Water runs through the rinse line for other reasons than a rinse: the first
//! fill in the morning, refilling, a hose on the line while the machine is
//! cleaned. All of these happen with the tank empty or not yet hot, so the tank
//! tells them from a cycle.
//!
//! What it cannot tell: a probe that is pulled out into still air cools as a tank that is
//! drained does (a sheath takes 20 to 60 s in air, an emptied tank 15 to 40 s in the simulator), and
//! ends where an empty tank does. Rinses after that are taken for those of cleaning. So a probe is
//! taken out with the machine under work (`prove`, `calibrate`, `respond` and `maintenance` see
//! to that); one that leaves the water faster than any drain is noticed without.

#[cfg(test)]
mod tests;

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::faults::Faults;
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
/// A tank that was out of operation may be filled again once it is within this of its limit, °C ...
const REFILLED_BELOW_LIMIT_C: f64 = 8.0;
/// ... or has stood still for [`STILL_S`] within this band, °C: its heater may be broken.
const STILL_BAND_C: f64 = 2.0;
/// See [`STILL_BAND_C`], s.
const STILL_S: f64 = 300.0;
/// It is certainly in operation again this close to its limit, °C: the air of an empty one is colder.
const HOT_BELOW_LIMIT_C: f64 = 2.0;
/// A tank that falls by more than this within [`DRAIN_SPAN_S`] is not being filled, °C.
const REFILLED_FALL_C: f64 = 2.0;
/// A filled tank that is not hot yet rises by at least this within [`DRAIN_SPAN_S`], °C: its heater
/// works. The air of an empty one does not.
const HEATING_RISE_C: f64 = 0.5;
/// A tank that rises by more than this within [`DRAIN_SPAN_S`] is being filled, °C: no heater is that strong.
const FILLING_RISE_C: f64 = 4.0;
/// By this much it was surely filled, °C: a hose in a tank that is still warm adds 4 to 5, a fill 12 or
/// more (simulator).
const FILLED_RISE_C: f64 = 8.0;
/// A probe that falls by more than this within [`PLUNGE_S`] has left the water, °C (own choice): a tank that is
/// drained leaves it in warm steam and falls more slowly (by 8 °C at most in the tests of recognition).
const PLUNGE_C: f64 = 10.0;
/// See [`PLUNGE_C`], s.
const PLUNGE_S: f64 = 5.0;
/// A probe that has left the water is looked for no longer than this, s (own choice: a calibration takes less);
/// then the tank is taken for empty.
const AWAY_FOR_S: f64 = 1_800.0;
/// A fill is over this long after it was last seen, s.
const FILLING_FOR_S: f64 = 120.0;

/// Whether the machine can be washing.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
pub enum Operation {
    /// Filled and hot, or nothing speaks against it.
    In,
    /// It was drained or cold, and may be filled again.
    Doubtful,
    /// Its probe was taken out of the water while it was in operation, and nothing shows the tank.
    Unseen,
    /// Drained, or cold.
    Out,
}

/// The wash tank of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Tank {
    recent: VecDeque<TraceReading>,
    fault: Option<Fault>,
    #[serde(default)]
    faults: Faults,
    operation: Operation,
    /// Since when the tank has stood still, and where.
    still: Option<TraceReading>,
    /// When the tank was last seen being filled.
    filling: Option<Timestamp>,
    /// Whether it was seen being filled since it was last drained: it holds water, hot or not.
    #[serde(default)]
    filled: bool,
    /// When it went out of operation.
    #[serde(default)]
    out: Option<Timestamp>,
    /// When its probe left the water, until the tank is in operation again.
    #[serde(default)]
    away: Option<Timestamp>,
    /// What came at or before this tells nothing of the tank: somebody worked on the machine.
    #[serde(default)]
    forgotten: Option<Timestamp>,
    /// Highest recent reading, kept in step so that a fall is seen without a search.
    peaks: VecDeque<TraceReading>,
}

/// What a window of the wash showed.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Wash {
    /// Readings of the window, in time order.
    pub readings: Vec<TraceReading>,
    /// A fault of the probe inside the window, or what it gave where the window has no reading.
    pub fault: Option<Fault>,
    /// Where there was one, the readings that lie well clear of it: they show a low wash, never a good one.
    pub spared: Vec<TraceReading>,
}

impl Tank {
    /// Knows nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            recent: VecDeque::new(),
            fault: None,
            faults: Faults::new(),
            operation: Operation::In,
            still: None,
            filling: None,
            filled: false,
            out: None,
            away: None,
            forgotten: None,
            peaks: VecDeque::new(),
        }
    }

    /// Takes a usable reading and keeps the last `keep` of them.
    pub fn push(&mut self, reading: TraceReading, wash_min: f64, keep: Duration) {
        self.fault = None;
        self.faults.over();
        self.recent.push_back(reading);
        let oldest = reading.at.minus(keep);
        while self.recent.front().is_some_and(|first| first.at < oldest) {
            self.recent.pop_front();
        }
        let fall = self.follow_peak(reading);
        let still = self.stands_still(reading);
        let below = wash_min - reading.celsius.0;
        self.filled &= fall <= DRAIN_FALL_C;
        let leaves = fall > DRAIN_FALL_C || below > OPERATING_BELOW_LIMIT_C;
        if self.operation == Operation::In {
            (self.out, self.away) = (leaves.then_some(reading.at), None);
            self.operation = if leaves { Operation::Out } else { Operation::In };
        } else {
            self.follow_return(reading, fall, still, below, leaves);
        }
        if self.operation == Operation::Out && self.is_away(reading) {
            self.operation = Operation::Unseen;
        }
    }

    /// Whether its probe left the water when it went out of operation: it fell faster than a tank does.
    fn is_away(&mut self, reading: TraceReading) -> bool {
        let since = |at: Option<Timestamp>| at.map(|at| reading.at.seconds_since(at));
        if since(self.out).is_some_and(|s| s <= PLUNGE_S) && -self.rise(reading, PLUNGE_S) > PLUNGE_C {
            self.away = Some(reading.at);
        }
        since(self.away).is_some_and(|s| s <= AWAY_FOR_S)
    }

    /// Follows a tank that is not in operation until it is again.
    fn follow_return(&mut self, reading: TraceReading, fall: f64, still: bool, below: f64, leaves: bool) {
        let rise = self.rise(reading, DRAIN_SPAN_S);
        if rise > FILLING_RISE_C {
            self.filling = Some(reading.at);
        }
        self.filled |= rise > FILLED_RISE_C;
        let filling = self.filling.is_some_and(|at| reading.at.seconds_since(at) < FILLING_FOR_S);
        self.operation = if leaves || filling || fall > REFILLED_FALL_C {
            Operation::Out
        } else if below < HOT_BELOW_LIMIT_C {
            Operation::In
        } else if still || self.filled || (below < REFILLED_BELOW_LIMIT_C && rise > HEATING_RISE_C) {
            Operation::Doubtful
        } else {
            Operation::Out
        };
    }

    /// Somebody works on the machine: whether the probe is in the tank is not known, so what was read so far
    /// tells neither a drain nor a fill. It is kept as what a wash showed.
    pub fn forget(&mut self) {
        self.operation = Operation::In;
        (self.still, self.filling, self.filled) = (None, None, false);
        (self.out, self.away) = (None, None);
        self.peaks.clear();
        self.forgotten = self.recent.back().map(|last| last.at);
    }

    /// Takes a fault in place of a reading.
    pub fn push_fault(&mut self, at: Timestamp, fault: Fault) {
        self.fault = Some(fault);
        self.faults.note(at, fault);
    }

    /// Whether the machine can be washing. Without a reading the doubt is in favour of a cycle.
    #[must_use]
    pub const fn operation(&self) -> Operation {
        if self.fault.is_some() { Operation::In } else { self.operation }
    }

    /// How far the tank has risen within this time, s, in °C.
    fn rise(&self, reading: TraceReading, within_s: f64) -> f64 {
        let from = reading.at.minus(Duration::from_secs_f64(within_s));
        let told = |r: &TraceReading| r.at >= from && self.forgotten.is_none_or(|last| r.at > last);
        let first = self.recent.get(self.recent.partition_point(|r| !told(r)));
        first.map_or(0.0, |first| reading.celsius.0 - first.celsius.0)
    }

    fn stands_still(&mut self, reading: TraceReading) -> bool {
        match self.still {
            Some(still) if (still.celsius.0 - reading.celsius.0).abs() <= STILL_BAND_C => {
                reading.at.seconds_since(still.at) >= STILL_S
            }
            Some(_) | None => {
                self.still = Some(reading);
                false
            }
        }
    }

    /// The readings from `from` to `to`.
    #[must_use]
    pub fn between(&self, from: Timestamp, to: Timestamp) -> Wash {
        let readings: Vec<_> = self.recent.iter().filter(|r| r.at >= from && r.at <= to).copied().collect();
        let none = self.fault.filter(|_| readings.is_empty());
        let fault = self.faults.between(from, to).or(none);
        let spared = match fault {
            Some(_) => readings.iter().filter(|r| self.faults.spare(r.at)).copied().collect(),
            None => Vec::new(),
        };
        Wash { readings, fault, spared }
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
