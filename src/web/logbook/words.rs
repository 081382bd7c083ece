//! Words of the pages of the logbook, English and Spanish side by side.

use std::collections::BTreeMap;

use crate::core::food_code::{Printed, Rounding};
use crate::core::logbook::{Device, Missed, words as logbook};
use crate::core::reader::{Language, Reader, filled};
use crate::core::record::{Amendment, AmendmentChange, Check, CheckKind, Supply};
use crate::web::words::words;

use super::amend::NotOwn;
use super::{Entered, Written};

words! {
    title: "Logbook", "Diario";
    due: "Due", "Pendiente";
    put_right: "Put it right, then enter that everything is there.", "Corríjalo y anote que está todo.";
    its_entry: "Its entry", "Su anotación";
    its_alert: "Alert", "Alerta";
    enter: "Enter something else", "Anotar otra cosa";
    today: "Entered since midnight", "Anotado desde medianoche";
    none_today: "Nothing is entered since midnight.", "No hay nada anotado desde medianoche.";
    machine: "Machine", "Máquina";
    site: "the whole site", "toda la cocina";
    strength: "Concentration, mg/L (ppm)", "Concentración, mg/L (ppm)";
    strip: "By the colours of the strip", "Según los colores de la tira";
    which_strip: "Each has test strips of its own. Which machine?", "Cada una tiene sus tiras. ¿Qué máquina?";
    no_strip: "no strip: the number below", "sin tira: el número de abajo";
    exact: "or as a number", "o como número";
    ph: "pH (may stay empty)", "pH (puede quedar vacío)";
    solution: "Temperature of the solution (may stay empty)", "Temperatura de la solución (puede quedar vacía)";
    more: "pH and temperature", "pH y temperatura";
    save: "Put on record", "Registrar";
    enough: "Everything is there, or was filled up", "Está todo, o se rellenó";
    short: "Something is SHORT", "FALTA algo";
    what_short: "What is SHORT? Tick all of it", "¿Qué FALTA? Marque todo lo que falte";
    other_short: "Something else that is SHORT", "Otra cosa que FALTA";
    save_short: "Put on record what is SHORT", "Registrar lo que FALTA";
    short_now: "SHORT: what is ticked below", "FALTA: lo marcado abajo";
    drained: "Drained and cleaned", "Vaciada y limpia";
    what_drain: "Tank drained; sump screen, scrap tray, arms and jets cleaned.", "Tanque vaciado; filtro, bandeja, brazos y boquillas limpios.";
    note: "Note (may stay empty)", "Nota (puede quedar vacía)";
    method: "Measured by (may stay empty)", "Medido con (puede quedar vacío)";
    thermometer: "Which thermometer", "Qué termómetro";
    which_thermometer: "Which thermometer is compared?", "¿Qué termómetro se compara?";
    choose_probe: "It is one of the probes", "Es una de las sondas";
    no_probe: "Another thermometer: a gauge, a hand thermometer, one for food", "Otro termómetro: un indicador, uno de mano, uno de alimentos";
    other_example: "Hand thermometer no. 3", "Termómetro de mano n.º 3";
    other: "Its name", "Su nombre";
    shown: "It shows", "Marca";
    reference_shows: "The reference shows", "La referencia marca";
    reference: "Reference", "Referencia";
    reference_example: "Ice water, or thermometer no. 7", "Agua con hielo, o termómetro n.º 7";
    device: "It measures", "Mide";
    text: "What is to be known", "Qué hay que saber";
    earlier: "It was made earlier", "Se hizo antes";
    at: "When, by the clock of the site", "Cuándo, por la hora de la cocina";
    late: "It was more than a month ago, and is meant so", "Fue hace más de un mes, y es así";
    back: "Back to the logbook", "Volver al diario";
    again: "Enter one more", "Anotar otro";
    now: "Do now", "Qué hacer ahora";
    caution: "Caution", "Precaución";
    on_record: "On record", "Consta";
    made: "Made", "Hecho";
    by: "By", "Por";
    late_entry: "Entered late", "Anotado tarde";
    amendments: "Said of it later", "Lo añadido después";
    amend: "Amend this entry", "Enmendar este asiento";
    amend_own: "I made a slip: put it right", "Me equivoqué: rectificarlo";
    own_hint: "It is your own entry: you can put it right yourself until {until}. After that ask a manager.", "Es una anotación suya: puede rectificarla usted hasta {until}. Después, pídalo a un encargado.";
    part_damaged: "DAMAGED: something that was said of this entry later cannot be read, so nobody can say whether it still counts.", "DAÑADO: algo que se dijo después de esta anotación no se puede leer; no se sabe si aún cuenta.";
    own_over: "Nothing was put on record: {why}. A manager or an administrator still can: say below what would be right.", "No se registró nada: {why}. Un encargado o un administrador aún puede: diga abajo qué sería lo correcto.";
    own_no_more: "Not yours to put right any more: {why}. Ask: {roles}.", "Ya no puede rectificarla usted: {why}. Pídalo a: {roles}.";
    own_failed: "An entry that failed is not put right by whoever made it: others go by it. If it was entered wrongly, say below what would be right, and ask: {roles}.", "Una anotación que no cumple no la rectifica quien la hizo: otros se guían por ella. Si se anotó mal, diga abajo qué sería lo correcto y pídalo a: {roles}.";
    already: "It is on record: you had put it right already, see «Said of it later». It was not put on record twice.", "Ya consta: usted ya lo había rectificado, vea «Lo añadido después». No se registró dos veces.";
    changed_since: "Nothing was put on record: this entry was amended after this page was opened. By now it counts as {values}. What you changed still stands below: look it over and send it again.", "No se registró nada: esta anotación se enmendó después de abrir esta página. Ahora vale como {values}. Lo que usted cambió sigue abajo: revíselo y envíelo otra vez.";
    withdrawn_since: "Nothing was put on record: this entry was withdrawn after this page was opened, and counts no more. What you changed stands below as a comment.", "No se registró nada: esta anotación se retiró después de abrir esta página y ya no cuenta. Lo que usted cambió está abajo como comentario.";
    machine_stays: "The machine is not corrected: if it was another one, take this entry back as entered by mistake and enter it anew there.", "La máquina no se corrige: si era otra, retire esta anotación como hecha por error y anótela de nuevo en la otra.";
    amend_hint: "The entry stays as it is; the amendment is read beside it.", "El asiento queda como está; la enmienda se lee a su lado.";
    is_wrong: "Is something wrong with it?", "¿Tiene algo mal?";
    ask_correction: "What is wrong, and what would be right", "Qué está mal y qué sería lo correcto";
    comment_hint: "It is read beside the entry, by whoever may amend it too. The entry stays as it is.", "Se lee al lado del asiento, también por quien puede enmendarlo. El asiento queda como está.";
    save_comment: "Put the comment on record", "Registrar el comentario";
    reason: "Why", "Por qué";
    comment: "Only a comment", "Solo un comentario";
    withdraw: "It was entered by mistake: it counts no more", "Se anotó por error: ya no cuenta";
    correct: "It counts with these values (what is empty stays)", "Cuenta con estos valores (lo vacío queda)";
    stays: "as it is", "como está";
    which_time: "Which of the two?", "¿Cuál de las dos?";
    was: "Struck out, counted before", "Tachado, valía antes";
    supply_example: "A door gasket", "Una junta de la puerta";
    drain_example: "Scale, a torn screen", "Cal, un filtro roto";
    note_example: "The left arm drips; the service is called", "El brazo izquierdo gotea; se llamó al servicio";
    garbled: "Nothing was put on record: the form could not be read. Fill it in again here.", "No se registró nada: no se pudo leer el formulario. Rellénelo aquí otra vez.";
    probe_or_name: "The form names a probe, and a name is typed here too: which is meant? Empty this field, or choose the thermometer anew above.", "El formulario nombra una sonda y aquí hay también un nombre: ¿cuál es? Vacíe este campo, o elija de nuevo el termómetro arriba.";
    values_without: "You changed values, and this answer takes none: choose «It counts with these values», or empty those fields.", "Cambió valores y esta respuesta no los toma: elija «Cuenta con estos valores», o vacíe esos campos.";
    nothing_corrected: "Give the right values, or choose another answer above.", "Dé los valores correctos, o elija otra respuesta arriba.";
    withdrawn: "WITHDRAWN: it counts no more.", "RETIRADO: ya no cuenta.";
    failed_word: "FAILED", "NO CUMPLE";
    good_word: "good", "bien";
    damaged: "Some entries since midnight cannot be read: run rinseward verify on the ledger.", "Algunas anotaciones desde medianoche no se pueden leer: ejecute rinseward verify sobre el registro.";
    no_chemical: "No machine here sanitizes by a chemical: there is nothing to test.", "Ninguna máquina de aquí desinfecta con producto químico: no hay nada que medir.";
    not_now: "It could not be put on record just now. Nothing is lost but this entry: press again in a minute.", "No se pudo registrar ahora mismo. Solo falta esta anotación: pulse de nuevo en un minuto.";
    is_note: "On record.", "Consta en el registro.";
}

