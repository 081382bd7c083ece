//! Judges one cycle on its evidence.
//!
//! Simple acceptance decides, as an inspector would; the uncertainty only
//! tells a narrow pass from a plain one. Every reason that applies is kept, the
//! worst verdict first. A fault of the final-rinse probe inside the rinse comes before
//! them all: whatever else its readings say, the evidence is missing.

#[cfg(test)]
mod tests;

use std::time::Duration;

use super::line::BROKEN_OFF_SHARE;
use super::plate::{Limit, LimitSource, Profile};
use super::tank::Wash;
use super::verdict::{Finding, Reason, Verdict};
use super::window::{self, Series};
use crate::core::channel::Probe;
use crate::core::dose::Dose;
use crate::core::effect::{Trace, TraceReading};
use crate::core::reading::Fault;
use crate::core::record::{Basis, Check, Cycle, DoseBasis, Rule, WindowFrom};
use crate::core::sanitizer::bound::Bound;
use crate::core::sanitizer::{self, Refusal};
use crate::core::time::Timestamp;
use crate::core::uncertainty::{self, COVERAGE, Uncertainty};
use crate::core::units::Celsius;

/// Fewest readings a settled minimum stands on (own choice).
const READINGS_MIN: u32 = 3;
/// Longest time without a reading inside a rinse, s, and as a share of the rinse (own choice).
const GAP_MAX_S: f64 = 2.0;
/// See [`GAP_MAX_S`].
const GAP_MAX_SHARE: f64 = 0.2;
/// The last part of the flow that is not judged, s: the end is known no better.
const EDGE_S: f64 = 0.5;
/// Standard uncertainty of a lag correction, as a share of it (own choice: a
/// response test repeats to about 10 %).
const LAG_UNCERTAINTY_SHARE: f64 = 0.1;
/// Time constant a probe may have that was never measured, s (common practice, no source: a thin
/// sheath in flowing water answers in 1 to 2 s).
const TAU_UNKNOWN_S: f64 = 2.0;
/// Half width over which the slope at the settled minimum is taken, s.
const SLOPE_HALF_S: f64 = 0.8;

/// A concentration on file.
#[derive(Clone, Copy, PartialEq, Debug, serde::Serialize, serde::Deserialize)]
pub struct Concentration {
    /// When it was measured.
    pub at: Timestamp,
    /// Concentration, mg/L.
    pub mg_per_l: f64,
    /// pH, where it was measured.
    pub ph: Option<f64>,
}

impl Concentration {
    /// What a sanitizer check puts on file; nothing for the other kinds.
    #[must_use]
    pub const fn of(check: &Check) -> Option<Self> {
        match check {
            Check::Sanitizer { at, mg_per_l, ph, .. } => Some(Self { at: *at, mg_per_l: *mg_per_l, ph: *ph }),
            Check::Supply { .. } | Check::DrainAndClean { .. } | Check::Thermometer { .. } => None,
        }
    }
}

/// The final rinse of the cycle.
#[derive(Clone, PartialEq, Debug)]
pub struct Rinse<'a> {
    /// Start of the flow.
    pub start: Timestamp,
    /// End of the flow.
    pub end: Timestamp,
    /// What set the window.
    pub from: WindowFrom,
    /// Filtered readings around the window, in time order.
    pub readings: &'a [TraceReading],
    /// Readings set aside as spikes.
    pub spikes: u32,
    /// A fault of the probe inside the window.
    pub fault: Option<Fault>,
    /// Whether the end of the flow is known.
    pub end_seen: bool,
}

/// Everything a verdict stands on.
#[derive(Clone, PartialEq, Debug)]
pub struct Evidence<'a> {
    /// The machine.
    pub profile: &'a Profile,
    /// The final-rinse probe.
    pub probe: &'a Probe,
    /// Start of the wash.
    pub started: Timestamp,
    /// The final rinse.
    pub rinse: Rinse<'a>,
    /// The wash window.
    pub wash: Wash,
    /// Readings of a ware probe over the whole cycle; empty where there is none.
    pub ware: Vec<TraceReading>,
    /// Latest concentration that still stands.
    pub concentration: Option<Concentration>,
    /// Whether the source's clock stepped during the cycle.
    pub clock_stepped: bool,
    /// When the last reading arrived.
    pub received: Timestamp,
}

