//! Verdicts, reasons and findings in plain words.

use crate::core::cycle::verdict::{Finding, Reason, Verdict};
use crate::core::reader::Language;
use crate::core::reading::Fault;
use crate::core::sanitizer::bound::Bound;
use crate::core::sanitizer::{Refusal, shown};
use crate::core::units::Celsius;

/// A mark of its own shape for each verdict, one column wide, so that no verdict is told by colour alone.
#[must_use]
pub const fn mark(verdict: Verdict) -> char {
    match verdict {
        Verdict::Cold => '✗',
        Verdict::Brief => '◔',
        Verdict::Weak => '▾',
        Verdict::Unproven => '?',
        Verdict::Narrow => '~',
        Verdict::Pass => '✓',
    }
}

/// What stands wherever a verdict may lead somebody to the machine.
pub const CAUTION: &str = "Rinse water scalds at once; chlorine with acid gives off poisonous gas. Never \
                           reach into a running machine. An aid: its gauges and the test kit stay needed.";

/// The stable word of [`Reason::WorkedOn`].
pub const WORKED_ON: &str = "worked-on";

/// The stable word of a reason, the same as in the record.
#[must_use]
pub const fn reason_code(reason: &Reason) -> &'static str {
    match reason {
        Reason::RinseBelowLimit { .. } => "rinse-below-limit",
        Reason::DwellTooShort { .. } => "dwell-too-short",
        Reason::RinseAborted { .. } => "rinse-aborted",
        Reason::Concentration { .. } => "concentration",
        Reason::NoConcentrationCheck => "no-concentration-check",
        Reason::RinseProbe { .. } => "rinse-probe",
        Reason::GapInRinse { .. } => "gap-in-rinse",
        Reason::TooFewReadings { .. } => "too-few-readings",
        Reason::ProbeTooSlow => "probe-too-slow",
        Reason::EndNotSeen => "end-not-seen",
        Reason::ClockStep => "clock-step",
        Reason::TooSoon { .. } => "too-soon",
        Reason::Faint { .. } => "faint",
        Reason::TankUnseen => "tank-unseen",
        Reason::WorkedOn => WORKED_ON,
        Reason::InsideUncertainty { .. } => "inside-uncertainty",
    }
}

/// A reason as a sentence.
#[must_use]
pub fn reason(reason: &Reason) -> String {
    match reason {
        Reason::RinseBelowLimit { measured_c, limit_c } => {
            format!("The final rinse settled at {}.", against(*measured_c, "below the limit of", *limit_c))
        }
        Reason::DwellTooShort { dwell_s, required_s } => {
            format!("The limit was held for {dwell_s:.1} s; {required_s:.1} s are required.")
        }
        Reason::RinseAborted { rinse_s } => {
            format!("The final rinse ended after {rinse_s:.1} s, before the line could settle.")
        }
        Reason::Concentration { refusal, mg_per_l, limit } => {
            let bound = limit.and_then(|limit| Bound::beyond(*refusal, limit));
            let bound = bound.map(|bound| format!(" ({})", bound.told(Language::English))).unwrap_or_default();
            format!("The sanitizer on file, {} mg/L, is {}{bound}.", shown(*mg_per_l), refusal_words(*refusal))
        }
        Reason::NoConcentrationCheck => "No sanitizer check is on file for this shift.".to_owned(),
        Reason::RinseProbe { fault } => {
            format!("The final-rinse probe {} during the cycle.", fault_words(*fault))
        }
        Reason::GapInRinse { gap_s } => {
            format!("Readings are missing for {gap_s:.1} s of the final rinse.")
        }
        Reason::TooFewReadings { readings, needed } => {
            format!("Only {readings} readings lie in the settled rinse; {needed} are needed.")
        }
        Reason::ProbeTooSlow => {
            "The probe answers too slowly for this rinse, and its time constant is not on file.".to_owned()
        }
        Reason::EndNotSeen => {
            "The trace does not show when the final rinse ended; a run signal would.".to_owned()
        }
        Reason::ClockStep => "The clock of the source stepped during the cycle.".to_owned(),
        Reason::TooSoon { after_s, needed_s } => format!(
            "It came {after_s:.1} s after other water in the line; a wash takes {needed_s:.1} s at least, so one of the two was no rinse."
        ),
        Reason::Faint { change_c } => format!(
            "The line, long at rest, cooled by only {change_c:.1} °C: a rinse of cold water, or none."
        ),
        Reason::TankUnseen => {
            "The wash probe fell faster than a tank does, so it was not in the water: a rack, or water that ran in an empty machine."
                .to_owned()
        }
        Reason::WorkedOn => {
            "Somebody worked on the machine: what its probes showed need not be its water.".to_owned()
        }
        Reason::InsideUncertainty { margin_c, uncertainty_c } => format!(
            "The settled minimum is {margin_c:.2} °C above the limit, within the uncertainty of ±{uncertainty_c:.2} °C."
        ),
    }
}