pub(super) const fn say(
    language: Language,
    (english, spanish): (&'static str, &'static str),
) -> &'static str {
    match language {
        Language::English => english,
        Language::Spanish => spanish,
    }
}

/// What to tap where a strip lies between two colours; of those that are given it counts as the stronger one.
pub(super) fn between(too_strong: Option<(f64, f64)>, language: Language) -> String {
    let weaker =
        say(language, ("Between two colours, tap the weaker one.", "Entre dos colores, toque el más débil."));
    let Some((from, to)) = too_strong else { return weaker.to_owned() };
    let pair = (
        "Only between {from} and {to} tap {to}: it may be too strong.",
        "Solo entre {from} y {to} toque {to}: puede ser demasiado fuerte.",
    );
    let (from, to) = (from.to_string(), to.to_string());
    format!("{weaker} {}", filled(say(language, pair), &[("from", &from), ("to", &to)]))
}

/// Why whoever asks cannot put an entry right by themselves.
pub(super) const fn no_more_own(why: NotOwn, language: Language) -> &'static str {
    let pair = match why {
        NotOwn::Others => ("somebody else entered it", "la anotó otra persona"),
        NotOwn::Damaged => (
            "something that was said of it cannot be read, so nobody can say whether it still counts",
            "algo que se dijo de ella no se puede leer, y no se sabe si aún cuenta",
        ),
        NotOwn::Alert => (
            "it belongs to an alert, and others were told of it",
            "es parte de una alerta, y otras personas ya lo saben",
        ),
        NotOwn::Failed => (
            "an entry that failed is not put right by whoever made it",
            "una anotación que no cumple no la rectifica quien la hizo",
        ),
        NotOwn::Amended => ("somebody else has amended it", "otra persona la ha enmendado"),
        NotOwn::Late => (
            "the 10 minutes in which you can put right your own entry are over",
            "pasaron los 10 minutos en los que puede rectificar su propia anotación",
        ),
    };
    say(language, pair)
}

