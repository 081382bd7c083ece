//! Whether a probe is there: its gaps, as records, and how far its newest value tells of now.
//!
//! A gap opens on the gateway's clock, when nothing has arrived for the
//! probe's time of silence, or in event time, when only faults have come for
//! as long. It closes with the next usable reading. A stretch that is missing
//! in event time but was never noticed by the clock (a replayed file) is
//! recorded when its end is seen.
//!
//! No probe is blamed for a time without the service: of it the start of the
//! service is on record, and what is missing of a probe counts from that start
//! on. The clock of a source need not be the gateway's, so that the start is
//! brought onto the time of the source by what arrives after it. A gap that
//! opens before anything has arrived is told by the gateway's clock, at both
//! ends.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::reading::Fault;
use super::record::Gap;
use super::time::Timestamp;

/// A value of this age is shown with its age (own choice: longer than a page takes to be drawn anew, shorter than a
/// final rinse, so that nobody reads a value of before the rack as one of now).
const AGE_TOLD_FROM: Duration = Duration::from_secs(10);

/// Whether a probe that was not heard for so long is silent.
#[must_use]
pub fn is_silent(unheard: Duration, silent_after: Duration) -> bool {
    unheard >= silent_after
}

/// How far the newest value of a probe tells of now: one rule for every page that shows it. Each age is that of the
/// value, from when it was measured or, where the clock of its source is ahead, from when it arrived.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Recency {
    /// It is a value of now.
    Now,
    /// It still counts, and is shown with its age.
    Aged(Duration),
    /// The probe is heard, but its value is older than the probe may be silent: it was kept and sent late, or the
    /// clock of its source is behind.
    Late(Duration),
    /// The probe was not heard for longer than it may be silent.
    Silent(Duration),
}

impl Recency {
    /// How far a value tells of `now` that was measured at `at` and arrived at `arrived`.
    #[must_use]
    pub fn of(now: Timestamp, at: Timestamp, arrived: Timestamp, silent_after: Duration) -> Self {
        let unheard = now.since(arrived);
        let age = now.since(at).max(unheard);
        if is_silent(unheard, silent_after) {
            Self::Silent(age)
        } else if is_silent(age, silent_after) {
            Self::Late(age)
        } else if age >= AGE_TOLD_FROM {
            Self::Aged(age)
        } else {
            Self::Now
        }
    }

    /// Whether the value may be shown as what is so now, if need be with its age.
    #[must_use]
    pub const fn counts(self) -> bool {
        match self {
            Self::Now | Self::Aged(_) => true,
            Self::Late(_) | Self::Silent(_) => false,
        }
    }
}

/// Presence of one probe.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Presence {
    usable: Option<Timestamp>,
    arrived: Option<Timestamp>,
    open: Option<OpenGap>,
    /// When the service started again: of the time before it nothing is missing by the probe's fault.
    #[serde(default)]
    start: Option<Start>,
}

/// A start of the service after a time without it, and when that was by the clock of the source.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
struct Start {
    /// By the gateway's clock.
    at: Timestamp,
    /// By the newest arrival since: its time, less how long after the start it came.
    told: Option<Timestamp>,
    /// The latest that two arrivals in a row have told. What was kept and sent late tells too early a start, one
    /// time that is far ahead too late a one.
    borne_out: Option<Timestamp>,
}

impl Start {
    const fn new(at: Timestamp) -> Self {
        Self { at, told: None, borne_out: None }
    }

    /// Something of instant `measured` arrived at `now`. Where the gateway's clock is behind its start it was set
    /// meanwhile, and tells nothing.
    fn hear(&mut self, now: Timestamp, measured: Timestamp) {
        if now < self.at {
            return;
        }
        let told = measured.minus(now.since(self.at));
        self.borne_out = self.borne_out.max(self.told.map(|before| before.min(told)));
        self.told = Some(told);
    }

    /// On the time of the source; `None` as long as nothing has arrived.
    fn on_source(&self) -> Option<Timestamp> {
        self.borne_out.or(self.told)
    }

    /// An instant of the source's clock by the gateway's.
    fn by_gateway(&self, at: Timestamp) -> Timestamp {
        let start = self.on_source().unwrap_or(self.at);
        at.plus(self.at.since(start)).minus(start.since(self.at))
    }
}

