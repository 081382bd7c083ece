//! A sheet on a terminal: the same words as on paper, a line each.

use std::io::{self, Write};

use super::{Block, Paper};

/// Width that texts are broken to: what every terminal has.
const WIDTH: usize = 80;

/// Writes a sheet without its lines for signatures.
///
/// # Errors
/// The writer's.
pub fn write(out: &mut dyn Write, paper: &Paper) -> io::Result<()> {
    writeln!(out, "{}", paper.title)?;
    writeln!(out, "{}", paper.subtitle)?;
    for section in &paper.sections {
        writeln!(out, "\n{}", section.heading)?;
        section.blocks.iter().try_for_each(|block| of_block(out, block))?;
    }
    Ok(())
}

fn of_block(out: &mut dyn Write, block: &Block) -> io::Result<()> {
    match block {
        Block::Rows(rows) => {
            let width = rows.iter().map(|(label, _)| label.chars().count()).max().unwrap_or(0).min(32);
            rows.iter().try_for_each(|(label, value)| {
                let lead = format!("  {label:<width$}  ");
                let blank = " ".repeat(width + 4);
                broken(out, &lead, &blank, value)
            })
        }
        // A table of paper is too wide for some terminals: each row becomes lines of its own.
        Block::Table { heads, rows } => rows.iter().try_for_each(|row| {
            let mut cells = heads.iter().zip(row);
            if let Some((_, first)) = cells.next() {
                writeln!(out, "  {first}")?;
            }
            let width = heads.iter().skip(1).map(|head| head.chars().count()).max().unwrap_or(0);
            cells.try_for_each(|(head, cell)| {
                let lead = format!("    {head:<width$}  ");
                broken(out, &lead, &" ".repeat(width + 6), cell)
            })
        }),
        Block::List(lines) => lines.iter().try_for_each(|line| broken(out, "  - ", "    ", line)),
        Block::Text(text) | Block::Note(text) => {
            text.lines().try_for_each(|line| broken(out, "  ", "  ", line))
        }
        Block::Framed(text) => text.lines().try_for_each(|line| broken(out, "  ! ", "    ", line)),
        Block::Plot { words, .. } => broken(out, "  ", "  ", words),
    }
}

/// Breaks a text between words; a word that is longer than a line stays whole.
fn broken(out: &mut dyn Write, lead: &str, blank: &str, text: &str) -> io::Result<()> {
    let mut line = lead.to_owned();
    let mut empty = true;
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            writeln!(out, "{}", line.trim_end())?;
            line = blank.to_owned();
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    writeln!(out, "{}", line.trim_end())
}
