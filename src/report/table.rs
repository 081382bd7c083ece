//! Cycles as a table for people, 100 columns wide.
//!
//! Times are local, with the offset from UTC in the heading of each day. A verdict
//! is told by a word and by a mark of its own shape; colour comes on top. A cycle
//! that did not plainly pass says why on the lines below it.

use std::io::{self, Write};

use jiff::tz::TimeZone;

use super::row::CycleRow;
use super::words;
use crate::core::counted::Noun;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{advice as advice_for, verdict as judged, verdicts};
use crate::core::reader::{Language, Reader, Scale};
use crate::core::record::Basis;
use crate::core::time::Timestamp;

/// Width of the table in columns.
pub const WIDTH: usize = 100;
/// Columns of a machine's name; longer ones are cut with an ellipsis.
const MACHINE_WIDTH: usize = 12;
/// Width of a verdict with its mark.
const VERDICT_WIDTH: usize = 11;

/// How to print.
#[derive(Clone, Debug)]
pub struct Style {
    /// Zone of the times.
    pub zone: TimeZone,
    /// Whether to colour with ANSI sequences.
    pub colour: bool,
    /// Whether to say what to do with a rack, which helps while it is on the table.
    pub advice: bool,
    /// Scale of the temperatures.
    pub scale: Scale,
}

/// Writes a table row by row.
#[derive(Debug)]
pub struct Table {
    style: Style,
    day: Option<String>,
    counts: [u64; Verdict::ALL.len()],
    corrected: bool,
    unjudged: bool,
    late: u64,
    amended: u64,
    worked_on: u64,
    in_doubt: u64,
}

impl Table {
    /// Starts a table.
    #[must_use]
    pub fn new(style: Style) -> Self {
        let counts = [0; Verdict::ALL.len()];
        let (corrected, unjudged) = (false, false);
        Self { style, day: None, counts, corrected, unjudged, late: 0, amended: 0, worked_on: 0, in_doubt: 0 }
    }

    /// Writes one row, below the heading of its day where that is new.
    ///
    /// # Errors
    /// The writer's.
    pub fn write_row(&mut self, out: &mut dyn Write, row: &CycleRow) -> io::Result<()> {
        let (day, time) = local(row.rinse_started, &self.style.zone);
        if self.day.as_ref() != Some(&day) {
            self.write_day(out, &day)?;
            self.day = Some(day);
        }
        if let Some(place) = Verdict::ALL.iter().position(|verdict| *verdict == row.verdict) {
            self.counts[place] += 1;
        }
        let index = row.ledger_index.map_or_else(|| "-".to_owned(), |index| index.to_string());
        let verdict = self.paint(row.verdict, &format!("{:<VERDICT_WIDTH$}", verdict_word(row.verdict)));
        let star = match (row.unjudged, row.basis) {
            (Some(_), _) => {
                self.unjudged = true;
                '^'
            }
            (None, Basis::Raw) => ' ',
            (None, Basis::LagCorrected) => {
                self.corrected = true;
                '*'
            }
        };
        let minimum = row.rinse_min_c.or(row.unjudged.map(|unjudged| unjudged.celsius));
        writeln!(
            out,
            "{index:>7}  {:<MACHINE_WIDTH$}  {time}  {verdict} {}{star}  {}  {}  {:>4}",
            cut(&row.machine, MACHINE_WIDTH),
            self.temperatures(minimum, row.limit_c),
            pair(Some(row.dwell_s), row.dwell_required_s, "s"),
            self.temperatures(row.wash_min_c, row.wash_limit_c),
            format!("±{:.1}", self.style.scale.difference(row.uncertainty)),
        )?;
        let advice = Some(advice_for(row.verdict, Language::English))
            .filter(|advice| self.style.advice && !advice.is_empty());
        let sentences = advice.into_iter().map(|advice| ("→", advice));
        let sentences =
            sentences.chain(row.reasons.iter().chain(&row.findings).map(|why| ("└", why.as_str())));
        self.late += u64::from(row.late);
        self.worked_on += u64::from(row.reason_codes.contains(&words::WORKED_ON));
        self.amended += u64::from(!row.remarks.is_empty());
        let late = row.recorded.filter(|_| row.late).map(|at| {
            let at = super::local::minute_and_zone(at, &self.style.zone);
            format!("Late: recorded at {at}, more than an hour after it.")
        });
        let doubt = self.in_doubt(row);
        self.in_doubt += u64::from(doubt.is_some());
        let beside = late.iter().chain(&row.remarks).map(|sentence| ("+", sentence.as_str()));
        let doubt = doubt.iter().map(|sentence| ("└", sentence.as_str()));
        for (mark, sentence) in doubt.chain(sentences).chain(beside) {
            for (place, line) in wrapped(sentence, WIDTH - 12).into_iter().enumerate() {
                writeln!(out, "{:>11} {line}", if place == 0 { mark } else { "" })?;
            }
        }
        Ok(())
    }

