//! The tables of an export beside the cycles, each made from an account.
//!
//! Units stand in the header, an instant stands twice (UTC and local), temperatures and times
//! are rounded to 0.001. A cell is empty where nothing is known.

mod checks;

use jiff::tz::TimeZone;

use super::{local, maybe, number, text, word};
use crate::core::alert::Quantity;
use crate::core::record::AmendmentChange;
use crate::core::time::Timestamp;
use crate::report::account::{
    Account, ActionAccount, AlertAccount, CalibrationAccount, DayAccount, GapAccount, MachineAccount, Remark,
    ServiceEvent,
};

/// A table of an export.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Table {
    /// One machine on one day.
    Days,
    /// Checks that people entered, and those that were missed.
    Checks,
    /// Alerts with their answer.
    Alerts,
    /// Corrective actions, with the racks that each covers.
    Actions,
    /// Stretches in which nothing is known.
    Gaps,
    /// Notes and amendments.
    Remarks,
    /// Calibrations in force.
    Calibrations,
    /// What happened to the program and to how the record is kept.
    Service,
}

impl Table {
    /// Every table.
    pub const ALL: [Self; 8] = [
        Self::Days,
        Self::Checks,
        Self::Alerts,
        Self::Actions,
        Self::Gaps,
        Self::Remarks,
        Self::Calibrations,
        Self::Service,
    ];

    /// Name of its file.
    #[must_use]
    pub const fn file(self) -> &'static str {
        match self {
            Self::Days => "days.csv",
            Self::Checks => "checks.csv",
            Self::Alerts => "alerts.csv",
            Self::Actions => "actions.csv",
            Self::Gaps => "gaps.csv",
            Self::Remarks => "remarks.csv",
            Self::Calibrations => "calibrations.csv",
            Self::Service => "service.csv",
        }
    }

    /// Its columns, with their units.
    #[must_use]
    pub const fn header(self) -> &'static [&'static str] {
        match self {
            Self::Days => &DAYS,
            Self::Checks => &checks::COLUMNS,
            Self::Alerts => &ALERTS,
            Self::Actions => &ACTIONS,
            Self::Gaps => &GAPS,
            Self::Remarks => &REMARKS,
            Self::Calibrations => &CALIBRATIONS,
            Self::Service => &SERVICE,
        }
    }

    /// Its rows; local times are those of `zone`.
    #[must_use]
    pub fn rows(self, account: &Account, zone: &TimeZone) -> Vec<Vec<String>> {
        let machines = account.machines.iter();
        match self {
            Self::Days => machines.flat_map(|own| own.days.iter().map(|day| day_cells(own, day))).collect(),
            Self::Checks => checks::rows(account, zone),
            Self::Alerts => account.alerts.iter().map(|alert| alert_cells(alert, zone)).collect(),
            Self::Actions => {
                let written = |alert: &AlertAccount| {
                    alert.actions.iter().map(|action| action_cells(alert, action, zone)).collect::<Vec<_>>()
                };
                account.alerts.iter().flat_map(written).collect()
            }
            Self::Gaps => {
                machines.flat_map(|own| own.gaps.iter().map(|gap| gap_cells(own, gap, zone))).collect()
            }
            Self::Remarks => account.remarks.iter().map(|remark| remark_cells(remark, zone)).collect(),
            Self::Calibrations => account.calibrations.iter().map(|c| calibration_cells(c, zone)).collect(),
            Self::Service => account.service.iter().map(|event| service_cells(event, zone)).collect(),
        }
    }
}

const DAYS: [&str; 19] = [
    "machine",
    "day (local date)",
    "racks (1)",
    "cold (1)",
    "brief (1)",
    "weak (1)",
    "unproven (1)",
    "narrow (1)",
    "pass (1)",
    "rinse_min (degC)",
    "rinse_median (degC)",
    "limit (degC)",
    "largest uncertainty k=2 (degC)",
    "late (1)",
    "operating (s)",
    "monitored (s)",
    "recovery (s)",
    "unproven while somebody worked on it (1)",
    "in doubt (1)",
];

fn day_cells(machine: &MachineAccount, day: &DayAccount) -> Vec<String> {
    let counts = &day.counts;
    let mut cells = vec![text(&machine.machine), day.day.to_string()];
    let racks =
        [counts.total(), counts.cold, counts.brief, counts.weak, counts.unproven, counts.narrow, counts.pass];
    cells.extend(racks.iter().map(u64::to_string));
    cells.extend([
        maybe(day.rinse_min_c),
        maybe(day.rinse_median_c),
        maybe(day.limit_c),
        maybe(day.uncertainty_c),
        day.late.to_string(),
        number(day.operating_s),
        number(day.monitored_s),
        maybe(day.recovery_s),
        counts.worked_on.to_string(),
        day.in_doubt.to_string(),
    ]);
    cells
}

