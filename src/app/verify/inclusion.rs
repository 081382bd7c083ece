//! What `verify` answers of the proof of one record, as a page of a rack hands it out.

use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use serde::Serialize;

use super::print::printable;
use super::{tell, unchecked};
use crate::app::{Failure, Streams};
use crate::cli::VerifyArgs;
use crate::core::audit::Outcome;
use crate::core::causes::chain;
use crate::core::counted::Noun;
use crate::core::evidence::examine::{Kept, Trust};
use crate::core::evidence::inclusion::{Broken, Checked, PROOF_MAX, check};
use crate::core::reader::Language;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::report::said;

/// One thing that does not hold.
#[derive(Serialize)]
struct Told {
    /// A stable word for what it is.
    code: &'static str,
    /// What it is, in a sentence.
    text: String,
}

/// The record that is proved.
#[derive(Serialize)]
struct Proved {
    record: u64,
    machine: Option<String>,
    recorded: Timestamp,
    kind: &'static str,
    says: String,
    ledger: String,
    /// Number of records that the checkpoint counts.
    size: u64,
    sealed_at: Option<Timestamp>,
    key: Option<String>,
}

/// What came out.
#[derive(Serialize)]
struct Answer {
    outcome: Outcome,
    /// Absent where something does not hold: what is not proved tells nothing.
    #[serde(flatten)]
    proved: Option<Proved>,
    holds: Vec<String>,
    flaws: Vec<Told>,
    remarks: Vec<String>,
    /// What the ledgers are called of which checkpoints were given, and which are not this one.
    other_ledgers: Vec<String>,
}

