//! Examines a file of evidence, line by line. Nothing is believed because it is written there.

mod seal;

use std::collections::BTreeSet;

use super::findings::{Finding, Findings, Flaw, Uncheckable};
use super::{EVIDENCE_FORMAT, Entry, Header, TRAILER_MARK, Trailer};
use crate::core::alert::AlertNumber;
use crate::core::checkpoint::Checkpoint;
use crate::core::cycle::verdict::Verdict;
use crate::core::effect::Trace;
use crate::core::merkle::{Hash, RangeFold, TreeHead, leaf_hash, verify_inclusion};
use crate::core::note::{Note, VerifyingKey};
use crate::core::record::{
    AlertAcknowledged, AlertChanged, AlertCleared, AlertClosed, Body, Record, SigningKeyChange,
};
use crate::core::time::Timestamp;

/// What an auditor brings along.
#[derive(Clone, Debug)]
pub struct Trust {
    /// The public keys; one is enough, and it may be an older one that vouches for the present.
    pub keys: Vec<VerifyingKey>,
    /// Checkpoints kept elsewhere, whoever signed them; none was changed since, as far as the keys tell.
    pub kept: Vec<Checkpoint>,
}

/// A record of the file whose bytes have the hash beside them. Whether that hash is sealed is
/// known when the file has ended.
#[derive(Clone, PartialEq, Debug)]
pub struct Seen {
    /// Index of the record.
    pub index: u64,
    /// Line of the file, from 1.
    pub line: u64,
    /// Hash of its bytes.
    pub leaf: Hash,
    /// The record.
    pub record: Record,
    /// Whether the readings of its cycle are with it.
    pub has_trace: bool,
}

/// What came of a kept checkpoint.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kept {
    /// The records up to it are those it sealed.
    Holds,
    /// They are not.
    Contradicts,
    /// It ends outside the stretch, so that this file cannot tell.
    Outside,
    /// It is of another ledger.
    OtherLedger,
}

/// The key that seals a file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SealedBy {
    /// The key, as `name+id+base64`.
    pub key: String,
    /// Record since which it is in force, where the file has it.
    pub since: Option<u64>,
    /// When the checkpoint was signed, as the key says with its signature.
    pub at: Option<Timestamp>,
}

/// What came out.
#[derive(Debug)]
pub struct Examined {
    /// The first line.
    pub header: Header,
    /// What does not hold.
    pub findings: Findings,
    /// The key that seals it, where one does that may.
    pub sealed_by: Option<SealedBy>,
    /// What was counted.
    pub counted: Trailer,
    /// Cycles that plainly passed, whose readings are on record and not in the file.
    pub readings_left_out: u64,
    /// When the first and the last record of the stretch were made.
    pub recorded: Option<(Timestamp, Timestamp)>,
    /// Size of each kept checkpoint and what came of it.
    pub kept: Vec<(u64, Kept)>,
}

impl Examined {
    /// Whether the last record the checkpoint counts was made inside the span: what followed in
    /// the span is not in the file.
    #[must_use]
    pub fn ends_with_the_checkpoint(&self) -> bool {
        let last = self.recorded.map(|(_, last)| last);
        self.header.end == self.header.size && last.is_some_and(|last| last < self.header.to)
    }
}

/// Takes a file line by line.
#[derive(Debug)]
pub struct Examiner {
    trust: Trust,
    header: Header,
    note: Option<Note>,
    head: Option<TreeHead>,
    fold: Option<RangeFold>,
    line: u64,
    last: Option<u64>,
    next_inside: u64,
    holes: bool,
    changes: Vec<(u64, SigningKeyChange)>,
    /// Sealed records outside the stretch.
    apart: BTreeSet<u64>,
    /// Alerts whose beginning was met.
    raised: BTreeSet<AlertNumber>,
    readings_left_out: u64,
    recorded: Option<(Timestamp, Timestamp)>,
    kept: Vec<(u64, Kept)>,
    counted: Trailer,
    trailer: Option<Trailer>,
    findings: Findings,
}