/// What the sanitizer on file asks for.
struct Chemistry {
    limit: Limit,
    dwell: Duration,
    doubt: Option<(Verdict, Reason)>,
}

/// What the rinse readings showed.
struct Measured {
    raw_min: Option<f64>,
    corrected_min: Option<f64>,
    used: Series,
    readings: usize,
    settled: usize,
    /// Slope of the readings at the raw settled minimum, °C/s.
    slope_at_min: f64,
    longest_gap_s: f64,
    /// When the readings came back, s, where they were missing while the water arrived.
    arrival_unseen_until_s: Option<f64>,
    length_s: f64,
}

/// Judges the evidence.
#[must_use]
pub fn judge(evidence: &Evidence<'_>) -> (Cycle, Trace) {
    let profile = evidence.profile;
    let chemistry = chemistry(evidence);
    let measured = measure(evidence);
    let limit_c = chemistry.limit.at.0;
    let (basis, rinse_min) = match measured.corrected_min {
        Some(corrected) => (Basis::LagCorrected, Some(corrected)),
        None => (Basis::Raw, measured.raw_min),
    };
    let (dwell_s, area_below_c_s) = window::dwell_and_area(&measured.used, limit_c, 0.0, measured.length_s);
    let settled_after_s =
        measured.used.iter().find(|p| p.t >= 0.0 && p.t <= measured.length_s && p.c >= limit_c).map(|p| p.t);
    let rinse_peak_c = peak(evidence, measured.length_s);
    let standard = standard_uncertainty(evidence, rinse_min.unwrap_or(limit_c), &measured);
    let reasons = reasons(evidence, &chemistry, &measured, rinse_min, dwell_s, COVERAGE * standard);
    let (a0, hue, dose_basis) = doses(evidence);
    let wash_min_c = wash_min(&evidence.wash, profile.wash_min.at.0);
    let trace = Trace { rinse: evidence.rinse.readings.to_vec(), wash: evidence.wash.readings.clone() };
    let mut cycle = Cycle {
        started: evidence.started,
        rinse_started: evidence.rinse.start,
        rinse_ended: evidence.rinse.end,
        received: evidence.received,
        machine_kind: profile.kind,
        sanitizing: profile.sanitizing,
        window_from: evidence.rinse.from,
        verdict: reasons.first().map_or(Verdict::Pass, |(verdict, _)| *verdict),
        reasons: reasons.into_iter().map(|(_, reason)| reason).collect(),
        findings: findings(evidence, wash_min_c, rinse_peak_c),
        rinse_min_c: rinse_min,
        rinse_min_raw_c: measured.raw_min,
        rinse_min_corrected_c: measured.corrected_min,
        basis,
        limit_c,
        limit_source: chemistry.limit.source,
        rinse_peak_c,
        settled_after_s,
        dwell_s,
        dwell_required_s: chemistry.dwell.as_secs_f64(),
        area_below_c_s,
        wash_min_c,
        wash_limit_c: profile.wash_min.at.0,
        a0,
        hue,
        dose_basis,
        uncertainty_c: COVERAGE * standard,
        conformance: rinse_min.and_then(|min| {
            uncertainty::conformance_probability(
                Celsius(min),
                Celsius(limit_c),
                Uncertainty::from_standard(standard),
            )
        }),
        rule: Rule::SimpleAcceptance,
        concentration_mg_per_l: evidence.concentration.map(|check| check.mg_per_l),
        ph: evidence.concentration.and_then(|check| check.ph),
        rinse_readings: u32::try_from(measured.readings).unwrap_or(u32::MAX),
        spikes: evidence.rinse.spikes,
        trace_sha256: None,
    };
    if let Some(fault) = evidence.rinse.fault {
        cycle.put_in_doubt(Reason::RinseProbe { fault });
    }
    (cycle, trace)
}

