//! What is said of each condition: its name, how bad it is, what to do.

use super::phrases::Phrase;
use crate::core::alert::quantity::{Side, side};
use crate::core::alert::{Alert, Condition, Pattern, Quantity, supplies};
use crate::core::record::Supply;

/// What is wrong.
pub(super) const fn title(condition: Condition) -> Phrase {
    match condition {
        Condition::Cold => Phrase::Cold,
        Condition::Brief => Phrase::Brief,
        Condition::Weak => Phrase::Weak,
        Condition::Unproven => Phrase::Unproven,
        Condition::WashLow => Phrase::WashLow,
        Condition::RinseHot => Phrase::RinseHot,
        Condition::Narrow => Phrase::Narrow,
        Condition::Drifting => Phrase::Drifting,
        Condition::TankCold => Phrase::TankCold,
        Condition::ProbeFault => Phrase::ProbeFault,
        Condition::ProbeSilent => Phrase::ProbeSilent,
        Condition::CheckOverdue => Phrase::CheckOverdue,
        Condition::CalibrationOverdue => Phrase::CalibrationOverdue,
        Condition::ThermometerOff => Phrase::ThermometerOff,
        Condition::SuppliesShort => Phrase::SuppliesShort,
        Condition::RecordDamaged => Phrase::RecordDamaged,
        Condition::DiskFilling => Phrase::DiskFilling,
        Condition::ClockUnsynchronised => Phrase::ClockUnsynchronised,
        Condition::SeriesBacklog => Phrase::SeriesBacklog,
        Condition::Undelivered => Phrase::Undelivered,
    }
}

/// What is wrong, for the short form.
pub(super) const fn short(condition: Condition) -> Phrase {
    match condition {
        Condition::Cold => Phrase::ShortCold,
        Condition::Brief => Phrase::ShortBrief,
        Condition::Weak => Phrase::ShortWeak,
        Condition::Unproven => Phrase::ShortUnproven,
        Condition::WashLow => Phrase::ShortWashLow,
        Condition::RinseHot => Phrase::ShortRinseHot,
        Condition::Narrow => Phrase::ShortNarrow,
        Condition::Drifting => Phrase::ShortDrifting,
        Condition::TankCold => Phrase::ShortTankCold,
        Condition::ProbeFault => Phrase::ShortProbeFault,
        Condition::ProbeSilent => Phrase::ShortProbeSilent,
        Condition::CheckOverdue => Phrase::ShortCheckOverdue,
        Condition::CalibrationOverdue => Phrase::ShortCalibrationOverdue,
        Condition::ThermometerOff => Phrase::ShortThermometerOff,
        Condition::SuppliesShort => Phrase::ShortSuppliesShort,
        Condition::RecordDamaged => Phrase::ShortRecordDamaged,
        Condition::DiskFilling => Phrase::ShortDiskFilling,
        Condition::ClockUnsynchronised => Phrase::ShortClock,
        Condition::SeriesBacklog => Phrase::ShortSeries,
        Condition::Undelivered => Phrase::ShortUndelivered,
    }
}

/// What to do, in one breath.
pub(super) const fn order(alert: &Alert) -> Phrase {
    match alert.condition {
        Condition::Cold => match alert.pattern {
            Some(Pattern::FirstAfterIdle) => Phrase::OrderColdFirst,
            Some(Pattern::Repeated) => Phrase::OrderColdAgain,
            Some(Pattern::Single) | None => Phrase::OrderCold,
        },
        Condition::Brief => Phrase::OrderBrief,
        Condition::Weak => Phrase::OrderWeak,
        Condition::Unproven => Phrase::OrderUnproven,
        Condition::WashLow => Phrase::OrderWashLow,
        Condition::RinseHot => Phrase::OrderRinseHot,
        Condition::Narrow => Phrase::OrderNarrow,
        Condition::Drifting => Phrase::OrderDrifting,
        Condition::TankCold => Phrase::OrderTankCold,
        Condition::ProbeFault | Condition::ProbeSilent => Phrase::OrderProbe,
        Condition::CheckOverdue if alert.about.len() > 1 => Phrase::OrderChecks,
        Condition::CheckOverdue => Phrase::OrderCheck,
        Condition::CalibrationOverdue => Phrase::OrderCalibration,
        Condition::ThermometerOff => Phrase::OrderThermometer,
        Condition::SuppliesShort => Phrase::OrderSupplies,
        Condition::RecordDamaged => Phrase::OrderRecord,
        Condition::DiskFilling => Phrase::OrderDisk,
        Condition::ClockUnsynchronised => Phrase::OrderClock,
        Condition::SeriesBacklog => Phrase::OrderSeries,
        Condition::Undelivered => Phrase::OrderUndelivered,
    }
}

