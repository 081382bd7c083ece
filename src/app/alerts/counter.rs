//! Where people's orders are done: by the desk's task of the service, or by a
//! command on the ledger itself where no service runs.

use super::clerk::{Clerk, ClerkError};
use crate::app::door::Peer;
use crate::app::logbook::{self, Way};
use crate::app::order::{Done, Order, Problem};
use crate::app::{Failure, ledger};
use crate::config::load::Loaded;
use crate::core::alert::{Alert, AlertNumber, Event, Refusal, TEXT_BYTES_MAX};
use crate::core::record::{Body, LawfulHold, Record};
use crate::core::time::Timestamp;
use crate::ledger::Reader;
use crate::runtime::clock::Clock;

/// Does an order, and answers when it is on record.
///
/// # Errors
/// [`Problem`] where the desk refuses it, with nothing changed; the clerk's where the ledger fails.
pub(super) async fn perform(
    clerk: &mut Clerk,
    now: Timestamp,
    order: Order,
) -> Result<Result<Done, Problem>, ClerkError> {
    let number = number_of(&order);
    let acted = acted(clerk, &order);
    if let Order::Hold { on: false, .. } = &order
        && clerk.reader().holds()?.is_empty()
    {
        let advice = "rinseward hold status tells what is in force";
        return Ok(Err(Problem::new("keeping-refused", "no lawful hold is in force", advice)));
    }
    let dialog = match &order {
        Order::Dialog { machine, .. } => Some(machine.clone()),
        Order::Acknowledge { .. }
        | Order::Act { .. }
        | Order::Maintenance { .. }
        | Order::Entry { .. }
        | Order::Hold { .. } => None,
    };
    if let Err(problem) = tell(clerk, now, order) {
        return Ok(Err(problem));
    }
    let committed = clerk.commit(now).await?;
    let alert = number.and_then(|number| clerk.alert(number)).map(Alert::as_told);
    let worked_on_until = dialog.and_then(|machine| clerk.desk().held_until(Some(&machine)));
    let covers = acted.map(|shown| alert.as_ref().and_then(covered).unwrap_or(shown));
    Ok(Ok(Done { alert, covers, record: committed.first_index, worked_on_until, ..Done::default() }))
}

/// Puts the record of an entry into the ledger, and answers with its index.
///
/// # Errors
/// The clerk's where the ledger fails.
pub(super) async fn put(
    clerk: &mut Clerk,
    now: Timestamp,
    record: Record,
) -> Result<Option<u64>, ClerkError> {
    clerk.enter(record);
    Ok(clerk.commit(now).await?.first_index)
}

fn number_of(order: &Order) -> Option<AlertNumber> {
    match order {
        Order::Acknowledge { alert, .. } | Order::Act { alert, .. } => Some(*alert),
        Order::Maintenance { .. } | Order::Dialog { .. } | Order::Entry { .. } | Order::Hold { .. } => None,
    }
}

/// How many racks were shown to the writer of a corrective action: all that the alert counts where that is not said.
/// Of an alert that closes with it nothing is held afterwards.
fn acted(clerk: &Clerk, order: &Order) -> Option<u64> {
    match order {
        Order::Act { alert, covers, .. } => covers.or_else(|| Some(clerk.alert(*alert)?.racks.count)),
        Order::Acknowledge { .. }
        | Order::Maintenance { .. }
        | Order::Dialog { .. }
        | Order::Entry { .. }
        | Order::Hold { .. } => None,
    }
}

fn covered(alert: &Alert) -> Option<u64> {
    alert.action.as_ref().map(|action| action.covers)
}

fn tell(clerk: &mut Clerk, now: Timestamp, order: Order) -> Result<(), Problem> {
    let told = match order {
        Order::Acknowledge { alert, by, via, note } => {
            let note = note.as_deref().filter(|note| !note.is_empty());
            clerk.ask(now, Event::Acknowledge { alert, by: &by, via: &via, note })
        }
        Order::Act { alert, by, racks, done, covers } => {
            clerk.ask(now, Event::Act { alert, by: &by, racks: &racks, done: &done, covers })
        }
        Order::Maintenance { machine, until, by } => {
            clerk.ask(now, Event::Maintenance { machine: machine.as_deref(), until, by: &by })
        }
        Order::Dialog { machine, stands, by, why } => {
            clerk.ask(now, Event::Dialog { machine: &machine, stands, by: &by, why: &why })
        }
        // An entry is prepared by whoever takes it, and comes here as its record.
        Order::Entry { .. } => {
            return Err(Problem::new("bug", "an entry came to the desk as an order", "report this message"));
        }
        Order::Hold { on, reason, by } => {
            let advice = "say why with --reason, and who with --by, each in a few words";
            return hold(clerk, now, LawfulHold { on, reason, by })
                .map_err(|refusal| Problem::new("keeping-refused", refusal.to_string(), advice));
        }
    };
    told.map_err(|refusal| refused(&refusal))
}

