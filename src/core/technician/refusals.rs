//! Why a calibration or a response test is refused, in English and Spanish and on the reader's scale.

use super::words::{amount, degrees, signed};
use crate::core::calibration::{CORRECTION_MAX_C, CalibrationError, GAIN_RANGE, POINTS_APART_MIN_C};
use crate::core::reader::{Language, Scale, said};
use crate::core::reading::Fault;
use crate::core::response::{NoStep, RESIDUAL_MAX, STEP_MIN_C};
use crate::core::steady::{DRIFT_MAX_C_PER_MIN, SPREAD_MAX_C, Unsteady};
use crate::core::units::Celsius;

/// Why a probe is not steady.
#[must_use]
pub fn unsteady(language: Language, scale: Scale, reason: &Unsteady) -> String {
    let (drift_max, spread_max) = (amount(scale, DRIFT_MAX_C_PER_MIN), amount(scale, SPREAD_MAX_C));
    match (reason, language) {
        (Unsteady::Silent, Language::English) => "no reading has come".to_owned(),
        (Unsteady::Silent, Language::Spanish) => "no ha llegado ninguna lectura".to_owned(),
        (Unsteady::Faulty(found), _) => fault(language, *found),
        (Unsteady::TooFew { readings, lasted_s, wanted_s }, Language::English) => {
            format!("{readings} readings over {lasted_s:.0} s have come; {wanted_s:.0} s are needed")
        }
        (Unsteady::TooFew { readings, lasted_s, wanted_s }, Language::Spanish) => {
            format!("han llegado {readings} lecturas en {lasted_s:.0} s; hacen falta {wanted_s:.0} s")
        }
        (Unsteady::Drifting { c_per_min }, Language::English) => {
            format!("it drifts by {} a minute; at most {drift_max} are steady", signed(scale, *c_per_min))
        }
        (Unsteady::Drifting { c_per_min }, Language::Spanish) => {
            format!("deriva {} por minuto; se admite {drift_max}", signed(scale, *c_per_min))
        }
        (Unsteady::Noisy { spread_c }, Language::English) => {
            format!("it swings by {}; at most {spread_max} are steady", amount(scale, *spread_c))
        }
        (Unsteady::Noisy { spread_c }, Language::Spanish) => {
            format!("oscila {}; se admite {spread_max}", amount(scale, *spread_c))
        }
    }
}

/// A fault that the probe reports.
#[must_use]
pub fn fault(language: Language, fault: Fault) -> String {
    match language {
        Language::English => format!("the probe reports a fault: {}", fault.as_str()),
        Language::Spanish => {
            let word = match fault {
                Fault::OpenCircuit => "circuito abierto",
                Fault::Short => "cortocircuito",
                Fault::Reversed => "cables invertidos",
                Fault::OutOfRange => "fuera de rango",
                Fault::Stuck => "valor inmóvil",
                Fault::Silent => "no envía nada",
                Fault::NoColdJunction => "sin unión fría",
                Fault::Reported => "fallo comunicado por la fuente",
            };
            format!("la sonda comunica un fallo: {word}")
        }
    }
}

/// It is steady, and somewhere else.
#[must_use]
pub fn too_far(language: Language, scale: Scale, shown: Celsius, should: Celsius) -> String {
    let (shown, should) = (degrees(scale, shown.0), degrees(scale, should.0));
    match language {
        Language::English => {
            format!("it is steady at {shown}, which is too far from {should} for any sound probe")
        }
        Language::Spanish => {
            format!("está estable a {shown}, demasiado lejos de {should} para una sonda en buen estado")
        }
    }
}

/// The first line of a calibration whose time was over.
#[must_use]
pub fn not_steady_in_time(language: Language, probe: &str, seconds: u64, reason: &str) -> String {
    match language {
        Language::English => format!("{probe} was not steady within {seconds} s: {reason}"),
        Language::Spanish => format!("{probe} no estuvo estable en {seconds} s: {reason}"),
    }
}

