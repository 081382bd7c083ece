//! Early warnings from the settled minima of one machine: drift, and a booster that falls behind.
//!
//! Never a verdict: each rack was judged against its limit, and this says only that the
//! machine is no longer what it was. The alert desk and the account of a span use the same
//! charts by the same rules, [`Drift::take`].
//!
//! **Drift.** Good racks in the middle of work feed an average (EWMA) and sums (CUSUM), see
//! [`super::trend`]. The first [`SETTLING_CYCLES`] after idle are left out, since the line and
//! the booster are warming up; cold racks too, since they are told as cold. Drifting is said
//! where the average has left its limits **and** lies at least the site's `drift-min` from what
//! was usual **and** the sums have left theirs. It is over when the average is back.
//!
//! **A cold first rack** after idle is told apart by [`Pattern::FirstAfterIdle`]: the line had
//! cooled, nothing declines.
//!
//! **Recovery in the rush.** A booster that is too small, scaled up or failing in part shows
//! first where rack follows rack: it has only the time between two rinses to heat. Racks of the
//! rush are those whose final rinse starts within [`RUSH_WITHIN`] of the end of the one before.
//! For each of them [`recovery_s`] is the time from the start of the rinse to the first reading
//! at or above the limit; one that never got there counts with all of its rinse, which is the
//! least it took. This holds the time for the line to purge and for the probe to answer, which
//! are the same for each rack of a machine: what tells something is how the median of a day
//! moves. It is asked of hot-water machines only, and not of racks without proof.

#[cfg(test)]
mod tests;

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::alert::{self, Pattern};
use super::cycle::plate::Sanitizing;
use super::cycle::verdict::Verdict;
use super::record::Cycle;
use super::time::Timestamp;
use super::trend::{Baseline, Cusum, Ewma, Usual};

/// Weight of the moving average (design value of the NIST/SEMATECH e-Handbook §6.3.2.4: 0.2 to 0.3).
const EWMA_WEIGHT: f64 = 0.2;
/// Limits of the moving average, in its standard deviations (the same, L = 3).
const EWMA_WIDTH: f64 = 3.0;
/// Slack of the cumulative sums, in standard deviations: half the shift to be found (§6.3.2.3).
const CUSUM_SLACK: f64 = 0.5;
/// Decision interval of the cumulative sums (§6.3.2.3: 4 or 5).
const CUSUM_DECISION: f64 = 5.0;
/// Least standard deviation of settled minima, K (own choice: the resolution of common converters).
const SIGMA_MIN_K: f64 = 0.1;
/// First cycles after idle that the charts leave out (own choice: the line and
/// the booster have settled by the third).
pub const SETTLING_CYCLES: u32 = 2;
/// A rack whose final rinse starts within this of the end of the one before belongs to the rush
/// (own choice: a minute to wash, and one to change racks and to spare).
pub const RUSH_WITHIN: Duration = Duration::from_secs(180);
/// Fewest racks of the rush that a median is taken of (own choice).
pub const RUSH_RACKS_MIN: usize = 5;

/// What a site may set.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Rules {
    /// Cycles from which the charts learn what is usual.
    pub baseline: u32,
    /// Smallest shift that is called drifting, K.
    pub min_k: f64,
    /// Time since the last rinse after which the next cycle is the first after idle.
    pub idle: Duration,
    /// Cold cycles in a row from which they are several.
    pub repeated: u32,
}

impl Rules {
    /// Those among the rules of the alert desk.
    #[must_use]
    pub const fn of(rules: &alert::Rules) -> Self {
        Self {
            baseline: rules.drift_baseline,
            min_k: rules.drift_min_k,
            idle: rules.idle,
            repeated: rules.repeated,
        }
    }
}

/// The place of a cycle since the machine was idle, from 1; `last` is the end of the latest
/// rinse before it and `count` its place.
#[must_use]
pub fn since_idle(last: Option<Timestamp>, count: u32, cycle: &Cycle, idle: Duration) -> u32 {
    let rested = last.is_none_or(|last| cycle.rinse_started.since(last) >= idle);
    if rested { 1 } else { count.saturating_add(1) }
}

