//! The channels: each letter put into words by the composer and handed over.

use std::sync::Arc;
use std::time::Duration;

use super::compose::Composer;
use super::letters::Content;
use crate::alert::answer::Answer;
use crate::alert::courier::{Carrier, Due, Time};
use crate::alert::email::Mailer;
use crate::alert::publish::Publisher;
use crate::alert::webhook::Webhook;
use crate::core::alert::trial::Fact;
use crate::core::time::Timestamp;
use crate::runtime::clock::Clock;

/// What carries the letters of one channel.
pub(super) enum Way {
    /// A mail server.
    Mail(Box<Mailer>),
    /// A receiver of events.
    Webhook(Box<Webhook>),
    /// A broker.
    Broker(Publisher),
}

/// A channel with the words for it.
pub(super) struct Lane {
    pub(super) way: Way,
    pub(super) composer: Arc<Composer>,
}

impl Carrier for Lane {
    async fn carry(&self, letter: &Due) -> Answer {
        let Some(content) = Content::from_bytes(&letter.bytes) else {
            return Answer::Never { error: Fact::LaterVersion {}.into() };
        };
        match &self.way {
            Way::Mail(mailer) => match self.composer.mail(&letter.key, &content, letter.created) {
                Some(mail) => mailer.send(&mail).await,
                None => not_for_it(),
            },
            Way::Webhook(webhook) => match self.composer.event(&letter.key, &content, letter.created) {
                Some(event) => webhook.send(&event, self.composer.now()).await,
                None => not_for_it(),
            },
            Way::Broker(publisher) => match self.composer.event(&letter.key, &content, letter.created) {
                Some(event) => publisher.publish(&event).await,
                None => not_for_it(),
            },
        }
    }
}

fn not_for_it() -> Answer {
    Answer::Never { error: Fact::OtherChannel {}.into() }
}

/// The gateway's clock for the courier.
#[derive(Clone, Debug)]
pub(super) struct Now(pub(super) Clock);

impl Time for Now {
    fn now(&self) -> Timestamp {
        self.0.now()
    }

    fn wait_until(&self, instant: Timestamp) -> Duration {
        self.0.wait_until(instant)
    }
}
