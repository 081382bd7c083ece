//! The sheet of a sign-off: what a machine is fitted with, how that was shown to work, what is open.
//!
//! [`paper`] puts a record and what it names into the words of its reader; [`text`] writes it for a
//! terminal and [`html`] for paper, so that what is signed is what is printed. Nothing here
//! decides: every open point is the record's.

pub mod html;
mod parts;
mod points;
#[cfg(test)]
pub(crate) mod samples;
#[cfg(test)]
mod tests;
pub mod text;

use std::collections::BTreeMap;

pub use points::{lapse, point};

use super::account::Seal;
use super::pdf::tell::Teller;
use crate::core::effect::Trace;
use crate::core::reader::{Language, Reader};
use crate::core::record::{CalibrationDone, Cycle, ResponseDone, SignedOff, WiringProofDone};

/// A sign-off and what it stands on.
#[derive(Clone, Copy, Debug)]
pub struct Facts<'a> {
    /// Name of the machine.
    pub machine: &'a str,
    /// What is signed.
    pub signed: &'a SignedOff,
    /// Index of its record; `None` where it is not on record yet.
    pub record: Option<u64>,
    /// The calibrations it names, by record.
    pub calibrations: &'a BTreeMap<u64, CalibrationDone>,
    /// The response tests it names, by record.
    pub responses: &'a BTreeMap<u64, ResponseDone>,
    /// The proofs of the wiring that it names, by record.
    pub proofs: &'a BTreeMap<u64, WiringProofDone>,
    /// The test cycle that it names.
    pub cycle: Option<&'a Cycle>,
    /// The trace of that cycle.
    pub trace: Option<&'a Trace>,
    /// The checkpoint that seals its record; `None` where there is none.
    pub seal: Option<&'a Seal>,
}

/// A sheet, worded.
#[derive(Clone, PartialEq, Debug)]
pub struct Paper {
    /// Language of all words.
    pub language: Language,
    /// What it is.
    pub title: String,
    /// Site and machine, one line.
    pub subtitle: String,
    /// What is said first where nothing of it is real.
    pub simulated: Option<&'static str>,
    /// Its parts, in order.
    pub sections: Vec<Section>,
    /// What is written beside each line for a signature; the name stands above it where it is known.
    pub signatures: Vec<String>,
}

/// One part of a sheet.
#[derive(Clone, PartialEq, Debug)]
pub struct Section {
    /// Its heading.
    pub heading: String,
    /// What stands in it.
    pub blocks: Vec<Block>,
}

/// Something in a section.
#[derive(Clone, PartialEq, Debug)]
pub enum Block {
    /// Labels with their values.
    Rows(Vec<(String, String)>),
    /// A table; every row has as many cells as there are heads.
    Table {
        /// Heads of the columns.
        heads: Vec<String>,
        /// Rows.
        rows: Vec<Vec<String>>,
    },
    /// Lines of a list.
    List(Vec<String>),
    /// Text, its own line breaks kept.
    Text(String),
    /// What somebody wrote, its own line breaks kept; it may be long.
    Note(String),
    /// What must not be overlooked.
    Framed(String),
    /// A picture as SVG, and in words.
    Plot {
        /// The picture on paper and on a broad screen.
        svg: String,
        /// The same for the screen of a phone.
        narrow: String,
        /// What it shows.
        words: String,
    },
}

/// Puts a sign-off into words.
#[must_use]
pub fn paper(facts: &Facts<'_>, reader: &Reader) -> Paper {
    let words = Words { teller: Teller { reader: reader.clone() }, facts: *facts };
    let signed = facts.signed;
    let sections = vec![
        words.state(),
        words.machine(),
        words.probes(),
        words.wiring(),
        words.cycle(),
        words.cautions(),
        words.record(),
    ];
    let signatures = vec![
        format!("{}: {}", words.say("Technician", "Técnico"), plain(&signed.by)),
        words.say("For the site", "Por el sitio").to_owned(),
    ];
    Paper {
        language: reader.language,
        title: words.say("Commissioning sheet", "Hoja de puesta en servicio").to_owned(),
        subtitle: format!("{} · {}", plain(&signed.site), plain(facts.machine)),
        simulated: None,
        sections: sections.into_iter().filter(|section| !section.blocks.is_empty()).collect(),
        signatures,
    }
}

/// Whoever puts one sign-off into words.
struct Words<'a> {
    teller: Teller,
    facts: Facts<'a>,
}

impl Words<'_> {
    const fn say(&self, english: &'static str, spanish: &'static str) -> &'static str {
        match self.teller.reader.language {
            Language::English => english,
            Language::Spanish => spanish,
        }
    }

    const fn reader(&self) -> &Reader {
        &self.teller.reader
    }

    /// A row of a label in both languages.
    fn row(&self, english: &'static str, spanish: &'static str, value: String) -> (String, String) {
        (self.say(english, spanish).to_owned(), value)
    }

    fn section(&self, english: &'static str, spanish: &'static str, blocks: Vec<Block>) -> Section {
        Section { heading: self.say(english, spanish).to_owned(), blocks }
    }
}

/// A text of people without what a terminal would obey or what turns the direction of writing; its
/// line breaks stay.
fn lines(text: &str) -> String {
    let turns =
        |c: &char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let breaks = |c: char| (c.is_control() && c != '\n') || matches!(c, '\u{2028}' | '\u{2029}');
    text.chars().filter(|c| !turns(c)).map(|c| if breaks(c) { ' ' } else { c }).collect()
}

/// The same on one line.
fn plain(text: &str) -> String {
    lines(text).split_whitespace().collect::<Vec<&str>>().join(" ")
}
