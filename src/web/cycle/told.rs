//! What is told of a rack: its figures, on what they rest, what was said and done since.

use super::{Acted, Fact, ProbeThen, Rack, TraceFound, spikes_told};
use crate::core::alert::words::who;
use crate::core::cycle::minimum::{Unjudged, against};
use crate::core::cycle::strength::on_file;
use crate::core::late::late_after;
use crate::core::reader::{Language, Reader, filled};
use crate::core::record::{Amendment, Basis, CorrectiveAction, Cycle, DoseBasis, WindowFrom};
use crate::core::technician::work::then::WorkThen;
use crate::web::frame::said;
use crate::web::machine::words::place_word;

/// The settled minimum against the limit.
pub(super) fn figures(cycle: &Cycle, reader: &Reader) -> String {
    let symbol = reader.scale.symbol();
    let say = |english, spanish| said(reader.language, english, spanish);
    let limit_word = say("limit", "límite");
    let unjudged = Unjudged::of(cycle);
    let (settled, limit, beside) = against(cycle.rinse_min_c, unjudged, cycle.limit_c, reader);
    let settled = match (cycle.rinse_min_c, beside) {
        (Some(_), _) => format!("{settled} {symbol}"),
        (None, Some(beside)) => format!("{settled} {symbol}, {beside}"),
        (None, None) => say("no settled minimum", "sin mínimo estable").to_owned(),
    };
    format!("{settled} · {limit_word} {limit} {symbol}")
}

pub(super) fn facts(rack: &Rack, reader: &Reader) -> Vec<Fact> {
    let say = |english, spanish| said(reader.language, english, spanish);
    let cycle = &*rack.cycle;
    let temperature =
        |celsius: Option<f64>| celsius.map_or("–".to_owned(), |value| reader.temperature(value));
    let [basis, dose_basis, window] = grounds(cycle, reader.language);
    let mut facts = minima(cycle, basis, reader);
    let mut tell = |name, value| facts.push(Fact { name, value });
    tell(say("Limit", "Límite"), format!("{} ({})", reader.temperature(cycle.limit_c), rack.limit_source));
    let chance = cycle.conformance.map_or(String::new(), |share| {
        // Rounded down: only certainty is 100 %.
        let share = (share * 1000.0).floor() / 10.0;
        format!(
            ", {} {share:.1} %",
            say("probability to be at or above the limit", "probabilidad de alcanzar el límite")
        )
    });
    tell(
        say("Uncertainty (k = 2)", "Incertidumbre (k = 2)"),
        format!("± {}{chance}", reader.difference(cycle.uncertainty_c)),
    );
    let (dwell, required) = apart(cycle.dwell_s, cycle.dwell_required_s);
    tell(
        say("Limit held", "Límite sostenido"),
        format!("{dwell} s ({} {required} s)", say("required", "exigido")),
    );
    tell(say("Highest final rinse", "Enjuague más alto"), temperature(cycle.rinse_peak_c));
    let (wash, wash_limit) = match cycle.wash_min_c {
        Some(wash) => reader.pair(wash, cycle.wash_limit_c),
        None => ("–".to_owned(), format!("{:.1}", reader.scale.temperature(cycle.wash_limit_c))),
    };
    let symbol = reader.scale.symbol();
    tell(
        say("Lowest wash", "Lavado más bajo"),
        format!("{wash} {symbol} ({} {wash_limit} {symbol})", say("limit", "límite")),
    );
    if let Some(told) = on_file(cycle, rack.rules.as_ref(), reader.language) {
        tell(say("Sanitizer on file", "Desinfectante registrado"), told);
    }
    tell(
        say("Heat dose", "Dosis de calor"),
        format!("A0 {:.1} s, HUE {:.1} ({dose_basis})", cycle.a0, cycle.hue),
    );
    tell(say("Machine", "Máquina"), format!("{}, {}", rack.kind, rack.method));
    tell(say("Window from", "Ventana según"), window.to_owned());
    tell(
        say("Readings in the rinse window", "Lecturas en la ventana del enjuague"),
        format!("{} ({})", cycle.rinse_readings, spikes_told(cycle.spikes.into(), reader.language)),
    );
    let late = late_after(cycle.rinse_ended, rack.recorded).map_or("", |_| say(" (late)", " (tarde)"));
    tell(say("Recorded", "Registrado"), format!("{}{late}", reader.moment(rack.recorded)));
    facts
}

