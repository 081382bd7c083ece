//! One rack: its trace, why it got its verdict, what was in force then, and the proof that its record stands.

mod doubted;

use std::future::Future;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

pub use self::doubted::InDoubt;
use super::frame::{self, Frame, Refusal, Tab, said};
use super::kitchen::{Kitchen, Pages};
use super::logbook::words::amended as logbook_amended;
use super::machine::Plots;
use super::machine::words::place_word;
use super::person::Person;
use crate::core::address::escaped;
use crate::core::channel::Place;
use crate::core::counted::Noun;
use crate::core::cycle::sign::Sign;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{meaning, verdict as verdict_word};
use crate::core::late::late_after;
use crate::core::reader::{Language, Reader};
use crate::core::record::{Amendment, Basis, CorrectiveAction, Cycle, DoseBasis, WindowFrom};
use crate::core::sanitizer::shown as concentration;
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;

/// What is stored at the place of a rack.
#[derive(Clone, PartialEq, Debug)]
pub enum RackFound {
    /// A rack.
    Whole(Box<Rack>),
    /// A record that is not as it was made, or cannot be read.
    Damaged(Sealing),
}

/// One rack, with what concerns it. Texts are in the words of the reader.
#[derive(Clone, PartialEq, Debug)]
pub struct Rack {
    /// Its machine.
    pub machine: String,
    /// What is on record.
    pub cycle: Box<Cycle>,
    /// When it was recorded.
    pub recorded: Timestamp,
    /// Why it got its verdict, the decisive reason first.
    pub reasons: Vec<String>,
    /// What was found beside the verdict.
    pub findings: Vec<String>,
    /// Kind of machine.
    pub kind: &'static str,
    /// Sanitizing method.
    pub method: &'static str,
    /// Where its limit comes from.
    pub limit_source: &'static str,
    /// Its trace.
    pub trace: TraceFound,
    /// Probes that judged it, as they were in force; `None` where that cannot be said.
    pub probes: Option<Vec<ProbeThen>>,
    /// What amends it; `None` for a record that cannot be read.
    pub amendments: Vec<(u64, Option<Amendment>)>,
    /// The sanitizer reading that it was judged by, where it is found on record.
    pub strip: Option<Strip>,
    /// Alerts that it is a rack of, by number.
    pub alerts: Vec<u64>,
    /// Those of them that put it in doubt after it had passed.
    pub doubts: Vec<InDoubt>,
    /// What people wrote down that they did about those alerts, with when, in order of the record.
    pub actions: Vec<(Timestamp, CorrectiveAction)>,
    /// The rack of the machine before it, by record.
    pub before: Option<u64>,
    /// The one after it.
    pub after: Option<u64>,
    /// How its record is sealed.
    pub sealing: Sealing,
}

/// The sanitizer reading that a rack was judged by.
#[derive(Clone, PartialEq, Debug)]
pub struct Strip {
    /// Its record.
    pub record: u64,
    /// What withdrew or corrected it after the rack was judged, each with its record.
    pub later: Vec<(u64, Amendment)>,
}

/// The trace of a rack.
#[derive(Clone, PartialEq, Debug)]
pub enum TraceFound {
    /// It is kept.
    Kept {
        /// The curves.
        plots: Plots,
        /// For each second since the wash began the lowest final rinse and the lowest wash, °C.
        seconds: Vec<(i64, Option<f64>, Option<f64>)>,
    },
    /// None is kept.
    Never,
    /// It cannot be read.
    Damaged,
}

/// One probe as it was in force.
#[derive(Clone, PartialEq, Debug)]
pub struct ProbeThen {
    /// Its channel.
    pub channel: String,
    /// Where it sits.
    pub place: Place,
    /// Expanded uncertainty (k = 2) near its limit, °C.
    pub uncertainty_c: f64,
    /// Time constant, s, where it is on file.
    pub tau_s: Option<f64>,
    /// Record of the calibration in force, when it was made, and by whom.
    pub calibration: Option<(u64, Timestamp, String)>,
    /// Day of the calibration that the configuration gives, where that one is in force.
    pub configured_on: Option<String>,
}

