//! Modbus units: asked for their registers, on a serial line or over TCP. Nothing is ever written
//! to a register.
//!
//! Each unit has its own period, its own time-out and its own back-off ([`schedule`]), so that one
//! that is dead makes nobody late. What a unit said once is never said again in its name: where it
//! does not answer, or refuses, its channels get a fault. All values of one round of a unit make
//! one delivery, each stamped when its answer came. Where the application is slow, asking waits,
//! and the rounds that were missed are left out.

pub mod blocks;
mod journal;
mod late;
pub mod link;
pub mod schedule;

use std::collections::BTreeSet;
use std::convert::Infallible;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use self::blocks::{Block, blocks};
use self::journal::Journal;
use self::link::{Ask, AskError, Link};
use self::schedule::{Next, Schedule, Terms};
use super::outlet::{Outlet, Stop};
use super::{FromSource, SourceState, UnitState};
use crate::config::modbus::{ModbusSource, ModbusUnit};
use crate::core::id::SourceId;
use crate::core::reading::{Fault, Sample, Value};
use crate::core::time::Timestamp;
use crate::transport::backoff::Backoff;
use crate::wire::decoded::Decoded;
use crate::wire::registers::Function;

/// Shortest wait before the port is opened again (own choice: a plug pushed back in is found at once).
const REOPEN_AFTER_MIN: Duration = Duration::from_millis(100);
/// A unit that was late counts as late for so many rounds without an answer: the next late one comes only after it.
const LATE_FOR: u8 = 2;
/// Exceptions by which a gateway says that the unit behind it does not answer.
const UNIT_UNREACHED: [u8; 2] = [10, 11];

/// Modbus units to ask.
#[derive(Clone, Debug)]
pub struct ModbusProbe<N> {
    /// Number of the source.
    pub source: SourceId,
    /// Name of the source, for the log.
    pub name: String,
    /// What to ask, and how.
    pub settings: ModbusSource,
    /// The gateway's clock.
    pub now: N,
}

impl<N: Fn() -> Timestamp + Send + Sync> ModbusProbe<N> {
    /// Asks until `stop` is cancelled or nobody takes what is read.
    pub async fn run(self, to: mpsc::Sender<FromSource>, stop: CancellationToken) {
        let settings = &self.settings;
        let mut backoff = Backoff::new(REOPEN_AFTER_MIN, settings.reopen_after_max);
        let mut poller = Poller {
            settings,
            blocks: settings.units.iter().map(blocks).collect(),
            told: settings.units.iter().map(|unit| vec![None; blocks(unit).len()]).collect(),
            late: vec![0; settings.units.len()],
            journal: Journal::new(&self.name, settings),
            outlet: Outlet::new(self.source, to, stop.clone()),
            now: &self.now,
        };
        loop {
            let opened = tokio::select! {
                () = stop.cancelled() => return,
                opened = Link::open(&settings.link) => opened,
            };
            let end = match opened {
                Ok(link) => {
                    let Err(end) = poller.poll(link, &mut backoff).await;
                    end
                }
                Err(cause) => Stop::Failed(cause),
            };
            let Stop::Failed(cause) = end else { return };
            if poller.went_down(cause).await.is_err() {
                return;
            }
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(backoff.after_failure()) => {}
            }
        }
    }
}

/// How a round of one unit went.
enum Round {
    /// It answered, perhaps with exceptions.
    Answered,
    /// It did not.
    Silent,
    /// What came could not be read.
    Garbled,
}

/// What stays over every opening of the port.
struct Poller<'s, N> {
    settings: &'s ModbusSource,
    /// Requests of each unit.
    blocks: Vec<Vec<Block>>,
    /// How each of them was told to be answered last.
    told: Vec<Vec<Option<UnitState>>>,
    /// For how many rounds more a silent unit counts as late: it was, the last time.
    late: Vec<u8>,
    journal: Journal<'s>,
    outlet: Outlet,
    now: &'s N,
}

