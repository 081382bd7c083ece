//! Where a page goes on in a list that is reckoned and not read record by record.

use std::fmt;

use jiff::civil::Date;
use serde::Deserialize;

use crate::core::time::Timestamp;
use crate::web::api::{Trouble, View};

/// Where a row stands in a list that is reckoned. It stays there whatever is added, and a gap also when it ends;
/// as a cursor its two parts have a `/` between them.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Place {
    /// A day of a machine.
    Day(Date, String),
    /// A gap, by its start and its probe; without one it is of the service.
    Gap(Timestamp, Option<String>),
}

impl Place {
    /// That of a row; `None` in lists that are told whole.
    pub(super) fn of(view: View, row: &str) -> Result<Option<Self>, Trouble> {
        #[derive(Deserialize)]
        struct Day {
            day: Date,
            machine: String,
        }
        #[derive(Deserialize)]
        struct Gap {
            from: Timestamp,
            probe: Option<String>,
        }
        let place = match view {
            View::Days => serde_json::from_str(row).map(|Day { day, machine }| Some(Self::Day(day, machine))),
            View::Gaps => serde_json::from_str(row).map(|Gap { from, probe }| Some(Self::Gap(from, probe))),
            View::Summary
            | View::Machines
            | View::Cycles
            | View::Alerts
            | View::Checks
            | View::Due
            | View::Records
            | View::Probes => Ok(None),
        };
        place.map_err(|_| Trouble::NotNow)
    }

    /// That of a cursor.
    pub(super) fn read(view: View, text: &str) -> Result<Self, Trouble> {
        let (at, name) = text.split_once('/').ok_or_else(no_cursor)?;
        let place = match view {
            View::Days => at.parse().ok().map(|day| Self::Day(day, name.to_owned())),
            View::Gaps => {
                let probe = Some(name.to_owned()).filter(|name| !name.is_empty());
                at.parse().ok().map(|from| Self::Gap(from, probe))
            }
            View::Summary
            | View::Machines
            | View::Cycles
            | View::Alerts
            | View::Checks
            | View::Due
            | View::Records
            | View::Probes => None,
        };
        place.ok_or_else(no_cursor)
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Day(day, machine) => write!(f, "{day}/{machine}"),
            Self::Gap(from, probe) => write!(f, "{from}/{}", probe.as_deref().unwrap_or_default()),
        }
    }
}

/// Whether a row comes after the page before.
pub(super) fn follows_place(place: Option<&Place>, after: Option<&Place>, oldest_first: bool) -> bool {
    match (place, after) {
        (Some(place), Some(after)) if oldest_first => place > after,
        (Some(place), Some(after)) => place < after,
        (Some(_) | None, None) | (None, Some(_)) => true,
    }
}

/// What is said of a cursor that is none.
pub(super) fn no_cursor() -> Trouble {
    let detail = "no page ends so: take the link of the page before as it is".to_owned();
    Trouble::Wrong { field: "after".to_owned(), detail }
}
