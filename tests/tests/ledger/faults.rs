//! What a ledger does when its place, its file or its device is not as it should be.
