//! `import`: takes the readings of a file into the ledger as history.
//!
//! Readings, the cycles that come of them and the record of the import are one commit: an
//! import that was broken off was none. So a file is held in memory, and larger ones are
//! refused. The service must not run: its machines could not be told of readings before
//! their time, and would judge them as something new. What is sent to it meanwhile waits at
//! the broker.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read};
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use serde::Serialize;
use sha2::{Digest, Sha256};

use super::import_plan::{Judged, Past};
use super::{counted, signed, tell};
use jiff::tz::TimeZone;

use crate::app::ledger::LedgerHandle;
use crate::app::{Failure, Streams, configuration, in_force, ledger, work};
use crate::cli::ImportArgs;
use crate::config::load::Loaded;
use crate::config::resolve::Configuration;
use crate::core::counted::Noun;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words;
use crate::core::id::MachineId;
use crate::core::merkle::Hash;
use crate::core::reader::Language;
use crate::core::reading::Sample;
use crate::core::record::{Body, Import, Record};
use crate::core::site::Event;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{LedgerError, NewRecord, Reader, present};
use crate::probe::refusals::RefusalLog;
use crate::probe::replay::Replay;
use crate::report::local;
use crate::runtime::clock::Clock;
use crate::runtime::gather::Gather;

/// Most readings of one import (own choice: almost three days of two probes at 4 Hz).
const READINGS_MAX: usize = 2_000_000;

/// What `import --json` prints.
#[derive(Serialize)]
struct Told {
    #[serde(flatten)]
    import: Import,
    record: u64,
    refused: u64,
    judged: BTreeMap<String, u64>,
    cycles_known: u64,
}

/// `import`.
pub(in crate::app) fn import(arguments: &ImportArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let path = &loaded.configuration.ledger.path;
    let by = signed(Some(&arguments.by))?;
    present(path).map_err(|error| ledger::diagnose(&error, path))?;
    let now = Clock::system().now();
    let read = read(&arguments.file, &loaded, now)?;
    let (handle, gather) = ledger::open_for_import(&loaded, path, now)?;
    let told = take_over(&handle, gather, &loaded, read, (&arguments.file, by), now);
    let closed = handle.close().map_err(|error| ledger::diagnose(&error, path));
    let told = told?;
    closed?;
    let lines = lines(&told, &loaded.configuration.alerts.zone);
    tell(streams, arguments.json, &told, &lines)
}

fn refused(summary: impl Into<String>, advice: &str, file: &Path) -> Failure {
    Diagnostic::error("keeping-refused", summary.into())
        .place(file.display().to_string())
        .advice(advice)
        .into()
}

/// The readings of a file.
struct Held {
    sha256: String,
    /// By machine, in order of time.
    samples: BTreeMap<MachineId, Vec<Sample>>,
    refused: u64,
}

/// What is to be put on record of it.
struct Found {
    import: Import,
    cycles: Vec<NewRecord>,
    cycles_known: u64,
    refused: u64,
}

/// Hashes what is read through it.
struct Hashing {
    file: File,
    digest: Arc<Mutex<Sha256>>,
}

impl Read for Hashing {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.file.read(buffer)?;
        self.digest.lock().unwrap_or_else(PoisonError::into_inner).update(&buffer[..count]);
        Ok(count)
    }
}

fn read(path: &Path, loaded: &Loaded, now: Timestamp) -> Result<Held, Failure> {
    let broken = |slug: &str, summary: &str, error: &dyn std::error::Error| {
        let diagnostic = Diagnostic::error(slug, summary).place(path.display().to_string());
        diagnostic
            .cause(crate::core::causes::chain(error))
            .advice("nothing was imported; check the path and who may read it")
    };
    let file =
        File::open(path).map_err(|error| broken("trace-open", "cannot open the file to import", &error))?;
    let digest = Arc::new(Mutex::new(Sha256::new()));
    let hashing = Hashing { file, digest: Arc::clone(&digest) };
    let ahead = now.plus(loaded.configuration.ahead_max);
    let mut log = RefusalLog::default();
    let (mut samples, mut refused_count) = (Vec::new(), 0);
    for block in Replay::new(hashing, loaded.configuration.directory(), || now) {
        let block = block
            .map_err(|error| broken("trace-read", "cannot read the file to import to its end", &error))?;
        log.note("import", now, &block.refusals);
        let before = samples.len() + block.samples.len();
        samples.extend(block.samples.into_iter().filter(|sample| sample.at <= ahead));
        refused_count += (block.refusals.len() + before - samples.len()) as u64;
        if samples.len() > READINGS_MAX {
            let summary = format!("the file holds more than {READINGS_MAX} readings");
            return Err(refused(summary, "split it, such as by days, and import the parts in order", path));
        }
    }
    if samples.is_empty() {
        return Err(nothing_in(path, refused_count).into());
    }
    let digest: [u8; 32] = digest.lock().unwrap_or_else(PoisonError::into_inner).clone().finalize().into();
    let mut by_machine: BTreeMap<MachineId, Vec<Sample>> = BTreeMap::new();
    for sample in samples {
        let machine = loaded.configuration.channels[usize::from(sample.channel.0)].machine;
        by_machine.entry(machine).or_default().push(sample);
    }
    by_machine.values_mut().for_each(|samples| samples.sort_by_key(|sample| sample.at));
    Ok(Held { sha256: Hash(digest).to_string(), samples: by_machine, refused: refused_count })
}

