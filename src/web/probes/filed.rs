//! What is on record of one probe, as tables.

use super::{Filed, pick, words};
use crate::core::on_file::Filed as OnFile;
use crate::core::reader::Reader;
use crate::core::record::{CalibrationDone, ResponseDone};
use crate::core::technician::words::{correction, degrees, finding, signed, width};

/// All of it.
pub(super) struct Tables {
    pub(super) tables: Vec<Table>,
}

/// One table; every row has as many cells as there are heads.
pub(super) struct Table {
    pub(super) heading: &'static str,
    pub(super) heads: Vec<&'static str>,
    pub(super) rows: Vec<Vec<String>>,
}

impl Tables {
    pub(super) fn new(filed: &Filed, reader: &Reader) -> Self {
        let words = words::words(reader.language);
        let say = |english, spanish| pick(reader.language, english, spanish);
        let (when, record, by) = (say("When", "Cuándo"), say("Record", "Registro"), say("By", "Por"));
        let calibrations = Table {
            heading: words.calibrations,
            heads: vec![
                when,
                say("As found", "Como se encontró"),
                say("As left", "Como quedó"),
                say("Points", "Puntos"),
                say("Uncertainty", "Incertidumbre"),
                say("Holds until", "Vale hasta"),
                by,
                record,
            ],
            rows: filed.calibrations.iter().map(|filed| calibration(filed, reader)).collect(),
        };
        let responses = Table {
            heading: words.responses,
            heads: vec![
                when,
                words.tau,
                say("Step", "Escalón"),
                say("Fast enough", "Bastante rápida"),
                by,
                record,
            ],
            rows: filed.responses.iter().map(|filed| response(filed, reader)).collect(),
        };
        let proofs = Table {
            heading: words.proofs,
            heads: vec![when, say("Found", "Hallado"), say("Seen", "Visto"), by, record],
            rows: filed
                .proofs
                .iter()
                .map(|(index, at, by, found)| {
                    let mark = if found.good { "✓" } else { "✗" };
                    let word = finding(&found.finding, reader.language);
                    vec![
                        reader.moment(*at),
                        format!("{mark} {word}"),
                        found.seen.clone(),
                        by.clone(),
                        index.to_string(),
                    ]
                })
                .collect(),
        };
        Self { tables: vec![calibrations, responses, proofs] }
    }
}

/// When, with that it was withdrawn.
fn since<Done>(filed: &OnFile<Done>, reader: &Reader) -> String {
    let withdrawn = filed
        .withdrawn
        .map(|at| format!(" · {} {}", pick(reader.language, "WITHDRAWN", "RETIRADA"), reader.moment(at)));
    format!("{}{}", reader.moment(filed.since), withdrawn.unwrap_or_default())
}

fn calibration(filed: &OnFile<CalibrationDone>, reader: &Reader) -> Vec<String> {
    let done = &filed.done;
    let told = |found| correction(found, reader.scale);
    let points = done.points.iter().map(|point| {
        format!(
            "{}: {} → {} ({})",
            degrees(reader.scale, point.reference_c),
            signed(reader.scale, point.found_error_c),
            signed(reader.scale, point.left_error_c),
            point.reference
        )
    });
    let note = done.note.iter().map(|note| format!("«{note}»"));
    vec![
        since(filed, reader),
        told(done.found),
        told(done.left),
        points.chain(note).collect::<Vec<String>>().join("; "),
        width(reader.scale, done.expanded_c),
        done.until.clone().unwrap_or_default(),
        done.by.clone(),
        filed.index.to_string(),
    ]
}

fn response(filed: &OnFile<ResponseDone>, reader: &Reader) -> Vec<String> {
    let done = &filed.done;
    let fast = match done.fast_enough {
        Some(true) => pick(reader.language, "✓ yes", "✓ sí"),
        Some(false) => pick(reader.language, "✗ NO", "✗ NO"),
        None => "–",
    };
    vec![
        since(filed, reader),
        format!("{:.2} ±{:.2} s", done.tau_s, done.expanded_s),
        format!("{} → {}", degrees(reader.scale, done.from_c), degrees(reader.scale, done.to_c)),
        fast.to_owned(),
        done.by.clone(),
        filed.index.to_string(),
    ]
}
