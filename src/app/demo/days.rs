//! What the simulated nodes send, day after day: where a scenario is over, it begins again with other chance.
//!
//! Whoever looks at the pages is not cut off. The scenario plays anew from where the time stands, whatever hour its plan
//! begins at.

use std::time::Duration;

use rinseward_simulator::catalog::MachineFacts;
use rinseward_simulator::node::Emission;
use rinseward_simulator::scenario::Plan;
use rinseward_simulator::world::World;

use crate::core::time::Timestamp;

/// Rest between the end of a scenario and its next beginning: the machines stand still (own choice: shorter than the
/// silence that makes a fault of a probe).
const REST: Duration = Duration::from_secs(60);

/// Most times that a scenario is played from one start on before it would meet the chance of another day (own choice: no
/// demo lasts that long).
const PLAYS_MAX: u64 = 1 << 32;

/// A scenario without an end. As an iterator it yields what leaves the nodes, in order of time.
#[derive(Debug)]
pub(super) struct Days {
    plan: Plan,
    seed: u64,
    world: World,
    last: Timestamp,
}

impl Days {
    /// Plays a plan on the day that begins at `midnight`, so many days after the first of its ledger. Each day has chance
    /// of its own, which is the same whenever that day is played.
    pub(super) fn new(plan: Plan, seed: u64, (midnight, day): (Timestamp, u32)) -> Self {
        let seed = seed.wrapping_add(u64::from(day) * PLAYS_MAX);
        let world = World::of(&plan, seed, midnight.micros());
        let last = Timestamp::from_micros(world.start_micros());
        Self { plan, seed, world, last }
    }

    /// When it begins.
    pub(super) fn start(&self) -> Timestamp {
        Timestamp::from_micros(self.world.start_micros())
    }

    /// Its machines.
    pub(super) fn facts(&self) -> impl Iterator<Item = &MachineFacts> {
        self.world.facts()
    }
}

impl Iterator for Days {
    type Item = Emission;

    fn next(&mut self) -> Option<Emission> {
        let emission = match self.world.next() {
            Some(emission) => emission,
            None => {
                self.seed = self.seed.wrapping_add(1);
                self.world = World::starting_at(&self.plan, self.seed, self.last.plus(REST).micros());
                // A plan whose machines say nothing ends here.
                self.world.next()?
            }
        };
        self.last = self.last.max(Timestamp::from_micros(emission.at_micros));
        Some(emission)
    }
}

#[cfg(test)]
mod tests {
    use rinseward_simulator::scenario::Scenario;

    use super::*;

    // Own promise: a scenario that is over begins again, time never runs back, and it is another day.
    #[test]
    fn a_day_follows_the_day_before() {
        let mut plan = Scenario::Rush.plan();
        plan.hours = 0.2;
        let once = World::of(&plan, 1, 0).count();
        let all: Vec<Emission> = Days::new(plan, 1, (Timestamp::from_micros(0), 0)).take(2 * once).collect();
        assert!(all.is_sorted_by_key(|emission| emission.at_micros), "time runs back");
        let rest = all[once].at_micros - all[once - 1].at_micros;
        assert!((60_000_000..120_000_000).contains(&rest), "{rest} µs between two days");
        let records =
            |emissions: &[Emission]| emissions.iter().map(|one| one.records.clone()).collect::<Vec<_>>();
        assert_ne!(records(&all[..once]), records(&all[once..]), "the same chance again");
    }

    // Regression: a demo that was begun again on its ledger played the day before once more, number for number.
    #[test]
    fn a_day_that_is_begun_again_is_another_day() {
        let mut plan = Scenario::Rush.plan();
        plan.hours = 0.2;
        let day = |day: u32| {
            let midnight = Timestamp::from_micros(i64::from(day) * 86_400_000_000);
            let days = Days::new(plan.clone(), 1, (midnight, day)).take(400);
            days.map(|emission| emission.records).collect::<Vec<_>>()
        };
        assert_eq!(day(1), day(1), "another chance for one and the same day");
        assert_ne!(day(0), day(1), "the same chance on the next day");
        assert_ne!(day(1), day(2), "the same chance on the next day");
    }
}
