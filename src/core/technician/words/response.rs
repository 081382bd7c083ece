//! Every sentence of a response test in English and Spanish, but for the refusals.

use std::time::Duration;

use super::{degrees, width};
use crate::core::reader::{Language, Scale, said as say};
use crate::core::response::{ROOM_MAX_C, Response, STEP_MIN_C, Stage};
use crate::core::units::Celsius;

/// Temperature of the water of a response test, °C (own choice: that of a final rinse, and a step of some sixty
/// degrees from a room).
const HOT_C: f64 = 80.0;

/// What must be known before a response test.
#[must_use]
pub const fn response_cautions(language: Language, scale: Scale) -> [&'static str; 2] {
    let scald = match scale {
        Scale::Celsius => say(
            language,
            "SCALD: the water is near 80 °C and burns at once. Gloves, a pot that cannot tip.",
            "QUEMADURAS: el agua está a unos 80 °C y quema al instante. Guantes, una olla que no vuelque.",
        ),
        Scale::Fahrenheit => say(
            language,
            "SCALD: the water is near 176 °F and burns at once. Gloves, a pot that cannot tip.",
            "QUEMADURAS: el agua está a unos 176 °F y quema al instante. Guantes, una olla que no vuelque.",
        ),
    };
    [
        scald,
        say(
            language,
            "Lock the machine out before the probe is taken from it; fittings under pressure are a licensed \
             plumber's.",
            "Bloquee la máquina antes de sacar la sonda; las conexiones bajo presión son de un plomero \
             autorizado.",
        ),
    ]
}

/// What a response test needs, before it begins.
#[must_use]
pub fn have_ready(language: Language, scale: Scale) -> String {
    let (least, hot) = (scale.difference(STEP_MIN_C), scale.temperature(HOT_C));
    let symbol = scale.symbol();
    match language {
        Language::English => format!(
            "Have ready: a thermos or an insulated pot with at least a litre of hot water near {hot:.0} {symbol} (from \
             a kettle or the booster, not from a running machine), a dry cloth, a glove, and a place where the water \
             stands beside the probe. From the air of the room to the water it must be a step of at least {least:.0} \
             {symbol}; hotter is better. It takes about two minutes."
        ),
        Language::Spanish => format!(
            "Tenga a mano: un termo o una olla aislada con al menos un litro de agua caliente a unos {hot:.0} {symbol} \
             (de un hervidor o del calentador, no de una máquina en marcha), un paño seco, un guante y un lugar donde \
             el agua quede junto a la sonda. Del aire de la sala al agua hace falta un escalón de al menos {least:.0} \
             {symbol}; mejor más. Dura unos dos minutos."
        ),
    }
}

/// That a person is waited for before a response test.
#[must_use]
pub const fn press_enter_to_begin(language: Language) -> &'static str {
    say(language, "Press Enter when everything is there.", "Pulse Intro cuando todo esté a mano.")
}

/// How a response test begins.
#[must_use]
pub const fn hold_in_air(language: Language) -> &'static str {
    say(
        language,
        "Take the probe out of the water, dry it, and hold it still in the air of the room.",
        "Saque la sonda del agua, séquela y manténgala quieta en el aire de la sala.",
    )
}

/// Where a test stands; `corrected` gives a temperature as it is shown everywhere, after the correction in force.
#[must_use]
pub fn stage(
    language: Language,
    scale: Scale,
    stage: &Stage,
    corrected: impl Fn(Celsius) -> Celsius,
) -> String {
    match stage {
        Stage::Settling => say(
            language,
            "  not level yet: hold it still and wait",
            "  aún no está estable: manténgala quieta y espere",
        )
        .to_owned(),
        Stage::Level { celsius } => {
            let level_c = corrected(*celsius).0;
            let level = degrees(scale, level_c);
            if let Some(asked) = no_room_air(language, scale, level_c) {
                return format!("  {asked}");
            }
            let (needed, symbol) = (scale.temperature(level_c + STEP_MIN_C).ceil(), scale.symbol());
            match language {
                Language::English => format!(
                    "  level at {level}: plunge it into the hot water, of {needed:.0} {symbol} at least, at once, and stir"
                ),
                Language::Spanish => format!(
                    "  estable a {level}: métala de golpe en el agua caliente, a {needed:.0} {symbol} como mínimo, y remueva"
                ),
            }
        }
        Stage::Answering { .. } => say(
            language,
            "  the step has come: leave the probe in the water",
            "  llegó el escalón: deje la sonda en el agua",
        )
        .to_owned(),
        Stage::Over => say(language, "  the answer is over", "  la respuesta terminó").to_owned(),
    }
}

