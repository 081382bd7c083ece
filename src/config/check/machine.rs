//! `[[machine]]`: the data plate, and the Food Code where it is silent.

use std::ops::RangeInclusive;
use std::time::Duration;

use crate::config::keys::{KINDS, LIMIT_SOURCES, RINSE_FROMS, ROUNDINGS, SANITIZINGS};
use crate::config::note::Whence;
use crate::config::problem::{Fault, Findings};
use crate::config::reader::Reader;
use crate::config::text;
use crate::core::cycle::plate::{
    Limit, LimitSource, MachineKind, PlateTimes, Profile, RinseFrom, Sanitizing,
};
use crate::core::food_code::{self, Rounding};
use crate::core::sanitizer::{self, Rules};
use crate::core::units::Celsius;

/// Reads a machine; `None` where something is wrong with it.
pub(super) fn read_machine(reader: &mut Reader<'_>, name: &str, findings: &mut Findings) -> Option<Profile> {
    let kind = reader.choice("kind", &KINDS, findings);
    let sanitizing = reader.choice("sanitizing", &SANITIZINGS, findings);
    let rinse_from = reader.choice("rinse-from", &RINSE_FROMS, findings);
    let rounding = reader.choice("rounding", &ROUNDINGS, findings);
    let given_by = reader.choice("limits-from", &LIMIT_SOURCES, findings);
    let disorder_window = reader.duration("disorder-window", findings);
    let check_valid_for = reader.duration("check-valid-for", findings);
    // Read even where the kind is wrong, so that their own mistakes are told too.
    let (Some(kind), Some(sanitizing), Some(rinse_from), Some(rounding), Some(given_by)) =
        (kind, sanitizing, rinse_from, rounding, given_by)
    else {
        read_rest_for_its_mistakes(reader, findings);
        return None;
    };
    let times = read_times(reader, usual_times(kind, rinse_from), findings);

    let food_rinse_min = food_code::final_rinse_minimum(kind, sanitizing).minimum(rounding);
    let food_wash_min = food_code::wash_minimum(kind, sanitizing).minimum(rounding);
    let rinse_min = read_limit(reader, "rinse-min", food_rinse_min, given_by, findings);
    let food_rinse_max = food_code::final_rinse_maximum(sanitizing).map(|printed| printed.maximum(rounding));
    let rinse_max = read_maximum(reader, food_rinse_max, given_by, findings);
    let wash_min = read_limit(reader, "wash-min", food_wash_min, given_by, findings);
    if let Some(rinse_max) = rinse_max.filter(|rinse_max| rinse_min.at >= rinse_max.at) {
        let key = if reader.has("rinse-min") { "rinse-min" } else { "rinse-max" };
        let [min, max] = [rinse_min, rinse_max].map(|limit| text::of_temperature(limit.at));
        reader.refuse(key, format!("rinse-min ({min}) below rinse-max ({max})"), findings);
    }
    for (key, limit, food) in
        [("rinse-min", rinse_min, food_rinse_min), ("wash-min", wash_min, food_wash_min)]
    {
        warn_if_laxer(reader, key, limit, food, findings);
    }
    let sanitizer = read_rules(reader, sanitizing, rounding, findings);
    let dwell_min = read_dwell(reader, sanitizing, times, findings);
    Some(Profile {
        name: name.to_owned(),
        kind,
        sanitizing,
        rinse_from,
        times,
        rinse_min,
        rinse_max,
        wash_min,
        dwell_min,
        disorder_window: disorder_window?,
        sanitizer: sanitizer?,
        check_valid_for: check_valid_for?,
    })
}

fn read_rest_for_its_mistakes(reader: &mut Reader<'_>, findings: &mut Findings) {
    for key in ["wash-time", "pause-time", "rinse-time", "dwell-min"] {
        reader.duration(key, findings);
    }
    for key in ["rinse-min", "rinse-max", "wash-min"] {
        reader.temperature(key, findings);
    }
}

/// Usual times of the automatic cycle (common practice, no source). They bound
/// the search for wash and rinse, so the data plate's own figures serve better.
fn usual_times(kind: MachineKind, rinse_from: RinseFrom) -> PlateTimes {
    let (wash, pause, rinse) = match (kind, rinse_from) {
        (
            MachineKind::StationaryRackSingleTemperature | MachineKind::StationaryRackDualTemperature,
            RinseFrom::Sump,
        ) => (45, 10, 25),
        (MachineKind::StationaryRackSingleTemperature, RinseFrom::FreshLine) => (45, 5, 25),
        (MachineKind::StationaryRackDualTemperature, RinseFrom::FreshLine) => (45, 3, 10),
        (MachineKind::SingleTankConveyor, _) => (30, 5, 10),
        (MachineKind::MultitankConveyor, _) => (40, 10, 8),
    };
    let [wash, pause, rinse] = [wash, pause, rinse].map(Duration::from_secs);
    PlateTimes { wash, pause, rinse }
}

fn read_times(reader: &mut Reader<'_>, usual: PlateTimes, findings: &mut Findings) -> PlateTimes {
    let mut time = |key, usual: Duration| {
        reader.duration(key, findings).unwrap_or_else(|| {
            reader.note_derived(key, &text::of_duration(usual), Whence::CommonPractice);
            usual
        })
    };
    PlateTimes {
        wash: time("wash-time", usual.wash),
        pause: time("pause-time", usual.pause),
        rinse: time("rinse-time", usual.rinse),
    }
}