const ALERTS: [&str; 28] = [
    "number",
    "condition",
    "machine",
    "about",
    "since (RFC 3339 UTC)",
    "since (RFC 3339 local)",
    "raised (RFC 3339 UTC)",
    "raised (RFC 3339 local)",
    "measured (see unit)",
    "limit (see unit)",
    "unit",
    "racks (1)",
    "needs_action",
    "acknowledged_by",
    "acknowledged (RFC 3339 UTC)",
    "acknowledged (RFC 3339 local)",
    "actions (1)",
    "racks_covered_by_actions (1)",
    "cleared (RFC 3339 UTC)",
    "cleared (RFC 3339 local)",
    "closed (RFC 3339 UTC)",
    "closed (RFC 3339 local)",
    "messages_delivered (1)",
    "messages_given_up (1)",
    "state (open, recovered, closed)",
    "racks_outside_span (1, of racks)",
    "acknowledged_before (who and ISO 8601 interval UTC)",
    "raised_after_span",
];

fn alert_cells(alert: &AlertAccount, zone: &TimeZone) -> Vec<String> {
    let (since, since_local) = both(alert.since, zone);
    let (raised, raised_local) = both(alert.raised, zone);
    let taken = alert.acknowledged.as_ref();
    let (acknowledged, acknowledged_local) = perhaps(taken.map(|taken| taken.1), zone);
    let (cleared, cleared_local) = perhaps(alert.cleared, zone);
    let (closed, closed_local) = perhaps(alert.closed, zone);
    let state = match (alert.closed, alert.cleared) {
        (Some(_), _) => "closed",
        (None, Some(_)) => "recovered",
        (None, None) => "open",
    };
    vec![
        alert.number.to_string(),
        alert.condition.as_str().to_owned(),
        alert.machine.as_deref().map(text).unwrap_or_default(),
        text(&alert.about.join(" ")),
        since,
        since_local,
        raised,
        raised_local,
        maybe(alert.measured.map(Quantity::number)),
        maybe(alert.limit.map(Quantity::number)),
        alert.measured.or(alert.limit).map(unit).unwrap_or_default().to_owned(),
        alert.racks.to_string(),
        alert.needs_action.to_string(),
        taken.map(|taken| text(&taken.0)).unwrap_or_default(),
        acknowledged,
        acknowledged_local,
        alert.actions.len().to_string(),
        alert.covered().to_string(),
        cleared,
        cleared_local,
        closed,
        closed_local,
        alert.delivered.to_string(),
        alert.given_up.to_string(),
        state.to_owned(),
        alert.racks_outside.to_string(),
        text(&alert.released.iter().map(released).collect::<Vec<_>>().join("; ")),
        alert.later.to_string(),
    ]
}

/// Who took care of an alert until it came back.
fn released((by, taken, ended): &(String, Timestamp, Timestamp)) -> String {
    format!("{by} {taken}/{ended}")
}

const ACTIONS: [&str; 9] = [
    "ledger_index",
    "alert (number)",
    "machine",
    "by",
    "racks",
    "done",
    "written (RFC 3339 UTC)",
    "written (RFC 3339 local)",
    "racks_covered (1, from the first)",
];

fn action_cells(alert: &AlertAccount, action: &ActionAccount, zone: &TimeZone) -> Vec<String> {
    let (at, at_local) = both(action.at, zone);
    vec![
        action.index.to_string(),
        alert.number.to_string(),
        alert.machine.as_deref().map(text).unwrap_or_default(),
        text(&action.by),
        text(&action.racks),
        text(&action.done),
        at,
        at_local,
        count(action.covers),
    ]
}

const fn unit(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Celsius(_) => "degC",
        Quantity::Seconds(_) => "s",
        Quantity::MgPerL(_) => "mg/L",
        Quantity::Ph(_) => "pH",
        Quantity::Fraction(_) | Quantity::Count(_) => "1",
    }
}

const GAPS: [&str; 9] = [
    "machine",
    "probe (empty where the service was down)",
    "fault",
    "from (RFC 3339 UTC)",
    "from (RFC 3339 local)",
    "to (RFC 3339 UTC, empty while it lasts)",
    "to (RFC 3339 local)",
    "length (s)",
    "filled (readings came late)",
];

fn gap_cells(machine: &MachineAccount, gap: &GapAccount, zone: &TimeZone) -> Vec<String> {
    let (from, from_local) = both(gap.from, zone);
    let (to, to_local) = perhaps(gap.to, zone);
    vec![
        text(&machine.machine),
        gap.probe.as_deref().map(text).unwrap_or_default(),
        gap.fault.map(|fault| word(&fault)).unwrap_or_default(),
        from,
        from_local,
        to,
        to_local,
        maybe(gap.to.map(|to| to.seconds_since(gap.from))),
        gap.filled.to_string(),
    ]
}

