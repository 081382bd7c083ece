//! What changes by itself while an attempt is under way, and when the page is asked for anew.

use askama::Template;

use super::Under;
use crate::core::calibration::Calibration;
use crate::core::presence::Recency;
use crate::core::reader::{Language, Reader};
use crate::core::response::Stage;
use crate::core::technician::attempt::Stands;
use crate::core::technician::bath::{Bath, NotYet};
use crate::core::technician::calibrating::{self, StepSeen};
use crate::core::technician::words::{self as shared, degrees};
use crate::core::technician::{proving, refusals, responding};
use crate::core::units::Celsius;
use crate::core::wiring::too_warm;
use crate::web::frame::said;
use crate::web::kitchen::Kitchen;
use crate::web::now::Card;

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

/// What changes by itself of what is under way at `of`: nothing in it can be pressed.
pub(in crate::web) async fn live<K: Kitchen>(
    kitchen: &K,
    (of, under): (&str, &Under),
    reader: &Reader,
) -> Result<Card, askama::Error> {
    let part = match &under.stands {
        Stands::Calibration(stands) => of_bath(stands, reader),
        Stands::Response(responding::Stands::Ready) => {
            before_it_begins(shown(kitchen, of).await, reader, |shown_c| {
                shared::no_room_air(reader.language, reader.scale, shown_c)
            })
        }
        Stands::Response(stands) => of_response(*stands, under.correction, reader),
        Stands::Proof(stands) => match (&stands.step, stands.asked()) {
            (Some(proving::StepSeen::Hanging), Some(asked)) => {
                before_it_begins(shown(kitchen, asked).await, reader, |shown_c| {
                    too_warm(asked, shown_c, stands.warmth, reader.language, reader.scale)
                })
            }
            _ => of_turn(stands, reader),
        },
    };
    Ok(Card { html: part.render()? })
}

/// What a probe shows just now, corrected, °C.
async fn shown<K: Kitchen>(kitchen: &K, of: &str) -> Option<f64> {
    let seen = kitchen.probes().await.ok()?;
    let its =
        seen.iter().find(|seen| of.split_once('/') == Some((seen.machine.as_str(), seen.probe.as_str())))?;
    its.shown_c.filter(|_| its.recency == Some(Recency::Now)).map(|(_, corrected)| corrected)
}

/// What the probe shows before a step of it begins, and what is asked where that cannot be.
fn before_it_begins(
    shown_c: Option<f64>,
    reader: &Reader,
    asked: impl Fn(f64) -> Option<String>,
) -> LivePart {
    let Some(shown_c) = shown_c else {
        let line = said(reader.language, "The probe shows nothing just now", "La sonda no marca nada ahora");
        return LivePart { lines: vec![line.to_owned()], ..still() };
    };
    LivePart {
        value: Some(reader.temperature(shown_c)),
        lines: asked(shown_c).into_iter().collect(),
        ..still()
    }
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
        (Some((mover, c_per_min)), language) => {
            let asked = stands.asked().unwrap_or(mover);
            shared::still_moves(language, reader.scale, asked, (mover, *c_per_min))
        }
        (None, Language::English) => "A few seconds of rest are needed".to_owned(),
        (None, Language::Spanish) => "Hacen falta unos segundos de reposo".to_owned(),
    };
    LivePart { say: String::new(), value: None, lines: vec![line], progress: None }
}
