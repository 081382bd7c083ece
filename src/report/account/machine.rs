//! One machine: its racks by day, what did not plainly pass, what the charts say.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::build::{Question, Room};
use super::covers::Covers;
use super::{
    DayAccount, DoubtedAccount, DriftAccount, ExceptionAccount, GapAccount, LimitInForce, MachineAccount,
};
use crate::core::alert::hours::Stretch;
use crate::core::alert::story::Story;
use crate::core::alert::{self, AlertNumber};
use crate::core::cycle::counts::Counts;
use crate::core::cycle::plate::{MachineKind, Sanitizing};
use crate::core::cycle::verdict::{Finding, Verdict};
use crate::core::daily::median;
use crate::core::drift::{RUSH_RACKS_MIN, Rules, Watch};
use crate::core::effect::Trace;
use crate::core::late::late_by;
use crate::core::monitored::{Blank, day, days, monitored};
use crate::core::record::{Cycle, Record};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;

/// One cycle on its way in.
pub(super) struct Taken<'t> {
    pub(super) index: u64,
    pub(super) record: &'t Record,
    pub(super) cycle: &'t Cycle,
    /// Whether it lies in the span; the charts alone want those before.
    pub(super) inside: bool,
    /// The alerts that put it in doubt.
    pub(super) doubts: Vec<AlertNumber>,
}

/// What a machine's account needs of everything else.
pub(super) struct Surroundings<'s> {
    pub(super) question: &'s Question,
    pub(super) stories: &'s [&'s Story],
    pub(super) named: &'s BTreeMap<u64, Vec<u64>>,
    pub(super) amended: &'s BTreeMap<u64, Vec<u64>>,
    pub(super) covers: &'s Covers,
}

/// Adds up the cycles of one machine.
#[derive(Debug)]
pub(super) struct Machine {
    kind: Option<MachineKind>,
    sanitizing: Option<Sanitizing>,
    limits: Vec<LimitInForce>,
    days: BTreeMap<Date, Day>,
    /// The day of the latest cycle, and where it lies.
    today: Option<(Date, Stretch)>,
    exceptions: Vec<ExceptionAccount>,
    exceptions_left_out: Counts,
    in_doubt: Vec<DoubtedAccount>,
    in_doubt_left_out: u64,
    watch: Watch,
    /// When work on it was finished, in order; those up to `learnt` were heeded.
    worked: Vec<Timestamp>,
    learnt: usize,
    drift: DriftAccount,
    /// Times to the limit in the first and in the last quarter of the span.
    recovery: [Vec<f64>; 2],
}

#[derive(Debug, Default)]
struct Day {
    counts: Counts,
    settled: Vec<f64>,
    limit_c: Option<f64>,
    uncertainty_c: Option<f64>,
    late: u64,
    recovery: Vec<f64>,
    minima: Vec<(u32, f32, u8)>,
    in_doubt: u64,
    minima_in_doubt: Vec<u32>,
}

impl Default for Machine {
    fn default() -> Self {
        Self::new(Rules::of(&alert::Rules::default()), Vec::new())
    }
}

impl Machine {
    /// Begins with nothing; `worked` is when work on it was finished.
    pub(super) fn new(rules: Rules, worked: Vec<Timestamp>) -> Self {
        Self {
            kind: None,
            sanitizing: None,
            limits: Vec::new(),
            days: BTreeMap::new(),
            today: None,
            exceptions: Vec::new(),
            exceptions_left_out: Counts::default(),
            in_doubt: Vec::new(),
            in_doubt_left_out: 0,
            watch: Watch::new(rules),
            worked,
            learnt: 0,
            drift: DriftAccount::default(),
            recovery: [Vec::new(), Vec::new()],
        }
    }

    /// Whether it washed in the span.
    pub(super) fn washed(&self) -> bool {
        !self.days.is_empty()
    }

    /// Takes the next cycle in order of time.
    pub(super) fn take(
        &mut self,
        taken: &Taken<'_>,
        question: &Question,
        room: &mut Room,
        trace: &mut dyn FnMut(u64) -> Option<Trace>,
    ) {
        let cycle = taken.cycle;
        self.heed_work(cycle.rinse_started);
        let seen = self.watch.take(cycle);
        if !taken.inside {
            return;
        }
        self.drift.signals.extend(seen.began.into_iter().flatten());
        self.drift.cold_first_racks += u64::from(seen.cold_first);
        self.quarter(cycle.rinse_started, seen.recovery_s, question);
        (self.kind, self.sanitizing) = (Some(cycle.machine_kind), Some(cycle.sanitizing));
        self.limit(cycle);
        self.day(taken, seen.recovery_s, question);
        if is_exception(cycle) {
            self.exception(taken, room, trace);
        }
        if !taken.doubts.is_empty() {
            self.doubted(taken, room);
        }
    }

