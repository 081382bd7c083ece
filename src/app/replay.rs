//! `replay`: judges the readings of a file, as fast as the core allows.
//!
//! There is no gateway's clock in a file: `now` is reckoned from the readings
//! ([`Arrival`]), and a tick is sent at the very instant it is due. At the end of the input
//! every machine is told so, and the last cycle is judged too.

use std::path::Path;
use std::sync::mpsc;
use std::time::Duration;

use super::arrival::Arrival;
use super::history::Printer;
use super::ledger::LedgerHandle;
use super::{Failure, Streams, configuration, ledger};
use crate::cli::ReplayArgs;
use crate::config::load::Loaded;
use crate::config::source::ReplaySource;
use crate::core::counted::Noun;
use crate::core::id::MachineId;
use crate::core::reader::Language;
use crate::core::record::{Body, Record, ServiceStop, StopCause};
use crate::core::site::Event;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::NewRecord;
use crate::probe::refusals::RefusalLog;
use crate::probe::replay::{Replay, ReplayError};
use crate::report::row::CycleRow;
use crate::runtime::clock::Clock;
use crate::runtime::gather::Gather;

/// Inputs of one commit.
const INPUTS_MANY: usize = 16_384;

pub(super) fn replay(arguments: &ReplayArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.files)?;
    let clock = Clock::system();
    let mut keeper = Keeper::open(&loaded, arguments.ledger.as_deref(), clock.now())?;
    let mut printer = Printer::new(arguments.form);
    printer.start(streams).map_err(Failure::output)?;
    let path = (arguments.trace.as_os_str() != "-").then(|| arguments.trace.clone());
    let directory = loaded.configuration.directory();
    let source = ReplaySource { path };
    let listening = clock.clone();
    let blocks = Replay::open(&source, directory, move || listening.now())
        .map_err(|error| trace_failure(&error, &arguments.trace))?;
    let started = clock.elapsed();
    let mut log = RefusalLog::default();
    let (mut samples, mut refused, mut cycles) = (0_u64, 0_u64, 0_u64);
    let mut arrival = Arrival::new(&loaded.configuration, keeper.gather.released());
    let mut failed = None;
    for block in blocks {
        let block = match block {
            Ok(block) => block,
            Err(error) => {
                failed = Some(trace_failure(&error, &arguments.trace));
                break;
            }
        };
        log.note("replay", clock.now(), &block.refusals);
        samples += block.samples.len() as u64;
        refused += block.refusals.len() as u64;
        for sample in block.samples {
            let at = arrival.of(sample);
            keeper.gather.tick_as_due(at);
            keeper.gather.apply(at, Event::Sample(sample));
        }
        cycles += keeper.keep(false, &mut printer, streams)?;
    }
    if let Some(now) = arrival.last() {
        for machine in 0..loaded.configuration.machines.len() {
            let machine = MachineId(u16::try_from(machine).unwrap_or(u16::MAX));
            keeper.gather.apply(now, Event::End(machine));
        }
    }
    let counts = keeper.gather.take_counts();
    if counts.late > 0 {
        let (late, repeated) = (counts.late, counts.repeated);
        tracing::warn!(
            late,
            repeated,
            "readings came too far behind what was judged before; they are not judged again"
        );
    }
    cycles += keeper.finish(clock.now(), &mut printer, streams)?;
    printer.finish(streams).map_err(Failure::output)?;
    if arguments.stats {
        let spent = clock.elapsed().saturating_sub(started);
        write_stats(streams, samples, refused, cycles, spent).map_err(Failure::output)?;
    }
    failed.map_or(Ok(()), |failed| Err(failed.into()))
}

fn write_stats(
    streams: &mut Streams<'_>,
    samples: u64,
    refused: u64,
    cycles: u64,
    spent: Duration,
) -> std::io::Result<()> {
    let rate = samples as f64 / spent.as_secs_f64().max(1e-9);
    let of = |what: Noun, count| what.of(count, Language::English);
    let (samples, cycles) = (of(Noun::Readings, samples), of(Noun::Cycles, cycles));
    let pieces = of(Noun::Pieces, refused);
    writeln!(
        streams.err,
        "{samples}, {pieces} refused, {cycles}, {:.3} s, {rate:.0} readings/s",
        spent.as_secs_f64()
    )
}

