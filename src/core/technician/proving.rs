//! The proof of a machine's wiring under way: one probe after the other is warmed.

use std::collections::BTreeMap;
use std::time::Duration;

use super::Value;
use crate::core::channel::Place;
use crate::core::record::ProvenProbe;
use crate::core::wiring::{Course, Finding, Found, Standing, Warmth, judge, not_at_rest};

/// What was found must stand so long: a second probe in the same hand may answer later.
pub const STANDS_FOR: Duration = Duration::from_secs(5);
/// Time between two looks at what was gathered (own choice: a person does not see the difference).
pub const LOOKED_EVERY: Duration = Duration::from_millis(250);
/// Longest time for each step of a probe where no other is asked for: that of the command, and as much again for a
/// hand that holds a phone (own choice).
const TURN_MAX: Duration = Duration::from_secs(120);

/// A proof that is being made. Times are those of a clock that never steps.
#[derive(Clone, PartialEq, Debug)]
pub struct Proving {
    order: Vec<(String, Place)>,
    /// Every temperature probe of the site, by name.
    courses: BTreeMap<String, Course>,
    warmth: Warmth,
    turn_max: Duration,
    found: Vec<Found>,
    step: Step,
    looked: Duration,
    lost: bool,
}

#[derive(Clone, PartialEq, Debug)]
enum Step {
    /// The tip is to hang free.
    Hanging,
    Resting {
        since: Duration,
    },
    Warming {
        since: Duration,
        last: Option<(Finding, Duration)>,
    },
}

/// Where a proof stands.
#[derive(Clone, PartialEq, Debug)]
pub struct Stands {
    /// Each probe with what was found of it so far, in order.
    pub probes: Vec<(String, Place, Option<Found>)>,
    /// What is to be done at the first without a finding; `None` where each has one.
    pub step: Option<StepSeen>,
    /// What is used to warm.
    pub warmth: Warmth,
    /// Readings were lost, so that the probe is tried anew.
    pub lost: bool,
}

impl Stands {
    /// The probe whose turn it is: the first without a finding.
    #[must_use]
    pub fn asked(&self) -> Option<&str> {
        let asked = self.probes.iter().find(|(_, _, found)| found.is_none());
        asked.map(|(name, ..)| name.as_str())
    }
}

/// The step that a proof is at.
#[derive(Clone, PartialEq, Debug)]
pub enum StepSeen {
    /// The tip is to hang free, and nothing to be touched.
    Hanging,
    /// It is waited until it is at rest; which still moves, and by how much, °C a minute.
    Resting(Option<(String, f64)>),
    /// It is to be warmed.
    Warming,
}

impl Proving {
    /// Begins with these probes of one machine, in this order; `site` are all temperature probes of the site.
    #[must_use]
    pub fn new(order: Vec<(String, Place)>, site: impl IntoIterator<Item = String>, warmth: Warmth) -> Self {
        let courses = site.into_iter().map(|name| (name.clone(), Course::new(name))).collect();
        let (step, looked) = (Step::Hanging, Duration::ZERO);
        Self { order, courses, warmth, turn_max: TURN_MAX, found: Vec::new(), step, looked, lost: false }
    }

    /// The same, with this longest time for each step of a probe.
    #[must_use]
    pub const fn lasting(mut self, turn_max: Duration) -> Self {
        self.turn_max = turn_max;
        self
    }

    /// The probe whose turn it is.
    fn asked(&self) -> Option<&str> {
        self.order.get(self.found.len()).map(|(name, _)| name.as_str())
    }

    /// Takes what a probe of the site shows.
    pub fn hear(&mut self, probe: &str, value: Value) {
        let Some(course) = self.courses.get_mut(probe) else { return };
        let shown = match (value.fault, value.measured) {
            (Some(fault), _) => Err(fault),
            (None, Some(celsius)) => Ok(celsius),
            (None, None) => return,
        };
        match self.step {
            Step::Hanging => {}
            Step::Resting { .. } => course.rests(value.at, shown),
            Step::Warming { .. } => course.warms(value.at, shown),
        }
    }

    /// Takes that readings were lost: «no other rose» is not proved by what was not looked at.
    pub fn lost(&mut self) {
        if self.step != Step::Hanging {
            (self.step, self.lost) = (Step::Hanging, true);
        }
    }

    /// The tip of the probe hangs free.
    pub fn hangs(&mut self, now: Duration) {
        if self.asked().is_some() && self.step == Step::Hanging {
            self.courses.values_mut().for_each(Course::begin_anew);
            (self.step, self.lost) = (Step::Resting { since: now }, false);
        }
    }

    /// Tries the last probe again: the one that is being tried, else the one before it.
    pub fn again(&mut self) {
        if self.step == Step::Hanging {
            self.found.pop();
        }
        self.step = Step::Hanging;
    }

