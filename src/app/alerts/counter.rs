//! Where people's orders are done: by the desk's task of the service, or by a
//! command on the ledger itself where no service runs.

use super::clerk::{Clerk, ClerkError};
use crate::app::door::Peer;
use crate::app::order::{Done, Order, Problem};
use crate::app::{Failure, ledger};
use crate::config::load::Loaded;
use crate::core::alert::{AlertNumber, Event, Refusal, TEXT_BYTES_MAX};
use crate::core::id::MachineId;
use crate::core::record::{Body, Check, LawfulHold, Record};
use crate::core::time::Timestamp;
use crate::runtime::clock::Clock;

/// Does an order, and answers when it is on record.
///
/// # Errors
/// [`Problem`] where the desk refuses it, with nothing changed; the clerk's where the ledger fails.
pub(super) async fn perform(
    clerk: &mut Clerk,
    now: Timestamp,
    order: Order,
    machines: &[String],
) -> Result<Result<Done, Problem>, ClerkError> {
    let number = number_of(&order);
    if let Order::Hold { on: false, .. } = &order
        && clerk.reader().holds()?.is_empty()
    {
        let advice = "rinseward hold status tells what is in force";
        return Ok(Err(Problem::new("keeping-refused", "no lawful hold is in force", advice)));
    }
    if let Err(problem) = tell(clerk, now, order, machines) {
        return Ok(Err(problem));
    }
    let committed = clerk.commit(now).await?;
    let alert = number.and_then(|number| clerk.alert(number)).cloned();
    Ok(Ok(Done { alert, record: committed.first_index }))
}

fn number_of(order: &Order) -> Option<AlertNumber> {
    match order {
        Order::Acknowledge { alert, .. } | Order::Act { alert, .. } => Some(*alert),
        Order::Maintenance { .. } | Order::Check { .. } | Order::Hold { .. } => None,
    }
}

fn tell(clerk: &mut Clerk, now: Timestamp, order: Order, machines: &[String]) -> Result<(), Problem> {
    match order {
        Order::Acknowledge { alert, by, via, note } => {
            let note = note.as_deref().filter(|note| !note.is_empty());
            clerk.ask(now, Event::Acknowledge { alert, by: &by, via: &via, note })
        }
        Order::Act { alert, by, racks, done } => {
            clerk.ask(now, Event::Act { alert, by: &by, racks: &racks, done: &done })
        }
        Order::Maintenance { machine, until, by } => {
            clerk.ask(now, Event::Maintenance { machine: machine.as_deref(), until, by: &by })
        }
        Order::Check { machine, check } => {
            let known = machine.as_deref().map_or(Ok(()), |machine| found(machine, machines).map(drop));
            known.and_then(|()| named(&check)).map(|()| clerk.enter(now, machine, check))
        }
        Order::Hold { on, reason, by } => hold(clerk, now, LawfulHold { on, reason, by }),
    }
    .map_err(|refusal| refused(&refusal))
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

fn found(machine: &str, machines: &[String]) -> Result<MachineId, Refusal> {
    let place = machines.iter().position(|known| known == machine);
    let id = place.and_then(|place| u16::try_from(place).ok()).map(MachineId);
    id.ok_or_else(|| Refusal::UnknownMachine { machine: machine.to_owned() })
}

fn named(check: &Check) -> Result<(), Refusal> {
    if name_of(check).trim().is_empty() { Err(Refusal::Missing { what: "the name" }) } else { Ok(()) }
}

/// The machine of a check that the core is to judge by.
///
/// # Errors
/// [`Problem`] where there is no such machine, or nobody signed.
pub(super) fn measured_at(machine: &str, check: &Check, machines: &[String]) -> Result<MachineId, Problem> {
    let id = found(machine, machines).map_err(|refusal| refused(&refusal))?;
    named(check).map(|()| id).map_err(|refusal| refused(&refusal))
}

fn name_of(check: &Check) -> &str {
    match check {
        Check::Sanitizer { by, .. }
        | Check::Supply { by, .. }
        | Check::DrainAndClean { by, .. }
        | Check::Thermometer { by, .. } => by,
    }
}

fn refused(refusal: &Refusal) -> Problem {
    let advice = match refusal {
        Refusal::NotOpen { .. } => {
            "rinseward alerts list has all that are on record, and those that are open"
        }
        Refusal::AlreadyAcknowledged { .. } => "nothing; rinseward alerts show tells its whole story",
        Refusal::Missing { .. } => "say who it is and what was done",
        Refusal::TooLong { .. } => "say it in fewer words",
        Refusal::UnknownMachine { .. } => "give the name that the machine has in the configuration",
        Refusal::UnknownContact { .. } => "give the name of a [[contact]] of the configuration",
        Refusal::TooFarAhead { .. } => "give an earlier end; it can be moved while the work goes on",
        Refusal::NoMaintenance => "nothing: messages are sent already",
    };
    Problem::new("alert-refused", refusal.to_string(), advice)
}

/// Does an order on the ledger itself. What it causes to be sent leaves once the service runs.
///
/// # Errors
/// The ledger's, which another process may hold, and those of [`perform`].
pub(in crate::app) fn perform_alone(loaded: &Loaded, order: Order) -> Result<Done, Failure> {
    let path = &loaded.configuration.ledger.path;
    if !path.exists() {
        return Err(
            ledger::diagnose(&crate::ledger::LedgerError::Missing { path: path.clone() }, path).into()
        );
    }
    let now = Clock::system().now();
    let (handle, mut gather) = ledger::open_alone(loaded, path, now)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .map_err(|error| crate::app::run::bug("cannot start the runtime", &error))?;
    let order = order.signed(&Peer::own());
    let machines: Vec<String> =
        loaded.configuration.machines.iter().map(|machine| machine.name.clone()).collect();
    let done = runtime.block_on(async {
        if let Order::Check { machine: Some(machine), check } = &order
            && matches!(check, Check::Sanitizer { .. })
        {
            let machine = match measured_at(machine, check, &machines) {
                Ok(machine) => machine,
                Err(problem) => return Ok(Err(problem)),
            };
            gather.check(now, machine, check.clone());
            let record = handle.commit(gather.take()).await?.first_index;
            return Ok(Ok(Done { alert: None, record }));
        }
        let mut clerk = Clerk::open(loaded.configuration.alerts.clone(), handle.clone(), now).await?;
        while clerk.read_on(now)? {}
        perform(&mut clerk, now, order, &machines).await
    });
    let failed = |error: ClerkError| match &error {
        ClerkError::Ledger(source) => Failure::from(ledger::diagnose(source, path)),
    };
    let closed = handle.close().map_err(|error| ledger::diagnose(&error, path));
    let done = done.map_err(failed)?;
    closed?;
    done.map_err(Failure::from)
}
