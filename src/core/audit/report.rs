//! What an audit came to.

use std::fmt;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::core::keys::KeyChain;
use crate::core::merkle::Frontier;
use crate::core::note::VerifyingKey;
use crate::core::time::Timestamp;

use super::finding::{BesideFault, Finding, Seal};
use super::judge::{Judged, Proved, Trust, judge_fits, judge_signatures};
use super::seals::{Signature, short};
use super::{Audit, Bounded, Standing};

/// Longest time for which records wait for a checkpoint as a rule: one is made every hour.
const UNSEALED_MAX: Duration = Duration::from_secs(2 * 3600);

/// The answer.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Everything that was checked holds.
    Whole,
    /// Something does not.
    NotWhole,
    /// There is nothing to check it against.
    NotChecked,
}

/// What became of a checkpoint that was kept elsewhere.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum KeptAnswer {
    /// The records it speaks of are the same.
    Fits,
    /// They are not.
    Differs,
    /// There are not so many.
    CutBack,
    /// One of them is not to be had.
    NotComparable,
    /// It is of another ledger, so that it says nothing of this one.
    OtherLedger,
}

/// A checkpoint that was kept elsewhere.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Kept {
    /// The checkpoint.
    #[serde(flatten)]
    pub seal: Seal,
    /// What became of it.
    pub answer: KeptAnswer,
    /// Name and id of the key that signed it, where that is of this ledger or was given.
    pub signed_by: Option<String>,
    /// What the ledger it speaks of is called.
    pub origin: String,
}

/// Something to know that is no fault.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
#[serde(tag = "remark", rename_all = "kebab-case")]
pub enum Remark {
    /// The secret key was lost on the way.
    KeyLost {
        /// The record that says so.
        record: u64,
        /// Name and id of the key that came then.
        key: String,
    },
    /// No key that is known signed a kept checkpoint; its root was compared all the same.
    KeptUnsigned {
        /// The file.
        file: String,
    },
    /// Records wait longer for a checkpoint than they should.
    LongUnsealed {
        /// Since when.
        since: Timestamp,
    },
    /// The times of checkpoints are not signed: they are the gateway's own word.
    TimesNotSigned,
    /// Traces whose hash does not stand in their record, so that nothing proves them.
    TracesWithoutHash {
        /// How many.
        count: u64,
    },
    /// What holds is signed by an earlier key alone, which is known from the ledger's own records.
    EarlierKeyOnly {
        /// Name and id of that key.
        key: String,
    },
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::KeyLost { record, key } => write!(
                f,
                "the secret key was lost: from record {record} on «{key}» signs, and nobody vouches for it but \
                 whoever handed it to you"
            ),
            Self::KeptUnsigned { file } => {
                write!(f, "no key known here signed the checkpoint in «{file}»; it was compared all the same")
            }
            Self::LongUnsealed { since } => write!(
                f,
                "nothing that was recorded since {since} is sealed, though that is done every hour: what is newer \
                 could still be changed without a trace"
            ),
            Self::TracesWithoutHash { count } => {
                write!(f, "{count} traces are of cycles that do not name their hash: nothing proves them")
            }
            Self::EarlierKeyOnly { key } => write!(
                f,
                "what holds is signed by «{key}», a key that the one you gave does not vouch for: give it with --key \
                 as well, if you got it by other means"
            ),
            Self::TimesNotSigned => {
                f.write_str("the times of the checkpoints are stored beside them and not signed")
            }
        }
    }
}

/// What an audit came to.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Report {
    /// The answer.
    pub outcome: Outcome,
    /// Number of records.
    pub records: u64,
    /// The earliest time at which one was recorded.
    pub first_recorded: Option<Timestamp>,
    /// The latest one.
    pub last_recorded: Option<Timestamp>,
    /// Number of traces that are those their cycles were judged on.
    pub traces: u64,
    /// Number of checkpoints in the ledger.
    pub checkpoints: u64,
    /// Of these, those that fit and are signed by a key that the given ones vouch for.
    pub checkpoints_hold: u64,
    /// The largest checkpoint that holds: every record before it is as it was sealed.
    pub sealed: Option<Seal>,
    /// Name and id of the key that signed it.
    pub sealed_by: Option<String>,
    /// Number of records after it.
    pub not_sealed: u64,
    /// When the first of these was recorded.
    pub not_sealed_since: Option<Timestamp>,
    /// Number of records that any checkpoint counts, whether it holds or not.
    pub counted: u64,
    /// Checkpoints that were kept elsewhere.
    pub kept: Vec<Kept>,
    /// What does not hold.
    pub findings: Vec<Finding>,
    /// How many more findings there were.
    pub findings_more: u64,
    /// What is to be known beside that.
    pub remarks: Vec<Remark>,
}

