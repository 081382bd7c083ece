//! What `verify` answers of an export, in words or as JSON, and the code it exits with.

use super::export::{CannotCheck, ExportReport, verify_export};
use super::{tell, unchecked};
use crate::app::{Failure, Streams};
use crate::cli::VerifyArgs;
use crate::core::audit::Outcome;
use crate::core::counted::Noun;
use crate::core::evidence::examine::Trust;
use crate::core::reader::Language;
use crate::diagnostic::Diagnostic;

/// Verifies an export and tells what came out. Of each of `unsigned`, the kept checkpoints that no key given signed,
/// what its ledger is called, and its file.
///
/// # Errors
/// [`Failure`] where it is not whole, or could not be checked.
pub(super) fn export(
    arguments: &VerifyArgs,
    trust: Trust,
    unsigned: &[(String, String)],
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let place = arguments.path.display().to_string();
    let mut report =
        verify_export(&arguments.path, arguments.with.as_deref(), trust, !arguments.records_only)
            .map_err(|error| unchecked(place.clone()).because(&error).advice(advice(&error)))?;
    let compared = unsigned.iter().filter(|(origin, _)| !report.other_ledgers.contains(origin));
    let compared = compared.map(|(_, file)| {
        format!("no key given signed the checkpoint in «{file}»; it was compared all the same")
    });
    report.remarks.extend(compared.collect::<Vec<String>>());
    let written = if arguments.json {
        serde_json::to_writer(&mut *streams.out, &report)
            .map_err(std::io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else {
        write!(streams.out, "{place}: {report}")
    };
    let written = written.and_then(|()| streams.out.flush());
    tell(conclude(&report, place), written, &arguments.path)
}

/// The exit code, and what to do.
fn conclude(report: &ExportReport, place: String) -> Result<(), Failure> {
    if report.outcome == Outcome::Whole {
        return Ok(());
    }
    if report.outcome == Outcome::NotChecked {
        let named: Vec<String> = report.other_ledgers.iter().map(|origin| format!("«{origin}»")).collect();
        let cause =
            format!("a checkpoint given with --checkpoint is of another ledger: {}", named.join(", "));
        let advice =
            "give a checkpoint of the ledger that this is an export of; what else was checked stands above";
        return Err(unchecked(place).cause(cause).advice(advice).into());
    }
    let count = report.flaws.len() as u64 + report.more;
    let findings = Noun::Findings.of(count, Language::English);
    let diagnostic =
        Diagnostic::error("verify-not-whole", format!("not whole: {findings}, listed above")).place(place);
    // A table of an hour ago is no forgery beside evidence of two hours ago.
    let is_newer = report.flaws.iter().any(|told| told.code == "row-later");
    let diagnostic = if is_newer {
        diagnostic.advice(
            "the evidence is older than the table: export evidence of the same days now, and verify the table with that first",
        )
    } else {
        diagnostic
    };
    let diagnostic = diagnostic
        .advice("keep this file as it is, and ask the site for a new export of the same span")
        .advice("verify that one too, and the ledger itself");
    Err(diagnostic.into())
}

const fn advice(error: &CannotCheck) -> &'static str {
    match error {
        CannotCheck::Read(_) => "check the path and who may read it",
        CannotCheck::OtherTable => {
            "give cycles.csv or the JSON Lines; what else was exported is checked inside a report (PDF), or by the ledger"
        }
        CannotCheck::Alone => {
            "rinseward verify TABLE --with EVIDENCE --key KEY; `rinseward export --form evidence` writes the evidence"
        }
        CannotCheck::Marked { .. } => {
            "give the file as it was exported; `tail -c +4 FILE > OTHER` takes the mark off, and what else was changed is then told"
        }
        CannotCheck::Unknown | CannotCheck::Empty | CannotCheck::Evidence(_) => {
            "give the file as it was exported; where a later version wrote it, verify it with that version"
        }
        CannotCheck::Attachments(_) | CannotCheck::Lacks { .. } | CannotCheck::TooLarge => {
            "give the PDF as the report program wrote it: printing or joining it anew loses what is inside"
        }
    }
}
