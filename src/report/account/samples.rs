//! An account of a made-up kitchen, for tests, benches and looking at the forms without a ledger.
//!
//! It has every verdict, every kind of entry, and texts that would break a careless form.
//! Nothing in it was measured. The same number of days gives the same account, byte for byte.

use std::time::Duration;

use jiff::ToSpan;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::{
    ACCOUNT_FORMAT, Account, ActionAccount, AlertAccount, CalibrationAccount, Chart, CheckAccount,
    DayAccount, DriftAccount, DriftSignal, ExceptionAccount, GapAccount, LimitInForce, MachineAccount,
    OverdueCheck, RecordRange, Remark, Seal, ServiceEvent,
};
use crate::core::alert::{Condition, Quantity};
use crate::core::checkpoint::Checkpoint;
use crate::core::cycle::counts::Counts;
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::{Finding, Reason, Verdict};
use crate::core::effect::{Trace, TraceReading};
use crate::core::merkle::{Hash, TreeHead};
use crate::core::note::SigningKey;
use crate::core::reading::Fault;
use crate::core::record::{AmendmentChange, Basis, Check, Cycle, DoseBasis, Rule, WindowFrom};
use crate::core::sanitizer::{self, Refusal};
use crate::core::time::Timestamp;
use crate::core::units::Celsius;

/// A text that would break out of markup, of a cell, and of most fonts.
pub const HOSTILE: &str = "#import \"x\" *bold* _i_ $x$ <script>alert(1)</script> =1+1 \\ `raw` @ref // 茶 🍽 \u{202e}abc\u{0}\r\n- end";

/// Racks a day and machine.
const RACKS: u32 = 40;
/// First hour of the kitchen, and minutes between two racks.
const OPENS: (i8, u64) = (9, 18);

/// November 2026 of a kitchen in New York, in which the clock goes back on the first day.
#[must_use]
pub fn month() -> Account {
    span(30)
}

/// As many days from the first of November 2026 on.
///
/// # Panics
/// Beyond the days that a calendar has, which no `u16` reaches.
#[must_use]
pub fn span(days: u16) -> Account {
    let zone = TimeZone::get("America/New_York").expect("the zone data is built in");
    let first = Date::constant(2026, 11, 1);
    let date = |day: u16| first.checked_add(i64::from(day).days()).expect("within the calendar");
    let midnight = |day: u16| instant(date(day), 0, &zone);
    let kitchen = Kitchen { zone: &zone, days: (0..days).map(date).collect() };
    let mut machines = vec![kitchen.machine(&HOT), kitchen.machine(&CHLORINE)];
    machines[0].gaps = gaps(midnight(2));
    machines[0].drift = drift(midnight(0));
    Account {
        v: ACCOUNT_FORMAT,
        program: "0.1.0".to_owned(),
        made: midnight(days).plus(Duration::from_secs(7 * 3600)),
        site: "Riverside School Kitchen".to_owned(),
        zone: "America/New_York".to_owned(),
        from: midnight(0),
        to: midnight(days),
        only: Vec::new(),
        ends: None,
        alerts: alerts(&machines, midnight(1)),
        machines,
        checks: checks(midnight(3)),
        overdue: overdue(midnight(4)),
        doubts: Vec::new(),
        renewals: 0,
        calibrations: calibrations(midnight(0)),
        remarks: remarks(midnight(5)),
        service: service(midnight(0)),
        records: RecordRange { from: 1200, to: 1200 + u64::from(days) * 120 },
        seal: Some(seal(1200 + u64::from(days) * 120)),
        damaged: Vec::new(),
        traces_left_out: 0,
    }
}

fn instant(date: Date, hour: i8, zone: &TimeZone) -> Timestamp {
    let zoned = date.at(hour, 0, 0, 0).to_zoned_datetime(zone.clone()).expect("within the calendar");
    Timestamp::from_micros(zoned.timestamp().as_microsecond())
}

/// What the two machines differ in.
struct Kind {
    name: &'static str,
    kind: MachineKind,
    sanitizing: Sanitizing,
    limit_c: f64,
    source: LimitSource,
    wash_limit_c: f64,
    dwell_s: f64,
    uncertainty_c: f64,
}

