//! One machine: how it is just now, what its probes showed in the last minutes, and the racks of a day.

mod readings;
pub(in crate::web) mod words;

use std::future::Future;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use jiff::civil::Date;

pub use self::readings::{Readings, Stretch};
use self::words::{fault_word, place_word};
use super::age::Line;
use super::form::Field;
use super::frame::{self, Frame, Refusal, Tab, said};
use super::kitchen::{Kitchen, Pages};
use super::live::unmade;
use super::now::{Card, ago};
use super::person::Person;
use super::query::{self, Expected, Given};
use super::renew::{self, Renewal};
use crate::core::channel::Place;
use crate::core::counted::Noun;
use crate::core::cycle::figures::{Figures, Overtaken};
use crate::core::cycle::minimum::against;
use crate::core::cycle::sign::Sign;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{of_these_in_doubt, rack as rack_word, verdicts};
use crate::core::presence::Recency;
use crate::core::reader::Reader;
use crate::core::reading::Fault;
use crate::core::time::Timestamp;
use crate::core::wall_clock::{instant_or_next, local_date};

/// One picture in two widths, as SVG.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Plots {
    /// For a phone.
    pub narrow: String,
    /// For a wider screen, and for paper.
    pub broad: String,
}

/// The racks of one day of one machine.
#[derive(Clone, PartialEq, Debug)]
pub struct MachineDay {
    /// The day, of the site.
    pub date: Date,
    /// Its racks, the oldest first.
    pub racks: Vec<DayRack>,
    /// Records of racks that cannot be read.
    pub damaged: Vec<u64>,
    /// Stretches in which something was missing, the oldest first.
    pub gaps: Vec<DayGap>,
    /// Settled minima against the limit.
    pub plots: Plots,
    /// The day before, where anything is on record by then.
    pub before: Option<Date>,
    /// The day after, where it has begun.
    pub after: Option<Date>,
}

/// One rack in a line.
#[derive(Clone, PartialEq, Debug)]
pub struct DayRack {
    /// Index of its record.
    pub record: u64,
    /// Start of its final rinse.
    pub at: Timestamp,
    /// Its verdict.
    pub verdict: Verdict,
    /// Settled minimum and limit, and a sanitizer that spoke against it.
    pub figures: Figures,
    /// Wash minimum, °C.
    pub wash_c: Option<f64>,
    /// Numbers of the alerts that put it in doubt, where it passed.
    pub in_doubt_by: Vec<u64>,
    /// What it passed by and the test that found that wrong, where a test did.
    pub overtaken: Option<Overtaken>,
}

impl DayRack {
    /// What it passed by where it is in doubt, before its figures.
    pub(super) fn told(&self, reader: &Reader) -> String {
        let overtaken = self.overtaken.map(|overtaken| format!("{}; ", overtaken.told(reader)));
        format!("{}{}", overtaken.unwrap_or_default(), self.figures.told(reader))
    }
}

/// A stretch in which a probe gave nothing usable.
#[derive(Clone, PartialEq, Debug)]
pub struct DayGap {
    /// Channel of the probe.
    pub probe: String,
    /// Why.
    pub fault: Fault,
    /// Last usable reading before it.
    pub from: Timestamp,
    /// First usable reading after it; absent while it lasts.
    pub to: Option<Timestamp>,
    /// Whether its readings came after all, late.
    pub filled: bool,
}

/// What the probes of a machine showed in the last minutes.
#[derive(Clone, PartialEq, Debug)]
pub struct LiveTrace {
    /// The curves.
    pub plots: Plots,
    /// Each probe.
    pub probes: Vec<ProbeNow>,
}

/// One probe just now.
#[derive(Clone, PartialEq, Debug)]
pub struct ProbeNow {
    /// Its channel.
    pub channel: String,
    /// Where it sits.
    pub place: Place,
    /// When its newest value was measured, and how far that tells of now; `None` where nothing came.
    pub seen: Option<(Timestamp, Recency)>,
    /// That value, °C, where it is usable.
    pub celsius: Option<f64>,
    /// What is wrong with it.
    pub fault: Option<Fault>,
    /// Lowest and highest of the last ten minutes, °C.
    pub extremes_c: Option<(f64, f64)>,
}