fn hold(clerk: &mut Clerk, now: Timestamp, hold: LawfulHold) -> Result<(), Refusal> {
    for (what, text) in [("the name", &hold.by), ("the reason", &hold.reason)] {
        if text.trim().is_empty() {
            return Err(Refusal::Missing { what });
        }
        if text.len() > TEXT_BYTES_MAX {
            return Err(Refusal::TooLong { what });
        }
    }
    clerk.put(Record::new(now, None, Body::LawfulHold(hold)));
    Ok(())
}

fn refused(refusal: &Refusal) -> Problem {
    let advice = match refusal {
        Refusal::NotOpen { .. } => {
            "rinseward alerts list has all that are on record, and those that are open"
        }
        Refusal::AlreadyAcknowledged { .. } => "nothing; rinseward alerts show tells its whole story",
        Refusal::AlreadyActed { .. } => {
            "read it (rinseward alerts show tells the whole story); what you did beside it goes on record as a note"
        }
        Refusal::FewerRacks { .. } => {
            "say how many were looked at, counted from the first, or leave it out to cover all"
        }
        Refusal::Missing { .. } => "say who it is and what was done",
        Refusal::TooLong { .. } => "say it in fewer words",
        Refusal::SaysNothing { .. } => {
            "say with --racks what became of the racks, and with --done what was done, each in a few words"
        }
        Refusal::UnknownMachine { .. } => "give the name that the machine has in the configuration",
        Refusal::UnknownContact { .. } => "give the name of a [[contact]] of the configuration",
        Refusal::TooFarAhead { .. } => "give an earlier end; it can be moved while the work goes on",
        Refusal::NoMaintenance => "nothing: racks are judged and messages are sent already",
    };
    Problem::new("alert-refused", refusal.to_string(), advice)
}

/// Does an order on the ledger itself. What it causes to be sent leaves once the service runs.
///
/// # Errors
/// The ledger's, which another process may hold, and those of [`perform`].
pub(in crate::app) fn perform_alone(loaded: &Loaded, order: Order) -> Result<Done, Failure> {
    let path = &loaded.configuration.ledger.path;
    crate::ledger::present(path).map_err(|error| ledger::diagnose(&error, path))?;
    let now = Clock::system().now();
    let (handle, mut gather) = ledger::open_alone(loaded, path, now)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .map_err(|error| crate::app::run::bug("cannot start the runtime", &error))?;
    let order = order.signed(&Peer::own());
    let done = runtime.block_on(async {
        let settings = loaded.configuration.alerts.clone();
        let entry = match order {
            Order::Entry { entry } => entry,
            Order::Acknowledge { .. }
            | Order::Act { .. }
            | Order::Maintenance { .. }
            | Order::Dialog { .. }
            | Order::Hold { .. } => {
                let mut clerk = Clerk::open(settings, handle.clone(), now).await?;
                while clerk.read_on(now)? {}
                return perform(&mut clerk, now, order).await;
            }
        };
        let open = || Reader::open(path).map_err(|error| logbook::unread(&error));
        let prepared = match logbook::prepare(entry, &loaded.configuration, now, open) {
            Ok(prepared) => prepared,
            Err(problem) => return Ok(Err(problem)),
        };
        let record = match prepared.way {
            Way::Core(machine, entered) => {
                let place = gather.enter(now, machine, entered);
                let first = handle.commit(gather.take()).await?.first_index;
                first.zip(place).map(|(first, place)| first + place as u64)
            }
            Way::Ledger(record) => {
                let mut clerk = Clerk::open(settings, handle.clone(), now).await?;
                while clerk.read_on(now)? {}
                put(&mut clerk, now, *record).await?
            }
        };
        let (judged, recorded, late_s) = (prepared.judged, prepared.recorded, prepared.late_s);
        Ok(Ok(Done { record, judged, recorded, late_s, ..Done::default() }))
    });
    let failed = |error: ClerkError| match &error {
        ClerkError::Ledger(source) => Failure::from(ledger::diagnose(source, path)),
    };
    let closed = handle.close().map_err(|error| ledger::diagnose(&error, path));
    let done = done.map_err(failed)?;
    closed?;
    done.map(|done| Done { alone: true, ..done }).map_err(Failure::from)
}
