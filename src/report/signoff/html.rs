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
}

/// Writes a sheet.
#[must_use]
pub fn write(paper: &Paper) -> String {
    let say = |english, spanish| super::points::pick(paper.language, english, spanish);
    let sheet = Sheet {
        paper,
        language: paper.language.code(),
        date: say("Date", "Fecha"),
        signature: say("Signature", "Firma"),
    };
    // A template of texts fails only where writing to memory does.
    let rendered = sheet.render().unwrap_or_default();
    // A number stays on one line with its unit.
    rendered.replace(" °", "\u{a0}°")
}
