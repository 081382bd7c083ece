//! Each open point as a sentence.

use super::plain;
use crate::core::cycle::verdict::{Finding, Verdict};
pub(super) use crate::core::reader::said as pick;
use crate::core::reader::{Language, Reader, filled};
use crate::core::signoff::OpenPoint;
use crate::core::signoff::lapse::Lapse;
use crate::core::wiring;
use crate::report::pdf::tell::Teller;

/// An open point in the words of its reader.
#[must_use]
pub fn point(point: &OpenPoint, reader: &Reader) -> String {
    let teller = Teller { reader: reader.clone() };
    let symbol = reader.scale.symbol();
    let said = |english: &'static str, spanish: &'static str, values: &[(&str, &str)]| {
        filled(pick(reader.language, english, spanish), values)
    };
    match point {
        OpenPoint::RinseLimitOfFoodCode { limit_c } => said(
            "The final-rinse limit, {limit}, is that of the FDA Food Code: none of the data plate is entered.",
            "El límite del enjuague final, {limit}, es el del Código de Alimentos de la FDA: no se ha introducido el de la placa de datos.",
            &[("limit", &reader.temperature(*limit_c))],
        ),
        OpenPoint::WashLimitOfFoodCode { limit_c } => said(
            "The wash limit, {limit}, is that of the FDA Food Code: none of the data plate is entered.",
            "El límite del lavado, {limit}, es el del Código de Alimentos de la FDA: no se ha introducido el de la placa de datos.",
            &[("limit", &reader.temperature(*limit_c))],
        ),
        OpenPoint::NotCalibrated { probe } => said(
            "{probe} was never calibrated.",
            "{probe} nunca se ha calibrado.",
            &[("probe", &plain(probe))],
        ),
        OpenPoint::CalibrationDoubted { probe, record } => said(
            "The calibration of {probe} (record {record}) counts for nothing: a record that may have taken its place is damaged.",
            "La calibración de {probe} (asiento {record}) no cuenta: un asiento que pudo sustituirla está dañado.",
            &[("probe", &plain(probe)), ("record", &record.to_string())],
        ),
        OpenPoint::ResponseDoubted { probe, record } => said(
            "The response test of {probe} (record {record}) counts for nothing: a record that may have taken its place is damaged.",
            "La prueba de respuesta de {probe} (asiento {record}) no cuenta: un asiento que pudo sustituirla está dañado.",
            &[("probe", &plain(probe)), ("record", &record.to_string())],
        ),
        OpenPoint::CalibrationOverdue { probe, until } => said(
            "The calibration of {probe} ran out on {until}.",
            "La calibración de {probe} venció el {until}.",
            &[("probe", &plain(probe)), ("until", &plain(until))],
        ),
        OpenPoint::CalibrationDue { probe, until } => said(
            "The calibration of {probe} is due: it holds until {until}.",
            "La calibración de {probe} está por vencer: vale hasta el {until}.",
            &[("probe", &plain(probe)), ("until", &plain(until))],
        ),
        OpenPoint::Uncertain { probe, expanded_c, granted_c } => {
            let (shown, granted) =
                apart(reader.scale.difference(*expanded_c), reader.scale.difference(*granted_c));
            said(
                "{probe} may be wrong by ±{shown} {symbol} (k = 2) at its limit, more than the ±{granted} {symbol} of Food Code 4-203.12.",
                "{probe} puede errar en ±{shown} {symbol} (k = 2) en su límite, más que los ±{granted} {symbol} del Código de Alimentos 4-203.12.",
                &[("probe", &plain(probe)), ("shown", &shown), ("granted", &granted), ("symbol", symbol)],
            )
        }
        OpenPoint::NoResponse { probe } => said(
            "No response test of {probe} is on file: nobody can say whether it can judge this rinse.",
            "No consta ninguna prueba de respuesta de {probe}: nadie puede decir si sirve para evaluar este enjuague.",
            &[("probe", &plain(probe))],
        ),
        OpenPoint::TooSlow { probe, tau_s, rinse_s } => said(
            "{probe} is too slow for the rinse: with a time constant of {tau} s it has not answered within half of {rinse} s.",
            "{probe} es demasiado lenta para el enjuague: con una constante de tiempo de {tau} s no ha respondido en la mitad de {rinse} s.",
            &[("probe", &plain(probe)), ("tau", &format!("{tau_s:.2}")), ("rinse", &format!("{rinse_s:.1}"))],
        ),
        OpenPoint::WiringNotProved
        | OpenPoint::WiringNotGood { .. }
        | OpenPoint::WiringLeftOut { .. }
        | OpenPoint::WiringOutdated { .. } => of_wiring(point, &teller),
        OpenPoint::NoTestCycle => said(
            "No cycle is on record since the wiring was proved and the probes were calibrated.",
            "No consta ningún ciclo desde que se comprobó el cableado y se calibraron las sondas.",
            &[],
        ),
        OpenPoint::TestCycleOutdated { record } => said(
            "The test cycle, record {record}, was run before the wiring was proved or a probe was calibrated.",
            "El ciclo de prueba, asiento {record}, es anterior a la comprobación del cableado o a una calibración.",
            &[("record", &record.to_string())],
        ),
        OpenPoint::TestCycleNotGood { record, worked_on: true, .. } => said(
            "The test cycle, record {record}, proves nothing: the machine was marked as worked on while it ran. End the work first, then run a rack.",
            "El ciclo de prueba, asiento {record}, no prueba nada: constaba que se trabajaba en la máquina. Termine primero el trabajo y lave luego una canasta.",
            &[("record", &record.to_string())],
        ),
        OpenPoint::TestCycleNotGood { record, verdict, worked_on: false } => said(
            "The test cycle, record {record}, did not pass: {verdict}.",
            "El ciclo de prueba, asiento {record}, no pasó: {verdict}.",
            &[("record", &record.to_string()), ("verdict", &of_verdict(*verdict, &teller))],
        ),
        OpenPoint::TestCycleFinding { record, found } => said(
            "In the test cycle, record {record}: {found}",
            "En el ciclo de prueba, asiento {record}: {found}",
            &[("record", &record.to_string()), ("found", &finding(found, &teller))],
        ),
        OpenPoint::OpenAlert { alert, condition } => said(
            "Alert {alert} is open: {condition}.",
            "La alerta {alert} está abierta: {condition}.",
            &[("alert", &alert.to_string()), ("condition", teller.condition(*condition))],
        ),
    }
}