    /// Looks at what was gathered.
    pub fn tick(&mut self, now: Duration) {
        if now.saturating_sub(self.looked) < LOOKED_EVERY {
            return;
        }
        self.looked = now;
        let Some(asked) = self.asked() else { return };
        match self.step {
            Step::Hanging => {}
            Step::Resting { since } => {
                let over = now.saturating_sub(since) >= self.turn_max;
                match (self.standing(asked), self.mover()) {
                    (Standing::AtRest, None) => self.step = Step::Warming { since: now, last: None },
                    (Standing::Moving { c_per_min }, _) if over => self.found_now(not_at_rest(c_per_min)),
                    (Standing::TooFew | Standing::AtRest, _) if over => {
                        self.step = Step::Warming { since: now, last: None };
                    }
                    (Standing::TooFew | Standing::AtRest | Standing::Moving { .. }, _) => {}
                }
            }
            Step::Warming { since, last } => {
                let over = now.saturating_sub(since) >= self.turn_max;
                let found = judge(asked, self.warmth, self.courses.values());
                let stood = match last {
                    Some((finding, stood)) if finding == found.finding => stood,
                    Some(_) | None => now,
                };
                // What may still come is waited for: an answer, and where a slow probe ends in water of a known
                // temperature.
                let open = match found.finding {
                    Finding::Dead | Finding::NotAtRest | Finding::TooWarm | Finding::StillRising => true,
                    Finding::Answers | Finding::WrongType => {
                        matches!(self.warmth, Warmth::Water(Some(_)))
                            && self.courses.get(asked).is_some_and(Course::may_rise)
                    }
                    Finding::Swapped | Finding::Reversed | Finding::WrongPlace => false,
                };
                if over || !open && now.saturating_sub(stood) >= STANDS_FOR {
                    let found = match self.courses.get(asked) {
                        Some(course) if open => found.at_the_end(self.warmth, course),
                        Some(_) | None => found,
                    };
                    self.found_now(found);
                } else {
                    self.step = Step::Warming { since, last: Some((found.finding, stood)) };
                }
            }
        }
    }

    fn found_now(&mut self, found: Found) {
        self.found.push(found);
        self.step = Step::Hanging;
    }

    fn standing(&self, probe: &str) -> Standing {
        self.courses.get(probe).map_or(Standing::TooFew, Course::standing)
    }

    /// Who still moves: the probe whose turn it is; before the first, any of the proof.
    fn mover(&self) -> Option<(&str, f64)> {
        let first = self.found.is_empty();
        let own = self.asked();
        let others =
            self.order.iter().map(|(name, _)| name.as_str()).filter(|name| first && Some(*name) != own);
        own.into_iter().chain(others).find_map(|name| match self.standing(name) {
            Standing::Moving { c_per_min } => Some((name, c_per_min)),
            Standing::TooFew | Standing::AtRest => None,
        })
    }

    /// Where it stands.
    #[must_use]
    pub fn stands(&self) -> Stands {
        let found = self.found.iter().cloned().map(Some).chain(std::iter::repeat(None));
        let probes = self.order.iter().zip(found).map(|((name, place), found)| (name.clone(), *place, found));
        let step = self.asked().map(|_| match self.step {
            Step::Hanging => StepSeen::Hanging,
            Step::Resting { .. } => {
                StepSeen::Resting(self.mover().map(|(name, c_per_min)| (name.to_owned(), c_per_min)))
            }
            Step::Warming { .. } => StepSeen::Warming,
        });
        Stands { probes: probes.collect(), step, warmth: self.warmth, lost: self.lost }
    }

