//! The running service at the control socket.

use std::sync::Arc;

use tokio::sync::watch;

use super::Reception;
use super::compose::Composer;
use super::start::Surroundings;
use super::trial;
use crate::app::access::Keeper;
use crate::app::access::command::{self, AccessDone, AccessOrder};
use crate::app::door::time::Time;
use crate::app::door::{Health, Service};
use crate::app::ledger::Tide;
use crate::app::live::{Begun, Listening, Tap};
use crate::app::order::{Done, KeyRotation, Order, Problem, Rotated, TestOrder, Trial};
use crate::app::seal::Seal;
use crate::app::series::Again;
use crate::app::series::follow::SeriesHandle;
use crate::config::delivery::Delivery;
use crate::ledger::StoredCheckpoint;
use crate::runtime::clock::Clock;

/// Where commands are taken.
#[derive(Clone, Debug)]
pub(super) struct Counter {
    reception: Reception,
    composer: Arc<Composer>,
    delivery: Arc<Delivery>,
    /// SHA-256 of the configuration in force.
    configuration: Arc<str>,
    tide: watch::Receiver<Tide>,
    series: Option<SeriesHandle>,
    seal: Seal,
    clock: Clock,
    tap: Tap,
    access: Option<Keeper>,
    /// Whether the machines are simulated.
    simulated: bool,
}

impl Counter {
    pub(super) fn new(reception: Reception, composer: Arc<Composer>, around: &Surroundings<'_>) -> Self {
        let delivery = Arc::new(around.loaded.configuration.delivery.clone());
        let (tide, series) = (around.ledger.tide(), around.series.clone());
        let configuration = around.loaded.sha256().into();
        let access = around.access.cloned();
        let (seal, clock, tap) = (around.seal.clone(), around.clock.clone(), around.tap.clone());
        let simulated = around.simulated;
        Self {
            reception,
            composer,
            delivery,
            configuration,
            tide,
            series,
            seal,
            clock,
            tap,
            access,
            simulated,
        }
    }
}

impl Service for Counter {
    async fn health(&self) -> Result<Health, Problem> {
        let (alerts, alerts_up_to_date) = self.reception.open().await?;
        let records = self.tide.borrow().records;
        let version = env!("CARGO_PKG_VERSION").to_owned();
        Ok(Health { version, records, alerts_open: alerts.len(), alerts_up_to_date })
    }

    fn time(&self) -> Time {
        Time::of(&self.clock)
    }

    async fn alerts(&self, number: Option<u64>) -> Result<Vec<serde_json::Value>, Problem> {
        let (alerts, _) = self.reception.open().await?;
        let wanted = alerts.iter().filter(|alert| number.is_none_or(|number| alert.number.0 == number));
        let written = wanted.map(serde_json::to_value).collect::<Result<_, _>>();
        written.map_err(|error| Problem::new("bug", error.to_string(), "report it with this message"))
    }

    fn readings(&self) -> (Begun, Listening) {
        let version = env!("CARGO_PKG_VERSION").to_owned();
        let (configuration, simulated) = (self.configuration.to_string(), self.simulated);
        (Begun { version, configuration, simulated }, self.tap.listen())
    }

    async fn perform(&self, order: Order) -> Result<Done, Problem> {
        self.reception.perform(order).await
    }

    async fn test(&self, contact: String, asked: TestOrder) -> Result<Trial, Problem> {
        if asked.configuration != *self.configuration {
            let summary = "the service runs with another configuration: it was started with other files, \
                           or before they were changed";
            let advice =
                "restart the service to put the files in force, or give --config the ones it runs with";
            return Err(Problem::new("alert-test", summary, advice));
        }
        trial::through_all(&self.composer, &self.delivery, &contact).await
    }

    async fn resend(&self, again: Again) -> Result<Again, Problem> {
        let off =
            || Problem::new("series-off", "this service sends no time series", "add the section [series]");
        let series = self.series.as_ref().ok_or_else(off)?;
        let advice = "wait until some are through; rinseward series status shows them";
        let busy = |error| Problem::new("series-busy", crate::core::causes::chain(&error), advice);
        series.send_again(again).await.map(|()| again).map_err(busy)
    }

    async fn checkpoint(&self) -> Result<StoredCheckpoint, Problem> {
        self.seal.checkpoint(self.clock.now()).await.map_err(Problem::from)
    }

    async fn accounts(&self, order: AccessOrder) -> Result<AccessDone, Problem> {
        let keeper = self.access.as_ref().ok_or_else(command::off)?;
        command::perform(keeper, order).await
    }

    async fn rotate(&self, rotation: KeyRotation) -> Result<Rotated, Problem> {
        let now = self.clock.now();
        let key = self.seal.rotate(now, rotation.by).await?;
        self.seal.checkpoint(now).await?;
        Ok(Rotated { key: key.to_string() })
    }
}
