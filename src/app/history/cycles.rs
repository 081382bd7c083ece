//! The cycles, with what amends them.

use std::collections::BTreeSet;
use std::io;
use std::ops::ControlFlow;

use super::{Ground, Printer, style};
use crate::app::alerts::doubts::overtaken;
use crate::app::alerts::racks::Reach;
use crate::app::{Failure, Streams};
use crate::cli::{HistoryArgs, Judged};
use crate::core::alert::AlertNumber;
use crate::core::alert::doubts::{Doubts, is_within};
use crate::core::cycle::verdict::Verdict;
use crate::core::record::{Body, Record};
use crate::ledger::{CycleFilter, Found, LedgerError, Order, Reader};
use crate::report::row::CycleRow;
use crate::report::table::Style;

pub(super) fn show(
    ground: &mut Ground,
    arguments: &HistoryArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let style = Style { zone: ground.zone.clone(), scale: arguments.scale, ..style() };
    let mut printer = Printer::styled(arguments.form, style);
    printer.start(streams).map_err(Failure::output)?;
    let mut written = Ok(());
    let mut failure = None;
    let mut damaged = Vec::new();
    let reader = ground.reader;
    let doubts = ground.doubts()?;
    let mut print = |index: u64, found: Found| match found {
        Err(error) => {
            damaged.push((index, error));
            ControlFlow::Continue(())
        }
        Ok((_, record)) => match row(reader, index, &record, &doubts) {
            Err(error) => {
                failure = Some(error);
                ControlFlow::Break(())
            }
            Ok(None) => ControlFlow::Continue(()),
            Ok(Some(row)) => {
                written = printer.row(streams, &row);
                if written.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
            }
        },
    };
    let read = match arguments.alert {
        Some(alert) => of_alert(ground, alert, arguments, &doubts, &mut print),
        None if arguments.in_doubt() => in_doubt(ground, arguments, &doubts, &mut print),
        None => in_order(ground, arguments, &mut print),
    };
    written.map_err(Failure::output)?;
    read.and(failure.map_or(Ok(()), Err)).map_err(|error| ground.failed(&error))?;
    ground.damaged.extend(damaged);
    printer.finish(streams).map_err(Failure::output)
}

/// A cycle as every report shows it, with what amends it and what puts it in doubt.
pub(super) fn row(
    reader: &Reader,
    index: u64,
    record: &Record,
    doubts: &Doubts,
) -> Result<Option<CycleRow>, LedgerError> {
    let Body::Cycle(cycle) = &record.body else { return Ok(None) };
    let machine = record.machine.as_deref().unwrap_or("-");
    let amendments = reader.amendments(index)?;
    let row = CycleRow::new(machine, cycle, Some(index)).recorded(record).amended(&amendments);
    let overtaken = overtaken(reader, doubts, (machine, index), cycle)?;
    Ok(Some(CycleRow { overtaken, ..row.in_doubt(&doubts.by(machine, index, cycle)) }))
}

type Each<'a> = &'a mut dyn FnMut(u64, Found) -> ControlFlow<()>;

fn filter(ground: &Ground, arguments: &HistoryArgs) -> CycleFilter {
    CycleFilter {
        machine: arguments.machine.clone(),
        from: ground.from,
        to: ground.to,
        verdicts: arguments.verdicts(),
        limit: arguments.limit,
        after_index: arguments.after,
    }
}

/// The cycles that passed and are in doubt, and those of the verdicts that were asked for.
fn in_doubt(
    ground: &Ground,
    arguments: &HistoryArgs,
    doubts: &Doubts,
    each: Each<'_>,
) -> Result<(), LedgerError> {
    let verdicts = arguments.verdicts();
    let whole = CycleFilter { limit: None, ..filter(ground, arguments) };
    in_pages(arguments, each, |order, each| {
        let mut left = arguments.limit.unwrap_or(usize::MAX);
        let mut give = |index: u64, found: Found| {
            let fits = match &found {
                Ok((_, record)) => is_wanted(arguments, index, record, doubts),
                // What it says nobody knows.
                Err(_) => true,
            };
            if !fits {
                return ControlFlow::Continue(());
            }
            left = left.saturating_sub(1);
            if each(index, found).is_break() || left == 0 {
                ControlFlow::Break(())
            } else {
                ControlFlow::Continue(())
            }
        };
        if verdicts.is_empty() {
            return passed_in_doubt(ground.reader, (order, &whole), doubts, &mut give);
        }
        let passed = Verdict::ALL.into_iter().filter(|verdict| verdict.is_good());
        let looked: BTreeSet<Verdict> = passed.chain(verdicts.iter().copied()).collect();
        let filter = CycleFilter { verdicts: looked.into_iter().collect(), ..whole.clone() };
        ground.reader.cycles_found(order, &filter, give)
    })
}