/// A file of which no reading can be taken: it is not called imported, so that it, or what was meant, can be.
fn nothing_in(path: &Path, refused: u64) -> Diagnostic {
    let diagnostic = Diagnostic::error("trace-read", "no reading of a configured probe is in this file")
        .place(path.display().to_string());
    let diagnostic = if refused > 0 {
        let pieces = Noun::Pieces.of(refused, Language::English);
        diagnostic.cause(format!("{pieces} could not be used"))
    } else {
        diagnostic.cause("it holds nothing at all")
    };
    diagnostic
        .advice("nothing was imported; compare the names in the file with the probes of each [[machine]]")
        .advice("the file must be SenML, one pack a line")
}

fn take_over(
    handle: &LedgerHandle,
    mut gather: Gather,
    loaded: &Loaded,
    held: Held,
    (file, by): (&Path, String),
    now: Timestamp,
) -> Result<Told, Failure> {
    let failed = |error: LedgerError| Failure::from(ledger::diagnose(&error, handle.path()));
    let reader = Reader::open(handle.path()).map_err(failed)?;
    if let Some((index, recorded, import)) = known(&reader, &held.sha256).map_err(failed)? {
        let at = local::minute_and_zone(recorded, &loaded.configuration.alerts.zone);
        let summary =
            format!("this file was imported on {at} by {} (record {index}, as «{}»)", import.by, import.file);
        return Err(refused(summary, "nothing: its readings are on record", file));
    }
    let every = || held.samples.values().flatten();
    let mut import = Import {
        file: file.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        sha256: held.sha256.clone(),
        readings: every().count() as u64,
        repeats: 0,
        from: every().map(|sample| sample.at).min(),
        to: every().map(|sample| sample.at).max(),
        by,
    };
    let pruned = reader.pruned_before().map_err(failed)?.unwrap_or(Timestamp::MIN);
    let file = in_force::on_file(&reader).map_err(failed)?;
    let (mut cycles, mut cycles_known) = (Vec::new(), 0);
    for (machine, samples) in held.samples {
        let fresh = without_repeats(&reader, &loaded.configuration, &samples).map_err(failed)?;
        import.repeats += (samples.len() - fresh.len()) as u64;
        let released = match gather.released_of(machine) {
            Some(released) => released,
            None => newest(&reader, &loaded.configuration, machine, &samples).map_err(failed)?,
        };
        let (past, news) = fresh.split_at(fresh.partition_point(|sample| sample.at <= released));
        let work = work::of_past(&loaded.configuration.machines[usize::from(machine.0)].name, &reader);
        let around = Past {
            work: &work.map_err(failed)?,
            configuration: &loaded.configuration,
            reader: &reader,
            file: &file,
            machine,
            samples: past,
            released,
            pruned,
            now,
        };
        let Judged { records, known } = around.judge().map_err(failed)?;
        cycles.extend(records);
        cycles_known += known;
        past.iter().for_each(|sample| gather.store(now, *sample));
        news.iter().for_each(|sample| gather.apply(now, Event::Sample(*sample)));
    }
    gather.settle(now);
    store(handle, gather, Found { import, cycles, cycles_known, refused: held.refused }, now)
}