fn chemistry(evidence: &Evidence<'_>) -> Chemistry {
    let profile = evidence.profile;
    let plain = |doubt| Chemistry { limit: profile.rinse_min, dwell: profile.dwell_min, doubt };
    if !profile.sanitizing.is_chemical() {
        return plain(None);
    }
    let Some(check) = evidence.concentration else {
        return plain(Some((Verdict::Unproven, Reason::NoConcentrationCheck)));
    };
    match sanitizer::requirement(profile.sanitizing, check.mg_per_l, check.ph, &profile.sanitizer) {
        Ok(needed) => {
            let limit = if needed.min.0 > profile.rinse_min.at.0 {
                Limit { at: needed.min, source: LimitSource::Concentration }
            } else {
                profile.rinse_min
            };
            Chemistry { limit, dwell: profile.dwell_min.max(needed.contact), doubt: None }
        }
        Err(refusal) => {
            let limit = profile.sanitizer.crossed(profile.sanitizing, refusal).map(Bound::number);
            let reason = Reason::Concentration { refusal, mg_per_l: check.mg_per_l, limit };
            plain(Some((verdict_of(refusal), reason)))
        }
    }
}

/// A solution outside the table is weak; a number that is no measurement proves nothing.
const fn verdict_of(refusal: Refusal) -> Verdict {
    match refusal {
        Refusal::TooWeak | Refusal::TooStrong | Refusal::PhTooHigh => Verdict::Weak,
        Refusal::NotAMeasurement | Refusal::NotChemical => Verdict::Unproven,
    }
}

fn measure(evidence: &Evidence<'_>) -> Measured {
    let rinse = &evidence.rinse;
    let tau = evidence.probe.tau;
    let length_s = rinse.end.seconds_since(rinse.start);
    let points = window::series(rinse.readings, rinse.start);
    let raw = window::answered(&points, None);
    let corrected = tau.map(|_| window::answered(&points, tau));
    let from_s = window::settle_s(tau, evidence.profile.times.rinse);
    let to_s = length_s - EDGE_S;
    let (raw_min, settled) = window::lowest(&raw, from_s, to_s);
    let corrected_min = corrected.as_ref().and_then(|series| window::lowest(series, from_s, to_s).0);
    let settled_part = |p: &&window::Point| p.t >= from_s && p.t <= to_s;
    let lowest_at = raw.iter().filter(settled_part).min_by(|a, b| a.c.total_cmp(&b.c)).map(|p| p.t);
    let slope_at_min = lowest_at.map_or(0.0, |t| {
        let near: Series = points.iter().copied().filter(|p| (p.t - t).abs() <= SLOPE_HALF_S).collect();
        window::trend(&near).1.abs()
    });
    Measured {
        slope_at_min,
        raw_min,
        corrected_min,
        readings: points.iter().filter(|p| p.t >= 0.0 && p.t <= length_s).count(),
        settled,
        longest_gap_s: longest_gap(&points, length_s),
        arrival_unseen_until_s: arrival_unseen_until(&points, from_s),
        used: corrected.unwrap_or(raw),
        length_s,
    }
}

/// Longest time without a reading from the start to the end of the flow, s.
fn longest_gap(points: &[window::Point], length_s: f64) -> f64 {
    let (mut last, mut longest) = (0.0_f64, 0.0_f64);
    for p in points.iter().filter(|p| p.t >= 0.0) {
        let t = p.t.min(length_s);
        longest = longest.max(t - last);
        last = t;
        if p.t >= length_s {
            break;
        }
    }
    longest.max(length_s - last)
}

/// End of the gap that hides the arrival of the water, s: it begins before the line could settle.
fn arrival_unseen_until(points: &[window::Point], settled_from_s: f64) -> Option<f64> {
    let hides = |pair: &&[window::Point]| {
        pair[0].t < settled_from_s && pair[1].t >= 0.0 && pair[1].t - pair[0].t > GAP_MAX_S
    };
    points.windows(2).find(hides).map(|pair| pair[1].t)
}

