//! What people do with a machine: open it, fill it, feed it racks, clean it, close it.
//!
//! Numbers are common practice, no source, unless another is named.

use crate::dice::Dice;

/// One meal period.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Meal {
    /// When the machine is switched on and filled, s from the start of the run.
    pub fill_s: f64,
    /// When the first racks come.
    pub from_s: f64,
    /// When the last racks come.
    pub until_s: f64,
    /// When the rush begins.
    pub rush_from_s: f64,
    /// When the rush ends.
    pub rush_until_s: f64,
    /// Mean time between racks outside the rush, s.
    pub quiet_every_s: f64,
    /// Mean time between racks inside it, s.
    pub rush_every_s: f64,
    /// Whether the machine is drained and hosed out afterwards.
    pub cleaned: bool,
    /// Whether it is switched off afterwards.
    pub last_of_day: bool,
}

impl Meal {
    /// A meal given in hours from the start of the run: filled half an hour before the first rack,
    /// rush in the middle half.
    #[must_use]
    pub fn hours(from_h: f64, until_h: f64) -> Self {
        let (from_s, until_s) = (from_h * 3_600.0, until_h * 3_600.0);
        let quarter_s = (until_s - from_s) / 4.0;
        Self {
            fill_s: (from_s - 1_800.0).max(0.0),
            from_s,
            until_s,
            rush_from_s: from_s + quarter_s,
            rush_until_s: until_s - quarter_s,
            quiet_every_s: 240.0,
            rush_every_s: 75.0,
            cleaned: true,
            last_of_day: false,
        }
    }

    /// The same meal with other mean times between racks, s.
    #[must_use]
    pub fn every(mut self, quiet_s: f64, rush_s: f64) -> Self {
        (self.quiet_every_s, self.rush_every_s) = (quiet_s, rush_s);
        self
    }

    /// The same meal, after which the machine is switched off.
    #[must_use]
    pub fn closing(mut self) -> Self {
        self.last_of_day = true;
        self
    }

    /// The same meal in a machine that runs already and is not cleaned.
    #[must_use]
    pub fn uncleaned(mut self) -> Self {
        self.cleaned = false;
        self
    }
}

/// One thing to do.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Task {
    /// Switch the machine on.
    PowerOn,
    /// Close the drain and fill the tank through the rinse line.
    Fill,
    /// Dip a test strip and write the reading down.
    Check,
    /// Wash racks: one, or on a conveyor a train of them.
    Racks {
        /// Number of racks.
        count: u32,
        /// Heat capacity of one loaded rack, J/K.
        heat_j_per_k: f64,
    },
    /// Open the drain.
    Drain,
    /// Spray the empty machine out with rinse water.
    Hose {
        /// How long, s.
        length_s: f64,
        /// Part of the rinse flow.
        part: f64,
    },
    /// Switch the machine off and leave it to dry.
    PowerOff,
}

/// A task and when it may be done.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Action {
    /// Not before this, s from the start of the run.
    pub not_before_s: f64,
    /// Not before this long after the end of what came before, s.
    pub gap_s: f64,
    /// What to do.
    pub task: Task,
}

/// Everything to be done with one machine, in order.
#[must_use]
pub fn plan(meals: &[Meal], conveyor: bool, chemical: bool, warm: bool, dice: &mut Dice) -> Vec<Action> {
    let mut actions = Vec::new();
    let mut full = warm;
    for meal in meals {
        if !full {
            at(&mut actions, meal.fill_s, 0.0, Task::PowerOn);
            at(&mut actions, meal.fill_s, dice.uniform(30.0, 120.0), Task::Fill);
        }
        if chemical {
            let before_s = if full { 0.0 } else { 300.0 };
            at(&mut actions, (meal.from_s - before_s).max(0.0), 1.0, Task::Check);
        }
        serve(&mut actions, meal, conveyor, dice);
        full = !meal.cleaned;
        if meal.cleaned {
            clean(&mut actions, meal, dice);
        }
        if meal.last_of_day {
            at(&mut actions, meal.until_s, dice.uniform(60.0, 300.0), Task::PowerOff);
        }
    }
    actions
}

fn at(actions: &mut Vec<Action>, not_before_s: f64, gap_s: f64, task: Task) {
    actions.push(Action { not_before_s, gap_s, task });
}

/// Racks come as a Poisson process whose rate is that of the hour; who finds the machine busy
/// waits, and takes 8 to 25 s to change racks.
fn serve(actions: &mut Vec<Action>, meal: &Meal, conveyor: bool, dice: &mut Dice) {
    let mut now_s = meal.from_s + dice.uniform(0.0, 20.0);
    while now_s < meal.until_s {
        let rush = (meal.rush_from_s..meal.rush_until_s).contains(&now_s);
        let count = match (conveyor, rush) {
            (false, _) => 1,
            (true, true) => dice.whole(4, 30),
            (true, false) => dice.whole(2, 8),
        };
        // Eighteen plates of 0.6 kg at 0.8 kJ/(kg K) and 1.8 kg of plastic rack at 1.9 kJ/(kg K).
        let heat_j_per_k = dice.gauss(10_000.0, 3_000.0).clamp(3_000.0, 18_000.0);
        at(actions, now_s, dice.uniform(8.0, 25.0), Task::Racks { count, heat_j_per_k });
        let mean_s = if rush { meal.rush_every_s } else { meal.quiet_every_s };
        now_s += dice.exponential(mean_s).min(3.0 * mean_s);
    }
}

/// The machine is drained, and when it is empty sprayed out by hand in bursts.
fn clean(actions: &mut Vec<Action>, meal: &Meal, dice: &mut Dice) {
    at(actions, meal.until_s, dice.uniform(60.0, 240.0), Task::Drain);
    for burst in 0..dice.whole(4, 14) {
        let gap_s = if burst == 0 { dice.uniform(60.0, 150.0) } else { 3.0 + dice.exponential(18.0) };
        let length_s = (dice.gauss(2.0, 0.7).exp()).clamp(1.0, 45.0);
        at(actions, 0.0, gap_s, Task::Hose { length_s, part: dice.uniform(0.4, 1.0) });
    }
}
