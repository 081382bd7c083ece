//! The report on paper: an account in the words of its reader, block by block.
//!
//! [`sheet`] decides everything that is said; the template `report.typ` only lays it out, and the
//! binary `rinseward-report` (feature `pdf`) makes the file of both. Nothing here needs that feature.
//!
//! A file made so holds the account itself and what it stands on as attachments, so that nothing
//! on its pages has to be believed.
//!
//! Limits: [`TRACES_MAX`] racks with their trace, [`LISTED_MAX`] more in a table; the rule by which
//! they are chosen is printed, and the attachments hold all of them.

mod cover;
mod days;
mod doubted;
mod entries;
mod people;
mod proof;
mod racks;
mod reasons;
mod sheet;
pub(in crate::report) mod tell;
#[cfg(test)]
mod tests;
pub(in crate::report) mod words;

use std::fmt;
use std::str::FromStr;

use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

pub use racks::{LISTED_MAX, TRACES_MAX};
pub use sheet::{Attachment, Block, Column, Rack, Sheet, Table, Tone};

use crate::core::reader::{Language, Reader, Scale};
use crate::report::account::Account;
use tell::Teller;
use words::Word;

/// The template that lays a [`Sheet`] out.
pub const TEMPLATE: &str = include_str!("report.typ");

/// Name of the attached table of racks.
pub const CYCLES: &str = "cycles.csv";
/// Name of the attached records with their proof.
pub const EVIDENCE: &str = "evidence.jsonl";
/// Name of the attached account.
pub const ACCOUNT: &str = "account.json";

/// On what and for whom.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Options {
    /// Paper.
    pub paper: Paper,
    /// Scale of temperatures.
    pub scale: Scale,
    /// Language.
    pub language: Language,
}

/// Size of the paper.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Paper {
    /// US letter, 8.5 × 11 in (ANSI/ASME Y14.1, size A).
    Letter,
    /// A4, 210 × 297 mm (ISO 216).
    #[default]
    A4,
}

impl Paper {
    /// Every size.
    pub const ALL: [Self; 2] = [Self::Letter, Self::A4];

    /// Its word on the command line.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Letter => "letter",
            Self::A4 => "a4",
        }
    }

    const fn in_template(self) -> &'static str {
        match self {
            Self::Letter => "us-letter",
            Self::A4 => "a4",
        }
    }
}

impl fmt::Display for Paper {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// The word names no paper.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("paper is one of letter, a4")]
pub struct UnknownPaper;

impl FromStr for Paper {
    type Err = UnknownPaper;

    fn from_str(text: &str) -> Result<Self, UnknownPaper> {
        Self::ALL.into_iter().find(|paper| paper.as_str() == text).ok_or(UnknownPaper)
    }
}

/// A file to attach: its name and its size in bytes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Attached<'a> {
    /// Name: [`CYCLES`], [`EVIDENCE`] or [`ACCOUNT`].
    pub name: &'a str,
    /// Size, bytes.
    pub bytes: u64,
}

/// The account names a time zone that is not known here.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("the account names the time zone «{zone}», which is not known")]
pub struct UnknownZone {
    /// As it stands in the account.
    pub zone: String,
}

