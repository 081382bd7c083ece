//! Every word of `watch` in English and Spanish.

use crate::app::live::Through;
use crate::core::cautions;
use crate::core::reader::Language;
pub(super) use crate::core::reader::said as say;
use crate::probe::UnitState;
use crate::probe::modbus::link::meaning;

pub(super) const fn way(language: Language, through: Through) -> &'static str {
    match through {
        Through::Service { simulated: true, .. } => say(
            language,
            "SIMULATED machines, through the running service",
            "Máquinas SIMULADAS, a través del servicio en marcha",
        ),
        Through::Service { simulated: false, .. } => {
            say(language, "through the running service", "a través del servicio en marcha")
        }
        Through::OwnSources => say(
            language,
            "from the ports: no service runs",
            "directamente de los puertos: no hay ningún servicio en marcha",
        ),
    }
}

/// What must be known by whoever looks on.
pub(super) const fn cautions(language: Language) -> [&'static str; 2] {
    match language {
        Language::English => [cautions::SCALD, cautions::AID],
        Language::Spanish => [cautions::SCALD_ES, cautions::AID_ES],
    }
}

pub(super) const fn caution_short(language: Language) -> &'static str {
    say(language, cautions::SCALD_SHORT, cautions::SCALD_SHORT_ES)
}

/// That a unit does not answer as it must, short enough for the line of a probe; `None` where it does.
pub(in crate::app) fn unit(language: Language, unit: u8, state: UnitState) -> Option<String> {
    let told = match (state, language) {
        (UnitState::Answers, _) => return None,
        (UnitState::Silent, Language::English) => format!("unit {unit} does not answer"),
        (UnitState::Silent, Language::Spanish) => format!("la unidad {unit} no responde"),
        (UnitState::Late, Language::English) => format!("unit {unit} answers after its time-out"),
        (UnitState::Late, Language::Spanish) => format!("la unidad {unit} responde fuera de plazo"),
        (UnitState::Garbled, Language::English) => format!("unit {unit} answers what cannot be read"),
        (UnitState::Garbled, Language::Spanish) => format!("la unidad {unit} responde algo ilegible"),
        (UnitState::Refuses { function, register, exception }, Language::English) => {
            format!("unit {unit}, register {register}: exception {exception}, function {function}")
        }
        (UnitState::Refuses { function, register, exception }, Language::Spanish) => {
            format!("unidad {unit}, registro {register}: excepción {exception}, función {function}")
        }
    };
    Some(told)
}

/// What to look at where a unit does not answer as it must; `None` where it does.
pub(in crate::app) fn unit_note(
    language: Language,
    source: &str,
    unit: u8,
    state: UnitState,
) -> Option<String> {
    let note = match (state, language) {
        (UnitState::Answers, _) => return None,
        (UnitState::Silent, Language::English) => format!(
            "unit {unit} of «{source}» does not answer: look at its supply, its address, baud rate and parity, and \
             whether the two wires are exchanged"
        ),
        (UnitState::Silent, Language::Spanish) => format!(
            "la unidad {unit} de «{source}» no responde: mire su alimentación, su dirección, la velocidad y la \
             paridad, y si los dos hilos están cambiados"
        ),
        (UnitState::Late, Language::English) => format!(
            "unit {unit} of «{source}» answers, but after its time-out: raise time-out of this unit in the configuration"
        ),
        (UnitState::Late, Language::Spanish) => format!(
            "la unidad {unit} de «{source}» responde, pero fuera de plazo: suba time-out de esta unidad en la \
             configuración"
        ),
        (UnitState::Garbled, Language::English) => format!(
            "unit {unit} of «{source}» answers what cannot be read: look for two units of one address, another \
             parity, or a missing terminating resistor"
        ),
        (UnitState::Garbled, Language::Spanish) => format!(
            "la unidad {unit} de «{source}» responde algo ilegible: busque dos unidades con una dirección, otra \
             paridad o una resistencia de terminación que falta"
        ),
        (UnitState::Refuses { function, register, exception }, Language::English) => format!(
            "unit {unit} of «{source}» refuses register {register} by function {function}: exception {exception}, {}; \
             registers count from 0 here",
            meaning(exception)
        ),
        (UnitState::Refuses { function, register, exception }, Language::Spanish) => format!(
            "la unidad {unit} de «{source}» rechaza el registro {register} con la función {function}: excepción \
             {exception}, {}; aquí los registros se cuentan desde 0",
            meaning_es(exception)
        ),
    };
    Some(note)
}

/// What an exception means, as [`meaning`].
const fn meaning_es(code: u8) -> &'static str {
    match code {
        1 => "no tiene esa función",
        2 => "no tiene ese registro",
        3 => "no da tantos a la vez",
        4 => "falló al leer",
        5 => "aceptó la petición y necesita tiempo",
        6 => "está ocupada",
        8 => "su memoria está dañada",
        10 => "la pasarela no tiene camino hasta ella",
        11 => "la pasarela no recibió respuesta de ella",
        _ => "un código que la norma no conoce",
    }
}

/// How long ago something was; nothing where it never was.
pub(super) fn last(language: Language, ago: Option<String>) -> String {
    match (ago, language) {
        (Some(ago), Language::English) => format!(", last {ago} ago"),
        (Some(ago), Language::Spanish) => format!(", hace {ago}"),
        (None, Language::English) => ", never so far".to_owned(),
        (None, Language::Spanish) => ", nunca hasta ahora".to_owned(),
    }
}
