//! A judgement in the words of whoever stands at the machine: what it came to, why, what to do now.
//!
//! English and Spanish side by side; the Spanish is that of kitchens in the Americas.

use super::method::{Method, known_method};
use super::{Finding, Judgement, Lacking};
use crate::core::alert::supplies::looked;
use crate::core::late::LATE_AFTER;
use crate::core::reader::{Language, Reader, filled};
use crate::core::record::{CheckKind, Supply};

/// A judgement in words. Each text is one sentence or a few.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Told {
    /// What the check came to.
    pub verdict: String,
    /// Why, one line for each finding.
    pub why: Vec<String>,
    /// What to do now, one step each, in order; empty where nothing is to be done.
    pub steps: Vec<String>,
    /// What to beware of while doing it; empty where nothing is to be done.
    pub cautions: Vec<String>,
}

/// How the sanitizer was measured: a known method in the reader's word, any other as somebody typed it.
#[must_use]
pub fn method(on_record: &str, language: Language) -> &str {
    let pair = match known_method(on_record) {
        Some(Method::Strip) => ("test strip", "tira reactiva"),
        Some(Method::Titration) => ("titration", "valoración"),
        Some(Method::Meter) => ("meter", "medidor"),
        None => return on_record,
    };
    say(language, pair)
}

/// Puts the judgement of a check of this kind into words, with what it found short.
#[must_use]
pub fn tell(judgement: &Judgement, kind: CheckKind, lacking: Lacking<'_>, reader: &Reader) -> Told {
    let language = reader.language;
    let why = judgement.findings.iter().map(|finding| told(finding, reader)).collect();
    let failing = judgement.findings.iter().filter(|finding| finding.fails());
    let mut steps: Vec<String> = Vec::new();
    if judgement.good == Some(false) && kind == CheckKind::Sanitizer {
        steps.push(say(language, STOP).to_owned());
    }
    for step in failing.flat_map(|finding| steps_for(finding, lacking)) {
        let step = say(language, step).to_owned();
        if !steps.contains(&step) {
            steps.push(step);
        }
    }
    let mut cautions = Vec::new();
    if judgement.good == Some(false) {
        let (last, caution) = match kind {
            CheckKind::Sanitizer => (Some(TEST_AGAIN), Some(CHEMICALS)),
            CheckKind::Supply => {
                steps.push(say(language, SUPPLY_AGAIN).to_owned());
                (Some(if lacking.alerted { ALERTED } else { TELL_SOMEBODY }), Some(CHEMICALS))
            }
            CheckKind::Thermometer => (Some(TELL_SOMEBODY), Some(HEAT)),
            CheckKind::DrainAndClean => (None, None),
        };
        steps.extend(last.map(|step| say(language, step).to_owned()));
        cautions.extend(caution.map(|caution| say(language, caution).to_owned()));
    }
    Told { verdict: say(language, verdict(judgement.good, kind)).to_owned(), why, steps, cautions }
}

/// That a check or a note was entered late, and how late.
#[must_use]
pub fn late(late_s: f64, language: Language) -> String {
    let minutes = (late_s / 60.0).round();
    let span = if minutes < 120.0 { format!("{minutes} min") } else { format!("{:.1} h", minutes / 60.0) };
    // History and exports call late what came later than this.
    let shown = late_s > LATE_AFTER.as_secs_f64();
    match (language, shown) {
        (Language::English, true) => {
            format!("Entered {span} after it was made: the record shows it as late.")
        }
        (Language::English, false) => format!("Entered {span} after it was made."),
        (Language::Spanish, true) => {
            format!("Anotado {span} después de hacerlo: el registro lo muestra como tardío.")
        }
        (Language::Spanish, false) => format!("Anotado {span} después de hacerlo."),
    }
}

/// What was entered.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Entered {
    /// A check.
    Check {
        /// Its kind.
        kind: CheckKind,
        /// Its machine; `all` is the whole site.
        machine: String,
    },
    /// A note.
    Note,
    /// A comment on a record.
    Comment {
        /// Its index.
        of: u64,
    },
    /// The withdrawal of a record.
    Withdrawn {
        /// Its index.
        of: u64,
    },
    /// The right values of a record.
    Corrected {
        /// Its index.
        of: u64,
    },
}

