//! What checkpoints and keys come to: whom the auditor may believe, and what that proves.

use crate::core::causes;
use crate::core::keys::{KeyChain, Standing};
use crate::core::note::VerifyingKey;
use crate::core::record::KeyChange;

use super::finding::{KeyFault, Seal, SealFault};
use super::report::{Kept, KeptAnswer, Remark};
use super::seals::{Fit, Sealed, Signature, short};
use super::{Bounded, FINDINGS_MAX};

/// A checkpoint with who signed it.
#[derive(Clone, Copy)]
pub(super) struct Judged<'a> {
    pub(super) sealed: &'a Sealed,
    pub(super) signature: &'a Signature,
}

impl<'a> Judged<'a> {
    pub(super) fn signer(&self) -> Option<&'a VerifyingKey> {
        match self.signature {
            Signature::Holds { key, .. } => Some(key),
            Signature::Fails { .. } => None,
        }
    }

    /// Whether it may speak about the records: one that the auditor kept may, whoever signed it,
    /// unless somebody changed it since.
    fn counts(&self) -> bool {
        match self.signature {
            Signature::Holds { .. } => true,
            Signature::Fails { .. } => self.sealed.file().is_some() && self.signature.is_by_unknown_key(),
        }
    }

    pub(super) fn seal(&self) -> Seal {
        self.sealed.seal(self.signature)
    }

    pub(super) fn kept(&self) -> Option<Kept> {
        self.sealed.file()?;
        let answer = match self.sealed.fit {
            Fit::Fits => KeptAnswer::Fits,
            Fit::Beyond => KeptAnswer::CutBack,
            Fit::OverHashes | Fit::Differs => KeptAnswer::Differs,
            Fit::NotComparable => KeptAnswer::NotComparable,
        };
        Some(self.kept_with(answer))
    }

    /// The answer about a kept one that is of another ledger.
    pub(super) fn kept_of_another(&self) -> Option<Kept> {
        self.sealed.file()?;
        Some(self.kept_with(KeptAnswer::OtherLedger))
    }

    fn kept_with(&self, answer: KeptAnswer) -> Kept {
        let (signed_by, origin) = (self.signer().map(short), self.sealed.origin().to_owned());
        Kept { seal: self.seal(), answer, signed_by, origin }
    }
}

/// Which keys the auditor may believe.
pub(super) struct Trust {
    /// Those for which the given ones vouch.
    keys: Vec<VerifyingKey>,
    /// Place in the chain of the last of them.
    last: Option<usize>,
}

impl Trust {
    pub(super) fn of(chain: &KeyChain, given: &[VerifyingKey]) -> Self {
        if chain.keys.is_empty() {
            return Self { keys: given.to_vec(), last: None };
        }
        let vouched: Vec<_> = given.iter().flat_map(|key| chain.trusted_from(key)).collect();
        let last = chain.keys.iter().rposition(|key| vouched.iter().any(|trusted| trusted.from == key.from));
        Self { keys: vouched.into_iter().map(|trusted| trusted.key.clone()).collect(), last }
    }

    /// Whether a checkpoint proves something to the auditor. One that no known key signed can
    /// show that records were changed, never that they were not: anybody may have made it.
    fn takes(&self, judged: &Judged<'_>) -> bool {
        let signed_for = |signer| judged.sealed.file().is_some() || self.keys.contains(signer);
        judged.signer().is_some_and(signed_for)
    }

