//! What stands first: which site, which span, which machines and limits, who made it, whether it is whole.

use super::sheet::{Column, Tone};
use super::tell::Teller;
use super::words::Word;
use super::{Block, Draft};
use crate::report::account::MachineAccount;

/// Most damaged records that are named.
const DAMAGED_MAX: usize = 20;

impl Draft<'_> {
    pub(super) fn cover(&mut self) {
        let account = self.account;
        let teller = self.teller;
        self.section(Word::CoverHeading);
        let mut rows = vec![
            self.row(Word::Site, Teller::text(&account.site)),
            self.row(Word::SpanRow, teller.span_in(account, Word::SpanNotOver)),
            self.row(Word::Zone, Teller::text(&account.zone)),
        ];
        if !account.only.is_empty() {
            rows.push(self.row(Word::OnlyMachines, Teller::text(&account.only.join(", "))));
        }
        rows.push(self.row(Word::Made, teller.stamp(account.made)));
        let version = Teller::text(&account.program);
        rows.push(self.row(Word::Program, teller.with(Word::ProgramName, &[("version", &version)])));
        rows.push(self.row(Word::RecordsRow, self.records()));
        self.rows(rows);

        self.heading(2, teller.say(Word::IntegrityHeading));
        let sealed = match &account.seal {
            Some(seal) => {
                let section = teller.say(Word::ProofHeading);
                let count = seal.size.to_string();
                (Tone::Plain, teller.with(Word::SealedText, &[("count", &count), ("section", section)]))
            }
            None => (Tone::Framed, teller.say(Word::UnsealedText).to_owned()),
        };
        self.text(sealed.0, sealed.1);
        if let Some(ends) = account.ends {
            self.text(Tone::Framed, teller.with(Word::EndsText, &[("at", &teller.stamp(ends))]));
        }
        let (tone, text) = self.damage();
        self.text(tone, text);

        self.heading(2, teller.say(Word::MachinesHeading));
        let columns = self.limit_columns();
        let rows = account.machines.iter().flat_map(|machine| self.limits(machine)).collect();
        self.table(columns, rows);
        self.blocks.push(Block::Caution { lines: vec![teller.say(Word::AidText).to_owned()] });
        self.blocks.push(Block::Contents);
    }

    fn records(&self) -> String {
        let records = self.account.records;
        let Some(last) = records.to.checked_sub(1).filter(|last| *last >= records.from) else {
            return self.teller.say(Word::NoRecords).to_owned();
        };
        let (from, last) = (records.from.to_string(), last.to_string());
        self.teller.with(Word::RecordsValue, &[("from", &from), ("last", &last)])
    }

    fn damage(&self) -> (Tone, String) {
        let damaged = &self.account.damaged;
        if damaged.is_empty() {
            return (Tone::Plain, self.teller.say(Word::UndamagedText).to_owned());
        }
        let named: Vec<String> = damaged.iter().take(DAMAGED_MAX).map(u64::to_string).collect();
        let more = damaged.len() - named.len();
        let mut list = named.join(", ");
        if more > 0 {
            list = self.teller.with(Word::MoreListed, &[("list", &list), ("count", &more.to_string())]);
        }
        let count = damaged.len().to_string();
        (Tone::Framed, self.teller.with(Word::DamagedText, &[("count", &count), ("list", &list)]))
    }

    fn limit_columns(&self) -> Vec<Column> {
        vec![
            self.wide(Word::Machine, 3),
            self.wide(Word::Kind, 4),
            self.narrow(Word::Method),
            // Their heads are long and their numbers short: the heads are broken.
            Column { share: 3, ..self.number(Word::RinseLimit) },
            self.wide(Word::LimitFrom, 4),
            Column { share: 3, ..self.number(Word::WashLimit) },
            self.number(Word::DwellRow),
            self.narrow(Word::FromRackOf),
        ]
    }

    fn limits(&self, machine: &MachineAccount) -> Vec<Vec<String>> {
        let teller = self.teller;
        let dash = || "–".to_owned();
        let first = [
            Teller::text(&machine.machine),
            machine.kind.map_or_else(dash, |kind| teller.kind(kind).to_owned()),
            machine.sanitizing.map_or_else(dash, |method| teller.method(method).to_owned()),
        ];
        if machine.limits.is_empty() {
            let none = [dash(), teller.say(Word::NoCycleInSpan).to_owned(), dash(), dash(), dash()];
            return vec![first.into_iter().chain(none).collect()];
        }
        let row = |limit: &crate::report::account::LimitInForce| {
            let [name, kind, method] = first.clone();
            let method = match limit.concentration_mg_per_l {
                Some([min, max]) => {
                    let (min, max) = (min.to_string(), max.to_string());
                    teller.with(Word::MethodRange, &[("method", &method), ("min", &min), ("max", &max)])
                }
                None => method,
            };
            let figures = [
                teller.reader.temperature(limit.limit_c),
                teller.source(limit.source).to_owned(),
                teller.reader.temperature(limit.wash_limit_c),
                format!("{:.1} s", limit.dwell_required_s),
                teller.minute(limit.since),
            ];
            [name, kind, method].into_iter().chain(figures).collect()
        };
        machine.limits.iter().map(row).collect()
    }
}
