//! One machine: its day, and what its probes showed in the last minutes.

use std::ops::ControlFlow;
use std::time::Duration;

use jiff::civil::Date;

use super::House;
use crate::app::alerts::doubts::overtaken;
use crate::app::live::{Extremes, RECENT_S};
use crate::core::alert::doubts::Doubts;
use crate::core::alert::hours::Stretch;
use crate::core::channel::{Place, Role};
use crate::core::cycle::figures::Figures;
use crate::core::monitored;
use crate::core::reader::Reader;
use crate::core::record::{Body, Cycle, Record};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;
use crate::ledger::{self, CycleFilter, LedgerError, Order, RecordFilter};
use crate::report::plot::{Plot, Size, day, live};
use crate::web::frame::Refusal;
use crate::web::machine::{
    DayGap, DayRack, LiveTrace, MachineDay, Machines, Plots, ProbeNow, Readings, Stretch as TableRow,
};

/// Most racks of one page (own choice: a rack every 40 s round the clock).
const RACKS_MAX: usize = 2_000;
/// Most gaps of a machine before the day that are looked at, for one that reaches into it (own choice).
const GAPS_BEFORE: usize = 200;

/// Stretch of time that is drawn as its lowest and its highest, µs (own choice: a few px each).
const DRAWN_EVERY_US: i64 = 3_000_000;

/// Length of a row of the table of the last minutes (own choice: forty of them are the ten minutes that are kept).
const ROW: Duration = Duration::from_secs(15);

/// A picture in both widths.
pub(super) fn plots(plot: &Plot) -> Plots {
    Plots { narrow: plot.svg(Size::PHONE), broad: plot.svg(Size::PAGE) }
}

/// What is on record of a machine's day.
pub(super) struct Found {
    pub(super) racks: Vec<(u64, Box<Cycle>)>,
    pub(super) damaged: Vec<u64>,
    pub(super) gaps: Vec<DayGap>,
    /// Whether the machine has washed before.
    pub(super) earlier: bool,
}

pub(super) fn find(ledger: &ledger::Reader, machine: &str, day: Stretch) -> Result<Found, LedgerError> {
    let mut found = Found { racks: Vec::new(), damaged: Vec::new(), gaps: Vec::new(), earlier: false };
    let filter = CycleFilter {
        machine: Some(machine.to_owned()),
        from: Some(day.from),
        to: Some(day.to),
        limit: Some(RACKS_MAX),
        ..CycleFilter::default()
    };
    ledger.cycles_found(Order::OldestFirst, &filter, |index, each| {
        match each {
            Ok((_, Record { body: Body::Cycle(cycle), .. })) => found.racks.push((index, cycle)),
            Ok(_) => {}
            Err(_) => found.damaged.push(index),
        }
        ControlFlow::Continue(())
    })?;
    let before = CycleFilter { from: None, to: Some(day.from), limit: Some(1), ..filter };
    ledger.cycles_found(Order::NewestFirst, &before, |_, _| {
        found.earlier = true;
        ControlFlow::Break(())
    })?;
    found.gaps = gaps(ledger, machine, day)?;
    Ok(found)
}

/// The gaps that touch the day. One that lasts is on record as open, and again with its end.
fn gaps(ledger: &ledger::Reader, machine: &str, day: Stretch) -> Result<Vec<DayGap>, LedgerError> {
    let mut gaps: Vec<DayGap> = Vec::new();
    let mut take = |record: Record| {
        let Body::Gap(gap) = record.body else { return };
        if gap.from >= day.to || gap.to.is_some_and(|to| to <= day.from) {
            return;
        }
        let (probe, fault, from, to, filled) = (gap.probe, gap.fault, gap.from, gap.to, gap.filled);
        match gaps.iter_mut().find(|known| known.probe == probe && known.from == from) {
            Some(known) => (known.to, known.filled) = (known.to.or(to), known.filled || filled),
            None => gaps.push(DayGap { probe, fault, from, to, filled }),
        }
    };
    let kinds = vec!["gap".to_owned()];
    let inside = RecordFilter {
        kinds: kinds.clone(),
        machine: Some(machine.to_owned()),
        from: Some(day.from),
        to: Some(day.to),
        ..RecordFilter::default()
    };
    let before =
        RecordFilter { kinds, from: None, to: Some(day.from), limit: Some(GAPS_BEFORE), ..inside.clone() };
    for filter in [inside, before] {
        ledger.events(Order::NewestFirst, &filter, |_, found| {
            if let Ok((_, record)) = found {
                take(record);
            }
            ControlFlow::Continue(())
        })?;
    }
    // One that was open the day before and whose end stands under an instant of its own has ended.
    gaps.sort_by_key(|gap| gap.from);
    Ok(gaps)
}

