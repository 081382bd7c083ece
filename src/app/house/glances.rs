//! Each machine at a glance.

mod work;

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::{Arc, PoisonError};

use jiff::civil::Date;
use jiff::tz::TimeZone;
use tokio::sync::watch;

use self::work::Work;
use super::House;
use super::solutions::{OnFile, renewed};
use crate::alert::message;
use crate::app::alerts::doubts::{self, Counted, Left};
use crate::app::live::Newest;
use crate::core::alert::Alert;
use crate::core::alert::doubts::Doubts;
use crate::core::alert::hours::Stretch;
use crate::core::alert::words::who;
use crate::core::channel::{Channel, Place, Role};
use crate::core::cycle::minimum::Unjudged;
use crate::core::cycle::plate::Profile;
use crate::core::cycle::strength::OffRange;
use crate::core::cycle::verdict::Verdict;
use crate::core::id::ChannelId;
use crate::core::monitored;
use crate::core::presence::Recency;
use crate::core::reader::Reader;
use crate::core::record::{Body, Cycle, Record};
use crate::core::time::Timestamp;
use crate::ledger::{self, CycleFilter, LedgerError, Order};
use crate::web::frame::Refusal;
use crate::web::now::{AtAGlance, Data, Glance, GlanceAlert, Glances, LastRack, Tank};
use crate::web::probes::solution::Tested;

/// Most racks of a day that are looked at for those in doubt (own choice: a rack every 40 s round the clock).
const RACKS_MAX: usize = 2_000;

/// What the records say of each machine, read on as they come.
#[derive(Debug, Default)]
pub(super) struct Lasts {
    /// The next record that was not looked at; `None` before the first look.
    next: Option<u64>,
    /// The day whose racks are counted.
    day: Option<Date>,
    machines: BTreeMap<String, Told>,
    /// Work on the whole site.
    site: Work,
}

/// What the records say of one machine.
#[derive(Clone, Debug, Default)]
struct Told {
    rack: Option<LastRack>,
    today: [u64; Verdict::ALL.len()],
    in_doubt: u64,
    /// Whether nothing came since its racks in doubt were counted.
    doubts_counted: bool,
    work: Work,
    /// The newest test of its sanitizer that counts.
    strength: Option<Tested>,
    /// Whether nothing came since that was looked up.
    strength_known: bool,
}