/// Asks whether a probe that shows this is in the air of a room, and says which water the step from there needs; nothing
/// where it may be.
#[must_use]
pub fn no_room_air(language: Language, scale: Scale, shown_c: f64) -> Option<String> {
    if shown_c <= ROOM_MAX_C {
        return None;
    }
    let (shown, symbol) = (degrees(scale, shown_c), scale.symbol());
    let (room, step) = (scale.temperature(ROOM_MAX_C), scale.difference(STEP_MIN_C));
    let needed = scale.temperature(shown_c + STEP_MIN_C).ceil();
    Some(match language {
        Language::English => format!(
            "⚠ {shown} is no air of a room ({room:.0} {symbol} at most): is the tip still in the machine, or wet and warm? \
             Let it come to rest in the air first. From there the water would have to be at {needed:.0} {symbol}: a step of \
             {step:.0} {symbol} is needed."
        ),
        Language::Spanish => format!(
            "⚠ {shown} no es el aire de una sala ({room:.0} {symbol} como mucho): ¿está la punta aún en la máquina, o mojada \
             y caliente? Deje que repose antes en el aire. Desde ahí el agua tendría que estar a {needed:.0} {symbol}: hace \
             falta un escalón de {step:.0} {symbol}."
        ),
    })
}

/// Asks about an answer that did not begin in the air of a room: what was left at the tip may be part of it.
#[must_use]
pub fn began_elsewhere(language: Language, scale: Scale, from_c: f64) -> Option<String> {
    (from_c > ROOM_MAX_C).then(|| {
        let from = degrees(scale, from_c);
        match language {
            Language::English => {
                format!(
                    "⚠ It began at {from}, which is no air of a room: was it dry, and out of the machine?"
                )
            }
            Language::Spanish => {
                format!(
                    "⚠ Empezó a {from}, que no es el aire de una sala: ¿estaba seca y fuera de la máquina?"
                )
            }
        }
    })
}

/// What was found; `corrected` as at [`stage`].
#[must_use]
pub fn answered(
    language: Language,
    scale: Scale,
    found: &Response,
    corrected: impl Fn(Celsius) -> Celsius,
) -> String {
    let (from, to) = (degrees(scale, corrected(found.from).0), degrees(scale, corrected(found.to).0));
    let (tau_s, expanded_s, readings) = (found.tau_s, found.expanded_s, found.readings);
    match language {
        Language::English => format!(
            "Time constant {tau_s:.2} ±{expanded_s:.2} s, from {from} to {to}, {readings} readings; they keep \
             to the curve within {}",
            width(scale, found.residual_c)
        ),
        Language::Spanish => format!(
            "Constante de tiempo {tau_s:.2} ±{expanded_s:.2} s, de {from} a {to}, {readings} lecturas; siguen \
             la curva con {}",
            width(scale, found.residual_c)
        ),
    }
}

/// Whether a probe is fast enough for its rinse.
#[must_use]
pub fn can_judge(language: Language, fast_enough: bool, tau: Duration, rinse: Duration) -> String {
    let answers_s = crate::core::cycle::window::answers_after_s(tau);
    let rinse_s = rinse.as_secs_f64();
    match (language, fast_enough) {
        (Language::English, true) => format!(
            "✓ It has answered after {answers_s:.1} s, within half of the {rinse_s:.0} s rinse: it can show this machine's rinse."
        ),
        (Language::English, false) => format!(
            "✗ It has answered only after {answers_s:.1} s, later than half of the {rinse_s:.0} s rinse: it is too slow for \
             this machine. Take a thinner probe, or one without a well."
        ),
        (Language::Spanish, true) => format!(
            "✓ Ha respondido a los {answers_s:.1} s, dentro de la mitad del enjuague de {rinse_s:.0} s: puede mostrar el \
             enjuague de esta máquina."
        ),
        (Language::Spanish, false) => format!(
            "✗ Solo ha respondido a los {answers_s:.1} s, después de la mitad del enjuague de {rinse_s:.0} s: es demasiado \
             lenta para esta máquina. Use una sonda más fina o sin vaina."
        ),
    }
}

/// That a time constant is in force.
#[must_use]
pub fn tau_in_force(language: Language, record: u64, tau_s: f64) -> String {
    match language {
        Language::English => {
            format!(
                "The time constant of {tau_s:.2} s is on record [record {record}] and in force from now on."
            )
        }
        Language::Spanish => {
            format!(
                "La constante de tiempo de {tau_s:.2} s está registrada [asiento {record}] y en vigor desde ahora."
            )
        }
    }
}
