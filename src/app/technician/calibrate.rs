//! `calibrate`: a probe in ice, in boiling water, beside a thermometer.

use std::cell::RefCell;
use std::time::Duration;

use jiff::ToSpan;

use super::{Heard, Refusal, Session, refuse};
use crate::app::live::LiveReading;
use crate::app::logbook::Entry;
use crate::app::order::Order;
use crate::app::{Failure, Streams};
use crate::cli::{CalibrateArgs, PointArg};
use crate::config::resolve::Configuration;
use crate::core::calibration::fitted::{Fitted, apart_enough};
use crate::core::calibration::{Calibration, CalibrationError};
use crate::core::record::{Body, CalibrationDone, CalibrationPoint, Correction};
use crate::core::steady::Unsteady;
use crate::core::technician::bath::{Bath, NotYet};
use crate::core::technician::calibrating::{Calibrating, Stands, StepSeen};
use crate::core::technician::{Value, refusals, words};
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::core::wall_clock::local_date;
use crate::diagnostic::Diagnostic;

/// Does what `calibrate` asks.
pub(in crate::app) fn calibrate(arguments: &CalibrateArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let plan = arguments.points.0.iter().map(planned).collect::<Result<Vec<_>, _>>()?;
    // What no baths of the plan can come to is said before the machine counts as worked on.
    if let Err(error) = apart_enough(plan.iter().map(|bath| bath.point.celsius)) {
        return Err(refuse(&arguments.own, streams, &no_calibration(arguments, &error))?);
    }
    let mut session = Session::begin(("calibration", "calibration-refused"), &arguments.own, streams)?;
    let outcome = calibrated(&mut session, arguments, &plan);
    session.leave(outcome)
}

fn calibrated(
    session: &mut Session<'_, '_>,
    arguments: &CalibrateArgs,
    plan: &[Bath],
) -> Result<(), Failure> {
    let language = session.language();
    let near = session.loaded.configuration.limit(session.channel.machine, session.probe.place);
    let near = near.ok_or_else(|| {
        let summary = format!("{} belongs to no machine with a limit", session.arguments.probe);
        Failure::from(Diagnostic::error("usage", summary).advice("see rinseward check-config"))
    })?;
    for caution in words::calibration_cautions(language) {
        session.tell(&format!("! {caution}"))?;
    }
    let (tau, found) = (session.probe.tau, session.probe.calibration);
    let step_max = Duration::from_secs(arguments.own.seconds_max);
    let mut work: Option<Calibrating> = None;
    for (place, bath) in plan.iter().enumerate() {
        let begun = match work.take() {
            Some(mut work) => {
                work.go_to(bath.clone());
                work
            }
            None => Calibrating::new(bath.clone(), tau, found, near).lasting(step_max),
        };
        work = Some(compared(session, begun, bath, (place + 1, plan.len()))?);
    }
    let at = session.clock.now();
    let Stands { points, result, .. } = work.ok_or_else(no_bath)?.stands(session.clock.elapsed());
    let fitted = match result.ok_or_else(no_bath)? {
        Ok(fitted) => fitted,
        Err(error) => return Err(session.refused(&no_calibration(arguments, &error))?),
    };
    tell_result(session, &points, found, &fitted, near)?;
    if !session.is_confirmed()? {
        return session.tell(words::not_recorded(language));
    }
    let until = last_day(session, arguments)?;
    let done = Box::new(CalibrationDone {
        probe: session.arguments.probe.clone(),
        at,
        points,
        found: found.into(),
        left: fitted.left.into(),
        expanded_c: fitted.expanded_c,
        until: Some(until),
        note: arguments.note.clone(),
        by: session.arguments.by.clone(),
    });
    let done = session.put(Order::Entry { entry: Entry::Calibration { done } })?;
    if let (Some(record), Some(Body::Calibration(put))) = (done.record, done.recorded.as_deref())
        && !session.arguments.answer.json
    {
        let scale = session.arguments.answer.scale;
        session.tell_recorded(&words::in_force(language, scale, record, put))?;
    }
    Ok(())
}

/// Why points make no calibration, and what to do.
fn no_calibration(arguments: &CalibrateArgs, error: &CalibrationError) -> Refusal {
    let (probe, scale) = (&arguments.own.probe, arguments.own.answer.scale);
    Refusal::new("calibration-refused", |language| {
        let why = refusals::no_calibration(language, scale, error);
        (format!("{probe}: {why}"), refusals::calibration_advice(language, error))
    })
}

fn planned(asked: &PointArg) -> Result<Bath, Failure> {
    let bath = match asked {
        PointArg::Ice => Ok(Bath::ice()),
        PointArg::Boiling(kpa, barometer) => Bath::boiling(*kpa, *barometer),
        PointArg::BoilingAtAltitude(metres) => Bath::boiling_at_altitude(*metres),
        PointArg::Against(celsius, named, expanded_c) => {
            Ok(Bath::beside_thermometer(*celsius, named.clone(), *expanded_c))
        }
    };
    bath.map_err(|error| {
        Diagnostic::error("usage", error.to_string()).advice("look at the number and its unit").into()
    })
}

