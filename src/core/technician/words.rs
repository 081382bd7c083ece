//! Every sentence of a calibration in English and Spanish, but for the refusals.

mod proving;
mod response;

use std::time::Duration;

use super::bath::{Bath, NotYet};
use super::refusals;
use crate::core::calibration::Calibration;
use crate::core::reader::said as say;
use crate::core::reader::{Language, Scale};
use crate::core::record::{Against, CalibrationDone, CalibrationPoint, Correction};
use crate::core::steady::{Steady, Unsteady};
use crate::core::units::Celsius;

pub use self::proving::still_moves;
pub use self::response::{
    answered, began_elsewhere, can_judge, have_ready, hold_in_air, no_room_air, press_enter_to_begin,
    response_cautions, stage, tau_in_force,
};

/// A temperature with two decimals.
#[must_use]
pub fn degrees(scale: Scale, celsius: f64) -> String {
    format!("{:.2} {}", scale.temperature(celsius), scale.symbol())
}

/// A difference with its sign.
#[must_use]
pub fn signed(scale: Scale, kelvin: f64) -> String {
    let shown = (scale.difference(kelvin) * 100.0).round() / 100.0;
    // Nothing has a minus.
    format!("{:+.2} {}", shown + 0.0, scale.symbol())
}

/// A difference without one.
#[must_use]
pub fn amount(scale: Scale, kelvin: f64) -> String {
    format!("{:.2} {}", scale.difference(kelvin).abs(), scale.symbol())
}

/// An uncertainty.
#[must_use]
pub fn width(scale: Scale, kelvin: f64) -> String {
    format!("±{:.2} {}", scale.difference(kelvin).abs(), scale.symbol())
}

/// A correction of the record in words, for values in °C.
#[must_use]
pub fn gain_and_offset(gain: f64, offset_c: f64) -> String {
    correction(Correction { gain, offset_c }, Scale::Celsius)
}

/// A correction, for values on the scale of the reader.
#[must_use]
pub fn correction(correction: Correction, scale: Scale) -> String {
    let Correction { gain, offset_c } = correction;
    if gain.to_bits() == 1f64.to_bits() {
        return signed(scale, offset_c);
    }
    format!("× {gain:.4} {:+.2} {}", scale.offset(gain, offset_c), scale.symbol())
}

/// What must be known before a calibration.
#[must_use]
pub const fn calibration_cautions(language: Language) -> [&'static str; 2] {
    [
        say(
            language,
            "Lock the machine out before you reach into it: switched off, water shut, tagged with your name.",
            "Bloquee la máquina antes de meter las manos: apagada, agua cerrada, etiqueta con su nombre.",
        ),
        say(
            language,
            "A fitting in a pressure line or a thermowell is opened by a licensed plumber, mains by a licensed \
             electrician; local code comes first.",
            "Las conexiones bajo presión y las vainas las abre un plomero autorizado, la red eléctrica un \
             electricista autorizado; primero la norma local.",
        ),
    ]
}

/// That the machines are those of a demo, and what can be done there.
#[must_use]
pub const fn simulated(language: Language) -> &'static str {
    match language {
        Language::English => {
            "SIMULATED: these machines do not exist, and nobody can take their probes into ice, a pot or a hand. What \
             works here is «rinseward calibrate … --against»: say that the thermometer shows about what the probe \
             shows. Simulated probes that you hold yourself: README.md, «Practise first»."
        }
        Language::Spanish => {
            "SIMULADO: estas máquinas no existen y nadie puede llevar sus sondas al hielo, a una olla o a la mano. Aquí \
             funciona «rinseward calibrate … --against»: diga que el termómetro marca más o menos lo que marca la \
             sonda. Sondas simuladas que usted mueve: README.md, «Practise first»."
        }
    }
}

