//! What becomes of a letter after an answer: delivered, tried again, or given up.

use std::time::Duration;

use super::{Due, Mark, Outcome};
use crate::alert::answer::Answer;
use crate::config::delivery::Pace;
use crate::core::alert::trial::{GivenUp, Told};
use crate::core::time::Timestamp;

/// Rest after the first failure (own choice: a hiccup of the network is over then).
const REST_MIN: Duration = Duration::from_secs(5);
/// Longest rest (own choice; servers that greylist take a message after some 5 to 15 min).
const REST_MAX: Duration = Duration::from_secs(900);
/// Longest rest that a receiver may ask for (own choice).
const ASKED_MAX: Duration = Duration::from_secs(3_600);
/// Share of the rest that chance adds or takes away.
const JITTER: f64 = 0.2;
/// Tries of a letter that is refused in a way that hardly changes (own choice: over within half a minute).
const DOUBTFUL_MAX: u32 = 3;

/// Judges one answer. `chance` lies between 0 and 1.
pub(super) fn judge(pace: &Pace, letter: Due, answer: Answer, at: Timestamp, chance: f64) -> Mark {
    let attempts = letter.attempts.saturating_add(1);
    let outcome = match answer {
        Answer::Taken => Outcome::Delivered,
        Answer::Never { error } | Answer::Closed { error } => Outcome::GivenUp { error },
        Answer::Doubtful { error } if attempts >= DOUBTFUL_MAX => {
            Outcome::GivenUp { error: error.given_up(GivenUp::Refused { tries: attempts }) }
        }
        Answer::Doubtful { error } => later(pace, &letter, attempts, at, chance, error, None),
        Answer::Later { error, after } => later(pace, &letter, attempts, at, chance, error, after),
    };
    Mark { letter, at, attempts, outcome }
}

fn later(
    pace: &Pace,
    letter: &Due,
    attempts: u32,
    at: Timestamp,
    chance: f64,
    error: Told,
    asked: Option<Duration>,
) -> Outcome {
    let last = letter.created.plus(pace.give_up_after);
    if at >= last || attempts >= pace.attempts_max {
        let minutes = u32::try_from(at.since(letter.created).as_secs() / 60).unwrap_or(u32::MAX);
        let given_up = GivenUp::NotTaken { tries: attempts, minutes };
        return Outcome::GivenUp { error: error.given_up(given_up) };
    }
    let asked = asked.unwrap_or_default().min(ASKED_MAX);
    // The last try falls on the end of the time, unless the receiver asked to be left alone for longer.
    let due = at.plus(rest(attempts, chance).max(asked)).min(last.max(at.plus(asked)));
    Outcome::Failed { due, error }
}

/// The rest after this many failures.
fn rest(attempts: u32, chance: f64) -> Duration {
    let doubled = REST_MIN.saturating_mul(1 << attempts.saturating_sub(1).min(16)).min(REST_MAX);
    doubled.mul_f64(1.0 + JITTER * (2.0 * chance.clamp(0.0, 1.0) - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOON: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);
    const PACE: Pace = Pace { per_minute: 60, give_up_after: Duration::from_secs(86_400), attempts_max: 200 };

    fn letter(attempts: u32) -> Due {
        let text = || "k".to_owned();
        Due {
            id: 1,
            key: text(),
            channel: text(),
            sequence: text(),
            created: NOON,
            attempts,
            bytes: Vec::new(),
        }
    }

    fn after(seconds: u64) -> Timestamp {
        NOON.plus(Duration::from_secs(seconds))
    }

    // The rests that the module promises, no outside source.
    #[test]
    fn rests_longer_each_time() {
        for (failed, chance, seconds) in [
            (0, 0.5, 5.0),
            (1, 0.5, 10.0),
            (2, 0.5, 20.0),
            (7, 0.5, 640.0),
            (8, 0.5, 900.0),
            (150, 0.5, 900.0),
            (0, 0.0, 4.0),
            (0, 1.0, 6.0),
            (150, 1.0, 1080.0),
        ] {
            let mark = judge(&PACE, letter(failed), Answer::later("busy"), NOON, chance);
            let due = NOON.plus(Duration::from_secs_f64(seconds));
            assert_eq!(mark.outcome, Outcome::Failed { due, error: "busy".into() }, "{failed} failed");
            assert_eq!(mark.attempts, failed + 1);
        }
    }

    #[test]
    fn leaves_a_receiver_alone_as_long_as_it_asks() {
        for (asked, seconds) in [(1, 5), (60, 60), (7_200, 3_600)] {
            let answer = Answer::Later { error: "busy".into(), after: Some(Duration::from_secs(asked)) };
            let mark = judge(&PACE, letter(0), answer, NOON, 0.5);
            assert_eq!(mark.outcome, Outcome::Failed { due: after(seconds), error: "busy".into() });
        }
    }

    #[test]
    fn gives_up_by_age_by_tries_and_by_refusal() {
        let text = || Told::words("no");
        for (failed, at, answer, given_up) in [
            (0, 0, Answer::Never { error: text() }, Some("no")),
            (0, 0, Answer::Closed { error: text() }, Some("no")),
            (0, 0, Answer::Doubtful { error: text() }, None),
            (1, 0, Answer::Doubtful { error: text() }, None),
            (2, 0, Answer::Doubtful { error: text() }, Some("refused 3 times: no")),
            (198, 0, Answer::later("no"), None),
            (199, 0, Answer::later("no"), Some("not taken in 200 tries over 0.0 h: no")),
            (3, 86_399, Answer::later("no"), None),
            (3, 86_400, Answer::later("no"), Some("not taken in 4 tries over 24.0 h: no")),
        ] {
            let mark = judge(&PACE, letter(failed), answer.clone(), after(at), 0.5);
            match (mark.outcome, given_up) {
                (Outcome::GivenUp { error }, Some(expected)) => assert_eq!(error.to_string(), expected),
                (Outcome::Failed { due, .. }, None) => assert!(due <= after(86_400), "{due}"),
                (outcome, _) => panic!("{failed} failed, {answer:?} at {at}: {outcome:?}"),
            }
        }
        assert_eq!(judge(&PACE, letter(0), Answer::Taken, NOON, 0.5).outcome, Outcome::Delivered);
    }
}
