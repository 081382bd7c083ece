//! Each machine at a glance.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::{Arc, PoisonError};
use std::time::Duration;

use jiff::civil::Date;
use tokio::sync::watch;

use super::House;
use crate::app::live::Newest;
use crate::core::alert::Alert;
use crate::core::channel::{Place, Role};
use crate::core::cycle::plate::Profile;
use crate::core::cycle::verdict::Verdict;
use crate::core::id::ChannelId;
use crate::core::reader::Reader;
use crate::core::record::{Body, Cycle, Record};
use crate::core::time::Timestamp;
use crate::ledger::{self, CycleFilter, LedgerError, Order};
use crate::web::frame::Refusal;
use crate::web::now::{Data, Glance, GlanceAlert, Glances, LastRack};

/// A reading older than this says nothing of now (own choice: a node that sends once a minute still does).
const FRESH: Duration = Duration::from_secs(90);

/// What the records say of each machine, read on as they come.
#[derive(Debug, Default)]
pub(super) struct Lasts {
    /// The next record that was not looked at; `None` before the first look.
    next: Option<u64>,
    /// The day whose racks are counted.
    day: Option<Date>,
    machines: BTreeMap<String, Told>,
}

/// What the records say of one machine.
#[derive(Clone, Debug, Default)]
struct Told {
    rack: Option<LastRack>,
    today: [u64; Verdict::ALL.len()],
    work_until: Option<Timestamp>,
}

impl Lasts {
    /// Reads on to the end of the ledger.
    fn read_on(
        &mut self,
        ledger: &ledger::Reader,
        machines: &[Profile],
        zone: &jiff::tz::TimeZone,
        now: Timestamp,
    ) -> Result<(), LedgerError> {
        let today = date(now, zone);
        let Some(mut next) = self.next.filter(|_| self.day == today) else {
            return self.begin(ledger, machines, zone, today);
        };
        ledger.records(next, |index, _, record| {
            next = index + 1;
            self.take(index, record, zone);
            ControlFlow::Continue(())
        })?;
        self.next = Some(next);
        Ok(())
    }

    fn begin(
        &mut self,
        ledger: &ledger::Reader,
        machines: &[Profile],
        zone: &jiff::tz::TimeZone,
        today: Option<Date>,
    ) -> Result<(), LedgerError> {
        let next = ledger.size()?;
        let mut told: BTreeMap<String, Told> = BTreeMap::new();
        for machine in machines {
            let own = told.entry(machine.name.clone()).or_default();
            own.work_until = self.machines.get(&machine.name).and_then(|before| before.work_until);
            let filter = CycleFilter { machine: Some(machine.name.clone()), ..CycleFilter::default() };
            ledger.cycles_found(Order::NewestFirst, &filter, |index, found| match found {
                Ok((_, Record { body: Body::Cycle(cycle), .. })) => {
                    own.rack = Some(rack(index, &cycle));
                    ControlFlow::Break(())
                }
                // One that is damaged is told by the history; the one before it is shown.
                Ok(_) | Err(_) => ControlFlow::Continue(()),
            })?;
        }
        if let Some(today) = today {
            for day in ledger.days(zone, None, today, today)? {
                told.entry(day.machine).or_default().today = day.numbers.counts;
            }
        }
        (self.next, self.day, self.machines) = (Some(next), today, told);
        Ok(())
    }

    fn take(&mut self, index: u64, record: Record, zone: &jiff::tz::TimeZone) {
        let Some(machine) = record.machine else { return };
        let Some(told) = self.machines.get_mut(&machine) else { return };
        if let Body::Cycle(cycle) = &record.body {
            if date(cycle.rinse_started, zone) == self.day
                && let Some(place) = Verdict::ALL.iter().position(|verdict| *verdict == cycle.verdict)
            {
                told.today[place] += 1;
            }
            // One that was delivered late is no news of now.
            if told.rack.as_ref().is_none_or(|last| last.ended <= cycle.rinse_ended) {
                told.rack = Some(rack(index, cycle));
            }
        } else if let Body::Maintenance(maintenance) = &record.body {
            told.work_until = Some(maintenance.until).filter(|_| !maintenance.ended);
        }
    }
}