/// That the machine of a dialog counts as worked on.
#[must_use]
pub fn at_work(language: Language, machine: &str) -> String {
    match language {
        Language::English => format!(
            "From now on {machine} counts as worked on: its racks are marked unproven, and messages about it are held, \
             until shortly after the end of this."
        ),
        Language::Spanish => format!(
            "Desde ahora consta que se trabaja en {machine}: sus canastas quedan sin comprobar y sus avisos esperan, \
             hasta poco después del final de esto."
        ),
    }
}

/// Until when it counts as worked on after the end of the dialog.
#[must_use]
pub fn at_work_until(language: Language, machine: &str, until: &str) -> String {
    match language {
        Language::English => {
            format!("Racks of {machine} are marked unproven until {until}; later ones are judged as ever.")
        }
        Language::Spanish => {
            format!(
                "Las canastas de {machine} quedan sin comprobar hasta las {until}; después se evalúan como siempre."
            )
        }
    }
}

/// What must be known before one bath.
#[must_use]
pub fn point_cautions(language: Language, against: &Against) -> Vec<&'static str> {
    match against {
        Against::Ice => vec![say(
            language,
            "Crushed ice of clean water, wetted to slush and drained; stir. Put the probe 50 mm deep, touching \
             neither wall nor bottom.",
            "Hielo picado de agua limpia, mojado hasta papilla y escurrido; remueva. Sonda a 50 mm de \
             profundidad, sin tocar pared ni fondo.",
        )],
        Against::Boiling { .. } | Against::BoilingAtAltitude { .. } => vec![
            say(
                language,
                "SCALD: boiling water and steam burn at once. Gloves, face protection, a pot that cannot tip.",
                "QUEMADURAS: el agua hirviendo y el vapor queman al instante. Guantes, protección de la cara, \
                 una olla que no vuelque.",
            ),
            say(
                language,
                "Clean water in a rolling boil, the probe off the bottom. The pressure is that of this place, \
                 not the one that a forecast gives for sea level.",
                "Agua limpia en ebullición fuerte, sonda lejos del fondo. La presión es la de este lugar, no la \
                 que el pronóstico da para el nivel del mar.",
            ),
        ],
        Against::Thermometer { .. } => vec![
            say(
                language,
                "SCALD: water of a final rinse burns within a second. Gloves; keep face and arms out of it.",
                "QUEMADURAS: el agua del enjuague final quema en un segundo. Guantes; aparte la cara y los brazos.",
            ),
            say(
                language,
                "Both tips side by side in water that is stirred and keeps its temperature.",
                "Las dos puntas juntas en agua removida y de temperatura constante.",
            ),
        ],
    }
}

/// Which bath is next.
#[must_use]
pub fn point(language: Language, scale: Scale, (number, of): (usize, usize), bath: &Bath) -> String {
    let Bath { against, point } = bath;
    let (at, sure) = (degrees(scale, point.celsius.0), width(scale, point.expanded_c));
    let reference = reference(language, against);
    match language {
        Language::English => format!("Point {number} of {of}: {reference}, {at} {sure}"),
        Language::Spanish => format!("Punto {number} de {of}: {reference}, {at} {sure}"),
    }
}

/// That a person is waited for.
#[must_use]
pub const fn press_enter(language: Language) -> &'static str {
    say(language, "Press Enter when the probe is in it.", "Pulse Intro cuando la sonda esté dentro.")
}

/// That it is watched, and how long that takes; `seconds` are those over which it must be steady.
#[must_use]
pub fn watching(language: Language, seconds: f64, tau: Option<Duration>) -> String {
    match (language, tau) {
        (Language::English, Some(tau)) => format!(
            "  watching until it is steady: wait at least {seconds:.0} s after immersion (time constant on file: \
             {:.2} s)",
            tau.as_secs_f64()
        ),
        (Language::English, None) => format!(
            "  watching until it is steady: wait at least {seconds:.0} s after immersion, no time constant on file yet \
             (rinseward respond measures it)"
        ),
        (Language::Spanish, Some(tau)) => format!(
            "  observando hasta que esté estable: espere al menos {seconds:.0} s tras sumergirla (constante de tiempo \
             registrada: {:.2} s)",
            tau.as_secs_f64()
        ),
        (Language::Spanish, None) => format!(
            "  observando hasta que esté estable: espere al menos {seconds:.0} s tras sumergirla, aún no consta su \
             constante de tiempo (rinseward respond la mide)"
        ),
    }
}

