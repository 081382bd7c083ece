//! Configurations and records that the ledgers of several tests hold.

use rinseward::core::effect::Trace;
use rinseward::core::note::SigningKey;
use rinseward::core::record::{
    Amendment, AmendmentChange, Body, ConfigurationChange, Record, SigningKeyChange,
};
use rinseward::core::time::Timestamp;
use rinseward::ledger::NewRecord;

use crate::ledger::fixture::plain;

/// The site of these kitchens.
pub(crate) const SITE: &str = "[site]\nname = \"north kitchen\"\ntime-zone = \"America/New_York\"\n";

/// A machine of the configuration with `more` keys of its own.
pub(crate) fn machine(name: &str, more: &str) -> String {
    format!(
        "\n[[machine]]\nname = \"{name}\"\nkind = \"stationary-rack-dual-temperature\"\n\
         wash-time = \"45s\"\nrinse-time = \"10s\"\n{more}\n"
    )
}

/// A record of that instant.
pub(crate) fn put(at: Timestamp, machine: Option<&str>, body: Body) -> NewRecord {
    plain(Record::new(at, machine.map(str::to_owned), body))
}

/// The record of a ledger's first key.
pub(crate) fn first_key(at: Timestamp, key: &SigningKey) -> NewRecord {
    put(at, None, Body::SigningKey(Box::new(SigningKeyChange::first(&key.verifying()))))
}

/// The record of a configuration, whose hash nobody looks at.
pub(crate) fn configured(at: Timestamp, toml: String) -> NewRecord {
    put(at, None, Body::ConfigurationChange(ConfigurationChange { sha256: "0".repeat(64), toml }))
}

/// What `by` says of record `of`.
pub(crate) fn amendment(of: u64, reason: &str, by: &str, change: AmendmentChange) -> Body {
    let (reason, by) = (reason.to_owned(), by.to_owned());
    Body::Amendment(Box::new(Amendment { of, reason, by, change }))
}

/// A cycle with its trace, whose hash it bears.
pub(crate) fn traced(mut record: Record, trace: Trace) -> NewRecord {
    if let Body::Cycle(cycle) = &mut record.body {
        cycle.trace_sha256 = Some(trace.sha256().to_string());
    }
    NewRecord { record, trace: Some(trace) }
}
