//! `history`: what an auditor asks.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::{FormArgs, Moment};
use crate::core::cycle::verdict::{UnknownVerdict, Verdict};
use crate::core::cycle::words::{IN_DOUBT, verdict};
use crate::core::reader::{Language, Scale};
use crate::core::record::Body;
use crate::core::record::CheckKind;

/// Arguments of `history`.
#[derive(Args, Debug, Default)]
pub struct HistoryArgs {
    /// Configuration file that names the ledger; may be given more than once, the later wins. Where
    /// neither it nor --ledger is given: /etc/rinseward/gateway.toml.
    #[arg(long = "config", value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// The ledger itself; with --config beside it hours and time zone are still those of the site.
    #[arg(long, value_name = "FILE")]
    pub ledger: Option<PathBuf>,
    /// What to show.
    #[arg(long, value_enum, default_value_t, value_name = "WHAT")]
    pub show: Show,
    /// Of this machine only, by its name in the configuration.
    #[arg(long, value_name = "NAME")]
    pub machine: Option<String>,
    /// At or after this: 14:30 of today, `yesterday`, a date or date and time of the site, or RFC 3339.
    /// Of a cycle its final rinse counts.
    #[arg(long, value_name = "TIME")]
    pub from: Option<Moment>,
    /// Up to the end of this day of the site, or before this date and time of it, or RFC 3339.
    #[arg(long, value_name = "TIME")]
    pub to: Option<Moment>,
    /// The moment that --show in-force asks about; now where not given.
    #[arg(long, value_name = "TIME")]
    pub at: Option<Moment>,
    /// Of this verdict only: cold, brief, weak (off-range), unproven, narrow or pass; several with commas. in-doubt: those
    /// that passed and are in doubt by an alert.
    #[arg(long = "verdict", value_delimiter = ',', value_name = "VERDICT", value_parser = judged)]
    pub judged: Vec<Judged>,
    /// Only what concerns the alert of this number.
    #[arg(long, value_name = "NUMBER", value_parser = super::numbered)]
    pub alert: Option<u64>,
    /// Of checks only this kind: sanitizer, supply, drain-and-clean or thermometer.
    #[arg(long, value_name = "KIND", value_parser = check_kind)]
    pub check: Option<CheckKind>,
    /// With --show records only these kinds; several with commas, a wrong one lists all.
    #[arg(long = "kind", value_delimiter = ',', value_name = "KIND", value_parser = record_kind)]
    pub kinds: Vec<String>,
    /// One record with everything that concerns it, by its number.
    #[arg(long, value_name = "NUMBER", value_parser = super::numbered, conflicts_with_all = ["alert", "check", "kinds", "from", "to", "limit"])]
    pub record: Option<u64>,
    /// The newest first.
    #[arg(long)]
    pub newest_first: bool,
    /// Only the newest N, or with --after the next N.
    #[arg(long, value_name = "N", value_parser = super::how_many)]
    pub limit: Option<usize>,
    /// Goes on after this record, the last one of the page before, in the same order.
    #[arg(long, value_name = "NUMBER", value_parser = super::numbered)]
    pub after: Option<u64>,
    /// Scale of the temperatures in tables: c or f. JSON and CSV are always in °C.
    #[arg(long, default_value = "c", value_name = "SCALE", value_parser = scale)]
    pub scale: Scale,
    /// How to print.
    #[command(flatten)]
    pub form: FormArgs,
    /// Whether a limit without a page before it means the oldest, not the newest; asked for by programs only.
    #[arg(skip)]
    pub oldest: bool,
}

impl HistoryArgs {
    /// The verdicts that are asked for.
    #[must_use]
    pub fn verdicts(&self) -> Vec<Verdict> {
        let verdict = |judged: &Judged| match judged {
            Judged::As(verdict) => Some(*verdict),
            Judged::InDoubt => None,
        };
        self.judged.iter().filter_map(verdict).collect()
    }

    /// Whether cycles are asked for, beside those, that passed and are in doubt.
    #[must_use]
    pub fn in_doubt(&self) -> bool {
        self.judged.contains(&Judged::InDoubt)
    }
}

/// What is asked of a cycle.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Judged {
    /// That it has this verdict.
    As(Verdict),
    /// That it passed and is in doubt.
    InDoubt,
}

fn judged(text: &str) -> Result<Judged, ChoiceError> {
    if text == IN_DOUBT {
        return Ok(Judged::InDoubt);
    }
    // By the word that is shown, too.
    let shown = Verdict::ALL.into_iter().find(|judged| verdict(*judged, Language::English) == text);
    shown.map_or_else(|| text.parse(), Ok).map(Judged::As).map_err(ChoiceError::Verdict)
}

/// What `history` shows.
#[derive(ValueEnum, Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Show {
    /// The cycles.
    #[default]
    Cycles,
    /// Each machine's days: racks by verdict, lowest and median settled minimum.
    Days,
    /// The same over the whole span, with the share of operating time that was monitored.
    Summary,
    /// Early warnings, no verdicts: what is usual, drift, cold first racks, recovery in the rush.
    Drift,
    /// Stretches in which something was missing.
    Gaps,
    /// Checks that people entered.
    Checks,
    /// Alerts, with what became of them.
    Alerts,
    /// All records but cycles, in a line each.
    Records,
    /// Configuration, limits and key in force at --at.
    InForce,
}

fn check_kind(text: &str) -> Result<CheckKind, ChoiceError> {
    CheckKind::named(text).ok_or(ChoiceError::Check)
}

fn record_kind(text: &str) -> Result<String, ChoiceError> {
    let known = Body::EVENTS.contains(&text);
    if known { Ok(text.to_owned()) } else { Err(ChoiceError::Kind { known: Body::EVENTS.join(", ") }) }
}

/// Reads a scale: its letter or its word.
pub(super) fn scale(text: &str) -> Result<Scale, ChoiceError> {
    match text {
        "c" | "C" | "celsius" => Ok(Scale::Celsius),
        "f" | "F" | "fahrenheit" => Ok(Scale::Fahrenheit),
        _ => Err(ChoiceError::Scale),
    }
}

/// A word that is none of those to choose from.
#[derive(Debug, thiserror::Error)]
pub(super) enum ChoiceError {
    #[error("{0}, or {IN_DOUBT}")]
    Verdict(UnknownVerdict),
    #[error("one of sanitizer, supply, drain-and-clean, thermometer")]
    Check,
    #[error("one of {known}")]
    Kind { known: String },
    #[error("c or f")]
    Scale,
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        history: HistoryArgs,
    }

    // Own promise: the word of the pages and of the interface for programs stands among the verdicts.
    #[test]
    fn cycles_in_doubt_are_asked_for_among_the_verdicts() {
        for (word, verdicts, in_doubt) in [
            ("in-doubt", vec![], true),
            ("cold,in-doubt", vec![Verdict::Cold], true),
            ("weak", vec![Verdict::Weak], false),
            ("off-range", vec![Verdict::Weak], false),
            ("cold,pass", vec![Verdict::Cold, Verdict::Pass], false),
        ] {
            let asked =
                Line::try_parse_from(["history", "--verdict", word]).expect("it is understood").history;
            assert_eq!((asked.verdicts(), asked.in_doubt()), (verdicts, in_doubt), "{word}");
        }
        let refused =
            Line::try_parse_from(["history", "--verdict", "doubtful"]).err().expect("it is refused");
        assert!(refused.to_string().contains("narrow, pass, or in-doubt"), "{refused}");
    }
}
