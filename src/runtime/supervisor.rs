//! Tasks by name: one that fails is told about and started again; the others go on.

use std::error::Error;
use std::future::Future;
use std::time::Duration;

use tokio::task::{JoinError, JoinSet};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use crate::core::causes::chain;

/// First wait before a failed task is started again.
const RESTART_AFTER_MIN: Duration = Duration::from_secs(1);
/// Longest wait before a failed task is started again.
const RESTART_AFTER_MAX: Duration = Duration::from_secs(60);
/// A task that ran this long before it failed is started again after the shortest wait.
const RAN_WELL: Duration = Duration::from_secs(60);

/// All tasks of the program.
#[derive(Debug)]
pub struct Supervisor {
    tasks: JoinSet<()>,
    stop: CancellationToken,
}

impl Supervisor {
    /// Takes the token whose cancellation ends all restarting.
    #[must_use]
    pub fn new(stop: CancellationToken) -> Self {
        Self { tasks: JoinSet::new(), stop }
    }

    /// Runs a task once; a panic in it is told and stops nothing else.
    pub fn run<Work>(&mut self, name: &'static str, work: Work)
    where
        Work: Future<Output = ()> + Send + 'static,
    {
        self.tasks.spawn(async move {
            if let Err(panic) = alone(work).await {
                tracing::error!(task = name, panic = %panic_text(panic), "a task panicked");
            }
        });
    }

    /// Keeps a task running: one that fails or panics is made and started again
    /// after a wait that doubles from 1 s to 60 s. A task that ends well is at its end.
    pub fn keep_running<Make, Work, Failure>(&mut self, name: String, make: Make)
    where
        Make: FnMut() -> Work + Send + 'static,
        Work: Future<Output = Result<(), Failure>> + Send + 'static,
        Failure: Error + Send + 'static,
    {
        self.tasks.spawn(restart(name, make, self.stop.clone()));
    }

    /// Waits until every task has ended. Dropping the supervisor aborts those that have not.
    pub async fn join(&mut self) {
        while self.tasks.join_next().await.is_some() {}
    }
}

async fn restart<Make, Work, Failure>(name: String, mut make: Make, stop: CancellationToken)
where
    Make: FnMut() -> Work + Send + 'static,
    Work: Future<Output = Result<(), Failure>> + Send + 'static,
    Failure: Error + Send + 'static,
{
    let mut wait = RESTART_AFTER_MIN;
    loop {
        let started = Instant::now();
        let cause = match alone(make()).await {
            Ok(Ok(())) => return,
            Ok(Err(failure)) => chain(&failure),
            Err(panic) => panic_text(panic),
        };
        if stop.is_cancelled() {
            return;
        }
        if started.elapsed() >= RAN_WELL {
            wait = RESTART_AFTER_MIN;
        }
        tracing::error!(task = name, cause, again_after = ?wait, "a task failed and will be started again");
        if stop.run_until_cancelled(tokio::time::sleep(wait)).await.is_none() {
            return;
        }
        wait = (wait * 2).min(RESTART_AFTER_MAX);
    }
}

/// Runs `work` in a task of its own, which is aborted with the caller.
async fn alone<Work>(work: Work) -> Result<Work::Output, JoinError>
where
    Work: Future + Send + 'static,
    Work::Output: Send + 'static,
{
    let mut task = JoinSet::new();
    task.spawn(work);
    task.join_next().await.expect("one task was spawned the line above")
}

fn panic_text(error: JoinError) -> String {
    let Ok(payload) = error.try_into_panic() else {
        return "aborted".to_owned();
    };
    let text = payload.downcast_ref::<&str>().map(|text| (*text).to_owned());
    text.or_else(|| payload.downcast_ref::<String>().cloned()).unwrap_or_else(|| "panic".to_owned())
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::sync::atomic::{AtomicU32, Ordering};

    use super::*;

    #[derive(Debug, thiserror::Error)]
    #[error("cable pulled")]
    struct CablePulled;

    // One task panics, one fails, each twice; both come back and the third is never disturbed.
    #[tokio::test(start_paused = true)]
    async fn a_failing_task_is_started_again_and_stops_no_other() {
        let mut supervisor = Supervisor::new(CancellationToken::new());
        let tries = Arc::new(AtomicU32::new(0));
        for panics in [true, false] {
            let tries = Arc::clone(&tries);
            let mut own = 0;
            supervisor.keep_running("probe".to_owned(), move || {
                own += 1;
                let (own, tries) = (own, Arc::clone(&tries));
                async move {
                    tries.fetch_add(1, Ordering::SeqCst);
                    assert!(!(panics && own < 3), "wire cut");
                    if own < 3 { Err(CablePulled) } else { Ok(()) }
                }
            });
        }
        let done = Arc::new(AtomicU32::new(0));
        let other = Arc::clone(&done);
        supervisor.run("other", async move {
            tokio::time::sleep(Duration::from_secs(10)).await;
            other.store(1, Ordering::SeqCst);
        });
        supervisor.join().await;
        assert_eq!((tries.load(Ordering::SeqCst), done.load(Ordering::SeqCst)), (6, 1));
    }

    #[tokio::test(start_paused = true)]
    async fn nothing_is_started_again_once_stopping() {
        let stop = CancellationToken::new();
        let mut supervisor = Supervisor::new(stop.clone());
        supervisor.keep_running("probe".to_owned(), move || {
            stop.cancel();
            async { Err(CablePulled) }
        });
        supervisor.join().await;
    }
}
