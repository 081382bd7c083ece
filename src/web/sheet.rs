//! What a page shows of an alert, and what it asks of whoever knows it.

use std::future::Future;

use super::link::Link;
use crate::core::reader::Language;

/// An alert as a page shows it: worded in `language`, in the units and the zone of the reader.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sheet {
    /// Language of all words here.
    pub language: Language,
    /// Name of the site.
    pub site: String,
    /// Number of the alert.
    pub number: u64,
    /// The one sentence that says what is wrong.
    pub headline: String,
    /// Label and value of each fact: measured, limit, since, racks.
    pub facts: Vec<(String, String)>,
    /// What to do now, in order.
    pub steps: Vec<String>,
    /// Cautions for whoever goes near the machine.
    pub cautions: Vec<String>,
    /// Where it stands.
    pub standing: Standing,
    /// Whether it is open and closes only with a written corrective action. One that is written
    /// covers the racks before it, so that there may have to be another.
    pub needs_action: bool,
    /// Racks that it names: when each ended, and its verdict.
    pub listed: Vec<(String, String)>,
    /// How many racks it counts: those that an action written on this page covers.
    pub racks: u64,
    /// The latest corrective action, where one is written.
    pub action: Option<Action>,
    /// Racks that this action does not cover.
    pub left_out: Option<LeftOut>,
    /// Name of the contact whose link it is: often that of a post, and not of whoever fills in the form.
    pub reader: String,
}

/// Where an alert stands.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Standing {
    /// Nobody has answered.
    Waiting,
    /// It is open, and has ended with nothing left to do: nobody need answer.
    Recovered,
    /// Somebody takes care.
    Acknowledged {
        /// Who.
        by: String,
        /// When, as the reader reads it.
        at: String,
    },
    /// It is over.
    Closed {
        /// When, as the reader reads it.
        at: String,
    },
}

/// A written corrective action.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Action {
    /// Who.
    pub by: String,
    /// What happened to the racks.
    pub racks: String,
    /// What was done.
    pub done: String,
}

/// Racks that came after those of a corrective action.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct LeftOut {
    /// How many.
    pub count: u64,
    /// When the last one ended, as the reader reads it.
    pub last: Option<String>,
}

/// What the holder of a link does.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Deed {
    /// Takes care.
    Acknowledge {
        /// Who.
        by: String,
        /// A note; may be empty.
        note: String,
    },
    /// Writes the corrective action.
    Act {
        /// Who.
        by: String,
        /// What happened to the racks.
        racks: String,
        /// What was done.
        done: String,
        /// How many of its racks the writer was shown, and so covers; without it all that it counts.
        covers: Option<u64>,
    },
}

/// What came of a deed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Decided {
    /// It is on record, or was before.
    Done,
    /// Somebody else wrote the corrective action just before; this one is not on record.
    Late,
}

/// Why nothing is shown or done.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Refused {
    /// No such alert is known.
    #[error("no such alert is known")]
    Unknown,
    /// It cannot be put on record just then.
    #[error("it cannot be put on record just now")]
    NotNow,
}

/// Whoever knows the alerts.
pub trait Alerts: Clone + Send + Sync + 'static {
    /// The alert of a link.
    fn show(&self, link: Link) -> impl Future<Output = Result<Sheet, Refused>> + Send;

    /// Puts on record what the holder of a link does; answers when it is on record. Doing the
    /// same twice does it once.
    fn act(&self, link: Link, deed: Deed) -> impl Future<Output = Result<(), Refused>> + Send;
}
