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
    /// The way back on a screen: where to, its words, and how it is printed.
    back: Option<(&'a str, &'static str, &'static str)>,
}

/// Bytes of a note that still stands on one page with them (own choice: about six lines).
const NOTE_BYTES_KEPT: usize = 900;

/// Writes a sheet as a file.
#[must_use]
pub fn write(paper: &Paper) -> String {
    rendered(paper, None)
}

/// Writes a sheet as a page of the gateway: on the screen with the way back to `back`, which is not printed.
#[must_use]
pub fn page(paper: &Paper, back: &str) -> String {
    let say = |english, spanish| super::points::pick(paper.language, english, spanish);
    let words = say("Back to the probes", "Volver a las sondas");
    let print = say(
        "To sign it on paper print this page from the menu of the browser (Ctrl+P); this line is not printed.",
        "Para firmarla en papel imprima esta página desde el menú del navegador (Ctrl+P); esta línea no se imprime.",
    );
    rendered(paper, Some((back, words, print)))
}

fn rendered(paper: &Paper, back: Option<(&str, &'static str, &'static str)>) -> String {
    let say = |english, spanish| super::points::pick(paper.language, english, spanish);
    let sheet = Sheet {
        paper,
        language: paper.language.code(),
        date: say("Date", "Fecha"),
        signature: say("Signature", "Firma"),
        loose: paper.sections.iter().flat_map(|section| &section.blocks).any(is_long),
        back,
    };
    // A template of texts fails only where writing to memory does.
    let rendered = sheet.render().unwrap_or_default();
    // A number stays on one line with its unit.
    rendered.replace(" °", "\u{a0}°")
}

fn is_long(block: &Block) -> bool {
    matches!(block, Block::Note(text) if text.len() > NOTE_BYTES_KEPT)
}