/// Seconds from the start of the rinse to the limit for a rack of the rush; see the head of this
/// module. `None` for any other rack. `last` is the end of the rinse before it.
#[must_use]
pub fn recovery_s(last: Option<Timestamp>, cycle: &Cycle) -> Option<f64> {
    let follows = cycle.rinse_started.seconds_since(last?);
    let rush = (0.0..=RUSH_WITHIN.as_secs_f64()).contains(&follows);
    let known = cycle.sanitizing == Sanitizing::HotWater && cycle.verdict != Verdict::Unproven;
    let whole_s = cycle.rinse_ended.seconds_since(cycle.rinse_started);
    (rush && known).then(|| cycle.settled_after_s.unwrap_or(whole_s))
}

/// The charts of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Drift {
    /// Learning what is usual.
    Learning(Baseline),
    /// Watching.
    Watching {
        /// Moving average.
        ewma: Ewma,
        /// Cumulative sums.
        cusum: Cusum,
    },
}

impl Default for Drift {
    fn default() -> Self {
        Self::Learning(Baseline::default())
    }
}

/// What one more settled minimum says.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Step {
    /// Nothing yet.
    Learning,
    /// Nothing.
    Usual,
    /// The machine drifts.
    Drifting {
        /// The moving average, °C.
        average_c: f64,
        /// The limit it has left, °C.
        limit_c: f64,
    },
    /// It drifted, and does no more.
    Recovered,
}

impl Drift {
    /// Takes the settled minimum of a good cycle in the middle of work, °C. `drifting` is
    /// whether the machine was found to drift and has not recovered.
    pub fn take(&mut self, settled_c: f64, rules: Rules, drifting: bool) -> Step {
        match self {
            Self::Learning(baseline) => {
                baseline.push(settled_c);
                if baseline.count() >= rules.baseline
                    && let Some(usual) = baseline.usual(SIGMA_MIN_K)
                {
                    *self = Self::watching(usual);
                }
                Step::Learning
            }
            Self::Watching { ewma, cusum } => {
                ewma.push(settled_c);
                cusum.push(settled_c);
                let (moved, far) = (ewma.signals(), ewma.shift().abs() >= rules.min_k);
                if moved && far && (cusum.signals() || drifting) {
                    Step::Drifting { average_c: ewma.value(), limit_c: ewma.limit() }
                } else if drifting && !moved {
                    cusum.restart();
                    Step::Recovered
                } else {
                    Step::Usual
                }
            }
        }
    }

    /// Begins to watch against what is usual.
    const fn watching(usual: Usual) -> Self {
        Self::Watching {
            ewma: Ewma::new(usual, EWMA_WEIGHT, EWMA_WIDTH),
            cusum: Cusum::new(usual, CUSUM_SLACK, CUSUM_DECISION),
        }
    }

    /// What counts as usual; `None` while it learns.
    #[must_use]
    pub const fn usual(&self) -> Option<Usual> {
        match self {
            Self::Learning(_) => None,
            Self::Watching { ewma, .. } => Some(ewma.usual()),
        }
    }
}

/// A control chart of ISO 7870.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Chart {
    /// Exponentially weighted moving average (ISO 7870-6).
    Ewma,
    /// Cumulative sum (ISO 7870-4).
    Cusum,
}

/// A chart left its limits, and the machine was found to drift.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Signal {
    /// Start of the final rinse at which the chart did.
    pub at: Timestamp,
    /// Which chart.
    pub chart: Chart,
    /// Where the average stood against what is usual when both agreed, °C: negative is colder.
    pub shift_c: f64,
    /// When the shift began as far as the chart can tell: the first cycle since its sum was zero.
    pub since: Option<Timestamp>,
}

/// How far the charts have learnt what is usual.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Learning {
    /// Since when they learn anew, as somebody had worked on the machine; absent where they learn for the first time.
    pub since: Option<Timestamp>,
    /// Good racks in the middle of work so far.
    pub racks: u32,
    /// How many it takes.
    pub of: u32,
}

/// Follows the cycles of one machine in order of time.
#[derive(Clone, Debug)]
pub struct Watch {
    rules: Rules,
    charts: Drift,
    last_rinse: Option<Timestamp>,
    since_idle: u32,
    cold_in_a_row: u32,
    drifting: bool,
    /// When somebody had worked on the machine last.
    anew: Option<Timestamp>,
    /// Since when each chart has been outside without a break.
    outside: [Option<Timestamp>; 2],
    /// Since when the sum above and the sum below have been more than zero.
    rising: Option<Timestamp>,
    falling: Option<Timestamp>,
}

