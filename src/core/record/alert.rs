//! Records of alerts: together they tell the whole story of each, without any other file.

use serde::{Deserialize, Serialize};

use crate::core::alert::trial::Told;
use crate::core::alert::{AlertNumber, Amended, Condition, Earlier, Occasion, Pattern, Quantity, Route};
use crate::core::channel::Place;
use crate::core::record::CheckKind;
use crate::core::time::Timestamp;

/// An alert was raised.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct AlertRaised {
    /// Its number.
    pub alert: AlertNumber,
    /// What is wrong.
    pub condition: Condition,
    /// Since when.
    pub since: Timestamp,
    /// At which place of the machine.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub place: Option<Place>,
    /// What was measured.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub measured: Option<Quantity>,
    /// Against what.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub limit: Option<Quantity>,
    /// What the racks look like together.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pattern: Option<Pattern>,
    /// Probes, checks or routes it is about.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub about: Vec<String>,
    /// Index of the record that caused it; absent where time or the gateway's health did.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cause: Option<u64>,
    /// Index of the last good cycle before it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub last_good: Option<u64>,
    /// Racks that had passed by what was found wrong.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub earlier: Option<Earlier>,
    /// The check that was missed.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub missed: Option<MissedDue>,
}

/// A check that was due and had not been made when its grace was over.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct MissedDue {
    /// Which.
    pub check: CheckKind,
    /// When it was due.
    pub due: Timestamp,
    /// One made from then on counts for it.
    pub counts_from: Timestamp,
}

impl AlertRaised {
    /// An alert of which no more is known.
    #[must_use]
    pub const fn new(alert: AlertNumber, condition: Condition, since: Timestamp) -> Self {
        Self {
            alert,
            condition,
            since,
            place: None,
            measured: None,
            limit: None,
            pattern: None,
            about: Vec::new(),
            cause: None,
            last_good: None,
            earlier: None,
            missed: None,
        }
    }
}

/// What happened to an open alert.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// It became another matter: a new pattern, one more probe, or proof missing.
    Grew,
    /// A check that it is about was missed once more.
    MissedAgain,
    /// One of several things that it is about is well again.
    Eased,
    /// It had recovered and came back.
    Returned,
    /// Nobody acknowledged; the next step is told.
    Escalated,
    /// Nobody acknowledged, and nobody is told any more.
    EscalationEnded,
    /// It is one that a contact should hear of, and nobody is on duty nor a last resort.
    NobodyToTell,
    /// A maintenance window holds its messages.
    Held,
}

/// Something happened to an open alert.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct AlertChanged {
    /// Its number.
    pub alert: AlertNumber,
    /// What is wrong; earlier records do not hold it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub condition: Option<Condition>,
    /// What.
    pub change: Change,
    /// Affected racks so far.
    pub racks: u64,
    /// What they look like together.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pattern: Option<Pattern>,
    /// What was measured last.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub measured: Option<Quantity>,
    /// What that is measured against; earlier records do not hold it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub limit: Option<Quantity>,
    /// Probes, checks or routes it is about.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub about: Vec<String>,
    /// Index of the record that caused it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cause: Option<u64>,
    /// Index of the last good cycle before it came back, where it did and none that passed is in doubt for it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub last_good: Option<u64>,
    /// More racks that had passed by what was found wrong.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub earlier: Option<Earlier>,
    /// The check that was missed, where it changed by one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub missed: Option<MissedDue>,
    /// Who had taken it on, where that ended: it came back after it had settled, and wants somebody anew.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub released: Option<String>,
    /// That the last entry by which it stood was entered wrongly; where it came back, that an entry shows so as it was
    /// amended.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub amended: Option<Box<Amended>>,
    /// The worst that was measured, where what was measured is counted anew without an entry that was amended.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub worst: Option<Quantity>,
}