/// That readings were lost on the way, so that a step begins anew.
#[must_use]
pub fn lost(language: Language, events: u64) -> String {
    match language {
        Language::English => format!("  {events} readings came too fast to be looked at: begun anew"),
        Language::Spanish => {
            format!("  {events} lecturas llegaron demasiado deprisa para mirarlas: se empieza de nuevo")
        }
    }
}

/// How the wait for steadiness in a bath stands: what the probe shows, and why its point was not taken so far.
#[must_use]
pub fn progress(
    language: Language,
    scale: Scale,
    bath: &Bath,
    last: Option<Celsius>,
    why: &NotYet,
    wanted_s: f64,
) -> String {
    let Some(last) = last else {
        let silent = say(language, "no reading so far", "sin lecturas por ahora");
        return match why {
            NotYet::Unsteady(Unsteady::Faulty(fault)) => {
                format!("  {silent}: {}", refusals::fault(language, *fault))
            }
            NotYet::Unsteady(
                Unsteady::Silent
                | Unsteady::TooFew { .. }
                | Unsteady::Drifting { .. }
                | Unsteady::Noisy { .. },
            )
            | NotYet::TooFar(_) => format!("  {silent}"),
        };
    };
    let shown = degrees(scale, last.0);
    let not_near = || {
        let should = degrees(scale, bath.point.celsius.0);
        match language {
            Language::English => format!("  {shown}, not near {should} yet"),
            Language::Spanish => format!("  {shown}, aún lejos de {should}"),
        }
    };
    let unsteady = match why {
        NotYet::Unsteady(unsteady) if bath.is_near(last) => unsteady,
        NotYet::Unsteady(_) | NotYet::TooFar(_) => return not_near(),
    };
    let how = match unsteady {
        Unsteady::TooFew { lasted_s, wanted_s, .. } => match language {
            Language::English => format!("watched for {lasted_s:.0} of {wanted_s:.0} s"),
            Language::Spanish => format!("observada {lasted_s:.0} de {wanted_s:.0} s"),
        },
        Unsteady::Drifting { c_per_min } => match language {
            Language::English => format!(
                "drifts by {} a minute over the last {wanted_s:.0} s; once level, up to {wanted_s:.0} s more",
                signed(scale, *c_per_min)
            ),
            Language::Spanish => format!(
                "deriva {} por minuto en los últimos {wanted_s:.0} s; ya sin cambios, hasta {wanted_s:.0} s más",
                signed(scale, *c_per_min)
            ),
        },
        Unsteady::Noisy { spread_c } => match language {
            Language::English => format!(
                "swings by {} over the last {wanted_s:.0} s; once level, up to {wanted_s:.0} s more",
                width(scale, *spread_c)
            ),
            Language::Spanish => format!(
                "oscila {} en los últimos {wanted_s:.0} s; ya sin cambios, hasta {wanted_s:.0} s más",
                width(scale, *spread_c)
            ),
        },
        Unsteady::Silent | Unsteady::Faulty(_) => String::new(),
    };
    format!("  {shown}: {how}")
}

/// The stretch that is taken.
#[must_use]
pub fn steady(language: Language, scale: Scale, steady: &Steady) -> String {
    let (mean, spread) = (degrees(scale, steady.mean.0), width(scale, steady.spread_c));
    let (readings, lasted_s) = (steady.readings, steady.lasted_s);
    match language {
        Language::English => {
            format!("  steady: {mean}, spread {spread}, {readings} readings over {lasted_s:.0} s")
        }
        Language::Spanish => {
            format!("  estable: {mean}, dispersión {spread}, {readings} lecturas en {lasted_s:.0} s")
        }
    }
}

