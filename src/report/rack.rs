//! What is told of one rack beside its figures, in the words of whoever reads: those of the report on paper.

use super::pdf::tell::Teller;
use crate::core::reader::Reader;
use crate::core::record::Cycle;

/// One rack in words.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct RackTold {
    /// Why it got its verdict, one sentence each, the decisive one first; empty for a plain pass.
    pub reasons: Vec<String>,
    /// What was found beside the verdict, one sentence each.
    pub findings: Vec<String>,
    /// Kind of machine.
    pub kind: &'static str,
    /// Sanitizing method.
    pub method: &'static str,
    /// Where its limit comes from.
    pub limit_source: &'static str,
}

/// Tells of a rack.
#[must_use]
pub fn told(cycle: &Cycle, reader: &Reader) -> RackTold {
    let teller = Teller { reader: reader.clone() };
    RackTold {
        reasons: cycle.reasons.iter().map(|reason| teller.reason(reason)).collect(),
        findings: cycle.findings.iter().map(|finding| teller.finding(finding)).collect(),
        kind: teller.kind(cycle.machine_kind),
        method: teller.method(cycle.sanitizing),
        limit_source: teller.source(cycle.limit_source),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::verdict::{Reason, Verdict};
    use crate::core::reader::{Language, Scale};
    use crate::report::row::samples;

    // Own rule: every reason and every finding is told, each in its own sentence, in the reader's language.
    #[test]
    fn every_reason_is_told() {
        let reasons = vec![
            Reason::RinseBelowLimit { measured_c: 71.31, limit_c: 82.222 },
            Reason::DwellTooShort { dwell_s: 1.0, required_s: 5.0 },
        ];
        let cycle = samples::cycle(0, Verdict::Cold, 71.31, reasons);
        let mut said = Vec::new();
        for language in Language::ALL {
            let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
            let told = told(&cycle, &reader);
            assert_eq!((told.reasons.len(), told.findings.len()), (2, 1), "{told:?}");
            assert!(told.reasons[0].contains("71.3 °C"), "{told:?}");
            said.push(told);
        }
        assert!(said[0].reasons[0] != said[1].reasons[0] && said[0].kind != said[1].kind, "{said:?}");
    }
}
