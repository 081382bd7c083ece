//! The probes, and what they show; behind them the channels of sanitizing solutions.

use serde_json::{Value, json};

use super::super::House;
use super::rows::whole;
use crate::core::calibration::Calibration;
use crate::core::channel::{Role, Solution};
use crate::core::units::Celsius;
use crate::web::api::{Rows, Trouble};
use crate::web::probes::solution::SolutionSeen;

/// Temperature at which the uncertainty of a probe is told, °C: that of a hot-water rinse.
const TOLD_AT: Celsius = Celsius(82.2);

impl House {
    pub(super) async fn probes_shown(&self, machine: Option<&str>) -> Result<Rows, Trouble> {
        let newest = self.tap.newest();
        let mut items = Vec::new();
        for channel in self.tap.channels() {
            let Role::Probe(probe) = &channel.role else { continue };
            if machine.is_some_and(|machine| channel.name.machine() != machine) {
                continue;
            }
            let seen = newest.get(&channel.id);
            let (gain, offset_c) = match probe.calibration {
                Calibration::None => (1.0, 0.0),
                Calibration::Offset(offset) => (1.0, offset),
                Calibration::TwoPoint { gain, offset } => (gain, offset),
            };
            let row = json!({
                "channel": channel.name.as_str(),
                "machine": channel.name.machine(),
                "quantity": "temperature",
                "place": probe.place,
                "at": seen.map(|seen| seen.at),
                "arrived": seen.map(|seen| seen.arrived),
                "measured_c": seen.and_then(|seen| seen.shown.measured),
                "corrected_c": seen.and_then(|seen| seen.shown.corrected),
                "fault": seen.and_then(|seen| seen.shown.fault),
                "gain": gain,
                "offset_c": offset_c,
                "uncertainty": probe.budget.combined(TOLD_AT).expanded,
                "tau_s": probe.tau.map(|tau| tau.as_secs_f64()),
                "silent_after_s": probe.silent_after.as_secs_f64(),
            });
            items.push(row.to_string());
        }
        let solutions = self.solutions_seen().await?;
        let wanted = |seen: &&SolutionSeen| machine.is_none_or(|machine| seen.machine == machine);
        items.extend(solutions.iter().filter(wanted).map(|seen| of_solution(seen).to_string()));
        Ok(whole(items))
    }
}

/// A channel of a sanitizing solution.
fn of_solution(seen: &SolutionSeen) -> Value {
    let (quantity, unit) = match seen.solution {
        Solution::Strength => ("sanitizer", "mg/L"),
        Solution::Ph => ("ph", "pH"),
    };
    let tested = seen.tested.as_ref();
    json!({
        "channel": format!("{}/{}", seen.machine, seen.probe),
        "machine": seen.machine,
        "quantity": quantity,
        "place": null,
        "at": tested.map(|tested| tested.at),
        "arrived": seen.arrived,
        "corrected_c": null,
        "fault": null,
        "value": tested.map(|tested| tested.value),
        "unit": unit,
        "from": tested.map(|tested| if tested.by.is_some() { "person" } else { "line" }),
        "by": tested.and_then(|tested| tested.by.as_deref()),
        "record": tested.and_then(|tested| tested.record),
        "silent": seen.silent,
        "silent_after_s": seen.holds.as_secs_f64(),
    })
}
