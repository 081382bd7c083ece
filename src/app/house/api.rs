//! What programs ask, answered by the very functions that the commands ask.

mod export;
mod place;
mod probes;
mod rows;
mod single;
mod vitals;

use axum::body::Body;

pub(super) use self::vitals::Counted;
use super::House;
use crate::app::history;
use crate::app::live::{self, Begun};
use crate::app::logbook::Entry;
use crate::app::order::{Order, Problem};
use crate::cli::Show;
use crate::core::alert::AlertNumber;
use crate::report::sheet::{self, Unit};
use crate::web::api::{
    Answers, Asked, Deed, Field, FieldKind, Figures, One, Rows, Single, Taken, Trouble, View,
};
use crate::web::frame::Refusal;

/// How an acknowledgement came that a program sent.
const VIA: &str = "api";

impl Answers for House {
    fn edition(&self) -> String {
        format!("{} {}", env!("CARGO_PKG_VERSION"), self.edition)
    }

    fn size(&self) -> u64 {
        self.tide.borrow().records
    }

    fn fields(view: View) -> Vec<Field> {
        let columns = shown(view).map_or(&[][..], history::columns);
        let kind = |unit: Unit| match unit {
            Unit::Text => FieldKind::Text,
            Unit::Instant => FieldKind::Instant,
            Unit::Day => FieldKind::Day,
            Unit::Flag => FieldKind::Flag,
            Unit::Count | Unit::Celsius | Unit::Difference | Unit::Seconds | Unit::Tenths | Unit::Share => {
                FieldKind::Number
            }
        };
        columns.iter().map(|column| Field { key: sheet::key(column), kind: kind(column.unit) }).collect()
    }

    async fn rows(&self, asked: Asked) -> Result<Rows, Trouble> {
        self.page(asked).await
    }

    async fn single(&self, asked: Single) -> Result<One, Trouble> {
        self.one(asked).await
    }

    async fn perform(&self, deed: Deed, by: &str) -> Result<String, Trouble> {
        let by = by.to_owned();
        let order = match deed {
            Deed::Acknowledge { alert, note } => {
                self.known(alert).await?;
                let note = note.filter(|note| !note.trim().is_empty());
                Order::Acknowledge { alert: AlertNumber(alert), by, via: VIA.to_owned(), note }
            }
            Deed::Act { alert, racks, done, covers } => {
                self.known(alert).await?;
                Order::Act { alert: AlertNumber(alert), by, racks, done, covers }
            }
            Deed::Check { machine, check, late } => {
                Order::Entry { entry: Entry::Check { machine, check, late } }
            }
        };
        let done = self.reception.perform(order).await.map_err(refused)?;
        serde_json::to_string(&done).map_err(|_| Trouble::NotNow)
    }

    async fn export(&self, taken: Taken, account: &str) -> Result<Body, Trouble> {
        self.take_away(taken, account).await
    }

    fn readings(&self) -> Body {
        let version = env!("CARGO_PKG_VERSION").to_owned();
        let simulated = self.simulated;
        let begun = Begun { version, configuration: self.edition.to_string(), simulated };
        live::answer(begun, self.tap.listen(), self.stop.clone())
    }

    async fn hindrances(&self) -> Vec<String> {
        self.what_hinders().await
    }

    async fn figures(&self) -> Result<Figures, Trouble> {
        self.measured().await
    }
}

/// An order that was refused.
fn refused(problem: Problem) -> Trouble {
    let Problem { slug, summary: detail, advice, field } = problem;
    let pointer = field.map(|field| match field.as_str() {
        "machine" => "/machine".to_owned(),
        field => format!("/check/{field}"),
    });
    Trouble::Refused { slug, detail, advice, pointer }
}

impl From<Refusal> for Trouble {
    fn from(refusal: Refusal) -> Self {
        match refusal {
            Refusal::Unknown => Self::Unknown {
                detail: "there is no such thing".to_owned(),
                advice: "see /api/v1/openapi.json for all there is".to_owned(),
            },
            Refusal::NotNow => Self::NotNow,
            Refusal::Damaged(record) => Self::Refused {
                slug: "ledger-damaged".to_owned(),
                detail: record.map_or_else(
                    || "what is on record is not as it was sealed".to_owned(),
                    |record| format!("record {record} is damaged, or not as it was sealed"),
                ),
                advice: Some("`rinseward verify` says what holds; keep the ledger as it is".to_owned()),
                pointer: None,
            },
        }
    }
}

/// What a command could not do: told to the log, since it is about the ledger and not about the question.
fn failed(failure: &crate::app::Failure) -> Trouble {
    tracing::warn!(%failure, "a program's question cannot be answered");
    Trouble::NotNow
}

/// The list as the command `history` knows it; `None` for what is no part of it.
const fn shown(view: View) -> Option<Show> {
    match view {
        View::Cycles => Some(Show::Cycles),
        View::Days => Some(Show::Days),
        View::Summary => Some(Show::Summary),
        View::Gaps => Some(Show::Gaps),
        View::Checks => Some(Show::Checks),
        View::Records => Some(Show::Records),
        View::Machines | View::Alerts | View::Due | View::Probes => None,
    }
}

#[cfg(test)]
mod tests;