/// The stable word of a finding, the same as in the record.
#[must_use]
pub const fn finding_code(finding: &Finding) -> &'static str {
    match finding {
        Finding::WashLow { .. } => "wash-low",
        Finding::RinseTooHot { .. } => "rinse-too-hot",
        Finding::WashUnproven { .. } => "wash-unproven",
    }
}

/// A finding as a sentence.
#[must_use]
pub fn finding(finding: &Finding) -> String {
    match finding {
        Finding::WashLow { measured_c, limit_c } => {
            format!("The lowest wash was {}.", against(*measured_c, "below its limit of", *limit_c))
        }
        Finding::RinseTooHot { measured_c, limit_c } => {
            format!("The highest final rinse was {}.", against(*measured_c, "above its maximum of", *limit_c))
        }
        Finding::WashUnproven { fault: Some(fault) } => {
            format!("The wash could not be judged: its probe {}.", fault_words(*fault))
        }
        Finding::WashUnproven { fault: None } => "The wash could not be judged.".to_owned(),
    }
}

/// Two temperatures in both scales, with as many digits as it takes to tell them apart.
fn against(measured_c: f64, relation: &str, limit_c: f64) -> String {
    let digits =
        (1..=3).find(|digits| format!("{measured_c:.digits$}") != format!("{limit_c:.digits$}")).unwrap_or(3);
    let (measured_f, limit_f) = (Celsius(measured_c).fahrenheit(), Celsius(limit_c).fahrenheit());
    format!(
        "{measured_c:.digits$} °C ({measured_f:.digits$} °F), {relation} {limit_c:.digits$} °C ({limit_f:.digits$} °F)"
    )
}

/// What a probe did, after its name.
pub(super) const fn fault_words(fault: Fault) -> &'static str {
    match fault {
        Fault::OpenCircuit => "had a broken wire (open circuit)",
        Fault::Short => "had a short circuit",
        Fault::Reversed => "had its leads exchanged",
        Fault::OutOfRange => "read outside its range",
        Fault::Stuck => "showed the same digits for too long",
        Fault::Silent => "sent nothing",
        Fault::NoColdJunction => "had no usable cold-junction temperature",
        Fault::Reported => "reported a fault of its own",
    }
}

const fn refusal_words(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::TooWeak => "too weak",
        Refusal::TooStrong => "too strong",
        Refusal::PhTooHigh => "at a pH above what the Food Code's table covers",
        Refusal::NotAMeasurement => "no measurement",
        Refusal::NotChemical => "of no use on a hot-water machine",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The codes are the words that serde puts into the record; one list serves both.
    #[test]
    fn codes_are_the_words_of_the_record() {
        for reason in [
            Reason::RinseBelowLimit { measured_c: 1.0, limit_c: 2.0 },
            Reason::DwellTooShort { dwell_s: 1.0, required_s: 2.0 },
            Reason::RinseAborted { rinse_s: 1.0 },
            Reason::EndNotSeen,
            Reason::TooSoon { after_s: 12.0, needed_s: 30.0 },
            Reason::Faint { change_c: 1.0 },
            Reason::TankUnseen,
            Reason::WorkedOn,
            Reason::Concentration { refusal: Refusal::TooWeak, mg_per_l: 10.0, limit: Some(25.0) },
            Reason::NoConcentrationCheck,
            Reason::RinseProbe { fault: Fault::Stuck },
            Reason::GapInRinse { gap_s: 2.0 },
            Reason::TooFewReadings { readings: 1, needed: 4 },
            Reason::ProbeTooSlow,
            Reason::ClockStep,
            Reason::InsideUncertainty { margin_c: 0.1, uncertainty_c: 1.0 },
        ] {
            let value = serde_json::to_value(&reason).expect("a reason has a JSON form");
            assert_eq!(value["reason"], reason_code(&reason));
        }
        for finding in [
            Finding::WashLow { measured_c: 1.0, limit_c: 2.0 },
            Finding::RinseTooHot { measured_c: 3.0, limit_c: 2.0 },
            Finding::WashUnproven { fault: None },
        ] {
            let value = serde_json::to_value(&finding).expect("a finding has a JSON form");
            assert_eq!(value["finding"], finding_code(&finding));
        }
    }

    // 180 °F = 82.222… °C by definition of the scales.
    #[test]
    fn a_refusal_never_shows_two_equal_numbers() {
        for (measured_c, expected) in [
            (71.3, "71.3 °C (160.3 °F), below 82.2 °C (180.0 °F)"),
            (82.19, "82.19 °C (179.94 °F), below 82.22 °C (180.00 °F)"),
            (82.221, "82.221 °C (179.998 °F), below 82.222 °C (180.000 °F)"),
        ] {
            assert_eq!(against(measured_c, "below", 82.222_222), expected);
        }
    }

    #[test]
    fn marks_differ() {
        let marks: std::collections::BTreeSet<_> = Verdict::ALL.into_iter().map(mark).collect();
        assert_eq!(marks.len(), Verdict::ALL.len());
    }
}
