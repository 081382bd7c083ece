//! `[probe.accuracy]`: the uncertainty budget of a probe.

use crate::config::keys::{CLASSES, ClassWord, THERMOCOUPLES};
use crate::config::problem::Findings;
use crate::config::reader::Reader;
use crate::config::text;
use crate::core::uncertainty::{Budget, Sensor};

/// Reads the budget of a probe; `None` where something is wrong with it.
pub(super) fn read_accuracy(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<Budget> {
    let mut inner = if reader.has("accuracy") {
        reader.table("accuracy", findings)?
    } else {
        reader.table_of_defaults("accuracy")?
    };
    let sensor = read_sensor(reader, &mut inner, findings);
    let cold_junction = inner.difference("cold-junction", findings);
    let converter = inner.difference("converter", findings);
    let resolution = inner.difference("resolution", findings);
    let installation = inner.difference("installation", findings);
    let repeatability = inner.difference("repeatability", findings);
    let drift = inner.difference("drift", findings);
    reader.absorb("accuracy", inner.finish(findings));
    Some(Budget {
        sensor: sensor?,
        cold_junction_c: cold_junction?,
        converter_c: converter?,
        resolution_c: resolution?,
        installation_c: installation?,
        repeatability_c: repeatability?,
        drift_c: drift?,
    })
}

fn read_sensor(reader: &mut Reader<'_>, inner: &mut Reader<'_>, findings: &mut Findings) -> Option<Sensor> {
    let class = inner.choice("class", &CLASSES, findings);
    let bound = inner.difference("sensor", findings);
    let calibrated = inner.difference("calibrated", findings);
    let given: Vec<&str> =
        ["class", "sensor", "calibrated"].into_iter().filter(|key| inner.has(key)).collect();
    match given[..] {
        [] => {
            let sensor = Budget::default().sensor;
            if let Sensor::Within { half_width_c } = sensor {
                inner.note_default("sensor", &text::of_difference(half_width_c));
            }
            return Some(sensor);
        }
        [_] => {}
        [_, second, ..] => {
            inner.refuse(second, "one of class, sensor and calibrated", findings);
            return None;
        }
    }
    if let Some(half_width_c) = bound {
        return Some(Sensor::Within { half_width_c });
    }
    if let Some(expanded_c) = calibrated {
        return Some(Sensor::Calibrated { expanded_c });
    }
    match class? {
        ClassWord::Pt100(class) => Some(Sensor::Pt100(class)),
        ClassWord::Thermocouple(class) => {
            let Some(kind) = reader.peek_choice("thermocouple", &THERMOCOUPLES) else {
                inner.refuse("class", "the key thermocouple beside it, or a class of a Pt100", findings);
                return None;
            };
            Some(Sensor::Thermocouple { kind, class })
        }
    }
}
