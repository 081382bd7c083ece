//! Channels that cannot work as they are configured, found without sending anything.
//!
//! A secret that is not there, a certificate that is none: what `check-config` and the start of
//! the service name, one by one, so that nobody learns of it from a message that did not come.

use crate::alert::email::Mailer;
use crate::alert::heartbeat::Heartbeat;
use crate::alert::publish;
use crate::alert::webhook::Webhook;
use crate::config::delivery::Delivery;
use crate::core::alert::trial::Told;
use crate::core::reader::Language;
use crate::transport::secret::PrepareError;

/// A channel that cannot work.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Broken {
    /// Which: `mail`, `webhook:office`, `publish`, `heartbeat`.
    pub(super) channel: String,
    /// Why, and what to do.
    pub(super) told: Told,
}

impl Broken {
    /// What to do, for the terminal.
    pub(super) fn advice(&self) -> String {
        self.told.advice(Language::English).unwrap_or_default()
    }
}

/// How many channels are configured, and those of them that cannot work for this user on this
/// computer.
pub(super) fn tried(delivery: &Delivery) -> (usize, Vec<Broken>) {
    let each = each(delivery);
    (each.len(), each.into_iter().filter_map(|(_, broken)| broken).collect())
}

/// Every channel that is configured, and why it cannot work.
pub(super) fn each(delivery: &Delivery) -> Vec<(String, Option<Broken>)> {
    let mut each = Vec::new();
    let mut look = |channel: String, failed: Option<PrepareError>| {
        let broken = |error: PrepareError| Broken { channel: channel.clone(), told: Told::from(&error) };
        let broken = failed.map(broken);
        each.push((channel, broken));
    };
    if let Some(mail) = &delivery.mail {
        look("mail".to_owned(), Mailer::prepare(mail.clone(), "check").err());
    }
    for webhook in &delivery.webhooks {
        look(format!("webhook:{}", webhook.name), Webhook::prepare(webhook.clone()).err());
    }
    if let Some(settings) = &delivery.publish {
        look("publish".to_owned(), publish::prepare(settings.clone()).err());
    }
    if let Some(settings) = &delivery.heartbeat {
        look("heartbeat".to_owned(), Heartbeat::prepare(settings.clone()).err());
    }
    each
}
