//! The gateway's cycles against the truth.
//!
//! Cycles are paired one to one, machine by machine, where their final rinses overlap; of several
//! candidates the pair with the larger overlap (intersection over union) wins. A true cycle that
//! no trace can show (`observable: false`) counts neither for nor against recall, and a gateway
//! cycle paired with it is not invented. Verdicts are compared for every pair.

mod table;

pub use table::Table;

use std::collections::BTreeMap;
use std::io::BufRead;

use serde::{Deserialize, Serialize};

use crate::time::parse_rfc3339;
use crate::truth::{CycleTruth, Expected, Span, TruthEntry};

/// One cycle as the gateway writes it: an object of `history --json` or `replay --json`. Other
/// fields are ignored.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct CycleRow {
    /// Machine.
    pub machine: String,
    /// Start of the cycle, RFC 3339.
    pub started: String,
    /// Start of the final rinse; absent when none was seen.
    #[serde(default)]
    pub rinse_started: Option<String>,
    /// End of the final rinse.
    #[serde(default)]
    pub rinse_ended: Option<String>,
    /// Verdict.
    pub verdict: String,
    /// Settled minimum as read, °C.
    #[serde(default)]
    pub rinse_min_c: Option<f64>,
    /// Settled minimum with the probe's lag taken out, °C.
    #[serde(default)]
    pub rinse_min_corrected_c: Option<f64>,
    /// Which of the two the verdict stands on: `raw` or `lag-corrected`.
    #[serde(default)]
    pub basis: Option<String>,
    /// Limit, °C.
    #[serde(default)]
    pub limit_c: Option<f64>,
    /// Time at or above the limit, s.
    #[serde(default)]
    pub dwell_s: Option<f64>,
}

impl CycleRow {
    /// The minimum that the verdict stands on.
    #[must_use]
    pub fn judged_min_c(&self) -> Option<f64> {
        match self.basis.as_deref() {
            Some("lag-corrected") => self.rinse_min_corrected_c.or(self.rinse_min_c),
            Some(_) | None => self.rinse_min_c,
        }
    }
}

/// A line of a truth or cycle file could not be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The file failed.
    #[error("cannot read line {line}")]
    Read {
        /// Line, from 1.
        line: usize,
        /// Cause.
        source: std::io::Error,
    },
    /// The line is not what it should be.
    #[error("line {line} is not a valid entry")]
    Parse {
        /// Line, from 1.
        line: usize,
        /// Cause.
        source: serde_json::Error,
    },
    /// A time is no RFC 3339 timestamp.
    #[error("«{text}» is no RFC 3339 timestamp")]
    Time {
        /// What was read.
        text: String,
        /// Cause.
        source: jiff::Error,
    },
}

/// Reads a file of JSON lines; empty lines are passed over.
///
/// # Errors
/// When the file fails or a line is no valid entry.
pub fn read_lines<T: for<'a> Deserialize<'a>>(file: impl BufRead) -> Result<Vec<T>, ReadError> {
    let mut entries = Vec::new();
    for (index, text) in file.lines().enumerate() {
        let line = index + 1;
        let text = text.map_err(|source| ReadError::Read { line, source })?;
        if !text.trim().is_empty() {
            entries.push(serde_json::from_str(&text).map_err(|source| ReadError::Parse { line, source })?);
        }
    }
    Ok(entries)
}

/// What a run scored.
#[derive(Clone, Default, PartialEq, Debug, Serialize, Deserialize)]
pub struct Score {
    /// True cycles.
    pub cycles: usize,
    /// True cycles that the delivered readings show.
    pub observable: usize,
    /// Observable cycles that the gateway recorded.
    pub recognised: usize,
    /// Observable cycles that it did not.
    pub missed: usize,
    /// Gateway cycles that were none.
    pub invented: usize,
    /// Truly cold cycles called pass.
    pub cold_called_pass: usize,
    /// Truly cold cycles called narrow.
    pub cold_called_narrow: usize,
    /// Truly brief or weak cycles called pass.
    pub brief_or_weak_called_pass: usize,
    /// Truly passing cycles called cold.
    pub pass_called_cold: usize,
    /// Truly passing cycles called brief.
    pub pass_called_brief: usize,
    /// Observable cycles called unproven.
    pub unproven: usize,
    /// Largest distance from the limit of a cold cycle called pass or narrow, or of a passing one
    /// called cold, K.
    pub worst_wrong_margin_c: f64,
    /// Errors of the judged settled minimum, absolute, ascending, K; for observable cycles that ran
    /// to the end, were not called unproven, and whose probe has tau ≤ 2 s.
    pub min_errors_c: Vec<f64>,
    /// Errors of the start of the rinse, absolute, ascending, s.
    pub start_errors_s: Vec<f64>,
    /// Errors of the end of the rinse, absolute, ascending, s; cycles that ran to the end.
    pub end_errors_s: Vec<f64>,
}