impl<N: Fn() -> Timestamp> Poller<'_, N> {
    async fn poll(&mut self, mut link: Link, backoff: &mut Backoff) -> Result<Infallible, Stop> {
        self.outlet.state(SourceState::Up).await?;
        let mut schedule = Schedule::new(self.settings.units.iter().map(|unit| self.terms(unit)));
        let began = Instant::now();
        let stop = self.outlet.stop().clone();
        loop {
            let place = match schedule.next(began.elapsed()) {
                Next::Ask(place) => place,
                Next::Wait(until) => {
                    // A source without units has nothing to wait for but its end.
                    let until = until.min(began.elapsed() + Duration::from_secs(3_600));
                    tokio::select! {
                        () = stop.cancelled() => return Err(Stop::Asked),
                        () = tokio::time::sleep_until(began + until) => continue,
                    }
                }
            };
            let (round, counted) = tokio::select! {
                () = stop.cancelled() => return Err(Stop::Asked),
                round = self.round(&mut link, place) => round?,
            };
            self.tell_late(link.late()).await?;
            // As the pages are told; or it was seen only now.
            let late = counted || self.late.get(place).is_some_and(|left| *left > 0);
            match round {
                Round::Answered => {
                    backoff.after_success();
                    schedule.answered(place, began.elapsed());
                    self.journal.answers(place);
                }
                Round::Silent => {
                    schedule.silent(place, began.elapsed());
                    if !late {
                        self.journal.silent(place);
                    }
                }
                Round::Garbled => {
                    if schedule.garbled(place, began.elapsed()) && !late {
                        self.journal.garbled(place);
                    }
                }
            }
            // Where nobody answers it may be the port itself that hangs.
            if schedule.all_silent() && !matches!(round, Round::Answered) {
                link.reopen().await.map_err(Stop::Failed)?;
            } else if let Some(cause) = link.lost() {
                return Err(Stop::Failed(cause));
            }
        }
    }

    fn terms(&self, unit: &ModbusUnit) -> Terms {
        let count = blocks(unit).iter().map(|block| block.count).max().unwrap_or_default();
        Terms {
            poll: unit.poll,
            cost: Link::cost(&self.settings.link, &Ask { count, ..first_ask(unit) }),
            rest: unit.poll.max(unit.time_out * 2),
            rest_max: self.settings.retry_after_max,
        }
    }

    /// Reads everything of one unit and delivers it. Gives how it went, and whether the unit counted as late.
    async fn round(&mut self, link: &mut Link, place: usize) -> Result<(Round, bool), Stop> {
        let unit = &self.settings.units[place];
        let mut samples = Vec::with_capacity(unit.registers.len());
        let mut round = Round::Answered;
        let mut states = Vec::with_capacity(self.blocks[place].len());
        for block in &self.blocks[place] {
            let ask =
                Ask { function: block.function, first: block.first, count: block.count, ..first_ask(unit) };
            let answer = match round {
                Round::Answered => link.ask(ask).await,
                Round::Silent | Round::Garbled => Err(AskError::Silent),
            };
            let at = (self.now)();
            let fault = match answer {
                Ok(words) => {
                    self.journal.read(place, ask);
                    states.push(UnitState::Answers);
                    samples.extend(block.members.iter().map(|member| {
                        let register = &unit.registers[*member];
                        let own = block.words(&words, register.address, register.shape.kind.registers());
                        let value = register.shape.read(own, register.unit);
                        Sample { channel: register.channel, at, value }
                    }));
                    continue;
                }
                Err(AskError::Exception { code }) if !UNIT_UNREACHED.contains(&code) => {
                    self.journal.refused(place, ask, code);
                    let (function, register) = (ask.function.code(), ask.first);
                    states.push(UnitState::Refuses { function, register, exception: code });
                    Fault::Reported
                }
                Err(AskError::Link { cause }) => return Err(Stop::Failed(cause)),
                Err(AskError::Garbled) => {
                    round = Round::Garbled;
                    states.push(UnitState::Garbled);
                    Fault::Silent
                }
                Err(AskError::Silent | AskError::Exception { .. }) => {
                    if matches!(round, Round::Answered) {
                        round = Round::Silent;
                    }
                    let garbled = matches!(round, Round::Garbled);
                    states.push(if garbled { UnitState::Garbled } else { UnitState::Silent });
                    Fault::Silent
                }
            };
            let channels = block.members.iter().map(|member| unit.registers[*member].channel);
            samples.extend(channels.map(|channel| Sample { channel, at, value: Value::Fault(fault) }));
        }
        let late = self.late_now(place, &round);
        let missed = |state: UnitState| matches!(state, UnitState::Silent | UnitState::Garbled);
        let states =
            states.into_iter().map(|state| if late && missed(state) { UnitState::Late } else { state });
        self.tell_unit(place, states.collect()).await?;
        self.outlet.deliver((self.now)(), Decoded { samples, ..Decoded::default() }).await?;
        Ok((round, late))
    }

    /// Whether a unit that gave no answer counts as late.
    fn late_now(&mut self, place: usize, round: &Round) -> bool {
        let Some(left) = self.late.get_mut(place) else { return false };
        let late = *left > 0;
        *left = match round {
            Round::Answered => 0,
            Round::Silent | Round::Garbled => left.saturating_sub(1),
        };
        late
    }

    /// Tells of units whose answers came after their time-out.
    async fn tell_late(&mut self, units: BTreeSet<u8>) -> Result<(), Stop> {
        for address in units {
            let Some(place) = self.settings.units.iter().position(|unit| unit.address == address) else {
                continue;
            };
            self.late[place] = LATE_FOR;
            self.journal.late(place);
            // What it answered in time stays as it was told.
            let now = |told: &Option<UnitState>| match told {
                None | Some(UnitState::Silent | UnitState::Garbled) => UnitState::Late,
                Some(told @ (UnitState::Answers | UnitState::Late | UnitState::Refuses { .. })) => *told,
            };
            let states = self.told[place].iter().map(now).collect();
            self.tell_unit(place, states).await?;
        }
        Ok(())
    }

    /// Tells how a unit answered each of its requests, where that is another than it was told last.
    async fn tell_unit(&mut self, place: usize, states: Vec<UnitState>) -> Result<(), Stop> {
        let unit = &self.settings.units[place];
        for ((block, state), told) in self.blocks[place].iter().zip(states).zip(&mut self.told[place]) {
            if told.replace(state) != Some(state) {
                let channels = block.members.iter().map(|member| unit.registers[*member].channel).collect();
                self.outlet.unit(unit.address, channels, state).await?;
            }
        }
        Ok(())
    }

    /// Tells that the way to the units is gone, and says so in the name of every channel.
    async fn went_down(&mut self, cause: String) -> Result<(), Stop> {
        let was_down = self.outlet.is_down();
        self.outlet.state(SourceState::Down { cause }).await?;
        if was_down {
            return Ok(());
        }
        self.told.iter_mut().flatten().for_each(|told| *told = None);
        let at = (self.now)();
        let registers = self.settings.units.iter().flat_map(|unit| &unit.registers);
        let silent = |channel| Sample { channel, at, value: Value::Fault(Fault::Silent) };
        let samples = registers.map(|register| silent(register.channel)).collect();
        self.outlet.deliver(at, Decoded { samples, ..Decoded::default() }).await
    }
}

/// A request to a unit, still without its registers.
fn first_ask(unit: &ModbusUnit) -> Ask {
    Ask { unit: unit.address, function: Function::Holding, first: 0, count: 0, time_out: unit.time_out }
}
