//! Words of the pages of probes in each language.

use super::{Due, Kind};
use crate::core::channel::Place;
use crate::core::reader::Language;
use crate::web::frame::said;

/// Words of the pages.
#[derive(Debug)]
pub(super) struct Words {
    pub(super) title: &'static str,
    pub(super) none: &'static str,
    pub(super) before: &'static str,
    pub(super) unheard: &'static str,
    pub(super) heard: &'static str,
    pub(super) silent: &'static str,
    pub(super) down: &'static str,
    pub(super) correction: &'static str,
    pub(super) uncorrected: &'static str,
    pub(super) record: &'static str,
    pub(super) holds: &'static str,
    pub(super) tau: &'static str,
    pub(super) no_tau: &'static str,
    pub(super) uncertain: &'static str,
    pub(super) at_work: &'static str,
    pub(super) prove: &'static str,
    pub(super) sign: &'static str,
    pub(super) sheet: &'static str,
    pub(super) calibrate: &'static str,
    pub(super) respond: &'static str,
    pub(super) signed: &'static str,
    pub(super) recorded: &'static str,
    pub(super) machine: &'static str,
    pub(super) caution: &'static str,
    pub(super) filed: &'static str,
    pub(super) calibrations: &'static str,
    pub(super) responses: &'static str,
    pub(super) proofs: &'static str,
    pub(super) nothing_filed: &'static str,
}

static ENGLISH: Words = Words {
    title: "Probes",
    none: "No temperature probe is configured.",
    before: "before calibration",
    unheard: "NOTHING HEARD since the gateway started",
    heard: "heard",
    silent: "SILENT: this was its last value,",
    down: "Source is down",
    correction: "Correction in force",
    uncorrected: "no correction",
    record: "record",
    holds: "holds until",
    tau: "Time constant",
    no_tau: "Time constant: never measured",
    uncertain: "Uncertainty (k = 2)",
    at_work: "is at it",
    prove: "Prove the wiring",
    sign: "Sign off",
    sheet: "Sheet of the sign-off",
    calibrate: "Calibrate",
    respond: "Test the response",
    signed: "It is signed off and on record: record",
    recorded: "It is on record and in force: record",
    machine: "Machine",
    caution: "Caution",
    filed: "On record",
    calibrations: "Calibrations, as found and as left",
    responses: "Response tests",
    proofs: "Proofs of the wiring",
    nothing_filed: "Nothing is on record.",
};

static SPANISH: Words = Words {
    title: "Sondas",
    none: "No hay ninguna sonda de temperatura configurada.",
    before: "antes de calibrar",
    unheard: "SIN LECTURAS desde que arrancó el equipo",
    heard: "oída",
    silent: "EN SILENCIO: este fue su último valor,",
    down: "Fuente caída",
    correction: "Corrección en vigor",
    uncorrected: "sin corrección",
    record: "registro",
    holds: "vale hasta el",
    tau: "Constante de tiempo",
    no_tau: "Constante de tiempo: nunca medida",
    uncertain: "Incertidumbre (k = 2)",
    at_work: "está en ello",
    prove: "Comprobar el cableado",
    sign: "Firmar",
    sheet: "Hoja de la firma",
    calibrate: "Calibrar",
    respond: "Probar la respuesta",
    signed: "Queda firmada y registrada: registro",
    recorded: "Queda registrado y en vigor: registro",
    machine: "Máquina",
    caution: "Precaución",
    filed: "Registrado",
    calibrations: "Calibraciones, como se encontró y como quedó",
    responses: "Pruebas de respuesta",
    proofs: "Comprobaciones del cableado",
    nothing_filed: "No consta nada.",
};

pub(super) const fn words(language: Language) -> &'static Words {
    match language {
        Language::English => &ENGLISH,
        Language::Spanish => &SPANISH,
    }
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
