//! What technicians are at, and the last minute of each probe while somebody looks.
//!
//! An attempt belongs to whoever began it, at one probe or one machine at a time. One task listens for all of
//! them, only as long as one is under way or a page was asked for lately; an attempt at which nothing
//! is pressed ends by itself, and nothing of it goes on record.

mod over;

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{Notify, watch};
use tokio::time::MissedTickBehavior;
use tokio_util::sync::CancellationToken;

use crate::app::live::{Listening, LiveEvent, LiveReading, Tap};
use crate::app::technician::{Excuse, Silence};
use crate::core::calibration::Calibration;
use crate::core::calibration::fitted::Fitted;
use crate::core::channel::Place;
use crate::core::reader::Language;
use crate::core::record::{CalibrationPoint, ProvenProbe};
use crate::core::response::Response;
use crate::core::technician::Value;
use crate::core::technician::attempt::{Attempt, Press};
use crate::core::technician::gauge::Gauge;
use crate::core::time::Timestamp;
use crate::runtime::clock::Clock;
use crate::web::attempt::{Ended, NotDone, Said, Taken, Under};
use crate::web::probes::Kind;

/// An attempt ends when nothing was pressed for so long, in time of the world, also where the clock of the gateway runs
/// faster: it is people who press (own choice: longer than any one step, see
/// [`crate::core::technician::STEP_MAX`]).
const IDLE_MAX: Duration = Duration::from_secs(1_800);
/// Readings are gathered for so long after a page was asked for (own choice: a page without script asks again
/// within some seconds).
const LOOKED_FOR: Duration = Duration::from_secs(60);
/// For how long it is told that an attempt ended by somebody else or by itself (own choice: until the next shift).
const TOLD_FOR: Duration = Duration::from_secs(12 * 3_600);
/// Time between two looks; parts of a page are replaced no more often.
const TICK: Duration = Duration::from_millis(500);

/// Everything that is under way. Copies are the same.
#[derive(Clone, Debug)]
pub(super) struct Bench {
    shared: Arc<Shared>,
}

#[derive(Debug)]
struct Shared {
    clock: Clock,
    beat: watch::Sender<u64>,
    wake: Notify,
    state: Mutex<State>,
}

#[derive(Debug, Default)]
struct State {
    /// By the name of the probe, or of the machine.
    attempts: BTreeMap<String, Running>,
    gauges: BTreeMap<String, Gauge>,
    /// What ended without whoever was at it, by somebody else or by itself: the newest of each probe and machine.
    ended: BTreeMap<String, Ended>,
    /// Whether a source or a unit is silent, not the probe.
    silence: Silence,
    /// Until when readings are gathered for those who look.
    until: Duration,
}

#[derive(Debug)]
struct Running {
    attempt: Attempt,
    by: String,
    account: String,
    facts: Facts,
    begun: Timestamp,
    /// When something was pressed last.
    pressed: Duration,
    /// Probes without a value, with why that is no finding of theirs: as it was when each was tried.
    excuses: BTreeMap<String, Option<Excuse>>,
    /// It is being put on record.
    leaving: bool,
    problem: Option<Said>,
    over: Over,
}

/// Says that an attempt is over as soon as it is none of the bench any more, however it ended.
#[derive(Debug, Default)]
struct Over(CancellationToken);

impl Drop for Over {
    fn drop(&mut self) {
        self.0.cancel();
    }
}

/// What is known of the probe beside the attempt.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Facts {
    pub(super) judged: Option<(Place, Duration)>,
    pub(super) correction: Calibration,
    /// Whether its machine was said to be worked on.
    pub(super) announced: bool,
}

/// What an attempt came to.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum Came {
    Calibration(Vec<CalibrationPoint>, Fitted, Calibration),
    Response(Response),
    Proof(Vec<ProvenProbe>),
}

