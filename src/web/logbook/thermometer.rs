//! The comparison of a thermometer with another one, which is of a machine where it is one of its probes.

use super::Known;
use super::check::{SITE, Which, subject};
use super::forms::Fields;
use super::words::words;
use crate::core::food_code::Rounding;
use crate::core::logbook::Device;
use crate::core::reader::Reader;
use crate::core::record::{Check, CheckKind};
use crate::core::time::Timestamp;

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
    let (machine, what) = match own {
        Some(machine) => (Some(Some(machine.name.clone())), Some(fields.what.value.clone())),
        None => {
            if fields.machine.value.is_empty() {
                SITE.clone_into(&mut fields.machine.value);
            }
            let machine = subject(Which::Check(CheckKind::Thermometer), fields, known, reader);
            let name = Fields::name(&mut fields.other, reader);
            if is_both && name.is_some() {
                fields.other.fault = Some(words(reader.language).probe_or_name.to_owned());
            }
            (machine, name.filter(|_| !is_both))
        }
    };
    let (compared, reference) = (fields.compared(reader), Fields::name(&mut fields.reference, reader));
    let device = if fields.device == "food" { Device::Food } else { Device::Water };
    let tolerance_c = device.tolerance_c(Rounding::Stricter);
    let check = made.zip(what).zip(compared).zip(reference);
    let check = check.map(|(((at, what), (shown_c, reference_c)), reference)| Check::Thermometer {
        at,
        what,
        shown_c,
        reference_c,
        tolerance_c,
        reference,
        by,
    });
    (machine, check)
}
