//! From notices to letters: one letter for each route of a contact.

use serde::{Deserialize, Serialize};

use crate::alert::digest::Span;
use crate::core::alert::{Notice, Route};
use crate::core::time::Timestamp;
use crate::ledger::Letter;

/// What the bytes of a letter hold, as JSON. It is put into words when it is sent.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(in crate::app) enum Content {
    /// A notice of the desk.
    Notice {
        /// The notice.
        notice: Box<Notice>,
        /// By which of its routes.
        route: Route,
    },
    /// What yesterday, or the last week, was like. It is counted when it is sent.
    Digest {
        /// A day or a week.
        span: Span,
        /// Its first local date, as `2026-11-25`.
        first: String,
        /// Who reads it.
        contact: String,
        /// By which route.
        route: Route,
    },
}

impl Content {
    /// Reads the bytes of a letter back; `None` where a later version wrote them.
    pub(in crate::app) fn from_bytes(bytes: &[u8]) -> Option<Self> {
        serde_json::from_slice(bytes).ok()
    }
}

/// The letters of these notices, due at once.
pub(super) fn of(notices: impl Iterator<Item = Notice>, now: Timestamp) -> impl Iterator<Item = Letter> {
    notices.flat_map(move |notice| {
        let routes = notice.routes.clone();
        routes.into_iter().filter_map(move |route| letter(&notice, route, now))
    })
}

fn letter(notice: &Notice, route: Route, now: Timestamp) -> Option<Letter> {
    let (key, channel) = (format!("{}-{route}", notice.key), route.channel());
    let sequence = format!("alert-{}/{route}", notice.alert.number);
    let content = Content::Notice { notice: Box::new(notice.clone()), route };
    let bytes = serde_json::to_vec(&content)
        .inspect_err(|error| tracing::error!(%error, key, "a notice cannot be written down"))
        .ok()?;
    Some(Letter { key, channel, sequence, created: now, due: now, bytes })
}
