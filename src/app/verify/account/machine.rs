//! One machine of two accounts: its racks by day, limits, gaps and exceptions.

use std::collections::BTreeMap;

use super::Reach;
use super::compare::{list, of};
use super::fault::{AccountFault, Faults, How};
use crate::core::cycle::counts::Counts;
use crate::core::cycle::verdict::Verdict;
use crate::report::account::{DayAccount, ExceptionAccount, GapAccount, MachineAccount};
use jiff::civil::Date;

/// Compares what is said of a machine with what the records give.
pub(super) fn compare(said: &MachineAccount, found: &MachineAccount, reach: &Reach, faults: &mut Faults) {
    let name = &found.machine;
    for verdict in Verdict::ALL {
        let (said, found) = (said.counts.of(verdict), found.counts.of(verdict));
        if said != found {
            let (machine, verdict) = (name.clone(), word(verdict));
            faults.push(AccountFault::Sum { machine, verdict, said, found });
        }
    }
    for (what, same) in [
        ("kind", said.kind == found.kind),
        ("way of sanitizing", said.sanitizing == found.sanitizing),
        ("list of limits", said.limits == found.limits),
        ("lowest settled minimum", said.rinse_min_c == found.rinse_min_c),
        ("median of the settled minima", said.rinse_median_c == found.rinse_median_c),
        ("number of racks made while somebody worked on it", said.counts.worked_on == found.counts.worked_on),
        ("number of racks in doubt left out", said.in_doubt_left_out == found.in_doubt_left_out),
        ("number of exceptions left out", said.exceptions_left_out == found.exceptions_left_out),
    ] {
        if !same {
            let (machine, when) = (name.clone(), "in all".to_owned());
            faults.push(AccountFault::Number { machine, when, what });
        }
    }
    days(name, &said.days, &found.days, faults);
    gaps(name, &said.gaps, &found.gaps, reach, faults);
    let doubted = of("a cycle in doubt");
    list(faults, doubted, &said.in_doubt, &found.in_doubt, |one| one.index, |one, other| one == other);
    let exception = of("a cycle that did not plainly pass");
    if found.exceptions.iter().any(|one| one.cycle.trace_sha256.is_some() && one.trace.is_none()) {
        faults.open.insert("whether traces of racks are left out whose readings are not in this file");
    }
    list(faults, exception, &said.exceptions, &found.exceptions, |one| one.index, same_exception);
}

/// Days on which nothing was washed may be listed for the hours on which it was watched.
fn days(machine: &str, said: &[DayAccount], found: &[DayAccount], faults: &mut Faults) {
    let in_order = said.is_sorted_by(|one, next| one.day < next.day);
    faults.same(in_order, || format!("the order of the days of «{machine}»"));
    let mut both: BTreeMap<Date, [Option<&DayAccount>; 2]> = BTreeMap::new();
    for day in said {
        both.entry(day.day).or_default()[0] = Some(day);
    }
    for day in found {
        both.entry(day.day).or_default()[1] = Some(day);
    }
    for (day, pair) in both {
        let none = nothing(day);
        let [said, found] = pair.map(|one| one.unwrap_or(&none));
        for verdict in Verdict::ALL {
            let (said, found) = (said.counts.of(verdict), found.counts.of(verdict));
            if said != found {
                let (machine, verdict) = (machine.to_owned(), word(verdict));
                faults.push(AccountFault::Count { machine, day, verdict, said, found });
            }
        }
        for (what, same) in [
            ("lowest settled minimum", said.rinse_min_c == found.rinse_min_c),
            ("median of the settled minima", said.rinse_median_c == found.rinse_median_c),
            ("limit", said.limit_c == found.limit_c),
            ("uncertainty", said.uncertainty_c == found.uncertainty_c),
            ("number of late racks", said.late == found.late),
            (
                "number of racks made while somebody worked on it",
                said.counts.worked_on == found.counts.worked_on,
            ),
            ("list of settled minima", said.minima == found.minima),
            ("number of racks in doubt", said.in_doubt == found.in_doubt),
            ("list of racks in doubt", said.minima_in_doubt == found.minima_in_doubt),
        ] {
            if !same {
                let (machine, when) = (machine.to_owned(), format!("on {day}"));
                faults.push(AccountFault::Number { machine, when, what });
            }
        }
    }
}

/// A day on which nothing was washed.
fn nothing(day: Date) -> DayAccount {
    DayAccount {
        day,
        counts: Counts::default(),
        rinse_min_c: None,
        rinse_median_c: None,
        limit_c: None,
        uncertainty_c: None,
        late: 0,
        operating_s: 0.0,
        monitored_s: 0.0,
        recovery_s: None,
        minima: Vec::new(),
        in_doubt: 0,
        minima_in_doubt: Vec::new(),
    }
}

/// Gaps that ended in the span are compared both ways. Of those that last beyond it the records may
/// not be in the file: what began and where is compared of those that it has.
fn gaps(machine: &str, said: &[GapAccount], found: &[GapAccount], reach: &Reach, faults: &mut Faults) {
    let of = |gap: &GapAccount| format!("a gap of «{machine}» from {}", gap.from);
    let mut left: Vec<&GapAccount> = said.iter().collect();
    for found in found {
        let own = |said: &&GapAccount| (&said.probe, said.from) == (&found.probe, found.from);
        let doubtful = |probe: &String| reach.doubtful.contains(&(probe.clone(), found.from));
        if found.probe.as_ref().is_some_and(doubtful) {
            faults.open.insert("gaps that began before the span");
            left.retain(|said| !own(said));
            continue;
        }
        // The service stopped: that it is up again, and since when, may not be in the file.
        if found.probe.is_none() && found.to.is_none() && !reach.is_newest() {
            continue;
        }
        let lasts = found.probe.is_some() && reach.is_beyond(found.to) && !reach.is_newest();
        let same = |said: &&GapAccount| match lasts {
            true => own(said) && said.filled == found.filled && reach.is_beyond(said.to),
            false => *said == found,
        };
        if let Some(place) = left.iter().position(same) {
            left.remove(place);
        } else if let Some(place) = left.iter().position(own) {
            left.remove(place);
            faults.tell(How::Otherwise, of(found));
        } else {
            faults.tell(How::LeftOut, of(found));
        }
    }
    // Whether nothing came on record for long before the account was made is not in the file.
    let open = |said: &&GapAccount| reach.is_beyond(said.to) && (said.probe.is_none() || !reach.is_newest());
    for added in left.into_iter().filter(|said| !open(said)) {
        faults.tell(How::Added, of(added));
    }
}

/// Whether an exception is told as its record has it. A trace is known by the hash in the record;
/// one whose readings are in the evidence must be there.
fn same_exception(said: &ExceptionAccount, found: &ExceptionAccount) -> bool {
    let trace = match &said.trace {
        Some(trace) => {
            let digest = trace.sha256().to_string();
            found.cycle.trace_sha256.as_ref() == Some(&digest)
        }
        None => found.trace.is_none(),
    };
    let around = |one: &ExceptionAccount| ExceptionAccount { trace: None, ..one.clone() };
    trace && around(said) == around(found)
}

const fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Cold => "cold",
        Verdict::Brief => "brief",
        Verdict::Weak => "weak",
        Verdict::Unproven => "unproven",
        Verdict::Narrow => "narrow",
        Verdict::Pass => "passing",
    }
}