    /// Lets the charts learn anew since the work that was finished by then.
    fn heed_work(&mut self, by: Timestamp) {
        while let Some(done) = self.worked.get(self.learnt).copied().filter(|done| *done <= by) {
            self.watch.learn_anew(done);
            self.learnt += 1;
        }
    }

    fn quarter(&mut self, at: Timestamp, recovery_s: Option<f64>, question: &Question) {
        let span = question.past();
        let share = at.seconds_since(span.from) / span.to.seconds_since(span.from).max(1.0);
        if share < 0.25 {
            self.recovery[0].extend(recovery_s);
        } else if share >= 0.75 {
            self.recovery[1].extend(recovery_s);
        }
    }

    fn limit(&mut self, cycle: &Cycle) {
        let now = LimitInForce {
            since: cycle.rinse_started,
            limit_c: cycle.limit_c,
            source: cycle.limit_source,
            wash_limit_c: cycle.wash_limit_c,
            dwell_required_s: cycle.dwell_required_s,
            // By the configuration, see `Configured::with_concentrations`.
            concentration_mg_per_l: None,
        };
        let same = |last: &LimitInForce| LimitInForce { since: now.since, ..last.clone() } == now;
        if !self.limits.last().is_some_and(same) {
            self.limits.push(now);
        }
    }

    fn day(&mut self, taken: &Taken<'_>, recovery_s: Option<f64>, question: &Question) {
        let (cycle, at) = (taken.cycle, taken.cycle.rinse_started);
        let known = self.today.filter(|(_, stretch)| stretch.from <= at && at < stretch.to);
        let found = known.or_else(|| {
            let date = local_date(&question.zone, at)?;
            Some((date, day(&question.zone, date)?.1))
        });
        let Some((date, stretch)) = found else { return };
        self.today = Some((date, stretch));
        let day = self.days.entry(date).or_default();
        day.counts.take(cycle);
        let in_doubt = !taken.doubts.is_empty();
        day.in_doubt += u64::from(in_doubt);
        day.limit_c = Some(cycle.limit_c);
        day.uncertainty_c = Some(day.uncertainty_c.unwrap_or(0.0).max(cycle.uncertainty_c));
        day.late += u64::from(late_by(taken.record).is_some());
        day.recovery.extend(recovery_s);
        if let Some(settled_c) = cycle.rinse_min_c {
            day.settled.push(settled_c);
            let place = Verdict::ALL.into_iter().position(|verdict| verdict == cycle.verdict);
            let second = u32::try_from(at.since(stretch.from).as_secs()).unwrap_or(u32::MAX);
            #[expect(clippy::cast_possible_truncation, reason = "for a plot; f32 holds 0.00001 °C here")]
            let shown_c = settled_c as f32;
            day.minima_in_doubt.extend(u32::try_from(day.minima.len()).ok().filter(|_| in_doubt));
            day.minima.push((second, shown_c, u8::try_from(place.unwrap_or_default()).unwrap_or_default()));
        }
    }

    fn exception(&mut self, taken: &Taken<'_>, room: &mut Room, trace: &mut dyn FnMut(u64) -> Option<Trace>) {
        let cycle = taken.cycle;
        let low = cycle.findings.iter().any(|finding| matches!(finding, Finding::WashLow { .. }));
        let doubtful = !cycle.verdict.is_urgent() && !low;
        if !room.exception(doubtful) {
            self.exceptions_left_out.take(cycle);
            return;
        }
        let kept = cycle.trace_sha256.is_some() && room.trace(doubtful);
        self.exceptions.push(ExceptionAccount {
            index: taken.index,
            recorded: taken.record.recorded,
            cycle: cycle.clone(),
            trace: if kept { trace(taken.index) } else { None },
            alerts: Vec::new(),
            amendments: Vec::new(),
            covered: Vec::new(),
        });
    }

    fn doubted(&mut self, taken: &Taken<'_>, room: &mut Room) {
        if !room.doubted() {
            self.in_doubt_left_out += 1;
            return;
        }
        let cycle = taken.cycle;
        self.in_doubt.push(DoubtedAccount {
            index: taken.index,
            at: cycle.rinse_started,
            verdict: cycle.verdict,
            rinse_min_c: cycle.rinse_min_c,
            limit_c: cycle.limit_c,
            wash_min_c: cycle.wash_min_c,
            wash_limit_c: cycle.wash_limit_c,
            alerts: taken.doubts.iter().map(|alert| alert.0).collect(),
            covered: Vec::new(),
        });
    }