/// Readings, cycles and the import itself, in one commit.
fn store(handle: &LedgerHandle, mut gather: Gather, found: Found, now: Timestamp) -> Result<Told, Failure> {
    let Found { import, cycles, cycles_known, refused } = found;
    let mut commit = gather.take();
    commit.records.extend(cycles);
    let mut judged: BTreeMap<String, u64> = BTreeMap::new();
    for verdict in commit.records.iter().filter_map(|new| verdict_of(&new.record)) {
        *judged.entry(verdict.to_string()).or_default() += 1;
    }
    let record = Record::new(now, None, Body::Import(import.clone()));
    let place = commit.records.len() as u64;
    commit.records.push(NewRecord { record, trace: None });
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .map_err(|error| crate::app::run::bug("cannot start the runtime", &error))?;
    let committed = runtime.block_on(handle.commit(commit));
    let committed = committed.map_err(|error| Failure::from(ledger::diagnose(&error, handle.path())))?;
    let record = committed.first_index.unwrap_or(0) + place;
    Ok(Told { import, record, refused, judged, cycles_known })
}

fn verdict_of(record: &Record) -> Option<Verdict> {
    if let Body::Cycle(cycle) = &record.body { Some(cycle.verdict) } else { None }
}

/// The import of a file of this hash, where there was one.
fn known(reader: &Reader, sha256: &str) -> Result<Option<(u64, Timestamp, Import)>, LedgerError> {
    let mut found = None;
    reader.records_of(&["import"], 0, |index, _, record| {
        if let Body::Import(import) = record.body
            && import.sha256 == sha256
        {
            found = Some((index, record.recorded, import));
            return ControlFlow::Break(());
        }
        ControlFlow::Continue(())
    })?;
    Ok(found)
}

/// The newest reading on record of a machine that knows nothing of its past, such as after a change
/// of its configuration: what is older was judged before.
fn newest(
    reader: &Reader,
    configuration: &Configuration,
    machine: MachineId,
    samples: &[Sample],
) -> Result<Timestamp, LedgerError> {
    let first = samples.first().map_or(Timestamp::MAX, |sample| sample.at);
    let mut newest = Timestamp::MIN;
    for channel in configuration.channels.iter().filter(|channel| channel.machine == machine) {
        let readings = reader.readings(&channel.name.to_string(), first, Timestamp::MAX)?;
        newest = newest.max(readings.last().map_or(Timestamp::MIN, |reading| reading.at));
    }
    Ok(newest)
}

/// Those that are not on record with the same channel, time and value.
fn without_repeats(
    reader: &Reader,
    configuration: &Configuration,
    samples: &[Sample],
) -> Result<Vec<Sample>, LedgerError> {
    let (Some(first), Some(last)) = (samples.first(), samples.last()) else { return Ok(Vec::new()) };
    let mut kept = BTreeMap::new();
    for channel in &configuration.channels {
        if samples.iter().any(|sample| sample.channel == channel.id) {
            let to = last.at.just_after();
            kept.insert(channel.id, reader.readings(&channel.name.to_string(), first.at, to)?);
        }
    }
    let is_kept = |sample: &Sample| {
        let own = kept.get(&sample.channel).map_or(&[][..], Vec::as_slice);
        let begin = own.partition_point(|reading| reading.at < sample.at);
        let same_time = own[begin..].iter().take_while(|reading| reading.at == sample.at);
        same_time.into_iter().any(|reading| reading.value == sample.value)
    };
    Ok(samples.iter().copied().filter(|sample| !is_kept(sample)).collect())
}

fn lines(told: &Told, zone: &TimeZone) -> Vec<String> {
    let Told { import, record, refused, judged, cycles_known } = told;
    let mut lines = vec![match (import.from, import.to) {
        (Some(from), Some(to)) => format!(
            "{} of {}, from {} to {}: {} stored, {} on record already.",
            Noun::Readings.of(import.readings, Language::English),
            import.file,
            local::minute(from, zone),
            local::minute_and_zone(to, zone),
            import.readings - import.repeats,
            import.repeats
        ),
        _ => format!("{} holds no reading of a configured probe.", import.file),
    }];
    if *refused > 0 {
        lines.push(format!("{} could not be used.", Noun::Pieces.of(*refused, Language::English)));
    }
    let racks: u64 = judged.values().sum();
    let word = |code: &String| {
        let verdict = code.parse().ok();
        verdict.map_or(code.clone(), |verdict| words::verdict(verdict, Language::English).to_owned())
    };
    let each: Vec<String> = judged.iter().map(|(code, racks)| format!("{racks} {}", word(code))).collect();
    lines.push(match racks {
        0 => "No rack was judged.".to_owned(),
        _ => format!("{} judged, as late: {}.", Noun::Racks.of(racks, Language::English), each.join(", ")),
    });
    if *cycles_known > 0 {
        lines.push(format!(
            "{} on record already and not judged again.",
            counted(*cycles_known, "rack is", "racks are")
        ));
    }
    lines.push(format!("The import is record {record}; its file has the SHA-256 {}.", import.sha256));
    lines
}
