//! What was in force at a moment: limits, calibrations, configuration, with the records that say so.

use std::time::Duration;

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, Uri};
use axum::response::Response;

use super::lines::leads_to;
use super::story::{put, told};
use crate::core::access::Right;
use crate::core::channel::{Place, Solution};
use crate::core::reader::{Language, Reader};
use crate::core::record::{Body, CalibrationDone, Cycle, Record, ResponseDone, SignedChemistry};
use crate::core::technician::words::correction;
use crate::core::technician::work::then::WorkThen;
use crate::core::time::Timestamp;
use crate::core::wall_clock::Unclear;
use crate::web::form::Field;
use crate::web::form::clock::{Which, chosen, local, which};
use crate::web::frame::{self, Frame, Tab, said};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::machine::words::place_word;
use crate::web::machine::zone_of;
use crate::web::person::Person;
use crate::web::probes::Compared;
use crate::web::probes::filed::judged;
use crate::web::probes::solution::{Tested, value};
use crate::web::probes::solution_word;
use crate::web::query::{self, Expected, Given};
use crate::web::who::instead;

/// What was in force, each with the index of the record that says so.
#[derive(Clone, PartialEq, Debug)]
pub struct Force {
    /// The moment.
    pub at: Timestamp,
    /// The newest start or stop of the service by then.
    pub service: Option<(u64, Record)>,
    /// The newest record of a signing key by then.
    pub key: Option<(u64, Record)>,
    /// For each machine that had washed by then the cycle whose limits were in force.
    pub limits: Vec<(String, u64, Box<Cycle>)>,
    /// Of each machine that was configured to sanitize with chemicals what the sanitizer was judged by.
    pub chemistry: Vec<ChemistryInForce>,
    /// Work on machines.
    pub work: Vec<WorkThen>,
    /// Records that are damaged and may tell of more work.
    pub work_damaged: Vec<u64>,
    /// Every probe that was configured, or of which something on record was in force.
    pub probes: Vec<ProbeInForce>,
    /// Every channel of a sanitizing solution that was configured.
    pub solutions: Vec<SolutionInForce>,
    /// The configuration.
    pub configuration: Option<(u64, Record)>,
}

/// What the sanitizer of a machine was judged by.
#[derive(Clone, PartialEq, Debug)]
pub struct ChemistryInForce {
    /// The machine.
    pub machine: String,
    /// Its limits.
    pub limits: SignedChemistry,
    /// The configuration that says so, and since when it was in force.
    pub configured: (u64, Timestamp),
}

/// What was in force of a probe.
#[derive(Clone, PartialEq, Debug)]
pub struct ProbeInForce {
    /// Its channel.
    pub channel: String,
    /// As the configuration had it; absent where that says nothing of it.
    pub configured: Option<AsConfigured>,
    /// Its calibration, since when it counts, and its record.
    pub calibration: Option<(u64, Timestamp, CalibrationDone)>,
    /// Its response test, in the same way.
    pub response: Option<(u64, Timestamp, ResponseDone)>,
    /// The newest comparison with another thermometer that counted.
    pub compared: Option<Compared>,
}

/// What was in force of a channel of a sanitizing solution.
#[derive(Clone, PartialEq, Debug)]
pub struct SolutionInForce {
    /// Its channel.
    pub channel: String,
    /// What it told.
    pub solution: Solution,
    /// Index of the record of the configuration, and when that was recorded.
    pub configured: (u64, Timestamp),
    /// The newest test on record that counted.
    pub tested: Option<Tested>,
}

/// A probe as the configuration had it.
#[derive(Clone, PartialEq, Debug)]
pub struct AsConfigured {
    /// Index of the record of the configuration.
    pub record: u64,
    /// When that was recorded.
    pub since: Timestamp,
    /// Where the probe sat.
    pub place: Place,
    /// Day of the calibration that the configuration names.
    pub calibrated_on: Option<String>,
    /// Expanded uncertainty (k = 2) near its limit with all that was in force, °C.
    pub uncertainty_c: f64,
}

/// Something that was in force.
struct Line {
    name: String,
    text: String,
    to: String,
    record: u64,
    since: String,
}

