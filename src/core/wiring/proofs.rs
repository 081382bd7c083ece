//! Which probes of a machine are proved, by the newest proof of each on record.
//!
//! A proof speaks of the probes that were warmed in it, and leaves what is on file of the others as it
//! is; but a probe that answered in the place of another of its machine is not wired as an older
//! proof of it says.

use std::collections::BTreeMap;

use crate::core::record::{ProvenProbe, WiringProofDone};
use crate::core::time::Timestamp;
use crate::core::wiring::Finding;

/// The newest proof of each probe of one machine.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Proofs(BTreeMap<String, Proven>);

/// What is on file of one probe.
#[derive(Clone, PartialEq, Debug)]
pub struct Proven {
    /// Index of the record.
    pub record: u64,
    /// When it came on record.
    pub since: Timestamp,
    /// What was found of it; what was seen is told of the probe that was warmed, which may be another.
    pub found: ProvenProbe,
}

impl Proofs {
    /// Takes the next proof on record of the machine.
    pub fn take(&mut self, record: u64, since: Timestamp, done: &WiringProofDone) {
        for asked in done.probes.iter().filter(|probe| probe.finding == Finding::Swapped.as_str()) {
            let other = asked.instead.as_ref().and_then(|other| self.0.get_mut(other));
            if let Some(other) = other.filter(|other| other.found.good) {
                let (probe, instead) = (other.found.probe.clone(), Some(asked.probe.clone()));
                let found = ProvenProbe { probe, instead, ..asked.clone() };
                *other = Proven { record, since, found };
            }
        }
        // What is told to be bad as a whole proves no probe of it.
        let bad_as_a_whole = !done.good && done.probes.iter().all(|probe| probe.good);
        for found in &done.probes {
            let found = ProvenProbe { good: found.good && !bad_as_a_whole, ..found.clone() };
            let proven = Proven { record, since, found: found.clone() };
            self.0.insert(found.probe.clone(), proven);
        }
    }

    /// Takes that the proof at this record was withdrawn: the probes that it speaks of are not proved. What was on
    /// file of them before does not count again, since somebody had a reason to prove them anew.
    pub fn withdrawn(&mut self, record: u64) {
        self.0.retain(|_, proven| proven.record != record);
    }

    /// Takes that something can have been withdrawn that nobody can read: what is on file so far proves nothing.
    pub fn doubted(&mut self) {
        self.0.clear();
    }

    /// What is on file of a probe, `<machine>/<probe>`.
    #[must_use]
    pub fn of(&self, probe: &str) -> Option<&Proven> {
        self.0.get(probe)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::fixture::at;
    use crate::core::wiring::Evidence;

    fn found(probe: &str, finding: &str, instead: Option<&str>) -> ProvenProbe {
        ProvenProbe {
            probe: format!("dm1/{probe}"),
            good: finding == "answers",
            finding: finding.to_owned(),
            seen: Evidence::NoValue { fault: None },
            instead: instead.map(|other| format!("dm1/{other}")),
        }
    }

    fn proof(probes: Vec<ProvenProbe>) -> WiringProofDone {
        let good = probes.iter().all(|probe| probe.good);
        WiringProofDone { at: at(0.0), probes, good, by: "Eli".to_owned() }
    }

    // Own rule: the newest proof of each probe counts, and one that was seen in the place of another is in doubt.
    #[test]
    fn each_probe_has_its_own_newest_proof() {
        let both = || proof(vec![found("wash", "answers", None), found("rinse", "answers", None)]);
        for (what, later, wash, rinse) in [
            ("nothing later", vec![], (0, true), (0, true)),
            ("the rinse again", vec![found("rinse", "answers", None)], (0, true), (1, true)),
            ("a dead rinse", vec![found("rinse", "dead", None)], (0, true), (1, false)),
            ("exchanged", vec![found("rinse", "swapped", Some("wash"))], (1, false), (1, false)),
            ("warmed together", vec![found("rinse", "wrong-place", Some("wash"))], (0, true), (1, false)),
            (
                "exchanged and tried",
                vec![found("rinse", "swapped", Some("wash")), found("wash", "answers", None)],
                (1, true),
                (1, false),
            ),
        ] {
            let mut proofs = Proofs::default();
            proofs.take(0, at(1.0), &both());
            if !later.is_empty() {
                proofs.take(1, at(2.0), &proof(later));
            }
            let on_file = |probe: &str| {
                let proven = proofs.of(&format!("dm1/{probe}")).expect("proved");
                assert_eq!(proven.found.probe, format!("dm1/{probe}"), "{what}");
                (proven.record, proven.found.good)
            };
            assert_eq!((on_file("wash"), on_file("rinse")), (wash, rinse), "{what}");
        }
        assert_eq!(Proofs::default().of("dm1/wash"), None);
    }

    // Own rule: nothing stands in the place of a proof that was withdrawn, also not one before it; later ones stay.
    #[test]
    fn a_withdrawn_proof_leaves_its_probes_unproved() {
        let both = || proof(vec![found("wash", "answers", None), found("rinse", "answers", None)]);
        let mut proofs = Proofs::default();
        proofs.take(0, at(1.0), &both());
        proofs.take(1, at(2.0), &both());
        proofs.take(2, at(3.0), &proof(vec![found("rinse", "swapped", Some("wash"))]));
        proofs.take(3, at(4.0), &proof(vec![found("rinse", "answers", None)]));
        proofs.withdrawn(2);
        assert_eq!(proofs.of("dm1/wash"), None, "it was in doubt by that proof");
        assert_eq!(proofs.of("dm1/rinse").map(|proven| proven.record), Some(3));
        proofs.withdrawn(1);
        assert_eq!(proofs.of("dm1/rinse").map(|proven| proven.record), Some(3));
        proofs.doubted();
        assert_eq!(proofs, Proofs::default());
    }
}