/// A gap that lasts.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
struct OpenGap {
    fault: Fault,
    from: Timestamp,
    /// It began with a start of the service and before anything arrived: it is told by the gateway's clock.
    #[serde(default)]
    by_gateway: bool,
}

impl Presence {
    /// The probe is expected from `now` on.
    pub fn expect(&mut self, now: Timestamp) {
        if self.arrived.is_none() {
            self.arrived = Some(now);
        }
    }

    /// The service started at `now`, and had not run before: how long the probe is silent counts from here on. A gap
    /// that was open stays so until the probe is heard.
    pub fn resume(&mut self, now: Timestamp) {
        self.arrived = self.arrived.map(|_| now);
        self.start = Some(Start::new(now));
    }

    /// From when on something is missing of a probe that was usable at this instant, both in event time.
    fn missing_from(&self, usable: Timestamp) -> Timestamp {
        self.start.map_or(usable, |start| start.on_source().unwrap_or(start.at).max(usable))
    }

    /// Something of this probe arrived at `now`.
    pub const fn note_arrival(&mut self, now: Timestamp) {
        self.arrived = Some(now);
    }

    /// What arrived at `now` was measured at `measured`, by the clock of its source.
    pub fn note_clock(&mut self, now: Timestamp, measured: Timestamp) {
        if let Some(start) = &mut self.start {
            start.hear(now, measured);
        }
    }

    /// A usable reading of instant `at`; gives the gap that it ends.
    pub fn usable(&mut self, at: Timestamp, silent_after: Duration) -> Option<GapEvent> {
        let before = self.usable.replace(at);
        let missing = |from: Option<Timestamp>| from.is_some_and(|from| at.since(from) > silent_after);
        let from = before.map(|before| self.missing_from(before));
        match (self.open.take(), from) {
            (Some(open), _) => {
                let filled = open.fault == Fault::Silent && before.is_some() && !missing(before);
                let to = self.start.filter(|_| open.by_gateway).map_or(at, |start| start.by_gateway(at));
                // A clock that was set may show that it ended before it began.
                let to = Some(to.max(open.from));
                Some(GapEvent { fault: open.fault, from: open.from, to, filled })
            }
            (None, Some(from)) if missing(Some(from)) => {
                Some(GapEvent { fault: Fault::Silent, from, to: Some(at), filled: false })
            }
            (None, _) => None,
        }
    }

    /// A fault at instant `at`; gives the gap that it opens.
    pub fn fault(&mut self, at: Timestamp, fault: Fault, silent_after: Duration) -> Option<GapEvent> {
        let usable = *self.usable.get_or_insert(at);
        let from = self.missing_from(usable);
        match self.open {
            Some(open) if open.fault == Fault::Silent && fault != Fault::Silent => {
                // The probe is heard again, with a fault: from here on that is the gap's cause.
                self.open = Some(OpenGap { fault, ..open });
                Some(GapEvent { fault, from: open.from, to: None, filled: false })
            }
            Some(_) => None,
            None if at.since(from) >= silent_after => self.opened(OpenGap { fault, from, by_gateway: false }),
            None => None,
        }
    }

    /// The gateway's clock shows `now`; gives the gap that silence opens.
    pub fn tick(&mut self, now: Timestamp, silent_after: Duration) -> Option<GapEvent> {
        if self.deadline(silent_after).is_none_or(|deadline| now < deadline) {
            return None;
        }
        let unheard = self.start.filter(|start| start.on_source().is_none());
        let by_gateway = unheard.is_some();
        let from = match unheard {
            Some(start) => start.at,
            None => self.missing_from(self.usable.or(self.arrived)?),
        };
        self.opened(OpenGap { fault: Fault::Silent, from, by_gateway })
    }

    /// When silence opens a gap if nothing arrives.
    #[must_use]
    pub fn deadline(&self, silent_after: Duration) -> Option<Timestamp> {
        if self.open.is_some() { None } else { self.arrived.map(|arrived| arrived.plus(silent_after)) }
    }