#[derive(Template)]
#[template(path = "web/history/moment.html", config = ".askama.toml")]
struct MomentPage<'a> {
    frame: Frame<'a>,
    at: Field,
    /// The two times that the one which was asked for may be; none where it is only one.
    twice: Vec<Which>,
    /// What else is wrong with the question.
    wrong: Vec<String>,
    zone: String,
    /// Absent where the question was refused.
    told: Option<Told<'a>>,
}

/// What was in force, in words.
struct Told<'a> {
    at: String,
    /// Whether a whole minute was asked for.
    is_minute: bool,
    limits: Vec<Line>,
    chemistry: Vec<Line>,
    work: Vec<Line>,
    /// That more work may have been in force, and which records would say it.
    work_damaged: Option<String>,
    probes: Vec<Line>,
    rest: Vec<Line>,
    toml: Option<&'a str>,
    /// Who may see the whole configuration, for those who may not: addresses and accounts stand in it.
    instead: Option<String>,
}

impl<'a> Told<'a> {
    fn of(force: &'a Force, person: &Person) -> Self {
        let reader = &person.reader;
        // As with the settings in force: whoever may not see those may not see earlier ones here.
        let what = said(reader.language, "The whole configuration", "La configuración entera");
        let instead = instead(person, Right::Settings, what);
        let shown = force.configuration.as_ref().filter(|_| instead.is_none());
        let toml = shown.and_then(|(_, record)| {
            if let Body::ConfigurationChange(change) = &record.body {
                Some(change.toml.as_str())
            } else {
                None
            }
        });
        Self {
            at: reader.moment(force.at),
            is_minute: ends_a_minute(force.at),
            limits: limits(force, reader),
            chemistry: chemistry(force, reader),
            work: work(force, reader),
            work_damaged: damaged_work(&force.work_damaged, reader.language),
            probes: probes(force, reader),
            rest: rest(force, reader),
            toml,
            instead,
        }
    }
}

/// Shows what was in force. A moment that is none, or has not come, is refused as [`query`] says.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    uri: Uri,
    person: Person,
) -> Response {
    let reader = &person.reader;
    let now = pages.kitchen.time();
    let mut given = Given::read(&uri, &["at", "offset"]);
    let offset = given.text("offset").to_owned();
    let asked = given.take("at", |text| {
        let at = chosen(query::moment(text)?, &offset, &reader.zone).map_err(|unclear| match unclear {
            Unclear::Skipped { last, next } => Expected::Shown(last, next),
            Unclear::Twice { .. } => Expected::Which,
            Unclear::Beyond => Expected::Moment,
        })?;
        if at > now { Err(Expected::Past) } else { Ok(to_its_end(at).min(now)) }
    });
    let twice = which(given.text("at"), &offset, &reader.zone, reader.language);
    let at = asked.unwrap_or(now);
    let force = if given.is_refused() { None } else { Some(pages.kitchen.in_force(at).await) };
    let force = match force.transpose() {
        Ok(force) => force,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 1),
    };
    let label = said(reader.language, "When", "Cuándo");
    let mut field = given.field("at", label, reader.language);
    if field.value.is_empty() {
        field.value = local(reader, at);
    }
    let status = if force.is_some() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let title = said(reader.language, "In force at a moment", "En vigor en un momento");
    let page = MomentPage {
        frame: Frame::new(&pages.site, &person, Tab::History, 1, title).with_open(pages.open().await),
        at: field,
        twice,
        wrong: given.beside(&["at"], reader.language),
        zone: zone_of(reader, at),
        told: force.as_ref().map(|force| Told::of(force, &person)),
    };
    frame::page(status, page.render())
}

/// The end of the minute, where an instant is one: who types 12:00 was shown what is on record of 12:00 by its minute.
fn to_its_end(at: Timestamp) -> Timestamp {
    if at.micros().rem_euclid(MINUTE_US) == 0 {
        at.plus(Duration::from_micros(LAST_US.unsigned_abs()))
    } else {
        at
    }
}

/// Whether an instant is the end of a minute.
fn ends_a_minute(at: Timestamp) -> bool {
    at.micros().rem_euclid(MINUTE_US) == LAST_US
}

/// A minute, µs.
const MINUTE_US: i64 = 60_000_000;
/// The last instant of a minute, µs after its begin.
const LAST_US: i64 = MINUTE_US - 1;

