//! What registers could be by the shapes of the presets, and which is plausible. Pure.

use std::collections::BTreeMap;
use std::ops::Range;

use serde::Serialize;

use crate::config::keys::PRESETS;
use crate::core::reading::Value;
use crate::wire::directory::WireUnit;
use crate::wire::registers::RegisterShape;

/// Plausible for water or a room, °C (own choice: one decade, so that a whole number is plausible in
/// one of whole, tenths and hundredths only).
pub(super) const PLAUSIBLE_C: Range<f64> = 10.0..100.0;

/// How far a value may move between two requests, K (own choice: a probe in a rinse that begins
/// moves by a few K a second, and a scan asks again within a tenth of that).
const REPEATED_K: f64 = 2.0;

/// One register.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub(super) struct Row {
    /// Counted from 0.
    pub(super) register: u16,
    /// Its word.
    pub(super) word: u16,
    /// What it would be, °C, by preset; of floats with the register behind it. Nothing where that
    /// gives no number.
    pub(super) celsius: BTreeMap<&'static str, f64>,
    /// Presets by which it is plausible.
    pub(super) plausible: Vec<&'static str>,
    /// The preset that is proposed.
    pub(super) proposed: Option<&'static str>,
}

/// Every register with what it could be. From the first on, two registers that are plausible as a
/// float are proposed as one; what is left is proposed where it is plausible alone.
pub(super) fn rows(words: &BTreeMap<u16, u16>) -> Vec<Row> {
    let mut rows: Vec<Row> = words.iter().map(|(register, word)| row(words, *register, *word)).collect();
    let mut taken = None;
    for row in &mut rows {
        if taken == Some(row.register) {
            continue;
        }
        row.proposed = row.plausible.iter().copied().max_by_key(|preset| match *preset {
            "float" => 2,
            "float-swapped" => 1,
            _ => 0,
        });
        if row.proposed.is_some_and(is_float) {
            taken = row.register.checked_add(1);
        }
    }
    rows
}

/// Takes back what an earlier function of the same unit proposes already: many units give the same
/// registers by both, and meanwhile a value has moved by a little.
pub(super) fn leave_out_repeated(rows: &mut [Row], before: &[Row]) {
    for row in rows {
        let Some(preset) = row.proposed else { continue };
        let same = before.iter().any(|known| {
            let values = known.celsius.get(preset).zip(row.celsius.get(preset));
            let near = values.is_some_and(|(one, other)| (one - other).abs() <= REPEATED_K);
            known.register == row.register && known.proposed == Some(preset) && near
        });
        if same {
            row.proposed = None;
        }
    }
}

fn row(words: &BTreeMap<u16, u16>, register: u16, word: u16) -> Row {
    let next = register.checked_add(1).and_then(|next| words.get(&next)).copied();
    let mut celsius = BTreeMap::new();
    let mut plausible = Vec::new();
    for (preset, (kind, order, scale)) in PRESETS {
        let pair = [Some(word), next].into_iter().flatten();
        let own: Vec<u16> = pair.take(usize::from(kind.registers())).collect();
        let shape = RegisterShape { kind, order, scale, offset: 0.0, faults: Vec::new() };
        let Value::Number(value) = shape.read(&own, WireUnit::Celsius) else { continue };
        celsius.insert(preset, value);
        if PLAUSIBLE_C.contains(&value) {
            plausible.push(preset);
        }
    }
    Row { register, word, celsius, plausible, proposed: None }
}

/// Whether a preset takes two registers.
pub(super) fn is_float(preset: &str) -> bool {
    preset.starts_with("float")
}
