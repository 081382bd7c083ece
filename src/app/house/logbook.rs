//! The logbook as the pages show it, and the way of what people enter there onto the record.

use std::collections::VecDeque;
use std::ops::ControlFlow;
use std::sync::Arc;
use std::time::Duration;

use super::House;
use super::did::{of_record, with_later};
use super::failed::{doubted_before, failed_since, waits};
use super::held::held;
use crate::app::enter;
use crate::app::logbook::{Change, Correction, Entry};
use crate::app::order::{self, Problem};
use crate::app::sites::Sites;
use crate::core::channel::Role;
use crate::core::cycle::plate::Profile;
use crate::core::id::MachineId;
use crate::core::logbook::{counting, judge_known};
use crate::core::merkle::Hash;
use crate::core::reader::Reader;
use crate::core::record::{Body, Check, CheckKind, Record};
use crate::core::sanitizer::too_strong_between;
use crate::core::time::Timestamp;
use crate::core::wall_clock::{local_date, midnight};
use crate::ledger::{self, CycleFilter, LedgerError, Order, RecordFilter};
use crate::web::frame::Refusal;
use crate::web::logbook::{
    Amending, ENTRIES_MAX, Entered, Going, Known, Logbook, NotPut, Ran, Today, Written,
};

/// Presses of a button that are remembered (own choice: everybody of a large kitchen, some times over).
const PRESSES_MAX: usize = 256;

/// The latest presses of a button, each with the record that it made, so that one pressed twice is one entry.
#[derive(Debug, Default)]
pub(super) struct Presses(VecDeque<(Hash, Option<u64>)>);

impl Presses {
    fn found(&self, once: Option<Hash>) -> Option<Option<u64>> {
        self.0.iter().find(|(known, _)| Some(*known) == once).map(|(_, record)| *record)
    }

    fn push(&mut self, once: Option<Hash>, record: Option<u64>) {
        let Some(once) = once else { return };
        if self.0.len() == PRESSES_MAX {
            self.0.pop_front();
        }
        self.0.push_back((once, record));
    }
}

/// The entries from an instant on, the newest first, and how many cannot be read.
pub(super) fn since(
    ledger: &ledger::Reader,
    machines: &[Profile],
    from: Option<Timestamp>,
) -> Result<(Vec<Entered>, usize), LedgerError> {
    let filter = RecordFilter {
        kinds: vec!["check".to_owned(), "note".to_owned()],
        from,
        limit: Some(ENTRIES_MAX),
        ..RecordFilter::default()
    };
    let (mut found, mut damaged) = (Vec::new(), 0);
    ledger.events(Order::NewestFirst, &filter, |index, record| {
        match record {
            Ok((_, record)) => found.push((index, record)),
            Err(_) => damaged += 1,
        }
        ControlFlow::Continue(())
    })?;
    let mut entries = Vec::new();
    for (index, record) in found {
        entries.extend(entered(ledger, machines, index, record)?);
    }
    Ok((entries, damaged))
}

/// A record as an entry, with what was said of it later; `None` where it is none.
pub(super) fn entered(
    ledger: &ledger::Reader,
    machines: &[Profile],
    index: u64,
    record: Record,
) -> Result<Option<Entered>, LedgerError> {
    let Record { recorded, machine, body, .. } = record;
    let written = if let Body::Check(check) = body {
        Written::Check(check)
    } else if let Body::Note(note) = body {
        Written::Note(note)
    } else {
        return Ok(None);
    };
    let (mut amendments, mut is_damaged) = (Vec::new(), false);
    let later = ledger.amendments(index)?;
    let did = with_later(ledger, index, later.iter().map(|(at, _)| *at))?;
    for (at, amendment) in later {
        match (amendment, ledger.record(at)?) {
            (Some(amendment), Ok((_, record))) => amendments.push((at, record.recorded, amendment)),
            _ => is_damaged = true,
        }
    }
    let judgement = match &written {
        Written::Check(check) => {
            let profile = machines.iter().find(|one| Some(&one.name) == machine.as_ref());
            let said = amendments.iter().map(|(at, _, amendment)| (*at, &amendment.change));
            counting(check, said).map(|(check, _)| judge_known(check, profile))
        }
        Written::Note(_) => None,
    };
    Ok(Some(Entered {
        record: index,
        machine,
        recorded,
        written,
        judgement,
        amendments,
        is_damaged,
        did,
        waiting: Vec::new(),
        failed_since: None,
        came_after: Vec::new(),
        held: None,
        ran: None,
        running: None,
    }))
}

