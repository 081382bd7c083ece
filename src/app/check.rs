//! `check-config`: every problem of the files in one run.

use super::{Failure, Streams, configuration};
use crate::cli::CheckConfigArgs;

pub(super) fn check_config(arguments: &CheckConfigArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.files, streams)?;
    let configuration = &loaded.configuration;
    writeln!(
        streams.out,
        "ok: site «{}», {}, {}, {}, {}, {}",
        configuration.site,
        counted(configuration.machines.len(), "machine"),
        counted(configuration.channels.len(), "probe"),
        counted(configuration.sources.len(), "source"),
        counted(configuration.alerts.contacts.len(), "contact"),
        counted(loaded.warnings.len(), "warning"),
    )
    .map_err(Failure::output)
}

fn counted(count: usize, noun: &str) -> String {
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}