impl AlertChanged {
    /// The checks that it is about; `None` where it is about anything else.
    #[must_use]
    pub fn checks(&self) -> Option<Vec<CheckKind>> {
        if self.condition.is_some_and(|condition| condition != Condition::CheckOverdue) {
            return None;
        }
        // Earlier records do not say what is wrong.
        let kinds: Option<Vec<CheckKind>> = self.about.iter().map(|word| CheckKind::named(word)).collect();
        kinds.filter(|kinds| !kinds.is_empty())
    }

    /// A change of which no more is known.
    #[must_use]
    pub const fn new(alert: AlertNumber, change: Change) -> Self {
        Self {
            alert,
            condition: None,
            change,
            racks: 0,
            pattern: None,
            measured: None,
            limit: None,
            about: Vec::new(),
            cause: None,
            last_good: None,
            earlier: None,
            missed: None,
            released: None,
            amended: None,
            worst: None,
        }
    }
}

/// A named person took an alert on.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct AlertAcknowledged {
    /// Its number.
    pub alert: AlertNumber,
    /// Who.
    pub by: String,
    /// How: `link`, `command`, `page`.
    pub via: String,
    /// What they added.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
}

/// Why an alert cleared.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Clearing {
    /// By the rule of its condition.
    Recovered,
    /// What raised it was withdrawn or corrected, and no rack was in doubt.
    Withdrawn,
    /// The hours are over for which it was raised.
    Lapsed,
    /// The configuration no longer has its machine or probe, or has switched its condition off.
    Retired,
}

/// An alert recovered.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct AlertCleared {
    /// Its number.
    pub alert: AlertNumber,
    /// Why.
    pub clearing: Clearing,
    /// Affected racks.
    pub racks: u64,
    /// The worst that was measured of what racks alone do not tell; earlier records do not hold it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub worst: Option<Quantity>,
    /// What that is measured against.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub limit: Option<Quantity>,
    /// Index of the record that cleared it; absent where time or the gateway's health did.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cause: Option<u64>,
}

/// An alert was closed: it stayed away, and the corrective action is written where one is needed.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct AlertClosed {
    /// Its number.
    pub alert: AlertNumber,
    /// Affected racks.
    pub racks: u64,
    /// Whether a corrective action was needed.
    pub needed_action: bool,
}

/// What somebody did about an alert, in their words.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct CorrectiveAction {
    /// Number of the alert.
    pub alert: AlertNumber,
    /// Who says so.
    pub by: String,
    /// What happened to the racks since the last good cycle.
    pub racks: String,
    /// What was done.
    pub done: String,
    /// End of the last good cycle before the alert.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub last_good: Option<Timestamp>,
    /// Affected racks it covers: those that its writer was shown, counted from the first.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub covers: Option<u64>,
}

/// How a message ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// The other side took it.
    Delivered,
    /// It was given up.
    GivenUp,
}

/// A message was delivered to the next hop, or given up.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Notification {
    /// Key of the letter.
    pub key: String,
    /// Number of the alert; absent for a digest and a test.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub alert: Option<AlertNumber>,
    /// Why the contact was told; absent for a digest.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub occasion: Option<Occasion>,
    /// Name of the contact.
    pub contact: String,
    /// By which route.
    pub route: Route,
    /// How it ended.
    pub outcome: Outcome,
    /// How often it was tried.
    pub attempts: u32,
    /// Why the last try failed, where it did, in English.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub error: Option<String>,
    /// The same as a fact, to be told in the language of whoever reads it; absent in records of before facts
    /// were kept.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub why: Option<Told>,
}

impl Notification {
    /// Whether it is the digest of a week, and its first day, «2026-11-25»; `None` for whatever is no digest.
    #[must_use]
    pub fn digest(&self) -> Option<(bool, &str)> {
        let (span, rest) = self.key.strip_prefix("digest-")?.split_once('-')?;
        Some((span == "week", rest.get(..10)?))
    }

    /// Why the last try failed, where it did; a text of before facts were kept stays as it is.
    #[must_use]
    pub fn failure(&self) -> Option<Told> {
        self.why.clone().or_else(|| self.error.as_deref().map(Told::words))
    }
}