/// How a record is sealed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sealing {
    /// Its index.
    pub record: u64,
    /// Its leaf hash as stored, in hexadecimal.
    pub leaf: Option<String>,
    /// Records that the newest checkpoint counts, and when it was made; `None` where there is none.
    pub checkpoint: Option<(u64, Timestamp)>,
}

/// What the page asks of whoever knows the racks.
pub trait Racks: Clone + Send + Sync + 'static {
    /// A rack with what concerns it.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where the record is none of a rack.
    fn rack(&self, record: u64, reader: &Reader) -> impl Future<Output = Result<RackFound, Refusal>> + Send;

    /// The proof that the record of a rack is counted by the newest checkpoint, as JSON.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where it is not counted yet.
    fn proof(&self, record: u64) -> impl Future<Output = Result<String, Refusal>> + Send;
}

/// The way back: the racks of its day.
struct Back {
    address: String,
    word: String,
}

impl Back {
    fn of(rack: &Rack, reader: &Reader) -> Self {
        let at = rack.cycle.rinse_started;
        let day = local_date(&reader.zone, at).unwrap_or_default();
        let machine = escaped(&rack.machine);
        let word = said(reader.language, "History: the racks of", "Historial: las canastas de");
        Self {
            address: format!("../history?show=racks&machine={machine}&from={day}&to={day}"),
            word: format!("{word} {}, {}", rack.machine, reader.day(at)),
        }
    }
}

/// A fact with its name.
struct Fact {
    name: &'static str,
    value: String,
}

#[derive(Template)]
#[template(path = "web/cycle/cycle.html", config = ".askama.toml")]
struct CyclePage<'a> {
    frame: Frame<'a>,
    back: Back,
    actions: Vec<String>,
    rack: &'a Rack,
    verdict: Verdict,
    word: String,
    meaning: &'static str,
    when: String,
    figures: String,
    facts: Vec<Fact>,
    probes: Vec<Fact>,
    amendments: Vec<String>,
    /// What put it in doubt.
    doubts: Vec<doubted::Told>,
    /// What was said later of the reading that it was judged by.
    strip_later: Vec<String>,
    sealing: SealingTold<'a>,
    rows: Vec<[String; 3]>,
}

#[derive(Template)]
#[template(path = "web/cycle/damaged.html", config = ".askama.toml")]
struct DamagedPage<'a> {
    frame: Frame<'a>,
    sealing: SealingTold<'a>,
}

/// How a record is sealed, in words.
struct SealingTold<'a> {
    sealing: &'a Sealing,
    /// The checkpoint that counts it.
    counted: Option<String>,
}

/// Shows a rack.
pub(super) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(record): Path<String>,
    person: Person,
) -> Response {
    let reader = &person.reader;
    let found = match record.parse() {
        Ok(record) => pages.kitchen.rack(record, reader).await,
        Err(_) => Err(Refusal::Unknown),
    };
    let title = format!("{} {record}", said(reader.language, "Rack", "Canasta"));
    let frame = Frame::new(&pages.site, &person, Tab::History, 1, &title).with_open(pages.open().await);
    match found {
        Err(refused) => frame::refuse(refused, &person, &pages.site, 1),
        Ok(RackFound::Damaged(sealing)) => {
            let sealing = sealing_told(&sealing, reader);
            frame::page(StatusCode::OK, DamagedPage { frame, sealing }.render())
        }
        Ok(RackFound::Whole(rack)) => {
            let cycle = &*rack.cycle;
            let verdict = cycle.verdict;
            let page = CyclePage {
                frame,
                back: Back::of(&rack, reader),
                actions: rack.actions.iter().map(|(at, action)| acted(*at, action, reader)).collect(),
                verdict,
                word: verdict_word(verdict, reader.language).to_uppercase(),
                meaning: meaning(verdict, reader.language),
                when: reader.moment(cycle.rinse_started),
                figures: figures(cycle, reader),
                facts: facts(&rack, reader),
                probes: probes(rack.probes.as_deref().unwrap_or_default(), reader),
                amendments: rack
                    .amendments
                    .iter()
                    .map(|(index, what)| amended(*index, what, reader))
                    .collect(),
                doubts: rack.doubts.iter().map(|doubt| doubted::told(doubt, reader)).collect(),
                strip_later: rack
                    .strip
                    .iter()
                    .flat_map(|strip| &strip.later)
                    .map(|(_, amendment)| logbook_amended(amendment, reader))
                    .collect(),
                sealing: sealing_told(&rack.sealing, reader),
                rows: rows(&rack.trace, reader),
                rack: &rack,
            };
            frame::page(StatusCode::OK, page.render())
        }
    }
}

