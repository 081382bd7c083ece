//! `account.json` against the records: it is made again from them, and the two are compared.
//!
//! What the builder of accounts makes of the records of the evidence must be what the account says,
//! section by section: nothing is left out, nothing added, nothing told otherwise. The evidence does
//! not hold everything that an account is made from: what cannot be reckoned from it is left
//! out of the comparison, and the answer names it ([`NEVER`], [`Faults::open`]).
//!
//! Memory: the cycles of the span, since those that are recorded late come out of order.

mod compare;
mod fault;
mod machine;

use std::collections::BTreeSet;

use jiff::tz::TimeZone;

use crate::core::checkpoint::Checkpoint;
use crate::core::effect::Trace;
use crate::core::evidence::Header;
use crate::core::evidence::examine::Seen;
use crate::core::note::Note;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::report::account::build::{Builder, Question};
use crate::report::account::{Account, RecordRange, Seal};

use fault::How;
pub(super) use fault::{AccountFault, Faults};

/// What no evidence lets anybody reckon: the charts begin before the span, with cycles that are not
/// in it, and what was open at a gateway that stood still is not in it either.
pub(super) const NEVER: &str = "when and by which version it was made, hours of operation and monitored \
     time, early warnings, times of recovery, gaps that last beyond the span, damaged records that are not \
     in this file";

/// How far the evidence reaches: what decides on what can be reckoned from it.
#[derive(Debug)]
struct Reach {
    header: Header,
    /// When the first record of the stretch was made.
    begins: Option<Timestamp>,
    /// When the newest record of the file was made.
    newest: Option<(u64, Timestamp)>,
    /// The newest configuration before the stretch.
    before: Option<u64>,
    /// The newest one after it.
    after: Option<u64>,
    /// Gaps that were open when that one before the stretch came: probe and start. An earlier
    /// one, which is not in the file, may have ended them.
    doubtful: BTreeSet<(String, Timestamp)>,
    /// Gaps that began before the stretch.
    early: BTreeSet<(String, Timestamp)>,
}

/// An account under comparison.
#[derive(Debug)]
pub(super) struct AccountCheck {
    account: Account,
    /// Records that the account says cannot be read.
    damaged: BTreeSet<u64>,
    builder: Builder,
    reach: Reach,
    cycles: Vec<(u64, Record)>,
    /// Cycles whose readings are in the evidence.
    traced: BTreeSet<u64>,
    faults: Faults,
}

impl AccountCheck {
    /// Begins with the account of a PDF and the first line of the evidence.
    pub(super) fn new(account: Account, header: &Header, zone: &TimeZone) -> Self {
        let question = Question {
            program: account.program.clone(),
            // Whatever the account says: all of the span is asked for.
            made: header.to,
            site: header.site.clone(),
            zone_name: header.zone.clone(),
            zone: zone.clone(),
            from: header.from,
            to: header.to,
            only: header.machines.clone(),
            ends: account.ends,
        };
        let damaged: BTreeSet<u64> = account.damaged.iter().copied().collect();
        let mut faults = Faults::default();
        for doubt in account.doubts.iter().filter(|doubt| !damaged.contains(&doubt.index)) {
            let what = format!("a doubt by record {}, which is not told to be damaged", doubt.index);
            faults.push(AccountFault::Told { what, how: How::Added, record: Some(doubt.index) });
        }
        let mut builder = Builder::new(question);
        builder.missing(account.doubts.clone());
        Self {
            damaged,
            account,
            builder,
            reach: Reach {
                header: header.clone(),
                begins: None,
                newest: None,
                before: None,
                after: None,
                doubtful: BTreeSet::new(),
                early: BTreeSet::new(),
            },
            cycles: Vec::new(),
            traced: BTreeSet::new(),
            faults,
        }
    }

