//! Verifies an export: evidence, a table of cycles beside it, or a PDF that holds both.
//!
//! Nothing but the file and the public key is needed. What is proved is proved of the records in
//! the evidence; a table and an account are compared with those. The printed pages of a PDF are
//! what the report program makes of the account: it makes them again, where it is installed.

use std::fmt;
use std::io::{self, Read};
use std::path::Path;

use jiff::tz::TimeZone;
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::account::{AccountCheck, AccountFault, Faults};
use super::attachments::AttachmentError;
use super::pages::{self, Pages};
use super::parts::{Parts, name_of, parts};
use super::print::printable;
use super::said;
use super::source::{Line, Source, next_line};
use super::table::{Beyond, Table, TableFault};
use crate::config::recorded::Recorded;
use crate::core::alert::doubts::Doubts;
use crate::core::audit::Outcome;
use crate::core::evidence::examine::{Examined, Examiner, Kept, Seen, Trust};
use crate::core::evidence::findings::{Finding, Flaw, Uncheckable};
use crate::core::evidence::{Entry, Header};
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::report::account::{ACCOUNT_FORMAT, Account, Form as OfForm};
use crate::report::pdf::ACCOUNT;

/// What is written of every record of an alert but what people did about it.
const ALERT: &[u8] = b"alert-";
/// Longest account that is read, bytes (own choice: one with all the traces it may hold is a third of it).
const ACCOUNT_MAX: u64 = 512 << 20;

/// Why an export could not be checked.
#[derive(Debug, thiserror::Error)]
pub(in crate::app) enum CannotCheck {
    /// It cannot be read.
    #[error("it cannot be read")]
    Read(#[source] io::Error),
    /// Nothing is in it.
    #[error("the file is empty")]
    Empty,
    /// Another program saved it anew.
    #[error(
        "{what} begins with a byte order mark, which no export has: a spreadsheet or an editor saved it anew"
    )]
    Marked {
        /// The file, or its evidence.
        what: &'static str,
    },
    /// It is nothing that this program writes.
    #[error("it is neither a ledger nor evidence, nor a table of cycles, nor a report of rinseward")]
    Unknown,
    /// A table that evidence does not hold all of.
    #[error("of the tables only that of the cycles, and JSON Lines, can be checked against evidence")]
    OtherTable,
    /// A table proves nothing by itself.
    #[error("a table proves nothing by itself: the evidence made with it is needed")]
    Alone,
    /// What was given as evidence is none.
    #[error("its evidence cannot be checked")]
    Evidence(#[source] Uncheckable),
    /// Nothing can be taken out of the PDF.
    #[error("nothing can be taken out of it")]
    Attachments(#[from] AttachmentError),
    /// The PDF has no evidence in it.
    #[error(
        "it is a PDF without «{name}» in it: not a report of rinseward, or one whose attachments were taken out"
    )]
    Lacks {
        /// Name of the attachment.
        name: &'static str,
    },
    /// The PDF is larger than a report.
    #[error("it is larger than any report of rinseward")]
    TooLarge,
}

/// One thing that does not hold, in words and for programs.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub(in crate::app) struct Told {
    /// A stable word for what it is.
    pub(in crate::app) code: &'static str,
    /// What it is, in a sentence.
    pub(in crate::app) text: String,
    /// The file it is in.
    pub(in crate::app) file: String,
    /// Line of that file, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(in crate::app) line: Option<u64>,
    /// Index of the record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(in crate::app) record: Option<u64>,
    /// When that record was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(in crate::app) recorded: Option<Timestamp>,
}

/// What came out of checking an export.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub(in crate::app) struct ExportReport {
    /// Whether everything holds; the same word as of a ledger.
    pub(in crate::app) outcome: Outcome,
    /// Site and span, as the evidence has them.
    pub(in crate::app) site: String,
    /// First instant of the span.
    pub(in crate::app) from: Timestamp,
    /// First instant after it.
    pub(in crate::app) to: Timestamp,
    /// The public key that seals it.
    pub(in crate::app) key: Option<String>,
    /// Number of records that its checkpoint counts.
    pub(in crate::app) size: u64,
    /// What holds, one sentence each; empty where something does not.
    pub(in crate::app) holds: Vec<String>,
    /// What became of the printed pages of a report: `same`, `other` or `not-compared`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(in crate::app) pages: Option<&'static str>,
    /// What does not hold.
    pub(in crate::app) flaws: Vec<Told>,
    /// Further ones that are not told one by one.
    pub(in crate::app) more: u64,
    /// What is to be known beside it.
    pub(in crate::app) remarks: Vec<String>,
    /// What of the evidence lies outside a table that was made by itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(in crate::app) beyond: Option<Beyond>,
    /// What the ledgers are called of which checkpoints were given, and which are not this one.
    pub(in crate::app) other_ledgers: Vec<String>,
}