impl Score {
    /// Recognised of observable; 1 where nothing was observable.
    #[must_use]
    pub fn recall(&self) -> f64 {
        ratio(self.recognised, self.observable)
    }

    /// Recognised of recognised and invented; 1 where there was neither.
    #[must_use]
    pub fn precision(&self) -> f64 {
        ratio(self.recognised, self.recognised + self.invented)
    }

    /// Adds the counts of another run.
    pub fn add(&mut self, other: &Self) {
        self.cycles += other.cycles;
        self.observable += other.observable;
        self.recognised += other.recognised;
        self.missed += other.missed;
        self.invented += other.invented;
        self.cold_called_pass += other.cold_called_pass;
        self.cold_called_narrow += other.cold_called_narrow;
        self.brief_or_weak_called_pass += other.brief_or_weak_called_pass;
        self.pass_called_cold += other.pass_called_cold;
        self.pass_called_brief += other.pass_called_brief;
        self.unproven += other.unproven;
        self.worst_wrong_margin_c = self.worst_wrong_margin_c.max(other.worst_wrong_margin_c);
        for (mine, theirs) in [
            (&mut self.min_errors_c, &other.min_errors_c),
            (&mut self.start_errors_s, &other.start_errors_s),
            (&mut self.end_errors_s, &other.end_errors_s),
        ] {
            mine.extend_from_slice(theirs);
            mine.sort_by(f64::total_cmp);
        }
    }
}

fn ratio(part: usize, whole: usize) -> f64 {
    if whole == 0 { 1.0 } else { part as f64 / whole as f64 }
}

/// The value below which `part` of an ascending list lies (nearest rank); `None` of an empty list.
#[must_use]
pub fn quantile(ascending: &[f64], part: f64) -> Option<f64> {
    let rank = (ascending.len() as f64 * part).ceil().max(1.0);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a rank is small and positive"
    )]
    ascending.get((rank as usize).min(ascending.len()).wrapping_sub(1)).copied()
}

/// A score with the cycles behind its failures.
#[derive(Clone, Default, Debug)]
pub struct Report {
    /// The score.
    pub score: Score,
    /// Observable cycles without a partner.
    pub missed: Vec<CycleTruth>,
    /// Gateway cycles without a partner.
    pub invented: Vec<CycleRow>,
    /// What really happened during each kind of invented cycle: `hose`, `fill`, `drain`,
    /// `aborted-wash`, `nothing`.
    pub invented_during: BTreeMap<&'static str, usize>,
    /// Pairs with a wrong verdict: cold called pass or narrow, brief or weak called pass, pass
    /// called cold or brief.
    pub misjudged: Vec<(CycleTruth, CycleRow)>,
}

/// A final rinse in µs of Unix time.
type Window = (i64, i64);