    /// What the checkpoints prove together, which are in order of their size.
    pub(super) fn proved<'j>(&self, chain: &KeyChain, judged: &'j [Judged<'j>]) -> Proved<'j> {
        let fitting = || judged.iter().filter(|judged| judged.sealed.fit == Fit::Fits);
        let vouched = fitting().rfind(|judged| self.takes(judged));
        // A checkpoint that holds speaks for the records of the keys before it, too.
        let covered = vouched.map_or(0, |judged| judged.sealed.size());
        let holds =
            |judged: &&Judged<'_>| self.takes(judged) || judged.counts() && judged.sealed.size() <= covered;
        let stored = fitting().filter(|judged| judged.sealed.file().is_none());
        Proved {
            vouched,
            earlier: fitting().rfind(|judged| self.is_earlier(chain, judged)),
            hold: stored.filter(holds).count() as u64,
        }
    }

    /// Whether it is signed by a key of the chain before those that the given ones vouch for.
    fn is_earlier(&self, chain: &KeyChain, judged: &Judged<'_>) -> bool {
        let before = self.last.unwrap_or(0);
        let signer = judged.signer();
        signer.is_some_and(|signer| chain.keys[..before].iter().any(|key| key.key == *signer))
    }

    pub(super) fn judge(
        &self,
        chain: &KeyChain,
        given: &[VerifyingKey],
        judged: &[Judged<'_>],
        faults: &mut Bounded,
        remarks: &mut Vec<Remark>,
    ) {
        for unreadable in &chain.unreadable {
            faults.push(KeyFault::KeyRecord { record: unreadable.at, cause: unreadable.error.to_string() });
        }
        for key in &chain.keys {
            if let Standing::Broken(cause) = &key.standing {
                faults.push(KeyFault::KeyRecord { record: key.from, cause: causes::chain(cause) });
            }
        }
        let stored = || judged.iter().filter(|judged| judged.sealed.file().is_none());
        let unknown = if chain.keys.is_empty() {
            stored().next().is_some() && !stored().any(|judged| judged.signer().is_some())
        } else {
            self.last.is_none()
        };
        if unknown {
            let mut on_record: Vec<String> = chain.keys.iter().map(|key| short(&key.key)).collect();
            on_record.truncate(FINDINGS_MAX);
            faults.push(KeyFault::KeyUnknown { given: given.iter().map(short).collect(), on_record });
            return;
        }
        let Some(last) = self.last else { return };
        for key in chain.keys[..=last].iter().filter(|key| key.change == KeyChange::Lost) {
            remarks.push(Remark::KeyLost { record: key.from, key: short(&key.key) });
        }
        if let Some(next) = chain.keys.get(last + 1) {
            let (record, key) = (next.from, short(&next.key));
            faults.push(KeyFault::KeyNotVouchedFor { record, key, change: next.change });
        }
    }
}

pub(super) fn judge_signatures(judged: &[Judged<'_>], faults: &mut Bounded, remarks: &mut Vec<Remark>) {
    let signed_time = |judged: &Judged<'_>| matches!(judged.signature, Signature::Holds { at: Some(_), .. });
    let usual = judged.iter().any(signed_time);
    for judged in judged {
        match (judged.signature, judged.sealed.file()) {
            (Signature::Holds { at: None, .. }, None) if usual => {
                faults.push(SealFault::TimeNotSigned { seal: judged.seal() });
            }
            (Signature::Holds { .. }, _) => {}
            (Signature::Fails { .. }, Some(file)) if judged.signature.is_by_unknown_key() => {
                remarks.push(Remark::KeptUnsigned { file: file.to_owned() });
            }
            (Signature::Fails { key, error }, _) => {
                let cause = causes::chain(error);
                faults.push(SealFault::Unsigned { seal: judged.seal(), key: key.clone(), cause });
            }
        }
        if let Some(fault) = judged.sealed.row_fault(judged.signature) {
            faults.push(fault);
        }
    }
    if !usual && judged.iter().any(|judged| judged.signer().is_some()) {
        remarks.push(Remark::TimesNotSigned);
    }
}

/// Says where the records cease to be those that were sealed.
pub(super) fn judge_fits(judged: &[Judged<'_>], found: u64, broken: Option<u64>, faults: &mut Bounded) {
    let counting: Vec<&Judged<'_>> = judged.iter().filter(|judged| judged.counts()).collect();
    let differs = |judged: &&&Judged<'_>| matches!(judged.sealed.fit, Fit::Differs | Fit::OverHashes);
    if let Some(first) = counting.iter().find(differs) {
        let size = first.sealed.size();
        let fits =
            counting.iter().rfind(|judged| judged.sealed.fit == Fit::Fits && judged.sealed.size() < size);
        let failing = || counting.iter().filter(differs);
        faults.push(SealFault::NotAsSealed {
            from: fits.map_or(0, |fits| fits.sealed.size()),
            to: size.saturating_sub(1),
            differs: first.seal(),
            fits: fits.map(|fits| fits.seal()),
            later: failing().count() as u64 - 1,
            hashes_fit: failing().all(|judged| judged.sealed.fit == Fit::OverHashes),
        });
    }
    if let Some(beyond) = counting.iter().rfind(|judged| judged.sealed.fit == Fit::Beyond) {
        faults.push(SealFault::CutBack { found, seal: beyond.seal() });
    }
    let lost = || counting.iter().filter(|judged| judged.sealed.fit == Fit::NotComparable);
    if let (Some(first), Some(record)) = (lost().next(), broken) {
        let later = lost().count() as u64 - 1;
        faults.push(SealFault::NotComparable { seal: first.seal(), later, record });
    }
}

/// What checkpoints prove.
pub(super) struct Proved<'j> {
    /// The largest one that holds by a key that the given ones vouch for.
    pub(super) vouched: Option<&'j Judged<'j>>,
    /// The largest one that holds by a key before these.
    pub(super) earlier: Option<&'j Judged<'j>>,
    /// How many of the ledger's own hold.
    pub(super) hold: u64,
}