/// The minimum that the verdict stands on, and what the probe showed: of a rack without the first the second
/// proves nothing.
fn minima(cycle: &Cycle, basis: &str, reader: &Reader) -> Vec<Fact> {
    let say = |english, spanish| said(reader.language, english, spanish);
    let temperature = |celsius: f64| reader.temperature(celsius);
    let settled = match (cycle.rinse_min_c, Unjudged::of(cycle)) {
        (Some(settled_c), _) => format!("{} ({basis})", temperature(settled_c)),
        (None, Some(unjudged)) => {
            format!("{}, {}", temperature(unjudged.celsius), unjudged.word(reader.language))
        }
        (None, None) => "–".to_owned(),
    };
    let mut facts = vec![Fact { name: say("Settled minimum", "Mínimo estable"), value: settled }];
    let shown = match (cycle.rinse_min_raw_c, cycle.rinse_min_corrected_c) {
        (raw, Some(corrected)) => Some((
            say("Shown / corrected", "Mostrado / corregido"),
            format!("{} / {}", raw.map_or("–".to_owned(), temperature), temperature(corrected)),
        )),
        (Some(raw), None) if cycle.rinse_min_c.is_none() => {
            Some((say("Shown by the probe", "Mostrado por la sonda"), temperature(raw)))
        }
        (_, None) => None,
    };
    facts.extend(shown.map(|(name, value)| {
        let nothing = say("; it proves nothing", "; no prueba nada");
        let value = if cycle.rinse_min_c.is_none() { format!("{value}{nothing}") } else { value };
        Fact { name, value }
    }));
    facts
}

/// What the minimum, the dose and the window were taken from.
fn grounds(cycle: &Cycle, language: Language) -> [&'static str; 3] {
    let say = |english, spanish| said(language, english, spanish);
    let basis = match cycle.basis {
        Basis::Raw => say("as the probe showed it", "como lo mostró la sonda"),
        Basis::LagCorrected => say("corrected for the probe's delay", "corregido por el retardo de la sonda"),
    };
    let dose_basis = match cycle.dose_basis {
        DoseBasis::WaterSideEstimate => say(
            "water-side estimate: an upper bound for the ware",
            "estimación en el agua: cota superior para la vajilla",
        ),
        DoseBasis::WareSurface => say("at the surface of a ware", "en la superficie de una pieza"),
    };
    let window = match cycle.window_from {
        WindowFrom::Trace => say("the trace of the final-rinse probe", "la traza de la sonda del enjuague"),
        WindowFrom::RunSignal => say("the machine's run signal", "la señal de marcha de la máquina"),
    };
    [basis, dose_basis, window]
}

/// Two times with as many digits as it takes to tell them apart: what is too short never looks enough.
fn apart(one: f64, other: f64) -> (String, String) {
    let shown = |digits: usize| (format!("{one:.digits$}"), format!("{other:.digits$}"));
    if one.total_cmp(&other).is_eq() {
        return shown(1);
    }
    (1..=6).map(shown).find(|(one, other)| one != other).unwrap_or_else(|| shown(6))
}

