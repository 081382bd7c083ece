//! Why a rack got its verdict, and what was found beside it, as sentences.

use super::tell::Teller;
use super::words::Word;
use crate::core::cycle::verdict::{Finding, Reason};
use crate::core::sanitizer::Refusal;
use crate::core::sanitizer::bound::Bound;

impl Teller {
    /// Every reason as a sentence, the decisive one first.
    pub(super) fn reasons(&self, reasons: &[Reason]) -> String {
        reasons.iter().map(|reason| self.reason(reason)).collect::<Vec<String>>().join(" ")
    }

    /// Every finding as a sentence.
    pub(super) fn findings(&self, findings: &[Finding]) -> String {
        findings.iter().map(|finding| self.finding(finding)).collect::<Vec<String>>().join(" ")
    }

    pub(in crate::report) fn reason(&self, reason: &Reason) -> String {
        match *reason {
            Reason::RinseBelowLimit { measured_c, limit_c } => {
                self.against(Word::BelowLimit, measured_c, limit_c)
            }
            Reason::DwellTooShort { dwell_s, required_s } => {
                let (held, required) = Self::apart(dwell_s, required_s, 1);
                self.with(Word::DwellShort, &[("held", &held), ("required", &required)])
            }
            Reason::RinseAborted { rinse_s } => {
                self.with(Word::Aborted, &[("time", &format!("{rinse_s:.1}"))])
            }
            Reason::Concentration { refusal, mg_per_l, limit } => {
                let bound = limit.and_then(|limit| Bound::beyond(refusal, limit));
                let bound = bound.map(|bound| format!(" ({})", bound.told(self.reader.language)));
                // As it was entered: rounded it might look like the permitted value it missed.
                let value = mg_per_l.to_string();
                self.with(refused(refusal), &[("value", &value), ("bound", &bound.unwrap_or_default())])
            }
            Reason::NoConcentrationCheck => self.say(Word::NoCheck).to_owned(),
            Reason::RinseProbe { fault } => self.with(Word::ProbeFailed, &[("fault", self.fault(fault))]),
            Reason::GapInRinse { gap_s } => self.with(Word::GapInRinse, &[("time", &format!("{gap_s:.1}"))]),
            Reason::TooFewReadings { readings, needed } => {
                let values = [("readings", readings.to_string()), ("needed", needed.to_string())];
                let values = values.each_ref().map(|(name, value)| (*name, value.as_str()));
                self.with(Word::TooFew, &values)
            }
            Reason::ProbeTooSlow => self.say(Word::TooSlow).to_owned(),
            Reason::EndNotSeen => self.say(Word::EndNotSeen).to_owned(),
            Reason::ClockStep => self.say(Word::ClockStepped).to_owned(),
            Reason::TooSoon { after_s, needed_s } => {
                let (after, needed) = Self::apart(after_s, needed_s, 1);
                self.with(Word::TooSoon, &[("after", &after), ("needed", &needed)])
            }
            Reason::Faint { change_c } => {
                let scale = self.reader.scale;
                let change = format!("{:.1} {}", scale.difference(change_c), scale.symbol());
                self.with(Word::Faint, &[("change", &change)])
            }
            Reason::TankUnseen => self.say(Word::TankUnseen).to_owned(),
            Reason::WorkedOn => self.say(Word::WorkedOn).to_owned(),
            Reason::InsideUncertainty { margin_c, uncertainty_c } => {
                let scale = self.reader.scale;
                // One digit more than the minimum and the limit are shown with, whose difference may be another by
                // rounding.
                let (margin, width) =
                    Self::apart(scale.difference(margin_c), scale.difference(uncertainty_c), 2);
                let (margin, width) =
                    (format!("{margin} {}", scale.symbol()), format!("{width} {}", scale.symbol()));
                self.with(Word::Inside, &[("margin", &margin), ("uncertainty", &width)])
            }
        }
    }

    pub(in crate::report) fn finding(&self, finding: &Finding) -> String {
        match *finding {
            Finding::WashLow { measured_c, limit_c } => self.against(Word::WashLow, measured_c, limit_c),
            Finding::RinseTooHot { measured_c, limit_c } => self.against(Word::RinseHot, measured_c, limit_c),
            Finding::WashUnproven { fault: Some(fault) } => {
                self.with(Word::WashFault, &[("fault", self.fault(fault))])
            }
            Finding::WashUnproven { fault: None } => self.say(Word::WashUnproven).to_owned(),
        }
    }

    fn against(&self, word: Word, measured_c: f64, limit_c: f64) -> String {
        let (measured, limit) = self.reader.pair(measured_c, limit_c);
        let unit = self.reader.scale.symbol();
        let (measured, limit) = (format!("{measured} {unit}"), format!("{limit} {unit}"));
        self.with(word, &[("measured", &measured), ("limit", &limit)])
    }
}

const fn refused(refusal: Refusal) -> Word {
    match refusal {
        Refusal::TooWeak => Word::TooWeak,
        Refusal::TooStrong => Word::TooStrong,
        Refusal::PhTooHigh => Word::PhTooHigh,
        Refusal::NotAMeasurement => Word::NotAMeasurement,
        Refusal::NotChemical => Word::NotChemical,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::reader::{Language, Reader, Scale};

    // Own rule, as for temperatures: 4.98 s are not «5.0 s».
    #[test]
    fn what_is_too_short_or_too_weak_never_looks_enough() {
        let reader =
            Reader { language: Language::English, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let teller = Teller { reader };
        for (reason, expected) in [
            (
                Reason::DwellTooShort { dwell_s: 4.98, required_s: 5.0 },
                "The limit was held for 4.98 s; 5.00 s are required.",
            ),
            (
                Reason::Concentration { refusal: Refusal::TooWeak, mg_per_l: 49.6, limit: Some(50.0) },
                "The sanitizer on file, 49.6 mg/L, is too weak (at least 50 mg/L).",
            ),
            // 83.8 against 82.2 °C, as they are shown.
            (
                Reason::InsideUncertainty { margin_c: 83.76 - 82.222, uncertainty_c: 1.8 },
                "The settled minimum is 1.54 °C above the limit, within the uncertainty of ±1.80 °C.",
            ),
            (
                Reason::InsideUncertainty { margin_c: 0.89, uncertainty_c: 0.9 },
                "The settled minimum is 0.89 °C above the limit, within the uncertainty of ±0.90 °C.",
            ),
        ] {
            assert_eq!(teller.reasons(&[reason]), expected);
        }
    }
}