fn trace_failure(error: &ReplayError, trace: &Path) -> Diagnostic {
    let (slug, summary) = match error {
        ReplayError::Open { .. } => ("trace-open", "cannot open the file to replay"),
        ReplayError::Read { .. } => ("trace-read", "cannot read the file to replay to its end"),
    };
    let diagnostic = Diagnostic::error(slug, summary).place(trace.display().to_string());
    match std::error::Error::source(error) {
        Some(source) => diagnostic.because(source),
        None => diagnostic,
    }
    .advice("check the path and who may read it; what was read so far is judged")
}

/// The core, and the ledger where one is kept.
struct Keeper {
    gather: Gather,
    ledger: Option<LedgerHandle>,
}

impl Keeper {
    fn open(loaded: &Loaded, path: Option<&Path>, now: Timestamp) -> Result<Self, Failure> {
        match path {
            None => Ok(Self { gather: ledger::fresh(loaded), ledger: None }),
            Some(path) => {
                let (ledger, gather) = ledger::open_for_replay(loaded, path, now)?;
                Ok(Self { gather, ledger: Some(ledger) })
            }
        }
    }

    /// Keeps what was gathered and prints the cycles in it; returns their number. With a
    /// ledger this waits until enough is gathered, unless `all` is asked for.
    fn keep(&mut self, all: bool, printer: &mut Printer, streams: &mut Streams<'_>) -> Result<u64, Failure> {
        let Some(ledger) = &self.ledger else {
            let commit = self.gather.take();
            return print(&commit.records, None, printer, streams);
        };
        if !all && self.gather.inputs() < INPUTS_MANY {
            return Ok(0);
        }
        let commit = self.gather.take();
        let records = commit.records.clone();
        let (done, answer) = mpsc::sync_channel(1);
        // The receiver waits on the next line, so that the answer always finds it.
        ledger.submit(commit, Box::new(move |result| drop(done.send(result))));
        match answer.recv() {
            Ok(Ok(committed)) => print(&records, committed.first_index, printer, streams),
            Ok(Err(refused)) => Err(ledger::diagnose(&refused.error, ledger.path()).into()),
            Err(_) => Err(Diagnostic::error("bug", "the ledger's writer ended without an answer").into()),
        }
    }

    fn finish(
        &mut self,
        now: Timestamp,
        printer: &mut Printer,
        streams: &mut Streams<'_>,
    ) -> Result<u64, Failure> {
        if self.ledger.is_some() {
            let stop = ServiceStop { cause: StopCause::EndOfInput };
            self.gather.record(Record::new(now, None, Body::ServiceStop(stop)));
        }
        let cycles = self.keep(true, printer, streams)?;
        if let Some(ledger) = self.ledger.take() {
            let path = ledger.path().to_owned();
            ledger.close().map_err(|error| ledger::diagnose(&error, &path))?;
        }
        Ok(cycles)
    }
}

fn print(
    records: &[NewRecord],
    first_index: Option<u64>,
    printer: &mut Printer,
    streams: &mut Streams<'_>,
) -> Result<u64, Failure> {
    let mut cycles = 0;
    for (offset, new) in (0_u64..).zip(records) {
        if let Body::Cycle(cycle) = &new.record.body {
            let machine = new.record.machine.as_deref().unwrap_or("-");
            let row = CycleRow::new(machine, cycle, first_index.map(|first| first + offset))
                .recorded(&new.record)
                .amended(&[])
                .in_doubt(&[]);
            printer.row(streams, &row).map_err(Failure::output)?;
            cycles += 1;
        }
    }
    if cycles > 0 {
        streams.out.flush().map_err(Failure::output)?;
    }
    Ok(cycles)
}