/// What the page asks of whoever knows the machines.
pub trait Machines: Clone + Send + Sync + 'static {
    /// The racks of a day; of today where none is named.
    fn day(
        &self,
        machine: &str,
        date: Option<Date>,
        reader: &Reader,
    ) -> impl Future<Output = Result<MachineDay, Refusal>> + Send;

    /// What its probes showed in the last minutes.
    fn trace(
        &self,
        machine: &str,
        reader: &Reader,
    ) -> impl Future<Output = Result<LiveTrace, Refusal>> + Send;

    /// The same in numbers.
    fn recent(&self, machine: &str) -> impl Future<Output = Result<Readings, Refusal>> + Send;
}

#[derive(Template)]
#[template(path = "web/machine/trace.html", config = ".askama.toml")]
struct TracePart {
    plots: Plots,
    rows: Vec<ProbeRow>,
    heads: [&'static str; 4],
    caption: &'static str,
}

/// The trace of a machine's probes, ready to be put into a page.
pub(super) async fn trace_part<K: Machines>(
    kitchen: &K,
    machine: &str,
    reader: &Reader,
) -> Result<Card, Refusal> {
    let LiveTrace { plots, probes } = kitchen.trace(machine, reader).await?;
    let say = |english, spanish| said(reader.language, english, spanish);
    let heads = [
        say("Probe", "Sonda"),
        say("Place", "Lugar"),
        say("Newest value", "Último valor"),
        say("Lowest – highest", "Mínimo – máximo"),
    ];
    let caption = say("What each probe shows", "Lo que muestra cada sonda");
    let rows = probes.iter().map(|probe| probe_row(probe, reader)).collect();
    let html = TracePart { plots, rows, heads, caption }.render().map_err(|error| unmade(&error))?;
    Ok(Card { html })
}

/// One probe, in words.
struct ProbeRow {
    channel: String,
    place: String,
    newest: Line,
    extremes: String,
}

fn probe_row(probe: &ProbeNow, reader: &Reader) -> ProbeRow {
    let say = |english, spanish| said(reader.language, english, spanish);
    let aged = |text, age| Line {
        text,
        age: Some(format!(", {}", ago(age, reader.language))),
        rest: ")".to_owned(),
        then: None,
    };
    let newest = match (probe.fault, probe.celsius, probe.seen) {
        (Some(fault), ..) => fault_word(fault, reader.language).into(),
        (None, Some(celsius), Some((at, recency))) => {
            let value = format!("{} ({}", reader.temperature(celsius), reader.clock_and_zone(at));
            match recency {
                Recency::Now => format!("{value})").into(),
                Recency::Aged(age) => aged(value, age),
                Recency::Late(age) | Recency::Silent(age) => {
                    aged(format!("{}: {value}", say("OLD", "ANTIGUA")), age)
                }
            }
        }
        (None, ..) => say("nothing yet", "nada todavía").into(),
    };
    let extremes = probe
        .extremes_c
        .map(|(low, high)| format!("{:.1} – {}", reader.scale.temperature(low), reader.temperature(high)));
    let place = place_word(probe.place, reader.language).to_owned();
    ProbeRow {
        channel: probe.channel.clone(),
        place,
        newest,
        extremes: extremes.unwrap_or_else(|| "–".to_owned()),
    }
}

/// One rack, in words.
struct RackRow {
    record: u64,
    verdict: Verdict,
    clock: String,
    word: String,
    /// The sanitizer and its limit, where that spoke against it.
    off_range: Option<String>,
    /// What it passed by that a test found wrong.
    overtaken: Option<String>,
    /// Alerts that put it in doubt.
    doubts: Vec<u64>,
    settled: String,
    limit: String,
    wash: String,
}

#[derive(Template)]
#[template(path = "web/machine/machine.html", config = ".askama.toml")]
struct MachinePage<'a> {
    frame: Frame<'a>,
    parts: [&'a str; 2],
    /// The table of the readings.
    readings: String,
    machine: &'a str,
    /// The day that was asked for, or today.
    asked: Field,
    /// What else is wrong with the question.
    wrong: Vec<String>,
    /// Absent where the question was refused.
    day: Option<DayTold>,
}

/// A day in words.
struct DayTold {
    said: String,
    zone: String,
    before: Option<String>,
    after: Option<String>,
    plots: Plots,
    /// How many racks, in words.
    racks: String,
    counts: String,
    rows: Vec<RackRow>,
    /// The worst of them, in a line each: paper has no room for all.
    worst: Vec<String>,
    gaps: Vec<String>,
    damaged: Vec<u64>,
}

impl DayTold {
    fn of(day: MachineDay, now: Timestamp, reader: &Reader) -> Self {
        let noon = instant_or_next(&reader.zone, day.date, jiff::civil::time(12, 0, 0, 0));
        let noon = noon.unwrap_or(now);
        Self {
            said: reader.day(noon),
            zone: zone_of(reader, noon),
            before: day.before.map(|date| date.to_string()),
            after: day.after.map(|date| date.to_string()),
            racks: Noun::Racks.of(day.racks.len() as u64, reader.language),
            counts: counted(&day.racks, reader),
            rows: day.racks.iter().map(|rack| rack_row(rack, reader)).collect(),
            worst: worst(&day.racks, reader),
            gaps: day.gaps.iter().map(|gap| gap_line(gap, reader)).collect(),
            damaged: day.damaged,
            plots: day.plots,
        }
    }
}

/// Shows one machine. A day that is none, or has not come, is refused as [`query`] says.
pub(super) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(name): Path<String>,
    uri: Uri,
    person: Person,
) -> Response {
    let reader = &person.reader;
    let now = pages.kitchen.time();
    let mut given = Given::read(&uri, &["day", renew::NAME]);
    let renewal = Renewal::of(&mut given, renew::OFTEN_S);
    let today = local_date(&reader.zone, now);
    let date = given.take("day", |text| match (query::day(text)?, today) {
        (date, Some(today)) if date > today => Err(Expected::DayUntil(today)),
        (date, _) => Ok(date),
    });
    let made = async {
        let moment = pages.live.moment(&pages.kitchen, reader, Some(&name)).await?;
        let day = if given.is_refused() { None } else { Some(pages.kitchen.day(&name, date, reader).await?) };
        Ok((moment, readings::table(&pages.kitchen, &name, reader).await?, day))
    };
    let (moment, readings, day) = match made.await {
        Ok(made) => made,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 1),
    };
    let [card, trace] = moment.cards.as_slice() else {
        return frame::refuse(Refusal::NotNow, &person, &pages.site, 1);
    };
    let mut asked = given.field("day", said(reader.language, "Day", "Día"), reader.language);
    let is_today = asked.value.is_empty() && day.is_some();
    if let Some(day) = &day {
        asked.value = day.date.to_string();
    }
    let status = if day.is_some() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let frame = Frame::new(&pages.site, &person, Tab::Now, 1, &name).with_open(moment.open);
    let page = MachinePage {
        // What is over does not change.
        frame: if is_today { frame.renewing(renewal) } else { frame },
        parts: [&card.html, &trace.html],
        readings,
        machine: &name,
        asked,
        wrong: given.beside(&["day"], reader.language),
        day: day.map(|day| DayTold::of(day, now, reader)),
    };
    frame::page(status, page.render())
}

