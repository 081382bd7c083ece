//! Makes an account from records, without touching the ledger.
//!
//! It wants every record that is no cycle, from the first of the ledger to the newest one, in
//! order of the index; then the cycles from [`Question::cycles_from`] to the end of the span, in
//! order of time. So it knows what was said later of a cycle when it sees it, and needs to keep
//! nothing of those that passed but their settled minimum.
//!
//! Cycles count by the start of their final rinse, checks by the time they were made, everything
//! else by the instant at which it was recorded.
//!
//! Memory: 24 bytes a cycle, the exceptions up to [`EXCEPTIONS_MAX`] and their traces up to
//! [`TRACES_MAX`], both apart for what is bad and for what is in doubt, so that a month without
//! proof cannot hide a cold rack. What is beyond is counted and said to be left out. Of the alerts
//! and gaps of the machines that are asked for, [`core::alert::past`] keeps a bounded part for each
//! probe and each alert, and says what is lost beyond it. What people wrote (actions, checks, remarks) is kept
//! whole: it grows with the hands that write it, at most [`TEXT_BYTES_MAX`] a text.
//!
//! [`core::alert::past`]: crate::core::alert::past
//! [`TEXT_BYTES_MAX`]: crate::core::alert::TEXT_BYTES_MAX

mod finish;

use std::collections::{BTreeMap, BTreeSet};
use std::convert::Infallible;
use std::time::Duration;

use jiff::tz::TimeZone;

use super::configured::Configured;
use super::covers::Covers;
use super::entries::Entries;
use super::machine::{Machine, Taken};
use super::service;
use super::{ActionAccount, ServiceEvent};
use crate::core::alert::AlertNumber;
use crate::core::alert::doubts::Doubts;
use crate::core::alert::hours::Stretch;
use crate::core::alert::past::{Back, Past};
use crate::core::alert::story::{self, Story};
use crate::core::cycle::verdict::Verdict;
use crate::core::effect::Trace;
use crate::core::monitored::Blanks;
use crate::core::on_file::{Missed, OnFile};
use crate::core::record::{Body, CorrectiveAction, Cycle, Record};
use crate::core::time::Timestamp;

/// Most exceptions of one account told one by one, of the bad ones and of those in doubt.
pub const EXCEPTIONS_MAX: usize = 20_000;
/// Most traces of exceptions in one account, of the bad ones and of those in doubt (own choice:
/// some 25 MB each).
pub const TRACES_MAX: usize = 4_000;
/// Most racks of one account that passed and are in doubt told one by one (own choice: some 4 MB).
pub const DOUBTED_MAX: usize = 20_000;
/// How long before the span the charts begin to learn what is usual (own choice: the 50 cycles
/// that they need by default, also where a machine washes once a week).
const CHARTS_LEAD: Duration = Duration::from_secs(30 * 86_400);

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Question {
    /// Version of the program.
    pub program: String,
    /// When the account is made.
    pub made: Timestamp,
    /// Name of the site.
    pub site: String,
    /// Name of its time zone.
    pub zone_name: String,
    /// Its time zone.
    pub zone: TimeZone,
    /// First instant of the span.
    pub from: Timestamp,
    /// First instant after it.
    pub to: Timestamp,
    /// Only these machines; empty for all.
    pub only: Vec<String>,
    /// When the last record was made that the account stands on, where others follow: it ends there.
    pub ends: Option<Timestamp>,
}

impl Question {
    /// From which cycles on the builder wants to see them: the charts learn from some before the span.
    #[must_use]
    pub fn cycles_from(&self) -> Timestamp {
        self.from.minus(CHARTS_LEAD)
    }

    /// Whether what is about this machine, or about the site, belongs to it.
    #[must_use]
    pub fn wants(&self, machine: Option<&str>) -> bool {
        machine.is_none_or(|name| self.only.is_empty() || self.only.iter().any(|only| only == name))
    }

    /// Whether an instant lies in the span.
    #[must_use]
    pub fn holds(&self, at: Timestamp) -> bool {
        self.from <= at && at < self.to
    }

    /// Whether what lasted from an instant on, to its end or until now, was so in the span.
    fn overlaps(&self, from: Timestamp, to: Option<Timestamp>) -> bool {
        from < self.to && to.is_none_or(|to| to > self.from)
    }

    /// The span, up to what is known where it reaches further.
    pub(super) fn past(&self) -> Stretch {
        Stretch { from: self.from, to: self.to.min(self.known()).max(self.from) }
    }

    /// Until when anything is known.
    pub(super) fn known(&self) -> Timestamp {
        self.ends.map_or(self.made, |ends| ends.min(self.made))
    }
}

