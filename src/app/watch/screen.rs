//! The probes on a terminal of any size, a line each; and the same as plain lines.
//!
//! What is wrong stands in words and reversed; nothing is told by colour.

use ratatui::Frame;
use ratatui::layout::{Alignment, Constraint, Layout, Rect};
use ratatui::style::{Modifier, Style};
use ratatui::text::Line;
use ratatui::widgets::Paragraph;

use super::scene::{NO_VALUE, Row};
use super::words;
use crate::core::reader::Language;
use crate::report::table::{cut_front, wrapped};

/// From this width on every column is shown.
const WIDE: u16 = 76;
/// Below this height cautions are short, and the table has no head.
const HIGH: u16 = 16;
/// Lines of the head, with that of the table and the blank one before it.
const HEAD_HEIGHT: usize = 4;
/// Lines that notes have where the probes take all room, on a high and on a low terminal; notes beyond are counted.
const NOTES_MAX: (usize, usize) = (4, 2);
/// Width of the strip.
pub(super) const STRIP_WIDTH: usize = 16;
/// Widths of name, value and trend where every column is shown.
const COLUMNS: (usize, usize, usize) = (18, 9, 14);
/// Width of the name where only some are.
const NAME_NARROW: usize = 13;

/// Columns that the hint at the top right takes.
const QUITS_WIDTH: u16 = 10;

/// What is shown at one moment.
#[derive(Debug)]
pub(super) struct Picture<'p> {
    /// Site and time of day.
    pub(super) head: String,
    /// Through what it is seen.
    pub(super) way: &'p str,
    /// The probes.
    pub(super) rows: Vec<Row>,
    /// What is to be known beside them.
    pub(super) notes: Vec<String>,
    /// In which words.
    pub(super) language: Language,
}

/// Draws the picture.
pub(super) fn draw(frame: &mut Frame<'_>, picture: &Picture<'_>) {
    let area = frame.area();
    let high = area.height >= HIGH;
    let width = usize::from(area.width).saturating_sub(2).max(10);
    let cautions: Vec<String> = if high {
        words::cautions(picture.language).iter().flat_map(|caution| wrapped(caution, width)).collect()
    } else {
        wrapped(words::caution_short(picture.language), width)
    };
    // A note has the room that the probes leave, so that the newest is cut only where there is none.
    let rest = usize::from(area.height).saturating_sub(HEAD_HEIGHT + cautions.len() + picture.rows.len());
    let most = rest.max(if high { NOTES_MAX.0 } else { NOTES_MAX.1 });
    let notes = notes(picture.language, &picture.notes, width, most);
    let [head, table, below, foot] = Layout::vertical([
        Constraint::Length(2),
        Constraint::Min(1),
        Constraint::Length(length(notes.len())),
        Constraint::Length(length(cautions.len())),
    ])
    .areas(area);
    draw_head(frame, head, picture);
    draw_table(frame, table, picture, high);
    let notes: Vec<Line<'_>> = notes.into_iter().map(|note| Line::styled(note, bold())).collect();
    frame.render_widget(Paragraph::new(notes), below);
    let cautions: Vec<Line<'_>> = cautions.into_iter().map(|line| Line::from(format!(" {line}"))).collect();
    frame.render_widget(Paragraph::new(cautions), foot);
}

fn draw_head(frame: &mut Frame<'_>, area: Rect, picture: &Picture<'_>) {
    let name = if area.width >= WIDE { "rinseward  " } else { "" };
    let room = usize::from(area.width);
    let head = fitting(&format!(" {name}{}", picture.head), room.saturating_sub(QUITS_WIDTH.into()));
    let lines = vec![Line::styled(head, bold()), Line::from(fitting(&format!(" {}", picture.way), room))];
    frame.render_widget(Paragraph::new(lines), area);
    let quits = Rect { x: area.right().saturating_sub(QUITS_WIDTH), width: QUITS_WIDTH, height: 1, ..area };
    frame.render_widget(
        Paragraph::new(words::say(picture.language, "  q quits ", "   q: fin ")).alignment(Alignment::Right),
        quits.intersection(area),
    );
}

