//! A message to one contact, before anybody has put it into words.

use serde::{Deserialize, Serialize};

use super::contact::Route;
use super::open::{Alert, is_zero};
use crate::core::reader::{Language, Scale};

/// Why a contact is told.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Occasion {
    /// The alert is new.
    Raised,
    /// It has become another matter: several racks in a row after a single one, or one more probe.
    Grew,
    /// It had recovered and is back.
    Returned,
    /// It goes on; told at most once in the stated interval, with the count.
    Summary,
    /// Nobody has acknowledged it so far.
    Escalated,
    /// It has recovered.
    Cleared,
    /// It has recovered, and the corrective action is still to be written.
    ActionMissing,
    /// It is closed: recovered, and the corrective action is written.
    Closed,
    /// A maintenance window has ended, and it is still open.
    AfterMaintenance,
    /// Nothing is wrong; somebody tries the way to this contact.
    Test,
}

/// One message to one contact. The bytes of a letter are this as JSON; it is
/// put into words when it is sent, so that every channel can use its own.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Notice {
    /// Names this message for ever: `<alert>-<running number>-<contact>`. A
    /// letter adds its route. Sent twice, it is still one message.
    pub key: String,
    /// The alert as it was then. A test carries an invented one with number 0.
    pub alert: Alert,
    /// Name of the contact.
    pub contact: String,
    /// The contact's language.
    pub language: Language,
    /// The contact's scale of temperature.
    pub units: Scale,
    /// By which routes; those that fail at present are left out while another works.
    pub routes: Vec<Route>,
    /// Step of the escalation, from 1; 0 for a last resort and for a test.
    pub step: u8,
    /// How often the steps have been gone through before.
    pub round: u8,
    /// Why the contact is told.
    pub occasion: Occasion,
    /// For how long a recovery had lasted when it was told, s; 0 where it is told at once, or something else is.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub rested_s: u64,
}