/// What others on record have to do with an entry: the alert that one belongs to which failed, however it counts since,
/// which of its alerts are open, and a later test that failed.
fn beside(
    ledger: &ledger::Reader,
    machines: &[Profile],
    sites: &Sites,
    record: &Record,
    entered: &mut Entered,
) -> Result<(), LedgerError> {
    entered.did = of_record(ledger, sites, entered.record, record)?;
    let own: Vec<u64> = entered.amendments.iter().map(|(at, ..)| *at).collect();
    for alert in entered.alerts() {
        entered.waiting.extend(waits(ledger, alert, &own)?.map(|waits| (alert, waits)));
    }
    if let (Some(machine), Some(check)) = (&entered.machine, entered.counting())
        && check.kind() == CheckKind::DrainAndClean
    {
        entered.ran = ran(ledger, machine, check.at())?;
    }
    let good = entered.judgement.as_ref().and_then(|judgement| judgement.good);
    entered.held = held(ledger, machines, entered)?;
    if let (Some(machine), Some(check)) = (&entered.machine, entered.counting())
        && good == Some(true)
        && check.kind() == CheckKind::Sanitizer
    {
        let made = check.at();
        entered.failed_since = failed_since(ledger, machines, machine, made)?;
        entered.came_after = doubted_before(ledger, machine, (entered.record, entered.recorded), made)?;
    }
    Ok(())
}

/// Longest time from the start of a wash to the end of its final rinse that is looked back for (own choice: a conveyor
/// rinses for minutes on end).
pub(super) const RACK_MAX: Duration = Duration::from_secs(3_600);
/// Longest wait for what runs just now (own choice: the page is shown without it then).
const RUNS_WAIT: Duration = Duration::from_secs(1);
/// An entry says its time to the minute.
const MINUTE: Duration = Duration::from_secs(60);

/// The rack that was being washed in the minute that begins at an instant.
fn ran(ledger: &ledger::Reader, machine: &str, at: Timestamp) -> Result<Option<Ran>, LedgerError> {
    let filter = CycleFilter {
        machine: Some(machine.to_owned()),
        from: Some(at.minus(RACK_MAX)),
        to: Some(at.plus(RACK_MAX)),
        ..CycleFilter::default()
    };
    let last = end_of(at);
    let mut found = None;
    ledger.cycles_found(Order::OldestFirst, &filter, |record, stored| {
        if let Ok((_, Record { body: Body::Cycle(cycle), .. })) = stored {
            let (from, to) = (cycle.started, cycle.rinse_ended);
            if from < last && to >= at {
                found = Some(Ran { record, from, to });
                return ControlFlow::Break(());
            }
        }
        ControlFlow::Continue(())
    })?;
    Ok(found)
}

/// The end of the time that an entry says: who typed it typed a minute, who pressed the button meant that instant.
fn end_of(at: Timestamp) -> Timestamp {
    let minute_us = i64::try_from(MINUTE.as_micros()).unwrap_or(i64::MAX);
    if at.micros().rem_euclid(minute_us) == 0 { at.plus(MINUTE) } else { at.just_after() }
}

/// Whether what has been under way at a machine since then was so at the time of an entry. A rinse shows first, and
/// the wash before it is as long as the data plate says.
fn ran_then(since: Timestamp, profile: &Profile, at: Timestamp) -> bool {
    since.minus(profile.times.wash) < end_of(at)
}

fn not_put(problem: Problem) -> NotPut {
    match (problem.slug.as_str(), problem.advice) {
        ("entry-refused", Some(advice)) => NotPut::Refused(format!("{}: {advice}", problem.summary)),
        ("entry-refused", None) => NotPut::Refused(problem.summary),
        (_, _) => NotPut::NotNow,
    }
}

impl House {
    /// Puts an entry on record, once for each press of a button; answers with its record.
    async fn enter_once(&self, entry: Entry, once: Option<Hash>) -> Result<Option<u64>, NotPut> {
        // Held until it is on record, so that a second press waits for the first.
        let mut presses = self.presses.lock().await;
        if let Some(record) = presses.found(once) {
            return Ok(record);
        }
        let done = self.reception.perform(order::Order::Entry { entry }).await.map_err(not_put)?;
        presses.push(once, done.record);
        Ok(done.record)
    }

