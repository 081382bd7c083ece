//! The answer of `verify`, in words and as JSON.

use std::io::{self, Write};
use std::path::Path;

use serde::Serialize;

use crate::core::audit::{Finding, Kept, KeptAnswer, Outcome, Report};
use crate::ledger::ended_without_its_log;
use crate::ledger::walk::{Audited, Extent};

/// Writes the answer as one JSON object.
pub(super) fn json(out: &mut dyn Write, path: &Path, audited: &Audited, extent: Extent) -> io::Result<()> {
    #[derive(Serialize)]
    struct Answer<'a> {
        file: String,
        format: i64,
        records_only: bool,
        #[serde(flatten)]
        report: &'a Report,
        /// The findings in words, in the same order.
        said: Vec<String>,
    }
    let answer = Answer {
        file: path.display().to_string(),
        format: audited.format,
        records_only: extent == Extent::Records,
        report: &audited.report,
        said: audited.report.findings.iter().map(Finding::to_string).collect(),
    };
    serde_json::to_writer(&mut *out, &answer)?;
    writeln!(out)
}

/// Writes the answer in words.
pub(super) fn words(out: &mut dyn Write, path: &Path, audited: &Audited, extent: Extent) -> io::Result<()> {
    let report = &audited.report;
    let outcome = match report.outcome {
        Outcome::Whole => "whole",
        Outcome::NotWhole => "NOT WHOLE",
        Outcome::NotChecked => "could not be checked",
    };
    writeln!(out, "{}: {outcome}", path.display())?;
    let mut line = |head: &str, text: &str| writeln!(out, "  {head:<11} {}", printable(text));
    let mut text = report.records.to_string();
    if let (Some(first), Some(last)) = (report.first_recorded, report.last_recorded) {
        text.push_str(&format!(", recorded {first} to {last}"));
    }
    line("records", &text)?;
    line("sealed", &sealed(report))?;
    for (head, text) in not_proved(report) {
        line(head, &text)?;
    }
    line(
        "checkpoints",
        &format!("{} of {} in the ledger hold", report.checkpoints_hold, report.checkpoints),
    )?;
    for kept in &report.kept {
        line("kept", &kept_words(kept))?;
    }
    line(
        "traces",
        &match extent {
            Extent::Whole if report.traces == 1 => "1 is that its cycle was judged on".to_owned(),
            Extent::Whole => format!("{} are those their cycles were judged on", report.traces),
            Extent::Records => "not looked at, nor readings".to_owned(),
        },
    )?;
    line(
        "days",
        &match audited.days {
            Some(days) => days_kept(days),
            None => "no numbers are kept that this version would show: it counts the records".to_owned(),
        },
    )?;
    line(
        "unsealed",
        "readings between the cycles, and what the service works with (its places, letters not sent yet)",
    )?;
    for remark in &report.remarks {
        line("note", &remark.to_string())?;
    }
    if ended_without_its_log(path)
        && let Some(last) = report.last_recorded
    {
        line(
            "note",
            &format!(
                "the service had not ended when this was written, and no log (-wal) lies beside it: a backup is so; a file that was copied by hand lacks what came after {last}"
            ),
        )?;
    }
    if report.findings.is_empty() {
        return Ok(());
    }
    writeln!(out, "What does not hold:")?;
    for (finding, number) in report.findings.iter().zip(1..) {
        writeln!(out, "  {number}. {}", printable(&finding.to_string()))?;
    }
    if report.findings_more > 0 {
        writeln!(out, "  and {} more like these", report.findings_more)?;
    }
    Ok(())
}

/// The text on one line: what a file under examination says must not fake a line of the answer,
/// or drive a terminal.
pub(super) fn printable(text: &str) -> String {
    text.replace(char::is_control, " ")
}

/// What holds.
fn sealed(report: &Report) -> String {
    let Some(seal) = &report.sealed else {
        return "nothing: no checkpoint holds that a key given vouches for".to_owned();
    };
    let what = match seal.size {
        0 => "no record".to_owned(),
        1 => "record 0 is as it was sealed".to_owned(),
        size => format!("records 0 to {} are as they were sealed", size - 1),
    };
    let mut text = format!("{what}: {seal}");
    if let Some(key) = &report.sealed_by {
        text.push_str(&format!(", by «{key}»"));
    }
    text
}

/// That no checkpoint counts so many of the newest records, recorded since `when`.
fn not_sealed(newer: u64, when: &str) -> String {
    match newer {
        1 => format!("the newest record{when}: no checkpoint counts it yet, so nothing proves it"),
        _ => {
            format!("the newest {newer} records{when}: no checkpoint counts them yet, so nothing proves them")
        }
    }
}

/// What is said of the numbers that are kept of days of machines.
fn days_kept(days: u64) -> String {
    match days {
        0 => "no numbers are kept by day so far".to_owned(),
        1 => "the numbers kept of 1 day of a machine are those of its records".to_owned(),
        _ => format!("the numbers kept of {days} days of machines are those of their records"),
    }
}

/// Records that nothing proves: over which a checkpoint was made that does not hold, and those
/// for which none was made yet.
fn not_proved(report: &Report) -> Vec<(&'static str, String)> {
    let mut lines = Vec::new();
    let proved = report.sealed.as_ref().map_or(0, |seal| seal.size);
    let since = |since: Option<_>| since.map_or(String::new(), |since| format!(", recorded since {since}"));
    if report.counted > proved {
        let what = match report.counted - proved {
            1 => format!("record {proved}"),
            _ => format!("records {proved} to {}", report.counted - 1),
        };
        let when = since(report.not_sealed_since);
        lines.push(("not proved", format!("{what}{when}: no checkpoint made over them holds, see below")));
    }
    let newer = report.records.saturating_sub(report.counted.max(proved));
    if newer > 0 {
        let when = if report.counted > proved { String::new() } else { since(report.not_sealed_since) };
        lines.push(("not sealed", not_sealed(newer, &when)));
    }
    lines
}

fn kept_words(kept: &Kept) -> String {
    let answer = match kept.answer {
        KeptAnswer::Fits => "fits: none of these records was changed since",
        KeptAnswer::Differs => "DOES NOT FIT",
        KeptAnswer::CutBack => "SPEAKS OF MORE RECORDS THAN THERE ARE",
        KeptAnswer::NotComparable => "cannot be compared",
        KeptAnswer::OtherLedger => {
            return format!(
                "{}, IS OF ANOTHER LEDGER, «{}»: it says nothing of this one",
                kept.seal, kept.origin
            );
        }
    };
    format!("{}, {answer}", kept.seal)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own words: one is spoken of as one.
    #[test]
    fn one_is_told_as_one() {
        assert!(not_sealed(1, "").ends_with("counts it yet, so nothing proves it"));
        assert!(not_sealed(2, "").starts_with("the newest 2 records: no checkpoint counts them"));
        assert!(days_kept(1).contains("1 day of a machine") && days_kept(2).contains("2 days of machines"));
    }
}