/// That it is on record, and under which index.
#[must_use]
pub fn on_record(entered: &Entered, index: Option<u64>, language: Language) -> String {
    let amended = |of: u64, (english, spanish): Pair| match language {
        Language::English => {
            format!("Record {of} {english}; it stays as it was entered, the amendment is on record")
        }
        Language::Spanish => {
            format!("El asiento {of} {spanish}; queda como se anotó, y la enmienda consta en el registro")
        }
    };
    let said = match entered {
        Entered::Check { kind, machine } => {
            let kind = say(language, name(*kind));
            match language {
                Language::English => format!("The check «{kind}» of {machine} is on record"),
                Language::Spanish => format!("El control «{kind}» de {machine} consta en el registro"),
            }
        }
        Entered::Note => say(language, ("The note is on record", "La nota consta en el registro")).to_owned(),
        Entered::Comment { of } => amended(*of, ("has a comment", "tiene un comentario")),
        Entered::Withdrawn { of } => amended(*of, ("is withdrawn", "queda retirado")),
        Entered::Corrected { of } => amended(*of, ("counts as corrected", "cuenta como corregido")),
    };
    match index {
        Some(index) => format!("{said} [{} {index}].", say(language, ("record", "asiento"))),
        None => format!("{said}."),
    }
}

/// The name of what a machine runs short of.
#[must_use]
pub const fn supply(supply: Supply, language: Language) -> &'static str {
    let pair = match supply {
        Supply::Detergent => ("detergent", "detergente"),
        Supply::RinseAdditive => ("rinse additive", "abrillantador"),
        Supply::Sanitizer => ("sanitizer", "desinfectante"),
        Supply::TestStrips => ("test strips", "tiras reactivas"),
    };
    say(language, pair)
}

/// What was short, and the note of it; nothing where neither was said.
#[must_use]
pub fn short(supplies: &[Supply], note: Option<&str>, language: Language) -> Option<String> {
    let named = supplies.iter().map(|one| supply(*one, language));
    let all: Vec<&str> = named.chain(note).collect();
    (!all.is_empty()).then(|| all.join(", "))
}

/// What an alert of short supplies says of one look: what is short in the words of the reader, and who found it.
#[must_use]
pub fn found_short(about: &str, language: Language) -> String {
    let (supplies, said) = looked(about);
    if supplies.is_empty() { said.to_owned() } else { short_of_look(about, language) }
}

/// The same of an alert that is known to be of short supplies: where the kind was not said, whoever found it is not
/// what is short.
#[must_use]
pub fn short_of_look(about: &str, language: Language) -> String {
    let (supplies, said) = looked(about);
    match short(&supplies, None, language) {
        Some(short) => format!("{short} ({said})"),
        None => format!("{} ({said})", say(language, ("something", "algo"))),
    }
}

/// The name of a kind of check.
const fn name(kind: CheckKind) -> Pair {
    match kind {
        CheckKind::Sanitizer => ("sanitizer", "desinfectante"),
        CheckKind::Supply => ("supply", "suministros"),
        CheckKind::DrainAndClean => ("drain-and-clean", "vaciado y limpieza"),
        CheckKind::Thermometer => ("thermometer", "termómetro"),
    }
}

/// What is to be done for a check that is due.
#[must_use]
pub const fn to_do(kind: CheckKind, language: Language) -> &'static str {
    let pair = match kind {
        CheckKind::Sanitizer => ("test the sanitizer", "medir el desinfectante"),
        CheckKind::Supply => ("look at the supplies", "revisar los suministros"),
        CheckKind::DrainAndClean => ("drain and clean", "vaciar y limpiar"),
        CheckKind::Thermometer => ("compare the thermometer", "comparar el termómetro"),
    };
    say(language, pair)
}

/// What is to be done again after it failed; `what` is the thermometer that was off.
#[must_use]
pub fn to_do_again(kind: CheckKind, what: Option<&str>, language: Language) -> String {
    let pair = match kind {
        CheckKind::Sanitizer => ("test the sanitizer again", "medir otra vez el desinfectante"),
        CheckKind::Thermometer => {
            ("compare {what} again after mending", "comparar otra vez {what} tras repararlo")
        }
        CheckKind::Supply | CheckKind::DrainAndClean => return to_do(kind, language).to_owned(),
    };
    let thermometer = say(language, ("the thermometer", "el termómetro"));
    filled(say(language, pair), &[("what", what.unwrap_or(thermometer))])
}

