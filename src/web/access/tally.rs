//! Refusals on their way to the record: told together, so that nobody can fill the ledger.
//!
//! The first refusal of a kind is told at once. Equal ones within the minute after it are counted
//! and told as one when the minute is over. Each person who is known has [`RECORDS_MAX`] kinds an
//! hour, and all strangers together have as many: nobody crowds out what another was refused.
//! What is beyond is one kind for each reason: told at once as well, then counted for an hour. It
//! names the person, and no more from where or to whom. So every refusal is told with its reason
//! and its person as it happens, or is counted behind one that was; a kill loses only the counts.
//!
//! Beyond [`PEOPLE_MAX`] people an hour, more than there are accounts, each refusal is told by itself.

use std::collections::BTreeMap;
use std::time::Duration;

use super::login::NO_ACCOUNT;
use crate::core::access::Right;
use crate::core::record::{AccessDeed, AccessEvent, AccessRefusal, AskedChange, Unchanged};
use crate::core::time::Timestamp;

/// How long equal refusals are told together.
const TOGETHER: Duration = Duration::from_secs(60);
/// Kinds of refusals of one person that are told in an hour (own choice: what somebody would still read).
pub(super) const RECORDS_MAX: u32 = 60;
/// That hour.
const HOUR: Duration = Duration::from_secs(3_600);
/// People whose refusals are told together (own choice). More can only be the names that somebody
/// gives who may use the commands of this computer.
const PEOPLE_MAX: usize = 500;

/// What was refused.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Refused {
    /// To come in, or to go where they wanted.
    Visit(AccessRefusal),
    /// To do what their role does not reach: it lacks this right.
    Deed(Right),
    /// A change of an account or a token.
    Change(AskedChange, Unchanged),
}

/// Who was refused.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Whose<'a> {
    /// Nobody that is known: the account is what they typed.
    Stranger,
    /// Whoever is logged in with the account.
    Own,
    /// This person, who asked for something at the account.
    Person(&'a str),
}

/// A kind of refusal: the account as it goes on record, what and why, from where, to whom.
type Kind = (String, Refused, Option<String>, Option<String>);

/// Refusals that are not told yet, by who was refused; `None` are the strangers.
#[derive(Debug, Default)]
pub(super) struct Tally(BTreeMap<Option<String>, Hour>);

/// Those of one person.
#[derive(Debug)]
struct Hour {
    began: Timestamp,
    told: u32,
    open: BTreeMap<Kind, Open>,
}

/// A kind that was told.
#[derive(Debug)]
struct Open {
    since: Timestamp,
    /// How long those that follow are counted.
    lasts: Duration,
    more: u32,
}

impl Tally {
    /// Takes a refusal; what is to be told at once.
    pub(super) fn take(
        &mut self,
        now: Timestamp,
        account: &str,
        what: Refused,
        (from, whose): (Option<&str>, Whose<'_>),
    ) -> Vec<AccessEvent> {
        let mut told = self.turn(now);
        let (person, by) = match whose {
            Whose::Stranger => (None, None),
            Whose::Own => (Some(account.to_owned()), None),
            Whose::Person(by) => (Some(by.to_owned()), Some(by.to_owned())),
        };
        let kind = (account.to_owned(), what, from.map(str::to_owned), by);
        if person.is_some() && self.0.len() > PEOPLE_MAX && !self.0.contains_key(&person) {
            told.push(event(&kind, 1));
            return told;
        }
        let hour =
            self.0.entry(person).or_insert_with(|| Hour { began: now, told: 0, open: BTreeMap::new() });
        told.extend(hour.take(now, kind, whose));
        told
    }

    /// What is to be told by now.
    pub(super) fn turn(&mut self, now: Timestamp) -> Vec<AccessEvent> {
        let mut told = Vec::new();
        self.0.retain(|_, hour| {
            hour.turn(now, &mut told);
            hour.told > 0 || !hour.open.is_empty()
        });
        told
    }

    /// Everything that is not told yet, at the end of the program.
    pub(super) fn end(&mut self) -> Vec<AccessEvent> {
        let people = std::mem::take(&mut self.0);
        let open = people.into_values().flat_map(|hour| hour.open);
        open.filter_map(|(kind, open)| open.rest(&kind)).collect()
    }
}

impl Hour {
    fn take(&mut self, now: Timestamp, kind: Kind, whose: Whose<'_>) -> Option<AccessEvent> {
        let (kind, lasts) = if self.open.contains_key(&kind) || self.told < RECORDS_MAX {
            (kind, TOGETHER)
        } else {
            let (account, what, _, by) = kind;
            let account = if whose == Whose::Own { account } else { NO_ACCOUNT.to_owned() };
            ((account, what, None, by), HOUR)
        };
        if let Some(open) = self.open.get_mut(&kind) {
            open.more = open.more.saturating_add(1);
            return None;
        }
        self.told = self.told.saturating_add(1);
        let told = event(&kind, 1);
        self.open.insert(kind, Open { since: now, lasts, more: 0 });
        Some(told)
    }

