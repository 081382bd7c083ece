//! What people entered: checks with what they came to, and what was said of records.

use std::collections::{BTreeMap, BTreeSet};

use super::build::Question;
use super::{CheckAccount, OverdueCheck, Remark};
use crate::config::recorded::Recorded;
use crate::core::alert::story::Story;
use crate::core::logbook::{Missed, judge_known};
use crate::core::record::{Amendment, AmendmentChange, Body, Check, CheckKind, MissedDue, Record};
use crate::core::time::Timestamp;

/// Entries in order of the ledger.
#[derive(Debug, Default)]
pub(super) struct Entries {
    checks: BTreeMap<u64, CheckAccount>,
    remarks: BTreeMap<u64, (Timestamp, Remark)>,
    /// Amendments by the record that they speak of.
    amended: BTreeMap<u64, Vec<u64>>,
    /// Cycles of the span that an amendment speaks of.
    cycles: BTreeSet<u64>,
}

impl Entries {
    /// Takes a check, a note or an amendment, and passes over any other record; checks are judged by the configuration that was in force.
    pub(super) fn take(&mut self, index: u64, record: &Record, configured: Option<&Recorded>) {
        let (recorded, machine) = (record.recorded, record.machine.clone());
        if let Body::Check(check) = &record.body {
            self.check(index, record, check, None, configured);
        } else if let Body::Note(note) = &record.body {
            let (by, text) = (note.by.clone(), note.text.clone());
            let remark = Remark { index, recorded, machine, by, text, amends: None, withdrawn_by: None };
            self.remarks.insert(index, (note.at.unwrap_or(recorded), remark));
        } else if let Body::Amendment(amendment) = &record.body {
            self.amendment(index, record, amendment, configured);
        }
    }

    fn check(
        &mut self,
        index: u64,
        record: &Record,
        check: &Check,
        corrects: Option<u64>,
        configured: Option<&Recorded>,
    ) {
        let machine = record.machine.clone();
        let known = machine.as_deref().and_then(|name| configured?.machine(name));
        let judgement = judge_known(check, known);
        let (good, missed) = (judgement.good, Missed::of(&judgement));
        let (recorded, check) = (record.recorded, check.clone());
        let entry =
            CheckAccount { index, recorded, machine, check, good, missed, amended_by: None, corrects };
        self.checks.insert(index, entry);
    }

    fn amendment(
        &mut self,
        index: u64,
        record: &Record,
        amendment: &Amendment,
        configured: Option<&Recorded>,
    ) {
        let earlier = self.amended.entry(amendment.of).or_default();
        let said = [amendment.of].into_iter().chain(earlier.iter().copied()).collect::<Vec<_>>();
        earlier.push(index);
        let note = self.remarks.get_mut(&amendment.of).filter(|(_, remark)| remark.amends.is_none());
        if let (Some((_, note)), AmendmentChange::Withdrawn) = (note, &amendment.change) {
            note.withdrawn_by = Some(index);
        }
        // Where several speak of one check the newest counts; the one before it counts no more.
        if amendment.change != AmendmentChange::Comment {
            if let Some(first) = self.checks.get_mut(&amendment.of) {
                first.amended_by = None;
            }
            for own in said {
                if let Some(check) = self.checks.get_mut(&own) {
                    check.amended_by.get_or_insert(index);
                }
            }
        }
        if let AmendmentChange::Corrected(check) = &amendment.change {
            self.check(index, record, check, Some(amendment.of), configured);
        }
        let remark = Remark {
            index,
            recorded: record.recorded,
            machine: record.machine.clone(),
            by: amendment.by.clone(),
            text: amendment.reason.clone(),
            amends: Some((amendment.of, amendment.change.clone())),
            withdrawn_by: None,
        };
        self.remarks.insert(index, (record.recorded, remark));
    }

    /// Says that the cycle with this index belongs to the span.
    pub(super) fn saw_cycle(&mut self, index: u64) {
        if self.amended.contains_key(&index) {
            self.cycles.insert(index);
        }
    }

    /// Amendments by the record that they speak of.
    pub(super) const fn amended(&self) -> &BTreeMap<u64, Vec<u64>> {
        &self.amended
    }

    /// The checks of the span, in order of the time they were made.
    pub(super) fn checks(&self, question: &Question) -> Vec<CheckAccount> {
        let mut checks: Vec<CheckAccount> = self
            .checks
            .values()
            .filter(|entry| question.wants(entry.machine.as_deref()) && question.holds(entry.check.at()))
            .cloned()
            .collect();
        checks.sort_by_key(|entry| (entry.check.at(), entry.index));
        checks
    }

