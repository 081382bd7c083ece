//! Where an attempt stands, in words.

use askama::Template;

use super::Under;
use crate::core::calibration::Calibration;
use crate::core::reader::{Language, Reader};
use crate::core::record::{Against, CalibrationPoint, Correction};
use crate::core::response::Stage;
use crate::core::technician::attempt::Stands;
use crate::core::technician::bath::{Bath, NotYet};
use crate::core::technician::calibrating::{self, StepSeen};
use crate::core::technician::words::{self as shared, degrees, width};
use crate::core::technician::{proving, refusals, responding};
use crate::core::units::Celsius;
use crate::core::wiring::{Finding, Warmth};
use crate::web::frame::said;
use crate::web::now::Card;
use crate::web::probes::place;

/// Words of the page itself.
#[derive(Debug)]
pub(super) struct Words {
    pub(super) caution: &'static str,
    pub(super) by: &'static str,
    pub(super) since: &'static str,
    pub(super) ends: &'static str,
    pub(super) theirs: &'static str,
    pub(super) give_up: &'static str,
    pub(super) give_up_hint: &'static str,
    pub(super) begin: &'static str,
    pub(super) announce: &'static str,
    pub(super) baths: &'static str,
    pub(super) ice: &'static str,
    pub(super) ice_go: &'static str,
    pub(super) pressure: &'static str,
    pub(super) pressure_field: &'static str,
    pub(super) pressure_hint: &'static str,
    pub(super) unit: &'static str,
    pub(super) boil_go: &'static str,
    pub(super) altitude: &'static str,
    pub(super) altitude_field: &'static str,
    pub(super) altitude_hint: &'static str,
    pub(super) thermometer: &'static str,
    pub(super) named: &'static str,
    pub(super) shows: &'static str,
    pub(super) sure: &'static str,
    pub(super) sure_hint: &'static str,
    pub(super) beside_go: &'static str,
    pub(super) water: &'static str,
    pub(super) water_hint: &'static str,
    pub(super) results: &'static str,
    pub(super) note: &'static str,
    pub(super) record: &'static str,
    pub(super) record_hint: &'static str,
    pub(super) not_recorded: &'static str,
    pub(super) probe: &'static str,
    pub(super) plan: &'static str,
}

static ENGLISH: Words = Words {
    caution: "Caution",
    by: "Made by",
    since: "since",
    ends: "It ends by itself, with nothing on record, unless something is pressed before",
    theirs: "Somebody else is at it. You may look on, or end it: nothing of it then goes on record.",
    give_up: "Give up",
    give_up_hint: "Nothing of it goes on record.",
    begin: "Begin",
    announce: "Say that this machine is worked on until shortly after the end of this: its racks are marked unproven, and nobody is called for what its probes show",
    baths: "Which bath is next?",
    ice: "Ice and water",
    ice_go: "Ice bath",
    pressure: "Boiling water, the air pressure is measured",
    pressure_field: "Pressure at this place",
    pressure_hint: "Of a barometer in this room, not the one of a forecast, which is told for sea level.",
    unit: "Unit",
    boil_go: "Boiling water",
    altitude: "Boiling water, only the altitude is known",
    altitude_field: "Altitude",
    altitude_hint: "Less sure than a barometer: the weather is not known.",
    thermometer: "Beside a reference thermometer",
    named: "Which thermometer (name or number)",
    shows: "It shows",
    sure: "Sure to ±",
    sure_hint: "Of its certificate, k = 2.",
    beside_go: "Compare with it",
    water: "Temperature of warm water, where a cup of it is used (may stay empty: a dry hand)",
    water_hint: "30 to 50 °C (86 to 122 °F), by a thermometer.",
    results: "Result",
    note: "Note (may stay empty)",
    record: "Put it on record",
    record_hint: "Under your name. It is in force from then on, and never changed.",
    not_recorded: "It did not come on record",
    probe: "Probe",
    plan: "Best: ice and boiling water, or the reference thermometer near the limit. Each takes some minutes.",
};