impl Examiner {
    /// Begins with the first line, without its end.
    ///
    /// # Errors
    /// [`Uncheckable`] where it is not the first line of evidence of a known form.
    pub fn start(line: &[u8], trust: Trust) -> Result<Self, Uncheckable> {
        #[derive(serde::Deserialize)]
        struct Version {
            v: u32,
        }
        if line.is_empty() {
            return Err(Uncheckable::Empty);
        }
        let version: Version = serde_json::from_slice(line).map_err(Uncheckable::Header)?;
        if version.v != EVIDENCE_FORMAT {
            return Err(Uncheckable::Version { found: version.v, known: EVIDENCE_FORMAT });
        }
        let header: Header = serde_json::from_slice(line).map_err(Uncheckable::Header)?;
        let mut examiner = Self {
            next_inside: header.first,
            kept: trust.kept.iter().map(|kept| (kept.head.size, Kept::Outside)).collect(),
            trust,
            header,
            note: None,
            head: None,
            fold: None,
            line: 1,
            last: None,
            holes: false,
            changes: Vec::new(),
            apart: BTreeSet::new(),
            raised: BTreeSet::new(),
            readings_left_out: 0,
            recorded: None,
            counted: Trailer::default(),
            trailer: None,
            findings: Findings::default(),
        };
        examiner.read_checkpoint();
        Ok(examiner)
    }