    /// Moves event time by `back`: the source's clock stepped back by it. When the service started by that clock is
    /// told by what arrives from here on.
    pub fn step_back(&mut self, back: Duration) {
        self.usable = self.usable.map(|usable| usable.minus(back));
        self.start = self.start.map(|start| Start::new(start.at));
        if let Some(open) = self.open.as_mut().filter(|open| !open.by_gateway) {
            open.from = open.from.minus(back);
        }
    }

    fn opened(&mut self, open: OpenGap) -> Option<GapEvent> {
        self.open = Some(open);
        Some(GapEvent { fault: open.fault, from: open.from, to: None, filled: false })
    }
}

/// A gap that opened or closed.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct GapEvent {
    /// Why.
    pub fault: Fault,
    /// Last usable reading before it, or the start of the service, if that was later.
    pub from: Timestamp,
    /// First usable reading after it; `None` while it lasts. By the gateway's clock where `from` is the start of the
    /// service and nothing had arrived since.
    pub to: Option<Timestamp>,
    /// Whether its readings arrived after all.
    pub filled: bool,
}

impl GapEvent {
    /// The record of it.
    #[must_use]
    pub fn record(self, probe: String) -> Gap {
        Gap { probe, fault: self.fault, from: self.from, to: self.to, filled: self.filled }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The rules are this module's own, stated at its head and at each method.

    const SILENT: Duration = Duration::from_secs(10);

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_micros(seconds * 1_000_000)
    }

    // A value is shown as one of now for ten seconds, then with its age, then as old, as soon as the gap opens.
    #[test]
    fn a_value_ages_before_its_probe_is_silent() {
        let silent_after = Duration::from_secs(30);
        let s = Duration::from_secs;
        for (measured, arrived, now, expected) in [
            (0, 0, 9, Recency::Now),
            (0, 0, 10, Recency::Aged(s(10))),
            (0, 0, 29, Recency::Aged(s(29))),
            (0, 0, 30, Recency::Silent(s(30))),
            // Kept for an hour by its node, and sent just now.
            (0, 3_600, 3_601, Recency::Late(s(3_601))),
            // The clock of the source is an hour ahead.
            (3_600, 0, 5, Recency::Now),
            (3_600, 0, 60, Recency::Silent(s(60))),
        ] {
            let found = Recency::of(at(now), at(measured), at(arrived), silent_after);
            assert_eq!(found, expected, "measured {measured}, arrived {arrived}, seen {now}");
            assert_eq!(found.counts(), matches!(expected, Recency::Now | Recency::Aged(_)));
        }
        let mut presence = Presence::default();
        presence.note_arrival(at(0));
        for now in 0..60 {
            let silent = matches!(Recency::of(at(now), at(0), at(0), silent_after), Recency::Silent(_));
            let open = presence.tick(at(now), silent_after).is_some() || presence.open.is_some();
            assert_eq!(silent, open, "the page and the record agree at {now} s");
        }
    }

    #[test]
    fn silence_opens_a_gap_and_the_next_reading_closes_it() {
        let mut presence = Presence::default();
        presence.note_arrival(at(0));
        assert_eq!(presence.usable(at(0), SILENT), None);
        assert_eq!(presence.tick(at(9), SILENT), None);
        let opened = presence.tick(at(10), SILENT).expect("silent for ten seconds");
        assert_eq!((opened.fault, opened.from, opened.to), (Fault::Silent, at(0), None));
        assert_eq!(presence.tick(at(20), SILENT), None, "it opens once");
        let closed = presence.usable(at(60), SILENT).expect("it closes");
        assert_eq!((closed.from, closed.to, closed.filled), (at(0), Some(at(60)), false));
    }

    #[test]
    fn a_buffered_node_fills_its_gap() {
        let mut presence = Presence::default();
        presence.note_arrival(at(0));
        presence.usable(at(0), SILENT);
        presence.tick(at(10), SILENT);
        let closed = presence.usable(at(1), SILENT).expect("it closes");
        assert!(closed.filled, "the readings of the gap came after all");
    }

    #[test]
    fn a_gap_that_no_clock_noticed_is_recorded_when_it_ends() {
        let mut presence = Presence::default();
        presence.usable(at(0), SILENT);
        let gap = presence.usable(at(3_600), SILENT).expect("an hour is missing");
        assert_eq!((gap.from, gap.to), (at(0), Some(at(3_600))));
    }