impl Lasts {
    /// Reads on to the end of the ledger.
    fn read_on(
        &mut self,
        ledger: &ledger::Reader,
        machines: &[Profile],
        zone: &TimeZone,
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

    /// Counts the racks of the day that are in doubt, and asks whether the last rack is, of the machines of which anything
    /// came since that was done.
    fn count_doubted(
        &mut self,
        ledger: &ledger::Reader,
        doubts: &Doubts,
        zone: &TimeZone,
    ) -> Result<(), LedgerError> {
        let Some((_, day)) = self.day.and_then(|day| monitored::day(zone, day)) else { return Ok(()) };
        for (machine, told) in self.machines.iter_mut().filter(|(_, told)| !told.doubts_counted) {
            told.in_doubt = doubted(ledger, doubts, machine, day)?;
            if let Some(last) = &mut told.rack
                && let Ok((_, Record { body: Body::Cycle(cycle), .. })) = ledger.record(last.record)?
            {
                last.in_doubt = !doubts.by(machine, last.record, &cycle).is_empty();
            }
            told.doubts_counted = true;
        }
        Ok(())
    }

    /// Looks up the sanitizer on file, of the machines of which a test or an amendment came since it was.
    fn look_up_strengths(
        &mut self,
        ledger: &ledger::Reader,
        machines: &[Profile],
    ) -> Result<(), LedgerError> {
        for machine in machines.iter().filter(|machine| machine.sanitizing.is_chemical()) {
            if let Some(told) = self.machines.get_mut(&machine.name).filter(|told| !told.strength_known) {
                told.strength = OnFile::newest(ledger, &machine.name, Timestamp::MAX)?.strength;
                told.strength_known = true;
            }
        }
        Ok(())
    }

    fn begin(
        &mut self,
        ledger: &ledger::Reader,
        machines: &[Profile],
        zone: &TimeZone,
        today: Option<Date>,
    ) -> Result<(), LedgerError> {
        let next = ledger.size()?;
        let mut site = Work::default();
        site.read(ledger, None)?;
        let mut told: BTreeMap<String, Told> = BTreeMap::new();
        for machine in machines {
            let own = told.entry(machine.name.clone()).or_default();
            own.work.read(ledger, Some(&machine.name))?;
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
        (self.next, self.day, self.machines, self.site) = (Some(next), today, told, site);
        Ok(())
    }

    fn take(&mut self, index: u64, record: Record, zone: &TimeZone) {
        if let Body::Amendment(_) = &record.body {
            self.machines.values_mut().for_each(|told| told.strength_known = false);
        }
        let Some(machine) = record.machine else {
            if let Body::Maintenance(maintenance) = &record.body {
                self.site.take(maintenance);
            }
            if record.body.of_alert().is_some() {
                self.machines.values_mut().for_each(|told| told.doubts_counted = false);
            }
            return;
        };
        let Some(told) = self.machines.get_mut(&machine) else { return };
        told.strength_known &= !matches!(record.body, Body::Check(_));
        told.doubts_counted &= !matches!(record.body, Body::Cycle(_)) && record.body.of_alert().is_none();
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
            told.work.take(maintenance);
        }
    }
}

/// How many racks of a machine that are of a day are in doubt.
pub(super) fn doubted(
    ledger: &ledger::Reader,
    doubts: &Doubts,
    machine: &str,
    day: Stretch,
) -> Result<u64, LedgerError> {
    let (mut count, mut left) = (0, Left { looked: RACKS_MAX, passed: u64::MAX });
    let span = (Some(day.from), Some(day.to));
    let own = (machine, &*doubts.stretches(Some(machine), None));
    doubts::count(ledger, doubts, own, span, &mut left, |_, counted, _| {
        count += u64::from(counted == Counted::Doubted);
    })?;
    Ok(count)
}

fn date(at: Timestamp, zone: &TimeZone) -> Option<Date> {
    jiff::Timestamp::from_microsecond(at.micros()).ok().map(|at| zone.to_datetime(at).date())
}

fn rack(record: u64, cycle: &Cycle) -> LastRack {
    LastRack {
        record,
        rinsed: cycle.rinse_started,
        ended: cycle.rinse_ended,
        verdict: cycle.verdict,
        in_doubt: false,
        findings: cycle.findings.clone(),
        settled_c: cycle.rinse_min_c,
        unjudged: Unjudged::of(cycle),
        limit_c: cycle.limit_c,
        uncertainty_c: cycle.uncertainty_c,
        mg_per_l: cycle.concentration_mg_per_l,
        off_range: OffRange::of(cycle),
    }
}

/// What a machine's probes tell of now, and its tank.
fn tells(
    machine: &Profile,
    channels: &[Channel],
    newest: &BTreeMap<ChannelId, Newest>,
    now: Timestamp,
) -> (Data, Option<Tank>) {
    let (mut told, mut tank) = (Vec::new(), None);
    for channel in channels.iter().filter(|one| one.name.machine() == machine.name) {
        let Role::Probe(probe) = &channel.role else { continue };
        if probe.place != Place::FinalRinse && probe.place != Place::WashTank {
            continue;
        }
        let Some(value) = newest.get(&channel.id) else {
            told.push((false, None));
            continue;
        };
        let recency = value.recency(now, probe.silent_after);
        let aged = match recency {
            Recency::Now => None,
            Recency::Aged(age) | Recency::Late(age) | Recency::Silent(age) => Some(age),
        };
        if probe.place == Place::WashTank && recency.counts() && value.shown.fault.is_none() {
            let least_c = machine.wash_min.at.0;
            tank = value.shown.corrected.map(|celsius| Tank { celsius: celsius.0, least_c, aged });
        }
        told.push((recency.counts(), Some(value.at.min(value.arrived))));
    }
    // One of the probes by which racks are judged that tells nothing of now makes the whole old: the oldest says how
    // old. One that was not heard since the start is older than any, and its gap may be open since before the start.
    let heard = told.iter().any(|(_, at)| at.is_some());
    let data = match told.into_iter().min().filter(|_| heard) {
        None => Data::None,
        Some((true, _)) => Data::Live,
        Some((false, at)) => Data::Old(at),
    };
    (data, tank)
}

impl House {
    fn alert_at_a_glance(&self, alert: &Alert, reader: &Reader) -> GlanceAlert {
        GlanceAlert {
            number: alert.number.0,
            headline: self.said(alert.clone(), None, reader).headline,
            title: message::condition_title(alert.condition).say(reader.language).to_owned(),
            condition: alert.condition,
            about: alert.about.clone(),
            since: alert.lasts_since(),
            racks: alert.racks.count,
            washed: {
                let missing = alert.action_missing().then(|| alert.racks_to_hold());
                let missing = missing.filter(|count| *count > 0);
                alert.racks.latest_span(missing.unwrap_or(alert.racks.count))
            },
            named: alert.racks.named.iter().map(|rack| rack.index).collect(),
            lasts: alert.cleared.is_none(),
            uncovered: alert.action_missing().then(|| alert.racks_to_hold()),
            taken_by: alert.acknowledged.as_ref().map(|taken| who(&taken.by, reader.language).into_owned()),
        }
    }
}

impl Glances for House {
    fn time(&self) -> Timestamp {
        self.clock.now()
    }