/// The command line asks for one bath at least.
fn no_bath() -> Failure {
    Diagnostic::error("usage", "no bath is asked for").advice("give --ice, --boiling or --against").into()
}

/// Waits until the point of the bath is taken.
fn compared(
    session: &mut Session<'_, '_>,
    mut work: Calibrating,
    bath: &Bath,
    number: (usize, usize),
) -> Result<Calibrating, Failure> {
    let (language, scale) = (session.language(), session.arguments.answer.scale);
    session.tell(&words::point(language, scale, number, bath))?;
    for caution in words::point_cautions(language, &bath.against) {
        session.tell(&format!("! {caution}"))?;
    }
    session.wait_for_person(words::press_enter(language))?;
    work.in_place(session.clock.elapsed());
    session.tell(&words::watching(language, work.wanted_s(), session.probe.tau))?;
    let work = RefCell::new(work);
    let steady = session.follow(
        |heard| {
            let mut work = work.borrow_mut();
            match heard {
                Heard::Reading(LiveReading { at, measured, fault, .. }) => {
                    work.hear(Value { at: *at, measured: *measured, fault: *fault });
                }
                Heard::Lost(_) => work.lost(),
            }
            work.taken()
        },
        || match work.borrow().stands(Duration::ZERO).step {
            StepSeen::Watching { last, why, wanted_s, .. } => {
                Some(words::progress(language, scale, bath, last, &why, wanted_s))
            }
            StepSeen::Placing(_) | StepSeen::Over { .. } | StepSeen::Taken(_) | StepSeen::Open => None,
        },
    )?;
    let mut work = work.into_inner();
    let Some(steady) = steady else {
        work.tick(session.clock.elapsed());
        let refusal = unsteady(session, &work, bath);
        return Err(session.refused(&refusal)?);
    };
    session.tell(&words::steady(language, scale, &steady))?;
    Ok(work)
}

/// Why the time was over before the probe was steady where it should be.
fn unsteady(session: &Session<'_, '_>, work: &Calibrating, bath: &Bath) -> Refusal {
    let (probe, seconds) = (&session.arguments.probe, session.arguments.seconds_max);
    let scale = session.arguments.answer.scale;
    let why = match work.stands(Duration::ZERO).step {
        StepSeen::Over { why, .. } | StepSeen::Watching { why, .. } => why,
        StepSeen::Placing(_) | StepSeen::Taken(_) | StepSeen::Open => NotYet::Unsteady(Unsteady::Silent),
    };
    Refusal::new("calibration-refused", |language| {
        let reason = match why {
            NotYet::TooFar(shown) => refusals::too_far(language, scale, shown, bath.point.celsius),
            NotYet::Unsteady(reason) => refusals::unsteady(language, scale, &reason),
        };
        let summary = refusals::not_steady_in_time(language, probe, seconds, &reason);
        (summary, refusals::unsteady_advice(language))
    })
}

fn tell_result(
    session: &mut Session<'_, '_>,
    points: &[CalibrationPoint],
    found: Calibration,
    fitted: &Fitted,
    near: Celsius,
) -> Result<(), Failure> {
    let (language, scale) = (session.language(), session.arguments.answer.scale);
    session.tell(words::result_heading(language))?;
    for point in points {
        session.tell(&words::result(language, scale, point))?;
    }
    if let Some(caution) = words::large_correction(language, scale, fitted.left, near) {
        session.tell(&format!("! {caution}"))?;
    }
    let (found, left) = (Correction::from(found), Correction::from(fitted.left));
    session.tell(&words::corrections(language, scale, found, left))?;
    session.tell(&words::uncertainty(language, scale, fitted.expanded_c, near))
}

/// The last day on which the calibration holds.
fn last_day(session: &Session<'_, '_>, arguments: &CalibrateArgs) -> Result<String, Failure> {
    let probe = &session.arguments.probe;
    let until = holds_until(&session.loaded.configuration, probe, arguments.due, session.clock.now());
    let far =
        || Failure::from(Diagnostic::error("usage", "that day lies too far ahead").advice("give fewer days"));
    until.ok_or_else(far)
}

/// The last day on which a calibration of this probe holds that is made at `now`: for as long as is asked
/// for, else as is configured, else a year; `None` where that day lies too far ahead.
pub(in crate::app) fn holds_until(
    configuration: &Configuration,
    probe: &str,
    asked: Option<Duration>,
    now: Timestamp,
) -> Option<String> {
    let configured = configuration.calibration_holds.get(probe).copied();
    let holds = asked.or(configured).unwrap_or(Duration::from_secs(365 * 86_400));
    let days = i64::try_from(holds.as_secs() / 86_400).unwrap_or(365);
    let today = local_date(&configuration.alerts.zone, now)?;
    Some(today.checked_add(days.days()).ok()?.to_string())
}