    #[test]
    fn a_gap_stays_a_stretch_of_time_when_the_clock_steps_back() {
        let mut presence = Presence::default();
        presence.note_arrival(at(7_200));
        presence.usable(at(7_200), SILENT);
        presence.tick(at(7_210), SILENT).expect("silent for ten seconds");
        presence.step_back(Duration::from_secs(3_600));
        let closed = presence.usable(at(3_660), SILENT).expect("it closes");
        assert_eq!((closed.from, closed.to, closed.filled), (at(3_600), Some(at(3_660)), false));
    }

    // Own promise: of the time in which the service was down the service alone is to blame. A probe that is heard again
    // in time has no gap; one that is not has one since the start, and one that was silent before is so still. Readings
    // that were kept elsewhere and come after all fill no gap that was none.
    #[test]
    fn a_probe_is_silent_since_the_start_at_most() {
        let up = || {
            let mut presence = Presence::default();
            presence.note_arrival(at(0));
            presence.usable(at(0), SILENT);
            presence
        };
        let mut heard = up();
        heard.resume(at(3_600));
        assert_eq!(heard.deadline(SILENT), Some(at(3_610)));
        assert_eq!(heard.tick(at(3_609), SILENT), None);
        assert_eq!(heard.usable(at(3_609), SILENT), None, "heard in time");
        let mut kept = up();
        kept.resume(at(3_600));
        assert_eq!(kept.usable(at(60), SILENT), None, "of the time without the service");
        assert_eq!(kept.usable(at(3_605), SILENT), None);
        let gap = kept.usable(at(3_700), SILENT).expect("silent since, as ever");
        assert_eq!((gap.from, gap.to, gap.filled), (at(3_605), Some(at(3_700)), false));
        let mut silent = up();
        silent.resume(at(3_600));
        let gap = silent.tick(at(3_610), SILENT).expect("it is silent still");
        assert_eq!((gap.fault, gap.from, gap.to), (Fault::Silent, at(3_600), None));
        let ended = silent.usable(at(3_590), SILENT).expect("the clock of its source is behind");
        assert_eq!((ended.from, ended.to), (at(3_600), Some(at(3_600))));
        let mut late = up();
        late.resume(at(3_600));
        let gap = late.usable(at(3_630), SILENT).expect("heard too late");
        assert_eq!((gap.from, gap.to), (at(3_600), Some(at(3_630))));
        let mut faulty = up();
        faulty.resume(at(3_600));
        assert_eq!(faulty.fault(at(3_601), Fault::OpenCircuit, SILENT), None, "one fault is no gap");
        let gap = faulty.fault(at(3_611), Fault::OpenCircuit, SILENT).expect("ten seconds of faults");
        assert_eq!((gap.fault, gap.from), (Fault::OpenCircuit, at(3_600)));
        let mut before = up();
        before.tick(at(10), SILENT).expect("silent");
        before.resume(at(3_600));
        let gap = before.usable(at(3_605), SILENT).expect("its end");
        assert_eq!((gap.from, gap.to, gap.filled), (at(0), Some(at(3_605)), false));
    }

    // A source that asks its probes says again and again that one does not answer.
    #[test]
    fn silence_that_is_told_again_opens_no_second_gap() {
        let mut presence = Presence::default();
        presence.usable(at(0), SILENT);
        let told = (1..=40).filter_map(|second| presence.fault(at(second), Fault::Silent, SILENT));
        assert_eq!(told.count(), 1);
        let closed = presence.usable(at(41), SILENT).expect("it closes");
        assert_eq!((closed.fault, closed.from, closed.to), (Fault::Silent, at(0), Some(at(41))));
        assert!(!closed.filled, "nothing of it came");
    }

    #[test]
    fn faults_open_a_gap_once_they_last() {
        let mut presence = Presence::default();
        presence.usable(at(0), SILENT);
        assert_eq!(presence.fault(at(1), Fault::OpenCircuit, SILENT), None, "one fault is no gap");
        let gap = presence.fault(at(10), Fault::OpenCircuit, SILENT).expect("ten seconds of faults");
        assert_eq!((gap.fault, gap.from, gap.to), (Fault::OpenCircuit, at(0), None));
    }
}