/// A maintenance window began, changed its end, or ended. Its machine is that of the record.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Maintenance {
    /// When it ends or ended.
    pub until: Timestamp,
    /// Who works there; absent where its time ran out.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub by: Option<String>,
    /// At what, where a dialog at a probe began it by itself.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub why: Option<String>,
    /// Whether it is over.
    pub ended: bool,
    /// When the work began that this goes on with or ends; absent where it begins here.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub begun: Option<Timestamp>,
    /// That it only follows how a dialog at a probe stands, whose beginning is a record by itself.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub dialog: Option<DialogWork>,
    /// Who worked there and at what, where it is over.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub worked: Vec<Worked>,
}

impl Maintenance {
    /// Whether it only moves the end of work that is told of by other records: its beginning and its end.
    #[must_use]
    pub const fn only_moves_its_end(&self) -> bool {
        self.dialog.is_some()
    }

    /// Adds who came to the work by it to those who work there, each with each work once; a record that only moves the
    /// end, or ends it, brings nobody.
    pub fn add_to(&self, worked: &mut Vec<Worked>) {
        let Some(by) = self.by.clone().filter(|_| !self.ended && !self.only_moves_its_end()) else { return };
        let own = Worked { by, why: self.why.clone() };
        if !worked.contains(&own) {
            worked.push(own);
        }
    }
}

/// How a dialog stands that keeps its machine under work.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DialogWork {
    /// It goes on.
    GoesOn,
    /// It is over, and its machine is under work a little longer.
    Over,
}

/// Who worked on a machine, and at what.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Worked {
    /// Who.
    pub by: String,
    /// At what, where it was a dialog at a probe.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub why: Option<String>,
}

/// What a record tells of an alert.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum OfAlert<'a> {
    /// It was raised.
    Raised(&'a AlertRaised),
    /// Something happened to it.
    Changed(&'a AlertChanged),
    /// Somebody took it on.
    Acknowledged(&'a AlertAcknowledged),
    /// It recovered.
    Cleared(&'a AlertCleared),
    /// It was closed.
    Closed(&'a AlertClosed),
    /// Somebody did something about it.
    Action(&'a CorrectiveAction),
    /// A message about it, or one about none.
    Notification(&'a Notification),
}

impl<'a> OfAlert<'a> {
    /// Which alert; `None` for a message about none.
    #[must_use]
    pub const fn alert(self) -> Option<AlertNumber> {
        match self {
            Self::Raised(raised) => Some(raised.alert),
            Self::Changed(changed) => Some(changed.alert),
            Self::Acknowledged(taken) => Some(taken.alert),
            Self::Cleared(cleared) => Some(cleared.alert),
            Self::Closed(closed) => Some(closed.alert),
            Self::Action(action) => Some(action.alert),
            Self::Notification(notification) => notification.alert,
        }
    }

    /// The racks that it says had passed by what was found wrong.
    #[must_use]
    pub const fn earlier(self) -> Option<&'a Earlier> {
        match self {
            Self::Raised(raised) => raised.earlier.as_ref(),
            Self::Changed(changed) => changed.earlier.as_ref(),
            Self::Acknowledged(_)
            | Self::Cleared(_)
            | Self::Closed(_)
            | Self::Action(_)
            | Self::Notification(_) => None,
        }
    }

    /// The record that caused it; `None` where time, a person or the gateway's health did.
    #[must_use]
    pub const fn cause(self) -> Option<u64> {
        self.causes()[0]
    }

    /// The records that it names: the cycle or gap behind the alert, and the last good rack before it, or before it came back.
    #[must_use]
    pub const fn causes(self) -> [Option<u64>; 2] {
        match self {
            Self::Raised(raised) => [raised.cause, raised.last_good],
            Self::Changed(changed) => [changed.cause, changed.last_good],
            Self::Cleared(cleared) => [cleared.cause, None],
            Self::Acknowledged(_) | Self::Closed(_) | Self::Action(_) | Self::Notification(_) => [None, None],
        }
    }
}