/// Whether it is a cycle of one of the verdicts that are asked for, or, where that is asked, passed and is in doubt.
fn is_wanted(arguments: &HistoryArgs, index: u64, record: &Record, doubts: &Doubts) -> bool {
    let Record { machine: Some(machine), body: Body::Cycle(cycle), .. } = record else { return false };
    let in_doubt = || !doubts.by(machine, index, cycle).is_empty();
    arguments.judged.iter().any(|judged| match judged {
        Judged::As(verdict) => *verdict == cycle.verdict,
        Judged::InDoubt => in_doubt(),
    })
}

/// The cycles that passed where some can be in doubt; no other is read.
fn passed_in_doubt(
    reader: &Reader,
    (order, filter): (Order, &CycleFilter),
    doubts: &Doubts,
    each: Each<'_>,
) -> Result<(), LedgerError> {
    let wanted = filter.machine.as_deref();
    let machines = doubts.machines().filter(|own| wanted.is_none_or(|wanted| wanted == *own));
    let stretches = doubts.stretches(wanted, None);
    let walk = |give: &mut dyn FnMut(u64) -> ControlFlow<()>| {
        reader.passed_of(order, machines, filter, |_, index| {
            if is_within(&stretches, index) { give(index) } else { ControlFlow::Continue(()) }
        })
    };
    reader.with_records(walk, each)
}

fn in_order(ground: &Ground, arguments: &HistoryArgs, each: Each<'_>) -> Result<(), LedgerError> {
    let filter = filter(ground, arguments);
    in_pages(arguments, each, |order, each| ground.reader.cycles_found(order, &filter, each))
}

/// In the order that was asked for; a limit without a page before it means the newest.
pub(super) fn in_pages(
    arguments: &HistoryArgs,
    each: Each<'_>,
    query: impl FnOnce(Order, Each<'_>) -> Result<(), LedgerError>,
) -> Result<(), LedgerError> {
    if arguments.newest_first {
        return query(Order::NewestFirst, each);
    }
    if arguments.limit.is_none() || arguments.after.is_some() || arguments.oldest {
        return query(Order::OldestFirst, each);
    }
    let mut newest = Vec::new();
    query(Order::NewestFirst, &mut |index, found| {
        newest.push((index, found));
        ControlFlow::Continue(())
    })?;
    for (index, found) in newest.into_iter().rev() {
        if each(index, found).is_break() {
            break;
        }
    }
    Ok(())
}

/// The cycles of an alert, as its page lists them: those that it counted, and those that it put in doubt.
fn of_alert(
    ground: &Ground,
    alert: u64,
    arguments: &HistoryArgs,
    doubts: &Doubts,
    each: Each<'_>,
) -> Result<(), LedgerError> {
    let mut damaged = Vec::new();
    let reach = Reach::read(ground.reader, AlertNumber(alert), |index, error| damaged.push((index, error)))?;
    // Which cycles it named nobody can say.
    for (index, error) in damaged {
        if each(index, Err(error)).is_break() {
            return Ok(());
        }
    }
    let own = |reach: &Reach| arguments.machine.as_ref().is_none_or(|name| *name == reach.machine);
    let Some(reach) = reach.filter(own) else { return Ok(()) };
    in_pages(arguments, each, |order, each| {
        let (mut left, mut after) = (arguments.limit.unwrap_or(usize::MAX), arguments.after);
        loop {
            let looked = reach.look(ground.reader, doubts, (order, after), (ground.from, ground.to))?;
            after = looked.racks.last().map(|(index, ..)| *index);
            for (index, found, is_own) in looked.racks {
                let fits = found.as_ref().map_or(true, |(_, record)| {
                    is_own && (arguments.judged.is_empty() || is_wanted(arguments, index, record, doubts))
                });
                if !fits {
                    continue;
                }
                left = left.saturating_sub(1);
                if each(index, found).is_break() || left == 0 {
                    return Ok(());
                }
            }
            if !looked.more {
                return Ok(());
            }
        }
    })
}

/// Gives one page of rows that are in order of their index, by the rules of every other list.
pub(super) fn page(mut rows: Vec<(u64, Found)>, arguments: &HistoryArgs, each: Each<'_>) {
    if arguments.newest_first {
        rows.reverse();
    }
    if let Some(after) = arguments.after {
        rows.retain(|(index, _)| if arguments.newest_first { *index < after } else { *index > after });
    }
    let limit = arguments.limit.unwrap_or(usize::MAX);
    if arguments.newest_first || arguments.after.is_some() {
        rows.truncate(limit);
    } else {
        rows.drain(..rows.len().saturating_sub(limit));
    }
    for (index, found) in rows {
        if each(index, found).is_break() {
            break;
        }
    }
}

/// Writes a line of the answer.
pub(super) fn line(streams: &mut Streams<'_>, text: &str) -> Result<(), Failure> {
    let write = |out: &mut dyn io::Write| writeln!(out, "{text}");
    write(streams.out).map_err(Failure::output)
}