impl Running {
    /// Who is at what, to whoever comes to `of` meanwhile.
    fn taken(&self, of: &str) -> Taken {
        Taken { by: self.by.clone(), account: self.account.clone(), kind: self.kind(), of: of.to_owned() }
    }

    /// That it ended, by somebody or by itself.
    fn ended(&self, by: Option<&str>, at: Timestamp) -> Ended {
        let (by, whose) = (by.map(str::to_owned), self.by.clone());
        Ended { by, whose, kind: self.kind(), begun: self.begun, at }
    }

    const fn kind(&self) -> Kind {
        match self.attempt {
            Attempt::Calibration(..) => Kind::Calibration,
            Attempt::Response(..) => Kind::Response,
            Attempt::Proof(_) => Kind::Proof,
        }
    }

    /// Keeps why what was just found is no finding: by the time it goes on record the unit may answer again.
    fn excuse(&mut self, silence: &Silence) {
        let Attempt::Proof(work) = &self.attempt else { return };
        for (probe, _, found) in work.stands().probes {
            match found {
                Some(found) => {
                    self.excuses.entry(probe).or_insert_with_key(|probe| silence.excuse(probe, &found));
                }
                None => {
                    self.excuses.remove(&probe);
                }
            }
        }
    }

    /// Why it does not go on record as it is.
    fn held_back(&self, language: Language) -> Option<Said> {
        self.excuses.iter().find_map(|(probe, excuse)| {
            let (summary, advice) = excuse.as_ref()?.at_the_page(probe, language);
            Some(Said { summary, advice: Some(advice) })
        })
    }

    fn came(&self) -> Option<Came> {
        match &self.attempt {
            Attempt::Calibration(_, work) => {
                work.result().map(|(points, fitted)| Came::Calibration(points, fitted, self.facts.correction))
            }
            Attempt::Response(_, work) => work.result().map(Came::Response),
            Attempt::Proof(work) => work.result().map(Came::Proof),
        }
    }
}

