//! What stands on paper, block by block: everything decided but where it comes to lie.
//!
//! The template `report.typ` knows these blocks and nothing of what they say. Texts are data for
//! it and never markup.

use serde::Serialize;

/// The whole report in the words of its reader.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Sheet {
    /// Code of its language (ISO 639-1).
    pub language: &'static str,
    /// Scale of its temperatures, a keyword of the file: whoever makes it again needs to know.
    pub scale: &'static str,
    /// Name of its paper, as typst knows it.
    pub paper: &'static str,
    /// Title of the document.
    pub title: String,
    /// What it is, large on the cover.
    pub heading: &'static str,
    /// Name of the site.
    pub site: String,
    /// The span, on the cover and over each page.
    pub span: String,
    /// What seals it, under each page.
    pub seal: String,
    /// «page {page} of {pages}».
    pub page_of: &'static str,
    /// Heading of the list of contents.
    pub contents: &'static str,
    /// Files to attach, in order.
    pub attachments: Vec<Attachment>,
    /// The text.
    pub blocks: Vec<Block>,
    /// Pictures, which blocks name by their place here.
    #[serde(skip)]
    pub plots: Vec<String>,
}

/// A file that is attached.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Attachment {
    /// Its name.
    pub name: String,
    /// Its media type.
    pub media: &'static str,
    /// What it holds.
    pub description: &'static str,
}

/// A piece of the text.
#[derive(Clone, PartialEq, Debug, Serialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum Block {
    /// A heading of a level from 1.
    Heading {
        /// Level.
        level: u8,
        /// Text.
        text: String,
    },
    /// A paragraph.
    Text {
        /// Text.
        text: String,
        /// How it is said.
        tone: Tone,
    },
    /// What belongs to what: name and value, one below the other.
    Rows {
        /// Name and value.
        rows: Vec<(String, String)>,
    },
    /// A table, whose heading is repeated on each page it reaches.
    Table(Table),
    /// A picture over the whole width.
    Plot {
        /// Its place in the pictures.
        plot: usize,
        /// What it shows, for whoever does not see it.
        alt: String,
    },
    /// A rack that did not plainly pass; kept together on one page.
    Rack(Rack),
    /// Numbered steps, each with what to type, which may be empty.
    Steps {
        /// Text and command.
        steps: Vec<(String, String)>,
    },
    /// Lines to be read letter by letter.
    Code {
        /// Lines.
        text: String,
    },
    /// The list of contents; what follows begins on a page of its own.
    Contents,
    /// What could hurt somebody.
    Caution {
        /// One each.
        lines: Vec<String>,
    },
}

/// How a paragraph is said.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tone {
    /// As all text.
    Plain,
    /// Small: a rule or a remark of ours.
    Small,
    /// In a frame: must not be overlooked.
    Framed,
}

/// A table.
#[derive(Clone, PartialEq, Debug, Default, Serialize)]
pub struct Table {
    /// Headings of the columns and how each stands.
    pub columns: Vec<Column>,
    /// Rows of as many cells.
    pub rows: Vec<Vec<String>>,
}

/// A column of a table.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Column {
    /// Heading.
    pub title: String,
    /// Whether it holds numbers, which stand to the right.
    pub number: bool,
    /// Its share of the width that is left over; 0 for as wide as its text.
    pub share: u8,
}

/// A rack with its trace and what is known of it.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Rack {
    /// Verdict with its mark.
    pub verdict: String,
    /// Machine and time.
    pub head: String,
    /// Its trace and what that shows; absent where none is kept.
    pub plot: Option<(usize, String)>,
    /// Name and value.
    pub rows: Vec<(String, String)>,
}

impl Sheet {
    /// Says every text through `keep`, which may replace characters.
    pub fn replace_characters(&mut self, keep: impl Fn(char) -> char) {
        let change = |text: &mut String| *text = text.chars().map(&keep).collect();
        for text in [&mut self.title, &mut self.site, &mut self.span, &mut self.seal] {
            change(text);
        }
        self.plots.iter_mut().for_each(change);
        for block in &mut self.blocks {
            match block {
                Block::Heading { text, .. } | Block::Text { text, .. } | Block::Code { text } => change(text),
                Block::Plot { alt, .. } => change(alt),
                Block::Rows { rows } | Block::Steps { steps: rows } => {
                    rows.iter_mut().for_each(|(name, value)| [name, value].into_iter().for_each(change));
                }
                Block::Table(table) => {
                    table.columns.iter_mut().for_each(|column| change(&mut column.title));
                    table.rows.iter_mut().flatten().for_each(change);
                }
                Block::Rack(rack) => {
                    change(&mut rack.verdict);
                    change(&mut rack.head);
                    rack.plot.iter_mut().for_each(|(_, alt)| change(alt));
                    rack.rows.iter_mut().for_each(|(name, value)| [name, value].into_iter().for_each(change));
                }
                Block::Contents => {}
                Block::Caution { lines } => lines.iter_mut().for_each(change),
            }
        }
    }
}