/// Gives the proof of a record as a file.
pub(super) async fn proof<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(record): Path<String>,
    person: Person,
) -> Response {
    let Ok(record) = record.parse::<u64>() else {
        return frame::refuse(Refusal::Unknown, &person, &pages.site, 2);
    };
    match pages.kitchen.proof(record).await {
        Err(refused) => frame::refuse(refused, &person, &pages.site, 2),
        Ok(json) => {
            let name = format!("attachment; filename=\"record-{record}-proof.json\"");
            let mut headers = vec![(header::CONTENT_TYPE, HeaderValue::from_static("application/json"))];
            headers.extend(HeaderValue::try_from(name).map(|name| (header::CONTENT_DISPOSITION, name)));
            let headers: axum::http::HeaderMap = headers.into_iter().collect();
            (headers, json).into_response()
        }
    }
}

fn sealing_told<'a>(sealing: &'a Sealing, reader: &Reader) -> SealingTold<'a> {
    let counted = sealing.checkpoint.filter(|(size, _)| sealing.record < *size);
    let counted = counted
        .map(|(size, at)| format!("{}, {}", Noun::Records.of(size, reader.language), reader.moment(at)));
    SealingTold { sealing, counted }
}

/// How many values were set aside.
fn spikes_told(count: u64, language: Language) -> String {
    let aside = match count {
        1 => said(language, "set aside", "apartado"),
        _ => said(language, "set aside", "apartados"),
    };
    format!("{} {aside}", Noun::Spikes.of(count, language))
}

/// The settled minimum against the limit.
fn figures(cycle: &Cycle, reader: &Reader) -> String {
    let symbol = reader.scale.symbol();
    let say = |english, spanish| said(reader.language, english, spanish);
    let limit_word = say("limit", "límite");
    match cycle.rinse_min_c {
        Some(settled) => {
            let (settled, limit) = reader.pair(settled, cycle.limit_c);
            format!("{settled} {symbol} · {limit_word} {limit} {symbol}")
        }
        None => format!(
            "{} · {limit_word} {}",
            say("no settled minimum", "sin mínimo estable"),
            reader.temperature(cycle.limit_c)
        ),
    }
}

fn facts(rack: &Rack, reader: &Reader) -> Vec<Fact> {
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
    if let Some(strength) = cycle.concentration_mg_per_l {
        let acidity = cycle.ph.map_or(String::new(), |ph| format!(", pH {ph:.1}"));
        tell(
            say("Sanitizer on file", "Desinfectante registrado"),
            format!("{} mg/L{acidity}", concentration(strength)),
        );
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
    let settled = cycle.rinse_min_c.map_or("–".to_owned(), |c| format!("{} ({basis})", temperature(c)));
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

fn probes(probes: &[ProbeThen], reader: &Reader) -> Vec<Fact> {
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

fn amended(index: u64, amendment: &Option<Amendment>, reader: &Reader) -> String {
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

/// What was done about an alert of the rack, by whom and when, in the words of whoever wrote it.
fn acted(at: Timestamp, action: &CorrectiveAction, reader: &Reader) -> String {
    let (head, racks) = match reader.language {
        Language::English => ("Corrective action, alert", "racks"),
        Language::Spanish => ("Acción correctiva, alerta", "canastas"),
    };
    let CorrectiveAction { alert, by, racks: became, done, covers, .. } = action;
    // Counted from the first: this rack may have come after those.
    let covers = covers.filter(|count| *count > 0).map(|count| match reader.language {
        Language::English => format!(", for the first {count} of its racks"),
        Language::Spanish => format!(", para las primeras {count} de sus canastas"),
    });
    let covers = covers.unwrap_or_default();
    format!("{head} {alert}{covers}: «{done}»; {racks}: «{became}» ({by}, {})", reader.moment(at))
}

fn rows(trace: &TraceFound, reader: &Reader) -> Vec<[String; 3]> {
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

#[cfg(test)]
mod tests;