    /// Writes the counts, and what the reader must know of the table.
    ///
    /// # Errors
    /// The writer's.
    pub fn finish(self, out: &mut dyn Write) -> io::Result<()> {
        let total: u64 = self.counts.iter().sum();
        if total == 0 {
            return writeln!(out, "No cycle on record for this choice.");
        }
        writeln!(out)?;
        write!(out, "{}", Noun::Cycles.of(total, Language::English))?;
        for (place, (verdict, count)) in
            Verdict::ALL.into_iter().zip(self.counts).filter(|(_, count)| *count > 0).enumerate()
        {
            let separator = if place == 0 { ": " } else { ", " };
            let word = verdicts(verdict, count, Language::English);
            write!(out, "{separator}{count} {word} {}", words::mark(verdict))?;
        }
        writeln!(out)?;
        if self.late + self.amended > 0 {
            writeln!(out, "Of these {} recorded late, {} amended (+).", self.late, self.amended)?;
        }
        if self.in_doubt > 0 {
            writeln!(out, "Of these {} passed and are in doubt, as told below each.", self.in_doubt)?;
        }
        if self.worked_on > 0 {
            writeln!(out, "Of these {} made while somebody worked on the machine.", self.worked_on)?;
        }
        if self.corrected {
            writeln!(out, "* corrected for the time constant of the probe")?;
        }
        if self.unjudged {
            writeln!(out, "^ a minimum that was not judged; the lines below it say why")?;
        }
        wrapped(words::CAUTION, WIDTH).into_iter().try_for_each(|line| writeln!(out, "{line}"))
    }

    fn write_day(&self, out: &mut dyn Write, day: &str) -> io::Result<()> {
        if self.day.is_some() {
            writeln!(out)?;
        }
        writeln!(out, "{day}")?;
        writeln!(
            out,
            "{:>7}  {:<MACHINE_WIDTH$}  {:<8}  {:<VERDICT_WIDTH$} {:>15}   {:>14}  {:>15}  {:>4}",
            "record",
            "machine",
            "rinse at",
            "verdict",
            "rinse min/limit",
            "held/required",
            "wash min/limit",
            format!("± {}", self.style.scale.symbol())
        )
    }

    /// That a rack which passed is in doubt, by which alerts, what it passed by and what was found.
    fn in_doubt(&self, row: &CycleRow) -> Option<String> {
        let by = row.in_doubt_by.as_deref().filter(|by| !by.is_empty())?;
        let numbers: Vec<String> = by.iter().map(u64::to_string).collect();
        let alerts = if by.len() == 1 { "alert" } else { "alerts" };
        let Style { zone, scale, .. } = &self.style;
        let reader = Reader { language: Language::English, scale: *scale, zone: zone.clone() };
        let found = match &row.overtaken {
            Some(overtaken) => overtaken.told(&reader),
            None => "what it passed by was found wrong".to_owned(),
        };
        // Of several one may be of a thermometer.
        let by = if by.len() > 1 && row.overtaken.is_some() { "; by the sanitizer" } else { "" };
        Some(format!("In doubt ({alerts} {}){by}: {found}.", numbers.join(", ")))
    }

    /// `measured / limit` on the reader's scale.
    fn temperatures(&self, measured_c: Option<f64>, limit_c: f64) -> String {
        let scale = self.style.scale;
        pair(measured_c.map(|celsius| scale.temperature(celsius)), scale.temperature(limit_c), scale.symbol())
    }

    fn paint(&self, verdict: Verdict, text: &str) -> String {
        if !self.style.colour {
            return text.to_owned();
        }
        // SGR codes of ECMA-48: bold, and a foreground of the basic eight.
        let code = match verdict {
            Verdict::Cold | Verdict::Brief | Verdict::Weak => "1;31",
            Verdict::Unproven => "1;35",
            Verdict::Narrow => "33",
            Verdict::Pass => "32",
        };
        format!("\u{1b}[{code}m{text}\u{1b}[0m")
    }
}

/// Mark and word of a verdict.
#[must_use]
pub fn verdict_word(verdict: Verdict) -> String {
    format!("{} {}", words::mark(verdict), judged(verdict, Language::English))
}

/// The local day with its offset, and the time of day.
fn local(instant: Timestamp, zone: &TimeZone) -> (String, String) {
    let Ok(utc) = jiff::Timestamp::from_microsecond(instant.micros()) else {
        return (instant.to_string(), "--:--:--".to_owned());
    };
    let local = utc.to_zoned_datetime(zone.clone());
    let name = zone.iana_name().map(|name| format!(" ({name})")).unwrap_or_default();
    (local.strftime("%A %Y-%m-%d, UTC%:z").to_string() + &name, local.strftime("%H:%M:%S").to_string())
}

/// The local time of day.
#[must_use]
pub fn time_of_day(instant: Timestamp, zone: &TimeZone) -> String {
    local(instant, zone).1
}

/// `measured / limit unit`, right-aligned.
fn pair(measured: Option<f64>, limit: f64, unit: &str) -> String {
    let measured = measured.map_or_else(|| "-".to_owned(), |value| format!("{value:.1}"));
    format!("{measured:>5} /{limit:>5.1} {unit}")
}

fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    text.chars().take(width - 1).chain(['…']).collect()
}

/// Breaks a sentence at spaces into lines of at most `width` characters.
#[must_use]
pub fn wrapped(sentence: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in sentence.split_whitespace() {
        let last = lines.last_mut().expect("a line is there from the start");
        if last.is_empty() {
            last.push_str(word);
        } else if last.chars().count() + 1 + word.chars().count() <= width {
            last.push(' ');
            last.push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

/// A name or a path of at most `width` characters: its end tells more than its beginning, which is cut by «…».
#[must_use]
pub fn cut_front(name: &str, width: usize) -> String {
    let length = name.chars().count();
    if length <= width {
        return name.to_owned();
    }
    ['…'].into_iter().chain(name.chars().skip(length - (width - 1))).collect()
}

#[cfg(test)]
mod tests;
