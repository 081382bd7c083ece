//! Whose turn it is on a line that several units share.
//!
//! Units that answer come first, the longest due before the others. One that does not answer
//! holds the line for its whole time-out, so it is asked only where that ends before anybody else
//! is due, ever more seldom. Two exceptions: each is asked once at the start, and one for which
//! there is no room all the same every ten seconds, since a full line would never learn that it is
//! back. Time is the time since the start, so that nothing here needs a clock.

use std::time::Duration;

use crate::transport::backoff::Backoff;

/// After so long without room a silent unit is asked all the same (own choice).
const WAITS_MAX: Duration = Duration::from_secs(10);
/// Answers in a row that cannot be read before a unit is treated as a silent one (own choice: a
/// disturbed byte now and then is no reason to leave a unit alone).
const STRIKES_MAX: u32 = 3;

/// A unit as the schedule sees it.
#[derive(Clone, Copy, Debug)]
pub struct Terms {
    /// How often it is to be asked.
    pub poll: Duration,
    /// How long it holds the line if it does not answer.
    pub cost: Duration,
    /// Shortest wait before it is asked again after it did not answer: an answer that comes
    /// later than that would pass for the answer to the next request.
    pub rest: Duration,
    /// Longest such wait.
    pub rest_max: Duration,
}

/// What is to be done.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Next {
    /// Ask the unit at this place.
    Ask(usize),
    /// Nothing before this time.
    Wait(Duration),
}

/// Whose turn it is.
#[derive(Debug)]
pub struct Schedule {
    turns: Vec<Turn>,
}

#[derive(Debug)]
struct Turn {
    terms: Terms,
    due: Duration,
    /// It was asked at least once.
    known: bool,
    /// It has answered the last time it was asked.
    answers: bool,
    strikes: u32,
    backoff: Backoff,
}

impl Schedule {
    /// Nobody has answered yet, and everybody is due.
    #[must_use]
    pub fn new(terms: impl IntoIterator<Item = Terms>) -> Self {
        let turn = |terms: Terms| Turn {
            terms,
            due: Duration::ZERO,
            known: false,
            answers: false,
            strikes: 0,
            backoff: Backoff::new(terms.rest, terms.rest_max.max(terms.rest)),
        };
        Self { turns: terms.into_iter().map(turn).collect() }
    }

    /// What is to be done at `now`.
    #[must_use]
    pub fn next(&self, now: Duration) -> Next {
        let first = |answers: bool| {
            let turns = self.turns.iter().enumerate().filter(|(_, turn)| turn.answers == answers);
            turns.min_by_key(|(_, turn)| turn.due).map(|(place, turn)| (place, turn.due))
        };
        let healthy = first(true);
        if let Some((place, due)) = healthy
            && due <= now
        {
            return Next::Ask(place);
        }
        let until = healthy.map_or(Duration::MAX, |(_, due)| due);
        let has_room = |turn: &Turn| {
            !turn.known || now + turn.terms.cost <= until || now.saturating_sub(turn.due) >= WAITS_MAX
        };
        let silent = self.turns.iter().enumerate().filter(|(_, turn)| !turn.answers);
        let ready = silent.clone().filter(|(_, turn)| turn.due <= now && has_room(turn));
        if let Some((place, _)) = ready.min_by_key(|(_, turn)| turn.due) {
            return Next::Ask(place);
        }
        // One that lacks room gets its next chance when somebody else has been asked.
        let later = silent.map(|(_, turn)| turn.due).filter(|due| *due > now).min();
        Next::Wait(later.map_or(until, |later| later.min(until)))
    }

    /// The unit answered: it is asked again after its period, in step with the times before.
    /// Gives whether it had been silent.
    pub fn answered(&mut self, place: usize, now: Duration) -> bool {
        let Some(turn) = self.turns.get_mut(place) else { return false };
        (turn.known, turn.strikes) = (true, 0);
        turn.backoff.after_success();
        let was_silent = !std::mem::replace(&mut turn.answers, true);
        turn.due = if was_silent { now } else { turn.due };
        turn.skip_to(now);
        was_silent
    }

    /// The unit did not answer. Gives whether it had answered before.
    pub fn silent(&mut self, place: usize, now: Duration) -> bool {
        let Some(turn) = self.turns.get_mut(place) else { return false };
        turn.known = true;
        turn.due = now + turn.backoff.after_failure();
        std::mem::replace(&mut turn.answers, false)
    }

    /// What came could not be read. Gives whether it is treated as silent from here on.
    pub fn garbled(&mut self, place: usize, now: Duration) -> bool {
        let Some(turn) = self.turns.get_mut(place) else { return false };
        turn.strikes += 1;
        if turn.answers && turn.strikes < STRIKES_MAX {
            turn.skip_to(now);
            return false;
        }
        self.silent(place, now);
        true
    }

