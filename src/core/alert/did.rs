//! What a record did to an alert that names it as its cause, and that in words.

use std::collections::BTreeMap;

use super::open::AlertNumber;
use crate::core::reader::{Language, filled, said};
use crate::core::record::{Change, Clearing, OfAlert};

/// What a rack did to an alert, or what somebody entered. Of several things that it did to one the first in this order is
/// told: what failed reads first as such.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Did {
    /// It raised it.
    Raised,
    /// It had recovered, and came back by this.
    Reopened,
    /// It is one of what the alert is about.
    Joined,
    /// It recovered by this.
    Ended,
    /// Something of what it was about is well again, or was entered wrongly; the rest lasts.
    Eased,
}

/// What was done to alerts, in order of their numbers.
pub type Deeds = BTreeMap<AlertNumber, Did>;

/// Adds what was done to an alert as well.
pub fn note(deeds: &mut Deeds, alert: AlertNumber, did: Did) {
    deeds.entry(alert).and_modify(|known| *known = did.min(*known)).or_insert(did);
}

impl Did {
    /// By a record of the alert, which is named; `None` where that names another cause, or none.
    #[must_use]
    pub fn of(index: u64, told: OfAlert<'_>) -> Option<(AlertNumber, Self)> {
        let did = match told {
            OfAlert::Raised(_) => Self::Raised,
            OfAlert::Changed(changed) => match changed.change {
                Change::Returned => Self::Reopened,
                Change::Grew | Change::MissedAgain => Self::Joined,
                Change::Eased => Self::Eased,
                // Whom it was told is nothing that a record did.
                Change::Escalated | Change::EscalationEnded | Change::NobodyToTell | Change::Held => {
                    return None;
                }
            },
            OfAlert::Cleared(cleared) => match cleared.clearing {
                Clearing::Recovered => Self::Ended,
                Clearing::Withdrawn | Clearing::Lapsed | Clearing::Retired => return None,
            },
            OfAlert::Acknowledged(_) | OfAlert::Closed(_) | OfAlert::Action(_) | OfAlert::Notification(_) => {
                return None;
            }
        };
        told.alert().filter(|_| told.cause() == Some(index)).map(|alert| (alert, did))
    }

    /// Whether the alert is about it: whoever made one of several overdue checks, or the last of them, is no matter of that
    /// alert.
    #[must_use]
    pub const fn sets_off(self) -> bool {
        match self {
            Self::Raised | Self::Reopened | Self::Joined => true,
            Self::Ended | Self::Eased => false,
        }
    }

    /// In a few words: «Raised alert 2».
    #[must_use]
    pub fn told(self, alert: u64, language: Language) -> String {
        let (english, spanish) = match self {
            Self::Raised => ("Raised alert {n}", "Causó la alerta {n}"),
            Self::Reopened => ("Alert {n} came back by it", "Por ella volvió la alerta {n}"),
            Self::Joined => ("Belongs to alert {n}", "Es parte de la alerta {n}"),
            Self::Ended => ("Alert {n} recovered by it", "Con ella se recuperó la alerta {n}"),
            Self::Eased => ("Eased alert {n}", "Alivió la alerta {n}"),
        };
        filled(said(language, english, spanish), &[("n", &alert.to_string())])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::alert::Condition;
    use crate::core::record::{AlertChanged, AlertCleared, AlertRaised};
    use crate::core::time::Timestamp;

    fn told(all: &[OfAlert<'_>]) -> Deeds {
        let mut deeds = Deeds::new();
        for (alert, did) in all.iter().filter_map(|told| Did::of(7, *told)) {
            note(&mut deeds, alert, did);
        }
        deeds
    }

    // Regression: what failed with no contact on duty was told to belong to the alert beside that it raised it. Own promise:
    // of each alert one thing is told, and whom it was told is nothing that a record did.
    #[test]
    fn of_each_alert_one_thing_is_told() {
        let number = AlertNumber(4);
        let raised = AlertRaised {
            cause: Some(7),
            ..AlertRaised::new(number, Condition::Weak, Timestamp::from_micros(0))
        };
        let changed = |change| AlertChanged { cause: Some(7), ..AlertChanged::new(number, change) };
        let cleared = AlertCleared {
            alert: number,
            clearing: Clearing::Recovered,
            racks: 0,
            worst: None,
            limit: None,
            cause: Some(7),
        };
        for change in [Change::NobodyToTell, Change::Held, Change::Escalated, Change::EscalationEnded] {
            let changed = changed(change);
            assert_eq!(told(&[OfAlert::Changed(&changed)]), Deeds::new(), "{change:?}");
            let both = told(&[OfAlert::Changed(&changed), OfAlert::Raised(&raised)]);
            assert_eq!(both, Deeds::from([(number, Did::Raised)]), "{change:?}");
        }
        for (change, did) in [
            (Change::Grew, Did::Joined),
            (Change::MissedAgain, Did::Joined),
            (Change::Eased, Did::Eased),
            (Change::Returned, Did::Reopened),
        ] {
            assert_eq!(told(&[OfAlert::Changed(&changed(change))]), Deeds::from([(number, did)]));
            assert_eq!(did.sets_off(), did != Did::Eased);
        }
        // Raised by an entry, ended by its correction.
        let ended = OfAlert::Cleared(&cleared);
        assert_eq!(told(&[ended, OfAlert::Raised(&raised)]), Deeds::from([(number, Did::Raised)]));
        assert_eq!(
            told(&[OfAlert::Changed(&changed(Change::Eased)), ended]),
            Deeds::from([(number, Did::Ended)])
        );
    }
}
