//! `verify` of a file that is no ledger.

use std::path::Path;

use crate::app::Failure;

use super::unchecked;

/// Verifies an export; `head` are its first bytes.
///
/// # Errors
/// [`Failure`] where it is not whole, or could not be checked.
pub(super) fn verify_export(path: &Path, head: &[u8]) -> Result<(), Failure> {
    let cause = if head.is_empty() { "the file is empty" } else { "it is not a ledger" };
    Err(unchecked(path).cause(cause).advice("give the ledger itself, or a copy of it").into())
}