/// Makes an account.
#[derive(Debug)]
pub struct Builder {
    question: Question,
    configured: Configured,
    entries: Entries,
    blanks: Blanks,
    stories: BTreeMap<AlertNumber, Story>,
    /// How many racks of the span each alert counts.
    inside: BTreeMap<AlertNumber, u64>,
    /// How many of them are in doubt by it.
    in_doubt: BTreeMap<AlertNumber, u64>,
    /// Those that name a rack of the span or put it in doubt, however much later.
    concerned: BTreeSet<AlertNumber>,
    covers: Covers,
    past: Past,
    /// What puts racks in doubt which passed.
    doubts: Doubts,
    /// Of each machine its latest rack with proof: its index, and when it ended.
    proven: BTreeMap<String, (u64, Timestamp)>,
    /// The corrective actions of each alert.
    actions: BTreeMap<AlertNumber, Vec<ActionAccount>>,
    /// Alerts by the record that they name as a cause.
    named: BTreeMap<u64, Vec<u64>>,
    /// When somebody had finished work on a machine, or on all of them.
    worked: Vec<(Timestamp, Option<String>)>,
    service: Vec<ServiceEvent>,
    /// Records that only moved the end of work on a machine.
    renewals: u64,
    first: Option<Timestamp>,
    machines: BTreeMap<String, Machine>,
    room: Room,
    damaged: Vec<u64>,
}

/// How much more is told one by one, of the bad ones and of those in doubt.
#[derive(Debug)]
pub(super) struct Room {
    exceptions: [usize; 2],
    traces: [usize; 2],
    traces_left_out: u64,
    doubted: usize,
}

impl Default for Room {
    fn default() -> Self {
        Self {
            exceptions: [EXCEPTIONS_MAX; 2],
            traces: [TRACES_MAX; 2],
            traces_left_out: 0,
            doubted: DOUBTED_MAX,
        }
    }
}

impl Room {
    /// Whether there is room for one more exception.
    pub(super) const fn exception(&mut self, doubtful: bool) -> bool {
        take(&mut self.exceptions[doubtful as usize])
    }

    /// Whether there is room for one more rack that passed and is in doubt.
    pub(super) const fn doubted(&mut self) -> bool {
        take(&mut self.doubted)
    }

    /// Whether there is room for its trace.
    pub(super) const fn trace(&mut self, doubtful: bool) -> bool {
        let room = take(&mut self.traces[doubtful as usize]);
        if !room {
            self.traces_left_out += 1;
        }
        room
    }
}

const fn take(left: &mut usize) -> bool {
    let room = *left > 0;
    *left = left.saturating_sub(1);
    room
}

impl Builder {
    /// Begins with nothing.
    #[must_use]
    pub fn new(question: Question) -> Self {
        Self {
            question,
            configured: Configured::default(),
            entries: Entries::default(),
            blanks: Blanks::default(),
            stories: BTreeMap::new(),
            inside: BTreeMap::new(),
            in_doubt: BTreeMap::new(),
            concerned: BTreeSet::new(),
            covers: Covers::default(),
            past: Past::default(),
            doubts: Doubts::default(),
            proven: BTreeMap::new(),
            actions: BTreeMap::new(),
            named: BTreeMap::new(),
            worked: Vec::new(),
            service: Vec::new(),
            renewals: 0,
            first: None,
            machines: BTreeMap::new(),
            room: Room::default(),
            damaged: Vec::new(),
        }
    }

    /// Says which calibrations, response tests and amendments cannot be read, in order of the index, before any
    /// record is taken: what they may have replaced is in doubt.
    pub fn missing(&mut self, missed: Vec<Missed>) {
        self.configured.missing(missed);
    }

    /// Says that this record cannot be read.
    pub fn damaged(&mut self, index: u64) {
        self.damaged.push(index);
    }

    /// Takes one record; `trace` is asked for the trace of an exception.
    pub fn take(&mut self, index: u64, record: &Record, trace: &mut dyn FnMut(u64) -> Option<Trace>) {
        self.first = Some(self.first.map_or(record.recorded, |first| first.min(record.recorded)));
        if let Body::Cycle(cycle) = &record.body {
            self.cycle(index, record, cycle, trace);
            return;
        }
        self.configured.heed(index);
        if OnFile::KINDS.contains(&record.body.kind()) {
            self.configured.file(index, record);
        }
        self.blanks.note(index, record);
        if self.question.wants(record.machine.as_deref()) {
            story::note(&mut self.stories, record);
            self.past.note(index, record);
            self.covers.note(index, record);
            self.doubts.take(index, record);
        }
        self.entries.take(index, record, self.configured.latest());
        if let Body::ConfigurationChange(change) = &record.body {
            if let Some(now) = self.configured.take(record.recorded, &change.toml, self.question.to) {
                self.blanks.configured(record.recorded, |probe| now.channels.iter().any(|c| c == probe));
            }
        } else if let Body::AlertRaised(raised) = &record.body {
            self.name(raised.cause, raised.alert);
        } else if let Body::AlertChanged(changed) = &record.body {
            self.name(changed.cause, changed.alert);
        } else if let Body::CorrectiveAction(action) = &record.body {
            self.action(index, record.recorded, action);
        } else if let Body::Maintenance(work) = &record.body
            && work.ended
        {
            self.worked.push((record.recorded, record.machine.clone()));
        }
        if self.question.holds(record.recorded) && self.question.wants(record.machine.as_deref()) {
            self.renewals += u64::from(service::is_renewal(&record.body));
            self.service.extend(service::event(index, record));
        }
    }