impl fmt::Display for ExportReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{}: «{}», {} to {}",
            match (self.outcome, &self.beyond, &self.pages) {
                (Outcome::NotWhole, ..) => "NOT WHOLE",
                (Outcome::NotChecked, ..) => "could not be checked as asked for",
                (Outcome::Whole, Some(_), _) => "whole as far as it goes",
                (Outcome::Whole, None, Some("not-compared")) => "whole, its printed pages not compared",
                (Outcome::Whole, None, _) => "whole",
            },
            printable(&self.site),
            self.from,
            self.to
        )?;
        for told in &self.flaws {
            writeln!(f, "  fails:  {}", printable(&told.text))?;
        }
        if self.more > 0 {
            writeln!(f, "  fails:  {} more, not told one by one", self.more)?;
        }
        for holds in &self.holds {
            writeln!(f, "  holds:  {}", printable(holds))?;
        }
        self.remarks.iter().try_for_each(|remark| writeln!(f, "  note:   {}", printable(remark)))
    }
}

/// Verifies an export with the public key and the kept checkpoints that the auditor brings along;
/// `with` is the evidence of a table, or the PDF that holds it. The pages of a report are made again where they are to
/// be read, which takes as long as making it did.
///
/// # Errors
/// [`CannotCheck`] where it says nothing, neither that the export holds nor that it does not.
pub(in crate::app) fn verify_export(
    path: &Path,
    with: Option<&Path>,
    trust: Trust,
    reads_pages: bool,
) -> Result<ExportReport, CannotCheck> {
    let parts = parts(path, with)?;
    let origins: Vec<String> = trust.kept.iter().map(|kept| kept.origin.clone()).collect();
    let Compared { examined, named, rows, beyond, table, account, program } = compared(&parts, trust)?;
    let mut flaws: Vec<Told> =
        examined.findings.told.iter().map(|finding| told(&parts.evidence.0, finding)).collect();
    if let Some((name, _, _)) = &parts.table {
        flaws.extend(table.iter().map(|fault| told_of_table(name, fault)));
    }
    flaws.extend(account.told.iter().map(told_of_account));
    // Of what does not hold no pages need be made.
    let pages = program.as_ref().filter(|_| flaws.is_empty()).and_then(|program| {
        let attached = parts.attached(program)?;
        let asked = reads_pages.then(|| pages::pages(&attached));
        Some(asked.unwrap_or_else(|| Pages::NotCompared("that was asked for".to_owned())))
    });
    if pages == Some(Pages::Other) {
        flaws.push(told_of_pages(name_of(path)));
    }
    let kept = origins.into_iter().zip(&examined.kept);
    let other_ledgers: Vec<String> =
        kept.filter(|(_, (_, kept))| *kept == Kept::OtherLedger).map(|(origin, _)| origin).collect();
    let outcome = match (flaws.is_empty(), other_ledgers.is_empty()) {
        (true, true) => Outcome::Whole,
        (true, false) => Outcome::NotChecked,
        (false, _) => Outcome::NotWhole,
    };
    Ok(ExportReport {
        outcome,
        holds: if flaws.is_empty() {
            said::holds(&examined, &parts, (rows, beyond.as_ref()), (program.is_some(), pages.as_ref()))
        } else {
            Vec::new()
        },
        remarks: said::remarks(&examined, &parts, (named, &account), pages.as_ref(), beyond.as_ref()),
        beyond,
        pages: pages.as_ref().map(Pages::code),
        site: examined.header.site.clone(),
        from: examined.header.from,
        to: examined.header.to,
        key: examined.sealed_by.map(|sealed| sealed.key),
        size: examined.header.size,
        flaws,
        other_ledgers,
        more: examined.findings.more + account.more,
    })
}