    /// What was noted in the span, and what was said at any time of a cycle, a check or a note of it.
    pub(super) fn remarks(&self, question: &Question) -> Vec<Remark> {
        let checks = |of| self.checks.get(&of).is_some_and(|entry| question.holds(entry.check.at()));
        let notes = |of| self.remarks.get(&of).is_some_and(|(at, _)| question.holds(*at));
        let spoken_of = |remark: &Remark| {
            let of = remark.amends.as_ref().map(|(of, _)| *of);
            of.is_some_and(|of| self.cycles.contains(&of) || checks(of) || notes(of))
        };
        self.remarks
            .values()
            .filter(|(at, remark)| question.holds(*at) || spoken_of(remark))
            .filter(|(_, remark)| question.wants(remark.machine.as_deref()))
            .map(|(_, remark)| remark.clone())
            .collect()
    }

    /// What counts, for [`Counting::missed`].
    pub(super) fn counting(&self) -> Counting<'_> {
        let mut counting = Counting::default();
        for entry in self.checks.values().filter(|entry| entry.amended_by.is_none()) {
            let key = (entry.machine.as_deref(), entry.check.kind());
            counting.0.entry(key).or_default().push(entry);
        }
        counting.0.values_mut().for_each(|own| own.sort_by_key(|entry| (entry.check.at(), entry.index)));
        counting
    }
}

/// The checks that nobody withdrew or corrected, by machine and kind, in order of the time they were made.
#[derive(Default)]
pub(super) struct Counting<'e>(BTreeMap<(Option<&'e str>, CheckKind), Vec<&'e CheckAccount>>);

impl<'e> Counting<'e> {
    /// The checks that an alert found missing, each with the entry by which it was made after all: the first that
    /// counts for it, before the next of its kind was missed and while the alert was open.
    pub(super) fn missed(&self, told: &Story) -> Vec<Sought<'e>> {
        let machine = told.alert.machine.as_deref();
        let one = |window: Window| {
            let own = self.0.get(&(machine, window.check)).map_or(&[][..], Vec::as_slice);
            let first = own.partition_point(|entry| entry.check.at() < window.from);
            let made = own.get(first).copied();
            let made = made.filter(|entry| window.to.is_none_or(|to| entry.check.at() < to));
            let check = OverdueCheck {
                machine: machine.map(str::to_owned),
                check: window.check.as_str().to_owned(),
                since: window.due,
                made: made.map(|entry| entry.check.at()),
                good: made.and_then(|entry| entry.good),
            };
            Sought { window, check, made }
        };
        windows(told).into_iter().map(one).collect()
    }
}

/// A check that an alert found missing, and the entry by which it was made after all.
pub(super) struct Sought<'e> {
    pub(super) window: Window,
    pub(super) check: OverdueCheck,
    pub(super) made: Option<&'e CheckAccount>,
}

impl Sought<'_> {
    /// Whether it is of a span: due in it, or due before, missing when it began, and still to be made then.
    pub(super) fn is_of(&self, from: Timestamp, to: Timestamp) -> bool {
        self.window.may_be_of(Some(from), to)
            && (self.check.since >= from || self.made.is_none_or(|made| made.recorded >= from))
    }
}

/// When a check that was missed could be made after all.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Window {
    /// Which.
    pub check: CheckKind,
    /// When it was due.
    pub due: Timestamp,
    /// One made from here on counts for it.
    pub from: Timestamp,
    /// One made from here on counts for the next one that was missed, or came after the alert; absent while it can
    /// be made.
    pub to: Option<Timestamp>,
    /// Whether the next of its kind was missed too.
    pub missed_on: bool,
}

impl Window {
    /// Whether a check of this kind and time counts for it.
    #[must_use]
    pub fn holds(&self, check: CheckKind, made: Timestamp) -> bool {
        check == self.check && made >= self.from && self.to.is_none_or(|to| made < to)
    }

    /// Whether the check may be one of a span: due in it, or due before and still to be made when it began.
    #[must_use]
    pub fn may_be_of(&self, from: Option<Timestamp>, to: Timestamp) -> bool {
        let waits = |from| self.to.is_none_or(|to| to > from);
        self.due < to && from.is_none_or(|from| self.due >= from || waits(from))
    }
}

/// When each of the checks that an alert found missing could be made after all.
pub(super) fn windows(told: &Story) -> Vec<Window> {
    let closed = told.closed.map(Timestamp::just_after);
    let mut missed = told.missed.clone();
    missed.sort_by_key(|one| (one.check, one.due));
    let one = |(place, own): (usize, &MissedDue)| {
        let next = missed.get(place + 1).filter(|next| next.check == own.check).map(|next| next.counts_from);
        let to = [next, closed].into_iter().flatten().min();
        Window { check: own.check, due: own.due, from: own.counts_from, to, missed_on: next.is_some() }
    };
    missed.iter().enumerate().map(one).collect()
}
