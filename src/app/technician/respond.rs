//! `respond`: how fast a probe answers, from a plunge into hot water.

use std::cell::RefCell;

use super::{Session, words};
use crate::app::live::LiveReading;
use crate::app::logbook::Entry;
use crate::app::order::Order;
use crate::app::{Failure, Streams};
use crate::cli::RespondArgs;
use crate::core::record::{Body, ResponseDone};
use crate::core::response::{NoStep, Response, Stage, StepWatch};
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;

/// Least time between two looks at where the test stands, s of the readings: each is a fit.
const LOOKED_EVERY_S: f64 = 0.5;

/// Does what `respond` asks.
pub(in crate::app) fn respond(arguments: &RespondArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let mut session = Session::begin(&arguments.own, streams)?;
    let language = session.language();
    for caution in words::response_cautions(language) {
        session.tell(&format!("! {caution}"))?;
    }
    session.tell(words::hold_in_air(language))?;
    let found = measured(&mut session)?;
    let at = session.clock.now();
    let machine = session.loaded.configuration.machines.get(usize::from(session.channel.machine.0)).cloned();
    let tau = std::time::Duration::from_secs_f64(found.tau_s);
    let fast_enough = machine.as_ref().and_then(|machine| {
        crate::core::response::fast_enough(session.probe.place, tau, machine.times.rinse)
    });
    let scale = session.arguments.answer.scale;
    session.tell(&words::answered(language, scale, &found))?;
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

/// Waits for the step and its answer.
fn measured(session: &mut Session<'_, '_>) -> Result<Response, Failure> {
    let language = session.language();
    let watch = RefCell::new((StepWatch::default(), Stage::Settling));
    let mut looked: Option<Timestamp> = None;
    loop {
        let before = watch.borrow().1;
        let over = session.follow(
            |reading| {
                let (watch, stage) = &mut *watch.borrow_mut();
                take(watch, reading);
                if looked.is_some_and(|at| reading.at.seconds_since(at) < LOOKED_EVERY_S) {
                    return None;
                }
                looked = Some(reading.at);
                *stage = watch.stage();
                let changed = std::mem::discriminant(stage) != std::mem::discriminant(&before);
                changed.then_some(*stage)
            },
            || None,
        )?;
        match over {
            Some(Stage::Over) | None => break,
            Some(stage @ (Stage::Settling | Stage::Level { .. } | Stage::Answering { .. })) => {
                let scale = session.arguments.answer.scale;
                session.tell(&words::stage(language, scale, &stage))?;
            }
        }
    }
    let result = watch.borrow().0.look();
    result.map_err(|error| refused(session, &error))
}

fn take(watch: &mut StepWatch, reading: &LiveReading) {
    match reading.measured {
        Some(celsius) => watch.reading(reading.at, celsius),
        // A fault breaks the curve.
        None => watch.begin_anew(),
    }
}

fn refused(session: &Session<'_, '_>, error: &NoStep) -> Failure {
    let advice = match error {
        NoStep::None => {
            "hold the probe still in the air until it is level, then plunge it; is it the right probe?"
        }
        NoStep::TooSmall { .. } => "take hotter water",
        NoStep::NotEnded { .. } => "leave the probe in the water until it tells that the answer is over",
        NoStep::NotFirstOrder { .. } => {
            "plunge it at once and stir; a probe in a heavy well has no one time constant: leave tau out for it"
        }
        NoStep::TooSlow { .. } => {
            "have the node send more often, or leave tau out: half the rinse then counts"
        }
    };
    Diagnostic::error("response-refused", format!("{}: {error}", session.arguments.probe))
        .advice(advice)
        .advice("nothing was recorded")
        .into()
}
