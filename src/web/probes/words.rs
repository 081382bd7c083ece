//! Words of the pages of probes in each language.

use super::{Due, Kind};
use crate::core::channel::{Place, Solution};
use crate::core::reader::Language;
use crate::core::signoff::chemistry::measures;
use crate::web::frame::said;
use crate::web::words::words;

words! {
    untested: "NOTHING ON RECORD, and nothing was heard since the gateway started", "NADA REGISTRADO, y nada se oyó desde que arrancó el equipo";
    too_old: "TOO OLD: racks are judged by a test for", "DEMASIADO ANTIGUO: las canastas se evalúan por una prueba durante";
    off_range: "outside its range", "fuera de su rango";
    title: "Probes", "Sondas";
    none: "No temperature probe is configured.", "No hay ninguna sonda de temperatura configurada.";
    before: "before calibration", "antes de calibrar";
    unheard: "NOTHING HEARD since the gateway started", "SIN LECTURAS desde que arrancó el equipo";
    just_now: "measured just now", "medida ahora";
    down: "Source is down", "Fuente caída";
    correction: "Correction in force", "Corrección en vigor";
    uncorrected: "no correction", "sin corrección";
    record: "record", "asiento";
    holds: "holds until", "vale hasta el";
    tau: "Time constant", "Constante de tiempo";
    no_tau: "Time constant: never measured", "Constante de tiempo: nunca medida";
    well: "well", "bien";
    is_silent: "silent", "en silencio";
    is_late: "behind time", "con retraso";
    at_fault: "at fault", "con fallo";
    source_down: "heard, but a source is down", "se oye, pero hay una fuente caída";
    is_off: "heard, but found off", "se oye, pero se halló desviada";
    off: "The last comparison found it off by more than is allowed: compare it again or calibrate it", "La última comparación la halló desviada más de lo permitido: compárela de nuevo o calíbrela";
    to_calibrate: "heard, but see its calibration", "se oye, pero vea su calibración";
    uncertain_now: "Uncertainty of what it shows, all in all (k = 2)", "Incertidumbre de lo que marca, en total (k = 2)";
    uncertain: "Uncertainty of that calibration alone (k = 2)", "Incertidumbre de esa calibración sola (k = 2)";
    at_work: "is at it", "está en ello";
    prove: "Prove the wiring", "Comprobar el cableado";
    sign: "Sign off", "Firmar";
    sign_off: "Sign-off", "Firma de conformidad";
    why: "See why", "Ver por qué";
    its_sheet: "Its sheet", "Su hoja";
    its_record: "Record", "Asiento";
    sheet: "Sheet of the sign-off", "Hoja de la firma";
    calibrate: "Calibrate", "Calibrar";
    respond: "Test the response", "Probar la respuesta";
    signed: "It is signed off and on record: record", "Queda firmada y registrada: asiento";
    recorded: "It is on record and in force: record", "Queda registrado y en vigor: asiento";
    aside: "It is on record, but it is not what is in force: record", "Queda registrado, pero no es lo que está en vigor: asiento";
    machine: "Machine", "Máquina";
    caution: "Caution", "Precaución";
    filed: "On record", "Registrado";
    calibrations: "Calibrations, as found and as left", "Calibraciones, como se encontró y como quedó";
    responses: "Response tests", "Pruebas de respuesta";
    proofs: "Proofs of the wiring", "Comprobaciones del cableado";
    compared: "Latest comparison with another thermometer", "Última comparación con otro termómetro";
    never_compared: "No comparison is on record.", "No consta ninguna comparación.";
    nothing_filed: "Nothing is on record.", "No consta nada.";
}

/// Where a probe sits.
pub(in crate::web) const fn place(place: Place, language: Language) -> &'static str {
    match place {
        Place::WashTank => said(language, "wash tank", "tanque de lavado"),
        Place::FinalRinse => said(language, "final rinse", "enjuague final"),
        Place::Ware => said(language, "at a ware", "en una pieza"),
        Place::Other => said(language, "elsewhere", "otro lugar"),
    }
}

/// What a channel of the sanitizing solution tells.
pub(in crate::web) const fn solution(solution: Solution, language: Language) -> &'static str {
    measures(solution, language)
}

/// What somebody is at.
pub(in crate::web) const fn kind(kind: Kind, language: Language) -> &'static str {
    match kind {
        Kind::Calibration => said(language, "Calibration", "Calibración"),
        Kind::Response => said(language, "Response test", "Prueba de respuesta"),
        Kind::Proof => said(language, "Proof of the wiring", "Comprobación del cableado"),
    }
}

/// How the end of a calibration lies; empty where there is nothing to say.
pub(super) const fn due(due: Due, language: Language) -> &'static str {
    match due {
        Due::Never => said(language, "NEVER CALIBRATED", "NUNCA CALIBRADA"),
        Due::Holds => "",
        Due::Soon => said(language, "DUE SOON", "VENCE PRONTO"),
        Due::Doubted => said(language, "IN DOUBT: CALIBRATE AGAIN", "EN DUDA: CALIBRE DE NUEVO"),
        Due::Over => said(language, "OVERDUE", "VENCIDA"),
    }
}
