//! What is on record of one probe, as lists.

use super::{Compared, Filed, FiledProof, words};
use crate::core::logbook::words::tell;
use crate::core::logbook::{Lacking, judge_known};
use crate::core::on_file::Filed as OnFile;
use crate::core::reader::Reader;
use crate::core::record::{CalibrationDone, Check, ResponseDone};
use crate::core::technician::words::{correction, degrees, reference, signed, width};
use crate::core::wiring::finding;
use crate::web::frame::said;
use crate::web::logbook::words::of_check;

/// All records of one kind.
pub(super) struct Kept {
    pub(super) heading: &'static str,
    pub(super) items: Vec<Item>,
}

/// One record: when and by whom, and what was done.
pub(super) struct Item {
    pub(super) head: String,
    pub(super) lines: Vec<String>,
}

/// What is on record, in the order in which probes are fitted.
pub(super) fn kept(filed: &Filed, reader: &Reader) -> [Kept; 3] {
    let words = words::words(reader.language);
    let proofs = filed.proofs.iter().map(|FiledProof { index, at, by, found, withdrawn }| {
        let mark = if found.good { "✓" } else { "✗" };
        let word = finding(&found.finding, reader.language);
        let seen = found.told(reader.language, reader.scale);
        let said = said(reader.language, " · WITHDRAWN", " · RETIRADA");
        let withdrawn = if *withdrawn { said } else { "" };
        let head = format!("{} · {by} [{} {index}]{withdrawn}", reader.moment(*at), words.record);
        Item { head, lines: vec![format!("{mark} {word}: {}", seen)] }
    });
    [
        Kept {
            heading: words.calibrations,
            items: filed.calibrations.iter().map(|filed| calibration(filed, reader)).collect(),
        },
        Kept {
            heading: words.responses,
            items: filed.responses.iter().map(|filed| response(filed, reader)).collect(),
        },
        Kept { heading: words.proofs, items: proofs.collect() },
    ]
}

/// When, by whom, and that it was withdrawn.
fn head<Done>(filed: &OnFile<Done>, by: &str, reader: &Reader) -> String {
    let withdrawn = filed
        .withdrawn
        .map(|at| format!(" · {} {}", said(reader.language, "WITHDRAWN", "RETIRADA"), reader.moment(at)));
    let record = words::words(reader.language).record;
    let withdrawn = withdrawn.unwrap_or_default();
    format!("{} · {by} [{record} {}]{withdrawn}", reader.moment(filed.since), filed.index)
}

/// When a probe was compared, by whom, what it showed, by how much it was off, and how that was judged.
pub(super) fn compared(Compared { check, .. }: &Compared, reader: &Reader) -> Item {
    let (verdict, why) = judged(check, reader);
    let lines = vec![of_check(check, reader), format!("{verdict} {why}")];
    Item { head: format!("{} · {}", reader.moment(check.at()), check.by()), lines }
}

/// How a comparison was judged, with its mark, and why.
pub(in crate::web) fn judged(check: &Check, reader: &Reader) -> (String, String) {
    let judgement = judge_known(check, None);
    let told = tell(&judgement, check.kind(), Lacking::default(), reader);
    let mark = if judgement.good == Some(false) { "✗" } else { "✓" };
    (format!("{mark} {}", told.verdict), told.why.join(" "))
}

fn calibration(filed: &OnFile<CalibrationDone>, reader: &Reader) -> Item {
    let done = &filed.done;
    let say = |english, spanish| said(reader.language, english, spanish);
    let (found, left) = (correction(done.found, reader.scale), correction(done.left, reader.scale));
    let (as_found, as_left) = (say("as found", "como se encontró"), say("as left", "como quedó"));
    let mut lines = vec![format!("{}: {found} → {left}", say("Correction", "Corrección"))];
    lines.extend(done.points.iter().map(|point| {
        format!(
            "{} ({}): {as_found} {}, {as_left} {}",
            degrees(reader.scale, point.reference_c),
            reference(reader.language, &point.against),
            signed(reader.scale, point.found_error_c),
            signed(reader.scale, point.left_error_c)
        )
    }));
    let words = words::words(reader.language);
    let until = done.until.as_ref().map(|until| format!(", {} {until}", words.holds)).unwrap_or_default();
    lines.push(format!("{}: {}{until}", words.uncertain, width(reader.scale, done.expanded_c)));
    lines.extend(done.note.iter().map(|note| format!("«{note}»")));
    Item { head: head(filed, &done.by, reader), lines }
}

fn response(filed: &OnFile<ResponseDone>, reader: &Reader) -> Item {
    let done = &filed.done;
    let say = |english, spanish| said(reader.language, english, spanish);
    let (from, to) = (degrees(reader.scale, done.from_c), degrees(reader.scale, done.to_c));
    let tau = words::words(reader.language).tau;
    let mut lines = vec![format!("{tau}: {:.2} ±{:.2} s ({from} → {to})", done.tau_s, done.expanded_s)];
    lines.extend(done.fast_enough.map(|fast| {
        if fast {
            say("✓ fast enough for this rinse", "✓ bastante rápida para este enjuague")
        } else {
            say("✗ TOO SLOW for this rinse", "✗ DEMASIADO LENTA para este enjuague")
        }
        .to_owned()
    }));
    Item { head: head(filed, &done.by, reader), lines }
}
