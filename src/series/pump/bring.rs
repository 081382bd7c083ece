//! Brings the lines of a part to the server, until every one of them is taken or set aside.

use std::time::Duration;

use super::super::answer::Outcome;
use super::super::batch::Lines;
use super::super::explain::Explanation;
use super::super::sieve::{AllRefused, Aside, Sieve, Sifted};
use super::super::stock::Stock;
use super::super::track::Trouble;
use super::super::wait::draw;
use super::{ASIDE_KEPT_MAX, Inbox, Pump, Server, Stopped};

impl<Stocked: Stock, To: Server> Pump<Stocked, To> {
    /// Sends lines until every one of them is taken or set aside.
    pub(super) async fn bring<Tide: Send + Sync>(
        &mut self,
        lines: Lines<'_>,
        inbox: &mut Inbox<Tide>,
    ) -> Result<(), Stopped> {
        loop {
            let mut sieve = Sieve::new(lines, self.in_a_row);
            let Err(AllRefused { reason }) = self.sift(&mut sieve, inbox).await? else {
                let (in_a_row, aside) = sieve.finish();
                self.in_a_row = in_a_row;
                self.note_aside(aside);
                return Ok(());
            };
            let advice = "nothing is set aside: see the types of the fields in the bucket, and whether it has a \
                          schema of its own; `rinseward series test` tries again at once";
            self.tell_trouble(&Explanation {
                slug: "series-refused",
                summary: "the series server refuses every point".to_owned(),
                cause: Some(reason),
                advice: advice.to_owned(),
            });
            self.wait(inbox, self.back_off.person(draw())).await?;
        }
    }

    /// Sends part after part.
    async fn sift<Tide: Send + Sync>(
        &mut self,
        sieve: &mut Sieve<'_>,
        inbox: &mut Inbox<Tide>,
    ) -> Result<Result<(), AllRefused>, Stopped> {
        while let Some(part) = sieve.next() {
            let outcome = tokio::select! {
                biased;
                () = inbox.stop.cancelled() => return Err(Stopped),
                outcome = self.server.write(part) => outcome,
            };
            let sifted = match &outcome {
                Outcome::Taken => {
                    self.note_taken();
                    Sifted::Taken
                }
                Outcome::TooLarge => Sifted::TooLarge,
                Outcome::Refused(refusal) => {
                    self.back_off.reset();
                    let explanation = refusal.explain();
                    let reason = explanation.cause.unwrap_or(explanation.summary);
                    Sifted::Refused { reason, dropped: refusal.dropped }
                }
                Outcome::Busy { retry_after, .. } => {
                    let wait = self.back_off.busy(*retry_after, draw());
                    self.hold(&outcome, wait, inbox).await?;
                    continue;
                }
                Outcome::Later(_) => {
                    let wait = self.back_off.failed(draw());
                    self.hold(&outcome, wait, inbox).await?;
                    continue;
                }
                Outcome::Denied(_) | Outcome::Missing(_) | Outcome::Foreign { .. } => {
                    self.hold(&outcome, self.back_off.person(draw()), inbox).await?;
                    continue;
                }
            };
            if let Err(all) = sieve.answer(sifted) {
                return Ok(Err(all));
            }
        }
        Ok(Ok(()))
    }

    async fn hold<Tide: Send + Sync>(
        &mut self,
        outcome: &Outcome,
        wait: Duration,
        inbox: &mut Inbox<Tide>,
    ) -> Result<(), Stopped> {
        if let Some(explanation) = outcome.explain(&self.options) {
            self.tell_trouble(&explanation);
        }
        self.wait(inbox, wait).await
    }

    fn note_taken(&mut self) {
        self.back_off.reset();
        self.track.last_taken = Some((self.now)());
        if let Some(trouble) = self.track.trouble.take() {
            tracing::info!(since = %trouble.since, "the series server takes points again; nothing was lost");
        }
    }

    pub(super) fn note_aside(&mut self, aside: Vec<Aside>) {
        for mut row in aside {
            tracing::warn!(
                slug = "series-refused",
                points = row.points,
                reason = row.reason,
                "points were set aside; everything beside them goes on"
            );
            self.track.set_aside += row.points as u64;
            if self.track.set_aside > ASIDE_KEPT_MAX {
                row.lines.clear();
            }
            self.aside.push(row);
        }
    }

    /// Tells once what is the matter, and again when it is something else.
    fn tell_trouble(&mut self, explanation: &Explanation) {
        let Explanation { slug, summary, cause, advice } = explanation;
        let cause = cause.as_deref().unwrap_or("-");
        if self.track.trouble.as_ref().is_some_and(|trouble| trouble.slug == *slug) {
            tracing::debug!(slug, summary, cause, "still the same");
            return;
        }
        tracing::warn!(slug, summary, cause, advice, "series wait in the ledger, nothing is lost");
        let since = self.track.trouble.as_ref().map_or_else(|| (self.now)(), |trouble| trouble.since);
        let text = format!("{summary} ({cause})");
        self.track.trouble = Some(Trouble { since, slug: (*slug).to_owned(), text, advice: advice.clone() });
    }
}
