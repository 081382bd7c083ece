//! Where an attempt stands, in words.

use super::Under;
use crate::core::channel::Place;
use crate::core::reader::{Language, Reader};
use crate::core::record::{CalibrationPoint, Correction};
use crate::core::technician::attempt::Stands;
use crate::core::technician::bath::{Bath, NotYet};
use crate::core::technician::calibrating::{self, StepSeen};
use crate::core::technician::words::{self as shared, degrees, width};
use crate::core::technician::{proving, refusals, responding};
use crate::core::wiring::{self, Finding, Warmth};
use crate::web::frame::said;
use crate::web::probes::place;

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

/// The step of an attempt.
pub(super) fn step(under: &Under, reader: &Reader) -> Step {
    match &under.stands {
        Stands::Calibration(stands) => calibration(stands, reader),
        Stands::Response(stands) => response(*stands, under, reader),
        Stands::Proof(stands) => proof(stands, reader),
    }
}

/// The reference of a bath in the words of the reader.
fn reference(bath: &Bath, reader: &Reader) -> String {
    let named = shared::reference(reader.language, &bath.against);
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
            step.cautions = shared::point_cautions(language, &bath.against);
            step.buttons = vec![("go", say("The probe is in it now", "La sonda ya está dentro"))];
        }
        StepSeen::Watching { bath, .. } => {
            step.heading = format!("{point} {number}: {}", reference(bath, reader));
            step.cautions = shared::point_cautions(language, &bath.against);
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
            step.results.extend(
                shared::large_correction(language, scale, fitted.left, stands.near)
                    .map(|told| format!("⚠ {told}")),
            );
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
                refusals::calibration_advice(language, error).to_owned(),
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
    let mut step = Step { cautions: shared::response_cautions(language, scale).to_vec(), ..Step::default() };
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
            step.results.extend(shared::began_elsewhere(language, scale, corrected(found.from).0));
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
    let turn = stands.probes.iter().position(|(_, _, found)| found.is_none());
    let step = match turn.and_then(|turn| Some((turn, stands.probes.get(turn)?))) {
        Some((number, (name, at, _))) => turn_of(stands, (number, name, *at), reader.language),
        None => all_tried(stands, reader.language),
    };
    Step { rows: tried(stands, reader), ..step }
}

/// What was found of each probe so far.
fn tried(stands: &proving::Stands, reader: &Reader) -> Vec<String> {
    let (language, scale) = (reader.language, reader.scale);
    stands
        .probes
        .iter()
        .map(|(name, at, found)| {
            let found = found.as_ref().map(|found| {
                let mark = if found.finding == Finding::Answers { "✓" } else { "✗" };
                let word = wiring::finding(found.finding.as_str(), language);
                format!(": {mark} {word}. {}", found.seen(name, language, scale))
            });
            format!("{name} ({}){}", place(*at, language), found.unwrap_or_default())
        })
        .collect()
}

/// What is pressed to go back to the probe before.
const AGAIN: (&str, &str) = ("Try that probe again", "Probar otra vez esa sonda");

fn all_tried(stands: &proving::Stands, language: Language) -> Step {
    let say = |english, spanish| said(language, english, spanish);
    let good = |(_, _, found): &(_, _, Option<crate::core::wiring::Found>)| {
        found.as_ref().is_some_and(|found| found.finding == Finding::Answers)
    };
    let mut step = Step { bad: !stands.probes.iter().all(good), ..Step::default() };
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
    (step.record, step.buttons) = (true, vec![("back", say(AGAIN.0, AGAIN.1))]);
    step
}

fn turn_of(stands: &proving::Stands, (number, name, at): (usize, &str, Place), language: Language) -> Step {
    let say = |english, spanish| said(language, english, spanish);
    let heading = format!("{} / {}: {name}, {}", number + 1, stands.probes.len(), place(at, language));
    let mut step = Step { heading, ..Step::default() };
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
                "Let its tip hang free, and those of the others; no machine may wash meanwhile. Touch nothing yet.",
                "Deje su punta libre, y las de las demás; ninguna máquina debe lavar mientras tanto. No toque nada todavía.",
            );
            step.lines.push(hang.to_owned());
            step.buttons = vec![("go", say("It hangs free", "Está libre"))];
            if number > 0 {
                step.buttons.push(("back", say(AGAIN.0, AGAIN.1)));
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