/// How bad it is; `chemical` where the machine sanitizes by a chemical.
pub(super) fn why(alert: &Alert, chemical: bool) -> Vec<Phrase> {
    match alert.condition {
        Condition::Cold => {
            let cause = match alert.pattern {
                _ if chemical => Some(Phrase::WhyColdChemical),
                Some(Pattern::FirstAfterIdle) => Some(Phrase::WhyColdFirst),
                Some(Pattern::Repeated) => Some(Phrase::WhyColdAgain),
                Some(Pattern::Single) | None => None,
            };
            std::iter::once(Phrase::WhyCold).chain(cause).collect()
        }
        Condition::Brief => vec![Phrase::WhyBrief],
        Condition::Weak => vec![match (alert.measured, alert.limit) {
            (Some(Quantity::Ph(_)), Some(_)) => Phrase::WhyPhTooHigh,
            (Some(measured), Some(limit)) => match side(alert.condition, measured, limit) {
                Side::AtLeast => Phrase::WhyTooWeak,
                Side::AtMost => Phrase::WhyTooStrong,
            },
            (None, _) | (_, None) => Phrase::WhyWeak,
        }],
        Condition::Unproven => vec![Phrase::WhyUnproven],
        Condition::WashLow => vec![Phrase::WhyWashLow],
        Condition::RinseHot => vec![Phrase::WhyRinseHot],
        Condition::Narrow => vec![Phrase::WhyNarrow],
        Condition::Drifting => vec![Phrase::WhyDrifting],
        Condition::TankCold => vec![Phrase::WhyTankCold],
        Condition::ProbeFault | Condition::ProbeSilent => vec![Phrase::WhyProbe],
        Condition::CheckOverdue => {
            let missed = if alert.about.len() > 1 { Phrase::WhyChecks } else { Phrase::WhyCheck };
            let racks = (alert.racks.count > 0).then_some(Phrase::WhyCheckRacks);
            std::iter::once(missed).chain(racks).collect()
        }
        Condition::CalibrationOverdue => vec![Phrase::WhyCalibration],
        Condition::ThermometerOff => vec![Phrase::WhyThermometer],
        Condition::SuppliesShort if chemical => vec![Phrase::WhySupplies, Phrase::WhySuppliesChemical],
        Condition::SuppliesShort => vec![Phrase::WhySupplies, Phrase::WhySuppliesHeat],
        Condition::RecordDamaged => vec![Phrase::WhyRecord],
        Condition::DiskFilling => vec![Phrase::WhyDisk],
        Condition::ClockUnsynchronised => vec![Phrase::WhyClock],
        Condition::SeriesBacklog => vec![Phrase::WhySeries],
        Condition::Undelivered => vec![Phrase::WhyUndelivered],
    }
}

/// Whether the sanitizer is among what looks found short: it is named, or nothing is and the note says what.
fn may_lack_sanitizer(alert: &Alert) -> bool {
    let named = |about: &String| supplies::looked(about).0;
    let mut looks = alert.about.iter().map(named).peekable();
    looks.peek().is_none() || looks.any(|named| named.is_empty() || named.contains(&Supply::Sanitizer))
}

/// What to do now, in order.
pub(super) fn steps(alert: &Alert, chemical: bool) -> Vec<Phrase> {
    let hold = match alert.last_good {
        // The racks that passed before were judged by the check that holds no more.
        _ if alert.condition == Condition::Weak && alert.has_older_racks() => Phrase::HoldSinceCheckOlderToo,
        _ if alert.condition == Condition::Weak => Phrase::HoldSinceCheck,
        Some(_) if alert.has_older_racks() => Phrase::HoldOlderToo,
        Some(_) => Phrase::HoldSinceGood,
        None => Phrase::HoldSince,
    };
    let (run_empty, tank) = match alert.limit {
        Some(_) => (Phrase::RunEmpty, Phrase::TankHeater),
        None => (Phrase::RunEmptyPlain, Phrase::TankHeaterPlain),
    };
    let independent = if chemical { Phrase::IndependentStrip } else { Phrase::IndependentHeat };
    let mut steps = match alert.condition {
        Condition::Cold => {
            vec![hold, run_empty, independent, Phrase::Rewash, Phrase::StillBad, Phrase::Call]
        }
        Condition::Brief => {
            vec![
                hold,
                Phrase::RunToEnd,
                Phrase::RunEmptyPlain,
                independent,
                Phrase::Rewash,
                Phrase::StillBad,
                Phrase::Call,
            ]
        }
        Condition::Weak => {
            vec![hold, Phrase::Dispenser, Phrase::TestAgain, Phrase::Rewash, Phrase::StillBad, Phrase::Call]
        }
        Condition::Unproven => {
            vec![
                hold,
                Phrase::CheckByHand,
                Phrase::FindReason,
                Phrase::Rewash,
                Phrase::StillBad,
                Phrase::Call,
            ]
        }
        Condition::WashLow => {
            vec![hold, tank, Phrase::IndependentGauge, Phrase::Rewash, Phrase::StillBad, Phrase::Call]
        }
        Condition::RinseHot => vec![independent, Phrase::TurnDown, Phrase::Call],
        Condition::Narrow => vec![independent, Phrase::LookSoon, Phrase::Call],
        Condition::Drifting => vec![Phrase::CompareProbe, Phrase::LookSoon, Phrase::Call],
        Condition::TankCold => vec![tank, Phrase::IndependentGauge, Phrase::StillBad, Phrase::Call],
        Condition::ProbeFault => vec![Phrase::CheckByHand, Phrase::ProbeWires, Phrase::Call],
        Condition::ProbeSilent => {
            vec![Phrase::CheckByHand, Phrase::ProbePower, Phrase::ProbeWires, Phrase::Call]
        }
        Condition::CheckOverdue => vec![Phrase::DoChecks],
        Condition::CalibrationOverdue => vec![Phrase::Calibrate],
        Condition::ThermometerOff => {
            // Of a gauge, or of a probe that shows too little, the desk counts none.
            let racks = match (alert.place, alert.racks.count) {
                (None, _) => Phrase::LookBack,
                (Some(_), 0) => Phrase::NoneDoubted,
                (Some(_), _) => Phrase::HoldDoubted,
            };
            vec![Phrase::CheckByHand, racks, Phrase::CompareAgain, Phrase::Call]
        }
        Condition::SuppliesShort if chemical && may_lack_sanitizer(alert) => {
            vec![Phrase::NoSanitizer, Phrase::FillUp, Phrase::EnterSupplies]
        }
        Condition::SuppliesShort => vec![Phrase::FillUp, Phrase::EnterSupplies],
        Condition::RecordDamaged => vec![Phrase::KeepCopy, Phrase::CalibrateAgain],
        Condition::DiskFilling => vec![Phrase::FreeSpace],
        Condition::ClockUnsynchronised => vec![Phrase::CheckClock],
        Condition::SeriesBacklog => vec![Phrase::CheckSeries],
        Condition::Undelivered => vec![Phrase::TellThem],
    };
    if alert.condition == Condition::Cold && alert.pattern == Some(Pattern::Repeated) {
        steps.insert(0, Phrase::StopFeeding);
    }
    if alert.needs_action {
        steps.push(Phrase::WriteAction);
    }
    steps
}