    fn turn(&mut self, now: Timestamp, told: &mut Vec<AccessEvent>) {
        // A clock that was set back must not hold anything for ever.
        let over = |since: Timestamp, span| now < since || now.since(since) >= span;
        self.open.retain(|kind, open| {
            let ended = over(open.since, open.lasts);
            if ended {
                told.extend(open.rest(kind));
            }
            !ended
        });
        if over(self.began, HOUR) {
            (self.began, self.told) = (now, 0);
        }
    }
}

impl Open {
    /// Those that followed the one that was told.
    fn rest(&self, kind: &Kind) -> Option<AccessEvent> {
        (self.more > 0).then(|| event(kind, self.more))
    }
}

fn event((account, refused, from, by): &Kind, times: u32) -> AccessEvent {
    let (what, right) = match *refused {
        Refused::Visit(why) => (AccessDeed::Refused(why), None),
        Refused::Deed(right) => (AccessDeed::Refused(AccessRefusal::NotAllowed), Some(right)),
        Refused::Change(asked, why) => (AccessDeed::ChangeRefused { asked, why }, None),
    };
    let (account, from, by) = (account.clone(), from.clone(), by.clone());
    AccessEvent { account, what, at: None, from, by, times, right }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WRONG: Refused = Refused::Visit(AccessRefusal::Wrong);
    const DAYS: Refused = Refused::Change(AskedChange::AddToken, Unchanged::Days);
    const SAME: Refused = Refused::Change(AskedChange::Enable, Unchanged::Same);

    fn at(seconds: u64) -> Timestamp {
        Timestamp::from_micros(0).plus(Duration::from_secs(seconds))
    }

    fn told(events: &[AccessEvent]) -> Vec<(&str, u32)> {
        events.iter().map(|event| (event.account.as_str(), event.times)).collect()
    }

    // Own promise: no refusal is left uncounted, and equal ones within a minute are two records.
    #[test]
    fn equal_refusals_are_told_together() {
        let mut tally = Tally::default();
        let mut all = Vec::new();
        for second in 0..100 {
            all.extend(tally.take(at(second), "ana", WRONG, (Some("10.0.0.1"), Whose::Stranger)));
        }
        assert_eq!(told(&all), [("ana", 1), ("ana", 59), ("ana", 1)]);
        assert_eq!(told(&tally.turn(at(119))), []);
        assert_eq!(told(&tally.turn(at(120))), [("ana", 39)]);
    }

    // Own promise: what was refused for want of one right is not counted behind what was for another.
    #[test]
    fn refusals_for_want_of_two_rights_are_told_apart() {
        let mut tally = Tally::default();
        let mut one = |second, right| {
            let told = tally.take(at(second), "olga", Refused::Deed(right), (None, Whose::Own));
            told.into_iter().map(|event| (event.what, event.right, event.times)).collect::<Vec<_>>()
        };
        let refused = |right, times| (AccessDeed::Refused(AccessRefusal::NotAllowed), Some(right), times);
        assert_eq!(one(0, Right::Settings), [refused(Right::Settings, 1)]);
        assert_eq!(one(1, Right::Accounts), [refused(Right::Accounts, 1)]);
        assert_eq!(one(2, Right::Settings), []);
        let rest: Vec<_> = tally.end().into_iter().map(|event| (event.right, event.times)).collect();
        assert_eq!(rest, [(Some(Right::Settings), 1)]);
    }

    // Own promise: a stranger who types another name each time fills no ledger, and is counted.
    #[test]
    fn an_hour_holds_a_bounded_number_of_records() {
        let mut tally = Tally::default();
        let mut all = Vec::new();
        for second in 0..3_600 {
            all.extend(tally.take(at(second), &format!("x{second}"), WRONG, (None, Whose::Stranger)));
        }
        assert_eq!(told(&all[59..]), [("x59", 1), ("?", 1)]);
        all.extend(tally.turn(at(3_660)));
        let counted: u32 = all.iter().map(|event| event.times).sum();
        assert_eq!((all.len(), counted), (62, 3_600));
        assert_eq!(told(&tally.take(at(3_661), "y", WRONG, (None, Whose::Stranger))), [("y", 1)]);
        assert_eq!(tally.end(), []);
    }

    // Own promise: whoever is known is named for everything that they were refused, at once.
    #[test]
    fn nobody_hides_behind_many_refusals() {
        let mut tally = Tally::default();
        for number in 0..1_000 {
            let junk = format!("x{number}");
            tally.take(at(0), &junk, WRONG, (Some("10.0.0.1"), Whose::Stranger));
            let told = tally.take(at(0), &junk, DAYS, (Some("10.0.0.1"), Whose::Person("boss")));
            assert!(told.iter().all(|event| event.by.as_deref() == Some("boss")), "{told:?}");
        }
        let mut one = |account, what, whose| {
            let told = tally.take(at(1), account, what, (Some("10.0.0.2"), whose));
            let [event] = told.as_slice() else { panic!("{told:?}") };
            (event.account.clone(), event.from.clone(), event.by.clone())
        };
        let shown = |account: &str, from: Option<&str>, by: Option<&str>| {
            (account.to_owned(), from.map(str::to_owned), by.map(str::to_owned))
        };
        let boss = Whose::Person("boss");
        assert_eq!(one("ana", SAME, boss), shown("?", None, Some("boss")), "another deed is told at once");
        assert_eq!(one("ana", SAME, Whose::Person("eve")), shown("ana", Some("10.0.0.2"), Some("eve")));
        assert_eq!(one("ana", WRONG, Whose::Own), shown("ana", Some("10.0.0.2"), None));
        let rest = tally.end();
        let of = |by: Option<&str>| {
            rest.iter().filter(|event| event.by.as_deref() == by).map(|event| event.times).sum::<u32>()
        };
        assert_eq!(
            (of(Some("boss")), of(None)),
            (939, 939),
            "60 and one were told of each, the rest counted"
        );
    }

    // Own promise: beyond the bound of people nobody is unnamed, and an hour later there is room again.
    #[test]
    fn many_people_take_bounded_room() {
        let mut tally = Tally::default();
        for number in 0..10_000 {
            let by = format!("p{number}");
            let events = tally.take(at(0), "ana", SAME, (None, Whose::Person(&by)));
            assert_eq!((told(&events), events[0].by.as_deref()), (vec![("ana", 1)], Some(by.as_str())));
        }
        assert!(tally.0.len() <= PEOPLE_MAX + 1);
        assert_eq!((tally.turn(at(3_600)), tally.0.len()), (Vec::new(), 0));
    }
}