    /// What can go on record, good or not: each probe was tried.
    #[must_use]
    pub fn result(&self) -> Option<Vec<ProvenProbe>> {
        if self.order.is_empty() || self.asked().is_some() {
            return None;
        }
        let each = self.order.iter().zip(&self.found).map(|((name, _), found)| ProvenProbe {
            probe: name.clone(),
            good: found.finding == Finding::Answers,
            finding: found.finding.as_str().to_owned(),
            seen: found.evidence.clone(),
            instead: found.instead.clone(),
        });
        Some(each.collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::fixture::at;
    use crate::core::reader::{Language, Scale};
    use crate::core::units::Celsius;

    const PROBES: [&str; 2] = ["dm1/wash", "dm1/rinse"];

    fn begun() -> Proving {
        let order = vec![(PROBES[0].to_owned(), Place::WashTank), (PROBES[1].to_owned(), Place::FinalRinse)];
        Proving::new(order, PROBES.map(str::to_owned), Warmth::Hand)
    }

    /// Eight seconds of rest, then twelve in which `warmed` rises to 31 °C by the wire.
    fn turn(work: &mut Proving, from_s: u32, warmed: &str) {
        work.hangs(Duration::from_secs(u64::from(from_s)));
        for quarter in 0..80 {
            let t = f64::from(from_s) + f64::from(quarter) * 0.25;
            let rise = (f64::from(quarter) - 32.0).clamp(0.0, 20.0) * 0.45;
            for probe in PROBES {
                let celsius = 22.0 + if probe == warmed { rise } else { 0.0 };
                work.hear(probe, Value { at: at(t), measured: Some(Celsius(celsius)), fault: None });
            }
            work.tick(Duration::from_secs_f64(t));
        }
    }

    fn findings(work: &Proving) -> Vec<&'static str> {
        work.found.iter().map(|found| found.finding.as_str()).collect()
    }

    // Findings of `core::wiring`; both probes of a machine whose leads are exchanged answer for each other.
    #[test]
    fn each_probe_has_its_turn_and_swapped_ones_are_found() {
        let mut good = begun();
        turn(&mut good, 0, "dm1/wash");
        assert_eq!((findings(&good), good.result()), (vec!["answers"], None));
        turn(&mut good, 30, "dm1/rinse");
        let record = good.result().expect("each was tried");
        assert!(record.iter().all(|probe| probe.good), "{record:?}");
        let mut swapped = begun();
        turn(&mut swapped, 0, "dm1/rinse");
        turn(&mut swapped, 30, "dm1/wash");
        assert_eq!(findings(&swapped), ["swapped", "swapped"]);
        assert!(swapped.result().expect("each was tried").iter().all(|probe| !probe.good));
        swapped.again();
        assert_eq!((findings(&swapped), swapped.result()), (vec!["swapped"], None));
    }

    /// What is found of a probe of time constant `tau_s` that goes from 21 °C into water and would show `shows_c` there,
    /// and after how long, s.
    fn in_water(water_c: f64, shows_c: f64, tau_s: f64) -> (&'static str, f64) {
        let found = found_in_water(water_c, shows_c, tau_s, TURN_MAX);
        (found.0.finding.as_str(), found.1)
    }

    fn found_in_water(water_c: f64, shows_c: f64, tau_s: f64, turn_max: Duration) -> (Found, f64) {
        let order = vec![(PROBES[0].to_owned(), Place::WashTank)];
        let water = Warmth::Water(Some(Celsius(water_c)));
        let mut work = Proving::new(order, PROBES.map(str::to_owned), water).lasting(turn_max);
        work.hangs(Duration::ZERO);
        for quarter in 0..1_000 {
            let t = f64::from(quarter) * 0.25;
            let warm = 1.0 - (-(t - 10.0).max(0.0) / tau_s).exp();
            for probe in PROBES {
                let celsius = 21.0 + if probe == PROBES[0] { (shows_c - 21.0) * warm } else { 0.0 };
                work.hear(probe, Value { at: at(t), measured: Some(Celsius(celsius)), fault: None });
            }
            work.tick(Duration::from_secs_f64(t));
            if let Some(found) = work.found.first() {
                return (found.clone(), t - 10.0);
            }
        }
        panic!("nothing was found");
    }

    // First order: after one time constant a sound probe has 37 % of its way left. A probe of the wrong type passes
    // the water's temperature on its way.
    #[test]
    fn the_type_is_judged_once_a_slow_probe_has_answered() {
        for tau_s in [0.5, 1.5, 4.0, 6.0, 8.0, 15.0] {
            let (finding, after_s) = in_water(45.0, 45.0, tau_s);
            assert_eq!(finding, "answers", "time constant {tau_s} s, after {after_s} s");
            assert!(after_s < 60.0, "time constant {tau_s} s: {after_s} s");
            for shows_c in [35.0, 38.0, 52.0, 70.0] {
                assert_eq!(in_water(45.0, shows_c, tau_s).0, "wrong-type", "{shows_c} °C, {tau_s} s");
            }
        }
    }

    // Own rule: a probe whose end was not seen is neither proved nor of the wrong type. First order: a probe of 60 s
    // has half of its way left after 42 s, one of 30 s a fifth after 48 s; one that would end at 60 °C passes 45 °C
    // on its way there. What is already too warm is of the wrong type however it goes on.
    #[test]
    fn a_probe_that_still_rises_when_the_time_is_over_is_not_judged_by_its_type() {
        for (shows_c, tau_s, expected) in [
            (45.0, 60.0, "still-rising"),
            (45.0, 30.0, "still-rising"),
            (60.0, 45.0, "still-rising"),
            (90.0, 30.0, "wrong-type"),
            (35.0, 3.0, "wrong-type"),
            (45.0, 3.0, "answers"),
        ] {
            let (found, _) = found_in_water(45.0, shows_c, tau_s, Duration::from_secs(50));
            assert_eq!(found.finding.as_str(), expected, "{shows_c} °C, {tau_s} s: {found:?}");
            let told = found.seen(PROBES[0], Language::English, Scale::Celsius);
            assert_eq!(told.contains("still rose by"), expected == "still-rising", "{told}");
            assert!(expected != "still-rising" || !told.contains("type"), "{told}");
        }
    }

    // Own rule: nothing counts before its person says that the tip hangs free, nor over lost readings.
    #[test]
    fn lost_readings_begin_the_turn_anew() {
        let mut work = begun();
        work.hangs(Duration::ZERO);
        assert_eq!(work.stands().step, Some(StepSeen::Resting(None)));
        work.lost();
        assert_eq!((work.stands().step, work.stands().lost), (Some(StepSeen::Hanging), true));
    }
}
