//! What is signed, and by whom: the head of the tree, and the keys on record.

use std::ops::ControlFlow;

use super::error::LedgerError;
use super::reader::Reader;
use crate::core::merkle::TreeHead;
use crate::core::record::{Body, SigningKeyChange};

impl Reader {
    /// Number of records and the root over them, both of one state.
    ///
    /// # Errors
    /// [`LedgerError`] where the state of the ledger cannot be read.
    pub fn head(&self) -> Result<TreeHead, LedgerError> {
        let tree = self.state()?.tree;
        Ok(TreeHead { size: tree.size(), root: tree.root() })
    }

    /// Every change of the signing key with its index, oldest first, for
    /// [`crate::core::keys::key_chain`].
    ///
    /// # Errors
    /// As for [`Reader::records_of`].
    pub fn signing_keys(&self) -> Result<Vec<(u64, SigningKeyChange)>, LedgerError> {
        let mut changes = Vec::new();
        self.records_of(&["signing-key"], 0, |index, _, record| {
            if let Body::SigningKey(change) = record.body {
                changes.push((index, *change));
            }
            ControlFlow::Continue(())
        })?;
        Ok(changes)
    }
}