/// What this ledger is called: as its own keys are, and without any as those that were given.
fn names<'k>(chain: &'k KeyChain, given: &'k [VerifyingKey]) -> Vec<&'k str> {
    let own: Vec<&str> = chain.keys.iter().map(|key| key.key.name()).collect();
    if own.is_empty() { given.iter().map(VerifyingKey::name).collect() } else { own }
}

impl Audit {
    /// Ends it: with where the ledger says that it stands (where it says so at all), the keys of
    /// [`Audit::chain`], the keys that the auditor got, and an answer of [`super::signature`]
    /// for each of [`Audit::seals`].
    #[must_use]
    pub fn finish(
        mut self,
        standing: Option<&Standing>,
        chain: &KeyChain,
        given: &[VerifyingKey],
        signatures: &[Signature],
    ) -> Report {
        self.judge_standing(standing);
        let trust = Trust::of(chain, given);
        let names = names(chain, given);
        let mut keys = Bounded::default();
        let mut remarks = Vec::new();
        let seals = std::mem::take(&mut self.seals);
        let all = seals.iter().zip(signatures).map(|(sealed, signature)| Judged { sealed, signature });
        let (judged, foreign): (Vec<Judged<'_>>, Vec<Judged<'_>>) =
            all.partition(|judged| judged.sealed.file().is_none() || names.contains(&judged.sealed.origin()));
        trust.judge(chain, given, &judged, &mut keys, &mut remarks);
        judge_signatures(&judged, &mut self.of_seals, &mut remarks);
        judge_fits(&judged, self.next, self.broken, &mut self.of_seals);
        let Proved { vouched, earlier, hold } = trust.proved(chain, &judged);
        let sealed = vouched.or(earlier);
        if let (None, Some(key)) = (vouched, sealed.and_then(Judged::signer)) {
            remarks.push(Remark::EarlierKeyOnly { key: short(key) });
        }
        let since = sealed.and_then(|judged| judged.sealed.next_recorded);
        remarks.extend(self.long_unsealed(since));
        let count = self.traces_without_hash;
        remarks.extend((count > 0).then_some(Remark::TracesWithoutHash { count }));
        let sorts = [keys, self.of_seals, self.records, self.beside];
        let findings_more = sorts.iter().map(|bounded| bounded.more).sum();
        let findings: Vec<Finding> = sorts.into_iter().flat_map(|bounded| bounded.told).collect();
        let outcome = match (findings.is_empty(), vouched) {
            (false, _) => Outcome::NotWhole,
            (true, Some(_)) if foreign.is_empty() => Outcome::Whole,
            (true, _) => Outcome::NotChecked,
        };
        Report {
            outcome,
            records: self.next,
            first_recorded: self.first,
            last_recorded: self.last,
            traces: self.traces,
            checkpoints: judged.iter().filter(|judged| judged.sealed.file().is_none()).count() as u64,
            checkpoints_hold: hold,
            sealed: sealed.map(Judged::seal),
            sealed_by: sealed.and_then(Judged::signer).map(short),
            not_sealed: self.next - sealed.map_or(0, |judged| judged.sealed.size()),
            not_sealed_since: since,
            kept: judged
                .iter()
                .filter_map(Judged::kept)
                .chain(foreign.iter().filter_map(Judged::kept_of_another))
                .collect(),
            counted: judged
                .iter()
                .map(|judged| judged.sealed.size().min(self.next))
                .max()
                .unwrap_or_default(),
            findings,
            findings_more,
            remarks,
        }
    }

    fn long_unsealed(&self, since: Option<Timestamp>) -> Option<Remark> {
        let (since, last) = (since?, self.last?);
        (last.since(since) > UNSEALED_MAX).then_some(Remark::LongUnsealed { since })
    }

    fn judge_standing(&mut self, standing: Option<&Standing>) {
        let found = self.next;
        let counted = standing.map(|standing| standing.size);
        let tree = standing.and_then(|standing| Frontier::from_bytes(&standing.frontier).ok());
        let fits = match (&tree, self.broken, &self.stored) {
            (None, _, _) => false,
            (Some(tree), Some(_), _) => tree.size() == found,
            (Some(tree), None, Some(stored)) => *tree == self.tree || tree == stored,
            (Some(tree), None, None) => *tree == self.tree,
        };
        if !fits || counted != Some(found) {
            let counted = tree.and(counted);
            self.beside.push(BesideFault::StateDiffers { counted, found });
        }
    }
}