/// Which record says that it failed.
#[must_use]
pub fn failed_before(record: u64, language: Language) -> String {
    let pair = ("failed by record {record}", "no cumplió según el asiento {record}");
    filled(say(language, pair), &[("record", &record.to_string())])
}

/// How a check stands that is due.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Due {
    /// Its time is over.
    Overdue,
    /// Its time has come.
    Since,
    /// Its time will come.
    By,
}

/// How a check stands; the time follows.
#[must_use]
pub const fn due(how: Due, language: Language) -> &'static str {
    let pair = match how {
        Due::Overdue => ("OVERDUE, due", "ATRASADO, pendiente desde"),
        Due::Since => ("due since", "pendiente desde"),
        Due::By => ("due at", "para"),
    };
    say(language, pair)
}

/// That nothing is due, and why where nothing asks for a check.
#[must_use]
pub const fn none_due(none_asked: bool, language: Language) -> &'static str {
    let pair = if none_asked {
        (
            "No check is due: no [[shift]] and no [[meal-period]] is configured that would ask for one.",
            "No hay controles pendientes: no hay ningún [[shift]] ni [[meal-period]] en la configuración que pida uno.",
        )
    } else {
        ("No check is due.", "No hay controles pendientes.")
    };
    say(language, pair)
}

/// English and Spanish.
pub(super) type Pair = (&'static str, &'static str);

const fn say(language: Language, pair: Pair) -> &'static str {
    match language {
        Language::English => pair.0,
        Language::Spanish => pair.1,
    }
}

const fn verdict(good: Option<bool>, kind: CheckKind) -> Pair {
    match (good, kind) {
        (Some(true), CheckKind::Sanitizer) => ("The sanitizer is good.", "El desinfectante está bien."),
        (Some(false), CheckKind::Sanitizer) => {
            ("FAILED: the sanitizer is not good.", "NO CUMPLE: el desinfectante no está bien.")
        }
        (Some(true), CheckKind::Supply) => ("The supplies are good.", "Los suministros están bien."),
        (Some(false), CheckKind::Supply) => {
            ("FAILED: something is short.", "NO CUMPLE: falta algún producto.")
        }
        (Some(true), CheckKind::Thermometer) => ("The thermometer is good.", "El termómetro está bien."),
        (Some(false), CheckKind::Thermometer) => {
            ("FAILED: the thermometer is off.", "NO CUMPLE: el termómetro se desvía.")
        }
        (None, CheckKind::Sanitizer) => ("Not judged.", "Sin evaluar."),
        (_, CheckKind::DrainAndClean) => ("Drained and cleaned.", "Vaciada y limpia."),
        (None, CheckKind::Supply | CheckKind::Thermometer) => ("Not judged.", "Sin evaluar."),
    }
}

