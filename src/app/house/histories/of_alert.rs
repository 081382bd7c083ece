//! The racks of one alert, page by page, and its records.
//!
//! A page that ends before it is full, since so many racks were looked through for it, goes on from where it ended.

use super::{Around, Gathered, Sought, rack_line, record_line};
use crate::app::alerts::racks::{Looked, Reach};
use crate::core::alert::AlertNumber;
use crate::core::late::stands_at;
use crate::core::record::{Body, Record};
use crate::ledger::{Found, LedgerError, Order, Subject};
use crate::web::history::{Found as FoundView, Hits, Page};

/// How often as many racks as a page looks through are looked through for the number of all (own choice: twice what the
/// page costs; almost every alert is counted to its end).
const LOOKS_MAX: usize = 2;

/// What was looked at of the racks of an alert.
struct Seen {
    /// Lines among them.
    count: u64,
    /// The last of them.
    last: Option<u64>,
    /// Whether others follow.
    more: bool,
}

impl Sought {
    /// A page of the racks of an alert; `None` where it is to go on from what is none. Records of the alert that cannot be
    /// read go to `damaged`: then nobody knows of how many racks they spoke.
    pub(super) fn of_alert(
        &self,
        around: Around<'_>,
        number: AlertNumber,
        damaged: &mut Vec<u64>,
    ) -> Result<Option<FoundView>, LedgerError> {
        let ledger = around.ledger;
        if !self.goes_on(&["cycle"], ledger)? {
            return Ok(None);
        }
        let (mut gathered, before) = (Gathered::new(), damaged.len());
        let read = Reach::read(ledger, number, |index, _| damaged.push(index))?;
        // What those said of its racks nobody knows.
        let is_whole = damaged.len() == before;
        let Some(reach) = read else {
            return Ok(Some(self.page(gathered, is_whole.then_some(Hits::of(0)))));
        };
        if self.question.machine.as_ref().is_some_and(|name| *name != reach.machine) {
            return Ok(Some(self.page(gathered, Some(Hits::of(0)))));
        }
        let looked = reach.look(ledger, around.doubts, self.order(), (self.from, self.to))?;
        let seen = (self.question.page == Page::Newest).then(|| self.seen(&looked));
        gathered.cut = looked.more;
        for (index, found, is_own) in looked.racks {
            if self.lists(&found, is_own) {
                let line = rack_line(around, index, found)?;
                if gathered.take(index, line).is_break() {
                    gathered.cut = false;
                    break;
                }
            }
            gathered.looked = Some(index);
        }
        let hits = self.counted(around, &reach, seen)?;
        Ok(Some(self.page(gathered, Some(Hits { more: hits.more || !is_whole, ..hits }))))
    }

    /// How many lines its racks are on all pages; `seen` is what the newest one has looked at already.
    fn counted(
        &self,
        around: Around<'_>,
        reach: &Reach,
        mut seen: Option<Seen>,
    ) -> Result<Hits, LedgerError> {
        let (mut count, mut after) = (0, None);
        for _ in 0..LOOKS_MAX {
            let own = if let Some(seen) = seen.take() {
                seen
            } else {
                let order = (Order::NewestFirst, after);
                self.seen(&reach.look(around.ledger, around.doubts, order, (self.from, self.to))?)
            };
            count += own.count;
            after = own.last;
            if !own.more {
                return Ok(Hits::of(count));
            }
        }
        Ok(Hits { more: true, ..Hits::of(count) })
    }

    fn seen(&self, looked: &Looked) -> Seen {
        let lines = looked.racks.iter().filter(|(_, found, is_own)| self.lists(found, *is_own));
        let last = looked.racks.last().map(|(index, ..)| *index);
        Seen { count: lines.count() as u64, last, more: looked.more }
    }

    /// A page of the records that speak of an alert, in order of the record; `None` where it is to go on from none.
    pub(super) fn said_of(
        &self,
        number: AlertNumber,
        around: Around<'_>,
    ) -> Result<Option<FoundView>, LedgerError> {
        let ledger = around.ledger;
        let mut own = ledger.about(Subject::Alert(number.0))?;
        let narrow =
            (self.from, self.to, &self.question.machine, self.question.kind) != (None, None, &None, None);
        if let Page::Older(record) | Page::Newer(record) = self.question.page
            && own.binary_search(&record).is_err()
        {
            return Ok(None);
        }
        if narrow {
            let mut asked = Vec::new();
            for index in own {
                // What a damaged one says nobody knows: it is a line everywhere.
                if ledger.record(index)?.is_ok_and(|(_, record)| !self.is_asked_for(&record)) {
                    continue;
                }
                asked.push(index);
            }
            own = asked;
        }
        let count = own.len() as u64;
        match self.question.page {
            Page::Newest => own.reverse(),
            Page::Older(record) => {
                own.retain(|index| *index < record);
                own.reverse();
            }
            Page::Newer(record) => own.retain(|index| *index > record),
        }
        let sites = around.kept.sites.fresh(ledger)?;
        let mut gathered = Gathered::new();
        for index in own {
            let found = ledger.record(index)?;
            if gathered.take(index, record_line(ledger, index, found, Some(&sites))?).is_break() {
                break;
            }
        }
        Ok(Some(self.page(gathered, Some(Hits::of(count)))))
    }

    /// Whether a record is of the kind, the machine and the span that are asked for.
    fn is_asked_for(&self, record: &Record) -> bool {
        let at = stands_at(record);
        self.question.kind.is_none_or(|kind| kind == record.body.kind())
            && (self.question.machine.is_none() || self.question.machine == record.machine)
            && self.from.is_none_or(|from| at >= from)
            && self.to.is_none_or(|to| at < to)
    }

    /// Whether a rack is a line: one of the alert, of the verdict that is asked for. Whether a damaged one is nobody can
    /// say.
    fn lists(&self, found: &Found, is_own: bool) -> bool {
        let Ok((_, record)) = found else { return true };
        let Body::Cycle(cycle) = &record.body else { return false };
        is_own && self.question.verdict.is_none_or(|verdict| verdict == cycle.verdict)
    }
}
