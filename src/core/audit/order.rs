//! Whether the times of records run forward.
//!
//! A record bears the instant at which it was made and gets its place when it is committed.
//! Those of the driver come in order, and those of the alerts' desk: each is a lane of its own,
//! since the two commit beside each other. What people and the keeping of the ledger add is a
//! third. Messages and machine failures are recorded by several tasks and are in no lane.
//!
//! Where a file of readings is replayed, no clock stands beside them: cycles and gaps bear the
//! times of the readings, in a lane that begins anew with each such start of the program.
//!
//! The clock of the gateway may be set back: then a `clock-step` record says so, and every lane
//! may go back once, as far as that record says.

use std::time::Duration;

use crate::core::record::{Body, Clock};
use crate::core::time::Timestamp;

use super::glance::What;

/// How far a record may lie behind one before it in its lane (own choice: a commit waits for the
/// device a second as a rule and a minute at most before it is refused).
const BEHIND_MAX: Duration = Duration::from_secs(60);
/// How many lanes there are.
const LANES: usize = 4;

/// The lane of what bears the times of a file.
const OF_FILE: usize = 3;

/// Where a record comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Lane {
    /// That the program started, and whether it replays a file.
    Start {
        /// Whether it does.
        from_file: bool,
    },
    /// What the driver records of itself.
    Driver,
    /// What it records of the machines.
    Machines,
    /// What the desk records.
    Desk,
    /// What is added beside them.
    Beside,
    /// In no order with the others.
    None,
}

impl Lane {
    /// The lane of a record.
    pub(super) fn of(what: &What<'_>) -> Self {
        let body = match what {
            What::Cycle(_) => return Self::Machines,
            What::Other(body) => body,
        };
        match **body {
            // Cycles of an import are recorded beside the driver, but at the same clock.
            Body::Cycle(_) | Body::Gap(_) => Self::Machines,
            Body::ServiceStart(ref start) => Self::Start { from_file: start.from_file },
            Body::ServiceStop(_) | Body::ClockStep(_) | Body::ConfigurationChange(_) => Self::Driver,
            Body::Check(_)
            | Body::AlertRaised(_)
            | Body::AlertChanged(_)
            | Body::AlertAcknowledged(_)
            | Body::AlertCleared(_)
            | Body::AlertClosed(_)
            | Body::CorrectiveAction(_)
            | Body::Maintenance(_) => Self::Desk,
            Body::Note(_)
            | Body::Amendment(_)
            | Body::SigningKey(_)
            | Body::LawfulHold(_)
            | Body::Pruned(_)
            | Body::Import(_)
            | Body::Restored(_)
            | Body::Calibration(_)
            | Body::Response(_)
            | Body::WiringProof(_)
            | Body::SignOff(_)
            | Body::Access(_) => Self::Beside,
            Body::MachineFailure(_) | Body::Notification(_) => Self::None,
        }
    }
}

/// The step back of the gateway's clock that a record tells of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct StepBack {
    from: Timestamp,
    to: Timestamp,
}

impl StepBack {
    /// Reads it off a record.
    pub(super) fn of(what: &What<'_>) -> Option<Self> {
        let What::Other(body) = what else { return None };
        let Body::ClockStep(step) = &**body else { return None };
        let back = step.clock == Clock::Gateway && step.to < step.from;
        back.then_some(Self { from: step.from, to: step.to })
    }
}

/// The times of a lane so far.
#[derive(Clone, Copy, Debug, Default)]
struct Times {
    latest: Option<Timestamp>,
    /// The clock went back, and no record of the lane was surely made after that yet.
    stepped: Option<StepBack>,
}

impl Times {
    fn step(&mut self, step: StepBack) {
        self.latest = self.latest.map(|latest| latest.min(step.to));
        self.stepped = Some(step);
    }