/// Name of the zone of all times on a page.
pub(super) fn zone_of(reader: &Reader, at: Timestamp) -> String {
    let clock = reader.clock_and_zone(at);
    reader.zone.iana_name().map_or_else(
        || clock.split_once(' ').map(|(_, zone)| zone.to_owned()).unwrap_or_default(),
        str::to_owned,
    )
}

fn rack_row(rack: &DayRack, reader: &Reader) -> RackRow {
    let Figures { settled_c, unjudged, limit_c, off_range } = rack.figures;
    let (settled, limit, beside) = against(settled_c, unjudged, limit_c, reader);
    let settled = beside.map_or_else(|| settled.clone(), |beside| format!("{settled}, {beside}"));
    RackRow {
        off_range: off_range.map(|off| off.told(reader.language)),
        overtaken: rack.overtaken.map(|overtaken| overtaken.told(reader)),
        record: rack.record,
        verdict: rack.verdict,
        clock: reader.clock(rack.at),
        word: rack_word(rack.verdict, !rack.in_doubt_by.is_empty(), reader.language),
        doubts: rack.in_doubt_by.clone(),
        settled,
        limit,
        wash: rack.wash_c.map_or("–".to_owned(), |wash| format!("{:.1}", reader.scale.temperature(wash))),
    }
}