fn read_limit(
    reader: &mut Reader<'_>,
    key: &'static str,
    food_code: Celsius,
    given_by: LimitSource,
    findings: &mut Findings,
) -> Limit {
    match reader.temperature(key, findings) {
        Some(at) => Limit { at, source: given_by },
        None => {
            reader.note_derived(key, &text::of_temperature(food_code), Whence::FoodCode);
            Limit { at: food_code, source: LimitSource::FoodCode }
        }
    }
}

/// The maximum, which a chemical machine has only where it is given.
fn read_maximum(
    reader: &mut Reader<'_>,
    food_code: Option<Celsius>,
    given_by: LimitSource,
    findings: &mut Findings,
) -> Option<Limit> {
    match food_code {
        Some(food_code) => Some(read_limit(reader, "rinse-max", food_code, given_by, findings)),
        None => {
            let given = reader.temperature("rinse-max", findings);
            given.map(|at| Limit { at, source: given_by })
        }
    }
}

/// Keys that belong to one sanitizer only.
const RULES: [(&str, Sanitizing); 6] = [
    ("chlorine-max-mg-per-l", Sanitizing::Chlorine),
    ("iodine-min-mg-per-l", Sanitizing::Iodine),
    ("iodine-max-mg-per-l", Sanitizing::Iodine),
    ("iodine-ph-max", Sanitizing::Iodine),
    ("quat-min-mg-per-l", Sanitizing::Quat),
    ("quat-max-mg-per-l", Sanitizing::Quat),
];

/// What site and label permit of the machine's own sanitizer.
fn read_rules(
    reader: &mut Reader<'_>,
    sanitizing: Sanitizing,
    rounding: Rounding,
    findings: &mut Findings,
) -> Option<Rules> {
    for (key, _) in RULES.into_iter().filter(|(key, of)| *of != sanitizing && reader.has(key)) {
        reader.refuse(key, "the sanitizer of this key in sanitizing, or no such key", findings);
    }
    let mut rules = Rules { rounding, ..Rules::default() };
    match sanitizing {
        Sanitizing::HotWater => {}
        Sanitizing::Chlorine => {
            rules.chlorine_max_mg_per_l = reader.number("chlorine-max-mg-per-l", findings)?;
        }
        Sanitizing::Iodine => {
            let range = read_range(reader, ["iodine-min-mg-per-l", "iodine-max-mg-per-l"], findings);
            rules.iodine_ph_max = reader.number("iodine-ph-max", findings)?;
            rules.iodine_mg_per_l = range?;
        }
        Sanitizing::Quat => {
            rules.quat_mg_per_l = read_range(reader, ["quat-min-mg-per-l", "quat-max-mg-per-l"], findings)?;
        }
    }
    Some(rules)
}

fn read_range(
    reader: &mut Reader<'_>,
    keys: [&'static str; 2],
    findings: &mut Findings,
) -> Option<RangeInclusive<f64>> {
    let [min, max] = keys.map(|key| reader.number(key, findings));
    let (min, max) = (min?, max?);
    if min > max {
        let key = if reader.has(keys[0]) { keys[0] } else { keys[1] };
        reader.refuse(key, format!("{} at most {}, {max}", keys[0], keys[1]), findings);
    }
    Some(min..=max)
}

/// How far below the stricter half of a printed pair its laxer half lies, °C:
/// at most 150 °F against 66 °C. A plate that prints either is not doubtful.
const ROUNDED_C: f64 = 0.5;

fn warn_if_laxer(
    reader: &Reader<'_>,
    key: &'static str,
    limit: Limit,
    food_code: Celsius,
    findings: &mut Findings,
) {
    if limit.at.0 < food_code.0 - ROUNDED_C {
        let why = format!("below the {} ({:.0} °F) of the FDA Food Code", food_code, food_code.fahrenheit());
        let advice =
            "compare it with the data plate and the local code; without this key the Food Code holds";
        let fault = Fault::Doubtful { why, advice: advice.to_owned() };
        findings.warnings.push(reader.problem(key, fault));
    }
}

/// The dwell that is asked for: as given, else the contact time of a chemical,
/// else half the plate's rinse (own choice: the other half goes to purging the
/// line and to the answer of the probe).
fn read_dwell(
    reader: &mut Reader<'_>,
    sanitizing: Sanitizing,
    times: PlateTimes,
    findings: &mut Findings,
) -> Duration {
    if let Some(dwell) = reader.duration("dwell-min", findings) {
        if dwell > times.rinse {
            let wanted = format!("at most the rinse-time, {}", text::of_duration(times.rinse));
            reader.refuse("dwell-min", wanted, findings);
        }
        return dwell;
    }
    let (dwell, origin) = match sanitizer::contact_time(sanitizing) {
        Some(contact) => (contact, Whence::FoodCode),
        None => (times.rinse / 2, Whence::HalfTheRinse),
    };
    reader.note_derived("dwell-min", &text::of_duration(dwell), origin);
    if dwell > times.rinse {
        let why = format!(
            "the rinse of {} is shorter than the contact time of {} (4-703.11): every cycle would be brief",
            text::of_duration(times.rinse),
            text::of_duration(dwell)
        );
        let advice = "read rinse-time from the data plate, or give dwell-min from the sanitizer's label";
        let fault = Fault::Doubtful { why, advice: advice.to_owned() };
        findings.warnings.push(reader.problem("rinse-time", fault));
    }
    dwell
}