    /// Since when the machine runs whose tank is said to have been drained, where it ran then and no rack of then is on
    /// record.
    async fn running(&self, entered: &Entered) -> Option<Timestamp> {
        let check = entered.counting().filter(|check| check.kind() == CheckKind::DrainAndClean)?;
        let (pulse, machine) = (self.pulse.as_ref()?, entered.machine.as_ref()?);
        let machines = &self.loaded.configuration.machines;
        let place = machines.iter().position(|one| one.name == *machine)?;
        if entered.ran.is_some() {
            return None;
        }
        let id = MachineId(u16::try_from(place).ok()?);
        let since = pulse.under_way_since(id, RUNS_WAIT).await?;
        ran_then(since, &machines[place], check.at()).then_some(since)
    }

    /// Waits until the desk has looked at what somebody entered, so that its page names the alert that it raised.
    async fn looked_at(&self, record: Option<u64>) {
        if let Some(record) = record {
            self.reception.looked_at(record).await;
        }
    }
}

/// The reference of the newest comparison of a thermometer that can be read.
fn last_reference(ledger: &ledger::Reader) -> Result<Option<String>, LedgerError> {
    let filter = RecordFilter {
        kinds: vec!["check".to_owned()],
        check: Some(CheckKind::Thermometer),
        ..RecordFilter::default()
    };
    let mut newest = None;
    ledger.events(Order::NewestFirst, &filter, |_, found| {
        if let Ok((_, Record { body: Body::Check(Check::Thermometer { reference, .. }), .. })) = found {
            newest = Some(reference);
        }
        if newest.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })?;
    Ok(newest)
}

impl Logbook for House {
    fn machines(&self) -> Vec<Known> {
        let channels = &self.loaded.configuration.channels;
        let known = |machine: &Profile| {
            let own = channels.iter().filter(|one| one.name.machine() == machine.name);
            let probes = own.filter(|one| matches!(one.role, Role::Probe(_)));
            Known {
                name: machine.name.clone(),
                sanitizing: machine.sanitizing,
                too_strong_between: too_strong_between(machine.sanitizing, &machine.sanitizer),
                probes: probes.map(|one| one.name.to_string()).collect(),
            }
        };
        self.loaded.configuration.machines.iter().map(known).collect()
    }

    async fn today(&self, reader: &Reader) -> Result<Today, Refusal> {
        let (loaded, now) = (Arc::clone(&self.loaded), self.clock.now());
        let midnight = local_date(&reader.zone, now).and_then(|day| midnight(&reader.zone, day));
        let plan = &loaded.configuration.alerts;
        let is_planned = !(plan.shifts.is_empty() && plan.meal_periods.is_empty());
        let standing = self.standing.file.clone();
        let asked = self.readers.ask(move |ledger| {
            let configuration = &loaded.configuration;
            let settings = configuration.alerts.with_on_file(&*standing.fresh(ledger)?);
            let to_do = enter::to_do_by(ledger, &settings, now)?;
            Ok((to_do, since(ledger, &configuration.machines, midnight)?))
        });
        let ((due, short), (entries, damaged)) = asked.await?;
        Ok(Today { due, short, is_planned, entries, damaged })
    }

    async fn tells_of_look(&self, record: u64) -> Result<bool, Refusal> {
        let (loaded, now, standing) =
            (Arc::clone(&self.loaded), self.clock.now(), self.standing.file.clone());
        let asked = self.readers.ask(move |ledger| {
            let alerts = &loaded.configuration.alerts;
            let settings = alerts.with_on_file(&*standing.fresh(ledger)?);
            enter::tells_of_look(ledger, &settings, record, now)
        });
        asked.await
    }

    async fn last_reference(&self) -> Result<Option<String>, Refusal> {
        self.readers.ask(last_reference).await
    }

