//! What a check of the ledger found, in plain words before the exact ones.

use super::story::Pair;
use crate::core::audit::{BesideFault, Finding, KeyFault, RecordFault, SealFault};

/// A finding: what it means, the exact sentence in English as `verify` prints it, and its record.
pub(super) struct Plain {
    pub(super) means: Pair,
    pub(super) exact: String,
    pub(super) record: Option<u64>,
}

pub(super) fn plain(finding: &Finding) -> Plain {
    let (means, record) = match finding {
        Finding::Record(fault) => of_record(fault),
        Finding::Beside(fault) => of_beside(fault),
        Finding::Seal(fault) => of_seal(fault),
        Finding::Key(fault) => of_key(fault),
    };
    Plain { means, exact: finding.to_string(), record }
}

const CHANGED: Pair =
    ("A record was CHANGED after it was made.", "Un asiento fue CAMBIADO después de hacerse.");
const LOOKUP: Pair = (
    "The tables for looking things up are not as the records: a list on these pages may be wrong; the records themselves are not touched by it.",
    "Las tablas de búsqueda no son como los asientos: alguna lista de estas páginas puede estar mal; a los asientos mismos no les afecta.",
);

const fn of_record(fault: &RecordFault) -> (Pair, Option<u64>) {
    match fault {
        RecordFault::RecordChanged { named } | RecordFault::KindDiffers { named, .. } => {
            (CHANGED, Some(named.record))
        }
        RecordFault::NotARecord { record, .. } => (CHANGED, Some(*record)),
        RecordFault::RecordsMissing { from, .. } => {
            (("Records were REMOVED.", "Se QUITARON asientos."), Some(*from))
        }
        RecordFault::RecordsUnreadable { from, .. } => (
            (
                "A part of the file is damaged and cannot be read.",
                "Una parte del archivo está dañada y no se puede leer.",
            ),
            Some(*from),
        ),
        RecordFault::RecordOutOfPlace { .. } => {
            (("Something was PUT IN where no record is.", "Se METIÓ algo donde no hay asiento."), None)
        }
        RecordFault::TimeRunsBack { named, .. } => (
            (
                "The times run back without a record that a clock was set: records may have been put in.",
                "Las horas van hacia atrás sin que conste un cambio de reloj: puede que se hayan metido asientos.",
            ),
            Some(named.record),
        ),
    }
}

const fn of_beside(fault: &BesideFault) -> (Pair, Option<u64>) {
    const TRACE: Pair = (
        "The readings that a rack was judged on are missing or were CHANGED; its record still says what was found.",
        "Las lecturas con que se juzgó una canasta faltan o se CAMBIARON; su asiento sigue diciendo lo hallado.",
    );
    match fault {
        BesideFault::CycleRowMissing { named } | BesideFault::CycleRowDiffers { named, .. } => {
            (LOOKUP, Some(named.record))
        }
        BesideFault::TraceMissing { named } | BesideFault::TraceDiffers { named } => {
            (TRACE, Some(named.record))
        }
        BesideFault::CycleRowStray { .. }
        | BesideFault::IndexDiffers { .. }
        | BesideFault::LookupDiffers { .. }
        | BesideFault::DayDiffers { .. } => (LOOKUP, None),
        BesideFault::TraceStray { .. } => (TRACE, None),
        BesideFault::BlockDamaged { .. } | BesideFault::TailDamaged { .. } => (
            (
                "Stored readings between the racks are damaged; no record depends on them.",
                "Lecturas guardadas entre canastas están dañadas; ningún asiento depende de ellas.",
            ),
            None,
        ),
        BesideFault::TableUnreadable { .. } => (
            (
                "A part of the file is damaged and cannot be read.",
                "Una parte del archivo está dañada y no se puede leer.",
            ),
            None,
        ),
        BesideFault::StateDiffers { .. } => (
            (
                "The ledger counts other records than there are: some were removed, put in or changed.",
                "El registro cuenta otros asientos que los que hay: algunos se quitaron, metieron o cambiaron.",
            ),
            None,
        ),
    }
}

const fn of_seal(fault: &SealFault) -> (Pair, Option<u64>) {
    match fault {
        SealFault::NotAsSealed { from, .. } => (
            (
                "Records are NOT as they were sealed: something between these two was changed, removed or put in.",
                "Hay asientos que NO están como se sellaron: algo entre estos dos se cambió, quitó o metió.",
            ),
            Some(*from),
        ),
        SealFault::CutBack { .. } => (
            (
                "Records are MISSING at the end: a checkpoint counts more than there are.",
                "FALTAN asientos al final: un punto de control cuenta más de los que hay.",
            ),
            None,
        ),
        SealFault::NotACheckpoint { .. }
        | SealFault::CheckpointsMissing { .. }
        | SealFault::CheckpointRowDiffers { .. }
        | SealFault::TimeNotSigned { .. } => {
            (("A checkpoint is missing or was changed.", "Un punto de control falta o fue cambiado."), None)
        }
        SealFault::Unsigned { .. } => (
            (
                "The signature of a checkpoint does not hold: somebody without the key made or changed it.",
                "La firma de un punto de control no es válida: alguien sin la clave lo hizo o lo cambió.",
            ),
            None,
        ),
        SealFault::NotComparable { record, .. } => (
            (
                "A checkpoint cannot be compared, since a record before it is not to be had.",
                "Un punto de control no se puede comparar, pues falta un asiento anterior.",
            ),
            Some(*record),
        ),
    }
}

const fn of_key(fault: &KeyFault) -> (Pair, Option<u64>) {
    match fault {
        KeyFault::KeyUnknown { .. } => (
            (
                "The key of this gateway is none of this ledger: it is another ledger, or was written anew.",
                "La clave de este equipo no es de este registro: es otro registro, o se escribió de nuevo.",
            ),
            None,
        ),
        KeyFault::KeyNotVouchedFor { record, .. } | KeyFault::KeyRecord { record, .. } => (
            (
                "The key changed in a way that nobody vouches for.",
                "La clave cambió de un modo que nadie avala.",
            ),
            Some(*record),
        ),
    }
}
