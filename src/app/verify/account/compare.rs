//! Two accounts, section by section: the one that is examined and the one made again.

use std::collections::{BTreeMap, BTreeSet};

use super::fault::{AccountFault, Faults, How};
use super::{Reach, machine};
use crate::report::account::{Account, CalibrationAccount, CheckAccount, MachineAccount, OverdueCheck};

/// Compares all that the evidence lets anybody reckon.
pub(super) fn accounts(said: &Account, found: &Account, reach: &Reach, faults: &mut Faults) {
    for (what, same) in [
        ("span", (said.from, said.to) == (found.from, found.to)),
        ("site", said.site == found.site && said.zone == found.zone),
        ("choice of machines", said.only == found.only),
    ] {
        if !same {
            faults.push(AccountFault::Other { what });
        }
    }
    faults.same(said.records == found.records, || "how many records there are".to_owned());
    // Whether other records follow is not in the file.
    let same = said.ends.is_none_or(|ends| reach.may_end(ends));
    faults.same(same, || "when the last of its records was made".to_owned());
    faults.same(said.seal == found.seal, || "its seal".to_owned());
    faults.same(said.traces_left_out == found.traces_left_out, || "how many traces it leaves out".to_owned());
    machines(said, found, reach, faults);
    let alert = |number| (format!("alert {number}"), None);
    list(faults, alert, &said.alerts, &found.alerts, |alert| alert.number, PartialEq::eq);
    let unjudged = found.checks.iter().any(|check| !reach.knows_configuration(check.index));
    if unjudged {
        faults.open.insert("whether checks entered outside the span are good");
    }
    let same = |said: &CheckAccount, found: &CheckAccount| {
        let judged = if reach.knows_configuration(found.index) { found } else { said };
        *said == CheckAccount { good: judged.good, missed: judged.missed, ..found.clone() }
    };
    list(faults, of("a check"), &said.checks, &found.checks, |check| check.index, same);
    list(faults, of("a remark"), &said.remarks, &found.remarks, |remark| remark.index, PartialEq::eq);
    faults.same(said.renewals == found.renewals, || {
        "the number of records that moved the end of work".to_owned()
    });
    list(faults, of("an event"), &said.service, &found.service, |event| event.index, PartialEq::eq);
    overdue(&said.overdue, &found.overdue, (reach, unjudged), faults);
    calibrations(&said.calibrations, &found.calibrations, reach, faults);
}

/// What is told of a record.
pub(super) fn of(what: &'static str) -> impl Fn(u64) -> (String, Option<u64>) {
    move |record| (format!("{what} of record {record}"), Some(record))
}

/// Compares two lists whose entries have a number of their own, both ways, and their order.
pub(super) fn list<T>(
    faults: &mut Faults,
    what: impl Fn(u64) -> (String, Option<u64>),
    said: &[T],
    found: &[T],
    number: impl Fn(&T) -> u64,
    same: impl Fn(&T, &T) -> bool,
) {
    let mut tell = |how, one| {
        let (what, record) = what(one);
        faults.push(AccountFault::Told { what, how, record });
    };
    let wanted: BTreeMap<u64, (usize, &T)> =
        found.iter().enumerate().map(|(place, one)| (number(one), (place, one))).collect();
    let (mut met, mut reached) = (BTreeSet::new(), 0);
    for one in said {
        let at = number(one);
        match wanted.get(&at) {
            Some((place, found)) if met.insert(at) => {
                // What stands too early shows in what comes too late.
                if !same(one, found) || *place < reached {
                    tell(How::Otherwise, at);
                }
                reached = *place;
            }
            Some(_) | None => tell(How::Added, at),
        }
    }
    for left_out in wanted.keys().filter(|at| !met.contains(at)) {
        tell(How::LeftOut, *left_out);
    }
}

fn machines(said: &Account, found: &Account, reach: &Reach, faults: &mut Faults) {
    let of = |machine: &MachineAccount| format!("the machine «{}»", machine.machine);
    let mut left: Vec<&MachineAccount> = said.machines.iter().collect();
    for found in &found.machines {
        match left.iter().position(|said| said.machine == found.machine) {
            Some(place) => machine::compare(left.remove(place), found, reach, faults),
            None => faults.tell(How::LeftOut, of(found)),
        }
    }
    for added in left {
        faults.tell(How::Added, of(added));
    }
}

/// When a check was made after all is known where that lies in the span; later ones are not in it. Whether it is good is
/// known where all are judged.
fn overdue(
    said: &[OverdueCheck],
    found: &[OverdueCheck],
    (reach, unjudged): (&Reach, bool),
    faults: &mut Faults,
) {
    let of =
        |check: &OverdueCheck| format!("a check «{}» that was overdue since {}", check.check, check.since);
    let mut left: Vec<&OverdueCheck> = said.iter().collect();
    for found in found {
        let own = |said: &&OverdueCheck| {
            (&said.machine, &said.check, said.since) == (&found.machine, &found.check, found.since)
        };
        let Some(place) = left.iter().position(own) else {
            faults.tell(How::LeftOut, of(found));
            continue;
        };
        let said = left.remove(place);
        let known =
            reach.has(found.since) && found.made.is_some_and(|made| found.since < made && reach.has(made));
        let same = if known || reach.is_all() {
            said.made == found.made && (unjudged || said.good == found.good)
        } else {
            faults.open.insert("when checks that were overdue were made outside the span");
            said.made == found.made || said.made.is_none_or(|made| !reach.has(made))
        };
        faults.same(same, || of(found));
    }
    for added in left {
        faults.tell(How::Added, of(added));
    }
}

/// Since when one was in force is known where that lies in the stretch, and until when where it does in the span.
fn calibrations(
    said: &[CalibrationAccount],
    found: &[CalibrationAccount],
    reach: &Reach,
    faults: &mut Faults,
) {
    let of = |one: &CalibrationAccount| format!("a calibration of «{}»", one.probe);
    let mut left: Vec<&CalibrationAccount> = said.iter().collect();
    for found in found {
        let (begun, ended) = (reach.knows_beginning(found.since), !reach.is_beyond(found.until));
        if !begun {
            faults.open.insert("since when calibrations from before the span have been in force");
        }
        let same = |said: &&CalibrationAccount| {
            let since = if begun { said.since == found.since } else { said.since <= found.since };
            let until = if ended { said.until == found.until } else { reach.is_beyond(said.until) };
            let (since_found, until_found) = (said.since, said.until);
            since
                && until
                && **said == CalibrationAccount { since: since_found, until: until_found, ..found.clone() }
        };
        if let Some(place) = left.iter().position(same) {
            left.remove(place);
            continue;
        }
        match left.iter().position(|said| said.probe == found.probe) {
            Some(place) => {
                left.remove(place);
                faults.tell(How::Otherwise, of(found));
            }
            None => faults.tell(How::LeftOut, of(found)),
        }
    }
    for added in left {
        faults.tell(How::Added, of(added));
    }
}