/// What is not as it was signed, in the words of its reader.
#[must_use]
pub fn lapse(lapse: &Lapse, reader: &Reader) -> String {
    let (phrase, probe) = match lapse {
        Lapse::Point(open) => return point(open, reader),
        Lapse::Plate => (
            pick(
                reader.language,
                "A limit or a time by which it is judged is another one.",
                "Un límite o un tiempo con que se evalúa es otro.",
            ),
            "",
        ),
        Lapse::Calibration(probe) => (
            pick(reader.language, "{probe} has another calibration.", "{probe} tiene otra calibración."),
            probe.as_str(),
        ),
        Lapse::Response(probe) => (
            pick(
                reader.language,
                "{probe} has another response test.",
                "{probe} tiene otra prueba de respuesta.",
            ),
            probe.as_str(),
        ),
        Lapse::Fitted(probe) => (
            pick(
                reader.language,
                "{probe} is configured for another place or signal.",
                "{probe} está configurada para otro lugar u otra señal.",
            ),
            probe.as_str(),
        ),
        Lapse::Added(probe) => {
            (pick(reader.language, "{probe} was not there.", "{probe} no estaba."), probe.as_str())
        }
        Lapse::Gone(probe) => {
            (pick(reader.language, "{probe} is gone.", "{probe} ya no está."), probe.as_str())
        }
    };
    filled(phrase, &[("probe", &plain(probe))])
}

fn of_wiring(point: &OpenPoint, teller: &Teller) -> String {
    let language = teller.reader.language;
    if let OpenPoint::WiringNotGood { probe: Some(probe), finding } = point {
        let values = [("probe", plain(probe)), ("finding", found(finding, language))];
        let values = values.each_ref().map(|(name, value)| (*name, value.as_str()));
        let phrase = pick(
            language,
            "The wiring of {probe} is not good: {finding}.",
            "El cableado de {probe} no está bien: {finding}.",
        );
        return filled(phrase, &values);
    }
    if let OpenPoint::WiringLeftOut { probe } = point {
        let phrase = pick(
            language,
            "No proof of the wiring tried {probe}.",
            "Ninguna comprobación del cableado probó {probe}.",
        );
        return filled(phrase, &[("probe", &plain(probe))]);
    }
    if let OpenPoint::WiringOutdated { since } = point {
        let phrase = pick(
            language,
            "The probes or their sources were configured anew after the wiring was proved{when}.",
            "Las sondas o sus fuentes se configuraron de nuevo después de comprobar el cableado{when}.",
        );
        let when = since.map_or_else(String::new, |since| format!(" ({})", teller.stamp(since)));
        return filled(phrase, &[("when", &when)]);
    }
    let never = matches!(point, OpenPoint::WiringNotProved);
    let phrase = if never {
        pick(language, "The wiring was never proved.", "El cableado nunca se ha comprobado.")
    } else {
        pick(language, "The proof of the wiring was not good.", "La comprobación del cableado no fue buena.")
    };
    phrase.to_owned()
}

/// What was found of a probe at the proof of the wiring.
pub(super) fn found(on_record: &str, language: Language) -> String {
    plain(wiring::finding(on_record, language))
}

/// A verdict with its mark and its word.
pub(super) fn of_verdict(verdict: Verdict, teller: &Teller) -> String {
    teller.verdict(verdict)
}

/// A finding as a sentence.
pub(super) fn finding(finding: &Finding, teller: &Teller) -> String {
    let reader = &teller.reader;
    let symbol = reader.scale.symbol();
    let (english, spanish, measured_c, limit_c) = match finding {
        Finding::WashLow { measured_c, limit_c } => (
            "the lowest wash was {measured}, below its limit of {limit}.",
            "el lavado más bajo fue de {measured}, por debajo de su límite de {limit}.",
            *measured_c,
            *limit_c,
        ),
        Finding::RinseTooHot { measured_c, limit_c } => (
            "the highest final rinse was {measured}, above its maximum of {limit}.",
            "el enjuague final más alto fue de {measured}, por encima de su máximo de {limit}.",
            *measured_c,
            *limit_c,
        ),
        Finding::WashUnproven { .. } => {
            let said =
                pick(reader.language, "the wash could not be judged.", "el lavado no se pudo evaluar.");
            return said.to_owned();
        }
    };
    let (measured, limit) = reader.pair(measured_c, limit_c);
    let values = [("measured", format!("{measured} {symbol}")), ("limit", format!("{limit} {symbol}"))];
    let values = values.each_ref().map(|(name, value)| (*name, value.as_str()));
    filled(pick(reader.language, english, spanish), &values)
}

/// Two differences with as many digits as it takes to tell them apart.
fn apart(one: f64, other: f64) -> (String, String) {
    let shown = |digits: usize| (format!("{one:.digits$}"), format!("{other:.digits$}"));
    (1..=6).map(shown).find(|(one, other)| one != other).unwrap_or_else(|| shown(1))
}