    /// Takes the next record; the latest time before it where it lies too far behind.
    fn take(&mut self, recorded: Timestamp) -> Option<Timestamp> {
        if let Some(StepBack { from, to }) = self.stepped {
            // One made before the step may be committed after it. It lies nearer to where the
            // clock stood before than to where it was set.
            if recorded.since(to) > from.since(recorded) {
                return None;
            }
            self.stepped = None;
        }
        let behind = self.latest.filter(|latest| latest.since(recorded) > BEHIND_MAX);
        self.latest = Some(self.latest.map_or(recorded, |latest| latest.max(recorded)));
        behind
    }
}

/// Watches the order of all records.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Order {
    lanes: [Times; LANES],
    /// Whether what is recorded of the machines bears the times of a file.
    from_file: bool,
}

impl Order {
    /// Takes the next record; the latest time before it where it lies too far behind.
    pub(super) fn take(
        &mut self,
        lane: Lane,
        recorded: Timestamp,
        step: Option<StepBack>,
    ) -> Option<Timestamp> {
        if let Some(step) = step {
            self.lanes.iter_mut().for_each(|times| times.step(step));
        }
        let place = match lane {
            Lane::Start { from_file } => {
                self.from_file = from_file;
                self.lanes[OF_FILE] = Times::default();
                0
            }
            Lane::Machines if self.from_file => OF_FILE,
            Lane::Driver | Lane::Machines => 0,
            Lane::Desk => 1,
            Lane::Beside => 2,
            Lane::None => return None,
        };
        self.lanes[place].take(recorded)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_micros(seconds * 1_000_000)
    }

    // The rules are those at the head of the file; no outside source.
    #[test]
    fn times_run_forward_but_for_steps_on_record() {
        let step = Some(StepBack { from: at(10_000), to: at(5_000) });
        type Row<'a> = (&'a str, &'a [(Lane, i64, Option<StepBack>)], Option<i64>);
        let rows: [Row<'_>; 10] = [
            ("forward", &[(Lane::Driver, 0, None), (Lane::Driver, 9_000, None)], None),
            ("a commit that waited", &[(Lane::Driver, 100, None), (Lane::Driver, 40, None)], None),
            ("back", &[(Lane::Driver, 100, None), (Lane::Driver, 39, None)], Some(100)),
            (
                "a file of the past",
                &[
                    (Lane::Start { from_file: true }, 9_000, None),
                    (Lane::Driver, 9_000, None),
                    (Lane::Machines, 100, None),
                    (Lane::Machines, 300, None),
                    (Lane::Driver, 9_001, None),
                ],
                None,
            ),
            (
                "back in a file",
                &[
                    (Lane::Start { from_file: true }, 9_000, None),
                    (Lane::Machines, 300, None),
                    (Lane::Machines, 100, None),
                ],
                Some(300),
            ),
            (
                "back after a file",
                &[
                    (Lane::Start { from_file: true }, 9_000, None),
                    (Lane::Machines, 300, None),
                    (Lane::Start { from_file: false }, 9_100, None),
                    (Lane::Machines, 400, None),
                ],
                Some(9_100),
            ),
            ("two lanes", &[(Lane::Driver, 9_000, None), (Lane::Desk, 10, None)], None),
            (
                "a step on record",
                &[(Lane::Desk, 9_990, None), (Lane::Driver, 5_000, step), (Lane::Desk, 5_001, None)],
                None,
            ),
            (
                "made before the step, committed after it",
                &[(Lane::Driver, 5_000, step), (Lane::Desk, 9_999, None), (Lane::Desk, 5_002, None)],
                None,
            ),
            (
                "further back than the step",
                &[(Lane::Driver, 9_990, None), (Lane::Driver, 5_000, step), (Lane::Driver, 4_000, None)],
                Some(5_000),
            ),
        ];
        for (what, records, expected) in rows {
            let mut order = Order::default();
            let found =
                records.iter().filter_map(|(lane, seconds, step)| order.take(*lane, at(*seconds), *step));
            assert_eq!(found.last(), expected.map(at), "{what}");
        }
    }
}
