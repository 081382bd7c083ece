//! Calibrations and response tests on their way to the record, and their withdrawal.
//!
//! What follows from the points of a session is worked out here, by what is in force just then.

use std::time::Duration;

use jiff::civil::Date;

use super::{Prepared, Way, impossible, refused, unread};
use crate::app::in_force;
use crate::app::order::Problem;
use crate::config::resolve::Configuration;
use crate::core::calibration::fitted::work_out;
use crate::core::channel::{Channel, Probe};
use crate::core::logbook;
use crate::core::on_file::{InForce, OnFile, lay_over};
use crate::core::reader::Language;
use crate::core::record::{Against, Body, CalibrationDone, Record, ResponseDone};
use crate::core::response::{STEP_MIN_C, fast_enough};
use crate::core::site::Entered;
use crate::core::technician::refusals;
use crate::core::time::Timestamp;
use crate::ledger::Reader;

/// Most points of one session (own choice: each takes minutes).
const POINTS_MAX: usize = 12;
/// Time constants that the configuration takes too, s.
const TAU_S: std::ops::RangeInclusive<f64> = 0.01..=120.0;

/// A calibration, worked out anew: what it was compared with is taken as it was entered, everything that
/// follows from it is not.
pub(super) fn calibration(
    mut done: Box<CalibrationDone>,
    configuration: &Configuration,
    now: Timestamp,
    reader: &Reader,
) -> Result<Prepared, Problem> {
    let (channel, probe) = probe_of(&done.probe, configuration)?;
    logbook::name(logbook::Field::By, &done.by).map_err(impossible)?;
    logbook::time(done.at, now, false).map_err(impossible)?;
    done.note
        .as_deref()
        .map_or(Ok(()), |note| logbook::text(logbook::Field::Note, note))
        .map_err(impossible)?;
    for point in &done.points {
        if let Against::Thermometer { thermometer } = &point.against {
            logbook::text(logbook::Field::Reference, thermometer).map_err(impossible)?;
        }
    }
    if done.points.len() > POINTS_MAX {
        let summary = format!("a calibration of {} points is not one session", done.points.len());
        return Err(refused(&summary, "enter at most twelve points"));
    }
    if let Some(until) = &done.until
        && until.parse::<Date>().is_err()
    {
        return Err(refused(&format!("«{until}» is no day"), "write it as 2027-03-01"));
    }
    if configuration.calibrated_on(&channel.name).is_some_and(|on| on > now) {
        let summary =
            format!("the configuration says that {} will be calibrated on a day to come", done.probe);
        return Err(refused(&summary, "mend calibrated-on in the configuration and restart the service"));
    }
    let file = in_force::on_file(reader).map_err(|error| unread(&error))?;
    let now_in_force = newest(&file, configuration, channel).laid_over(probe);
    let near = configuration
        .limit(channel.machine, now_in_force.place)
        .ok_or_else(|| refused("the probe belongs to no machine", "see check-config"))?;
    let fitted = work_out(&mut done.points, now_in_force.calibration, near).map_err(|error| {
        let advice = refusals::calibration_advice(Language::English, &error);
        let advice = format!("{advice}; nothing was recorded");
        Problem::new("calibration-refused", format!("{}: {error}", done.probe), advice)
    })?;
    done.found = now_in_force.calibration.into();
    done.left = fitted.left.into();
    done.expanded_c = fitted.expanded_c;
    // What the record says is what is in force, to the last bit.
    let mut probe = now_in_force;
    lay_over(&done, &mut probe);
    Ok(through_core(channel, probe, Body::Calibration(done)))
}

/// A response test.
pub(super) fn response(
    mut done: Box<ResponseDone>,
    configuration: &Configuration,
    now: Timestamp,
    reader: &Reader,
) -> Result<Prepared, Problem> {
    let (channel, probe) = probe_of(&done.probe, configuration)?;
    logbook::name(logbook::Field::By, &done.by).map_err(impossible)?;
    logbook::time(done.at, now, false).map_err(impossible)?;
    let step_c = (done.to_c - done.from_c).abs();
    let sound = TAU_S.contains(&done.tau_s)
        && done.expanded_s.is_finite()
        && done.expanded_s >= 0.0
        && done.residual_c.is_finite()
        && step_c >= STEP_MIN_C;
    if !sound {
        let summary = format!(
            "a time constant of {} s from a step of {step_c:.1} °C is none that a probe can have",
            done.tau_s
        );
        return Err(Problem::new("response-refused", summary, "make the test anew; nothing was recorded"));
    }
    let tau = Duration::from_secs_f64(done.tau_s);
    let machine = configuration.machines.get(usize::from(channel.machine.0));
    done.fast_enough = machine.and_then(|machine| fast_enough(probe.place, tau, machine.times.rinse));
    let file = in_force::on_file(reader).map_err(|error| unread(&error))?;
    let probe = Probe { tau: Some(tau), ..newest(&file, configuration, channel).laid_over(probe) };
    Ok(through_core(channel, probe, Body::Response(done)))
}

/// The way of an amendment that withdraws a calibration or a response test: what was in force before it
/// is in force again. `None` where its probe is not configured any more.
pub(super) fn withdrawal(
    of: &Body,
    amendment: &Record,
    configuration: &Configuration,
    reader: &Reader,
) -> Result<Option<Way>, Problem> {
    let name = if let Body::Calibration(done) = of {
        &done.probe
    } else if let Body::Response(done) = of {
        &done.probe
    } else {
        return Ok(None);
    };
    let Some((channel, probe)) = configuration.probe(name) else { return Ok(None) };
    let mut file = in_force::on_file(reader).map_err(|error| unread(&error))?;
    file.take(file.next(), amendment);
    let probe = newest(&file, configuration, channel).laid_over(probe);
    Ok(Some(through_core(channel, probe, amendment.body.clone()).way))
}

fn newest<'f>(file: &'f OnFile, configuration: &Configuration, channel: &Channel) -> InForce<'f> {
    file.in_force(channel.name.as_str(), configuration.calibrated_on(&channel.name), Timestamp::MAX)
}

fn through_core(channel: &Channel, probe: Probe, body: Body) -> Prepared {
    let recorded = Some(Box::new(body.clone()));
    let entered = Entered::Probe { channel: channel.id, probe: Box::new(probe), body: Box::new(body) };
    let machine = Some(channel.name.machine().to_owned());
    Prepared { machine, way: Way::Core(channel.machine, entered), judged: None, recorded, late_s: None }
}

fn probe_of<'c>(name: &str, configuration: &'c Configuration) -> Result<(&'c Channel, &'c Probe), Problem> {
    configuration.probe(name).ok_or_else(|| {
        let advice = "give the name of a temperature probe of the configuration, <machine>/<probe>";
        refused(&format!("no temperature probe is called «{name}»"), advice)
    })
}
