//! What to do where supplies are short: for each what fits it, and the machine that lacks it.

use super::words::{FILL_UP, NO_SANITIZER, Pair};
use crate::core::cycle::plate::Sanitizing;
use crate::core::record::{Check, Supply};

/// What a look at the supplies found short, and where; of any other check nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Lacking<'a> {
    /// What was short, where it has a name; else the note says it.
    pub supplies: &'a [Supply],
    /// How the machine sanitizes; `None` where that is not known, and for the whole site.
    pub sanitizing: Option<Sanitizing>,
    /// Whether somebody is told of it by an alert, which is open (see [`crate::core::alert::Desk::tells_of_look`]).
    pub alerted: bool,
}

impl<'a> Lacking<'a> {
    /// What a check of such a machine says of it, with nobody told.
    #[must_use]
    pub fn of(check: &'a Check, sanitizing: Option<Sanitizing>) -> Self {
        let supplies: &[Supply] = match check {
            Check::Supply { short, .. } => short,
            Check::Sanitizer { .. } | Check::DrainAndClean { .. } | Check::Thermometer { .. } => &[],
        };
        Self { supplies, sanitizing, alerted: false }
    }

    /// What to do, the most pressing first. A machine that sanitizes with hot water takes no sanitizer, whatever
    /// was ticked.
    pub(super) fn steps(self) -> Vec<Pair> {
        let takes_sanitizer = self.sanitizing.is_none_or(Sanitizing::is_chemical);
        let fits = |one: &Supply| takes_sanitizer || !matches!(one, Supply::Sanitizer | Supply::TestStrips);
        let mut named: Vec<Supply> = self.supplies.iter().copied().filter(fits).collect();
        named.sort_by_key(|one| *one != Supply::Sanitizer);
        if named.is_empty() {
            // What it is stands in the note, if anywhere.
            let not_known = takes_sanitizer && self.supplies.is_empty();
            return std::iter::once(FILL_UP).chain(not_known.then_some(NO_SANITIZER)).collect();
        }
        named.into_iter().flat_map(steps_for).copied().collect()
    }
}

// A dosing pump that drew air is to be primed, whatever it doses; Food Code 4-603.16 asks for a rinse that leaves no
// cleaning agent, 4-703.11 sanitizes what is clean, 4-901.11 lets ware dry in the air, 4-302.14 asks for a test kit.
const fn steps_for(supply: Supply) -> &'static [Pair] {
    match supply {
        Supply::Sanitizer => &[
            (
                "Sanitizer: stop feeding the machine and hold the racks washed since the last good test.",
                "Desinfectante: deje de cargar la máquina y aparte las canastas lavadas desde la última prueba correcta.",
            ),
            (
                "Change the drum by the product's label, prime the dosing pump, and test with a strip before the machine \
                 is used again.",
                "Cambie el bidón según la etiqueta del producto, cebe la bomba dosificadora y mida con una tira antes de \
                 volver a usar la máquina.",
            ),
        ],
        Supply::Detergent => &[(
            "Detergent: fill it up or change it before the next rack, by the product's label; prime the dosing pump after a \
             change. Without it ware does not come clean, and only clean ware is sanitized: wash again what came out dirty.",
            "Detergente: rellénelo o cámbielo antes de la próxima canasta, según la etiqueta del producto; cebe la bomba \
             dosificadora después del cambio. Sin él la vajilla no queda limpia, y solo se desinfecta lo que está limpio: \
             vuelva a lavar lo que salió sucio.",
        )],
        Supply::RinseAdditive => &[(
            "Rinse additive: fill it up by the product's label, and prime its pump after a change. Without it ware dries \
             slowly: let it dry in the air, never wipe it with a cloth.",
            "Abrillantador: rellénelo según la etiqueta del producto y cebe su bomba después del cambio. Sin él la vajilla \
             tarda en secarse: déjela secar al aire, nunca la seque con un paño.",
        )],
        Supply::TestStrips => &[(
            "Test strips: get those of this sanitizer before the next test is due; what is not tested is not proven.",
            "Tiras reactivas: consiga las de este desinfectante antes de la próxima prueba; lo que no se mide no queda comprobado.",
        )],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: the advice is of what is short and of nothing that the machine has not; what has no name gets all of it.
    #[test]
    fn advice_fits_what_is_short_and_the_machine() {
        use Supply::{Detergent, RinseAdditive, Sanitizer, TestStrips};
        let (hot, chlorine) = (Some(Sanitizing::HotWater), Some(Sanitizing::Chlorine));
        for (sanitizing, supplies, expected) in [
            (hot, &[Detergent][..], vec!["Detergent: "]),
            (hot, &[RinseAdditive], vec!["Rinse additive: "]),
            (hot, &[], vec!["Fill up or change"]),
            (hot, &[Sanitizer], vec!["Fill up or change"]),
            (chlorine, &[Detergent], vec!["Detergent: "]),
            (chlorine, &[TestStrips], vec!["Test strips: "]),
            (chlorine, &[Detergent, Sanitizer], vec!["Sanitizer: ", "Change the drum", "Detergent: "]),
            (chlorine, &[], vec!["Fill up or change", "If it is the sanitizer"]),
            (None, &[], vec!["Fill up or change", "If it is the sanitizer"]),
            (None, &[RinseAdditive], vec!["Rinse additive: "]),
        ] {
            let steps = Lacking { supplies, sanitizing, alerted: false }.steps();
            assert_eq!(steps.len(), expected.len(), "{steps:?}");
            let fits = steps.iter().zip(&expected).all(|((english, _), start)| english.starts_with(start));
            assert!(fits, "{sanitizing:?} {supplies:?}: {steps:?}");
            let says = steps
                .iter()
                .any(|(english, spanish)| english.contains("anitizer") || spanish.contains("esinfectante"));
            assert!(sanitizing != hot || !says, "{steps:?}");
        }
    }
}
