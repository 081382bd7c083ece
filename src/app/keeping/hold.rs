//! `hold`: keeps readings from being pruned while somebody may ask for them.

use serde::Serialize;

use super::tell;
use crate::app::order::Order;
use crate::app::people::{give, ledger_and_zone};
use crate::app::{Failure, Streams, ledger};
use crate::cli::{HoldChangeArgs, HoldCommand, HoldStatusArgs};
use crate::core::record::LawfulHold;
use crate::core::time::Timestamp;
use crate::ledger::Reader;
use crate::report::local;

/// `hold …`.
pub(in crate::app) fn hold(command: &HoldCommand, streams: &mut Streams<'_>) -> Result<(), Failure> {
    match command {
        HoldCommand::On(change) => {
            let said = "A lawful hold is in force: no reading is pruned until `rinseward hold off`.";
            order(change, true, said, streams)
        }
        HoldCommand::Off(change) => {
            let said = "No lawful hold is in force any more: readings are pruned by their age.";
            order(change, false, said, streams)
        }
        HoldCommand::Status(arguments) => status(arguments, streams),
    }
}

fn order(change: &HoldChangeArgs, on: bool, said: &str, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let order = Order::Hold { on, reason: change.reason.clone(), by: change.by.clone() };
    give(&change.config, order, change.json, said, streams)
}

/// What `hold status --json` prints.
#[derive(Serialize)]
struct Status {
    in_force: bool,
    holds: Vec<Held>,
    readings_in_blocks: u64,
    oldest_reading: Option<Timestamp>,
}

#[derive(Serialize)]
struct Held {
    record: u64,
    since: Timestamp,
    #[serde(flatten)]
    hold: LawfulHold,
}

fn status(arguments: &HoldStatusArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let (path, zone) = ledger_and_zone(&arguments.from)?;
    let failed = |error| Failure::from(ledger::diagnose(&error, &path));
    let reader = Reader::open(&path).map_err(failed)?;
    let holds = reader.holds().map_err(failed)?;
    let (readings_in_blocks, oldest_reading) = reader.readings_kept().map_err(failed)?;
    let holds: Vec<Held> =
        holds.into_iter().map(|(record, since, hold)| Held { record, since, hold }).collect();
    let mut lines = Vec::new();
    for Held { record, since, hold } in &holds {
        let since = local::minute_and_zone(*since, &zone);
        lines.push(format!("Hold since {since} by {}: {} (record {record})", hold.by, hold.reason));
    }
    if holds.is_empty() {
        lines.push("No lawful hold is in force: readings are pruned by their age.".to_owned());
    } else {
        lines.push("No reading is pruned until `rinseward hold off`.".to_owned());
    }
    if let Some(oldest) = oldest_reading {
        lines.push(format!("The oldest reading is of {}.", local::minute_and_zone(oldest, &zone)));
    }
    lines.push("Records and the traces of cycles are kept for ever, with a hold or without.".to_owned());
    let status = Status { in_force: !holds.is_empty(), holds, readings_in_blocks, oldest_reading };
    tell(streams, arguments.json, &status, &lines)
}