const STOP: Pair = (
    "Stop feeding the machine. Hold the racks washed since the last good check; do not use that ware.",
    "Deje de cargar la máquina. Aparte las canastas lavadas desde el último control correcto; no use esa vajilla.",
);
const WEAK: [Pair; 2] = [
    (
        "Look for an empty drum, air in the tube, a dosing pump that does not run or is set too low.",
        "Busque un bidón vacío, aire en el tubo, una bomba dosificadora parada o ajustada demasiado baja.",
    ),
    (
        "Change the drum, prime the pump, and correct the dose by the product's label.",
        "Cambie el bidón, cebe la bomba y corrija la dosis según la etiqueta del producto.",
    ),
];
const STRONG: [Pair; 2] = [
    (
        "Turn the dosing pump down by the product's label, drain the machine and fill it with fresh water.",
        "Baje la bomba dosificadora según la etiqueta del producto, vacíe la máquina y llénela con agua limpia.",
    ),
    (
        "Too strong is not safer: it leaves residue on ware that touches food. Wash the held racks again.",
        "Más fuerte no es más seguro: deja residuos en la vajilla. Vuelva a lavar las canastas apartadas.",
    ),
];
const PH: [Pair; 1] = [(
    "At this pH the sanitizer does not work. Look for too much detergent carried over; have the water and the \
     product's label looked at. Add nothing by hand to change the pH.",
    "Con este pH el desinfectante no actúa. Vea si se arrastra demasiado detergente; haga revisar el agua y la \
     etiqueta del producto. No añada nada a mano para cambiar el pH.",
)];
const COLD: [Pair; 1] = [(
    "The solution is too cold for this sanitizer. See that hot water arrives and the tank heater is on; wait until \
     it is warm enough.",
    "La solución está demasiado fría para este desinfectante. Vea que llegue agua caliente y que el calentador del \
     tanque esté encendido; espere hasta que esté bastante caliente.",
)];
const KIT: [Pair; 1] = [(
    "Test again with a fresh strip, by the instructions of the kit.",
    "Mida otra vez con una tira nueva, según las instrucciones del kit.",
)];
/// What to fill up, and what to think of meanwhile; messages of the alert say the same.
pub(crate) const FILL_UP: Pair = (
    "Fill up or change what is short before the next rack, by the product's label; prime the dosing pump after a change.",
    "Rellene o cambie lo que falta antes de la próxima canasta, según la etiqueta del producto; cebe la bomba \
     dosificadora después del cambio.",
);
/// What to do where the sanitizer is short; messages of the alert say the same.
pub(crate) const NO_SANITIZER: Pair = (
    "If it is the sanitizer: stop feeding the machine, hold the racks washed since the last good test, and test with \
     a strip before it is used again.",
    "Si es el desinfectante: deje de cargar la máquina, aparte las canastas lavadas desde la última prueba correcta \
     y mida con una tira antes de volver a usarla.",
);
const OFF: [Pair; 2] = [
    (
        "Do not rely on it: read another thermometer until it is adjusted or replaced.",
        "No se fíe de él: lea otro termómetro hasta que esté ajustado o cambiado.",
    ),
    (
        "Compare once more in well-stirred ice water; if it is a probe of this gateway, have it calibrated. Think of \
         what was measured with it since its last good check.",
        "Compare otra vez en agua con hielo bien removida; si es una sonda de este equipo, haga que la calibren. \
         Piense en lo que se midió con él desde su último control correcto.",
    ),
];
const TEST_AGAIN: Pair = (
    "Test again and enter the result. If it stays out of range: mark the machine out of service, tell the person in \
     charge, wash by hand.",
    "Mida otra vez y anote el resultado. Si sigue fuera de rango: marque la máquina como fuera de servicio, avise a \
     la persona a cargo, lave a mano.",
);
const SUPPLY_AGAIN: Pair = ("Look again and enter it.", "Revise otra vez y anótelo.");
const ALERTED: Pair = (
    "Whoever is on duty for alerts is told. A look that finds everything there clears the alert.",
    "Se avisa a quien esté de turno para las alertas. Una revisión que lo encuentre todo da por resuelta la alerta.",
);
const TELL_SOMEBODY: Pair = ("Tell the person in charge.", "Avise a la persona a cargo.");
const CHEMICALS: Pair = (
    "Never let chlorine meet acid (descaler, rinse aid) or ammonia: the gas is poisonous. Rinse well between two \
     products; gloves and eye protection; on a sharp smell leave at once.",
    "Nunca junte cloro con ácido (desincrustante, abrillantador) ni con amoníaco: el gas es venenoso. Enjuague bien \
     entre dos productos; guantes y gafas; si huele fuerte, salga de inmediato.",
);
const HEAT: Pair = (
    "Water and steam of the machine scald at once: never reach into a running machine to compare a thermometer.",
    "El agua y el vapor de la máquina queman al instante: nunca meta la mano en una máquina en marcha para comparar \
     un termómetro.",
);

fn steps_for(finding: &Finding, lacking: Lacking<'_>) -> Vec<Pair> {
    match finding {
        Finding::TooWeak { .. } => WEAK.to_vec(),
        Finding::TooStrong { .. } => STRONG.to_vec(),
        Finding::PhTooHigh { .. } => PH.to_vec(),
        Finding::ColdSolution { .. } => COLD.to_vec(),
        Finding::NotAMeasurement => KIT.to_vec(),
        Finding::Short => lacking.steps(),
        Finding::Off { .. } => OFF.to_vec(),
        Finding::Needs { .. } | Finding::PhAssumed | Finding::NotChemical | Finding::Agrees { .. } => {
            Vec::new()
        }
    }
}

