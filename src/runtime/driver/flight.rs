//! The commit that is under way, and what waits for it.

use std::time::Duration;

use tokio::sync::oneshot;
use tokio::sync::oneshot::error::RecvError;
use tokio::time::Instant;

use super::entry::Waiting;
use super::intake::Pending;
use super::{Outcome, Published};
use crate::ledger::Commit;
use crate::runtime::gather::Left;

/// First wait before a refused commit is tried again.
const AGAIN_AFTER_MIN: Duration = Duration::from_secs(1);
/// Longest wait before a refused commit is tried again: short, since all that is read
/// meanwhile has to be kept in memory.
const AGAIN_AFTER_MAX: Duration = Duration::from_secs(5);

/// The commit that is under way. At most one.
#[derive(Debug)]
pub(super) struct Flight<Error> {
    state: State<Error>,
    deliveries: Vec<Pending>,
    published: Option<Published>,
    entered: Vec<Waiting>,
    /// Wait after the next refusal; `None` before the first.
    backoff: Option<Duration>,
}

#[derive(Debug)]
enum State<Error> {
    Free,
    UnderWay { answer: oneshot::Receiver<Outcome<Error>>, left: Left },
    Waiting { commit: Commit, until: Instant },
}

impl<Error> Default for Flight<Error> {
    fn default() -> Self {
        Self {
            state: State::Free,
            deliveries: Vec::new(),
            published: None,
            entered: Vec::new(),
            backoff: None,
        }
    }
}

impl<Error> Flight<Error> {
    pub(super) fn is_free(&self) -> bool {
        matches!(self.state, State::Free)
    }

    pub(super) fn was_refused(&self) -> bool {
        self.backoff.is_some()
    }

    /// What is under way, or waits here to be tried again.
    pub(super) fn left(&self) -> Left {
        match &self.state {
            State::Waiting { commit, .. } => Left::of(&commit.inputs, &commit.records),
            State::UnderWay { left, .. } => *left,
            State::Free => Left::default(),
        }
    }

    /// Takes what is to happen after the commit.
    pub(super) fn load(
        &mut self,
        deliveries: Vec<Pending>,
        published: Option<Published>,
        entered: Vec<Waiting>,
    ) {
        self.entered = entered;
        self.deliveries = deliveries;
        self.published = published;
    }

    pub(super) fn launched(&mut self, answer: oneshot::Receiver<Outcome<Error>>, left: Left) {
        self.state = State::UnderWay { answer, left };
    }

    /// The answer to the commit under way; never where there is none.
    pub(super) async fn landed(&mut self) -> Result<Outcome<Error>, RecvError> {
        match &mut self.state {
            State::UnderWay { answer, .. } => answer.await,
            State::Free | State::Waiting { .. } => std::future::pending().await,
        }
    }

    /// Acknowledges, and gives what is to be published.
    pub(super) fn committed(&mut self, first_index: Option<u64>) -> Option<Published> {
        self.state = State::Free;
        self.backoff = None;
        acknowledge(&self.deliveries);
        self.deliveries.clear();
        for waiting in self.entered.drain(..) {
            waiting.tell(first_index);
        }
        let mut published = self.published.take()?;
        for ((index, _), number) in published.records.iter_mut().zip(first_index.unwrap_or(0)..) {
            *index = number;
        }
        Some(published)
    }

    pub(super) fn refused(&mut self, commit: Commit) {
        let wait = self.backoff.unwrap_or(AGAIN_AFTER_MIN);
        self.backoff = Some((wait * 2).min(AGAIN_AFTER_MAX));
        self.state = State::Waiting { commit, until: Instant::now() + wait };
    }

    pub(super) fn again_at(&self) -> Option<Instant> {
        match &self.state {
            State::Waiting { until, .. } => Some(*until),
            State::Free | State::UnderWay { .. } => None,
        }
    }

    /// The refused commit, where its wait is over.
    pub(super) fn due_again(&mut self) -> Option<Commit> {
        if self.again_at()? > Instant::now() {
            return None;
        }
        match std::mem::replace(&mut self.state, State::Free) {
            State::Waiting { commit, .. } => Some(commit),
            State::Free | State::UnderWay { .. } => None,
        }
    }
}

/// Tells each source up to which delivery everything is committed.
pub(super) fn acknowledge(deliveries: &[Pending]) {
    for pending in deliveries {
        pending.link.committed.send_replace(pending.number);
    }
}
