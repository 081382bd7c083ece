//! Every rack that did not plainly pass: its trace, what was found, what was done; those of work in a table.

use std::collections::{BTreeMap, BTreeSet};

use super::sheet::{Rack, Tone};
use super::tell::Teller;
use super::words::Word;
use super::{Block, Draft};
use crate::core::cycle::minimum::Unjudged;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words;
use crate::core::late::LATE_AFTER;
use crate::core::record::{Basis, Cycle};
use crate::report::account::ExceptionAccount;
use crate::report::plot::{Size, cycle};

/// Most racks that are shown with their trace: some eighty pages.
pub const TRACES_MAX: usize = 400;
/// Most racks that are listed without it: some two hundred pages.
pub const LISTED_MAX: usize = 6000;

/// Size of a trace beside its figures, px.
const BESIDE: Size = Size { width: 420, height: 215 };

/// The alerts that put racks in doubt, by record.
type Doubts = BTreeMap<u64, Vec<u64>>;

/// Whether a rack is unproven since somebody worked on its machine, and nothing else was found of it.
fn is_of_work(exception: &ExceptionAccount) -> bool {
    let cycle = &exception.cycle;
    cycle.verdict == Verdict::Unproven && cycle.is_worked_on() && cycle.findings.is_empty()
}

impl Draft<'_> {
    pub(super) fn racks(&mut self) {
        let teller = self.teller;
        self.section(Word::ExceptionsHeading);
        let all = self.account.machines.iter().flat_map(|machine| {
            machine.exceptions.iter().map(|exception| (machine.machine.as_str(), exception))
        });
        let (work, mut all): (Vec<_>, Vec<(&str, &ExceptionAccount)>) =
            all.partition(|(_, one)| is_of_work(one));
        let left_out: u64 =
            self.account.machines.iter().map(|machine| machine.exceptions_left_out.total()).sum();
        let count = all.len() as u64 + left_out;
        if count == 0 {
            self.text(Tone::Plain, teller.say(Word::NoneF));
            return self.work_racks(work);
        }
        all.sort_by_key(|(_, exception)| {
            (exception.cycle.verdict, exception.cycle.rinse_started, exception.index)
        });
        let further = all.split_off(all.len().min(TRACES_MAX));
        if further.is_empty() && left_out == 0 {
            // All are shown: in order of time they tell what happened.
            all.sort_by_key(|(_, exception)| (exception.cycle.rinse_started, exception.index));
            self.text(Tone::Small, teller.with(Word::ExceptionsCount, &[("count", &count.to_string())]));
        } else {
            let (count, drawn, listed) =
                (count.to_string(), all.len().to_string(), further.len().to_string());
            let language = teller.reader.language;
            let worse = Verdict::ALL.into_iter().filter(|verdict| *verdict != Verdict::Pass);
            let verdicts: Vec<_> = worse.map(|verdict| words::verdict(verdict, language)).collect();
            let verdicts = verdicts.join(", ");
            let values =
                [("count", count.as_str()), ("drawn", &drawn), ("verdicts", &verdicts), ("listed", &listed)];
            self.text(Tone::Small, teller.with(Word::ExceptionsRule, &values));
        }
        self.left_out();
        let doubts = self.doubts();
        for (machine, exception) in all {
            let rack = self.rack(machine, exception, &doubts);
            self.blocks.push(Block::Rack(rack));
        }
        self.further(&further, &doubts);
        self.work_racks(work);
    }

    /// The alerts that put each rack in doubt, by record.
    fn doubts(&self) -> Doubts {
        let racks = self.account.machines.iter().flat_map(|machine| &machine.in_doubt);
        racks.map(|rack| (rack.index, rack.alerts.clone())).collect()
    }

    /// What the account counts and does not tell one by one.
    fn left_out(&mut self) {
        let teller = self.teller;
        for machine in &self.account.machines {
            let counts = &machine.exceptions_left_out;
            if counts.total() == 0 {
                continue;
            }
            let verdicts = Verdict::ALL.into_iter().filter(|verdict| counts.of(*verdict) > 0);
            let verdicts: Vec<String> = verdicts
                .map(|verdict| format!("{} {}", teller.verdict(verdict), counts.of(verdict)))
                .collect();
            let values = [
                ("count", counts.total().to_string()),
                ("machine", Teller::text(&machine.machine)),
                ("verdicts", verdicts.join(", ")),
            ];
            let values: Vec<(&str, &str)> =
                values.iter().map(|(name, value)| (*name, value.as_str())).collect();
            self.text(Tone::Framed, teller.with(Word::ExceptionsLeftOut, &values));
        }
        if self.account.traces_left_out > 0 {
            let count = self.account.traces_left_out.to_string();
            self.text(Tone::Framed, teller.with(Word::TracesLeftOut, &[("count", &count)]));
        }
    }

    fn rack(&mut self, machine: &str, exception: &ExceptionAccount, doubts: &Doubts) -> Rack {
        let cycle = &exception.cycle;
        let teller = self.teller;
        let plot = exception.trace.as_ref().map(|trace| {
            let mut plot = cycle::plot(machine, cycle, trace, &teller.reader);
            // Its title stands over it as text.
            plot.title.clear();
            // Which value it is stands beside it.
            for point in &mut plot.points {
                point.label.truncate(point.label.find(" (").unwrap_or(point.label.len()));
            }
            let alt = plot.description.clone();
            (self.plot(&plot.svg(BESIDE)), alt)
        });
        let at = teller.stamp(cycle.rinse_started);
        let head = teller.with(Word::ExceptionHead, &[("machine", &Teller::text(machine)), ("at", &at)]);
        let mut rows = self.figures(cycle);
        if exception.trace.is_none() {
            // Where some were left out it may be one of those.
            let out = self.account.traces_left_out > 0 && cycle.trace_sha256.is_some();
            let word = if out { Word::TraceLeftOut } else { Word::NoTrace };
            rows.push((String::new(), teller.say(word).to_owned()));
        }
        if !cycle.reasons.is_empty() {
            rows.push(self.row(Word::Why, teller.reasons(&cycle.reasons)));
        }
        if !cycle.findings.is_empty() {
            rows.push(self.row(Word::Found, teller.findings(&cycle.findings)));
        }
        rows.extend(self.answers(exception, doubts));
        rows.push(self.row(Word::RecordRow, self.recorded(exception)));
        Rack { verdict: teller.verdict(cycle.verdict), head, plot, rows }
    }

    fn figures(&self, cycle: &Cycle) -> Vec<(String, String)> {
        let teller = self.teller;
        let unit = teller.reader.scale.symbol();
        let mut rows = vec![self.row(Word::Minimum, self.minimum(cycle))];
        if let (Basis::LagCorrected, Some(raw), Some(_)) =
            (cycle.basis, cycle.rinse_min_raw_c, cycle.rinse_min_c)
        {
            let raw = teller.beside(raw, std::iter::once(cycle.limit_c));
            rows.push(self.row(Word::Basis, teller.with(Word::BasisCorrected, &[("raw", &raw)])));
        }
        rows.push(self.row(Word::Held, self.held(cycle)));
        if let Some(wash) = cycle.wash_min_c {
            let (measured, limit) = teller.reader.pair(wash, cycle.wash_limit_c);
            let values = [("measured", measured.as_str()), ("limit", &limit), ("unit", unit)];
            rows.push(self.row(Word::WashMinimum, teller.with(Word::WashAgainst, &values)));
        }
        rows
    }

    pub(super) fn minimum(&self, cycle: &Cycle) -> String {
        let teller = self.teller;
        let unjudged = Unjudged::of(cycle);
        let Some(minimum) = cycle.rinse_min_c.or(unjudged.map(|unjudged| unjudged.celsius)) else {
            let limit = teller.reader.temperature(cycle.limit_c);
            return teller.with(Word::NoMinimum, &[("limit", &limit)]);
        };
        let (measured, limit) = teller.reader.pair(minimum, cycle.limit_c);
        let uncertainty = teller.reader.difference(cycle.uncertainty_c);
        let unit = teller.reader.scale.symbol();
        let values = [
            ("measured", measured.as_str()),
            ("limit", &limit),
            ("unit", unit),
            ("uncertainty", &uncertainty),
        ];
        let against = teller.with(Word::AgainstLimit, &values);
        unjudged.map_or_else(
            || against.clone(),
            |unjudged| format!("{against}, {}", unjudged.word(teller.reader.language)),
        )
    }

    fn held(&self, cycle: &Cycle) -> String {
        let (held, required) = Teller::apart(cycle.dwell_s, cycle.dwell_required_s, 1);
        self.teller.with(Word::HeldOf, &[("held", &held), ("required", &required)])
    }

    /// The alerts that name the rack with what was done, those that put it in doubt, and the amendments that speak of
    /// it.
    fn answers(&self, exception: &ExceptionAccount, doubts: &Doubts) -> Vec<(String, String)> {
        let teller = self.teller;
        let mut rows = Vec::new();
        // What cannot be read may be an action.
        let is_whole = self.account.damaged.is_empty();
        let (missing, not_yet) = if is_whole {
            (Word::ActionMissing, Word::ActionNotYet)
        } else {
            (Word::ActionUnknown, Word::ActionUnknown)
        };
        for number in &exception.alerts {
            let alert = self.account.alerts.iter().find(|alert| alert.number == *number);
            let Some(alert) = alert.filter(|alert| !alert.actions.is_empty()) else {
                let none = teller.with(missing, &[("number", &number.to_string())]);
                rows.push(self.row(Word::ActionRow, none));
                continue;
            };
            let covered = exception.covered.iter().find(|own| own.alert == *number);
            let told = match covered {
                Some(own) if own.actions.is_empty() => {
                    vec![teller.with(not_yet, &[("number", &number.to_string())])]
                }
                Some(own) => {
                    let covering = alert.actions.iter().filter(|action| own.actions.contains(&action.index));
                    covering.map(|action| self.action(Word::ActionText, alert, action, true)).collect()
                }
                None => alert
                    .actions
                    .iter()
                    .map(|action| self.action(Word::ActionText, alert, action, false))
                    .collect(),
            };
            rows.extend(told.into_iter().map(|text: String| self.row(Word::ActionRow, text)));
        }
        let doubting = doubts.get(&exception.index).map(Vec::as_slice).unwrap_or_default();
        for number in doubting {
            let told = teller.with(Word::InDoubtBy, &[("number", &number.to_string())]);
            rows.push(self.row(Word::AlertRow, told));
        }
        // Of those that the account left out it is not known.
        let all_told = self.account.machines.iter().all(|machine| machine.in_doubt_left_out == 0);
        if exception.alerts.is_empty() && doubting.is_empty() && all_told {
            // A row that goes on after the span names its last rack only, and of a rack that came late none may speak.
            let in_row = matches!(exception.cycle.verdict, Verdict::Narrow | Verdict::Unproven);
            let is_known = !in_row && exception.recorded < self.account.to;
            let none = if is_known { Word::NoAlert } else { Word::NoAlertKnown };
            rows.push(self.row(Word::AlertRow, teller.say(none)));
        }
        for index in &exception.amendments {
            let remark = self.account.remarks.iter().find(|remark| remark.index == *index);
            let text = match remark {
                Some(remark) => {
                    format!("{index}: {} ({})", Teller::text(&remark.text), Teller::text(&remark.by))
                }
                None => index.to_string(),
            };
            rows.push(self.row(Word::AmendmentRow, text));
        }
        rows
    }

    fn recorded(&self, exception: &ExceptionAccount) -> String {
        let index = exception.index.to_string();
        if exception.recorded.since(exception.cycle.rinse_ended) <= LATE_AFTER {
            return index;
        }
        let at = self.teller.stamp(exception.recorded);
        self.teller.with(Word::RecordLate, &[("index", &index), ("at", &at)])
    }

    fn further(&mut self, further: &[(&str, &ExceptionAccount)], doubts: &Doubts) {
        if further.is_empty() {
            return;
        }
        let teller = self.teller;
        self.heading(2, teller.say(Word::FurtherHeading));
        let columns = vec![
            self.narrow(Word::VerdictColumn),
            self.wide(Word::Machine, 2),
            self.wide(Word::RinseBegan, 3),
            self.wide(Word::Minimum, 4),
            self.wide(Word::AlertRow, 1),
            self.number(Word::RecordRow),
        ];
        let row = |(machine, exception): &(&str, &ExceptionAccount)| {
            let doubting = doubts.get(&exception.index).into_iter().flatten();
            let alerts: BTreeSet<u64> = exception.alerts.iter().chain(doubting).copied().collect();
            let alerts: Vec<String> = alerts.iter().map(u64::to_string).collect();
            vec![
                teller.verdict(exception.cycle.verdict),
                Teller::text(machine),
                teller.stamp(exception.cycle.rinse_started),
                self.minimum(&exception.cycle),
                if alerts.is_empty() { "–".to_owned() } else { alerts.join(", ") },
                exception.index.to_string(),
            ]
        };
        let rows = further.iter().take(LISTED_MAX).map(row).collect();
        self.table(columns, rows);
        let beyond = further.len().saturating_sub(LISTED_MAX);
        if beyond > 0 {
            self.text(Tone::Framed, teller.with(Word::ExceptionsBeyond, &[("count", &beyond.to_string())]));
        }
    }
}