/// 180 °F and 150 °F as FDA Food Code 4-501.112 and 4-501.110 print them for such a machine.
const HOT: Kind = Kind {
    name: "Dish room",
    kind: MachineKind::StationaryRackDualTemperature,
    sanitizing: Sanitizing::HotWater,
    limit_c: 82.222_222,
    source: LimitSource::FoodCode,
    wash_limit_c: 65.555_556,
    dwell_s: 5.0,
    uncertainty_c: 0.9,
};

/// 100 °F at 50 mg/L and a pH of 10 or less (FDA Food Code 4-501.114); 120 °F of the wash (4-501.110 B).
const CHLORINE: Kind = Kind {
    name: "Bar glasswasher",
    kind: MachineKind::StationaryRackSingleTemperature,
    sanitizing: Sanitizing::Chlorine,
    limit_c: 37.777_778,
    source: LimitSource::Concentration,
    wash_limit_c: 48.888_889,
    dwell_s: 7.0,
    uncertainty_c: 0.7,
};

struct Kitchen<'z> {
    zone: &'z TimeZone,
    days: Vec<Date>,
}

impl Kitchen<'_> {
    fn machine(&self, kind: &Kind) -> MachineAccount {
        let mut exceptions = Vec::new();
        let mut all: Vec<f64> = Vec::new();
        let mut days = Vec::new();
        let mut counts = Counts::default();
        for (place, date) in self.days.iter().enumerate() {
            let midnight = instant(*date, 0, self.zone);
            let opens = instant(*date, OPENS.0, self.zone);
            let mut day = empty_day(*date, kind, place);
            let mut minima: Vec<f64> = Vec::new();
            for rack in 0..RACKS {
                let at = opens.plus(Duration::from_secs(u64::from(rack) * OPENS.1 * 60 + 7));
                let cycle = cycle(kind, place, rack, at);
                for counts in [&mut day.counts, &mut counts] {
                    counts.take(&cycle);
                }
                if let Some(minimum) = cycle.rinse_min_c {
                    minima.push(minimum);
                    day.minima.push(mark(midnight, &cycle, minimum));
                }
                if cycle.verdict != Verdict::Pass {
                    let index = 1200 + place as u64 * 120 + u64::from(rack);
                    exceptions.push(exception(cycle, index));
                }
            }
            day.rinse_min_c = minima.iter().copied().min_by(f64::total_cmp);
            day.rinse_median_c = median(&minima);
            all.extend(minima);
            days.push(day);
        }
        let operating_s = 13.0 * 3600.0 * self.days.len() as f64;
        MachineAccount {
            machine: kind.name.to_owned(),
            kind: Some(kind.kind),
            sanitizing: Some(kind.sanitizing),
            limits: self
                .days
                .first()
                .map(|date| limit(kind, instant(*date, OPENS.0, self.zone)))
                .into_iter()
                .collect(),
            counts,
            rinse_min_c: all.iter().copied().min_by(f64::total_cmp),
            rinse_median_c: median(&all),
            days,
            gaps: Vec::new(),
            operating_s,
            monitored_s: operating_s - 9700.0,
            exceptions,
            exceptions_left_out: Counts::default(),
            in_doubt: Vec::new(),
            in_doubt_left_out: 0,
            drift: DriftAccount::default(),
        }
    }
}

fn limit(kind: &Kind, since: Timestamp) -> LimitInForce {
    LimitInForce {
        since,
        limit_c: kind.limit_c,
        source: kind.source,
        wash_limit_c: kind.wash_limit_c,
        dwell_required_s: kind.dwell_s,
        concentration_mg_per_l: sanitizer::Rules::default()
            .permitted(kind.sanitizing)
            .map(|range| [*range.start(), *range.end()]),
    }
}