/// Whether the figures of the sink are wanted: ware may have to be washed without the machine.
pub(super) const fn by_hand(condition: Condition) -> bool {
    match condition {
        Condition::Cold
        | Condition::Brief
        | Condition::Weak
        | Condition::Unproven
        | Condition::WashLow
        | Condition::TankCold => true,
        Condition::RinseHot
        | Condition::Narrow
        | Condition::Drifting
        | Condition::ProbeFault
        | Condition::ProbeSilent
        | Condition::CheckOverdue
        | Condition::CalibrationOverdue
        | Condition::ThermometerOff
        | Condition::SuppliesShort
        | Condition::RecordDamaged
        | Condition::DiskFilling
        | Condition::ClockUnsynchronised
        | Condition::SeriesBacklog
        | Condition::Undelivered => false,
    }
}

/// Whether it is about something that somebody has not done, whatever the racks were.
pub(super) const fn is_of_a_task(condition: Condition) -> bool {
    matches!(condition, Condition::CheckOverdue | Condition::CalibrationOverdue | Condition::SuppliesShort)
}

/// What could hurt whoever follows the steps.
pub(super) fn cautions(condition: Condition, chemical: bool) -> Vec<Phrase> {
    let (scald, chlorine, mains) = match condition {
        // By hand, chlorine is one of the ways.
        Condition::Cold | Condition::Brief | Condition::WashLow | Condition::TankCold => (true, true, true),
        Condition::Weak | Condition::Unproven => (true, true, false),
        Condition::RinseHot | Condition::Narrow | Condition::Drifting => (true, chemical, true),
        Condition::ProbeFault | Condition::ProbeSilent => (true, chemical, true),
        Condition::CheckOverdue => (true, true, false),
        // Drums are changed, also beside a hot-water machine: descaler and rinse aid are acids.
        Condition::SuppliesShort => (true, true, false),
        Condition::CalibrationOverdue | Condition::RecordDamaged => (true, false, false),
        Condition::ThermometerOff => (true, chemical, true),
        Condition::DiskFilling
        | Condition::ClockUnsynchronised
        | Condition::SeriesBacklog
        | Condition::Undelivered => (false, false, false),
    };
    let all =
        [(scald, Phrase::Scald), (chlorine, Phrase::Chlorine), (mains, Phrase::Mains), (scald, Phrase::Aid)];
    all.into_iter().filter(|(wanted, _)| *wanted).map(|(_, phrase)| phrase).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::time::Timestamp;

    // Own promise: the racks are held for the sanitizer where it is short or may be, and for nothing else.
    #[test]
    fn detergent_gets_no_advice_for_the_sanitizer() {
        for (about, chemical, holds) in [
            ("[sanitizer] Ana", true, true),
            ("[detergent sanitizer] Ana", true, true),
            ("Ana: half a can", true, true),
            ("[detergent] Ana", true, false),
            ("[sanitizer] Ana", false, false),
        ] {
            let trial = Alert::trial(Timestamp::from_micros(0));
            let about = vec![about.to_owned()];
            let alert = Alert { condition: Condition::SuppliesShort, about, ..trial };
            let steps = steps(&alert, chemical);
            let found = steps.iter().any(|step| matches!(step, Phrase::NoSanitizer));
            assert_eq!(found, holds, "{:?}", alert.about);
        }
    }
}
