//! Who works on a machine, or on the whole site, and until when, as its records tell one after the other.

use std::ops::ControlFlow;

use crate::core::record::{Body, DialogWork, Maintenance, Record, Worked};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter};

/// Most records of work on a machine, or on the whole site, that are read back to its beginning (own choice: a dialog of a day makes some
/// two hundred).
const WORK_MAX: usize = 500;

/// What the records say of work on one machine, or on the whole site.
#[derive(Clone, Debug, Default)]
pub(super) struct Work {
    pub(super) until: Option<Timestamp>,
    /// Until when it was asked for by hand, and the dialogs that keep it so beyond that.
    by_hand: Option<Timestamp>,
    dialogs: Vec<String>,
    /// Who works there, and at what.
    pub(super) worked: Vec<Worked>,
}

impl Work {
    /// What the dialog does that keeps the machine under work, where one does.
    pub(super) fn kept_by(&self) -> Option<String> {
        self.dialogs.last().filter(|_| self.by_hand < self.until).cloned()
    }

    /// Takes what a record says of it.
    pub(super) fn take(&mut self, said: &Maintenance) {
        if said.ended || said.begun.is_none() {
            self.worked.clear();
            self.dialogs.clear();
            self.by_hand = None;
        }
        match &said.why {
            Some(why) => {
                self.dialogs.retain(|open| open != why);
                // One that asks for no more than was asked for by hand keeps nothing, and no record tells its end.
                if said.dialog != Some(DialogWork::Over)
                    && self.by_hand.is_none_or(|by_hand| by_hand < said.until)
                {
                    self.dialogs.push(why.clone());
                }
            }
            None => self.by_hand = Some(said.until).filter(|_| !said.ended),
        }
        self.until = Some(said.until).filter(|_| !said.ended);
        said.add_to(&mut self.worked);
    }

    /// Reads what is on record of the work that is under way, back to its beginning: on a machine, or on the whole site.
    pub(super) fn read(&mut self, ledger: &Reader, machine: Option<&str>) -> Result<(), LedgerError> {
        let filter = RecordFilter {
            kinds: vec!["maintenance".to_owned()],
            machine: machine.map(str::to_owned),
            of_site: machine.is_none(),
            limit: Some(WORK_MAX),
            ..RecordFilter::default()
        };
        let mut said = Vec::new();
        ledger.events(Order::NewestFirst, &filter, |_, found| {
            if let Ok((_, Record { body: Body::Maintenance(work), .. })) = found {
                let begins = work.ended || work.begun.is_none();
                said.push(work);
                if begins {
                    return ControlFlow::Break(());
                }
            }
            ControlFlow::Continue(())
        })?;
        said.iter().rev().for_each(|work| self.take(work));
        Ok(())
    }