/// Who made an entry: a probe is told as one. It bears the name of its machine, and no person's name has its `/`, see
/// [`crate::web::access::name`].
pub(super) fn by(entered: &Entered, language: Language) -> String {
    let (by, is_check) = match &entered.written {
        Written::Check(check) => (check.by(), true),
        Written::Note(note) => (note.by.as_str(), false),
    };
    let machine = entered.machine.as_deref().filter(|_| is_check);
    let own = machine.and_then(|machine| by.strip_prefix(machine));
    if own.is_some_and(|probe| probe.starts_with('/')) {
        return format!("{} {by}", say(language, ("the probe", "la sonda")));
    }
    by.to_owned()
}

/// What is short; of what no kind names the note says it.
pub(super) fn is_short(supplies: &[Supply], language: Language) -> String {
    let (short, other) =
        (say(language, ("SHORT", "FALTA")), say(language, ("something, see the note", "algo, vea la nota")));
    let named = logbook::short(supplies, None, language);
    format!("{short}: {}", named.as_deref().unwrap_or(other))
}

/// Since when something is short, and who found it with what they wrote.
pub(super) fn short_since(since: &str, said: &str, language: Language) -> String {
    let pair = ("since {since}, entered by {said}", "desde {since}, anotado por {said}");
    filled(say(language, pair), &[("since", since), ("said", said)])
}

