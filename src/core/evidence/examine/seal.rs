//! Which key may seal a file of evidence.

use super::{Examiner, SealedBy};
use crate::core::checkpoint::Checkpoint;
use crate::core::evidence::findings::Flaw;
use crate::core::keys::{KeyChain, key_chain};
use crate::core::note::VerifyingKey;

impl Examiner {
    /// Finds a key that may seal it.
    pub(super) fn seal(&mut self) -> Option<SealedBy> {
        let (note, head) = (self.note.take()?, self.head?);
        let chain = key_chain(self.changes.iter().map(|(index, change)| (*index, change)));
        let signer = chain.signer_of(head.size);
        let sealed_by = |key: &VerifyingKey, since| {
            let at = note.cosigned_at(key).ok().flatten();
            Some(SealedBy { key: key.to_string(), since, at })
        };
        let mut refused = None;
        for key in &self.trust.keys {
            match Checkpoint::verified(&note, key) {
                Ok(_) => {
                    let since = chain.keys.iter().find(|known| known.key == *key).map(|known| known.from);
                    let sealed_by = sealed_by(key, since);
                    let later = signer.filter(|signer| since.is_some_and(|since| since < signer.from));
                    if let Some(from) = later.map(|later| later.from) {
                        self.tell(None, Flaw::Replaced { from });
                    }
                    return sealed_by;
                }
                Err(error) => refused = refused.or(Some(error)),
            }
        }
        let Some(signer) = signer.filter(|signer| Checkpoint::verified(&note, &signer.key).is_ok()) else {
            if let Some(refused) = refused {
                self.tell(None, Flaw::Signature(refused));
            }
            return None;
        };
        if self.trust.keys.iter().any(|key| vouched(&chain, key, signer.from)) {
            return sealed_by(&signer.key, Some(signer.from));
        }
        let (key, from) = (signer.key.to_string(), signer.from);
        let on_record = |key: &VerifyingKey| chain.keys.iter().any(|known| known.key == *key);
        let flaw = if self.trust.keys.iter().any(on_record) {
            Flaw::Unvouched { key, from, standing: signer.standing.clone() }
        } else {
            Flaw::Earlier { key, from }
        };
        self.tell(None, flaw);
        None
    }
}

fn vouched(chain: &KeyChain, trusted: &VerifyingKey, from: u64) -> bool {
    chain.trusted_from(trusted).iter().any(|key| key.from == from)
}
