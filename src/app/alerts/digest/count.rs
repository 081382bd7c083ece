//! The numbers of a digest, out of the ledger.

use std::time::Duration;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::super::missed::missed;
use super::super::past::Raised;
use super::super::{doubts, story};
use crate::alert::digest::tally::{Standing, Tally};
use crate::alert::digest::{Checkpoint, Digest, Span};
use crate::app::history::watched::Watch;
use crate::core::alert::Settings;
use crate::core::alert::hours::Stretch;
use crate::core::checkpoint::Checkpoint as Signed;
use crate::core::cycle::plate::Profile;
use crate::core::note::Note;
use crate::core::record::{Body, Cycle};
use crate::core::time::Timestamp;
use crate::ledger::{Known, LedgerError, Reader};

/// What is counted, and when.
#[derive(Clone, Copy)]
pub(super) struct Asked {
    pub(super) span: Span,
    pub(super) from: Timestamp,
    pub(super) to: Timestamp,
    pub(super) now: Timestamp,
}

/// A cycle of a span, as a picture shows it.
#[derive(Debug)]
pub(super) struct Washed {
    pub(super) machine: String,
    pub(super) cycle: Cycle,
    /// Whether it passed and is in doubt since.
    pub(super) in_doubt: bool,
}

/// Counts the records of a span; also its cycles in order of time, for a picture.
pub(super) fn tell(
    reader: &Reader,
    Asked { span, from, to, now }: Asked,
    settings: &Settings,
    profiles: &[Profile],
    source: &str,
) -> Result<(Digest, Vec<Washed>), LedgerError> {
    let machines = profiles.iter().map(|profile| profile.name.clone());
    let tally = Tally::new(span, from, to, settings.zone.clone(), machines).judging(profiles.to_vec());
    let mut tally = tally.doubting(doubts::read(reader, reader.size()?)?);
    let mut cycles = Vec::new();
    for index in first_since(reader, from)?..reader.size()? {
        let Ok((_, record)) = reader.record(index)? else {
            tally.take_unreadable();
            continue;
        };
        let in_doubt = tally.take(index, &record);
        if let (Some(in_doubt), Body::Cycle(cycle), Some(machine)) = (in_doubt, record.body, record.machine) {
            cycles.push(Washed { machine, cycle: *cycle, in_doubt });
        }
    }
    cycles.sort_by_key(|washed| washed.cycle.rinse_started);
    let open = story::all(reader)?.0.into_values().filter(|story| story.closed.is_none());
    let mut raised = Raised::of(reader);
    let open = open.map(|mut told| story::fill(&mut raised, &mut told).map(|()| told.alert));
    let open = open.collect::<Result<_, _>>()?;
    let stretch = Stretch { from, to };
    // Records that cannot be read are counted above.
    let (watch, _) = Watch::read(reader, (&Known::default(), Some(settings)), stretch, now)?;
    let missed_checks = not_made(reader, stretch)?;
    let standing = Standing { open, missed_checks, checkpoint: Some(checkpoint(reader, source)?) };
    Ok((tally.finish(standing, |machine| watch.of(machine, stretch)), cycles))
}

/// How many checks were due in a span and not made in time, by the reckoning of the history.
fn not_made(reader: &Reader, span: Stretch) -> Result<u64, LedgerError> {
    // Records that cannot be read are counted by the tally.
    let missed = missed(reader, None, (Some(span.from), span.to), &mut Vec::new())?;
    let is_due = |due: Timestamp| span.from <= due && due < span.to;
    Ok(missed.reckoned().iter().filter(|one| is_due(one.check.since)).count() as u64)
}

/// The newest signed checkpoint; where there is none, the ledger as it is, without a signature.
fn checkpoint(reader: &Reader, source: &str) -> Result<Checkpoint, LedgerError> {
    let (head, note) = (reader.head()?, reader.newest_checkpoint()?.map(|newest| newest.note));
    let signed = note.as_deref().and_then(|note| Note::parse(note).ok());
    let said = signed.and_then(|note| Signed::parse(note.unverified_text()).ok());
    let (origin, head) = match said {
        Some(said) => (said.origin, said.head),
        None => (source.trim_start_matches('/').to_owned(), head),
    };
    Ok(Checkpoint { origin, records: head.size, root: STANDARD.encode(head.root.0), note })
}

/// Index of the first record since an instant, found by halves: records are in order of time but
/// for clocks that were set, so that an hour before it is taken too.
fn first_since(reader: &Reader, from: Timestamp) -> Result<u64, LedgerError> {
    let from = from.minus(Duration::from_secs(3_600));
    let (mut low, mut high) = (0, reader.size()?);
    while low < high {
        let middle = low + (high - low) / 2;
        // Of those that are damaged nobody knows the time: the next one tells.
        let mut recorded = None;
        for index in middle..high {
            if let Ok((_, record)) = reader.record(index)? {
                recorded = Some(record.recorded);
                break;
            }
        }
        if recorded.is_some_and(|recorded| recorded < from) { low = middle + 1 } else { high = middle }
    }
    Ok(low)
}