/// Puts an account into the words of its reader.
///
/// # Errors
/// [`UnknownZone`].
pub fn sheet(account: &Account, options: Options, attached: &[Attached<'_>]) -> Result<Sheet, UnknownZone> {
    let zone = TimeZone::get(&account.zone).map_err(|_| UnknownZone { zone: account.zone.clone() })?;
    let teller = Teller { reader: Reader { language: options.language, scale: options.scale, zone } };
    let mut draft = Draft { account, teller: &teller, blocks: Vec::new(), plots: Vec::new() };
    draft.cover();
    draft.summary();
    draft.days();
    draft.racks();
    draft.doubted();
    draft.alerts();
    draft.checks();
    draft.overdue();
    draft.calibrations();
    draft.gaps();
    draft.drift();
    draft.remarks();
    draft.service();
    draft.proof(attached);
    draft.cautions();
    let Draft { blocks, plots, .. } = draft;
    let seal = match &account.seal {
        Some(seal) => teller.with(Word::SealedHead, &[("count", &seal.size.to_string())]),
        None => teller.say(Word::UnsealedHead).to_owned(),
    };
    let site = Teller::text(&account.site);
    let span = teller.span(account);
    Ok(Sheet {
        language: options.language.code(),
        scale: options.scale.as_str(),
        paper: options.paper.in_template(),
        title: format!("{} · {site} · {span}", teller.say(Word::Title)),
        heading: teller.say(Word::Title),
        site,
        span,
        seal,
        page_of: teller.say(Word::PageOf),
        contents: teller.say(Word::Contents),
        attachments: attached.iter().filter_map(|file| proof::attachment(&teller, file.name)).collect(),
        blocks,
        plots,
    })
}

/// A report while it is written.
struct Draft<'a> {
    account: &'a Account,
    teller: &'a Teller,
    blocks: Vec<Block>,
    plots: Vec<String>,
}

impl Draft<'_> {
    fn heading(&mut self, level: u8, text: impl Into<String>) {
        self.blocks.push(Block::Heading { level, text: text.into() });
    }

    fn section(&mut self, word: Word) {
        self.heading(1, self.teller.say(word));
    }

    fn text(&mut self, tone: Tone, text: impl Into<String>) {
        self.blocks.push(Block::Text { text: text.into(), tone });
    }

    fn rows(&mut self, rows: Vec<(String, String)>) {
        self.blocks.push(Block::Rows { rows });
    }

    /// Adds a table, or the word for none where it has no row.
    fn table(&mut self, columns: Vec<Column>, rows: Vec<Vec<String>>) {
        if rows.is_empty() {
            return self.text(Tone::Plain, self.teller.say(Word::NoneF));
        }
        self.blocks.push(Block::Table(Table { columns, rows }));
    }

    /// Keeps a picture and gives its place.
    fn plot(&mut self, svg: &str) -> usize {
        // The lettering of the text around it; what a page has at hand is not at hand here.
        self.plots.push(svg.replacen("\"sans-serif\"", "\"Libertinus Serif\"", 1));
        self.plots.len() - 1
    }

    fn row(&self, name: Word, value: impl Into<String>) -> (String, String) {
        (self.teller.say(name).to_owned(), value.into())
    }

    /// A column of text, which takes so many shares of the width.
    fn wide(&self, title: Word, share: u8) -> Column {
        Column { title: self.teller.say(title).to_owned(), number: false, share }
    }

    /// A column of numbers, as wide as they are.
    fn number(&self, title: Word) -> Column {
        Column { title: self.teller.say(title).to_owned(), number: true, share: 0 }
    }

    /// A column of short words, as wide as they are.
    fn narrow(&self, title: Word) -> Column {
        Column { title: self.teller.say(title).to_owned(), number: false, share: 0 }
    }

    /// Name of a machine, or the word for the site.
    fn whose(&self, machine: Option<&str>) -> String {
        machine.map_or_else(|| self.teller.say(Word::OfSite).to_owned(), Teller::text)
    }
}

impl Teller {
    /// Over each page: where the span was not over, until when the record goes.
    fn span(&self, account: &Account) -> String {
        self.span_in(account, Word::SpanSoFar)
    }

    /// The span; in the words of `not_over` where it was not over when the account was made.
    fn span_in(&self, account: &Account, not_over: Word) -> String {
        let known = account.ends.map_or(account.made, |ends| ends.min(account.made));
        let [from, to, made] = [account.from, account.to, known].map(|at| self.minute(at));
        let word = match account.ends {
            _ if known >= account.to => Word::Span,
            Some(_) => Word::SpanSealed,
            None => not_over,
        };
        self.with(word, &[("from", &from), ("to", &to), ("made", &made)])
    }
}
