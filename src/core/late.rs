//! When the event of a record happened, and whether the record came late.
//!
//! A record is **late** where it was recorded more than an hour after its event: its
//! readings were backfilled or delayed, or somebody entered a check afterwards. An hour
//! (own choice) is longer than any restart or reconnection of a source takes, and
//! shorter than a shift. Records whose event is the recording itself are never late.

use std::time::Duration;

use super::record::{Body, Record};
use super::time::Timestamp;

/// Recorded more than this after its event, a record is late.
pub const LATE_AFTER: Duration = Duration::from_secs(3_600);

/// When the event of a record was over; `None` where it is the recording itself.
#[must_use]
pub fn happened(body: &Body) -> Option<Timestamp> {
    match body {
        Body::Cycle(cycle) => Some(cycle.rinse_ended),
        Body::Gap(gap) => Some(gap.to.unwrap_or(gap.from)),
        Body::Check(check) => Some(check.at()),
        Body::Note(note) => note.at,
        Body::Calibration(done) => Some(done.at),
        Body::Response(done) => Some(done.at),
        Body::WiringProof(done) => Some(done.at),
        Body::SignOff(signed) => Some(signed.at),
        Body::Access(access) => access.at,
        Body::ServiceStart(_)
        | Body::ServiceStop(_)
        | Body::ClockStep(_)
        | Body::ConfigurationChange(_)
        | Body::MachineFailure(_)
        | Body::AlertRaised(_)
        | Body::AlertChanged(_)
        | Body::AlertAcknowledged(_)
        | Body::AlertCleared(_)
        | Body::AlertClosed(_)
        | Body::CorrectiveAction(_)
        | Body::Notification(_)
        | Body::Maintenance(_)
        | Body::Amendment(_)
        | Body::SigningKey(_)
        | Body::LawfulHold(_)
        | Body::Pruned(_)
        | Body::Import(_)
        | Body::Restored(_) => None,
    }
}

/// Where a record stands in time: the start of its event, else when it was recorded.
#[must_use]
pub fn stands_at(record: &Record) -> Timestamp {
    if let Body::Cycle(cycle) = &record.body {
        cycle.rinse_started
    } else if let Body::Gap(gap) = &record.body {
        gap.from
    } else {
        happened(&record.body).unwrap_or(record.recorded)
    }
}

/// How much later than its event it was recorded, where it is late.
#[must_use]
pub fn late_by(record: &Record) -> Option<Duration> {
    happened(&record.body).and_then(|at| late_after(at, record.recorded))
}

/// How much later than an event that was over at `at` it was recorded, where that is late.
#[must_use]
pub fn late_after(at: Timestamp, recorded: Timestamp) -> Option<Duration> {
    Some(recorded.since(at)).filter(|late| *late > LATE_AFTER)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::record::{Check, Note};

    fn at(seconds: u64) -> Timestamp {
        Timestamp::from_micros(1_767_225_600_000_000).plus(Duration::from_secs(seconds))
    }

    // The rule of this module's head, at its edge.
    #[test]
    fn more_than_an_hour_is_late() {
        let supply = || {
            Body::Check(Check::Supply {
                at: at(0),
                enough: true,
                short: Vec::new(),
                note: None,
                by: "Ana".to_owned(),
            })
        };
        let note = |at| Body::Note(Note { at, text: "quiet".to_owned(), by: "Ana".to_owned() });
        for (body, recorded, late_s) in [
            (supply(), 3_600, None),
            (supply(), 3_601, Some(3_601)),
            (note(Some(at(0))), 90_000, Some(90_000)),
            (note(None), 90_000, None),
        ] {
            let record = Record::new(at(recorded), None, body);
            assert_eq!(late_by(&record), late_s.map(Duration::from_secs), "{record:?}");
        }
    }
}