const REMARKS: [&str; 9] = [
    "machine",
    "recorded (RFC 3339 UTC)",
    "recorded (RFC 3339 local)",
    "by",
    "text",
    "amends (ledger_index)",
    "change (comment, withdrawn, corrected)",
    "withdrawn_by (ledger_index)",
    "ledger_index",
];

fn remark_cells(remark: &Remark, zone: &TimeZone) -> Vec<String> {
    let (recorded, recorded_local) = both(remark.recorded, zone);
    let change = remark.amends.as_ref().map(|(_, change)| match change {
        AmendmentChange::Comment => "comment",
        AmendmentChange::Withdrawn => "withdrawn",
        AmendmentChange::Corrected(_) => "corrected",
    });
    vec![
        remark.machine.as_deref().map(text).unwrap_or_default(),
        recorded,
        recorded_local,
        text(&remark.by),
        text(&remark.text),
        count(remark.amends.as_ref().map(|(of, _)| *of)),
        change.unwrap_or_default().to_owned(),
        count(remark.withdrawn_by),
        remark.index.to_string(),
    ]
}

const CALIBRATIONS: [&str; 14] = [
    "probe",
    "since (RFC 3339 UTC)",
    "since (RFC 3339 local)",
    "until (RFC 3339 UTC, empty while in force)",
    "until (RFC 3339 local)",
    "made (date)",
    "low_reference (degC)",
    "low_shown (degC)",
    "high_reference (degC)",
    "high_shown (degC)",
    "offset (degC)",
    "uncertainty k=2 (degC)",
    "time_constant (s)",
    "ledger_index (empty where it is configured)",
];

fn calibration_cells(calibration: &CalibrationAccount, zone: &TimeZone) -> Vec<String> {
    let (since, since_local) = both(calibration.since, zone);
    let (until, until_local) = perhaps(calibration.until, zone);
    let point = |place: usize| calibration.points.get(place).copied();
    vec![
        text(&calibration.probe),
        since,
        since_local,
        until,
        until_local,
        calibration.made.map(|day| day.to_string()).unwrap_or_default(),
        maybe(point(0).map(|point| point.0)),
        maybe(point(0).map(|point| point.1)),
        maybe(point(1).map(|point| point.0)),
        maybe(point(1).map(|point| point.1)),
        maybe(calibration.offset_c),
        maybe(calibration.uncertainty_c),
        maybe(calibration.tau_s),
        calibration.record.map(|index| index.to_string()).unwrap_or_default(),
    ]
}

const SERVICE: [&str; 6] =
    ["machine", "at (RFC 3339 UTC)", "at (RFC 3339 local)", "kind", "text", "ledger_index"];

fn service_cells(event: &ServiceEvent, zone: &TimeZone) -> Vec<String> {
    let (at, at_local) = both(event.at, zone);
    vec![
        event.machine.as_deref().map(text).unwrap_or_default(),
        at,
        at_local,
        text(&event.kind),
        text(&event.text),
        event.index.to_string(),
    ]
}

fn both(at: Timestamp, zone: &TimeZone) -> (String, String) {
    (at.to_string(), local(at, zone))
}

fn perhaps(at: Option<Timestamp>, zone: &TimeZone) -> (String, String) {
    at.map(|at| both(at, zone)).unwrap_or_default()
}

fn count(value: Option<u64>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::time::Timestamp;
    use crate::report::account::samples;

    // Own rule: every column is there, and who took care of an alert before it came back is told with it; intervals by
    // ISO 8601-1, 5.5.
    #[test]
    fn alerts_tell_who_took_care_of_them_before() {
        let mut alert = samples::month().alerts.remove(0);
        alert.released.clear();
        let cell = |alert: &AlertAccount, from_end: usize| {
            let cells = alert_cells(alert, &TimeZone::UTC);
            assert_eq!(cells.len(), ALERTS.len());
            cells.iter().rev().nth(from_end).cloned()
        };
        assert_eq!(cell(&alert, 1).as_deref(), Some(""));
        let [one, two, three] = [0, 60, 3_600].map(|second| Timestamp::from_micros(second * 1_000_000));
        alert.released = vec![("Luis".to_owned(), one, two), ("Ana".to_owned(), two, three)];
        let told =
            "Luis 1970-01-01T00:00:00Z/1970-01-01T00:01:00Z; Ana 1970-01-01T00:01:00Z/1970-01-01T01:00:00Z";
        assert_eq!(cell(&alert, 1).as_deref(), Some(told));
        assert_eq!(cell(&alert, 0).as_deref(), Some("false"));
        alert.later = true;
        assert_eq!(cell(&alert, 0).as_deref(), Some("true"));
    }
}