pub(super) fn probes(probes: &[ProbeThen], reader: &Reader) -> Vec<Fact> {
    let say = |english, spanish| said(reader.language, english, spanish);
    let told = |probe: &ProbeThen| {
        let calibration = match (&probe.calibration, &probe.configured_on) {
            (Some((record, at, by)), _) => format!(
                "{} {record}, {} ({by})",
                say("calibration of record", "calibración del asiento"),
                reader.day(*at)
            ),
            (None, Some(day)) => format!(
                "{} {day}",
                say("calibrated by the configuration on", "calibrada según la configuración el")
            ),
            (None, None) => say("NO CALIBRATION on file", "SIN CALIBRACIÓN registrada").to_owned(),
        };
        let tau = probe.tau_s.map_or_else(
            || say("time constant not on file", "constante de tiempo no registrada").to_owned(),
            |tau| format!("{} {tau:.2} s", say("time constant", "constante de tiempo")),
        );
        let width = reader.difference(probe.uncertainty_c);
        Fact {
            name: place_word(probe.place, reader.language),
            value: format!("{}\n{calibration}\n{tau}, ± {width}", probe.channel),
        }
    };
    probes.iter().map(told).collect()
}

/// Who worked on its machine, or on the whole site, at its time.
pub(super) fn worked(work: &WorkThen, reader: &Reader) -> String {
    let phrase = match (&work.machine, reader.language) {
        (Some(_), Language::English) => "Work on the machine at that time: {work}",
        (None, Language::English) => "Work on the whole site at that time: {work}",
        (Some(_), Language::Spanish) => "Trabajo en la máquina a esa hora: {work}",
        (None, Language::Spanish) => "Trabajo en toda la cocina a esa hora: {work}",
    };
    filled(phrase, &[("work", &work.told(reader))])
}

pub(super) fn amended(index: u64, amendment: &Option<Amendment>, reader: &Reader) -> String {
    let say = |english, spanish| said(reader.language, english, spanish);
    let record = say("Record", "Asiento");
    match amendment {
        Some(amendment) => format!("{record} {index}: «{}» ({})", amendment.reason, amendment.by),
        None => format!(
            "{record} {index}: {}",
            say("it speaks of this rack and is damaged", "habla de esta canasta y está dañado")
        ),
    }
}

/// What was done about an alert of the rack, by whom and when, in the words of whoever wrote it; and whether it covers
/// this rack, which may have come after those that its writer was shown.
pub(crate) fn acted(acted: &Acted, reader: &Reader) -> String {
    let CorrectiveAction { alert, by, racks, done, covers, .. } = &acted.action;
    let phrase = match (acted.covers, covers.filter(|count| *count > 0)) {
        (Some(true), _) => said(
            reader.language,
            "Corrective action, alert {alert}, covers this rack",
            "Acción correctiva, alerta {alert}, abarca esta canasta",
        ),
        (Some(false), _) => said(
            reader.language,
            "Corrective action, alert {alert}, does NOT cover this rack: it is not among those of then",
            "Acción correctiva, alerta {alert}, NO abarca esta canasta: no es una de las de entonces",
        ),
        (None, Some(_)) => said(
            reader.language,
            "Corrective action, alert {alert}, for the first {count} of its racks",
            "Acción correctiva, alerta {alert}, para las primeras {count} de sus canastas",
        ),
        (None, None) => {
            said(reader.language, "Corrective action, alert {alert}", "Acción correctiva, alerta {alert}")
        }
    };
    let (number, count) = (alert.to_string(), covers.unwrap_or_default().to_string());
    let head = filled(phrase, &[("alert", &number), ("count", &count)]);
    let became = said(reader.language, "racks", "canastas");
    format!(
        "{head}: «{done}»; {became}: «{racks}» ({}, {})",
        who(by, reader.language),
        reader.moment(acted.at)
    )
}

pub(super) fn rows(trace: &TraceFound, reader: &Reader) -> Vec<[String; 3]> {
    let shown = |celsius: Option<f64>| {
        celsius.map_or("–".to_owned(), |value| format!("{:.1}", reader.scale.temperature(value)))
    };
    match trace {
        TraceFound::Kept { seconds, .. } => {
            seconds.iter().map(|(at, rinse, wash)| [at.to_string(), shown(*rinse), shown(*wash)]).collect()
        }
        TraceFound::Never | TraceFound::Damaged => Vec::new(),
    }
}