/// Most racks that a printed page names (own choice: a third of a sheet).
const WORST_MAX: usize = 12;

/// The racks of a day that did not plainly pass or are in doubt, the worst first, and at the end how many of them are
/// left out.
fn worst(racks: &[DayRack], reader: &Reader) -> Vec<String> {
    let is_doubted = |rack: &DayRack| !rack.in_doubt_by.is_empty();
    let is_bad = |rack: &&DayRack| rack.verdict != Verdict::Pass || is_doubted(rack);
    let mut bad: Vec<&DayRack> = racks.iter().filter(is_bad).collect();
    // One in doubt passed by what was found wrong: it comes before those that barely passed.
    bad.sort_by_key(|rack| {
        let place = Verdict::ALL.iter().position(|verdict| *verdict == rack.verdict);
        (rack.verdict.is_good(), !is_doubted(rack), place)
    });
    let line = |rack: &&DayRack| {
        let RackRow { clock, mut word, doubts, .. } = rack_row(rack, reader);
        if !doubts.is_empty() {
            let numbers: Vec<String> = doubts.iter().map(u64::to_string).collect();
            word = format!("{word} ({} {})", said(reader.language, "alert", "alerta"), numbers.join(", "));
        }
        format!("{clock} {word}: {}", rack.told(reader))
    };
    let mut lines: Vec<String> = bad.iter().take(WORST_MAX).map(line).collect();
    if let more @ 1.. = bad.len().saturating_sub(WORST_MAX) {
        lines.push(format!("+ {more}: {}", said(reader.language, "see the history", "véase el historial")));
    }
    lines
}

/// How many racks got which verdict, the worst first, and how many of those that passed are in doubt.
fn counted(racks: &[DayRack], reader: &Reader) -> String {
    let count = |verdict| racks.iter().filter(|rack| rack.verdict == verdict).count();
    let each = Verdict::ALL.into_iter().map(|verdict| (verdict, count(verdict)));
    let each: Vec<String> = each
        .filter(|(_, count)| *count > 0)
        .map(|(verdict, count)| format!("{count} {}", verdicts(verdict, count as u64, reader.language)))
        .collect();
    let doubted = racks.iter().filter(|rack| !rack.in_doubt_by.is_empty()).count() as u64;
    let doubted = (doubted > 0).then(|| format!("{}: {doubted}", of_these_in_doubt(reader.language)));
    [Some(each.join(", ")), doubted].into_iter().flatten().collect::<Vec<String>>().join("; ")
}

fn gap_line(gap: &DayGap, reader: &Reader) -> String {
    let say = |english, spanish| said(reader.language, english, spanish);
    let to = gap.to.map_or(say("it lasts", "continúa").to_owned(), |to| reader.clock_and_zone(to));
    let filled =
        if gap.filled { say("; its readings came late", "; sus lecturas llegaron tarde") } else { "" };
    format!(
        "{}: {}, {} – {to}{filled}",
        gap.probe,
        fault_word(gap.fault, reader.language),
        reader.clock(gap.from)
    )
}

#[cfg(test)]
mod tests;
