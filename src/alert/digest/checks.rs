//! The checks of a digest that failed, as they stand after everything that was said of them.
//!
//! A check counts by the instant at which it was recorded, so that one entered late is told once,
//! in the digest that comes next. Of several amendments the newest counts: one that was withdrawn
//! is told no more, one that was corrected as it should have been entered.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::core::cycle::plate::Profile;
use crate::core::logbook::{Finding, judge_known};
use crate::core::record::{Amendment, AmendmentChange, Check};

/// A check that failed.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct FailedCheck {
    /// Index of the record of the check, also where an amendment corrected it.
    pub index: u64,
    /// Of which machine; absent for the site.
    pub machine: Option<String>,
    /// What was entered, or corrected to.
    pub check: Check,
    /// Why it failed.
    pub findings: Vec<Finding>,
}

/// Keeps the checks while records come in.
#[derive(Debug, Default)]
pub(super) struct Checks {
    /// By the index of the check.
    entered: BTreeMap<u64, Entered>,
}

#[derive(Debug)]
struct Entered {
    machine: Option<String>,
    /// As it stands; `None` where it was withdrawn.
    check: Option<Check>,
    /// Whether it, or what put it right, was recorded in the span.
    inside: bool,
}

impl Checks {
    /// Takes a check.
    pub(super) fn check(&mut self, index: u64, machine: Option<&String>, check: &Check, inside: bool) {
        let (machine, check) = (machine.cloned(), Some(check.clone()));
        self.entered.insert(index, Entered { machine, check, inside });
    }

    /// Takes an amendment, in order of the ledger; one of anything but a check is passed over.
    pub(super) fn amendment(&mut self, machine: Option<&String>, amendment: &Amendment, inside: bool) {
        match &amendment.change {
            AmendmentChange::Comment => {}
            AmendmentChange::Withdrawn => {
                if let Some(entered) = self.entered.get_mut(&amendment.of) {
                    entered.check = None;
                }
            }
            // The check itself may be older than the records that a digest is made from.
            AmendmentChange::Corrected(check) => {
                let before = self.entered.get(&amendment.of).is_some_and(|entered| entered.inside);
                self.check(amendment.of, machine, check, inside || before);
            }
        }
    }

    /// Those that failed, by machine and time, judged by these machines' products.
    pub(super) fn failed(self, profiles: &[Profile]) -> Vec<FailedCheck> {
        let failed = |(index, entered): (u64, Entered)| {
            let check = entered.check.filter(|_| entered.inside)?;
            let profile = profiles.iter().find(|profile| Some(&profile.name) == entered.machine.as_ref());
            let judgement = judge_known(&check, profile);
            let findings = judgement.findings.into_iter().filter(Finding::fails).collect();
            let failed = FailedCheck { index, machine: entered.machine, check, findings };
            (judgement.good == Some(false)).then_some(failed)
        };
        let mut failed: Vec<FailedCheck> = self.entered.into_iter().filter_map(failed).collect();
        failed.sort_by(|one, other| {
            let key = |failed: &FailedCheck| (failed.check.at(), failed.index);
            one.machine.cmp(&other.machine).then(key(one).cmp(&key(other)))
        });
        failed
    }
}