static SPANISH: Words = Words {
    caution: "Precaución",
    by: "Lo hace",
    since: "desde las",
    ends: "Termina solo, sin registrar nada, si no se pulsa algo antes de las",
    theirs: "Lo está haciendo otra persona. Puede mirar, o terminarlo: entonces no se registra nada.",
    give_up: "Abandonar",
    give_up_hint: "No se registra nada.",
    begin: "Empezar",
    announce: "Decir que se trabaja en esta máquina hasta poco después del final de esto: sus canastas quedan sin comprobar y no se avisa a nadie por lo que muestren sus sondas",
    baths: "¿Qué baño sigue?",
    ice: "Hielo y agua",
    ice_go: "Baño de hielo",
    pressure: "Agua hirviendo, con la presión medida",
    pressure_field: "Presión en este lugar",
    pressure_hint: "De un barómetro en esta sala, no la del pronóstico, que se da para el nivel del mar.",
    unit: "Unidad",
    boil_go: "Agua hirviendo",
    altitude: "Agua hirviendo, solo se conoce la altitud",
    altitude_field: "Altitud",
    altitude_hint: "Menos segura que un barómetro: no se conoce el tiempo que hace.",
    thermometer: "Junto a un termómetro de referencia",
    named: "Qué termómetro (nombre o número)",
    shows: "Muestra",
    sure: "Con ±",
    sure_hint: "De su certificado, k = 2.",
    beside_go: "Comparar con él",
    water: "Temperatura del agua tibia, si se usa un vaso (puede quedar vacía: la mano seca)",
    water_hint: "De 30 a 50 °C (86 a 122 °F), con un termómetro.",
    results: "Resultado",
    note: "Nota (puede quedar vacía)",
    record: "Registrar",
    record_hint: "Con su nombre. Vale desde ese momento y no se modifica nunca.",
    not_recorded: "No se registró",
    probe: "Sonda",
    plan: "Lo mejor: hielo y agua hirviendo, o el termómetro de referencia cerca del límite. Cada uno lleva unos minutos.",
};

pub(super) const fn words(language: Language) -> &'static Words {
    match language {
        Language::English => &ENGLISH,
        Language::Spanish => &SPANISH,
    }
}

/// A step, without what changes by itself.
#[derive(Debug, Default)]
pub(super) struct Step {
    pub(super) heading: String,
    /// Whether what is told under the heading is bad.
    pub(super) bad: bool,
    pub(super) cautions: Vec<&'static str>,
    pub(super) lines: Vec<String>,
    /// What can be pressed, the foremost first: what it does, and its words.
    pub(super) buttons: Vec<(&'static str, &'static str)>,
    /// Whether nothing needs to be pressed.
    pub(super) aside: bool,
    /// What was found so far.
    pub(super) rows: Vec<String>,
    pub(super) results: Vec<String>,
    /// Whether it can go on record, and with a note.
    pub(super) record: bool,
    pub(super) note: bool,
    /// Whether another bath can be chosen.
    pub(super) baths: bool,
}

/// What tells one step from the next: when it changes the page is asked for anew.
pub(in crate::web) fn shape(under: Option<&Under>) -> String {
    let Some(under) = under else { return "none".to_owned() };
    let problem = under.problem.is_some();
    match &under.stands {
        Stands::Calibration(stands) => {
            let step = match stands.step {
                StepSeen::Placing(_) => "placing",
                StepSeen::Watching { .. } => "watching",
                StepSeen::Over { .. } => "over",
                StepSeen::Taken(_) => "taken",
                StepSeen::Open => "open",
            };
            format!("{step}-{}-{problem}", stands.points.len())
        }
        Stands::Response(stands) => match stands {
            responding::Stands::Ready => "ready".to_owned(),
            responding::Stands::Running(_) => "running".to_owned(),
            responding::Stands::Ended(_) => format!("ended-{problem}"),
        },
        Stands::Proof(stands) => {
            let found = stands.probes.iter().filter(|(_, _, found)| found.is_some()).count();
            let step = match stands.step {
                Some(proving::StepSeen::Hanging) => "hanging",
                Some(proving::StepSeen::Resting(_)) => "resting",
                Some(proving::StepSeen::Warming) => "warming",
                None => "tried",
            };
            format!("{step}-{found}-{problem}")
        }
    }
}

