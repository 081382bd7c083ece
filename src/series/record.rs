//! From records to points.

use super::alerts;
use super::measurements::{CHECK, CYCLE, GATEWAY, SERVICE, verdict_code};
use super::point::{Point, one_line};
use super::reading::with_fault;
use crate::core::cycle::verdict::Finding;
use crate::core::record::{Body, Check, Clock, Cycle, Gap, Record, StopCause};
use crate::core::time::Timestamp;

/// Longest text that is copied from a record, in bytes; the ledger has all of it.
const TEXT_BYTES_MAX: usize = 1_000;

/// How the gateway and its series are.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Gauges {
    /// Records in the ledger.
    pub records: u64,
    /// Inputs in the ledger.
    pub inputs: u64,
    /// Records that are not on the server yet.
    pub records_waiting: u64,
    /// Inputs that are not on the server yet.
    pub inputs_waiting: u64,
    /// Points set aside.
    pub set_aside: u64,
}

/// The point of the gauges at `at`.
#[must_use]
pub fn gauges(site: &str, at: Timestamp, gauges: &Gauges) -> Point {
    Point::new(GATEWAY, at)
        .tag("site", site.to_owned())
        .count("records", gauges.records)
        .count("inputs", gauges.inputs)
        .count("records_waiting", gauges.records_waiting)
        .count("inputs_waiting", gauges.inputs_waiting)
        .count("set_aside", gauges.set_aside)
}

/// The point of the record with this index.
#[must_use]
pub fn point(site: &str, index: u64, record: &Record) -> Point {
    let start = |measurement, at| started(measurement, site, at, index, record);
    let service = |at| start(SERVICE, at).tag("event", record.body.kind()).integer("count", 1);
    match &record.body {
        Body::Cycle(cycle) => with_cycle(start(CYCLE, cycle.rinse_started), cycle),
        Body::Check(check) => with_check(|at| start(CHECK, at), check),
        Body::Gap(gap) => with_gap(service(gap.from), gap),
        Body::ServiceStart(start) => {
            let point = service(record.recorded).flag("clean", start.after_clean_stop);
            point.count("replayed", start.replayed).text("detail", short(&start.version))
        }
        Body::ServiceStop(stop) => service(record.recorded).text(
            "detail",
            match stop.cause {
                StopCause::Signal => "signal",
                StopCause::EndOfInput => "end-of-input",
            },
        ),
        Body::ClockStep(step) => {
            let clock = match step.clock {
                Clock::Gateway => "gateway",
                Clock::Source => "source",
            };
            service(record.recorded).float("step", step.to.seconds_since(step.from)).text("clock", clock)
        }
        Body::ConfigurationChange(change) => service(record.recorded).text("detail", short(&change.sha256)),
        Body::MachineFailure(failure) => {
            let point = service(record.recorded).flag("stopped", failure.stopped);
            point.text("detail", short(&failure.cause))
        }
        Body::Note(_)
        | Body::Amendment(_)
        | Body::SigningKey(_)
        | Body::LawfulHold(_)
        | Body::Pruned(_)
        | Body::Import(_)
        | Body::Restored(_)
        | Body::Calibration(_)
        | Body::Response(_)
        | Body::WiringProof(_)
        | Body::SignOff(_)
        | Body::Access(_) => service(record.recorded),
        Body::AlertRaised(_)
        | Body::AlertChanged(_)
        | Body::AlertAcknowledged(_)
        | Body::AlertCleared(_)
        | Body::AlertClosed(_)
        | Body::CorrectiveAction(_)
        | Body::Notification(_)
        | Body::Maintenance(_) => alerts::point(|measurement| start(measurement, record.recorded), record)
            .unwrap_or_else(|| service(record.recorded)),
    }
}

/// A point with the tags and the number of its record.
fn started(measurement: &'static str, site: &str, at: Timestamp, index: u64, record: &Record) -> Point {
    let below_micro = i64::try_from(index % 1_000).unwrap_or(0);
    let at_ns = at.micros().saturating_mul(1_000).saturating_add(below_micro);
    let point = Point::at_nanos(measurement, at_ns).tag("site", site.to_owned()).count("record", index);
    match &record.machine {
        Some(machine) => point.tag("machine", machine.clone()),
        None => point,
    }
}

fn with_cycle(point: Point, cycle: &Cycle) -> Point {
    let margin = cycle.rinse_min_c.map(|minimum| minimum - cycle.limit_c);
    let found = |wanted: fn(&Finding) -> bool| cycle.findings.iter().any(wanted);
    point
        .integer("verdict", verdict_code(cycle.verdict))
        .text("verdict_name", cycle.verdict.as_str())
        .float("rinse_min", cycle.rinse_min_c)
        .float("rinse_min_raw", cycle.rinse_min_raw_c)
        .float("rinse_min_corrected", cycle.rinse_min_corrected_c)
        .float("limit", cycle.limit_c)
        .float("margin", margin)
        .float("rinse_peak", cycle.rinse_peak_c)
        .float("settled_after", cycle.settled_after_s)
        .float("dwell", cycle.dwell_s)
        .float("dwell_required", cycle.dwell_required_s)
        .float("area_below", cycle.area_below_c_s)
        .float("wash_min", cycle.wash_min_c)
        .float("wash_limit", cycle.wash_limit_c)
        .float("a0", cycle.a0)
        .float("hue", cycle.hue)
        .float("uncertainty", cycle.uncertainty_c)
        .float("conformance", cycle.conformance)
        .float("mg_per_l", cycle.concentration_mg_per_l)
        .float("ph", cycle.ph)
        .float("rinse_duration", cycle.rinse_ended.seconds_since(cycle.rinse_started))
        .float("duration", cycle.rinse_ended.seconds_since(cycle.started))
        .float("delay", cycle.received.seconds_since(cycle.rinse_ended))
        .flag("wash_low", found(|finding| matches!(finding, Finding::WashLow { .. })))
        .flag("rinse_too_hot", found(|finding| matches!(finding, Finding::RinseTooHot { .. })))
        .integer("readings", i64::from(cycle.rinse_readings))
        .integer("spikes", i64::from(cycle.spikes))
}

fn with_check(start: impl Fn(Timestamp) -> Point, check: &Check) -> Point {
    match check {
        Check::Sanitizer { at, mg_per_l, ph, by, .. } => start(*at)
            .tag("check", "sanitizer")
            .float("mg_per_l", *mg_per_l)
            .float("ph", *ph)
            .text("by", short(by)),
        Check::Supply { at, enough, by, .. } => {
            start(*at).tag("check", "supply").flag("enough", *enough).text("by", short(by))
        }
        Check::DrainAndClean { at, by, .. } => {
            start(*at).tag("check", "drain-and-clean").text("by", short(by))
        }
        Check::Thermometer { at, shown_c, reference_c, by, .. } => start(*at)
            .tag("check", "thermometer")
            .float("shown", *shown_c)
            .float("reference", *reference_c)
            .text("by", short(by)),
    }
}

fn with_gap(point: Point, gap: &Gap) -> Point {
    let probe = gap.probe.rsplit_once('/').map_or(gap.probe.as_str(), |(_, probe)| probe);
    let point = with_fault(point.tag("probe", probe.to_owned()), gap.fault);
    let point = point.flag("open", gap.to.is_none()).flag("filled", gap.filled);
    point.float("duration", gap.to.map(|to| to.seconds_since(gap.from)))
}

pub(super) fn short(text: &str) -> String {
    one_line(text, TEXT_BYTES_MAX)
}

#[cfg(test)]
mod tests;