/// What [`Watch::take`] saw in one cycle.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Seen {
    /// The signals of both charts, where the machine began to drift with it.
    pub began: Option<[Signal; 2]>,
    /// Whether it is a cold first rack after idle.
    pub cold_first: bool,
    /// See [`recovery_s`].
    pub recovery_s: Option<f64>,
}

impl Watch {
    /// Begins to learn.
    #[must_use]
    pub fn new(rules: Rules) -> Self {
        Self {
            rules,
            charts: Drift::default(),
            last_rinse: None,
            since_idle: 0,
            cold_in_a_row: 0,
            drifting: false,
            anew: None,
            outside: [None; 2],
            rising: None,
            falling: None,
        }
    }

    /// Takes the next cycle.
    pub fn take(&mut self, cycle: &Cycle) -> Seen {
        if cycle.is_worked_on() {
            return Seen::default();
        }
        let verdict = cycle.verdict;
        self.since_idle = since_idle(self.last_rinse, self.since_idle, cycle, self.rules.idle);
        let recovery_s = recovery_s(self.last_rinse, cycle);
        self.last_rinse = self.last_rinse.max(Some(cycle.rinse_ended));
        let cold = verdict == Verdict::Cold;
        self.cold_in_a_row = if cold { self.cold_in_a_row.saturating_add(1) } else { 0 };
        let pattern = Pattern::of(self.cold_in_a_row, self.since_idle, self.rules.repeated);
        let good = matches!(verdict, Verdict::Pass | Verdict::Narrow);
        let settled = cycle.rinse_min_c.filter(|_| good && self.since_idle > SETTLING_CYCLES);
        Seen {
            began: settled.and_then(|settled_c| self.chart(cycle.rinse_started, settled_c)),
            cold_first: cold && pattern == Pattern::FirstAfterIdle,
            recovery_s,
        }
    }

    /// Somebody has worked on the machine until then: the charts learn anew.
    pub fn learn_anew(&mut self, since: Timestamp) {
        self.anew = Some(since);
        self.charts = Drift::default();
        self.drifting = false;
        self.outside = [None; 2];
        (self.rising, self.falling) = (None, None);
    }

    /// What counts as usual; `None` while it learns.
    #[must_use]
    pub const fn usual(&self) -> Option<Usual> {
        self.charts.usual()
    }

    /// How far the charts have learnt; `None` where they know what is usual.
    #[must_use]
    pub const fn learning(&self) -> Option<Learning> {
        match &self.charts {
            Drift::Learning(baseline) => {
                Some(Learning { since: self.anew, racks: baseline.count(), of: self.rules.baseline })
            }
            Drift::Watching { .. } => None,
        }
    }

    fn chart(&mut self, at: Timestamp, settled_c: f64) -> Option<[Signal; 2]> {
        let step = self.charts.take(settled_c, self.rules, self.drifting);
        let Drift::Watching { ewma, cusum } = &self.charts else { return None };
        let since = |known: Option<Timestamp>, holds: bool| holds.then(|| known.unwrap_or(at));
        self.outside = [since(self.outside[0], ewma.signals()), since(self.outside[1], cusum.signals())];
        self.rising = since(self.rising, cusum.high() > 0.0);
        self.falling = since(self.falling, cusum.low() > 0.0);
        match step {
            Step::Drifting { .. } if !self.drifting => {
                self.drifting = true;
                let shift_c = ewma.shift();
                let began = if shift_c < 0.0 { self.falling } else { self.rising };
                let signal = |chart, outside: Option<Timestamp>, since: Option<Timestamp>| Signal {
                    at: outside.unwrap_or(at),
                    chart,
                    shift_c,
                    // A sum that came back to zero and rose again began later than the chart signalled.
                    since: since.map(|began| began.min(outside.unwrap_or(at))),
                };
                Some([
                    signal(Chart::Ewma, self.outside[0], None),
                    signal(Chart::Cusum, self.outside[1], began),
                ])
            }
            Step::Recovered => {
                self.drifting = false;
                None
            }
            Step::Learning | Step::Usual | Step::Drifting { .. } => None,
        }
    }
}