#[derive(Template)]
#[template(path = "web/attempt/live.html", config = ".askama.toml")]
struct LivePart {
    say: String,
    value: Option<String>,
    lines: Vec<String>,
    /// How far, of how much, and what that is.
    progress: Option<(f64, f64, &'static str)>,
}

/// What changes by itself: nothing in it can be pressed.
pub(in crate::web) fn live(under: &Under, reader: &Reader) -> Result<Card, askama::Error> {
    let part = match &under.stands {
        Stands::Calibration(stands) => of_bath(stands, reader),
        Stands::Response(stands) => of_response(*stands, under.correction, reader),
        Stands::Proof(stands) => of_turn(stands, reader),
    };
    Ok(Card { html: part.render()? })
}

fn still() -> LivePart {
    LivePart { say: String::new(), value: None, lines: Vec::new(), progress: None }
}

fn of_bath(stands: &calibrating::Stands, reader: &Reader) -> LivePart {
    let StepSeen::Watching { bath, last, why, wanted_s, watched_s: _ } = &stands.step else { return still() };
    let (language, scale) = (reader.language, reader.scale);
    let (line, so_far_s) = match why {
        NotYet::TooFar(shown) => (refusals::too_far(language, scale, *shown, bath.point.celsius), *wanted_s),
        NotYet::Unsteady(why) => {
            let far = last.filter(|last| !bath.is_near(*last));
            let line = match far {
                Some(last) => not_near(last, bath, reader),
                None => refusals::unsteady(language, scale, why),
            };
            let so_far_s = match why {
                crate::core::steady::Unsteady::TooFew { lasted_s, .. } => *lasted_s,
                crate::core::steady::Unsteady::Silent | crate::core::steady::Unsteady::Faulty(_) => 0.0,
                crate::core::steady::Unsteady::Drifting { .. }
                | crate::core::steady::Unsteady::Noisy { .. } => *wanted_s,
            };
            (line, so_far_s)
        }
    };
    let named = said(language, "How long it was watched", "Cuánto se ha observado");
    LivePart {
        say: String::new(),
        value: last.map(|last| degrees(scale, last.0)),
        lines: vec![line],
        progress: Some((so_far_s.min(*wanted_s), *wanted_s, named)),
    }
}

fn not_near(last: Celsius, bath: &Bath, reader: &Reader) -> String {
    let (shown, should) = (degrees(reader.scale, last.0), degrees(reader.scale, bath.point.celsius.0));
    match reader.language {
        Language::English => format!("{shown} is not near {should} yet"),
        Language::Spanish => format!("{shown} aún está lejos de {should}"),
    }
}

fn of_response(stands: responding::Stands, correction: Calibration, reader: &Reader) -> LivePart {
    let responding::Stands::Running(stage) = stands else { return still() };
    let line = shared::stage(reader.language, reader.scale, &stage, |celsius| correction.apply(celsius));
    let line = line.trim().to_owned();
    let (value, say) = match stage {
        Stage::Level { celsius } => (
            Some(degrees(reader.scale, correction.apply(celsius).0)),
            said(reader.language, "Level: plunge it", "Estable: métala").to_owned(),
        ),
        Stage::Answering { since_s } => (Some(format!("{since_s:.1} s")), line.clone()),
        Stage::Settling | Stage::Over => (None, line.clone()),
    };
    LivePart { say, value, lines: vec![line], progress: None }
}

fn of_turn(stands: &proving::Stands, reader: &Reader) -> LivePart {
    let Some(proving::StepSeen::Resting(mover)) = &stands.step else { return still() };
    let line = match (mover, reader.language) {
        (Some((name, c_per_min)), language) => {
            let amount =
                format!("{:.1} {}", reader.scale.difference(*c_per_min).abs(), reader.scale.symbol());
            match language {
                Language::English => {
                    format!("{name} still moves, by {amount} a minute: leave it in still air")
                }
                Language::Spanish => {
                    format!("{name} aún se mueve, {amount} por minuto: déjela en aire quieto")
                }
            }
        }
        (None, Language::English) => "A few seconds of rest are needed".to_owned(),
        (None, Language::Spanish) => "Hacen falta unos segundos de reposo".to_owned(),
    };
    LivePart { say: String::new(), value: None, lines: vec![line], progress: None }
}

/// The step of an attempt.
pub(super) fn step(under: &Under, reader: &Reader) -> Step {
    match &under.stands {
        Stands::Calibration(stands) => calibration(stands, reader),
        Stands::Response(stands) => response(*stands, under, reader),
        Stands::Proof(stands) => proof(stands, reader),
    }
}

/// The reference of a bath in the words of the reader; a thermometer's name is its own.
fn reference(bath: &Bath, reader: &Reader) -> String {
    let named = match bath.against {
        Against::Ice => said(reader.language, "ice and water", "hielo y agua"),
        Against::Boiling => said(reader.language, "boiling water", "agua hirviendo"),
        Against::Thermometer => &bath.reference,
    };
    let (at, sure) =
        (degrees(reader.scale, bath.point.celsius.0), width(reader.scale, bath.point.expanded_c));
    format!("{named}, {at} {sure}")
}

fn calibration(stands: &calibrating::Stands, reader: &Reader) -> Step {
    let (language, scale) = (reader.language, reader.scale);
    let say = |english, spanish| said(language, english, spanish);
    let number = stands.points.len() + 1;
    let point = say("Point", "Punto");
    let mut step = Step::default();
    let again = say("It was moved: begin this bath anew", "Se movió: empezar este baño de nuevo");
    match &stands.step {
        StepSeen::Placing(bath) => {
            step.heading = format!("{point} {number}: {}", reference(bath, reader));
            step.cautions = shared::point_cautions(language, bath.against);
            step.buttons = vec![("go", say("The probe is in it now", "La sonda ya está dentro"))];
        }
        StepSeen::Watching { bath, .. } => {
            step.heading = format!("{point} {number}: {}", reference(bath, reader));
            step.cautions = shared::point_cautions(language, bath.against);
            step.lines = vec![
                say(
                    "Keep it there. The point is taken by itself once the probe is steady.",
                    "Manténgala así. El punto se toma solo cuando la sonda esté estable.",
                )
                .to_owned(),
            ];
            (step.aside, step.buttons) = (true, vec![("go", again)]);
        }
        StepSeen::Over { bath, why } => {
            let reason = match why {
                NotYet::TooFar(shown) => refusals::too_far(language, scale, *shown, bath.point.celsius),
                NotYet::Unsteady(why) => refusals::unsteady(language, scale, why),
            };
            step.bad = true;
            step.heading = say("No point was taken", "No se tomó ningún punto").to_owned();
            step.lines = vec![reason, refusals::unsteady_advice(language).to_owned()];
            step.buttons = vec![("go", say("Watch it again", "Observar de nuevo"))];
            step.baths = true;
        }
        StepSeen::Taken(steady) => {
            step.heading = say("The point is taken", "El punto está tomado").to_owned();
            step.lines = vec![shared::steady(language, scale, steady).trim().to_owned()];
            step.baths = true;
        }
        StepSeen::Open => {
            step.heading = say("The last point was taken back", "Se retiró el último punto").to_owned();
            step.baths = true;
        }
    }
    of_points(stands, reader, &mut step);
    step
}

fn of_points(stands: &calibrating::Stands, reader: &Reader, step: &mut Step) {
    let (language, scale) = (reader.language, reader.scale);
    let say = |english, spanish| said(language, english, spanish);
    if stands.points.is_empty() {
        return;
    }
    step.rows = match &stands.result {
        Some(Ok(_)) => stands.points.iter().map(|point| told(point, reader)).collect(),
        // What is left at a point is not known.
        Some(Err(_)) | None => stands.points.iter().map(|point| shown(point, reader)).collect(),
    };
    if step.baths {
        step.buttons.push(("back", say("Take the last point back", "Retirar el último punto")));
    }
    match &stands.result {
        Some(Ok(fitted)) => {
            let (found, left) = (Correction::from(stands.found), Correction::from(fitted.left));
            step.results = vec![
                shared::corrections(language, scale, found, left),
                shared::uncertainty(language, scale, fitted.expanded_c, stands.near),
            ];
            if step.baths {
                step.results.push(format!(
                    "✓ {}",
                    say("It can go on record as it is.", "Puede registrarse tal como está.")
                ));
            }
            (step.record, step.note) = (step.baths, step.baths);
        }
        Some(Err(error)) => {
            step.results = vec![
                format!("✗ {}", refusals::no_calibration(language, scale, error)),
                refusals::calibration_advice(language).to_owned(),
            ];
            step.bad = true;
        }
        None => {}
    }
}

/// A point without what is worked out: what the reference says, and what the probe showed.
fn shown(point: &CalibrationPoint, reader: &Reader) -> String {
    let (at, shown) = (degrees(reader.scale, point.reference_c), degrees(reader.scale, point.indicated_c));
    let sure = width(reader.scale, point.reference_expanded_c);
    match reader.language {
        Language::English => format!("{at} {sure}: showed {shown}"),
        Language::Spanish => format!("{at} {sure}: mostró {shown}"),
    }
}

fn told(point: &CalibrationPoint, reader: &Reader) -> String {
    let signed = |kelvin| shared::signed(reader.scale, kelvin);
    let (found, left) = (signed(point.found_error_c), signed(point.left_error_c));
    let shown = shown(point, reader);
    match reader.language {
        Language::English => format!("{shown}; off by {found} as found, {left} as left"),
        Language::Spanish => format!("{shown}; error {found} como se encontró, {left} como queda"),
    }
}

fn response(stands: responding::Stands, under: &Under, reader: &Reader) -> Step {
    let (language, scale) = (reader.language, reader.scale);
    let say = |english, spanish| said(language, english, spanish);
    let again = ("go", say("Make the test again", "Repetir la prueba"));
    let mut step = Step { cautions: shared::response_cautions(language).to_vec(), ..Step::default() };
    match stands {
        responding::Stands::Ready => {
            step.heading = say("Make everything ready", "Prepárelo todo").to_owned();
            step.lines = vec![shared::have_ready(language, scale), shared::hold_in_air(language).to_owned()];
            step.buttons = vec![("go", say("Everything is ready: begin", "Todo está listo: empezar"))];
        }
        responding::Stands::Running(_) => {
            step.heading =
                say("Still in the air, then at once into the water", "Quieta en el aire, y de golpe al agua")
                    .to_owned();
            step.lines = vec![shared::hold_in_air(language).to_owned()];
            (step.aside, step.buttons) = (true, vec![("go", say("Begin anew", "Empezar de nuevo"))]);
        }
        responding::Stands::Ended(responding::Ended::Answered(found)) => {
            step.heading = say("It has answered", "Ha respondido").to_owned();
            let corrected = |celsius| under.correction.apply(celsius);
            step.results = vec![shared::answered(language, scale, &found, corrected)];
            let tau = std::time::Duration::try_from_secs_f64(found.tau_s).unwrap_or_default();
            if let Some((place, rinse)) = under.judged
                && let Some(fast) = crate::core::response::fast_enough(place, tau, rinse)
            {
                step.results.push(shared::can_judge(language, fast, tau, rinse));
                step.bad = !fast;
            }
            (step.record, step.buttons) = (true, vec![again]);
        }
        responding::Stands::Ended(responding::Ended::NoStep(why)) => {
            step.heading = say("No time constant", "Sin constante de tiempo").to_owned();
            step.lines = vec![
                refusals::no_step(language, scale, &why),
                refusals::step_advice(language, &why).to_owned(),
            ];
            (step.bad, step.buttons) = (true, vec![again]);
        }
        responding::Stands::Ended(responding::Ended::Lost(events)) => {
            step.heading = say("No time constant", "Sin constante de tiempo").to_owned();
            step.lines = vec![refusals::lost(language, events), refusals::lost_advice(language).to_owned()];
            (step.bad, step.buttons) = (true, vec![again]);
        }
    }
    step
}

fn proof(stands: &proving::Stands, reader: &Reader) -> Step {
    let (language, scale) = (reader.language, reader.scale);
    let say = |english, spanish| said(language, english, spanish);
    let mut step = Step { cautions: vec![], ..Step::default() };
    step.rows = stands
        .probes
        .iter()
        .map(|(name, at, found)| {
            let found = found.as_ref().map(|found| {
                let mark = if found.finding == Finding::Answers { "✓" } else { "✗" };
                let word = shared::finding(found.finding.as_str(), language);
                format!(": {mark} {word}. {}", found.seen(name, language, scale))
            });
            format!("{name} ({}){}", place(*at, language), found.unwrap_or_default())
        })
        .collect();
    let again = say("Try that probe again", "Probar otra vez esa sonda");
    let turn = stands.probes.iter().position(|(_, _, found)| found.is_none());
    let Some((number, (name, at, _))) = turn.and_then(|turn| Some((turn, stands.probes.get(turn)?))) else {
        let good = |(_, _, found): &(_, _, Option<crate::core::wiring::Found>)| {
            found.as_ref().is_some_and(|found| found.finding == Finding::Answers)
        };
        step.bad = !stands.probes.iter().all(good);
        step.heading = if step.bad {
            say("NOT wired as configured", "NO cableada según la configuración")
        } else {
            say("Each probe is wired as configured", "Cada sonda está cableada según la configuración")
        }
        .to_owned();
        if step.bad {
            step.results = vec![
                say(
                    "Put right what is said above and try again, or put it on record as it was found.",
                    "Corrija lo que se dice arriba y repita, o regístrelo tal como se encontró.",
                )
                .to_owned(),
            ];
        }
        (step.record, step.buttons) = (true, vec![("back", again)]);
        return step;
    };
    step.heading = format!("{} / {}: {name}, {}", number + 1, stands.probes.len(), place(*at, language));
    match &stands.step {
        Some(proving::StepSeen::Hanging) | None => {
            if stands.lost {
                let lost = say(
                    "Readings came too fast to be looked at: this probe is tried anew.",
                    "Las lecturas llegaron demasiado deprisa: esta sonda se prueba de nuevo.",
                );
                step.lines.push(lost.to_owned());
            }
            let hang = say(
                "Let its tip hang free, and those of the others; touch nothing yet.",
                "Deje su punta libre, y las de las demás; no toque nada todavía.",
            );
            step.lines.push(hang.to_owned());
            step.buttons = vec![("go", say("It hangs free", "Está libre"))];
            if number > 0 {
                step.buttons.push(("back", again));
            }
        }
        Some(proving::StepSeen::Resting(_)) => {
            step.lines =
                vec![say("Waiting until it is at rest", "Esperando a que esté en reposo").to_owned()];
            step.buttons = vec![("back", say("Begin this probe anew", "Empezar esta sonda de nuevo"))];
        }
        Some(proving::StepSeen::Warming) => {
            let with = match stands.warmth {
                Warmth::Hand => say("a dry hand", "la mano seca"),
                Warmth::Water(_) => say("a cup of the warm water", "un vaso del agua tibia"),
            };
            step.heading =
                format!("{} {name}: {with}", say("NOW warm the tip of", "AHORA caliente la punta de"));
            step.lines =
                vec![say("Hold it until something is found.", "Téngala hasta que se halle algo.").to_owned()];
            step.buttons = vec![("back", say("Begin this probe anew", "Empezar esta sonda de nuevo"))];
        }
    }
    step
}