/// What the results are.
#[must_use]
pub const fn result_heading(language: Language) -> &'static str {
    say(
        language,
        "Difference from the reference, as found and as left:",
        "Diferencia con la referencia, como se encontró y como queda:",
    )
}

/// What a probe is compared with; a thermometer keeps the name that somebody gave it.
#[must_use]
pub fn reference(language: Language, against: &Against) -> String {
    let boiling = say(language, "boiling water at", "agua hirviendo a");
    match against {
        Against::Ice => say(language, "ice and water", "hielo y agua").to_owned(),
        Against::Boiling { station_hpa, barometer_hpa } => {
            format!("{boiling} {station_hpa:.1} ±{barometer_hpa:.1} hPa")
        }
        Against::BoilingAtAltitude { altitude_m } => {
            let weather = say(language, "weather not known", "sin conocer el tiempo");
            format!("{boiling} {altitude_m:.0} m, {weather}")
        }
        Against::Thermometer { thermometer } => thermometer.clone(),
    }
}

/// One point, as found and as left.
#[must_use]
pub fn result(language: Language, scale: Scale, point: &CalibrationPoint) -> String {
    let (found, left) = (signed(scale, point.found_error_c), signed(scale, point.left_error_c));
    let (at, shown) = (degrees(scale, point.reference_c), degrees(scale, point.indicated_c));
    let reference = reference(language, &point.against);
    match language {
        Language::English => {
            format!("  {at}: showed {shown} uncorrected; found {found}, left {left} ({reference})")
        }
        Language::Spanish => {
            format!("  {at}: mostró {shown} sin corregir; encontrada {found}, queda {left} ({reference})")
        }
    }
}

/// The correction before and after.
#[must_use]
pub fn corrections(language: Language, scale: Scale, found: Correction, left: Correction) -> String {
    let (found, left) = (correction(found, scale), correction(left, scale));
    match language {
        Language::English => format!("Correction: {found} before, {left} from here on"),
        Language::Spanish => format!("Corrección: {found} antes, {left} desde ahora"),
    }
}

/// Largest error of a sound thermocouple in these baths, °C: type K or N of class 2 (IEC 60584-1:2013).
const SOUND_MAX_C: f64 = 2.5;

/// What to think of before a correction that is larger than a sound probe needs; `None` where it is not.
#[must_use]
pub fn large_correction(
    language: Language,
    scale: Scale,
    left: Calibration,
    near: Celsius,
) -> Option<String> {
    let correction_c = left.apply(near).0 - near.0;
    if correction_c.abs() <= SOUND_MAX_C {
        return None;
    }
    let (by, at) = (signed(scale, correction_c), degrees(scale, near.0));
    let sound = width(scale, SOUND_MAX_C);
    Some(match language {
        Language::English => format!(
            "CAUTION: {by} at {at} is more than a sound thermocouple is off ({sound}, class 2 of IEC 60584-1). \
             Was it a full boil, or stirred ice, or the right reference? If so, replace the probe: a wrong \
             correction makes cold racks look hot."
        ),
        Language::Spanish => format!(
            "PRECAUCIÓN: {by} a {at} es más de lo que yerra un termopar sano ({sound}, clase 2 de IEC 60584-1). \
             ¿Hervía del todo, era hielo removido, era la referencia correcta? Si lo era, cambie la sonda: una \
             corrección errónea hace pasar por calientes las canastas frías."
        ),
    })
}

/// What the calibration leaves uncertain.
#[must_use]
pub fn uncertainty(language: Language, scale: Scale, expanded_c: f64, near: Celsius) -> String {
    let (wide, at) = (width(scale, expanded_c), degrees(scale, near.0));
    match language {
        Language::English => format!("Expanded uncertainty of the calibration (k = 2) at {at}: {wide}"),
        Language::Spanish => format!("Incertidumbre expandida de la calibración (k = 2) a {at}: {wide}"),
    }
}