/// The parts of an export against its evidence.
struct Compared {
    examined: Examined,
    /// Whether a record names the site.
    named: bool,
    /// Rows of the table.
    rows: Option<usize>,
    /// What of the evidence has no row in it.
    beyond: Option<Beyond>,
    /// What of the table does not hold.
    table: Vec<TableFault>,
    /// What of the account does not.
    account: Faults,
    /// Version of the program that made the account, where that can be read.
    program: Option<String>,
}

fn compared(parts: &Parts, trust: Trust) -> Result<Compared, CannotCheck> {
    let mut table = match &parts.table {
        Some((_, form, source)) => Some(Table::read(*form, source.clone()).map_err(CannotCheck::Read)?),
        None => None,
    };
    if let Some(table) = &mut table {
        // Evidence that breaks off is told as not whole where it is examined, below.
        if let Ok(doubts) = doubts(&parts.evidence.1) {
            table.doubted_by(doubts);
        }
    }
    let rows = table.as_ref().map(Table::rows);
    let mut faults = Faults::default();
    let attached = parts.account.as_ref().map(read_account).transpose()?;
    let mut account = match attached.transpose() {
        Ok(account) => account,
        Err(fault) => {
            faults.push(fault);
            None
        }
    };
    let program = account.as_ref().map(|account| account.program.clone());
    let mut again: Option<AccountCheck> = None;
    let (examined, named) = examine(&parts.evidence.1, trust, |seen, header, zone| {
        if let Some(table) = &mut table {
            table.compare(seen, header, zone);
        }
        if let Some(account) = account.take() {
            again = Some(AccountCheck::new(account, header, zone));
        }
        if let Some(again) = &mut again {
            again.take(seen);
        }
    })?;
    let (table, beyond) = match table {
        Some(table) => {
            table.finish(parts.printed.is_some(), examined.header.size).map_err(CannotCheck::Read)?
        }
        None => (Vec::new(), None),
    };
    let account = again.map_or(faults, AccountCheck::finish);
    Ok(Compared { examined, named, rows, beyond, table, account, program })
}

fn read_account(source: &Source) -> Result<Result<Account, AccountFault>, CannotCheck> {
    Ok(match of_account(source)? {
        Some(OfForm { v }) if v != ACCOUNT_FORMAT => Err(AccountFault::Form { v }),
        Some(_) | None => of_account(source)?.ok_or(AccountFault::Shape),
    })
}

/// Reads an account, or its form; `None` where it is none.
fn of_account<T: DeserializeOwned>(source: &Source) -> Result<Option<T>, CannotCheck> {
    // Packed it may be a thousand times longer than it looks; what is cut off is no account.
    match serde_json::from_reader(source.open().map_err(CannotCheck::Read)?.take(ACCOUNT_MAX)) {
        Ok(read) => Ok(Some(read)),
        Err(error) if error.is_io() => Err(CannotCheck::Read(error.into())),
        Err(_) => Ok(None),
    }
}

/// What puts racks in doubt by the records of alerts in the evidence, which come after those racks. Whether these
/// records are sealed is found when it is examined.
fn doubts(source: &Source) -> io::Result<Doubts> {
    let (mut input, mut buffer, mut doubts) = (source.open()?, Vec::new(), Doubts::default());
    loop {
        match next_line(&mut *input, &mut buffer)? {
            Line::End => break,
            Line::TooLong => continue,
            Line::Whole => {}
        }
        // Most lines are of cycles, and are read once.
        if !buffer.windows(ALERT.len()).any(|part| part == ALERT) {
            continue;
        }
        if let Ok(Entry { index, record, .. }) = serde_json::from_slice::<Entry<'_>>(&buffer)
            && let Ok(record) = Record::from_bytes(record.as_bytes())
        {
            doubts.take(index, &record);
        }
    }
    Ok(doubts)
}

