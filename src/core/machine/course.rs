//! What is in force for the probes of a machine, by the time of the readings.
//!
//! For files of the past: each reading is judged by the correction and the time constant that were
//! in force when it was measured. What is measured at present is judged by the newest, whatever
//! its node's clock shows, so that a calibration counts from its record on; then nothing is entered here.

use crate::core::channel::{Channel, Probe, Role};
use crate::core::time::Timestamp;

/// What came in force for the probes of one machine.
#[derive(Clone, Debug, Default)]
pub(super) struct Course {
    /// By channel, those that something came in force for: since when the probe was what, in order of time.
    turns: Vec<(usize, Vec<(Timestamp, Probe)>)>,
    /// Event times that the channels were last set for: from the first on, before the second.
    set_for: Option<(Timestamp, Timestamp)>,
}

impl Course {
    /// From `since` on the probe at `local` is `probe`, whatever was entered for that time before.
    pub(super) fn enter(&mut self, since: Timestamp, local: usize, probe: Probe) {
        let place = self.turns.iter().position(|(own, _)| *own == local).unwrap_or_else(|| {
            self.turns.push((local, Vec::new()));
            self.turns.len() - 1
        });
        let turns = &mut self.turns[place].1;
        turns.retain(|(at, _)| *at < since);
        turns.push((since, probe));
        self.set_for = None;
    }

    /// Sets the channels to what was in force at `at`.
    pub(super) fn set(&mut self, at: Timestamp, channels: &mut [Channel]) {
        if self.turns.is_empty() || self.set_for.is_some_and(|(from, to)| from <= at && at < to) {
            return;
        }
        let (mut from, mut to) = (Timestamp::MIN, Timestamp::MAX);
        for (local, turns) in &self.turns {
            let after = turns.partition_point(|(since, _)| *since <= at);
            let current = after.checked_sub(1).and_then(|place| turns.get(place));
            if let Some((since, probe)) = current
                && let Some(channel) = channels.get_mut(*local)
            {
                channel.role = Role::Probe(probe.clone());
                from = from.max(*since);
            }
            to = turns.get(after).map_or(to, |(since, _)| to.min(*since));
        }
        self.set_for = Some((from, to));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::calibration::Calibration;
    use crate::core::channel::Place;
    use crate::core::cycle::fixture::{at, probe};
    use crate::core::id::{ChannelId, ChannelName, MachineId};

    // Own rule: the latest that had come in force by then.
    #[test]
    fn each_time_has_its_probe() {
        let first = probe(Place::FinalRinse, None);
        let (base, offset) = (first.calibration, Calibration::Offset);
        let corrected = |offset_c| Probe { calibration: offset(offset_c), ..first.clone() };
        let mut channels = vec![Channel {
            id: ChannelId(0),
            name: ChannelName::try_from("dm1/rinse".to_owned()).expect("a legal name"),
            machine: MachineId(0),
            role: Role::Probe(first.clone()),
        }];
        let mut course = Course::default();
        let check = |course: &mut Course, channels: &mut Vec<Channel>, second, expected| {
            course.set(at(second), channels);
            let Role::Probe(probe) = &channels[0].role else { panic!("it stays a probe") };
            assert_eq!(probe.calibration, expected, "{second} s");
        };
        check(&mut course, &mut channels, 5.0, base);
        course.enter(Timestamp::MIN, 0, first.clone());
        for (second, offset_c) in [(10.0, 0.5), (20.0, 0.8)] {
            course.enter(at(second), 0, corrected(offset_c));
        }
        for (second, expected) in [
            (15.0, offset(0.5)),
            (25.0, offset(0.8)),
            (9.9, base),
            (10.0, offset(0.5)),
            (19.9, offset(0.5)),
            (20.0, offset(0.8)),
        ] {
            check(&mut course, &mut channels, second, expected);
        }
        course.enter(at(12.0), 0, corrected(0.1));
        check(&mut course, &mut channels, 25.0, offset(0.1));
        check(&mut course, &mut channels, 11.0, offset(0.5));
    }
}