/// The lowest and the highest of each few seconds: as many as a page has room for, no extreme lost.
fn thinned(recent: &[Extremes]) -> Vec<(Timestamp, f64)> {
    let place = |one: &Extremes| one.at().micros().div_euclid(DRAWN_EVERY_US);
    let runs = recent.chunk_by(|one, next| place(one) == place(next));
    let drawn = runs.filter_map(|run| {
        let at = run.first()?.at();
        let low = run.iter().map(|one| one.low_c).reduce(f64::min)?;
        Some([(at, low), (at, run.iter().map(|one| one.high_c).fold(low, f64::max))])
    });
    drawn.flatten().collect()
}

/// What each of some probes showed in each row of the table of the last minutes, the newest first. That one ends now:
/// of a stretch that has only begun it would be said that nothing came.
fn rows(recent: &[Vec<Extremes>], now: Timestamp) -> Vec<TableRow> {
    let every_us = i64::try_from(ROW.as_micros()).unwrap_or(i64::MAX);
    let place = |at: Timestamp| (now.micros() - at.micros()).div_euclid(every_us);
    let row = |this: i64| {
        let extremes = |kept: &Vec<Extremes>| {
            let own = || kept.iter().filter(|one| place(one.at()) == this);
            own().map(|one| one.low_c).reduce(f64::min).zip(own().map(|one| one.high_c).reduce(f64::max))
        };
        let from = Timestamp::from_micros(now.micros().saturating_sub((this + 1).saturating_mul(every_us)));
        TableRow { from, extremes_c: recent.iter().map(extremes).collect() }
    };
    (0..RECENT_S.saturating_mul(1_000_000) / every_us).map(row).collect()
}

/// One rack in a line, with the alerts that put it in doubt, and what it passed by that a test found wrong.
pub(super) fn day_rack(
    ledger: &ledger::Reader,
    doubts: &Doubts,
    (machine, record): (&str, u64),
    cycle: &Cycle,
) -> Result<DayRack, LedgerError> {
    let alerts = doubts.by(machine, record, cycle);
    Ok(DayRack {
        record,
        at: cycle.rinse_started,
        verdict: cycle.verdict,
        figures: Figures::of(cycle),
        wash_c: cycle.wash_min_c,
        in_doubt_by: alerts.iter().map(|alert| alert.0).collect(),
        overtaken: overtaken(ledger, doubts, (machine, record), cycle)?,
    })
}

impl House {
    /// The place and the limits of a machine by its name.
    pub(super) fn profile(&self, machine: &str) -> Result<&crate::core::cycle::plate::Profile, Refusal> {
        self.loaded.configuration.machines.iter().find(|known| known.name == machine).ok_or(Refusal::Unknown)
    }
}

impl Machines for House {
    async fn day(&self, machine: &str, date: Option<Date>, reader: &Reader) -> Result<MachineDay, Refusal> {
        self.profile(machine)?;
        let now = self.clock.now();
        let today = local_date(&reader.zone, now).ok_or(Refusal::NotNow)?;
        let date = date.map_or(today, |date| date.min(today));
        let (next, stretch) = monitored::day(&reader.zone, date).ok_or(Refusal::Unknown)?;
        let asked = machine.to_owned();
        let doubts = self.doubts.clone();
        let read = self.readers.ask(move |ledger| {
            let (found, doubts) = (find(ledger, &asked, stretch)?, doubts.fresh(ledger)?);
            let racks = found.racks.iter();
            let racks = racks.map(|(index, cycle)| day_rack(ledger, &doubts, (&asked, *index), cycle));
            let racks = racks.collect::<Result<Vec<DayRack>, LedgerError>>()?;
            Ok((found, racks))
        });
        let (found, racks) = read.await?;
        let cycles: Vec<&Cycle> = found.racks.iter().map(|(_, cycle)| &**cycle).collect();
        let in_doubt: Vec<bool> = racks.iter().map(|rack| !rack.in_doubt_by.is_empty()).collect();
        let rinse = |gap: &&DayGap| {
            self.loaded
                .configuration
                .probe(&gap.probe)
                .is_some_and(|(_, probe)| probe.place == Place::FinalRinse)
        };
        let end = stretch.to.min(now);
        let blanks: Vec<(Timestamp, Timestamp)> = found
            .gaps
            .iter()
            .filter(rinse)
            .map(|gap| (gap.from.max(stretch.from), gap.to.unwrap_or(end).min(end).max(stretch.from)))
            .collect();
        let (from, to) = (stretch.from, stretch.to);
        let day = day::Day { machine, from, to, cycles: &cycles, in_doubt: &in_doubt, gaps: &blanks };
        let drawn = day::plot(day, reader);
        Ok(MachineDay {
            date,
            racks,
            damaged: found.damaged,
            gaps: found.gaps,
            plots: plots(&drawn),
            before: date.yesterday().ok().filter(|_| found.earlier),
            after: Some(next).filter(|next| *next <= today),
        })
    }