/// Why points make no calibration.
#[must_use]
pub fn no_calibration(language: Language, scale: Scale, error: &CalibrationError) -> String {
    match (error, language) {
        (CalibrationError::Correction { correction_c }, Language::English) => format!(
            "a correction of {} is more than {}; look for a fault before calibrating",
            signed(scale, *correction_c),
            amount(scale, CORRECTION_MAX_C)
        ),
        (CalibrationError::Correction { correction_c }, Language::Spanish) => format!(
            "una corrección de {} es más de {}; busque un fallo antes de calibrar",
            signed(scale, *correction_c),
            amount(scale, CORRECTION_MAX_C)
        ),
        (CalibrationError::Disagree { left_c, expanded_c }, Language::English) => format!(
            "the points contradict one another: no correction brings this one nearer than {} to its reference, \
             which is sure to {}",
            amount(scale, *left_c),
            amount(scale, *expanded_c)
        ),
        (CalibrationError::Disagree { left_c, expanded_c }, Language::Spanish) => format!(
            "los puntos se contradicen: ninguna corrección acerca este a menos de {} de su referencia, que se \
             conoce con {}",
            amount(scale, *left_c),
            amount(scale, *expanded_c)
        ),
        (CalibrationError::PointsTooNear { apart_c }, Language::English) => format!(
            "the baths are only {} apart, so they count as one and do not show the gain of the probe; {} from the coldest to \
             the hottest are needed",
            amount(scale, *apart_c),
            amount(scale, POINTS_APART_MIN_C)
        ),
        (CalibrationError::PointsTooNear { apart_c }, Language::Spanish) => format!(
            "entre los baños hay solo {}, de modo que cuentan como uno y no muestran la ganancia de la sonda; hacen falta {} \
             del más frío al más caliente",
            amount(scale, *apart_c),
            amount(scale, POINTS_APART_MIN_C)
        ),
        (CalibrationError::Gain { gain }, Language::Spanish) => format!(
            "una ganancia de {gain:.4} está fuera de {} a {}; busque un fallo o un tipo equivocado antes de calibrar",
            GAIN_RANGE.start(),
            GAIN_RANGE.end()
        ),
        (CalibrationError::NotANumber, Language::Spanish) => {
            "un valor de la calibración no es un número".to_owned()
        }
        (CalibrationError::NoPoint, Language::Spanish) => {
            "una calibración necesita al menos un punto".to_owned()
        }
        (
            CalibrationError::Gain { .. } | CalibrationError::NotANumber | CalibrationError::NoPoint,
            Language::English,
        ) => error.to_string(),
    }
}

/// What to do about points that make no calibration.
#[must_use]
pub const fn calibration_advice(language: Language, error: &CalibrationError) -> &'static str {
    match error {
        CalibrationError::PointsTooNear { .. } => said(
            language,
            "compare it in one more bath that is far from these, such as ice or a rolling boil, or keep to one bath alone",
            "compárela en un baño más, lejos de estos, como hielo o agua hirviendo, o quédese con un solo baño",
        ),
        CalibrationError::NotANumber
        | CalibrationError::NoPoint
        | CalibrationError::Gain { .. }
        | CalibrationError::Correction { .. }
        | CalibrationError::Disagree { .. } => said(
            language,
            "look for the fault: type of the thermocouple, leads, cold reference, a bath not stirred",
            "busque el fallo: tipo de termopar, cables, unión fría, un baño sin remover",
        ),
    }
}

/// What to do about a probe that is not steady.
#[must_use]
pub const fn unsteady_advice(language: Language) -> &'static str {
    match language {
        Language::English => "put it deeper, stir, wait longer, or look for a fault of the probe",
        Language::Spanish => "métala más, remueva, espere más o busque un fallo de la sonda",
    }
}

/// Why there is no time constant.
#[must_use]
pub fn no_step(language: Language, scale: Scale, error: &NoStep) -> String {
    match (error, language) {
        (NoStep::None, Language::English) => "no step has come: the probe stayed where it was".to_owned(),
        (NoStep::None, Language::Spanish) => {
            "no llegó ningún escalón: la sonda se quedó donde estaba".to_owned()
        }
        (NoStep::TooSmall { step_c }, _) => {
            let (step, least) = (amount(scale, *step_c), amount(scale, STEP_MIN_C));
            match language {
                Language::English => format!("the step was {step}; at least {least} are needed"),
                Language::Spanish => format!("el escalón fue de {step}; hacen falta al menos {least}"),
            }
        }
        (NoStep::NotEnded { lasted_s }, Language::Spanish) => format!(
            "la respuesta no había terminado a los {lasted_s:.0} s: la sonda es lenta, o el agua siguió cambiando"
        ),
        (NoStep::Hole { gap_s, apart_s }, Language::Spanish) => format!(
            "faltan lecturas: no llegó ninguna durante {gap_s:.1} s mientras respondía, y lo habitual es una cada \
             {apart_s:.2} s"
        ),
        (NoStep::NotFirstOrder { share }, Language::Spanish) => format!(
            "la respuesta no es de primer orden: la curva se aparta un {:.1} % del escalón, se admite un {:.1} %",
            share * 100.0,
            RESIDUAL_MAX * 100.0
        ),
        (NoStep::TooSlow { apart_s, tau_s, wanted_s }, Language::Spanish) => format!(
            "se lee cada {apart_s:.2} s y responde en unos {tau_s:.2} s: debe leerse al menos cada {wanted_s:.2} s"
        ),
        (
            NoStep::NotEnded { .. }
            | NoStep::Hole { .. }
            | NoStep::NotFirstOrder { .. }
            | NoStep::TooSlow { .. },
            Language::English,
        ) => error.to_string(),
    }
}

