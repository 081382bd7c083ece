//! What is said of a proof of the wiring under way, in the command and on the page.

use crate::core::reader::{Language, Scale};

/// Who is not at rest yet while the probe `asked` is to be: that one, or before the first one any other of the proof,
/// which has no turn of its own yet.
#[must_use]
pub fn still_moves(language: Language, scale: Scale, asked: &str, (mover, c_per_min): (&str, f64)) -> String {
    let amount = format!("{:.1} {}", scale.difference(c_per_min).abs(), scale.symbol());
    let falls = c_per_min < 0.0;
    match (language, mover == asked) {
        (Language::English, true) if falls => {
            format!("{mover} still falls, by {amount} a minute: let its tip hang free until it has cooled.")
        }
        (Language::English, true) => {
            format!("{mover} still rises, by {amount} a minute: let its tip hang free in still air.")
        }
        (Language::English, false) => {
            let moves = if falls { "falls" } else { "rises" };
            format!(
                "Before the first probe all of them are to be at rest, and {mover} still {moves}, by {amount} a minute: let \
                 its tip hang free too."
            )
        }
        (Language::Spanish, true) if falls => {
            format!("{mover} aún baja, {amount} por minuto: deje su punta libre hasta que se enfríe.")
        }
        (Language::Spanish, true) => {
            format!("{mover} aún sube, {amount} por minuto: deje su punta libre en aire quieto.")
        }
        (Language::Spanish, false) => {
            let moves = if falls { "baja" } else { "sube" };
            format!(
                "Antes de la primera sonda deben estar todas en reposo, y {mover} aún {moves}, {amount} por minuto: deje \
                 libre también su punta."
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Regression: at the turn of dm1/rinse it was said what to do with dm1/wash, and not why.
    #[test]
    fn a_probe_whose_turn_it_is_not_is_named_with_the_reason() {
        let said = |language, mover| still_moves(language, Scale::Fahrenheit, "dm1/rinse", (mover, -1.5));
        for (language, own, other) in [
            (
                Language::English,
                "dm1/rinse still falls, by 2.7 °F a minute: let its tip hang free until it has cooled.",
                "Before the first probe all of them are to be at rest, and dm1/wash still falls, by 2.7 °F a minute: let its tip hang free too.",
            ),
            (
                Language::Spanish,
                "dm1/rinse aún baja, 2.7 °F por minuto: deje su punta libre hasta que se enfríe.",
                "Antes de la primera sonda deben estar todas en reposo, y dm1/wash aún baja, 2.7 °F por minuto: deje libre también su punta.",
            ),
        ] {
            assert_eq!(said(language, "dm1/rinse"), own);
            assert_eq!(said(language, "dm1/wash"), other);
        }
    }
}
