//! The proofs of a machine's wiring on record, without those that were withdrawn.

use std::ops::ControlFlow;

use crate::core::record::{AmendmentChange, Body};
use crate::core::wiring::proofs::Proofs;
use crate::ledger::{LedgerError, Reader};

/// What was withdrawn, in order of the records that say so.
///
/// Of a record that is damaged nobody can say what it withdrew.
#[derive(Debug)]
pub(super) struct Withdrawals(Vec<(u64, Option<u64>)>);

impl Withdrawals {
    /// Reads them.
    ///
    /// # Errors
    /// The ledger's, but for damage of single records.
    pub(super) fn read(reader: &Reader) -> Result<Self, LedgerError> {
        let mut all = Vec::new();
        reader.records_found(&["amendment"], 0, |index, found| {
            match found {
                Ok((_, record)) => {
                    if let Body::Amendment(amendment) = record.body
                        && amendment.change == AmendmentChange::Withdrawn
                    {
                        all.push((index, Some(amendment.of)));
                    }
                }
                Err(_) => all.push((index, None)),
            }
            ControlFlow::Continue(())
        })?;
        Ok(Self(all))
    }

    /// Whether this record was withdrawn for certain.
    pub(super) fn of(&self, record: u64) -> bool {
        self.0.iter().any(|(_, of)| *of == Some(record))
    }
}

/// The newest proof of each probe of a machine, of the records before `before`. A proof that is damaged ends it: an
/// older one must not stand in for it. What a damaged amendment may have withdrawn is not proved.
///
/// # Errors
/// The ledger's.
pub(super) fn proofs(reader: &Reader, machine: &str, before: Option<u64>) -> Result<Proofs, LedgerError> {
    let withdrawals = Withdrawals::read(reader)?;
    let mut left = withdrawals.0.iter().filter(|(index, _)| before.is_none_or(|end| *index < end)).peekable();
    let mut proofs = Proofs::default();
    let apply = |proofs: &mut Proofs, of: Option<u64>| match of {
        Some(of) => proofs.withdrawn(of),
        None => proofs.doubted(),
    };
    reader.records_of(&["wiring-proof"], 0, |index, _, record| {
        if before.is_some_and(|end| index >= end) {
            return ControlFlow::Break(());
        }
        while let Some((_, of)) = left.next_if(|(at, _)| *at < index) {
            apply(&mut proofs, *of);
        }
        if let Body::WiringProof(done) = record.body
            && record.machine.as_deref() == Some(machine)
        {
            proofs.take(index, record.recorded, &done);
        }
        ControlFlow::Continue(())
    })?;
    left.for_each(|(_, of)| apply(&mut proofs, *of));
    Ok(proofs)
}