/// Every reason but the fault of the probe, the worst verdict first.
fn reasons(
    evidence: &Evidence<'_>,
    chemistry: &Chemistry,
    measured: &Measured,
    rinse_min: Option<f64>,
    dwell_s: f64,
    expanded: f64,
) -> Vec<(Verdict, Reason)> {
    let limit_c = chemistry.limit.at.0;
    let mut reasons = doubts(evidence, measured);
    let whole = reasons.is_empty() && evidence.rinse.fault.is_none();
    let mut dwell_is_known = whole;
    let settle_s = window::settle_s(evidence.probe.tau, evidence.profile.times.rinse);
    let start_is_guessed = !whole && hot_after_an_unseen_start(measured, settle_s, limit_c);
    reasons.extend(chemistry.doubt.clone());
    let broken_off = evidence.rinse.end_seen
        && !evidence.profile.kind.is_conveyor()
        && measured.length_s < BROKEN_OFF_SHARE * evidence.profile.times.rinse.as_secs_f64();
    if let Some(min) = rinse_min.filter(|_| !start_is_guessed) {
        if min < limit_c {
            let below = below(evidence, measured, min, limit_c);
            // A probe that has not answered yet shows too short a dwell as well.
            dwell_is_known &= below.0 == Verdict::Cold;
            reasons.push(below);
        } else if min < limit_c + expanded {
            let reason = Reason::InsideUncertainty { margin_c: min - limit_c, uncertainty_c: expanded };
            reasons.push((Verdict::Narrow, reason));
        }
    }
    let required_s = chemistry.dwell.as_secs_f64();
    if dwell_s < required_s && (dwell_is_known || broken_off) {
        if broken_off {
            reasons.push((Verdict::Brief, Reason::RinseAborted { rinse_s: measured.length_s }));
        }
        reasons.push((Verdict::Brief, Reason::DwellTooShort { dwell_s, required_s }));
    }
    if rinse_min.is_none() && whole && reasons.is_empty() {
        // Too short for a minimum, though long enough for the dwell: nothing shows that it passed.
        reasons.push((Verdict::Unproven, Reason::TooFewReadings { readings: 0, needed: READINGS_MIN }));
    }
    reasons.sort_by_key(|(verdict, _)| *verdict);
    reasons
}

/// What is missing from the evidence, beside a probe that works.
fn doubts(evidence: &Evidence<'_>, measured: &Measured) -> Vec<(Verdict, Reason)> {
    let mut doubts = Vec::new();
    let mut doubt = |reason| doubts.push((Verdict::Unproven, reason));
    if evidence.clock_stepped {
        doubt(Reason::ClockStep);
    }
    if !evidence.rinse.end_seen {
        doubt(Reason::EndNotSeen);
    }
    let gap_max_s = GAP_MAX_S.max(GAP_MAX_SHARE * measured.length_s);
    if measured.longest_gap_s > gap_max_s {
        doubt(Reason::GapInRinse { gap_s: measured.longest_gap_s });
    }
    let could_settle =
        measured.length_s >= window::settle_s(evidence.probe.tau, evidence.profile.times.rinse) + EDGE_S;
    let readings = u32::try_from(measured.settled).unwrap_or(u32::MAX);
    if could_settle && readings < READINGS_MIN {
        doubt(Reason::TooFewReadings { readings, needed: READINGS_MIN });
    }
    doubts
}

/// Whether the water was hot later in a flow whose start no reading shows. That start is guessed from
/// the readings before the gap, so that water from before the flow, or from its first moments, may
/// count as settled: such a minimum shows neither cold water nor a pass. Water that never
/// reaches the limit, or leaves it where the line had settled wherever the flow began, is cold.
fn hot_after_an_unseen_start(measured: &Measured, settle_s: f64, limit_c: f64) -> bool {
    let Some(back_s) = measured.arrival_unseen_until_s else { return false };
    let to_s = measured.length_s - EDGE_S;
    let hot = measured.used.iter().any(|p| p.t >= back_s && p.t <= to_s && p.c >= limit_c);
    hot && window::lowest(&measured.used, back_s + settle_s, to_s).0.is_none_or(|min| min >= limit_c)
}

/// A minimum below the limit is cold, unless a probe of unknown response was still on its way to
/// a temperature that is not: then the water may have been hot all along.
fn below(evidence: &Evidence<'_>, measured: &Measured, min: f64, limit_c: f64) -> (Verdict, Reason) {
    let cold = (Verdict::Cold, Reason::RinseBelowLimit { measured_c: min, limit_c });
    if evidence.probe.tau.is_some() {
        return cold;
    }
    let from_s = window::settle_s(None, evidence.profile.times.rinse);
    match approach(&measured.used, from_s, measured.length_s - EDGE_S) {
        Some(final_c) if final_c >= limit_c => (Verdict::Unproven, Reason::ProbeTooSlow),
        Some(_) | None => cold,
    }
}

