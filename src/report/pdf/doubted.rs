//! Racks that passed and are in doubt, and racks of work on a machine: tables, without traces.

use super::Draft;
use super::sheet::Tone;
use super::tell::Teller;
use super::words::Word;
use crate::report::account::{DoubtedAccount, ExceptionAccount};

/// Most racks in doubt that are listed (own choice: some thirty pages).
const DOUBTED_MAX: usize = 1_000;
/// Most racks of work that are listed (own choice, likewise).
const WORK_MAX: usize = 1_000;

impl Draft<'_> {
    /// What a later test or comparison put in doubt.
    pub(super) fn doubted(&mut self) {
        let teller = self.teller;
        let machines = &self.account.machines;
        let mut all: Vec<(&str, &DoubtedAccount)> = Vec::new();
        for machine in machines {
            all.extend(machine.in_doubt.iter().map(|rack| (machine.machine.as_str(), rack)));
        }
        let left_out: u64 = machines.iter().map(|machine| machine.in_doubt_left_out).sum();
        let count = all.len() as u64 + left_out;
        if count == 0 {
            return;
        }
        self.section(Word::DoubtedHeading);
        self.text(Tone::Small, teller.with(Word::DoubtedNote, &[("count", &count.to_string())]));
        all.sort_by_key(|(_, rack)| (rack.at, rack.index));
        let columns = vec![
            self.wide(Word::Machine, 2),
            self.narrow(Word::RinseBegan),
            self.narrow(Word::VerdictColumn),
            self.wide(Word::Minimum, 4),
            self.wide(Word::WashMinimum, 4),
            self.wide(Word::AlertRow, 1),
            self.wide(Word::ActionRow, 2),
            self.number(Word::RecordRow),
        ];
        let rows = all.iter().take(DOUBTED_MAX).map(|(machine, rack)| self.doubted_row(machine, rack));
        let rows = rows.collect();
        self.table(columns, rows);
        let beyond = count - all.len().min(DOUBTED_MAX) as u64;
        if beyond > 0 {
            self.text(Tone::Framed, teller.with(Word::DoubtedBeyond, &[("count", &beyond.to_string())]));
        }
    }

    fn doubted_row(&self, machine: &str, rack: &DoubtedAccount) -> Vec<String> {
        let teller = self.teller;
        let unit = teller.reader.scale.symbol();
        let against = |value: Option<f64>, limit_c: f64| match value {
            Some(celsius) => {
                let (measured, limit) = teller.reader.pair(celsius, limit_c);
                let values = [("measured", measured.as_str()), ("limit", &limit), ("unit", unit)];
                teller.with(Word::WashAgainst, &values)
            }
            None => teller.with(Word::NoMinimum, &[("limit", &teller.reader.temperature(limit_c))]),
        };
        let alerts: Vec<String> = rack.alerts.iter().map(u64::to_string).collect();
        vec![
            Teller::text(machine),
            teller.stamp(rack.at),
            teller.verdict(rack.verdict),
            against(rack.rinse_min_c, rack.limit_c),
            against(rack.wash_min_c, rack.wash_limit_c),
            alerts.join(", "),
            self.covering(rack),
            rack.index.to_string(),
        ]
    }

    /// The records of the corrective actions that cover a rack, alert by alert.
    fn covering(&self, rack: &DoubtedAccount) -> String {
        if let [one] = rack.alerts.as_slice() {
            return self.covering_by(rack, *one);
        }
        let told = |alert: &u64| {
            let (number, told) = (alert.to_string(), self.covering_by(rack, *alert));
            self.teller.with(Word::OfAlert, &[("number", &number), ("told", &told)])
        };
        rack.alerts.iter().map(told).collect::<Vec<String>>().join("; ")
    }

    fn covering_by(&self, rack: &DoubtedAccount, number: u64) -> String {
        let alert = self.account.alerts.iter().find(|alert| alert.number == number);
        // What cannot be read may be an action.
        let word = if self.account.damaged.is_empty() { Word::NotCoveredYet } else { Word::CoverUnknown };
        let none = || self.teller.say(word).to_owned();
        match rack.covered.iter().find(|own| own.alert == number) {
            Some(own) if own.actions.is_empty() => none(),
            Some(own) => {
                let actions: Vec<String> = own.actions.iter().map(u64::to_string).collect();
                self.teller.with(Word::RecordsNamed, &[("list", &actions.join(", "))])
            }
            None if alert.is_some_and(|alert| alert.actions.is_empty()) => none(),
            None => self.teller.say(Word::CoverUnknown).to_owned(),
        }
    }

    /// Racks that nobody could prove while somebody worked on the machine: there is nothing to be seen in their traces
    /// that the work does not explain.
    pub(super) fn work_racks(&mut self, mut racks: Vec<(&str, &ExceptionAccount)>) {
        if racks.is_empty() {
            return;
        }
        let teller = self.teller;
        self.heading(2, teller.say(Word::WorkRacksHeading));
        self.text(Tone::Small, teller.with(Word::WorkRacksNote, &[("count", &racks.len().to_string())]));
        racks.sort_by_key(|(_, rack)| (rack.cycle.rinse_started, rack.index));
        let columns = vec![
            self.wide(Word::Machine, 2),
            self.wide(Word::RinseBegan, 3),
            self.wide(Word::Minimum, 4),
            self.number(Word::RecordRow),
        ];
        let row = |(machine, rack): &(&str, &ExceptionAccount)| {
            vec![
                Teller::text(machine),
                teller.stamp(rack.cycle.rinse_started),
                self.minimum(&rack.cycle),
                rack.index.to_string(),
            ]
        };
        let rows = racks.iter().take(WORK_MAX).map(row).collect();
        self.table(columns, rows);
        let beyond = racks.len().saturating_sub(WORK_MAX);
        if beyond > 0 {
            self.text(Tone::Framed, teller.with(Word::ExceptionsBeyond, &[("count", &beyond.to_string())]));
        }
    }
}