    /// The work on a machine together with that on the whole site, and whether it is the latter that holds last: that
    /// ends with no machine alone.
    pub(super) fn with_site(mut self, site: &Self, now: Timestamp) -> (Self, bool) {
        if site.until.is_none_or(|until| until <= now) {
            return (self, false);
        }
        if self.until.is_none_or(|until| until <= now) {
            return (site.clone(), true);
        }
        let more = site.worked.iter().filter(|one| !self.worked.contains(one)).cloned();
        let more: Vec<Worked> = more.collect();
        self.worked.extend(more);
        let of_site = self.until <= site.until;
        if of_site {
            (self.until, self.by_hand) = (site.until, site.until);
        }
        (self, of_site)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

    // Own promise: while a dialog keeps a machine under work no time is told for its end, but where one was asked for by
    // hand that is as late; what is over keeps nothing.
    #[test]
    fn a_dialog_keeps_its_machine_under_work_while_it_is_open() {
        let at = |minute: u64| NOW.plus(std::time::Duration::from_secs(60 * minute));
        let said = |until, why: Option<&str>, dialog| Maintenance {
            until: at(until),
            by: Some("Ana".to_owned()),
            why: why.map(str::to_owned),
            ended: false,
            begun: Some(NOW),
            dialog,
            worked: Vec::new(),
        };
        let (proof, goes_on, over) =
            (Some("proof of the wiring of dm1"), Some(DialogWork::GoesOn), Some(DialogWork::Over));
        let mut told = Work::default();
        for (record, kept_by) in [
            (said(4, proof, None), proof),
            (said(9, proof, goes_on), proof),
            (said(3, proof, over), None),
            (said(30, None, None), None),
            // It asks for no more than what is there.
            (said(30, proof, None), None),
            (said(35, proof, goes_on), proof),
            (said(60, None, None), None),
            (Maintenance { ended: true, ..said(20, None, None) }, None),
            (said(24, proof, None), proof),
        ] {
            told.take(&record);
            assert_eq!(told.kept_by().as_deref(), kept_by, "{record:?}");
        }
    }

    // Own promise: a machine is worked on as long as it is or the whole site is, by all who work there; minutes from now,
    // and whether it ends with the site.
    #[test]
    fn work_on_the_whole_site_is_work_on_each_machine() {
        let at = |minute: i64| Timestamp::from_micros(NOW.micros() + minute * 60_000_000);
        let said = |by: &str, minute, why: Option<&str>| Maintenance {
            until: at(minute),
            by: Some(by.to_owned()),
            why: why.map(str::to_owned),
            ended: false,
            begun: None,
            dialog: None,
            worked: Vec::new(),
        };
        let proof = Some("proof of the wiring of dm1");
        for (own, site, until, of_site, kept_by, people) in [
            (None, None, None, false, None, 0),
            (None, Some(30), Some(30), true, None, 1),
            (None, Some(-1), None, false, None, 0),
            (Some((10, None)), Some(30), Some(30), true, None, 2),
            (Some((60, None)), Some(30), Some(60), false, None, 2),
            (Some((60, proof)), Some(30), Some(60), false, proof, 2),
            // What is over on the machine says nothing of now.
            (Some((-5, proof)), Some(30), Some(30), true, None, 1),
            (Some((60, None)), Some(-1), Some(60), false, None, 1),
        ] {
            let (mut work, mut all) = (Work::default(), Work::default());
            own.iter().for_each(|(minute, why)| work.take(&said("Ana", *minute, *why)));
            site.iter().for_each(|minute| all.take(&said("Tom", *minute, None)));
            let (told, is_site) = work.with_site(&all, NOW);
            let found = (told.until.filter(|until| *until > NOW), is_site, told.kept_by());
            assert_eq!(found, (until.map(at), of_site, kept_by.map(str::to_owned)), "{own:?} {site:?}");
            assert_eq!(told.worked.len(), people, "{own:?} {site:?}");
        }
    }

    // Own promise: what is read back of the whole site is what is on record of no machine, and the other way round.
    #[test]
    fn work_is_read_back_to_its_beginning() {
        use crate::app::fixture::{CONFIGURATION, at, ledger, opening, plain};
        let directory = tempfile::tempdir().expect("room for a directory");
        let path = directory.path().join("ledger.sqlite");
        let said = |minute, machine, by: &str, until, begun| {
            let by = Some(by.to_owned());
            let body = Maintenance {
                until: at(until),
                by,
                why: None,
                ended: false,
                begun,
                dialog: None,
                worked: Vec::new(),
            };
            plain(minute, machine, Body::Maintenance(body))
        };
        let mut records = opening(CONFIGURATION);
        records.extend([
            said(10, None, "Tom", 60, None),
            said(20, Some("dm1"), "Ana", 40, None),
            said(30, None, "Eva", 90, Some(at(10))),
        ]);
        ledger(&path, records).close().expect("it closes");
        let reader = Reader::open(&path).expect("a reader");
        for (machine, until, people) in [
            (None, Some(90), &["Tom", "Eva"][..]),
            (Some("dm1"), Some(40), &["Ana"]),
            (Some("dm2"), None, &[]),
        ] {
            let mut work = Work::default();
            work.read(&reader, machine).expect("it reads");
            let worked: Vec<&str> = work.worked.iter().map(|one| one.by.as_str()).collect();
            assert_eq!((work.until, worked.as_slice()), (until.map(at), people), "{machine:?}");
        }
    }
}
