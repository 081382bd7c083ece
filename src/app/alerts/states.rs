//! The state of each machine for the broker: its last cycle, its tank, its open alerts.
//!
//! It follows the ledger, as the desk does, and begins with what was last judged. Only
//! the newest state counts, so that it needs no bookmark and no outbox: the publisher
//! keeps it, retained at the broker, and what is lost is made anew at the next start. The
//! newest signed checkpoint goes the same way, so that somebody else holds it.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::Arc;
use std::time::Duration;

use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::Reception;
use super::tank::Tanks;
use crate::alert::publish::{MachineState, OpenAlert, Publisher};
use crate::app::ledger::LedgerHandle;
use crate::core::alert::Alert;
use crate::core::record::{Body, Cycle, Record};
use crate::core::time::Timestamp;
use crate::ledger::{CycleFilter, LedgerError, Reader};
use crate::runtime::clock::Clock;

/// How often the tanks are looked at.
const TANKS_EVERY: Duration = Duration::from_secs(60);
/// Shortest time between two looks, so that a storm is not published record by record.
const LOOK_EVERY: Duration = Duration::from_millis(200);

/// Why the states end.
#[derive(Debug, thiserror::Error)]
pub(super) enum StatesError {
    /// The ledger cannot be read.
    #[error("the ledger failed the states of the machines")]
    Ledger(#[from] LedgerError),
}

/// What the states stand on.
#[derive(Clone)]
pub(super) struct States {
    pub(super) ledger: LedgerHandle,
    pub(super) clock: Clock,
    pub(super) reception: Reception,
    pub(super) publisher: Publisher,
    pub(super) tanks: Arc<Tanks>,
    pub(super) machines: Arc<[String]>,
}

impl States {
    /// Publishes until the driver's last commit.
    ///
    /// # Errors
    /// The ledger's.
    pub(super) async fn run(self, last_commit: CancellationToken) -> Result<(), StatesError> {
        let mut tide = self.ledger.tide();
        let reader = Reader::open(self.ledger.path())?;
        let mut next = reader.size()?;
        let mut states = self.begin(&reader)?;
        let mut tanks_at = Instant::now();
        loop {
            reader.records(next, |index, _, record| {
                next = index + 1;
                take(&mut states, record);
                ControlFlow::Continue(())
            })?;
            if Instant::now() >= tanks_at {
                tanks_at = Instant::now() + TANKS_EVERY;
                self.look_at_tanks(&reader, &mut states)?;
            }
            if let Some(newest) = reader.newest_checkpoint()? {
                self.publisher.checkpoint(&newest.note);
            }
            // Without the desk nothing is known of alerts; what was published stays.
            if let Ok((alerts, _)) = self.reception.open().await {
                self.publish(&mut states, &alerts);
            }
            let changed = async {
                tokio::select! {
                    _ = tide.changed() => tokio::time::sleep(LOOK_EVERY).await,
                    () = tokio::time::sleep_until(tanks_at) => {}
                }
            };
            if last_commit.run_until_cancelled(changed).await.is_none() {
                return Ok(());
            }
        }
    }

    /// Each machine as it was last judged.
    fn begin(&self, reader: &Reader) -> Result<BTreeMap<String, MachineState>, LedgerError> {
        let mut states = BTreeMap::new();
        for machine in self.machines.iter() {
            let filter =
                CycleFilter { machine: Some(machine.clone()), limit: Some(1), ..CycleFilter::default() };
            states.insert(machine.clone(), blank(machine, self.clock.now()));
            reader.cycles_newest_first(&filter, |_, _, record| {
                take(&mut states, record);
                ControlFlow::Break(())
            })?;
        }
        Ok(states)
    }

    fn look_at_tanks(
        &self,
        reader: &Reader,
        states: &mut BTreeMap<String, MachineState>,
    ) -> Result<(), LedgerError> {
        let now = self.clock.now();
        for (machine, state) in states {
            let read = self.tanks.read(machine, reader, now)?;
            // To a tenth, so that noise is no news.
            let tank_c = read.map(|(_, celsius)| (celsius.0 * 10.0).round() / 10.0);
            if tank_c.map(f64::to_bits) != state.tank_c.map(f64::to_bits) {
                (state.tank_c, state.time) = (tank_c, now);
            }
        }
        Ok(())
    }

    fn publish(&self, states: &mut BTreeMap<String, MachineState>, alerts: &[Alert]) {
        for (machine, state) in states {
            let own = alerts.iter().filter(|alert| alert.machine.as_ref() == Some(machine));
            let own: Vec<OpenAlert> = own.map(open).collect();
            if own != state.alerts {
                (state.alerts, state.time) = (own, self.clock.now());
            }
            self.publisher.state(state);
        }
    }
}

fn blank(machine: &str, now: Timestamp) -> MachineState {
    MachineState {
        time: now,
        machine: machine.to_owned(),
        last_cycle: None,
        verdict: None,
        settled_minimum_c: None,
        limit_c: None,
        tank_c: None,
        alerts: Vec::new(),
    }
}

fn take(states: &mut BTreeMap<String, MachineState>, record: Record) {
    let Record { recorded, machine: Some(machine), body: Body::Cycle(cycle), .. } = record else { return };
    let Some(state) = states.get_mut(&machine) else { return };
    let Cycle { rinse_ended, verdict, rinse_min_c, limit_c, .. } = *cycle;
    // One that was delivered late is no news of now.
    if state.last_cycle.is_none_or(|last| last <= rinse_ended) {
        state.time = recorded;
        (state.last_cycle, state.verdict) = (Some(rinse_ended), Some(verdict));
        (state.settled_minimum_c, state.limit_c) = (rinse_min_c, Some(limit_c));
    }
}

fn open(alert: &Alert) -> OpenAlert {
    OpenAlert {
        number: alert.number,
        condition: alert.condition,
        severity: alert.condition.severity(),
        raised: alert.raised,
        acknowledged: alert.acknowledged.is_some(),
    }
}