    /// Keeps what was written about an alert that is asked for.
    fn action(&mut self, index: u64, at: Timestamp, action: &CorrectiveAction) {
        if !self.stories.contains_key(&action.alert) {
            return;
        }
        self.actions.entry(action.alert).or_default().push(ActionAccount {
            index,
            at,
            by: action.by.clone(),
            racks: action.racks.clone(),
            done: action.done.clone(),
            covers: action.covers,
        });
    }

    fn name(&mut self, cause: Option<u64>, alert: AlertNumber) {
        if let Some(cause) = cause {
            let named = self.named.entry(cause).or_default();
            if !named.contains(&alert.0) {
                named.push(alert.0);
            }
        }
    }

    fn cycle(
        &mut self,
        index: u64,
        record: &Record,
        cycle: &Cycle,
        trace: &mut dyn FnMut(u64) -> Option<Trace>,
    ) {
        let name = record.machine.as_deref().unwrap_or_default();
        if !self.question.wants(Some(name)) || cycle.rinse_started >= self.question.to {
            return;
        }
        if !self.machines.contains_key(name) {
            let worked = self.worked.iter().filter(|(_, machine)| machine.as_ref().is_none_or(|m| m == name));
            let worked = worked.map(|(at, _)| *at).collect();
            self.machines.insert(name.to_owned(), Machine::new(self.configured.drift_rules(), worked));
        }
        let inside = self.question.holds(cycle.rinse_started);
        let doubts = if inside { self.doubts.by(name, index, cycle) } else { Vec::new() };
        // Those of before are in no file that proves the account.
        if inside {
            let beside = self.doubts.beside(name, index, cycle);
            if !beside.is_empty() {
                self.named.entry(index).or_default().extend(beside.iter().map(|alert| alert.0));
            }
            for alert in &doubts {
                *self.in_doubt.entry(*alert).or_default() += 1;
            }
            self.concerned.extend(doubts.iter().copied());
            let named = self.named.get(&index).into_iter().flatten();
            self.concerned.extend(named.map(|alert| AlertNumber(*alert)));
            self.count(name, index, cycle, &[doubts.as_slice(), &beside].concat());
        }
        let Some(machine) = self.machines.get_mut(name) else { return };
        if inside {
            self.entries.saw_cycle(index);
        }
        let taken = Taken { index, record, cycle, inside, doubts };
        machine.take(&taken, &self.question, &mut self.room, trace);
    }

    /// Tells the alerts that count a rack; `doubts` are those that do by what was found wrong.
    fn count(&mut self, machine: &str, index: u64, cycle: &Cycle, doubts: &[AlertNumber]) {
        let settings = self.configured.latest().and_then(|read| read.settings.machines.get(machine));
        let probe = settings.and_then(|own| own.rinse_probe.as_deref());
        let proven = self.proven.get(machine);
        let was_back = |back: Back| {
            Ok::<_, Infallible>(proven.is_some_and(|(own, ended)| *own > back.after && *ended > back.since))
        };
        let Ok(explained) = self.past.explained(machine, index, cycle, probe, was_back);
        let mut told = BTreeSet::new();
        for counted in self.past.rack(machine, index, cycle, explained) {
            told.insert(counted.alert);
            if let Some(story) = self.stories.get_mut(&counted.alert) {
                let before = story.taken;
                story.racks(&counted);
                *self.inside.entry(counted.alert).or_default() += story.taken - before;
                // Those of a row that it made long enough are of no other verdict.
                let own = counted.racks.iter().filter(|_| story.taken > before);
                own.for_each(|rack| self.covers.count(counted.alert, rack.index, cycle));
            }
        }
        for alert in doubts.iter().filter(|alert| !told.contains(alert)) {
            *self.inside.entry(*alert).or_default() += 1;
            self.covers.count(*alert, index, cycle);
        }
        if cycle.verdict != Verdict::Unproven {
            let newest = (index, cycle.rinse_ended);
            match self.proven.get_mut(machine) {
                Some(proven) => *proven = newest,
                None => drop(self.proven.insert(machine.to_owned(), newest)),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::reading::Fault;
    use crate::core::record::Gap;

    // Own promise: of machines that nobody asked for nothing is kept.
    #[test]
    fn only_what_is_asked_for_is_kept() {
        let (from, to) = (Timestamp::from_micros(0), Timestamp::from_micros(9));
        let question = Question {
            program: String::new(),
            made: to,
            site: String::new(),
            zone_name: "UTC".to_owned(),
            zone: TimeZone::UTC,
            from,
            to,
            only: vec!["glass".to_owned()],
            ends: None,
        };
        let kept = |machine: &str| {
            let mut builder = Builder::new(question.clone());
            let gap = Gap {
                probe: format!("{machine}/rinse"),
                fault: Fault::Silent,
                from,
                to: Some(to),
                filled: false,
            };
            let record = Record {
                v: crate::core::record::FORMAT,
                recorded: from,
                machine: Some(machine.to_owned()),
                body: Body::Gap(gap),
            };
            builder.take(1, &record, &mut |_| None);
            builder.past != Past::default()
        };
        assert_eq!(["glass", "dm1"].map(kept), [true, false]);
    }
}
