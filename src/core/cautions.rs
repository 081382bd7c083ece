//! What is said to whoever works at the machine, before and while it is done.
//!
//! Scald times and isolation are those of burn-prevention tables and of OSHA 29 CFR 1910.147; the
//! rest is common practice. Local code always comes first.

use super::reader::Language;

/// Where readings are looked at.
pub const SCALD: &str = "Hot water and steam scald at once. Never reach into a running machine, open its \
                         door in mid-rinse, or reach into a tank to get at a probe.";

/// The same where there is room for a line or two.
pub const SCALD_SHORT: &str = "Hot water scalds at once. Never reach into a running machine.";

/// Before a cover comes off.
pub const ISOLATION: &str = "Before a cover comes off: shut down, isolate, lock out, and verify. A booster \
                             often has a second supply. Mains is a licensed electrician's work.";

/// Before a line is opened.
pub const PLUMBING: &str = "Before a fitting is loosened: let the line cool, isolate and drain it. Wells and \
                            tees in a pressure line are a licensed plumber's work; local code comes first.";

/// What the readings are not.
pub const AID: &str = "An aid: the machine's gauges, the test kit and the surface indicator stay needed.";

/// [`SCALD`] in Spanish.
pub const SCALD_ES: &str = "El agua caliente y el vapor queman al instante. No meta nunca la mano en una máquina en \
                            marcha, no abra su puerta en pleno enjuague ni meta la mano en un tanque para alcanzar \
                            una sonda.";

/// [`SCALD_SHORT`] in Spanish.
pub const SCALD_SHORT_ES: &str =
    "El agua caliente quema al instante. No meta nunca la mano en una máquina en marcha.";

/// [`ISOLATION`] in Spanish.
pub const ISOLATION_ES: &str = "Antes de quitar una tapa: pare, aísle, bloquee y verifique. El calentador de refuerzo \
                                suele tener una segunda alimentación. La red eléctrica es trabajo de un electricista \
                                autorizado.";

/// [`PLUMBING`] in Spanish.
pub const PLUMBING_ES: &str = "Antes de aflojar una conexión: deje enfriar la línea, aíslela y vacíela. Los termopozos \
                               y las tes de una línea a presión son trabajo de un plomero autorizado; la norma local \
                               va primero.";

/// [`AID`] in Spanish.
pub const AID_ES: &str = "Una ayuda: los indicadores de la máquina, el kit de prueba y el indicador de superficie \
                          siguen haciendo falta.";

/// What must be known before anything at a machine is reached for.
#[must_use]
pub const fn before_work(language: Language) -> [&'static str; 3] {
    match language {
        Language::English => [SCALD, ISOLATION, PLUMBING],
        Language::Spanish => [SCALD_ES, ISOLATION_ES, PLUMBING_ES],
    }
}
