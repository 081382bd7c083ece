//! The proofs of a machine's wiring on record, without those that were withdrawn.

use std::ops::ControlFlow;

use super::amended::Amended;
use crate::core::record::Body;
use crate::core::wiring::proofs::Proofs;
use crate::ledger::{LedgerError, Reader};

/// The newest proof of each probe of a machine, of the records before `before`. A proof that is damaged ends it: an
/// older one must not stand in for it. What a damaged amendment may have withdrawn is not proved.
///
/// # Errors
/// The ledger's.
pub(super) fn proofs(
    reader: &Reader,
    machine: &str,
    before: Option<u64>,
    amended: &Amended,
) -> Result<Proofs, LedgerError> {
    let mut left = amended.withdrawn().filter(|(index, _)| before.is_none_or(|end| *index < end)).peekable();
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
            apply(&mut proofs, of);
        }
        if let Body::WiringProof(done) = record.body
            && record.machine.as_deref() == Some(machine)
        {
            proofs.take(index, record.recorded, &done);
        }
        ControlFlow::Continue(())
    })?;
    left.for_each(|(_, of)| apply(&mut proofs, of));
    Ok(proofs)
}
