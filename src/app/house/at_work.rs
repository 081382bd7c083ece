//! Keeps a machine under work for as long as an attempt at it lasts, see [`crate::core::alert::dialog`].

use tokio_util::sync::CancellationToken;

use crate::app::order::{Done, Problem};
use crate::core::alert::DialogStands;
use crate::core::alert::dialog::SAID_EVERY;
use crate::core::time::Timestamp;
use crate::runtime::clock::Clock;

/// Says as often as is due that a dialog goes on, and as soon as it is `over` that it has ended. What is not heard may
/// be heard the next time: a window of work that ran out meanwhile would have what is in ice judged as racks.
/// The window is one of the gateway's clock, and so is the time between two words: a demo lives faster.
pub(super) async fn keep_at_work<Told: Future<Output = Result<Done, Problem>>>(
    clock: &Clock,
    since: Timestamp,
    over: &CancellationToken,
    say: impl Fn(DialogStands) -> Told,
) {
    loop {
        let due = tokio::time::sleep(clock.wait_until(clock.now().plus(SAID_EVERY)));
        let goes_on = over.run_until_cancelled(due).await.is_some();
        let stands = if goes_on { DialogStands::GoesOn(since) } else { DialogStands::Ended(since) };
        if let Err(problem) = say(stands).await {
            tracing::warn!(problem = %problem.summary, "the desk was not told how the work at a machine stands");
        }
        if !goes_on {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use std::cell::RefCell;
    use std::time::Duration;

    use super::*;

    // Own promise: the window of work is prolonged until the attempt is over, whatever one word of it came to, and as
    // often as the clock of the gateway asks for: every minute of it. That it is over is said at once: a machine is no
    // longer marked than its pages say.
    #[tokio::test(start_paused = true)]
    async fn a_word_that_was_not_heard_is_not_the_last() {
        for (rate, each) in [(1.0, Duration::from_secs(60)), (60.0, Duration::from_secs(1))] {
            let (since, said) = (Timestamp::from_micros(7), RefCell::new(Vec::new()));
            let (over, begun) = (CancellationToken::new(), tokio::time::Instant::now());
            let refuse = |stands| {
                said.borrow_mut().push(stands);
                std::future::ready(Err(Problem::new("ledger-write", "not just now", "try again")))
            };
            let clock = Clock::manual(since, rate);
            let lasts = each * 7 / 2;
            let ends = async {
                tokio::time::sleep(lasts).await;
                over.cancel();
            };
            tokio::join!(keep_at_work(&clock, since, &over, refuse), ends);
            assert_eq!(begun.elapsed(), lasts, "at {rate} times the real speed");
            let again = DialogStands::GoesOn(since);
            assert_eq!(*said.borrow(), [again, again, again, DialogStands::Ended(since)]);
        }
    }
}