/// What was found wrong, of a check that therefore stays due.
pub(super) fn failed_at(at: &str, found: &str, language: Language) -> String {
    let pair = (
        "Found at {at}: {found}. Put it right, then enter it again.",
        "Visto a {at}: {found}. Corríjalo y anótelo de nuevo.",
    );
    filled(say(language, pair), &[("at", at), ("found", found)])
}

/// What was found wrong by the check that is to be made again.
pub(super) fn failed_on(at: &str, found: &str, language: Language) -> String {
    let pair = (
        "FAILED ({at}): {found}. Put it right, then enter it again.",
        "NO CUMPLIÓ ({at}): {found}. Corríjalo y anótelo de nuevo.",
    );
    filled(say(language, pair), &[("at", at), ("found", found)])
}

/// The same of one that was not made today.
pub(super) fn failed_earlier(at: &str, language: Language) -> String {
    let pair = (
        "FAILED ({at}). Put it right, then enter it again.",
        "NO CUMPLIÓ ({at}). Corríjalo y anótelo de nuevo.",
    );
    filled(say(language, pair), &[("at", at)])
}

/// What a kind of thermometer measures, and by how much it may be off: a difference, on the scale of the reader.
pub(super) fn measured_by(device: Device, reader: &Reader) -> String {
    let pair = match device {
        Device::Water => (
            "water or air (±{off}, the stricter figure of Food Code 4-203.12)",
            "agua o aire (±{off}, la cifra más estricta del Código de Alimentos 4-203.12)",
        ),
        Device::Food => (
            "food (±{off}, the stricter figure of Food Code 4-203.11)",
            "alimentos (±{off}, la cifra más estricta del Código de Alimentos 4-203.11)",
        ),
    };
    let off = reader.difference(device.tolerance_c(Rounding::Stricter));
    filled(say(reader.language, pair), &[("off", &off)])
}

/// Why a check is not about the machine that was named; a machine that is known sanitizes with hot water.
pub(super) fn not_tested(machine: &str, is_known: bool, reader: &Reader) -> String {
    let pair = if is_known {
        (
            "«{machine}» sanitizes with hot water: no test strip says anything of it. Its own check is a heat label or \
             a maximum thermometer that goes through a rack: at least {surface} at the ware (Food Code 4-703.11). \
             Nothing was put on record. A test strip is for the machines below: choose one, if you meant it.",
            "«{machine}» desinfecta con agua caliente: ninguna tira dice nada de ella. Lo suyo es una etiqueta térmica o \
             un termómetro de máxima que pasa con una canasta: al menos {surface} en la vajilla (Food Code 4-703.11). \
             No se registró nada. La tira es para las máquinas de abajo: elija una, si se refería a ella.",
        )
    } else {
        (
            "No machine here is called «{machine}». Nothing was put on record. Choose one.",
            "Aquí ninguna máquina se llama «{machine}». No se registró nada. Elija una.",
        )
    };
    // 4-703.11(B): the surface of the utensils, by an irreversible registering temperature indicator.
    let surface = Printed { celsius: 71.0, fahrenheit: 160.0 }.minimum(Rounding::Stricter);
    let surface = reader.temperature(surface.0);
    filled(say(reader.language, pair), &[("machine", machine), ("surface", &surface)])
}

/// The heading of a form.
pub(in crate::web) const fn heading(kind: Option<CheckKind>, language: Language) -> &'static str {
    let pair = match kind {
        Some(CheckKind::Sanitizer) => ("Sanitizer", "Desinfectante"),
        Some(CheckKind::Supply) => ("Supplies", "Suministros"),
        Some(CheckKind::DrainAndClean) => ("Drain and clean", "Vaciado y limpieza"),
        Some(CheckKind::Thermometer) => ("Thermometer", "Termómetro"),
        None => ("Note", "Nota"),
    };
    say(language, pair)
}

