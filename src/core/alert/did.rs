//! What a record did to an alert that names it as its cause, and that in words.

use super::open::AlertNumber;
use crate::core::reader::{Language, filled, said};
use crate::core::record::{Change, Clearing, OfAlert};

/// What a rack did to an alert, or what somebody entered.
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
}

impl Did {
    /// By a record of the alert, which is named; `None` where that names another cause, or none.
    #[must_use]
    pub fn of(index: u64, told: OfAlert<'_>) -> Option<(AlertNumber, Self)> {
        let did = match told {
            OfAlert::Raised(_) => Self::Raised,
            OfAlert::Changed(changed) => match changed.change {
                Change::Returned => Self::Reopened,
                Change::Grew
                | Change::Eased
                | Change::MissedAgain
                | Change::Escalated
                | Change::EscalationEnded
                | Change::NobodyToTell
                | Change::Held => Self::Joined,
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

    /// In a few words: «Raised alert 2».
    #[must_use]
    pub fn told(self, alert: u64, language: Language) -> String {
        let (english, spanish) = match self {
            Self::Raised => ("Raised alert {n}", "Causó la alerta {n}"),
            Self::Reopened => ("Alert {n} came back by it", "Por ella volvió la alerta {n}"),
            Self::Joined => ("Belongs to alert {n}", "Es parte de la alerta {n}"),
            Self::Ended => ("Alert {n} recovered by it", "Con ella se recuperó la alerta {n}"),
        };
        filled(said(language, english, spanish), &[("n", &alert.to_string())])
    }
}