/// Compares a run's cycles with its truth.
///
/// # Errors
/// When a time is no RFC 3339 timestamp.
pub fn compare(truth: &[TruthEntry], rows: &[CycleRow]) -> Result<Report, ReadError> {
    let mut cycles = Vec::new();
    let mut others: Vec<(&'static str, &str, Window)> = Vec::new();
    for entry in truth {
        match entry {
            TruthEntry::Cycle(cycle) => cycles.push((cycle.as_ref(), cycle_window(cycle)?)),
            TruthEntry::Fill(span) => others.push(("fill", &span.machine, span_window(span)?)),
            TruthEntry::Hose(span) => others.push(("hose", &span.machine, span_window(span)?)),
            TruthEntry::Drain(span) => others.push(("drain", &span.machine, span_window(span)?)),
            TruthEntry::AbortedWash(span) => {
                others.push(("aborted-wash", &span.machine, span_window(span)?));
            }
            TruthEntry::Check(_) => {}
        }
    }
    let windows = rows.iter().map(row_window).collect::<Result<Vec<_>, _>>()?;
    let partner = pair(&cycles, rows, &windows);

    let mut report = Report::default();
    let mut taken = vec![false; rows.len()];
    for ((cycle, window), row) in cycles.iter().zip(&partner) {
        let row = row.map(|index| {
            taken[index] = true;
            (&rows[index], windows[index])
        });
        weigh(&mut report, cycle, *window, row);
    }
    for (index, row) in rows.iter().enumerate().filter(|(index, _)| !taken[*index]) {
        blame(&mut report, row, windows[index], &others);
    }
    for errors in
        [&mut report.score.min_errors_c, &mut report.score.start_errors_s, &mut report.score.end_errors_s]
    {
        errors.sort_by(f64::total_cmp);
    }
    Ok(report)
}

fn instant(text: &str) -> Result<i64, ReadError> {
    parse_rfc3339(text).map_err(|source| ReadError::Time { text: text.to_owned(), source })
}

fn cycle_window(cycle: &CycleTruth) -> Result<Window, ReadError> {
    Ok((instant(&cycle.rinse_started)?, instant(&cycle.rinse_ended)?))
}

fn span_window(span: &Span) -> Result<Window, ReadError> {
    Ok((instant(&span.started)?, instant(&span.ended)?))
}

/// The rinse of a row; where it has none, the moment it started.
fn row_window(row: &CycleRow) -> Result<Window, ReadError> {
    let from = instant(row.rinse_started.as_deref().unwrap_or(&row.started))?;
    let until = row.rinse_ended.as_deref().map_or(Ok(from), instant)?;
    Ok((from, until.max(from)))
}

/// Intersection over union of two windows.
fn overlap(a: Window, b: Window) -> f64 {
    let common = (a.1.min(b.1) - a.0.max(b.0)).max(0);
    let whole = (a.1.max(b.1) - a.0.min(b.0)).max(1);
    common as f64 / whole as f64
}

/// The row of each true cycle, if any.
fn pair(cycles: &[(&CycleTruth, Window)], rows: &[CycleRow], windows: &[Window]) -> Vec<Option<usize>> {
    let mut candidates = Vec::new();
    for (at, (cycle, window)) in cycles.iter().enumerate() {
        for (index, row) in rows.iter().enumerate().filter(|(_, row)| row.machine == cycle.machine) {
            let mut share = overlap(*window, windows[index]);
            if row.rinse_started.is_none() {
                // A cycle without a rinse in it belongs to the cycle during which it started.
                let started = instant(&cycle.started).unwrap_or(window.0) - 10_000_000;
                share = if (started..=window.1).contains(&windows[index].0) { 1e-9 } else { 0.0 };
            }
            if share > 0.0 {
                candidates.push((share, at, index));
            }
        }
    }
    candidates.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut partner = vec![None; cycles.len()];
    let mut taken = vec![false; rows.len()];
    for (_, at, index) in candidates {
        if partner[at].is_none() && !taken[index] {
            partner[at] = Some(index);
            taken[index] = true;
        }
    }
    partner
}

/// Counts one true cycle and its partner.
fn weigh(report: &mut Report, cycle: &CycleTruth, window: Window, row: Option<(&CycleRow, Window)>) {
    let score = &mut report.score;
    score.cycles += 1;
    score.observable += usize::from(cycle.observable);
    let Some((row, seen)) = row else {
        if cycle.observable {
            score.missed += 1;
            report.missed.push(cycle.clone());
        }
        return;
    };
    let verdict = row.verdict.as_str();
    let wrong = match (cycle.expected, verdict) {
        (Expected::Cold, "pass") => &mut score.cold_called_pass,
        (Expected::Cold, "narrow") => &mut score.cold_called_narrow,
        (Expected::Brief | Expected::Weak, "pass") => &mut score.brief_or_weak_called_pass,
        (Expected::Pass, "cold") => &mut score.pass_called_cold,
        (Expected::Pass, "brief") => &mut score.pass_called_brief,
        (Expected::Cold | Expected::Brief | Expected::Weak | Expected::Pass, _) => &mut 0,
    };
    *wrong += 1;
    let is_wrong = matches!(
        (cycle.expected, verdict),
        (Expected::Cold, "pass" | "narrow")
            | (Expected::Brief | Expected::Weak, "pass")
            | (Expected::Pass, "cold" | "brief")
    );
    if is_wrong {
        if matches!(cycle.expected, Expected::Cold | Expected::Pass) && verdict != "brief" {
            let margin_c = cycle.margin_c.unwrap_or(0.0).abs();
            score.worst_wrong_margin_c = score.worst_wrong_margin_c.max(margin_c);
        }
        report.misjudged.push((cycle.clone(), row.clone()));
    }
    if !cycle.observable {
        return;
    }
    score.recognised += 1;
    score.unproven += usize::from(verdict == "unproven");
    if row.rinse_started.is_some() {
        score.start_errors_s.push((seen.0 - window.0).unsigned_abs() as f64 * 1e-6);
        if !cycle.aborted {
            score.end_errors_s.push((seen.1 - window.1).unsigned_abs() as f64 * 1e-6);
        }
    }
    if let (Some(judged_c), Some(true_c)) = (row.judged_min_c(), cycle.rinse_min_c)
        && !cycle.aborted
        && verdict != "unproven"
        && cycle.rinse_tau_s <= 2.0
    {
        score.min_errors_c.push((judged_c - true_c).abs());
    }
}

/// Counts a gateway cycle that has no partner. One without a rinse during an aborted wash is right.
fn blame(report: &mut Report, row: &CycleRow, window: Window, others: &[(&'static str, &str, Window)]) {
    let during = others.iter().find(|(_, machine, (from, until))| {
        *machine == row.machine && *from <= window.1 && window.0 <= *until
    });
    let during = during.map_or("nothing", |(kind, _, _)| kind);
    if during == "aborted-wash" && row.rinse_started.is_none() && row.verdict != "pass" {
        return;
    }
    report.score.invented += 1;
    *report.invented_during.entry(during).or_default() += 1;
    report.invented.push(row.clone());
}

#[cfg(test)]
mod tests;
