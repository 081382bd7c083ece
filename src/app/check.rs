//! `check-config`: every problem of the files in one run, and what is not there now.

use super::{Failure, Streams, channels, configuration, in_force, ports};
use crate::cli::CheckConfigArgs;
use crate::diagnostic::Diagnostic;

pub(super) fn check_config(arguments: &CheckConfigArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load_with_doubts(&arguments.files, streams)?;
    let configuration = &loaded.configuration;
    let missing = ports::missing_devices(configuration);
    for ports::Missing { source, device } in &missing {
        let told = Diagnostic::warning(
            "source-open",
            format!("the device of source «{source}» is not there now"),
        )
        .place(device.display().to_string())
        .advice("plug it in, or give the source a name that rinseward ports lists; the service waits for it");
        writeln!(streams.err, "{told}").map_err(Failure::output)?;
    }
    writeln!(
        streams.out,
        "ok: site «{}», {}, {}, {}, {}, {}",
        configuration.site,
        counted(configuration.machines.len(), "machine"),
        counted(configuration.channels.len(), "probe"),
        counted(configuration.sources.len(), "source"),
        counted(configuration.alerts.contacts.len(), "contact"),
        counted(loaded.warnings.len() + missing.len(), "warning"),
    )
    .map_err(Failure::output)?;
    for line in in_force::told(configuration) {
        writeln!(streams.out, "  on record: {line}").map_err(Failure::output)?;
    }
    let (count, broken) = channels::tried(&configuration.delivery);
    if broken.is_empty() {
        return Ok(());
    }
    let told =
        format!("{} of {} cannot work here; messages by them wait:", broken.len(), counted(count, "channel"));
    writeln!(streams.out, "{told}").map_err(Failure::output)?;
    broken
        .iter()
        .try_for_each(|one| writeln!(streams.out, "  {}: {}; {}", one.channel, one.why, one.advice))
        .map_err(Failure::output)
}

fn counted(count: usize, noun: &str) -> String {
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}
