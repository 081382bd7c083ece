//! Words of the pages of probes in each language.

use super::{Due, Kind, pick};
use crate::core::channel::Place;
use crate::core::reader::Language;
use crate::core::reading::Fault;
use crate::core::technician::gauge::Trend;

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
        Place::WashTank => pick(language, "wash tank", "tanque de lavado"),
        Place::FinalRinse => pick(language, "final rinse", "enjuague final"),
        Place::Ware => pick(language, "at a ware", "en una pieza"),
        Place::Other => pick(language, "elsewhere", "otro lugar"),
    }
}

/// What somebody is at.
pub(in crate::web) const fn kind(kind: Kind, language: Language) -> &'static str {
    match kind {
        Kind::Calibration => pick(language, "Calibration", "Calibración"),
        Kind::Response => pick(language, "Response test", "Prueba de respuesta"),
        Kind::Proof => pick(language, "Proof of the wiring", "Comprobación del cableado"),
    }
}

/// Which way a probe moves, with an arrow.
pub(super) const fn trend(trend: Trend, language: Language) -> &'static str {
    match trend {
        Trend::Steady => pick(language, "→ steady", "→ estable"),
        Trend::Rising => pick(language, "↑ rising", "↑ sube"),
        Trend::RisingFast => pick(language, "⇑ rising fast", "⇑ sube deprisa"),
        Trend::Falling => pick(language, "↓ falling", "↓ baja"),
        Trend::FallingFast => pick(language, "⇓ falling fast", "⇓ baja deprisa"),
    }
}

/// A fault, with where to look.
pub(super) const fn fault(fault: Fault, language: Language) -> &'static str {
    match fault {
        Fault::OpenCircuit => pick(
            language,
            "BROKEN WIRE: a lead is off, or its tip is burnt",
            "HILO ROTO: un cable suelto o la punta quemada",
        ),
        Fault::Short => pick(
            language,
            "SHORT CIRCUIT: the leads touch before the tip",
            "CORTOCIRCUITO: los cables se tocan antes de la punta",
        ),
        Fault::Reversed => pick(language, "LEADS EXCHANGED: swap + and −", "CABLES INVERTIDOS: cambie + y −"),
        Fault::OutOfRange => pick(
            language,
            "OUT OF RANGE: wrong type set, or no water is so",
            "FUERA DE RANGO: tipo equivocado; ningún agua está así",
        ),
        Fault::Stuck => pick(
            language,
            "STUCK: the same digits for too long",
            "INMÓVIL: los mismos dígitos demasiado tiempo",
        ),
        Fault::Silent => pick(language, "SILENT", "EN SILENCIO"),
        Fault::NoColdJunction => pick(
            language,
            "NO COLD JUNCTION: its terminals are not read",
            "SIN UNIÓN FRÍA: no se leen sus bornes",
        ),
        Fault::Reported => pick(
            language,
            "FAULT told by the source, or no number",
            "FALLO comunicado por la fuente, o no es un número",
        ),
    }
}

/// How the end of a calibration lies; empty where there is nothing to say.
pub(super) const fn due(due: Due, language: Language) -> &'static str {
    match due {
        Due::Never => pick(language, "NEVER CALIBRATED", "NUNCA CALIBRADA"),
        Due::Holds => "",
        Due::Soon => pick(language, "DUE SOON", "VENCE PRONTO"),
        Due::Over => pick(language, "OVERDUE", "VENCIDA"),
    }
}