fn draw_table(frame: &mut Frame<'_>, area: Rect, picture: &Picture<'_>, high: bool) {
    let wide = area.width >= WIDE;
    let mut lines = Vec::new();
    if high {
        let language = picture.language;
        let (probe, now) = (words::say(language, "probe", "sonda"), words::say(language, "now", "ahora"));
        let title = if wide { title(language) } else { format!("  {probe:<NAME_NARROW$} {now:>9}") };
        lines.push(Line::default());
        lines.push(Line::styled(title, Style::new().add_modifier(Modifier::UNDERLINED)));
    }
    let room = usize::from(area.height).saturating_sub(lines.len());
    let shown = if picture.rows.len() > room { room.saturating_sub(1) } else { picture.rows.len() };
    for row in picture.rows.iter().take(shown) {
        let text = line(row, usize::from(area.width));
        let style = if row.trouble.is_some() { bold().add_modifier(Modifier::REVERSED) } else { bold() };
        lines.push(Line::styled(text, style));
    }
    if shown < picture.rows.len() {
        let more = picture.rows.len() - shown;
        lines.push(Line::from(match picture.language {
            Language::English => format!("  … and {more} more: --machine NAME shows one machine"),
            Language::Spanish => format!("  … y {more} más: --machine NOMBRE muestra una máquina"),
        }));
    }
    frame.render_widget(Paragraph::new(lines), area);
}

/// A probe on one line of `width` columns; `!` and words where something is wrong.
pub(super) fn line(row: &Row, width: usize) -> String {
    let Row { name, value, trend, strip, rate, age, aged, trouble } = row;
    let (name_width, value_width, trend_width) = COLUMNS;
    let wide = width >= usize::from(WIDE);
    let name_width = if wide { name_width } else { NAME_NARROW };
    let mark = if trouble.is_some() { '!' } else { ' ' };
    let name = cut_front(name, name_width);
    let start = format!("{mark} {name:<name_width$} {value:>value_width$}");
    let text = match trouble {
        Some(words) if !wide && value == NO_VALUE => format!("{mark} {name:<name_width$}  {words}"),
        Some(words) => format!("{start}  {words}"),
        None if wide => format!("{start}  {trend:<trend_width$} {strip} {rate:>8} {age:>7}"),
        None => format!("{start}  {}", aged.as_deref().unwrap_or(trend)),
    };
    fitting(&text, width)
}

/// A line of at most `width` characters; what is cut off is told by «…».
fn fitting(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    text.chars().take(width.saturating_sub(1)).chain(['…']).collect()
}

fn title(language: Language) -> String {
    let (name, value, trend) = COLUMNS;
    let [probe, now, moves, minute, rate, age] = match language {
        Language::English => ["probe", "now", "trend", "last minute", "rate", "age"],
        Language::Spanish => ["sonda", "ahora", "tendencia", "último minuto", "ritmo", "edad"],
    };
    format!("  {probe:<name$} {now:>value$}  {moves:<trend$} {minute:<STRIP_WIDTH$} {rate:>8} {age:>7}")
}

/// The notes as lines that begin with `!`; what does not fit is counted.
fn notes(language: Language, notes: &[String], width: usize, most: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for (place, note) in notes.iter().enumerate() {
        let told = wrapped(note, width.saturating_sub(2).max(10));
        let last = place + 1 == notes.len();
        if lines.len() + told.len() + usize::from(!last) > most && !lines.is_empty() {
            let more = notes.len() - place;
            lines.push(match language {
                Language::English => format!("! … and {more} more"),
                Language::Spanish => format!("! … y {more} más"),
            });
            break;
        }
        let marks = ["! "].into_iter().chain(std::iter::repeat("  "));
        let cut = told.len() > most;
        lines.extend(marks.zip(told).map(|(mark, line)| format!("{mark}{line}")).take(most));
        if let Some(last) = lines.last_mut().filter(|_| cut) {
            last.push('…');
        }
    }
    lines
}

fn bold() -> Style {
    Style::new().add_modifier(Modifier::BOLD)
}

fn length(lines: usize) -> u16 {
    u16::try_from(lines).unwrap_or(u16::MAX)
}

#[cfg(test)]
mod tests {
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    use super::*;

    // Own promise: on the smallest common terminal the newest note is read to its end while the probes leave room,
    // and a line that is cut says so.
    #[test]
    fn every_note_is_seen_where_there_is_room() {
        let notes = (1..=5).map(|place| {
            format!("note {place} of a source that is down {} end {place}", "and why ".repeat(9))
        });
        let picture = Picture {
            head: format!("{}  12:00:00", "Canteen of the north ".repeat(5)),
            way: "through the running service",
            rows: Vec::new(),
            notes: notes.collect(),
            language: Language::English,
        };
        let mut terminal = Terminal::new(TestBackend::new(80, 24)).expect("a test terminal opens");
        terminal.draw(|frame| draw(frame, &picture)).expect("a test terminal draws");
        let screen = terminal.backend().to_string();
        assert!((1..=5).all(|place| screen.contains(&format!("end {place}"))), "{screen}");
        let head = screen.lines().next().expect("a line");
        assert!(head.contains('…') && head.contains("q quits"), "{head}");
    }
}
