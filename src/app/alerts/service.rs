//! The running service at the control socket.

use std::sync::Arc;

use tokio::sync::watch;

use super::Reception;
use super::compose::Composer;
use super::trial;
use crate::app::door::{Health, Service};
use crate::app::ledger::Tide;
use crate::app::order::{Done, Order, Problem, Trial};
use crate::config::delivery::Delivery;
use crate::config::load::Loaded;

/// Where commands are taken.
#[derive(Clone, Debug)]
pub(super) struct Counter {
    reception: Reception,
    composer: Arc<Composer>,
    delivery: Arc<Delivery>,
    tide: watch::Receiver<Tide>,
}

impl Counter {
    pub(super) fn new(
        reception: Reception,
        composer: Arc<Composer>,
        loaded: &Loaded,
        tide: watch::Receiver<Tide>,
    ) -> Self {
        let delivery = Arc::new(loaded.configuration.delivery.clone());
        Self { reception, composer, delivery, tide }
    }
}

impl Service for Counter {
    async fn health(&self) -> Result<Health, Problem> {
        let (alerts, alerts_up_to_date) = self.reception.open().await?;
        let records = self.tide.borrow().records;
        let version = env!("CARGO_PKG_VERSION").to_owned();
        Ok(Health { version, records, alerts_open: alerts.len(), alerts_up_to_date })
    }

    async fn alerts(&self, number: Option<u64>) -> Result<Vec<serde_json::Value>, Problem> {
        let (alerts, _) = self.reception.open().await?;
        let wanted = alerts.iter().filter(|alert| number.is_none_or(|number| alert.number.0 == number));
        let written = wanted.map(serde_json::to_value).collect::<Result<_, _>>();
        written.map_err(|error| Problem::new("bug", error.to_string(), "report it with this message"))
    }

    async fn perform(&self, order: Order) -> Result<Done, Problem> {
        self.reception.perform(order).await
    }

    async fn test(&self, contact: String) -> Result<Trial, Problem> {
        trial::through_all(&self.composer, &self.delivery, &contact).await
    }

    async fn resend(&self) -> Result<serde_json::Value, Problem> {
        let advice = "stop the service and type rinseward series resend again";
        std::future::ready(Err(Problem::new("service-socket", "this service cannot do that", advice))).await
    }
}