/// What to do where there is no time constant.
#[must_use]
pub const fn step_advice(language: Language, error: &NoStep) -> &'static str {
    match (error, language) {
        (NoStep::None, Language::English) => {
            "hold the probe still in the air until it is level, then plunge it; is it the right probe?"
        }
        (NoStep::None, Language::Spanish) => {
            "manténgala quieta en el aire hasta que esté estable y métala después; ¿es la sonda correcta?"
        }
        (NoStep::TooSmall { .. }, Language::English) => "take hotter water",
        (NoStep::TooSmall { .. }, Language::Spanish) => "use agua más caliente",
        (NoStep::NotEnded { .. }, Language::English) => {
            "leave the probe in the water until it tells that the answer is over"
        }
        (NoStep::NotEnded { .. }, Language::Spanish) => {
            "deje la sonda en el agua hasta que se diga que la respuesta terminó"
        }
        (NoStep::Hole { .. }, Language::English) => {
            "look at the cable or the radio link with rinseward watch, then begin again"
        }
        (NoStep::Hole { .. }, Language::Spanish) => {
            "mire el cable o el enlace con rinseward watch y empiece de nuevo"
        }
        (NoStep::NotFirstOrder { .. }, Language::English) => {
            "plunge it at once and stir; a probe in a heavy well has no one time constant: leave tau out for it"
        }
        (NoStep::NotFirstOrder { .. }, Language::Spanish) => {
            "métala de golpe y remueva; una sonda en una vaina pesada no tiene una sola constante: deje tau sin poner"
        }
        (NoStep::TooSlow { .. }, Language::English) => {
            "have the node send more often, or leave tau out: half the rinse then counts"
        }
        (NoStep::TooSlow { .. }, Language::Spanish) => {
            "haga que el nodo envíe más a menudo, o deje tau sin poner: cuenta entonces medio enjuague"
        }
    }
}

/// Readings were lost while the probe answered.
#[must_use]
pub fn lost(language: Language, events: u64) -> String {
    match language {
        Language::English => {
            format!("{events} readings came too fast to be looked at: the answer has a hole")
        }
        Language::Spanish => {
            format!("{events} lecturas llegaron demasiado deprisa para mirarlas: falta parte de la respuesta")
        }
    }
}

/// What to do about that.
#[must_use]
pub const fn lost_advice(language: Language) -> &'static str {
    match language {
        Language::English => "begin again, on a computer that has less to do",
        Language::Spanish => "empiece de nuevo, en una computadora menos ocupada",
    }
}

/// That nothing has changed.
#[must_use]
pub const fn nothing_recorded(language: Language) -> &'static str {
    match language {
        Language::English => "nothing was recorded",
        Language::Spanish => "no se registró nada",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: baths that count as one say what is needed and what to do, in either language.
    #[test]
    fn baths_too_near_say_what_to_do() {
        let error = CalibrationError::PointsTooNear { apart_c: 0.2 };
        for (language, why, advice) in [
            (Language::English, "are only 0.20 °C apart, so they count as one", "one more bath that is far"),
            (Language::Spanish, "hay solo 0.20 °C, de modo que cuentan como uno", "un baño más, lejos"),
        ] {
            let said = no_calibration(language, Scale::Celsius, &error);
            assert!(said.contains(why) && said.contains("30.00 °C"), "{said}");
            assert!(calibration_advice(language, &error).contains(advice));
            let other = calibration_advice(language, &CalibrationError::NoPoint);
            assert!(!other.contains(advice), "{other}");
        }
    }

    // `GAIN_RANGE`; own promise: numbers have a decimal point in either language.
    #[test]
    fn a_wrong_gain_names_what_is_possible() {
        let error = CalibrationError::Gain { gain: 1.05 };
        for (language, range) in [(Language::English, "0.97 to 1.03"), (Language::Spanish, "0.97 a 1.03")] {
            let said = no_calibration(language, Scale::Celsius, &error);
            assert!(said.contains(range) && said.contains("1.0500"), "{said}");
        }
    }
}