/// Checks a proof and tells what came out. Of each of `unsigned`, the kept checkpoints that no key given signed,
/// what its ledger is called, and its file.
///
/// # Errors
/// [`Failure`] where it does not hold, or could not be checked.
pub(super) fn inclusion(
    arguments: &VerifyArgs,
    trust: &Trust,
    unsigned: &[(String, String)],
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let place = arguments.path.display().to_string();
    let file = read(&arguments.path).map_err(|error| {
        unchecked(place.clone()).because(&error).advice("check the path and who may read it")
    })?;
    if file.len() > PROOF_MAX {
        let long = unchecked(place).cause("it is longer than any proof of inclusion");
        return Err(long.advice("give the file as the page of the rack handed it out").into());
    }
    let answer = answer(check(&file, trust), trust, unsigned);
    let written = if arguments.json {
        serde_json::to_writer(&mut *streams.out, &answer)
            .map_err(std::io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else {
        write!(streams.out, "{place}: {answer}")
    };
    let written = written.and_then(|()| streams.out.flush());
    tell(conclude(&answer, place), written, &arguments.path)
}

fn read(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut file = Vec::new();
    File::open(path)?.take(PROOF_MAX as u64 + 1).read_to_end(&mut file)?;
    Ok(file)
}

fn answer(checked: Checked, trust: &Trust, unsigned: &[(String, String)]) -> Answer {
    let of = |broken: &Broken| Told { code: broken.code(), text: chain(broken) };
    let flaws: Vec<Told> = checked.broken.iter().map(of).collect();
    let kept = trust.kept.iter().zip(&checked.kept);
    let other_ledgers: Vec<String> = kept
        .filter(|(_, (_, kept))| *kept == Kept::OtherLedger)
        .map(|(checkpoint, _)| checkpoint.origin.clone())
        .collect();
    let outcome = match (flaws.is_empty(), other_ledgers.is_empty()) {
        (true, true) => Outcome::Whole,
        (true, false) => Outcome::NotChecked,
        (false, _) => Outcome::NotWhole,
    };
    let remarks = remarks(&checked, &other_ledgers, unsigned);
    let kept = checked.kept.clone();
    let proved = if flaws.is_empty() { proved(checked) } else { None };
    let holds = proved.as_ref().map_or_else(Vec::new, |proved| holds(proved, &kept));
    Answer { outcome, proved, holds, flaws, remarks, other_ledgers }
}

fn proved(checked: Checked) -> Option<Proved> {
    let (record, sealed) = (checked.record?, checked.sealed?);
    Some(Proved {
        record: checked.index,
        kind: record.body.kind(),
        says: said::said(&record.body),
        machine: record.machine,
        recorded: record.recorded,
        ledger: sealed.origin,
        size: sealed.head.size,
        sealed_at: checked.at,
        key: checked.key.map(|key| key.to_string()),
    })
}

fn holds(proved: &Proved, kept: &[(u64, Kept)]) -> Vec<String> {
    let Proved { record, machine, recorded, says, ledger, size, sealed_at, key, .. } = proved;
    let of = machine.as_ref().map_or_else(|| "the whole site".to_owned(), |machine| format!("«{machine}»"));
    let at = sealed_at.map_or_else(String::new, |at| format!(" at {at}"));
    let by = key.as_deref().unwrap_or_default();
    let mut holds = vec![
        format!("record {record}, of {of}, put on record at {recorded}: {says}"),
        format!(
            "it is number {record}, from 0, of the {size} records of «{ledger}» that the checkpoint seals"
        ),
        format!("the checkpoint was sealed{at} by {by}; not one byte of the record was changed since"),
    ];
    if kept.iter().any(|(_, kept)| *kept == Kept::Holds) {
        holds.push(format!("the checkpoint that you kept has the same root over {size} records"));
    }
    holds
}

fn remarks(checked: &Checked, others: &[String], unsigned: &[(String, String)]) -> Vec<String> {
    let mut remarks = Vec::new();
    if checked.broken.is_empty() {
        remarks.push(
            "it proves this one record and no other: not that none is missing beside it, nor what was said of it later \
             (amendments, alerts, corrective actions). Evidence of the day shows those"
                .to_owned(),
        );
        remarks.push(
            "the readings of a rack are not in it, and no seal tells whether a probe measured right: see its calibrations"
                .to_owned(),
        );
    }
    let outside = checked.kept.iter().filter(|(_, kept)| *kept == Kept::Outside);
    remarks.extend(outside.map(|(size, _)| {
        format!(
            "the kept checkpoint counts {size} records, so that it cannot be compared with this proof: verify evidence or \
             the ledger with it"
        )
    }));
    let compared = unsigned.iter().filter(|(origin, _)| !others.contains(origin));
    remarks.extend(compared.map(|(_, file)| {
        format!("no key given signed the checkpoint in «{file}»; it was compared all the same")
    }));
    remarks
}

/// The exit code, and what to do.
fn conclude(answer: &Answer, place: String) -> Result<(), Failure> {
    match answer.outcome {
        Outcome::Whole => Ok(()),
        Outcome::NotChecked => {
            let named: Vec<String> =
                answer.other_ledgers.iter().map(|origin| format!("«{origin}»")).collect();
            let cause =
                format!("a checkpoint given with --checkpoint is of another ledger: {}", named.join(", "));
            let advice =
                "give a checkpoint of the ledger that this is a proof of; what else was checked stands above";
            Err(unchecked(place).cause(cause).advice(advice).into())
        }
        Outcome::NotWhole => {
            let findings = Noun::Findings.of(answer.flaws.len() as u64, Language::English);
            let summary = format!("not whole: {findings}, listed above");
            let diagnostic = Diagnostic::error("verify-not-whole", summary).place(place);
            let by_key = answer.flaws.iter().all(|flaw| matches!(flaw.code, "signature" | "key"));
            let advice = if by_key {
                "give the key in force when it was sealed: a site that changed its key hands out the later one too"
            } else {
                "keep this file as it is, and fetch the proof anew from the page of the rack"
            };
            Err(diagnostic.advice(advice).advice("verify that one too, and the ledger itself").into())
        }
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let outcome = match self.outcome {
            Outcome::Whole => "whole",
            Outcome::NotWhole => "NOT WHOLE",
            Outcome::NotChecked => "could not be checked as asked for",
        };
        writeln!(f, "{outcome}: proof of one record")?;
        for told in &self.flaws {
            writeln!(f, "  fails:  {}", printable(&told.text))?;
        }
        for holds in &self.holds {
            writeln!(f, "  holds:  {}", printable(holds))?;
        }
        self.remarks.iter().try_for_each(|remark| writeln!(f, "  note:   {}", printable(remark)))
    }
}
