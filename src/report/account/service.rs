//! What happened to the program and to how the record is kept, in a few words.

use super::ServiceEvent;
use crate::core::counted::Noun;
use crate::core::reader::Language;
use crate::core::record::{Body, Clock, KeyChange, Record, StopCause};
use crate::core::technician::work::who;
use crate::report::said::proven;

/// The event that a record tells of; `None` for records of other matters.
pub(super) fn event(index: u64, record: &Record) -> Option<ServiceEvent> {
    let text = text(&record.body)?;
    let (machine, kind) = (record.machine.clone(), record.body.kind().to_owned());
    Some(ServiceEvent { index, at: record.recorded, machine, kind, text })
}

/// Whether a record only moves the end of work on a machine: its beginning and its end tell of that.
pub(super) fn is_renewal(body: &Body) -> bool {
    matches!(body, Body::Maintenance(work) if work.only_moves_its_end())
}

fn text(body: &Body) -> Option<String> {
    if is_renewal(body) {
        return None;
    }
    Some(match body {
        Body::ServiceStart(start) if start.is_first() => {
            let what = if start.from_file {
                "replayed a file into a new ledger"
            } else {
                "started for the first time"
            };
            format!("version {} {what}", start.version)
        }
        Body::ServiceStart(start) => {
            let before = if start.after_clean_stop { "an orderly stop" } else { "a stop without notice" };
            let what = if start.from_file { "replayed a file" } else { "started" };
            format!("version {} {what} after {before}", start.version)
        }
        Body::ServiceStop(stop) => match stop.cause {
            StopCause::Signal => "stopped by order".to_owned(),
            StopCause::EndOfInput => "stopped at the end of its input".to_owned(),
        },
        Body::ClockStep(step) => {
            let whose = match step.clock {
                Clock::Gateway => "the gateway",
                Clock::Source => "the source",
            };
            format!("the clock of {whose} stepped from {} to {}", step.from, step.to)
        }
        Body::ConfigurationChange(change) => format!("configuration {} in force", change.sha256),
        Body::MachineFailure(failure) => {
            let then =
                if failure.stopped { "it is left alone until the next start" } else { "it began anew" };
            format!("judging failed by a mistake of the program; {then}: {}", failure.cause)
        }
        Body::Maintenance(work) => {
            let by = work.by.as_deref().map(|by| format!(" by {by}")).unwrap_or_default();
            let why = work.why.as_deref().map(|why| format!(": {why}")).unwrap_or_default();
            if work.ended {
                let who = who(&work.worked, Language::English);
                let since = work.begun.map(|begun| format!(", since {begun}")).unwrap_or_default();
                if who.is_empty() {
                    format!("work ended{by}{since}")
                } else {
                    format!("work ended{by}{since}: {who}")
                }
            } else {
                format!("work{by} until {}{why}", work.until)
            }
        }
        Body::SigningKey(key) => {
            let how = match key.change {
                KeyChange::First => "first signing key",
                KeyChange::Rotated => "new signing key, endorsed by the one before",
                KeyChange::Lost => "new signing key, since the one before was lost",
            };
            format!("{how}: {}", key.key)
        }
        Body::LawfulHold(hold) => {
            let state = if hold.on { "nothing may be pruned" } else { "pruning is allowed again" };
            format!("{state}, by {}: {}", hold.by, hold.reason)
        }
        Body::Pruned(pruned) => {
            format!(
                "pruned by age: {} from before {}",
                Noun::Readings.of(pruned.readings, Language::English),
                pruned.before
            )
        }
        Body::Import(import) => {
            format!(
                "{} of «{}» taken over by {}",
                Noun::Readings.of(import.readings, Language::English),
                import.file,
                import.by
            )
        }
        Body::Restored(restored) => {
            format!(
                "goes on from a backup of {}, by {}",
                Noun::Records.of(restored.records, Language::English),
                restored.by
            )
        }
        Body::WiringProof(done) => {
            let found: Vec<String> = done.probes.iter().map(proven).collect();
            format!("wiring proved by {}: {}", done.by, found.join("; "))
        }
        Body::SignOff(signed) => {
            let open = match signed.open_points.len() as u64 {
                0 => "with nothing open".to_owned(),
                open => {
                    let were = if open == 1 { "was" } else { "were" };
                    format!("with {} that {were} known", Noun::OpenPoints.of(open, Language::English))
                }
            };
            format!("signed off by {} {open}", signed.by)
        }
        // Who came and went fills no account of a month; who may come does.
        Body::Access(access) if access.what.is_change() => access.sentence(),
        Body::Access(_)
        | Body::Cycle(_)
        | Body::Gap(_)
        | Body::Check(_)
        | Body::AlertRaised(_)
        | Body::AlertChanged(_)
        | Body::AlertAcknowledged(_)
        | Body::AlertCleared(_)
        | Body::AlertClosed(_)
        | Body::CorrectiveAction(_)
        | Body::Notification(_)
        | Body::Note(_)
        | Body::Amendment(_)
        | Body::Calibration(_)
        | Body::Response(_) => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::record::ServiceStart;
    use crate::core::time::Timestamp;

    // Own promise: a first start follows no stop.
    #[test]
    fn a_first_start_is_told_as_the_first() {
        let start = |last_record, from_file| {
            let version = "0.1.0".to_owned();
            let (after_clean_stop, replayed) = (true, 0);
            text(&Body::ServiceStart(ServiceStart {
                version,
                last_record,
                after_clean_stop,
                from_file,
                replayed,
            }))
        };
        assert_eq!(start(None, false).as_deref(), Some("version 0.1.0 started for the first time"));
        assert_eq!(start(None, true).as_deref(), Some("version 0.1.0 replayed a file into a new ledger"));
        let again = start(Some(Timestamp::from_micros(0)), false);
        assert_eq!(again.as_deref(), Some("version 0.1.0 started after an orderly stop"));
    }
}