    async fn trace(&self, machine: &str, reader: &Reader) -> Result<LiveTrace, Refusal> {
        let profile = self.profile(machine)?;
        let now = self.clock.now();
        let newest = self.tap.newest();
        let mut probes = Vec::new();
        let (mut rinse, mut wash) = (Vec::new(), Vec::new());
        for channel in self.loaded.configuration.channels.iter().filter(|one| one.name.machine() == machine) {
            let Role::Probe(probe) = &channel.role else { continue };
            let recent = self.tap.recent(channel.id);
            let points = thinned(&recent);
            match probe.place {
                Place::FinalRinse => rinse = points,
                Place::WashTank => wash = points,
                Place::Ware | Place::Other => {}
            }
            let low = recent.iter().map(|one| one.low_c).reduce(f64::min);
            let high = recent.iter().map(|one| one.high_c).reduce(f64::max);
            let value = newest.get(&channel.id);
            probes.push(ProbeNow {
                channel: channel.name.as_str().to_owned(),
                place: probe.place,
                seen: value.map(|value| (value.at, value.recency(now, probe.silent_after))),
                celsius: value.and_then(|value| value.shown.corrected).map(|celsius| celsius.0),
                fault: value.and_then(|value| value.shown.fault),
                extremes_c: low.zip(high),
            });
        }
        let from = now.minus(Duration::from_secs(RECENT_S.unsigned_abs()));
        let (rinse, wash) = (rinse.as_slice(), wash.as_slice());
        let limit_c = profile.rinse_min.at.0;
        let drawn = live::plot(live::Live { machine, from, to: now, rinse, wash, limit_c }, reader);
        std::future::ready(Ok(LiveTrace { plots: plots(&drawn), probes })).await
    }

    async fn recent(&self, machine: &str) -> Result<Readings, Refusal> {
        self.profile(machine)?;
        let (at, mut probes, mut recent) = (self.clock.now(), Vec::new(), Vec::new());
        for channel in self.loaded.configuration.channels.iter().filter(|one| one.name.machine() == machine) {
            let Role::Probe(probe) = &channel.role else { continue };
            probes.push((channel.name.as_str().to_owned(), probe.place));
            recent.push(self.tap.recent(channel.id));
        }
        let stretches = rows(&recent, at);
        std::future::ready(Ok(Readings { at, every: ROW, probes, stretches })).await
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: forty rows, whatever was kept; the extremes of each probe in the row of their time; none where
    // nothing came, also of a probe whose last reading is old.
    #[test]
    fn the_last_minutes_come_in_forty_rows() {
        let now = Timestamp::from_micros(1_795_694_407_300_000);
        let kept = |ago_s: i64, low_c, high_c| {
            Extremes::of_second(now.micros().div_euclid(1_000_000) - ago_s, (low_c, high_c))
        };
        let recent = [
            vec![kept(900, 1.0, 2.0), kept(35, 60.0, 61.0), kept(1, 70.0, 84.0), kept(0, 69.0, 80.0)],
            vec![kept(35, 66.0, 66.5)],
            Vec::new(),
        ];
        let found = rows(&recent, now);
        assert_eq!(found.len(), 40);
        assert!(found.is_sorted_by(|one, next| one.from.since(next.from) == ROW), "{found:?}");
        assert_eq!(now.since(found[0].from), ROW, "the newest is a whole one");
        assert_eq!(found[0].extremes_c, [Some((69.0, 84.0)), None, None]);
        assert_eq!(found[1].extremes_c, [None, None, None]);
        assert_eq!(found[2].extremes_c, [Some((60.0, 61.0)), Some((66.0, 66.5)), None]);
        assert!(found[3..].iter().all(|row| row.extremes_c.iter().all(Option::is_none)), "{found:?}");
    }
}
