//! Named points of the writer at which the crash tests end the process.
//!
//! With the feature `failpoints`, `FAILPOINTS="ledger::before-commit=return"`
//! aborts the process there (`return` is the name of the action that runs the
//! point's own code); `10%return` or `3*off->return` choose when. The program
//! must call `fail::FailScenario::setup()` first. Without the feature nothing
//! of it is compiled.

/// A step of the writer.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Point {
    /// No transaction has begun.
    BeforeBegin,
    /// The inputs are in the transaction.
    AfterInputs,
    /// The records, traces and index rows are, too.
    AfterRecords,
    /// Everything is; nothing is on the device.
    BeforeCommit,
    /// Everything is on the device; nobody has been told.
    AfterCommit,
    /// An append has no transaction yet.
    BeforeAppend,
    /// Its records and letters are in the transaction.
    AfterLetters,
    /// Everything of it is; nothing is on the device.
    BeforeAppendCommit,
    /// Everything of it is on the device; nobody has been told.
    AfterAppendCommit,
    /// Blocks of some channels are written, in a transaction.
    DuringCompaction,
    /// That transaction is on the device.
    AfterCompaction,
    /// A new signing key is written under its other name; no record names it.
    KeyWritten,
    /// Its record is on the device; it has not taken its place.
    KeyRecorded,
    /// The secret key is in its place, the public key is not.
    KeyHalfPlaced,
}

/// Ends the process where this point is armed.
#[cfg(feature = "failpoints")]
pub(super) fn reach(point: Point) {
    let name = match point {
        Point::BeforeBegin => "ledger::before-begin",
        Point::AfterInputs => "ledger::after-inputs",
        Point::AfterRecords => "ledger::after-records",
        Point::BeforeCommit => "ledger::before-commit",
        Point::AfterCommit => "ledger::after-commit",
        Point::BeforeAppend => "ledger::before-append",
        Point::AfterLetters => "ledger::after-letters",
        Point::BeforeAppendCommit => "ledger::before-append-commit",
        Point::AfterAppendCommit => "ledger::after-append-commit",
        Point::DuringCompaction => "ledger::during-compaction",
        Point::AfterCompaction => "ledger::after-compaction",
        Point::KeyWritten => "ledger::key-written",
        Point::KeyRecorded => "ledger::key-recorded",
        Point::KeyHalfPlaced => "ledger::key-half-placed",
    };
    fail::fail_point!(name, |_| std::process::abort());
}

/// Does nothing: no point can be armed.
#[cfg(not(feature = "failpoints"))]
pub(super) const fn reach(_: Point) {}
