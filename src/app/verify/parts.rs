//! What an export is made of: evidence, a table and an account, each a file or within a PDF.

use std::path::Path;
use std::sync::Arc;

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
    /// The bytes of a report: all that is said of it is said of them, whatever becomes of the file meanwhile.
    pub(super) printed: Option<Arc<Vec<u8>>>,
}

impl Parts {
    /// What the pages of a report are made of.
    pub(super) fn attached<'a>(&'a self, program: &'a str) -> Option<pages::Attached<'a>> {
        let (_, _, cycles) = self.table.as_ref()?;
        let (account, evidence) = (self.account.as_ref()?, &self.evidence.1);
        let report = Arc::clone(self.printed.as_ref()?);
        Some(pages::Attached { report, account, cycles, evidence, program })
    }
}

pub(super) fn parts(path: &Path, with: Option<&Path>) -> Result<Parts, CannotCheck> {
    let source = Source::File(path.to_path_buf());
    let name = name_of(path);
    let head = source.head().map_err(CannotCheck::Read)?;
    if is_pdf(&head) {
        let report = Arc::new(read_pdf(path)?);
        let mut attached = attachments(Arc::clone(&report))?;
        let mut take = |name| attached.remove(name).ok_or(CannotCheck::Lacks { name });
        return Ok(Parts {
            evidence: (EVIDENCE.to_owned(), take(EVIDENCE)?),
            table: Some((CYCLES.to_owned(), Form::Csv, take(CYCLES)?)),
            account: Some(take(ACCOUNT)?),
            printed: Some(report),
        });
    }
    if head.starts_with(MARK) {
        return Err(CannotCheck::Marked { what: "it" });
    }
    if is_evidence(&head) {
        return Ok(Parts { evidence: (name, source), table: None, account: None, printed: None });
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
        let found = attachments(Arc::new(read_pdf(with)?))?.remove(EVIDENCE);
        (EVIDENCE.to_owned(), found.ok_or(CannotCheck::Lacks { name: EVIDENCE })?)
    } else {
        (name_of(with), proof)
    };
    Ok(Parts { evidence, table: Some((name, form, source)), account: None, printed: None })
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A PDF with the three attachments of a report, uncompressed (ISO 32000-2 §7.11.4), and without pages.
    fn report() -> Vec<u8> {
        let names = [ACCOUNT, CYCLES, EVIDENCE];
        let list: Vec<String> =
            (0..).zip(names).map(|(place, name)| format!("({name}) {} 0 R", 3 + 2 * place)).collect();
        let mut objects = vec![
            "<</Type/Catalog/Pages 2 0 R/Names<</EmbeddedFiles<</Names[".to_owned()
                + &list.join(" ")
                + "]>>>>>>",
            "<</Type/Pages/Kids[]/Count 0>>".to_owned(),
        ];
        for (place, name) in (0..).zip(names) {
            objects.push(format!("<</Type/Filespec/F({name})/UF({name})/EF<</F {} 0 R>>>>", 4 + 2 * place));
            objects.push("<</Type/EmbeddedFile/Length 2>>\nstream\n{}\nendstream".to_owned());
        }
        let (mut pdf, mut places) = ("%PDF-1.7\n".to_owned(), String::new());
        for (number, object) in (1..).zip(&objects) {
            places.push_str(&format!("{:010} 00000 n \n", pdf.len()));
            pdf.push_str(&format!("{number} 0 obj\n{object}\nendobj\n"));
        }
        let (begins, count) = (pdf.len(), objects.len() + 1);
        pdf.push_str(&format!(
            "xref\n0 {count}\n0000000000 65535 f \n{places}trailer\n<</Size {count}/Root 1 0 R>>\nstartxref\n{begins}\n%%EOF\n"
        ));
        pdf.into_bytes()
    }

    // Own promise: a report is read once. What is said of its pages is said of the bytes whose records were checked,
    // also where another file has taken its place meanwhile.
    #[test]
    fn a_report_is_read_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("november.pdf");
        std::fs::write(&path, report()).expect("room");
        let parts = parts(&path, None).unwrap_or_else(|error| panic!("a report: {error}"));
        std::fs::remove_file(&path).expect("ours");
        let attached = parts.attached("0.1.0").expect("all that a report has");
        assert_eq!(*attached.report, report());
        assert_eq!(attached.account.head().expect("in memory"), b"{}");
    }
}