    /// Takes the next record of the evidence.
    pub(super) fn take(&mut self, seen: &Seen) {
        if self.damaged.contains(&seen.index) {
            let what = format!("record {} as one that cannot be read", seen.index);
            self.faults.push(AccountFault::Told { what, how: How::Added, record: Some(seen.index) });
        }
        self.reach.note(seen);
        let Body::Cycle(cycle) = &seen.record.body else {
            return self.builder.take(seen.index, &seen.record, &mut |_| None);
        };
        let machine = seen.record.machine.as_deref().unwrap_or_default();
        if self.reach.header.asks_for(machine, cycle.rinse_started) {
            if seen.has_trace {
                self.traced.insert(seen.index);
            }
            self.cycles.push((seen.index, seen.record.clone()));
        }
    }

    /// Ends the comparison.
    pub(super) fn finish(mut self) -> Faults {
        let machines = &self.reach.header.machines;
        // The order in which an export takes them, which decides on what there is room for.
        self.cycles.sort_by_key(|(index, record)| {
            let place = machines.iter().position(|name| Some(name) == record.machine.as_ref());
            let at = if let Body::Cycle(cycle) = &record.body { Some(cycle.rinse_started) } else { None };
            (place, at, *index)
        });
        // An empty trace stands for one that is in the evidence.
        let mut trace = |index| self.traced.contains(&index).then(Trace::default);
        for (index, record) in self.cycles {
            self.builder.take(index, &record, &mut trace);
        }
        let header = &self.reach.header;
        let found = self.builder.finish(RecordRange { from: 0, to: header.size }, None, seal(header));
        compare::accounts(&self.account, &found, &self.reach, &mut self.faults);
        self.faults
    }
}

impl Reach {
    fn note(&mut self, seen: &Seen) {
        let index = seen.index;
        if index >= self.header.first && self.begins.is_none() {
            self.begins = Some(seen.record.recorded);
        }
        self.newest = self.newest.max(Some((index, seen.record.recorded)));
        if let Body::ConfigurationChange(_) = &seen.record.body {
            if index < self.header.first {
                self.before = Some(index);
                self.doubtful.append(&mut self.early);
            } else if index >= self.header.end {
                self.after = Some(index);
            }
        } else if let Body::Gap(gap) = &seen.record.body
            && index < self.header.first
        {
            self.early.insert((gap.probe.clone(), gap.from));
        }
    }

    /// Whether the configuration is known that was in force when this record was made.
    fn knows_configuration(&self, index: u64) -> bool {
        let before = index >= self.header.first || self.before.is_none_or(|before| before < index);
        let after = index < self.header.end || self.after.is_none_or(|after| after < index);
        before && after
    }

    /// Whether something that began then began after the stretch did: what was so before it may have
    /// begun with a record that is not in the file.
    fn knows_beginning(&self, since: Timestamp) -> bool {
        self.header.first == 0 || self.begins.is_some_and(|begins| begins <= since)
    }

    /// Whether the stretch holds every record there is.
    fn is_all(&self) -> bool {
        self.header.first == 0 && self.is_newest()
    }

    /// Whether it ends with the newest record that the checkpoint counts.
    fn is_newest(&self) -> bool {
        self.header.end == self.header.size
    }

    /// Whether an account may end there: with the last record that is sealed, if that is in the file.
    fn may_end(&self, ends: Timestamp) -> bool {
        match self.newest {
            Some((index, at)) if index + 1 == self.header.size => ends == at,
            Some((_, at)) => ends >= at,
            None => true,
        }
    }

    /// Whether an end, or the lack of one, lies beyond the span.
    fn is_beyond(&self, end: Option<Timestamp>) -> bool {
        end.is_none_or(|end| end >= self.header.to)
    }

    fn has(&self, at: Timestamp) -> bool {
        self.header.from <= at && at < self.header.to
    }
}

/// What seals the evidence, as an account names it.
fn seal(header: &Header) -> Option<Seal> {
    let note = Note::parse(&header.checkpoint).ok()?;
    let head = Checkpoint::parse(note.unverified_text()).ok()?.head;
    let (checkpoint, key) = (header.checkpoint.clone(), header.key.clone());
    Some(Seal { checkpoint, key, size: head.size, root: head.root.to_string() })
}