/// What could hurt whoever makes such a check.
pub(super) const fn caution(kind: CheckKind, language: Language) -> &'static str {
    let pair = match kind {
        CheckKind::Sanitizer | CheckKind::Supply => (
            "Never let chlorine meet acid (descaler, rinse aid) or ammonia: the gas is poisonous. Gloves and eye protection.",
            "Nunca junte cloro con ácido (desincrustante, abrillantador) ni con amoníaco: el gas es venenoso. Guantes y gafas.",
        ),
        CheckKind::DrainAndClean => (
            "Switch the machine off and let it cool: water and heater scald. Never mix cleaning products.",
            "Apague la máquina y deje que se enfríe: el agua y la resistencia queman. Nunca mezcle productos de limpieza.",
        ),
        CheckKind::Thermometer => (
            "Never reach into a running machine: water and steam scald at once.",
            "Nunca meta la mano en una máquina en marcha: el agua y el vapor queman al instante.",
        ),
    };
    say(language, pair)
}

/// What a check found.
pub(in crate::web) fn of_check(check: &Check, reader: &Reader) -> String {
    of_check_missing(check, Missed::default(), reader)
}

/// What a check found, with the limits that it missed.
pub(in crate::web) fn of_check_missing(check: &Check, missed: Missed, reader: &Reader) -> String {
    let words = words(reader.language);
    match check {
        Check::Sanitizer { mg_per_l, ph, solution_c, method, .. } => {
            let parts = [
                Some(missed.strength(*mg_per_l, reader.language)),
                ph.map(|ph| missed.ph(ph, reader.language)),
                solution_c.map(|celsius| missed.solution(celsius, reader)),
                method.as_deref().map(|method| logbook::method(method, reader.language).to_owned()),
            ];
            parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
        }
        Check::Supply { enough, short, note, .. } => {
            let state = if *enough { words.enough } else { words.short };
            noted(state, logbook::short(short, note.as_deref(), reader.language).as_deref())
        }
        Check::DrainAndClean { note, .. } => noted(words.drained, note.as_deref()),
        Check::Thermometer { what, shown_c, reference_c, reference, .. } => {
            let (shown, right) = reader.pair(*shown_c, *reference_c);
            let symbol = reader.scale.symbol();
            let pair = (
                "{what}: {shown}, against {right} ({reference})",
                "{what}: {shown}, frente a {right} ({reference})",
            );
            let (shown, right) = (format!("{shown} {symbol}"), format!("{right} {symbol}"));
            let values =
                [("what", what.as_str()), ("shown", &shown), ("right", &right), ("reference", reference)];
            filled(say(reader.language, pair), &values)
        }
    }
}

fn noted(state: &str, note: Option<&str>) -> String {
    note.map_or_else(|| state.to_owned(), |note| format!("{state}: {note}"))
}

/// That a form was sent with fields that it does not know; `None` where it was not.
pub(super) fn unknown_fields(unknown: &BTreeMap<String, String>, language: Language) -> Option<String> {
    let names: Vec<String> = unknown.keys().map(|name| format!("«{name}»")).collect();
    let told = (
        "The form was sent with what it does not know: {names}. It may be from before an update: look over what stands here and send it again.",
        "El formulario se envió con algo que no conoce: {names}. Puede ser de antes de una actualización: revise lo que pone aquí y envíelo otra vez.",
    );
    (!names.is_empty()).then(|| filled(say(language, told), &[("names", &names.join(", "))]))
}

/// An amendment as a sentence.
pub(in crate::web) fn amended(amendment: &Amendment, reader: &Reader) -> String {
    let (what, values) = match &amendment.change {
        AmendmentChange::Comment => {
            (("Comment by {by}: {reason}", "Comentario de {by}: {reason}"), String::new())
        }
        AmendmentChange::Withdrawn => {
            (("Withdrawn by {by}: {reason}", "Retirado por {by}: {reason}"), String::new())
        }
        AmendmentChange::Corrected(check) => (
            (
                "Corrected by {by} to {values}, made {made}: {reason}",
                "Corregido por {by} a {values}, hecho {made}: {reason}",
            ),
            of_check(check, reader),
        ),
    };
    let made = match &amendment.change {
        AmendmentChange::Comment | AmendmentChange::Withdrawn => String::new(),
        AmendmentChange::Corrected(check) => reader.moment(check.at()),
    };
    let known =
        [("by", amendment.by.as_str()), ("reason", &amendment.reason), ("values", &values), ("made", &made)];
    filled(say(reader.language, what), &known)
}
