//! What is open at one machine, and its end together with the work there.

use super::{Bench, Running};
use crate::core::technician::attempt::Stands;
use crate::core::technician::responding::{self, Ended as Tested};
use crate::web::attempt::{Ended, OpenAt};

impl Running {
    /// Whether it has found something that is not on record, or is being put there.
    fn has_found(&self, now: std::time::Duration) -> bool {
        self.leaving
            || match self.attempt.stands(now) {
                Stands::Calibration(stands) => !stands.points.is_empty(),
                Stands::Response(stands) => {
                    matches!(stands, responding::Stands::Ended(Tested::Answered(_)))
                }
                Stands::Proof(stands) => stands.probes.iter().any(|(_, _, found)| found.is_some()),
            }
    }

    fn open(&self, of: &str, now: std::time::Duration) -> OpenAt {
        OpenAt {
            kind: self.kind(),
            of: of.to_owned(),
            by: self.by.clone(),
            account: self.account.clone(),
            begun: self.begun,
            has_found: self.has_found(now),
        }
    }
}

impl Bench {
    /// What is open at a machine and at its probes.
    pub(in crate::app::house) fn open_at(&self, machine: &str) -> Vec<OpenAt> {
        let now = self.now();
        let state = self.state();
        let own = state.attempts.iter().filter(|(of, _)| is_at(of, machine));
        own.map(|(of, running)| running.open(of, now)).collect()
    }

    /// Whether nothing is open at a machine but what was shown, and nothing of that has found anything.
    pub(in crate::app::house) fn may_end(&self, machine: &str, shown: &[String]) -> bool {
        self.open_at(machine).iter().all(|open| !open.has_found && shown.contains(&open.mark()))
    }

    /// Ends what was shown, except what has found something meanwhile. Gives at what somebody else was, and who.
    pub(in crate::app::house) fn end_at(
        &self,
        machine: &str,
        shown: &[String],
        (by, account): (&str, &str),
    ) -> Vec<(String, String)> {
        let (now, at) = (self.now(), self.shared.clock.now());
        let mut state = self.state();
        let own = state.attempts.iter().filter(|(of, _)| is_at(of, machine));
        let open: Vec<OpenAt> = own.map(|(of, running)| running.open(of, now)).collect();
        let mut others = Vec::new();
        for open in open.into_iter().filter(|open| !open.has_found && shown.contains(&open.mark())) {
            state.attempts.remove(&open.of);
            if open.account != account {
                let (by, whose) = (Some(by.to_owned()), open.by.clone());
                let ended = Ended { by, whose, kind: open.kind, begun: open.begun, at };
                state.ended.insert(open.of.clone(), ended);
                others.push((open.of, open.by));
            }
        }
        others
    }
}

/// Whether what is open there is at this machine, or at one of its probes.
fn is_at(of: &str, machine: &str) -> bool {
    of.split('/').next() == Some(machine)
}