    async fn entry(&self, record: u64) -> Result<Entered, Refusal> {
        let (loaded, sites) = (Arc::clone(&self.loaded), self.kept.sites.clone());
        let asked = self.readers.ask(move |ledger| {
            if record >= ledger.size()? {
                return Ok(Err(Refusal::Unknown));
            }
            match ledger.record(record)? {
                Ok((_, found)) => {
                    let (machines, sites) = (&loaded.configuration.machines, sites.fresh(ledger)?);
                    let entered = entered(ledger, machines, record, found.clone())?;
                    let Some(mut entered) = entered else { return Ok(Err(Refusal::Unknown)) };
                    beside(ledger, machines, &sites, &found, &mut entered)?;
                    Ok(Ok(entered))
                }
                Err(damaged) => Err(damaged),
            }
        });
        let mut entered = asked.await??;
        entered.running = self.running(&entered).await;
        Ok(entered)
    }

    async fn put(&self, going: Going) -> Result<Option<u64>, NotPut> {
        let Going { machine, written, late, once } = going;
        let entry = match written {
            Written::Check(check) => Entry::Check { machine, check, late },
            Written::Note(note) => Entry::Note { machine, note, late },
        };
        let record = self.enter_once(entry, once).await?;
        self.looked_at(record).await;
        Ok(record)
    }

