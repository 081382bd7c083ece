//! What put a rack in doubt which had passed, in words.

use crate::core::alert::Condition;
use crate::core::cycle::figures::Overtaken;
use crate::core::reader::Reader;
use crate::core::record::Amendment;
use crate::web::frame::said;
use crate::web::logbook::words::amended;

/// An alert that put a rack in doubt after it had passed.
#[derive(Clone, PartialEq, Debug)]
pub struct InDoubt {
    /// Its number.
    pub alert: u64,
    /// What it is about; `None` where the record that would say it is damaged.
    pub condition: Option<Condition>,
    /// The entry that found it wrong, where it is found on record.
    pub entry: Option<u64>,
    /// What the rack passed by, and what that entry found, where it is a test of the sanitizer.
    pub overtaken: Option<Overtaken>,
    /// What withdrew or corrected that entry, each with its record.
    pub later: Vec<(u64, Amendment)>,
}

/// The same in words.
pub(super) struct Told {
    pub(super) alert: u64,
    /// What was found wrong.
    pub(super) what: &'static str,
    pub(super) entry: Option<u64>,
    /// What it passed by, and what the entry found.
    pub(super) overtaken: Option<String>,
    /// What became of the entry since.
    pub(super) later: Vec<String>,
}

pub(super) fn told(doubt: &InDoubt, reader: &Reader) -> Told {
    let what = match doubt.condition {
        Some(Condition::Weak) => said(
            reader.language,
            "A test found the sanitizer outside its range",
            "Una prueba halló el desinfectante fuera de su rango",
        ),
        Some(Condition::ThermometerOff) => said(
            reader.language,
            "A comparison found that the thermometer shows too much",
            "Una comparación halló que el termómetro marca de más",
        ),
        Some(_) | None => said(
            reader.language,
            "What it passed by was found wrong",
            "Se halló erróneo aquello por lo que se dio por buena",
        ),
    };
    let later = doubt.later.iter().map(|(_, amendment)| amended(amendment, reader)).collect();
    let overtaken = doubt.overtaken.map(|overtaken| overtaken.told(reader));
    Told { alert: doubt.alert, what, entry: doubt.entry, overtaken, later }
}