    /// The first line.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    fn read_checkpoint(&mut self) {
        let read = Note::parse(&self.header.checkpoint)
            .map_err(Into::into)
            .and_then(|note| Ok((Checkpoint::parse(note.unverified_text())?, note)));
        let (Checkpoint { origin, head, .. }, note) = match read {
            Ok(read) => read,
            Err(error) => return self.tell(None, Flaw::Checkpoint(error)),
        };
        for (kept, answer) in self.trust.kept.iter().zip(&mut self.kept) {
            if kept.origin != origin {
                answer.1 = Kept::OtherLedger;
            }
        }
        (self.head, self.note) = (Some(head), Some(note));
        let Header { first, end, size, .. } = self.header;
        if size != head.size {
            self.tell(None, Flaw::Size { said: size, sealed: head.size });
        }
        if first >= end || end > head.size {
            return self.tell(None, Flaw::Bounds { first, end, size: head.size });
        }
        for (kept, answer) in self.trust.kept.iter().zip(&mut self.kept) {
            if answer.1 == Kept::Outside && kept.head.size == head.size {
                answer.1 = if kept.head.root == head.root { Kept::Holds } else { Kept::Contradicts };
            }
        }
        match RangeFold::start(first, end, &self.header.proof()) {
            Ok(fold) => self.fold = Some(fold),
            Err(invalid) => self.tell(None, Flaw::Stretch(invalid)),
        }
    }

    /// Takes the next line, without its end; gives the record where its bytes have their hash.
    pub fn line(&mut self, line: &[u8]) -> Option<Seen> {
        self.line += 1;
        if self.trailer.is_some() {
            self.tell(None, Flaw::AfterEnd);
            return None;
        }
        let Ok(text) = std::str::from_utf8(line) else {
            self.tell(None, Flaw::NotText);
            return None;
        };
        if line.starts_with(TRAILER_MARK) {
            match serde_json::from_str(text) {
                Ok(trailer) => self.trailer = Some(trailer),
                Err(error) => self.tell(None, Flaw::Line(error)),
            }
            return None;
        }
        match serde_json::from_str::<Entry<'_>>(text) {
            Ok(entry) => self.entry(&entry),
            Err(error) => {
                self.tell(None, Flaw::Line(error));
                None
            }
        }
    }

    /// Notes a line that was too long to be read.
    pub fn long_line(&mut self) {
        self.line += 1;
        self.tell(None, Flaw::LongLine);
    }

    /// Notes what the caller found about a record or the whole file.
    pub fn note(&mut self, line: Option<u64>, record: Option<&Seen>, flaw: Flaw) {
        let (index, recorded) = (record.map(|seen| seen.index), record.map(|seen| seen.record.recorded));
        self.findings.push(Finding { line, record: index, recorded, flaw });
    }

    fn tell(&mut self, record: Option<(u64, Option<Timestamp>)>, flaw: Flaw) {
        let (index, recorded) = record.map_or((None, None), |(index, at)| (Some(index), at));
        self.findings.push(Finding { line: Some(self.line), record: index, recorded, flaw });
    }

    fn entry(&mut self, entry: &Entry<'_>) -> Option<Seen> {
        let index = entry.index;
        let bytes = entry.record.as_bytes();
        let record = Record::from_bytes(bytes);
        let about = Some((index, record.as_ref().ok().map(|record| record.recorded)));
        let inside = (self.header.first..self.header.end).contains(&index);
        if inside == entry.proof.is_some() {
            self.tell(about, Flaw::Place { inside });
        }
        if self.last.is_some_and(|last| index <= last) {
            self.tell(about, Flaw::OutOfOrder);
            return None;
        }
        self.last = Some(index);
        let leaf = entry.leaf.0;
        if inside {
            self.counted.records += 1;
            self.inside(index, leaf);
        } else {
            self.counted.apart += 1;
            if !self.is_sealed_apart(entry, about) {
                return None;
            }
            self.apart.insert(index);
        }
        if let Some(trace) = &entry.trace {
            self.counted.traces += 1;
            self.trace(trace, record.as_ref().ok(), about);
        }
        if leaf_hash(bytes) != leaf {
            self.tell(about, Flaw::Changed);
            return None;
        }
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                self.tell(about, Flaw::Record(error));
                return None;
            }
        };
        if inside {
            let first = self.recorded.map_or(record.recorded, |(first, _)| first);
            self.recorded = Some((first, record.recorded));
        }
        if let Body::SigningKey(change) = &record.body {
            self.changes.push((index, change.as_ref().clone()));
        }
        self.lacks(index, inside, &record, entry.trace.is_some());
        Some(Seen { index, line: self.line, leaf, record, has_trace: entry.trace.is_some() })
    }

    /// Says what a record names and the file lacks. What is outside the stretch has nothing that
    /// ends its list but the records that speak of it.
    fn lacks(&mut self, index: u64, inside: bool, record: &Record, has_trace: bool) {
        let about = Some((index, Some(record.recorded)));
        let Header { first, end, .. } = self.header;
        match &record.body {
            Body::Cycle(cycle) if cycle.trace_sha256.is_some() && !has_trace => {
                if cycle.verdict == Verdict::Pass {
                    self.readings_left_out += 1;
                } else {
                    self.tell(about, Flaw::TraceMissing);
                }
            }
            Body::Amendment(amendment) if index >= first => {
                let of = amendment.of;
                if !(first..end).contains(&of) && !self.apart.contains(&of) {
                    self.tell(about, Flaw::AmendedMissing { of });
                }
            }
            Body::AlertRaised(raised) => {
                self.raised.insert(raised.alert);
            }
            Body::AlertChanged(AlertChanged { alert, .. })
            | Body::AlertAcknowledged(AlertAcknowledged { alert, .. })
            | Body::AlertCleared(AlertCleared { alert, .. })
            | Body::AlertClosed(AlertClosed { alert, .. }) => {
                if inside && !self.raised.contains(alert) {
                    self.tell(about, Flaw::AlertMissing { alert: alert.0 });
                }
            }
            Body::Cycle(_)
            | Body::Amendment(_)
            | Body::Gap(_)
            | Body::Check(_)
            | Body::ServiceStart(_)
            | Body::ServiceStop(_)
            | Body::ClockStep(_)
            | Body::ConfigurationChange(_)
            | Body::MachineFailure(_)
            | Body::CorrectiveAction(_)
            | Body::Notification(_)
            | Body::Maintenance(_)
            | Body::Note(_)
            | Body::SigningKey(_)
            | Body::LawfulHold(_)
            | Body::Pruned(_)
            | Body::Import(_)
            | Body::Restored(_)
            | Body::Calibration(_)
            | Body::Response(_)
            | Body::WiringProof(_)
            | Body::SignOff(_)
            | Body::Access(_) => {}
        }
    }

    fn inside(&mut self, index: u64, leaf: Hash) {
        self.miss_up_to(index);
        self.next_inside = index + 1;
        let Some(fold) = &mut self.fold else { return };
        fold.push(leaf);
        if self.holes {
            return;
        }
        for (place, head) in self.trust.kept.iter().map(|kept| kept.head).enumerate() {
            if head.size == index + 1 && self.kept[place].1 == Kept::Outside {
                self.kept[place].1 =
                    if fold.root_so_far() == head.root { Kept::Holds } else { Kept::Contradicts };
            }
        }
    }

    fn miss_up_to(&mut self, index: u64) {
        let from = self.next_inside;
        if from < index {
            self.holes = true;
            self.tell(None, Flaw::Missing { from, last: index - 1 });
        }
    }

    /// What is not proved to be sealed tells nothing, of keys least of all.
    fn is_sealed_apart(&mut self, entry: &Entry<'_>, about: Option<(u64, Option<Timestamp>)>) -> bool {
        let (Some(head), Some(proof)) = (self.head, &entry.proof) else { return false };
        let proof: Vec<Hash> = proof.iter().map(|hex| hex.0).collect();
        let proved = verify_inclusion(&entry.leaf.0, entry.index, &proof, &head);
        if let Err(invalid) = proved {
            self.tell(about, Flaw::Apart(invalid));
        }
        proved.is_ok()
    }

    fn trace(&mut self, trace: &Trace, record: Option<&Record>, about: Option<(u64, Option<Timestamp>)>) {
        let cycle =
            record.and_then(|record| if let Body::Cycle(cycle) = &record.body { Some(cycle) } else { None });
        let named = cycle.and_then(|cycle| cycle.trace_sha256.as_deref());
        let found = trace.sha256().to_string();
        match named {
            None => self.tell(about, Flaw::TraceOfNothing),
            Some(named) if named == found => {}
            Some(_) => self.tell(about, Flaw::Trace),
        }
    }

    /// Ends the file.
    #[must_use]
    pub fn finish(mut self) -> Examined {
        self.count();
        self.miss_up_to(self.header.end);
        if let (Some(fold), Some(head), false) = (self.fold.take(), self.head, self.holes)
            && let Err(invalid) = fold.finish(&head)
        {
            self.findings.push(Finding {
                line: None,
                record: None,
                recorded: None,
                flaw: Flaw::Stretch(invalid),
            });
        }
        self.line = 1;
        self.reach();
        let sealed_by = self.seal();
        for (size, kept) in self.kept.clone() {
            if kept == Kept::Contradicts {
                self.tell(None, Flaw::Kept { size });
            }
        }
        Examined {
            header: self.header,
            findings: self.findings,
            sealed_by,
            counted: self.counted,
            readings_left_out: self.readings_left_out,
            recorded: self.recorded,
            kept: self.kept,
        }
    }

    fn count(&mut self) {
        let Some(said) = self.trailer else { return self.tell(None, Flaw::Cut) };
        for (what, said, found) in [
            ("records in the stretch", said.records, self.counted.records),
            ("records apart from it", said.apart, self.counted.apart),
            ("traces", said.traces, self.counted.traces),
        ] {
            if said != found {
                self.tell(None, Flaw::Count { what, said, found });
            }
        }
    }

    fn reach(&mut self) {
        let Some((first, last)) = self.recorded else { return };
        if self.header.first > 0 && first >= self.header.from {
            self.tell(None, Flaw::BeginsLate);
        }
        if self.head.is_some_and(|head| self.header.end < head.size) && last < self.header.to {
            self.tell(None, Flaw::EndsEarly);
        }
    }
}