/// What comes of the evidence, and whether a record in it names the site and its zone.
fn examine(
    source: &Source,
    trust: Trust,
    mut each: impl FnMut(&Seen, &Header, &TimeZone),
) -> Result<(Examined, bool), CannotCheck> {
    let mut input = source.open().map_err(CannotCheck::Read)?;
    let mut buffer = Vec::new();
    let mut examiner = match next_line(&mut *input, &mut buffer).map_err(CannotCheck::Read)? {
        Line::End => return Err(CannotCheck::Evidence(Uncheckable::Empty)),
        Line::Whole | Line::TooLong => Examiner::start(&buffer, trust).map_err(CannotCheck::Evidence)?,
    };
    let header = examiner.header().clone();
    let zone = TimeZone::get(&header.zone).unwrap_or(TimeZone::UTC);
    let mut configured: Option<Seen> = None;
    loop {
        let seen = match next_line(&mut *input, &mut buffer) {
            Ok(Line::End) => break,
            Ok(Line::TooLong) => {
                examiner.long_line();
                continue;
            }
            Ok(Line::Whole) => examiner.line(&buffer),
            // Packed bytes that end early: what was read so far is told, and that it is cut.
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::UnexpectedEof | io::ErrorKind::InvalidInput | io::ErrorKind::InvalidData
                ) =>
            {
                break;
            }
            Err(error) => return Err(CannotCheck::Read(error)),
        };
        let Some(seen) = seen else { continue };
        each(&seen, &header, &zone);
        if matches!(seen.record.body, Body::ConfigurationChange(_)) {
            configured = Some(seen);
        }
    }
    let named = configured.is_some_and(|seen| compare_names(&mut examiner, &header, &seen));
    Ok((examiner.finish(), named))
}

/// Name and zone of the site must be those of the newest configuration in the file; `false` where
/// that cannot be told.
fn compare_names(examiner: &mut Examiner, header: &Header, seen: &Seen) -> bool {
    let Body::ConfigurationChange(change) = &seen.record.body else { return false };
    let Some(recorded) = Recorded::read(&change.toml) else { return false };
    for (what, said, recorded) in [
        ("the site is called", &header.site, recorded.site),
        ("its time zone is", &header.zone, recorded.zone),
    ] {
        if recorded != *said {
            examiner.note(Some(1), Some(seen), Flaw::Name { what, said: said.clone(), recorded });
        }
    }
    true
}

fn told(file: &str, finding: &Finding) -> Told {
    let mut place = file.to_owned();
    if let Some(line) = finding.line {
        place = format!("{place}, line {line}");
    }
    match (finding.record, finding.recorded) {
        (Some(record), Some(at)) => place = format!("{place}, record {record} (made {at})"),
        (Some(record), None) => place = format!("{place}, record {record}"),
        (None, _) => {}
    }
    Told {
        code: finding.flaw.code(),
        text: format!("{place}: {}", finding.flaw),
        file: file.to_owned(),
        line: finding.line,
        record: finding.record,
        recorded: finding.recorded,
    }
}

fn told_of_table(file: &str, fault: &TableFault) -> Told {
    let (line, record, recorded) = match fault {
        TableFault::Columns | TableFault::ManyRows | TableFault::More { .. } => (None, None, None),
        TableFault::Row { line } | TableFault::LongRow { line } => (Some(*line), None, None),
        TableFault::Twice { line, record, .. }
        | TableFault::Added { line, record }
        | TableFault::Later { line, record, .. } => (Some(*line), Some(*record), None),
        TableFault::Missing { record, .. } => (None, Some(*record), None),
        TableFault::Doubt { line, record, .. } => (Some(*line), Some(*record), None),
        TableFault::Cell { line, record, recorded, .. } => (Some(*line), Some(*record), Some(*recorded)),
    };
    let text = format!("{file}: {fault}");
    Told { code: fault.code(), text, file: file.to_owned(), line, record, recorded }
}

fn told_of_account(fault: &AccountFault) -> Told {
    let (code, text, record) = (fault.code(), fault.to_string(), fault.record());
    Told { code, text, file: ACCOUNT.to_owned(), line: None, record, recorded: None }
}

fn told_of_pages(file: String) -> Told {
    let text = format!(
        "{file}: its printed pages are not those that rinseward-report {} makes of account.json: they were changed, or \
         another build of the program made them",
        env!("CARGO_PKG_VERSION")
    );
    Told { code: "pages-changed", text, file, line: None, record: None, recorded: None }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: evidence that cannot be read to its end says nothing: what it does not tell puts no rack in doubt
    // silently.
    #[test]
    fn evidence_that_breaks_off_is_told() {
        use std::io::Write as _;
        let lines = (0..20_000).fold(String::new(), |lines, at| lines + &format!("{{\"line\":{at}}}\n"));
        let mut packer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
        packer.write_all(lines.as_bytes()).expect("memory");
        let whole = packer.finish().expect("memory");
        let read = |bytes: &[u8]| doubts(&Source::Attachment { bytes: bytes.into(), packed: true });
        assert!(read(&whole).is_ok());
        assert!(read(&whole[..whole.len() / 2]).is_err(), "half of it");
    }
}
