//! Whether it is the source that is silent, not the probe: nothing is then found of the probe.

use std::collections::BTreeMap;

use crate::app::Failure;
use crate::app::live::LiveEvent;
use crate::diagnostic::Diagnostic;

/// What was heard so far of sources and probes.
#[derive(Debug, Default)]
pub(in crate::app) struct Silence {
    /// Sources that are down, each with the cause.
    down: BTreeMap<String, String>,
    /// Readings of each probe that was heard.
    heard: BTreeMap<String, u64>,
}

impl Silence {
    /// Takes what came.
    pub(in crate::app) fn take(&mut self, event: &LiveEvent) {
        match event {
            LiveEvent::Reading(reading) => *self.heard.entry(reading.channel.clone()).or_default() += 1,
            LiveEvent::Source(source) if source.up => {
                self.down.remove(&source.source);
            }
            LiveEvent::Source(source) => {
                self.down.insert(source.source.clone(), source.cause.clone().unwrap_or_default());
            }
            LiveEvent::Begun(_)
            | LiveEvent::Unit(_)
            | LiveEvent::Refused { .. }
            | LiveEvent::Lost { .. }
            | LiveEvent::Ended { .. } => {}
        }
    }

    /// Refuses to find anything of a probe of which nothing came while a source is down.
    ///
    /// # Errors
    /// `source-lost`, with each source that is down and why.
    pub(in crate::app) fn unless_of_source(&self, probe: &str) -> Result<(), Failure> {
        if self.down.is_empty() || self.heard.contains_key(probe) {
            return Ok(());
        }
        let summary = format!("nothing came of {probe}, and a source is down: nothing was put on record");
        let mut diagnostic = Diagnostic::error("source-lost", summary);
        for (source, cause) in &self.down {
            diagnostic = diagnostic.cause(format!("{source}: {cause}"));
        }
        Err(diagnostic
            .advice("rinseward ports says which ports there are, who holds each, and who may open it")
            .advice("begin again once the source is up")
            .into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::live::SourceSeen;

    fn source(up: bool) -> LiveEvent {
        let cause = (!up).then(|| "cannot open: no such file".to_owned());
        LiveEvent::Source(SourceSeen { source: "port1".to_owned(), up, cause })
    }

    // Own promise: what a source that is down cannot tell is no finding about a probe.
    #[test]
    fn a_silent_source_is_no_dead_probe() {
        let mut silence = Silence::default();
        assert!(silence.unless_of_source("dm1/rinse").is_ok(), "no source is known to be down");
        silence.take(&source(false));
        let refused = silence.unless_of_source("dm1/rinse").expect_err("a source is down").to_string();
        for part in ["source-lost", "port1: cannot open: no such file", "rinseward ports"] {
            assert!(refused.contains(part), "{part} in {refused}");
        }
        silence.take(&source(true));
        assert!(silence.unless_of_source("dm1/rinse").is_ok());
    }
}