fn limits(force: &Force, reader: &Reader) -> Vec<Line> {
    let pair = (
        "final rinse {rinse} for {dwell} s, wash {wash}, uncertainty ±{wide}",
        "enjuague final {rinse} durante {dwell} s, lavado {wash}, incertidumbre ±{wide}",
    );
    let line = |(machine, index, cycle): &(String, u64, Box<Cycle>)| {
        let values = [
            ("rinse", reader.temperature(cycle.limit_c)),
            ("dwell", format!("{:.1}", cycle.dwell_required_s)),
            ("wash", reader.temperature(cycle.wash_limit_c)),
            ("wide", reader.difference(cycle.uncertainty_c)),
        ];
        let values: Vec<(&str, &str)> = values.iter().map(|(name, value)| (*name, value.as_str())).collect();
        Line {
            name: machine.clone(),
            text: put(reader.language, pair, &values),
            to: format!("cycles/{index}"),
            record: *index,
            since: reader.moment(cycle.rinse_started),
        }
    };
    force.limits.iter().map(line).collect()
}

/// What the sanitizer of each machine was judged by, as configured.
fn chemistry(force: &Force, reader: &Reader) -> Vec<Line> {
    let line = |own: &ChemistryInForce| {
        let limits = own.limits.limits(reader).into_iter();
        let told: Vec<String> = limits.map(|(name, told)| format!("{name}: {told}")).collect();
        Line {
            name: own.machine.clone(),
            text: told.join(" · "),
            to: format!("history/records/{}", own.configured.0),
            record: own.configured.0,
            since: reader.moment(own.configured.1),
        }
    };
    force.chemistry.iter().map(line).collect()
}

fn work(force: &Force, reader: &Reader) -> Vec<Line> {
    let site = said(reader.language, "the whole site", "toda la cocina");
    let line = |work: &WorkThen| Line {
        name: work.machine.clone().unwrap_or_else(|| site.to_owned()),
        text: work.told(reader),
        to: format!("history/records/{}", work.record),
        record: work.record,
        since: reader.moment(work.since),
    };
    force.work.iter().map(line).collect()
}

/// Which records are damaged and may tell of more work.
pub(in crate::web) fn damaged_work(records: &[u64], language: Language) -> Option<String> {
    let records: Vec<String> = records.iter().map(u64::to_string).collect();
    let pair = (
        "DAMAGED, and may tell of more work: record {records}",
        "DAÑADO, y puede hablar de más trabajos: asiento {records}",
    );
    (!records.is_empty()).then(|| put(language, pair, &[("records", &records.join(", "))]))
}

