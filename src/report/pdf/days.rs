//! The summary of the span, and each machine day by day.

use super::sheet::Tone;
use super::tell::Teller;
use super::words::Word;
use super::{Block, Draft};
use crate::core::cycle::counts::Counts;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::meaning;
use crate::core::logbook::MissedSummed;
use crate::report::account::{DayAccount, MachineAccount};
use crate::report::plot::{Size, days};

/// Size of a picture over the width of the page, px.
const ACROSS: Size = Size { width: 900, height: 340 };

impl Draft<'_> {
    pub(super) fn summary(&mut self) {
        let teller = self.teller;
        let machines = &self.account.machines;
        self.section(Word::SummaryHeading);
        let mut columns = vec![self.wide(Word::Machine, 1), self.number(Word::Racks)];
        for verdict in Verdict::ALL.into_iter().rev() {
            columns.push(super::Column { title: teller.verdict(verdict), number: true, share: 0 });
        }
        columns.extend([self.number(Word::InDoubtColumn), self.number(Word::PassRate)]);
        let counted = |name: String, counts: &Counts, in_doubt: u64| {
            let mut row = vec![name, counts.total().to_string()];
            row.extend(Verdict::ALL.into_iter().rev().map(|verdict| counts.of(verdict).to_string()));
            row.push(in_doubt.to_string());
            row.push(Teller::share(counts.passed() as f64, counts.total() as f64));
            row
        };
        let of = |machine: &MachineAccount| {
            counted(Teller::text(&machine.machine), &machine.counts, machine.racks_in_doubt())
        };
        let mut rows: Vec<_> = machines.iter().map(of).collect();
        let in_doubt = machines.iter().map(MachineAccount::racks_in_doubt).sum();
        if machines.len() > 1 {
            rows.push(counted(teller.say(Word::AllMachines).to_owned(), &sum(machines), in_doubt));
        }
        self.table(columns, rows);
        self.text(Tone::Small, teller.say(Word::PassRateNote));
        if in_doubt > 0 {
            let count = in_doubt.to_string();
            let values = [("count", count.as_str()), ("section", teller.say(Word::DoubtedHeading))];
            self.text(Tone::Framed, teller.with(Word::InDoubtCounted, &values));
        }
        self.worked_on();

        let columns = vec![
            self.wide(Word::Machine, 1),
            self.number(Word::Lowest),
            self.number(Word::Median),
            self.number(Word::RinseLimit),
            self.number(Word::Monitored),
            self.number(Word::GapCount),
            self.number(Word::Late),
        ];
        let rows = machines.iter().map(|machine| self.measured(machine)).collect();
        self.table(columns, rows);
        self.attention();
        self.meanings();
    }

    /// How many of the unproven racks were made while somebody worked on each machine.
    fn worked_on(&mut self) {
        let teller = self.teller;
        let told = |machine: &MachineAccount| {
            let (name, counts) = (Teller::text(&machine.machine), &machine.counts);
            let (count, all) = (counts.worked_on.to_string(), counts.unproven.to_string());
            teller.with(Word::WorkedOnCount, &[("machine", &name), ("count", &count), ("all", &all)])
        };
        let machines = self.account.machines.iter().filter(|machine| machine.counts.worked_on > 0);
        let lines: Vec<String> = machines.map(told).collect();
        if !lines.is_empty() {
            self.text(Tone::Small, lines.join(" "));
        }
    }

    fn measured(&self, machine: &MachineAccount) -> Vec<String> {
        let teller = self.teller;
        let limits = || machine.limits.iter().map(|limit| limit.limit_c);
        let value = |celsius: Option<f64>| {
            celsius.map_or_else(|| "–".to_owned(), |celsius| teller.beside(celsius, limits()))
        };
        let all: Vec<String> = limits().map(|limit| teller.reader.temperature(limit)).collect();
        let share = Teller::share(machine.monitored_s, machine.operating_s);
        let time = Teller::length(machine.operating_s);
        let late: u64 = machine.days.iter().map(|day| day.late).sum();
        vec![
            Teller::text(&machine.machine),
            value(machine.rinse_min_c),
            value(machine.rinse_median_c),
            if all.is_empty() { "–".to_owned() } else { all.join(", ") },
            teller.with(Word::MonitoredOf, &[("share", &share), ("time", &time)]),
            machine.gaps.len().to_string(),
            late.to_string(),
        ]
    }

    /// What is still open, missing or shows a decline.
    fn attention(&mut self) {
        let account = self.account;
        self.heading(2, self.teller.say(Word::Attention));
        let open = account.alerts.iter().filter(|alert| alert.closed.is_none()).count();
        let missing = account.alerts.iter().filter(|alert| alert.action_missing()).count();
        // Each rack of the span once, by however many alerts it is in doubt.
        let in_doubt: u64 = account.machines.iter().map(MachineAccount::racks_in_doubt).sum();
        let bad =
            account.checks.iter().filter(|check| check.good == Some(false) && check.amended_by.is_none());
        let missed = account.overdue.iter().map(|check| (check.since, check.made.is_some()));
        let missed = MissedSummed::of(Some(account.from), missed);
        let warnings: usize = account.machines.iter().map(|machine| machine.drift.warnings()).sum();
        let rows = vec![
            self.row(Word::OpenAlerts, open.to_string()),
            self.row(Word::ActionsMissing, missing.to_string()),
            self.row(Word::RacksDoubted, in_doubt.to_string()),
            self.row(Word::MissedChecks, missed.told(self.teller.reader.language)),
            self.row(Word::BadChecks, bad.count().to_string()),
            self.row(Word::EarlyWarnings, warnings.to_string()),
        ];
        self.rows(rows);
    }

    fn meanings(&mut self) {
        self.heading(2, self.teller.say(Word::VerdictsHeading));
        let language = self.teller.reader.language;
        let row = |verdict| vec![self.teller.verdict(verdict), meaning(verdict, language).to_owned()];
        let rows = Verdict::ALL.into_iter().map(row).collect();
        let columns = vec![self.narrow(Word::VerdictColumn), self.wide(Word::MeaningColumn, 1)];
        self.table(columns, rows);
    }

    pub(super) fn days(&mut self) {
        self.section(Word::DaysHeading);
        self.text(Tone::Small, self.teller.say(Word::DaysNote));
        for machine in &self.account.machines {
            self.heading(2, Teller::text(&machine.machine));
            let gaps: Vec<_> = machine
                .gaps
                .iter()
                .map(|gap| (gap.from, gap.to.or(self.account.ends).unwrap_or(self.account.to)))
                .collect();
            let span = days::Days {
                machine: &machine.machine,
                from: self.account.from,
                to: self.account.to,
                days: &machine.days,
                gaps: &gaps,
            };
            let reader = &self.teller.reader;
            let plot = days::plot(span.narrowed(&reader.zone), reader);
            let alt = plot.description.clone();
            let plot = self.plot(&plot.svg(ACROSS));
            self.blocks.push(Block::Plot { plot, alt });
            let columns = vec![
                self.narrow(Word::Day),
                self.number(Word::Racks),
                // Heads of two words are broken.
                super::Column { share: 3, ..self.number(Word::NotPassed) },
                self.number(Word::NarrowColumn),
                self.number(Word::InDoubtColumn),
                self.number(Word::LowestOf),
                self.number(Word::MedianOf),
                self.number(Word::Limit),
                super::Column { share: 3, ..self.number(Word::LargestUncertainty) },
                self.number(Word::Monitored),
                self.number(Word::Recovery),
                super::Column { share: 4, ..self.number(Word::Late) },
            ];
            let rows = machine.days.iter().map(|day| self.day(day)).collect();
            self.table(columns, rows);
        }
    }

    fn day(&self, day: &DayAccount) -> Vec<String> {
        let teller = self.teller;
        let dash = || "–".to_owned();
        let value = |celsius: Option<f64>| {
            celsius.map_or_else(dash, |celsius| teller.beside(celsius, day.limit_c.into_iter()))
        };
        vec![
            day.day.to_string(),
            day.counts.total().to_string(),
            (day.counts.total() - day.counts.passed()).to_string(),
            day.counts.narrow.to_string(),
            day.in_doubt.to_string(),
            value(day.rinse_min_c),
            value(day.rinse_median_c),
            day.limit_c.map_or_else(dash, |celsius| teller.reader.temperature(celsius)),
            day.uncertainty_c.map_or_else(dash, |width| teller.reader.difference(width)),
            Teller::share(day.monitored_s, day.operating_s),
            day.recovery_s.map_or_else(dash, |seconds| format!("{seconds:.0} s")),
            day.late.to_string(),
        ]
    }
}

fn sum(machines: &[MachineAccount]) -> Counts {
    machines.iter().fold(Counts::default(), |sum, machine| sum.plus(machine.counts))
}