/// Whether it is wanted on record.
#[must_use]
pub const fn confirm(language: Language) -> &'static str {
    say(language, "Put it on record and in force? [y/n]", "¿Registrar y poner en vigor? [s/n]")
}

/// What is said where the answer was neither yes nor no.
#[must_use]
pub const fn yes_or_no(language: Language) -> &'static str {
    say(
        language,
        "Type y and Enter to put it on record and in force, n and Enter to leave everything as it was.",
        "Escriba s e Intro para registrarlo y ponerlo en vigor, n e Intro para dejarlo todo como estaba.",
    )
}

/// That nothing has changed.
#[must_use]
pub const fn not_recorded(language: Language) -> &'static str {
    say(
        language,
        "Nothing was recorded; what was in force stays so.",
        "No se registró nada; sigue en vigor lo de antes.",
    )
}

/// That a calibration is in force.
#[must_use]
pub fn in_force(language: Language, scale: Scale, record: u64, put: &CalibrationDone) -> String {
    let (wide, until) = (width(scale, put.expanded_c), put.until.as_deref().unwrap_or("-"));
    let probe = &put.probe;
    match language {
        Language::English => format!(
            "The calibration of {probe} is on record [record {record}] and in force from now on, {wide}; it holds \
             until {until}."
        ),
        Language::Spanish => format!(
            "La calibración de {probe} está registrada [asiento {record}] y en vigor desde ahora, {wide}; vale \
             hasta {until}."
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own words, in the reader's language.
    #[test]
    fn a_bath_is_named_in_the_readers_language() {
        let bath = Bath::boiling_at_altitude(340.0).expect("a height");
        let told = point(Language::Spanish, Scale::Celsius, (1, 2), &bath);
        assert!(told.starts_with("Punto 1 de 2: agua hirviendo a 340 m, sin conocer el tiempo"), "{told}");
        let told = point(Language::English, Scale::Celsius, (2, 2), &Bath::ice());
        assert!(told.starts_with("Point 2 of 2: ice and water"), "{told}");
        // A name is nobody's to translate, whatever it says.
        let named = "boiling water at the old pot, weather not known";
        let bath = Bath::beside_thermometer(Celsius(80.0), named.to_owned(), 0.2);
        let told = point(Language::Spanish, Scale::Celsius, (2, 2), &bath);
        assert!(told.contains(named), "{told}");
    }

    // Arithmetic of the scales (NIST SP 811, B.8): 100 °C · 1.01 − 0.5 °C = 100.5 °C is 212.9 °F, and so is
    // 212 °F · 1.01 − 1.22 °F.
    #[test]
    fn a_correction_is_told_on_the_scale_of_the_reader() {
        for (gain, scale, expected) in [
            (1.01, Scale::Celsius, "× 1.0100 -0.50 °C"),
            (1.01, Scale::Fahrenheit, "× 1.0100 -1.22 °F"),
            (1.0, Scale::Fahrenheit, "-0.90 °F"),
        ] {
            assert_eq!(correction(Correction { gain, offset_c: -0.5 }, scale), expected);
        }
    }

    // ±2.5 °C: class 2 of types K and N in IEC 60584-1:2013.
    #[test]
    fn a_large_correction_is_warned_of() {
        let told = |offset_c| {
            let left = Calibration::Offset(offset_c);
            large_correction(Language::English, Scale::Celsius, left, Celsius(82.2))
        };
        assert_eq!((told(2.4), told(-2.4)), (None, None));
        assert!(told(-2.6).is_some_and(|told| told.contains("-2.60 °C") && told.contains("±2.5")));
        assert!(told(4.7).is_some_and(|told| told.contains("+4.70 °C")));
    }
}
