//! `respond`: how fast a probe answers, from a plunge into hot water.

use std::cell::RefCell;

use super::{Heard, Refusal, Session};
use crate::app::logbook::Entry;
use crate::app::order::Order;
use crate::app::{Failure, Streams};
use crate::cli::RespondArgs;
use crate::core::record::{Body, ResponseDone};
use crate::core::response::{Response, Stage, StepWatch};
use crate::core::technician::{refusals, words};
use crate::core::time::Timestamp;

/// Least time between two looks at where the test stands, s of the readings: each is a fit (own choice: a
/// person does not see the difference).
const LOOKED_EVERY_S: f64 = 0.5;

/// Does what `respond` asks.
pub(in crate::app) fn respond(arguments: &RespondArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let mut session = Session::begin(&arguments.own, streams)?;
    let language = session.language();
    for caution in words::response_cautions(language) {
        session.tell(&format!("! {caution}"))?;
    }
    session.tell(&words::have_ready(language, arguments.own.answer.scale))?;
    session.wait_for_person(words::press_enter_to_begin(language))?;
    session.tell(words::hold_in_air(language))?;
    let found = measured(&mut session)?;
    let at = session.clock.now();
    let machine = session.loaded.configuration.machines.get(usize::from(session.channel.machine.0)).cloned();
    let tau = std::time::Duration::from_secs_f64(found.tau_s);
    let fast_enough = machine.as_ref().and_then(|machine| {
        crate::core::response::fast_enough(session.probe.place, tau, machine.times.rinse)
    });
    let scale = session.arguments.answer.scale;
    let calibration = session.probe.calibration;
    let corrected = |celsius| calibration.apply(celsius);
    session.tell(&words::answered(language, scale, &found, corrected))?;
    if let (Some(fast_enough), Some(machine)) = (fast_enough, machine) {
        session.tell(&words::can_judge(language, fast_enough, tau, machine.times.rinse))?;
    }
    if !session.is_confirmed()? {
        return session.tell(words::not_recorded(language));
    }
    let done = Box::new(ResponseDone {
        probe: session.arguments.probe.clone(),
        at,
        tau_s: found.tau_s,
        expanded_s: found.expanded_s,
        residual_c: found.residual_c,
        from_c: found.from.0,
        to_c: found.to.0,
        readings: found.readings,
        fast_enough,
        by: session.arguments.by.clone(),
    });
    let done = session.put(Order::Entry { entry: Entry::Response { done } })?;
    if let (Some(record), Some(Body::Response(put))) = (done.record, done.recorded.as_deref())
        && !session.arguments.answer.json
    {
        let line = words::tau_in_force(language, record, put.tau_s);
        session.tell_recorded(&line)?;
    }
    Ok(())
}

/// What happened to a test.
enum Turn {
    /// It stands elsewhere.
    Stage(Stage),
    /// So many readings were lost while the probe answered.
    Lost(u64),
}

/// Waits for the step and its answer.
fn measured(session: &mut Session<'_, '_>) -> Result<Response, Failure> {
    let (language, scale) = (session.language(), session.arguments.answer.scale);
    let calibration = session.probe.calibration;
    let probe = &session.arguments.probe;
    let watch = RefCell::new((StepWatch::default(), Stage::Settling));
    let mut looked: Option<Timestamp> = None;
    loop {
        let before = watch.borrow().1;
        let turn = session.follow(
            |heard| {
                let (watch, stage) = &mut *watch.borrow_mut();
                let at = match take(watch, &heard) {
                    Ok(at) => at?,
                    Err(lost) => return Some(lost),
                };
                if looked.is_some_and(|looked| at.seconds_since(looked) < LOOKED_EVERY_S) {
                    return None;
                }
                looked = Some(at);
                *stage = watch.stage();
                let changed = std::mem::discriminant(stage) != std::mem::discriminant(&before);
                changed.then_some(Turn::Stage(*stage))
            },
            || None,
        )?;
        match turn {
            Some(Turn::Stage(Stage::Over)) | None => break,
            Some(Turn::Lost(events)) => {
                let refusal = Refusal::new("response-refused", |language| {
                    let why = refusals::lost(language, events);
                    (format!("{probe}: {why}"), refusals::lost_advice(language))
                });
                return Err(session.refused(&refusal)?);
            }
            Some(Turn::Stage(stage @ (Stage::Settling | Stage::Level { .. } | Stage::Answering { .. }))) => {
                let corrected = |celsius| calibration.apply(celsius);
                session.tell(&words::stage(language, scale, &stage, corrected))?;
            }
        }
    }
    let error = match watch.borrow().0.look() {
        Ok(found) => return Ok(found),
        Err(error) => error,
    };
    let refusal = Refusal::new("response-refused", |language| {
        let why = refusals::no_step(language, scale, &error);
        (format!("{probe}: {why}"), refusals::step_advice(language, &error))
    });
    Err(session.refused(&refusal)?)
}

/// When the reading was made that the watch was given; `None` where there was none.
///
/// # Errors
/// [`Turn::Lost`] where readings of the answer were lost: no curve is drawn over a hole.
fn take(watch: &mut StepWatch, heard: &Heard<'_>) -> Result<Option<Timestamp>, Turn> {
    let reading = match heard {
        Heard::Reading(reading) => reading,
        Heard::Lost(events) if watch.has_begun() => return Err(Turn::Lost(*events)),
        Heard::Lost(_) => {
            watch.begin_anew();
            return Ok(None);
        }
    };
    match reading.measured {
        Some(celsius) => watch.reading(reading.at, celsius),
        // A fault breaks the curve.
        None => watch.begin_anew(),
    }
    Ok(Some(reading.at))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::live::LiveReading;
    use crate::core::cycle::fixture::at;

    /// A reading as the service tells it.
    fn reading(second: f64, celsius: f64) -> LiveReading {
        let text = serde_json::json!({
            "channel": "dm1/rinse", "machine": "dm1", "role": "probe", "place": "final-rinse",
            "at": at(second), "arrived": at(second), "delivered": celsius, "measured_c": celsius,
        });
        serde_json::from_value(text).expect("an event of the service")
    }

    // Own promise: what was lost before the step is waited for anew, what was lost behind it is refused.
    #[test]
    fn no_curve_is_drawn_over_lost_readings() {
        let mut watch = StepWatch::default();
        let hear = |watch: &mut StepWatch, second: f64, celsius: f64| {
            let reading = reading(second, celsius);
            assert!(matches!(take(watch, &Heard::Reading(&reading)), Ok(Some(_))));
        };
        for quarter in 0..40 {
            hear(&mut watch, f64::from(quarter) * 0.25, 21.0);
        }
        assert!(matches!(watch.stage(), Stage::Level { .. }));
        assert!(matches!(take(&mut watch, &Heard::Lost(7)), Ok(None)));
        assert_eq!(watch.stage(), Stage::Settling, "it begins anew");
        for quarter in 40..80 {
            hear(&mut watch, f64::from(quarter) * 0.25, 21.0);
        }
        hear(&mut watch, 20.0, 60.0);
        assert!(matches!(take(&mut watch, &Heard::Lost(7)), Err(Turn::Lost(7))));
    }
}