fn empty_day(day: Date, kind: &Kind, place: usize) -> DayAccount {
    let operating_s = 13.0 * 3600.0;
    DayAccount {
        day,
        counts: Counts::default(),
        rinse_min_c: None,
        rinse_median_c: None,
        limit_c: Some(kind.limit_c),
        uncertainty_c: Some(kind.uncertainty_c),
        late: u64::from(place == 6) * 3,
        operating_s,
        monitored_s: if place == 2 { operating_s - 2400.0 } else { operating_s },
        recovery_s: kind.sanitizing.eq(&Sanitizing::HotWater).then_some(74.0 + place as f64 % 30.0),
        minima: Vec::new(),
        in_doubt: 0,
        minima_in_doubt: Vec::new(),
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a day has 90,000 s at most, and a mark needs no more digits"
)]
fn mark(midnight: Timestamp, cycle: &Cycle, minimum: f64) -> (u32, f32, u8) {
    let verdict = Verdict::ALL.iter().position(|verdict| *verdict == cycle.verdict).unwrap_or(0);
    (cycle.rinse_started.since(midnight).as_secs() as u32, minimum as f32, verdict as u8)
}

fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    match sorted.len() {
        0 => None,
        count if count.is_multiple_of(2) => Some(f64::midpoint(sorted[middle - 1], sorted[middle])),
        _ => Some(sorted[middle]),
    }
}

/// What happened to a rack: which of them are bad is fixed by their place.
fn fate(kind: &Kind, day: usize, rack: u32) -> (Verdict, Option<f64>, Vec<Reason>) {
    let swing = (f64::from(rack) * 0.7 + day as f64).sin() * 1.1 + (day as f64 * 0.9).cos() * 0.4;
    let usual = kind.limit_c + 3.4 + swing;
    let chemical = kind.sanitizing.is_chemical();
    let cold = |below: f64| {
        let measured_c = kind.limit_c - below;
        (Verdict::Cold, Some(measured_c), vec![Reason::RinseBelowLimit { measured_c, limit_c: kind.limit_c }])
    };
    match (day % 30, rack) {
        (1, 0) if !chemical => cold(10.9),
        // Two hundredths below: must never look equal to the limit.
        (1, 20) if !chemical => cold(0.02),
        (14, 18..=20) if !chemical => cold(9.0 - f64::from(rack - 18)),
        (8, 5) => (
            Verdict::Brief,
            Some(usual),
            vec![Reason::DwellTooShort { dwell_s: 3.25, required_s: kind.dwell_s }],
        ),
        (8, 6) => (Verdict::Brief, None, vec![Reason::RinseAborted { rinse_s: 2.5 }]),
        (5, 10..=13) if chemical => {
            let refusal =
                Reason::Concentration { refusal: Refusal::TooWeak, mg_per_l: 20.0, limit: Some(50.0) };
            (Verdict::Weak, Some(usual), vec![refusal])
        }
        (2, 12..=13) if !chemical => {
            (Verdict::Unproven, None, vec![Reason::RinseProbe { fault: Fault::OpenCircuit }])
        }
        (20, 0..=2) if chemical => (Verdict::Unproven, Some(usual), vec![Reason::NoConcentrationCheck]),
        (11, 30) => {
            (Verdict::Unproven, Some(usual), vec![Reason::GapInRinse { gap_s: 4.0 }, Reason::EndNotSeen])
        }
        (25, 31) => (Verdict::Narrow, Some(kind.limit_c), vec![inside(0.0, kind)]),
        (22 | 26, 33..=35) if !chemical => {
            (Verdict::Narrow, Some(kind.limit_c + 0.4), vec![inside(0.4, kind)])
        }
        _ => (Verdict::Pass, Some(usual), Vec::new()),
    }
}

const fn inside(margin_c: f64, kind: &Kind) -> Reason {
    Reason::InsideUncertainty { margin_c, uncertainty_c: kind.uncertainty_c }
}

