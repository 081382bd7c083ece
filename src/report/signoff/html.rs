//! A sheet for paper: one HTML file that fetches nothing, black on white, for A4 and for Letter.

use askama::Template;

use super::{Block, Paper};

#[derive(Template)]
#[template(path = "report/signoff/sheet.html", config = ".askama.toml")]
struct Sheet<'a> {
    paper: &'a Paper,
    language: &'static str,
    date: &'static str,
    signature: &'static str,
    /// Whether a note is too long to be kept on one page with the cautions and the signatures.
    loose: bool,
}

/// Bytes of a note that still stands on one page with them (own choice: about six lines).
const NOTE_BYTES_KEPT: usize = 900;

/// Writes a sheet.
#[must_use]
pub fn write(paper: &Paper) -> String {
    let say = |english, spanish| super::points::pick(paper.language, english, spanish);
    let sheet = Sheet {
        paper,
        language: paper.language.code(),
        date: say("Date", "Fecha"),
        signature: say("Signature", "Firma"),
        loose: paper.sections.iter().flat_map(|section| &section.blocks).any(is_long),
    };
    // A template of texts fails only where writing to memory does.
    let rendered = sheet.render().unwrap_or_default();
    // A number stays on one line with its unit.
    rendered.replace(" °", "\u{a0}°")
}

fn is_long(block: &Block) -> bool {
    matches!(block, Block::Note(text) if text.len() > NOTE_BYTES_KEPT)
}