    /// The account of the machine.
    pub(super) fn finish(
        mut self,
        name: String,
        around: &Surroundings<'_>,
        operating: &[Stretch],
        gaps: &[&Blank],
    ) -> MachineAccount {
        for exception in &mut self.exceptions {
            exception.amendments = around.amended.get(&exception.index).cloned().unwrap_or_default();
            exception.alerts = alerts_about(&name, exception, around);
            exception.covered = around.covers.of(exception.index, &exception.alerts);
        }
        for doubted in &mut self.in_doubt {
            doubted.covered = around.covers.of(doubted.index, &doubted.alerts);
        }
        self.heed_work(around.question.past().to);
        let usual = self.watch.usual();
        self.drift.learning = self.watch.learning();
        (self.drift.usual_c, self.drift.sigma_c) = (usual.map(|u| u.mean), usual.map(|u| u.sigma));
        let [first, last] = &mut self.recovery;
        (self.drift.recovery_first_s, self.drift.recovery_last_s) = (rush(first), rush(last));
        let mut settled: Vec<f64> = self.days.values().flat_map(|day| day.settled.iter().copied()).collect();
        let counts = self.days.values().fold(Counts::default(), |sum, day| sum.plus(day.counts));
        let whole = monitored(around.question.past(), operating, gaps.iter().copied());
        let mut rows = Vec::new();
        for (date, stretch) in days(&around.question.zone, around.question.past()) {
            let stretch = cut(stretch, around.question.past());
            let watched = monitored(stretch, operating, gaps.iter().copied());
            let day = self.days.remove(&date);
            if day.is_some() || watched.operating_s > 0.0 {
                rows.push(day.unwrap_or_default().finish(date, watched.operating_s, watched.monitored_s));
            }
        }
        // Racks that are stamped later than now have no hours that could have been watched.
        rows.extend(std::mem::take(&mut self.days).into_iter().map(|(date, day)| day.finish(date, 0.0, 0.0)));
        MachineAccount {
            machine: name,
            kind: self.kind,
            sanitizing: self.sanitizing,
            limits: self.limits,
            counts,
            rinse_min_c: lowest(&settled),
            rinse_median_c: median(&mut settled),
            days: rows,
            gaps: gaps.iter().map(|blank| gap(blank)).collect(),
            operating_s: whole.operating_s,
            monitored_s: whole.monitored_s,
            exceptions: self.exceptions,
            exceptions_left_out: self.exceptions_left_out,
            in_doubt: self.in_doubt,
            in_doubt_left_out: self.in_doubt_left_out,
            drift: self.drift,
        }
    }
}

impl Day {
    fn finish(mut self, day: Date, operating_s: f64, monitored_s: f64) -> DayAccount {
        DayAccount {
            day,
            counts: self.counts,
            rinse_min_c: lowest(&self.settled),
            rinse_median_c: median(&mut self.settled),
            limit_c: self.limit_c,
            uncertainty_c: self.uncertainty_c,
            late: self.late,
            operating_s,
            monitored_s,
            recovery_s: rush(&mut self.recovery),
            minima: self.minima,
            in_doubt: self.in_doubt,
            minima_in_doubt: self.minima_in_doubt,
        }
    }
}

fn cut(stretch: Stretch, span: Stretch) -> Stretch {
    Stretch { from: stretch.from.max(span.from), to: stretch.to.min(span.to) }
}

/// The lowest of some minima.
#[must_use]
pub fn lowest(values: &[f64]) -> Option<f64> {
    values.iter().copied().min_by(f64::total_cmp)
}

/// The median of enough racks of the rush.
fn rush(times: &mut [f64]) -> Option<f64> {
    if times.len() < RUSH_RACKS_MIN { None } else { median(times) }
}

/// Whether a cycle is told one by one: it did not plainly pass, or was washed too cold or rinsed too
/// hot. A wash that could not be judged is none: a site without a probe in the tank would have
/// nothing else.
#[must_use]
pub fn is_exception(cycle: &Cycle) -> bool {
    let found = |finding: &Finding| match finding {
        Finding::WashLow { .. } | Finding::RinseTooHot { .. } => true,
        Finding::WashUnproven { .. } => false,
    };
    cycle.verdict != Verdict::Pass || cycle.findings.iter().any(found)
}

fn gap(blank: &Blank) -> GapAccount {
    GapAccount {
        probe: blank.probe.clone(),
        fault: blank.fault,
        from: blank.from,
        to: blank.to,
        filled: blank.filled,
    }
}

/// Numbers of the alerts that name this exception, or were open about such a one when it was washed.
fn alerts_about(machine: &str, exception: &ExceptionAccount, around: &Surroundings<'_>) -> Vec<u64> {
    let cycle = &exception.cycle;
    let named = around.named.get(&exception.index).map(Vec::as_slice).unwrap_or_default();
    let about = |told: &&&Story| {
        let alert = &told.alert;
        let open =
            alert.since <= cycle.rinse_ended && alert.cleared.is_none_or(|end| cycle.rinse_ended <= end);
        let own = alert.machine.as_deref() == Some(machine);
        named.contains(&alert.number.0) || (own && open && alert.condition.tells_of(cycle))
    };
    around.stories.iter().filter(about).map(|told| told.alert.number.0).collect()
}
