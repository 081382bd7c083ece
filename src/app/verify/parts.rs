//! What an export is made of: evidence, a table and an account, each a file or within a PDF.

use std::path::Path;

use super::attachments::attachments;
use super::export::CannotCheck;
use super::pages;
use super::source::Source;
use super::table::Form;
use crate::report::pdf::{ACCOUNT, CYCLES, EVIDENCE};

/// What the tables of an export begin with that are not of cycles.
const OTHER_TABLES: [&[u8]; 3] = [b"machine,", b"number,condition,", b"probe,since "];
/// The byte order mark of UTF-8 (RFC 3629 §6).
const MARK: &[u8] = b"\xEF\xBB\xBF";
/// Largest PDF that is read, bytes: a year of a large site is a tenth of it.
const PDF_MAX: u64 = 1 << 30;

/// What an export is made of.
pub(super) struct Parts {
    pub(super) evidence: (String, Source),
    pub(super) table: Option<(String, Form, Source)>,
    pub(super) account: Option<Source>,
    pub(super) printed: bool,
}

impl Parts {
    /// What the pages of a report are made of.
    pub(super) fn attached<'a>(&'a self, program: &'a str) -> Option<pages::Attached<'a>> {
        let (_, _, cycles) = self.table.as_ref()?;
        let (account, evidence) = (self.account.as_ref()?, &self.evidence.1);
        Some(pages::Attached { account, cycles, evidence, program })
    }
}

pub(super) fn parts(path: &Path, with: Option<&Path>) -> Result<Parts, CannotCheck> {
    let source = Source::File(path.to_path_buf());
    let name = name_of(path);
    let head = source.head().map_err(CannotCheck::Read)?;
    if is_pdf(&head) {
        let mut attached = attachments(read_pdf(path)?)?;
        let mut take = |name| attached.remove(name).ok_or(CannotCheck::Lacks { name });
        return Ok(Parts {
            evidence: (EVIDENCE.to_owned(), take(EVIDENCE)?),
            table: Some((CYCLES.to_owned(), Form::Csv, take(CYCLES)?)),
            account: Some(take(ACCOUNT)?),
            printed: true,
        });
    }
    if head.starts_with(MARK) {
        return Err(CannotCheck::Marked { what: "it" });
    }
    if is_evidence(&head) {
        return Ok(Parts { evidence: (name, source), table: None, account: None, printed: false });
    }
    let form = match head.first() {
        Some(b'{') if head.starts_with(b"{\"index\":") => Form::JsonLines,
        Some(b'{') => return Err(CannotCheck::OtherTable),
        Some(_) if head.starts_with(b"machine,started (") => Form::Csv,
        Some(_) if OTHER_TABLES.iter().any(|begin| head.starts_with(begin)) => {
            return Err(CannotCheck::OtherTable);
        }
        Some(_) => return Err(CannotCheck::Unknown),
        None => return Err(CannotCheck::Empty),
    };
    let with = with.ok_or(CannotCheck::Alone)?;
    let proof = Source::File(with.to_path_buf());
    let head = proof.head().map_err(CannotCheck::Read)?;
    if head.starts_with(MARK) {
        return Err(CannotCheck::Marked { what: "its evidence" });
    }
    let evidence = if is_pdf(&head) {
        let found = attachments(read_pdf(with)?)?.remove(EVIDENCE);
        (EVIDENCE.to_owned(), found.ok_or(CannotCheck::Lacks { name: EVIDENCE })?)
    } else {
        (name_of(with), proof)
    };
    Ok(Parts { evidence, table: Some((name, form, source)), account: None, printed: false })
}

pub(super) fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned()
}

pub(super) fn is_pdf(head: &[u8]) -> bool {
    head.starts_with(b"%PDF-")
}

fn is_evidence(head: &[u8]) -> bool {
    head.starts_with(b"{\"rinseward\":\"evidence\"")
}

fn read_pdf(path: &Path) -> Result<Vec<u8>, CannotCheck> {
    let size = std::fs::metadata(path).map_err(CannotCheck::Read)?.len();
    if size > PDF_MAX {
        return Err(CannotCheck::TooLarge);
    }
    std::fs::read(path).map_err(CannotCheck::Read)
}
