//! Makes the printed pages of a report again from what is attached to it, and compares them.
//!
//! Equal input gives equal pages, so that pages which somebody changed are seen; what is attached is checked against
//! the records. That needs the program that makes reports, of the version that made this one.

use std::io::{self, BufWriter};
use std::path::PathBuf;
use std::sync::Arc;

use hayro_syntax::Pdf;
use hayro_syntax::object::{Dict, String as PdfString};

use super::same::shows_the_same;
use super::source::Source;
use crate::app::export::Progress;
use crate::app::export::pdf::{Attachments, RenderError, Typesetter};
use crate::core::reader::{Language, Scale};
use crate::report::pdf::{ACCOUNT, CYCLES, EVIDENCE, Options, Paper};

/// What became of the printed pages.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Pages {
    /// They are those of the account; to the byte, or in a file that another program saved anew.
    Same {
        /// Whether each byte of the file is.
        to_the_byte: bool,
    },
    /// They are others.
    Other,
    /// They were not compared, and why.
    NotCompared(String),
}

/// What is attached to a report.
pub(super) struct Attached<'a> {
    /// The bytes of the report.
    pub(super) report: Arc<Vec<u8>>,
    pub(super) account: &'a Source,
    pub(super) cycles: &'a Source,
    pub(super) evidence: &'a Source,
    /// Version of the program that made the account.
    pub(super) program: &'a str,
}

/// Compares the pages of the report.
pub(super) fn pages(attached: &Attached<'_>) -> Pages {
    let own = env!("CARGO_PKG_VERSION");
    if attached.program != own {
        return Pages::NotCompared(format!("rinseward {} made them, and this is {own}", attached.program));
    }
    match made_again(attached) {
        Ok(pages) => pages,
        Err(NotMade::Program(error)) => Pages::NotCompared(error.to_string()),
        Err(NotMade::Room(error)) => Pages::NotCompared(format!("they could not be made again: {error}")),
    }
}

enum NotMade {
    Program(RenderError),
    Room(io::Error),
}

impl Pages {
    /// A stable word for it.
    pub(super) const fn code(&self) -> &'static str {
        match self {
            Self::Same { .. } => "same",
            Self::Other => "other",
            Self::NotCompared(_) => "not-compared",
        }
    }
}

impl From<RenderError> for NotMade {
    fn from(error: RenderError) -> Self {
        Self::Program(error)
    }
}

impl From<io::Error> for NotMade {
    fn from(error: io::Error) -> Self {
        Self::Room(error)
    }
}

fn made_again(attached: &Attached<'_>) -> Result<Pages, NotMade> {
    let typesetter = Typesetter::find()?;
    let Ok(theirs) = Pdf::new(Arc::clone(&attached.report)) else { return Ok(Pages::Other) };
    // Every report has a page, and says its language.
    let Some((paper, language)) = paper(&theirs).zip(language(&theirs)) else { return Ok(Pages::Other) };
    let folder = tempfile::Builder::new().prefix("rinseward-verify-").tempdir()?;
    let put = |name: &str, source: &Source| -> io::Result<PathBuf> {
        let place = folder.path().join(name);
        let mut file = BufWriter::new(std::fs::File::create_new(&place)?);
        io::copy(&mut source.open()?, &mut file)?;
        io::Write::flush(&mut file)?;
        Ok(place)
    };
    let account = put(ACCOUNT, attached.account)?;
    let (cycles, evidence) = (put(CYCLES, attached.cycles)?, put(EVIDENCE, attached.evidence)?);
    let attachments = Attachments { cycles: Some(&cycles), evidence: Some(&evidence) };
    let said = scale(&theirs);
    for scale in Scale::ALL.into_iter().filter(|scale| said.is_none_or(|said| said == *scale)) {
        let out = folder.path().join(format!("{}.pdf", scale.as_str()));
        let options = Options { paper, scale, language };
        typesetter.make(&account, attachments, options, &out, &Progress::unseen())?;
        let ours = std::fs::read(&out)?;
        if ours == *attached.report {
            return Ok(Pages::Same { to_the_byte: true });
        }
        if Pdf::new(ours).is_ok_and(|ours| shows_the_same(&theirs, &ours)) {
            return Ok(Pages::Same { to_the_byte: false });
        }
    }
    Ok(Pages::Other)
}

/// The paper that its first page is on; A4 where that is neither, so that its pages are others.
fn paper(pdf: &Pdf) -> Option<Paper> {
    /// Width of US letter in points of 1/72 in: 8.5 in.
    const LETTER: f64 = 612.0;
    let page = pdf.pages().first()?;
    Some(if (page.media_box().width() - LETTER).abs() < 1.0 { Paper::Letter } else { Paper::A4 })
}

/// The scale that the file says it is on; `None` where its words about itself are lost.
fn scale(pdf: &Pdf) -> Option<Scale> {
    let keywords = pdf.metadata().keywords.as_deref()?;
    std::str::from_utf8(keywords).ok()?.parse().ok()
}

fn language(pdf: &Pdf) -> Option<Language> {
    let xref = pdf.xref();
    let root: Dict<'_> = xref.get(xref.root_id())?;
    let said = root.get::<PdfString<'_>>("Lang")?;
    Language::ALL.into_iter().find(|language| said.as_bytes().starts_with(language.code().as_bytes()))
}