/// Final value of an exponential approach from below through three equidistant
/// points (Aitken's delta-squared).
fn approach(points: &[window::Point], from: f64, to: f64) -> Option<f64> {
    let at = |t: f64| {
        let after = points.partition_point(|p| p.t < t);
        points.get(after).map(|p| p.c)
    };
    let step = (to - from) / 2.0;
    let (a, b, c) = (at(from)?, at(from + step)?, at(to)?);
    let ratio = (c - b) / (b - a);
    if b - a < 0.3 || !(0.01..0.99).contains(&ratio) {
        return None;
    }
    Some(c + (c - b) * ratio / (1.0 - ratio))
}

fn standard_uncertainty(evidence: &Evidence<'_>, at: f64, measured: &Measured) -> f64 {
    let of_probe = evidence.probe.budget.combined(Celsius(at)).standard;
    let of_lag = match (measured.corrected_min, measured.raw_min) {
        (Some(corrected), Some(raw)) => LAG_UNCERTAINTY_SHARE * (corrected - raw),
        // Half width of a rectangular distribution: the lag may be anything up to the assumed one.
        (None, Some(_)) => TAU_UNKNOWN_S * measured.slope_at_min / 3.0_f64.sqrt(),
        (_, None) => 0.0,
    };
    of_probe.hypot(of_lag)
}

fn peak(evidence: &Evidence<'_>, length_s: f64) -> Option<f64> {
    let points = window::answered(&window::series(evidence.rinse.readings, evidence.rinse.start), None);
    points.iter().filter(|p| p.t >= 0.0 && p.t <= length_s).map(|p| p.c).max_by(f64::total_cmp)
}

/// Lowest reading of the wash. A probe that was at fault meanwhile proves no good wash, whatever it showed; what it
/// showed well clear of the fault still proves a low one.
fn wash_min(wash: &Wash, limit_c: f64) -> Option<f64> {
    let at_fault = wash.fault.is_some();
    let readings = if at_fault { &wash.spared } else { &wash.readings };
    let start = readings.first()?.at;
    let points = window::answered(&window::series(readings, start), None);
    let (lowest, count) = window::lowest(&points, f64::NEG_INFINITY, f64::INFINITY);
    let is_proven = |min: &f64| !at_fault || (count >= READINGS_MIN as usize && *min < limit_c);
    lowest.filter(is_proven)
}

fn findings(evidence: &Evidence<'_>, wash_min_c: Option<f64>, rinse_peak_c: Option<f64>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let wash_limit = evidence.profile.wash_min.at.0;
    match wash_min_c {
        Some(measured_c) if measured_c < wash_limit => {
            findings.push(Finding::WashLow { measured_c, limit_c: wash_limit });
        }
        Some(_) => {}
        None => findings.push(Finding::WashUnproven { fault: evidence.wash.fault }),
    }
    if let (Some(measured_c), Some(limit)) = (rinse_peak_c, evidence.profile.rinse_max)
        && evidence.rinse.fault.is_none()
        && measured_c > limit.at.0
    {
        findings.push(Finding::RinseTooHot { measured_c, limit_c: limit.at.0 });
    }
    findings
}

fn doses(evidence: &Evidence<'_>) -> (f64, f64, DoseBasis) {
    let mut dose = Dose::default();
    let mut add = |readings: &mut dyn Iterator<Item = &TraceReading>| {
        let mut last: Option<&TraceReading> = None;
        for reading in readings {
            if let Some(last) = last {
                dose.add(last.celsius, reading.celsius, reading.at.seconds_since(last.at));
            }
            last = Some(reading);
        }
    };
    let basis = if evidence.ware.is_empty() {
        let rinse = &evidence.rinse;
        add(&mut evidence.wash.readings.iter());
        add(&mut rinse.readings.iter().filter(|r| r.at >= rinse.start && r.at <= rinse.end));
        DoseBasis::WaterSideEstimate
    } else {
        add(&mut evidence.ware.iter());
        DoseBasis::WareSurface
    };
    (dose.a0, dose.hue, basis)
}
