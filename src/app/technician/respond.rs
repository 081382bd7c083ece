//! `respond`: how fast a probe answers, from a plunge into hot water.

use std::mem::discriminant;

use super::{Heard, Refusal, Session};
use crate::app::live::LiveReading;
use crate::app::logbook::Entry;
use crate::app::order::Order;
use crate::app::{Failure, Streams};
use crate::cli::RespondArgs;
use crate::core::record::{Body, ResponseDone};
use crate::core::response::Response;
use crate::core::technician::responding::{Ended, Responding, Stands};
use crate::core::technician::{Value, refusals, words};

/// Does what `respond` asks.
pub(in crate::app) fn respond(arguments: &RespondArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let mut session = Session::begin(("response test", "response-refused"), &arguments.own, streams)?;
    let outcome = responded(&mut session, arguments);
    session.leave(outcome)
}

fn responded(session: &mut Session<'_, '_>, arguments: &RespondArgs) -> Result<(), Failure> {
    let language = session.language();
    for caution in words::response_cautions(language, arguments.own.answer.scale) {
        session.tell(&format!("! {caution}"))?;
    }
    session.tell(&words::have_ready(language, arguments.own.answer.scale))?;
    session.wait_for_person(words::press_enter_to_begin(language))?;
    session.tell(words::hold_in_air(language))?;
    let found = measured(session)?;
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

/// Waits for the step and its answer.
fn measured(session: &mut Session<'_, '_>) -> Result<Response, Failure> {
    let (language, scale) = (session.language(), session.arguments.answer.scale);
    let calibration = session.probe.calibration;
    let probe = &session.arguments.probe;
    let mut work = Responding::default();
    work.begin(session.clock.elapsed());
    loop {
        let before = work.stands();
        let turn = session.follow(
            |heard| {
                match heard {
                    Heard::Reading(&LiveReading { at, measured, fault, .. }) => {
                        work.hear(Value { at, measured, fault });
                    }
                    Heard::Lost(events) => work.lost(events),
                }
                let stands = work.stands();
                is_elsewhere(before, stands).then_some(stands)
            },
            || None,
        )?;
        let stands = turn.unwrap_or_else(|| {
            work.end();
            work.stands()
        });
        let refusal = match stands {
            Stands::Running(stage) => {
                let corrected = |celsius| calibration.apply(celsius);
                session.tell(&words::stage(language, scale, &stage, corrected))?;
                continue;
            }
            Stands::Ready => continue,
            Stands::Ended(Ended::Answered(found)) => return Ok(found),
            Stands::Ended(Ended::Lost(events)) => Refusal::new("response-refused", |language| {
                let why = refusals::lost(language, events);
                (format!("{probe}: {why}"), refusals::lost_advice(language))
            }),
            Stands::Ended(Ended::NoStep(error)) => Refusal::new("response-refused", |language| {
                let why = refusals::no_step(language, scale, &error);
                (format!("{probe}: {why}"), refusals::step_advice(language, &error))
            }),
        };
        return Err(session.refused(&refusal)?);
    }
}

/// Whether something is to be told.
fn is_elsewhere(before: Stands, after: Stands) -> bool {
    match (before, after) {
        (Stands::Running(before), Stands::Running(after)) => discriminant(&before) != discriminant(&after),
        (Stands::Ready | Stands::Running(_) | Stands::Ended(_), _) => {
            discriminant(&before) != discriminant(&after)
        }
    }
}
