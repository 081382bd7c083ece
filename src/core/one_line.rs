//! Text of others, as it may stand in a line of this program.

/// Text of others made harmless: one line, without control characters and without the marks
/// that turn the direction of writing, cut at `max` characters.
#[must_use]
pub fn one_line(text: &str, max: usize) -> String {
    let turns =
        |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let breaks = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
    let plain: String =
        text.chars().filter(|c| !turns(*c)).map(|c| if breaks(c) { ' ' } else { c }).collect();
    let words: Vec<&str> = plain.split_whitespace().collect();
    let line = words.join(" ");
    if line.chars().count() <= max {
        return line;
    }
    let mut cut: String = line.chars().take(max - 1).collect();
    cut.truncate(cut.trim_end().len());
    cut.push('…');
    cut
}