fn probes(force: &Force, reader: &Reader) -> Vec<Line> {
    let mut lines = Vec::new();
    for probe in &force.probes {
        if let Some(configured) = &probe.configured {
            let pair = (
                "{place}, uncertainty ±{wide} near its limit; {calibrated}",
                "{place}, incertidumbre ±{wide} cerca de su límite; {calibrated}",
            );
            let calibrated = match (&probe.calibration, &configured.calibrated_on) {
                (Some(_), _) => said(
                    reader.language,
                    "calibration on record, see below",
                    "calibración registrada, véase abajo",
                )
                .to_owned(),
                (None, Some(day)) => put(
                    reader.language,
                    ("calibrated {day}, as configured", "calibrada el {day}, según la configuración"),
                    &[("day", day)],
                ),
                (None, None) => {
                    said(reader.language, "no calibration was in force", "sin calibración en vigor")
                        .to_owned()
                }
            };
            let place = place_word(configured.place, reader.language);
            let wide = reader.difference(configured.uncertainty_c);
            let values = [("place", place), ("wide", wide.as_str()), ("calibrated", calibrated.as_str())];
            let text = put(reader.language, pair, &values);
            lines.push(of_probe(probe, (configured.record, configured.since), text, reader));
        }
        if let Some((record, since, done)) = &probe.calibration {
            let pair = (
                "calibration {correction}, uncertainty ±{wide}{until} ({by})",
                "calibración {correction}, incertidumbre ±{wide}{until} ({by})",
            );
            let until = done.until.as_ref().map(|day| {
                put(reader.language, (", good until {day}", ", válida hasta {day}"), &[("day", day)])
            });
            let wide = format!("{:.2} {}", reader.scale.difference(done.expanded_c), reader.scale.symbol());
            let values = [
                ("correction", correction(done.left, reader.scale)),
                ("wide", wide),
                ("until", until.unwrap_or_default()),
                ("by", done.by.clone()),
            ];
            let values: Vec<(&str, &str)> =
                values.iter().map(|(name, value)| (*name, value.as_str())).collect();
            lines.push(of_probe(probe, (*record, *since), put(reader.language, pair, &values), reader));
        }
        if let Some((record, since, done)) = &probe.response {
            let pair =
                ("time constant {tau} s ±{wide} s ({by})", "constante de tiempo {tau} s ±{wide} s ({by})");
            let (tau, wide) = (format!("{:.2}", done.tau_s), format!("{:.2}", done.expanded_s));
            let text = put(reader.language, pair, &[("tau", &tau), ("wide", &wide), ("by", &done.by)]);
            lines.push(of_probe(probe, (*record, *since), text, reader));
        }
        if let Some(Compared { record, check }) = &probe.compared {
            let (verdict, why) = judged(check, reader);
            let pair = (
                "compared with another thermometer: {verdict} {why} ({by})",
                "comparada con otro termómetro: {verdict} {why} ({by})",
            );
            let values = [("verdict", verdict.as_str()), ("why", &why), ("by", check.by())];
            lines.push(of_probe(probe, (*record, check.at()), put(reader.language, pair, &values), reader));
        }
    }
    lines.extend(force.solutions.iter().flat_map(|seen| solution(seen, reader)));
    lines
}

/// What a channel of a sanitizing solution was, and its newest test.
fn solution(seen: &SolutionInForce, reader: &Reader) -> Vec<Line> {
    let language = reader.language;
    let line = |text, record: u64, since| {
        let (name, to) = (seen.channel.clone(), format!("history/records/{record}"));
        Line { name, text, to, record, since: reader.moment(since) }
    };
    let untested = said(language, "no test was on record", "ninguna prueba registrada");
    let what = solution_word(seen.solution, language);
    let (record, since) = seen.configured;
    let configured = match &seen.tested {
        Some(_) => what.to_owned(),
        None => format!("{what}; {untested}"),
    };
    let tested = seen.tested.as_ref().and_then(|tested| {
        let text = format!("{}, {}", value(seen.solution, tested.value), tested.origin(language));
        Some(line(text, tested.record?, tested.at))
    });
    [Some(line(configured, record, since)), tested].into_iter().flatten().collect()
}

fn of_probe(probe: &ProbeInForce, (record, since): (u64, Timestamp), text: String, reader: &Reader) -> Line {
    let to = format!("history/records/{record}");
    Line { name: probe.channel.clone(), text, to, record, since: reader.moment(since) }
}

fn rest(force: &Force, reader: &Reader) -> Vec<Line> {
    let language = reader.language;
    let all = [
        (said(language, "Configuration", "Configuración"), &force.configuration),
        (said(language, "Service", "Servicio"), &force.service),
        (said(language, "Signing key", "Clave de firma"), &force.key),
    ];
    let line = |(name, found): (&str, &Option<(u64, Record)>)| {
        let (index, record) = found.as_ref()?;
        Some(Line {
            name: name.to_owned(),
            text: told(&record.body, reader),
            to: leads_to(*index, &record.body),
            record: *index,
            since: reader.moment(record.recorded),
        })
    };
    all.into_iter().filter_map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: what is on record of 12:00:59 is in force «at 12:00», which is how its time is shown.
    #[test]
    fn a_minute_counts_to_its_end() {
        let at = |micros: i64| Timestamp::from_micros(1_795_694_400_000_000 + micros);
        for (asked, end) in
            [(0, 59_999_999), (60_000_000, 119_999_999), (1_000_000, 1_000_000), (59_999_999, 59_999_999)]
        {
            assert_eq!(to_its_end(at(asked)), at(end), "{asked}");
            assert_eq!(ends_a_minute(at(end)), end % 60_000_000 == 59_999_999, "{end}");
        }
    }
}