    fn beat(&self) -> watch::Receiver<u64> {
        self.beat.clone()
    }

    async fn glances(&self, reader: &Reader) -> Result<AtAGlance, Refusal> {
        let now = self.clock.now();
        let (lasts, loaded) = (Arc::clone(&self.lasts), Arc::clone(&self.loaded));
        let doubts = self.doubts.clone();
        let told = self.readers.ask(move |ledger| {
            let mut lasts = lasts.lock().unwrap_or_else(PoisonError::into_inner);
            let configuration = &loaded.configuration;
            let zone = &configuration.alerts.zone;
            lasts.read_on(ledger, &configuration.machines, zone, now)?;
            lasts.look_up_strengths(ledger, &configuration.machines)?;
            lasts.count_doubted(ledger, &*doubts.fresh(ledger)?, zone)?;
            Ok((lasts.machines.clone(), lasts.site.clone()))
        });
        let (mut told, site) = told.await?;
        let (mut alerts, _) = self.reception.open().await.map_err(|_| Refusal::NotNow)?;
        Alert::most_pressing_first(&mut alerts);
        let newest = self.tap.newest();
        let machines = self.loaded.configuration.machines.iter().enumerate();
        let glance = machines.map(|(place, machine)| {
            let told_of = told.remove(&machine.name).unwrap_or_default();
            let Told { rack, today, in_doubt, work, strength, .. } = told_of;
            let (work, of_site) = work.with_site(&site, now);
            let channels = &self.loaded.configuration.channels;
            let own = channels.iter().find(|channel| {
                channel.role == Role::Concentration && channel.name.machine() == machine.name
            });
            let line = own.and_then(|channel| newest.get(&channel.id));
            let strength = renewed(strength.as_ref(), line);
            let (data, tank) = tells(machine, channels, &newest, now);
            let own = alerts.iter().filter(|alert| alert.machine.as_ref() == Some(&machine.name));
            let mut alerts: Vec<GlanceAlert> =
                own.map(|alert| self.alert_at_a_glance(alert, reader)).collect();
            GlanceAlert::danger_first(&mut alerts);
            Glance {
                place,
                machine: machine.name.clone(),
                chemical: machine.sanitizing.is_chemical(),
                last: rack,
                data,
                asked: strength
                    .as_ref()
                    .and_then(|tested| machine.sanitizer.asked(machine.sanitizing, tested.value)),
                strength: strength.map(|tested| (tested.clone(), now.since(tested.at))),
                watches_tank: channels.iter().any(|channel| {
                    let in_tank =
                        matches!(&channel.role, Role::Probe(probe) if probe.place == Place::WashTank);
                    in_tank && channel.name.machine() == machine.name
                }),
                tank,
                today,
                in_doubt,
                alerts,
                work_until: work.until.filter(|until| *until > now),
                of_site,
                kept_by: work.kept_by(),
                worked: work.worked,
            }
        });
        let known = |name: &String| self.loaded.configuration.machines.iter().any(|own| own.name == *name);
        let others = alerts.iter().filter(|alert| !alert.machine.as_ref().is_some_and(known));
        let title = |alert: &Alert| message::condition_title(alert.condition).say(reader.language).to_owned();
        let others = others.map(title).collect();
        Ok(AtAGlance { machines: glance.collect(), open: alerts.len(), others })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::resolve::Configuration;
    use crate::core::reading::Value;
    use crate::core::readout::Shown;
    use crate::core::units::Celsius;

    const NOW: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

    // Own promise: a machine is old as soon as one of its probes is silent, by the time that its configuration names,
    // and a tank temperature of before is never shown as one of now.
    #[test]
    fn a_machine_is_as_old_as_its_probes_are() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("gateway.toml");
        let text = "[ledger]\npath = \"ledger.sqlite\"\n[[machine]]\nname = \"dm1\"\n\
                    kind = \"stationary-rack-single-temperature\"\nsanitizing = \"hot-water\"\nprobes = [\"rinse\", \"wash\"]\n";
        std::fs::write(&path, text).expect("a temporary file");
        let configuration = Configuration::load(&[path], []).expect("a sound configuration").configuration;
        let machine = configuration.machines.first().expect("a machine");
        let channel = |name: &str| {
            let known = configuration.channels.iter().find(|one| one.name.as_str() == name);
            known.expect("a probe").id
        };
        let before = |seconds: u64| NOW.minus(std::time::Duration::from_secs(seconds));
        let seen = |age_s| {
            let celsius = Some(Celsius(66.4));
            let shown = Shown { measured: celsius, corrected: celsius, fault: None };
            Newest { at: before(age_s), arrived: before(age_s), value: Value::Number(66.4), shown }
        };
        // `silent-after` is 30 s where nothing else is configured (reference.toml). Without a number: nothing came of
        // that probe since the start.
        for (rinse_s, wash_s, data, tank) in [
            (Some(1), Some(1), Data::Live, Some(None)),
            (Some(1), Some(20), Data::Live, Some(Some(20))),
            (Some(1), Some(60), Data::Old(Some(before(60))), None),
            (Some(60), Some(1), Data::Old(Some(before(60))), Some(None)),
            (Some(90), Some(60), Data::Old(Some(before(90))), None),
            (None, Some(1), Data::Old(None), Some(None)),
            (Some(1), None, Data::Old(None), None),
            (Some(60), None, Data::Old(None), None),
            (None, None, Data::None, None),
        ] {
            let heard = [("dm1/rinse", rinse_s), ("dm1/wash", wash_s)];
            let newest = heard.into_iter().filter_map(|(name, age_s)| Some((channel(name), seen(age_s?))));
            let (told, found) = tells(machine, &configuration.channels, &newest.collect(), NOW);
            let aged = found.map(|tank| tank.aged.map(|age| age.as_secs()));
            assert_eq!((told, aged), (data, tank), "rinse {rinse_s:?} s, wash {wash_s:?} s");
        }
    }
}
