//! Refusals on their way to the record: told together, so that a stranger cannot fill the ledger.
//!
//! The first refusal of a kind is told at once. Equal ones within the minute after it are counted
//! and told as one when the minute is over. At most [`RECORDS_MAX`] kinds are told in an hour; the
//! rest are counted by their reason alone and told when the hour is over. A kill loses the counts
//! of the minute, and of the hour, that is under way.

use std::collections::BTreeMap;
use std::time::Duration;

use crate::core::record::{AccessDeed, AccessEvent, AccessRefusal, AskedChange, Unchanged};
use crate::core::time::Timestamp;

/// How long equal refusals are told together.
const TOGETHER: Duration = Duration::from_secs(60);
/// Kinds of refusals that are told in an hour (own choice: what somebody would still read).
pub(super) const RECORDS_MAX: u32 = 60;
/// That hour.
const HOUR: Duration = Duration::from_secs(3_600);

/// What was refused.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Refused {
    /// To come in, or to go where they wanted.
    Visit(AccessRefusal),
    /// A change of an account or a token.
    Change(AskedChange, Unchanged),
}

/// A kind of refusal: the account as it goes on record, what and why, from where, to whom.
type Kind = (String, Refused, Option<String>, Option<String>);

/// Refusals that are not told yet.
#[derive(Debug, Default)]
pub(super) struct Tally {
    /// When a kind was told, and how many followed.
    open: BTreeMap<Kind, (Timestamp, u32)>,
    hour: Option<Timestamp>,
    told: u32,
    /// What is counted only.
    beyond: BTreeMap<Refused, u32>,
}

impl Tally {
    /// Takes a refusal; what is to be told at once.
    pub(super) fn take(
        &mut self,
        now: Timestamp,
        account: &str,
        what: Refused,
        (from, by): (Option<&str>, Option<&str>),
    ) -> Vec<AccessEvent> {
        let mut told = self.turn(now);
        let kind = (account.to_owned(), what, from.map(str::to_owned), by.map(str::to_owned));
        if let Some((_, more)) = self.open.get_mut(&kind) {
            *more = more.saturating_add(1);
        } else if self.told < RECORDS_MAX {
            self.hour.get_or_insert(now);
            self.told += 1;
            told.push(event(&kind, 1));
            self.open.insert(kind, (now, 0));
        } else {
            let count = self.beyond.entry(what).or_default();
            *count = count.saturating_add(1);
        }
        told
    }

    /// What is to be told by now.
    pub(super) fn turn(&mut self, now: Timestamp) -> Vec<AccessEvent> {
        // A clock that was set back must not hold anything for ever.
        let over = |since: Timestamp, span| now < since || now.since(since) >= span;
        let mut told = Vec::new();
        self.open.retain(|kind, (since, more)| {
            if over(*since, TOGETHER) {
                told.extend((*more > 0).then(|| event(kind, *more)));
                return false;
            }
            true
        });
        if self.hour.is_some_and(|hour| over(hour, HOUR)) {
            told.extend(self.end_hour());
        }
        told
    }

    /// Everything that is not told yet, at the end of the program.
    pub(super) fn end(&mut self) -> Vec<AccessEvent> {
        let open = std::mem::take(&mut self.open);
        let mut told: Vec<AccessEvent> = open
            .iter()
            .filter(|(_, (_, more))| *more > 0)
            .map(|(kind, (_, more))| event(kind, *more))
            .collect();
        told.extend(self.end_hour());
        told
    }

    fn end_hour(&mut self) -> Vec<AccessEvent> {
        (self.hour, self.told) = (None, 0);
        let beyond = std::mem::take(&mut self.beyond);
        beyond.into_iter().map(|(what, times)| event(&("?".to_owned(), what, None, None), times)).collect()
    }
}

fn event((account, refused, from, by): &Kind, times: u32) -> AccessEvent {
    let what = match *refused {
        Refused::Visit(why) => AccessDeed::Refused(why),
        Refused::Change(asked, why) => AccessDeed::ChangeRefused { asked, why },
    };
    let (account, from, by) = (account.clone(), from.clone(), by.clone());
    AccessEvent { account, what, at: None, from, by, times }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WRONG: Refused = Refused::Visit(AccessRefusal::Wrong);

    fn told(events: &[AccessEvent]) -> Vec<(&str, u32)> {
        events.iter().map(|event| (event.account.as_str(), event.times)).collect()
    }

    // Own promise: no refusal is left uncounted, and equal ones within a minute are two records.
    #[test]
    fn equal_refusals_are_told_together() {
        let mut tally = Tally::default();
        let at = |seconds: u64| Timestamp::from_micros(0).plus(Duration::from_secs(seconds));
        let mut all = Vec::new();
        for second in 0..100 {
            all.extend(tally.take(at(second), "ana", WRONG, (Some("10.0.0.1"), None)));
        }
        assert_eq!(told(&all), [("ana", 1), ("ana", 59), ("ana", 1)]);
        assert_eq!(told(&tally.turn(at(119))), []);
        assert_eq!(told(&tally.turn(at(120))), [("ana", 39)]);
    }

    // Own promise: a stranger who types another name each time fills no ledger, and is counted.
    #[test]
    fn an_hour_holds_a_bounded_number_of_records() {
        let mut tally = Tally::default();
        let at = |seconds: u64| Timestamp::from_micros(0).plus(Duration::from_secs(seconds));
        let mut all = Vec::new();
        for second in 0..3_600 {
            all.extend(tally.take(at(second), &format!("x{second}"), WRONG, (None, None)));
        }
        assert_eq!(all.len(), 60);
        all.extend(tally.turn(at(3_600)));
        let counted: u32 = all.iter().map(|event| event.times).sum();
        assert_eq!((all.len(), counted), (61, 3_600));
        assert_eq!(told(&tally.take(at(3_601), "y", WRONG, (None, None))), [("y", 1)]);
        assert_eq!(tally.end(), []);
    }
}
