//! The comparison of a thermometer with another one, which is of a machine where it is one of its probes.

use super::Known;
use super::check::{Choice, SITE, THERMOMETER, subject};
use super::forms::Fields;
use super::words::{measured_by, words};
use crate::core::food_code::Rounding;
use crate::core::logbook::Device;
use crate::core::reader::Reader;
use crate::core::record::Check;
use crate::core::time::Timestamp;
use crate::web::form::Fault;

/// What a thermometer that is no probe can measure, and how it is sent.
const DEVICES: [(&str, Device); 2] = [("water", Device::Water), ("food", Device::Food)];

/// Puts what a link names into the form: a probe of this site, or another thermometer by its name.
pub(super) fn name(what: &str, fields: &mut Fields, known: &[Known]) {
    if is_probe(what, known) {
        what.clone_into(&mut fields.what.value);
    } else if !what.is_empty() {
        what.clone_into(&mut fields.other.value);
        fields.is_other = true;
    }
}

/// Whether it is a probe of these machines.
pub(super) fn is_probe(what: &str, known: &[Known]) -> bool {
    known.iter().any(|one| one.probes.iter().any(|probe| probe == what))
}

/// The probes of a machine, or of all where none of them is meant.
pub(super) fn probes(machine: &str, known: &[Known]) -> Vec<String> {
    let is_named = known.iter().any(|one| one.name == machine);
    let own = known.iter().filter(|one| !is_named || one.name == machine);
    own.flat_map(|one| &one.probes).cloned().collect()
}

/// What a thermometer that is no probe can measure, with what was chosen: its tolerance goes by it, so that nothing is
/// chosen before somebody does.
pub(super) fn devices(fields: &Fields, reader: &Reader) -> Vec<Choice> {
    let choice = |(value, device): (&str, Device)| Choice {
        value: value.to_owned(),
        shown: measured_by(device, reader),
        chosen: fields.device.value == value,
    };
    DEVICES.map(choice).into()
}

/// A comparison, and the machine of the probe that was compared.
pub(super) fn read(
    fields: &mut Fields,
    known: &[Known],
    reader: &Reader,
    made: Option<Timestamp>,
    by: String,
) -> (Option<Option<String>>, Option<Check>) {
    // Of a probe that was chosen and a name that was typed neither wins.
    let chosen = fields.other.value.trim().is_empty();
    let is_both = !chosen && !fields.what.value.is_empty();
    let own = known.iter().find(|one| chosen && one.probes.contains(&fields.what.value));
    let (machine, what, device) = match own {
        Some(machine) => {
            (Some(Some(machine.name.clone())), Some(fields.what.value.clone()), Some(Device::Water))
        }
        None => {
            if fields.machine.value.is_empty() {
                SITE.clone_into(&mut fields.machine.value);
            }
            let machine = subject(THERMOMETER, fields, known, reader);
            let name = Fields::name(&mut fields.other, reader);
            if is_both && name.is_some() {
                fields.other.fault = Some(words(reader.language).probe_or_name.to_owned());
            }
            (machine, name.filter(|_| !is_both), device(fields, reader))
        }
    };
    let (compared, reference) = (fields.compared(reader), Fields::name(&mut fields.reference, reader));
    let check = made.zip(what).zip(device).zip(compared).zip(reference);
    let check = check.map(|((((at, what), device), (shown_c, reference_c)), reference)| Check::Thermometer {
        at,
        what,
        shown_c,
        reference_c,
        tolerance_c: device.tolerance_c(Rounding::Stricter),
        reference,
        by,
    });
    (machine, check)
}

/// What a thermometer that is no probe is said to measure.
fn device(fields: &mut Fields, reader: &Reader) -> Option<Device> {
    let chosen = DEVICES.into_iter().find(|(value, _)| *value == fields.device.value);
    fields.device.take(chosen.map(|(_, device)| device).ok_or(Fault::NoChoice), reader.language)
}