fn date(at: Timestamp, zone: &jiff::tz::TimeZone) -> Option<Date> {
    jiff::Timestamp::from_microsecond(at.micros()).ok().map(|at| zone.to_datetime(at).date())
}

fn rack(record: u64, cycle: &Cycle) -> LastRack {
    LastRack {
        record,
        ended: cycle.rinse_ended,
        verdict: cycle.verdict,
        findings: cycle.findings.clone(),
        settled_c: cycle.rinse_min_c,
        limit_c: cycle.limit_c,
        uncertainty_c: cycle.uncertainty_c,
        mg_per_l: cycle.concentration_mg_per_l,
    }
}

impl House {
    /// What a machine's probes tell of now, and its tank.
    fn probes(
        &self,
        machine: &str,
        newest: &BTreeMap<ChannelId, Newest>,
        now: Timestamp,
    ) -> (Data, Option<f64>) {
        let (mut arrived, mut tank) = (None, None);
        for channel in self.loaded.configuration.channels.iter().filter(|one| one.name.machine() == machine) {
            let (Role::Probe(probe), Some(value)) = (&channel.role, newest.get(&channel.id)) else {
                continue;
            };
            let usable = value.shown.corrected.filter(|_| value.shown.fault.is_none());
            let fresh = now.since(value.at) <= FRESH.max(probe.silent_after);
            if probe.place == Place::WashTank && fresh {
                tank = usable.map(|celsius| celsius.0);
            }
            if probe.place == Place::FinalRinse || probe.place == Place::WashTank {
                // The oldest of the probes by which racks are judged says how old the whole is.
                let last = (value.at, fresh);
                arrived = Some(arrived.map_or(last, |other: (Timestamp, bool)| other.min(last)));
            }
        }
        let data = match arrived {
            None => Data::None,
            Some((_, true)) => Data::Live,
            Some((at, false)) => Data::Old(at),
        };
        (data, tank)
    }
}

impl Glances for House {
    fn time(&self) -> Timestamp {
        self.clock.now()
    }

    fn beat(&self) -> watch::Receiver<u64> {
        self.beat.clone()
    }

    async fn glances(&self, reader: &Reader) -> Result<Arc<[Glance]>, Refusal> {
        let now = self.clock.now();
        let (lasts, loaded) = (Arc::clone(&self.lasts), Arc::clone(&self.loaded));
        let told = self.readers.ask(move |ledger| {
            let mut lasts = lasts.lock().unwrap_or_else(PoisonError::into_inner);
            let configuration = &loaded.configuration;
            lasts.read_on(ledger, &configuration.machines, &configuration.alerts.zone, now)?;
            Ok(lasts.machines.clone())
        });
        let mut told = told.await?;
        let (alerts, _) = self.reception.open().await.map_err(|_| Refusal::NotNow)?;
        let newest = self.tap.newest();
        let machines = self.loaded.configuration.machines.iter().enumerate();
        let glance = machines.map(|(place, machine)| {
            let Told { rack, today, work_until } = told.remove(&machine.name).unwrap_or_default();
            let (data, tank) = self.probes(&machine.name, &newest, now);
            let own = alerts.iter().rev().filter(|alert| alert.machine.as_ref() == Some(&machine.name));
            let told = |alert: &Alert| GlanceAlert {
                number: alert.number.0,
                headline: self.said(alert.clone(), None, reader).headline,
                taken_by: alert.acknowledged.as_ref().map(|taken| taken.by.clone()),
            };
            Glance {
                place,
                machine: machine.name.clone(),
                chemical: machine.sanitizing.is_chemical(),
                last: rack,
                data,
                tank: tank.map(|tank| (tank, machine.wash_min.at.0)),
                today,
                alerts: own.map(told).collect(),
                work_until: work_until.filter(|until| *until > now),
            }
        });
        Ok(glance.collect())
    }
}