impl Bench {
    /// A bench with nothing on it, and the task that listens for it.
    pub(super) fn new(
        tap: Tap,
        clock: Clock,
        stop: CancellationToken,
    ) -> (Self, impl Future<Output = ()> + use<>) {
        let (beat, _) = watch::channel(0);
        let shared = Shared { clock, beat, wake: Notify::new(), state: Mutex::default() };
        let bench = Self { shared: Arc::new(shared) };
        let attending = bench.clone();
        (bench, async move { attending.attend(&tap, &stop).await })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // No holder leaves it half written.
        self.shared.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn now(&self) -> Duration {
        self.shared.clock.elapsed()
    }

    async fn attend(&self, tap: &Tap, stop: &CancellationToken) {
        loop {
            while !self.is_wanted() {
                if stop.run_until_cancelled(self.shared.wake.notified()).await.is_none() {
                    return;
                }
            }
            let mut events = self.listen(tap);
            let mut ticks = tokio::time::interval(TICK);
            ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
            while self.is_wanted() {
                tokio::select! {
                    () = stop.cancelled() => return,
                    _ = ticks.tick() => self.tick(),
                    heard = events.recv() => match heard {
                        Ok(event) => {
                            self.state().silence.take(&event);
                            if let LiveEvent::Reading(reading) = &*event {
                                self.hear(reading);
                            }
                        }
                        Err(RecvError::Lagged(lost)) => {
                            self.lost(lost);
                            events = self.listen(tap);
                        }
                        // The gateway stops.
                        Err(RecvError::Closed) => return,
                    },
                }
            }
            // What would be shown after a pause is another minute.
            self.state().gauges.clear();
        }
    }

    /// Begins to listen, with what is known of sources and units by then.
    fn listen(&self, tap: &Tap) -> Receiver<Arc<LiveEvent>> {
        let Listening { known, events } = tap.listen();
        self.state().silence = Silence::of(&known);
        events
    }

    fn is_wanted(&self) -> bool {
        let state = self.state();
        !state.attempts.is_empty() || state.until > self.now()
    }

    fn hear(&self, reading: &LiveReading) {
        let LiveReading { at, arrived, measured, corrected, fault, .. } = *reading;
        let mut state = self.state();
        let celsius = corrected.map(|celsius| celsius.0);
        match state.gauges.get_mut(&reading.channel) {
            Some(gauge) => gauge.take(at, arrived, celsius),
            None => {
                let mut gauge = Gauge::default();
                gauge.take(at, arrived, celsius);
                state.gauges.insert(reading.channel.clone(), gauge);
            }
        }
        for running in state.attempts.values_mut() {
            running.attempt.hear(&reading.channel, Value { at, measured, fault });
        }
    }

    fn lost(&self, events: u64) {
        self.state().attempts.values_mut().for_each(|running| running.attempt.lost(events));
    }

    fn tick(&self) {
        let now = self.now();
        let mut state = self.state();
        let State { attempts, silence, ended, .. } = &mut *state;
        attempts.retain(|of, running| {
            running.attempt.tick(now);
            running.excuse(silence);
            let stays = running.leaving || now.saturating_sub(running.pressed) < IDLE_MAX;
            if !stays {
                ended.insert(of.clone(), running.ended(None, self.shared.clock.now()));
            }
            stays
        });
        drop(state);
        self.shared.beat.send_modify(|beat| *beat += 1);
    }

    /// Tells that somebody looks.
    pub(super) fn look(&self) {
        let now = self.now();
        self.state().until = now + LOOKED_FOR;
        self.shared.wake.notify_one();
    }

    /// Changes at each tick while somebody looks.
    pub(super) fn beat(&self) -> watch::Receiver<u64> {
        self.look();
        self.shared.beat.subscribe()
    }

    /// The last minute of each probe that was heard lately.
    pub(super) fn gauges(&self) -> BTreeMap<String, Gauge> {
        self.state().gauges.clone()
    }

    /// Who is at what, by the name of the probe or machine.
    pub(super) fn busy(&self) -> BTreeMap<String, (Kind, String)> {
        let state = self.state();
        state
            .attempts
            .iter()
            .map(|(of, running)| (of.clone(), (running.kind(), running.by.clone())))
            .collect()
    }

    /// Where the attempt at this probe or machine stands.
    pub(super) fn under(&self, of: &str) -> Option<Under> {
        let now = self.now();
        let state = self.state();
        let running = state.attempts.get(of)?;
        let left = IDLE_MAX.saturating_sub(now.saturating_sub(running.pressed));
        Some(Under {
            kind: running.kind(),
            by: running.by.clone(),
            account: running.account.clone(),
            begun: running.begun,
            ends: self.shared.clock.after(left),
            judged: running.facts.judged,
            correction: running.facts.correction,
            announced: running.facts.announced,
            stands: running.attempt.stands(now),
            problem: running.problem.clone(),
        })
    }

    /// What is cancelled when the attempt at this probe or machine is over; at once where there is none.
    pub(super) fn over(&self, of: &str) -> CancellationToken {
        let none = Over::default();
        self.state().attempts.get(of).map_or(&none, |running| &running.over).0.clone()
    }

    /// Begins an attempt.
    ///
    /// # Errors
    /// [`NotDone::TakenBy`] where somebody is at it, or at a probe of the machine, or at the machine.
    pub(super) fn begin(
        &self,
        of: &str,
        attempt: Attempt,
        facts: Facts,
        (by, account): (&str, &str),
    ) -> Result<(), NotDone> {
        let mut state = self.state();
        let part_of =
            |one: &str, other: &str| other.rsplit_once('/').is_some_and(|(machine, _)| machine == one);
        let taken =
            state.attempts.iter().find(|(name, _)| *name == of || part_of(name, of) || part_of(of, name));
        if let Some((name, running)) = taken {
            return Err(NotDone::TakenBy(running.taken(name)));
        }
        let running = Running {
            attempt,
            by: by.to_owned(),
            account: account.to_owned(),
            facts,
            begun: self.shared.clock.now(),
            pressed: self.now(),
            excuses: BTreeMap::new(),
            leaving: false,
            problem: None,
            over: Over::default(),
        };
        state.attempts.insert(of.to_owned(), running);
        state.ended.remove(of);
        drop(state);
        self.shared.wake.notify_one();
        Ok(())
    }

    /// Does the next step of an attempt of this account.
    ///
    /// # Errors
    /// [`NotDone`].
    pub(super) fn press(&self, of: &str, press: Press, account: &str) -> Result<(), NotDone> {
        let now = self.now();
        let mut state = self.state();
        let running = own(&mut state, of, account)?;
        running.attempt.press(press, now);
        (running.pressed, running.problem) = (now, None);
        Ok(())
    }

    /// Ends an attempt, but not while it is being put on record. Gives the name of whoever was at it where that is
    /// somebody else.
    pub(super) fn give_up(&self, of: &str, (by, account): (&str, &str)) -> Option<String> {
        let mut state = self.state();
        let running = match state.attempts.get(of) {
            Some(running) if !running.leaving => state.attempts.remove(of)?,
            Some(_) | None => return None,
        };
        if running.account == account {
            return None;
        }
        let ended = running.ended(Some(by), self.shared.clock.now());
        state.ended.insert(of.to_owned(), ended);
        Some(running.by)
    }

    /// How an attempt here ended without whoever was at it, where none has begun since and that was not long ago.
    pub(super) fn ended(&self, of: &str) -> Option<Ended> {
        let now = self.shared.clock.now();
        let ended = self.state().ended.get(of).cloned();
        ended.filter(|ended| now.since(ended.at) < TOLD_FOR)
    }

    /// Takes what an attempt of this account came to, to put it on record: once. What is found of a probe whose unit
    /// or source was silent does not go there.
    ///
    /// # Errors
    /// [`NotDone`], in the language of whoever asked.
    pub(super) fn leave(
        &self,
        of: &str,
        account: &str,
        language: Language,
    ) -> Result<(Came, Leaving), NotDone> {
        let mut state = self.state();
        let running = own(&mut state, of, account)?;
        let came = running.came().ok_or(NotDone::NotSoFar)?;
        if let Some(said) = running.held_back(language) {
            running.problem = Some(said.clone());
            return Err(NotDone::Refused(said));
        }
        (running.leaving, running.pressed) = (true, self.now());
        Ok((came, Leaving { bench: self.clone(), of: of.to_owned() }))
    }
}

/// An attempt that is being put on record. It ends with this, also where putting it failed half way: nobody
/// knows then whether it is on record, and nothing goes there twice.
#[derive(Debug)]
pub(super) struct Leaving {
    bench: Bench,
    of: String,
}

impl Leaving {
    /// Goes on with the attempt: it was refused.
    pub(super) fn refused(self, said: Said) {
        if let Some(running) = self.bench.state().attempts.get_mut(&self.of) {
            (running.leaving, running.problem) = (false, Some(said));
        }
    }
}

impl Drop for Leaving {
    fn drop(&mut self) {
        let mut state = self.bench.state();
        if state.attempts.get(&self.of).is_some_and(|running| running.leaving) {
            state.attempts.remove(&self.of);
        }
    }
}

fn own<'s>(state: &'s mut State, of: &str, account: &str) -> Result<&'s mut Running, NotDone> {
    let running = state.attempts.get_mut(of).ok_or(NotDone::NotSoFar)?;
    if running.account != account {
        return Err(NotDone::TakenBy(running.taken(of)));
    }
    if running.leaving { Err(NotDone::NotSoFar) } else { Ok(running) }
}

#[cfg(test)]
mod tests;