    async fn amend(
        &self,
        of: u64,
        reason: String,
        by: String,
        amending: Amending,
        once: Option<Hash>,
    ) -> Result<(), NotPut> {
        let change = match amending {
            Amending::Comment => Change::Comment,
            Amending::Withdraw => Change::Withdraw,
            Amending::Correct(right) => Change::Correct(Box::new(Correction {
                at: right.at,
                mg_per_l: right.mg_per_l,
                ph: right.ph,
                solution_c: right.solution_c,
                method: right.method,
                enough: right.enough,
                short: right.short,
                note: right.note,
                shown_c: right.shown_c,
                reference_c: right.reference_c,
            })),
        };
        let record = self.enter_once(Entry::Amendment { of, reason, by, change }, once).await?;
        self.looked_at(record).await;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{CHEMICAL, at, ledger, opening, plain, strip};
    use crate::config::recorded::Recorded;
    use crate::core::alert::{AlertNumber, Condition};
    use crate::core::record::{
        AlertCleared, AlertClosed, AlertRaised, Amendment, AmendmentChange, Clearing, CorrectiveAction,
    };
    use crate::ledger::{NewRecord, ReadOn};
    use crate::web::logbook::Waits;

    // Own promise: a tank that is said to have been drained while a rack was washed is told so; the entry stays.
    #[test]
    fn a_tank_drained_while_a_rack_was_washed_is_asked_about() {
        let directory = tempfile::tempdir().expect("room for a directory");
        let path = directory.path().join("ledger.sqlite");
        let (machine, mut cycle) = crate::app::fixture::rack(40);
        // 22:53:20, and the minute that it began in.
        cycle.started = at(40);
        let minute = at(40).minus(Duration::from_secs(20));
        let (from, to) = (cycle.started, cycle.rinse_ended);
        let mut records = opening(CHEMICAL);
        records.push(plain(41, Some(machine), Body::Cycle(Box::new(cycle))));
        ledger(&path, records).close().expect("it closes");
        let reader = ledger::Reader::open(&path).expect("a reader");
        let found = Some(Ran { record: 2, from, to });
        for (of, at, expected) in [
            (machine, from, found),
            (machine, to, found),
            // It began within the minute that was typed, and after the instant of a press.
            (machine, minute, found),
            (machine, minute.plus(Duration::from_secs(10)), None),
            (machine, minute.minus(Duration::from_secs(60)), None),
            (machine, to.plus(Duration::from_secs(1)), None),
            ("dm2", from, None),
        ] {
            assert_eq!(ran(&reader, of, at).expect("readable"), expected, "{of} {at:?}");
        }
    }

    // Own promise: what runs since before the end of the time that was entered ran then, with its wash before the rinse.
    #[test]
    fn what_runs_since_before_a_drain_ran_then() {
        let mut profile = crate::core::cycle::fixture::door();
        profile.times.wash = Duration::from_secs(45);
        let minute = at(40).minus(Duration::from_secs(20));
        for (since, said, expected) in [
            (at(40), at(40), true),
            (at(40).minus(Duration::from_secs(600)), at(40), true),
            (at(40).plus(Duration::from_secs(44)), at(40), true),
            (at(40).plus(Duration::from_secs(46)), at(40), false),
            (minute.plus(Duration::from_secs(104)), minute, true),
            (minute.plus(Duration::from_secs(106)), minute, false),
        ] {
            assert_eq!(ran_then(since, &profile, said), expected, "{since:?} {said:?}");
        }
    }

    // 4-501.114: chlorine below 25 mg/L is too weak. Own promise: a test that failed while an alert was open belongs to
    // it, and leads there, also once it was corrected or withdrawn; what is closed waits for nobody.
    #[test]
    fn an_amended_entry_keeps_its_alert() {
        let directory = tempfile::tempdir().expect("room for a directory");
        let machines = Recorded::read(CHEMICAL).expect("a configuration").machines;
        let dm1 = |minute, body| plain(minute, Some("dm1"), body);
        let number = AlertNumber(4);
        let amended = |change| {
            let (reason, by) = ("misread".to_owned(), "Bo".to_owned());
            dm1(30, Body::Amendment(Box::new(Amendment { of: 4, reason, by, change })))
        };
        let corrected = || amended(AmendmentChange::Corrected(strip(20, 100.0)));
        let closed =
            || dm1(40, Body::AlertClosed(AlertClosed { alert: number, racks: 0, needed_action: false }));
        let cleared = |cause| {
            let (clearing, worst, limit) = (Clearing::Recovered, None, None);
            let alert = number;
            dm1(31, Body::AlertCleared(AlertCleared { alert, clearing, racks: 0, worst, limit, cause }))
        };
        let acted = || {
            let (by, racks, done) = ("Eva".to_owned(), "held".to_owned(), "refilled".to_owned());
            let (alert, last_good, covers) = (number, None, Some(0));
            dm1(25, Body::CorrectiveAction(CorrectiveAction { alert, by, racks, done, last_good, covers }))
        };
        // Without the strip that was withdrawn the check is overdue: by the amendment, record 5.
        let overdue = || {
            let raised = AlertRaised::new(AlertNumber(9), Condition::CheckOverdue, at(15));
            dm1(31, Body::AlertRaised(Box::new(AlertRaised { cause: Some(5), ..raised })))
        };
        for (name, later, waiting) in [
            ("failed", Vec::<NewRecord>::new(), vec![4]),
            ("corrected", vec![corrected()], vec![4]),
            ("withdrawn", vec![amended(AmendmentChange::Withdrawn)], vec![4]),
            ("closed", vec![corrected(), closed()], vec![]),
            ("recovered by it", vec![corrected(), cleared(Some(5)), acted()], vec![4]),
            ("recovered", vec![corrected(), cleared(None), acted()], vec![4]),
            ("wants an action", vec![corrected(), cleared(Some(5))], vec![4]),
            (
                "another by what was said of it",
                vec![amended(AmendmentChange::Withdrawn), overdue()],
                vec![4, 9],
            ),
        ] {
            let path = directory.path().join(name);
            let raised = AlertRaised { cause: Some(2), ..AlertRaised::new(number, Condition::Weak, at(10)) };
            let mut records = opening(CHEMICAL);
            records.extend([
                dm1(10, Body::Check(strip(10, 10.0))),
                dm1(10, Body::AlertRaised(Box::new(raised))),
                dm1(20, Body::Check(strip(20, 20.0))), // record 4
            ]);
            records.extend(later);
            ledger(&path, records).close().expect("it closes");
            let reader = ledger::Reader::open(&path).expect("a reader");
            let (_, record) = reader.record(4).expect("readable").expect("whole");
            let own = entered(&reader, &machines, 4, record.clone()).expect("readable");
            let (mut found, sites) = (own.expect("an entry"), Sites::whole(&reader).expect("readable"));
            beside(&reader, &machines, &sites, &record, &mut found).expect("readable");
            let alerts = if waiting.is_empty() { vec![4] } else { waiting.clone() };
            let stands = match name {
                "recovered by it" => Waits::RecoveredByIt,
                "recovered" => Waits::Recovered,
                _ => Waits::Lasts,
            };
            let waiting: Vec<(u64, Waits)> = waiting.into_iter().map(|alert| (alert, stands)).collect();
            assert_eq!((found.alerts(), found.waiting), (alerts, waiting), "{name}");
        }
    }
}
