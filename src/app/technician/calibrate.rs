//! `calibrate`: a probe in ice, in boiling water, beside a thermometer.

use std::cell::RefCell;
use std::time::Duration;

use jiff::ToSpan;

use super::{Heard, Refusal, Session};
use crate::app::live::LiveReading;
use crate::app::logbook::Entry;
use crate::app::order::Order;
use crate::app::{Failure, Streams};
use crate::cli::{CalibrateArgs, PointArg};
use crate::config::resolve::Configuration;
use crate::core::alert::hours::local_date;
use crate::core::calibration::Calibration;
use crate::core::calibration::fitted::{Fitted, work_out};
use crate::core::reading::Fault;
use crate::core::record::{Body, CalibrationDone, CalibrationPoint, Correction};
use crate::core::steady::{Steadiness, Unsteady};
use crate::core::technician::bath::{Bath, NotYet};
use crate::core::technician::{refusals, words};
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::diagnostic::Diagnostic;

/// Does what `calibrate` asks.
pub(in crate::app) fn calibrate(arguments: &CalibrateArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let plan = arguments.points.0.iter().map(planned).collect::<Result<Vec<_>, _>>()?;
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
    let mut points = Vec::new();
    for (place, planned) in plan.iter().enumerate() {
        points.push(compared(session, planned, place + 1, plan.len())?);
    }
    let (at, found) = (session.clock.now(), session.probe.calibration);
    let fitted = match work_out(&mut points, found, near) {
        Ok(fitted) => fitted,
        Err(error) => {
            let (probe, scale) = (&arguments.own.probe, arguments.own.answer.scale);
            let refusal = Refusal::new("calibration-refused", |language| {
                let why = refusals::no_calibration(language, scale, &error);
                (format!("{probe}: {why}"), refusals::calibration_advice(language))
            });
            return Err(session.refused(&refusal)?);
        }
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

/// Waits until the probe is steady at the point, and compares it.
fn compared(
    session: &mut Session<'_, '_>,
    bath: &Bath,
    number: usize,
    of: usize,
) -> Result<CalibrationPoint, Failure> {
    let (language, scale) = (session.language(), session.arguments.answer.scale);
    let Bath { against, point, .. } = bath;
    session.tell(&words::point(language, scale, (number, of), bath))?;
    for caution in words::point_cautions(language, *against) {
        session.tell(&format!("! {caution}"))?;
    }
    session.wait_for_person(words::press_enter(language))?;
    let watch = RefCell::new(Steadiness::new(session.probe.tau));
    let seconds = watch.borrow().wanted_s();
    session.tell(&words::watching(language, seconds, session.probe.tau))?;
    let steady = session.follow(
        |heard| {
            let mut watch = watch.borrow_mut();
            take(&mut watch, &heard);
            bath.look(&watch).ok()
        },
        || {
            let watch = watch.borrow();
            let (stands, near) = (watch.look(), |celsius| bath.is_near(celsius));
            Some(words::progress(language, scale, watch.last(), point.celsius, near, &stands))
        },
    )?;
    let Some(steady) = steady else {
        let refusal = unsteady(session, &watch.into_inner(), bath);
        return Err(session.refused(&refusal)?);
    };
    session.tell(&words::steady(language, scale, &steady))?;
    Ok(bath.compared(&steady))
}

fn take(watch: &mut Steadiness, heard: &Heard<'_>) {
    let reading: &LiveReading = match heard {
        Heard::Reading(reading) => reading,
        // What was lost may have been what was not steady.
        Heard::Lost(_) => return watch.begin_anew(),
    };
    match (reading.measured, reading.fault) {
        // What stands still for hours is no fault in a bath that does.
        (Some(celsius), _) => watch.reading(reading.at, celsius),
        (None, fault) => watch.fault(fault.unwrap_or(Fault::Reported)),
    }
}

/// Why the time was over before the probe was steady where it should be.
fn unsteady(session: &Session<'_, '_>, watch: &Steadiness, bath: &Bath) -> Refusal {
    let (probe, seconds) = (&session.arguments.probe, session.arguments.seconds_max);
    let scale = session.arguments.answer.scale;
    let looked = bath.look(watch);
    Refusal::new("calibration-refused", |language| {
        let reason = match &looked {
            Err(NotYet::TooFar(shown)) => refusals::too_far(language, scale, *shown, bath.point.celsius),
            Err(NotYet::Unsteady(reason)) => refusals::unsteady(language, scale, reason),
            // It became steady just then, and late.
            Ok(_) => refusals::unsteady(language, scale, &Unsteady::Silent),
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
