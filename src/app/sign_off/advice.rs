//! By which command each open point of a sign-off is closed.

use std::collections::BTreeSet;

use crate::core::alert::AlertNumber;
use crate::core::signoff::OpenPoint;

/// What to do, each thing once, in the order of the points, for a machine and whether it is worked on now; `recovered`
/// are the alerts whose cause is over.
pub(super) fn of(
    (machine, is_worked_on): (&str, bool),
    points: &[OpenPoint],
    recovered: &BTreeSet<AlertNumber>,
) -> Vec<String> {
    let mut advice: Vec<String> = Vec::new();
    for point in points {
        let next = one((machine, is_worked_on), point, recovered);
        if !advice.contains(&next) {
            advice.push(next);
        }
    }
    advice
}

fn one(
    (machine, is_worked_on): (&str, bool),
    point: &OpenPoint,
    recovered: &BTreeSet<AlertNumber>,
) -> String {
    match point {
        OpenPoint::RinseLimitOfFoodCode { .. } => {
            format!("write rinse-min of the data plate at [[machine]] {machine}")
        }
        OpenPoint::WashLimitOfFoodCode { .. } => {
            format!("write wash-min of the data plate at [[machine]] {machine}")
        }
        OpenPoint::NotCalibrated { probe }
        | OpenPoint::CalibrationDoubted { probe, .. }
        | OpenPoint::CalibrationOverdue { probe, .. }
        | OpenPoint::CalibrationDue { probe, .. }
        | OpenPoint::Uncertain { probe, .. } => {
            format!("rinseward calibrate {probe} --ice --boiling --pressure … --by NAME")
        }
        OpenPoint::NoResponse { probe } | OpenPoint::ResponseDoubted { probe, .. } => {
            format!("rinseward respond {probe} --by NAME")
        }
        OpenPoint::TooSlow { probe, .. } => format!("fit a quicker probe at {probe}"),
        OpenPoint::WiringNotProved
        | OpenPoint::WiringNotGood { probe: None, .. }
        | OpenPoint::WiringOutdated { .. } => format!("rinseward prove {machine} --by NAME"),
        OpenPoint::WiringNotGood { probe: Some(probe), .. } | OpenPoint::WiringLeftOut { probe } => {
            let name = probe.rsplit('/').next().unwrap_or(probe);
            format!("rinseward prove {machine} --order {name} --by NAME")
        }
        OpenPoint::NoTestCycle
        | OpenPoint::TestCycleOutdated { .. }
        | OpenPoint::TestCycleNotGood { .. }
        | OpenPoint::TestCycleFinding { .. } => {
            let run = format!("run a rack through {machine} while the service records it");
            if is_worked_on {
                format!("end the work first: rinseward maintenance {machine} --end --by NAME; then {run}")
            } else {
                format!("{run}; nobody is at work on it now")
            }
        }
        OpenPoint::OpenAlert { alert, .. } if recovered.contains(alert) => format!(
            "rinseward alerts act {alert} --by NAME --racks \"what became of the racks\" --done \"what was done\""
        ),
        OpenPoint::OpenAlert { alert, .. } => {
            format!("rinseward alerts show {alert} says what is still wrong")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::alert::Condition;
    use crate::core::cycle::verdict::Verdict;

    // Own choice of words; the commands are those of the command line.
    #[test]
    fn each_point_has_its_command_once() {
        let probe = || "dm1/rinse".to_owned();
        let alert = |number| OpenPoint::OpenAlert { alert: AlertNumber(number), condition: Condition::Cold };
        let points = [
            OpenPoint::NotCalibrated { probe: probe() },
            OpenPoint::Uncertain { probe: probe(), expanded_c: 2.0, granted_c: 1.5 },
            OpenPoint::WiringLeftOut { probe: probe() },
            alert(7),
            alert(8),
            OpenPoint::TestCycleNotGood { record: 9, verdict: Verdict::Unproven, worked_on: true },
        ];
        let advised = |is_worked_on| of(("dm1", is_worked_on), &points, &BTreeSet::from([AlertNumber(7)]));
        let advice = advised(true);
        assert_eq!(advice.len(), 5, "{advice:?}");
        assert!(advice[4].starts_with("end the work first: rinseward maintenance dm1 --end "), "{advice:?}");
        // Regression: it named that command too where no work was open, which refuses it then.
        let rack = "run a rack through dm1 while the service records it; nobody is at work on it now";
        assert_eq!(advised(false)[4], rack);
        assert!(advice[0].starts_with("rinseward calibrate dm1/rinse "), "{advice:?}");
        assert_eq!(advice[1], "rinseward prove dm1 --order rinse --by NAME");
        assert!(advice[2].starts_with("rinseward alerts act 7 --by NAME --racks "), "{advice:?}");
        assert_eq!(advice[3], "rinseward alerts show 8 says what is still wrong");
    }
}