fn cycle(kind: &Kind, day: usize, rack: u32, started: Timestamp) -> Cycle {
    let (verdict, minimum, reasons) = fate(kind, day, rack);
    let second = |count| started.plus(Duration::from_secs(count));
    let wash_min_c = kind.wash_limit_c + if rack == 5 { -1.2 } else { 2.0 };
    let low = Finding::WashLow { measured_c: wash_min_c, limit_c: kind.wash_limit_c };
    let late = if day == 6 { 7200 } else { 0 };
    let corrected = verdict == Verdict::Narrow;
    Cycle {
        started,
        rinse_started: second(45),
        rinse_ended: second(57),
        received: second(62 + late),
        machine_kind: kind.kind,
        sanitizing: kind.sanitizing,
        window_from: WindowFrom::Trace,
        verdict,
        reasons,
        findings: if verdict == Verdict::Brief && rack == 5 { vec![low] } else { Vec::new() },
        rinse_min_c: minimum,
        rinse_min_raw_c: minimum.map(|celsius| if corrected { celsius - 0.6 } else { celsius }),
        rinse_min_corrected_c: minimum.filter(|_| corrected),
        basis: if corrected { Basis::LagCorrected } else { Basis::Raw },
        limit_c: kind.limit_c,
        limit_source: kind.source,
        rinse_peak_c: minimum.map(|celsius| celsius + 1.6),
        settled_after_s: minimum.map(|_| 3.5),
        dwell_s: match verdict {
            Verdict::Cold => 0.0,
            Verdict::Brief => 3.25,
            Verdict::Weak | Verdict::Unproven | Verdict::Narrow | Verdict::Pass => 9.5,
        },
        dwell_required_s: kind.dwell_s,
        area_below_c_s: 0.0,
        wash_min_c: Some(wash_min_c),
        wash_limit_c: kind.wash_limit_c,
        a0: 12.5,
        hue: 4.0,
        dose_basis: DoseBasis::WaterSideEstimate,
        uncertainty_c: kind.uncertainty_c,
        conformance: minimum.map(|_| 0.97),
        rule: Rule::SimpleAcceptance,
        concentration_mg_per_l: kind.sanitizing.is_chemical().then_some(50.0),
        ph: kind.sanitizing.is_chemical().then_some(8.5),
        rinse_readings: 48,
        spikes: 0,
        trace_sha256: None,
    }
}

fn exception(cycle: Cycle, index: u64) -> ExceptionAccount {
    let kept = cycle.rinse_min_raw_c.is_some() || index % 120 != 6;
    ExceptionAccount {
        index,
        recorded: cycle.received.plus(Duration::from_secs(1)),
        trace: kept.then(|| trace(&cycle)),
        alerts: match cycle.verdict {
            Verdict::Cold => vec![1],
            Verdict::Brief => vec![2],
            Verdict::Weak => vec![3],
            Verdict::Unproven => vec![4],
            Verdict::Narrow | Verdict::Pass => Vec::new(),
        },
        amendments: if cycle.verdict == Verdict::Weak { vec![2002] } else { Vec::new() },
        covered: Vec::new(),
        cycle,
    }
}

/// Ninety seconds at 4 Hz: an idle line, the rinse, and its cooling.
fn trace(cycle: &Cycle) -> Trace {
    let settled = cycle.rinse_min_raw_c.unwrap_or(cycle.limit_c - 20.0);
    let idle = settled.min(cycle.limit_c) - 22.0;
    let celsius = |second: f64| match second {
        before if before < 45.0 => idle + (before * 0.9).sin() * 0.3,
        rinse if rinse < 57.0 => {
            settled + 1.6 - (settled + 1.6 - idle) * (-(rinse - 45.0) / 0.9).exp() - (rinse - 45.0) * 0.13
        }
        after => idle + (settled - idle) * (-(after - 57.0) / 25.0).exp(),
    };
    let reading = |quarter: u32, value: f64| TraceReading {
        at: cycle.started.plus(Duration::from_millis(u64::from(quarter) * 250)),
        celsius: Celsius(value),
    };
    let wash = cycle.wash_min_c.unwrap_or(cycle.wash_limit_c);
    Trace {
        rinse: (0..360).map(|quarter| reading(quarter, celsius(f64::from(quarter) / 4.0))).collect(),
        wash: (0..180)
            .map(|quarter| reading(quarter, wash + (f64::from(quarter) * 0.05).sin().abs()))
            .collect(),
    }
}

mod entries;
use entries::{alerts, calibrations, checks, drift, gaps, overdue, remarks, seal, service};