    /// Whether no unit answers.
    #[must_use]
    pub fn all_silent(&self) -> bool {
        self.turns.iter().all(|turn| !turn.answers)
    }
}

impl Turn {
    /// The next time of its period after `now`; what was missed is left out.
    fn skip_to(&mut self, now: Duration) {
        self.due += self.terms.poll;
        if self.due <= now {
            let behind = now.saturating_sub(self.due).as_nanos();
            let periods = behind / self.terms.poll.as_nanos().max(1) + 1;
            self.due += self.terms.poll.saturating_mul(u32::try_from(periods).unwrap_or(u32::MAX));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn ms(millis: u64) -> Duration {
        Duration::from_millis(millis)
    }

    const fn terms(poll: u64, cost: u64) -> Terms {
        Terms { poll: ms(poll), cost: ms(cost), rest: ms(2 * cost), rest_max: ms(5_000) }
    }

    /// Plays a line on which an answer takes `answer` and the units at `dead` never answer; gives
    /// when each unit was asked.
    fn play(terms: &[Terms], answer: u64, dead: &[usize], until: u64) -> Vec<Vec<Duration>> {
        let mut schedule = Schedule::new(terms.iter().copied());
        let (mut now, mut asked) = (Duration::ZERO, vec![Vec::new(); terms.len()]);
        while now < ms(until) {
            match schedule.next(now) {
                Next::Wait(until) => now = until,
                Next::Ask(place) => {
                    asked[place].push(now);
                    if dead.contains(&place) {
                        now += terms[place].cost;
                        schedule.silent(place, now);
                    } else {
                        now += ms(answer);
                        schedule.answered(place, now);
                    }
                }
            }
        }
        asked
    }

    fn longest_wait(asked: &[Duration]) -> Duration {
        asked.windows(2).map(|pair| pair[1] - pair[0]).max().expect("it was asked more than once")
    }

    // The promise of the module's head; no outside source.
    #[test]
    fn a_dead_unit_makes_nobody_late() {
        for (units, poll, cost, answer) in [(4, 250, 150, 10), (8, 250, 150, 10), (2, 100, 80, 5)] {
            let all: Vec<Terms> = (0..units).map(|_| terms(poll, cost)).collect();
            for dead in 0..units {
                let asked = play(&all, answer, &[dead], 60_000);
                for (place, asked) in asked.iter().enumerate().filter(|(place, _)| *place != dead) {
                    let longest = longest_wait(&asked[1..]);
                    let slack = ms(answer * u64::try_from(units).expect("few"));
                    assert!(longest <= ms(poll) + slack, "unit {place} beside {dead}: {longest:?}");
                }
                assert!(asked[dead].len() >= 10, "it is still asked: {} times", asked[dead].len());
                assert!(asked[dead].len() <= 30, "but seldom: {} times", asked[dead].len());
            }
        }
    }

    #[test]
    fn where_there_is_no_room_a_silent_unit_is_asked_every_ten_seconds() {
        let all = [terms(100, 90), terms(100, 90)];
        let asked = play(&all, 20, &[1], 100_000);
        assert!((6..=11).contains(&asked[1].len()), "{:?}", asked[1]);
    }

    #[test]
    fn a_unit_that_is_back_gets_its_period_at_once() {
        let mut schedule = Schedule::new([terms(250, 150)]);
        assert!(!schedule.silent(0, ms(150)), "it never answered");
        assert_eq!(schedule.next(ms(150)), Next::Wait(ms(450)));
        assert!(schedule.answered(0, ms(460)), "it had been silent");
        assert_eq!(schedule.next(ms(460)), Next::Wait(ms(710)));
        assert!(schedule.silent(0, ms(860)), "it had answered");
        assert!(schedule.all_silent());
        assert_eq!(schedule.next(ms(860)), Next::Wait(ms(1_160)), "the waits begin anew");
    }

    #[test]
    fn the_period_keeps_its_step_and_what_was_missed_is_left_out() {
        let mut schedule = Schedule::new([terms(250, 150)]);
        schedule.answered(0, ms(10));
        assert_eq!(schedule.next(ms(10)), Next::Wait(ms(260)));
        schedule.answered(0, ms(300));
        assert_eq!(schedule.next(ms(300)), Next::Wait(ms(510)));
        schedule.answered(0, ms(2_000));
        assert_eq!(schedule.next(ms(2_000)), Next::Wait(ms(2_010)));
    }

    #[test]
    fn three_answers_in_a_row_that_cannot_be_read_are_silence() {
        let mut schedule = Schedule::new([terms(250, 150)]);
        schedule.answered(0, ms(10));
        assert!(!schedule.garbled(0, ms(260)));
        assert!(!schedule.garbled(0, ms(510)));
        assert!(schedule.garbled(0, ms(760)));
        assert!(schedule.all_silent());
        schedule.answered(0, ms(2_000));
        assert!(!schedule.garbled(0, ms(2_250)), "the count begins anew");
    }
}