/// One finding as a sentence.
fn told(finding: &Finding, reader: &Reader) -> String {
    let spanish = match reader.language {
        Language::English => false,
        Language::Spanish => true,
    };
    let pick = |english: String, other: String| if spanish { other } else { english };
    let symbol = reader.scale.symbol();
    match *finding {
        Finding::TooWeak { mg_per_l, min_mg_per_l } => pick(
            format!("Too weak: {mg_per_l} mg/L, at least {min_mg_per_l} mg/L are needed."),
            format!("Demasiado débil: {mg_per_l} mg/L, se necesitan al menos {min_mg_per_l} mg/L."),
        ),
        Finding::TooStrong { mg_per_l, max_mg_per_l } => pick(
            format!("Too strong: {mg_per_l} mg/L, at most {max_mg_per_l} mg/L are permitted."),
            format!("Demasiado fuerte: {mg_per_l} mg/L, se permiten como máximo {max_mg_per_l} mg/L."),
        ),
        Finding::PhTooHigh { ph, max_ph } => pick(
            format!("pH too high: {ph}, at most {max_ph}."),
            format!("pH demasiado alto: {ph}, como máximo {max_ph}."),
        ),
        Finding::ColdSolution { solution_c, min_c } => {
            let (measured, limit) = reader.pair(solution_c, min_c);
            pick(
                format!(
                    "Too cold: {measured} {symbol}, at this concentration and pH at least {limit} {symbol} are needed."
                ),
                format!(
                    "Demasiado fría: {measured} {symbol}, con esta concentración y este pH se necesitan al menos {limit} {symbol}."
                ),
            )
        }
        Finding::Needs { min_c, contact_s, plate_c } => {
            let limit = reader.temperature(min_c);
            match plate_c.map(|plate_c| reader.temperature(plate_c)) {
                Some(plate) => pick(
                    format!(
                        "With this, the Food Code asks for {limit} or more for {contact_s} s; the data plate, as it is on file, for {plate} or more. The probe watches both."
                    ),
                    format!(
                        "Con esto, el Food Code pide {limit} o más durante {contact_s} s; la placa de datos, según consta, {plate} o más. La sonda vigila ambas cifras."
                    ),
                ),
                None => pick(
                    format!(
                        "With this, the Food Code asks for {limit} or more for {contact_s} s; the data plate may ask for more. The probe watches it."
                    ),
                    format!(
                        "Con esto, el Food Code pide {limit} o más durante {contact_s} s; la placa puede pedir más. La sonda lo vigila."
                    ),
                ),
            }
        }
        Finding::PhAssumed => pick(
            "The pH was not measured: the stricter column of the table, for pH 10, counts.".to_owned(),
            "No se midió el pH: cuenta la columna más estricta de la tabla, la de pH 10.".to_owned(),
        ),
        Finding::NotAMeasurement => pick(
            "No test kit shows this number.".to_owned(),
            "Ningún kit de prueba muestra este número.".to_owned(),
        ),
        Finding::NotChemical => pick(
            "The machine sanitizes by hot water: a concentration proves nothing.".to_owned(),
            "La máquina desinfecta con agua caliente: una concentración no prueba nada.".to_owned(),
        ),
        Finding::Short => pick(
            "Something is short and was not filled up.".to_owned(),
            "Falta algún producto y no se rellenó.".to_owned(),
        ),
        Finding::Off { off_c, tolerance_c } | Finding::Agrees { off_c, tolerance_c } => {
            let (off, tolerance) = differences(off_c, tolerance_c, reader);
            let by = if off.trim_matches(['0', '.']).is_empty() {
                pick(
                    "It shows what the reference shows".to_owned(),
                    "Marca lo mismo que la referencia".to_owned(),
                )
            } else if off_c < 0.0 {
                pick(
                    format!("It shows {off} {symbol} too little, by the reference"),
                    format!("Marca {off} {symbol} de menos, según la referencia"),
                )
            } else {
                pick(
                    format!("It shows {off} {symbol} too much, by the reference"),
                    format!("Marca {off} {symbol} de más, según la referencia"),
                )
            };
            pick(
                format!("{by}; ±{tolerance} {symbol} are permitted."),
                format!("{by}; se permiten ±{tolerance} {symbol}."),
            )
        }
    }
}

/// A difference without its sign, and the one that is permitted, with as many digits as it takes to
/// tell them apart.
fn differences(off_c: f64, tolerance_c: f64, reader: &Reader) -> (String, String) {
    let (off, tolerance) = (reader.scale.difference(off_c), reader.scale.difference(tolerance_c));
    let off = off.abs();
    let shown = |digits: usize| (format!("{off:.digits$}"), format!("{tolerance:.digits$}"));
    let apart = |(off, tolerance): &(String, String)| off != tolerance;
    (1..=3).map(shown).find(apart).unwrap_or_else(|| shown(1))
}
