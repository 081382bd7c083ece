//! Scores as a table for people.

use std::fmt;

use super::{Score, quantile};

/// Scores by scenario; prints one row each and their sum.
#[derive(Clone, Default, Debug)]
pub struct Table {
    rows: Vec<(String, Score)>,
}

impl Table {
    /// Adds a row, or adds to the row of that name.
    pub fn add(&mut self, name: &str, score: &Score) {
        match self.rows.iter_mut().find(|(known, _)| known == name) {
            Some((_, sum)) => sum.add(score),
            None => self.rows.push((name.to_owned(), score.clone())),
        }
    }

    /// The sum of all rows.
    #[must_use]
    pub fn total(&self) -> Score {
        let mut total = Score::default();
        for (_, score) in &self.rows {
            total.add(score);
        }
        total
    }

    /// Each row.
    pub fn rows(&self) -> impl Iterator<Item = (&str, &Score)> {
        self.rows.iter().map(|(name, score)| (name.as_str(), score))
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{:<20}{:>7}{:>7}{:>7}{:>6}{:>6}{:>8}{:>8}{:>6}{:>6}{:>6}{:>6}{:>6}{:>7}{:>7}{:>7}{:>8}",
            "scenario",
            "cycles",
            "visib",
            "recog",
            "miss",
            "inv",
            "recall",
            "precis",
            "c>p",
            "c>n",
            "bw>p",
            "p>c",
            "p>b",
            "unprov",
            "min95",
            "minmax",
            "start95",
        )?;
        for (name, score) in &self.rows {
            row(f, name, score)?;
        }
        row(f, "all", &self.total())?;
        writeln!(
            f,
            "c>p cold called pass; c>n cold called narrow; bw>p brief or weak called pass; p>c, p>b pass \
             called cold, brief; min95, minmax: error of the settled minimum, K; start95: error of the start of the rinse, s",
        )
    }
}

fn row(f: &mut fmt::Formatter<'_>, name: &str, score: &Score) -> fmt::Result {
    let figure = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.2}"));
    writeln!(
        f,
        "{name:<20}{:>7}{:>7}{:>7}{:>6}{:>6}{:>8.4}{:>8.4}{:>6}{:>6}{:>6}{:>6}{:>6}{:>7}{:>7}{:>7}{:>8}",
        score.cycles,
        score.observable,
        score.recognised,
        score.missed,
        score.invented,
        score.recall(),
        score.precision(),
        score.cold_called_pass,
        score.cold_called_narrow,
        score.brief_or_weak_called_pass,
        score.pass_called_cold,
        score.pass_called_brief,
        score.unproven,
        figure(quantile(&score.min_errors_c, 0.95)),
        figure(score.min_errors_c.last().copied()),
        figure(quantile(&score.start_errors_s, 0.95)),
    )
}
